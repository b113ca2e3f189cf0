"""Files that somebody else recorded → series and messages."""
