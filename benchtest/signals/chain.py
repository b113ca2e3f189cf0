"""The likeliest chain of stretches that a rhythm allows.

Between the turns of the evidence the chain with the most evidence is sought, in which every whole stretch is of a kind;
one that is of none costs as many nats as `ODD`. So noise makes no odd stretches, and a lamp that does something else is
not bent into the rhythm. Where noise may have shifted a turn, its neighbours may be ends of stretches as well.

Source: the likeliest path through a chain with durations (segmental form of the method of A. J. Viterbi, 1967).
"""

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from typing import Final

import numpy as np

from benchtest.signals.brightness import Light
from benchtest.signals.rhythm import CUT, ODD_KIND, Kinds, Stretch, turning

ODD: Final = 12.0
"""Nats against a stretch of no kind."""
NEVER: Final = 1e12
"""Nats against a stretch of no kind where none is allowed."""
EACH: Final = 1.0
"""Nats against any further stretch."""
SLIGHT: Final = 2.0
"""Nats; a turn with less evidence on one side is none."""
BLURRED: Final = 60.0
"""Nats of one mean; with less, noise may shift a turn."""
SHIFTED: Final = 2
"""Means by which it may."""


def chain(light: Light, kinds: Kinds) -> tuple[Stretch, ...]:
    """Return the likeliest chain of stretches."""
    return _Chain(turning(light, SLIGHT), kinds, ODD).best()[1]


def oddness(light: Light, kinds: Kinds) -> float:
    """Return by how many nats the likeliest chain beats the likeliest one in which every stretch is of a kind."""
    light = turning(light, SLIGHT)
    return _Chain(light, kinds, ODD).best()[0] - _Chain(light, kinds, NEVER).best()[0]


Back = tuple[int, bool, str]
"""Where a stretch began, whether it is lit, and its kind."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Node:
    """A moment at which a stretch may end and the next begin."""

    moment: float
    height: float
    lit: bool
    """State of the stretch that ends here."""


def _nodes(light: Light) -> list[Node]:
    """Return the turns, and where noise may have shifted them their neighbours, in order of time; without the ends."""
    shifts = range(-SHIFTED, SHIFTED + 1) if light.each < BLURRED else (0,)
    found: dict[tuple[int, bool], Node] = {}
    last = light.heights.size - 1
    peaks = (light.sums[1:-1] > light.sums[:-2]).tolist()
    turns = zip(light.turns[1:-1].tolist(), light.places[1:-1].tolist(), peaks, strict=True)
    for moment, place, peak in turns:
        for shift in shifts:
            key = (place + shift, peak)
            if 0 < place + shift < last and (key not in found or not shift):
                height = float(light.heights[place + shift])
                found[key] = Node(moment=moment + shift * light.look, height=height, lit=peak)
    return sorted(found.values(), key=lambda node: node.moment)


class _Chain:
    """The search: for each node the best chain that ends there, from the best ones that end before.

    Nodes are numbered from 1; 0 is the begin of the record, the last number its end.
    """

    def __init__(self, light: Light, kinds: Kinds, odd: float) -> None:
        self.nodes, self.kinds, self.odd = _nodes(light), kinds, odd
        self.begin, self.end = float(light.turns[0]), float(light.turns[-1])
        self.total = float(light.sums[-1])
        self.begins: dict[bool, list[int]] = {True: [], False: []}
        """Nodes at which a stretch of that state may begin, in order."""
        self.moments: dict[bool, list[float]] = {True: [], False: []}
        self.worth: dict[bool, list[float]] = {True: [], False: []}
        """Of the best chain to each of them, less what the evidence had summed up to."""
        self.any: dict[bool, tuple[float, int]] = {True: (-np.inf, 0), False: (-np.inf, 0)}
        """The best of them all."""
        self.backs: dict[tuple[int, bool], Back] = {}

    def best(self) -> tuple[float, tuple[Stretch, ...]]:
        """Return the nats and the stretches of the best chain."""
        for number, node in enumerate(self.nodes, start=1):
            self._end(number, node)
        finals = {lit: self._final(lit) for lit in (True, False)}
        return max(finals.values()), self._walk(lit=finals[True] > finals[False])

    def _end(self, number: int, node: Node) -> None:
        """Find the best chain in which a stretch ends at a node."""
        lit, now = node.lit, node.moment
        best, back = self._cut(now - self.begin, lit), (0, lit, CUT)
        odd, at = self.any[lit]
        if odd - self.odd - EACH > best:
            best, back = odd - self.odd - EACH, (at, lit, ODD_KIND)
        moments, worth = self.moments[lit], self.worth[lit]
        for kind in self.kinds.of(lit):
            low, high = bisect_left(moments, now - kind.longest), bisect_right(moments, now - kind.shortest)
            due, scale = now - kind.usual, 0.5 / kind.spread**2
            for place in range(low, high):
                value = worth[place] - EACH - scale * (moments[place] - due) ** 2
                if value > best:
                    best, back = value, (self.begins[lit][place], lit, kind.name)
        self.backs[number, lit] = back
        value = best + (node.height if lit else -node.height)  # half for this state, half against the next
        self.begins[not lit].append(number)
        self.moments[not lit].append(now)
        self.worth[not lit].append(value)
        self.any[not lit] = max(self.any[not lit], (value, number))

    def _cut(self, duration: float, lit: bool) -> float:
        """Return the nats of a stretch that an end of the record cuts."""
        return -EACH if duration <= self.kinds.of(lit)[-1].longest else -EACH - self.odd

    def _final(self, lit: bool) -> float:
        """Find the best chain whose last stretch the end of the record cuts."""
        starts = [(0.0, self.begin, 0), *zip(self.worth[lit], self.moments[lit], self.begins[lit], strict=True)]
        best, at = max((worth + self._cut(self.end - moment, lit), number) for worth, moment, number in starts)
        self.backs[len(self.nodes) + 1, lit] = (at, lit, CUT)
        return best + (self.total if lit else -self.total) / 2

    def _walk(self, *, lit: bool) -> tuple[Stretch, ...]:
        last = len(self.nodes) + 1
        moments = [self.begin, *(node.moment for node in self.nodes), self.end]
        heights = [0.0, *(node.height for node in self.nodes), self.total]
        stretches: list[Stretch] = []
        end = last
        while end > 0:
            begin, lit, kind = self.backs[end, lit]
            rise = heights[end] - heights[begin]
            stretches.append(
                Stretch(
                    lit=lit,
                    begin=moments[begin],
                    duration=moments[end] - moments[begin],
                    whole=begin > 0 and end < last,
                    evidence=rise if lit else -rise,
                    kind=kind,
                )
            )
            end, lit = begin, not lit
        return tuple(reversed(stretches))
