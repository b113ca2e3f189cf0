"""fitted profile + fixture + harness + procedure → the hook-up sheet.

Everything on it is computed from the documents that the run uses: it cannot say anything else than the run does.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from benchtest import __version__
from benchtest.cautions import before_power
from benchtest.fixture.adapter import NO_DEAD_MAN, ON_A_LINK
from benchtest.fixture.document import Adapter, Fixture, Harness
from benchtest.fixture.wire_list import Wire, numbers, own_wires, wire_list
from benchtest.fixture.wiring import adapters_of, cautions
from benchtest.hookup.drawing import draw
from benchtest.hookup.plugs import missing, swapped
from benchtest.hookup.purposes import of_pair, purposes
from benchtest.hookup.sheet import Drawn, Entry, Pin, Row, Sheet
from benchtest.instruments import Role
from benchtest.metrology.figures import permitted, plain
from benchtest.procedure import Procedure
from benchtest.profile.board import Connector
from benchtest.profile.document import Profile
from benchtest.profile.fitting import FittedProfile
from benchtest.profile.link import Link
from benchtest.profile.serial_link import SerialLink
from benchtest.quantities import show
from benchtest.terminals import Terminal

PLUGS: Final = "Plug in and pull out with everything off. No mains on any plug that is put on the board."
"""A caution of whoever wires the bench; common practice, no source."""
HEADING: Final = 24.0
"""Height of a connector's heading, in the units of its drawing."""
LEGEND: Final = (
    "Lines: thick, supply; thin full, drive; dash and dot, resistance; dashed, sense; dotted, contact under test "
    "current; fine dots, ohms without power; long dashes, link. A thick bracket is a bridge in a jumper plug. "
    "+ is the first terminal of a pair, − the second. Pins and plugs as named in the profile; check their order "
    "against the marking on the board."
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Documents:
    """Where the sheet's facts come from, for its foot."""

    profile: str
    profile_digest: str
    fixture: str
    fixture_digest: str
    made: str
    """Date, ISO 8601."""

    @property
    def sentence(self) -> str:
        """Files, the beginnings of their SHA-256, and the program."""
        return (
            f"{self.profile} ({self.profile_digest[:12]}), {self.fixture} ({self.fixture_digest[:12]}), "
            f"benchtest {__version__}"
        )


def describe(
    fitted: FittedProfile, fixture: Fixture, harness: Harness, procedure: Procedure, documents: Documents
) -> Sheet:
    """Return the sheet for one board on one bench."""
    profile, test = fitted.profile, fixture.contact_test
    wires, several = wire_list(fixture, harness), len(adapters_of(fixture, harness)) > 1
    simulated = fixture.adapters[harness.adapter].driver == "simulated"
    drawn = tuple(_connectors(profile, wires, several=several))
    return Sheet(
        title=f"Hook-up sheet {profile.board.part}",
        board=f"{profile.board.name} {profile.board.part}, revisions {', '.join(profile.board.revisions)}",
        choice=", ".join(filter(None, (fitted.variant, *fitted.options))),
        bench=f"{fixture.bench.name}, {fixture.bench.place}",
        watermark="SIMULATED" if simulated else "",
        made=documents.made,
        identity=documents.sentence,
        cautions=(PLUGS, *before_power(fixture.guards), *_of_this_bench(fixture, harness)),
        adapters=tuple(_adapters(fixture, harness)),
        connectors=drawn,
        left=_half(drawn),
        stays_empty=_stays_empty(profile),
        plugs=tuple(Row(cells=(*t.plugs, t.sentence)) for t in missing(profile, harness, procedure, test)),
        swaps=tuple(Row(cells=(" and ".join(t.plugs), t.sentence)) for t in swapped(profile, harness, procedure, test)),
        wires=tuple(_wires(profile, wires)),
        own_wires=own_wires(fixture),
        legend=LEGEND,
    )


def _adapters(fixture: Fixture, harness: Harness) -> Iterator[Row]:
    names = [*adapters_of(fixture, harness), *filter(None, [harness.link])]
    for name in dict.fromkeys(names):
        one = fixture.adapters[name]
        where = "no port" if one.driver == "simulated" else one.port or f"given by --port {name}=…"
        yield Row(cells=(name, one.driver, where, one.identity or "not stated", _dead_man(one)))


def _of_this_bench(fixture: Fixture, harness: Harness) -> Iterator[str]:
    return (f"{caution[0].upper()}{caution[1:]}." for caution in cautions(fixture, harness))


def _dead_man(adapter: Adapter) -> str:
    if adapter.driver in ON_A_LINK:
        return "drives nothing"
    return "NONE" if adapter.dead_man == NO_DEAD_MAN else plain(adapter.dead_man, "s")


def _connectors(profile: Profile, wires: tuple[Wire, ...], *, several: bool) -> Iterator[Drawn]:
    said = purposes(profile)
    for name, connector in profile.connectors.items():
        pins = [
            _pin(Terminal(name, number), connector, wires, said, several=several)
            for number in range(1, connector.pins + 1)
        ]
        if profile.link is not None:
            pins = [_with_link(pin, name, profile) for pin in pins]
        svg, height = draw(pins, connector.bridged, crossed=connector.keep_empty)
        yield Drawn(
            name=name,
            use=connector.use,
            pins=f"{connector.pins} pins" if connector.pins > 1 else "1 pin",
            remark=_remark(connector),
            svg=svg,
            height=height,
            alternative=_in_words(name, connector, pins),
        )


def _half(drawn: tuple[Drawn, ...]) -> int:
    """Return how many connectors make the first of two columns that end as evenly as can be."""
    heights = [one.height + HEADING for one in drawn]
    return min(range(len(drawn) + 1), key=lambda left: max(sum(heights[:left]), sum(heights[left:])))


def _remark(connector: Connector) -> str:
    if connector.keep_empty:
        return "STAYS EMPTY: plug nothing in here"
    if connector.bridged:
        joined = ", ".join(f"{one} with {other}" for one, other in connector.bridged)
        limits = permitted(connector.bridge.min, connector.bridge.max, "Ω")
        return f"Jumper plug that joins {joined}; {limits} each"
    return ""


def _pin(
    terminal: Terminal, connector: Connector, wires: tuple[Wire, ...], said: dict[Terminal, str], *, several: bool
) -> Pin:
    if connector.keep_empty:
        return Pin(number=terminal.pin, entries=(), purpose="")
    entries = tuple(
        entry for role in Role for sign in "+−" for entry in _entries(terminal, role, sign, wires, several=several)
    )
    purpose = said.get(terminal, "")
    if not entries and not any(terminal.pin in pair for pair in connector.bridged):
        entries = (Entry(role="not wired", style="none", text="no wire: leave this pin free"),)
    return Pin(number=terminal.pin, entries=entries, purpose=purpose)


def _entries(terminal: Terminal, role: Role, sign: str, wires: tuple[Wire, ...], *, several: bool) -> Iterator[Entry]:
    """Yield the wires of one role at one pin, together by adapter."""
    mine = [
        wire
        for wire in wires
        if wire.role is role
        and wire.pair is not None
        and terminal == (wire.pair.high if sign == "+" else wire.pair.low)
    ]
    for adapter in dict.fromkeys(wire.adapter for wire in mine):
        here = [wire for wire in mine if wire.adapter == adapter]
        where = f"{adapter} " if several else ""
        extra = f" ({here[0].at_adapter})" if len(here) == 1 and here[0].at_adapter else ""
        text = f"{role.value} {where}{numbers(wire.channel for wire in here)} {sign}{extra}"
        yield Entry(role=role.value, style=role.value, text=text)


def _with_link(pin: Pin, name: str, profile: Profile) -> Pin:
    link = profile.link
    assert link is not None
    high, low = _wires_of(link)
    ends = {link.terminals.high: high, link.terminals.low: low}
    what = ends.get(Terminal(name, pin.number))
    if what is None:
        return pin
    wired = tuple(entry for entry in pin.entries if entry.style != "none")
    text = f"link, {what}, {show(link.bit_rate, 'bit/s')}"
    return Pin(number=pin.number, entries=(*wired, Entry(role="link", style="link", text=text)), purpose="")


def _wires_of(link: Link) -> tuple[str, str]:
    """Return what the first and the second wire of a link are."""
    if not isinstance(link, SerialLink):
        return "CAN high", "CAN low"
    if link.level == "RS-485":
        return "RS-485 +", "RS-485 −"
    return f"{link.level}, the board sends", f"{link.level}, the board receives"


def _in_words(name: str, connector: Connector, pins: list[Pin]) -> str:
    if connector.keep_empty:
        return f"Connector {name}, {connector.pins} pins, crossed out: it stays empty."
    words = []
    for pin in pins:
        texts = [entry.text for entry in pin.entries] + [pin.purpose] * bool(pin.purpose)
        words.append(f"pin {pin.number}: {'; '.join(texts)}")
    bridged = "".join(f" Bridge joins {one} and {other}." for one, other in connector.bridged)
    return f"Connector {name}. {'. '.join(words)}.{bridged}"


def _stays_empty(profile: Profile) -> str:
    names = [name for name, connector in profile.connectors.items() if connector.keep_empty]
    return f"Stays empty: {', '.join(names)}. Nothing may be plugged in there." if names else ""


def _wires(profile: Profile, wires: tuple[Wire, ...]) -> Iterator[Row]:
    said, lamps = of_pair(profile), profile.lamps
    for wire in wires:
        if wire.pair is None:
            lamp = lamps.get(wire.lamp)
            what = "not fitted" if lamp is None else f"{lamp.colour}, {lamp.use}"
        else:
            what = said.get(wire.pair, "")
        where = f"{wire.adapter} {wire.channel}" + (f" ({wire.at_adapter})" if wire.at_adapter else "")
        yield Row(cells=(wire.terminals, wire.role.value, where, what))
