"""What may be wrong with a simulated bench itself, so that its self-check has something to find.

Written `drive 103 stays open`: a channel of the bench by its number, then what is wrong with it. A board is never to
blame for one of these.
"""

import re
from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum

from benchtest.faults.trips import Trip


class Wrong(StrEnum):
    """What is wrong with a part of the bench."""

    STAYS_OPEN = "stays open"
    STAYS_CLOSED = "stays closed"
    SLOW = "slow"
    BLIND = "blind"
    DAZZLED = "dazzled"
    READS_LOW = "reads low"
    FAST = "fast"


OF: dict[str, tuple[Wrong, ...]] = {
    "drive": (Wrong.STAYS_OPEN, Wrong.STAYS_CLOSED, Wrong.SLOW),
    "light": (Wrong.BLIND, Wrong.DAZZLED),
    "sense": (Wrong.READS_LOW,),
    "clock": (Wrong.FAST,),
}
"""Part of the bench → what it can have; the clock is the recording adapter's, and has no number."""
_WRITTEN = re.compile(r"(?P<part>[a-z]+)(?: (?P<channel>\d+))? (?P<wrong>[a-z ]+)")


@dataclass(frozen=True, slots=True)
class Defect:
    """One thing that is wrong with the bench."""

    part: str
    channel: int
    """0 for the clock."""
    wrong: Wrong

    @property
    def text(self) -> str:
        """As it was written."""
        return " ".join(filter(None, [self.part, str(self.channel or ""), self.wrong]))


Mishap = Trip | Defect
"""What happens to a bench, or has happened to it."""


def parse_defect(text: str, channels: Collection[int]) -> Defect:
    """Return the defect written as `text`. Raises ValueError when this bench has no such part."""
    found = _WRITTEN.fullmatch(" ".join(text.split()))
    part = found["part"] if found else ""
    if found is None or part not in OF or found["wrong"] not in OF[part]:
        known = "; ".join(f"{name}{' NUMBER' * (name != 'clock')} {' | '.join(OF[name])}" for name in OF)
        raise ValueError(f"{text!r} is nothing that a bench can have (what can be: {known})")
    channel = int(found["channel"] or 0)
    if (part == "clock") != (found["channel"] is None) or (channel and channel not in channels):
        raise ValueError(f"{text!r}: there is no such channel on this bench")
    return Defect(part, channel, Wrong(found["wrong"]))
