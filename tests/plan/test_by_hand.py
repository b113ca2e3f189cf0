"""The same profile for a person with a meter: what is asked, in which state of the board, and what is not tested."""

import math
from collections.abc import Iterator
from typing import Any

import pytest

from benchtest.cli.documents import Prepared
from benchtest.instruments import Role
from benchtest.plan.by_hand import CHANGES, PEAKS, STILLNESS, TIMING, by_hand
from benchtest.procedure import (
    Absent,
    AllOff,
    Bounce,
    Delay,
    Extent,
    Look,
    Mean,
    Measure,
    Move,
    Procedure,
    Record,
    Say,
    Set,
    Source,
    Step,
    Still,
)

Outputs = dict[int, float]


@pytest.fixture(scope="module")
def carwash_by_hand(bench: Any) -> Prepared:
    """The car-wash board for a person with a meter."""
    prepared: Prepared = bench.prepared("carwash", fixture="byhand")
    return prepared


@pytest.fixture(scope="module")
def greenhouse_by_hand(bench: Any) -> Prepared:
    """The greenhouse board for a person with a meter and nobody on the link."""
    prepared: Prepared = bench.prepared("greenhouse", variant="two-bay", options=("dosing",), fixture="byhand")
    return prepared


@pytest.fixture(scope="module")
def greenhouse_on_the_link(bench: Any) -> Prepared:
    """The greenhouse board for a person with a meter, the bench itself on the link."""
    prepared: Prepared = bench.prepared("greenhouse", variant="two-bay", options=("dosing",), fixture="byhand-link")
    return prepared


def moves_of(procedure: Procedure) -> Iterator[Move]:
    """Every move, in order."""
    return (move for step in procedure.steps for move in step.moves)


def checks_of(procedure: Procedure) -> dict[str, Any]:
    """Every check's measurand, by id."""
    return {check.id: check.measurand for step in procedure.steps for check in step.checks}


def test_a_bench_by_hand_may_have_nobody_on_the_link(
    greenhouse_by_hand: Prepared, greenhouse_on_the_link: Prepared
) -> None:
    """One cable set serves both: without an adapter for the link the harness has none."""
    assert (None, "can") == (greenhouse_by_hand.harness.link, greenhouse_on_the_link.harness.link)


@pytest.mark.parametrize("board", ["carwash_by_hand", "greenhouse_by_hand", "greenhouse_on_the_link"])
def test_no_check_is_lost_and_none_is_added(board: str, bench: Any, request: pytest.FixtureRequest) -> None:
    """What a recording bench reads is named here too, in the same order, whether a person can read it or not."""
    prepared: Prepared = request.getfixturevalue(board)
    name = board.partition("_")[0]
    variant = {"variant": "two-bay", "options": ("dosing",)} if name == "greenhouse" else {}
    recorded = bench.prepared(name, **variant).procedure

    assert list(checks_of(recorded)) == list(checks_of(prepared.procedure))


@pytest.mark.parametrize("board", ["carwash_by_hand", "greenhouse_by_hand"])
def test_nothing_is_recorded_where_nobody_can(board: str, request: pytest.FixtureRequest) -> None:
    """A bench without a recorder and without a link is asked for no recording at all."""
    prepared: Prepared = request.getfixturevalue(board)

    assert not [move for move in moves_of(prepared.procedure) if isinstance(move, Record)]


def test_on_the_link_the_bench_speaks_and_listens_but_moves_no_output(greenhouse_on_the_link: Prepared) -> None:
    """What is recorded is the link alone: no channels, no orders of the bench."""
    recordings = [move for move in moves_of(greenhouse_on_the_link.procedure) if isinstance(move, Record)]

    assert recordings
    assert {((), ())} == {(move.channels, move.orders) for move in recordings}
    assert any(isinstance(order, Say) for move in recordings for order in move.link_orders)


@pytest.mark.parametrize("board", ["carwash", "greenhouse"])
def test_what_needs_a_clock_or_an_eye_on_everything_is_not_tested_by_name(board: str, bench: Any) -> None:
    """Times, bounce and the stillness of all others are absent, each with its reason; nothing else of it is."""
    variant = {"variant": "two-bay", "options": ("dosing",)} if board == "greenhouse" else {}
    recorded = checks_of(bench.prepared(board, **variant).procedure)
    asked = checks_of(bench.prepared(board, **variant, fixture="byhand-link").procedure)
    timed = {name for name, what in recorded.items() if isinstance(what, Delay | Bounce)}
    still = {name for name, what in recorded.items() if isinstance(what, Still)}
    swung = {name for name, what in recorded.items() if isinstance(what, Extent)}
    changed = {name for name, what in recorded.items() if isinstance(what, Mean) and what.before is not None}
    absent = {name: what.reason for name, what in asked.items() if isinstance(what, Absent)}

    reasons = dict.fromkeys(timed, TIMING) | dict.fromkeys(still, STILLNESS)
    assert reasons | dict.fromkeys(swung, PEAKS) | dict.fromkeys(changed, CHANGES) == absent


def ordered(moves: Iterator[Move] | tuple[Move, ...], outputs: Outputs, link: dict[str, float]) -> Iterator[Move]:
    """Yield moves one by one; `outputs` and `link` are then as they are while each is carried out."""
    for move in moves:
        match move:
            case Set():
                outputs[move.channel] = move.value
            case Source():
                outputs[move.channel] = move.volts
            case AllOff():
                outputs.clear()
            case Record():
                for order in move.link_orders:
                    link |= dict(order.signals) if isinstance(order, Say) else {"heartbeat": float(order.alive)}
        yield move


def windows(procedure: Procedure) -> dict[str, tuple[Outputs, dict[str, float]]]:
    """Return the state of outputs and link commands at the beginning of every check's window in a recording."""
    found, outputs, link = {}, Outputs(), dict[str, float]()
    for step in procedure.steps:
        for move in step.moves:
            if isinstance(move, Record):
                for check in step.checks:
                    start = getattr(check.measurand, "start", 0.0)
                    if getattr(check.measurand, "evidence", "") == move.name:
                        at = (Outputs(outputs), dict(link))
                        for order in move.orders:
                            at[0].update({order.channel: order.value} if order.at <= start else {})
                        for said in move.link_orders:
                            new = dict(said.signals) if isinstance(said, Say) else {"heartbeat": float(said.alive)}
                            at[1].update(new if said.at <= start else {})
                        found[check.id] = at
                outputs |= {order.channel: order.value for order in move.orders}
            list(ordered((move,), outputs, link))
    return found


def test_every_reading_is_asked_for_in_the_state_in_which_it_would_be_recorded(
    greenhouse: Prepared, greenhouse_on_the_link: Prepared
) -> None:
    """Outputs and link commands at a person's reading are those at the window of the recording, for every check."""
    planned, outputs, link = windows(greenhouse.procedure), Outputs(), dict[str, float]()
    safe = {
        number: math.inf if channel.role is Role.RESISTANCE else 0.0
        for number, channel in greenhouse.procedure.channels.items()
    }
    compared = 0
    for step in greenhouse_on_the_link.procedure.steps:
        asked = {getattr(check.measurand, "evidence", ""): check for check in step.checks}
        for move in ordered(step.moves, outputs, link):
            check = asked.get(getattr(move, "name", ""))
            if isinstance(move, Measure | Look) and check is not None and check.id in planned:
                there, said = planned[check.id]
                assert safe | there == safe | outputs, check.id
                assert {name for name, on in said.items() if on} == {name for name, on in link.items() if on}, check.id
                compared += 1
    assert compared > 150


@pytest.mark.parametrize("board", ["carwash_by_hand", "greenhouse_by_hand", "greenhouse_on_the_link"])
def test_nothing_is_told_that_is_so_already(board: str, request: pytest.FixtureRequest) -> None:
    """Every order changes an output, and no channel is read twice between two changes of a step."""
    prepared: Prepared = request.getfixturevalue(board)
    channels = prepared.procedure.channels
    outputs: Outputs = {number: math.inf for number, known in channels.items() if known.role is Role.RESISTANCE}
    for step in prepared.procedure.steps:
        read = set[int]()
        for move in step.moves:
            if isinstance(move, Set):
                assert outputs.get(move.channel, 0.0) != move.value, (step.id, move)
            if isinstance(move, Set | Source | Record | AllOff):
                list(ordered((move,), outputs, {}))
                read.clear()
            if isinstance(move, Measure | Look):
                assert move.channel not in read, (step.id, move)
                read.add(move.channel)


def test_resistances_are_read_before_anything_is_on(carwash_by_hand: Prepared) -> None:
    """Ohms come first, without power, and the supply is on before any input is driven high."""
    moves = list(moves_of(carwash_by_hand.procedure))
    roles = carwash_by_hand.procedure.channels
    ohms = [n for n, move in enumerate(moves) if isinstance(move, Measure) and roles[move.channel].role is Role.OHMS]
    powered = next(n for n, move in enumerate(moves) if isinstance(move, Source))

    assert ohms
    assert max(ohms) < powered


def test_every_step_leaves_the_inputs_as_it_found_them(greenhouse_on_the_link: Prepared) -> None:
    """A step that was performed can be kept when a run goes on: what comes after does not lean on its orders."""
    outputs, link = Outputs(), dict[str, float]()
    for step in greenhouse_on_the_link.procedure.steps:
        before = dict(outputs), dict(link)
        list(ordered(step.moves, outputs, link))
        if not step.brings_up and step.id != "safe-off":
            assert before[0] == {channel: outputs[channel] for channel in before[0]}, step.id
            assert all(not link[name] for name in link.keys() - before[1].keys()), step.id


def test_without_a_controller_no_relay_that_it_holds_is_asked_to_energise(greenhouse_by_hand: Prepared) -> None:
    """By its profile the board releases every relay but K1 while the link is lost; that is not held against it."""
    steps: dict[str, Step] = {step.id: step for step in greenhouse_by_hand.procedure.steps}
    exercised = [step for name, step in steps.items() if name.startswith(("exercise", "interlock"))]

    assert {()} == {step.moves for step in exercised}
    assert all("without a controller on the link" in str(check.measurand) for check in steps["exercise-K4"].checks)
    assert steps["safe-off"].moves


def test_a_contact_that_an_ohmmeter_reads_is_as_good_as_the_ohmmeter(carwash_by_hand: Prepared) -> None:
    """With 'contacts: ohms' a contact's channel takes the accuracy of ohms, and its name stays."""
    fixture = carwash_by_hand.fixture.fixture
    meter = fixture.adapters["io"].model_copy(update={"contacts": "ohms"})
    ohms = fixture.model_copy(update={"adapters": {"io": meter}})
    known = by_hand(carwash_by_hand.procedure, fixture=ohms, harness=carwash_by_hand.harness).channels[401]

    assert (Role.OHMS, 0.1, "make contact of K1") == (known.role, known.plus, known.name)
