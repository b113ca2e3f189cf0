"""What happens next: a heap of moments and actions. Time jumps from one event to the next; there are no small steps."""

import heapq
import itertools
from collections.abc import Callable

Action = Callable[[], None]


class Events:
    """Scene time in seconds and the actions still to come, in order of time and, at one moment, of entry."""

    def __init__(self) -> None:
        self.now = 0.0
        self._count = itertools.count()
        self._heap: list[tuple[float, int, Action]] = []

    def at(self, moment: float, action: Action) -> None:
        """Do `action` at `moment` (seconds of scene time), or as soon as possible when it has passed."""
        heapq.heappush(self._heap, (max(self.now, moment), next(self._count), action))

    def after(self, delay: float, action: Action) -> None:
        """Do `action` in `delay` seconds."""
        self.at(self.now + delay, action)

    def advance(self, to: float) -> None:
        """Do everything that is due up to and including `to`, then let it be `to`."""
        heap = self._heap
        while heap and heap[0][0] <= to:
            self.now, _, action = heapq.heappop(heap)
            action()
        self.now = max(self.now, to)

    @property
    def next(self) -> float | None:
        """Moment of the next event; None when nothing is planned."""
        return self._heap[0][0] if self._heap else None
