"""The commands about the bench against a second process that serves one over real wires."""

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchtest.cli import entry

SERIAL = "fixtures/serial.yaml"
Start = Callable[[list[str]], "subprocess.Popen[str]"]


@pytest.fixture
def port(serve: Any, short: Path, request: pytest.FixtureRequest) -> str:
    """The port of a served bench with the car-wash board on it."""
    tcp = ["--tcp", "0"] if getattr(request, "param", "pty") == "tcp" else []
    served = serve(str(short), "--fixture", SERIAL, *tcp)
    found: str = next(word for word in served.words if word.startswith("io="))
    return found


@pytest.mark.parametrize("port", ["pty", "tcp"], indirect=True)
def test_an_adapter_over_a_wire_keeps_every_rule_that_can_be_tried(
    port: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Noise and the dead-man too, exit 0."""
    words = ["--harness", "CW-0410", "--port", port, "--no-board-connected", "--json"]
    code = entry(["adapter", "check", SERIAL, *words])
    found = {one["rule"]: (one["state"], one["found"]) for one in json.loads(capsys.readouterr().out)}

    assert {} == {name: what for name, (state, what) in found.items() if state == "does not hold"}
    assert 0 == code
    assert ("holds", []) == found["noise"]
    assert ("holds", []) == found["dead-man"]


def test_what_is_on_is_asked_over_a_wire(port: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is, and the adapter said so itself."""
    assert 0 == entry(["rig", "show", SERIAL, "--harness", "CW-0410", "--ask", "--port", port])
    assert "io: everything off" in capsys.readouterr().out


def test_a_served_bench_checks_itself_over_a_wire(port: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Loops, sensors and supplies; round trips and clock are those of a real wire and of two processes."""
    words = ["--harness", "CW-0410", "--port", port, "--no-board-connected", "--json"]
    code = entry(["rig", "check", SERIAL, *words])
    told = json.loads(capsys.readouterr().out)
    found = {one["id"]: one for one in told["readings"]}

    assert ("pass", 0) == (told["outcome"], code)
    assert 0 < found["bench.io-round-trip"]["value"] < 0.2
    assert 0 < found["bench.clock-deviation"]["uncertainty"]
    assert "bench.supply-201-at-its-terminals" in found
    assert {"bench.drive-103-closes", "bench.lamp-D3-lit-by-the-test-light"} <= found.keys()


def test_a_served_bench_that_is_not_in_order_judges_no_board(serve: Any, short: Path, start_run: Start) -> None:
    """Exit 5 and a report of findings, whose reason is the bench's drive."""
    served = serve(str(short), "--fixture", SERIAL, "--bench-fault", "drive 103 stays open")
    out, _ = start_run([*served.words, "--json"]).communicate(timeout=60)
    told = json.loads(out)

    assert ("bench fault", 5) == (told["outcome"], told["exit_code"])
    assert "drive 103 closes failed" in told["reason"]
    assert told["readings"]["not tested"] == sum(told["readings"].values())
