"""Every command that a page names is one, with options that it has; those that are typed out are also run."""

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from benchtest.cli import group
from tests.docs import commands as commands_page
from tests.docs.keys import DOCS

PAGES = [DOCS.parent / "README.md", *sorted(DOCS.glob("*.md"))]
_IN_A_FENCE = re.compile(r"^(?:\$ )?(benchtest [^#|>;\n]*)", re.MULTILINE)
_IN_A_SENTENCE = re.compile(r"`(benchtest [^`]*)`")


def commands(page: str) -> Iterator[str]:
    """Each command line of a page, in fences and in sentences, without what a shell does with it."""
    fences = re.findall(r"^```\w*\n(.*?)^```", page, re.DOTALL | re.MULTILINE)
    yield from (line.strip() for fence in fences for line in _IN_A_FENCE.findall(fence))
    prose = re.sub(r"^```\w*\n.*?^```", "", page, flags=re.DOTALL | re.MULTILINE)
    yield from (" ".join(line.split()) for line in _IN_A_SENTENCE.findall(prose))


def wrong(line: str) -> str:
    """What is wrong with a command line; empty when each word of it is known."""
    words = shlex.split(line.replace("…", "x"))[1:]
    here: click.Command = group
    context = click.Context(here, **group.context_settings)
    while isinstance(here, click.Group) and words and not words[0].startswith("-"):
        if words[0].isupper():
            return ""  # stands for any of them
        found = here.get_command(context, words[0])
        if found is None:
            return f"there is no command {words[0]!r}"
        here, words = found, words[1:]
    known = {option for part in here.get_params(context) for option in (*part.opts, *part.secondary_opts)}
    strange = [word for word in words if re.match(r"--?[a-z]", word) and word.partition("=")[0] not in known]
    return f"no option {strange[0]}" if strange else ""


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_commands_are_spelled_as_they_are(page: Path) -> None:
    """No page names a command or an option that the program does not have."""
    found = {line: wrong(line) for line in commands(page.read_text(encoding="utf-8"))}

    assert {line: problem for line, problem in found.items() if problem} == {}


def test_a_misspelled_command_is_noticed() -> None:
    """Commands, commands of a group and options are looked at."""
    assert wrong("benchtest chek PROFILE") == "there is no command 'chek'"
    assert wrong("benchtest rig chek FILE") == "there is no command 'chek'"
    assert wrong("benchtest check PROFILE --fixtur FILE") == "no option --fixtur"
    assert wrong("benchtest check PROFILE --fixture FILE") == ""


def test_the_page_of_commands_is_what_the_program_says() -> None:
    """`python -m tests.docs.commands` was run after the last change of a command."""
    assert (DOCS / commands_page.PAGE).read_text(encoding="utf-8") == commands_page.page()
