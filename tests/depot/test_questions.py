"""Every answer counted again from the rows by plain Python, on both databases."""

import statistics
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest

from benchtest.depot import questions
from benchtest.depot.questions import ALWAYS, Period
from benchtest.depot.report import report, runs_by_month, to_html
from benchtest.records.database.opening import Records, open_file, open_server
from tests.depot.stock import PARTS, Made, fill, make
from tests.servers.postgresql import Server

BOARDS, CASES = 60, 400
PERIOD = Period(since=datetime(2024, 6, 1, tzinfo=UTC), until=datetime(2025, 6, 1, tzinfo=UTC))
PERIODS = pytest.mark.parametrize("period", [ALWAYS, PERIOD], ids=["always", "a year"])


@pytest.fixture(scope="module")
def made() -> Made:
    """Boards, cases, repairs and runs of two years."""
    return make(boards=BOARDS, cases=CASES)


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def stocked(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory, made: Made) -> Iterator[Records]:
    """Records of each kind with all of them; only asked, never changed."""
    if request.param == "sqlite":
        opened = open_file(tmp_path_factory.mktemp("stock") / "records.sqlite")
    else:
        server: Server = request.getfixturevalue("postgresql")
        opened = open_server(server.new())
    with opened:
        with opened.writing() as connection:
            fill(connection, made, boards=BOARDS)
        yield opened


def within(period: Period, moment: datetime) -> bool:
    return period.since <= moment < period.until


@PERIODS
def test_no_fault_found(stocked: Records, made: Made, period: Period) -> None:
    """Per complaint and per profile version, of the boards that left in the period."""
    left = [case for case in made.cases if within(period, case["closed"])]
    nothing = [case for case in left if case["found"] == "pass" and not case["repairs"]]
    table = questions.no_fault_found(stocked, period)
    returns = Counter(case["complaint"] for case in left)
    without = Counter(case["complaint"] for case in nothing)
    assert {key: (returns[key], without[key]) for key in returns} == {row[0]: row[1:3] for row in table.rows}
    assert sorted(table.column("returns"), reverse=True) == table.column("returns")
    limits = zip(table.column("low"), table.column("share"), table.column("high"), strict=True)
    assert all(low <= share <= high for low, share, high in limits)

    versions = Counter((case["profile"], case["profile_digest"][:12]) for case in left)
    by_profile = questions.no_fault_by_profile(stocked, period)
    assert versions == {(row[0], row[1]): row[2] for row in by_profile.rows}
    assert len(nothing) == sum(by_profile.column("without_finding"))


@PERIODS
def test_first_pass_yield(stocked: Records, made: Made, period: Period) -> None:
    """Of the boards that came in during the period and were repaired, how many passed at once."""
    came = [case for case in made.cases if within(period, case["received"])]
    for part, tested, passed, repaired, first, share, *_ in questions.first_pass_yield(stocked, period).rows:
        own = [case for case in came if PARTS[case["board_id"] % 2] == part]
        again = [case for case in own if case["first_left"]]
        good = [case for case in again if case["first_left"] == "pass"]
        assert (len(own), len(again), len(good)) == (tested, repaired, first)
        assert sum(case["found"] == "pass" for case in own) == passed
        assert len(good) / len(again) == share


@PERIODS
def test_paretos(stocked: Records, made: Made, period: Period) -> None:
    """Failing checks of runs before repair, and replaced parts: counts, shares, running shares, order."""
    runs = {run["id"]: run for run in made.runs if run["phase"] != "as left" and within(period, run["started"])}
    found = [one for one in made.findings if one["run_id"] in runs]
    counts = Counter((PARTS[runs[one["run_id"]]["board_id"] % 2], one["check_id"]) for one in found)
    checks = questions.failing_checks(stocked, period, most=1000)
    assert counts == {(row[0], row[1]): row[2] for row in checks.rows}
    assert sorted(counts.values(), reverse=True) == checks.column("count")
    assert 1 == pytest.approx(checks.column("running")[-1]) == sum(checks.column("share"))
    assert checks.rows[:3] == questions.failing_checks(stocked, period, most=3).rows

    repairs = [one for one in made.repairs if within(period, one["at"])]
    parts = questions.replaced_parts(stocked, period, most=1000)
    assert Counter((one["board_part"], one["part"]) for one in repairs) == {
        (board, part): count for board, part, _, _, count, _, _ in parts.rows
    }
    assert 20 * len(repairs) == sum(parts.column("minutes"))
    assert 1500 * len(repairs) == sum(parts.column("cost"))


@PERIODS
def test_turnaround(stocked: Records, made: Made, period: Period) -> None:
    """Median and nine in ten, as the statistics module has them, to the nearest case and the hour."""
    for part, returns, median, nine, longest in questions.turnaround(stocked, period).rows:
        days = sorted(
            case["stay"] // 60 / 24
            for case in made.cases
            if PARTS[case["board_id"] % 2] == part and within(period, case["closed"])
        )
        assert len(days) == returns
        assert statistics.median_low(days) == median
        assert sum(day <= nine for day in days) >= 0.9 * len(days) > sum(day < nine for day in days)
        assert days[-1] == longest


@PERIODS
def test_repeat_returns(stocked: Records, made: Made, period: Period) -> None:
    """A board that comes back within so many days of its last leaving, in the period of its coming back."""
    wanted, last = [], dict[int, datetime]()
    for case in made.cases:
        before = last.get(case["board_id"])
        soon = before is not None and case["received"] - before <= timedelta(days=30)
        if soon and within(period, case["received"]):
            wanted.append(case["work_order"])
        last[case["board_id"]] = case["closed"]
    assert wanted[::-1] == questions.repeat_returns(stocked, period, days=30).column("work_order")
    assert wanted[::-1][:3] == questions.repeat_returns(stocked, period, days=30, most=3).column("work_order")


def test_rogue_boards(stocked: Records, made: Made) -> None:
    """Boards that were returned so many times without a finding, the most often first."""
    nothing = Counter(case["board_id"] for case in made.cases if case["found"] == "pass" and not case["repairs"])
    often = {f"S{board:06d}": count for board, count in nothing.items() if count >= 4}
    table = questions.rogue_boards(stocked, returns=4)
    assert often == dict(zip(table.column("serial"), table.column("returns"), strict=True))


def test_own_repairs(stocked: Records, made: Made) -> None:
    """Faults that were found, of one part number or of all, on boards that passed as left."""
    assert Counter(one["fault"] for one in made.repairs) == questions.own_repairs(stocked)
    of_one = Counter(one["fault"] for one in made.repairs if one["board_part"] == PARTS[0])
    assert of_one == questions.own_repairs(stocked, part=PARTS[0])
    shares = questions.failure_shares(stocked)
    assert len(made.repairs) == sum(shares.column("repairs"))


def test_runs_by_month(stocked: Records, made: Made) -> None:
    """Runs and their outcomes, by the month in which they began, UTC."""
    table = runs_by_month(stocked, PERIOD)
    runs = [run for run in made.runs if within(PERIOD, run["started"])]
    assert Counter(f"{run['started']:%Y-%m}" for run in runs) == {row[0]: row[1] for row in table.rows}
    assert sum(run["outcome"] == "fail" for run in runs) == sum(table.column("failed"))


def test_the_page_is_made_of_the_answers(stocked: Records, made: Made) -> None:
    """Each answer is a section; the figures at the head are those of the period."""
    found = report(stocked, PERIOD)
    figures = {figure.label: figure.value for figure in found.figures}
    assert str(sum(within(PERIOD, case["received"]) for case in made.cases)) == figures["came in"]
    assert str(sum(within(PERIOD, case["closed"]) for case in made.cases)) == figures["left"]
    page = to_html(found)
    for section in found.sections:
        assert f'<h2 id="{section.table.key}">' in page


def test_a_depot_that_is_new_has_empty_answers(records: Records) -> None:
    """Nothing divides by nothing."""
    found = report(records)
    assert not any(section.table.rows for section in found.sections)
    assert "Nothing to show." in to_html(found)
