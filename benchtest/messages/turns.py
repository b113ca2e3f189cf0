"""Who may speak on a line where one is asked and answers. Owns no port and no clock: moments are told.

A question and its answer carry no number. So while an answer is awaited nothing else is said; and when it did not come
in time, the same is not asked again for as long once more: an answer that comes then is late, and is taken for none.
An answer can be later still, and then it looks like that of the next question. So after one that was missing, and after
one too many, the next answer is not believed either, and the line rests after it as if it were missing: if nothing more
comes, question and answer are in step again.
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
        self.doubted = 0
        """Answers in time that may have been those of an earlier question."""
        self._answer_to: Mapping[str, tuple[str, float]] = {
            layout.answers: (layout.name, layout.within) for layout in form.messages if layout.answers
        }
        self._answers = frozenset(name for name, _ in self._answer_to.values())
        self._awaited: tuple[str, float, float] | None = None
        self._rest_until: dict[str, float] = {}
        self._out_of_step: set[str] = set()
        """Answers of which one is missing or was too many: whose the next one is, nobody knows."""

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
        self._give_up(at)
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
            self._out_of_step.add(message)
            return False
        _, deadline, within = self._awaited
        self._awaited = None
        if message not in self._out_of_step:
            return True
        self.doubted += 1
        self._out_of_step.remove(message)
        self._rest_until[message] = deadline + within
        return False

    def _give_up(self, now: float) -> None:
        if self._awaited is not None and now >= self._awaited[1]:
            answer, deadline, within = self._awaited
            self._awaited = None
            self._rest_until[answer] = deadline + within
            self._out_of_step.add(answer)
            self.unanswered += 1
