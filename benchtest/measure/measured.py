"""What was measured in a capture: quantities with the definitions used, and the marks that show where they come from.

Everything here is a value: the table, the JSON and the picture are three ways to print the same thing. A quantity that
could not be had is there too, as a word or as nothing, with a note why; it is never left out and never guessed.
"""

from dataclasses import dataclass
from typing import Final, Literal

from benchtest.signals.series import Sampled, Series, Stamped, Uneven


class Unmeasurable(Exception):
    """What is asked cannot be answered by these channels; the message says why and what to try."""


FORMAT: Final = "benchtest-measured/1"

Kind = Literal["contact", "coil", "supply", "lamp", "link", "resistance"]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Input:
    """One channel of a capture, to be measured."""

    name: str
    unit: str
    """SI unit; empty where nobody said."""
    series: Series
    notes: tuple[str, ...] = ()
    """What its reader noticed."""

    @property
    def samples(self) -> Sampled | Uneven:
        """Return the series where samples are needed. Raises Unmeasurable for a channel of states."""
        if isinstance(self.series, Stamped):
            raise Unmeasurable(f"{self.name} holds states where samples are needed (name another channel)")
        return self.series


@dataclass(frozen=True, kw_only=True, slots=True)
class Quantity:
    """One quantity, found or not."""

    name: str
    value: float | str | None
    """SI value, or a word; None when it could not be had."""
    unit: str = ""
    """SI unit; empty for words and counts; `%` for a ratio, which is kept as it is and printed times hundred."""
    definition: str
    """What exactly was measured, and after whom."""
    uncertainty: float | None = None
    """Expanded uncertainty U (k = 2) in the unit, of sampling, scatter and what was said of the instrument."""
    note: str = ""
    """What a person should know: a lower bound, why not observed, the raw pattern."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Mark:
    """A moment that was found on a trace."""

    at: float
    """Seconds of the capture."""
    text: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Level:
    """A level that was found or used on a trace."""

    value: float
    """In the trace's unit."""
    text: str


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Trace:
    """A channel as it was read, with what was found on it."""

    name: str
    unit: str
    series: Series
    marks: tuple[Mark, ...] = ()
    levels: tuple[Level, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Measured:
    """Everything that was measured in one capture."""

    kind: Kind
    file: str
    quantities: tuple[Quantity, ...]
    notes: tuple[str, ...] = ()
    """What the reader of the file noticed, and what was left out."""
    traces: tuple[Trace, ...] = ()
    settled: bool = True
    """False when the main question stayed open: doubtful, not observed, not settled."""
