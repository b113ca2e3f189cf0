"""Papers of a depot from the command line: its letterhead, its language, as found and as left, a label."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from pypdf import PdfReader

from benchtest.cli import entry
from benchtest.language import shipped
from tests.certificate.test_pdf import flat
from tests.site.test_site import SITE, png, written

ROOT = Path(__file__).parent.parent.parent
Ran = tuple[int, str, str]
Benchtest = Callable[..., Ran]
DOCUMENTS = ("run", str(ROOT / "profiles/carwash.yaml"), "--fixture", str(ROOT / "fixtures/simulated.yaml"))


@pytest.fixture
def benchtest(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Benchtest:
    """Run a command in an empty folder; return its exit code and what it said."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("BENCHTEST_SITE", raising=False)

    def run(*words: str) -> Ran:
        code = entry(list(words))
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


def folder_of(ran: Ran) -> Path:
    return Path(json.loads(ran[1])["folder"])


def test_a_repair_from_as_found_to_the_label(
    benchtest: Benchtest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The whole way: a site by its environment, a report as found, a certificate as left that names it, a label."""
    monkeypatch.setenv("BENCHTEST_SITE", str(written(tmp_path)))
    board = (*DOCUMENTS, "--serial", "S-7", "--json", "--received", "2026-03-10", "--condition", "dusty")
    found = benchtest(*board, "--phase", "as found", "--fault", "K3 contact welded", "--straps", "none")
    before = folder_of(found)
    assert 1 == found[0]
    assert {"logo.svg", "report.pdf"} <= {path.name for path in before.iterdir()}

    left = benchtest(*board, "--after", str(before), "--straps", "X10 1-2")
    after = folder_of(left)
    assert 0 == left[0]
    run = json.loads((after / "run.json").read_bytes())
    assert ("as left", "de", "none") == (run["job"]["phase"], run["language"], run["before"]["job"]["straps"])
    words = flat("".join(page.extract_text() for page in PdfReader(after / "certificate.pdf").pages))
    for said in ("Prüfschein", "Lock Lane Board Repair", "Eingegangen 10.03.2026", "Zustand bei Eingang dusty"):
        assert flat(said) in words
    assert flat("none X10 1-2") in words
    assert flat(f"DURCHGEFALLEN, wie vorgefunden, simuliert, Lauf {before.name}") in words
    assert flat("Repairs carry a warranty of twelve months.") in words
    assert not run["remarks"]

    code, said, _ = benchtest("certificate", "label", str(after), "--sheet", "--position", "24", "-o", "label.pdf")
    assert (0, True) == (code, "PASS: label.pdf" in said)
    assert "BESTANDEN" in PdfReader("label.pdf").pages[0].extract_text()
    assert 0 == benchtest("certificate", "withdraw", str(after), "--reason", "wrong board", "--by", "C. Head")[0]
    code, _, errors = benchtest("certificate", "label", str(after), "-o", "another.pdf")
    assert (4, True, False) == (code, "is withdrawn" in errors, Path("another.pdf").exists())


def test_a_language_of_ones_own_goes_with_the_run(benchtest: Benchtest, tmp_path: Path) -> None:
    """The file is kept in the run folder, so that the paper can be written again without the original."""
    catalogue = tmp_path / "my.yaml"
    catalogue.write_text(
        'format: benchtest-language/1\ntag: en\nname: ours\ntexts: {title_pass: "Our own title"}\n', encoding="utf-8"
    )
    folder = folder_of(benchtest(*DOCUMENTS, "--serial", "S-8", "--json", "--language", str(catalogue)))
    catalogue.unlink()
    assert "Our own title" == json.loads((folder / "certificate.json").read_bytes())["title"]
    assert "language.yaml" in {path.name for path in folder.iterdir()}
    first = (folder / "certificate.pdf").read_bytes()
    (folder / "certificate.pdf").unlink()
    assert 0 == benchtest("certificate", "seal", str(folder))[0]
    assert first == (folder / "certificate.pdf").read_bytes()


def test_a_run_as_left_that_is_dated_before_the_one_as_found_says_so(benchtest: Benchtest) -> None:
    """The clock was set back in between: the run is made, and screen and paper tell of it."""
    found = folder_of(benchtest(*DOCUMENTS, "--serial", "S-7", "--json", "--fault", "K3 contact welded"))
    run = json.loads((found / "run.json").read_bytes())
    (found / "run.json").write_text(json.dumps({**run, "ended": "2099-01-01T00:00:00.000+00:00"}), encoding="utf-8")
    code, said, _ = benchtest(*DOCUMENTS, "--serial", "S-7", "--after", str(found), "--language", "de")
    (left,) = found.parent.glob("*/certificate.json")

    assert 0 == code
    assert f"remark: dated before its run as found ({run['number']}) had ended: a clock was wrong" in said
    remarks = [one["value"] for one in json.loads(left.read_bytes())["traces"] if "Bemerkungen" in one["label"]]
    assert [f"datiert vor dem Ende ihres Laufs wie vorgefunden ({run['number']}): eine Uhr ging falsch"] == remarks


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--received", "yesterday"), 2, "--received 'yesterday' is not a day (try one such as 2026-11-03)"),
        (("--language", "fr"), 4, "there is no such language"),
        (("--language", "missing.yaml"), 4, "missing.yaml: there is no such file"),
        (("--site", "missing.yaml"), 4, "missing.yaml: there is no such file"),
        (("--after", "nowhere"), 4, "cannot be read"),
        (("--after", "nowhere", "--phase", "as found"), 2, "--after names the run as found"),
    ],
)
def test_what_cannot_be_printed_is_said_before_anything_is_energised(
    benchtest: Benchtest, words: tuple[str, ...], code: int, said: str
) -> None:
    """Wrong days, languages, sites and runs are refused without a run folder."""
    ran = benchtest(*DOCUMENTS, "--serial", "S-9", *words)
    assert code == ran[0]
    assert said in ran[2]
    assert not Path("runs").exists()


def test_a_bad_logo_is_refused_before_anything_is_energised(benchtest: Benchtest, tmp_path: Path) -> None:
    """A script in an SVG, a PNG of 50 000 pixels and one that is damaged inside: a sentence with the site's line."""
    spoilt = bytearray(png(40, 40))
    spoilt[45:50] = bytes(5)
    for logo, said in (
        (SITE.encode(), "is neither an SVG nor a PNG"),
        (b'<svg xmlns="http://www.w3.org/2000/svg"><script/></svg>', "has an element <script>"),
        (png(50_000, 50_000), "is a PNG of 50000 by 50000 pixels"),
        (bytes(spoilt), "is a PNG that is damaged"),
    ):
        site = written(tmp_path, logo=logo)
        code, _, errors = benchtest(*DOCUMENTS, "--serial", "S-9", "--site", str(site))
        assert 4 == code
        assert f"{site}:5:9: depot.logo" in errors
        assert said in errors
        assert not Path("runs").exists()


def test_a_second_person_releases_where_the_profile_asks_for_it(benchtest: Benchtest, tmp_path: Path) -> None:
    """The paper says that nobody has; the tester cannot; another can, by a paper that replaces the first."""
    profile = (ROOT / "profiles/carwash.yaml").read_text(encoding="utf-8")
    (tmp_path / "carwash.yaml").write_text(
        profile.replace("\nboard:", '\nversion: "3"\nrelease: second person\nboard:', 1), encoding="utf-8"
    )
    for database in (ROOT / "profiles").glob("*.dbc"):
        (tmp_path / database.name).write_bytes(database.read_bytes())
    ran = benchtest("run", "carwash.yaml", *DOCUMENTS[2:], "--serial", "S-10", "--technician", "A. Tester", "--json")
    folder = folder_of(ran)
    paper = json.loads((folder / "certificate.json").read_bytes())
    assert paper["not_released"].startswith("NOT YET RELEASED")
    assert {"label": "Version of the profile", "value": "3"} in paper["method"]

    reissue = ("certificate", "reissue", str(folder), "--reason", "released", "--by", "C. Head", "--released-by")
    refused = benchtest(*reissue, "a. tester")
    assert (2, True) == (refused[0], "has tested it (this method asks for a second person)" in refused[2])
    assert 0 == benchtest(*reissue, "C. Head")[0]
    anew = json.loads((folder / "certificate-2.json").read_bytes())
    assert "" == anew["not_released"]
    assert {"label": "Released by", "value": "C. Head"} in anew["job"]
    assert anew["replaces"].startswith(f"Replaces {paper['number']}: released")


def test_the_shipped_languages_are_documents_like_any_other() -> None:
    """Each can be read as it is shipped, and says which it is."""
    assert ("en", "de") == (shipped("en").value.tag, shipped("de").value.tag)
