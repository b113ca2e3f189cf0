"""The command that serves a whole board, as a process of its own."""

import os
import re
import shlex
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest

from benchtest.adapters.can_link import open_can
from benchtest.adapters.scpi import open_scpi
from benchtest.clock import RealClock
from benchtest.errors import AdapterMissing
from benchtest.fixture import load_fixture
from benchtest.instruments import BenchAdapter, Capture
from benchtest.procedure import LinkPlan

ROOT = Path(__file__).parents[2]
SERIAL = load_fixture(ROOT / "fixtures/serial.yaml").fixture
CLOCK = RealClock()


@contextmanager
def simulated(*choice: str) -> Iterator[tuple[subprocess.Popen[str], dict[str, str]]]:
    """Start `benchtest simulate`; give the process and the ports it announces."""
    command = [sys.executable, "-m", "benchtest", "simulate", *choice, "--fixture", str(ROOT / "fixtures/serial.yaml")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        try:
            assert process.stdout is not None
            announced = next(line for line in process.stdout if "--port" in line)
            yield process, dict(re.findall(r"--port (\w+)=(\S+)", announced))
        finally:
            process.kill()


def opened(port: str) -> AbstractContextManager[BenchAdapter]:
    return open_scpi(adapter=SERIAL.adapters["io"], port=port, limits=SERIAL.limits, clock=CLOCK)


@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("tcp", [(), ("--tcp", "0")], ids=["pty", "tcp"])
def test_served_board_ends_cleanly_on_a_signal(ending: signal.Signals, tcp: tuple[str, ...]) -> None:
    """The ports that are announced work, and SIGINT or SIGTERM end the server with exit code 0 and a word."""
    with simulated(str(ROOT / "profiles/carwash.yaml"), *tcp) as (process, ports):
        with opened(ports["io"]) as bench:
            bench.source(201, volts=24.0, amps=1.0)
            assert frozenset({201}) == bench.energised()
        process.send_signal(ending)
        told, _ = process.communicate(timeout=5)

    assert 0 == process.returncode
    assert f"ended by {ending.name}" in told
    assert "Traceback" not in told


def test_the_line_to_paste_can_be_pasted(tmp_path: Path) -> None:
    """Called by its path and with a folder whose name has a blank, the line names that path and quotes that folder."""
    program = str(Path(sys.executable).parent / "benchtest")
    profile = tmp_path / "my boards" / "carwash.yaml"
    profile.parent.mkdir()
    profile.write_bytes((ROOT / "profiles/carwash.yaml").read_bytes())
    words = [program, "simulate", str(profile), "--fixture", str(ROOT / "fixtures/serial.yaml")]
    with subprocess.Popen(
        words, stdout=subprocess.PIPE, text=True, env={**os.environ, "PATH": "/usr/bin:/bin"}
    ) as process:
        try:
            assert process.stdout is not None
            pasted = shlex.split(next(line for line in process.stdout if "--port" in line))
        finally:
            process.kill()

    assert [program, "run", str(profile), "--fixture"] == pasted[:4]
    assert ["--serial", "DEMO-1"] == pasted[-2:]


def test_killed_server_is_missed_in_the_middle_of_a_recording() -> None:
    """A server that is killed outright is an AdapterMissing at once, and leaving does not hang."""
    with simulated(str(ROOT / "profiles/carwash.yaml")) as (process, ports):

        def bereaved() -> None:
            with opened(ports["io"]) as bench:
                bench.begin(Capture(orders=(), duration=5, rate=1e3, channels=(301,)))
                process.kill()
                process.wait(5)
                bench.fetch()

        began = CLOCK.now()
        with pytest.raises(AdapterMissing, match="cable was pulled"):
            bereaved()
        assert CLOCK.now() - began < 2


def test_powered_board_speaks_on_its_link() -> None:
    """Once powered, the served greenhouse board sends its heartbeat on the second port, decoded by its database."""
    database = (ROOT / "profiles/greenhouse.dbc").read_text(encoding="utf-8")
    plan = LinkPlan(
        database=database, bit_rate=125e3, heartbeat="ControllerHeartbeat", every=0.2, terminals="X6.1-X6.2"
    )
    board = (str(ROOT / "profiles/greenhouse.yaml"), "--variant", "two-bay")
    with (
        simulated(*board) as (_, ports),
        opened(ports["io"]) as bench,
        open_can(adapter=SERIAL.adapters["can"], port=ports["can"], plan=plan, clock=CLOCK) as link,
    ):
        assert () == tuple(link.messages())
        bench.source(201, volts=24.0, amps=1.0)
        deadline = CLOCK.now() + 3
        heard: set[str] = set()
        while not heard and CLOCK.now() < deadline:
            heard = {message.name for message in link.messages()}
            CLOCK.sleep_until(CLOCK.now() + 0.02)
            bench.beat()

    assert heard
    assert "" not in heard
