"""What parts of a board have in common: who has them, what they prove, what is permitted."""

import math
from typing import Annotated, Any, Generic, Self, TypeVar

from pydantic import AfterValidator, Field, ModelWrapValidatorHandler, model_validator

from benchtest.documents.section import Section
from benchtest.quantities import Ohms, Ratio, Seconds

Quantity = TypeVar("Quantity")


Requirement = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._/:-]{0,39}$")]
"""What a requirement is called where it is written down: letters, digits and . _ / : - without blanks."""


class Fitted(Section):
    """Something that only some variants or options have."""

    variant: str | None = None
    """Fitted in this variant only; in every variant when absent."""
    option: str | None = None
    """Fitted with this option only."""
    requirement: tuple[Requirement, ...] = ()
    """What every check of it is evidence of."""


def on_one_board(*variants: str | None) -> bool:
    """Return whether one board may have things of all these variants; None is in every variant."""
    return len({*variants} - {None}) < 2


Text = Annotated[str, Field(min_length=1, max_length=200)]


class Limits(Section, Generic[Quantity]):
    """Permitted interval; the limits themselves are permitted, an absent one does not limit."""

    min: Quantity | None = None
    """Lowest permitted value."""
    max: Quantity | None = None
    """Highest permitted value."""
    requirement: tuple[Requirement, ...] = ()
    """What a check against these limits is evidence of."""

    @model_validator(mode="wrap")
    @classmethod
    def _in_order(cls, written: Any, read: ModelWrapValidatorHandler[Self]) -> Self:
        limits = read(written)
        if limits.min is None and limits.max is None:
            raise ValueError("neither min nor max is given (give at least one)")
        if limits.low > limits.high:
            low, high = (written[key] if isinstance(written, dict) else getattr(limits, key) for key in ("min", "max"))
            raise ValueError(f"lower limit {low} lies above upper limit {high} (swap min and max)")
        return limits

    @property
    def low(self) -> float:
        """Lower limit in SI units, -inf when there is none."""
        return -math.inf if self.min is None else float(self.min)  # type: ignore[arg-type]

    @property
    def high(self) -> float:
        """Upper limit in SI units, inf when there is none."""
        return math.inf if self.max is None else float(self.max)  # type: ignore[arg-type]


def _ends(limits: Limits[float]) -> Limits[float]:
    if not 0 < limits.high < math.inf:
        given = "no max is given" if limits.max is None else "max is not above 0 s"
        raise ValueError(f"{given}, and nobody would know how long to wait (give a max, such as 80 ms)")
    return limits


def _lasts(seconds: float) -> float:
    if seconds <= 0:
        raise ValueError(f"{seconds:g} s is no time (give more than 0 s)")
    return seconds


def _negative(limits: Limits[float]) -> str:
    """Return which limit lies below zero, `min` or `max`; nothing where neither does."""
    return next((word for word, value in (("min", limits.min), ("max", limits.max)) if value and value < 0), "")


def _ohms(limits: Limits[float]) -> Limits[float]:
    if word := _negative(limits):
        raise ValueError(f"{word} lies below 0 ohm, and no resistance does (give 0 ohm or more)")
    return limits


def _of_the_test_voltage(limits: Limits[float]) -> Limits[float]:
    if word := _negative(limits):
        raise ValueError(f"{word} lies below 0 %, and no share does (give 0 % or more)")
    if limits.low > 1:
        raise ValueError("min lies above 100 %, and no open contact shows more than the test voltage (give less)")
    return limits


Waited = Annotated[Limits[Seconds], AfterValidator(_ends)]
"""A time that the bench waits for, at most so long."""
OhmLimits = Annotated[Limits[Ohms], AfterValidator(_ohms)]
"""Limits of a resistance, which is never negative."""
OpenLimits = Annotated[Limits[Ratio], AfterValidator(_of_the_test_voltage)]
"""Limits of what stands across an open contact, as share of the test voltage."""
Lasting = Annotated[Seconds, AfterValidator(_lasts)]
"""How long something lasts: longer than no time at all."""
