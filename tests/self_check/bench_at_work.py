"""A simulated bench that checks itself, with a good board on it or alone, and what it tells meanwhile."""

from contextlib import AbstractContextManager
from dataclasses import dataclass, field

from benchtest.cli.documents import Prepared
from benchtest.faults import parse_defect
from benchtest.fixture.wiring import every_channel
from benchtest.perform import Watcher
from benchtest.plan import plan_self_check
from benchtest.results import BenchCheck
from benchtest.rig import Rig, Virtual, open_rig
from benchtest.self_check import Judged, check_bench, perform_when_fit


@dataclass
class Told:
    """What was told while a bench was in use, in its order."""

    words: list[str] = field(default_factory=list)

    def watcher(self, whose: str) -> Watcher:
        return Watcher(begins=lambda step, _at: self.words.append(f"{whose} {step.id}"))

    def checked(self, bench: BenchCheck) -> None:
        self.words.append(f"checked: {bench.outcome.value}")


def opened(prepared: Prepared, *defects: str) -> AbstractContextManager[Rig]:
    """Open the rig of a bench that has these defects."""
    known = every_channel(prepared.fixture.fixture, prepared.harness)
    return open_rig(
        prepared.procedure,
        prepared.fitted,
        fixture=prepared.fixture.fixture,
        harness=prepared.harness,
        ports={},
        virtual=Virtual(mishaps=tuple(parse_defect(text, known) for text in defects)),
    )


def judged(prepared: Prepared, *defects: str, told: Told | None = None) -> Judged:
    """Let the bench check itself, and judge a good board when it is fit."""
    told = told or Told()
    with opened(prepared, *defects) as rig:
        return perform_when_fit(
            prepared.procedure,
            prepared.self_check,
            rig,
            watcher=told.watcher("board"),
            own=told.watcher("bench"),
            checked=told.checked,
            kept={},
        )


def alone(prepared: Prepared, *defects: str) -> BenchCheck:
    """Let the bench check itself with no board on it."""
    procedure = plan_self_check(prepared.fixture.fixture, prepared.harness, link=None, board=False)
    assert procedure is not None
    with opened(prepared, *defects) as rig:
        return check_bench(procedure, rig, Watcher()).bench
