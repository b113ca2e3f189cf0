"""What a board with a link does not do while nobody is on it, by the profile's own words.

Relays that the loss of the link releases stay released, and a lamp whose code tells of the link tells nothing else.
On a bench without the link that is no fault of the board: what presupposes the controller is *not tested* by name.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from benchtest.procedure import Absent, Check, LampCode, Step
from benchtest.profile.board import CountCode
from benchtest.profile.document import Profile
from benchtest.profile.script import Exercise, Loss, ReadCode, ReadLamps, TryInterlocks
from benchtest.profile.script import Step as Scripted


def without_controller(profile: Profile, asked: Scripted, steps: Sequence[Step]) -> list[Step]:
    """Return what a scripted step became, without what needs a controller on the board's link."""
    if profile.link is None:
        return list(steps)
    return [_held_off(profile, step, _energised(profile, asked, step)) for step in steps]


def _energised(profile: Profile, asked: Scripted, step: Step) -> Iterable[str]:
    """Return the relays that a step energises."""
    subjects = {check.subject for check in step.checks}
    match asked:
        case Exercise():
            return subjects & profile.relays.keys()
        case TryInterlocks():
            return {lock.relay for name, lock in profile.interlocks.items() if name in subjects}
        case ReadLamps(given=given) | ReadCode(given=given):
            return given.energised
        case Loss(energised=energised):
            return energised
    return ()


def _held_off(profile: Profile, step: Step, energised: Iterable[str]) -> Step:
    held = [name for name in energised if profile.relays[name].without_link == "released"]
    if held:
        reason = f"without a controller on the link {', '.join(held)} stays released, and this bench has none"
        return replace(step, moves=(), checks=tuple(_absent(check, reason) for check in step.checks), gate=False)
    return replace(step, checks=tuple(_told_of_the_link(profile, check) for check in step.checks))


def _told_of_the_link(profile: Profile, check: Check) -> Check:
    """Return a check of a lamp's code as absent where the code would say that the link is lost."""
    lamp = profile.lamps.get(check.subject)
    code = profile.codes.get(lamp.code or "") if lamp is not None else None
    if not isinstance(check.measurand, LampCode) or not isinstance(code, CountCode):
        return check
    conditions = [meaning.when for meaning in code.meanings.values() if meaning.when is not None]
    if any("link" in {*when.all, *when.any, *when.none} for when in conditions):
        return _absent(check, f"{check.subject} tells of the link first, and this bench has no controller on it")
    return check


def _absent(check: Check, reason: str) -> Check:
    return replace(check, measurand=Absent(reason=reason))
