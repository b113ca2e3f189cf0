"""Who may speak on a line where one is asked and answers. Owns no port and no clock: moments are told.

A question and its answer carry no number. So while an answer is awaited nothing else is said; and when it did not come
in time, the same is not asked again for as long once more: an answer that comes then is late, and is taken for none.
"""

from collections.abc import Mapping

from benchtest.messages.format import SerialFormat


class Turns:
    """The questions of one line."""

    def __init__(self, form: SerialFormat) -> None:
        self.unanswered = 0
        """Questions whose answer did not come in time."""
        self.late = 0
        """Answers that nobody awaited."""
        self._answer_to: Mapping[str, tuple[str, float]] = {
            layout.answers: (layout.name, layout.within) for layout in form.messages if layout.answers
        }
        self._answers = frozenset(name for name, _ in self._answer_to.values())
        self._awaited: tuple[str, float, float] | None = None
        self._rest_until: dict[str, float] = {}

    def answer_to(self, message: str) -> str:
        """Return the message that answers this one; empty when none does."""
        return self._answer_to.get(message, ("", 0.0))[0]

    def free_at(self, message: str, now: float) -> float:
        """Return the moment from which `message` may be sent, which has passed when it may be sent now."""
        self._give_up(now)
        if self._awaited is not None:
            return self._awaited[1]
        answer, _ = self._answer_to.get(message, ("", 0.0))
        return self._rest_until.get(answer, now)

    def asked(self, message: str, at: float, *, on_the_wire: float) -> None:
        """Note that a message goes at a moment; it and its answer take `on_the_wire` seconds."""
        if message in self._answer_to:
            answer, within = self._answer_to[message]
            self._awaited = answer, at + within + on_the_wire, within

    def heard(self, message: str, at: float) -> bool:
        """Return whether a received message may be taken for what it says: no answer at all, or one that is awaited."""
        self._give_up(at)
        if message not in self._answers:
            return True
        if self._awaited is None or self._awaited[0] != message:
            self.late += 1
            return False
        self._awaited = None
        return True

    def _give_up(self, now: float) -> None:
        if self._awaited is not None and now >= self._awaited[1]:
            answer, deadline, within = self._awaited
            self._awaited = None
            self._rest_until[answer] = deadline + within
            self.unanswered += 1
