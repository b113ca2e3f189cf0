"""Profiles as tests on a bench behind real wires, by two workers of pytest at once.

The bench is a virtual one in another process, so that nobody has to acknowledge its cautions; all that is between it
and pytest is real: ports, locks, time.
"""

import os
import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

from tests.wires.conftest import ROOT, Serve

PYTEST = (sys.executable, "-m", "pytest", "-p", "benchtest.pytest_plugin", "-p", "no:hypothesispytest")
OWN = """
import pytest

pytestmark = [pytest.mark.rig, pytest.mark.board({profile!r})]


@pytest.mark.parametrize("number", range(4))
def test_the_rig_is_mine_alone_and_off(opened_rig, number):
    assert not opened_rig.bench.energised()
    opened_rig.wait_until(opened_rig.clock.now() + 0.1)
"""


def test_two_workers_take_turns_at_one_bench(serve: Serve, short: Path, tmp_path: Path) -> None:
    """A board is put through once, on one worker; own checks of both workers wait for one another."""
    words = serve(str(short), "--fixture", "fixtures/serial.yaml").words
    ports = [word for name, word in pairwise(words) if name == "--port"]
    (tmp_path / "test_own.py").write_text(OWN.format(profile=str(short)), encoding="utf-8")
    (tmp_path / "pytest.ini").write_text("[pytest]\naddopts = --strict-markers --strict-config\n", encoding="utf-8")
    options = [text for port in ports for text in ("--port", port)]
    done = subprocess.run(
        [*PYTEST, str(tmp_path), "--rig", str(ROOT / "fixtures/serial.yaml"), *options, "-n", "2", "-v"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTEST_ADDOPTS": ""},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    told = done.stdout
    boards = set(re.findall(r"\[(gw\d)\] \[ *\d+%\] PASSED carwash.yaml::", told))
    own = re.findall(r"\[(gw\d)\] \[ *\d+%\] PASSED test_own.py::", told)

    assert 0 == done.returncode, told
    assert 1 == len(boards)
    assert 4 == len(own)
    assert {"gw0", "gw1"} == {*boards, *own}
