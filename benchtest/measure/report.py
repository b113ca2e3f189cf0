"""What was measured, for machines: full precision, every definition used."""

import math
from typing import Any

from benchtest.measure.measured import FORMAT, Measured, Quantity, Trace


def as_json(measured: Measured) -> dict[str, Any]:
    """Return the whole of it but for the samples; numbers are exact, what JSON cannot say is a word."""
    return {
        "format": FORMAT,
        "kind": measured.kind,
        "file": measured.file,
        "settled": measured.settled,
        "quantities": [_quantity(one) for one in measured.quantities],
        "marks": [mark for trace in measured.traces for mark in _marks(trace)],
        "levels": [level for trace in measured.traces for level in _levels(trace)],
        "notes": list(measured.notes),
    }


def _quantity(one: Quantity) -> dict[str, Any]:
    return {
        "name": one.name,
        "value": _number(one.value),
        "unit": one.unit,
        "uncertainty": _number(one.uncertainty),
        "coverage": None if one.uncertainty is None else 2.0,
        "definition": one.definition,
        "note": one.note,
    }


def _marks(trace: Trace) -> list[dict[str, Any]]:
    return [{"channel": trace.name, "at": _number(mark.at), "text": mark.text} for mark in trace.marks]


def _levels(trace: Trace) -> list[dict[str, Any]]:
    return [{"channel": trace.name, "value": _number(one.value), "text": one.text} for one in trace.levels]


def _number(value: float | str | None) -> float | str | None:
    """Return what JSON can say: a number that is none, or has no end, becomes a word."""
    if isinstance(value, str) or value is None:
        return value
    if math.isnan(value):
        return "not a number"
    return float(value) if math.isfinite(value) else ("infinite" if value > 0 else "-infinite")
