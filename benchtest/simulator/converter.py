"""The simulated data acquisition: gain, offset, noise, and 16-bit codes, within what the fixture promises.

Gain and offset errors are drawn once per channel and seed, to at most half of the stated accuracy. One code is the
fixture's resolution, unless the range asks for coarser ones.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchtest.fixture.document import Accuracy, Fixture
from benchtest.instruments import Role
from benchtest.simulator.noise import Chance
from benchtest.simulator.trace import Samples

USED: Final = 0.5
"""Share of the stated accuracy that a channel in order takes up at most."""
NOISE: Final = 0.5
"""Standard deviation of the converter's noise, in codes."""
_RANGES: Final = {Role.SENSE: 40.0, Role.CONTACT: 15.0, Role.LIGHT: 1.2}
"""Full scale; 24 V a.c. has a peak of 34 V. Currents follow the bench's limit."""
_FINEST: Final = 32000


@dataclass(frozen=True, kw_only=True, slots=True)
class Converter:
    """One measuring channel."""

    scale: float
    """SI value of one code."""
    gain: float
    offset: float
    """SI value that is read at zero."""

    def true_to_read(self, value: float) -> float:
        """Return an averaged reading of a true value, without noise."""
        return value * self.gain + self.offset

    def codes(self, values: Samples | float, noise: NDArray[np.float32]) -> NDArray[np.int16]:
        """Return the codes of true values; beyond the range they stay at its end."""
        exact = np.asarray(values) * (self.gain / self.scale) + self.offset / self.scale
        codes = noise * np.float32(NOISE)
        codes += exact.astype(np.float32)
        np.rint(codes, out=codes)
        np.minimum(codes, 32767, out=codes)
        np.maximum(codes, -32768, out=codes)
        return codes.astype(np.int16)

    def reach(self, low: float, high: float, most: float) -> tuple[float, float]:
        """Return what no code of true values lies outside under noise of up to `most` standard deviations."""
        gain, offset = self.gain / self.scale, self.offset / self.scale
        noise = NOISE * most + 2  # codes: half a one is rounded to the next, and single precision rounds too
        low, high = low * gain + offset - noise, high * gain + offset + noise
        return min(max(low, -32768.0), 32767.0), min(max(high, -32768.0), 32767.0)


def converter(channel: int, role: Role, fixture: Fixture, chance: Chance) -> Converter:
    """Draw the converter of one channel."""
    accuracy: Accuracy = getattr(fixture.accuracy, role.value)
    full_scale = _RANGES.get(role, 1.05 * fixture.limits.current)
    gain, offset = chance.stream(f"converter {channel} {role}").uniform(-USED, USED, size=2)
    return Converter(
        scale=max(accuracy.resolution, full_scale / _FINEST),
        gain=1 + float(gain) * accuracy.of_reading,
        offset=float(offset) * accuracy.plus,
    )
