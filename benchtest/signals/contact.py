"""What a switched signal did: first arrival at a state, bounce, state in a window.

A contact jumps: its moment lies anywhere between the last sample before and the first one after, so the middle is
reported and one sample interval is its uncertainty. Operate and release time count to the *first* arrival; bounce is
counted apart, from the first making to the last closing or opening.

Source: MIL-R-5757J, 6.8 (operate time excludes bounce; bounce from first make to the end of making and breaking).
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from benchtest.signals.levels import Samples, crossings

Side = Literal["above", "below", "between", "changing"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Arrival:
    """How a signal came to a state."""

    moment: float | None
    """Samples from the beginning, midway between two samples; None when it did not arrive."""
    already: bool = False
    """It was in the state before."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Bouncing:
    """How a contact settled."""

    duration: float
    """Samples from the first making to the last change."""
    count: int
    """How often it opened again."""
    settled: bool
    """It was made at the end."""


def arrival(samples: Samples, *, low: float, high: float, above: bool, after: int) -> Arrival:
    """Return the first arrival at the state later than sample `after`.

    `after` is the last sample that may not know of the cause; where it is in the state already, there is no arrival.
    With `after` below zero the first sample stands for it.
    """
    begin = max(after, 0)
    inside = samples[begin:] >= high if above else samples[begin:] <= low
    if not inside.size:
        return Arrival(moment=None)
    if inside[0]:
        return Arrival(moment=None, already=True)
    step = int(np.argmax(inside))
    return Arrival(moment=begin + step - 0.5 if step else None)


def bouncing(samples: Samples, *, low: float, high: float) -> Bouncing | None:
    """Return how a contact settled after its first making; None when it was never made.

    Made is below `low`, open above `high`; a partial opening is none.
    """
    changes = crossings(samples, low=low, high=high)
    made = 0 if changes.first is False else 1
    if changes.first is None or (made and not changes.index.size):
        return None
    start = int(changes.index[0]) if made else int(np.argmax(samples <= low))
    later = changes.index[made:]
    end = int(later[-1]) if later.size else start
    return Bouncing(duration=float(end - start), count=int(changes.rising[made:].sum()), settled=changes.last is False)


def side(samples: Samples, *, low: float, high: float) -> Side:
    """Return where all samples lie, `changing` when not all on one side.

    An empty window is `changing` too: it shows no state.
    """
    above, below = samples >= high, samples <= low
    if not samples.size:
        return "changing"
    if above.all():
        return "above"
    if below.all():
        return "below"
    return "changing" if above.any() or below.any() else "between"
