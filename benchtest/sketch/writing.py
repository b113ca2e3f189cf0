"""A draft → the text of a profile that `benchtest check` accepts, and a list of what nobody could know yet.

Limits are never invented: where a limit belongs a comment says so, and the reading is taken without one. What had to be
assumed so that the profile can be planned at all (a current limit, the colour of a lamp) is marked and listed too.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from benchtest.sketch.draft import Control, Draft, Feed, Plug, Switch

AMPS: Final = "500 mA"
"""Current limit of a supply about which nothing is known; low, since it protects the board."""
COLOUR: Final = "green"


@dataclass(frozen=True, kw_only=True, slots=True)
class Sketched:
    """A first profile."""

    text: str
    open: tuple[str, ...]
    """What is still to be filled in, in sentences."""


@dataclass(slots=True)
class _Notes:
    open: list[str] = field(default_factory=list)

    def later(self, sentence: str) -> str:
        """Note what is still to be filled in, and return it as a comment."""
        self.open.append(sentence)
        return f"# to fill in: {sentence}"


def sketch(draft: Draft) -> Sketched:
    """Return the first profile of a board."""
    notes = _Notes()
    parts = [_head(draft), _plugs(draft), _supplies(draft, notes), _rails(draft, notes), _inputs(draft)]
    parts += [_limits(notes), _relays(draft, notes), _lamps(draft, notes), _interlocks(draft, notes)]
    parts += [_link(draft, notes), _steps(draft)]
    text = "\n".join("\n".join(lines) + "\n" for part in parts if (lines := list(part)))
    return Sketched(text=text, open=tuple(notes.open))


def quoted(text: str) -> str:
    """Return text as YAML takes it anywhere."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _head(draft: Draft) -> Iterator[str]:
    yield f"# First profile of {draft.name}. Lines with 'to fill in' say what is not known yet."
    yield "format: benchtest-profile/1"
    yield ""
    yield "board:"
    yield f"  part: {draft.part}"
    yield f"  name: {quoted(draft.name)}"
    yield f"  revisions: [{', '.join(quoted(one) for one in draft.revisions)}]"


def _plugs(draft: Draft) -> Iterator[str]:
    yield "connectors:"
    for plug in draft.plugs:
        yield f"  {plug.name}: {{{', '.join(_plug(plug))}}}"


def _plug(plug: Plug) -> Iterator[str]:
    yield f"pins: {plug.pins}"
    yield f"use: {quoted(plug.use)}"
    if plug.keep_empty:
        yield "keep_empty: true"
    if plug.bridged:
        yield f"bridged: [{', '.join(f'[{one}, {other}]' for one, other in plug.bridged)}]"


def _supplies(draft: Draft, notes: _Notes) -> Iterator[str]:
    yield "supplies:"
    for feed in draft.feeds:
        if feed.kind != "rail":
            yield from _supply(feed, notes)


def _supply(feed: Feed, notes: _Notes) -> Iterator[str]:
    yield f"  {feed.name}:"
    yield f"    kind: {feed.kind}"
    yield f"    terminals: {feed.terminals}"
    yield f"    nominal: {feed.volts}"
    if not feed.amps:
        yield f"    {notes.later(f'supply {feed.name}: current_limit, {AMPS} is assumed')}"
    yield f"    current_limit: {feed.amps or AMPS}"
    if feed.kind == "dc":
        yield f"    {notes.later(f'supply {feed.name}: stages and first_limit, such as [6 V, 12 V] and 100 mA')}"
        yield f"    {notes.later(f'supply {feed.name}: idle_current, such as {{min: 5 mA, max: 40 mA}}')}"
    yield f"    {notes.later(f'supply {feed.name}: unpowered, such as {{min: 500 ohm}}')}"
    if feed.lamp:
        yield f"    lamp: {feed.lamp}"


def _rails(draft: Draft, notes: _Notes) -> Iterator[str]:
    rails = [feed for feed in draft.feeds if feed.kind == "rail"]
    for place, rail in enumerate(rails):
        yield from ["rails:"] if not place else []
        yield f"  {notes.later(f'rail {rail.name}: limits, ±10 % of {rail.volts} is assumed')}"
        low, high = _around(rail.volts, 0.9), _around(rail.volts, 1.1)
        yield f"  {rail.name}: {{terminals: {rail.terminals}, limits: {{min: {low}, max: {high}}}}}"


def _around(volts: str, factor: float) -> str:
    number, _, unit = volts.partition(" ")
    return f"{float(number) * factor:.4g} {unit}"


def _inputs(draft: Draft) -> Iterator[str]:
    for place, control in enumerate(draft.controls):
        yield from ["inputs:"] if not place else []
        yield f"  {control.name}: {{{', '.join(_input(control))}}}"


def _input(control: Control) -> Iterator[str]:
    yield f"kind: {control.kind}"
    yield f"terminals: {control.terminals}"
    if control.kind == "level":
        yield f"high: {control.volts}"
    if control.rest:
        yield f"rest: {control.rest}"
    yield f"use: {quoted(control.use)}"


def _limits(notes: _Notes) -> Iterator[str]:
    yield "relay_limits:"
    for name, example in (
        ("operate", "{min: 1 ms, max: 15 ms}"),
        ("release", "{min: 0.5 ms, max: 10 ms}"),
        ("bounce", "{max: 5 ms}"),
        ("resistance", "{max: 200 mohm}"),
        ("current", "{min: 14 mA, max: 26 mA}"),
    ):
        yield f"  {notes.later(f'relay_limits: {name}, such as {example}')}"
    yield "  open_voltage: {min: 90 %} # of the test voltage: an open contact"


def _relays(draft: Draft, notes: _Notes) -> Iterator[str]:
    known = commanded(draft)
    yield "relays:" if known else "relays: {}"
    for switch in draft.switches:
        if switch in known:
            yield f"  {switch.name}: {{{', '.join(_relay(switch))}}}"
        else:
            yield f"  {notes.later(f'relay {switch.name}: what commands it; until then it is left out')}"


def commanded(draft: Draft) -> list[Switch]:
    """Return the relays of which it is known what commands them."""
    return [switch for switch in draft.switches if switch.command]


def _relay(switch: Switch) -> Iterator[str]:
    yield f"load: {quoted(switch.load)}"
    contact = [f"form: {switch.form}"]
    contact += [f"make: {switch.make}"] if switch.make else []
    contact += [f"break: {switch.break_}"] if switch.break_ else []
    yield f"contact: {{{', '.join(contact)}}}"
    yield f"command: {{input: {switch.command}}}"
    if switch.coil:
        yield f"coil: {switch.coil}"
    if switch.lamp:
        yield f"lamp: {switch.lamp}"


def _lamps(draft: Draft, notes: _Notes) -> Iterator[str]:
    lamps = {feed.lamp: f"supply {feed.name} there" for feed in draft.feeds if feed.lamp}
    lamps |= {switch.lamp: f"coil of {switch.name}" for switch in commanded(draft) if switch.lamp}
    for place, (lamp, use) in enumerate(lamps.items()):
        if not place:
            yield "lamps:"
            yield f"  {notes.later(f'lamps: colours, {COLOUR} is assumed; lamps with a code, and codes')}"
        yield f"  {lamp}: {{colour: {COLOUR}, use: {quoted(use)}}}"


def _interlocks(draft: Draft, notes: _Notes) -> Iterator[str]:
    if commanded(draft):
        yield notes.later("interlocks: which relay may be energised only while something holds, and the step for it")


def _link(draft: Draft, notes: _Notes) -> Iterator[str]:
    if draft.link is not None:
        yield notes.later(f"link at {draft.link}: its kind, bit rate, messages, and the steps for it")


def _steps(draft: Draft) -> Iterator[str]:
    direct = [feed.name for feed in draft.feeds if feed.kind == "dc"]
    others = [feed.name for feed in draft.feeds if feed.kind == "ac"]
    relays = [switch.name for switch in commanded(draft)]
    lit = [feed.lamp for feed in draft.feeds if feed.lamp and feed.kind != "rail"]
    dark = [switch.lamp for switch in commanded(draft) if switch.lamp]
    yield "steps:"
    if any(plug.bridged for plug in draft.plugs):
        yield "  - {step: unpowered}"
    yield f"  - {{step: power up, supplies: [{', '.join(direct + others)}]}}"
    if lit or dark:
        yield f"  - {{step: lamps, lit: [{', '.join(lit)}], dark: [{', '.join(dark)}]}}"
    if relays:
        yield f"  - {{step: exercise, relays: [{', '.join(relays)}]}}"
        yield f"  - {{step: loss, of: {direct[0]}, energised: [{relays[0]}]}}"
    yield "  - {step: safe off}"
