"""The wires that a simulated bench has for its own check, and what may be wrong with them.

A loop shows what its drive does; the test light shines into every lamp sensor. With a drive that stays as it is, its
board sees the same: the relay of the bench is what has failed.
"""

from collections.abc import Iterable
from operator import mul
from typing import Final

from benchtest.faults import Defect
from benchtest.faults.defects import Wrong
from benchtest.fixture.self_check import SelfCheck
from benchtest.simulator.events import Events
from benchtest.simulator.signal import Combined, Signal, clipped, constant
from benchtest.simulator.trace import Samples, Trace

BRIGHT: Final = 0.8
"""Share of full scale that the test light gives a sensor."""
DRAGS: Final = 0.025
"""Seconds that a slow drive of the bench comes late."""
FAST: Final = 1.01
"""Seconds that a fast clock counts in one."""
LOW: Final = 0.9
"""What a channel that reads low makes of a volt."""


class OwnWires:
    """Loops, test light and defects of one simulated bench."""

    def __init__(self, events: Events, wires: SelfCheck, defects: Iterable[Defect]) -> None:
        self._events, self._wires = events, wires
        self._wrong = {(defect.part, defect.channel): defect.wrong for defect in defects}
        self._lit = Trace()
        self._loops = {drive: Trace() for drive in wires.drives}
        for drive in wires.drives:
            self.drive(drive, on=False)

    @property
    def pace(self) -> float:
        """Real over written seconds of the recording adapter's clock, beside what its statement permits."""
        return 1 / FAST if ("clock", 0) in self._wrong else 1.0

    def drive(self, channel: int, *, on: bool) -> bool:
        """Let an own wire follow its drive; return what the drive's contact does, whatever it was told."""
        wrong = self._wrong.get(("drive", channel))
        closed = wrong is Wrong.STAYS_CLOSED or (on and wrong is not Wrong.STAYS_OPEN)
        moved = self._lit if channel == self._wires.test_light else self._loops.get(channel)
        if moved is not None:
            volts = 1.0 if moved is self._lit else self._wires.level
            if wrong is Wrong.SLOW:
                self._events.after(DRAGS, lambda: moved.set(self._events.now, volts * closed))
            else:
                moved.set(self._events.now, volts * closed)
        return closed

    def loops(self) -> dict[int, Signal]:
        """Return what each channel that reads a drive back sees."""
        return {sense: self._loops[drive] for drive, sense in self._wires.drives.items()}

    def seen(self, channel: int, sensor: Signal) -> Signal:
        """Return what a lamp sensor sees, with the test light beside its lamp."""
        wrong = self._wrong.get(("light", channel))
        if wrong is not None:
            return constant(BRIGHT if wrong is Wrong.DAZZLED else 0.0)
        return sensor if self._wires.test_light is None else Combined(_both, sensor, self._lit)

    def sees(self, channel: int) -> bool:
        """Return whether a lamp sensor follows the light."""
        return ("light", channel) not in self._wrong

    def read(self, channel: int, signal: Signal) -> Signal:
        """Return what a sense channel makes of its signal."""
        if ("sense", channel) not in self._wrong:
            return signal
        return Combined(mul, signal, LOW)


def _both(seen: Samples | float, light: Samples | float) -> Samples | float:
    """Return what a sensor sees with the test light beside its lamp."""
    if isinstance(light, float) and not light:
        return seen
    return clipped(seen + BRIGHT * light, 0.0, 1.0)
