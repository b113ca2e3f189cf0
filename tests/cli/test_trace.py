"""`benchtest trace`: requirements and checks, and what is left over on either side.

Outside judges: the csv module of Python reads the table back, PyYAML's own loader counts what the profile names.
"""

import csv
import io
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml

from benchtest.cli import entry

ROOT = Path(__file__).parents[2]
CARWASH = "profiles/carwash.yaml"
LIST = "profiles/carwash.requirements.txt"
Trace = Callable[..., tuple[int, str, str]]


@pytest.fixture
def trace(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Trace:
    """Run the command in a copy of the shipped documents; return exit code, standard output and standard error."""
    for folder in ("profiles", "fixtures"):
        shutil.copytree(ROOT / folder, tmp_path / folder)
    monkeypatch.chdir(tmp_path)

    def run(*words: str) -> tuple[int, str, str]:
        code = entry(["trace", *words])
        told = capsys.readouterr()
        return code, told.out, told.err

    return run


def named(value: Any) -> set[str]:
    """Return every requirement in a document as PyYAML reads it."""
    inner = list(value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ())
    own = {name for key, names in inner if key == "requirement" for name in names}
    return own.union(*(named(one) for _, one in inner))


def test_every_requirement_of_the_list_has_its_checks(trace: Trace) -> None:
    """The shipped car-wash board meets its list: exit 0, no gap, and no line is wider than a terminal."""
    code, told, _ = trace(CARWASH, "--requirements", LIST)

    assert 0 == code
    assert "Car-wash bay relay board CW-0410: 8 requirements, 104 checks" == told.splitlines()[0]
    assert "\nCW-R8  At rest the board takes at most 40 mA.\n  come-to-rest: main idle current\n" in told
    assert "No check is evidence of" not in told
    assert 80 >= max(len(line) for line in told.splitlines())


def test_a_listed_requirement_without_a_check_is_a_gap(trace: Trace, tmp_path: Path) -> None:
    """Exit 1, and it is named with its text; what the profile names and the list does not is told too."""
    (tmp_path / "list.txt").write_text("# what must be\nCW-R1 follows\nCW-R9  Never two motors at once.\n")
    code, told, _ = trace(CARWASH, "--requirements", "list.txt")

    assert 1 == code
    assert "\nNo check is evidence of:\n  CW-R9  Never two motors at once.\n" in told
    assert "Named in the profile and not listed: CW-R8, CW-R2, CW-R3, CW-R4, CW-R5, CW-R6," in told


def test_what_is_named_where_no_step_looks_is_a_gap(trace: Trace, tmp_path: Path) -> None:
    """A requirement of a thing that no step of the profile tests is told, although nobody listed it."""
    text = (tmp_path / CARWASH).read_text(encoding="utf-8")
    unread = text.replace("use: water demand}", "use: water demand, requirement: [CW-R10]}")
    (tmp_path / CARWASH).write_text(unread, encoding="utf-8")
    code, told, _ = trace(CARWASH)

    assert unread != text
    assert 0 == code
    assert "  CW-R10  named in the profile, where no step looks\n" in told


def test_the_table_has_a_line_for_every_pair_and_every_gap(trace: Trace, tmp_path: Path) -> None:
    """A requirement is in as many lines as it has checks; a text that looks like a formula is none."""
    (tmp_path / "list.txt").write_text("CW-R1 follows\nCW-R9 =HYPERLINK(1)\n")
    _, told, _ = trace(CARWASH, "--requirements", "list.txt", "--csv")
    rows = list(csv.DictReader(io.StringIO(told)))
    profile = yaml.safe_load((tmp_path / CARWASH).read_text(encoding="utf-8"))

    assert named(profile) | {"CW-R9", ""} == {row["requirement"] for row in rows}
    assert 60 == sum(row["requirement"] == "CW-R1" for row in rows)
    assert [("", "'=HYPERLINK(1)")] == [(row["check"], row["text"]) for row in rows if row["requirement"] == "CW-R9"]
    assert {104} == {len({row["check"] for row in rows if row["check"]})}
    operate = next(row for row in rows if row["check"] == "exercise.K3.operate-time")
    assert ("1 ms to 45 ms", "X3.5-X3.6", "CW-0410") == (operate["permitted"], operate["probe"], operate["boards"])


def test_the_matrix_as_json_has_its_version(trace: Trace) -> None:
    """Requirements with their checks, and checks with their requirements, say the same."""
    code, told, _ = trace(CARWASH, "--requirements", LIST, "--json")
    found = json.loads(told)

    assert (0, "benchtest-trace/1", []) == (code, found["format"], found["gaps"])
    pairs = {(name, check) for name, one in found["requirements"].items() for check in one["checks"]}
    assert pairs == {(name, check) for check, one in found["checks"].items() for name in one["requirement"]}


def test_all_variants_are_looked_at_and_one_on_demand(trace: Trace, tmp_path: Path) -> None:
    """A requirement of bay B is proved by two-bay boards only, and is a gap of the other variant."""
    path = tmp_path / "profiles/greenhouse.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("    feedback: k9\n", "    feedback: k9\n    requirement: [GZ-9]\n"), encoding="utf-8")
    (tmp_path / "list.txt").write_text("GZ-9 The second bay is watered.\n")
    listed = ("profiles/greenhouse.yaml", "--requirements", "list.txt")
    both, one = trace(*listed), trace(*listed, "--variant", "one-bay")

    assert (0, 1) == (both[0], one[0])
    assert "  only as two-bay with dosing\n" in both[1]


def test_what_a_bench_cannot_look_at_is_evidence_of_nothing_there(trace: Trace) -> None:
    """With a person and a meter there is no timing: fewer checks, and the same requirements."""
    _, everything, _ = trace(CARWASH, "--json")
    _, by_hand, _ = trace(CARWASH, "--fixture", "fixtures/byhand.yaml", "--json")
    less, more = (set(json.loads(told)["checks"]) for told in (by_hand, everything))

    assert "exercise.K1.operate-time" in more - less
    assert less < more


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ((CARWASH, "--requirements", "nix.txt"), 4, "nix.txt: there is no such file"),
        ((CARWASH, "--requirements", "odd.txt"), 4, "odd.txt:2:1: 'R,1': a requirement is called by up to 40 letters"),
        ((CARWASH, "--requirements", "odd.txt"), 4, "odd.txt:4:3: 'R2': it is there twice"),
        ((CARWASH, "--variant", "x"), 2, "unknown variant 'x' (this profile has none, leave it out)"),
        ((CARWASH, "--fixture", "fixtures/lone.yaml"), 4, "no harness for CW-0410 (this fixture has: GZ-2140)"),
        (
            ("odd.yaml",),
            4,
            "odd.yaml:24:57: supplies.main.idle_current.requirement[1]: 'a b' cannot be written here (letters, digits",
        ),
    ],
)
def test_bad_input_is_told_with_its_place(
    trace: Trace, tmp_path: Path, words: tuple[str, ...], code: int, said: str
) -> None:
    """A list or a profile that cannot be read: where, what was found, what to try."""
    (tmp_path / "odd.txt").write_text("R1 one\nR,1 odd\nR2 two\n  R2 again\n")
    carwash = (tmp_path / CARWASH).read_text(encoding="utf-8")
    (tmp_path / "odd.yaml").write_text(carwash.replace("[CW-R8]", "[a b]"), encoding="utf-8")
    fixture = (tmp_path / "fixtures/simulated.yaml").read_text(encoding="utf-8")
    lone = fixture.replace(", carwash.harness.yaml", "")
    (tmp_path / "fixtures/lone.yaml").write_text(lone, encoding="utf-8")
    found, told, problem = trace(*words)

    assert (code, "") == (found, told)
    assert said in problem
