"""What studies and diagnoses are tried on: the shipped boards as subjects, and trials of them."""

from functools import cache
from pathlib import Path

from benchtest.cli.documents import prepare
from benchtest.diagnose.library import Library
from benchtest.diagnose.symptoms import IN_ORDER
from benchtest.studies.known import subject_of
from benchtest.studies.signatures import learned
from benchtest.studies.trial import Subject, Tried
from benchtest.studies.trials import all_trials, carry_out

ROOT = Path(__file__).parents[2]


@cache
def carwash() -> Subject:
    """The small board: few parts, no link."""
    return subject_of(prepare(ROOT / "profiles/carwash.yaml", ROOT / "fixtures/simulated.yaml", None, ()))


@cache
def greenhouse() -> Subject:
    """The large board with everything fitted."""
    profile, fixture = ROOT / "profiles/greenhouse.yaml", ROOT / "fixtures/simulated.yaml"
    return subject_of(prepare(profile, fixture, "two-bay", ("dosing",)))


@cache
def tried() -> list[Tried]:
    """Good boards of the car wash, and two with every fault."""
    return carry_out(carwash(), all_trials(carwash(), good=20, boards=2, base=1))


@cache
def library() -> Library:
    """What every fault of the car wash looks like."""
    return learned(carwash(), tried())


def words(one: Tried, known: Library) -> dict[str, str]:
    """Return the word of every check that said something."""
    silent = set(one.untested)
    return {check.id: one.symptoms.get(check.id, IN_ORDER) for check in known.checks if check.id not in silent}
