"""What the pages say is typed and what comes back: a newcomer's walk through each of them."""

import os
import shutil
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from tests.docs.dialogue import held, shown_answer
from tests.docs.keys import DOCS
from tests.docs.typed import Typed, Written, session
from tests.servers.postgresql import OWNER, Server

WALKED = sorted(page.name for page in DOCS.glob("*.md") if "```console" in page.read_text(encoding="utf-8"))
SERVER = "depot.example"
"""The depot's server of records, as the pages call it."""
LONGEST = 120.0
"""Seconds for one command."""


def clone(into: Path) -> None:
    """What of a fresh clone a reader works with."""
    for name in ("profiles", "fixtures", "docs/captures"):
        shutil.copytree(DOCS.parent / name, into / name)
    (into / ".bin").mkdir()
    for name, module in (("benchtest", "benchtest"), ("pytest", "pytest -p benchtest.pytest_plugin")):
        program = into / ".bin" / name
        program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m {module} "$@"\n', encoding="utf-8")
        program.chmod(0o755)


def surroundings(folder: Path) -> dict[str, str]:
    """A terminal of 80 columns, a home of its own, the program on its path."""
    paths = os.pathsep.join((str(folder / ".bin"), os.environ["PATH"]))
    known = {name: value for name, value in os.environ.items() if not name.startswith(("BENCHTEST", "COV", "XDG"))}
    return {**known, "PATH": paths, "COLUMNS": "80", "HOME": str(folder), "PYTHONPATH": str(DOCS.parent)}


@pytest.fixture
def of_the_page(page: str, request: pytest.FixtureRequest, tmp_path: Path) -> dict[str, str]:
    """The surroundings of a page; where it speaks of the depot's server there is one, and its name leads there."""
    around = surroundings(tmp_path)
    if SERVER not in (DOCS / page).read_text(encoding="utf-8"):
        return around
    server: Server = request.getfixturevalue("postgresql")
    paths = os.pathsep.join((around["PATH"], str(server.programs)))
    return {**around, "PATH": paths, "PGHOSTADDR": "127.0.0.1", "PGPORT": str(server.port), "PGUSER": OWNER}


def came_back(typed: Typed, folder: Path, around: Mapping[str, str]) -> str:
    """Type a command in a folder; return what comes back."""
    if typed.asks:
        return held(typed, folder, around)
    done = subprocess.run(
        ["bash", "-c", typed.command],
        cwd=folder,
        env=around,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        timeout=LONGEST,
        check=False,
    )
    return done.stdout


@pytest.mark.parametrize("page", WALKED)
def test_what_a_page_says_is_what_comes_back(page: str, tmp_path: Path, of_the_page: dict[str, str]) -> None:
    """Each file is written and each command typed, in order; nothing comes back that the page does not show."""
    clone(tmp_path)
    for part in session((DOCS / page).read_text(encoding="utf-8")):
        match part:
            case Written(name=name, content=content):
                (tmp_path / name).write_text(content, encoding="utf-8")
            case Typed():
                came = came_back(part, tmp_path, of_the_page)
                assert part.agrees(came), (
                    f"docs/{page}:{part.line}: $ {part.command}\n--- shown\n{part.shown}\n--- came back\n{came}"
                )


def test_a_page_that_shows_something_else_is_noticed() -> None:
    """A walk can fail: another figure, a line too many, a line too few."""
    (typed,) = session("```console\n$ benchtest --version\nbenchtest …\n…\nend\n```\n")
    assert isinstance(typed, Typed)

    assert typed.agrees("benchtest 1.0\nend\n")
    assert typed.agrees("benchtest 1.0\nsome\nmore\nend\n")
    assert not typed.agrees("benchtest 1.0\nend\nmore\n")
    assert not typed.agrees("something 1.0\nend\n")
    assert not typed.agrees("")


def test_in_a_dialogue_the_answer_stands_after_its_prompt() -> None:
    """Where a stretch is left out the page answers again from the line after it on, and not before."""
    (typed,) = session("<!-- dialogue -->\n```console\n$ ask\n  Name: A\n…\nStep 2\n  Volts: 5\n```\n")
    assert isinstance(typed, Typed)
    lines = typed.shown.splitlines()

    assert typed.asks
    assert "A" == shown_answer(lines, ["  Name:"])
    assert shown_answer(lines, ["Step 1", "  Volts:"]) is None
    assert "5" == shown_answer(lines, ["Step 2", "  Volts:"])
    assert [] == lines
