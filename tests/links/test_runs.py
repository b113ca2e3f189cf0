"""Both kinds of serial board go through a whole run in process."""

from pathlib import Path
from typing import Any

import pytest

from benchtest.results import Outcome
from tests.links.misting import prepared


@pytest.mark.parametrize("polled", [False, True], ids=["bytes", "text, asked"])
def test_a_good_board_passes_and_a_silent_link_is_found(tmp_path: Path, bench: Any, polled: bool) -> None:
    """Every check of a good board passes; a board that is silent on its link fails."""
    ready = prepared(tmp_path, polled=polled)

    assert Outcome.PASS is bench.performed(ready).outcome
    assert Outcome.FAIL is bench.performed(ready, "link silent").outcome
