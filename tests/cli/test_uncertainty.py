"""`show --budget` and `check --fixture`: where an uncertainty comes from, and whether it is small enough."""

import gzip
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import click
import pexpect
import pytest

from benchtest.cli.budget import chosen, show_budget
from benchtest.records.folder import read_run
from benchtest.results import Run

ROOT = Path(__file__).parent.parent.parent
Command = Callable[..., "subprocess.CompletedProcess[str]"]


def process(folder: Path, *words: str, **environment: str) -> "subprocess.CompletedProcess[str]":
    """Run a command in a folder."""
    return subprocess.run(
        [sys.executable, "-m", "benchtest", *words],
        cwd=folder,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the shipped documents, and a bench whose voltage channels share most of their accuracy."""
    folder = tmp_path_factory.mktemp("place")
    for name in ("profiles", "fixtures"):
        shutil.copytree(ROOT / name, folder / name)
    simulated = (folder / "fixtures/simulated.yaml").read_text(encoding="utf-8")
    old = "sense: {instrument: daq, of_reading: 0.05 %, plus: 3 mV"
    assert old in simulated
    (folder / "fixtures/shared.yaml").write_text(simulated.replace(old, f"{old}, shared: 80 %"), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def carwash_run(place: Path) -> Path:
    """Return the folder of a car-wash board that passed."""
    words = ("run", "profiles/carwash.yaml", "--fixture", "fixtures/simulated.yaml", "--serial", "B1", "--json")
    return place / str(json.loads(process(place, *words, "--seed", "5").stdout)["folder"])


@pytest.fixture(scope="module")
def stored(carwash_run: Path) -> Run:
    """Return the same run, read back."""
    return read_run(carwash_run)


def test_every_budget_is_stored_and_comes_to_its_uncertainty(stored: Run) -> None:
    """What run.json holds of a reading combines to the U and k that stand beside it."""
    numbers = [result for result in stored.results if result.uncertainty is not None]
    assert len(numbers) > 25
    for result in numbers:
        assert result.budget is not None
        assert result.freedom is not None
        assert result.coverage is not None
        assert result.coverage * result.budget.standard == pytest.approx(result.uncertainty, rel=1e-12)
        assert result.risk is not None


def test_the_budget_of_a_reading_is_a_table(place: Path, carwash_run: Path) -> None:
    """Terms with their contributions, u, degrees of freedom, k, U and risk; no line wider than 80 columns."""
    done = process(place, "show", str(carwash_run), "--budget", "K3.operate")
    lines = done.stdout.splitlines()

    assert 0 == done.returncode
    assert lines[0].startswith("K3 operate time: ")
    assert {"clock", "stamp 1", "stamp 2", "sampling 1"} <= {line[2:19].strip() for line in lines}
    for said in ("combined standard uncertainty u = ", "k = 2 for a coverage probability of 95.45 %", "U = ", "∞"):
        assert said in done.stdout
    assert "specific consumer's risk < 0.01 %" in done.stdout
    assert max(len(line) for line in lines) <= 80


def test_every_budget_fits_into_80_columns(stored: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """The table of any reading of the run is readable on a small terminal."""
    for result in stored.results:
        show_budget(stored, result.check.id, as_json=False)
    out = capsys.readouterr().out.splitlines()

    assert len(out) > 300
    assert max(len(line) for line in out if line.startswith("  ")) <= 80


def test_a_budget_is_readable_without_special_characters(place: Path, carwash_run: Path) -> None:
    """Where the encoding is ASCII, plain spellings stand in."""
    done = process(place, "show", str(carwash_run), "--budget", "K3.contact-resistance", PYTHONIOENCODING="ascii")

    assert 0 == done.returncode
    assert "mohm" in done.stdout
    assert "inf" in done.stdout


def test_a_terminal_of_80_columns_shows_the_table_unbroken(carwash_run: Path) -> None:
    """On a terminal no row is folded."""
    child = pexpect.spawn(
        sys.executable,
        ["-m", "benchtest", "show", str(carwash_run), "--budget", "K3.contact-resistance"],
        cwd=str(ROOT),
        dimensions=(40, 80),
        encoding="utf-8",
        env={**os.environ, "COLUMNS": "80", "TERM": "xterm"},
    )
    said = child.read()
    rows = [line for line in said.splitlines() if line.startswith("  calibration")]

    assert 1 == len(rows)
    assert rows[0].rstrip().endswith("%")


def test_a_budget_as_json_adds_up(place: Path, carwash_run: Path) -> None:
    """The contributions square to u, the shares to one, and k·u is U."""
    found = json.loads(process(place, "show", str(carwash_run), "--budget", "K3.contact-resistance", "--json").stdout)

    assert ("benchtest-budget/1", "exercise.K3.contact-resistance") == (found["format"], found["check"])
    assert sum(term["contribution"] ** 2 for term in found["terms"]) == pytest.approx(found["standard"] ** 2)
    assert sum(term["share"] for term in found["terms"]) == pytest.approx(1.0)
    assert found["coverage"] * found["standard"] == pytest.approx(found["uncertainty"])
    assert found["conformity"] + found["consumer_risk"] == pytest.approx(1.0)


@pytest.mark.parametrize(
    "name",
    ["exercise.K3.operate-time", "K3.operate-time", "K3.operate", "k3.OPERATE", "K3 operate time", "exercise.K3.oper"],
)
def test_a_reading_is_found_by_any_of_its_names(stored: Run, name: str) -> None:
    """Identifier, its end, subject and beginning of the name, or the title."""
    assert "exercise.K3.operate-time" == chosen(stored, name).check.id


def test_a_whole_name_is_preferred_to_a_beginning(stored: Run) -> None:
    """`K3.contact-resistance` is that reading, even where a longer name begins alike."""
    assert "exercise.K3.contact-resistance" == chosen(stored, "K3.contact-resistance").check.id


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("K3.oporate", "no reading of this run is called 'K3.oporate' (nearest: "),
        ("K3", "'K3' may be exercise.K3.open-contact-at-first, "),
        ("K3.open", "may be exercise.K3.open-contact-at-first, exercise.K3.open-contact-when-released"),
    ],
)
def test_an_unknown_name_lists_near_ones(stored: Run, name: str, said: str) -> None:
    """Wrong usage says what was found and which readings are near."""
    with pytest.raises(click.UsageError) as refused:
        chosen(stored, name)
    assert said in refused.value.message
    if "nearest" in said:
        assert "K3.operate-time" in refused.value.message


def test_an_unknown_name_is_wrong_usage(place: Path, carwash_run: Path) -> None:
    """Exit code 2, and no traceback."""
    done = process(place, "show", str(carwash_run), "--budget", "K99.sparkle")

    assert 2 == done.returncode
    assert "K99.sparkle" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_run_from_before_budgets_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An old run file has U and k, and no terms: that is said, and JSON has an empty list."""
    (tmp_path / "run.json").write_bytes(gzip.decompress((ROOT / "tests/golden/run-1.json.gz").read_bytes()))
    old = read_run(tmp_path)
    show_budget(old, "K2.operate", as_json=False)
    assert "before budgets were kept" in capsys.readouterr().out
    show_budget(old, "K2.operate", as_json=True)
    found = json.loads(capsys.readouterr().out)
    assert ([], 2.0, None) == (found["terms"], found["coverage"], found["freedom"])


def test_words_and_counts_have_no_budget(stored: Run, capsys: pytest.CaptureFixture[str]) -> None:
    """A lamp that is lit is lit."""
    show_budget(stored, "exercise.K1.lamp-when-energised", as_json=False)
    assert "words and counts are compared exactly" in capsys.readouterr().out


def test_all_readings_say_how_likely_they_conform(place: Path, carwash_run: Path) -> None:
    """`show --all` has the probability beside every number that has an uncertainty, and beside no word."""
    lines = process(place, "show", str(carwash_run), "--all").stdout.splitlines()
    operate = next(line for line in lines if "K3 operate time" in line)
    lamp = next(line for line in lines if "K3 lamp when energised" in line)

    assert operate.endswith("conforms with a probability of > 99.99 %")
    assert "conforms" not in lamp


def test_a_bench_that_shares_its_calibration_knows_a_drop_better(place: Path) -> None:
    """The same seed on both benches: the budget names the quantity behind both channels, and U is smaller."""
    found = {}
    for fixture in ("simulated", "shared"):
        words = ("run", "profiles/greenhouse.yaml", "--fixture", f"fixtures/{fixture}.yaml", "--variant", "two-bay")
        folder = json.loads(process(place, *words, "--serial", "B2", "--seed", "5", "--json").stdout)["folder"]
        found[fixture] = (folder, json.loads(process(place, "show", folder, "--budget", "main.drop", "--json").stdout))
    text = process(place, "show", found["shared"][0], "--budget", "main.drop").stdout

    assert "one quantity behind several terms: daq sense shared gain" in text
    assert "one quantity behind several terms: daq sense shared offset" in text
    assert max(len(line) for line in text.splitlines()) <= 80
    assert found["shared"][1]["value"] == found["simulated"][1]["value"]
    assert found["shared"][1]["uncertainty"] < 0.85 * found["simulated"][1]["uncertainty"]


def test_a_run_loads_gtc_only_for_what_channels_share(place: Path) -> None:
    """Planning and judging a board whose channels share nothing load neither GTC nor SciPy."""
    words = ["run", "profiles/carwash.yaml", "--fixture", "fixtures/simulated.yaml", "--serial", "B6", "--json"]
    code = f"""
import sys
from benchtest.cli import entry
entry({words!r})
print("loaded:", sorted({{"GTC", "scipy"}} & set(sys.modules)), file=sys.stderr)
"""
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=place,
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert "loaded: []" in done.stderr


def test_check_prints_the_ratio_of_every_limit(place: Path) -> None:
    """The least resolved limit first, with T, U, T/U and its line; no line wider than 80 columns."""
    done = process(place, "check", "profiles/carwash.yaml", "--fixture", "fixtures/simulated.yaml")
    lines = done.stdout.splitlines()
    ratios = [float(line.split()[-2]) for line in lines if line[-3:].strip().isdigit()]

    assert 0 == done.returncode
    assert ratios == sorted(ratios)
    assert len(ratios) >= 8
    assert "T lies between both limits" in done.stdout
    assert any("4 × operate time" in line and "1 ms to 45 ms" in line for line in lines)
    assert max(len(line) for line in lines[1:]) <= 80


def test_check_as_json_gives_every_foreseen_uncertainty(place: Path) -> None:
    """One plan per variant, and for each check where, how large, and which ratio."""
    words = ("check", "profiles/greenhouse.yaml", "--fixture", "fixtures/simulated.yaml", "--json")
    found = json.loads(process(place, *words).stdout)

    assert ("benchtest-check/1", ["two-bay", "one-bay"]) == (found["format"], [p["variant"] for p in found["plans"]])
    for one in found["plans"][0]["checks"]:
        assert one["ratio"] == pytest.approx(one["tolerance"] / one["uncertainty"])
        assert one["ratio"] >= 4
        assert "greenhouse.yaml:" in one["place"]


def test_check_as_json_needs_a_bench(place: Path) -> None:
    """Without a fixture there is nothing to foresee."""
    done = process(place, "check", "profiles/carwash.yaml", "--json")
    assert 2 == done.returncode
    assert "--fixture" in done.stderr


def spoil(place: Path, name: str, *edits: tuple[str, str]) -> str:
    """Write a changed car-wash profile or bench and return its name."""
    source = "profiles/carwash.yaml" if name.startswith("profiles") else "fixtures/simulated.yaml"
    text = (place / source).read_text(encoding="utf-8")
    for old, new in edits:
        assert text.count(old) == 1
        text = text.replace(old, new)
    (place / name).write_text(text, encoding="utf-8")
    return name


COARSE = ("io: {driver: simulated}", "io: {driver: simulated, rate: 650 S/s}")
ACCEPTED = (
    "connectors:\n",
    'decision: {accept_unresolved: {"exercise.*.bounce-time": "screening, judged again elsewhere"}}\nconnectors:\n',
)


def test_a_limit_finer_than_the_bench_is_refused_before_power(place: Path) -> None:
    """Exit code 4, file and line of the limit, both figures, and nothing was energised."""
    coarse = spoil(place, "fixtures/coarse.yaml", COARSE)
    done = process(place, "run", "profiles/carwash.yaml", "--fixture", coarse, "--serial", "B3")

    assert 4 == done.returncode
    assert "K1 bounce time: a tolerance of 5 ms needs" in done.stderr
    assert "profiles/carwash.yaml:38" in done.stderr
    assert "Nothing was energised." in done.stderr


def test_a_limit_that_the_profile_accepts_is_on_the_certificate(place: Path) -> None:
    """With the reason in the profile the board is tested, and the paper says what was accepted and why."""
    coarse = spoil(place, "fixtures/coarse.yaml", COARSE)
    accepting = spoil(place, "profiles/accepting.yaml", ACCEPTED)
    checked = process(place, "check", accepting, "--fixture", coarse)
    done = process(place, "run", accepting, "--fixture", coarse, "--serial", "B4", "--json")
    folder = place / json.loads(done.stdout)["folder"]
    paper = next(folder.glob("*.html")).read_text(encoding="utf-8")

    assert "accepted unresolved: exercise.K1.bounce-time" in checked.stdout
    assert "screening, judged again elsewhere" in paper
    assert "K1 bounce time, tolerance / U" in paper


@pytest.mark.parametrize(
    ("decision", "said"),
    [
        ("rule: simple acceptance", "Simple acceptance. Pass: inside the limits."),
        ("rule: guarded acceptance", "Guarded acceptance. Pass: inside the limits by w or more."),
        ("coverage: 99.73 %", "coverage probability of 99.73 %"),
    ],
)
def test_the_profile_names_its_rule(place: Path, decision: str, said: str) -> None:
    """A good board passes under every rule, and its certificate states the rule it was tested by."""
    profile = spoil(place, "profiles/ruled.yaml", ("connectors:\n", f"decision: {{{decision}}}\n\nconnectors:\n"))
    done = process(place, "run", profile, "--fixture", "fixtures/simulated.yaml", "--serial", "B5", "--json")
    summary = json.loads(done.stdout)
    paper = (place / summary["folder"] / "certificate.json").read_text(encoding="utf-8")

    assert (0, "pass") == (done.returncode, summary["outcome"])
    assert said in paper
