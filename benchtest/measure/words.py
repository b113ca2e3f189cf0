"""What was measured, for people: one line per quantity, notes beneath."""

from collections.abc import Iterator

from benchtest.measure.measured import Measured, Quantity
from benchtest.metrology.figures import figures


def lines(measured: Measured) -> Iterator[str]:
    """Yield the table of a measured capture."""
    yield f"{measured.kind}: {measured.file}"
    width = max((len(one.name) for one in measured.quantities), default=0)
    for one in measured.quantities:
        yield f"  {one.name:<{width}}  {_found(one)}{f'  ({one.note})' if one.note else ''}"
    for note in measured.notes:
        yield f"  note: {note}"


def definitions(measured: Measured) -> Iterator[str]:
    """Yield what each quantity means, each meaning once."""
    for one in measured.quantities:
        yield f"  {one.name}: {one.definition}"


def _found(one: Quantity) -> str:
    return "not observed" if one.value is None else figures(one.value, one.uncertainty, one.unit)
