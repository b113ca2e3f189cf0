"""What the trials of earlier studies tell at once about a board on a bench: nothing is tried out here."""

from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import Final

from benchtest.diagnose.library import Library
from benchtest.diagnose.next_check import next_check
from benchtest.diagnose.suspects import diagnose
from benchtest.diagnose.symptoms import symptoms
from benchtest.errors import PlanError
from benchtest.fixture.adapter import WholeAdapter
from benchtest.fixture.wiring import adapters_of
from benchtest.prepared import Prepared
from benchtest.results import Result, Suspected
from benchtest.studies.signatures import learned
from benchtest.studies.trial import Subject
from benchtest.studies.trials import stock, to_learn_from

SHOWN: Final = 5
"""Suspects that are shown; the others are less likely than all of them."""
LEAST: Final = 0.01
"""Probability below which a suspect is not shown."""
UNKNOWN: Final = "none of these: something that the library of faults does not know"


def unlike_any(prepared: Prepared) -> list[str]:
    """Return the drivers of a bench that no simulated one stands in for: those of a person and of a record."""
    fixture, harness = prepared.fixture.fixture, prepared.harness
    drivers = {fixture.adapters[name].driver for name in adapters_of(fixture, harness)}
    return sorted(drivers & {"manual", "replay"})


def subject_of(prepared: Prepared) -> Subject:
    """Return what a study needs of a prepared run: its bench with the same wires, but simulated.

    Raises PlanError where a person or a record is the bench.
    """
    fixture, harness = prepared.fixture.fixture, prepared.harness
    if unlike := unlike_any(prepared):
        hint = "a study needs adapters that can be simulated"
        raise PlanError([f"{prepared.fixture.path}: a bench with driver {', '.join(unlike)} ({hint})"])
    twins = {name: WholeAdapter(driver="simulated") for name in fixture.adapters}
    return Subject(
        procedure=prepared.procedure,
        fitted=prepared.fitted,
        fixture=fixture.model_copy(update={"adapters": twins}),
        harness=harness,
    )


def home() -> Path:
    """Return where trials are kept when nobody says otherwise."""
    folders = import_module("platformdirs")
    return Path(folders.user_cache_dir("benchtest")) / "trials"


def library_if_there(prepared: Prepared, folder: Path) -> Library | None:
    """Return the same where everything was tried out before; None where it would take its time."""
    try:
        subject = subject_of(prepared)
    except PlanError:
        return None
    kept = stock(subject, folder)
    there = kept.load()
    if not there:
        return None
    names = [trial.name for trial in to_learn_from(subject)]
    return learned(subject, [there[name] for name in names]) if all(name in there for name in names) else None


def suspects_of(
    prepared: Prepared, results: Sequence[Result], own: Callable[[Library], Mapping[str, int]] | None = None
) -> tuple[tuple[Suspected, ...], tuple[str, ...]]:
    """Return the suspects for a run's record and what to measure next; none where no faults were tried out before.

    `own` counts the own repairs of such a board by the faults of a library.
    """
    library = library_if_there(prepared, home())
    if library is None:
        return (), ()
    said = symptoms(results)
    found = diagnose(said, library, None if own is None else own(library))
    advice = next_check(found, library, said)
    suspects = tuple(
        Suspected(
            faults=tuple(fault.fault for fault in suspect.faults),
            probability=round(suspect.probability, 4),
            sentence=suspect.faults[0].sentence if suspect.known else UNKNOWN,
            repair=suspect.faults[0].repair if suspect.known else "",
        )
        for suspect in found.suspects[:SHOWN]
        if suspect.probability >= LEAST
    )
    return suspects, () if advice is None else (advice.instruction, *(f"{e.fault}: {e.value}" for e in advice.expected))
