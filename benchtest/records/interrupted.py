"""A run that was not carried to its end, read back from its journal: what was asked, what was seen until then.

Source of everything is the journal, whose chain is checked, and the files whose digests it carries. Of a reading that
was taken twice the later one counts; a step counts as performed when it was judged and not begun anew.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from benchtest.canonical import wrong
from benchtest.perform import Kept
from benchtest.procedure import Procedure, Set, Timing
from benchtest.readings import Evidence, Origin, Readings
from benchtest.records.evidence import from_fields, load_recorded
from benchtest.records.folder import read_procedure
from benchtest.records.journal import JournalEntry, read_journal

CUT_OFF: Final = "it was cut off"
FINISHED: Final = frozenset({"pass", "fail", "inconclusive"})


@dataclass(frozen=True, kw_only=True, slots=True)
class Interrupted:
    """What a journal tells of its run."""

    folder: Path
    begun: Mapping[str, Any]
    """Facts of the journal's first line."""
    procedure: Procedure
    readings: Readings
    steps: Mapping[str, str]
    """Steps that were performed and judged → when, RFC 3339."""
    recordings: Mapping[str, str]
    """File → SHA-256."""
    people: tuple[str, ...]
    """Who has worked the bench by hand until then, as far as the journal names them."""
    outcome: str
    """How the run ended last; empty when it was cut off."""
    reason: str

    def kept(self) -> dict[str, Kept]:
        """Return the steps that need not be performed again: all that were, but those that bring the board up."""
        kept = {}
        for step in self.procedure.steps:
            if step.id in self.steps and not step.brings_up:
                names = [move.name for move in step.moves if not isinstance(move, Set)]
                evidence = {name: self.readings.evidence[name] for name in names if name in self.readings.evidence}
                kept[step.id] = Kept(evidence=evidence, when=self.steps[step.id])
        return kept


@dataclass(slots=True)
class _Found:
    evidence: dict[str, Evidence] = field(default_factory=dict)
    steps: dict[str, str] = field(default_factory=dict)
    recordings: dict[str, str] = field(default_factory=dict)
    people: list[str] = field(default_factory=list)
    origin: Origin = Origin.SIMULATED
    """The least real until the journal says better."""
    outcome: str = ""
    reason: str = CUT_OFF
    timing: Timing | None = None
    """As the bench measured it; None where it did not."""


def read_interrupted(folder: Path) -> Interrupted:
    """Return what the journal in `folder` tells. Raises DocumentError when something there is not whole."""
    path = folder / "journal.jsonl"
    entries = read_journal(path).entries
    if not entries or "procedure" not in entries[0].facts:
        raise wrong(path, "does not say what was asked of the board", hint="it is of an older version, or empty")
    try:
        found = _found(folder, entries)
    except (KeyError, ValueError, TypeError) as cause:
        raise wrong(path, "has a line that is not of this program") from cause
    begun = entries[0].facts
    procedure = read_procedure(folder, begun["procedure"])
    return Interrupted(
        folder=folder,
        begun=begun,
        procedure=replace(procedure, timing=found.timing or procedure.timing),
        readings=Readings(origin=found.origin, evidence=found.evidence),
        steps=found.steps,
        recordings=found.recordings,
        people=tuple(found.people),
        outcome=found.outcome,
        reason=found.reason,
    )


def _found(folder: Path, entries: Iterable[JournalEntry]) -> _Found:
    found, recorded = _Found(), dict[str, str]()
    for entry in entries:
        facts = entry.facts
        match entry.kind:
            case "opened":
                found.origin = Origin(facts["origin"])
                found.people += [who] if (who := facts.get("person")) else []
            case "begins" | "resumes":
                found.outcome, found.reason = "", CUT_OFF
            case "step begins":
                found.steps.pop(facts["step"], None)
            case "step judged":
                found.steps[facts["step"]] = facts["time"]
            case "read":
                found.evidence[facts["evidence"]] = from_fields(facts["fields"])
            case "recorded":
                recorded[facts["evidence"]] = facts["file"]  # the last of its name is the one that lies there
                found.recordings[facts["file"]] = facts["digest"]
            case "bench checked":
                found.timing = Timing(**facts["timing"])
            case "ended":
                found.outcome, found.reason = facts["outcome"], facts["reason"]
    found.evidence |= {name: load_recorded(folder, file, found.recordings[file]) for name, file in recorded.items()}
    return found
