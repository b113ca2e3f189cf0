"""How pytest-xdist shares out the work: all checks of a board to one worker, all of a real bench to one."""

from pathlib import PurePath

import pytest
from xdist.remote import Producer
from xdist.scheduler import LoadScopeScheduling

from benchtest.pytest_plugin.session import ENDINGS


class BoardScheduling(LoadScopeScheduling):
    """Boards whole, everything else one by one."""

    def __init__(self, config: pytest.Config, log: Producer | None = None, *, real: bool) -> None:
        super().__init__(config, log)
        self._real = real

    def _split_scope(self, nodeid: str) -> str:
        file, *names = nodeid.split("::")
        if PurePath(file).suffix not in ENDINGS:
            return nodeid
        return "bench" if self._real else "::".join([file, *names[:1]])
