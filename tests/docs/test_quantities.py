"""The page of quantities knows every number that a run has, and every term of its budget."""

import re

import pytest

from benchtest.perform import Watcher, perform
from benchtest.results import Result
from benchtest.rig import Virtual, open_rig
from tests.docs.keys import DOCS
from tests.studies.studied import greenhouse

NAMES = {"voltage at the board, after off, of a rail": ("voltage at the board", "voltage after off", "voltage")}
"""What stands in one row for several checks."""


def rows() -> dict[str, set[str]]:
    """Quantity → terms of its budget, as the page says."""
    cells = re.findall(
        r"^\| ([^|]+) \|.*\| ([^|]+) \|$", (DOCS / "quantities.md").read_text(encoding="utf-8"), re.MULTILINE
    )
    return {
        name: set(terms.split(", "))
        for several, terms in cells
        for name in NAMES.get(several, tuple(several.split(", ")))
    }


@pytest.fixture(scope="module")
def results() -> tuple[Result, ...]:
    """Results of one good greenhouse board."""
    subject = greenhouse()
    rig = open_rig(
        subject.procedure,
        subject.fitted,
        fixture=subject.fixture,
        harness=subject.harness,
        ports={},
        virtual=Virtual(seed=1, faults=()),
    )
    with rig as opened:
        return perform(subject.procedure, opened, Watcher()).results


def test_every_number_has_its_row_with_its_terms(results: tuple[Result, ...]) -> None:
    """No number of a greenhouse run is without a definition, and no term of a budget is missing from its row."""
    known = rows()
    numbers = {
        result.check.title: {re.sub(r" \d+$", "", term.name) for term in result.budget.terms}
        for result in results
        if result.budget is not None
    }
    unknown = {
        title: terms
        for title, terms in numbers.items()
        if not any(name in title and terms <= listed for name, listed in known.items())
    }

    assert len(numbers) > 150
    assert unknown == {}
