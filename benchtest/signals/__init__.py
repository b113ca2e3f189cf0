"""From series to facts: what contacts, coils, supplies, lamps and links did. Pure; seconds and SI units.

`series` is one channel however it was recorded, `levels` turns it into times of two states, and the others ask those.
What a record cannot decide comes back as data with its reason (`found`), never as a guess.
"""
