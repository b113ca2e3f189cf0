"""A worked example: what a depot has mended decides between two faults that look the same to the bench."""

from dataclasses import replace
from pathlib import Path

import pytest

from benchtest.cli.case import own_repairs
from benchtest.depot.entries import BeyondRepair, Repaired, Triaged
from benchtest.depot.flow import Depot
from benchtest.depot.personal import NOTHING
from benchtest.diagnose.library import Library, Signature
from benchtest.diagnose.suspects import diagnose
from benchtest.faults.shares import TAKES_OVER
from benchtest.records.address import Address
from benchtest.records.database.opening import Records
from tests.depot.cases import FOUND, LEFT
from tests.depot.conftest import PART, board
from tests.records.finished import finished_run

WELDED, BURNT = "K3 contact welded", "K3 contact never closes"
SHARES = {WELDED: 0.19, BURNT: 0.55}
"""Of a relay's failures: short, and fails to trip (MIL-HDBK-338B, Table 7.6-1, in public copies)."""


def library() -> Library:
    """Two faults that give the same word in the one check that was answered, and differ in one that was not."""
    procedure = finished_run().procedure
    asked, other = procedure.steps[1].checks[:2]
    signatures = tuple(
        Signature(
            fault=fault, sentence=fault, repair="replace relay K3", kind=fault, subject="K3", prior=share, boards=10,
            words={asked.id: {"too low": 10}, **({other.id: {"too high": 10}} if fault == WELDED else {})},
            reached={}, values={},
        )
        for fault, share in SHARES.items()
    )  # fmt: skip
    return Library(checks=(asked, other), procedure=procedure, signatures=signatures, usual={})


def odds(repairs: dict[str, int]) -> float:
    """Return how much likelier a weld is than a burnt contact."""
    known = library()
    found = diagnose({known.checks[0].id: "too low"}, known, repairs).suspects
    chance = {one.faults[0].fault: one.probability for one in found if one.known}
    return chance[WELDED] / chance[BURNT]


def mended(depot: Depot, number: int, fault: str, *, part: str = PART, left: bool = True) -> None:
    """Take a board through a repair, and leave it passing, or beyond repair."""
    order = f"W-{number}"
    depot.take_in(order, board(f"S{number}", part=part), by="Ann", personal=NOTHING)
    depot.enter(order, Triaged(), by="Ann")
    depot.enter(order, FOUND, by="Bo")
    depot.enter(order, Repaired(what="replaced", part="K3", replaced=True, fault=fault), by="Bo")
    depot.enter(order, replace(LEFT, run=f"N-{number}") if left else BeyondRepair(reason="burnt"), by="Bo")


def test_the_depot_that_mends_welds_suspects_a_weld(file: Records, tmp_path: Path) -> None:
    """The handbook says 19 to 55; after nine own repairs of ten are welds, the same reading says otherwise.

    By hand: the handbook weighs 30 repairs, so a weld counts 30 · 19/74 + 9 = 16.70 of 40, a burnt contact
    30 · 55/74 + 1 = 23.30; with 90 of 100 it is 97.70 to 32.30.
    """
    depot = Depot(root=tmp_path, records=file)
    for number in range(1, 11):
        mended(depot, number, (WELDED.upper() if number % 2 else WELDED) if number < 10 else BURNT)
    mended(depot, 11, BURNT, part="CW-0810")
    mended(depot, 12, BURNT, left=False)

    repairs = own_repairs(Address(file=tmp_path / "records.sqlite", server=""), PART, library())

    assert {WELDED: 9, BURNT: 1} == repairs
    assert 30 == TAKES_OVER
    assert pytest.approx(19 / 55, rel=0.05) == odds({})
    assert pytest.approx(16.70 / 23.30, rel=0.05) == odds(dict(repairs))
    assert pytest.approx(97.70 / 32.30, rel=0.05) == odds({WELDED: 90, BURNT: 10})


def test_where_there_are_no_records_the_handbook_stands(tmp_path: Path) -> None:
    """None kept, or none there yet: nothing is made for the asking."""
    assert {} == own_repairs(Address.nowhere(), PART, library())
    assert {} == own_repairs(Address(file=tmp_path / "none.sqlite", server=""), PART, library())
    assert not list(tmp_path.iterdir())
