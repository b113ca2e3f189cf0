"""A dialogue of a page, typed at a terminal: what the page shows as typed is typed.

Where the page leaves a stretch out (`…`), the person who can be trusted answers from a virtual board. That person acts
on every request as asked, so the board is where the dialogue is.
"""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from benchtest.cli.documents import prepare
from benchtest.clock import VirtualClock
from tests.adapters.technician import Technician, virtual_board
from tests.cli.scripted import REQUEST, Typist
from tests.docs.typed import LEFT_OUT, Typed

ASKED: Final = re.compile(rf"{REQUEST.pattern}|(?:\A|\n)([^\n]+[:?]) \Z")
"""A request to a person at a bench, or a last line that ends in a colon or a question mark."""


def held(typed: Typed, folder: Path, surroundings: Mapping[str, str]) -> str:
    """Type a command and its answers as a page shows them; return what stood on the terminal."""
    typist = Typist(("-c", typed.command), folder, program=("bash",), surroundings=surroundings, waiting=ASKED)
    technician, lines, stood = _technician(folder), typed.shown.splitlines(), ""
    try:
        while request := typist.request():
            stood += typist.seen
            here = [line.rstrip() for line in plain(typist.seen).splitlines()]
            for line in here:
                technician.tell(line)
            answer = shown_answer(lines, here)
            trusted = technician.ask(request) if answer is None or technician.knows(request) else ""
            typist.type(trusted if answer is None else answer)
        return plain(stood + typist.seen)
    finally:
        typist.child.close(force=True)


def plain(text: str) -> str:
    """Return what stood on a terminal with a blank where no line may break."""
    return text.replace("\r\n", "\n").replace("\N{NO-BREAK SPACE}", " ")


def shown_answer(lines: list[str], here: list[str]) -> str | None:
    """Return what a page shows after the prompt that stands last, its lines to there taken off.

    Nothing where the page leaves the prompt out: until the line after `…` stands on the terminal.
    """
    for place, line in enumerate(lines):
        if line == LEFT_OUT:
            del lines[:place]
            if len(lines) == 1 or lines[1] not in here:
                return None
            del lines[0]
            return shown_answer(lines, here)
        if line.startswith(here[-1]):
            del lines[: place + 1]
            return line.removeprefix(here[-1]).strip()
    return None


def _technician(folder: Path) -> Technician:
    """Return a person at the board that is worked by hand on the pages."""
    prepared = prepare(folder / "profiles/carwash.yaml", folder / "fixtures/byhand.yaml", None, ())
    scene = virtual_board(prepared)
    return Technician(scene, VirtualClock(scene.advance))
