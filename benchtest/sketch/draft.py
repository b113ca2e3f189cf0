"""What is known of a board before anybody has measured one: connectors, and what sits on their pins.

A draft is what a person answers, or what a connector table says; `sketch.writing` makes a profile of it. Frozen, and
refused at birth where a thing cannot be: every sentence says where it comes from (a row of a table, an answer).
"""

from dataclasses import dataclass
from typing import Literal

from benchtest.terminals import Pair


@dataclass(frozen=True, kw_only=True, slots=True)
class Plug:
    """One connector."""

    name: str
    pins: int
    use: str
    keep_empty: bool = False
    bridged: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Feed:
    """A supply, or a voltage that the board makes itself."""

    name: str
    terminals: Pair
    volts: str
    """As it is written: `24 V`."""
    kind: Literal["dc", "ac", "rail"] = "dc"
    amps: str = ""
    """Current limit of a supply; empty when it is not known."""
    lamp: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Control:
    """An input of the board."""

    name: str
    terminals: Pair
    use: str
    kind: Literal["level", "dry contact"]
    volts: str = ""
    """Of a level."""
    rest: str = ""
    """State at rest where it is not the usual one."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Switch:
    """A relay."""

    name: str
    load: str
    make: Pair | None
    break_: Pair | None
    command: str
    """Input that energises it; empty when it is not known."""
    lamp: str = ""
    coil: Pair | None = None

    @property
    def form(self) -> str:
        """Form of its contact."""
        return "C" if self.make and self.break_ else "A" if self.make else "B"


@dataclass(frozen=True, kw_only=True, slots=True)
class Draft:
    """Everything that is known."""

    part: str
    name: str
    revisions: tuple[str, ...] = ("A",)
    plugs: tuple[Plug, ...] = ()
    feeds: tuple[Feed, ...] = ()
    controls: tuple[Control, ...] = ()
    switches: tuple[Switch, ...] = ()
    link: Pair | None = None
    """Where a link is; what is said on it is not known from a table."""
