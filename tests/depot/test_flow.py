"""The depot on SQLite and on PostgreSQL: moves, second stays, two benches, what a kill leaves, a lost database."""

import threading
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import delete, select

from benchtest.depot import entries
from benchtest.depot.entries import BeyondRepair, Released, Returned, Scrapped, Triaged
from benchtest.depot.flow import Depot
from benchtest.depot.folder import FILE, append, folder_of, read_case, read_lines
from benchtest.depot.history import history, stays_of, warnings
from benchtest.depot.links import foreseen, linked
from benchtest.depot.personal import NOTHING, Personal
from benchtest.depot.states import State
from benchtest.errors import DocumentError, WrongMove
from benchtest.records.database.case_tables import CASES, ENTRIES, REPAIRS
from benchtest.results import Outcome
from tests.depot.cases import NEW_K3
from tests.depot.conftest import PART, Days, Ran, board

CUSTOMER = Personal(customer="Müller & Söhne", complaint="Kein Licht.\nSeit Montag.")


def rows(depot: Depot) -> list[tuple[object, ...]]:
    """Return everything that the records have of cases."""
    found: list[tuple[object, ...]] = []
    with depot.records.reading() as connection:
        for table in (CASES, ENTRIES, REPAIRS):
            found += sorted((tuple(row) for row in connection.execute(select(table))), key=repr)
    return found


def stay(depot: Depot, order: str, outcome: Outcome, ran: Ran, serial: str = "S1") -> None:
    """Take a board through its whole stay, with a repair when it failed as found."""
    depot.take_in(order, board(serial), by="Ann", personal=CUSTOMER)
    depot.enter(order, Triaged(), by="Ann")
    linked(depot, *ran(order, outcome, serial=serial))
    if outcome is not Outcome.PASS:
        depot.enter(order, replace(NEW_K3, fault="K3 contact welded"), by="Bo")
        linked(depot, *ran(order, serial=serial))
    depot.enter(order, Released(), by="Cy")
    depot.enter(order, Returned(), by="Cy")


def test_a_whole_stay_is_in_its_file_and_in_the_records(depot: Depot, ran: Ran) -> None:
    """State, cost and customer can be asked for; the file alone tells the same case."""
    stay(depot, "W-1", Outcome.FAIL, ran)
    case = depot.case("W-1")
    assert State.RETURNED is case.state
    assert case == read_case(folder_of(depot.root, "W-1"))
    assert CUSTOMER.complaint == depot.personal("W-1").complaint
    with depot.records.reading() as connection:
        row = connection.execute(select(CASES)).one()
    assert ("returned", 0, "fail", "pass", 1, 4000) == (
        row.state, row.open, row.found, row.last_left, row.repairs, row.cost
    )  # fmt: skip
    assert (row.closed - row.received).total_seconds() == 60 * row.stay


def test_a_wrong_move_changes_nothing(depot: Depot) -> None:
    """It names the right one; neither file nor records know of it."""
    depot.take_in("W-1", board(), by="Ann", personal=NOTHING)
    before = rows(depot), read_lines(folder_of(depot.root, "W-1"))
    with pytest.raises(WrongMove, match="triage: benchtest depot triage W-1"):
        depot.enter("W-1", Released(), by="Cy")
    assert before == (rows(depot), read_lines(folder_of(depot.root, "W-1")))


def test_an_unknown_work_order_is_told_from_a_known_one(depot: Depot) -> None:
    """It says how to take the board in."""
    assert depot.known("W-9") is None
    with pytest.raises(WrongMove, match=r"not known to this depot\n.*intake --work-order W-9"):
        depot.enter("W-9", Triaged(), by="Ann")


def test_a_work_order_and_a_board_come_in_once(depot: Depot) -> None:
    """The number is taken; the board is here; the same serial number of another part is another board."""
    depot.take_in("W-1", board(), by="Ann", personal=NOTHING)
    with pytest.raises(WrongMove, match=f"W-1 is taken: {PART} S1, received"):
        depot.take_in("W-1", board("S2"), by="Ann", personal=NOTHING)
    with pytest.raises(WrongMove, match=f"{PART} S1 is in the depot already: work order W-1"):
        depot.take_in("W-2", board(), by="Ann", personal=NOTHING)
    depot.take_in("W-3", board(part="CW-0815"), by="Ann", personal=NOTHING)
    depot.enter("W-1", BeyondRepair(reason="burnt"), by="Ann")
    depot.enter("W-1", Scrapped(reference="mail 3"), by="Ann")
    depot.take_in("W-4", board(), by="Ann", personal=NOTHING)


def test_a_run_is_as_found_or_as_left_by_where_its_case_stands(depot: Depot, ran: Ran) -> None:
    """Of this board only, by somebody, and once."""
    depot.take_in("W-1", board(), by="Ann", personal=CUSTOMER)
    with pytest.raises(WrongMove, match="no run now"):
        foreseen(depot, "W-1", part=PART, serial="S1", phase="")
    depot.enter("W-1", Triaged(), by="Ann")
    ahead = foreseen(depot, "W-1", part=PART, serial=None, phase="")
    assert ahead is not None
    assert ("as found", CUSTOMER.customer) == (ahead.phase, ahead.customer)
    for wrong, message in (
        ({"serial": "S2"}, f"for board {PART} S1, not for {PART} S2"),
        ({"part": "X"}, f"for board {PART} S1, not for X S1"),
        ({"phase": "as left"}, "a run is as found there"),
    ):
        with pytest.raises(WrongMove, match=message):
            foreseen(depot, "W-1", **{"part": PART, "serial": "S1", "phase": "", **wrong})
    run, folder = ran("W-1", Outcome.FAIL)
    assert State.NOT_IN_ORDER is linked(depot, run, folder).state
    assert 3 == len(linked(depot, run, folder).entries)
    for other, message in (
        (ran("W-1", Outcome.ABORTED), "judged no board"),
        (ran("W-1", technician=""), "does not say who tested"),
        (ran(""), "under no work order"),
    ):
        with pytest.raises(WrongMove, match=message):
            linked(depot, *other)
    depot.enter("W-1", NEW_K3, by="Bo")
    ahead = foreseen(depot, "W-1", part=PART, serial="S1", phase="")
    assert ahead is not None
    assert ("as left", folder.name) == (ahead.phase, ahead.as_found)
    assert foreseen(depot, "W-9", part=PART, serial="S1", phase="") is None


def test_two_benches_at_one_case_make_each_move_once(depot: Depot, tmp_path: Path) -> None:
    """Both release at the same moment: one does, the other is told where the board is now; no entry is lost."""
    other = replace(depot, root=tmp_path / "other")
    depot.take_in("W-1", board(), by="Ann", personal=CUSTOMER)
    said: list[str] = []
    together = threading.Barrier(2)

    def triage(here: Depot, name: str) -> None:
        together.wait()
        try:
            here.enter("W-1", Triaged(), by=name)
            said.append("made")
        except WrongMove as refusal:
            said.append(str(refusal).splitlines()[0])

    threads = [threading.Thread(target=triage, args=one) for one in ((depot, "Ann"), (other, "Bo"))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert ["made", "work order W-1 is to be tested as found: no triage now"] == sorted(said)
    cases = [here.case("W-1") for here in (depot, other)]
    assert cases[0] == cases[1]
    assert 2 == len(cases[0].entries)
    files = {(folder_of(here.root, "W-1") / FILE).read_bytes() for here in (depot, other)}
    assert 1 == len(files)
    assert CUSTOMER.customer == other.personal("W-1").customer


def test_a_line_that_never_reached_the_records_is_taken_up(depot: Depot) -> None:
    """Killed between file and database: the next command on that case takes the line in, once."""
    depot.take_in("W-1", board(), by="Ann", personal=NOTHING)
    case = depot.case("W-1")
    line = depot._entry("W-1", case, Triaged(), "Ann").line()
    append(folder_of(depot.root, "W-1"), line)
    assert State.TO_TEST is depot.case("W-1").state
    assert 2 == len(depot.case("W-1").entries)
    assert len([row for row in rows(depot) if "triaged" in row]) == 1


def test_a_line_that_was_overtaken_elsewhere_is_put_aside(depot: Depot, tmp_path: Path) -> None:
    """Killed before it was acknowledged, and another bench went on: what was acknowledged there holds."""
    other = replace(depot, root=tmp_path / "other")
    depot.take_in("W-1", board(), by="Ann", personal=NOTHING)
    line = depot._entry("W-1", depot.case("W-1"), Triaged(note="mine"), "Ann").line()
    other.enter("W-1", BeyondRepair(reason="burnt"), by="Bo")
    append(folder_of(depot.root, "W-1"), line)
    assert State.BEYOND is depot.case("W-1").state
    assert [line + b"\n"] == [path.read_bytes() for path in folder_of(depot.root, "W-1").glob("put-aside-*")]


def test_lost_records_come_back_from_the_files(depot: Depot, ran: Ran) -> None:
    """Every case, entry and repair, and who the customer was; a file that was changed is told of and left out."""
    stay(depot, "W-1", Outcome.FAIL, ran)
    stay(depot, "W-2", Outcome.PASS, ran)
    depot.take_in("W-3", board("S3"), by="Ann", personal=CUSTOMER)
    before = rows(depot)
    with depot.records.writing() as connection:
        for table in (REPAIRS, ENTRIES, CASES):
            connection.execute(delete(table))

    restored = depot.restore()

    assert (3, 13, ()) == (restored.cases, restored.entries, restored.problems)
    assert before == rows(depot)
    assert (0, 0, ()) == (depot.restore().cases, depot.restore().entries, depot.restore().problems)

    path = folder_of(depot.root, "W-2") / FILE
    path.write_bytes(path.read_bytes().replace(b'"by":"Ann"', b'"by":"Eve"', 1))
    assert "W-2" in depot.restore().problems[0]
    with pytest.raises(DocumentError, match="chain is broken"):
        depot.case("W-2")


def test_an_intake_that_was_cut_off_in_its_first_line_is_no_case(depot: Depot) -> None:
    """Half a line was never acknowledged: the others come back, and the board can be taken in."""
    depot.take_in("W-1", board("S1"), by="Ann", personal=CUSTOMER)
    whole = (folder_of(depot.root, "W-1") / FILE).read_bytes()
    folder = folder_of(depot.root, "W-2")
    folder.mkdir()
    (folder / FILE).write_bytes(whole[: len(whole) // 2])

    assert () == depot.restore().problems
    depot.take_in("W-2", board("S2"), by="Ann", personal=CUSTOMER)
    assert State.RECEIVED is depot.case("W-2").state


def test_words_that_were_changed_are_told_of(depot: Depot) -> None:
    """The intake committed to them: who changes what the customer said is found when the records are made again."""
    depot.take_in("W-1", board(), by="Ann", personal=CUSTOMER)
    path = folder_of(depot.root, "W-1") / "personal.json"
    path.write_bytes(path.read_bytes().replace(b"Montag", b"Freitag"))
    assert ("complaint is not what the intake sealed") in depot.restore().problems[0]


def test_a_clock_that_was_set_back_loses_nothing(depot: Depot, days: Days, ran: Ran) -> None:
    """Entries stay in the order in which they were made; the stay is not counted."""
    depot.take_in("W-1", board(), by="Ann", personal=NOTHING)
    days.moment = datetime(2020, 1, 1, tzinfo=UTC)
    depot.enter("W-1", Triaged(), by="Ann")
    linked(depot, *ran("W-1"))
    depot.enter("W-1", Released(), by="Cy")
    case = depot.enter("W-1", Returned(), by="Cy")
    assert case.clock_back
    assert ["intake", "triaged", "tested", "released", "returned"] == [entry.kind for entry in case.entries]
    with depot.records.reading() as connection:
        assert connection.scalar(select(CASES.c.stay)) is None


def test_what_whoever_takes_in_a_board_should_know(depot: Depot, ran: Ran, days: Days) -> None:
    """Back soon is said; returned three times without a finding is said louder, and where."""
    for order in ("W-1", "W-2"):
        stay(depot, order, Outcome.PASS, ran)
    earlier = stays_of(depot.records, serial="S1", part=PART)
    (soon,) = warnings(earlier, now=days())
    assert "REPEAT RETURN: it left today (work order W-2, nothing was found)" == soon
    stay(depot, "W-3", Outcome.PASS, ran)
    days.moment = datetime(2027, 1, 1, tzinfo=UTC)
    (rogue,) = warnings(stays_of(depot.records, serial="S1"), now=days())
    assert rogue.startswith("RETURNED 3 TIMES WITHOUT A FINDING (W-1, W-2, W-3)")
    assert not list(warnings(stays_of(depot.records, serial="S2"), now=days()))


def test_the_history_of_a_board_tells_everything_once(depot: Depot, ran: Ran) -> None:
    """Intakes, runs, repairs and returns of all its stays, in order."""
    stay(depot, "W-1", Outcome.FAIL, ran)
    stay(depot, "W-2", Outcome.PASS, ran)
    told = history(depot.records, serial="S1")
    assert 12 == len(told.rows)
    assert sorted(told.column("at")) == told.column("at")
    assert "replaced K3: replaced; fault: K3 contact welded; 15 min; 40.00" in told.column("what")
    assert not history(depot.records, serial="S2").rows


def test_an_entry_keeps_what_a_run_was(depot: Depot, ran: Ran) -> None:
    """Number, folder, profile and digests: enough to find the run, and to see that it is the same."""
    depot.take_in("W-1", board(), by="Ann", personal=NOTHING)
    depot.enter("W-1", Triaged(), by="Ann")
    run, folder = ran("W-1")
    (fact,) = linked(depot, run, folder).all_of(entries.Tested)
    assert (run.number, folder.name, run.profile_digest) == (fact.run, fact.folder, fact.profile_digest)
