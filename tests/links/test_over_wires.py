"""The misting board behind pseudo-terminals, its serial link among them: a whole run, a spoilt frame, a pulled line."""

import io
import json
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from benchtest.cli import entry
from benchtest.records.journal import read_journal
from benchtest.simulator.scene import Scene
from benchtest.simulator.serial_side import SerialSide
from benchtest.simulator.served_board import open_sides
from benchtest.simulator.server import SceneClock, serve_sides
from tests.links.misting import prepared
from tests.reliability.troubles import TroubledDoor

pytestmark = pytest.mark.slow


@dataclass(slots=True)
class Meddled(TroubledDoor):
    """The board's end of its link, where something happens at the hundredth writing."""

    meddle: Callable[["Meddled"], None] = lambda _door: None
    writings: int = 0

    def write(self, data: bytes) -> int:
        self.writings += 1
        if self.writings == 100:
            self.meddle(self)
        return TroubledDoor.write(self, data)


def garble(door: Meddled) -> None:
    door.spoil = "garbage bytes"


def pull(door: Meddled) -> None:
    door.pending.append(door.unplug)


@contextmanager
def served(folder: Path, *, polled: bool, meddle: Callable[[Meddled], None]) -> Iterator[list[str]]:
    """Serve the board in a thread; yield the words of the command that tests it."""
    ready = prepared(folder, fixture="serial", polled=polled)
    scene = Scene(
        fitted=ready.fitted, harness=ready.harness, fixture=ready.fixture.fixture, database=None, seed=1, faults=()
    )
    clock, stop, out = SceneClock(scene.advance), threading.Event(), io.StringIO()
    with ExitStack() as stack:
        ports, sides = open_sides(stack, scene, clock, out, tcp=None)
        (line,) = [side for side in sides if isinstance(side, SerialSide)]
        line.door = Meddled(line.door, 1, meddle=meddle)
        keywords: dict[str, Any] = {"clock": clock, "out": out, "stop": stop, "world": scene}
        thread = threading.Thread(target=serve_sides, args=(sides,), kwargs=keywords)
        thread.start()
        words = ["run", str(ready.profile.path), "--fixture", str(ready.fixture.path), "--serial", "M1"]
        words += [word for name, port in ports.items() for word in ("--port", f"{name}={port}")]
        try:
            yield [*words, "--runs", str(folder / "runs")]
        finally:
            stop.set()
            thread.join(10)


def test_a_good_board_passes_in_lines_of_text_that_are_asked_for(tmp_path: Path) -> None:
    """Exit 0, every reading; an answer may be late on a busy computer, which is no reading of the board."""
    with served(tmp_path, polled=True, meddle=lambda _door: None) as words:
        assert 0 == entry([*words, "--json"])
    (folder,) = (tmp_path / "runs").iterdir()
    run = json.loads((folder / "run.json").read_text(encoding="utf-8"))

    assert {"pass"} == {result["verdict"] for result in run["results"]}


def test_a_spoilt_frame_is_borne_and_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The board passes, in frames of bytes; what was thrown away is in journal, run file and paper, and told."""
    with served(tmp_path, polled=False, meddle=garble) as words:
        assert 0 == entry(words)
    shown = capsys.readouterr().out
    (folder,) = (tmp_path / "runs").iterdir()
    (remark,) = json.loads((folder / "run.json").read_text(encoding="utf-8"))["remarks"]
    (noted,) = [entry for entry in read_journal(folder / "journal.jsonl").entries if entry.kind == "remark"]
    paper = json.loads((folder / "certificate.json").read_text(encoding="utf-8"))

    assert "bytes of noise" in remark
    assert remark == noted.facts["text"]
    assert {"label": "Remarks on the bench", "value": remark} in paper["traces"]
    assert f"remark: {remark}" in " ".join(shown.split())


def test_a_line_that_is_pulled_is_a_bench_fault(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 5, no verdict on the board, everything off."""
    with served(tmp_path, polled=False, meddle=pull) as words:
        assert 5 == entry([*words, "--json"])
    told = json.loads(capsys.readouterr().out)

    assert "bench fault" == told["outcome"]
    assert 0 == told["readings"]["fail"]
    assert told["safe"]["verified"]
