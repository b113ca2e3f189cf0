"""What stands on a hook-up sheet, ready to be set: words and drawings, no more questions."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """One wire at one pin."""

    role: str
    """What the wire is for, in words."""
    style: str
    """Which line it is drawn as: a role, `link` or `none`."""
    text: str
    """`supply 201 +`, or `not wired`."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Pin:
    """One pin of a connector."""

    number: int
    entries: tuple[Entry, ...]
    purpose: str
    """What the profile says is there, such as `shade_switch`."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Drawn:
    """One connector, drawn."""

    name: str
    use: str
    pins: str
    """`8 pins`."""
    remark: str
    """What must be done or left, such as `STAYS EMPTY`; else empty."""
    svg: str
    height: float
    """Of the drawing, in its own units."""
    alternative: str
    """The drawing in words."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One line of the wire list, or of the table of plugs."""

    cells: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Sheet:
    """One hook-up sheet."""

    title: str
    board: str
    choice: str
    """Variant and options; empty where there is no choice."""
    bench: str
    watermark: str
    """SIMULATED, or nothing."""
    made: str
    """Date, ISO 8601."""
    identity: str
    """Documents and their digests, and the program."""
    cautions: tuple[str, ...]
    adapters: tuple[Row, ...]
    """Adapter, driver, port, identity, dead-man time."""
    connectors: tuple[Drawn, ...]
    left: int
    """How many of them make the first of two columns."""
    stays_empty: str
    """What must stay empty, in one sentence."""
    plugs: tuple[Row, ...]
    """Plug, what tells that it is missing, when."""
    swaps: tuple[Row, ...]
    """Two plugs, what tells that they are swapped, when."""
    wires: tuple[Row, ...]
    """Terminals, role, adapter and channel, what for."""
    own_wires: tuple[str, ...]
    """What the bench checks itself with, in sentences."""
    legend: str
