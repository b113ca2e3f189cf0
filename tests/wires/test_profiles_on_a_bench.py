"""Profiles as tests on a bench behind real wires, by two workers of pytest at once.

The bench is a virtual one in another process, so that nobody has to acknowledge its cautions; all that is between it
and pytest is real: ports, locks, time.
"""

import os
import re
import signal
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

from benchtest.rig.lock import lock_folder, lock_path
from tests.rig.conftest import write_documents
from tests.wires.between import between
from tests.wires.conftest import ROOT, Serve
from tests.wires.test_second_process import until

ENDLESS = """
import pytest


@pytest.fixture
def after():
    yield
    print("the bench was taken to safety and closed")


@pytest.mark.board({profile!r})
def test_waits(after, opened_rig):
    opened_rig.source(201, volts=6.0, amps=0.1)
    print("for ever")
    while True:
        pass
"""
PYTEST = (sys.executable, "-m", "pytest", "-p", "benchtest.pytest_plugin", "-p", "no:hypothesispytest")
OWN = """
import pytest

pytestmark = [pytest.mark.rig, pytest.mark.board({profile!r})]


@pytest.mark.parametrize("number", range(4))
def test_the_rig_is_mine_alone_and_off(opened_rig, number):
    assert not opened_rig.bench.energised()
    opened_rig.wait_until(opened_rig.clock.now() + 0.1)
"""


def session(place: Path, bench: str, *words: str) -> "subprocess.Popen[str]":
    """Start pytest on a real bench."""
    return subprocess.Popen(
        [*PYTEST, f"--rig={bench}", *words],
        cwd=place,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTEST_ADDOPTS": "", "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def folder(path: Path) -> Path:
    """Return a new folder."""
    path.mkdir()
    return path


def test_two_workers_take_turns_at_one_bench(serve: Serve, short: Path, tmp_path: Path) -> None:
    """A board is put through once, on one worker; own checks of both workers wait for one another."""
    words = serve(str(short), "--fixture", "fixtures/serial.yaml").words
    ports = [text for name, port in pairwise(words) if name == "--port" for text in (name, port)]
    (tmp_path / "test_own.py").write_text(OWN.format(profile=str(short)), encoding="utf-8")
    (tmp_path / "pytest.ini").write_text("[pytest]\naddopts = --strict-markers --strict-config\n", encoding="utf-8")
    done = session(tmp_path, str(ROOT / "fixtures/serial.yaml"), *ports, "-n", "2", "-v")
    told, _ = done.communicate(timeout=120)
    boards = set(re.findall(r"\[(gw\d)\] \[ *\d+%\] PASSED carwash.yaml::", told))
    own = re.findall(r"\[(gw\d)\] \[ *\d+%\] PASSED test_own.py::", told)

    assert 0 == done.returncode, told
    assert 1 == len(boards)
    assert 4 == len(own)
    assert {"gw0", "gw1"} == {*boards, *own}


def test_a_real_bench_waits_for_somebody_who_knows_its_cautions(serve: Serve, tmp_path: Path) -> None:
    """Without a name every check is an error with the cautions in it, and the bench is not energised."""
    profile, fixture = write_documents(tmp_path, "serial", ("Benchtest,Virtual bench adapter", "Example,Bench adapter"))
    virtual = write_documents(folder(tmp_path / "virtual"), "serial")
    served = serve(str(virtual[0]), "--fixture", str(virtual[1]), "--tcp", "0")
    (port,) = (word[3:] for word in served.words if word.startswith("io="))
    with between(port, called=b"Example,Bench adapter") as wire:
        done = session(tmp_path, str(fixture), "--port", f"io={wire.port}", "-q", str(profile))
        told, _ = done.communicate(timeout=60)

    assert 1 == done.returncode
    assert re.search(r"^\d+ errors in", told, re.MULTILINE)
    assert "this is a real bench, and nobody has acknowledged its cautions:\n  Extra-low voltage only" in told
    assert "(whoever knows them says so: --acknowledge NAME)\nNothing was energised.\n" in told


def test_a_signal_takes_the_bench_to_safety_before_pytest_ends(serve: Serve, short: Path, tmp_path: Path) -> None:
    """SIGTERM in the middle of a board: everything off and read back, and pytest says that it was interrupted."""
    served = serve(str(short), "--fixture", "fixtures/serial.yaml")
    ports = [text for name, port in pairwise(served.words) if name == "--port" for text in (name, port)]
    running = session(tmp_path, str(ROOT / "fixtures/serial.yaml"), *ports, str(short))
    until(running, "collected")
    note = lock_path(ports[1].removeprefix("io="), lock_folder()).with_suffix(".holder")
    while not (note.exists() and f'"pid": {running.pid},' in note.read_text(encoding="utf-8")):
        assert running.poll() is None, "it ended before it had the bench"
    running.send_signal(signal.SIGTERM)
    told, _ = running.communicate(timeout=60)

    assert 2 == running.returncode
    assert "stopped by SIGTERM; everything off" in told
    assert "Traceback" not in told


def test_a_signal_in_an_own_check_takes_the_bench_to_safety_too(serve: Serve, short: Path, tmp_path: Path) -> None:
    """A check that waits for ever is interrupted by SIGTERM, and its bench goes the way out that it has."""
    served = serve(str(short), "--fixture", "fixtures/serial.yaml")
    ports = [text for name, port in pairwise(served.words) if name == "--port" for text in (name, port)]
    (tmp_path / "test_own.py").write_text(ENDLESS.format(profile=str(short)), encoding="utf-8")
    running = session(tmp_path, str(ROOT / "fixtures/serial.yaml"), *ports, "-s", "test_own.py")
    until(running, "for ever")
    running.send_signal(signal.SIGTERM)
    told, _ = running.communicate(timeout=60)

    assert 2 == running.returncode
    assert "KeyboardInterrupt" in told
    assert "the bench was taken to safety and closed" in told
