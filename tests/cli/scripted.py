"""A scripted person at a real terminal: reads what stands there as a person does, and types."""

import os
import re
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pexpect

from tests.adapters.technician import Technician

ROOT = Path(__file__).parent.parent.parent
COLUMNS = 80
REQUEST = re.compile(r"(?s)(?:\A|\n)( {2,4}\S[^\n]*(?:\n {6,8}[^\n]*)*)[:?)] \Z")
"""The last lines, when they wait for an answer: two or four blanks, continued under six or eight."""


@dataclass
class Typist:
    """Runs benchtest, or another program, on a pseudo-terminal of 80 columns and lets a technician answer."""

    words: tuple[str, ...]
    folder: Path
    program: tuple[str, ...] = (sys.executable, "-m", "benchtest")
    surroundings: Mapping[str, str] = field(default_factory=lambda: {**os.environ, "PYTHONPATH": str(ROOT)})
    waiting: re.Pattern[str] = REQUEST
    """How what stands on the terminal ends when an answer is waited for; its first group is what is asked."""
    seen: str = ""
    shown: str = ""
    """All that stood on the terminal while a technician answered."""
    requests: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.child: pexpect.spawn[str] = pexpect.spawn(
            self.program[0],
            [*self.program[1:], *self.words],
            cwd=str(self.folder),
            env={**self.surroundings, "TERM": "dumb"},
            dimensions=(24, COLUMNS),
            encoding="utf-8",
            timeout=30,
        )
        self.child.delaybeforesend = None  # whoever waits for the request need not wait once more

    def request(self) -> str:
        """Return what is asked now, on one line; empty when the program has ended."""
        while True:
            if match := self.waiting.search(self.seen.replace("\r\n", "\n")):
                return " ".join((match[1] or match[0]).split())
            try:
                self.seen += self.child.read_nonblocking(4096, timeout=30)
            except pexpect.EOF:
                return ""

    def type(self, text: str) -> None:
        """Answer with a line."""
        self.seen = ""
        self.child.sendline(text)

    def answered_by(self, technician: Technician, *, until: str = "") -> str:
        """Let a technician answer every request; return the first that holds `until`, or an empty text at the end."""
        everything: list[str] = []
        while request := self.request():
            self.requests.append(request)
            everything.append(self.seen)
            if until and until in request:
                break
            for line in self.seen.replace("\r\n", "\n").split("\n"):
                technician.tell(line)
            self.type(technician.ask(request))
        self.shown = "".join([*everything, self.seen]).replace("\r\n", "\n")
        return request

    def end(self) -> int:
        """Wait for the end and return the exit code."""
        while self.request():
            raise AssertionError(f"still asking: {self.seen!r}")
        self.child.close()
        code = self.child.exitstatus
        assert code is not None, f"ended by signal {self.child.signalstatus}"
        return code
