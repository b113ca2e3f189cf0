"""What can go wrong, sorted by who has to act.

    BenchtestError
     ├── DocumentError     a profile, harness or fixture file is wrong      -> its author
     ├── CaptureError      a recording from elsewhere cannot be read as it is -> who hands it in
     ├── StudyError        what was read does not allow the study that is asked of it -> who planned it
     ├── PlanError         this bench cannot do what the profile asks       -> the fixture's author
     ├── Aborted           stopped by a person, a signal or a trip          -> the operator
     │    └── Paused           a person left, and may go on later
     ├── WrongMove         a case in the depot is not where that step begins -> whoever asked: the right one is named
     ├── NotKept           the run cannot be written down                   -> the operator: room on the disk
     ├── RecordsError      the records database cannot be used as it is     -> who looks after it; no run is lost
     └── RigError          the bench is wrong; the board is not judged      -> the operator: cable, power, driver
          ├── AdapterMissing   gone, or never there
          ├── AdapterSilent    no whole answer within the deadline (also a TimeoutError)
          ├── AdapterGarbled   an answer that is not in the protocol
          ├── AdapterRefused   the adapter reports an error of its own
          ├── RigInUse         another program holds one of its ports
          └── LinkLost         the CAN or serial link to the board is dead on our side

A board that fails is not an error. It is a result.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar


class BenchtestError(Exception):
    """Base of everything that ends a command with a sentence instead of a traceback."""

    exit_code: ClassVar[int] = 5


@dataclass(frozen=True, kw_only=True, slots=True)
class Problem:
    """One thing wrong in a document, with its place and what to try."""

    file: Path
    line: int
    """From 1; 0 when the file as a whole is meant."""
    column: int
    where: str
    """Dotted path of the key, such as `relays.K3.limits.operate`."""
    message: str
    """What was found and what was expected."""
    hint: str = ""
    """What to try; empty when the message says it all."""

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}" if self.line else str(self.file)
        hint = f" ({self.hint})" if self.hint else ""
        where = f"{self.where}: " if self.where else ""
        return f"{place}: {where}{self.message}{hint}"


class DocumentError(BenchtestError):
    """One or more documents have problems; all of them are listed."""

    exit_code = 4

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = tuple(sorted(problems, key=lambda p: (str(p.file), p.line, p.column)))
        super().__init__("\n".join(str(problem) for problem in self.problems))


class CaptureError(BenchtestError):
    """A file that somebody else recorded cannot be read as it is, or could be read in two ways."""

    exit_code = 4

    def __init__(self, file: Path, found: str, *, place: str = "", expected: str = "", hint: str = "") -> None:
        self.file = file
        self.place = place
        where = f"{file}: {place}" if place else str(file)
        wanted = f", expected {expected}" if expected else ""
        super().__init__(f"{where}: {found}{wanted}" + (f" ({hint})" if hint else ""))


class StudyError(BenchtestError):
    """The readings do not allow the study that is asked of them: what is missing, and what to try."""

    exit_code = 4


class PlanError(BenchtestError):
    """The fixture cannot do what the profile asks; every reason is listed."""

    exit_code = 4

    def __init__(self, reasons: list[str]) -> None:
        self.reasons = tuple(reasons)
        super().__init__("\n".join(reasons))


class Aborted(BenchtestError):
    """The run was stopped by a person, a signal or a trip."""

    exit_code = 6


class Paused(Aborted):
    """A person left, or nobody answers any more; the run can be taken up again."""


class WrongMove(BenchtestError):
    """A case in the depot cannot be moved so from where it stands; what can be done instead is said."""

    exit_code = 2


class NotKept(BenchtestError):
    """The evidence of a run cannot be written down; what is not kept is not judged."""

    exit_code = 5


class RecordsError(BenchtestError):
    """The records database cannot be used as it is. No run is lost by that: its folder is the truth."""

    exit_code = 4


class RigError(BenchtestError):
    """The bench is wrong: nothing said here may be blamed on the board."""

    exit_code = 5


class AdapterMissing(RigError):
    """The adapter is gone, or was never there."""


class AdapterSilent(RigError, TimeoutError):
    """No whole answer came within the deadline."""


class AdapterGarbled(RigError):
    """An answer came that is not in the protocol."""


class AdapterRefused(RigError):
    """The adapter understood and reports an error of its own."""


class RigInUse(RigError):
    """Another program holds one of the rig's ports."""


class LinkLost(RigError):
    """The link to the board is dead on our side of it."""
