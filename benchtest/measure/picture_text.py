"""Texts of marks and levels, the same in the picture and in the JSON."""

from benchtest.metrology.figures import PREFIXED, plain


def mark_text(name: str, seconds: float) -> str:
    """Return a mark's text with its moment: `first make 12.3 ms`."""
    return f"{name} {plain(seconds, 's', digits=6)}"


def level_text(name: str, value: float, unit: str) -> str:
    """Return a level's text: `high 11.9 V`."""
    return f"{name} {plain(value, unit)}" if unit in PREFIXED else f"{name} {value:.4g} {unit}".rstrip()
