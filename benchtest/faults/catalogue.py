"""The faults a board can have: one table of kinds, one sentence each, and which parts of a profile can have which.

A fault is written `K3 contact welded`: the part by its name in the profile, then what is wrong with it. Only faults
that leave a trace on the bench's channels or on the link are listed.
"""

import difflib
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from benchtest.profile.board import Probe
from benchtest.profile.document import Profile
from benchtest.profile.fitting import FittedProfile
from benchtest.profile.link import Link
from benchtest.profile.serial_link import SerialLink


class Kind(StrEnum):
    """What is wrong; the value is how it is written after the part's name."""

    WELDED = "contact welded"
    NEVER_CLOSES = "contact never closes"
    SLOW_OPERATE = "slow operate"
    SLOW_RELEASE = "slow release"
    LONG_BOUNCE = "long bounce"
    RESISTANCE_HIGH = "contact resistance high"
    COIL_OPEN = "coil open"
    DRIVER_SHORTED = "driver shorted"
    LAMP_DARK = "lamp dark"
    LAMP_LIT = "lamp always lit"
    CODE_WRONG = "lamp code wrong"
    LINK_SILENT = "silent"
    HEARTBEAT_LATE = "heartbeat late"
    SUPPLY_SHORTED = "shorted"
    PASS_OPEN = "pass-through open"
    RAIL_LOW = "rail low"
    INTERLOCK_IGNORED = "ignored"
    PLUG_MISSING = "jumper plug missing"
    INPUT_STUCK = "input stuck"
    PROBE_OPEN = "probe channel open"


SENTENCES: Final[dict[Kind, str]] = {
    Kind.WELDED: "The contact of {} has welded and stays closed whatever its coil does.",
    Kind.NEVER_CLOSES: "The contact of {} is burnt or bent away and never closes.",
    Kind.SLOW_OPERATE: "The armature of {} sticks and operates too late.",
    Kind.SLOW_RELEASE: "The armature of {} sticks and releases too late.",
    Kind.LONG_BOUNCE: "The contact of {} bounces for too long when it closes.",
    Kind.RESISTANCE_HIGH: "The contact of {} is dirty and its resistance too high.",
    Kind.COIL_OPEN: "The coil of {} has a broken wire; its driver works, the relay does not.",
    Kind.DRIVER_SHORTED: "The driver transistor of {} has failed short; its coil is on as long as there is power.",
    Kind.LAMP_DARK: "Lamp {} has failed or is in the wrong way round and never lights.",
    Kind.LAMP_LIT: "Lamp {} is lit as long as there is power, whatever it should show.",
    Kind.CODE_WRONG: "Lamp {} flashes the code of another state.",
    Kind.LINK_SILENT: "The board hears its controller but sends nothing on the {}.",
    Kind.HEARTBEAT_LATE: "The board sends its heartbeat on the {} too seldom.",
    Kind.SUPPLY_SHORTED: "Supply {} is shorted on the board.",
    Kind.PASS_OPEN: "The way of supply {} on to the next board is open.",
    Kind.RAIL_LOW: "The regulator of {} gives too little voltage.",
    Kind.INTERLOCK_IGNORED: "The board does not keep the interlock '{}'.",
    Kind.PLUG_MISSING: "The jumper plug on {} is missing.",
    Kind.INPUT_STUCK: "Input {} reads as at rest whatever is connected to it.",
    Kind.PROBE_OPEN: "The measuring channel of {} is open, whatever probe is connected.",
}

_OF_A_RELAY: Final = (Kind.WELDED, Kind.NEVER_CLOSES, Kind.COIL_OPEN, Kind.DRIVER_SHORTED)
_OF_A_LIMITED_RELAY: Final = {
    "operate": Kind.SLOW_OPERATE,
    "release": Kind.SLOW_RELEASE,
    "bounce": Kind.LONG_BOUNCE,
    "resistance": Kind.RESISTANCE_HIGH,
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with one part."""

    kind: Kind
    subject: str
    """Name in the profile: relay, lamp, supply, rail, input, interlock, connector, or `link`."""
    text: str
    """As written: `K3 contact welded`."""

    def __str__(self) -> str:
        return self.text

    @property
    def sentence(self) -> str:
        """What has happened to the board, in a technician's words."""
        return SENTENCES[self.kind].format(self.subject)


def possible(fitted: FittedProfile) -> tuple[Fault, ...]:
    """Return every fault that a board of this profile can have, in the order of the profile."""
    return tuple(
        Fault(kind, subject, f"{subject} {kind}")
        for kinds in (_relays, _lamps, _supplies, _inputs, _logic)
        for subject, kind in kinds(fitted.profile)
    )


def parse(text: str, fitted: FittedProfile) -> Fault:
    """Return the fault written as `text`; case and spacing do not matter.

    Raises ValueError that names the nearest one when the profile has no such fault.
    """
    known = {_plain(fault.text): fault for fault in possible(fitted)}
    try:
        return known[_plain(text)]
    except KeyError:
        near = difflib.get_close_matches(_plain(text), known, n=1, cutoff=0.5)
        hint = f"nearest: '{known[near[0]].text}'; " if near else ""
        raise ValueError(f"unknown fault {text!r} ({hint}'benchtest faults' lists them)") from None


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def _relays(profile: Profile) -> Iterator[tuple[str, Kind]]:
    for name, relay in profile.relays.items():
        limits = relay.limits.over(profile.relay_limits)
        yield from ((name, kind) for kind in _OF_A_RELAY)
        yield from ((name, kind) for limit, kind in _OF_A_LIMITED_RELAY.items() if getattr(limits, limit) is not None)


def _lamps(profile: Profile) -> Iterator[tuple[str, Kind]]:
    always = {supply.lamp for supply in profile.supplies.values() if supply.kind == "dc"}
    for name, lamp in profile.lamps.items():
        yield name, Kind.LAMP_DARK
        if name not in always:  # a lamp across the board's own supply cannot be lit too long
            yield name, Kind.LAMP_LIT
        if lamp.code is not None:
            yield name, Kind.CODE_WRONG


def _supplies(profile: Profile) -> Iterator[tuple[str, Kind]]:
    for name, supply in profile.supplies.items():
        yield name, Kind.SUPPLY_SHORTED
        if supply.passed_on is not None:
            yield name, Kind.PASS_OPEN
    yield from ((name, Kind.RAIL_LOW) for name in profile.rails)


def _inputs(profile: Profile) -> Iterator[tuple[str, Kind]]:
    for name, port in profile.inputs.items():
        yield name, Kind.PROBE_OPEN if isinstance(port, Probe) else Kind.INPUT_STUCK


def _polled(link: Link) -> bool:
    """Return whether the board's heartbeat comes when it is asked for: then it has no period of its own."""
    layouts = link.resolved().messages if isinstance(link, SerialLink) else ()
    return any(layout.answers for layout in layouts if layout.name == link.board.message)


def _logic(profile: Profile) -> Iterator[tuple[str, Kind]]:
    yield from ((name, Kind.INTERLOCK_IGNORED) for name in profile.interlocks)
    if profile.link is not None:
        yield "link", Kind.LINK_SILENT
        if not _polled(profile.link):
            yield "link", Kind.HEARTBEAT_LATE
    yield from ((name, Kind.PLUG_MISSING) for name, plug in profile.connectors.items() if plug.bridged)
