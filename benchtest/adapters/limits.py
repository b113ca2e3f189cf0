"""The bench's hard limits at the last line before the hardware."""

from benchtest.errors import AdapterRefused


def within(value: float, low: float, high: float, what: str) -> None:
    """Raise AdapterRefused unless low <= value <= high; NaN never is."""
    if not low <= value <= high:
        raise AdapterRefused(f"{what} is outside {low:g} to {high:g}, the hard limit of this bench")
