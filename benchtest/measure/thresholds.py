"""Where the two states of a captured channel lie: as the person says, else from the record's own levels.

A record that shows one level only has no thresholds of its own. That is said with the way out, never guessed.
"""

from dataclasses import dataclass
from typing import Final

from benchtest.measure.measured import Input, Level, Unmeasurable
from benchtest.measure.picture_text import level_text
from benchtest.signals.levels import States, states
from benchtest.signals.series import Stamped
from benchtest.signals.transitions import suggest_thresholds

PERCENT: Final = (30.0, 70.0)
"""Of the swing, where nobody said; far from both levels and from noise on them (common practice)."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class TwoStates:
    """A channel as states, and what they were told apart by."""

    states: States | None
    """None when the record does not show two levels and nobody said where they are."""
    levels: tuple[Level, ...] = ()
    note: str = ""
    swing: float = 0.0
    """High less low level, in the channel's unit; 0 where unknown."""


def two_states(channel: Input, *, low: float | None, high: float | None) -> TwoStates:
    """Return a channel's states. Raises Unmeasurable when only one threshold is given, or low is not below high."""
    if (low is None) != (high is None):
        raise Unmeasurable("one threshold alone tells no states apart (give --low and --high)")
    if isinstance(channel.series, Stamped):
        return TwoStates(states=states(channel.series, low=0.0, high=1.0))
    if low is not None and high is not None:
        if not low < high:
            raise Unmeasurable(f"the low threshold {low:g} is not below the high one {high:g} (swap --low and --high)")
        levels = (
            Level(value=low, text=level_text("low", low, channel.unit)),
            Level(value=high, text=level_text("high", high, channel.unit)),
        )
        return TwoStates(states=states(channel.series, low=low, high=high), levels=levels, note="thresholds as given")
    return _suggested(channel)


def _suggested(channel: Input) -> TwoStates:
    found = suggest_thresholds(channel.series, percent=PERCENT)
    if found.low is None or found.high is None or found.levels.low is None or found.levels.high is None:
        return TwoStates(
            states=None, note=f"{channel.name}: {found.levels.reason} (say where the states are: --low, --high)"
        )
    levels = (
        Level(value=found.low, text=level_text(f"{PERCENT[0]:g} %", found.low, channel.unit)),
        Level(value=found.high, text=level_text(f"{PERCENT[1]:g} %", found.high, channel.unit)),
        Level(value=found.levels.low, text=level_text("low level", found.levels.low, channel.unit)),
        Level(value=found.levels.high, text=level_text("high level", found.levels.high, channel.unit)),
    )
    note = f"{channel.name}: thresholds at {PERCENT[0]:g} % and {PERCENT[1]:g} % of its own swing"
    left = found.levels.unread + found.levels.saturated
    if left:
        note += f"; {left} samples that are no numbers left out"
    return TwoStates(
        states=states(channel.series, low=found.low, high=found.high),
        levels=levels,
        note=note,
        swing=found.levels.high - found.levels.low,
    )
