"""What each fault looks like to one procedure: how often it gave each word in each check, counted over many boards.

A library is made by a study (`studies.signatures`) and is plain data here, so that a diagnosis leans on no simulator.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from benchtest.diagnose.symptoms import IN_ORDER
from benchtest.procedure import Check, Procedure

OFTEN: Final = 0.5
"""Share of a fault's boards that must show something for it to belong to what the fault looks like."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Signature:
    """One fault as the procedure sees it."""

    fault: str
    """As it is written: `K3 contact welded`."""
    sentence: str
    """In a technician's words."""
    repair: str
    kind: str
    subject: str
    prior: float
    boards: int
    """On how many it was seen."""
    words: Mapping[str, Mapping[str, int]]
    """Check → word → how many of the boards gave it; a check that was in order on all of them is left out."""
    reached: Mapping[str, int]
    """Check → on how many boards it was answered, where not on all."""
    values: Mapping[str, float | str | None]
    """Check → value that stands for its boards, where a check was not in order."""

    def looks(self) -> frozenset[tuple[str, str]]:
        """Return what most of its boards show."""
        return frozenset(
            (check, word) for check, words in self.words.items() for word, count in words.items()
            if count > OFTEN * self.boards
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, slots=True)
class Library:
    """All faults of one procedure."""

    checks: tuple[Check, ...]
    procedure: Procedure
    signatures: tuple[Signature, ...]
    usual: Mapping[str, float | str | None]
    """Check → value that stands for good boards."""

    def alike(self) -> Mapping[str, tuple[str, ...]]:
        """Return for each fault all faults that look the same, itself among them."""
        looks: dict[object, list[str]] = {}
        for one in self.signatures:
            looks.setdefault(one.looks() or one.fault, []).append(one.fault)
        return {text: tuple(group) for group in looks.values() for text in group}

    def without(self, kinds: Iterable[str]) -> "Library":
        """Return the library as if these kinds of fault were unknown."""
        unknown = set(kinds)
        kept = tuple(one for one in self.signatures if one.kind not in unknown)
        return Library(checks=self.checks, procedure=self.procedure, signatures=kept, usual=self.usual)


def majority(boards: Sequence[Mapping[str, str]]) -> frozenset[tuple[str, str]]:
    """Return the checks and words that more than half of the boards show."""
    counts = Counter((check, word) for words in boards for check, word in words.items() if word != IN_ORDER)
    return frozenset(shown for shown, count in counts.items() if count > OFTEN * len(boards))
