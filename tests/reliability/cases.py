"""One case: a step of the greenhouse run, a trouble in the middle of it, and what became of bench, journal and words.

The board is served in this process over pseudo-terminals, in real time; `benchtest run` is a process of its own, as it
is for a person. A profile cut down to one scripted step brings the board to that step within seconds: power-up and safe
off are those of the whole run.
"""

import io
import json
import random
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import yaml

from benchtest.cli.documents import Prepared, prepare
from benchtest.errors import BenchtestError
from benchtest.records.journal import read_journal
from benchtest.simulator.bench import SimulatedBench
from benchtest.simulator.doors import open_pty
from benchtest.simulator.scene import Scene
from benchtest.simulator.server import SceneClock, serve
from tests.reliability.troubles import CLOCK, FROZEN, Stage, Trouble, TroubledDoor

ROOT: Final = Path(__file__).parent.parent.parent
CHOICE: Final = ("two-bay", ("dosing",))
AROUND: Final = ("unpowered", "power up", "safe off")
"""Scripted steps that every short script has."""
GUARDS: Final = "guards: {emergency stop: {channel: 190, safe: high, threshold: 12 V}}\n"
SHORT: Final = 2.0
"""Siemens: more than any current limit of the profile lets through."""
DEAD_MAN: Final = 1.0
"""Seconds, as the serial fixture says."""
AFTER_A_SIGNAL: Final = 2.0
"""Seconds in which everything is off after a signal."""
SLACK: Final = 0.25
"""Seconds of a busy machine, on top of what is promised."""
PATIENCE: Final = 60.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """A step of the procedure, by the script that reaches it, and a trouble."""

    script: tuple[dict[str, Any], ...]
    step: str
    """Id of the step in the procedure of that script."""
    name: str
    """Id that tells it from the same step of another script."""
    duration: float
    trouble: Trouble
    seed: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Ended:
    """What became of a case."""

    name: str
    trouble: Trouble
    exit_code: int
    outcome: str
    """Of the run file; empty when there is none."""
    safe_after: float
    """Seconds from the trouble until nothing was energised, by the bench itself."""
    wrong: str
    """What was not as it must be; empty when all held."""


def cases(troubles: tuple[Trouble, ...], *, seed: int = 1) -> Iterator[Case]:
    """Yield every trouble at every step of the greenhouse procedure, and of the bench's check of itself before it."""
    whole = yaml.safe_load((ROOT / "profiles/greenhouse.yaml").read_text(encoding="utf-8"))["steps"]
    around = {step["step"]: step for step in whole if step["step"] in AROUND}
    seen: set[str] = set()
    for number, step in enumerate(_single_steps(whole)):
        alone = [] if step["step"] in AROUND else [step]
        before, after = (alone, []) if step["step"] == "plugs" else ([], alone)  # plugs are looked at without power
        script = (around["unpowered"], *before, around["power up"], *after, around["safe off"])
        try:
            planned = _prepared(script)
        except BenchtestError:
            continue  # of a variant that this board is not
        own = planned.self_check.procedure.steps if planned.self_check else ()
        for found in (*own, *planned.procedure.steps):
            name = found.id if found.id in {"unpowered", "come-to-rest", "link-heard", "safe-off"} else f"{found.title}"
            if name not in seen:
                seen.add(name)
                for trouble in troubles:
                    yield Case(script=script, step=found.id, name=name, duration=found.duration, trouble=trouble,
                               seed=seed * 100_000 + number * 100 + troubles.index(trouble))  # fmt: skip


def _single_steps(script: list[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    """Yield scripted steps that name several relays or interlocks one by one."""
    for step in script:
        several = next((key for key in ("relays", "names") if key in step), None)
        if several is None:
            yield step
        else:
            yield from ({**step, several: [one]} for one in step[several])


def _prepared(script: tuple[dict[str, Any], ...], folder: Path | None = None) -> Prepared:
    with tempfile.TemporaryDirectory() as made:
        profile, fixture = write_documents(folder or Path(made), script)
        return prepare(profile, fixture, *CHOICE)


def write_documents(folder: Path, script: tuple[dict[str, Any], ...]) -> tuple[Path, Path]:
    """Write the shipped documents with a short script and an emergency stop into a folder."""
    for name in ("profiles/greenhouse.dbc", "fixtures/greenhouse.harness.yaml", "fixtures/carwash.harness.yaml"):
        shutil.copy(ROOT / name, folder / Path(name).name)
    text = (ROOT / "profiles/greenhouse.yaml").read_text(encoding="utf-8")
    steps = "".join(f"  - {json.dumps(step)}\n" for step in script)
    profile, fixture = folder / "greenhouse.yaml", folder / "serial.yaml"
    profile.write_text(f"{text[: text.index('steps:')]}steps:\n{steps}", encoding="utf-8")
    fixture.write_text((ROOT / "fixtures/serial.yaml").read_text(encoding="utf-8") + GUARDS, encoding="utf-8")
    return profile, fixture


@dataclass(slots=True)
class _Watch:
    """When the bench was last seen energised."""

    bench: SimulatedBench
    last: float = 0.0
    stop: bool = False

    def look(self) -> None:
        while not self.stop:
            try:
                if self.bench.energised():
                    self.last = CLOCK.now()
            except RuntimeError:
                pass  # the server's thread was changing it
            CLOCK.sleep_until(CLOCK.now() + 0.005)


def hold(case: Case, folder: Path) -> Ended:
    """Carry out one case in a folder of its own."""
    folder.mkdir(parents=True)
    profile, fixture = write_documents(folder, case.script)
    prepared = prepare(profile, fixture, *CHOICE)
    with _served(prepared, case.seed) as (scene, bench, adapter, can):
        process = _started(folder, profile, fixture, adapter, can)
        watch = _Watch(bench)
        watcher = threading.Thread(target=watch.look, daemon=True)
        watcher.start()
        supply = scene.board.supplies["main"]
        stage = Stage(
            process=process,
            adapter=adapter,
            can=can,
            short_the_supply=lambda: supply.load("short", SHORT),
            trip_the_emergency_stop=lambda: scene.trip("emergency stop"),
        )
        reached = _wait_for(case, folder, process)
        made = CLOCK.now()
        if reached:
            stage.make(case.trouble)
        out, err = process.communicate(timeout=PATIENCE)
        settle = DEAD_MAN + SLACK + (FROZEN if case.trouble == "adapter frozen" else 0.0)
        CLOCK.sleep_until(max(CLOCK.now() + 0.1, made + settle))
        watch.stop = True
        watcher.join(1.0)
        left = bool(bench.energised())
    return _judged(case, folder, process.returncode, out + err, reached=reached,
                   safe_after=max(0.0, watch.last - made), left=left)  # fmt: skip


@contextmanager
def _served(prepared: Prepared, seed: int) -> Iterator[tuple[Scene, SimulatedBench, TroubledDoor, TroubledDoor]]:
    database = prepared.procedure.link.database if prepared.procedure.link else None
    scene = Scene(fitted=prepared.fitted, harness=prepared.harness, fixture=prepared.fixture.fixture,
                  database=database, seed=1)  # fmt: skip
    clock, stop = SceneClock(scene.advance), threading.Event()
    bench = SimulatedBench(scene, clock)
    with ExitStack() as stack:
        adapter = TroubledDoor(stack.enter_context(open_pty()), seed)
        can = TroubledDoor(stack.enter_context(open_pty()), seed)
        keywords = {
            "clock": clock,
            "door": adapter,
            "out": io.StringIO(),
            "stop": stop,
            "world": scene,
            "can_door": can,
        }
        thread = threading.Thread(target=serve, args=(bench,), kwargs=keywords, daemon=True)
        thread.start()
        try:
            yield scene, bench, adapter, can
        finally:
            stop.set()
            thread.join(FROZEN + 5)


def _started(
    folder: Path, profile: Path, fixture: Path, adapter: TroubledDoor, can: TroubledDoor
) -> "subprocess.Popen[str]":
    variant, options = CHOICE
    words = ["run", str(profile), "--fixture", str(fixture), "--variant", variant, "--option", *options]
    words += ["--serial", "CAMPAIGN", "--port", f"io={adapter.name}", "--port", f"can={can.name}"]
    return subprocess.Popen(
        [sys.executable, "-m", "benchtest", *words, "--runs", str(folder / "runs"), "--json"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def _wait_for(case: Case, folder: Path, process: "subprocess.Popen[str]") -> bool:
    """Return when the step has begun and a part of it is over; False when the run ended before that."""
    until = CLOCK.now() + PATIENCE
    mark = f'"step":"{case.step}"'
    while CLOCK.now() < until and process.poll() is None:
        journals = list(folder.glob("runs/*/journal.jsonl"))
        if journals and any(mark in line and "step begins" in line for line in journals[0].read_text().splitlines()):
            CLOCK.sleep_until(CLOCK.now() + random.Random(case.seed).uniform(0.0, 0.5) * case.duration)
            return process.poll() is None
        CLOCK.sleep_until(CLOCK.now() + 0.01)
    return False


EXPECTED: Final[dict[Trouble, frozenset[int]]] = {
    "kill -9": frozenset({-9}),
    "SIGTERM": frozenset({6}),
    "Ctrl-C": frozenset({6}),
    "adapter unplugged": frozenset({5}),
    "CAN unplugged": frozenset({5}),
    "adapter frozen": frozenset({5}),
    "garbage bytes": frozenset({0, 5}),
    "half a reply": frozenset({0, 5}),
    "duplicated reply": frozenset({0, 5}),
    "late reply": frozenset({0, 5}),
    "supply in current limit": frozenset({1, 6}),
    "emergency stop": frozenset({6}),
}
"""Exit codes that are right. A reply that was overcome by asking once more lets a good board pass (0); a supply that is
in current limit at a gate of the power-up is a failing reading of the board (1), later it is an abort."""


def _judged(case: Case, folder: Path, code: int, said: str, *, reached: bool, safe_after: float, left: bool) -> Ended:
    runs = list(folder.glob("runs/*"))
    file = runs[0] / "run.json" if runs else Path()
    run = json.loads(file.read_text(encoding="utf-8")) if runs and file.exists() else {}
    wrong = [] if reached else ["the run ended before the trouble"]
    nothing_on = case.step == "safe-off" and case.trouble == "supply in current limit"  # then nothing limits
    if reached and code not in EXPECTED[case.trouble] | ({0} if nothing_on else set()):
        wrong.append(f"exit code {code}")
    if left:
        wrong.append("outputs left on")
    allowed = AFTER_A_SIGNAL if case.trouble in {"SIGTERM", "Ctrl-C", "emergency stop"} else DEAD_MAN
    quiet = case.trouble in {"kill -9", "SIGTERM", "Ctrl-C", "emergency stop", "adapter unplugged"}
    if reached and quiet and safe_after > allowed + SLACK:
        wrong.append(f"off only after {safe_after:.2f} s")
    wrong += _words_and_journal(case, runs, run, code, said)
    return Ended(name=case.name, trouble=case.trouble, exit_code=code, outcome=run.get("outcome", ""),
                 safe_after=safe_after, wrong="; ".join(wrong))  # fmt: skip


def _words_and_journal(case: Case, runs: list[Path], run: dict[str, Any], code: int, said: str) -> list[str]:
    wrong = []
    if "Traceback" in said or "defect" in said:
        wrong.append("a traceback")
    try:
        journal = read_journal(runs[0] / "journal.jsonl") if runs else None
    except BenchtestError as problem:
        return [*wrong, f"journal broken: {problem}"]
    if journal is None:
        return [*wrong, "no journal"]
    if case.trouble != "kill -9" and (not run or "ended" not in {entry.kind for entry in journal.entries}):
        wrong.append("journal or run file not ended")
    verdicts = {result["verdict"] for result in run.get("results", [])}
    if code in {5, 6} and run.get("outcome") in {"pass", "fail"}:
        wrong.append("a verdict on the board")
    if "fail" in verdicts and case.trouble != "supply in current limit":
        wrong.append("a failed reading of a good board")
    return wrong
