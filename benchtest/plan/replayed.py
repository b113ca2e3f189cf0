"""A profile of today on a run of yesterday: its limits, and what was done then.

The moves, and where in their evidence each reading lies, are those of the recorded run, since nothing else was ever
done; what is permitted, and the decision rule, are the profile's. So the same profile gives the same results again, and
a changed limit shows what it would have meant.
"""

from collections.abc import Mapping
from dataclasses import replace

from benchtest.errors import PlanError
from benchtest.procedure import Check, Procedure, Step


def replayed(asked: Procedure, recorded: Procedure) -> Procedure:
    """Return the procedure that judges what was recorded as it is asked now.

    Raises PlanError with every step and reading that is asked and that the recorded run did not have.
    """
    if (asked.part, asked.variant) != (recorded.part, recorded.variant):
        was, now = _board(recorded), _board(asked)
        raise PlanError([f"the recorded run was of {was}, and this profile is for {now}"])
    steps = {step.id: step for step in recorded.steps}
    reasons = [reason for step in asked.steps for reason in _missing(step, steps)]
    if reasons:
        raise PlanError(reasons)
    return replace(
        asked,
        steps=tuple(_as_recorded(step, steps[step.id]) for step in asked.steps),
        channels=recorded.channels,
        timing=recorded.timing,
        contact_test=recorded.contact_test,
        link=recorded.link,
        loads=recorded.loads,
        supplies=recorded.supplies,
        unresolved=recorded.unresolved,
    )


def _board(procedure: Procedure) -> str:
    return f"{procedure.part}{f', {procedure.variant}' if procedure.variant else ''}"


def _missing(step: Step, recorded: Mapping[str, Step]) -> list[str]:
    if step.id not in recorded:
        return [f"step {step.title!r} ({step.id}) is not in the recorded run"]
    known = {check.id: check for check in recorded[step.id].checks}
    return [reason for check in step.checks if (reason := _unread(check, known.get(check.id)))]


def _unread(check: Check, recorded: Check | None) -> str:
    where = f" ({check.place})" if check.place else ""
    if recorded is None:
        return f"{check.title!r} was not looked at in the recorded run{where}"
    if recorded.probe != check.probe:
        return f"{check.title!r} is asked at {check.probe}, and was recorded at {recorded.probe}{where}"
    return ""


def _as_recorded(step: Step, recorded: Step) -> Step:
    """Return a step with the moves that were made, and its checks on what they brought."""
    known = {check.id: check.measurand for check in recorded.checks}
    checks = tuple(replace(check, measurand=known[check.id]) for check in step.checks)
    return replace(recorded, title=step.title, checks=checks, gate=step.gate)
