"""The table of drivers, and the page that describes the protocol."""

import re
from pathlib import Path

import pytest

from benchtest.adapters.catalogue import DRIVERS, find
from benchtest.errors import PlanError
from benchtest.instruments import Role
from benchtest.simulator.commands import COMMANDS
from benchtest.simulator.syntax import TEXTS

PAGE = (Path(__file__).parents[2] / "docs/adapter-protocol.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", DRIVERS)
def test_every_driver_can_be_found(name: str) -> None:
    """Each entry of the table leads to a function."""
    assert callable(find(name))


def test_unknown_driver_is_refused_with_the_known_ones() -> None:
    """A name that is not in the table is refused, and the message lists what there is."""
    with pytest.raises(PlanError, match=r"try one of can, .*scpi, .*simulated"):
        find("os:system")


def test_page_and_table_have_the_same_commands() -> None:
    """Every command of the served bench is on the page, with as many parameters, and the page promises no other."""
    rows = re.findall(r"^\| `([A-Z*][A-Za-z:*\[\]]+\??)` \|((?:\\\||[^|])*)\|", PAGE, re.MULTILINE)
    on_page = {header: len(re.findall(r"<", parameters)) for header, parameters in rows}

    assert {header: command.arguments for header, command in COMMANDS.items()} == on_page


def test_page_and_table_have_the_same_errors() -> None:
    """Every error code and its text is on the page, and the page has no other."""
    rows = re.findall(r"^\| (−?[0-9]+) \| ([^|]+) \|", PAGE, re.MULTILINE)

    assert TEXTS == {int(code.replace("−", "-")): text for code, text in rows}


def test_page_explains_every_role() -> None:
    """Whoever writes an adapter learns what each role of a channel is for, and of no other."""
    section = PAGE.partition("## Channels")[2].partition("\n## ")[0]

    assert {role.value for role in Role} == set(re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE))
