"""One old run under a new profile: what would be decided today of what was read then. Nothing in its folder is touched.

Two ways give the same words. *From stored values*: value and expanded uncertainty of every check lie in the run folder,
and the word is a function of them, the limit and the rule; so it is where nothing changed but limits, expected words
and the guard band. *From the recordings*: the judge reads everything anew; so it is where the coverage probability or a
code's rhythm changed, where something never happened within a time whose limit is another now, and where a question is
new and the recordings can answer it.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final, Literal

from benchtest.errors import BenchtestError, DocumentError, PlanError
from benchtest.judge import conclude, judge_all
from benchtest.metrology.decision import decide
from benchtest.procedure import Absent, Check, Delay, Interval, Procedure
from benchtest.profile import LoadedProfile
from benchtest.readings import Origin
from benchtest.records.evidence import load_readings
from benchtest.records.folder import read_run
from benchtest.rejudge.held import Held, hold
from benchtest.rejudge.stored import Shelf, Stored, Word
from benchtest.results import Outcome, Result, Verdict

Way = Literal["stored values", "recordings"]
JUDGED: Final = frozenset({Outcome.PASS, Outcome.FAIL, Outcome.INCONCLUSIVE})
RECORDINGS: Final = "recordings"
NOT_THERE: Final = "not reached in the recorded run, or only to be read from recordings that are not there"


@dataclass(frozen=True, kw_only=True, slots=True)
class Turn:
    """One check of a run that would be decided otherwise."""

    check: Check
    """With its new limit."""
    value: float | str | None
    uncertainty: float | None
    before: Verdict | None
    """None where the run did not look at it."""
    after: Verdict | None
    """None where it is asked no more."""
    permitted: Interval | str | None
    """Before; None where the run did not look at it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Rejudged:
    """One run under the new profile."""

    folder: Path
    serial: str = ""
    started: str = ""
    before: Outcome | None = None
    after: Outcome | None = None
    """None where the run could not be judged again."""
    reason: str = ""
    """Why the outcome would be what it is, or why the run could not be judged again."""
    way: Way | None = None
    turns: tuple[Turn, ...] = ()

    @property
    def changed(self) -> bool:
        """Whether another certificate or report would have been issued as to its outcome."""
        return self.after is not None and self.after is not self.before


@dataclass(slots=True)
class Rejudge:
    """A new profile, and what it asks of each kind of run that it has met."""

    loaded: LoadedProfile
    way: Literal["quickest", "recordings"] = "quickest"
    _shelf: Shelf = field(default_factory=Shelf)
    _held: dict[str, Held | PlanError] = field(default_factory=dict)

    def run(self, folder: Path) -> Rejudged:
        """Return a run under the new profile. Never raises for what is wrong with the folder: the others go on."""
        try:
            stored = self._shelf.read(folder)
        except DocumentError as problem:
            return Rejudged(folder=folder, reason=_said(problem))
        known = Rejudged(folder=folder, serial=stored.serial, started=stored.started, before=stored.outcome)
        if stored.outcome not in JUDGED:
            return replace(known, reason=f"ended as {stored.outcome}: the board was not judged")
        try:
            return self._under_the_new(known, stored)
        except BenchtestError as problem:
            return replace(known, reason=_said(problem))

    def _under_the_new(self, known: Rejudged, stored: Stored) -> Rejudged:
        held = self._hold(stored)
        words_do = self.way == "quickest" and held.only_limits and not _hangs_on_the_recording(held, stored)
        if words_do and not (held.fresh and (stored.folder / RECORDINGS).is_dir()):
            return _decided(known, held, stored, _from_words(held, stored), "stored values")
        return _decided(known, held, stored, _from_recordings(held, stored), "recordings")

    def _hold(self, stored: Stored) -> Held:
        if not stored.digest:
            return hold(self.loaded, stored.procedure)
        if stored.digest not in self._held:
            try:
                self._held[stored.digest] = hold(self.loaded, stored.procedure)
            except PlanError as problem:
                self._held[stored.digest] = problem
        found = self._held[stored.digest]
        if isinstance(found, PlanError):
            raise found
        return found


def _said(problem: BenchtestError) -> str:
    return "; ".join(str(problem).split("\n"))


def _hangs_on_the_recording(held: Held, stored: Stored) -> bool:
    """Return whether something never happened within a time whose limit is another now.

    Whether that is a failure or only a recording that ended too early hangs on the latest moment that is permitted.
    """
    for check in held.altered:
        word = stored.word(held.origin[check.id])
        if word is not None and word.value is None and isinstance(check.measurand, Delay):
            return True
    return False


# ---------------------------------------------------------------- the two ways


def _from_words(held: Held, stored: Stored) -> tuple[Result, ...] | None:
    """Return the results that follow from the stored words; None where every word stays as it is."""
    words = {check.id: stored.word(held.origin[check.id]) for check in held.deciding}
    after = {check.id: _word(check, words[check.id], held.asked) for check in held.deciding}
    same = all(was is None or after[name] is was.verdict for name, was in words.items())
    if same and held.same_sum and all(_harmless(stored.word(check.id)) for check in held.dropped):
        return None
    return tuple(_anew(check, held, stored, after.get(check.id)) for check in held.checks)


def _anew(check: Check, held: Held, stored: Stored, after: Verdict | None) -> Result:
    """Return one result; most of a run passed and still do, and share theirs with all other runs."""
    origin = held.origin.get(check.id, "")
    if after is None and stored.said.get(origin, (None,))[0] == Verdict.PASS:
        return held.passed[check.id]
    return _result(check, stored.word(origin), after)


def _harmless(was: Word | None) -> bool:
    """Return whether the outcome does not hang on a check that is asked no more."""
    return was is not None and was.verdict is Verdict.PASS


def _word(check: Check, was: Word | None, asked: Procedure) -> Verdict:
    """Return the word for a stored value under a check's limit now."""
    if was is None or isinstance(check.measurand, Absent):
        return Verdict.NOT_TESTED
    match check.permitted, was.value:
        case _, None:
            return was.verdict
        case _ if was.verdict is Verdict.NOT_TESTED:
            return was.verdict  # shown, but nothing could be concluded from it
        case str(expected), str(word):
            return Verdict.PASS if word == expected else Verdict.FAIL
        case Interval(low=low, high=high), float(value):
            rule = asked.decision
            band = 0.0 if was.uncertainty is None else was.uncertainty
            return Verdict(decide(value, band, low=low, high=high, guard=rule.guard, rule=rule.rule))
        case _:
            return Verdict.NOT_TESTED


def _result(check: Check, was: Word | None, verdict: Verdict | None) -> Result:
    absent = isinstance(check.measurand, Absent)
    note = check.measurand.reason if isinstance(check.measurand, Absent) else NOT_THERE if was is None else ""
    return Result(
        check=check,
        value=None if was is None or absent else was.value,
        uncertainty=None if was is None or absent else was.uncertainty,
        coverage=None,
        verdict=verdict or (was.verdict if was is not None and not absent else Verdict.NOT_TESTED),
        note=note,
        origin=Origin.REPLAYED,
    )


def _from_recordings(held: Held, stored: Stored) -> tuple[Result, ...]:
    """Return the results of the judge on everything that was recorded, checked against its digests."""
    run = read_run(stored.folder)
    if not run.recordings:
        raise PlanError(["its recordings are not there, and the stored values alone do not decide it"])
    return judge_all(held.as_performed(run.procedure), load_readings(stored.folder, run))


# ---------------------------------------------------------------- before and after


def _decided(known: Rejudged, held: Held, stored: Stored, results: tuple[Result, ...] | None, way: Way) -> Rejudged:
    if results is None:
        return replace(known, after=stored.outcome, way=way)
    turns = (*_turned(held, stored, results), *_dropped(held, stored))
    outcome, reason = conclude(results, held.asked.decision, complete=True)
    return replace(known, after=outcome, reason=reason, way=way, turns=turns)


def _turned(held: Held, stored: Stored, results: Iterable[Result]) -> Iterable[Turn]:
    for result in results:
        origin = held.origin.get(result.check.id)
        said = stored.said.get(origin, (Verdict.NOT_TESTED,)) if origin is not None else (None,)
        if result.verdict != said[0]:
            before = None if said[0] is None else Verdict(said[0])
            permitted = None if origin is None else held.was[origin].permitted
            yield Turn(
                check=result.check,
                value=result.value,
                uncertainty=result.uncertainty,
                before=before,
                after=result.verdict,
                permitted=permitted,
            )


def _dropped(held: Held, stored: Stored) -> Iterable[Turn]:
    """Yield what had not passed and is asked no more."""
    for check in held.dropped:
        was = stored.word(check.id)
        if was is not None and was.verdict is not Verdict.PASS:
            yield Turn(
                check=check,
                value=was.value,
                uncertainty=was.uncertainty,
                before=was.verdict,
                after=None,
                permitted=check.permitted,
            )
