"""From series to facts: crossings, contact behaviour, lamp codes, message intervals. Pure; seconds and indices."""
