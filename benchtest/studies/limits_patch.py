"""Proposed limits as a patch of the profile: text that a person reads, applies or throws away.

A limit is found by the line that the runs name and by the values that they were judged with, so that a profile that has
changed since is not patched in the wrong place. The value is written in the unit that stands there.
"""

import difflib
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from benchtest.documents.source import decode, read_bytes
from benchtest.documents.tree import KeyPath, Mark, Tree, grow
from benchtest.quantities import CURRENT, DURATION, FREQUENCY, RATIO, RESISTANCE, VOLTAGE, Dimension, parse
from benchtest.studies.limits import Proposal, resolved

_DIMENSIONS: Mapping[str, Dimension] = {
    "V": VOLTAGE,
    "A": CURRENT,
    "Ω": RESISTANCE,
    "s": DURATION,
    "Hz": FREQUENCY,
    "%": RATIO,
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Patch:
    """A unified diff, and which proposals are not in it and why."""

    text: str
    left_out: tuple[str, ...]


def patch(profile: Path, proposals: Sequence[Proposal]) -> Patch:
    """Return the proposals as a diff of a profile. Raises DocumentError when the profile cannot be read."""
    text = decode(profile, read_bytes(profile))
    tree, lines = grow(text), text.splitlines(keepends=True)
    new, left_out = list(lines), list[str]()
    changes: list[tuple[Mark, str, str]] = []
    for proposal in proposals:
        found = list(_scalars(tree, proposal))
        if not resolved(proposal):
            left_out.append(f"{proposal.place}: too close for this bench ({', '.join(proposal.titles[:2])})")
        elif found:
            changes += found
        else:
            left_out.append(
                f"{proposal.place}: no limit of these values is written there ({', '.join(proposal.titles[:2])})"
            )
    for mark, old, put in sorted(changes, key=lambda change: (change[0].line, -change[0].column)):
        line, at = new[mark.line - 1], mark.column - 1
        at += line[at:].index(old)  # past a quote
        new[mark.line - 1] = line[:at] + put + line[at + len(old) :]
    name = profile.as_posix().lstrip("/")
    diff = difflib.unified_diff(lines, new, f"a/{name}", f"b/{name}")
    return Patch(text="".join(line if line.endswith("\n") else f"{line}\n" for line in diff), left_out=tuple(left_out))


def _scalars(tree: Tree, proposal: Proposal) -> Iterator[tuple[Mark, str, str]]:
    """Yield place, old text and new text of each bound of the one limit that is meant; nothing when none is."""
    line = int(number) if (number := proposal.place.rpartition(":")[2]).isdigit() else 0
    fitting = [
        (path, limits)
        for path, mark in tree.values.items()
        if mark.line == line and _means(limits := _at(tree.value, path), proposal)
    ]
    if len(fitting) != 1:
        return
    path, limits = fitting[0]
    for key, value in (("min", proposal.new_low), ("max", proposal.new_high)):
        if key in limits and math.isfinite(value):
            yield tree.values[(*path, key)], str(limits[key]), _written(value, str(limits[key]))


def _at(value: Any, path: KeyPath) -> Any:
    for key in path:
        value = value[key]
    return value


def _means(limits: Any, proposal: Proposal) -> bool:
    """Return whether a mapping is a limit with the values that the runs were judged with."""
    if not isinstance(limits, dict) or not limits or not set(limits) <= {"min", "max"}:
        return False
    dimension = _DIMENSIONS.get(proposal.unit)
    if dimension is None:
        return False
    for key, value in (("min", proposal.low), ("max", proposal.high)):
        if (key in limits) != math.isfinite(value):
            return False
        try:
            if key in limits and not math.isclose(parse(limits[key], dimension), value, rel_tol=1e-9):
                return False
        except ValueError:
            return False
    return True


def _written(value: float, old: str) -> str:
    """Return a value in the unit of the text that it takes the place of: 9.2 ms for 0.0092 and '12 ms'."""
    unit = old.lstrip("+-.0123456789eE ")
    gap = " " if " " in old else ""
    scale = next(parse(f"1 {unit}", one) for one in _DIMENSIONS.values() if _knows(unit, one))
    shifted = (Decimal(repr(value)) / Decimal(repr(scale))).normalize()
    return f"{shifted:f}{gap}{unit}"


def _knows(unit: str, dimension: Dimension) -> bool:
    try:
        parse(f"1 {unit}", dimension)
    except ValueError:
        return False
    return True
