"""`benchtest rig show`: what is wired where on a bench, and what is energised now."""

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

import click

from benchtest.cli.words import folded, say, tell
from benchtest.clock import wall_time
from benchtest.errors import RigError
from benchtest.fixture import Fixture, Harness, LoadedFixture, load_fixture
from benchtest.fixture.wire_list import Wire, numbers, own_wires, wire_list
from benchtest.fixture.wiring import adapters_of

COLUMNS: Final = 80


def ports_of(fixture: Fixture, given: tuple[str, ...]) -> dict[str, str]:
    """Return adapter → port as given on the command line; anything else is wrong usage."""
    ports: dict[str, str] = {}
    for text in given:
        name, equals, port = text.partition("=")
        if not equals or not port or name not in fixture.adapters:
            known = ", ".join(fixture.adapters)
            raise click.UsageError(f"--port {text!r} is not ADAPTER=PORT (adapters of this fixture: {known})")
        ports[name] = port
    return ports


def harness_of(loaded: LoadedFixture, part: str | None) -> Harness:
    """Return the harness for a part number, or the only one; an unknown part is wrong usage."""
    known = ", ".join(loaded.harnesses)
    if part is None and len(loaded.harnesses) == 1:
        return next(iter(loaded.harnesses.values()))
    if part is None or part not in loaded.harnesses:
        asked = "which harness? give --harness" if part is None else f"no harness for {part!r}"
        raise click.UsageError(f"{asked} (this fixture has: {known})")
    return loaded.harnesses[part]


@dataclass(frozen=True, kw_only=True, slots=True)
class Answer:
    """What one adapter says is on, or why it was not asked."""

    on: tuple[int, ...] | None
    why: str


@click.command("show")
@click.argument("fixture", type=click.Path(path_type=Path), metavar="FIXTURE")
@click.option("--harness", "part", metavar="PART", help="Only the cable set for this board; all of them otherwise.")
@click.option("--ask", is_flag=True, help="Ask the adapters what is energised now; nothing is reset or switched.")
@click.option("--port", "ports", multiple=True, metavar="ADAPTER=PORT", help="Where an adapter is; may be repeated.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def show(fixture: Path, part: str | None, ask: bool, ports: tuple[str, ...], as_json: bool) -> int:
    """Show what is wired where on the bench of FIXTURE: terminals, role, adapter and channel, accuracy, calibration.

    With --ask, exit code 5 when an adapter that can be asked did not answer.
    """
    loaded = load_fixture(fixture)
    harnesses = [harness_of(loaded, part)] if part else list(loaded.harnesses.values())
    given = ports_of(loaded.fixture, ports)
    answers = {name: _asked(name, loaded.fixture, given) for name in _asking(loaded.fixture, harnesses)} if ask else {}
    if as_json:
        tell(json.dumps(_as_json(loaded.fixture, harnesses, answers), ensure_ascii=False, indent=2))
    else:
        _tell(loaded.fixture, harnesses, given, answers)
    unanswered = any(answer.on is None and answer.why.startswith("no answer") for answer in answers.values())
    return 5 if unanswered else 0


def _asking(fixture: Fixture, harnesses: list[Harness]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for harness in harnesses for name in adapters_of(fixture, harness)))


def _asked(name: str, fixture: Fixture, ports: dict[str, str]) -> Answer:
    from benchtest.adapters.glance import GLANCES

    adapter = fixture.adapters[name]
    glance, port = GLANCES.get(adapter.driver), ports.get(name) or adapter.port
    if glance is None:
        return Answer(on=None, why=f"not asked: driver {adapter.driver!r} cannot be asked without taking all off")
    if not port:
        return Answer(on=None, why=f"not asked: no port is given (try --port {name}=…)")
    try:
        return Answer(on=tuple(sorted(glance(adapter, port, fixture.limits))), why="")
    except RigError as problem:
        return Answer(on=None, why=f"no answer: {problem}")


def _as_json(fixture: Fixture, harnesses: list[Harness], answers: dict[str, Answer]) -> dict[str, Any]:
    return {
        "bench": fixture.bench.name,
        "place": fixture.bench.place,
        "limits": {"volts": fixture.limits.voltage, "amps": fixture.limits.current},
        "adapters": {
            name: {"driver": one.driver, "port": one.port, "identity": one.identity, "dead_man": one.dead_man}
            for name, one in fixture.adapters.items()
        },
        "harnesses": {
            harness.part: [
                {**asdict(wire), "pair": str(wire.pair or ""), "role": wire.role.value, "terminals": wire.terminals}
                for wire in wire_list(fixture, harness)
            ]
            for harness in harnesses
        },
        "own_wires": list(own_wires(fixture)),
        "energised": {name: {"channels": answer.on, "why_not_known": answer.why} for name, answer in answers.items()},
    }


def _tell(fixture: Fixture, harnesses: list[Harness], ports: dict[str, str], answers: dict[str, Answer]) -> None:
    bench = fixture.bench
    say(f"{bench.name}, {bench.place}; at most {fixture.limits.voltage:g} V, {fixture.limits.current:g} A")
    for name, one in fixture.adapters.items():
        port = ports.get(name) or one.port or "no port given"
        say(f"  {name}: {one.driver}, {'in this program' if one.driver == 'simulated' else port}")
    today = f"{wall_time():%Y-%m-%d}"
    for harness in harnesses:
        say(f"\nHarness for {harness.part}")
        for text in _table(wire_list(fixture, harness), today):
            say(text)
    if own := own_wires(fixture):
        say("\nThe bench's own wires")
    for sentence in own:
        say(folded(f"  {sentence}", COLUMNS))
    for name, answer in answers.items():
        on = "everything off" if not answer.on else f"ENERGISED: {numbers(answer.on)}"
        say(f"\n{name}: {on if answer.on is not None else answer.why}")


def _table(wires: tuple[Wire, ...], today: str) -> list[str]:
    """Return the wires as lines of at most 80 columns, unless a name is longer than usual."""
    rows = [("terminals", "role", "channel", "accuracy, ±", "calibrated until"), *(_row(wire, today) for wire in wires)]
    widths = [max(len(row[column]) for row in rows) for column in range(4)]
    lines = []
    for wire, row in zip((None, *wires), rows, strict=True):
        cells = "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False))
        lines.append(f"  {cells}  {row[4]}".rstrip())
        if wire is not None and wire.at_adapter:
            lines.append(f"      at {wire.adapter}: {wire.at_adapter}")
    return lines


def _row(wire: Wire, today: str) -> tuple[str, str, str, str, str]:
    overdue = f"{wire.due} OVERDUE" if wire.due and wire.due < today else wire.due
    return wire.terminals, wire.role.value, f"{wire.adapter} {wire.channel}", wire.accuracy, overdue
