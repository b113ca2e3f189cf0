"""A person with a meter as a bench: orders are requests, readings are what they type.

The person is told what to do in the board's words and terminals; what is on is what they confirmed, and it is off when
they confirmed that. On the way out the loads are named first and the supplies last, in one request; where nobody
answers any more, nothing is claimed: what was on is still on, and the run says that safety is not confirmed.

Cautions: common practice of the trade, and the local codes that they defer to.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Final

from benchtest.adapters import answers
from benchtest.adapters.asking import Conversation, nothing_else
from benchtest.clock import Clock
from benchtest.errors import Aborted, AdapterRefused
from benchtest.fixture.document import Adapter, HardLimits
from benchtest.instruments import Asker, Back, Device, Role, SupplyState
from benchtest.metrology.figures import plain
from benchtest.procedure import Channel, ContactTest, Procedure

CAUTIONS: Final = (
    "Extra-low voltage only. No mains on this bench, and none on the relay contacts.",
    "Current limit before voltage. A supply in current limit at first power-up means stop, not turn it up.",
    "Fuse the supply leads. Hands off while the board comes up; safety glasses at first power-up.",
    "The emergency stop must cut the supply in hardware. This program cuts nothing here: you do.",
    "Capacitors stay charged after power-off until they are measured discharged.",
    "Never bypass a safety interlock in a machine to make a board pass.",
    "A pass on the bench is not a release to run the machine; local codes and licensed practice come first.",
)
ASKED_OFF: Final = 2
"""How often a person is asked whether it is off: once, and once after they were told to cut the supply in hardware."""
ROOM: Final = 1.2  # a reading beyond this many times the bench's limit is more likely a slip than a reading
OFF_SET_POINT: Final = 0.2  # relative; a supply that shows something else than was set was more likely misread


@dataclass(slots=True)
class ManualBench:
    """One person at the terminals of a procedure."""

    procedure: Procedure
    limits: HardLimits
    talk: Conversation
    name: str = ""
    on: dict[int, float] = field(default_factory=dict)
    """What the person has put on and not confirmed off."""
    taken_off: list[int] = field(default_factory=list)
    """Loads that shall be off, not yet told: they go into the request that switches the supplies off."""
    states: dict[int, SupplyState] = field(default_factory=dict)
    unanswered: bool = False
    """Nobody answered when the board had to be switched off."""
    refusals: int = 0
    """How often it could not be confirmed that all is off, since something was put on."""

    @property
    def requests(self) -> int:
        return self.talk.requests

    # ------------------------------------------------------------ who, and how it begins

    def begin(self) -> None:
        """Say the cautions, have them acknowledged by name, and begin with everything off."""
        self.talk.tell("Before anything is energised:")
        for caution in CAUTIONS:
            self.talk.tell(f"  - {caution}")
        self.name = self._at_first("I have read this. Your name:", answers.name)
        self._at_first("Switch every supply off and take all leads off the board. Enter when done:", nothing_else)
        self.talk.tell("At every request: b back, s skip with a reason, p pause, ? help.")

    def _at_first(self, prompt: str, understand: Callable[[str], str]) -> str:
        while True:
            try:
                return self.talk.want(prompt, understand, skippable=False)
            except Back:
                self.talk.tell("    There is nothing before this.")

    def identity(self) -> str:
        return f"{self.name}, by hand with a meter"

    def beat(self) -> None:
        """Do nothing: a person needs no sign of life."""

    def check(self) -> None:
        """Do nothing: a person says at once what is wrong."""

    def tell(self, text: str) -> None:
        self.talk.tell(text)

    def confirm(self, text: str) -> None:
        self.talk.done(text, skippable=False)

    # ------------------------------------------------------------ orders

    def set(self, channel: int, value: float) -> None:
        known = self._known(channel)
        self.talk.done(_order(known, value), skippable=known.role is not Role.SUPPLY)
        if value == (math.inf if known.role is Role.RESISTANCE else 0.0):
            self.on.pop(channel, None)
        else:
            self.on[channel] = value
            self.refusals = 0

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        known = self._known(channel)
        kind = "a.c." if known.alternating else "d.c."
        self.on[channel] = volts  # from the request on: who is interrupted may have switched it on already
        self.refusals = 0
        request = (
            f"Supply {known.name} at {_ends(known)}: current limit {_joined(plain(amps, 'A'))}, "
            f"then {_joined(plain(volts, 'V'))} {kind}, then on"
        )
        self.talk.done(request.replace("Supply  at", "Supply at"), skippable=False)
        self.states[channel] = SupplyState(on=True, volts=volts, amps=math.nan, limiting=False)

    def supply_state(self, channel: int) -> SupplyState:
        """Return what the person reads from a supply after it was set; until it is set anew that is believed."""
        state = self.states.get(channel)
        if state is None or channel not in self.on:
            return SupplyState(on=False, volts=0.0, amps=0.0, limiting=False)
        if math.isnan(state.amps):
            state = self.states[channel] = self._read_supply(channel)
        return state

    def _read_supply(self, channel: int) -> SupplyState:
        known, ordered = self._known(channel), self.on[channel]
        limiting = self._limits(known)
        while not limiting:
            try:
                volts = self._volts_shown(known, ordered)
            except Back:
                limiting = self._limits(known)
            else:
                return SupplyState(on=True, volts=volts, amps=0.0, limiting=False)
        return SupplyState(on=True, volts=0.0, amps=0.0, limiting=True)

    def _limits(self, known: Channel) -> bool:
        """Return whether a supply limits; not skipped, since that is what says whether it may go any higher."""
        ask = f"Is the supply at {known.terminals} in current limit? (y or n)"
        return self.talk.want(ask, answers.yes, skippable=False)

    def off(self, channel: int) -> None:
        """Take a load into the next request to switch off; a supply is asked for at once, after those loads."""
        if self._known(channel).role is Role.SUPPLY:
            self._switch_off([*self.taken_off, channel])
        elif channel not in self.taken_off:
            self.taken_off.append(channel)

    def all_off(self) -> None:
        supplies = [channel for channel in self.on if self._known(channel).role is Role.SUPPLY]
        loads = [channel for channel in self.on if channel not in supplies]
        self._switch_off([*self.taken_off, *(load for load in loads if load not in self.taken_off), *supplies])

    def energised(self) -> frozenset[int]:
        return frozenset(self.on)

    def _switch_off(self, channels: Sequence[int]) -> None:
        """Ask for channels to be taken off, in this order, and believe it when it is confirmed."""
        self.taken_off.clear()
        wanted = [channel for channel in channels if channel in self.on]
        if not wanted or self.unanswered or self.refusals >= ASKED_OFF:
            return
        self.talk.tell("  Everything off now, in this order:" if len(wanted) > 1 else "  Off now:")
        for channel in wanted:
            self.talk.tell(f"    - {_order(self._known(channel), _safe(self._known(channel)))}")
        if self._confirmed():
            for channel in wanted:
                del self.on[channel]
                self.states.pop(channel, None)

    def _confirmed(self) -> bool:
        try:
            while True:
                typed = self.talk.asker.ask("  Enter when it is off, n when it cannot be confirmed:").strip().lower()
                if typed in {"", "y", "yes", "ok", "off", "done"}:
                    return True
                if typed in answers.NO:
                    self.refusals += 1
                    self.talk.tell("  Not confirmed. Cut the supply in hardware before you touch the board.")
                    return False
                self.talk.tell(f"    expected Enter when it is off, or n when that cannot be confirmed, got {typed!r}.")
        except (Aborted, KeyboardInterrupt):  # gone, or gone again: what cannot be asked is not claimed
            self.unanswered = True
            self.talk.tell("  Nobody confirmed that it is off. Switch the supplies off before you touch the board.")
            return False

    # ------------------------------------------------------------ readings

    def measure(self, channel: int) -> float:
        known = self._known(channel)
        unit = {Role.CURRENT: "A", Role.OHMS: "Ω"}.get(known.role, "V")
        if known.role is Role.LIGHT:
            raise AdapterRefused(f"{known.terminals} has no number for a person to read")
        return self.talk.want(
            _question(known, self.procedure.contact_test),
            lambda typed: answers.reading(typed, unit, alternating=known.alternating),
            doubt=lambda value: self._doubt(known, value),
            show=lambda value: "over range (OL)" if math.isinf(value) else plain(value, unit, digits=6),
        )

    def look(self, channel: int, *, code: int | None) -> str:
        lamp = f"{self._known(channel).terminals} ({self._known(channel).name})"
        if code is None:
            return self.talk.want(f"Is {lamp} 1 lit, 0 dark, 2 blinking?", answers.state, show=str)
        what = "the flashes from one long pause to the next" if not code else "slow flashes, then quick ones, as digits"
        often = "" if code < 2 else f", {code} codes one after the other"
        ask = f"Watch {lamp} for a whole code: {what}{often}. What is it?"
        return self._twice(ask, code)

    def _twice(self, request: str, digits: int) -> str:
        """Return a code that was read the same twice in a row; a lamp that is never read the same is irregular."""
        seen: list[str] = []
        for _ in range(2):
            for again in ("", "Once more, to be sure. "):
                prompt = f"{again}{request}"
                seen.append(self.talk.want(prompt, lambda typed: answers.code(typed, digits=digits), show=str))
            if seen[-1] == seen[-2]:
                return seen[-1]
            self.talk.tell(f"    First {seen[-2]}, then {seen[-1]}.")
        return "irregular"

    def _volts_shown(self, known: Channel, ordered: float) -> float:
        def doubt(value: float) -> str:
            if abs(value - ordered) > OFF_SET_POINT * ordered:
                return f"the supply was set to {plain(ordered, 'V')}"
            return ""

        kind = "Volts a.c." if known.alternating else "Volts"
        return self.talk.want(
            f"{kind} that the supply at {known.terminals} shows:",
            lambda typed: answers.reading(typed, "V", alternating=known.alternating),
            doubt=doubt,
            show=lambda value: plain(value, "V", digits=6),
            skippable=False,
        )

    def _doubt(self, known: Channel, value: float) -> str:
        """Return why a reading can hardly be, or an empty string."""
        test = self.procedure.contact_test
        match known.role:
            case Role.OHMS if value < 0:
                return "a resistance is not below zero"
            case Role.CURRENT if not 0 <= value <= ROOM * self.limits.current:
                return f"this bench gives at most {plain(self.limits.current, 'A')}"
            case Role.CONTACT if abs(value) > ROOM * test.voltage:
                return f"the test voltage is {plain(test.voltage, 'V')}"
            case Role.CONTACT if known.low < abs(value) < known.high:
                return f"neither closed (below {plain(known.low, 'V')}) nor open (above {plain(known.high, 'V')})"
            case Role.SENSE if not abs(value) <= ROOM * self.limits.voltage:
                return f"this bench gives at most {plain(self.limits.voltage, 'V')}"
        return ""

    def _known(self, channel: int) -> Channel:
        if channel not in self.procedure.channels:
            raise AdapterRefused(f"there is no channel {channel} on this bench")
        return self.procedure.channels[channel]


@contextmanager
def open_manual(
    *, adapter: Adapter, port: str, limits: HardLimits, clock: Clock, procedure: Procedure, asker: Asker
) -> Iterator[Device]:
    """Yield a person at the terminals of `procedure`, who has read the cautions; everything is off then."""
    del adapter, port, clock
    bench = ManualBench(procedure=procedure, limits=limits, talk=Conversation(asker))
    bench.begin()
    try:
        yield Device(identified=bench, outputs=bench, supplies=bench, meter=bench, person=bench)
    finally:
        bench.all_off()


# ---------------------------------------------------------------- wording


def _order(known: Channel, value: float) -> str:
    """Return what to do at an output, in the board's terminals and words."""
    called = f" ({known.name})" if known.name else ""
    high, _, low = known.terminals.partition("-")
    match known.role:
        case Role.SUPPLY:
            return f"Switch off the supply at {_ends(known)}{called}"
        case Role.RESISTANCE if math.isinf(value):
            return f"Leave {high} and {low} open{called}"
        case Role.RESISTANCE if value == 0:
            return f"Join {high} and {low} with a wire{called}"
        case Role.RESISTANCE:
            return f"Set {_joined(plain(value, 'Ω'))} between {high} and {low}{called}"
        case _ if known.level and value:
            return f"Put {_joined(plain(known.level, 'V'))} on {high} (+) and {low} (-){called}"
        case _ if known.level:
            return f"Take the {_joined(plain(known.level, 'V'))} off {high}{called}"
        case _:
            return f"{'Close' if value else 'Open'} the contact between {high} and {low}{called}"


def _question(known: Channel, test: ContactTest) -> str:
    called = f" ({known.name})" if known.name else ""
    high, _, low = known.terminals.partition("-")
    between = f"between {high} and {low}{called}"
    match known.role:
        case Role.CONTACT:
            current = _joined(plain(test.voltage / test.series, "A"))
            return f"Volts across {high} and {low}{called}, {current} on:"
        case Role.OHMS if known.high:
            return f"Ohms across {high} and {low}{called}:"
        case Role.OHMS:
            return f"Ohms {between}, no power:"
        case Role.CURRENT:
            return f"Amps of the supply at {high} and {low}{called}:"
        case _:
            return f"Volts a.c. {between}:" if known.alternating else f"Volts {between}:"


def _joined(quantity: str) -> str:
    """Return a quantity that no line is broken in: a number alone at the end of a line is soon misread."""
    return quantity.replace(" ", "\u00a0")


def _ends(known: Channel) -> str:
    high, _, low = known.terminals.partition("-")
    return f"{high} and {low}" if known.alternating else f"{high} (+) and {low} (-)"


def _safe(known: Channel) -> float:
    return math.inf if known.role is Role.RESISTANCE else 0.0
