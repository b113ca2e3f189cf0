"""One simulated board, put through a procedure in virtual time: what came of it, in few words.

No paper and no recordings are kept. The check of the bench is left out: the simulated one is in order.
"""

from dataclasses import dataclass
from typing import Any
from zlib import crc32

from benchtest.diagnose.symptoms import IN_ORDER, symptom
from benchtest.faults import parse
from benchtest.fixture.document import Fixture, Harness
from benchtest.perform import Watcher, perform
from benchtest.procedure import Procedure
from benchtest.profile.fitting import FittedProfile
from benchtest.results import Result
from benchtest.rig import Virtual, open_rig


@dataclass(frozen=True, kw_only=True, slots=True)
class Subject:
    """What is studied: a board's procedure on a simulated bench."""

    procedure: Procedure
    fitted: FittedProfile
    fixture: Fixture
    harness: Harness


@dataclass(frozen=True, kw_only=True, slots=True)
class Trial:
    """One board to be tried."""

    faults: tuple[str, ...]
    """As `faults.parse` reads them; none is a good board."""
    seed: int

    @property
    def name(self) -> str:
        """Tells it from all others."""
        return f"{' + '.join(self.faults) or 'good'} #{self.seed}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Tried:
    """What came of one trial."""

    trial: Trial
    outcome: str
    symptoms: dict[str, str]
    """Check → word, of every check that was not in order."""
    untested: tuple[str, ...]
    """Checks that were not reached, or that nobody could answer."""
    values: dict[str, float | str | None]
    """Check → value; of all checks where the board passed, else of those that were not in order."""

    def to_json(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "faults": list(self.trial.faults),
            "seed": self.trial.seed,
            "outcome": self.outcome,
            "symptoms": self.symptoms,
            "untested": list(self.untested),
            "values": self.values,
        }

    @classmethod
    def from_json(cls, found: dict[str, Any]) -> "Tried":
        """Return what `to_json` made plain; raise KeyError or TypeError for anything else."""
        trial = Trial(faults=tuple(found["faults"]), seed=int(found["seed"]))
        return cls(
            trial=trial,
            outcome=str(found["outcome"]),
            symptoms=dict(found["symptoms"]),
            untested=tuple(found["untested"]),
            values=dict(found["values"]),
        )


def seed_of(faults: tuple[str, ...], number: int, base: int) -> int:
    """Return the seed of the board with this number, the same wherever and whenever it is asked for."""
    return crc32(f"{' + '.join(faults)} {number} {base}".encode())


def try_one(subject: Subject, trial: Trial) -> Tried:
    """Put one board through the procedure; raise ValueError for a fault that it cannot have."""
    faults = tuple(parse(text, subject.fitted) for text in trial.faults)
    with open_rig(
        subject.procedure,
        subject.fitted,
        fixture=subject.fixture,
        harness=subject.harness,
        ports={},
        virtual=Virtual(seed=trial.seed, faults=faults),
    ) as rig:
        done = perform(subject.procedure, rig, Watcher())
    words = {result.check.id: symptom(result) for result in done.results}
    off = {check: word for check, word in words.items() if word not in {None, IN_ORDER}}
    kept = [result for result in done.results if not off or result.check.id in off]
    return Tried(
        trial=trial,
        outcome=done.outcome.value,
        symptoms={check: str(word) for check, word in off.items()},
        untested=tuple(check for check, word in words.items() if word is None),
        values={result.check.id: _plain(result) for result in kept},
    )


def _plain(result: Result) -> float | str | None:
    """Return the value to six digits, which is more than a study needs."""
    return float(f"{result.value:.6g}") if isinstance(result.value, float) else result.value
