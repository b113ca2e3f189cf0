"""Numbers: uncertainty, decision, printing. Pure."""
