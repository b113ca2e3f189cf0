"""Kill -9 of what writes to the records: a sample of the thousands of tests/reliability/kills.py."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_whatever_is_killed_what_was_acknowledged_is_there_once() -> None:
    """Six kills each on SQLite and on PostgreSQL: storing, delivering, withdrawing, whole runs."""
    words = ["--kills", "6"]
    done = subprocess.run(
        [sys.executable, "-m", "tests.reliability.kills", *words], cwd=ROOT, capture_output=True, text=True, check=False
    )

    assert 0 == done.returncode, done.stdout + done.stderr
    assert "Every kill held." in done.stdout
