"""The rule about the adapter's own deadline. It leaves the adapter locked, so that it comes last."""

from collections.abc import Iterator
from contextlib import suppress
from typing import Final

from benchtest.conformance.case import Case, Rule
from benchtest.errors import AdapterRefused
from benchtest.instruments import Role

PAST: Final = 1.5
"""How far past the dead-man time the adapter is left alone, as a multiple."""


def _dead_man(case: Case) -> Iterator[str]:
    assert case.dead_man is not None
    drive = case.channel(Role.DRIVE)
    case.bench.set(drive, 1.0)
    case.clock.sleep_until(case.clock.now() + PAST * case.dead_man)
    with suppress(AdapterRefused):  # it may say first that it has tripped
        case.bench.beat()
    yield from case.on(set(), f"left alone for {PAST * case.dead_man:g} s, dead-man time {case.dead_man:g} s")


LIFELINE: Final = Rule(
    name="dead-man",
    sentence="an adapter that hears nothing for its dead-man time takes everything off",
    roles=(Role.DRIVE,),
    look=_dead_man,
)
