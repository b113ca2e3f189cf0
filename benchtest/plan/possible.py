"""As far as this bench goes: what it cannot do or resolve becomes *not tested*, by name and with the reason.

A step that needs an order the bench cannot give is not performed at all, since what came after would mean nothing; in a
step that can be performed, only the checks that nobody can read are left out. Nothing is loosened: what is left is done
and judged as on any other bench.
"""

from collections.abc import Mapping
from dataclasses import replace

from benchtest.procedure import (
    Absent,
    Check,
    Delay,
    Heartbeat,
    Mean,
    Measurand,
    Measure,
    MessageAnswer,
    MessageGap,
    MessagePeriod,
    Move,
    Record,
    Say,
    Set,
    SignalValue,
    Source,
    Step,
    Still,
)

OnLink = MessagePeriod | MessageGap | MessageAnswer | SignalValue


def as_far_as_possible(step: Step, *, linked: bool, unresolved: Mapping[str, str]) -> Step:
    """Return a step without what this bench cannot do; `unresolved` tells why a check is too fine, by its id."""
    impossible = _impossible(step, linked=linked)
    if impossible:
        checks = tuple(_absent(check, impossible) for check in step.checks)
        return replace(step, moves=(), checks=checks, gate=False)
    moves = tuple(_without_link(move) if not linked else move for move in step.moves if not _reads_nothing(move))
    checks = tuple(_possible(check, linked=linked, unresolved=unresolved) for check in step.checks)
    return replace(step, moves=moves, checks=checks)


def _impossible(step: Step, *, linked: bool) -> str:
    """Return why a step's orders cannot be given, or an empty string."""
    for move in step.moves:
        match move:
            case Source(channel=0) | Set(channel=0):
                return "this bench has no wire for an order that the step needs"
            case Record(orders=orders, link_orders=said):
                if any(order.channel == 0 for order in orders):
                    return "this bench has no wire for an order that the step needs"
                if not linked and any(isinstance(order, Say) for order in said):
                    return "this bench has no adapter on the board's link"
                if not linked and any(isinstance(order, Heartbeat) and not order.alive for order in said):
                    return "this bench has no adapter on the board's link"
            case _:
                pass
    return ""


def _reads_nothing(move: Move) -> bool:
    return isinstance(move, Measure) and move.channel == 0


def _without_link(move: Move) -> Move:
    return replace(move, link_orders=()) if isinstance(move, Record) else move


def _possible(check: Check, *, linked: bool, unresolved: Mapping[str, str]) -> Check:
    what = check.measurand
    if isinstance(what, Still):
        return replace(check, measurand=replace(what, channels=tuple(number for number in what.channels if number)))
    if isinstance(what, OnLink) and not linked:
        return _absent(check, "this bench has no adapter on the board's link")
    if _unwired(what):
        return _absent(check, f"{check.probe or check.subject} is not wired on this bench")
    return _absent(check, unresolved[check.id]) if check.id in unresolved else check


def _unwired(what: Measurand) -> bool:
    if isinstance(what, Delay) and what.since.channel == 0:
        return True
    if isinstance(what, Mean) and what.minus == 0:
        return True
    return getattr(what, "channel", None) == 0


def _absent(check: Check, reason: str) -> Check:
    return replace(check, measurand=Absent(reason=reason))
