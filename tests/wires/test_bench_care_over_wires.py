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
