"""`benchtest rig check`: the bench checks itself, without a board, and says whether it may judge one."""

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Final

import click

from benchtest.cautions import before_power
from benchtest.cli.bench_options import bench_options, opened, refuse_a_board
from benchtest.cli.consent import ask_for_name, can_ask, refuse_unacknowledged
from benchtest.cli.rig_show import harness_of, ports_of
from benchtest.cli.screen import summary
from benchtest.cli.words import OUTCOME, line, say, tell
from benchtest.errors import PlanError
from benchtest.faults import Defect, parse_defect
from benchtest.fixture import Fixture, Harness, LoadedFixture, load_fixture
from benchtest.fixture.wiring import every_channel
from benchtest.instruments import VIRTUAL
from benchtest.metrology.figures import plain
from benchtest.plan import link_plan, plan_self_check
from benchtest.procedure import BenchProcedure, LinkPlan, Step
from benchtest.profile import load_profile
from benchtest.readings import Origin
from benchtest.records.labels import clean_text
from benchtest.results import EXIT_CODE, BenchCheck, Outcome, Result, Verdict
from benchtest.rig.stop import stopped_by_signals

FORMAT: Final = "benchtest-bench-check/1"
_WORD: Final = {Outcome.PASS: "FIT", Outcome.BENCH_FAULT: "NOT FIT: no board is judged on this bench"}


@dataclass(frozen=True, kw_only=True, slots=True)
class _Asked:
    fixture: Fixture
    harness: Harness
    ports: dict[str, str]
    link: LinkPlan | None
    defects: tuple[Defect, ...]
    acknowledged: str


@click.command("check")
@click.argument("fixture", type=click.Path(path_type=Path), metavar="FIXTURE")
@click.option("--profile", type=click.Path(path_type=Path), metavar="FILE", help="Board whose link is looped back.")
@bench_options
@click.option(
    "--bench-fault", "defects", multiple=True, metavar="TEXT", help="A simulated bench's own: 'drive 103 stays open'."
)
@click.option("--acknowledge", default="", metavar="NAME", help="Who knows the cautions of this real bench.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def check(
    fixture: Path,
    profile: Path | None,
    part: str | None,
    ports: tuple[str, ...],
    no_board_connected: bool,
    defects: tuple[str, ...],
    acknowledge: str,
    as_json: bool,
) -> int:
    """Let the bench of FIXTURE check itself, with no board on it: drives, lamp sensors, supplies, link and timing.

    Exit code 0 when it is fit to judge a board, 5 when it is not.
    """
    loaded = load_fixture(fixture)
    harness = harness_of(loaded, part or next(iter(loaded.harnesses)))
    refuse_a_board(loaded.fixture, harness, no_board_connected)
    asked = _Asked(
        fixture=loaded.fixture,
        harness=harness,
        ports=ports_of(loaded.fixture, ports),
        link=_link(profile, loaded, harness),
        defects=_defects(defects, loaded.fixture, harness),
        acknowledged=clean_text(acknowledge) or ("" if as_json else _asked_for(loaded.fixture, harness)),
    )
    procedure = plan_self_check(asked.fixture, harness, link=asked.link, board=False)
    if procedure is None:
        raise PlanError([f"{fixture}: a person or a record is this bench; there is nothing that it could check itself"])
    found = _performed(asked, procedure, _say_nothing if as_json else _tell_step)
    if as_json:
        tell(json.dumps(_as_json(found), ensure_ascii=False))
    else:
        _tell(found)
    return EXIT_CODE[found.outcome]


def _link(profile: Path | None, loaded: LoadedFixture, harness: Harness) -> LinkPlan | None:
    """Return what may be sent on the link; None where no second adapter could hear it."""
    if profile is None or harness.link is None or loaded.fixture.self_check.link_peer is None:
        return None
    board = load_profile(profile)
    return None if board.profile.link is None else link_plan(board.profile.link, board.database)


def _defects(texts: tuple[str, ...], fixture: Fixture, harness: Harness) -> tuple[Defect, ...]:
    if texts and fixture.adapters[harness.adapter].driver != "simulated":
        raise click.UsageError("--bench-fault is for a fixture with driver 'simulated'")
    try:
        return tuple(parse_defect(text, every_channel(fixture, harness)) for text in texts)
    except ValueError as problem:
        raise click.UsageError(str(problem)) from None


def _asked_for(fixture: Fixture, harness: Harness) -> str:
    """Show the cautions of a bench that may be real, and return who acknowledged them where somebody can be asked."""
    adapter = fixture.adapters[harness.adapter]
    if adapter.driver == "simulated" or adapter.identity.startswith(VIRTUAL):
        return ""
    for sentence in before_power(fixture.guards):
        say(f"Caution: {sentence}")
    return ask_for_name() if can_ask() else ""


def _performed(asked: _Asked, procedure: BenchProcedure, judged: Callable[..., Any]) -> BenchCheck:
    from benchtest.perform import Watcher
    from benchtest.self_check import check_bench

    watcher = Watcher(judged=judged)
    with (
        stopped_by_signals() as stop,
        opened(asked.fixture, asked.harness, asked.ports, link=asked.link, mishaps=asked.defects) as rig,
    ):
        if rig.origin is Origin.MEASURED and not asked.acknowledged:
            refuse_unacknowledged(asked.fixture)
        return check_bench(procedure, replace(rig, stopped=stop), watcher).bench


def _say_nothing(*_: object) -> None:
    """Keep everything for the summary."""


def _tell_step(step: Step, results: tuple[Result, ...], _at: float) -> None:
    """Tell what did not pass, and what was measured; of words that are as they should be there are many."""
    say(f"{step.title}: {summary(results)}")
    for result in results:
        if result.verdict is not Verdict.PASS or isinstance(result.value, float):
            say(f"  {line(result)}")


def _tell(found: BenchCheck) -> None:
    timing = found.timing
    for one in found.left_out:
        say(f"not looked at: {one}")
    say(
        f"times as they would be used: clock ± {plain(timing.clock, '%')}, a sample ± {plain(timing.stamp, 's')}, "
        f"the link ± {plain(timing.link_stamp, 's')}, an order up to {plain(timing.latency, 's')} late"
    )
    word = _WORD.get(found.outcome) or OUTCOME[found.outcome]
    say(f"\n{word}  {found.reason}")


def _as_json(found: BenchCheck) -> dict[str, Any]:
    """Return the findings for machines; the format keeps its shape."""
    return {
        "format": FORMAT,
        "outcome": found.outcome.value,
        "exit_code": EXIT_CODE[found.outcome],
        "reason": found.reason,
        "readings": [
            {
                "id": one.check.id,
                "verdict": one.verdict.value,
                "value": one.value,
                "uncertainty": one.uncertainty,
                "unit": one.check.unit,
                "note": one.note,
            }
            for one in found.results
        ],
        "left_out": list(found.left_out),
        "timing": asdict(found.timing),
        "reference": found.reference,
    }
