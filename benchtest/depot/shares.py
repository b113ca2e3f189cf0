"""What counting tells of a share: exact limits of a proportion, and own failure shares that take over the handbook's.

Limits of a proportion: C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404, by the beta distribution, so that a
hundred thousand cases take no longer than ten. Own shares: the handbook's as a Dirichlet distribution that weighs as
many repairs as `TAKES_OVER`, updated by what was found; each mode's share then has a beta distribution (A. Gelman et
al., Bayesian Data Analysis, 3rd ed., 3.4, from memory). Both checked against SciPy's distributions.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from scipy import special

from benchtest.faults.catalogue import written
from benchtest.faults.shares import ESTIMATED, HANDBOOK, TAKES_OVER

OUTSIDE: Final = 0.025
"""Probability on either side of 95 % limits."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Share:
    """A share with its limits, 95 % between them."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ModeShare:
    """How often a kind of part fails in one way."""

    part: str
    mode: str
    handbook: float
    """Share before any own repair, of all modes that are known."""
    repairs: int
    share: Share


def proportion(count: int, of: int) -> Share:
    """Return the share `count` in `of` with its exact 95 % limits. Raises ValueError for no such count."""
    if not 0 <= count <= of or of == 0:
        raise ValueError(f"{count} in {of} is no proportion")
    low = 0.0 if count == 0 else float(special.betaincinv(count, of - count + 1, OUTSIDE))
    high = 1.0 if count == of else float(special.betaincinv(count + 1, of - count, 1 - OUTSIDE))
    return Share(mean=count / of, low=low, high=high)


def updated(before: Mapping[str, float], counts: Mapping[str, int], *, weight: float = TAKES_OVER) -> dict[str, Share]:
    """Return each mode's share after some repairs; `before` is what it was held to be, and weighs `weight` repairs."""
    whole, seen = sum(before.values()), sum(counts.get(mode, 0) for mode in before)
    found = {}
    for mode, prior in before.items():
        alpha = weight * prior / whole + counts.get(mode, 0)
        rest = weight + seen - alpha
        low, high = (float(special.betaincinv(alpha, rest, side)) for side in (OUTSIDE, 1 - OUTSIDE))
        found[mode] = Share(mean=alpha / (weight + seen), low=low, high=high)
    return found


def own_shares(repairs: Mapping[str, int]) -> tuple[ModeShare, ...]:
    """Return the shares of every kind of part that was repaired; `repairs` counts faults as they are written."""
    counts: dict[str, dict[str, int]] = {}
    for text, count in repairs.items():
        about = written(text).about
        modes = counts.setdefault(about.part, {})
        modes[about.mode] = modes.get(about.mode, 0) + count
    return tuple(one for part in sorted(counts) for one in _of_part(part, counts[part]))


def _of_part(part: str, counts: Mapping[str, int]) -> list[ModeShare]:
    known = {**ESTIMATED.get(part, {}), **HANDBOOK[part]}
    whole = sum(known.values())
    shares = updated(known, counts)
    rows = [
        ModeShare(part=part, mode=mode, handbook=known[mode] / whole, repairs=counts.get(mode, 0), share=share)
        for mode, share in shares.items()
    ]
    return sorted(rows, key=lambda row: -row.share.mean)
