"""How well this bench knows moments, measured on the bench itself: round trips, its adapter's clock, its link.

Nothing is switched here. What is found goes to the judge as evidence like everything else.
"""

import math
from typing import Final, assert_never

from benchtest import clock as machine
from benchtest.clock import RealClock
from benchtest.errors import AdapterRefused, RigError
from benchtest.instruments import Capture, Link, Ticking
from benchtest.procedure import CompareClocks, Exchange, LoopBack
from benchtest.readings import Compared, Exchanged, LoopedBack
from benchtest.rig.in_use import Rig

MARGIN: Final = 0.1
"""Share of a recording that is left before its first and after its last reading of the clock."""
LOOKS: Final = 8
"""Readings of a clock of which the soonest counts: what delayed an answer says nothing of the clock."""
HEARD_WITHIN: Final = 0.5
"""Seconds within which a frame must have come round."""


def asked_of_the_bench(rig: Rig, move: Exchange | CompareClocks | LoopBack) -> Exchanged | Compared | LoopedBack:
    """Return what a bench finds of its own timing. Raises RigError."""
    match move:
        case Exchange():
            return _exchanged(rig, move)
        case CompareClocks():
            return _compared(rig, move)
        case LoopBack():
            return _looped_back(rig, move)
        case _:
            assert_never(move)


def _exchanged(rig: Rig, move: Exchange) -> Exchanged:
    """Ask each adapter who it is, as often as asked for or as time allows; return how long each answer took."""
    seconds: dict[str, tuple[float, ...]] = {}
    for name, adapter in rig.sides.items():
        taken: list[float] = []
        latest = rig.clock.now() + move.longest
        while len(taken) < move.times and rig.clock.now() <= latest:
            asked = rig.clock.now()
            adapter.identity()
            taken.append(rig.clock.now() - asked)
            rig.heed()
        seconds[name] = tuple(taken)
    return Exchanged(seconds=seconds, step=machine.resolution() if isinstance(rig.clock, RealClock) else 0.0)


def _compared(rig: Rig, move: CompareClocks) -> Compared:
    """Read the recording adapter's clock early and late in a recording, each between two readings of the rig's."""
    if rig.ticking is None:
        raise RigError("no adapter of this bench has a clock to be compared")
    started = rig.bench.begin(Capture(orders=(), duration=move.duration, rate=move.rate, channels=move.channels))
    looks = []
    for share in (MARGIN, 1 - MARGIN):
        rig.wait_until(started.at + share * move.duration)
        looks.append(_look(rig, rig.ticking))
    rig.wait_until(started.at + move.duration)
    rig.bench.fetch()
    (first_asked, first_read, first_answered), (asked, read, answered) = looks
    return Compared(asked=(first_asked, asked), answered=(first_answered, answered), adapter=(first_read, read))


def _look(rig: Rig, ticking: Ticking) -> tuple[float, float, float]:
    """Return when an adapter's clock was asked, what it said, and when: of several times the one answered soonest."""
    looks = []
    for _ in range(LOOKS):
        asked = rig.clock.now()
        read = ticking.elapsed()
        looks.append((asked, read, rig.clock.now()))
    return min(looks, key=lambda look: look[2] - look[0])


def _looped_back(rig: Rig, move: LoopBack) -> LoopedBack:
    """Send a message from one link adapter to the other and back; what is not heard is infinite."""
    if rig.link is None or rig.peer is None:
        raise AdapterRefused("this bench has no second adapter on the link (name it as link_peer in self_check)")
    return LoopedBack(out=_way(rig, rig.link, rig.peer, move.message), back=_way(rig, rig.peer, rig.link, move.message))


def _way(rig: Rig, sender: Link, hearer: Link, message: str) -> float:
    """Return the seconds until `hearer` heard what `sender` sent, unchanged; infinite when it did not."""
    sender.messages()
    hearer.messages()  # what came before is not the answer
    sent = sender.send(message, {})
    frames = {each.frame for each in sender.messages() if each.sent}
    latest = sent + HEARD_WITHIN
    while rig.clock.now() < latest:
        if heard := [each.at for each in hearer.messages() if not each.sent and each.frame in frames]:
            return max(0.0, heard[0] - sent)
        rig.wait_until(min(latest, rig.clock.now() + 0.005))
    return math.inf
