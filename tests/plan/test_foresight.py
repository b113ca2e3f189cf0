"""What the plan foresees of every reading, and the limits that it refuses or lets pass with a reason."""

import math
from typing import Any

import pytest

from benchtest.cli.documents import Prepared
from benchtest.errors import PlanError
from benchtest.fixture.document import Accuracies, Fixture
from benchtest.metrology.budget import combine
from benchtest.plan import plan
from benchtest.plan.foresight import Foreseen, foresee
from benchtest.procedure import Procedure
from benchtest.profile.document import Decision

NAMES = ["greenhouse", "carwash"]


def planned(prepared: Prepared, *, decision: dict[str, Any] | None = None, **fixture: Any) -> Procedure:
    """Plan again with parts of the fixture or of the decision changed."""
    bench: Fixture = prepared.fixture.fixture.model_copy(update=fixture)
    profile = prepared.fitted.profile
    if decision is not None:
        profile = profile.model_copy(update={"decision": Decision.model_validate(decision)})
    fitted = type(prepared.fitted)(
        profile=profile,
        variant=prepared.fitted.variant,
        options=prepared.fitted.options,
        not_fitted=prepared.fitted.not_fitted,
    )
    return plan(
        fitted,
        database=prepared.profile.database,
        fixture=bench,
        harness=prepared.harness,
        place=prepared.profile.place,
    )


def slower(prepared: Prepared, rate: float) -> dict[str, Any]:
    """Return the adapters with another sampling rate."""
    adapters = prepared.fixture.fixture.adapters
    return {**adapters, "io": adapters["io"].model_copy(update={"rate": rate})}


def accuracy(prepared: Prepared, role: str, **changed: Any) -> Accuracies:
    """Return the accuracies with one role changed."""
    whole = prepared.fixture.fixture.accuracy
    return whole.model_copy(update={role: getattr(whole, role).model_copy(update=changed)})


def by_id(procedure: Procedure) -> dict[str, Foreseen]:
    """Return what is foreseen, by check."""
    return {one.check.id: one for one in foresee(procedure)}


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("fixture", ["simulated", "serial"])
def test_the_shipped_benches_resolve_the_shipped_boards(bench: Any, name: str, fixture: str) -> None:
    """Every limit of every shipped profile is at least four times as wide as the bench is uncertain."""
    variants = ["two-bay", "one-bay"] if name == "greenhouse" else [None]
    for variant in variants:
        procedure = bench.prepared(name, variant=variant, fixture=fixture).procedure
        assert min(one.ratio for one in foresee(procedure)) >= 4
        assert () == procedure.unresolved


@pytest.mark.parametrize("name", NAMES)
def test_every_reading_that_has_a_budget_was_foreseen(bench: Any, request: pytest.FixtureRequest, name: str) -> None:
    """What the judge puts a number on, the plan has put one on, and nothing else."""
    prepared = request.getfixturevalue(name)
    results = bench.performed(prepared).results
    judged = {result.check.id for result in results if result.budget is not None}
    over_range = {result.check.id for result in results if isinstance(result.value, float) and math.isinf(result.value)}

    assert judged == by_id(prepared.procedure).keys() - over_range


@pytest.mark.parametrize("name", NAMES)
def test_readings_are_hardly_less_certain_than_foreseen(bench: Any, request: pytest.FixtureRequest, name: str) -> None:
    """Up to the limit it was foreseen at, the judge's U is the plan's, but for repeatability and broken cycles."""
    prepared = request.getfixturevalue(name)
    foreseen = by_id(prepared.procedure)
    compared = 0
    for result in bench.performed(prepared).results:
        value, one = result.value, foreseen.get(result.check.id)
        if result.budget is not None and one is not None and isinstance(value, float) and value <= one.at:
            compared += 1
            own = [term for term in result.budget.terms if term.name not in {"repeatability", "window"}]
            known, _ = combine(type(result.budget)(terms=tuple(own))).expanded(2.0)
            assert known <= 1.02 * one.uncertainty, result.check.id
    assert compared > 20


def test_the_tolerance_is_what_lies_between_the_limits(greenhouse: Prepared) -> None:
    """Both limits: their distance. One: its distance from zero, or from 100 % for a least share."""
    found = by_id(greenhouse.procedure)
    expected = {
        "exercise.K3.operate-time": ("both limits", 0.011),
        "exercise.K3.contact-resistance": ("limit to zero", 0.2),
        "exercise.K3.open-contact-at-first": ("limit to 100 %", 0.1),
        "unpowered.main.not-shorted": ("limit to zero", 500.0),
    }
    assert {name: basis for name, (basis, _) in expected.items()} == {name: found[name].basis for name in expected}
    assert [size for _, size in expected.values()] == pytest.approx([found[name].tolerance for name in expected])


def test_the_uncertainty_is_taken_where_it_is_largest(greenhouse: Prepared) -> None:
    """Of a rail between 4.8 and 5.2 V, at 5.2 V: ±(0.05 % + 3 mV) and a step of 1.25 mV."""
    rail = next(one for one in foresee(greenhouse.procedure) if one.check.subject == "logic 5 V")
    expected = 2 * math.hypot((5.2 * 0.0005 + 0.003) / math.sqrt(3), 0.00125 / math.sqrt(12))
    assert [5.2, expected, 0.4 / expected] == pytest.approx([rail.at, rail.uncertainty, rail.ratio])


def test_a_stated_coverage_goes_into_the_ratio(greenhouse: Prepared) -> None:
    """At 99.73 % U is half as large again as at 95.45 %."""
    usual = by_id(greenhouse.procedure)["exercise.K3.operate-time"]
    wider = by_id(planned(greenhouse, decision={"coverage": "99.73 %"}))["exercise.K3.operate-time"]
    assert [3.0, 1.5] == pytest.approx([wider.coverage, wider.uncertainty / usual.uncertainty])


def test_a_limit_finer_than_the_bench_is_refused_with_its_line(greenhouse: Prepared) -> None:
    """A contact channel of 60 mV cannot tell 200 mΩ: the sentence has both figures, the line, and what to write."""
    with pytest.raises(PlanError) as refused:
        planned(greenhouse, accuracy=accuracy(greenhouse, "contact", plus=0.060))

    said = next(reason for reason in refused.value.reasons if "K3 contact resistance:" in reason)
    assert "a tolerance of 200 mΩ needs an expanded uncertainty of at most 50 mΩ; this bench has" in said
    assert "greenhouse.yaml:84" in said
    assert "accept_unresolved" in said
    assert "exercise.K3.contact-resistance" in said


def test_a_wider_accuracy_of_any_role_is_refused_in_the_end(greenhouse: Prepared) -> None:
    """Volts, amps and ohms are looked at, not only times."""
    for role, plus, said in (
        ("sense", 0.5, "logic 5 V: voltage"),
        ("current", 0.05, "main idle current"),
        ("ohms", 0.9, "X10 bridge 1-2"),
    ):
        with pytest.raises(PlanError, match=said):
            planned(greenhouse, accuracy=accuracy(greenhouse, role, plus=plus))


REASON = "screening only, judged again on the slow bench"


def test_a_limit_that_the_profile_accepts_is_planned_and_remembered(carwash: Prepared) -> None:
    """A pattern accepts every bounce time; the procedure keeps each with its ratio and the reason."""
    decision = {"accept_unresolved": {"exercise.*.bounce-time": REASON}}
    procedure = planned(carwash, decision=decision, adapters=slower(carwash, 650.0))

    assert [f"exercise.K{n}.bounce-time" for n in range(1, 5)] == [one.check for one in procedure.unresolved]
    assert {REASON} == {one.reason for one in procedure.unresolved}
    assert all(0 < one.ratio < 4 for one in procedure.unresolved)


def test_accepting_one_limit_accepts_no_other(carwash: Prepared) -> None:
    """What is not named is refused all the same."""
    decision = {"accept_unresolved": {"exercise.K1.bounce-time": REASON}}
    with pytest.raises(PlanError) as refused:
        planned(carwash, decision=decision, adapters=slower(carwash, 400.0))

    assert 3 == len([reason for reason in refused.value.reasons if "bounce time" in reason])
    assert not [reason for reason in refused.value.reasons if reason.startswith("K1 bounce")]


def test_a_name_that_means_no_check_is_refused_with_near_ones(carwash: Prepared) -> None:
    """A misspelt check would otherwise accept nothing in silence."""
    with pytest.raises(PlanError, match=r"no check is called 'exercise.K1.bounce' \(nearest: exercise.K1.bounce-time"):
        planned(carwash, decision={"accept_unresolved": {"exercise.K1.bounce": REASON}})


def test_a_name_of_something_that_is_not_fitted_is_let_be(bench: Any) -> None:
    """A profile speaks for every variant: K9 is not on the one-bay board, and nothing is wrong with that."""
    one_bay = bench.prepared("greenhouse", variant="one-bay")
    procedure = planned(one_bay, decision={"accept_unresolved": {"exercise.K9.bounce-time": REASON}})

    assert () == procedure.unresolved


def test_latency_leads_and_temperature_of_the_fixture_reach_the_budget(greenhouse: Prepared) -> None:
    """Each makes the readings concerned less certain, and no others."""
    bench = greenhouse.fixture.fixture
    usual = by_id(greenhouse.procedure)
    adapters = {**bench.adapters, "io": bench.adapters["io"].model_copy(update={"latency": 0.5e-3})}
    instruments = {**bench.instruments, "daq": bench.instruments["daq"].model_copy(update={"calibrated_at": 20.0})}
    changed: dict[str, dict[str, Any]] = {
        "exercise.K4.response": {"adapters": adapters},
        "exercise.K3.contact-resistance": {
            "contact_test": bench.contact_test.model_copy(update={"leads": 0.01}),
        },
        "unpowered.X10.bridge-1-2": {"accuracy": accuracy(greenhouse, "ohms", leads=0.05)},
        "exercise.K3.contact-resistance-": {"accuracy": accuracy(greenhouse, "contact", thermal_emf=5e-4)},
        "rest.logic-5-V.voltage": {
            "accuracy": accuracy(greenhouse, "sense", per_kelvin=300e-6),
            "instruments": instruments,
        },
    }
    for name, update in changed.items():
        found = by_id(planned(greenhouse, **update))
        check = name.removesuffix("-")
        assert found[check].uncertainty > 1.05 * usual[check].uncertainty, check
        assert usual["link.link.heartbeat-period"] == found["link.link.heartbeat-period"]


def test_what_channels_share_sharpens_their_difference(greenhouse: Prepared) -> None:
    """With 90 % of the accuracy common to all voltage channels the drop to the next board is known better."""
    drop = "rest.main.drop-to-the-next-board"
    shared = planned(greenhouse, accuracy=accuracy(greenhouse, "sense", shared=0.9))

    assert by_id(shared)[drop].uncertainty < 0.75 * by_id(greenhouse.procedure)[drop].uncertainty
