"""A second process that serves a virtual board behind real wires, and a short profile to run against it."""

import shlex
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from queue import Empty, Queue

import pytest

ROOT = Path(__file__).parent.parent.parent
SHORT = """steps:
  - {step: unpowered}
  - {step: power up, supplies: [main]}
  - {step: exercise, relays: [K1, K2, K3, K4]}
  - {step: safe off}
"""


@dataclass
class Served:
    """`benchtest simulate` as a process."""

    process: "subprocess.Popen[str]"
    words: list[str] = field(default_factory=list)
    """The command that it told a person to paste."""
    lines: "Queue[str]" = field(default_factory=Queue)

    def read(self) -> None:
        """Collect what it prints, until it ends."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.put(line.rstrip("\n"))

    def wait_for(self, text: str, *, seconds: float = 20.0) -> str:
        """Return the first line to come that holds `text`."""
        while True:
            try:
                line = self.lines.get(timeout=seconds)
            except Empty:
                raise AssertionError(f"never said {text!r}") from None
            if text in line:
                return line

    def end(self) -> None:
        """End the process and wait for it."""
        self.process.send_signal(signal.SIGCONT)
        self.process.kill()
        self.process.wait(timeout=10)


Serve = Callable[..., Served]


@pytest.fixture
def serve() -> Iterator[Serve]:
    """Start `benchtest simulate …` and wait for the line to paste."""
    started: list[Served] = []

    def start(*words: str) -> Served:
        process = subprocess.Popen(
            [sys.executable, "-m", "benchtest", "simulate", *words],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        served = Served(process)
        started.append(served)
        threading.Thread(target=served.read, daemon=True).start()
        served.words = shlex.split(served.wait_for("benchtest run"))[1:]
        return served

    yield start
    for served in started:
        served.end()
        assert served.process.stdout is not None
        served.process.stdout.close()


@pytest.fixture
def short(tmp_path: Path) -> Path:
    """The car-wash board with a script of a few seconds."""
    text = (ROOT / "profiles/carwash.yaml").read_text(encoding="utf-8")
    profile = tmp_path / "carwash.yaml"
    profile.write_text(text[: text.index("steps:")] + SHORT, encoding="utf-8")
    return profile


@pytest.fixture
def start_run(tmp_path: Path) -> Iterator[Callable[[list[str]], "subprocess.Popen[str]"]]:
    """Start the pasted command as a process that keeps its runs in the test's folder."""
    started: list[subprocess.Popen[str]] = []

    def start(words: list[str]) -> "subprocess.Popen[str]":
        process = subprocess.Popen(
            [sys.executable, "-u", "-m", "benchtest", *words, "--runs", str(tmp_path / "runs")],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        started.append(process)
        return process

    yield start
    for process in started:
        process.send_signal(signal.SIGCONT)
        process.kill()
        process.communicate(timeout=10)
