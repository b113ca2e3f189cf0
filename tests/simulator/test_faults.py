"""Every fault is written and read back, and every kind leaves a trace that the bench can see."""

from collections.abc import Iterator
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from benchtest.faults import ABOUT, Kind, parse, possible
from benchtest.instruments import Order
from benchtest.profile.fitting import FittedProfile
from tests.simulator.stand import Stand, carwash, greenhouse

BOARDS = {"greenhouse": greenhouse, "carwash": carwash}
FITTED = greenhouse().fitted


def of_each_kind(fitted: FittedProfile) -> list[str]:
    """Return the first and the last part that can have each kind of fault."""
    kinds: dict[Kind, list[str]] = {}
    for fault in possible(fitted):
        kinds.setdefault(fault.kind, []).append(fault.text)
    return [text for texts in kinds.values() for text in dict.fromkeys((texts[0], texts[-1]))]


CHOSEN = [(board, text) for board, build in BOARDS.items() for text in of_each_kind(build().fitted)]


Seen = tuple[list[NDArray[np.int16]], list[str], list[float]]
"""Recordings, frames on the link, unpowered resistances."""


def worked_through(stand: Stand) -> Seen:
    """Try everything once: unpowered resistances, every input and relay, loss of link and supplies."""
    ohms = [stand.bench.measure(channel) for channel in stand.harness.ohms.values()]
    stand.power()
    seen = [np.asarray(stand.record(seconds=10.0, rate=200.0).codes)]
    seen += [*_inputs(stand), *_probes(stand), *_commands(stand)]
    seen += _without_link(stand)
    seen += [_with_orders(stand, (stand.supply(name), 0.0)) for name in reversed(stand.profile.supplies)]
    return seen, [message.frame for message in stand.traffic], ohms


def _with_orders(stand: Stand, *moves: tuple[int, float]) -> NDArray[np.int16]:
    orders = tuple(
        Order(at=0.01 + 0.08 * place, channel=channel, value=value) for place, (channel, value) in enumerate(moves)
    )
    return np.asarray(stand.record(orders=orders, seconds=0.1 + 0.08 * len(orders), rate=5000.0).codes)


def _inputs(stand: Stand) -> Iterator[NDArray[np.int16]]:
    """Every input away from rest and back; then all of them true, and each in turn false and true again."""
    rest = {
        stand.input(name): float(port.rest in {"closed", "high"})
        for name, port in stand.profile.inputs.items()
        if port.kind != "probe"
    }
    for channel, state in rest.items():
        yield _with_orders(stand, *[(channel, 1 - state), (channel, state)] * 3)
    yield _with_orders(stand, *((channel, 1.0) for channel in rest))
    for channel in rest:
        yield _with_orders(stand, (channel, 0.0), (channel, 1.0))
    yield _with_orders(stand, *rest.items())


def _probes(stand: Stand) -> Iterator[NDArray[np.int16]]:
    """Every probe in turn in every state of its own, long enough for a lamp to say so."""
    for name, port in stand.profile.inputs.items():
        if port.kind == "probe":
            for ohms in (*port.states.values(), port.states[port.rest]):
                stand.bench.set(stand.input(name), ohms)
                yield np.asarray(stand.record(seconds=10.0, rate=200.0).codes)


def _without_link(stand: Stand) -> Iterator[NDArray[np.int16]]:
    """The controller falls silent for some seconds and speaks again."""
    if stand.link is None:
        return
    stand.link.silence()
    yield np.asarray(stand.record(seconds=5.0, rate=200.0).codes)
    stand.link.heartbeat("ControllerHeartbeat", every=0.2)
    yield np.asarray(stand.record(seconds=5.0, rate=200.0).codes)


def _commands(stand: Stand) -> Iterator[NDArray[np.int16]]:
    """Every link command alone; then one after the other, forwards and backwards, until all are on."""
    signals = [r.command.link for r in stand.profile.relays.values() if r.command.link is not None]
    moves = [{signal: value} for signal in signals for value in (1, 0)]
    for order in (signals, signals[::-1]):
        moves += [{signal: 1} for signal in order]
        moves += [dict.fromkeys(order, 0)]
    for move in moves if stand.link is not None else []:
        yield np.asarray(stand.record(say=move, seconds=0.1, rate=10000.0).codes)


@cache
def good(board: str) -> Seen:
    return worked_through(BOARDS[board]())


@pytest.mark.parametrize(("board", "text"), CHOSEN)
def test_every_kind_of_fault_can_be_seen_on_the_bench(board: str, text: str) -> None:
    """A board with the fault differs from the same board without it by far more than noise, or in its messages."""
    recordings, traffic, ohms = worked_through(BOARDS[board](text))
    sound, said, resistances = good(board)

    codes = max(np.abs(a.astype(np.int32) - b).max() for a, b in zip(sound, recordings, strict=True))
    assert codes > 12 or traffic != said or ohms != resistances


@pytest.mark.parametrize("board", BOARDS)
def test_a_fault_is_read_back_as_it_is_written(board: str) -> None:
    """`parse` and `str` are inverses, in any case and spacing, and every fault has its sentence."""
    fitted = BOARDS[board]().fitted
    for fault in possible(fitted):
        assert parse(str(fault), fitted) == fault
        assert parse(f"  {fault.text.upper().replace(' ', '  ')} ", fitted) == fault
        assert fault.sentence.endswith(".")
        assert "{" not in fault.sentence


def test_every_kind_has_a_sentence() -> None:
    """No kind of fault is without words."""
    assert ABOUT.keys() == set(Kind)


def test_an_unknown_fault_names_the_nearest() -> None:
    """A slip of the pen is answered with the fault that was probably meant."""
    with pytest.raises(ValueError, match=r"unknown fault 'K3 contact weldet' \(nearest: 'K3 contact welded'"):
        parse("K3 contact weldet", greenhouse().fitted)


def test_the_wording_that_instructions_rely_on() -> None:
    """These faults are named in the documentation and may not change their wording."""
    texts = {fault.text for fault in possible(greenhouse().fitted)}
    assert texts >= {
        "K3 contact welded",
        "K3 contact never closes",
        "K3 slow operate",
        "D3 lamp dark",
        "D21 lamp code wrong",
        "link silent",
        "main shorted",
        "X10 jumper plug missing",
        "misting only with the door shut ignored",
    }


@given(st.text(max_size=60))
def test_no_text_is_anything_but_a_fault_or_a_value_error(text: str) -> None:
    """Whatever is typed, the answer is a fault of this board or a sentence."""
    if text.casefold().split() not in [fault.text.casefold().split() for fault in possible(FITTED)]:
        with pytest.raises(ValueError, match="unknown fault"):
            parse(text, FITTED)
