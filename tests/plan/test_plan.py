"""The plan resolves everything, and refuses before power what the bench cannot do."""

import shutil
from pathlib import Path
from typing import Any

import pytest

from benchtest.cli.documents import Prepared, prepare
from benchtest.errors import DocumentError, PlanError
from benchtest.fixture.document import Fixture, Harness
from benchtest.fixture.modbus import ModbusAdapter
from benchtest.instruments import Role
from benchtest.plan import plan
from benchtest.procedure import Interval, Procedure, Record, Say, Source
from benchtest.profile import load_profile
from benchtest.profile.fitting import fit
from benchtest.terminals import Pair

PROFILES = Path(__file__).parents[2] / "profiles"


def replanned(prepared: Prepared, *, fixture: dict[str, Any] | None = None, without: str = "") -> Procedure:
    """Plan again with parts of the fixture changed, or one pair of terminals not wired."""
    bench = prepared.fixture.fixture.model_copy(update=fixture or {})
    tables = {role.value: getattr(prepared.harness, role.value) for role in Role}
    wired = {
        role: {pair: channel for pair, channel in table.items() if str(pair) != without}
        for role, table in tables.items()
    }
    harness: Harness = prepared.harness.model_copy(update=wired)
    return plan(prepared.fitted, database=prepared.profile.database, fixture=bench, harness=harness)


def test_every_check_has_its_own_name(greenhouse: Prepared) -> None:
    """No two checks of a procedure share an identifier."""
    names = [check.id for step in greenhouse.procedure.steps for check in step.checks]

    assert len(names) == len(set(names))


def test_the_two_bay_board_gets_at_least_150_readings(bench: Any) -> None:
    """The greenhouse board without options still gets more readings than a person would take in a day."""
    procedure = bench.prepared("greenhouse", variant="two-bay").procedure

    assert sum(len(step.checks) for step in procedure.steps) >= 150


def test_every_check_says_where_to_probe_and_where_its_limit_stands(greenhouse: Prepared) -> None:
    """A technician and an author both find their place from a failing line."""
    checks = [check for step in greenhouse.procedure.steps for check in step.checks]

    assert [] == [check.id for check in checks if not check.probe]
    assert [] == [check.id for check in checks if "greenhouse.yaml:" not in check.place]


def test_what_a_variant_leaves_out_is_not_planned_but_named(bench: Any) -> None:
    """The one-bay board has no K9, and the procedure says so."""
    procedure = bench.prepared("greenhouse", variant="one-bay").procedure
    subjects = {check.subject for step in procedure.steps for check in step.checks}

    assert subjects.isdisjoint({"K9", "K12", "K13", "K14", "probe_b"})
    assert {"K9", "K13", "K14", "probe_b"} <= set(procedure.not_fitted)


def test_every_order_of_a_recording_lies_inside_it(greenhouse: Prepared) -> None:
    """No order is planned before a recording begins or after it ends, and they come in order of time."""
    for step in greenhouse.procedure.steps:
        for move in step.moves:
            if isinstance(move, Record):
                moments = [order.at for order in move.orders]
                assert moments == sorted(moments)
                assert all(0 <= at < move.duration for at in moments)
                assert all(0 <= order.at < move.duration for order in move.link_orders)


def test_power_comes_up_in_stages_with_the_small_limit_first(greenhouse: Prepared) -> None:
    """The d.c. supply climbs 6 V, 12 V, 24 V, and its full current limit comes only with the last."""
    sources = [
        move
        for step in greenhouse.procedure.steps
        for move in step.moves
        if isinstance(move, Source) and move.name.startswith("main")
    ]

    assert [(6.0, 0.15), (12.0, 0.15), (24.0, 1.5)] == [(source.volts, source.amps) for source in sources]


def test_no_contact_moves_before_its_first_actuation_is_recorded(greenhouse: Prepared) -> None:
    """Until a relay is exercised, no order outside a recording that watches its contact can energise it."""
    drives = set(greenhouse.harness.drive.values())
    for step in greenhouse.procedure.steps:
        for move in step.moves:
            if isinstance(move, Record) and any(order.channel in drives for order in move.orders):
                contacts = set(greenhouse.harness.contact.values())
                assert contacts <= set(move.channels) or step.id.startswith(("lamps", "code"))
        if step.id == "exercise-K14":
            return


def test_a_bench_with_a_lower_ceiling_refuses_the_board(greenhouse: Prepared) -> None:
    """24 V asked of a bench that gives 12 V is refused, by name, before anything is energised."""
    limits = greenhouse.fixture.fixture.limits.model_copy(update={"voltage": 12.0})

    with pytest.raises(PlanError, match=r"supply main asks for 24 V; this bench gives at most 12 V"):
        replanned(greenhouse, fixture={"limits": limits})


def test_an_unwired_terminal_is_named_with_what_needs_it(greenhouse: Prepared) -> None:
    """A contact that no channel reads is refused with its terminals and its relay."""
    with pytest.raises(PlanError, match=r"X11\.5-X11\.6 is not wired as 'contact'.*make contact of K3"):
        replanned(greenhouse, without="X11.5-X11.6")


def test_a_wire_to_a_connector_that_stays_empty_is_refused(greenhouse: Prepared) -> None:
    """The programming connector X9 may not even be wired."""
    pair = type(next(iter(greenhouse.harness.sense))).parse("X9.1-X9.2")
    harness = greenhouse.harness.model_copy(update={"sense": {**greenhouse.harness.sense, pair: 399}})

    with pytest.raises(PlanError, match="connector X9 must stay empty"):
        plan(
            greenhouse.fitted,
            database=greenhouse.profile.database,
            fixture=greenhouse.fixture.fixture,
            harness=harness,
        )


def test_a_bench_too_slow_for_a_limit_is_refused(greenhouse: Prepared) -> None:
    """With 16 ms between samples nobody can say whether a relay operates within 12 ms."""
    fixture: Fixture = greenhouse.fixture.fixture
    slow = fixture.adapters["io"].model_copy(update={"rate": 60.0})

    with pytest.raises(PlanError, match=r"K3 operate time: a tolerance of 11 ms needs"):
        replanned(greenhouse, fixture={"adapters": {**fixture.adapters, "io": slow}})


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        (
            "    pause: 1.2 s",
            "    pause: 1e6 s",
            "  - {step: code,",
            "a recording of 1050000.76 s, and this bench makes",
        ),
        ("operate: {min: 1 ms, max: 45 ms}", "operate: {max: 20 s}", "  - {step: exercise,", "none of more than 60 s"),
    ],
)
def test_a_recording_that_no_bench_makes_is_refused_before_power(
    tmp_path: Path, old: str, new: str, line: str, said: str
) -> None:
    """A code with a pause of days, or a relay that may take 20 s each time: the step is named, with the figure."""
    text = (PROFILES / "carwash.yaml").read_text(encoding="utf-8")
    assert 1 == text.count(old)
    (slow := tmp_path / "slow.yaml").write_text(text.replace(old, new), encoding="utf-8")
    number = next(n for n, there in enumerate(text.splitlines(), 1) if there.startswith(line))

    with pytest.raises(PlanError) as refused:
        prepare(slow, PROFILES.parent / "fixtures/simulated.yaml", None, ())

    assert f"slow.yaml:{number}: " in str(refused.value)
    assert said in str(refused.value)


def test_what_the_simulated_bench_cannot_record_another_may(tmp_path: Path) -> None:
    """A code that takes two minutes to read is planned for an adapter of the protocol; one that takes days is not."""
    text = (PROFILES / "carwash.yaml").read_text(encoding="utf-8")
    bench = (PROFILES.parent / "fixtures/simulated.yaml").read_text(encoding="utf-8")
    fixtures = Path(shutil.copytree(PROFILES.parent / "fixtures", tmp_path / "fixtures"))
    (real := fixtures / "real.yaml").write_text(bench.replace("io: {driver: simulated", "io: {driver: scpi"))
    (slow := tmp_path / "slow.yaml").write_text(text.replace("    pause: 1.2 s", "    pause: 30 s"), encoding="utf-8")

    moves = [move for step in prepare(slow, real, None, ()).procedure.steps for move in step.moves]
    assert 60 < max(move.duration for move in moves if isinstance(move, Record)) < 180

    slow.write_text(text.replace("    pause: 1.2 s", "    pause: 1e6 s"), encoding="utf-8")
    with pytest.raises(PlanError, match="none of more than 3600 s"):
        prepare(slow, real, None, ())


def test_an_unknown_variant_lists_the_known_ones(greenhouse: Prepared) -> None:
    """A wrong variant is answered with the right ones."""
    with pytest.raises(ValueError, match=r"unknown variant 'three-bay' .*two-bay, one-bay"):
        fit(greenhouse.profile.profile, variant="three-bay")


def test_the_estimate_is_the_sum_of_dwell_capture_and_wire(carwash: Prepared) -> None:
    """The estimate is never less than the recordings themselves."""
    recorded = sum(move.duration for step in carwash.procedure.steps for move in step.moves if isinstance(move, Record))

    assert recorded < carwash.procedure.duration < 1.5 * recorded


def test_every_number_has_a_limit(greenhouse: Prepared) -> None:
    """No reading is taken that could not fail."""
    free = [
        check.id
        for step in greenhouse.procedure.steps
        for check in step.checks
        if isinstance(check.permitted, Interval) and check.permitted.low is None and check.permitted.high is None
    ]

    assert [] == free


def test_profiles_and_fixtures_stand_where_the_readme_says() -> None:
    """The shipped boards are there under the names that every document uses."""
    root = Path(__file__).parent.parent.parent

    assert (root / "profiles/greenhouse.yaml").is_file()
    assert (root / "fixtures/simulated.yaml").is_file()


def test_a_relay_is_energised_again_as_often_as_the_profile_says(greenhouse: Prepared) -> None:
    """Two times more: contact and lamp are looked at each time, and nothing is commanded when the recording ends."""
    step = next(step for step in greenhouse.procedure.steps if step.id == "exercise-K3")
    (record,) = (move for move in step.moves if isinstance(move, Record))
    said = [order.signals["fan_2"] for order in record.link_orders if isinstance(order, Say)]
    looked = [check.title for check in step.checks if "at actuation" in check.title]

    assert [1.0, 0.0] * 3 == said
    assert ["K3 contact at actuation 2", "K3 lamp at actuation 2 (D3)"] == looked[:2]
    assert 4 == len(looked)


def test_a_reported_code_needs_a_link(tmp_path: Path) -> None:
    """A board without a link can report nothing, and the profile is refused where it says so."""
    text = (PROFILES / "carwash.yaml").read_text(encoding="utf-8")
    wrong = tmp_path / "carwash.yaml"
    wrong.write_text(text.replace("    pause: 1.2 s", "    pause: 1.2 s\n    reported: code"), encoding="utf-8")

    with pytest.raises(DocumentError, match="code status is reported by the link, but the board has none"):
        load_profile(wrong)


def test_a_wire_that_is_turned_round_is_refused_and_not_overlooked(carwash: Prepared) -> None:
    """The sense pair of a supply, written − before +: refused by name, though nobody must sense a supply."""
    turned = carwash.harness.model_copy(update={"sense": {Pair.parse("X1.2-X1.1"): 301}})

    with pytest.raises(PlanError) as refused:
        plan(carwash.fitted, database=None, fixture=carwash.fixture.fixture, harness=turned, partial=True)

    said = "X1.2-X1.1 is wired as 'sense', but on this board main is X1.1-X1.2: turn it round"
    assert said == str(refused.value).splitlines()[0]


def test_no_reading_is_finer_than_the_counts_of_its_register(bench: Any) -> None:
    """A register of 100 mΩ a count cannot show 1 mΩ, whatever its instrument could: half a count is left in doubt."""
    prepared = bench.prepared("carwash")
    register = {"kind": "input register", "address": 4, "scale": "100 mohm"}
    io = ModbusAdapter.model_validate({"driver": "modbus", "dead_man": "none", "channels": {702: register}})

    stated = prepared.procedure.channels[702].resolution
    adapters = {**prepared.fixture.fixture.adapters, "meter": io}
    counted = replanned(prepared, fixture={"adapters": adapters}).channels[702].resolution

    assert (1e-3, 0.1) == (stated, counted)


def test_a_supply_whose_channel_cannot_be_read_as_volts_is_named_and_not_left_out(bench: Any) -> None:
    """A register written down in amperes where the cable set senses a supply: the plan names the gap, not silence."""
    prepared = bench.prepared("carwash")
    register = {"kind": "input register", "address": 4, "scale": "1 mA"}
    io = ModbusAdapter.model_validate({"driver": "modbus", "dead_man": "none", "channels": {301: register}})
    adapters = {**prepared.fixture.fixture.adapters, "meter": io}

    with pytest.raises(PlanError) as refused:
        replanned(prepared, fixture={"adapters": adapters})

    said = "X1.1-X1.2 is 'sense' on adapter meter, which can only be current, needed for voltage of main"
    assert said in str(refused.value)
