"""Approval of profiles: what a signature covers, whom a site believes, and what is refused before power.

Outside judges: `rfc8785` spells the signed statement, `cryptography` checks its Ed25519 signature (RFC 8032).
"""

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from benchtest.approval import State, approve, examine
from benchtest.cli import entry
from benchtest.profile import load_profile
from benchtest.records.folder import read_run
from benchtest.records.journal import read_journal
from benchtest.seal import open_station, read_stations, renew, stations_file
from benchtest.seal.station import Station
from benchtest.seal.trusted import FORMAT, Entry, Stations, as_text

ROOT = Path(__file__).parent.parent.parent
DAY = "2026-11-28"
SITE = "format: benchtest-site/1\ndepot: {name: A depot}\nprofiles: {signed: required, approvers: approvers.yaml}\n"
Run = Callable[..., int]


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A folder with a profile and its signal database, and a site that takes signed profiles only."""
    for name in ("greenhouse.yaml", "greenhouse.dbc", "carwash.yaml"):
        shutil.copyfile(ROOT / "profiles" / name, tmp_path / name)
    (tmp_path / "site.yaml").write_text(SITE, encoding="utf-8")
    (tmp_path / "approvers.yaml").write_text(as_text(card(approver(tmp_path))), encoding="utf-8")
    return tmp_path


def approver(place: Path, name: str = "approver") -> Station:
    """Return the key of somebody."""
    return open_station(place / name)


def card(station: Station, *, until: str | None = None) -> Stations:
    """Return the list that names one key."""
    return Stations(format=FORMAT, stations=(Entry(name="Q. Head", key=station.key, until=until),))


def signed(place: Path, *, profile: str = "carwash.yaml", who: str = "approver") -> Path:
    """Sign a profile as somebody and return the file of approvals."""
    return approve(load_profile(place / profile), by="Q. Head", day=DAY, station=approver(place, who))


def states(place: Path, *, profile: str = "carwash.yaml", approvers: Stations | None = None) -> list[State]:
    """Return what the approvals of a profile are worth."""
    return [one.state for one in examine(load_profile(place / profile), approvers or card(approver(place)))]


def test_a_signature_is_ed25519_over_canonical_json(place: Path) -> None:
    """RFC 8785 and RFC 8032: another program, given the file and nothing of ours, comes to the same."""
    found = json.loads(signed(place).read_bytes())["approvals"][0]
    key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(found["statement"]["key"]))

    key.verify(bytes.fromhex(found["signature"]), rfc8785.dumps(found["statement"]))
    assert load_profile(place / "carwash.yaml").digest == found["statement"]["digest"]


def test_what_was_signed_is_approved_until_a_byte_changes(place: Path) -> None:
    """A comment more, and it must be signed again; signed again, it is approved, with one approval per key."""
    signed(place)
    assert [State.APPROVED] == states(place)
    with (place / "carwash.yaml").open("a", encoding="utf-8") as file:
        file.write("# a remark\n")
    assert [State.ALTERED] == states(place)
    signed(place)
    assert [State.APPROVED] == states(place)


def test_the_signal_database_is_covered(place: Path) -> None:
    """A changed message beside the profile is a changed profile."""
    signed(place, profile="greenhouse.yaml")
    assert [State.APPROVED] == states(place, profile="greenhouse.yaml")
    database = place / "greenhouse.dbc"
    database.write_text(database.read_text(encoding="utf-8") + "\n", encoding="utf-8")

    assert [State.ALTERED] == states(place, profile="greenhouse.yaml")


@pytest.mark.parametrize("key", ["by", "day", "digest", "profile", "part", "key"])
def test_every_fact_of_an_approval_is_signed(place: Path, key: str) -> None:
    """Somebody else's name, another day, another profile: the signature does not hold."""
    path = signed(place)
    found = json.loads(path.read_bytes())
    said = found["approvals"][0]["statement"]
    said[key] = {"day": "2026-11-27", "key": approver(place, "other").key, "digest": "0" * 64}.get(key, "X-1")
    path.write_bytes(rfc8785.dumps(found))

    assert [State.FORGED] == states(place)


def test_an_approval_of_another_profile_does_not_count(place: Path) -> None:
    """Copied beside another profile, it says whose it is."""
    shutil.copyfile(signed(place), place / "greenhouse.yaml.approval")

    assert [State.ALTERED] == states(place, profile="greenhouse.yaml")


def test_who_may_approve_is_the_lists_business(place: Path) -> None:
    """A key that is not in the list is unknown, also beside one that is; one retired before the day is too."""
    signed(place, who="stranger")
    assert [State.UNKNOWN] == states(place)
    signed(place)
    assert [State.UNKNOWN, State.APPROVED] == states(place)
    retired = card(approver(place), until="2026-11-27")
    assert [State.UNKNOWN, State.UNKNOWN] == states(place, approvers=retired)


def test_a_renewed_key_is_vouched_for_by_the_one_in_the_list(place: Path) -> None:
    """The list has the old key; the new one's approval carries the succession."""
    before = card(approver(place))
    approve(load_profile(place / "carwash.yaml"), by="Q. Head", day=DAY, station=renew(place / "approver"))

    assert [State.APPROVED] == states(place, approvers=before)


# ---------------------------------------------------------------- from the command line


@pytest.fixture
def run(place: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run a car-wash board on the embedded bench at the site."""
    monkeypatch.setenv("BENCHTEST_STATION", str(place / "bench"))

    def run(*more: str) -> int:
        words = ["run", str(place / "carwash.yaml"), "--fixture", str(ROOT / "fixtures/simulated.yaml")]
        return entry(
            [*words, "--serial", "A-1", "--runs", str(place / "runs"), "--site", str(place / "site.yaml"), *more]
        )

    return run


@pytest.mark.parametrize(
    ("state", "said"),
    [
        ("missing", "not signed: there is no carwash.yaml.approval beside it"),
        ("altered", "altered: Q. Head, 2026-11-28"),
        ("untrusted", "not of an approver: Q. Head, 2026-11-28"),
        ("bench", "not of an approver: Q. Head, 2026-11-28"),
        ("damaged", "carwash.yaml.approval: is damaged"),
        ("forged", "not genuine: Q. Head, 2026-11-28"),
    ],
)
def test_a_site_refuses_what_no_approver_has_signed(
    place: Path, run: Run, state: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Missing, altered, by a stranger, by the bench's own key, damaged, forged: exit code 4, and no run was begun."""
    if state != "missing":
        path = signed(place, who={"untrusted": "stranger", "bench": "bench"}.get(state, "approver"))
        content = path.read_bytes()
        spoilt = {"damaged": content[:-9], "forged": content.replace(b'"part":"CW-0410"', b'"part":"CW-0411"')}
        path.write_bytes(spoilt.get(state, content))
    if state == "altered":
        with (place / "carwash.yaml").open("a", encoding="utf-8") as file:
            file.write("# looser tomorrow\n")
    code = run()
    told = " ".join(capsys.readouterr().err.split())

    assert (4, False) == (code, (place / "runs").exists())
    assert said in told
    assert "Nothing was energised" in told


def test_a_signed_profile_is_run_and_the_paper_says_who_approved_it(place: Path, run: Run) -> None:
    """Journal, run file and certificate name the approver."""
    signed(place)
    code = run()
    folder = next((place / "runs").iterdir())
    found, journal = read_run(folder), read_journal(folder / "journal.jsonl")
    paper = json.loads((folder / "certificate.json").read_text(encoding="utf-8"))

    assert 0 == code
    assert [f"Q. Head, {DAY}, key "] == [one[: len(f"Q. Head, {DAY}, key ")] for one in found.approved]
    assert [list(found.approved)] == [one.facts["by"] for one in journal.entries if one.kind == "profile approved"]
    assert {"Profile approved by": found.approved[0]}.items() <= {
        fact["label"]: fact["value"] for fact in paper["method"]
    }.items()


def test_without_the_rule_nothing_is_asked(place: Path, run: Run) -> None:
    """A site that says nothing of profiles runs unsigned ones, as before."""
    (place / "site.yaml").write_text("format: benchtest-site/1\ndepot: {name: A depot}\n", encoding="utf-8")
    code = run()

    assert (0, ()) == (code, read_run(next((place / "runs").iterdir())).approved)


def test_signing_and_verifying_by_hand(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """sign, verify with the site's list, with another list, with none, after a change, and without an approval."""
    monkeypatch.setenv("BENCHTEST_STATION", str(place / "approver"))
    profile, site = str(place / "carwash.yaml"), ["--site", str(place / "site.yaml")]
    others = place / "others.yaml"
    others.write_text(as_text(card(approver(place, "stranger"))), encoding="utf-8")

    assert 3 == entry(["profile", "verify", profile, *site])
    assert 0 == entry(["profile", "sign", profile, "--by", "Q. Head"])
    assert 0 == entry(["profile", "verify", profile, *site])
    assert [3, 3] == [entry(["profile", "verify", profile, *more]) for more in ([], ["--approvers", str(others)])]
    assert 0 == entry(["profile", "format", profile])
    assert 1 == entry(["profile", "verify", profile, *site])
    assert 4 == entry(["profile", "verify", profile, "--approvers", str(place / "none.yaml")])
    said = capsys.readouterr().out
    assert "approved by Q. Head, key " in said
    assert "carwash.yaml.approval was for what it was before, have it signed again" in said
    assert "the profile, or its signal database, has been changed since" in said
    assert read_stations(stations_file(place / "approver")).stations


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("sign", "{place}/carwash.yaml", "--by", " "), 2),
        (("sign", "{place}/carwash.yaml"), 2),
        (("sign", "{place}/none.yaml", "--by", "Q"), 4),
        (("verify", "{place}/site.yaml"), 4),
    ],
)
def test_what_cannot_be_signed_is_refused(
    place: Path, words: tuple[str, ...], code: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No name, no file, no profile; nothing is written."""
    monkeypatch.setenv("BENCHTEST_STATION", str(place / "approver"))
    before = sorted(path.name for path in place.iterdir())

    assert code == entry(["profile", *(word.format(place=place) for word in words)])
    assert before == sorted(path.name for path in place.iterdir())


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ("{signed: required}", "nobody can sign them"),
        ("{signed: sometimes}", "signed"),
        ("{signed: required, approvers: none.yaml}", "there is no file 'none.yaml'"),
        ("{signed: required, approvers: ../approvers.yaml}", "is not a file name"),
    ],
)
def test_a_site_file_with_a_rule_that_cannot_be_is_refused(
    place: Path, run: Run, rule: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 4 at the site file's line, and no run was begun."""
    (place / "site.yaml").write_text(
        f"format: benchtest-site/1\ndepot: {{name: A}}\nprofiles: {rule}\n", encoding="utf-8"
    )

    assert (4, False) == (run(), (place / "runs").exists())
    told = capsys.readouterr().err
    assert said in told
    assert "site.yaml:3:" in told
