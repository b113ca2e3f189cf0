"""The other runs of a board that lie in the same folder: attempts before this one, and the one as it was found.

Whatever became of an attempt is told: one that was cut off left only its journal, one that cannot be read only its
name. A journal's first and last lines are enough for the list, so that a board that was here often costs no time; the
run as found is read whole.
"""

import json
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from benchtest.canonical import digest, read_whole
from benchtest.errors import PlanError
from benchtest.records.folder import all_folders_of, read_run
from benchtest.results import Attempt, Before, Was

LISTED: Final = 12
"""Attempts that are listed, the latest; those before them are counted."""
_KINDS: Final = ('"kind":"begins"', '"kind":"opened"', '"kind":"ended"')


def attempts(root: Path, *, part: str, serial: str, but: Path) -> tuple[tuple[Attempt, ...], int]:
    """Return the attempts at a board below `root` except the one in `but`, oldest first, and how many lie before."""
    folders = [folder for folder in all_folders_of(root, part=part, serial=serial) if folder != but]
    found = [one for folder in folders[-LISTED:] if (one := _attempt(folder, serial)) is not None]
    return tuple(found), max(0, len(folders) - LISTED)


def _attempt(folder: Path, serial: str) -> Attempt | None:
    """Return one attempt; None where it was of a board whose serial number is only spelled alike in a path."""
    try:
        entries = {entry["kind"]: entry["facts"] for entry in _entries(folder / "journal.jsonl")}
        begun = entries["begins"]
        if begun["serial"] != serial:
            return None
        return Attempt(
            folder=folder.name,
            started=str(begun["started"]),
            outcome=str(entries["ended"]["outcome"]) if "ended" in entries else "cut off",
            phase=str(begun.get("job", {}).get("phase") or ""),
            origin=str(entries.get("opened", {}).get("origin", "")),
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return Attempt(folder=folder.name, started="", outcome="unreadable")


def _entries(journal: Path) -> Iterator[dict[str, Any]]:
    with journal.open(encoding="utf-8") as lines:
        yield from (json.loads(line) for line in lines if any(kind in line for kind in _KINDS))


def as_found(folder: Path, *, part: str, serial: str) -> Before:
    """Return the run of a board before its repair.

    Raises DocumentError when it cannot be read, PlanError when it is of another board or was itself after a repair.
    """
    run = read_run(folder)
    if (run.procedure.part, run.job.serial) != (part, serial):
        other = f"{run.procedure.part} {run.job.serial}"
        raise PlanError([f"{folder}: that run is of board {other}, not of {part} {serial} (name the run as found)"])
    if run.job.phase == "as left":
        raise PlanError([f"{folder}: that run is of the board as left (name the run as found, before the repair)"])
    return Before(
        number=run.number,
        id=run.id,
        digest=digest(read_whole(folder / "run.json")),
        ended=run.ended,
        outcome=run.outcome,
        reason=run.reason,
        origin=run.origin,
        job=run.job,
        variant=run.procedure.variant,
        options=run.procedure.options,
        results={
            one.check.id: Was(
                title=one.check.title,
                value=one.value,
                uncertainty=one.uncertainty,
                unit=one.check.unit,
                verdict=one.verdict,
            )
            for one in run.results
        },
    )


def out_of_order(before: Before | None, started: datetime) -> str:
    """Return what is to be remarked of a run that began before the run as found had ended; empty where all is well."""
    try:
        wrong = before is not None and started < datetime.fromisoformat(before.ended)
    except (ValueError, TypeError):  # a day that cannot be read, or one without its offset
        return ""
    return f"dated before its run as found ({before.number}) had ended: a clock was wrong" if before and wrong else ""
