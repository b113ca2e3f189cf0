"""What can be said of a case, one frozen value each: an *entry* is one of these with who said it and when.

An entry is one line of a file (`folder`): canonical JSON that carries the digest of the line before it. What is
personal (who the customer is, their words, photos) is not in it; only a commitment to it is (`personal`).
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from functools import cache
from typing import Any, Final, Literal, TypeAlias

from pydantic import TypeAdapter

from benchtest.canonical import digest, from_canonical, to_canonical
from benchtest.depot.complaints import Complaint
from benchtest.results import Outcome

FORMAT: Final = "benchtest-depot/1"
BEGINNING: Final = "0" * 64
"""What the first line of a case carries as the digest of the line before it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Intake:
    """A board came in. Personal things are only committed to; their text lies elsewhere."""

    part: str
    """Part number of the board, as its profile has it."""
    serial: str
    """As found on the board's label."""
    serial_stated: str = ""
    """As the customer's papers have it; empty when they do not say."""
    revision: str = ""
    variant: str = ""
    """As found."""
    straps: str = ""
    """As found."""
    condition: str = ""
    complaint: Complaint = Complaint.NOT_STATED
    rma: str = ""
    """The customer's return authorisation."""
    cost_limit: int | None = None
    """Hundredths of the depot's currency; None when nobody set one."""
    sealed: Mapping[str, str] = field(default_factory=dict)
    """Personal field → salted SHA-256."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Triaged:
    """Somebody looked at the board and its history, and it shall be tested."""

    note: str = ""
    hazard: str = ""
    """Contamination or other danger to whoever handles it; empty for none seen."""
    warranty: bool = False
    estimate: int | None = None
    """Hundredths of the currency."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Tested:
    """A run was made under this work order and judged the board."""

    phase: Literal["as found", "as left"]
    run: str
    """Its number."""
    folder: str
    """Name of its folder."""
    run_digest: str
    """SHA-256 of its run file."""
    profile: str
    """File name."""
    profile_digest: str
    outcome: Outcome
    origin: str

    def __post_init__(self) -> None:
        if self.outcome in {Outcome.BENCH_FAULT, Outcome.ABORTED}:
            raise ValueError(f"a run that ended as {self.outcome} judged no board")


@dataclass(frozen=True, kw_only=True, slots=True)
class Repaired:
    """Something was done to the board."""

    what: str
    part: str = ""
    """Which part of the board, such as K3; empty when none was touched."""
    replaced: bool = False
    lot: str = ""
    """Lot or date code of the new part."""
    fault: str = ""
    """What had been wrong, as `benchtest faults` writes it: `K3 contact welded`."""
    minutes: int = 0
    cost: int = 0
    """Hundredths of the currency, labour and parts."""

    def __post_init__(self) -> None:
        if self.minutes < 0 or self.cost < 0:
            raise ValueError(f"a repair of {self.minutes} min for {self.cost} hundredths (neither can be negative)")


@dataclass(frozen=True, kw_only=True, slots=True)
class LimitSet:
    """The customer agreed to another cost limit."""

    limit: int
    reference: str
    """Where that is written: number of an order or a letter."""


@dataclass(frozen=True, kw_only=True, slots=True)
class BeyondRepair:
    """The board is not worth repairing, or cannot be."""

    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Released:
    """A second person looked at it all and lets the board go."""

    straps: str = ""
    """As left."""
    note: str = ""
    alone: str = ""
    """Why the same person released who had tested or repaired; empty when it was another."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Reopened:
    """A release is taken back before the board has gone."""

    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Returned:
    """The board left for its owner."""

    way: str = ""
    """Carrier and consignment."""
    note: str = ""
    """What the site should know: `look at the load on K3`."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Scrapped:
    """The board was disposed of."""

    reference: str
    """Where the owner's consent is written."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Erased:
    """Personal data was taken out."""

    fields: tuple[str, ...]
    reason: str
    papers: Mapping[str, str] = field(default_factory=dict)
    """Deleted copy of a certificate or report → its SHA-256, so that the customer's own copy can still be told."""


Fact: TypeAlias = (
    Intake
    | Triaged
    | Tested
    | Repaired
    | LimitSet
    | BeyondRepair
    | Released
    | Reopened
    | Returned
    | Scrapped
    | Erased
)  # fmt: skip

KINDS: Final[Mapping[str, type[Fact]]] = {
    "intake": Intake,
    "triaged": Triaged,
    "tested": Tested,
    "repaired": Repaired,
    "limit set": LimitSet,
    "beyond repair": BeyondRepair,
    "released": Released,
    "reopened": Reopened,
    "returned": Returned,
    "scrapped": Scrapped,
    "erased": Erased,
}
_NAMES: Final = {kind: name for name, kind in KINDS.items()}


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """One line of a case."""

    work_order: str
    number: int
    """From 1."""
    at: str
    """RFC 3339 with offset, as the clock of that computer had it."""
    by: str
    """Who says so."""
    fact: Fact
    previous: str
    """Digest of the line before this one."""

    @property
    def kind(self) -> str:
        """What kind of entry it is, in a word or two."""
        return _NAMES[type(self.fact)]

    @property
    def moment(self) -> datetime:
        """When it was made."""
        return datetime.fromisoformat(self.at)

    def line(self) -> bytes:
        """Return the line, without its end."""
        plain = {"format": FORMAT, "work_order": self.work_order, "number": self.number, "at": self.at, "by": self.by}
        return to_canonical({**plain, "kind": self.kind, "facts": asdict(self.fact), "previous": self.previous})

    @property
    def digest(self) -> str:
        """SHA-256 of its line, hexadecimal."""
        return digest(self.line())


def read_entry(line: bytes) -> Entry:
    """Return the entry of a line. Raises ValueError when it is none, or not spelled as `Entry.line` spells it."""
    try:
        found = from_canonical(line)
        if found["format"] != FORMAT:
            raise ValueError(f"format {found['format']!r} is unknown (this version reads {FORMAT})")
        fact = _adapter(found["kind"]).validate_python(found["facts"])
        entry = Entry(fact=fact, **{name: found[name] for name in ("work_order", "number", "at", "by", "previous")})
        assert isinstance(entry.moment, datetime)
        same = entry.line() == line
    except (KeyError, TypeError, AttributeError) as cause:
        raise ValueError("it is no entry of a case") from cause
    if not same:
        raise ValueError("it is not spelled as an entry is")
    return entry


@cache
def _adapter(kind: str) -> "TypeAdapter[Any]":
    return TypeAdapter(KINDS[kind])
