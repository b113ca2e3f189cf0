"""Lamps that give codes: bring the board into the state, let the old code run out, then watch three cycles.

Two complete equal repeats make a code, each between two whole pauses. At the unluckiest phase that takes three cycles
and a pause, of the longest code in the lamp's table, so that a wrong code is read as well as the right one.
"""

from collections.abc import Mapping
from dataclasses import replace

from benchtest.instruments import Role
from benchtest.plan.checks import Maker, evidence_of
from benchtest.plan.timeline import Draft, Timeline, rest
from benchtest.procedure import (
    Check,
    CountRhythm,
    DigitsRhythm,
    LampCode,
    Move,
    Rhythm,
    SignalValue,
    Step,
)
from benchtest.profile.board import Code, CountCode, DigitsCode
from benchtest.profile.requirements import required
from benchtest.profile.script import ReadCode

CYCLES = 3
SLOW_BOARD = 1.05  # the board's clock may be slow, and so may be the answer of its lamp; common practice, no source
SAMPLES_PER_FLASH = 30  # of the shortest flash; enough for a tenth of a flash with margin


def read_code(draft: Draft, step: ReadCode, number: int) -> Step:
    """Return the step that reads the codes of lamps under given conditions."""
    name = f"code-{number}"
    codes = {lamp: draft.profile.codes[draft.profile.lamps[lamp].code or ""] for lamp in step.reads}
    longest = max(longest_cycle(code) for code in codes.values()) * SLOW_BOARD
    watching = max(CYCLES * longest_cycle(code) + code.pause for code in codes.values()) * SLOW_BOARD
    channels = {lamp: draft.wiring.channel(Role.LIGHT, lamp, f"lamp {lamp}") for lamp in step.reads}
    evidence = f"{name}-watch"
    asked = {lamp: _code(draft, lamp, codes[lamp], evidence, channels[lamp]) for lamp in step.reads}
    rate = _rate(draft, codes, asked)
    watch = Timeline(draft).record(evidence, duration=watching, rate=rate, channels=sorted(channels.values()))
    moves: list[Move] = [_before(draft, step, name, longest), watch, _after(draft, step, name)]
    checks = []
    for lamp, expected in step.reads.items():
        maker = Maker(draft=draft, step=name, subject=lamp, key=("codes", draft.profile.lamps[lamp].code or ""))
        shown = maker.word(f"code, {_situation(step)}", asked[lamp], expected, f"lamp {lamp}", "meanings")
        shown = evidence_of(shown, *required(draft.profile, "lamps", lamp))
        checks.append(replace(shown, place=draft.place_in_step(number, "reads", lamp)))
        checks += _reported(draft, codes[lamp], maker, evidence, watching, expected, step)
    title = f"Lamp codes, {_situation(step)}"
    return Step(id=name, title=title, moves=tuple(moves), checks=tuple(checks), duration=0.0)


def _code(draft: Draft, lamp: str, code: Code, evidence: str, channel: int) -> LampCode:
    """Return what is read of one lamp, and the pulses that its program dims it by."""
    what, dimmed = LampCode(evidence=evidence, channel=channel, rhythm=rhythm(code)), draft.profile.lamps[lamp].dimmed
    return what if dimmed is None else replace(what, dimmed=dimmed.frequency, share=dimmed.share)


def _rate(draft: Draft, codes: Mapping[str, Code], asked: Mapping[str, LampCode]) -> float:
    """Return the samples per second that show every flash and, of dimmed lamps, the pulses as what they are."""
    flashes = max(SAMPLES_PER_FLASH / _shortest(code) for code in codes.values())
    return min(draft.rate, max(flashes, *(what.pulse_rate for what in asked.values())))


def _reported(
    draft: Draft, code: Code, maker: Maker, evidence: str, watching: float, expected: str, step: ReadCode
) -> list[Check]:
    """The board says on its link what the lamp shows."""
    link = draft.profile.link
    if link is None or not isinstance(code, CountCode) or code.reported is None:
        return []
    what = SignalValue(evidence=evidence, message=link.board.message, signal=code.reported, start=0.0, end=watching)
    name = f"reported code, {_situation(step)}"
    return [maker.word(name, what, expected, f"link {link.terminals}", "reported")]


def _situation(step: ReadCode) -> str:
    given = [f"{name} {state}" for name, state in step.given.inputs.items()]
    given += [f"{relay} commanded" for relay in step.given.energised]
    given += ["link silent"] if step.given.link == "silent" else []
    return ", ".join(given) or "at rest"


def _before(draft: Draft, step: ReadCode, name: str, longest: float) -> Move:
    """Bring the state about and wait until the running repeat has ended."""
    timeline = Timeline(draft)
    at = draft.pace.quiet
    for thing, state in step.given.inputs.items():
        timeline.input(at, thing, state)
    at = timeline.prepare(at + draft.pace.gap, step.given.energised)
    if step.given.link == "silent":
        timeline.heartbeat(at, alive=False)
        at += draft.link().lost_after.high
    return timeline.record(f"{name}-before", duration=at + longest, rate=100.0, channels=_current(draft, step))


def _after(draft: Draft, step: ReadCode, name: str) -> Move:
    """Give everything back."""
    timeline = Timeline(draft)
    at = timeline.undo(draft.pace.quiet, step.given.energised)
    for thing in step.given.inputs:
        timeline.input(at, thing, rest(draft.profile.inputs[thing]))
    if step.given.link == "silent":
        timeline.heartbeat(at, alive=True)
        at += draft.link().back_within.high
    end = at + draft.pace.gap + draft.pace.settled
    return timeline.record(f"{name}-after", duration=end, rate=100.0, channels=_current(draft, step))


def _current(draft: Draft, step: ReadCode) -> list[int]:
    return sorted(draft.wiring.channel(Role.LIGHT, lamp, f"lamp {lamp}") for lamp in step.reads)


def rhythm(code: Code) -> Rhythm:
    """Return what the judge must know of a code's rhythm."""
    if isinstance(code, CountCode):
        return CountRhythm(flash=code.flash, gap=code.gap, pause=code.pause)
    return DigitsRhythm(
        slow=code.slow,
        quick=code.quick,
        between_digits=code.between_digits,
        between_probes=code.between_probes,
        pause=code.pause,
        probes=len(code.probes),
    )


def longest_cycle(code: Code) -> float:
    """Return the seconds of the longest cycle that the code's table allows."""
    if isinstance(code, CountCode):
        return max(code.meanings) * code.flash + (max(code.meanings) - 1) * code.gap + code.pause
    one = max(_digits(code, digits) for digits in code.meanings)
    return len(code.probes) * one + (len(code.probes) - 1) * code.between_probes + code.pause


def _digits(code: DigitsCode, digits: str) -> float:
    slow, quick = (int(digit) for digit in digits)
    return (2 * slow - 1) * code.slow + code.between_digits + (2 * quick - 1) * code.quick


def _shortest(code: Code) -> float:
    return min(code.flash, code.gap) if isinstance(code, CountCode) else code.quick
