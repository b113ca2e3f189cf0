"""Limits from good boards: what is proposed, what is not and why, and a patch that changes just that."""

import itertools
import math
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from benchtest.errors import StudyError
from benchtest.metrology.tolerance_limits import two_sided
from benchtest.studies.limits import Method, Wanted, resolved, study_limits, told
from benchtest.studies.limits_patch import patch
from benchtest.studies.limits_report import report
from benchtest.studies.reading import read
from benchtest.studies.readings import Choice
from benchtest.studies.report import to_html, to_json, to_lines
from tests.studies.tables import boards, runs, table

ROOT = Path(__file__).parents[2]


def test_normal_readings_get_exact_limits_rounded_away_from_them(tmp_path: Path) -> None:
    """Mean ± k·s with the factor of thirty boards; the proposal lies outside of it by less than half of s."""
    readings = read([boards(tmp_path / "t.csv", 30)])
    study = study_limits(readings, Wanted())
    (found,), (proposal,) = study.found, study.proposals
    values = next(iter(readings)).values
    half = two_sided(30, 29, coverage=0.95, confidence=0.95) * values.std(ddof=1)

    assert (values.mean() - half, values.mean() + half) == pytest.approx((found.low, found.high))
    assert found.low - found.deviation / 2 < proposal.new_low <= found.low
    assert found.high <= proposal.new_high < found.high + found.deviation / 2
    assert "tighter" == proposal.word


def test_known_scatter_of_the_bench_is_taken_out(tmp_path: Path) -> None:
    """The more of the variance is the bench's, the closer the limits; what is four fifths or more counts as that."""
    readings = read([boards(tmp_path / "t.csv", 40)])
    (plain,) = study_limits(readings, Wanted()).found
    taken = [plain.deviation * math.sqrt(share) for share in (0.05, 1 / 3, 0.8, 1.0)]
    found = [study_limits(readings, Wanted(scatter=one)).found[0] for one in taken]
    widths = [one.high - one.low for one in (plain, *found)]

    assert all(closer < wider for wider, closer in itertools.pairwise(widths[:4]))
    assert widths[3] == pytest.approx(widths[4])
    assert [*taken[:3], taken[2]] == pytest.approx([one.scatter for one in found])
    assert found[1].factor == two_sided(40, 39, coverage=0.95, confidence=0.95, taken=(taken[1] / plain.deviation) ** 2)


def test_readings_may_speak_against_the_scatter_that_is_stated(tmp_path: Path) -> None:
    """Forty readings with half of the variance that the bench alone would give them: left in, and said."""
    readings = read([boards(tmp_path / "t.csv", 40)])
    (plain,) = study_limits(readings, Wanted()).found
    study = study_limits(readings, Wanted(scatter=plain.deviation * math.sqrt(2)))
    (found,) = study.found
    said = " ".join(" ".join(to_lines(report(study, readings, pictures=False))).split())

    assert (plain.low, plain.high, 0.0) == (found.low, found.high, found.scatter)
    assert stats.chi2.cdf(39 / 2, 39) < 0.01
    assert "they differ less than such a bench would let them" in said


def test_a_bench_whose_scatter_is_most_of_the_spread_resolves_no_limit(tmp_path: Path) -> None:
    """Tolerance over U is below 4 even where U is not stated: it is twice the scatter at least."""
    readings = read([boards(tmp_path / "t.csv", 40)])
    (plain,) = study_limits(readings, Wanted()).found
    (proposal,) = study_limits(readings, Wanted(scatter=plain.deviation * math.sqrt(0.5))).proposals

    assert not resolved(proposal)


@pytest.mark.parametrize(
    ("count", "method", "words"),
    [
        (40, "auto", "not normal (p = "),
        (40, "ranks", "ranks need 93 boards"),
        (6, "auto", "6 boards do not show a distribution (expected 8 or more)"),
    ],
)
def test_without_a_distribution_or_boards_enough_nothing_is_proposed(
    tmp_path: Path, count: int, method: Method, words: str
) -> None:
    """The reason says what is missing."""
    values = np.random.default_rng(1).exponential(1.0, count)
    path = table(tmp_path / "t.csv", "value,board", [(f"{value:.5f}", n) for n, value in enumerate(values)])
    (proposal,) = study_limits(read([path]), Wanted(method=method)).proposals

    assert words in proposal.reason
    assert not told([proposal])


def test_readings_that_are_not_normal_get_ranks_where_there_are_boards_enough(tmp_path: Path) -> None:
    """Ninety-three skewed readings: the outermost ones."""
    values = np.random.default_rng(1).exponential(1.0, 93)
    path = table(tmp_path / "t.csv", "value,board", [(f"{value:.5f}", n) for n, value in enumerate(values)])
    (found,) = study_limits(read([path]), Wanted()).found

    assert "ranks" == found.method
    assert (found.least, found.most) == (found.low, found.high)


def test_constant_readings_and_too_few_boards_are_said(tmp_path: Path) -> None:
    """A spread that does not show makes no limit; two boards make no study."""
    same = table(tmp_path / "s.csv", "value,board", [(5, n) for n in range(10)])
    two = table(tmp_path / "2.csv", "value,board", [(5, 1), (6, 2), (7, 2)])

    assert "the same number" in study_limits(read([same]), Wanted()).proposals[0].reason
    with pytest.raises(StudyError, match="readings of 2 boards"):
        study_limits(read([two]), Wanted())


def test_a_report_is_eighty_columns_a_page_and_plain_data(tmp_path: Path) -> None:
    """Runs as well as tables; the page draws a probability plot for each reading that is shown."""
    readings = read(
        [runs(tmp_path / "runs", 12)],
        choice=Choice(passed_only=True),
        patterns=["*K3.operate*", "*K3.bounce*"],
    )
    study = study_limits(readings, Wanted())
    made = report(study, readings, pictures=True)
    lines, page = list(to_lines(made)), to_html(made)

    assert max(map(len, lines)) <= 80
    assert len(study.found) == len(made.pictures) == page.count("<svg")
    assert "normal score" in page
    assert not re.search(r"(src|href)=.http|@import|<script", page)
    assert "benchtest-study-limits/1" == to_json(made)["format"]
    assert len(study.found) == len(to_json(made)["readings"])


# ---------------------------------------------------------------- patches


@pytest.fixture
def profile(tmp_path: Path) -> Path:
    """A copy of a shipped profile."""
    shutil.copytree(ROOT / "profiles", tmp_path / "profiles")
    return tmp_path / "profiles/greenhouse.yaml"


def test_a_patch_changes_the_limit_that_is_meant_and_nothing_else(tmp_path: Path, profile: Path) -> None:
    """`patch` applies it, the profile is still good, and only min and max of the operate time differ."""
    before = profile.read_text(encoding="utf-8")
    place = next(n for n, row in enumerate(before.splitlines(), 1) if "operate: {min: 1 ms" in row)
    (proposal,) = study_limits(read([boards(tmp_path / "t.csv", 30)]), Wanted()).proposals
    made = patch(profile, [replace(proposal, place=f"profiles/greenhouse.yaml:{place}")])
    (tmp_path / "p.diff").write_text(made.text, encoding="utf-8")
    subprocess.run(["patch", "-s", str(profile), str(tmp_path / "p.diff")], check=True, capture_output=True)
    after = profile.read_text(encoding="utf-8").splitlines()
    changed = [(old, new) for old, new in zip(before.splitlines(), after, strict=True) if old != new]

    assert () == made.left_out
    assert [("  operate: {min: 1 ms, max: 12 ms}", "  operate: {min: 5.8 ms, max: 7.2 ms}")] == changed
    assert len(before.splitlines()) == len(after)


@pytest.mark.parametrize(
    ("place", "low", "words"),
    [
        ("profiles/greenhouse.yaml:3", 1e-3, "no limit of these values"),
        ("K3", 1e-3, "no limit"),
        (None, 2e-3, "no limit"),
    ],
)
def test_a_profile_that_has_changed_is_not_patched(
    tmp_path: Path, profile: Path, place: str | None, low: float, words: str
) -> None:
    """Another line, no line, other values: left out, with the reason, and the patch is empty."""
    text = profile.read_text(encoding="utf-8").splitlines()
    line = next(n for n, row in enumerate(text, 1) if "operate: {min: 1 ms" in row)
    (proposal,) = study_limits(read([boards(tmp_path / "t.csv", 30)]), Wanted()).proposals
    made = patch(profile, [replace(proposal, place=place or f"x:{line}", low=low)])

    assert "" == made.text
    assert words in made.left_out[0]


def test_a_limit_that_the_bench_cannot_resolve_is_shown_but_not_patched(tmp_path: Path, profile: Path) -> None:
    """The plan would refuse it: tolerance over U below 4."""
    path = tmp_path / "t.csv"
    values = np.random.default_rng(1).normal(6.5, 0.3, 30)
    rows = [("K3", "ms", f"{value:.4f}", n, 1, 12, 0.5) for n, value in enumerate(values)]
    (proposal,) = study_limits(read([table(path, "quantity,unit,value,board,low,high,U", rows)]), Wanted()).proposals

    assert proposal.ratio < 4
    assert "too close for this bench" in patch(profile, [proposal]).left_out[0]
