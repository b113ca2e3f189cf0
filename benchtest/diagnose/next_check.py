"""The next best check: what would tell the suspects apart best for each minute that it takes.

Two kinds are weighed: what the procedure had not got to, with what the library expects of each suspect, and what a
person can measure at the board by hand. The gain of a check is the entropy that its answer takes from the suspects.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from benchtest.diagnose.library import Library, Signature
from benchtest.diagnose.suspects import Diagnosis, Suspect
from benchtest.diagnose.symptoms import IN_ORDER
from benchtest.faults import BETWEEN
from benchtest.metrology.figures import plain
from benchtest.procedure import Check, Step

CONSIDERED: Final = 6
"""Suspects that a next check should tell apart; the others together are too unlikely to look for."""
LEAST: Final = 0.005
"""Probability below which a suspect need not be told apart."""
BY_HAND: Final = 2.0
"""Minutes for one measurement by hand (common practice, no source)."""
TO_REPEAT: Final = 0.5
"""Minutes to start one step of a procedure."""
WORTH: Final = 0.05
"""Bits below which a check is not worth its while."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Expected:
    """What a check should give where one suspect is the cause."""

    fault: str
    value: str


@dataclass(frozen=True, kw_only=True, slots=True)
class NextCheck:
    """A measurement that would tell suspects apart."""

    instruction: str
    minutes: float
    gain: float
    """Bits."""
    expected: tuple[Expected, ...]
    """For every suspect that was considered, the likeliest first."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ByHand:
    """Something that a person can measure at a part, and what it gives with each kind of fault."""

    instruction: str
    """`{at}` is where, `{part}` the part's name."""
    channel: str
    """What the thing behind the terminals is called (`Channel.name`); `{part}` as above."""
    usual: str
    """What it gives when this is in order."""
    kinds: Mapping[str, str]
    """Kind of fault → what it gives then; every other kind gives the usual."""


PART_OFF: Final = "take all supplies off, wait until the capacitors are empty, and"
HAND: Final = (
    ByHand(
        instruction=f"{PART_OFF} measure ohms across the coil of {{part}}, {{at}}",
        channel="coil of {part}",
        usual="as across the other coils",
        kinds={
            "coil open": "open, or only what lies beside the coil",
            "coil turns shorted": "clearly less than across the other coils",
            "suppressor shorted": "about 0 Ω",
            "driver shorted": "as across the other coils",
        },
    ),
    ByHand(
        instruction="with {part} commanded, measure d.c. volts across its coil, {at}",
        channel="coil of {part}",
        usual="the supply's voltage",
        kinds={
            "driver open": "about 0 V",
            "suppressor shorted": "about 0 V; the supply is in current limit",
            "coil open": "the supply's voltage",
        },
    ),
    ByHand(
        instruction=f"{PART_OFF} measure ohms across the make contact of {{part}}, {{at}}, and tap the relay",
        channel="make contact of {part}",
        usual="open, and stays so",
        kinds={
            "contact welded": "less than 1 Ω, and stays so",
            "contact sticks and breaks free": "less than 1 Ω at first, open after a tap",
            "open contact leaks": "some kΩ",
        },
    ),
    ByHand(
        instruction="with {part} commanded ten times, measure ohms across its make contact, {at}, each time",
        channel="make contact of {part}",
        usual="well below 1 Ω every time",
        kinds={
            "contact never closes": "open every time",
            "coil open": "open every time",
            "driver open": "open every time",
            "contact misses now and then": "open now and then",
            "contact chatters": "jumps",
            "contact resistance high": "too many ohms",
        },
    ),
    ByHand(
        instruction="look at lamp {part} from near by while it should be lit, and press lightly beside it",
        channel="lamp {part}",
        usual="fully lit",
        kinds={
            "lamp dark": "dark",
            "lamp dim": "lit, but weakly",
            "lamp flickers": "comes and goes",
        },
    ),
    ByHand(
        instruction="make and take away the signal of {part}, {at}, and measure behind its input circuit",
        channel="{part}",
        usual="follows the signal",
        kinds={
            "input stuck": "stays as without the signal",
            "input always active": "stays as with the signal",
            "input threshold shifted": "follows late or not all the way",
        },
    ),
    ByHand(
        instruction="with the switch or signal of {part} made, measure at the board's own terminals, {at}",
        channel="{part}",
        usual="the signal is there",
        kinds={"input not read now and then": "comes and goes when the plug is moved"},
    ),
)
"""Measurements at one part (common practice, no source)."""


def next_check(diagnosis: Diagnosis, library: Library, tested: Iterable[str]) -> NextCheck | None:
    """Return what splits the suspects most for its time; None when nothing does, or nobody is suspected.

    `tested` names the checks that have already said something.
    """
    best = max(offers(diagnosis, library, tested), key=lambda offer: offer.gain / offer.minutes, default=None)
    return best if best is not None and best.gain > WORTH else None


def offers(diagnosis: Diagnosis, library: Library, tested: Iterable[str] = ()) -> list[NextCheck]:
    """Return every check that could be made next, with what it would give."""
    suspects = [suspect for suspect in diagnosis.suspects if suspect.known][:CONSIDERED]
    faults = [(fault, share) for suspect in suspects for fault, share in _shares(suspect) if share > LEAST]
    if not faults:
        return []
    faults += [(NONE_OF_THESE, suspect.probability) for suspect in diagnosis.suspects if not suspect.known]
    return [*_by_hand(faults, library), *_by_procedure(faults, library, frozenset(tested))]


UNFORETOLD: Final = "cannot be foretold"
NONE_OF_THESE: Final = Signature(
    fault="none of these",
    sentence="",
    repair="",
    kind="",
    subject="",
    prior=1.0,
    boards=1,
    words={},
    reached={},
    values={},
)
"""What is not known gives, for all that is known of it, what a part in order gives."""
_Faults = Sequence[tuple[Signature, float]]


def _shares(suspect: Suspect) -> Iterator[tuple[Signature, float]]:
    """Yield the faults of one suspect with what each has of its probability."""
    whole = sum(fault.prior for fault in suspect.faults)
    yield from ((fault, suspect.probability * fault.prior / whole) for fault in suspect.faults)


def _by_hand(faults: _Faults, library: Library) -> Iterator[NextCheck]:
    where = {channel.name: channel.terminals for channel in library.procedure.channels.values() if channel.name}
    where |= {channel.terminals: channel.terminals for channel in library.procedure.channels.values()}
    for part in dict.fromkeys(fault.subject for fault, _ in faults if fault.subject):
        of_part = frozenset(check.id for check in library.checks if check.subject == part)
        for hand in HAND:
            at = where.get(hand.channel.format(part=part))
            if at is None:
                continue
            values = [_by_meter(fault, part, hand, of_part) for fault, _ in faults]
            instruction = hand.instruction.format(part=part, at=f"between {at.replace('-', ' and ')}")
            yield _offer(instruction, BY_HAND, faults, values)


def _by_meter(fault: Signature, part: str, hand: ByHand, of_part: frozenset[str]) -> str:
    """Return what a measurement at a part gives with a fault; unknown of one elsewhere that reaches the part."""
    if part in fault.subject.split(BETWEEN):
        return hand.kinds.get(fault.kind, hand.usual)
    return UNFORETOLD if any(check in of_part for check, _ in fault.looks()) else hand.usual


def _by_procedure(faults: _Faults, library: Library, tested: frozenset[str]) -> Iterator[NextCheck]:
    for step in library.procedure.steps:
        for check in step.checks:
            if check.id not in tested:
                values = [_value(fault, check, library) for fault, _ in faults]
                minutes = TO_REPEAT + step.duration / 60
                yield _offer(_instruction(check, step), minutes, faults, values)


def _instruction(check: Check, step: Step) -> str:
    at = f" ({check.probe})" if check.probe else ""
    return f"do the step '{step.title}' once the cause of the stop is removed, and read {check.title}{at}"


def _value(fault: Signature, check: Check, library: Library) -> str:
    """Return what the library expects of a check with a fault, in words."""
    words = fault.words.get(check.id, {})
    word = max(words, key=lambda one: words[one], default=IN_ORDER)
    if sum(words.values()) * 2 <= fault.boards:
        word = IN_ORDER
    value = fault.values.get(check.id) if word != IN_ORDER else library.usual.get(check.id)
    if isinstance(value, (int, float)):
        return f"about {plain(float(value), check.unit)}" if math.isfinite(value) else "open"
    return str(value) if value is not None else word


def _offer(instruction: str, minutes: float, faults: _Faults, values: Sequence[str]) -> NextCheck:
    expected = tuple(Expected(fault=fault.fault, value=value) for (fault, _), value in zip(faults, values, strict=True))
    gain = _gain([share for _, share in faults], values)
    return NextCheck(instruction=instruction, minutes=minutes, gain=gain, expected=expected)


def _gain(shares: Sequence[float], values: Sequence[str]) -> float:
    """Return the bits that an answer is expected to take: suspects that give the same answer stay together."""
    whole = sum(shares)
    answers: dict[str, float] = defaultdict(float)
    for share, value in zip(shares, values, strict=True):
        answers[value] += share / whole
    unforetold = answers.pop(UNFORETOLD, 0.0)  # it may give just what the likeliest answer is
    if answers and unforetold:
        answers[max(answers, key=lambda value: answers[value])] += unforetold
    return -sum(share * math.log2(share) for share in answers.values() if share > 0)
