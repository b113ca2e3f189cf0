"""What customers complain of, sorted: words that outlive the customer's own, so that they can be counted.

Our own sorting (common practice, no source). The customer's own words are kept beside it, and are personal.
"""

from enum import StrEnum


class Complaint(StrEnum):
    """Of what kind a complaint is."""

    DEAD = "dead"
    DOES_NOT_SWITCH = "does not switch"
    SWITCHES_UNASKED = "switches unasked"
    NOW_AND_THEN = "now and then"
    LAMP = "lamp or code"
    LINK = "link"
    SUPPLY = "supply"
    INPUT = "input or probe"
    DAMAGED = "damaged"
    CHECK_ONLY = "check only"
    OTHER = "other"
    NOT_STATED = "not stated"
