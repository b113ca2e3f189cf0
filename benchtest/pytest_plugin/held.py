"""One board put through its procedure, once, and what became of every check. Nothing is ever tried a second time.

A bench that fails is kept as an outcome too, so that all checks of the board hear of it and none opens the bench anew.
"""

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, replace

from benchtest.cautions import before_power
from benchtest.clock import wall_time
from benchtest.errors import Aborted, BenchtestError, PlanError
from benchtest.faults import Fault
from benchtest.fixture.calibration import overdue
from benchtest.perform import Watcher
from benchtest.prepared import Prepared
from benchtest.pytest_plugin.asked import Asked
from benchtest.readings import Origin
from benchtest.records.cases import Case, cases
from benchtest.results import Outcome, Suspected
from benchtest.rig import Rig, Virtual, open_rig
from benchtest.rig.lock import in_turn
from benchtest.rig.stop import Stop, stopped_by_signals
from benchtest.self_check import Judged, perform_when_fit


@dataclass(frozen=True, kw_only=True, slots=True)
class Held:
    """What became of a board."""

    cases: Mapping[tuple[str, str], Case]
    """By step and name."""
    suspects: tuple[Suspected, ...] = ()
    stopped: str = ""
    """Why nothing more shall be done in this session: somebody said stop."""


def hold(prepared: Prepared, asked: Asked, *, seed: int, faults: tuple[Fault, ...]) -> Held:
    """Put one board through its procedure. Raises PlanError when it may not be; nothing was energised then."""
    if refusals := _refusals(prepared, asked):
        raise PlanError(refusals)
    done: Judged | None = None
    problem: BenchtestError | None = None
    with _stop() as stop:
        try:
            with opened(prepared, asked, Virtual(seed=seed, faults=faults), stop) as rig:
                done = _performed(prepared, rig)
        except PlanError:
            raise
        except BenchtestError as found:
            problem = found
    if done is None:
        outcome = Outcome.ABORTED if isinstance(problem, Aborted) else Outcome.BENCH_FAULT
        found_cases = cases(prepared.procedure, (), outcome, str(problem))
        return Held(cases=_by_name(found_cases), stopped=stop.reason)
    came = done.performed
    found_cases = cases(prepared.procedure, came.results, came.outcome, came.reason)
    suspects = _suspects(prepared, done) if came.outcome is Outcome.FAIL else ()
    stopped = f"{stop.reason}; {came.safe.note}".rstrip("; ") if stop.reason else ""
    return Held(cases=_by_name(found_cases), suspects=suspects, stopped=stopped)


@contextmanager
def opened(
    prepared: Prepared, asked: Asked, virtual: Virtual, stopped: Callable[[], str] = lambda: ""
) -> Iterator[Rig]:
    """Open the bench; a real one when it is this process's turn, and only for somebody who knows its cautions."""
    bench = prepared.fixture.fixture.bench.name
    with (
        in_turn(bench) if asked.real else nullcontext(),
        open_rig(
            prepared.procedure,
            prepared.fitted,
            fixture=prepared.fixture.fixture,
            harness=prepared.harness,
            ports=dict(asked.ports),
            virtual=virtual,
        ) as rig,
    ):
        if rig.origin is Origin.MEASURED and not asked.acknowledged:
            raise PlanError(_unacknowledged(prepared))
        yield replace(rig, stopped=stopped)


def _unacknowledged(prepared: Prepared) -> list[str]:
    return [
        "this is a real bench, and nobody has acknowledged its cautions:",
        *(f"  {sentence}" for sentence in before_power(prepared.fixture.fixture.guards)),
        "(whoever knows them says so: --acknowledge NAME)",
    ]


def _performed(prepared: Prepared, rig: Rig) -> Judged:
    return perform_when_fit(
        prepared.procedure,
        prepared.self_check,
        rig,
        watcher=Watcher(),
        own=Watcher(),
        checked=lambda _bench: None,
        kept={},
    )


def _stop() -> AbstractContextManager[Stop]:
    """Note Ctrl-C and SIGTERM, so that the bench is taken to safety first; only the main thread hears of them."""
    return stopped_by_signals() if threading.current_thread() is threading.main_thread() else nullcontext(Stop())


def _refusals(prepared: Prepared, asked: Asked) -> list[str]:
    """Return why this bench may not judge this board from here."""
    fixture, path = prepared.fixture.fixture, prepared.fixture.path
    if not asked.real and prepared.driver != "simulated":
        return [f"{path}: its bench is real or a person (name a real one with --rig instead of --fixture)"]
    if prepared.driver in {"manual", "replay"}:
        return [f"{path}: driver '{prepared.driver}' needs a person or a record (that is for `benchtest run`)"]
    return [
        f"{one} (have it calibrated; `benchtest run` takes an override, pytest does not)"
        for one in overdue(fixture, wall_time().date())
    ]


def _suspects(prepared: Prepared, done: Judged) -> tuple[Suspected, ...]:
    from benchtest.studies.known import suspects_of

    suspects, _ = suspects_of(prepared, done.performed.results)
    return suspects


def _by_name(found: tuple[Case, ...]) -> Mapping[tuple[str, str], Case]:
    return {(case.step, case.name): case for case in found}
