"""What is personal is gone, what is technical is there, byte for byte; the copy that a customer holds still counts."""

from dataclasses import replace
from pathlib import Path

import pytest

from benchtest.canonical import digest
from benchtest.certificate import write_certificate
from benchtest.depot.entries import Released, Returned, Triaged
from benchtest.depot.erasure import Taken, erasable, erase, settle, still_here
from benchtest.depot.flow import Depot
from benchtest.depot.folder import folder_of, read_case
from benchtest.depot.links import linked
from benchtest.depot.personal import Personal, commitments, photo, read_personal, salted
from benchtest.errors import WrongMove
from benchtest.records.database.opening import Records
from benchtest.records.database.record import read_record
from benchtest.records.erased import read_erased
from benchtest.seal import State, examine_json, read_stations, station_folder, stations_file
from tests.depot.conftest import Days, Ran, board
from tests.records.finished import finished_readings

NAME, WORDS = "Zwölfender und Söhne", "Die Düse bleibt offen, seit dem Gewitter."
JPEG = b"\xff\xd8\xff\xe0" + b"a picture of a label" * 10


def take_in(depot: Depot, order: str, folder: Path, serial: str = "S1") -> None:
    """Take in a board of the customer, with a photo."""
    path = folder / "Zwoelfender-gate.jpg"
    path.write_bytes(JPEG)
    about, content = photo(path)
    personal = Personal(customer=NAME, contact="Frau Zwölfender", complaint=WORDS, photos=(about,))
    depot.take_in(order, board(serial), by="Ann", personal=personal, photos=[(about, content)])
    path.unlink()


def returned(depot: Depot, order: str, ran: Ran) -> Path:
    """Take the board through a stay without a finding, with its certificate, and return the run's folder."""
    depot.enter(order, Triaged(), by="Ann")
    run, folder = ran(order)
    write_certificate(replace(run, job=replace(run.job, customer=NAME)), finished_readings(), folder)
    linked(depot, run, folder)
    depot.enter(order, Released(), by="Cy")
    depot.enter(order, Returned(), by="Cy")
    return folder


def holding(root: Path, *texts: str) -> list[str]:
    """Return the files below a folder that hold one of these texts."""
    wanted = [text.encode() for text in texts]
    files = (path for path in root.rglob("*") if path.is_file())
    return sorted(path.name for path in files if any(text in path.read_bytes() for text in wanted))


@pytest.fixture
def shop(file: Records, tmp_path: Path, days: Days) -> Depot:
    """A depot with its records in a file."""
    return Depot(root=tmp_path, records=file, now=days)


def test_nothing_personal_is_left_and_nothing_technical_is_touched(shop: Depot, tmp_path: Path, ran: Ran) -> None:
    """Name, contact, words and photo are in no byte of any file; every other file is the same as before."""
    take_in(shop, "W-1", tmp_path)
    folder = returned(shop, "W-1", ran)
    settle(shop.records)
    assert {"certificate.html", "certificate.json", "personal.json", "records.sqlite"} <= set(holding(tmp_path, NAME))
    copy = (folder / "certificate.json").read_bytes()
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}

    taken = erase(shop, "W-1", reason="asked for", by="Ann")
    settle(shop.records)

    assert [] == holding(tmp_path, NAME, "Zwölfender", "Zwoelfender", WORDS, "a picture of a label")
    assert (("customer", "contact", "complaint", "photos"), 3, ()) == (taken.fields, taken.papers, taken.still)
    after = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    gone = {"certificate.json", "certificate.html", "certificate.pdf"}
    kept = {"certificate.json", "papers.erased.json"}
    assert {name: content for name, content in before.items() if name not in gone} == {
        name: content for name, content in after.items() if name not in kept
    }
    assert kept <= set(after)
    assert digest(copy) == read_erased(folder)["certificate.json"]
    assert "certificate" == read_record(folder).paper
    assert shop.case("W-1") == read_case(folder_of(tmp_path, "W-1"))


def test_both_copies_are_still_genuine(shop: Depot, tmp_path: Path, ran: Ran) -> None:
    """The customer's, with its digest as it was kept; and the depot's, without the name but sealed in all else."""
    take_in(shop, "W-1", tmp_path)
    folder = returned(shop, "W-1", ran)
    copy = (folder / "certificate.json").read_bytes()
    erase(shop, "W-1", reason="asked for", by="Ann")

    trusted = read_stations(stations_file(station_folder()))

    assert State.GENUINE is examine_json(copy, trusted).state
    ours = (folder / "certificate.json").read_bytes()
    assert State.GENUINE is examine_json(ours, trusted).state
    assert NAME.encode() not in ours
    assert State.ALTERED is examine_json(ours.replace(b"GZ-2140", b"GZ-2141"), trusted).state
    assert digest(copy) in read_erased(folder).values()
    assert digest(copy.replace(b"pass", b"fail", 1)) not in read_erased(folder).values()


def test_only_what_is_asked_for_goes(shop: Depot, tmp_path: Path, ran: Ran) -> None:
    """Photos first, the rest later; papers go with the name."""
    take_in(shop, "W-1", tmp_path)
    folder = returned(shop, "W-1", ran)
    taken = erase(shop, "W-1", fields=["photos"], reason="after half a year", by="Ann")
    assert (("photos",), 0) == (taken.fields, taken.papers)
    assert [] == holding(tmp_path, "a picture of a label")
    assert NAME == shop.personal("W-1").customer
    assert (folder / "certificate.pdf").exists()
    assert ("customer", "contact", "complaint") == erase(shop, "W-1", reason="asked for", by="Ann").fields
    assert not (folder / "certificate.pdf").exists()


def test_whoever_was_killed_halfway_finishes_by_asking_again(shop: Depot, tmp_path: Path, ran: Ran) -> None:
    """The entry says what is gone; what of it is still found is deleted, and nothing is entered twice."""
    take_in(shop, "W-1", tmp_path)
    folder = returned(shop, "W-1", ran)
    left = {path: path.read_bytes() for path in (*folder.glob("certificate.*"), *folder_of(tmp_path, "W-1").glob("p*"))
            if path.is_file()}  # fmt: skip
    erase(shop, "W-1", reason="asked for", by="Ann")
    for path, content in left.items():
        path.write_bytes(content)
    assert holding(tmp_path, NAME)
    erase(shop, "W-1", reason="asked for", by="Ann")
    settle(shop.records)
    assert [] == holding(tmp_path, NAME)
    assert not read_personal(folder_of(tmp_path, "W-1")).given


def test_what_is_restored_stays_erased(shop: Depot, tmp_path: Path, ran: Ran) -> None:
    """Records that are made again, and a folder that came back from a backup, do not bring a name back."""
    take_in(shop, "W-1", tmp_path)
    returned(shop, "W-1", ran)
    kept = (folder_of(tmp_path, "W-1") / "personal.json").read_bytes()
    erase(shop, "W-1", reason="asked for", by="Ann")
    (folder_of(tmp_path, "W-1") / "personal.json").write_bytes(kept)
    assert () == shop.restore().problems
    assert not shop.personal("W-1").given
    assert [] == erasable(shop.records)


def test_a_board_that_is_here_keeps_its_data(shop: Depot, tmp_path: Path, ran: Ran, days: Days) -> None:
    """A customer's boards that have left are chosen, by name or by when they left; those that are here are told."""
    take_in(shop, "W-1", tmp_path)
    with pytest.raises(WrongMove, match="still needed"):
        erase(shop, "W-1", reason="asked for", by="Ann")
    returned(shop, "W-1", ran)
    take_in(shop, "W-2", tmp_path)
    assert ["W-1"] == erasable(shop.records, customer=NAME)
    assert ["W-2"] == still_here(shop.records, NAME)
    assert [] == erasable(shop.records, customer="Zw%")
    assert ["W-1"] == erasable(shop.records, left_before=days())
    assert [] == erasable(shop.records, left_before=shop.case("W-1").entries[0].moment)


def test_a_run_from_outside_that_names_its_customer_is_told_of(shop: Depot, tmp_path: Path, ran: Ran) -> None:
    """Its evidence is bound by digests and keeps the name; nobody is told that it went."""
    take_in(shop, "W-1", tmp_path)
    shop.enter("W-1", Triaged(), by="Ann")
    run, folder = ran("W-1", customer=NAME)
    linked(shop, run, folder)
    shop.enter("W-1", Released(), by="Cy")
    shop.enter("W-1", Returned(), by="Cy")
    assert (folder,) == erase(shop, "W-1", reason="asked for", by="Ann").still


def test_an_erasure_at_one_bench_reaches_the_others(records: Records, tmp_path: Path, days: Days, ran: Ran) -> None:
    """The bench that has the words deletes them when it next looks at the case; papers when it is asked there."""
    here, there = (Depot(root=root, records=records, now=days) for root in (tmp_path, tmp_path / "other"))
    take_in(here, "W-1", tmp_path)
    folder = returned(here, "W-1", ran)
    assert (("customer", "contact", "complaint", "photos"), 0) == _done(erase(there, "W-1", reason="asked", by="Bo"))
    assert not there.personal("W-1").given
    assert here.case("W-1").erased
    assert not here.personal("W-1").given
    assert ["certificate.html", "certificate.json"] == [
        name for name in holding(tmp_path, NAME) if not name.startswith("records.sqlite")
    ]
    assert ((), 3) == _done(erase(here, "W-1", reason="asked", by="Ann"))
    assert not (folder / "certificate.html").exists()


def _done(taken: Taken) -> tuple[tuple[str, ...], int]:
    return taken.fields, taken.papers


def test_papers_that_name_nobody_stay(shop: Depot, ran: Ran) -> None:
    """Where no customer was ever given, there is nothing in a certificate to take out."""
    shop.take_in("W-1", board(), by="Ann", personal=Personal(complaint=WORDS))
    shop.enter("W-1", Triaged(), by="Ann")
    run, folder = ran("W-1")
    write_certificate(run, finished_readings(), folder)
    linked(shop, run, folder)
    shop.enter("W-1", Released(), by="Cy")
    shop.enter("W-1", Returned(), by="Cy")
    assert (("complaint",), 0) == _done(erase(shop, "W-1", reason="asked for", by="Ann"))
    assert (folder / "certificate.pdf").exists()


def test_a_commitment_cannot_be_guessed() -> None:
    """The same name commits to something else each time; without its random bytes nothing can be compared."""
    one, other = (salted(Personal(customer=NAME)) for _ in range(2))
    assert commitments(one) != commitments(other)
    assert commitments(one) == commitments(one)
    assert 32 == len(bytes.fromhex(one.salts["customer"]))
