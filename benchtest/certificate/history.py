"""What came before this run: attempts at the same board, and the board as it was found, side by side with it now.

Nothing that came before is replaced by this run; a repair shows by what changed, check by check.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from benchtest.certificate.lines import MARK, Fact, allowed, as_read, number, short, word_of
from benchtest.language import Language
from benchtest.metrology.figures import figures
from benchtest.procedure import Check
from benchtest.results import Attempt, Before, Job, Outcome, Result, Run, Verdict, Was


@dataclass(frozen=True, kw_only=True, slots=True)
class Side:
    """One fact as found and as left."""

    label: str
    found: str
    left: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Change:
    """One check as found and as left."""

    check: str
    found: str
    left: str
    permitted: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Comparison:
    """The board before and after its repair."""

    sides: tuple[Side, ...]
    changes: tuple[Change, ...]
    unchanged: str


def attempts_of(run: Run, words: Language) -> tuple[Fact, ...]:
    """Return the earlier runs of this board, oldest first."""
    return tuple(Fact(label=_when(one, words), value=short(_attempt(one, words), words)) for one in run.attempts)


def attempts_said(run: Run, words: Language) -> tuple[str, ...]:
    """Return the sentences above them: what of this run is a first actuation, and what came before."""
    first = words.say("first_actuation")
    if not run.attempts:
        return first, words.say("no_attempt")
    more = words.say("earlier_too", count=run.attempts_left_out) if run.attempts_left_out else ""
    return (first, words.say("earlier"), *filter(None, [more]))


def _when(one: Attempt, words: Language) -> str:
    try:
        return words.moment(one.started)
    except ValueError:
        return words.say("unreadable")


def _attempt(one: Attempt, words: Language) -> str:
    match one.outcome:
        case "cut off" | "unreadable":
            said = words.say(one.outcome.replace(" ", "_"))
        case _:
            said = outcome_word(one.outcome, words)
    phase = f", {words.phrase(one.phase)}" if one.phase else ""
    origin = f", {words.phrase(one.origin)}" if one.origin not in {"", "measured"} else ""
    return words.say("attempt", outcome=said, phase=phase, origin=origin, run=one.folder)


def outcome_word(outcome: str, words: Language) -> str:
    """Return an outcome as it stands in large words."""
    known = {str(one) for one in Outcome}
    return words.say(f"outcome_{outcome.replace(' ', '_')}") if outcome in known else outcome


def comparison_of(run: Run, words: Language) -> Comparison | None:
    """Return the board as found beside the board as left; None where no run as found is named."""
    was = run.before
    if was is None:
        return None
    changes, same = list[Change](), 0
    results = {one.check.id: one for one in run.results}
    checks = {check.id: check for step in run.procedure.steps for check in step.checks}
    for key, check in checks.items():
        then, now = was.results.get(key), results.get(key)
        if then is not None and now is not None and then.verdict is now.verdict is Verdict.PASS:
            same += 1
        elif then is not None or (now is not None and now.verdict is not Verdict.PASS):
            changes.append(_change(check, then, now, words))
    gone = {key: then for key, then in was.results.items() if key not in checks}
    changes += [_gone(key, then, words) for key, then in gone.items() if then.verdict is not Verdict.PASS]
    passed = sum(then.verdict is Verdict.PASS for then in gone.values())
    rest = [number(same, words, "unchanged_one", "unchanged")] if same else []
    rest += [number(passed, words, "gone_one", "gone")] if passed else []
    return Comparison(sides=tuple(_sides(run, was, words)), changes=tuple(changes), unchanged=" ".join(rest))


def _change(check: Check, then: Was | None, now: Result | None, words: Language) -> Change:
    never = words.say("not_in_run")
    return Change(
        check=short(words.phrase(check.title), words),
        found=short(_was(then, words) if then else never, words),
        left=short(_marked(now.verdict, as_read(now, words), words) if now else words.say("never_reached"), words),
        permitted=short(allowed(check, words), words),
    )


def _gone(key: str, then: Was, words: Language) -> Change:
    title = short(words.phrase(then.title) or key, words)
    return Change(check=title, found=short(_was(then, words), words), left=words.say("not_in_this_run"), permitted="–")


def _was(one: Was, words: Language) -> str:
    return _marked(one.verdict, words.phrase(figures(one.value, one.uncertainty, one.unit)), words)


def _marked(verdict: Verdict, value: str, words: Language) -> str:
    return f"{MARK[verdict]} {value}, {word_of(verdict, words)}"


def _sides(run: Run, was: Before, words: Language) -> Iterator[Side]:
    """Yield what is said of either run."""
    now = run.procedure
    none = words.say("not_stated")
    pairs = {
        "before_run": (was.number, run.number),
        "before_ended": (words.moment(was.ended), words.moment(run.ended)),
        "before_outcome": (outcome_word(was.outcome, words), outcome_word(run.outcome, words)),
        "variant": (was.variant or "–", now.variant or "–"),
        "options": (", ".join(was.options) or "–", ", ".join(now.options) or "–"),
        "before_digest": (was.digest, "–"),
    }
    pairs |= {key: (_of(was.job, key), _of(run.job, key)) for key in ("revision", "straps", "tested_by")}
    for key, (found, left) in pairs.items():
        yield Side(label=words.say(key), found=short(found, words) or none, left=short(left, words) or none)


def _of(job: Job, key: str) -> str:
    return {"revision": job.revision, "straps": job.straps, "tested_by": job.technician}[key]
