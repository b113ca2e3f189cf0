"""The whole profile: what a good board is, and in which order to prove it."""

from typing import Annotated, Literal, Self

from pydantic import Field, StrictBool, model_validator

from benchtest.documents.section import Section
from benchtest.profile.board import Code, Connector, Identity, Input, Interlock, Lamp, Rail, Relay, RelayLimits, Supply
from benchtest.profile.link import CanLink
from benchtest.profile.permitted import Text
from benchtest.profile.script import Step
from benchtest.profile.serial_link import BytesLink, TextLink
from benchtest.quantities import Ratio

Named = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_ -]{0,39}$")]
"""A name that the document gives: a letter, then letters, digits, _, - and spaces."""


class Decision(Section):
    """How a value and its uncertainty become a word (ILAC-G8:09/2019, 4.2)."""

    rule: Literal["simple acceptance", "guarded acceptance", "non-binary"] = "non-binary"
    """`non-binary`: pass, conditional pass, conditional fail, fail. `guarded acceptance`: pass inside by w or more,
    else fail. `simple acceptance`: pass inside the limits, else fail."""
    guard: Annotated[float, Field(ge=0, le=3)] = 1.0
    """Guard band as multiple r of the expanded uncertainty: w = r·U; there is none under simple acceptance."""
    accept_conditional: StrictBool = False
    """Whether a run with conditional passes still counts as passed (the certificate then says so)."""
    coverage: Ratio = 0.9545
    """Coverage probability of U; 95.45 % is k = 2 for a normal distribution."""
    accept_unresolved: dict[Annotated[str, Field(min_length=1, max_length=200)], Text] = {}
    """Check, such as `exercise.K3.operate-time` or `exercise.*.operate-time` → why its limit is accepted although the
    bench's uncertainty is more than a quarter of the tolerance (the certificate then says so)."""

    @model_validator(mode="after")
    def _agrees_with_itself(self) -> Self:
        if not 0.5 <= self.coverage < 1:
            raise ValueError(f"a coverage probability of {self.coverage:.4%} (give one such as 95.45 %)")
        if self.rule == "simple acceptance" and "guard" in self.model_fields_set and self.guard:
            raise ValueError("simple acceptance has no guard band (delete 'guard', or name another rule)")
        if self.rule != "non-binary" and self.accept_conditional:
            raise ValueError(f"{self.rule} knows no conditional pass to accept (delete 'accept_conditional')")
        return self


class Profile(Section):
    """A profile as written, for every variant and option."""

    format: Literal["benchtest-profile/1"]
    board: Identity
    """Which board this is."""
    version: Annotated[str, Field(min_length=1, max_length=40)] | None = None
    """As its author counts; the certificate names it beside the digest."""
    release: Literal["one person", "second person"] = "one person"
    """Whether somebody else than the tester has to release the board."""
    variants: dict[Named, Text] = {}
    """Variant → description; the user chooses one where there are several."""
    options: dict[Named, Text] = {}
    """Option → description; absent unless the user names it."""
    decision: Decision = Decision()
    """How a value near a limit is decided."""
    connectors: dict[Annotated[str, Field(pattern=r"^[A-Z][A-Z0-9]*$")], Connector]
    """Connectors by their marking on the board."""
    supplies: Annotated[dict[Named, Supply], Field(min_length=1)]
    """Supplies by name; the first d.c. one feeds program and coils."""
    rails: dict[Named, Rail] = {}
    """Voltages that the board makes for itself, by name."""
    inputs: dict[Named, Input] = {}
    """What the board reads, by name: levels, dry contacts, probes."""
    relay_limits: RelayLimits = RelayLimits()
    """Limits of every relay that has none of its own."""
    relays: dict[Named, Relay]
    """Relays by their marking on the board."""
    lamps: dict[Named, Lamp] = {}
    """Lamps by their marking on the board."""
    codes: dict[Named, Code] = {}
    """Rhythms of the lamps that flash, by name."""
    interlocks: dict[Named, Interlock] = {}
    """What must be so before a relay may energise, by name."""
    link: Annotated[CanLink | BytesLink | TextLink, Field(discriminator="kind")] | None = None
    """What the board and its controller say to each other."""
    steps: Annotated[tuple[Step, ...], Field(min_length=1)]
    """What is done with the board, in this order."""

    def locks(self, relay: str) -> list[Interlock]:
        """Return the interlocks that hold a relay."""
        return [lock for lock in self.interlocks.values() if lock.relay == relay]

    @property
    def feeding(self) -> str:
        """Name of the supply that feeds program and coils: the first d.c. one."""
        return next(name for name, supply in self.supplies.items() if supply.kind == "dc")
