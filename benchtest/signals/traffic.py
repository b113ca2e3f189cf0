"""What a log of CAN frames shows: a row for every identifier, a line for every bus, and who was not heard."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from benchtest.signals.bus_load import Bus, bus_load, lengths
from benchtest.signals.decoding import identifier_of
from benchtest.signals.frames import Frames, Identifier, chosen
from benchtest.signals.regularity import Expected, Row, rows


@dataclass(frozen=True, kw_only=True, slots=True)
class Traffic:
    """What went over the buses of a log."""

    rows: tuple[Row, ...]
    """In order of channel and identifier."""
    buses: tuple[Bus, ...]
    """In order of channel."""
    never_heard: tuple[str, ...]
    """Messages with a required period, or in the database, that are not in the log."""
    missing_nodes: tuple[str, ...]
    """Nodes that send messages by the database, of which none is in the log."""
    notes: tuple[str, ...]
    """What a reader of the figures has to know, one sentence each."""


def traffic(
    frames: Frames,
    *,
    bit_rate: float | None = None,
    nominal: Mapping[str, float] | None = None,
    database: Any = None,
    end: float | None = None,
) -> Traffic:
    """Return period, jitter and gaps of every identifier, and the load of every bus.

    `bit_rate` is in bit/s. `nominal` gives seconds by message name, or by identifier as text (`0x1A0`, `0x018FF00A`);
    where it is silent, the cycle time in the database counts, which is one of cantools. `end` is when the recording
    ended, in seconds of the log; without it, a channel ends with its last stamp.

    Raises ValueError for a bit rate or period that is not a finite number above zero.
    """
    _check_above_zero(
        {"the bit rate": bit_rate, **{f"the period of {key}": value for key, value in (nominal or {}).items()}}
    )
    known = {} if database is None else {identifier_of(message): message for message in database.messages}
    names = {identifier: str(message.name) for identifier, message in known.items()}
    cycles = {name: known[identifier].cycle_time for identifier, name in names.items()}
    required = {name: cycle / 1000 for name, cycle in cycles.items() if cycle} | dict(nominal or {})
    expected = Expected(names=names, nominal=required, bit_rate=bit_rate, end=end)
    buses, found = _by_channel(frames, expected)
    heard = {text for row in found for text in (row.name, str(row.identifier))}
    nodes = {str(node): any(m.name in heard for m in known.values() if node in m.senders) for node in _senders(known)}
    never = tuple(name for name in dict.fromkeys([*required, *names.values()]) if name not in heard)
    missing = tuple(node for node, spoke in nodes.items() if not spoke)
    notes = (*_bus_notes(buses), *_row_notes(found, several=len(buses) > 1), *_absence_notes(never, missing))
    return Traffic(rows=found, buses=buses, never_heard=never, missing_nodes=missing, notes=notes)


def _check_above_zero(given: Mapping[str, float | None]) -> None:
    for name, value in given.items():
        if value is not None and not 0 < value < np.inf:
            raise ValueError(f"{name} is {value!r} (expected a finite number above zero)")


def _by_channel(frames: Frames, expected: Expected) -> tuple[tuple[Bus, ...], tuple[Row, ...]]:
    buses: list[Bus] = []
    found: list[Row] = []
    for number, channel in enumerate(frames.channels):
        places = np.flatnonzero(frames.channel == number)
        if not places.size:
            continue
        log = frames if places.size == len(frames) else chosen(frames, places)
        bits = lengths(log)
        buses.append(bus_load(log, found=bits, channel=channel, bit_rate=expected.bit_rate))
        found.extend(rows(log, found=bits, channel=channel, expected=expected))
    return tuple(buses), tuple(found)


def _senders(known: Mapping[Identifier, Any]) -> list[str]:
    return list(dict.fromkeys(sender for message in known.values() for sender in message.senders))


def _bus_notes(buses: tuple[Bus, ...]) -> Iterator[str]:
    for bus in buses:
        where = f"channel {bus.channel}: " if len(buses) > 1 else ""
        if bus.steps_back:
            times = "once" if bus.steps_back == 1 else f"{bus.steps_back} times"
            yield f"{where}the stamps step back {times}; no interval was measured across a step"
        if bus.errors:
            yield f"{where}{_counted(bus.errors, 'error frame')}, in no load"
        if bus.flexible:
            yield f"{where}no load is computed: {_counted(bus.flexible, 'frame')} of flexible data rate"


def _row_notes(found: tuple[Row, ...], *, several: bool) -> Iterator[str]:
    for row in found:
        name = f"channel {row.channel}: {row.name}" if several else row.name
        if row.duplicates:
            again = _counted(row.duplicates, "frame")
            yield f"{name}: {again} too soon and like the one before: logged twice, or stamped in batches"
        if row.gone:
            yield f"{name}: silent from {row.last:.6g} s on, {row.silent:.3g} s before the end"


def _counted(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _absence_notes(never: tuple[str, ...], missing: tuple[str, ...]) -> Iterator[str]:
    if never:
        yield f"never heard: {', '.join(never)}"
    if missing:
        yield f"no message of these nodes was heard: {', '.join(missing)}"
