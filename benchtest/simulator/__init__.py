"""A virtual board on a virtual bench: physics in events, not in small steps; everything from one seed."""
