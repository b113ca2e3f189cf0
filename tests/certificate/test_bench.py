"""What the paper says of the bench's check of itself."""

from dataclasses import replace

import pytest

from benchtest.certificate.document import describe
from benchtest.certificate.html import to_html
from benchtest.procedure import Cause, Check, ClockRate, Delay, Interval, RoundTrip, Timing
from benchtest.readings import Origin
from benchtest.results import BenchCheck, Outcome, Result, Verdict
from tests.records.finished import finished_readings, finished_run

PERMITTED = Interval(low=None, high=0.2)
TIMING = Timing(clock=50e-6, stamp=20e-6, link_stamp=4e-3, latency=0.02)


def read(title: str, measurand: RoundTrip | Delay | ClockRate, value: float, verdict: Verdict = Verdict.PASS) -> Result:
    check = Check(
        id=f"bench.{title}", subject="io", title=title, measurand=measurand, unit="s", permitted=PERMITTED, probe=title
    )
    return Result(
        check=check, value=value, uncertainty=0.0, coverage=2.0, verdict=verdict, note="", origin=Origin.SIMULATED
    )


SINCE = Cause(at=0.1, order="bench")


def loop(title: str, value: float, verdict: Verdict = Verdict.PASS) -> Result:
    return read(
        title, Delay(evidence="e", channel=151, state="high", since=Cause(at=0.1, order="bench")), value, verdict
    )


BENCH = BenchCheck(
    outcome=Outcome.PASS,
    reason="all checks passed",
    results=(
        read("io round trip", RoundTrip(evidence="e", adapter="io", share=0.95), 0.004),
        read("clock deviation", ClockRate(evidence="c"), 2e-5),
        loop("drive 101 closes", 0.012),
        loop("drive 101 opens", 0.0205),
    ),
    left_out=("supplies: not done while a board is connected",),
    timing=TIMING,
    reference="known-good board CW-0410 GOLD-1: it last ran on 2026-11-25 and passed",
)


@pytest.fixture(scope="module")
def page() -> str:
    """The paper as a page, of a run whose bench checked itself."""
    return to_html(describe(replace(finished_run(), bench_check=BENCH), finished_readings()))


@pytest.mark.parametrize(
    "words",
    [
        "Check of the bench itself, before the board had power",
        "io round trip",
        "2 movements, each within 21 ms of its order (permitted 200 ms)",
        "moment on the link ± 4 ms, an order up to 20 ms late",
        "supplies: not done while a board is connected",
        "it last ran on 2026-11-25 and passed",
    ],
)
def test_the_paper_tells_what_the_bench_found_of_itself(page: str, words: str) -> None:
    """What was measured, with which times the board was judged, what was not looked at, and the known-good board."""
    assert words in page


def test_a_bench_that_did_not_look_says_nothing_of_it() -> None:
    """A person with a meter, or a run from before benches checked themselves."""
    document = describe(finished_run(), finished_readings())

    assert document.bench is None
    assert "Check of the bench itself" not in to_html(document)


def test_what_was_wrong_with_the_bench_comes_first() -> None:
    """With the reason beside the counts."""
    wrong = loop("drive 103 closes", 0.9, Verdict.FAIL)
    bench = replace(BENCH, outcome=Outcome.BENCH_FAULT, reason="drive 103 failed", results=(*BENCH.results, wrong))
    document = describe(replace(finished_run(), bench_check=bench), finished_readings())

    assert document.bench is not None
    assert "drive 103 closes" == document.bench.rows[0].check
    assert document.bench.summary.endswith("1 fail: drive 103 failed")
