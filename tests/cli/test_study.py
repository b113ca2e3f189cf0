"""The studies as a person or a pipeline gives them: what is printed, what is written, and the exit code."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from benchtest.cli import entry
from benchtest.cli.study_plan import enter
from tests.studies.tables import boards, gauge, runs, table

ROOT = Path(__file__).parents[2]
Capsys = pytest.CaptureFixture[str]


def drifting(path: Path, shift: float) -> Path:
    values = np.random.default_rng(9).standard_normal(40)
    values[30:] += shift
    return table(path, "value,at", [(f"{value:.5f}", n) for n, value in enumerate(values)])


def benches(path: Path) -> Path:
    chance = np.random.default_rng(1)
    rows = [(f"{board + side / 10 + chance.normal(0, 0.01):.4f}", f"Bench {side}", board, "ms") for board in range(9)
            for side in (1, 2)]  # fmt: skip
    return table(path, "value,bench,board,unit", rows)


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("limits", "boards"), 0),
        (("repeatability", "gauge"), 0),
        (("repeatability", "gauge", "--maximum", "10%"), 3),
        (("capability", "boards", "--minimum", "1.33"), 0),
        (("capability", "boards", "--minimum", "20"), 1),
        (("drift", "still"), 0),
        (("drift", "moved"), 1),
        (("agreement", "benches", "--allowed", "1 ms"), 0),
        (("agreement", "benches", "--allowed", "1 us"), 1),
    ],
)
def test_a_study_ends_with_its_code_eighty_columns_and_json(
    tmp_path: Path, capsys: Capsys, words: tuple[str, ...], code: int
) -> None:
    """0 when nothing speaks against it, 1 when something does, 3 when it stays open."""
    made = {
        "boards": lambda path: boards(path, 30),
        "gauge": gauge,
        "still": lambda path: drifting(path, 0),
        "moved": lambda path: drifting(path, 5),
        "benches": benches,
    }
    path = made[words[1]](tmp_path / "t.csv")
    asked = ["study", words[0], str(path), *words[2:]]

    assert code == entry(asked)
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 80
    assert code == entry([*asked, "--json"])
    assert f"benchtest-study-{words[0]}/1" == json.loads(capsys.readouterr().out)["format"]


def test_the_page_is_written_where_it_was_asked_for(tmp_path: Path) -> None:
    """With its picture in it."""
    assert 0 == entry(["study", "limits", str(boards(tmp_path / "t.csv", 12)), "--html", str(tmp_path / "p.html")])
    assert "<svg" in (tmp_path / "p.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("study", ["limits", "repeatability", "capability", "drift", "agreement"])
def test_every_study_gives_an_empty_table(tmp_path: Path, capsys: Capsys, study: str) -> None:
    """Its first line; what the columns mean goes to the other stream. The study refuses it empty, in words."""
    assert 0 == entry(["study", study, "--template"])
    told = capsys.readouterr()
    (tmp_path / "t.csv").write_text(told.out, encoding="utf-8")

    assert "value     the reading" in told.err
    assert 4 == entry(["study", study, str(tmp_path / "t.csv")])
    assert "no row below the first line" in capsys.readouterr().err


def test_a_patch_is_written_and_never_applied(tmp_path: Path, capsys: Capsys, monkeypatch: pytest.MonkeyPatch) -> None:
    """The profile stays; `git apply` takes the patch, and the result is a good profile."""
    monkeypatch.chdir(tmp_path)
    shutil.copytree(ROOT / "profiles", tmp_path / "profiles")
    for seed in range(1, 4):
        words = ["run", "profiles/carwash.yaml", "--fixture", str(ROOT / "fixtures/simulated.yaml")]
        assert 0 == entry([*words, "--serial", f"CW-{seed}", "--seed", str(seed)])
    before = (tmp_path / "profiles/carwash.yaml").read_text(encoding="utf-8")
    capsys.readouterr()
    words = ["study", "limits", "runs", "--profile", "profiles/carwash.yaml", "--patch", "p.diff"]

    assert 0 == entry([*words, "--reading", "*.operate-time", "--method", "normal"])
    assert "SIMULATED: 3 of 3 runs" in capsys.readouterr().out
    assert before == (tmp_path / "profiles/carwash.yaml").read_text(encoding="utf-8")
    subprocess.run(["git", "apply", "--unsafe-paths", "p.diff"], check=True, cwd=tmp_path)
    assert before != (tmp_path / "profiles/carwash.yaml").read_text(encoding="utf-8")
    assert 0 == entry(["check", "profiles/carwash.yaml"])


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("limits",), 2, "Missing argument"),
        (("limits", "none.csv"), 4, "there is no such table or folder"),
        (("limits", "t.csv", "--patch", "x"), 2, "--patch needs --profile"),
        (("limits", "t.csv", "--coverage", "95"), 2, "'95' is no share"),
        (("limits", "t.csv", "--scatter", "1 V"), 2, "--scatter in V for readings in s"),
        (("limits", "t.csv", "--scatter", "much"), 2, "is no quantity"),
        (("limits", "t.csv", "--reading", "K9*"), 4, "no reading is called 'K9*'"),
        (("agreement", "t.csv"), 4, "expected two (choose them with --sides)"),
        (("agreement", "one.csv"), 4, "one.csv: 1 bench (here); expected two (choose them with --sides)"),
        (("plan", "--boards", "100000"), 2, "100000 of them would be more than 10000 readings, the most of a sheet"),
        (("plan", "--boards", "9" * 5000), 2, "more than 10000 readings"),
        (("agreement", "t.csv", "--allowed", "5 ohm"), 2, "--allowed in Ω for readings in s"),
        (("drift", "t.csv", "--bench", "B"), 4, "no bench 'B'"),
        (("plan", "--boards", "1"), 4, "expected 2 or more"),
        (("plan", "--boards", "3", "--low", "1 ms"), 2, "its unit goes into --unit"),
        (("enter", "t.json"), 4, "t.json"),
    ],
)
def test_wrong_input_ends_with_a_sentence(
    tmp_path: Path, capsys: Capsys, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], code: int, said: str
) -> None:
    """2 for wrong usage, 4 for readings that do not allow the study."""
    monkeypatch.chdir(tmp_path)
    boards(tmp_path / "t.csv", 12)
    (tmp_path / "one.csv").write_text("board,bench,value\n1,here,5\n2,here,6\n", encoding="utf-8")
    (tmp_path / "t.json").write_text("{}", encoding="utf-8")

    assert code == entry(["study", *words])
    assert said in capsys.readouterr().err


def test_a_sheet_is_made_once_and_filled_in_by_and_by(tmp_path: Path, capsys: Capsys) -> None:
    """An answer that is no number is asked for again; what was given is kept; an empty answer stops."""
    sheet = tmp_path / "sheet.csv"
    words = ["study", "plan", "--boards", "2", "--operators", "A,B", "--repeats", "2", "--output", str(sheet)]
    assert 0 == entry(words)
    assert 2 == entry(words)
    assert "not written over" in capsys.readouterr().err
    first = CliRunner().invoke(enter, [str(sheet)], input="5.1\nx\n5.2\n\n", standalone_mode=False)
    second = CliRunner().invoke(
        enter, [str(sheet)], input="".join(f"{5 + n / 10}\n" for n in range(6)), standalone_mode=False
    )

    assert (3, 0) == (first.return_value, second.return_value)
    assert "'x' is no number" in first.output
    assert "6 of 8 readings are missing" in first.output
    assert "3 of 8" in second.output
    assert "2 of 8" not in second.output
    assert "5.1" not in second.output.partition("8 of 8")[0].replace("5.1\n", "")
    assert 0 == entry(["study", "repeatability", str(sheet)])


def test_runs_are_a_source_like_tables(tmp_path: Path, capsys: Capsys) -> None:
    """A folder of runs, one reading of it."""
    root = runs(tmp_path / "runs", 10, fail=1)

    assert 0 == entry(["study", "capability", str(root), "--reading", "*K3.operate*"])
    assert "n" in capsys.readouterr().out


def test_a_run_loads_no_library_of_statistics() -> None:
    """SciPy, statsmodels and pandas stay outside of a run and of the help of the studies."""
    code = (
        "import sys, tempfile; from benchtest.cli import entry; "
        "entry(['study', '--help']); "
        "entry(['run', 'profiles/carwash.yaml', '--fixture', 'fixtures/simulated.yaml', '--serial', 'A1', "
        "'--runs', tempfile.mkdtemp()]); "
        "print('loaded:', sorted({'scipy', 'statsmodels', 'pandas', 'matplotlib'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)

    assert "loaded: []" in done.stdout
