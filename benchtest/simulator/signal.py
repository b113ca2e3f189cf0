"""What a channel sees over time, put together from what changes on the board.

A signal is asked in two steps. What it is between two moments is said at once: a number where it rests, else a signal
that follows the board no longer. Its values are worked out when somebody wants them, which for most is never.
"""

from collections.abc import Callable
from typing import Any, Protocol

import numpy as np

from benchtest.simulator.trace import Samples


class Signal(Protocol):
    """One quantity over time."""

    def during(self, begin: float, end: float) -> "Signal | float":
        """Return what it is from `begin` to `end` in seconds, whatever happens afterwards; a number where it rests."""
        ...

    def sample(self, times: Samples) -> Samples | float:
        """Return the values at ascending moments; one number when it is the same at all of them."""
        ...


class Combined:
    """What a function makes of other signals at every moment; it rests where they all do."""

    __slots__ = ("_function", "_parts")

    def __init__(self, function: Callable[..., Any], *parts: Signal | float) -> None:
        self._function, self._parts = function, parts

    def during(self, begin: float, end: float) -> Signal | float:
        """Return what it is between two moments."""
        parts = [part if isinstance(part, float) else part.during(begin, end) for part in self._parts]
        for part in parts:
            if not isinstance(part, float):
                return Combined(self._function, *parts)
        return float(self._function(*parts))

    def sample(self, times: Samples) -> Samples | float:
        """Return the values at moments."""
        values: Samples | float = self._function(
            *(part if isinstance(part, float) else part.sample(times) for part in self._parts)
        )
        return values


class Carried:
    """A signal times a function of time, such as a voltage that alternates; it rests where the signal is nothing."""

    __slots__ = ("_carrier", "_signal")

    def __init__(self, signal: Signal | float, carrier: Callable[[Samples], Samples]) -> None:
        self._signal, self._carrier = signal, carrier

    def during(self, begin: float, end: float) -> Signal | float:
        """Return what it is between two moments."""
        signal = self._signal if isinstance(self._signal, float) else self._signal.during(begin, end)
        return 0.0 if signal == 0.0 else Carried(signal, self._carrier)

    def sample(self, times: Samples) -> Samples | float:
        """Return the values at moments."""
        signal = self._signal if isinstance(self._signal, float) else self._signal.sample(times)
        return self._carrier(times) * signal


class Swinging:
    """A signal with a wave of known height upon it: where the signal rests, it is known how far both go."""

    __slots__ = ("_height", "_signal", "_wave")

    def __init__(self, signal: Signal | float, height: float, wave: Callable[[Samples], Samples]) -> None:
        self._signal, self._height, self._wave = signal, height, wave

    def during(self, begin: float, end: float) -> Signal | float:
        """Return what it is between two moments."""
        signal = self._signal if isinstance(self._signal, float) else self._signal.during(begin, end)
        return Swinging(signal, self._height, self._wave) if self._height else signal

    def sample(self, times: Samples) -> Samples | float:
        """Return the values at moments."""
        signal = self._signal if isinstance(self._signal, float) else self._signal.sample(times)
        return signal + self._height * self._wave(times)

    @property
    def ends(self) -> tuple[float, float] | None:
        """What no value lies outside of, where the signal beneath rests."""
        return (
            None if not isinstance(self._signal, float) else (self._signal - self._height, self._signal + self._height)
        )


def ends(signal: Signal | float) -> tuple[float, float] | None:
    """Return what no value of a signal lies outside of, where that is known without working out values."""
    if isinstance(signal, float):
        return signal, signal
    return signal.ends if isinstance(signal, Swinging) else None


def constant(value: float) -> Signal:
    """Return a signal that never changes."""
    return Combined(lambda: value)


DARK = constant(0.0)
"""Nothing at all, ever."""


def clipped(values: Samples | float, low: float, high: float) -> Samples | float:
    """Return values that lie between two ends at least and at most."""
    return min(max(values, low), high) if isinstance(values, float) else np.clip(values, low, high)


def at(signal: Signal, moment: float) -> float:
    """Return the value of a signal at one moment."""
    now = signal.during(moment, moment)
    return now if isinstance(now, float) else float(np.broadcast_to(now.sample(np.array([moment])), 1)[0])
