"""The questions that make a first profile: each with an example and a default; a bad answer is asked for again."""

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

import click

from benchtest.cli.profile_new import PART
from benchtest.cli.words import say
from benchtest.quantities import CURRENT, VOLTAGE, Dimension, parse, spelled
from benchtest.terminals import Pair

if TYPE_CHECKING:
    from benchtest.sketch import Control, Draft, Feed, Plug, Switch

Answer = TypeVar("Answer")
DONE = "done"
NONE = "none"


def ask(*, part: str | None, name: str | None) -> "Draft":
    """Return what a person says of a board."""
    from benchtest.sketch import Draft

    say("A first profile. Enter takes what stands in brackets; Ctrl-C leaves without writing anything.")
    part = part if part and PART.fullmatch(part) else _question("Part number", "CW-0410", "AB-1000", _part)
    name = name or _question("What it is called", "Car-wash bay relay board", "New relay board", _text)
    revisions = _question("Revisions, with commas", "A, B", "A", _list)
    feeds = (_supply(),)
    controls = _controls()
    switches = _switches([control.name for control in controls])
    pairs = [*(feed.terminals for feed in feeds), *(control.terminals for control in controls)]
    pairs += [pair for switch in switches for pair in (switch.make, switch.break_) if pair is not None]
    plugs = _plugs(pairs)
    return Draft(
        part=part,
        name=name,
        revisions=revisions,
        plugs=plugs,
        feeds=feeds,
        controls=controls,
        switches=switches,
    )


def _supply() -> "Feed":
    from benchtest.sketch import Feed

    terminals = _question("D.c. supply, positive terminal first", "X1.1-X1.2", "X1.1-X1.2", Pair.parse)
    volts = _question("  its nominal voltage", "24 V", "24 V", _quantity(VOLTAGE))
    amps = _question("  its current limit, or unknown", "1 A", "unknown", _or(_quantity(CURRENT), "unknown"))
    lamp = _question("  lamp that shows it, or none", "D5", NONE, _or(_name, NONE))
    return Feed(name="main", terminals=terminals, volts=volts, amps=amps, lamp=lamp)


def _controls() -> "tuple[Control, ...]":
    from benchtest.sketch import Control

    found: list[Control] = []
    while True:
        name = _question("Input: its name, or done", "start", DONE if found else "start", _name)
        if name == DONE:
            return tuple(found)
        kind = _question("  level (a voltage) or dry contact (a switch)", "level", "level", _kind)
        usual = f"X2.{len(found) + 1}-X1.2" if kind == "level" else f"X2.{2 * len(found) + 1}-X2.{2 * len(found) + 2}"
        terminals = _question("  its terminals", usual, usual, Pair.parse)
        volts = _question("  its voltage", "24 V", "24 V", _quantity(VOLTAGE)) if kind == "level" else ""
        use = _question("  what it is for", "start demand", f"{name} demand", _text)
        found.append(
            Control(
                name=name,
                terminals=terminals,
                use=use,
                kind="level" if kind == "level" else "dry contact",
                volts=volts,
            )
        )


def _switches(inputs: list[str]) -> "tuple[Switch, ...]":
    from benchtest.sketch import Switch

    found: list[Switch] = []
    while True:
        pin = 3 * len(found) + 1
        name = _question("Relay: its name, or done", "K1", DONE if found else "K1", _name)
        if name == DONE:
            return tuple(found)
        load = _question("  what it switches", "conveyor motor", f"load of {name}", _text)
        form = _question("  its contact: A makes, B breaks, C changes over", "A", "A", _form)
        make, broken = f"X3.{pin}-X3.{pin + 1}", f"X3.{pin}-X3.{pin + 2}"
        makes = _question("  terminals of the make contact", make, make, Pair.parse) if form != "B" else None
        breaks = _question("  terminals of the break contact", broken, broken, Pair.parse) if form != "A" else None
        first = inputs[min(len(found), len(inputs) - 1)] if inputs else NONE
        command = _question("  input that energises it, or none", first, first, _one_of([*inputs, NONE]))
        lamp = _question("  lamp that shows it, or none", "D1", NONE, _or(_name, NONE))
        found.append(
            Switch(
                name=name, load=load, make=makes, break_=breaks, command="" if command == NONE else command, lamp=lamp
            )
        )


def _plugs(pairs: list[Pair]) -> "tuple[Plug, ...]":
    from benchtest.sketch import Plug

    most: dict[str, int] = {}
    for terminal in (end for pair in pairs for end in (pair.high, pair.low)):
        most[terminal.connector] = max(most.get(terminal.connector, 0), terminal.pin)
    plugs = []
    for name, pins in most.items():
        count = _question(f"Connector {name}: how many pins", "8", str(pins), _at_least(pins))
        use = _question("  what is on it", "loads", "not stated", _text)
        plugs.append(Plug(name=name, pins=count, use=use))
    return tuple(plugs)


# ---------------------------------------------------------------- one question


def _question(text: str, example: str, default: str, read: Callable[[str], Answer]) -> Answer:
    """Ask until the answer can be read; say why it could not."""

    def taken(typed: str) -> Answer:
        try:
            return read(typed.strip())
        except ValueError as problem:
            raise click.UsageError(str(problem)) from None

    answer: Answer = click.prompt(f"{text} (such as {example})", default=default, value_proc=taken)
    return answer


def _text(typed: str) -> str:
    if not 1 <= len(typed) <= 200:
        raise ValueError("1 to 200 characters, please")
    return typed


def _part(typed: str) -> str:
    if not PART.fullmatch(typed):
        raise ValueError(f"{typed!r} is not a part number (capitals, digits and dashes, such as CW-0410)")
    return typed


def _name(typed: str) -> str:
    from benchtest.sketch.table import NAME

    if not NAME.fullmatch(typed):
        raise ValueError(f"{typed!r} is not a name (a letter first, then letters, digits, _ and -)")
    return typed


def _list(typed: str) -> tuple[str, ...]:
    return tuple(part for part in map(str.strip, typed.split(",")) if part) or ("A",)


def _kind(typed: str) -> str:
    if typed not in {"level", "dry contact", "dry"}:
        raise ValueError(f"{typed!r} is neither level nor dry contact")
    return typed


def _form(typed: str) -> str:
    if typed.upper() not in {"A", "B", "C"}:
        raise ValueError(f"{typed!r} is not A, B or C")
    return typed.upper()


def _one_of(choices: list[str]) -> Callable[[str], str]:
    def read(typed: str) -> str:
        if typed not in choices:
            raise ValueError(f"{typed!r} is none of: {', '.join(choices)}")
        return typed

    return read


def _or(read: Callable[[str], str], nothing: str) -> Callable[[str], str]:
    return lambda typed: "" if typed == nothing else read(typed)


def _quantity(dimension: Dimension) -> Callable[[str], str]:
    def read(typed: str) -> str:
        parse(typed, dimension)
        return spelled(typed, dimension)

    return read


def _at_least(pins: int) -> Callable[[str], int]:
    def read(typed: str) -> int:
        if not typed.isdecimal() or not pins <= int(typed) <= 99:
            raise ValueError(f"{typed!r} is not a number of pins (at least {pins}, at most 99)")
        return int(typed)

    return read
