"""One move on the rig: order, read, record; a supply that goes into current limit is switched off."""

from contextlib import suppress
from typing import assert_never

from benchtest.errors import Aborted, RigError
from benchtest.instruments import Back
from benchtest.metrology.figures import plain
from benchtest.perform.course import Course
from benchtest.procedure import (
    AllOff,
    CompareClocks,
    Exchange,
    Heartbeat,
    Look,
    LoopBack,
    Measure,
    Move,
    Record,
    Set,
    Source,
)
from benchtest.readings import Evidence, Left, Supplied, Told, Value
from benchtest.rig import Rig
from benchtest.rig.timing import asked_of_the_bench


def carry_out(course: Course, move: Move) -> Evidence | None:
    """Do what a move says, once, and return what was seen; nothing where it only sets."""
    rig = course.rig
    rig.heed()
    if rig.recall is not None:
        return rig.recall(move)
    match move:
        case Source():
            return _source(course, move)
        case Set():
            rig.bench.set(move.channel, move.value)
            return None
        case Measure():
            return Value(value=rig.bench.measure(move.channel))
        case Look():
            return _looked(rig, move)
        case Record():
            if rig.person is not None:
                rig.person.tell(_on_the_link(move))
            recorded = rig.record(move, course.procedure.link)
            rig.bench.check()
            _stop_on_overcurrent(course)
            return recorded
        case Exchange() | CompareClocks() | LoopBack():
            return asked_of_the_bench(rig, move)
        case AllOff():
            course.on.clear()
            rig.make_safe(course.procedure)
            return Left(channels=tuple(sorted(rig.bench.energised())))
        case _:
            assert_never(move)


def _looked(rig: Rig, move: Look) -> Told:
    if rig.person is None:
        raise RigError(f"{move.name} wants a person to look, and none is at this bench")
    return Told(word=rig.person.look(move.channel, code=move.code))


def _on_the_link(move: Record) -> str:
    """Return what the bench does by itself while a person waits."""
    said = [
        f"heartbeat {'begins' if order.alive else 'ends'}"
        if isinstance(order, Heartbeat)
        else f"{order.message} {', '.join(f'{name} = {value:g}' for name, value in order.signals.items())}"
        for order in move.link_orders
    ]
    what = f"sends {'; '.join(said)}" if said else "listens"
    return f"  (the bench {what} on the link, {plain(move.duration, 's', digits=2)})"


def _source(course: Course, move: Source) -> Supplied:
    """Set a supply and read it back; a person who goes back from reading it is asked to set it again."""
    rig = course.rig
    while True:
        rig.source(move.channel, volts=move.volts, amps=move.amps)
        course.on.add(move.channel)
        rig.wait_until(rig.clock.now() + move.settle)
        with suppress(Back):
            state = rig.powered(move.channel)
            rig.bench.check()
            return Supplied(volts=state.volts, amps=state.amps, limiting=state.limiting)


def _stop_on_overcurrent(course: Course) -> None:
    for channel in sorted(course.on):
        state = course.rig.bench.supply_state(channel)
        if state.on and state.limiting:
            where = course.procedure.channels[channel].terminals
            raise Aborted(f"over-current: the supply at {where} went into current limit at {state.amps:.3g} A")


def limiting(course: Course, move: Move, seen: Evidence) -> bool:
    """Return whether a supply went into current limit, after switching it off: that means stop, not turn it up."""
    held = isinstance(move, Source) and move.stop_if_limiting and isinstance(seen, Supplied) and seen.limiting
    if held and isinstance(move, Source):
        course.rig.bench.off(move.channel)
    return held


def overcurrent(course: Course, move: Move) -> str:
    """Return the reason to stop for a supply in current limit."""
    where = course.procedure.channels[move.channel].terminals if isinstance(move, Source) else ""
    return f"over-current: the supply at {where} went into current limit"
