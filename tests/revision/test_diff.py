"""Two versions of a profile: what is said of each difference, and which way it goes."""

import json
from copy import copy
from pathlib import Path

import pytest

from benchtest.cli import entry
from benchtest.errors import PlanError
from benchtest.profile import load_profile
from benchtest.quantities import RATIO
from benchtest.revision import Revision, revise
from benchtest.revision.change import written
from tests.rejudge.runs import ROOT, revised

CARWASH, GREENHOUSE = ROOT / "profiles/carwash.yaml", ROOT / "profiles/greenhouse.yaml"


def compared(folder: Path, board: str, *changes: tuple[str, str]) -> Revision:
    """Return a shipped profile against itself with changes."""
    return revise(load_profile(ROOT / f"profiles/{board}.yaml"), load_profile(revised(folder, board, *changes)))


def said(revision: Revision) -> list[str]:
    """Return each difference with its direction."""
    return [f"{change.sentence} ({change.direction})" for change in revision.changes]


def test_a_share_is_said_in_percent_whoever_has_copied_what_it_is() -> None:
    """Two equal dimensions are one: a copied one said 0.9 instead of 90 %."""
    assert ["90 %", "99.955 %"] == [written(share, copy(RATIO)) for share in (0.9, 0.99955)]


def test_limits_that_differ_are_said_differently(tmp_path: Path) -> None:
    """12.341 ms and 12.344 ms are no 12.34 ms each: a limit has all digits that it was written with."""
    one = revised(tmp_path, "carwash", ("reaction: {max: 80 ms}", "reaction: {max: 12.341 ms}"))
    two = revised(tmp_path, "carwash", ("reaction: {max: 80 ms}", "reaction: {max: 12.344 ms}"), name="later")
    sentences = said(revise(load_profile(one), load_profile(two)))

    assert sentences
    assert all(sentence.endswith("reaction: max 12.341 ms -> 12.344 ms (looser)") for sentence in sentences)


RELAY = "command: {input: brush}, coil_current: 20 mA, lamp: D3}"
OWN = "command: {input: brush}, coil_current: 20 mA, lamp: D3, limits: {operate: "


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (
            "operate: {min: 1 ms, max: 45 ms}",
            "operate: {min: 1 ms, max: 50 ms}",
            "every relay (4) operate: max 45 ms -> 50 ms (looser)",
        ),
        (
            "operate: {min: 1 ms, max: 45 ms}",
            "operate: {min: 2 ms, max: 45 ms}",
            "every relay (4) operate: min 1 ms -> 2 ms (tighter)",
        ),
        (RELAY, OWN + "{min: 1 ms, max: 48 ms}}}", "K3 operate: max 45 ms -> 48 ms (looser)"),
        (RELAY, OWN + "{max: 45 ms}}}", "K3 operate: min 1 ms removed (looser)"),
        ("  bounce: {max: 5 ms}\n", "", "every relay (4) bounce: max 5 ms removed (looser)"),
        (
            "  bounce: {max: 5 ms}\n",
            "  bounce: {max: 5 ms}\n  response: {max: 60 ms}\n",
            "every relay (4) response: max 60 ms added (tighter)",
        ),
        (
            "open_voltage: {min: 90 %",
            "open_voltage: {min: 80 %",
            "every relay (4) open voltage: min 90 % -> 80 % (looser)",
        ),
        (
            "idle_current: {min: 5 mA, max",
            "idle_current: {max",
            "main idle current: min 5 mA removed (looser)",
        ),
        ("current_limit: 1 A", "current_limit: 1.2 A", "main current limit: 1 A -> 1.2 A (looser)"),
        ("stages: [6 V, 12 V]", "stages: [6 V]", "main stages: 12 V removed (looser)"),
        (
            "reaction: {max: 80 ms}, requirement: [CW-R4]}",
            "reaction: {max: 60 ms}, requirement: [CW-R4]}",
            "brush only with the gate shut reaction: max 80 ms -> 60 ms (tighter)",
        ),
        ("keep_empty: true", "keep_empty: false", "X5 keep empty: yes -> no (looser)"),
        ("load: foam pump", "load: foam motor", "K2 load: foam pump -> foam motor (neutral)"),
        (", again: 2", ", again: 1", "step exercise again: 2 -> 1 (looser)"),
        ("relays: [K1, K2, K3, K4], again", "relays: [K1, K2, K4], again", "step exercise relays: K3 removed (looser)"),
        (
            '  - {step: code, reads: {D6: "1"}, requirement: [CW-R6]}\n',
            "",
            "step removed: code, at rest: D6 reads 1 (looser)",
        ),
        ("  - {step: unpowered}\n", "  - {step: unpowered}\n  - {step: plugs}\n", "step added: plugs (tighter)"),
        ('reads: {D6: "1"}', 'reads: {D6: "2"}', "step code, at rest, reads D6: 1 -> 2 (neutral)"),
        ("within: {max: 150 ms}", "within: {max: 200 ms}", "step loss of main within: max 150 ms -> 200 ms (looser)"),
        (
            "1: {means: all is well}",
            "1: {means: all is fine}",
            "status meanings 1 means: all is well -> all is fine (neutral)",
        ),
        (
            "benchtest-profile/1\n",
            "benchtest-profile/1\ndecision: {rule: simple acceptance}\n",
            "decision rule: non-binary -> simple acceptance (looser)",
        ),
        (
            "benchtest-profile/1\n",
            "benchtest-profile/1\ndecision: {rule: guarded acceptance}\n",
            "decision rule: non-binary -> guarded acceptance (neutral)",
        ),
        (
            "benchtest-profile/1\n",
            "benchtest-profile/1\ndecision: {guard: 0.5}\n",
            "decision guard: 1.0 -> 0.5 (looser)",
        ),
        (
            "benchtest-profile/1\n",
            "benchtest-profile/1\ndecision: {coverage: 99 %}\n",
            "decision coverage: 95.45 % -> 99 % (tighter)",
        ),
        (
            "benchtest-profile/1\n",
            "benchtest-profile/1\ndecision: {accept_conditional: true}\n",
            "decision accept conditional: no -> yes (looser)",
        ),
        (
            "benchtest-profile/1\n",
            "benchtest-profile/1\ndecision: {accept_unresolved: {exercise.K1.bounce-time: old bench}}\n",
            "limits accepted although the bench cannot resolve them: exercise.K1.bounce-time added (looser)",
        ),
    ],
)
def test_one_difference_is_said_in_one_line(tmp_path: Path, old: str, new: str, sentence: str) -> None:
    """Limits, lists, steps, rule: what it was, what it is, and whether a board passes more easily."""
    assert [sentence] == said(compared(tmp_path, "carwash", (old, new)))


def test_what_means_the_same_is_no_difference(tmp_path: Path) -> None:
    """A limit said by each relay instead of the default, spelling, order, comments: none, in no reading either."""
    text = CARWASH.read_text(encoding="utf-8")
    text = text.replace("  operate: {min: 1 ms, max: 45 ms}\n", "")
    for lamp in ("D1", "D2", "D3", "D4"):
        own = "limits: {operate: {max: 0.045s, min: 1000 us}}"
        text = text.replace(
            f"coil_current: 20 mA, lamp: {lamp}}}", f"lamp: {lamp}, {own}, coil_current: 0.02A}}  # own"
        )
    other = tmp_path / "other.yaml"
    other.write_text(text, encoding="utf-8")
    revision = revise(load_profile(CARWASH), load_profile(other))

    assert ((), ()) == (revision.changes, revision.readings)


def test_a_rail_that_is_gone_takes_its_readings_along(tmp_path: Path) -> None:
    """Its line is looser because of them, and so is the sum."""
    rail = next(line for line in GREENHOUSE.read_text(encoding="utf-8").splitlines(True) if "probe supply:" in line)
    revision = compared(tmp_path, "greenhouse", (rail, ""))

    assert ["rail probe supply removed (looser)"] == said(revision)
    assert {"rest.probe-supply.voltage", "rest.probe-supply.ripple"} == {one.check.id for one in revision.readings}
    assert {"looser"} == revision.directions


def test_a_limit_that_follows_from_another_is_seen_in_the_readings(tmp_path: Path) -> None:
    """The first wait for the heartbeat is twice its longest interval: a line of its own says that it moved."""
    revision = compared(
        tmp_path, "greenhouse", ("every: {min: 225 ms, max: 275 ms}", "every: {min: 225 ms, max: 300 ms}")
    )
    readings = {one.check.title: one.direction for one in revision.readings}

    assert ["link board every: max 275 ms -> 300 ms (looser)"] == said(revision)
    assert "looser" == readings["link heartbeat heard"]


def test_moved_steps_are_neutral(tmp_path: Path) -> None:
    """A step in another place is told once, not as one that went and one that came."""
    code, lamps = '  - {step: code, reads: {D6: "1"}, requirement: [CW-R6]}\n', "  - {step: safe off}\n"
    revision = compared(tmp_path, "carwash", (code, ""), (lamps, code + lamps))

    assert ["step in another place: code, at rest: D6 reads 1 (neutral)"] == said(revision)
    assert () == revision.readings


def test_unrelated_boards_are_said_to_be_so(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Another part is refused with exit code 4, unless it is the same board under a new part number."""
    with pytest.raises(PlanError, match=r"unrelated boards: .* is for GZ-2140, .* for CW-0410"):
        revise(load_profile(GREENHOUSE), load_profile(CARWASH))
    renamed = revised(tmp_path, "carwash", ("part: CW-0410", "part: CW-0411"))

    assert 4 == entry(["profile", "diff", str(CARWASH), str(renamed)])
    assert 0 == entry(["profile", "diff", str(CARWASH), str(renamed), "--renamed"])
    assert "board part: CW-0410 -> CW-0411 (neutral)" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("most", "options", "code"),
    [
        ("45 ms", ("--fail-on", "any"), 0),
        ("50 ms", (), 0),
        ("50 ms", ("--fail-on", "looser"), 1),
        ("50 ms", ("--fail-on", "tighter"), 0),
        ("40 ms", ("--fail-on", "tighter"), 1),
        ("40 ms", ("--fail-on", "looser"), 0),
        ("40 ms", ("--fail-on", "any"), 1),
    ],
)
def test_the_exit_code_is_for_reviews(tmp_path: Path, most: str, options: tuple[str, ...], code: int) -> None:
    """0 unless a direction that is named occurs."""
    new = revised(tmp_path, "carwash", ("max: 45 ms}", f"max: {most}}}"))

    assert code == entry(["profile", "diff", str(CARWASH), str(new), *options])


def test_the_json_has_every_line_with_its_place(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sentence, direction, key, file and line; the readings with their limits; the sums."""
    new = revised(tmp_path, "carwash", ("max: 45 ms}", "max: 50 ms}"))
    entry(["profile", "diff", str(CARWASH), str(new), "--json"])
    found = json.loads(capsys.readouterr().out)

    assert "benchtest-profile-diff/1" == found["format"]
    assert [("relay_limits.operate.max", f"{new}:36", "45 ms", "50 ms")] == [
        (one["key"], one["place"], one["old"], one["new"]) for one in found["changes"]
    ]
    assert {"looser": 1, "tighter": 0, "neutral": 0} == found["sum"]["changes"]
    assert {"looser": 4, "tighter": 0, "neutral": 0} == found["sum"]["readings"]
    assert {"low": 0.001, "high": 0.05} == found["readings"][0]["after"]


@pytest.mark.parametrize("name", ["none.yaml", "broken.yaml"])
def test_a_profile_with_problems_is_not_compared(tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 4 and the problem with its place."""
    (tmp_path / "broken.yaml").write_text("format: benchtest-profile/1\nboard: {part: x\n", encoding="utf-8")

    assert 4 == entry(["profile", "diff", str(CARWASH), str(tmp_path / name)])
    assert name in capsys.readouterr().err


def test_another_requirement_is_told_and_is_neutral(tmp_path: Path) -> None:
    """What a limit, an interlock and a step prove changes no reading."""
    renamed = (
        ("max: 200 mohm, requirement: [CW-R2]", "max: 200 mohm, requirement: [CW-R9]"),
        ("[CW-R4]", "[CW-R4, X]"),
    )
    revision = compared(tmp_path, "carwash", *renamed)

    assert [
        "brush only with the gate shut requirement: X added (neutral)",
        "every relay (4) resistance requirement: CW-R2 removed (neutral)",
        "every relay (4) resistance requirement: CW-R9 added (neutral)",
    ] == said(revision)
    assert () == revision.readings
