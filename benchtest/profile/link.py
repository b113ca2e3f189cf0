"""The board's link to its controller, played by the bench: a CAN bus here, a serial line in `profile.serial_link`."""

from collections.abc import Mapping
from typing import Literal

from benchtest.documents.section import Section
from benchtest.profile.permitted import Fitted, Lasting, Waited
from benchtest.quantities import BitsPerSecond
from benchtest.terminals import Pair


class Answer(Section):
    """A periodic message and how often it must come."""

    message: str
    """Message of the board."""
    every: Waited
    """Interval between two of them."""


class Controller(Section):
    """The periodic message by which the board knows its controller, played by the bench."""

    message: str
    """Message of the controller."""
    every: Lasting
    """Interval between two of them."""


class Link(Fitted):
    """What is said of every link to the controller, whatever wires it runs on."""

    terminals: Pair
    bit_rate: BitsPerSecond
    """Bit rate of the link."""
    controller: Controller
    """What the controller sends, which the bench plays."""
    board: Answer
    """What the board sends, and how often."""
    command: str
    """Message with the command signals."""
    status: str
    """Message in which the board answers; sent on every change."""
    answer: Waited
    """Command to status message that shows it."""
    lost_after: Waited
    """Last heartbeat of the controller to coils off."""
    back_within: Waited
    """First heartbeat to the board obeying again."""


class CanLink(Link):
    """A CAN link to the controller."""

    kind: Literal["can"]
    database: str
    """DBC file beside the profile."""


Vocabulary = Mapping[str, tuple[str, ...]]
"""Message of a link → its signals."""
