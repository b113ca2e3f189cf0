"""`measure contact`: what a recorded contact did, however it was recorded."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.measure.contact import ContactFile, measure_contact
from benchtest.measure.measured import Measured, Unmeasurable
from benchtest.measure.stated import Instrument
from benchtest.signals.contact import BounceRule, TimeRule
from benchtest.signals.series import Series
from tests.measure.drawn import OPEN, channel, contact, level, stamped, told, uneven

BOUNCING = ((0.055, 0.0552), (0.0556, 0.0561), (0.0563, 0.120), (0.1205, 0.1206))
COMMAND = level((0.05, 0.115))


def measured(series: Series, **more: Any) -> Measured:
    """Measure a contact with the default reading."""
    return measure_contact("capture.csv", ContactFile(contact=channel(series), **more), Instrument())


@pytest.mark.parametrize("series", [contact(*BOUNCING, noise=0.02), uneven(contact(*BOUNCING)), stamped(*BOUNCING)])
def test_operate_bounce_and_release_are_the_same_however_it_was_recorded(series: Series) -> None:
    """Made 5 ms after the command, 1.3 ms of bounce with two re-openings, open 5 ms after it, bouncing once."""
    found = told(measured(series, command=channel(COMMAND, "coil")))

    assert found["operate time"].value == pytest.approx(5e-3, abs=20e-6)
    assert found["bounce time, make"].value == pytest.approx(1.3e-3, abs=20e-6)
    assert str(found["bounces, make"].value).removeprefix("at least ") in {"2", "2.0"}
    assert found["release time"].value == pytest.approx(5e-3, abs=20e-6)
    assert found["bounce time, break"].value == pytest.approx(0.6e-3, abs=20e-6)


def test_a_count_from_samples_is_a_lower_bound_and_one_from_stamps_is_exact() -> None:
    """Between two samples something shorter may have been; between two stamps nothing was."""
    assert told(measured(contact(*BOUNCING)))["bounces, make"].value == "at least 2"
    assert told(measured(stamped(*BOUNCING)))["bounces, make"].value == 2.0


def test_a_record_that_begins_made_does_not_show_the_first_make() -> None:
    """It says not observed, and why, instead of a zero; the question stays open."""
    found = measured(contact((0.0, 0.1)))

    assert told(found)["first make"].value is None
    assert "already" in told(found)["first make"].note
    assert told(found)["first break"].value == pytest.approx(0.1, abs=1e-5)
    assert not found.settled


def test_an_ending_that_still_bounces_has_not_settled() -> None:
    """The last opening is at the end of the record: first make stands, rest does not."""
    found = told(measured(contact((0.190, 0.1905), (0.1915, 0.192), (0.197, 0.2))))

    assert found["first make"].value == pytest.approx(0.19, abs=1e-5)
    assert found["settled, make"].value is None
    assert "may not have settled" in found["settled, make"].note


def test_the_first_actuation_is_told_first_and_every_one_is_told() -> None:
    """Three commands, the second of which the contact misses: each has its own figures."""
    commands = level((0.02, 0.06), (0.08, 0.12), (0.14, 0.18))
    found = told(measured(contact((0.025, 0.065), (0.146, 0.185)), command=channel(commands, "coil")))

    assert found["actuations"].value == 3.0
    assert found["operate time 1"].value == pytest.approx(5e-3, abs=20e-6)
    assert found["operate time 2"].value is None
    assert found["operate time 3"].value == pytest.approx(6e-3, abs=20e-6)


def test_contact_time_includes_the_bounce() -> None:
    """By the other definition the time runs to the last change."""
    found = told(measured(contact(*BOUNCING), command=channel(COMMAND, "coil"), time_rule=TimeRule.SETTLED))

    assert found["operate time"].value == pytest.approx(6.3e-3, abs=20e-6)
    assert "bounce included" in found["operate time"].definition


def test_the_military_bounce_rule_needs_ten_microseconds() -> None:
    """Of two openings of 4 µs and 100 µs only the longer one is a bounce (MIL-R-5757J, 4.6.8.5.1)."""
    short = stamped((0.05, 0.051), (0.051004, 0.052), (0.0521, 0.2))
    every, ruled = (told(measured(short, bounce_rule=rule))["bounces, make"].value for rule in BounceRule)

    assert (every, ruled) == (2.0, 1.0)


def test_a_change_over_breaks_before_it_makes() -> None:
    """The break contact opens at 55 ms, the make contact closes at 57 ms: 2 ms of transit, never both made."""
    breaking = channel(contact((0.0, 0.055)), "NC")
    found = told(measured(contact((0.057, 0.2)), breaking=breaking))

    assert found["transfer"].value == "break before make"
    assert found["transit time"].value == pytest.approx(2e-3, abs=20e-6)
    assert found["both made"].value == 0.0


def test_a_form_b_contact_operates_by_breaking() -> None:
    """Made at rest, open 4 ms after the command."""
    found = told(measured(contact((0.0, 0.054), (0.118, 0.2)), way="break", command=channel(COMMAND, "coil")))

    assert found["operate time"].value == pytest.approx(4e-3, abs=20e-6)
    assert found["release time"].value == pytest.approx(3e-3, abs=20e-6)


def test_a_contact_that_shows_one_level_is_undecided_with_the_way_out() -> None:
    """Open all along: without thresholds nothing is known, with them it is known to be never made."""
    silent = measured(contact())
    assert told(silent)["contact"].value == "undecided"
    assert "--low" in told(silent)["contact"].note
    assert not silent.settled

    given_levels = measured(contact(), low=1.0, high=0.9 * OPEN)
    assert told(given_levels)["actuations"].value == 0.0


@pytest.mark.parametrize("levels", [{"low": 1.0}, {"high": 9.0}, {"low": 9.0, "high": 1.0}])
def test_thresholds_that_tell_nothing_apart_are_refused(levels: dict[str, float]) -> None:
    """One alone, or both in the wrong order."""
    with pytest.raises(Unmeasurable, match="--low"):
        measured(contact(*BOUNCING), **levels)


@given(st.floats(0.02, 0.1), st.floats(1.001, 8.0), st.floats(-3.0, 3.0))
def test_moving_the_record_and_scaling_its_volts_changes_no_duration(at: float, scale: float, offset: float) -> None:
    """Bounce and hold are durations, and levels are found from the record itself."""
    here, there = contact((at, at + 0.001), (at + 0.002, at + 0.08)), contact((0.05, 0.051), (0.052, 0.13))
    moved = type(here)(values=here.values * scale + offset, rate=here.rate, start=2.5)

    first = told(measured(moved))["bounce time, make"].value
    second = told(measured(there))["bounce time, make"].value
    assert first == pytest.approx(second, abs=2.1 / here.rate)


def test_a_contact_that_only_flutters_is_told_and_has_not_settled() -> None:
    """Made three times for 3 ms each and open again: it was seen, and the question stays open."""
    found = measured(contact((0.05, 0.053), (0.06, 0.063), (0.07, 0.073)))

    assert told(found)["first make"].value == pytest.approx(0.05, abs=1e-5)
    assert told(found)["settled, make"].value is None
