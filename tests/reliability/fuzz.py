"""Spoilt replies and orders into every parser of a wire, and the page about it.

    python -m tests.reliability.fuzz --count 1000000 --write docs/fuzz.md

Seeded, in one process and without waiting; a million for each parser takes about half an hour. What must hold: nothing
is raised but our own errors, nothing is taken for what it is not, and nothing is switched but by a well-formed order.
"""

import argparse
import logging
import random
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from benchtest.clock import RealClock
from tests.reliability.bench_frames import FramesSideParser, ModbusSideParser, SlcanParser
from tests.reliability.bench_lines import LineSideParser
from tests.reliability.host_frames import CanParser, FramesParser, ModbusParser
from tests.reliability.host_lines import InstrumentParser, ScpiParser, TypedParser
from tests.reliability.mutations import Sample, spoilt
from tests.reliability.parsers import Misread, Parser

CLOCK: Final = RealClock()
PARSERS: Final[Mapping[str, Callable[[], Parser]]] = {
    "scpi": ScpiParser,
    "instrument": InstrumentParser,
    "typed": TypedParser,
    "frames": FramesParser,
    "rtu": lambda: ModbusParser(rtu=True),
    "tcp": lambda: ModbusParser(rtu=False),
    "can": CanParser,
    "line-side": LineSideParser,
    "frames-side": FramesSideParser,
    "rtu-side": lambda: ModbusSideParser(rtu=True),
    "tcp-side": lambda: ModbusSideParser(rtu=False),
    "slcan-side": SlcanParser,
}
SHOWN: Final = 10
"""Most misses that are told of one parser."""


@dataclass(slots=True)
class Tally:
    """What became of the samples of one parser."""

    name: str
    taken: int = 0
    refused: int = 0
    """As one of our errors, or with an error in the adapter's queue, or not answered at all."""
    accepted: int = 0
    escaped: int = 0
    misread: int = 0
    seconds: float = 0.0
    misses: list[str] = field(default_factory=list)
    """The first few of what must not happen."""

    def miss(self, text: str) -> None:
        if len(self.misses) < SHOWN:
            self.misses.append(text)


def fuzz(name: str, count: int, *, seed: int = 1) -> Tally:
    """Give a parser `count` spoilt samples of its corpus."""
    parser, chance = PARSERS[name](), random.Random(f"{name} {seed}")
    tally, begun = Tally(parser.name), CLOCK.now()
    for _ in range(count):
        take(parser, spoilt(parser.corpus, chance), tally)
    tally.seconds = CLOCK.now() - begun
    return tally


def take(parser: Parser, sample: Sample, tally: Tally) -> None:
    """Give a parser one sample, and count what became of it."""
    tally.taken += 1
    try:
        if parser.take(sample):
            tally.accepted += 1
        else:
            tally.refused += 1
    except Misread as misread:
        tally.misread += 1
        tally.miss(f"misread: {misread}")
    except Exception as escaped:  # noqa: BLE001 - this is what is looked for
        tally.escaped += 1
        tally.miss(f"escaped: {type(escaped).__name__}: {escaped} at {sample.ask} {sample.data!r}")


HEAD: Final = """# Spoilt bytes

Replies and orders of real conversations, changed once to three times (bits, bytes, pieces, numbers, marks, two joined
in one), given to every parser of a wire. Seeded, in one process, without waiting. Made by
`python -m tests.reliability.fuzz --count 1000000 --write docs/fuzz.md`.

Nothing may escape but our own errors; nothing may be misread: another's answer for this one, NaN for a value, part of a
block for the whole, a switched output without a well-formed order. Whether bytes were well-formed is said by patterns
and checksums written for this from the published layouts, not by the code under test. A parser of orders that knows no
errors counts as having refused what it did not answer.

"""


def main(arguments: Sequence[str]) -> int:
    """Fuzz; return 0 when nothing escaped and nothing was misread."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=10_000, help="spoilt samples for each parser")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--parser", action="append", choices=PARSERS, help="only this one; may be repeated")
    parser.add_argument("--write", type=Path, help="page to write")
    logging.disable()  # what libraries say of garbage
    said = parser.parse_args(arguments)
    tallies = []
    for name in said.parser or PARSERS:
        tallies.append(fuzz(name, said.count, seed=said.seed))
        print(row(tallies[-1]), *tallies[-1].misses, sep="\n", file=sys.stderr, flush=True)
    page = HEAD + table(tallies) + misses(tallies)
    print(page)
    if said.write is not None:
        said.write.write_text(page, encoding="utf-8")
    return 0 if not any(tally.escaped or tally.misread for tally in tallies) else 1


def table(tallies: Sequence[Tally]) -> str:
    """Return the table: what became of the samples, per parser."""
    head = ["| parser | samples | refused | accepted | escaped | misread | time / s |", "|---|---|---|---|---|---|---|"]
    return "\n".join([*head, *map(row, tallies)]) + "\n"


def row(tally: Tally) -> str:
    counts = (tally.taken, tally.refused, tally.accepted, tally.escaped, tally.misread)
    return f"| {tally.name} | {' | '.join(map(str, counts))} | {tally.seconds:.0f} |"


def misses(tallies: Sequence[Tally]) -> str:
    """Return what must not happen and did, one line each."""
    found = [f"- {tally.name}: {miss}" for tally in tallies for miss in tally.misses]
    return "\n" + "\n".join(found or ["Nothing escaped, and nothing was misread."]) + "\n"


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
