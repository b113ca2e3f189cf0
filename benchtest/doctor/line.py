"""One finding about this computer."""

from dataclasses import dataclass
from enum import StrEnum


class State(StrEnum):
    """How it is."""

    OK = "ok"
    WARN = "warn"
    UNKNOWN = "not looked at"


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """One thing looked at."""

    topic: str
    """What was looked at: `/dev/ttyUSB0 latency`."""
    state: State
    found: str
    mend: str = ""
    """The one command that mends it, or the one thing to do; empty where nothing is wrong."""


def ok(topic: str, found: str) -> Line:
    """Return a line about something that is as it should be."""
    return Line(topic=topic, state=State.OK, found=found)


def warn(topic: str, found: str, mend: str) -> Line:
    """Return a line about something that will give trouble."""
    return Line(topic=topic, state=State.WARN, found=found, mend=mend)


def unknown(topic: str, found: str) -> Line:
    """Return a line about something that could not be looked at."""
    return Line(topic=topic, state=State.UNKNOWN, found=found)
