"""`benchtest adapter check`: whether an adapter keeps what the bench relies on."""

import json
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Final

import click

from benchtest.cli.bench_options import bench_options, only, opened, refuse_a_board
from benchtest.cli.rig_show import harness_of, ports_of
from benchtest.cli.words import say, tell
from benchtest.conformance import LIFELINE, RULES, Case, Finding, State, noise, try_rule
from benchtest.fixture import Fixture, Harness, load_fixture
from benchtest.rig import Rig

MARK: Final = {State.HOLDS: "ok", State.BROKEN: "FAIL", State.NOT_TRIED: "-"}


@click.command("check")
@click.argument("fixture", type=click.Path(path_type=Path), metavar="FIXTURE")
@click.option("--adapter", "name", metavar="NAME", help="Only this adapter; otherwise all of them together.")
@bench_options
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def check(
    fixture: Path, name: str | None, part: str | None, ports: tuple[str, ...], no_board_connected: bool, as_json: bool
) -> int:
    """Put the adapters of FIXTURE through what the bench relies on, without a board, and say what holds.

    Exit code 0 when everything that can be tried holds, else 5.
    """
    loaded = load_fixture(fixture)
    part = part or next(iter(loaded.harnesses))
    harness = only(name, loaded.fixture, harness_of(loaded, part))
    given = ports_of(loaded.fixture, ports)
    refuse_a_board(loaded.fixture, harness, no_board_connected)
    findings = []
    for finding in _findings(loaded.fixture, harness, given):
        findings.append(finding)
        if not as_json:
            _tell(finding)
    if as_json:
        tell(json.dumps([asdict(finding) for finding in findings], ensure_ascii=False, indent=2))
    return 5 if any(finding.state is State.BROKEN for finding in findings) else 0


def _findings(fixture: Fixture, harness: Harness, ports: dict[str, str]) -> Iterator[Finding]:
    """Try every rule on one opening, the dead-man on one of its own, and noise before both."""
    adapter = fixture.adapters[harness.adapter]
    port = ports.get(harness.adapter) or adapter.port
    if port:
        yield noise(adapter, port, fixture.limits)
    with opened(fixture, harness, ports) as rig:
        case = _case(rig)
        for rule in RULES:
            yield try_rule(rule, case)
    if adapter.driver == "simulated":
        why = "a bench in this program cannot outlive its user"
        yield Finding(rule=LIFELINE.name, sentence=LIFELINE.sentence, state=State.NOT_TRIED, found=(why,))
        return
    with opened(fixture, harness, ports) as rig:
        yield try_rule(LIFELINE, _case(rig))


def _case(rig: Rig) -> Case:
    dead_man = rig.fixture.adapters[rig.harness.adapter].dead_man
    return Case(
        bench=rig.bench, clock=rig.clock, fixture=rig.fixture, harness=rig.harness, dead_man=dead_man, due=rig.due
    )


def _tell(finding: Finding) -> None:
    say(f"{MARK[finding.state]:<4}  {finding.rule}: {finding.sentence}")
    for found in finding.found:
        say(f"      {found}")
