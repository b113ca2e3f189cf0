"""The commands of a page, as a reader types them, and what the page says that comes back.

A page shows a session in a fence called `console`: a line that begins with `$ ` is typed, what follows is what comes
back. `…` in a line stands for any text, `…` alone on a line for any lines. A file that the reader is to write stands in
a fence after a comment `<!-- file: NAME -->`. A command that asks stands in a fence after `<!-- dialogue -->`, with the
answers where they are typed. All of a page is one session in one folder, where `profiles`, `fixtures` and the captures
lie as in a fresh clone.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

PROMPT: Final = "$ "
LEFT_OUT: Final = "…"
_FILE: Final = re.compile(r"<!-- file: (\S+) -->")
_DIALOGUE: Final = "<!-- dialogue -->"


@dataclass(frozen=True, kw_only=True, slots=True)
class Written:
    """A file that the reader writes."""

    name: str
    content: str
    line: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Typed:
    """A command that the reader types."""

    command: str
    shown: str
    """What comes back, as the page says."""
    line: int
    asks: bool = False
    """On a terminal, where it asks; the answers stand in what is shown."""

    def agrees(self, came: str) -> bool:
        """Return whether what came back is what the page shows."""
        return re.fullmatch(_pattern(self.shown), _plain(came), re.DOTALL) is not None


def session(page: str) -> Iterator[Written | Typed]:
    """Yield what a reader of a page writes and types, in order."""
    lines = page.splitlines()
    at, named, asks = 0, "", False
    while at < len(lines):
        if found := _FILE.fullmatch(lines[at].strip()):
            named = found[1]
        elif lines[at] == _DIALOGUE:
            asks = True
        elif lines[at].startswith("```"):
            end = next(place for place in range(at + 1, len(lines)) if lines[place] == "```")
            block = lines[at + 1 : end]
            if named:
                yield Written(name=named, content="\n".join(block) + "\n", line=at + 1)
            elif lines[at] == "```console":
                yield from _commands(block, at + 2, asks=asks)
            at, named, asks = end, "", False
        at += 1


def _commands(block: list[str], first: int, *, asks: bool) -> Iterator[Typed]:
    begins = [place for place, line in enumerate(block) if line.startswith(PROMPT)]
    for begin, end in zip(begins, [*begins[1:], len(block)], strict=True):
        shown = "\n".join(block[begin + 1 : end])
        yield Typed(command=block[begin].removeprefix(PROMPT), shown=shown, line=first + begin, asks=asks)


def _plain(text: str) -> str:
    """Return a text as it looks: no blanks at the end of a line, and a blank where no line may break."""
    return "".join(f"{line.rstrip()}\n" for line in text.strip("\n").replace("\N{NO-BREAK SPACE}", " ").splitlines())


def _pattern(shown: str) -> str:
    """Return what matches the text of a page: `…` alone any lines or none, within a line anything on it."""
    return "".join(
        r"(?:[^\n]*\n)*?" if line == LEFT_OUT else re.escape(line).replace(LEFT_OUT, r"[^\n]*?") + r"\n"
        for line in _plain(shown).splitlines()
    )
