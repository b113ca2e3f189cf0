"""`benchtest certificate` and `benchtest station` as processes: words, exit codes, and a run cut off at its end."""

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from benchtest.cli import entry
from benchtest.seal import open_station

ROOT = Path(__file__).parent.parent.parent
CARWASH = (
    "run",
    str(ROOT / "profiles/carwash.yaml"),
    "--fixture",
    str(ROOT / "fixtures/simulated.yaml"),
    "--serial",
    "A1",
)
SITE = "format: benchtest-site/1\ndepot:\n  name: Lock Lane Board Repair\n  logo: logo.svg\n"
LOGO = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 10"><path d="M0 0h40v10H0z"/></svg>'
Command = Callable[..., tuple[int, str, str]]


@pytest.fixture
def benchtest(capsys: pytest.CaptureFixture[str]) -> Command:
    """Run a command in this process and return exit code, output and error output."""

    def run(*words: str | Path) -> tuple[int, str, str]:
        code = entry([str(word) for word in words])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory, station: Path) -> Path:
    """Folder of a run that passed on the simulated bench of a depot with a logo."""
    root, site = tmp_path_factory.mktemp("runs"), tmp_path_factory.mktemp("site") / "site.yaml"
    assert station.is_dir()
    site.write_text(SITE, encoding="utf-8")
    site.with_name("logo.svg").write_text(LOGO, encoding="utf-8")
    assert 0 == entry([*CARWASH, "--runs", str(root), "--site", str(site)])
    return next(path for path in root.iterdir() if path.is_dir())


@pytest.fixture
def folder(finished: Path, tmp_path: Path) -> Path:
    """A copy of it, to be spoilt."""
    return Path(shutil.copytree(finished, tmp_path / "run"))


def test_a_run_folder_is_recomputed(benchtest: Command, folder: Path) -> None:
    """Exit 0: paper, run file, every recording and the journal are as sealed."""
    code, out, _ = benchtest("certificate", "verify", folder)
    files = len(list((folder / "recordings").iterdir())) + 2

    assert 0 == code
    assert out.startswith("GENUINE AND TRUSTED: ")
    assert f"evidence: {files} files and " in out
    assert "PASS, serial A1" in out


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("run.json", "run.json: was changed"),
        ("evidence.json", "evidence.json: was changed"),
        ("journal.jsonl", "journal.jsonl, line "),
    ],
)
def test_changed_evidence_is_named(benchtest: Command, folder: Path, name: str, said: str) -> None:
    """Exit 1 and the file, for one bit in its middle; a recording likewise; a file that is gone too."""
    for path, words in ((folder / name, said), (next((folder / "recordings").iterdir()), "was changed")):
        content = bytearray(path.read_bytes())
        content[len(content) // 2] ^= 1
        path.write_bytes(content)
        code, out, _ = benchtest("certificate", "verify", folder)
        assert (1, True) == (code, words in out), out
    (folder / name).unlink()
    code, out, _ = benchtest("certificate", "verify", folder / "certificate.json", "--run", folder)
    assert 1 == code
    assert "is missing or cannot be read" in out or "cannot be read" in out


def test_a_journal_whose_end_was_cut_off_is_noticed(benchtest: Command, folder: Path) -> None:
    """The chain still holds, but it no longer ends where the paper says."""
    path = folder / "journal.jsonl"
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))
    code, out, _ = benchtest("certificate", "verify", folder)

    assert 1 == code
    assert "journal.jsonl: lines were added or cut off at its end" in out


def test_a_scanner_types_the_code(finished: Path) -> None:
    """`verify -` ends with the line that a scanner types, without an end of file; JSON and PDF come the same way."""
    page = (finished / "certificate.html").read_text(encoding="utf-8")
    text = page.partition('data-seal="')[2].partition('"')[0]
    command = [sys.executable, "-m", "benchtest", "certificate", "verify", "-"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=ROOT) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(text.encode() + b"\r\n")
        process.stdin.flush()
        said = process.stdout.read().decode()
    assert 0 == process.returncode
    assert "PASS, serial A1" in said
    assert "this proves these facts and no other word of the page" in said

    piped = subprocess.run(command, input=(finished / "certificate.pdf").read_bytes(), check=False, cwd=ROOT)
    assert 0 == piped.returncode


def test_each_state_has_its_word_and_code(
    benchtest: Command, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Unknown and unsealed 3; altered, superseded, withdrawn 1; no paper 4; as JSON the same."""
    paper = folder / "certificate.json"
    card = benchtest("station", "show", "--card")[1]
    (tmp_path / "card.yaml").write_text(card, encoding="utf-8")

    def examined(path: Path, *words: str | Path) -> tuple[int, str]:
        code, out, _ = benchtest("certificate", "verify", path, "--json", *words)
        fields = json.loads(out)
        assert code == fields["exit_code"]
        return code, fields["state"]

    assert (0, "genuine and trusted") == examined(paper)
    assert (3, "not sealed") == examined(folder / "run.json")
    altered = tmp_path / "altered.json"
    altered.write_bytes(paper.read_bytes().replace(b"A1", b"A2"))
    assert (1, "altered") == examined(altered)

    assert 0 == benchtest("certificate", "reissue", folder, "--reason", "x", "--by", "B", "--customer", "C")[0]
    assert (1, "superseded") == examined(paper)
    new = folder / "certificate-2.json"
    assert (0, "genuine and trusted") == examined(new)
    assert 0 == benchtest("certificate", "withdraw", new, "--reason", "x", "--by", "B", "--into", tmp_path / "notes")[0]
    assert (0, "genuine and trusted") == examined(new)
    assert (1, "withdrawn") == examined(new, "--notes", tmp_path / "notes")

    monkeypatch.setenv("BENCHTEST_STATION", str(tmp_path / "elsewhere"))
    assert (3, "genuine, unknown station") == examined(new)
    assert (0, "genuine and trusted") == examined(new, "--trusted", tmp_path / "card.yaml")
    assert not (tmp_path / "elsewhere").exists()
    assert 0 == benchtest("station", "trust", tmp_path / "card.yaml", "--yes")[0]
    assert (0, "genuine and trusted") == examined(new)


WRONG: list[tuple[tuple[str, ...], int, str]] = [
    (("certificate", "verify", "none.pdf"), 4, "none.pdf: there is no such file"),
    (("certificate", "verify", "README.md"), 4, "is no paper: it begins with"),
    (("certificate", "verify", "docs"), 4, "holds no certificate and no report"),
    (("certificate", "verify", "README.md", "--trusted", "none.yaml"), 4, "none.yaml: there is no such file"),
    (("certificate", "verify", "README.md", "--trusted", "README.md"), 4, "README.md"),
    (("certificate", "seal", "docs"), 4, "run.json: cannot be read"),
    (("certificate", "withdraw", "README.md", "--reason", "x", "--by", "y"), 4, "is no paper"),
    (("certificate", "reissue", "docs", "--reason", "x", "--by", "y"), 4, "run.json: cannot be read"),
    (("certificate", "withdraw", "README.md", "--reason", "x"), 2, "--by"),
    (("station", "trust", "ab"), 4, "there is no such file, and it is not a key"),
    (("station", "trust", "ab" * 32), 2, "--name"),
    (("station", "trust", "ab" * 32, "--name", "x", "--until", "2026-13-01"), 2, "is not a day"),
    (("station", "trust", "README.md"), 4, "README.md"),
]


@pytest.mark.parametrize(("words", "code", "said"), WRONG, ids=[" ".join(row[0])[:50] for row in WRONG])
def test_wrong_input_ends_with_its_sentence_and_code(
    benchtest: Command, words: tuple[str, ...], code: int, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was found, what was expected, what to try."""
    monkeypatch.chdir(ROOT)
    found, out, err = benchtest(*words)

    assert code == found
    assert said in err
    assert "Traceback" not in out + err


def test_an_altered_paper_cannot_be_withdrawn_or_issued_anew(benchtest: Command, folder: Path) -> None:
    """Only a genuine paper can; a note cannot be withdrawn itself, nor a withdrawn paper be brought back."""
    paper = folder / "certificate.json"
    note = ("--reason", "x", "--by", "y")
    assert 0 == benchtest("certificate", "withdraw", paper, *note)[0]
    code, _, err = benchtest("certificate", "withdraw", next(folder.glob("*.note.json")), *note)
    assert (4, True) == (code, "is a note itself" in err)
    code, _, err = benchtest("certificate", "reissue", folder, *note)
    assert (4, True) == (code, "is withdrawn: withdrawn on " in err)

    paper.write_bytes(paper.read_bytes().replace(b'"passed":true', b'"passed":null'))
    for words in (("withdraw", paper), ("reissue", folder)):
        code, _, err = benchtest("certificate", *words, *note)
        assert 4 == code
        assert "is altered: parts of it are not as they were sealed" in err


def test_a_copy_without_the_customer_is_still_genuine(benchtest: Command, folder: Path, tmp_path: Path) -> None:
    """What is missing is named; what cannot be missing is refused with the lines there are."""
    copy = tmp_path / "copy.json"
    words = ("certificate", "withhold", folder / "certificate.json", "--into", copy)
    assert 0 == benchtest(*words, "--line", "Customer", "--line", "Tested by")[0]
    code, out, _ = benchtest("certificate", "verify", copy)

    assert 0 == code
    assert "withheld from this copy: job[1], the line Customer\n" in out
    assert "withheld from this copy: job[7], the line Tested by\n" in out
    code, _, err = benchtest(*words, "--line", "Result")
    assert (2, True) == (code, "(there are: Customer, Work order" in err)
    code, _, err = benchtest(
        "certificate", "withhold", folder / "certificate.pdf", "--into", copy, "--line", "Customer"
    )
    assert (4, True) == (code, "name the JSON file" in err)


def test_a_copy_does_not_take_the_place_of_the_paper(benchtest: Command, folder: Path) -> None:
    """Written over the paper itself, the customer would be gone for good: refused, and not a byte is changed."""
    paper = folder / "certificate.json"
    whole = paper.read_bytes()
    same = folder / "recordings" / ".." / paper.name
    code, _, err = benchtest("certificate", "withhold", paper, "--into", same, "--line", "Customer")

    assert (2, True) == (code, "is the paper itself" in err)
    assert whole == paper.read_bytes()


def test_many_papers_are_withdrawn_in_one_go_or_none(benchtest: Command, folder: Path, tmp_path: Path) -> None:
    """Two papers, two notes; with one altered paper among them not a single note."""
    other = Path(shutil.copytree(folder, tmp_path / "other"))
    (other / "certificate.json").write_bytes((folder / "certificate.json").read_bytes().replace(b"pass", b"fail"))
    said = ("--reason", "meter 4 was unfit", "--by", "B")
    assert 4 == benchtest("certificate", "withdraw", folder, other, *said)[0]
    assert not list(tmp_path.rglob("*.note.json"))

    assert 0 == benchtest("certificate", "withdraw", folder, folder / "certificate.pdf", *said)[0]
    assert 1 == benchtest("certificate", "verify", folder)[0]


def test_pages_are_set_anew_and_compared(benchtest: Command, folder: Path) -> None:
    """Every byte of the PDF the same: 0; one byte of a page changed, or its logo not at hand: 3, and what is wrong."""
    code, out, _ = benchtest("certificate", "verify", folder, "--pages")
    pdf = folder / "certificate.pdf"
    content = bytearray(pdf.read_bytes())
    assert (0, True) == (code, f"pages: set anew from what was sealed, all {len(content)} bytes are the same" in out)

    content[5000] ^= 1
    pdf.write_bytes(content)
    code, out, _ = benchtest("certificate", "verify", pdf, "--pages", "--run", folder)
    assert (3, True) == (code, "pages: from byte 5001 on NOT as this version sets them" in out)
    code, out, _ = benchtest("certificate", "verify", pdf, "--pages")
    assert (3, True) == (code, "its logo, logo.svg, lies in the run folder" in out)
    code, out, _ = benchtest("certificate", "verify", folder / "certificate.json", "--pages")
    assert (3, True) == (code, "pages: not compared" in out)


def test_a_key_that_others_can_read_stops_a_run_before_power(
    benchtest: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit 4, nothing energised, no run folder."""
    open_station(tmp_path / "own")
    (tmp_path / "own/station.key").chmod(0o644)
    monkeypatch.setenv("BENCHTEST_STATION", str(tmp_path / "own"))
    code, _, err = benchtest(*CARWASH, "--runs", tmp_path / "runs")

    assert 4 == code
    assert "others can read this private key (chmod 600" in err
    assert "Nothing was energised." in err
    assert not (tmp_path / "runs").exists()


def test_a_place_where_no_key_can_be_kept_is_named(
    benchtest: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file where the station's folder should be: what is wrong, and which variable names another folder."""
    (tmp_path / "own").write_text("x")
    monkeypatch.setenv("BENCHTEST_STATION", str(tmp_path / "own"))
    code, _, err = benchtest(*CARWASH, "--runs", tmp_path / "runs")

    assert 5 == code
    assert "BENCHTEST_STATION=FOLDER" in err
    assert not (tmp_path / "runs").exists()


KILLED = """
import os, signal, sys
left = int(sys.argv[1])
def hook(event, arguments):
    global left
    if event == "os.rename":
        left -= 1
        if left < 0:
            os.kill(os.getpid(), signal.SIGKILL)
from benchtest.cli import entry
from benchtest.certificate import write_certificate
from benchtest.records.junit import write_junit
from benchtest.records import folder
def write_run(*arguments, before=folder.write_run):
    sys.addaudithook(hook)
    return before(*arguments)
folder.write_run = write_run
sys.exit(entry(sys.argv[2:]))
"""
"""A run that kills itself before the n-th file after its journal's end gets its place."""


@pytest.mark.parametrize("place", [0, 1, 2, 3, 4])
def test_a_run_killed_between_journal_and_seal_is_sealed_later(benchtest: Command, tmp_path: Path, place: int) -> None:
    """Run file, JUnit file, JSON, PDF, HTML: each is whole or not there; `seal` writes what lacks, or says why not."""
    words = [sys.executable, "-c", KILLED, str(place), *CARWASH, "--runs", str(tmp_path / "runs")]
    done = subprocess.run(words, check=False, cwd=ROOT, capture_output=True, env=dict(os.environ))
    folder = next((tmp_path / "runs").iterdir())
    papers = ["run.json", "junit.xml", "certificate.json", "certificate.pdf", "certificate.html"]

    assert -signal.SIGKILL == done.returncode
    assert papers[:place] == [name for name in papers if (folder / name).exists()]
    before = {name: (folder / name).read_bytes() for name in papers[:place]}
    code, out, err = benchtest("certificate", "seal", folder)
    if place == 0:
        assert (4, True) == (code, "run.json: is not there: the run was cut off" in err)
        return
    assert 0 == code
    assert 3 == len(out.splitlines())
    assert before == {name: (folder / name).read_bytes() for name in before}
    assert 0 == benchtest("certificate", "verify", folder)[0]


def test_a_station_shows_its_keys(benchtest: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Name, key, list; renewed under another name; a card that others can trust; a public key as PEM."""
    monkeypatch.setenv("BENCHTEST_STATION", str(tmp_path / "own"))
    first = benchtest("station", "show")[1]
    assert "trusted here:" in first
    assert 0 == benchtest("station", "renew", "--name", "Bench 1")[0]
    shown = benchtest("station", "show")[1]
    card = benchtest("station", "show", "--card")[1]

    assert shown.startswith("Bench 1, key ")
    assert "succession:" in card
    assert "PRIVATE" not in card
    assert benchtest("station", "show", "--pem")[1].startswith("-----BEGIN PUBLIC KEY-----")
