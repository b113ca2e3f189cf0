"""What a run folder says of its run without its recordings: the words, values and uncertainties that were decided.

Two sources, the quicker first. The journal has every word as it fell, in a chain that is checked here, and the digest
of the procedure, of which a store full of runs has few; a run that was taken up again has its later words last. The run
file has the same, and much more; it is read where the journal is missing or of an older format.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from benchtest.canonical import wrong
from benchtest.procedure import Procedure
from benchtest.records.folder import PROCEDURE, read_procedure, read_run
from benchtest.records.journal import JournalEntry, read_journal
from benchtest.results import Outcome, Run, Verdict

RUN_FILE: Final = "run.json"
JOURNAL: Final = "journal.jsonl"


@dataclass(frozen=True, kw_only=True, slots=True)
class Word:
    """What was decided of one check."""

    verdict: Verdict
    value: float | str | None
    uncertainty: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Stored:
    """A finished run as far as it is stored in words."""

    folder: Path
    serial: str
    started: str
    outcome: Outcome
    procedure: Procedure
    digest: str
    """Runs with the same one were asked the same; empty where the run file alone tells."""
    said: Mapping[str, Sequence[Any]]
    """By check: verdict, value, uncertainty; one that was not reached is not among them."""

    def word(self, check: str) -> Word | None:
        """Return what was decided of a check, None where it was not reached."""
        said = self.said.get(check)
        if said is None:
            return None
        verdict, value, uncertainty = said
        number = float(value) if isinstance(value, int) else value  # canonical JSON writes 5.0 as 5
        return Word(verdict=Verdict(verdict), value=number, uncertainty=uncertainty)


@dataclass(slots=True)
class Shelf:
    """Reads run folders one after the other and keeps the procedures that they share."""

    _procedures: dict[str, Procedure] = field(default_factory=dict)

    def read(self, folder: Path) -> Stored:
        """Return a run in words. Raises DocumentError with the reason why it cannot be had."""
        if not (folder / RUN_FILE).is_file():
            raise wrong(folder, f"was cut off before its {RUN_FILE} was written: the board was never judged")
        if (folder / JOURNAL).is_file():
            entries = read_journal(folder / JOURNAL).entries
            if entries and "procedure" in entries[0].facts and (folder / PROCEDURE).is_file():
                return self._from_journal(folder, entries)
        return from_run(folder, read_run(folder))

    def _from_journal(self, folder: Path, entries: tuple[JournalEntry, ...]) -> Stored:
        begun = entries[0].facts
        try:
            said: dict[str, Sequence[Any]] = {}
            ended: Mapping[str, Any] = {}
            for entry in entries:
                if entry.kind == "step judged":
                    said |= entry.facts["results"]
                elif entry.kind == "ended":
                    ended = entry.facts
            digest = begun["procedure"]
            if digest not in self._procedures:
                self._procedures[digest] = read_procedure(folder, digest)
            outcome = Outcome(ended["outcome"])
            return Stored(
                folder=folder,
                serial=begun["serial"],
                started=begun["started"],
                outcome=outcome,
                procedure=self._procedures[digest],
                digest=digest,
                said=said,
            )
        except (KeyError, ValueError, TypeError) as cause:
            raise wrong(folder / JOURNAL, "does not tell how the run ended, although there is a run file") from cause


def from_run(folder: Path, run: Run) -> Stored:
    """Return what a run file says in words."""
    said = {result.check.id: (result.verdict, result.value, result.uncertainty) for result in run.results}
    return Stored(
        folder=folder,
        serial=run.job.serial,
        started=run.started,
        outcome=run.outcome,
        procedure=run.procedure,
        digest="",
        said=said,
    )


def run_folders(places: tuple[Path, ...]) -> list[Path]:
    """Return every run folder among these places and below them, each once, in their order.

    Raises DocumentError for a place that is not there, or below which there is none.
    """
    found: dict[Path, None] = {}
    for place in places:
        inside = [place] if is_run(place) else sorted({path.parent for path in _traces(place)})
        if not inside:
            what = "there is no run folder in it" if place.is_dir() else "there is no such folder"
            raise wrong(place, what, hint=f"a run folder has a {RUN_FILE} or a {JOURNAL}")
        found |= dict.fromkeys(inside)
    return list(found)


def is_run(folder: Path) -> bool:
    """Return whether a folder is that of a run, finished or not."""
    return (folder / RUN_FILE).is_file() or (folder / JOURNAL).is_file()


def _traces(place: Path) -> list[Path]:
    return [path for name in (RUN_FILE, JOURNAL) for path in place.rglob(name)]
