"""How a person is asked: one request at a time, as plain lines that work over ssh, in a log and with a screen reader.

Every request takes four answers beside its own: `b` back to the request before, `s` skip with a reason, `p` pause and
go on another day, `?` what may be typed. There is no hurry, and nothing is drawn: what is asked stands on the last
line. What was understood is always said. A value that can hardly be is asked for once more; then it is believed.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, TypeVar

from benchtest.errors import Paused
from benchtest.instruments import Asker, Back, Skip

Answer = TypeVar("Answer")
HELP: Final = (
    "  Type the answer and press Enter. Also:\n"
    "    b  back to the request before this one, once\n"
    "    s  skip this one; you are asked why, and it is 'not tested'\n"
    "    p  pause: everything off, and go on later with --resume\n"
    "    ?  this list"
)
PAUSED: Final = "paused by the person at the bench"


@dataclass(slots=True)
class Conversation:
    """Asks until there is an answer that can be used."""

    asker: Asker
    requests: int = 0
    """How many requests were begun; a request that is asked again counts again."""
    said: dict[str, str] = field(default_factory=dict)
    """Prompt → what was answered last, for whoever comes back to it."""
    came_back: bool = False
    """The person wanted the request before; the next one says what was answered then."""

    def tell(self, text: str) -> None:
        """Show a text."""
        self.asker.tell(text)

    def done(self, request: str, *, skippable: bool = True) -> None:
        """Ask for something to be done and wait for Enter."""
        self.want(f"{request}. Enter when done:", nothing_else, skippable=skippable)

    def want(
        self,
        prompt: str,
        understand: Callable[[str], Answer],
        *,
        doubt: Callable[[Answer], str] = lambda _answer: "",
        show: Callable[[Answer], str] = lambda _answer: "",
        skippable: bool = True,
    ) -> Answer:
        """Return the answer to a prompt. `doubt` says why a value can hardly be, `show` how it was understood.

        Raises Back, Skip and Paused when that is what the person wants.
        """
        self.requests += 1
        if self.came_back and (earlier := self.said.get(prompt)):
            self.tell(f"  Your answer was: {earlier}")
        self.came_back = False
        answer = self._understood(prompt, understand, skippable=skippable)
        if why := doubt(answer):
            self.tell(f"    Understood {show(answer)}: {why}. Please look and type it again.")
            answer = self._understood(prompt, understand, skippable=skippable)
        if shown := show(answer):
            self.tell(f"    Noted: {shown}")
        self.said[prompt] = shown or "done"
        return answer

    def _understood(self, prompt: str, understand: Callable[[str], Answer], *, skippable: bool) -> Answer:
        """Return the first answer that is understood."""
        while True:
            try:
                return understand(self._typed(f"  {prompt}", skippable=skippable))
            except ValueError as problem:
                self.tell(f"    {problem}; ? for help.")

    def _typed(self, prompt: str, *, skippable: bool) -> str:
        """Return a line that is meant as an answer; whatever else was meant is raised or told."""
        while True:
            typed = self.asker.ask(prompt).strip()
            match typed.lower():
                case "b" | "back":
                    self.came_back = True
                    raise Back
                case "p" | "pause" | "q" | "quit":
                    raise Paused(PAUSED)
                case "?" | "h" | "help":
                    self.tell(HELP)
                case "s" | "skip":
                    self._skip(skippable=skippable)
                case _:
                    return typed

    def _skip(self, *, skippable: bool) -> None:
        if not skippable:
            self.tell("    This cannot be skipped, what comes after needs it. p to pause.")
            return
        reason = self.asker.ask("    Why is it skipped? (Enter alone: not skipped)").strip()
        if reason:
            self.tell("    Skipped, not tested.")
            raise Skip(reason)


def nothing_else(typed: str) -> str:
    """Take Enter, or a plain yes, for what is done; raises ValueError for anything else, above all a no."""
    if typed.lower() not in {"", "y", "yes", "ok", "done"}:
        raise ValueError(f"expected Enter alone when it is done, got {typed!r}")
    return ""
