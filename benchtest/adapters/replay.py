"""A recorded run in the place of the bench: what was seen comes back by the name of the move, bit for bit.

Nothing is opened and nothing is energised. A run that was stopped is replayed up to where it ended; a move in its
middle that the run does not hold is a fault of this bench, and named.
"""

from dataclasses import dataclass

from benchtest.errors import Aborted, AdapterRefused
from benchtest.instruments import Capture, Recording, Started, SupplyState
from benchtest.procedure import Move, Procedure, Set
from benchtest.readings import Evidence, Origin, Readings


@dataclass(frozen=True, kw_only=True, slots=True)
class Recalled:
    """A recorded run, read back and checked against its digests."""

    name: str
    """What the run is called: its number, or its folder."""
    serial: str
    """Of the board that was on the bench."""
    procedure: Procedure
    readings: Readings
    """With the origin that the run itself had."""
    ended: str
    """Why the run was not carried to its end; empty when it was."""

    @property
    def origin(self) -> Origin:
        """How real its evidence is at most, once replayed."""
        return max((self.readings.origin, Origin.REPLAYED), key=tuple(Origin).index)


class ReplayBench:
    """A bench on which nothing is."""

    def __init__(self, recalled: Recalled) -> None:
        self._recalled = recalled
        moves = [move for step in recalled.procedure.steps for move in step.moves if not isinstance(move, Set)]
        held = [place for place, move in enumerate(moves) if move.name in recalled.readings.evidence]
        self._beyond = frozenset(move.name for move in moves[max(held, default=-1) + 1 :])

    def recall(self, move: Move) -> Evidence | None:
        """Return what the recorded run saw at a move; nothing for an order without evidence.

        Raises Aborted where the recorded run ended, AdapterRefused where it does not hold the move.
        """
        if isinstance(move, Set):
            return None
        evidence = self._recalled.readings.evidence.get(move.name)
        if evidence is not None:
            return evidence
        if move.name in self._beyond:
            why = f" ({self._recalled.ended})" if self._recalled.ended else ""
            raise Aborted(f"the recorded run {self._recalled.name} ends before {move.name!r}{why}")
        raise AdapterRefused(f"the recorded run {self._recalled.name} does not hold {move.name!r}")

    def identity(self) -> str:
        return f"run {self._recalled.name}, replayed; its readings were {self._recalled.readings.origin}"

    def beat(self) -> None:
        """Do nothing."""

    def check(self) -> None:
        """Do nothing."""

    def off(self, channel: int) -> None:
        """Do nothing: nothing is on."""

    def all_off(self) -> None:
        """Do nothing: nothing is on."""

    def energised(self) -> frozenset[int]:
        return frozenset()

    def set(self, channel: int, value: float) -> None:
        raise self._not_here(f"set channel {channel} to {value:g}")

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        raise self._not_here(f"source {volts:g} V and up to {amps:g} A on channel {channel}")

    def supply_state(self, channel: int) -> SupplyState:
        raise self._not_here(f"read supply {channel}")

    def measure(self, channel: int) -> float:
        raise self._not_here(f"read channel {channel}")

    def begin(self, capture: Capture) -> Started:
        raise self._not_here(f"record channels {capture.channels}")

    def fetch(self) -> Recording:
        raise self._not_here("fetch a recording")

    def _not_here(self, what: str) -> AdapterRefused:
        return AdapterRefused(f"run {self._recalled.name} is replayed: there is no bench to {what}")


def open_replay(recalled: Recalled) -> ReplayBench:
    """Return a recorded run as a bench."""
    return ReplayBench(recalled)
