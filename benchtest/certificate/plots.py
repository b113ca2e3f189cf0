"""Pictures of what happened: per relay one panel for each recorded move, per coded lamp one strip.

Plain SVG written as text, the same in PDF and HTML: black ink is `currentColor`, so that it turns white on a dark
screen. Traces are thinned to the lowest and highest sample of each column, so that no spike gets lost. What to draw
follows from the checks: the recordings and channels that they read, and the delays that they found.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from benchtest.certificate.glyphs import shown_or_named
from benchtest.certificate.lines import as_read
from benchtest.instruments import Recording, Role
from benchtest.language import Language
from benchtest.metrology.figures import plain
from benchtest.procedure import Channel, ContactResistance, Delay, LampCode, OpenShare, Record, State, StateOf
from benchtest.readings import Readings, Recorded
from benchtest.results import Result, Run
from benchtest.signals.contact import arrival

WIDTH: Final = 340.0
LEFT: Final = 64.0
"""Room for the lanes' names."""
LANE: Final = 26.0
FOOT: Final = 18.0
COLUMNS: Final = 240
"""Columns of a trace; each gives two points at most."""
MOVES: Final = 2
"""Orders drawn per subject: there and back."""
MARGIN: Final = 0.02
"""Seconds that are drawn after an order at least."""
MOST_TICKS: Final = 6
FONT: Final = "DejaVu Sans"
Samples: TypeAlias = NDArray[np.float64]
ACCENT: Final = "#0a7285"
_LANES: Final = (Role.SENSE, Role.CONTACT, Role.LIGHT, Role.CURRENT)


@dataclass(frozen=True, kw_only=True, slots=True)
class Panel:
    """One drawing with its text alternative."""

    title: str
    svg: str
    alternative: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Figure:
    """The drawings of one subject."""

    title: str
    panels: tuple[Panel, ...]


def draw_figures(run: Run, readings: Readings, words: Language) -> tuple[Figure, ...]:
    """Return one figure per subject whose delays or lamp codes were read from recordings that are there."""
    subjects: dict[str, list[Result]] = {}
    for result in run.results:
        subjects.setdefault(result.check.subject, []).append(result)
    drawn = [Figure(title=name, panels=_panels(run, readings, found, words)) for name, found in subjects.items()]
    return tuple(figure for figure in drawn if figure.panels)


def _panels(run: Run, readings: Readings, results: Sequence[Result], words: Language) -> tuple[Panel, ...]:
    strips = [_strip(run, r, found, words) for r in results if (found := _code_recording(readings, r)) is not None]
    moves: dict[tuple[str, float], list[Result]] = {}
    for result in results:
        if isinstance(result.check.measurand, Delay):
            moves.setdefault((result.check.measurand.evidence, result.check.measurand.since.at), []).append(result)
    drawn = [
        _switching(run, name, recorded, delays, beside=_beside(results, name), words=words)
        for (name, _), delays in list(moves.items())[:MOVES]
        if isinstance(recorded := readings.evidence.get(name), Recorded)
    ]
    return (*drawn, *strips)


def _beside(results: Sequence[Result], name: str) -> list[int]:
    """Return the channels of a recording that the checks of a subject look at besides its delays."""
    channels = []
    for result in results:
        match result.check.measurand:
            case ContactResistance() | OpenShare() | StateOf() as looked if looked.evidence == name:
                channels.append(looked.channel)
            case _:
                pass
    return channels


def _code_recording(readings: Readings, result: Result) -> Recording | None:
    if not isinstance(result.check.measurand, LampCode):
        return None
    recorded = readings.evidence.get(result.check.measurand.evidence)
    return recorded.recording if isinstance(recorded, Recorded) else None


def _step(run: Run, evidence: str) -> str:
    """Return the title of the step that recorded some evidence."""
    recorded = ((step, move) for step in run.procedure.steps for move in step.moves if isinstance(move, Record))
    return next((step.title for step, move in recorded if move.name == evidence), evidence)


# ---------------------------------------------------------------- switching


@dataclass(frozen=True, kw_only=True, slots=True)
class _Edge:
    """A delay that was found: where it ends, and what it is called."""

    channel: int
    at: float
    text: str


def _switching(
    run: Run, name: str, recorded: Recorded, delays: Sequence[Result], *, beside: Sequence[int], words: Language
) -> Panel:
    """Draw what followed one order: its channels from a little before it to a little after the last arrival."""
    known, recording = run.procedure.channels, recorded.recording
    asked = [(r, r.check.measurand) for r in delays if isinstance(r.check.measurand, Delay)]
    ordered = _ordered(recorded, asked[0][1])
    found = (_edge(known, recorded, result, delay, words) for result, delay in asked)
    edges = [edge for edge in found if edge is not None]
    span = max(MARGIN, 2.5 * (max([edge.at for edge in edges], default=ordered) - ordered))
    start, end = max(0.0, ordered - 0.3 * span), min(recording.duration, ordered + span)
    axis = _Axis(start=start, end=max(end, start + 1 / recording.rate), zero=ordered)
    causes = [delay.since.channel for _, delay in asked if delay.since.channel is not None]
    lanes = [_command(axis, ordered, words)]
    for row, channel in enumerate(_shown(known, recording, {d.channel for _, d in asked}.union(causes, beside)), 1):
        marks = [edge for edge in edges if edge.channel == channel]
        label = words.phrase(known[channel].terminals)
        lanes.append(_lane(axis, recording, channel, known[channel], name=label, row=row, edges=marks))
    told = "; ".join(f"{words.phrase(r.check.title)} {as_read(r, words)}" for r, _ in asked)
    step = words.phrase(_step(run, name))
    title = words.say("plot_title", step=step, time=words.number(plain(ordered, "s")))
    alternative = words.say("plot_traces", title=title, found=told)
    return Panel(title=title, svg=_svg(lanes, axis, words), alternative=alternative)


def _ordered(recorded: Recorded, delay: Delay) -> float:
    """Return when the order was carried out that the delay counts from, or as near as is known."""
    planned = delay.since.at
    done = [order.at for order in recorded.recording.done] if delay.since.order == "bench" else list(recorded.said)
    ordered = min(done, key=lambda at: abs(at - planned), default=planned)
    if not delay.since.last_sent:
        return ordered
    sent = [m.at for m in recorded.messages if m.sent and m.name == delay.since.last_sent and m.at <= ordered]
    return max(sent, default=ordered)


def _edge(
    known: Mapping[int, Channel], recorded: Recorded, result: Result, delay: Delay, words: Language
) -> _Edge | None:
    """Return where to mark a delay that was found; None when its cause cannot be seen again."""
    if not isinstance(result.value, float) or not math.isfinite(result.value):
        return None
    cause: float | None = _ordered(recorded, delay)
    if cause is not None and delay.since.channel is not None and delay.since.state is not None:
        cause = _arrived(known, recorded.recording, delay.since.channel, delay.since.state, after=cause)
    if cause is None:
        return None
    return _Edge(channel=delay.channel, at=cause + result.value, text=words.number(plain(result.value, "s", digits=3)))


def _arrived(
    known: Mapping[int, Channel], recording: Recording, number: int, state: State, *, after: float
) -> float | None:
    """Return when a channel came to a state, in seconds of the recording."""
    if number not in recording.channels:
        return None
    channel, first = known[number], math.ceil(after * recording.rate) - 1
    above = state in {"broken", "lit", "high"}
    found = arrival(recording.samples(number), low=channel.low, high=channel.high, above=above, after=first)
    return None if found.moment is None else found.moment / recording.rate


def _shown(known: Mapping[int, Channel], recording: Recording, looked: Collection[int]) -> list[int]:
    """Return the channels to draw, coil first, then contacts, then the lamp."""
    there = [channel for channel in recording.channels if channel in looked and known[channel].role in _LANES]
    return sorted(there, key=lambda channel: (_LANES.index(known[channel].role), channel))


# ---------------------------------------------------------------- ink


@dataclass(frozen=True, kw_only=True, slots=True)
class _Axis:
    """The stretch of a recording that is drawn; moments in seconds."""

    start: float
    end: float
    zero: float
    """Moment that the axis calls 0."""

    def x(self, at: float) -> float:
        share = (at - self.start) / (self.end - self.start)
        return LEFT + min(1.0, max(0.0, share)) * (WIDTH - LEFT - 4)


def _svg(lanes: Sequence[str], axis: _Axis, words: Language) -> str:
    height = len(lanes) * LANE + FOOT
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" '
    font = f'font-family="\'{FONT}\', sans-serif" font-stretch="condensed" font-size="9" fill="currentColor"'
    body = "".join(lanes) + _ticks(axis, len(lanes) * LANE, words)
    return f"{head}{font}>{body}</svg>"


def _ticks(axis: _Axis, y: float, words: Language) -> str:
    step = 10.0 ** math.floor(math.log10(axis.end - axis.start))
    steps = (step / 5, step / 2, step, 2 * step)
    step = next(s for s in steps if (axis.end - axis.start) / s <= MOST_TICKS)
    drawn = [f'<path d="M{LEFT:g} {y:g}H{WIDTH - 4:g}" stroke="currentColor" stroke-width=".5"/>']
    for number in range(math.ceil((axis.start - axis.zero) / step), math.floor((axis.end - axis.zero) / step) + 1):
        x = axis.x(axis.zero + number * step)
        drawn.append(f'<path d="M{x:.1f} {y:g}v3" stroke="currentColor" stroke-width=".5"/>')
        shown = words.number(plain(number * step, "s"))
        drawn.append(_text(x, y + 12, shown, anchor="middle" if x < WIDTH - 20 else "end"))
    return "".join(drawn)


def _text(x: float, y: float, words: str, *, anchor: str = "start", fill: str = "currentColor") -> str:
    shown = escape(shown_or_named(words))
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{fill}">{shown}</text>'


def _path(points: Sequence[tuple[float, float]]) -> str:
    joined = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return f'<path d="M{joined}" fill="none" stroke="currentColor" stroke-width=".9" stroke-linejoin="round"/>'


def _command(axis: _Axis, ordered: float, words: Language) -> str:
    """Mark the moment of the order."""
    x = axis.x(ordered)
    line = f'<path d="M{x:.1f} 4V{LANE:g}" stroke="{ACCENT}" stroke-width="1.4"/>'
    return f'{_text(0, LANE - 8, words.say("plot_order"))}{line}<path d="M{x - 4:.1f} 4h8l-4 7z" fill="{ACCENT}"/>'


def _lane(
    axis: _Axis,
    recording: Recording,
    channel: int,
    known: Channel,
    *,
    name: str,
    row: int,
    edges: Sequence[_Edge],
) -> str:
    top = row * LANE
    at, low, high = _thinned(recording, channel, axis)
    bottom, ceiling = (
        min(0.0, float(low.min(initial=0.0))),
        max(float(high.max(initial=0.0)), known.high, 1e-9),
    )

    def y(value: float) -> float:
        return top + LANE - 3 - (value - bottom) / (ceiling - bottom) * (LANE - 8)

    points = [
        (axis.x(float(a)), y(float(v)))
        for a, lo, hi in zip(at, low, high, strict=True)
        for v in dict.fromkeys((lo, hi))
    ]
    drawn = _text(0, top + LANE - 8, name) + _path(_bends(points))
    for edge in edges:
        x = axis.x(edge.at)
        drawn += f'<path d="M{x:.1f} {top + 2:g}V{top + LANE:g}" stroke="{ACCENT}" stroke-dasharray="2 1.5"/>'
        before = x > LEFT + 36  # where nothing has moved yet, unless the edge is too far on the left
        drawn += _text(x + (-3 if before else 3), top + 16, edge.text, anchor="end" if before else "start", fill=ACCENT)
    return drawn


def _thinned(recording: Recording, channel: int, axis: _Axis) -> tuple[Samples, Samples, Samples]:
    """Return moments with the lowest and the highest sample of each column."""
    first, last = round(axis.start * recording.rate), round(axis.end * recording.rate)
    samples = recording.samples(channel)[first:last]
    width = max(1, -(-len(samples) // COLUMNS))
    starts = np.arange(0, len(samples), width)
    if not len(samples):
        return starts.astype(float), samples, samples
    moments = axis.start + starts / recording.rate
    return moments, np.minimum.reduceat(samples, starts), np.maximum.reduceat(samples, starts)


def _bends(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Leave out the points in the middle of a level stretch, to a tenth of a unit."""
    levels = [round(y, 1) for _, y in points]
    inner = range(1, len(points) - 1)
    kept = {0, len(points) - 1} | {i for i in inner if not levels[i - 1] == levels[i] == levels[i + 1]}
    return [points[i] for i in sorted(kept) if i >= 0]


# ---------------------------------------------------------------- lamp codes


def _strip(run: Run, result: Result, recording: Recording, words: Language) -> Panel:
    """Draw when a lamp was lit: a bar from each lighting to each darkening."""
    code = result.check.measurand
    assert isinstance(code, LampCode)
    channel = run.procedure.channels[code.channel]
    axis = _Axis(start=0.0, end=recording.duration, zero=0.0)
    read = words.say("plot_read", code=as_read(result, words))
    bars = [_text(0, LANE - 8, words.phrase(channel.terminals)), _text(LEFT, 9, read, fill=ACCENT)]
    stretches = _lit(recording.samples(code.channel), channel, recording.rate)
    bars += [
        f'<rect x="{axis.x(on):.1f}" y="{LANE - 12:g}" width="{axis.x(off) - axis.x(on):.1f}" height="12"/>'
        for on, off in stretches
    ]
    told = ", ".join(
        words.say(
            "plot_lit", time=words.number(plain(off - on, "s", digits=2)), at=words.number(plain(on, "s", digits=3))
        )
        for on, off in stretches[:40]
    )
    title = words.phrase(result.check.title)
    alternative = words.say("plot_strip", title=title, read=read, found=told or words.say("plot_dark"))
    step = words.phrase(_step(run, code.evidence))
    return Panel(title=step, svg=_svg(["".join(bars)], axis, words), alternative=alternative)


def _lit(samples: Samples, channel: Channel, rate: float) -> list[tuple[float, float]]:
    """Return the stretches in seconds between going above `high` and going below `low`."""
    known = np.flatnonzero((samples > channel.high) | (samples < channel.low))
    above = samples[known] > channel.high
    turns = np.flatnonzero(np.diff(above, prepend=False, append=False))
    moments = [float(known[turn]) / rate if turn < len(known) else len(samples) / rate for turn in turns]
    return list(zip(moments[::2], moments[1::2], strict=True))
