"""Completion in a shell, as docs/README.md says it is switched on."""

import os
import subprocess
import sys

import pytest


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("benchtest che", "plain,check"),
        ("benchtest records hist", "plain,history"),
        ("benchtest run --vari", "plain,--variant"),
    ],
)
def test_commands_and_options_are_completed(typed: str, offered: str) -> None:
    """What a shell asks for with the tabulator key is offered, down to commands of a group and options."""
    asked = {"_BENCHTEST_COMPLETE": "bash_complete", "COMP_WORDS": typed, "COMP_CWORD": str(typed.count(" "))}
    told = subprocess.run(
        [sys.executable, "-m", "benchtest"], env={**os.environ, **asked}, capture_output=True, text=True, check=True
    )

    assert offered in told.stdout.splitlines()


def test_a_shell_gets_its_script() -> None:
    """The line in docs/README.md evaluates a script for bash."""
    asked = {"_BENCHTEST_COMPLETE": "bash_source"}
    told = subprocess.run(
        [sys.executable, "-m", "benchtest"], env={**os.environ, **asked}, capture_output=True, text=True, check=True
    )

    assert "complete -o nosort -F _benchtest_completion benchtest" in told.stdout
