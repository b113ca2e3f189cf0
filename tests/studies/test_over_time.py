"""Capability, drift and agreement: what they find in readings that are made to have it, and what they say otherwise."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from benchtest.errors import StudyError
from benchtest.studies.agreement import study_agreement
from benchtest.studies.agreement_report import report as agreement_report
from benchtest.studies.capability import study_capability
from benchtest.studies.capability_report import report as capability_report
from benchtest.studies.drift import Kind, study_drift
from benchtest.studies.drift_report import report as drift_report
from benchtest.studies.reading import read
from benchtest.studies.readings import Readings
from benchtest.studies.report import Report, to_html, to_json, to_lines
from tests.studies.tables import boards, table


def charted(path: Path, shift: float, count: int = 60, per_group: int = 4) -> Readings:
    """A rail that moves by so many standard deviations after forty readings; of a seed that gives no false alarm."""
    values = np.random.default_rng(9).standard_normal(count) * 2e-3 + 5.0
    values[40:] += shift * 2e-3
    rows = [("5 V", "V", f"{v:.6f}", n, f"w{n // per_group}") for n, v in enumerate(values)]
    return read([table(path, "quantity,unit,value,at,group", rows)])


@pytest.mark.parametrize("kind", ["individuals", "means", "ewma"])
def test_a_shift_raises_a_signal_on_every_chart_and_none_without_it(tmp_path: Path, kind: Kind) -> None:
    """Two standard deviations, seen soon after they came."""
    base = 10 if kind == "means" else 20
    still = study_drift(charted(tmp_path / "0.csv", 0), kind=kind, rules="western electric", baseline=base)
    moved = study_drift(charted(tmp_path / "2.csv", 2.5), kind=kind, rules="western electric", baseline=base)
    first = moved.studies[0].fresh[0].signal.at

    assert not still.studies[0].fresh
    assert (10 if kind == "means" else 40) <= first <= (12 if kind == "means" else 50)


def test_western_electric_and_nelson_are_named_in_what_is_said(tmp_path: Path) -> None:
    """Each rule with its number and its pattern."""
    readings = charted(tmp_path / "t.csv", 4)
    for rules, name in (("western electric", "Western Electric 1: beyond 3 sigma"), ("nelson", "Nelson 1: beyond 3")):
        found = study_drift(readings, kind="individuals", rules=rules)  # type: ignore[arg-type]
        assert name in " ".join(to_lines(drift_report(found, readings, rules=rules, pictures=False)))  # type: ignore[arg-type]


def test_a_baseline_that_moves_by_itself_is_told_of(tmp_path: Path) -> None:
    """Limits from it are the wrong ones, and neighbours hang together."""
    values = [(f"{5 + n / 100 + n % 2 / 1000:.4f}", n) for n in range(30)]
    readings = read([table(tmp_path / "t.csv", "value,at", values)])
    found = study_drift(readings, kind="individuals", rules="nelson")
    said = " ".join(" ".join(to_lines(drift_report(found, readings, rules="nelson", pictures=False))).split())

    assert "Signals within the baseline itself: reading" in said
    assert "neighbours in the baseline hang together" in said


@pytest.mark.parametrize(
    ("values", "words"),
    [([5.0] * 30, "readings of the baseline that do not differ"), ([1, 2, 3], "3 points .expected 8 or more")],
)
def test_what_cannot_be_charted_says_why(tmp_path: Path, values: Sequence[float], words: str) -> None:
    """Constant readings, and too few."""
    readings = read([table(tmp_path / "t.csv", "value", [(value,) for value in values])])
    with pytest.raises(StudyError, match=words):
        study_drift(readings, kind="individuals", rules="western electric")


def test_groups_of_one_have_no_spread(tmp_path: Path) -> None:
    """A chart of means wants two readings a group."""
    with pytest.raises(StudyError, match="a group with one reading has no standard deviation"):
        study_drift(charted(tmp_path / "t.csv", 0, per_group=1), kind="means", rules="nelson")


# ---------------------------------------------------------------- capability


def test_capability_of_boards(tmp_path: Path) -> None:
    """Pp and Ppk are plain arithmetic on mean and deviation; neighbours and all readings agree where nothing moves."""
    readings = read([boards(tmp_path / "t.csv", 200)])
    (one,) = study_capability(readings).studies
    values = next(iter(readings)).values
    expected = min(0.012 - values.mean(), values.mean() - 0.001) / 3 / values.std(ddof=1)

    assert expected == pytest.approx(one.overall.nearer.value)
    assert one.overall.spread is not None
    assert 0.011 / 6 / values.std(ddof=1) == pytest.approx(one.overall.spread.value)
    assert one.overall.nearer.low < expected < one.overall.nearer.high
    assert 0.8 < one.short.nearer.value / expected < 1.25
    assert one.free is None


def test_a_drift_among_the_boards_shows_between_cpk_and_ppk(tmp_path: Path) -> None:
    """Short spans do not see it, all readings do."""
    values = np.random.default_rng(2).normal(6.0, 0.1, 200) + np.linspace(0, 2, 200)
    rows = [(f"{value:.4f}", n, n, n // 20, 1, 12) for n, value in enumerate(values)]
    readings = read([table(tmp_path / "t.csv", "value,board,at,group,low,high", rows)])
    (by_neighbours,) = study_capability(readings).studies
    (by_group,) = study_capability(readings, within="group").studies

    assert by_neighbours.short.nearer.value > 3 * by_neighbours.overall.nearer.value
    assert by_group.short.nearer.value > 2 * by_group.overall.nearer.value


def test_skewed_readings_are_marked_and_judged_by_percentiles(tmp_path: Path) -> None:
    """From 741 readings on, Ppk by percentiles is near the true one of an exponential distribution."""
    values = np.random.default_rng(2).exponential(1.0, 4000)
    rows = [(f"{value:.5f}", n, 8) for n, value in enumerate(values)]
    readings = read([table(tmp_path / "t.csv", "value,board,high", rows)])
    found = study_capability(readings)
    (one,) = found.studies
    true = (8 - np.log(2)) / (-np.log(0.00135) - np.log(2))

    assert one.free is not None
    assert one.free.spread is None
    assert true == pytest.approx(one.free.nearer, rel=0.12)
    assert one.overall.nearer.value > 1.4 * true
    made = capability_report(found, readings, within="neighbours", confidence=0.95, pictures=False)
    assert "these indices do not mean what they say" in " ".join(to_lines(made))


def test_readings_without_limits_have_no_capability(tmp_path: Path) -> None:
    """It says what the table lacks."""
    with pytest.raises(StudyError, match="no limit is set"):
        study_capability(read([table(tmp_path / "t.csv", "value", [(1,), (2,), (3,)])]))


# ---------------------------------------------------------------- agreement


def two_benches(path: Path, *, offset: float = 0.05, count: int = 25, third: bool = False) -> Readings:
    chance = np.random.default_rng(5)
    rows = []
    for board in range(count):
        value = chance.normal(6, 0.5)
        rows += [
            (f"{value + chance.normal(0, 0.03):.5f}", "Bench 1", board),
            (f"{value + offset:.5f}", "Bench 2", board),
        ]
    rows += [("6.0", "Bench 3", 1)] if third else []
    return read([table(path, "value,bench,board", rows)])


def test_an_offset_between_benches_is_found_with_its_limits(tmp_path: Path) -> None:
    """The true difference lies within its confidence limits; what is allowed decides, or stays open."""
    readings = two_benches(tmp_path / "t.csv")
    (one,) = study_agreement(readings, between="bench", allowed=0.5).studies
    (tight,) = study_agreement(readings, between="bench", allowed=0.04).studies
    (open_,) = study_agreement(readings, between="bench", allowed=one.found.upper.value).studies

    assert one.found.mean.low < 0.05 < one.found.mean.high
    assert [True, False, None] == [one.agrees, tight.agrees, open_.agrees]


def test_sides_must_be_two_and_pairs_three(tmp_path: Path) -> None:
    """What is there is named."""
    with pytest.raises(StudyError, match=r"3 benches \(Bench 1, Bench 2, Bench 3\); expected two"):
        study_agreement(two_benches(tmp_path / "3.csv", third=True), between="bench")
    with pytest.raises(StudyError, match="2 boards were read on both sides"):
        study_agreement(two_benches(tmp_path / "2.csv", count=2), between="bench")
    same = read([table(tmp_path / "s.csv", "value,bench,board", [(n, side, n) for n in range(5) for side in "ab"])])
    with pytest.raises(StudyError, match="whose differences do not differ"):
        study_agreement(same, between="bench")


def test_as_found_against_as_left_takes_the_last_reading_of_each(tmp_path: Path) -> None:
    """An earlier reading of a side is set aside, and counted."""
    rows = [(5 + board / 10 + step / 7 * board, phase, board, step) for board in range(4) for step, phase in enumerate(
        ("as found", "as found", "as left"))]  # fmt: skip
    found = study_agreement(read([table(tmp_path / "t.csv", "value,phase,board,at", rows)]), between="phase")

    assert ("as found", "as left") == found.sides
    assert 4 == found.studies[0].aside
    assert [board / 7 for board in range(4)] == pytest.approx(found.studies[0].second - found.studies[0].first)


# ---------------------------------------------------------------- reports


def reports(root: Path) -> list[Report]:
    """One report of each kind, with pictures."""
    rail, benches, many = charted(root / "d.csv", 3), two_benches(root / "a.csv"), read([boards(root / "c.csv", 50)])
    drifts = study_drift(rail, kind="individuals", rules="nelson")
    return [
        drift_report(drifts, rail, rules="nelson", pictures=True),
        agreement_report(study_agreement(benches, between="bench"), benches, allowed=None, pictures=True),
        capability_report(study_capability(many), many, within="neighbours", confidence=0.95, pictures=True),
    ]


def test_every_report_is_eighty_columns_a_page_and_plain_data(tmp_path: Path) -> None:
    """One picture each, with words for who does not see it; a format with its version."""
    for made in reports(tmp_path):
        page = to_html(made)
        assert max(map(len, to_lines(made))) <= 80
        assert 1 == page.count("<svg") == page.count('role="img" aria-label="')
        assert f"benchtest-study-{made.kind}/1" == to_json(made)["format"]
        assert 1 == len(to_json(made)["readings"])


def test_what_a_table_says_is_text_on_the_page(tmp_path: Path) -> None:
    """A name with markup in it stays a name."""
    rows = [("<b>x</b>", f"{value:.3f}", n) for n, value in enumerate(np.random.default_rng(1).normal(size=30))]
    readings = read([table(tmp_path / "t.csv", "quantity,value,at", rows)])
    made = drift_report(
        study_drift(readings, kind="individuals", rules="limits"), readings, rules="limits", pictures=True
    )

    assert "<b>x" not in to_html(made)
    assert "&lt;b&gt;x" in to_html(made)
