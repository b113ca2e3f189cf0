"""Do the limits hold what they say? Studies of simulated readings whose truth is known, again and again.

Every line draws samples from a population, works out the limits by the code of the studies, and counts how often they
hold the truth. The share must agree with the stated confidence as far as counting allows; where a method is not exact,
or is cautious on purpose, its line says so.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from scipy import special

from benchtest.metrology.capability import capability, nearer_limits
from benchtest.metrology.gauge_share import gauge_share
from benchtest.metrology.paired_differences import percentile
from benchtest.metrology.pivots import pivots
from benchtest.metrology.tolerance_limits import one_sided, ranked, two_sided
from benchtest.metrology.variance_components import Source, by_pivots, exact_variance, variances
from benchtest.studies.limits import believed
from benchtest.studies.readings import Numbers
from benchtest.studies.report import Report, Table

DRAWS: Final = 10_000
CONFIDENCE: Final = 0.95
COUNTING: Final = 0.99
"""Confidence of the limits of a counted share."""
NOT_EXACT: Final = (
    "not held to agree in every case: Cpk between two limits, and variances of the gauge and the boards by pivots"
)
CHUNK: Final = 250
PIVOTS: Final = 12
"""Power of two: points for the pivots of one simulated gauge study."""
Trial: TypeAlias = Callable[[np.random.Generator, int], tuple[int, float]]
"""Draws so many samples; returns how often the limits held the truth, and what was stated."""
Factor: TypeAlias = Callable[..., float]
"""Of tolerance limits."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """One kind of limits."""

    name: str
    exact: bool
    """Whether the share must be the stated one, as far as counting tells; else the method is approximate."""
    trial: Trial


@dataclass(frozen=True, kw_only=True, slots=True)
class Counted:
    """What came of it."""

    name: str
    exact: bool
    stated: float
    held: int
    draws: int
    low: float
    high: float
    """Exact limits of the share, with COUNTING confidence."""

    @property
    def agrees(self) -> bool:
        """Whether the stated confidence lies within what counting allows."""
        return self.low <= self.stated <= self.high


def _moments(chance: np.random.Generator, draws: int, count: int) -> tuple[Numbers, Numbers]:
    """Return means and standard deviations of samples of a standard normal population."""
    samples = chance.standard_normal((draws, count))
    return samples.mean(axis=1), samples.std(axis=1, ddof=1)


def _tolerance_one(count: int) -> Trial:
    def trial(chance: np.random.Generator, draws: int) -> tuple[int, float]:
        mean, deviation = _moments(chance, draws, count)
        k = one_sided(count, count - 1, coverage=0.95, confidence=CONFIDENCE)
        return int(np.count_nonzero(special.ndtr(mean + k * deviation) >= 0.95)), CONFIDENCE

    return trial


def _tolerance_two(count: int) -> Trial:
    def trial(chance: np.random.Generator, draws: int) -> tuple[int, float]:
        mean, deviation = _moments(chance, draws, count)
        k = two_sided(count, count - 1, coverage=0.95, confidence=CONFIDENCE)
        inside = special.ndtr(mean + k * deviation) - special.ndtr(mean - k * deviation)
        return int(np.count_nonzero(inside >= 0.95)), CONFIDENCE

    return trial


def _ranks(count: int) -> Trial:
    def trial(chance: np.random.Generator, draws: int) -> tuple[int, float]:
        found = ranked(count, sides=2, coverage=0.95, confidence=CONFIDENCE)
        assert found is not None, "there are enough"
        ordered = np.sort(chance.random((draws, count)), axis=1)  # of any continuous population
        inside = ordered[:, -found.rank] - ordered[:, found.rank - 1]
        return int(np.count_nonzero(inside >= 0.95)), found.confidence

    return trial


def _scatter_taken_out(count: int, share: float, factor: Factor) -> Trial:
    """Boards of variance 1 - share read with a known scatter of variance `share`; limits must hold the boards."""

    def trial(chance: np.random.Generator, draws: int) -> tuple[int, float]:
        mean, deviation = _moments(chance, draws, count)
        taken = [round(believed(share / spread**2, count - 1), 3) for spread in deviation.tolist()]  # few factors
        factors = [factor(count, count - 1, coverage=0.95, confidence=CONFIDENCE, taken=one) for one in taken]
        half, boards = factors * deviation, np.sqrt(1 - share)
        below = 0.0 if factor is one_sided else special.ndtr((mean - half) / boards)
        return int(np.count_nonzero(special.ndtr((mean + half) / boards) - below >= 0.95)), CONFIDENCE

    return trial


def _cp(count: int) -> Trial:
    def trial(chance: np.random.Generator, draws: int) -> tuple[int, float]:
        _, deviation = _moments(chance, draws, count)
        held = 0
        for one in deviation.tolist():
            found = capability(0.0, one, count=count, freedom=count - 1, low=-4.0, high=4.0).spread
            assert found is not None, "there are two limits"
            held += found.low <= 4 / 3 <= found.high
        return held, CONFIDENCE

    return trial


def _cpk(count: int, low: float) -> Trial:
    """The upper limit at 4 standard deviations; the lower as far below, or anywhere."""

    def trial(chance: np.random.Generator, draws: int) -> tuple[int, float]:
        mean, deviation = _moments(chance, draws, count)
        found = np.minimum(4.0 - mean, mean - low) / (3 * deviation)
        least, most = (nearer_limits(found, count, count - 1, tail) for tail in (0.975, 0.025))
        true = min(4.0, -low) / 3
        return int(np.count_nonzero((least <= true) & (true <= most))), CONFIDENCE

    return trial


def _agreement(count: int) -> Trial:
    def trial(chance: np.random.Generator, draws: int) -> tuple[int, float]:
        mean, deviation = _moments(chance, draws, count)
        unit = percentile(0.0, 1.0, count, 0.975, CONFIDENCE)
        true = float(special.ndtri(0.975))
        held = (mean + unit.low * deviation <= true) & (true <= mean + unit.high * deviation)
        return int(np.count_nonzero(held)), CONFIDENCE

    return trial


SHAPE: Final = (10, 3, 3)
_SOURCES: Final = ("board", "operator", "interaction", "repeat")
_TRUE: Final = {"repeatability": 1.0, "operator": 0.5, "interaction": 0.2, "part": 10.0}
_ALIKE: Final = _TRUE | {"operator": 0.0, "interaction": 0.0}
"""Operators do not differ."""


def _freedoms(shape: tuple[int, int, int]) -> tuple[int, int, int, int]:
    parts, operators, repeats = shape
    return parts - 1, operators - 1, (parts - 1) * (operators - 1), parts * operators * (repeats - 1)


def _expected(shape: tuple[int, int, int], true: Mapping[str, float]) -> tuple[float, float, float, float]:
    """Return the expected mean squares of the sources."""
    parts, operators, repeats = shape
    inner = true["repeatability"] + repeats * true["interaction"]
    board, operator = inner + operators * repeats * true["part"], inner + parts * repeats * true["operator"]
    return board, operator, inner, true["repeatability"]


def _sums(
    chance: np.random.Generator, draws: int, shape: tuple[int, int, int], expected: tuple[float, ...]
) -> dict[str, Numbers]:
    """Return the sums of squares of as many studies, by source."""
    sources = zip(_SOURCES, expected, _freedoms(shape), strict=True)
    return {name: mean_square * chance.chisquare(freedom, draws) for name, mean_square, freedom in sources}


def _repeatability(chance: np.random.Generator, draws: int) -> tuple[int, float]:
    freedom = _freedoms(SHAPE)[3]
    squares = chance.chisquare(freedom, draws)
    unit = exact_variance(Source(name="", freedom=freedom, squares=1.0), CONFIDENCE)
    return int(np.count_nonzero((unit.low * squares <= 1) & (unit.high * squares >= 1))), CONFIDENCE


def _component(name: str, true: Mapping[str, float] = _TRUE) -> Trial:
    """Return a trial of the limits of a variance component, by pivots, with the interaction kept."""

    def trial(chance: np.random.Generator, draws: int) -> tuple[int, float]:
        expected = _expected(SHAPE, true)
        value = float(variances({k: np.array([e]) for k, e in zip(_SOURCES, expected, strict=True)}, SHAPE)[name][0])
        points, held = pivots(_freedoms(SHAPE), PIVOTS), 0
        for start in range(0, draws, CHUNK):
            size = min(CHUNK, draws - start)
            squares = _sums(chance, size, SHAPE, expected)
            low, high = by_pivots(squares, points, SHAPE, CONFIDENCE)[name]
            held += int(np.count_nonzero((low <= value) & (value <= high)))
        return held, CONFIDENCE

    return trial


def _share(shape: tuple[int, int, int], share: float) -> Trial:
    """Return a trial of the limits of the gauge's share of the spread, which is a stated one."""

    def trial(chance: np.random.Generator, draws: int) -> tuple[int, float]:
        gauge = _TRUE["repeatability"] + _TRUE["operator"] + _TRUE["interaction"]
        expected = _expected(shape, _TRUE | {"part": gauge * (1 / share**2 - 1)})
        freedoms = dict(zip(_SOURCES, _freedoms(shape), strict=True))
        drawn = {name: sums / freedoms[name] for name, sums in _sums(chance, draws, shape, expected).items()}
        low, high = np.sqrt(gauge_share(drawn, freedoms, shape, CONFIDENCE))
        return int(np.count_nonzero((low <= share) & (share <= high))), CONFIDENCE

    return trial


LINES: Final = (
    Line(name="tolerance limit, one-sided, 10 boards", exact=True, trial=_tolerance_one(10)),
    Line(name="tolerance limit, one-sided, 30 boards", exact=True, trial=_tolerance_one(30)),
    Line(name="tolerance limits, two-sided, 10 boards", exact=True, trial=_tolerance_two(10)),
    Line(name="tolerance limits, two-sided, 30 boards", exact=True, trial=_tolerance_two(30)),
    Line(name="tolerance limits by ranks, 93 boards", exact=True, trial=_ranks(93)),
    Line(name="tolerance limits by ranks, 200 boards", exact=True, trial=_ranks(200)),
    Line(
        name="tolerance limit, one-sided, 20 % scatter taken out, 30 boards",
        exact=True,
        trial=_scatter_taken_out(30, 0.2, one_sided),
    ),
    Line(
        name="tolerance limits, two-sided, 20 % scatter taken out, 10 boards",
        exact=True,
        trial=_scatter_taken_out(10, 0.2, two_sided),
    ),
    Line(
        name="tolerance limits, two-sided, 20 % scatter taken out, 30 boards",
        exact=True,
        trial=_scatter_taken_out(30, 0.2, two_sided),
    ),
    Line(
        name="tolerance limits, two-sided, 50 % scatter taken out, 100 boards",
        exact=True,
        trial=_scatter_taken_out(100, 0.5, two_sided),
    ),
    Line(name="Cp, 30 readings", exact=True, trial=_cp(30)),
    Line(name="Cpk, one limit, 30 readings", exact=True, trial=_cpk(30, -100.0)),
    Line(name="Cpk, centred between two limits, 30 readings", exact=False, trial=_cpk(30, -4.0)),
    Line(name="upper limit of agreement, 20 pairs", exact=True, trial=_agreement(20)),
    Line(name="variance of repeatability, 10 x 3 x 3", exact=True, trial=_repeatability),
    Line(name="variance of the gauge, 10 x 3 x 3", exact=False, trial=_component("gauge")),
    Line(
        name="variance of the gauge, operators alike, 10 x 3 x 3",
        exact=False,
        trial=_component("gauge", _ALIKE),
    ),
    Line(name="variance of the boards, 10 x 3 x 3", exact=False, trial=_component("part")),
    Line(name="gauge as 10 % of the spread, 10 x 3 x 3", exact=True, trial=_share(SHAPE, 0.1)),
    Line(name="gauge as 35 % of the spread, 10 x 3 x 3", exact=True, trial=_share(SHAPE, 0.35)),
    Line(name="gauge as 70 % of the spread, 10 x 3 x 3", exact=True, trial=_share(SHAPE, 0.7)),
    Line(name="gauge as 35 % of the spread, 5 x 2 x 2", exact=True, trial=_share((5, 2, 2), 0.35)),
)


def count_lines(draws: int = DRAWS, seed: int = 1) -> Iterator[Counted]:
    """Yield what comes of every line."""
    for number, line in enumerate(LINES):
        yield count_line(line, draws, np.random.default_rng([seed, number]))


def count_line(line: Line, draws: int, chance: np.random.Generator) -> Counted:
    """Return how often the limits of a line held the truth."""
    held, stated = line.trial(chance, draws)
    tail = (1 - COUNTING) / 2
    return Counted(
        name=line.name,
        exact=line.exact,
        stated=stated,
        held=held,
        draws=draws,
        low=float(special.betaincinv(held, draws - held + 1, tail)) if held else 0.0,
        high=float(special.betaincinv(held + 1, draws - held, 1 - tail)) if held < draws else 1.0,
    )


def report(found: list[Counted], seed: int) -> Report:
    """Return the counts for people and machines."""
    rows = tuple(
        (
            one.name,
            f"{one.stated:.2%}",
            f"{one.held / one.draws:.2%}",
            f"{one.low:.2%} to {one.high:.2%}",
            "yes" if one.agrees else "above" if one.low > one.stated else "BELOW",
        )
        for one in found
    )
    return Report(
        kind="coverage",
        title=f"How often limits hold the truth, in {found[0].draws} simulated studies each",
        source=f"simulation, seed {seed}",
        summary=(f"{sum(one.agrees for one in found)} of {len(found)} agree with what they state.",),
        tables=(Table(title="", head=("limits", "stated", "held", "99 % limits of that", "agrees"), rows=rows),),
        notes=(NOT_EXACT,),
        findings={"seed": seed, "lines": found},
    )
