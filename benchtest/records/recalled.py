"""A run folder as something that can be replayed: finished or not, everything in it checked against its digests."""

from pathlib import Path

from benchtest.adapters.replay import Recalled
from benchtest.records.evidence import load_readings
from benchtest.records.folder import read_run
from benchtest.records.interrupted import read_interrupted
from benchtest.records.journal import read_journal
from benchtest.results import Outcome, Run

CARRIED_OUT = frozenset({Outcome.PASS, Outcome.FAIL, Outcome.INCONCLUSIVE})


def recall(folder: Path) -> tuple[Recalled, Run | None]:
    """Return a recorded run for driver `replay`, and its run file when it has one.

    A run that was cut off is read from its journal. Raises DocumentError when something in the folder was changed.
    """
    if not (folder / "run.json").is_file() and (folder / "journal.jsonl").is_file():
        found = read_interrupted(folder)
        cut_off = Recalled(
            name=folder.name,
            serial=found.begun["serial"],
            procedure=found.procedure,
            readings=found.readings,
            ended=found.reason,
        )
        return cut_off, None
    run = read_run(folder)
    read_journal(folder / "journal.jsonl")
    readings = load_readings(folder, run)
    ended = "" if run.outcome in CARRIED_OUT else run.reason
    serial, procedure = run.job.serial, run.procedure
    return Recalled(name=run.number, serial=serial, procedure=procedure, readings=readings, ended=ended), run
