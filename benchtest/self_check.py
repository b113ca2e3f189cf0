"""Is the bench fit to judge? A bench's own procedure, performed and judged like any other, before a board has power.

A check of the bench that fails is a bench fault, and no board is judged. What was measured of its timing takes the
place of what its fixture states wherever it refutes that, so that every later uncertainty knows of it.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from benchtest.fixture.document import Fixture, Harness
from benchtest.fixture.wiring import timekeeper
from benchtest.perform import Kept, Performed, Watcher, perform, stood_down
from benchtest.procedure import BenchProcedure, Delay, Procedure, RoundTrip, Timing
from benchtest.readings import Evidence
from benchtest.results import BenchCheck, Outcome, Result
from benchtest.rig import Rig


@dataclass(frozen=True, kw_only=True, slots=True)
class SelfChecked:
    """What came of it."""

    bench: BenchCheck
    evidence: Mapping[str, Evidence]


@dataclass(frozen=True, kw_only=True, slots=True)
class Judged:
    """What became of a board on a bench that checked itself first."""

    performed: Performed
    procedure: Procedure
    """As performed: with the bench's timing as it was measured."""
    bench: BenchCheck | None
    """None where a person or a record is the bench."""


def perform_when_fit(
    procedure: Procedure,
    bench: BenchProcedure | None,
    rig: Rig,
    *,
    watcher: Watcher,
    own: Watcher,
    checked: Callable[[BenchCheck], None],
    kept: Mapping[str, Kept],
) -> Judged:
    """Let the bench check itself, and perform the procedure only when it is fit; `own` is told of the first part."""
    if bench is None:
        return Judged(performed=perform(procedure, rig, watcher, kept), procedure=procedure, bench=None)
    found = check_bench(bench, rig, own)
    checked(found.bench)
    procedure = replace(procedure, timing=found.bench.timing)
    if found.bench.outcome is not Outcome.PASS:
        performed = stood_down(procedure, rig, watcher, found.bench.outcome, found.bench.reason)
    else:
        performed = perform(procedure, rig, watcher, kept)
    evidence = {**found.evidence, **performed.readings.evidence}
    performed = replace(performed, readings=replace(performed.readings, evidence=evidence))
    return Judged(performed=performed, procedure=procedure, bench=found.bench)


def check_bench(bench: BenchProcedure, rig: Rig, watcher: Watcher) -> SelfChecked:
    """Let the bench check itself; raises nothing for what it finds. Everything is off when this returns."""
    quiet = replace(
        watcher, ended=lambda _outcome, _reason, _safe: None
    )  # the run goes on, or says itself that it ends
    performed = perform(bench.procedure, rig, quiet)
    outcome, reason = performed.outcome, performed.reason
    if outcome in {Outcome.FAIL, Outcome.INCONCLUSIVE}:
        outcome, reason = Outcome.BENCH_FAULT, f"self-check of the bench: {reason}"
    found = BenchCheck(
        outcome=outcome,
        reason=reason,
        results=performed.results,
        left_out=bench.left_out,
        timing=as_measured(bench.procedure.timing, performed.results, rig.fixture, rig.harness),
    )
    return SelfChecked(bench=found, evidence=performed.readings.evidence)


def as_measured(timing: Timing, results: Iterable[Result], fixture: Fixture, harness: Harness) -> Timing:
    """Return the timing with each statement that the bench's own readings refute replaced by what was read.

    Answers that took longer than stated widen what the host knows of moments on the link. A drive's loop that followed
    later than the doubt about its moment explains widens what an order may come late.
    """
    keeper = timekeeper(fixture, harness)
    link_stamp, latency = timing.link_stamp, timing.latency
    for result in results:
        match result.check.measurand, result.value:
            case RoundTrip(adapter=name), float(value) if fixture.adapters[name] is keeper:
                link_stamp = max(link_stamp, value)
            case Delay(), float(value) if value > (result.uncertainty or 0.0):
                latency = max(latency, value)
            case _:
                pass
    return replace(timing, link_stamp=link_stamp, latency=latency)
