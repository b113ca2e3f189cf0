"""A lamp that was recorded: its code with a stated confidence, what else it did, and its rhythm in plain figures."""

from dataclasses import dataclass
from typing import Final

from benchtest.measure import stated
from benchtest.measure.measured import Input, Level, Mark, Measured, Quantity, Trace
from benchtest.measure.picture_text import level_text
from benchtest.measure.stated import Instrument
from benchtest.procedure import CountRhythm, Rhythm
from benchtest.signals.found import Found
from benchtest.signals.lamp import Code, decode
from benchtest.signals.rhythm import Stretch

OPEN: Final = frozenset({"doubtful", "dark or steady"})
"""Words that leave the main question open."""
DECLARED, LEARNED = "as declared", "learned from the record"


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LampFile:
    """What a person hands in, and how it shall be read."""

    light: Input
    rhythm: Rhythm | None = None
    """None: learned from the record."""
    low: float | None = None
    high: float | None = None


def measure_lamp(file: str, asked: LampFile) -> Measured:
    """Return what a lamp gave."""
    found = decode(asked.light.series, asked.rhythm, asked.low, asked.high)
    rhythm = found.rhythm if asked.rhythm is None else asked.rhythm
    quantities = [
        stated.word("code", found.word, _meaning(asked), note=found.pattern),
        stated.ratio(
            "confidence", Found.known(found.confidence), "", "probability that the word is right, at the noise seen"
        ),
        *_repeats(found),
        *_rhythm(rhythm, LEARNED if asked.rhythm is None else DECLARED),
        *_carrier(found),
    ]
    levels = _levels(asked)
    marks = tuple(_mark(one) for one in found.stretches if one.lit and one.whole)
    trace = Trace(name=asked.light.name, unit=asked.light.unit, series=asked.light.series, marks=marks, levels=levels)
    return Measured(
        kind="lamp",
        file=file,
        quantities=tuple(quantities),
        notes=asked.light.notes,
        traces=(trace,),
        settled=found.word not in OPEN,
    )


def _mark(flash: Stretch) -> Mark:
    kind = f" {flash.kind}" if flash.kind in {"slow", "quick", "odd"} else ""
    return Mark(at=flash.begin, text=f"{flash.duration:.3g} s{kind}")


def _meaning(asked: LampFile) -> str:
    how = DECLARED if asked.rhythm is not None else LEARNED
    return f"two complete equal repeats of a rhythm {how}; else dark, steady, flashing, irregular or doubtful"


def _repeats(found: Code) -> list[Quantity]:
    text = ", ".join(found.repeats)
    return [stated.word("repeats", text or "none", "every whole repeat as it was read, in order")]


def _rhythm(rhythm: Rhythm | None, how: str) -> list[Quantity]:
    if rhythm is None:
        return []
    if isinstance(rhythm, CountRhythm):
        parts = {"flash": rhythm.flash, "gap": rhythm.gap, "pause": rhythm.pause}
    else:
        parts = {
            "slow flash": rhythm.slow,
            "quick flash": rhythm.quick,
            "between digits": rhythm.between_digits,
            "between probes": rhythm.between_probes,
            "pause": rhythm.pause,
        }
    return [
        stated.time(name, Found.known(value), f"usual duration, {how}", Instrument()) for name, value in parts.items()
    ]


def _carrier(found: Code) -> list[Quantity]:
    if found.carrier is None:
        return []
    definition = "dimming or mains flicker beside the rhythm; what sampling folds may be a higher one"
    return [stated.value("carrier", Found.known(found.carrier), "Hz", definition, Instrument())]


def _levels(asked: LampFile) -> tuple[Level, ...]:
    named = {"dark": asked.low, "lit": asked.high}
    return tuple(
        Level(value=value, text=level_text(name, value, asked.light.unit))
        for name, value in named.items()
        if value is not None
    )
