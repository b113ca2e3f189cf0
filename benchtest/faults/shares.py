"""How often a part fails in which way: what a suspicion starts from before anything was measured.

Shares of the failure modes of a part are those of MIL-HDBK-338B, Table 7.6-1 (itself from FMD-91), as they stand in
public copies; not checked against the handbook itself. Modes that the handbook does not have are estimates
(common practice, no source). They rank suspects and never decide on a board.
"""

from collections import Counter
from collections.abc import Iterable
from typing import Final

from benchtest.faults.catalogue import Fault
from benchtest.faults.kinds import ABOUT

HANDBOOK: Final[dict[str, dict[str, float]]] = {
    "relay": {"fails to trip": 0.55, "spurious trip": 0.26, "short": 0.19},
    "connection": {"open": 0.61, "intermittent": 0.23, "short": 0.16},
    "fuse": {"open": 0.08},
    "capacitor": {"short": 0.53, "open": 0.35, "leak": 0.10, "value": 0.02},
    "diode": {"short": 0.49, "open": 0.36, "parameter": 0.15},
    "transistor": {"short": 0.73, "open": 0.27},
    "LED": {"open": 0.70, "short": 0.30},
    "resistor": {"open": 0.59, "parameter": 0.36, "short": 0.05},
    "digital circuit": {"stuck high": 0.28, "stuck low": 0.28, "input open": 0.22, "output open": 0.22},
    "linear circuit": {"improper output": 0.77, "no output": 0.23},
}
"""Part → mode → share; the rows of electrolytic capacitors, film resistors, general diodes and bipolar transistors."""
ESTIMATED: Final[dict[str, dict[str, float]]] = {
    "connection": {"crossed": 0.10, "wrong part": 0.05},
    "digital circuit": {"wrong program": 0.10, "disturbed": 0.05},
}
"""What the handbook has no row for; seldom on a board that has already worked in its machine."""

TAKES_OVER: Final = 30
"""Repairs of a type after which the own history counts as much as the handbook (common practice, no source)."""


def share(part: str, mode: str) -> float:
    """Return the share of a mode among the failures of a part; raise KeyError when nobody knows it."""
    return HANDBOOK[part].get(mode) or ESTIMATED[part][mode]


def priors(faults: Iterable[Fault]) -> dict[str, float]:
    """Return the probability of each fault by its text, before anything was measured; together they are 1.

    Every part is as likely to fail as any other. The kinds of one subject that stand for the same mode of the same part
    share it equally.
    """
    known = tuple(faults)
    same = Counter((fault.subject, ABOUT[fault.kind].part, ABOUT[fault.kind].mode) for fault in known)
    weights = {
        fault.text: share(about.part, about.mode) / same[fault.subject, about.part, about.mode]
        for fault in known
        for about in (ABOUT[fault.kind],)
    }
    whole = sum(weights.values())
    return {text: weight / whole for text, weight in weights.items()}
