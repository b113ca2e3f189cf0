"""What came of looking at a paper: the states apart, each with its words and its exit code."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final

from benchtest.seal.statement import Statement
from benchtest.seal.trusted import Succession


class State(StrEnum):
    """From good to bad."""

    GENUINE = "genuine and trusted"
    UNKNOWN = "genuine, unknown station"
    UNSEALED = "not sealed"
    SUPERSEDED = "superseded"
    WITHDRAWN = "withdrawn"
    ALTERED = "altered"


EXIT_CODE: Final[Mapping[State, int]] = {
    State.GENUINE: 0,
    State.UNKNOWN: 3,
    State.UNSEALED: 3,
    State.SUPERSEDED: 1,
    State.WITHDRAWN: 1,
    State.ALTERED: 1,
}
"""0 to rely on, 1 not to rely on, 3 not decided here."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Examined:
    """One paper, examined."""

    state: State
    statement: Statement | None = None
    """What the station signed; None when nothing signed was found, or its signature does not hold."""
    text: str = ""
    """The same with its signature, as a QR code carries it."""
    station: str = ""
    """As it calls itself, or as the list calls it once that is known."""
    why: str = ""
    """What the state rests on."""
    places: tuple[str, ...] = ()
    """What was altered, as far as that can be known."""
    withheld: tuple[str, ...] = ()
    """Parts that were taken out of this copy, as the seal allows."""
    paper: Mapping[str, object] = field(default_factory=dict, repr=False)
    """The sealed parts; empty unless they are as they were sealed."""
    lineage: tuple[Succession, ...] = ()

    def now(self, state: State, why: str, *places: str) -> "Examined":
        """Return the same with another state."""
        return replace(self, state=state, why=why, places=(*self.places, *places))


def altered(why: str, *places: str, statement: Statement | None = None) -> Examined:
    """Return what is to be said of a paper that is not as it was sealed; `statement` is what its station did sign."""
    return Examined(state=State.ALTERED, why=why, places=places, statement=statement)
