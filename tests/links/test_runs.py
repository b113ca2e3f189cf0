"""Both kinds of serial board go through a whole run in process."""

from pathlib import Path
from typing import Any

import pytest

from benchtest.cli.documents import prepare
from benchtest.faults import possible
from benchtest.results import Outcome
from tests.links.misting import prepared, written


@pytest.mark.parametrize("polled", [False, True], ids=["bytes", "text, asked"])
def test_a_good_board_passes_and_a_silent_link_is_found(tmp_path: Path, bench: Any, polled: bool) -> None:
    """Every check of a good board passes; a board that is silent on its link fails."""
    ready = prepared(tmp_path, polled=polled)

    assert Outcome.PASS is bench.performed(ready).outcome
    assert Outcome.FAIL is bench.performed(ready, "link silent").outcome


def test_only_a_board_that_reports_a_voltage_can_report_it_wrongly(tmp_path: Path) -> None:
    """Without such a signal on its line the fault is none: no study asks for a check of what is not there."""
    profile, fixture = written(tmp_path, fixture="simulated")
    wrong = "link signal scaling wrong"

    assert wrong in {fault.text for fault in possible(prepare(profile, fixture, None, ()).fitted)}
    text = profile.read_text(encoding="utf-8")
    profile.write_text(text.replace(", scale: 0.001, unit: V", ""), encoding="utf-8")
    assert wrong not in {fault.text for fault in possible(prepare(profile, fixture, None, ()).fitted)}
