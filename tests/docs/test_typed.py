"""No command stands on a page that nothing types: in a session that is walked, or excused here with the reason."""

import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import click
import pytest

from benchtest.cli import group
from tests.docs.keys import DOCS
from tests.docs.typed import Typed, session

ROOT: Final = DOCS.parent
PAGES: Final = sorted([*DOCS.glob("*.md"), ROOT / "README.md", ROOT / "DEVELOPERS.md"])
WITH_DECISIONS: Final = [*PAGES, *sorted(DOCS.glob("decisions/*.md"))]
NOT_TYPED: Final = {
    "{ python3 -m venv .venv": "all set-up from a fresh clone: .ci/run types both lines of the README",
    "bash .ci/run": "what runs this test",
    ".venv/bin/pytest -q tests/judge": "these tests themselves",
    ".venv/bin/pytest -q tests/benchmarks -s": "these tests themselves",
    "benchtest simulate": "serves until Ctrl-C: tests/server starts it and puts boards through",
    "pytest profiles/carwash.yaml --rig fixtures/serial.yaml": "ports of a real bench: tests/wires does it over a pty",
}
"""Beginning of a command → why it is in no session."""
PROGRAM: Final = re.compile(r"(?:benchtest|pytest|python3?|createdb|pip|uv|bash|sh|\{|\.venv/bin/\w+) ")
INLINE: Final = re.compile(r"`(benchtest [^`]+)`")
MODULE: Final = re.compile(r"python -m (tests\.[\w.]+)")


def shown(page: Path) -> Iterator[str]:
    """Yield the commands in all fences of a page that are no sessions, without remarks."""
    fenced, walked = False, False
    for line in page.read_text(encoding="utf-8").splitlines():
        if line.startswith("```"):
            fenced, walked = not fenced, line == "```console"
        elif fenced and not walked and PROGRAM.match(line):
            yield re.split(r" +# ", line)[0].strip()


def typed() -> set[str]:
    """Return each command of each session, without what is done with its output."""
    sessions = (session(page.read_text(encoding="utf-8")) for page in DOCS.glob("*.md"))
    commands = [part.command for parts in sessions for part in parts if isinstance(part, Typed)]
    parts = (part for command in commands for part in re.split(r" && |; | \| | > \S+ 2>&1", command))
    return {part.strip() for part in parts}


def excuse(command: str) -> str:
    """Return why a command need not be typed, or an empty text."""
    return next((reason for begin, reason in NOT_TYPED.items() if command.startswith(begin)), "")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_command_in_a_fence_is_typed_somewhere(page: Path) -> None:
    """As it stands there, in a session on one of the pages; or it is excused."""
    walked = typed()
    assert [] == [command for command in shown(page) if command not in walked and not excuse(command)]


def test_every_excuse_is_needed() -> None:
    """A command that is typed by now, or gone, needs none."""
    untyped = {command for page in PAGES for command in shown(page)} - typed()
    assert [] == [begin for begin in NOT_TYPED if not any(command.startswith(begin) for command in untyped)]


def what_is_unknown(text: str) -> str:
    """Return the first word of a command that the program does not know, or an empty text."""
    command: click.Command = group
    for word in shlex.split(text)[1:]:
        if word.startswith("--"):
            known = {option for parameter in command.params for option in parameter.opts} | {"--help"}
            if word.split("=")[0] not in known:
                return word
        elif isinstance(command, click.Group) and re.fullmatch(r"[a-z-]+", word):
            found = command.get_command(click.Context(command), word)
            if found is None:
                return word
            command = found
    return ""


@pytest.mark.parametrize("page", WITH_DECISIONS, ids=lambda page: page.name)
def test_a_command_within_a_sentence_is_one_that_there_is(page: Path) -> None:
    """Its name, and every option that it is given; and a module of the tests is there."""
    text = page.read_text(encoding="utf-8")
    assert [] == [(found, word) for found in INLINE.findall(text) if (word := what_is_unknown(found))]
    assert [] == [
        name for name in MODULE.findall(text) if not (ROOT / name.replace(".", "/")).with_suffix(".py").exists()
    ]


def test_what_nobody_types_is_noticed(tmp_path: Path) -> None:
    """Both checks can fail."""
    page = tmp_path / "page.md"
    page.write_text("```sh\nbenchtest sing  # a song\n```\n```console\n$ benchtest --version\n```\n", encoding="utf-8")

    assert ["benchtest sing"] == list(shown(page))
    assert "" == excuse("benchtest sing")
    assert "sing" == what_is_unknown("benchtest sing --loudly")
    assert "--loudly" == what_is_unknown("benchtest records list --loudly")
    assert "" == what_is_unknown("benchtest measure KIND FILE…")
