"""The scripted order of steps, as the profile's author writes it. What each step expands to is `plan`'s business.

A step may belong to one variant or option, as everything that is fitted may.
"""

from typing import Annotated, Literal

from pydantic import Field

from benchtest.documents.section import Section
from benchtest.profile.permitted import Fitted, Waited


class Given(Section):
    """States of inputs, and relays commanded, while something is looked at."""

    inputs: dict[str, str] = {}
    """Input → state: open, closed, low, high, or the name of a probe state."""
    energised: tuple[str, ...] = ()
    """Relays to command first."""
    link: Literal["alive", "silent"] = "alive"
    """Whether the controller is heard on the link meanwhile."""


class Unpowered(Fitted):
    """Bridged pins of jumper plugs, connectors that stay empty, supplies not shorted."""

    step: Literal["unpowered"]


class Plugs(Fitted):
    """Contacts without power: whether a plug is missing or in the place of another, as far as that can be told."""

    step: Literal["plugs"]


class PowerUp(Fitted):
    """Staged power-up: current limit first, low voltage first, stop on current limit; idle current, rails, drop."""

    step: Literal["power up"]
    supplies: Annotated[tuple[str, ...], Field(min_length=1)]
    """Supplies in the order in which they come on."""


class Exercise(Fitted):
    """Each relay in turn: command, coil, contact, lamp, feedback; everything else still."""

    step: Literal["exercise"]
    relays: Annotated[tuple[str, ...], Field(min_length=1)]
    """Relays in the order in which they are worked."""
    again: Annotated[int, Field(ge=0, le=20)] = 0
    """How many times more each relay is energised, to see whether contact and lamp follow every time."""


class ReadLamps(Fitted):
    """Steady lamps at rest or under given conditions."""

    step: Literal["lamps"]
    given: Given = Given()
    """What the board is told meanwhile."""
    lit: tuple[str, ...] = ()
    """Lamps that must be lit."""
    dark: tuple[str, ...] = ()
    """Lamps that must be dark."""


class ReadCode(Fitted):
    """Codes of lamps under given conditions, two complete equal repeats each."""

    step: Literal["code"]
    given: Given = Given()
    """What the board is told meanwhile."""
    reads: Annotated[dict[str, str], Field(min_length=1)]
    """Lamp → expected code: a count such as `1`, or digits such as `11 12`."""


class TryInterlocks(Fitted):
    """Each element of each interlock in turn: taken away, given back."""

    step: Literal["interlocks"]
    names: Annotated[tuple[str, ...], Field(min_length=1)]
    """Interlocks in the order in which they are tried."""


class WatchLink(Fitted):
    """The board's heartbeat, its answers, and the inputs it reports."""

    step: Literal["link"]
    listen_for: Annotated[int, Field(ge=3, le=1000, description="heartbeats to listen for")] = 10


class Loss(Fitted):
    """Loss and return of a supply or of the link, with given relays energised."""

    step: Literal["loss"]
    of: str
    """Name of a supply, or `link`."""
    energised: tuple[str, ...] = ()
    """Relays to command first, with all that their interlocks wait for."""
    within: Waited | None = None
    """Loss of a supply to the relays' coils or contacts having followed; for the link, its own `lost_after` counts."""


class SafeOff(Fitted):
    """Everything off, and proved to be."""

    step: Literal["safe off"]


Step = Annotated[
    Unpowered | Plugs | PowerUp | Exercise | ReadLamps | ReadCode | TryInterlocks | WatchLink | Loss | SafeOff,
    Field(discriminator="step"),
]
