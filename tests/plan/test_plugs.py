"""Plugs that are missing or swapped, told without power."""

import math
from typing import Any

import pytest

from benchtest.fixture.document import ContactTest
from benchtest.plan.plugs import NOTHING, Ohms, behind, moved, plugs, twins
from benchtest.plan.timeline import Draft
from benchtest.plan.wiring import Wiring
from benchtest.procedure import Interval, Source
from benchtest.profile.board import Contact
from benchtest.terminals import Pair
from tests.simulator.stand import BENCH

TEST = ContactTest.model_validate({"voltage": "12 V", "series": "120 ohm"})


def test_the_step_looks_at_contacts_that_are_closed_at_rest(greenhouse: Any) -> None:
    """K1 breaks and K11 changes over: both are closed without power, through plugs X11 and X13."""
    (step,) = [step for step in greenhouse.procedure.steps if step.id == "plugs"]

    assert ["X11.1-X11.2", "X13.1-X13.3"] == [check.probe for check in step.checks]
    assert not step.gate
    for check in step.checks:
        assert isinstance(check.permitted, Interval)
        assert pytest.approx(1.2) == check.permitted.high  # a tenth of 12 V, below which a contact is made


def test_the_step_comes_before_anything_is_energised(greenhouse: Any) -> None:
    """No supply is switched on before the plugs were looked at."""
    steps = [step.id for step in greenhouse.procedure.steps]
    powered = [step.id for step in greenhouse.procedure.steps if any(isinstance(m, Source) for m in step.moves)]

    assert steps.index("plugs") < steps.index(powered[0])


@pytest.mark.parametrize("volts", [0.1, 1.2, 6.0, 10.8])
def test_the_resistance_behind_a_voltage_is_that_of_a_divider(volts: float) -> None:
    """Ohm's law: the same current through both resistors of the divider."""
    ohms = behind(TEST, volts)

    assert pytest.approx(volts) == 12.0 * ohms / (ohms + 120.0)
    assert math.isinf(behind(TEST, 12.0))


def test_resistances_are_apart_only_where_none_is_in_both() -> None:
    """The limits themselves are permitted."""
    assert Ohms(low=0, high=1).apart_from(Ohms(low=2, high=math.inf))
    assert not Ohms(low=0, high=2).apart_from(Ohms(low=2, high=math.inf))
    assert Ohms(low=0, high=1e9).apart_from(NOTHING)
    assert not Ohms(low=500, high=math.inf).apart_from(NOTHING)


def test_a_moved_plug_takes_its_pins_along() -> None:
    """A pair that ends in two plugs does not move with one."""
    assert Pair.parse("X5.1-X5.2") == moved(Pair.parse("X3.1-X3.2"), "X3", "X5")
    assert moved(Pair.parse("X3.1-X1.2"), "X3", "X5") is None


def test_twins_have_as_many_pins(carwash: Any) -> None:
    """Two with two pins, two with eight; the one with four is alone."""
    assert (("X1", "X4"), ("X2", "X3")) == twins(carwash.fitted.profile)


def test_a_closed_contact_that_is_not_there_shows_before_power(bench: Any, greenhouse: Any) -> None:
    """K1's contact that is open without power fails, as a missing plug would, and the run goes on to tell more."""
    performed = bench.performed(greenhouse, "K1 contact never closes")
    by_id = {result.check.id: result for result in performed.results}

    assert "fail" == by_id["plugs.K1.closed-through-plug-X11"].verdict
    assert pytest.approx(12.0, rel=0.01) == by_id["plugs.K1.closed-through-plug-X11"].value
    assert "pass" == by_id["plugs.K11.closed-through-plug-X13"].verdict
    assert "pass" == by_id["exercise.K2.operate-time"].verdict


def test_a_rival_with_something_closed_at_the_same_pins_is_told_by_an_open_contact(greenhouse: Any) -> None:
    """A connector as large as X11 with a break contact at pins 3 and 4, where K2's make contact is open: a gate."""
    profile = greenhouse.fitted.profile
    break_ = Contact.model_validate({"form": "B", "break": "X14.3-X14.4"})
    rival = profile.relays["K3"].model_copy(update={"contact": break_})
    connectors = {**profile.connectors, "X14": profile.connectors["X11"]}
    changed = profile.model_copy(update={"connectors": connectors, "relays": {**profile.relays, "K3": rival}})
    draft = Draft(profile=changed, wiring=Wiring(greenhouse.harness, BENCH.fixture), place=lambda *_: "", rate=1e4)
    closed, swapped = plugs(draft)

    assert (False, True) == (closed.gate, swapped.gate)
    assert ["X11.3-X11.4"] == [check.probe for check in swapped.checks]
    permitted = swapped.checks[0].permitted
    assert isinstance(permitted, Interval)
    assert pytest.approx(10.8) == permitted.low
    assert permitted.high is None


def test_a_board_without_closed_contacts_has_no_such_step(carwash: Any) -> None:
    """All contacts of the car-wash board are open at rest: nothing can be told, and no empty step pretends to."""
    draft = Draft(
        profile=carwash.fitted.profile, wiring=Wiring(carwash.harness, BENCH.fixture), place=lambda *_: "", rate=1e4
    )

    assert [] == plugs(draft)
