"""Results and library → suspects, by Bayes' rule over every word that was read.

Hypotheses are each fault alone, the likeliest pairs of faults, and *none of these*: something that the library does not
know, which resembles some known fault but not in everything, so that it is not forced into a wrong name. What was not
tested carries no information. Readings of one run hang together, so their evidence is taken at a discount.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchtest.diagnose.library import Library, Signature
from benchtest.diagnose.symptoms import IN_ORDER
from benchtest.faults.shares import TAKES_OVER

Floats = NDArray[np.float64]

DOUBT: Final = 0.005
"""How many boards the general expectation weighs beside those that were seen."""
STRAY: Final = 0.02
"""Share of checks in which a known fault shows what it showed on no board before."""
UNLIKE: Final = 0.2
"""Probability that an unknown fault leaves a reading in order that the known one which it resembles does not."""
STRANGE: Final = 0.01
"""Probability that it puts a reading out of order which that one leaves so, or does it in another way."""
ONE_WORD: Final = 0.25
"""Of the ways of not being in order, the share of each."""
ALIKE: Final = 0.5
"""What a word counts for another in the same direction: the fault may be worse or slighter than on the boards seen."""
OTHER: Final = 0.005
"""What a word counts for any other word."""
UNKNOWN: Final = 0.04
"""Probability, before anything was read, that a fault is none that is known."""
TWICE: Final = 0.05
"""Probability that a board that fails has two faults."""
DISCOUNT: Final = 0.6
"""What the evidence of one reading counts beside that of an independent one."""
PAIRED: Final = 60
"""Faults of which all pairs are looked at."""
_DIRECTIONS: Final = ({"too high", "far too high", "doubtful", "open"}, {"too low", "far too low", "doubtful"})


@dataclass(frozen=True, kw_only=True, slots=True)
class Sign:
    """One reading that speaks for or against a suspect."""

    check: str
    word: str
    """What was read: a word of `symptoms`."""
    weight: float
    """Nats."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Suspect:
    """A fault, or several that look the same on this bench."""

    faults: tuple[Signature, ...]
    """The likeliest first; none for a fault that is not known."""
    probability: float
    supports: tuple[Sign, ...]
    """Readings that speak for it, the strongest first."""
    opposes: tuple[Sign, ...]
    """Readings that speak against it, the strongest first."""

    @property
    def known(self) -> bool:
        """Whether it has a name."""
        return bool(self.faults)


@dataclass(frozen=True, kw_only=True, slots=True)
class Diagnosis:
    """What is probably wrong with a board, the likeliest first."""

    suspects: tuple[Suspect, ...]
    read: int
    """How many checks said something."""
    off: int
    """How many of them were not in order."""


def diagnose(words: Mapping[str, str], library: Library, repairs: Mapping[str, int] | None = None) -> Diagnosis:
    """Return the suspects of a board of which each check gave a word (`symptoms`); none when all were in order.

    `repairs` counts the own repairs by fault; they take over from the handbook as they grow.
    """
    said = {check.id: words[check.id] for check in library.checks if check.id in words}
    off = {check: word for check, word in said.items() if word != IN_ORDER}
    if not off or not library.signatures:
        return Diagnosis(suspects=(), read=len(said), off=len(off))
    seen = _Seen(said, library)
    chances = seen.chances(_priors(library, repairs or {}))
    groups: dict[tuple[str, ...], list[int]] = {}
    alike = library.alike()
    for place, one in enumerate(library.signatures):
        groups.setdefault(alike[one.fault], []).append(place)
    suspects = [seen.suspect(places, chances) for places in groups.values()]
    suspects.append(Suspect(faults=(), probability=float(chances[-1]), supports=(), opposes=()))
    suspects.sort(key=lambda suspect: -suspect.probability)
    return Diagnosis(suspects=tuple(suspects), read=len(said), off=len(off))


def _priors(library: Library, repairs: Mapping[str, int]) -> Floats:
    """Return the probability of each fault before anything was read: the handbook's, and the own history's."""
    handbook = np.array([one.prior for one in library.signatures])
    handbook = handbook / handbook.sum()
    own = np.array([repairs.get(one.fault, 0) for one in library.signatures], float)
    prior: Floats = (TAKES_OVER * handbook + own) / (TAKES_OVER + own.sum())
    return prior


class _Seen:
    """The words of one board beside those of every fault, as logarithms of probabilities."""

    def __init__(self, said: Mapping[str, str], library: Library) -> None:
        self.said, self.library = said, library
        self.checks = tuple(said)
        self.off = np.array([word != IN_ORDER for word in said.values()])
        self.usual = np.where(self.off, math.log(STRAY * ONE_WORD), math.log(1 - STRAY))
        self.logs = np.array([self._of(one) for one in library.signatures])
        """Shape (faults, checks)."""

    def _of(self, one: Signature) -> Floats:
        """Return the logarithm of each word's probability on a board with this fault."""
        logs = self.usual.copy()
        for place, check in enumerate(self.checks):
            boards = one.reached.get(check, one.boards)
            words = one.words.get(check)
            if words is None and not self.off[place]:
                continue
            count = _like(self.said[check], words or {}, boards)
            usual = math.exp(self.usual[place])
            logs[place] = math.log((count + DOUBT * usual) / (boards + DOUBT))
        return logs

    def chances(self, priors: Floats) -> Floats:
        """Return the probability that each fault is there; the last is that of none of these."""
        alone = DISCOUNT * self.logs.sum(axis=1) + np.log(priors * (1 - TWICE) * (1 - UNKNOWN))
        least = np.where(self.off, math.log(STRANGE), math.log(UNLIKE))
        unlike = DISCOUNT * np.maximum(self.logs, least).sum(axis=1) + np.log(priors)
        unknown = float(np.logaddexp.reduce(unlike)) + math.log(UNKNOWN)
        some, pairs = self._pairs(priors)
        whole = float(np.logaddexp.reduce([*alone, *pairs.ravel(), unknown]))
        chances = np.append(np.exp(alone - whole), math.exp(unknown - whole))
        together = np.exp(pairs - whole)
        chances[some] += together.sum(axis=0) + together.sum(axis=1)
        return chances

    def _pairs(self, priors: Floats) -> tuple[NDArray[np.intp], Floats]:
        """Return the faults that were paired, and the logarithm of each pair above the diagonal."""
        told = self.logs - self.usual
        worth = np.where(self.off, np.maximum(told, 0.0), np.minimum(told, 0.0)).sum(axis=1) + np.log(priors) / 4
        some = np.argsort(-worth)[:PAIRED]
        logs, prior = self.logs[some], priors[some]
        # in order only when both leave it so; out of order when either shows it
        both = np.where(self.off, np.maximum(logs[:, None], logs[None]), logs[:, None] + logs[None] - self.usual).sum(
            axis=2
        )
        chance = DISCOUNT * both + np.log(2 * TWICE * (1 - UNKNOWN) * prior[:, None] * prior[None])
        return some, np.where(np.triu(np.ones_like(chance, bool), 1), chance, -np.inf)

    def suspect(self, places: Sequence[int], chances: Floats) -> Suspect:
        """Return one suspect: faults that look the same, with what speaks for and against the likeliest."""
        ranked = sorted(places, key=lambda place: -chances[place])
        told = DISCOUNT * (self.logs[ranked[0]] - self.usual)
        signs = [
            Sign(check=check, word=self.said[check], weight=float(weight))
            for check, weight in zip(self.checks, told, strict=True)
            if abs(weight) > 0.1
        ]
        unexplained = [
            Sign(check=check, word=self.said[check], weight=float(weight))
            for check, weight, off in zip(self.checks, told, self.off, strict=True)
            if off and weight <= 0.1
        ]
        return Suspect(
            faults=tuple(self.library.signatures[place] for place in ranked),
            probability=float(min(1.0, chances[list(places)].sum())),
            supports=tuple(sorted((one for one in signs if one.weight > 0), key=lambda one: -one.weight)),
            opposes=tuple(
                sorted((one for one in {*signs, *unexplained} if one.weight <= 0.1), key=lambda one: one.weight)
            ),
        )


def _like(word: str, words: Mapping[str, int], boards: int) -> float:
    """Return on how many boards this word was read, or one that says nearly the same."""
    if word == IN_ORDER:
        return boards - sum(words.values())
    counts = 0.0
    for other, count in words.items():
        near = any(word in some and other in some for some in _DIRECTIONS)
        counts += count * (1.0 if other == word else ALIKE if near else OTHER)
    return counts
