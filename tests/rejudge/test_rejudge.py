"""Old runs under new profiles: what would change, by which way it is known, and what stays as it is."""

import gzip
import hashlib
import json
import shutil
from pathlib import Path

import pytest

from benchtest.cli import entry
from benchtest.cli.documents import prepare
from benchtest.judge import judge_all
from benchtest.plan.replayed import replayed
from benchtest.procedure import Absent
from benchtest.profile import load_profile
from benchtest.readings import Origin, Readings
from benchtest.records.evidence import load_readings
from benchtest.records.folder import read_run
from benchtest.rejudge import Rejudge, Rejudged
from benchtest.rejudge.held import hold
from benchtest.results import Outcome, Verdict
from tests.rejudge.runs import ROOT, everything, finished, prepared, revised

OPERATE = "operate: {min: 1 ms, max: 45 ms}"
GOLDEN = ROOT / "tests/golden/run-1.json.gz"


@pytest.fixture(scope="module")
def carwash(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Run folders of car-wash boards, by what is wrong with them."""
    root = tmp_path_factory.mktemp("carwash")
    asked = prepared(ROOT / "profiles/carwash.yaml")
    faults = ("", "K3 slow operate", "K2 contact never closes")
    return {
        fault: finished(asked, root, *([fault] if fault else []), serial=f"C-{n}").folder
        for n, fault in enumerate(faults)
    }


@pytest.fixture(scope="module")
def greenhouse(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The run folder of a good greenhouse board with everything fitted."""
    root = tmp_path_factory.mktemp("greenhouse")
    return finished(everything(), root).folder


def both_ways(profile: Path, folder: Path) -> tuple[Rejudged, Rejudged]:
    """Return a run under a profile, as quick as can be and from its recordings."""
    loaded = load_profile(profile)
    return Rejudge(loaded).run(folder), Rejudge(loaded, way="recordings").run(folder)


def turns(run: Rejudged) -> dict[str, tuple[str | None, str | None]]:
    """Return what would be decided otherwise."""
    return {turn.check.id: (turn.before, turn.after) for turn in run.turns}


def test_the_same_profile_changes_nothing_either_way(carwash: dict[str, Path], greenhouse: Path) -> None:
    """Every board keeps its outcome and every word, from stored values and from the recordings."""
    folders = [(ROOT / "profiles/carwash.yaml", folder) for folder in carwash.values()]
    for profile, folder in [*folders, (ROOT / "profiles/greenhouse.yaml", greenhouse)]:
        quick, full = both_ways(profile, folder)

        assert ("stored values", "recordings") == (quick.way, full.way)
        assert [(False, ())] * 2 == [(run.changed, run.turns) for run in (quick, full)]


@pytest.mark.parametrize(
    ("fault", "change", "before", "after"),
    [
        ("", (OPERATE, "operate: {min: 1 ms, max: 5 ms}"), Outcome.PASS, Outcome.FAIL),
        ("K3 slow operate", (OPERATE, "operate: {min: 1 ms, max: 400 ms}"), Outcome.FAIL, Outcome.PASS),
        ("", ("idle_current: {min: 5 mA", "idle_current: {min: 30 mA"), "pass", "fail"),
        ("", ("current: {min: 14 mA, max: 26 mA}", "current: {min: 14 mA, max: 20 mA}"), "pass", "inconclusive"),
        ("", ('reads: {D6: "1"}', 'reads: {D6: "2"}'), Outcome.PASS, Outcome.FAIL),
        ("", ("X1.1-X1.2\n    nominal: 24 V", "X1.1-X1.2\n    nominal: 24.0 V"), Outcome.PASS, Outcome.PASS),
        (
            "",
            ("format: benchtest-profile/1", "format: benchtest-profile/1\ndecision: {guard: 3}"),
            "pass",
            "pass",
        ),
        (
            "",
            ("format: benchtest-profile/1", "format: benchtest-profile/1\ndecision: {rule: simple acceptance}"),
            "pass",
            "pass",
        ),
    ],
)
def test_both_ways_say_the_same_of_new_limits(
    carwash: dict[str, Path], tmp_path: Path, fault: str, change: tuple[str, str], before: str, after: str
) -> None:
    """Limits, expected words, guard band and rule: stored values give what the judge gives from the recordings."""
    quick, full = both_ways(revised(tmp_path, "carwash", change), carwash[fault])

    assert ("stored values", "recordings") == (quick.way, full.way)
    assert (before, after) == (quick.before, quick.after) == (full.before, full.after)
    assert turns(quick) == turns(full)


def test_the_judge_itself_gives_the_same_words(carwash: dict[str, Path], tmp_path: Path) -> None:
    """The words are those that the bench's own plan, with the recorded run in the bench's place, would get."""
    profile = revised(tmp_path, "carwash", (OPERATE, "operate: {min: 1 ms, max: 8 ms}"))
    run = read_run(carwash["K3 slow operate"])
    asked = replayed(prepared(profile).procedure, run.procedure)
    direct = judge_all(asked, load_readings(carwash["K3 slow operate"], run))
    was = {result.check.id: result.verdict for result in run.results}
    changed = {one.check.id: (was[one.check.id], one.verdict) for one in direct if one.verdict is not was[one.check.id]}

    assert changed
    assert changed == turns(both_ways(profile, carwash["K3 slow operate"])[0])


def test_what_never_happened_is_asked_of_the_recording(carwash: dict[str, Path], tmp_path: Path) -> None:
    """A contact that never made under a longer limit: only the recording knows whether it was watched long enough."""
    inside = revised(tmp_path, "carwash", (OPERATE, "operate: {min: 1 ms, max: 60 ms}"))
    beyond = revised(tmp_path, "carwash", (OPERATE, "operate: {min: 1 ms, max: 4 s}"), name="beyond")
    short, long = (
        Rejudge(load_profile(profile)).run(carwash["K2 contact never closes"]) for profile in (inside, beyond)
    )

    assert ("recordings", "recordings") == (short.way, long.way)
    assert "exercise.K2.operate-time" not in turns(short)
    assert (Verdict.FAIL, Verdict.NOT_TESTED) == turns(long)["exercise.K2.operate-time"]


def test_another_coverage_probability_needs_the_recordings(carwash: dict[str, Path], tmp_path: Path) -> None:
    """Stored uncertainties are for the old coverage factor, so everything is judged anew."""
    new = ("format: benchtest-profile/1", "format: benchtest-profile/1\ndecision: {coverage: 99 %}")
    run = Rejudge(load_profile(revised(tmp_path, "carwash", new))).run(carwash[""])

    assert ("recordings", Outcome.PASS) == (run.way, run.after)


def test_how_a_lamp_is_dimmed_is_not_what_is_read_of_it(carwash: dict[str, Path], tmp_path: Path) -> None:
    """It says how quickly to look; a code that was read by another plan is the same code."""
    dimmed = ("dimmed: {frequency: 240 Hz, share: 60 %}", "dimmed: {frequency: 200 Hz, share: 30 %}")
    held = hold(load_profile(revised(tmp_path, "carwash", dimmed)), read_run(carwash[""]).procedure)

    assert held.only_limits
    assert held.same_sum


def test_a_step_put_in_before_others_does_not_shift_their_readings(greenhouse: Path, tmp_path: Path) -> None:
    """Codes after a step that went are numbered anew, and each is still held against the state that it was read in."""
    profile = revised(tmp_path, "greenhouse", ("  - {step: plugs}\n", ""), ('{D21: "3"}', '{D21: "4"}'))
    held = hold(load_profile(profile), read_run(greenhouse).procedure)
    moved = [name for name, origin in held.origin.items() if name.startswith("code-") and name != origin]
    run = Rejudge(load_profile(profile)).run(greenhouse)

    assert len(moved) > 10
    assert {"code-9.D21.code,-K5-commanded,-K6-commanded"} == {name for name in turns(run) if "D21.code" in name}


def test_a_reading_in_another_state_of_the_board_is_not_one_of_the_run(greenhouse: Path, tmp_path: Path) -> None:
    """A lamp that shall now be looked at with K2 commanded was looked at with nothing commanded: not tested."""
    lamps = "  - {step: lamps, lit: [D19, D20]"
    profile = revised(tmp_path, "greenhouse", (lamps, "  - {step: lamps, given: {energised: [K2]}, lit: [D19, D20]"))
    run = Rejudge(load_profile(profile)).run(greenhouse)
    why = {turn.check.measurand.reason for turn in run.turns if isinstance(turn.check.measurand, Absent)}

    assert Outcome.INCONCLUSIVE is run.after
    assert {"looked at in another state of the board in the recorded run"} == why


def test_terminals_and_questions_that_the_run_did_not_have_are_not_tested(
    carwash: dict[str, Path], tmp_path: Path
) -> None:
    """Another terminal, one more actuation: each says why nothing is known of it, and a pass becomes inconclusive."""
    profile = revised(
        tmp_path,
        "carwash",
        ("make: X3.1-X3.2", "make: X3.1-X3.8"),
        ("X3.7-X3.8", "X3.7-X3.2"),
        ("again: 2", "again: 3"),
    )
    run = Rejudge(load_profile(profile)).run(carwash[""])
    why = {
        turn.check.title: turn.check.measurand.reason for turn in run.turns if isinstance(turn.check.measurand, Absent)
    }

    assert Outcome.INCONCLUSIVE is run.after
    assert "asked at X3.1-X3.8, and recorded at X3.1-X3.2" == why["K1 operate time"]
    assert "not looked at in the recorded run" == why["K2 contact at actuation 4"]


@pytest.mark.parametrize("bench", ["serial", "modbus", "relaybox", "byhand", "byhand-link"])
def test_runs_of_every_kind_of_bench_answer_their_own_profile(bench: str) -> None:
    """Polled modules, a relay box, a person with a meter: what was asked there is found again, reading by reading."""
    profile = ROOT / "profiles/greenhouse.yaml"
    asked = prepare(profile, ROOT / f"fixtures/{bench}.yaml", "one-bay", (), partial=True).procedure
    held = hold(load_profile(profile), asked)

    assert {check.id: check.id for step in asked.steps for check in step.checks} == held.origin
    assert held.only_limits
    assert ((), ()) == (held.altered, held.dropped)


def test_a_new_limit_is_read_from_old_recordings(carwash: dict[str, Path], tmp_path: Path) -> None:
    """Coil currents were recorded although nobody asked: their values are those of a run that was, bit for bit."""
    current = "  current: {min: 14 mA, max: 26 mA}\n"
    without = finished(prepared(revised(tmp_path, "carwash", (current, ""))), tmp_path / "runs").folder
    asked, tight = (
        Rejudge(load_profile(path)).run(without)
        for path in (
            ROOT / "profiles/carwash.yaml",
            revised(tmp_path, "carwash", (current, current.replace("26", "15")), name="tight"),
        )
    )
    direct = {one.check.id: one.value for one in read_run(carwash[""]).results if "coil-current" in one.check.id}

    assert ("recordings", Outcome.PASS, 4) == (asked.way, asked.after, len(direct))
    assert direct == {turn.check.id: turn.value for turn in asked.turns}
    assert {(None, Verdict.PASS)} == set(turns(asked).values())
    assert ("recordings", Outcome.FAIL) == (tight.way, tight.after)


def test_without_recordings_a_new_limit_is_not_tested(tmp_path: Path) -> None:
    """What stored values decide is decided; the new question says that the recordings would be needed."""
    current = "  current: {min: 14 mA, max: 26 mA}\n"
    folder = finished(prepared(revised(tmp_path, "carwash", (current, ""))), tmp_path / "runs").folder
    shutil.rmtree(folder / "recordings")
    run = Rejudge(load_profile(ROOT / "profiles/carwash.yaml")).run(folder)

    assert ("stored values", Outcome.INCONCLUSIVE, 4) == (run.way, run.after, len(run.turns))
    assert "recordings that are not there" in run.reason


def test_what_is_asked_no_more_no_longer_fails_a_board(carwash: dict[str, Path], tmp_path: Path) -> None:
    """Without K3 in the exercise its slow contact is nobody's business; the loss of it is told."""
    profile = revised(tmp_path, "carwash", ("relays: [K1, K2, K3, K4], again", "relays: [K1, K2, K4], again"))
    quick, full = both_ways(profile, carwash["K3 slow operate"])

    assert (Outcome.PASS, Outcome.PASS) == (quick.after, full.after)
    assert {"exercise.K3.operate-time": ("fail", None)} == turns(quick) == turns(full)


def test_a_run_of_the_first_format_is_judged_from_its_run_file(tmp_path: Path) -> None:
    """No journal, no recordings, no budgets: stored values say what a tighter limit would have meant."""
    folder = tmp_path / "golden"
    folder.mkdir()
    (folder / "run.json").write_bytes(gzip.decompress(GOLDEN.read_bytes()))
    profile = revised(tmp_path, "greenhouse", ("ripple: {max: 250 mV}", "ripple: {max: 200 mV}"))
    quick, full = both_ways(profile, folder)
    new = [turn for turn in quick.turns if turn.before is None]

    assert (Outcome.FAIL, Outcome.FAIL, "stored values") == (quick.before, quick.after, quick.way)
    assert {Verdict.NOT_TESTED} == {turn.after for turn in new}
    assert len(new) == len(quick.turns) > 50
    assert full.after is None
    assert "cannot be read" in full.reason


# ---------------------------------------------------------------- from the command line


@pytest.fixture
def store(carwash: dict[str, Path], greenhouse: Path, tmp_path: Path) -> Path:
    """A folder with good runs and every kind of run that cannot be judged again."""
    store = tmp_path / "runs"
    for name, folder in (("good", carwash[""]), ("slow", carwash["K3 slow operate"]), ("other", greenhouse)):
        shutil.copytree(folder, store / "2026" / name)
    for name in ("cut", "changed", "broken", "spoilt", "aborted"):
        shutil.copytree(carwash[""], store / name)
    (store / "cut/run.json").unlink()
    journal = (store / "broken/journal.jsonl").read_bytes()
    (store / "broken/journal.jsonl").write_bytes(journal.replace(b'"pass"', b'"fail"', 1))
    (store / "spoilt/journal.jsonl").unlink()
    (store / "spoilt/run.json").write_bytes(b'{"format": "benchtest-run/9"}')
    recording = store / "changed/recordings/exercise-K1.npz"
    recording.write_bytes(recording.read_bytes() + b"\0")
    (store / "aborted/journal.jsonl").unlink()
    run = json.loads((store / "aborted/run.json").read_text(encoding="utf-8"))
    (store / "aborted/run.json").write_text(json.dumps({**run, "outcome": "aborted"}), encoding="utf-8")
    return store


def digests(folder: Path) -> dict[str, str]:
    """Return the digest of every file below a folder."""
    files = (path for path in sorted(folder.rglob("*")) if path.is_file())
    return {str(path): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def test_a_store_of_runs_is_judged_and_nothing_in_it_is_touched(
    store: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What would change is listed with its readings, what cannot be judged says why, the others go on."""
    profile, before = revised(tmp_path, "carwash", (OPERATE, "operate: {min: 1 ms, max: 5 ms}")), digests(store)
    code = entry(["rejudge", str(store), "--profile", str(profile), "--fail-on-change"])
    said = capsys.readouterr().out

    assert 1 == code
    assert "2 of 3 certificates would change, list follows" in said
    assert "good, serial C-0: PASS -> FAIL: K1 operate time failed" in said
    assert "pass -> fail; permitted 1 ms to 45 ms, now 1 ms to 5 ms" in said
    assert "1 more would keep the outcome, with another word on single readings" in said
    assert "5 could not be judged again" in said
    assert "other: the run is of GZ-2140, and this profile is for CW-0410" in said
    assert "cut off before its run.json was written: the board was never judged" in said
    assert "broken/journal.jsonl:" in said
    assert "format 'benchtest-run/9' is not known" in said
    assert "aborted: ended as aborted: the board was not judged" in said
    assert "judged: 3 from stored values; what was issued stays as it is" in said
    assert before == digests(store)


def test_recordings_that_were_changed_or_are_missing_are_told(store: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Read anew, a changed and a missing recording are no evidence; stored values are not taken silently instead."""
    (store / "2026/slow/recordings/exercise-K1.npz").unlink()
    entry(["rejudge", str(store), "--profile", str(ROOT / "profiles/carwash.yaml"), "--recordings"])
    said = capsys.readouterr().out

    assert "0 of 1 certificate would change" in said
    assert "exercise-K1.npz: was changed after the run" in said
    assert "slow: recordings/exercise-K1.npz: cannot be read" in said.replace(str(store / "2026/slow") + "/", "")


def test_a_rejudgement_is_written_to_a_file_of_its_own(
    store: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """JSON with sums and every change; a file in a run folder, or one that is there, is refused."""
    own, inside = tmp_path / "own.json", store / "2026/good/rejudged.json"
    profile = str(revised(tmp_path, "carwash", (OPERATE, "operate: {min: 1 ms, max: 5 ms}")))
    codes = [
        entry(["rejudge", str(store / "2026"), "--profile", profile, "--to", str(to)]) for to in (own, own, inside)
    ]
    found, said = json.loads(own.read_text(encoding="utf-8")), capsys.readouterr().err

    assert [0, 2, 2] == codes
    assert "is there already" in said
    assert "which stays as it is" in said
    assert ("benchtest-rejudgement/1", 2, 1, 1) == tuple(
        found[key] for key in ("format", "judged", "would_change", "not_judged")
    )
    assert {"stored values": 2} == found["ways"]
    assert {"low": 0.001, "high": 0.005} == found["changes"][0]["checks"][0]["permitted_after"]


@pytest.mark.parametrize(
    ("place", "profile", "said"),
    [
        ("none", "profiles/carwash.yaml", "there is no such folder"),
        ("profiles", "profiles/carwash.yaml", "there is no run folder in it"),
        ("2026/good", "profiles/none.yaml", "there is no such file"),
        ("2026/other", "profiles/carwash.yaml", ""),
    ],
)
def test_nothing_to_judge_is_exit_code_4(
    store: Path, place: str, profile: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """No such folder, no runs in it, no such profile, no run of this board."""
    where = ROOT / place if place == "profiles" else store / place

    assert 4 == entry(["rejudge", str(where), "--profile", str(ROOT / profile)])
    assert said in capsys.readouterr().err


def test_a_variant_that_the_new_profile_lacks_is_told(greenhouse: Path, tmp_path: Path) -> None:
    """A run of a two-bay board under a profile that calls it otherwise."""
    text = (ROOT / "profiles/greenhouse.yaml").read_text(encoding="utf-8").replace("two-bay", "double-bay")
    profile = revised(tmp_path, "greenhouse")
    profile.write_text(text, encoding="utf-8")
    run = Rejudge(load_profile(profile)).run(greenhouse)

    assert run.after is None
    assert "unknown variant 'two-bay' (this profile has: double-bay, one-bay)" in run.reason


# ---------------------------------------------------------------- what was begun is what is judged


def test_a_profile_edited_during_a_run_does_not_bear_on_it(tmp_path: Path) -> None:
    """The limit is tightened beyond every reading while the board is on the bench: judged is what was begun."""
    profile = revised(tmp_path, "carwash")
    begun = load_profile(profile)
    asked = prepared(profile)

    def edited() -> str:
        if load_profile(profile).digest == begun.digest:
            revised(tmp_path, "carwash", (OPERATE, "operate: {min: 1 ms, max: 2 ms}"))
        return ""

    held = finished(asked, tmp_path / "runs", stopped=edited)
    run, now = read_run(held.folder), load_profile(profile)

    assert begun.digest != now.digest
    assert (Outcome.PASS, begun.digest) == (run.outcome, run.profile_digest)
    assert asked.procedure.unplaced() == run.procedure.unplaced()
    assert Outcome.FAIL is Rejudge(now).run(held.folder).after
    assert Outcome.PASS is Rejudge(begun).run(held.folder).after


def test_nothing_read_is_nothing_passed(carwash: dict[str, Path]) -> None:
    """Without a single reading every check of a rejudgement is not tested."""
    run = read_run(carwash[""])
    held = hold(load_profile(ROOT / "profiles/carwash.yaml"), run.procedure)
    nothing = Readings(origin=Origin.REPLAYED, evidence={})

    assert {Verdict.NOT_TESTED} == {one.verdict for one in judge_all(held.as_performed(run.procedure), nothing)}
