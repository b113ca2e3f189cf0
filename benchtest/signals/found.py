"""What an analysis brings back: a value with its doubt, a count with its bounds, or the reason why there is none.

A record often cannot decide what is asked: it begins too late, ends too early, was clipped. That is a fact about the
record and is handed back as data. Nobody downstream can take an undecided value for a number by mistake: it is None.
"""

import math
from dataclasses import dataclass
from typing import Self


@dataclass(frozen=True, kw_only=True, slots=True)
class Found:
    """A number read from a record, or the reason why it could not be read."""

    value: float | None
    """In the SI unit of what was asked; None when undecided."""
    doubt: float = 0.0
    """Full width of the interval in which it lies, as far as sampling and stamping make one; same unit."""
    reason: str = ""
    """Why there is no value; empty when there is one."""

    def __post_init__(self) -> None:
        if (self.value is None) != bool(self.reason):
            raise ValueError(f"a value or a reason, not both or neither (value {self.value!r}, reason {self.reason!r})")
        if self.value is not None and not (math.isfinite(self.value) and self.doubt >= 0):
            raise ValueError(f"{self.value!r} with a doubt of {self.doubt!r} is no finding (expected finite numbers)")

    @classmethod
    def known(cls, value: float, doubt: float = 0.0) -> Self:
        """Return a value."""
        return cls(value=float(value), doubt=float(doubt))

    @classmethod
    def unknown(cls, reason: str) -> Self:
        """Return a reason."""
        return cls(value=None, reason=reason)

    def since(self, other: "Found") -> "Found":
        """Return the difference to an earlier finding; undecided when one of them is, with its reason."""
        if self.value is None:
            return self
        if other.value is None:
            return other
        return Found.known(self.value - other.value, self.doubt + other.doubt)


@dataclass(frozen=True, kw_only=True, slots=True)
class Count:
    """How often something happened, as far as the record can tell."""

    least: int
    """Seen for certain."""
    most: int | None
    """Possible; None when the record excludes no further ones."""
    reason: str = ""
    """Why `least` and `most` differ; empty when they do not."""

    @property
    def exact(self) -> bool:
        """Both bounds are the same."""
        return self.least == self.most
