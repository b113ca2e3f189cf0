"""Suspects: the right one comes first, silence says nothing, the unknown keeps its name, own repairs count."""

from functools import cache

import pytest

from benchtest.diagnose.library import Library
from benchtest.diagnose.next_check import next_check, offers
from benchtest.diagnose.suspects import Diagnosis, diagnose
from benchtest.diagnose.symptoms import IN_ORDER
from benchtest.faults import possible
from benchtest.studies.trial import Trial, Tried, try_one
from tests.diagnose.accuracy import measured
from tests.studies.studied import carwash, library, words


@cache
def board(*faults: str) -> Tried:
    """A board with these faults that is in no library."""
    return try_one(carwash(), Trial(faults=faults, seed=977))


def diagnosed(*faults: str, known: Library | None = None) -> Diagnosis:
    return diagnose(words(board(*faults), library()), known or library())


def named(diagnosis: Diagnosis, among: int = 1) -> set[str]:
    return {fault.fault for suspect in diagnosis.suspects[:among] for fault in suspect.faults}


@pytest.mark.parametrize(
    "fault",
    [
        "K1 contact welded",
        "K2 contact resistance high",
        "K3 slow release",
        "D3 lamp always lit",
        "D6 lamp code wrong",
    ],
)
def test_the_fault_that_is_there_is_suspected_first(fault: str) -> None:
    """With other parts and another severity than the boards that the library was made from."""
    assert fault in named(diagnosed(fault))


def test_on_the_whole_the_right_suspect_comes_first() -> None:
    """The figures of the page about accuracy, on the small board, which shows less, with room for chance."""
    found = measured(carwash(), pairs=40)

    assert found.first >= 0.75
    assert found.three >= 0.85
    assert found.none >= 0.55
    assert found.both >= 0.6


def test_a_good_board_has_no_suspects() -> None:
    """Where everything was in order nobody is suspected, and nothing need be measured next."""
    diagnosis = diagnose(words(board(), library()), library())

    assert () == diagnosis.suspects
    assert next_check(diagnosis, library(), ()) is None


def test_what_was_not_tested_says_nothing() -> None:
    """Leaving out checks in which no fault shows anything changes no probability."""
    said = words(board("K1 contact welded"), library())
    idle = [check for check in said if not any(check in one.words for one in library().signatures)]
    fewer = {check: word for check, word in said.items() if check not in idle[:3]}

    assert idle
    assert [suspect.faults[:1] for suspect in diagnose(said, library()).suspects[:3]] == [
        suspect.faults[:1] for suspect in diagnose(fewer, library()).suspects[:3]
    ]
    assert () == diagnose({}, library()).suspects


def test_probabilities_of_suspects_are_probabilities() -> None:
    """Between nothing and one; with one fault they add up to little more than one (two may be there at once)."""
    shares = [suspect.probability for suspect in diagnosed("K2 contact welded").suspects]

    assert all(0 <= share <= 1 for share in shares)
    assert 0.9 < sum(shares) < 1.2
    assert sorted(shares, reverse=True) == shares


def test_a_kind_that_the_library_does_not_know_is_given_no_wrong_name() -> None:
    """Without interlock faults in the library a board with one is none of these."""
    known = library().without(["lamps swapped"])

    assert not diagnosed("D1/D2 lamps swapped", known=known).suspects[0].known


def test_two_faults_are_both_suspected() -> None:
    """A weld and a dark lamp elsewhere: both are among the first."""
    assert {"K2 contact welded", "D6 lamp code wrong"} <= named(diagnosed("K2 contact welded", "D6 lamp code wrong"), 4)


def test_own_repairs_take_over_from_the_handbook() -> None:
    """Of two faults that look alike, the one that this depot has mended a hundred times comes first."""
    said = words(board("K2 driver open"), library())
    before = diagnose(said, library()).suspects[0].faults[0].fault
    other = "foam input stuck" if before == "K2 driver open" else "K2 driver open"

    assert other == diagnose(said, library(), {other: 100}).suspects[0].faults[0].fault


def test_signs_for_and_against_are_readings_of_this_run() -> None:
    """What speaks for a weld is that its contact was closed when it should have been open."""
    first = diagnosed("K1 contact welded").suspects[0]

    assert any("K1" in sign.check and "open" in sign.check for sign in first.supports)
    assert all(sign.word != IN_ORDER for sign in first.supports[:1])


def test_the_next_check_tells_a_broken_coil_from_a_burnt_contact() -> None:
    """It is a measurement at the relay's own terminals, with what each suspect would give."""
    diagnosis = diagnosed("K2 driver open")
    advice = next_check(diagnosis, library(), words(board("K2 driver open"), library()))

    assert advice is not None
    expected = {one.fault: one.value for one in advice.expected}
    assert expected["K2 driver open"] != expected["foam input stuck"]
    assert 0 < advice.gain <= 4
    assert advice.minutes > 0


def test_every_fault_of_the_board_is_in_the_library() -> None:
    """None is forgotten, and each has a prior."""
    assert {fault.text for fault in possible(carwash().fitted)} == {one.fault for one in library().signatures}
    assert sum(one.prior for one in library().signatures) == pytest.approx(1.0)


def test_nothing_is_foretold_of_a_part_that_a_fault_elsewhere_reaches() -> None:
    """With its input stuck a relay is not commanded: its coil has no supply voltage, whatever a list says of coils."""
    diagnosis = diagnosed("K2 driver open")
    known = library()
    at_the_coil = [
        one for offer in offers(diagnosis, known) if "across its coil" in offer.instruction for one in offer.expected
    ]

    assert all(one.value != "the supply's voltage" for one in at_the_coil if one.fault == "foam input stuck")
