"""Analysis of variance of a gauge study, and the variance components that follow from it.

Boards and operators (or benches) are random and crossed, every cell holds the same number of repeats. Where the
interaction does not show (its probability is above the stated one), its squares and degrees of freedom are pooled with
those of the repeats. A component whose estimate falls below zero is zero.

Confidence limits: of repeatability exactly, by chi-squared; of the gauge's share, and of the categories that follow
from it, by critical values made for the study (`gauge_share`); of everything else by generalised pivots: each mean
square stands for its sum of squares over a chi-squared variable, a Sobol sequence runs through all of these at once,
and the limits are the quantiles of what follows, be it below zero. The limits of the share leave the interaction as it
is, pooled or not: those of a model that was chosen by its looks hold less often than they state.

Source: D. C. Montgomery, Design and Analysis of Experiments, chapter on random effects; M. Hamada, S. Weerahandi,
J. Quality Technology 32 (2000) 241, for the pivots; R. K. Burdick, C. M. Borror, D. C. Montgomery, J. Quality
Technology 35 (2003) 342 (all from memory). NIST StRD, a published study and statsmodels judge it in the tests.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from scipy import special

from benchtest.metrology.gauge_share import gauge_share
from benchtest.metrology.pivots import Numbers, pivots

CATEGORY: Final = 1.41
"""Spread of the boards that a category takes, in standard deviations of the gauge: the trade's figure for √2."""
POOL_ABOVE: Final = 0.25
"""Probability of the interaction's F above which it is pooled, unless somebody says otherwise."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Source:
    """One line of an analysis of variance."""

    name: str
    freedom: int
    squares: float
    ratio: float | None = None
    """F; None where nothing is below to compare with."""
    probability: float | None = None
    """Of such an F while the source adds nothing."""

    @property
    def mean_square(self) -> float:
        """Sum of squares over degrees of freedom."""
        return self.squares / self.freedom


@dataclass(frozen=True, kw_only=True, slots=True)
class Estimate:
    """A quantity with its confidence limits."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Components:
    """Variances, and what is made of them."""

    repeatability: Estimate
    operator: Estimate
    interaction: Estimate
    reproducibility: Estimate
    gauge: Estimate
    """Repeatability and reproducibility together."""
    part: Estimate
    total: Estimate
    study: Estimate
    """Gauge over total, as standard deviations."""
    categories: Estimate
    """1.41 · part over gauge, as standard deviations, before it is truncated."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Analysis:
    """A crossed study, analysed."""

    shape: tuple[int, int, int]
    """Parts, operators, repeats."""
    whole: tuple[Source, ...]
    """Part, operator, interaction, repeatability, with the interaction."""
    used: tuple[Source, ...]
    """The same after pooling, or as they are; the sources that the components come from."""
    pooled: bool
    components: Components
    confidence: float


def one_way(groups: Sequence[Numbers]) -> tuple[Source, Source]:
    """Return the lines between and within groups. Two passes, so that no digits are lost."""
    everything = np.concatenate([np.asarray(group, np.float64) for group in groups])
    middle = _mean(everything)
    means = [_mean(group) for group in groups]
    between = math.fsum(group.size * (mean - middle) ** 2 for group, mean in zip(groups, means, strict=True))
    within = math.fsum(math.fsum((group - mean) ** 2) for group, mean in zip(groups, means, strict=True))
    lower = Source(name="within", freedom=everything.size - len(groups), squares=within)
    return _tested(Source(name="between", freedom=len(groups) - 1, squares=between), lower), lower


def _mean(readings: Numbers) -> float:
    mean = math.fsum(readings) / readings.size
    return mean + math.fsum(readings - mean) / readings.size


def crossed(cells: Numbers, *, pool_above: float = POOL_ABOVE, confidence: float = 0.95) -> Analysis:
    """Return the analysis of cells in the shape (parts, operators, repeats).

    With one operator there is neither reproducibility nor an interaction. Raises ValueError for fewer than two parts
    or repeats, or when nothing differs within the cells.
    """
    whole, (parts, operators, repeats) = sources(cells), cells.shape
    interaction = whole[2].probability if operators > 1 else None
    pooled = interaction is not None and interaction > pool_above
    used = _pooled(whole) if pooled else whole
    return Analysis(
        shape=(parts, operators, repeats),
        whole=whole,
        used=used,
        pooled=pooled,
        components=_components(whole, used, (parts, operators, repeats), confidence),
        confidence=confidence,
    )


def sources(cells: Numbers) -> tuple[Source, ...]:
    """Return the lines of the analysis, none pooled. Raises ValueError like `crossed`."""
    parts, operators, repeats = cells.shape
    if parts < 2 or operators < 1 or repeats < 2:
        raise ValueError(f"{parts} boards, {operators} operators and {repeats} repeats are no gauge study")
    whole = _two_way(cells) if operators > 1 else _single(cells)
    if not whole[-1].squares > 0:
        raise ValueError("the repeats of every cell are the same number: repeatability does not show")
    return whole


def _two_way(cells: Numbers) -> tuple[Source, ...]:
    parts, operators, repeats = cells.shape
    cells = cells - _mean(cells.ravel())
    by_part, by_operator, by_cell = cells.mean(axis=(1, 2)), cells.mean(axis=(0, 2)), cells.mean(axis=2)
    both = by_cell - by_part[:, None] - by_operator[None, :]
    repeatability = Source(
        name="repeatability",
        freedom=parts * operators * (repeats - 1),
        squares=math.fsum(((cells - by_cell[:, :, None]) ** 2).ravel()),
    )
    interaction = Source(
        name="board x operator",
        freedom=(parts - 1) * (operators - 1),
        squares=repeats * math.fsum((both**2).ravel()),
    )
    part = Source(name="board", freedom=parts - 1, squares=operators * repeats * math.fsum(by_part**2))
    operator = Source(name="operator", freedom=operators - 1, squares=parts * repeats * math.fsum(by_operator**2))
    lower = interaction if interaction.squares > 0 else repeatability
    return _tested(part, lower), _tested(operator, lower), _tested(interaction, repeatability), repeatability


def _single(cells: Numbers) -> tuple[Source, ...]:
    between, within = one_way([one.ravel() for one in cells])
    named = Source(name="repeatability", freedom=within.freedom, squares=within.squares)
    return _tested(Source(name="board", freedom=between.freedom, squares=between.squares), named), named


def _tested(source: Source, against: Source) -> Source:
    """Return the line with its F against another one."""
    ratio = source.mean_square / against.mean_square if against.squares > 0 else math.inf
    probability = float(special.fdtrc(source.freedom, against.freedom, ratio)) if math.isfinite(ratio) else 0.0
    return Source(
        name=source.name, freedom=source.freedom, squares=source.squares, ratio=ratio, probability=probability
    )


def _pooled(whole: tuple[Source, ...]) -> tuple[Source, ...]:
    part, operator, interaction, repeats = whole
    together = Source(
        name="repeatability (with interaction)",
        freedom=interaction.freedom + repeats.freedom,
        squares=interaction.squares + repeats.squares,
    )
    return _tested(part, together), _tested(operator, together), together


# ---------------------------------------------------------------- components

_Squares: TypeAlias = Mapping[str, Numbers]
_Variances: TypeAlias = Mapping[str, Numbers]


def variances(squares: _Squares, shape: tuple[int, int, int], *, floor: float = 0.0) -> _Variances:
    """Return the variance components of mean squares `board`, `operator`, `interaction`, `repeat`; none below `floor`.

    Without `operator` there was one; without `interaction` it was pooled.
    """
    parts, operators, repeats = shape
    repeat = squares["repeat"]
    inner = squares.get("interaction", repeat)
    zero = np.zeros_like(repeat)
    interaction = np.maximum(floor, (inner - repeat) / repeats)
    operator = np.maximum(floor, (squares["operator"] - inner) / (parts * repeats)) if "operator" in squares else zero
    part = np.maximum(floor, (squares["board"] - inner) / (operators * repeats))
    both = operator + interaction
    return {
        "repeatability": repeat,
        "operator": operator,
        "interaction": interaction,
        "reproducibility": both,
        "gauge": repeat + both,
        "part": part,
        "total": repeat + both + part,
    }


def _keys(used: tuple[Source, ...]) -> tuple[str, ...]:
    return {
        2: ("board", "repeat"),
        3: ("board", "operator", "repeat"),
        4: ("board", "operator", "interaction", "repeat"),
    }[len(used)]


def _components(
    whole: tuple[Source, ...], used: tuple[Source, ...], shape: tuple[int, int, int], confidence: float
) -> Components:
    keys = _keys(used)
    squares = {key: np.array([one.mean_square]) for key, one in zip(keys, used, strict=True)}
    found = {name: float(value[0]) for name, value in variances(squares, shape).items()}
    limits = by_pivots(
        {key: np.array([one.squares]) for key, one in zip(keys, used, strict=True)},
        pivots(tuple(one.freedom for one in used)),
        shape,
        confidence,
    )
    study = _share(whole, shape, confidence, math.sqrt(found["gauge"] / found["total"]))
    low, value, high = (CATEGORY * math.sqrt(1 / one**2 - 1) for one in (study.high, study.value, study.low))
    return Components(
        repeatability=exact_variance(used[-1], confidence),
        study=study,
        categories=Estimate(value=value, low=low, high=high),
        **{
            name: _about(found[name], float(low[0]), float(high[0]))
            for name, (low, high) in limits.items()
            if name != "repeatability"
        },
    )


def by_pivots(
    squares: _Squares, points: Numbers, shape: tuple[int, int, int], confidence: float
) -> Mapping[str, tuple[Numbers, Numbers]]:
    """Return limits of the components for sums of squares, of as many studies as these have elements.

    Only the limits are kept from falling below zero: a part of a sum that were raised to zero would raise its limits.
    """
    drawn = {key: one[:, None] / points[None, :, column] for column, (key, one) in enumerate(squares.items())}
    tails = [(1 - confidence) / 2, (1 + confidence) / 2]
    return {
        name: tuple(np.maximum(0.0, np.quantile(values, tails, axis=1)))
        for name, values in variances(drawn, shape, floor=-math.inf).items()
    }


def _share(whole: tuple[Source, ...], shape: tuple[int, int, int], confidence: float, value: float) -> Estimate:
    """Return gauge over total, as standard deviations."""
    sources = dict(zip(_keys(whole), whole, strict=True))
    squares = {name: np.array([one.mean_square]) for name, one in sources.items()}
    low, high = gauge_share(squares, {name: one.freedom for name, one in sources.items()}, shape, confidence)
    return _about(value, math.sqrt(float(low[0])), math.sqrt(float(high[0])))


def _about(value: float, low: float, high: float) -> Estimate:
    """Return an estimate between its limits, also where one of its parts was raised to zero and the limits were not."""
    return Estimate(value=value, low=min(value, low), high=max(value, high))


def exact_variance(source: Source, confidence: float) -> Estimate:
    """Return a variance with its exact limits, by chi-squared."""
    low, high = (special.chdtri(source.freedom, share) for share in ((1 - confidence) / 2, (1 + confidence) / 2))
    return Estimate(value=source.mean_square, low=source.squares / float(low), high=source.squares / float(high))
