"""The faults a board can have: which parts of a profile can have which kinds.

A fault is written `K3 contact welded`: the part by its name in the profile, then what is wrong with it; two parts that
share a fault are written `K3/K4 outputs bridged`. What a kind means is in `kinds`.
"""

import difflib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import Final

from benchtest.faults.kinds import ABOUT, About, Kind
from benchtest.profile.board import CountCode, Probe
from benchtest.profile.document import Profile
from benchtest.profile.fitting import FittedProfile
from benchtest.profile.link import Link
from benchtest.profile.serial_link import SerialLink

_OF_A_RELAY: Final = (
    Kind.WELDED, Kind.WELD_BREAKS, Kind.NEVER_CLOSES, Kind.MISSES, Kind.CHATTERS, Kind.COIL_OPEN, Kind.DRIVER_OPEN,
    Kind.DRIVER_SHORTED, Kind.SUPPRESSOR_SHORTED,
)  # fmt: skip
_OF_A_LIMITED_RELAY: Final = (
    ("operate", Kind.SLOW_OPERATE),
    ("release", Kind.SLOW_RELEASE),
    ("bounce", Kind.LONG_BOUNCE),
    ("resistance", Kind.RESISTANCE_HIGH),
    ("resistance", Kind.FILMED),
    ("open_voltage", Kind.LEAKS),
)
_OF_A_CODE: Final = (Kind.CODE_WRONG, Kind.CODE_IRREGULAR, Kind.CODE_MISSING)
_OF_A_PROBE: Final = (Kind.PROBE_OPEN, Kind.PROBE_SHORTED, Kind.PROBE_OFFSET)
_OF_AN_INPUT: Final = (Kind.INPUT_STUCK, Kind.INPUT_ALWAYS, Kind.INPUT_SLOW, Kind.INPUT_MISSES)
_OF_A_LINK: Final = (
    Kind.LINK_SILENT, Kind.LINK_BIT_RATE, Kind.LINK_DROPS, Kind.SCALING_WRONG, Kind.LOSS_UNNOTICED, Kind.NO_RECOVERY,
)  # fmt: skip
BETWEEN: Final = "/"
"""Stands between two parts that have a fault together."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with one part."""

    kind: Kind
    subject: str
    """Name in the profile: relay, lamp, supply, rail, input, interlock, connector; two of them; `link`, `processor`."""
    text: str
    """As written: `K3 contact welded`."""

    def __str__(self) -> str:
        return self.text

    @property
    def sentence(self) -> str:
        """What has happened to the board, in a technician's words."""
        return self.about.sentence.format(self.subject.replace(BETWEEN, " and "))

    @property
    def repair(self) -> str:
        """What mends it, in a technician's words."""
        return self.about.repair.format(self.subject.replace(BETWEEN, " and "))

    @property
    def about(self) -> About:
        """What is known of its kind."""
        return ABOUT[self.kind]

    @property
    def parts(self) -> tuple[str, ...]:
        """Names of the parts that have it."""
        return tuple(self.subject.split(BETWEEN))


def possible(fitted: FittedProfile) -> tuple[Fault, ...]:
    """Return every fault that a board of this profile can have, in the order of the profile."""
    profile = fitted.profile
    found = [
        *(each for kinds in (_relays, _lamps, _supplies, _inputs, _logic, _plugs) for each in kinds(profile)),
        *((variant, Kind.WRONG_VARIANT) for variant, lacking in fitted.others.items() if lacking),
    ]
    return tuple(Fault(kind, subject, f"{subject} {kind}") for subject, kind in found)


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


def written(text: str) -> Fault:
    """Return the fault written as `text`, whatever board it is of. Raises ValueError when it is none."""
    plain = _plain(text)
    kinds = [kind for kind in Kind if plain.endswith(f" {_plain(kind)}")]
    if not kinds:
        near = difflib.get_close_matches(plain.partition(" ")[2], [_plain(kind) for kind in Kind], n=1, cutoff=0.4)
        hint = f"nearest: 'K3 {near[0]}'; " if near else ""
        raise ValueError(f"unknown fault {text!r} ({hint}'benchtest faults' lists those of a profile)")
    kind = max(kinds, key=len)  # `driver shorted` ends as `shorted` does
    subject = " ".join(text.split())[: -len(kind) - 1]
    return Fault(kind, subject, f"{subject} {kind}")


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


_Found = Iterator[tuple[str, Kind]]
"""Part and what it can have."""


def _neighbours(names: Iterable[str], kind: Kind) -> _Found:
    return ((f"{one}{BETWEEN}{other}", kind) for one, other in pairwise(names))


def _relays(profile: Profile) -> _Found:
    for name, relay in profile.relays.items():
        limits = relay.limits.over(profile.relay_limits)
        yield from ((name, kind) for kind in _OF_A_RELAY)
        yield from ((name, kind) for limit, kind in _OF_A_LIMITED_RELAY if getattr(limits, limit) is not None)
        if relay.coil_current is not None:
            yield name, Kind.COIL_TURNS
        if relay.coil is not None:
            yield name, Kind.SUPPRESSOR_OPEN
        if relay.feedback is not None:
            yield name, Kind.FEEDBACK_STUCK
    yield from _neighbours(profile.relays, Kind.BRIDGED)


def _lamps(profile: Profile) -> _Found:
    always = {supply.lamp for supply in profile.supplies.values() if supply.kind == "dc"}
    for name, lamp in profile.lamps.items():
        yield from ((name, kind) for kind in (Kind.LAMP_DARK, Kind.LAMP_DIM, Kind.LAMP_FLICKERS))
        if name not in always:  # a lamp across the board's own supply cannot be lit too long
            yield name, Kind.LAMP_LIT
        if lamp.code is not None:
            yield from ((name, kind) for kind in _OF_A_CODE)
    coils = [relay.lamp for relay in profile.relays.values() if relay.lamp is not None]
    yield from _neighbours(coils, Kind.LAMPS_SWAPPED)


def _supplies(profile: Profile) -> _Found:
    for name, supply in profile.supplies.items():
        yield from ((name, kind) for kind in (Kind.SUPPLY_SHORTED, Kind.SUPPLY_OPEN))
        if supply.idle_current is not None:
            yield name, Kind.IDLE_HIGH
        if supply.passed_on is not None:
            yield from ((name, kind) for kind in (Kind.PASS_OPEN, Kind.PASS_RESISTIVE))
    yield from ((name, kind) for name in profile.rails for kind in (Kind.RAIL_LOW, Kind.RAIL_HIGH, Kind.RAIL_RIPPLE))


def _inputs(profile: Profile) -> _Found:
    for name, port in profile.inputs.items():
        yield from ((name, kind) for kind in (_OF_A_PROBE if isinstance(port, Probe) else _OF_AN_INPUT))
    for kind in ("level", "dry contact"):
        alike = [name for name, port in profile.inputs.items() if port.kind == kind]
        yield from _neighbours(alike, Kind.INPUTS_SWAPPED)
    probes = [name for name, port in profile.inputs.items() if isinstance(port, Probe)]
    yield from _neighbours(probes, Kind.PROBES_SWAPPED)


def _polled(link: Link) -> bool:
    """Return whether the board's heartbeat comes when it is asked for: then it has no period of its own."""
    layouts = link.resolved().messages if isinstance(link, SerialLink) else ()
    return any(layout.answers for layout in layouts if layout.name == link.board.message)


def _reports_volts(link: Link) -> bool:
    """Return whether the board reports a voltage, as far as the profile itself says what is in its messages."""
    if not isinstance(link, SerialLink):
        return True
    return any(place.unit == "V" for layout in link.resolved().messages for place in layout.signals.values())


def _logic(profile: Profile) -> _Found:
    yield from ((name, kind) for name in profile.interlocks for kind in (Kind.INTERLOCK_IGNORED, Kind.INTERLOCK_ALWAYS))
    yield from (("processor", kind) for kind in (Kind.NOT_RUNNING, Kind.STARTS_LATE))
    if profile.link is None:
        return
    volts = _reports_volts(profile.link)
    yield from (("link", kind) for kind in _OF_A_LINK if volts or kind is not Kind.SCALING_WRONG)
    if not _polled(profile.link):
        yield from (("link", kind) for kind in (Kind.HEARTBEAT_LATE, Kind.HEARTBEAT_JITTERS))
    if any(isinstance(code, CountCode) for code in profile.codes.values()):
        yield "link", Kind.CODE_DISAGREES


def _plugs(profile: Profile) -> _Found:
    yield from (
        (name, kind)
        for name, plug in profile.connectors.items()
        if plug.bridged
        for kind in (Kind.PLUG_MISSING, Kind.PLUG_RESISTIVE)
    )
    harmless = [name for name, plug in profile.connectors.items() if plug.bridged or _only_inputs(profile, name)]
    for one, other in combinations(harmless, 2):
        if profile.connectors[one].pins == profile.connectors[other].pins:
            yield f"{one}{BETWEEN}{other}", Kind.PLUGS_EXCHANGED


def _only_inputs(profile: Profile, connector: str) -> bool:
    """Return whether a connector carries inputs and nothing else that the profile names."""
    others = [supply.terminals for supply in profile.supplies.values()]
    others += [supply.passed_on.terminals for supply in profile.supplies.values() if supply.passed_on]
    others += [rail.terminals for rail in profile.rails.values()]
    others += [pair for relay in profile.relays.values() for pair in (relay.contact.make, relay.contact.break_) if pair]
    others += [relay.coil for relay in profile.relays.values() if relay.coil]
    busy = {pair.high.connector for pair in others}
    return connector not in busy and any(port.terminals.high.connector == connector for port in profile.inputs.values())
