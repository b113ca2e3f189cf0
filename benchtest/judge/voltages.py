"""What is read from a stretch of samples: mean, r.m.s., how far it goes, contact resistance, open share."""

import math
from typing import assert_never

import numpy as np

from benchtest.instruments import Recording, Role
from benchtest.judge.finding import Case, Finding, Undecided
from benchtest.judge.window import ENDS, Window, row, values, window
from benchtest.metrology import uncertainty
from benchtest.metrology.budget import effective_freedom
from benchtest.metrology.figures import plain
from benchtest.metrology.uncertainty import NO_SCATTER, Budget, Scatter, scatter
from benchtest.procedure import ContactResistance, EffectiveValue, Extent, Mean, OpenShare
from benchtest.readings import Value
from benchtest.signals.cycles import effective
from benchtest.signals.levels import Samples

Averaged = Mean | Extent | EffectiveValue | ContactResistance | OpenShare


def find(case: Case, asked: Averaged) -> Finding:
    """Return what is asked of a stretch of samples, or of a single reading in place of it."""
    single = case.evidence(asked.evidence)
    if isinstance(single, Value):
        return _single(case, asked, single.value)
    recording = case.recorded(asked.evidence).recording
    if case.channel(asked.channel).two_valued:
        raise Undecided(f"{case.channel(asked.channel).terminals} was read as one of two states, not as volts")
    part = window(recording, start=asked.start, end=asked.end)
    if isinstance(asked, Extent):
        return _extent(case, asked, recording, part)
    samples = values(recording, asked.channel, part)
    match asked:
        case Mean(before=(begin, end)):
            usual = values(recording, asked.channel, window(recording, start=begin, end=end))
            return _change(case, asked.channel, samples, usual)
        case Mean(minus=other):
            if other is None:
                return Finding(value=float(samples.mean()), budget=_mean(case, asked.channel, samples))
            return _difference(case, asked.channel, other, samples, values(recording, other, part))
        case EffectiveValue():
            return _effective(case, asked.channel, samples)
        case ContactResistance():
            return _resistance(case, asked.channel, samples)
        case OpenShare():
            return _open_share(case, asked.channel, samples)
        case _:
            assert_never(asked)


def _single(case: Case, asked: Averaged, value: float) -> Finding:
    """Return what one reading of a contact says: volts behind the test circuit, or a meter's ohms."""
    channel, test = case.channel(asked.channel), case.procedure.contact_test
    if isinstance(asked, Mean | Extent | EffectiveValue):
        raise Undecided(f"evidence {asked.evidence!r} is not a recording")
    if channel.role is not Role.OHMS:
        if math.isinf(value):
            raise Undecided(f"{channel.terminals}: the meter was over range")
        one = np.array([value])
        resistance = isinstance(asked, ContactResistance)
        return _resistance(case, asked.channel, one) if resistance else _open_share(case, asked.channel, one)
    share, note = isinstance(asked, OpenShare), f"from {plain(value, 'Ω')}"
    if math.isinf(value):
        return Finding(value=1.0, note=note) if share else Finding(value=math.inf, note="open")
    budget = uncertainty.reading(value, channel.quality)
    if share:  # of the test voltage, what stands across this resistance behind `series`
        ohms = max(value, 0.0)  # a meter's zero may lie a little below
        budget = uncertainty.divided(budget, ohms=ohms, series=test.series)
        return Finding(value=ohms / (ohms + test.series), budget=budget, note=note)
    return Finding(value=value, budget=budget)


def _mean(case: Case, number: int, samples: Samples, *, repeat: Scatter | None = None) -> Budget:
    quality = case.channel(number).quality
    return uncertainty.reading(float(samples.mean()), quality, scatter(samples) if repeat is None else repeat)


def _difference(case: Case, number: int, other: int, samples: Samples, minus: Samples) -> Finding:
    """Subtract two channels; what their calibrations share cancels, common noise is seen in the difference itself."""
    difference = samples - minus
    budget = uncertainty.difference(
        _mean(case, number, samples, repeat=NO_SCATTER),
        _mean(case, other, minus, repeat=NO_SCATTER),
        repeat=scatter(difference),
        unit=case.channel(number).quality.unit,
    )
    return Finding(value=float(difference.mean()), budget=budget)


def _change(case: Case, number: int, samples: Samples, usual: Samples) -> Finding:
    """Subtract what the same channel had before; its offset cancels, and is counted all the same."""
    both = [(one.standard, one.freedom) for one in (scatter(samples), scatter(usual))]
    standard = math.hypot(*(part for part, _ in both))
    repeat = Scatter(standard=standard, freedom=effective_freedom(standard, both))
    change = float(samples.mean() - usual.mean())
    return Finding(value=change, budget=uncertainty.reading(change, case.channel(number).quality, repeat))


def _extent(case: Case, asked: Extent, recording: Recording, part: Window) -> Finding:
    """Return the lowest sample or the whole swing; what lies beyond the range is beyond every limit."""
    line = row(recording, asked.channel)
    codes, scale = recording.codes[line, part.begin : part.end], recording.scale[line]
    least, most = int(codes.min()), int(codes.max())
    below, above = least == ENDS.min, most == ENDS.max
    if scale < 0:  # an inverting channel: its greatest code is its lowest value
        least, most, below, above = most, least, above, below
    if below or (asked.of != "lowest" and above):
        return Finding(value=-math.inf if asked.of == "lowest" else math.inf, note="beyond the range of the channel")
    quality = case.channel(asked.channel).quality
    low, high = (code * scale + recording.offset[line] for code in (least, most))
    if asked.of == "lowest":
        return Finding(value=low, budget=uncertainty.reading(low, quality))
    return Finding(value=high - low, budget=uncertainty.reading(high - low, quality))


def _effective(case: Case, number: int, samples: Samples) -> Finding:
    found, channel = effective(samples), case.channel(number)
    if not found.cycles and found.alternating > channel.plus + channel.resolution + abs(found.value) * 0.01:
        raise Undecided("less than one whole cycle in the window")
    repeat = Scatter(standard=found.scatter, freedom=uncertainty.freedom_of_mean(found.cycles))
    budget = uncertainty.effective(found.value, channel.quality, repeat=repeat, ends=found.ends)
    note = f"over {found.cycles} cycles" if found.cycles else "no cycle in it"
    return Finding(value=found.value, budget=budget, note=note)


def _resistance(case: Case, number: int, samples: Samples) -> Finding:
    test, volts = case.procedure.contact_test, abs(float(samples.mean()))  # a pair may be wired either way round
    if volts >= test.voltage * (1 - test.tolerance):  # no current that could be told from none
        return Finding(value=math.inf, note="open")
    budget = uncertainty.contact_resistance(
        _mean(case, number, samples),
        volts=volts,
        source=test.voltage,
        series=test.series,
        tolerance=test.tolerance,
        leads=test.leads,
    )
    return Finding(value=volts * test.series / (test.voltage - volts), budget=budget)


def _open_share(case: Case, number: int, samples: Samples) -> Finding:
    test, volts = case.procedure.contact_test, abs(float(samples.mean()))
    budget = uncertainty.quotient(
        _mean(case, number, samples), value=volts, divisor=test.voltage, tolerance=test.tolerance
    )
    return Finding(value=volts / test.voltage, budget=budget)
