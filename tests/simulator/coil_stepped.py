"""An outside judge of the coil's closed form: the same circuit in flux linkage, stepped by scipy with events."""

from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from benchtest.simulator.coil import Coil
from benchtest.simulator.trace import Samples

TIGHT = {"method": "DOP853", "rtol": 1e-10, "dense_output": True}


class Stepped:
    """Follows the flux linkage from switching to the last of `times`; says what it saw."""

    def __init__(self, coil: Coil, times: Samples, *, volts: float, amps: float, closed: bool) -> None:
        self.values = np.zeros(times.shape)
        self.moves: float | None = None
        self.ended: float | None = None
        self._coil, self._volts, self._times = coil, volts, times
        self._now, self._amps = 0.0, amps
        here, there = coil.open_inductance, coil.closed_inductance
        if closed:
            here, there = there, here
        moved = self._stretch(here, 0.0, float(times[-1]), until=coil.drop_out if closed else coil.pull_in)
        if not moved:
            return
        self.moves = self._now
        travel = coil.travel_off if closed else coil.travel_on
        self._stretch(here, (there - here) / travel, self._now + travel)
        self._stretch(there, 0.0, float(times[-1]))

    def _stretch(self, henry: float, slope: float, end: float, until: float | None = None) -> bool:
        """Step to `end`, to the current `until` or to nothing; return whether it was `until`."""
        begin = self._now
        if self.ended is not None or end <= begin:
            return False

        def inductance(moment: Any) -> Any:
            return henry + slope * (moment - begin)

        def change(moment: float, flux: Samples) -> Samples:
            return np.asarray(self._volts - self._coil.resistance * flux / inductance(moment))

        def nothing(moment: float, flux: Samples) -> float:  # noqa: ARG001 - scipy calls with both
            return float(flux[0])

        def threshold(moment: float, flux: Samples) -> float:
            return float(flux[0] / inductance(moment)) - (until or 0.0)

        events = [nothing] * (self._volts < 0) + [threshold] * (until is not None)
        for event in events:
            event.terminal = True  # type: ignore[attr-defined]
        begun = [inductance(begin) * self._amps]
        floor = 1e-12 * henry * (self._amps + abs(self._volts) / self._coil.resistance)
        found = solve_ivp(change, (begin, end), begun, events=events, atol=floor, **TIGHT)
        self._now = float(found.t[-1])
        self._amps = float(found.y[0, -1] / inductance(self._now))
        here = (self._times >= begin) & (self._times <= self._now)
        if here.any():
            self.values[here] = found.sol(self._times[here])[0] / inductance(self._times[here])
        fired = {event.__name__ for event, moments in zip(events, found.t_events or [], strict=True) if len(moments)}
        if "nothing" in fired:
            self.ended = self._now
        return "threshold" in fired
