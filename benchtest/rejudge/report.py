"""What a new profile would have meant for many runs, summed up for people and for machines."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from benchtest.procedure import Interval
from benchtest.profile import LoadedProfile
from benchtest.rejudge.judging import Rejudged, Turn

FORMAT: Final = "benchtest-rejudgement/1"


@dataclass(frozen=True, kw_only=True, slots=True)
class Report:
    """All runs under one new profile."""

    loaded: LoadedProfile
    runs: tuple[Rejudged, ...]

    @property
    def judged(self) -> Sequence[Rejudged]:
        return [run for run in self.runs if run.after is not None]

    @property
    def changed(self) -> Sequence[Rejudged]:
        """Runs whose outcome would be another."""
        return [run for run in self.runs if run.changed]

    @property
    def reworded(self) -> Sequence[Rejudged]:
        """Runs that would keep their outcome, with another word on single readings."""
        return [run for run in self.judged if not run.changed and run.turns]

    @property
    def left(self) -> Sequence[Rejudged]:
        """Runs that could not be judged again."""
        return [run for run in self.runs if run.after is None]

    @property
    def ways(self) -> Counter[str]:
        """How many runs were judged in which way."""
        return Counter(run.way for run in self.judged if run.way is not None)

    def sentence(self) -> str:
        """Return the sum in one sentence."""
        count, total = len(self.changed), len(self.judged)
        certificates = "certificate" if total == 1 else "certificates"
        follows = ", list follows" if count else ""
        return f"{count} of {total} {certificates} would change{follows}"

    def as_json(self) -> dict[str, Any]:
        """Return everything for machines; the format keeps its shape."""
        return {
            "format": FORMAT,
            "profile": str(self.loaded.path),
            "profile_digest": self.loaded.digest,
            "judged": len(self.judged),
            "would_change": len(self.changed),
            "other_words_only": len(self.reworded),
            "not_judged": len(self.left),
            "ways": dict(sorted(self.ways.items())),
            "changes": [_run(run) for run in self.judged if run.changed or run.turns],
            "left": [{"folder": str(run.folder), "serial": run.serial, "reason": run.reason} for run in self.left],
        }


def _run(run: Rejudged) -> dict[str, Any]:
    return {
        "folder": str(run.folder),
        "serial": run.serial,
        "started": run.started,
        "before": run.before,
        "after": run.after,
        "reason": run.reason,
        "way": run.way,
        "checks": [_turn(turn) for turn in run.turns],
    }


def _turn(turn: Turn) -> dict[str, Any]:
    return {
        "id": turn.check.id,
        "title": turn.check.title,
        "unit": turn.check.unit,
        "value": _finite(turn.value),
        "uncertainty": _finite(turn.uncertainty),
        "before": turn.before,
        "after": turn.after,
        "permitted_before": _permitted(turn.permitted),
        "permitted_after": None if turn.after is None else _permitted(turn.check.permitted),
        "place": turn.check.place,
    }


def _permitted(permitted: Interval | str | None) -> object:
    return {"low": permitted.low, "high": permitted.high} if isinstance(permitted, Interval) else permitted


def _finite(value: float | str | None) -> float | str | None:
    """Return a number that JSON has, or its word."""
    return value if not isinstance(value, float) or abs(value) < float("inf") else str(value)
