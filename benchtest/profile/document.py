"""The whole profile: what a good board is, and in which order to prove it."""

from typing import Annotated, Literal

from pydantic import Field, StrictBool

from benchtest.profile.board import (
    CanLink,
    Code,
    Connector,
    Identity,
    Input,
    Interlock,
    Lamp,
    Part,
    Rail,
    Relay,
    RelayLimits,
    Supply,
    Text,
)
from benchtest.profile.script import Step

Named = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_ -]{0,39}$")]
"""A name that the document gives: a letter, then letters, digits, _, - and spaces."""


class Decision(Part):
    """How a value and its uncertainty become a word (ILAC-G8:09/2019, non-binary statement with guard band)."""

    guard: Annotated[float, Field(ge=0, le=3)] = 1.0
    """Guard band as multiple r of the expanded uncertainty: w = r·U."""
    accept_conditional: StrictBool = False
    """Whether a run with conditional passes still counts as passed (the certificate then says so)."""


class Profile(Part):
    """A profile as written, for every variant and option."""

    format: Literal["benchtest-profile/1"]
    board: Identity
    variants: dict[Named, Text] = {}
    """Variant → description; the user chooses one where there are several."""
    options: dict[Named, Text] = {}
    """Option → description; absent unless the user names it."""
    decision: Decision = Decision()
    connectors: dict[Annotated[str, Field(pattern=r"^[A-Z][A-Z0-9]*$")], Connector]
    supplies: Annotated[dict[Named, Supply], Field(min_length=1)]
    rails: dict[Named, Rail] = {}
    inputs: dict[Named, Input] = {}
    relay_limits: RelayLimits = RelayLimits()
    relays: dict[Named, Relay]
    lamps: dict[Named, Lamp] = {}
    codes: dict[Named, Code] = {}
    interlocks: dict[Named, Interlock] = {}
    link: CanLink | None = None
    steps: Annotated[tuple[Step, ...], Field(min_length=1)]
