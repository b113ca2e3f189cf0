"""A foreign bench supply, meter or switch unit, spoken to in the words of its dialect.

The current limit is set before the voltage, and both before the output is switched on. The hard limits of the bench are
checked on the number as it will be sent, the last place before the wire. What was ordered is remembered, so that after
a time-out every set-point and output can be held against it. A route is closed for one reading and opened after it. On
the way out everything is ordered off first and read back then, whatever happened.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from typing import Final, TypeVar

from benchtest.adapters.conversation import Conversation
from benchtest.adapters.limits import within
from benchtest.adapters.ports import leaving
from benchtest.adapters.text_line import TextLine, open_text_line
from benchtest.clock import Clock
from benchtest.errors import AdapterRefused, RigError
from benchtest.fixture.dialect import MeterWords, Phrase, RouteWords, SupplyWords
from benchtest.fixture.document import HardLimits
from benchtest.fixture.instrument import InstrumentAdapter, InstrumentChannel
from benchtest.instruments import Device, Role, SupplyState

LIMITING: Final = 0.98
"""Share of its current limit from which an output counts as limiting, where the instrument does not say so itself."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Ordered:
    """What an output was told last; None is what nobody has told it yet."""

    volts: float | None = None
    amps: float | None = None
    on: bool = False


class TextInstrument:
    """Supplies, outputs and meter of one instrument. One thread."""

    def __init__(self, *, line: TextLine, adapter: InstrumentAdapter, limits: HardLimits, clock: Clock) -> None:
        self._adapter, self._words, self._limits, self._clock = adapter, adapter.words, limits, clock
        self._talk = Conversation(
            line=line, words=adapter.words, identity=adapter.identity, clock=clock, verify=self._verify
        )
        self._ordered: dict[int, _Ordered] = {output: _Ordered() for output in adapter.outputs()}
        drives = (entry.closes for entry in adapter.channels.values())
        self._closed: dict[int, bool] = {own: False for own in drives if own is not None}

    @property
    def retries(self) -> int:
        """Queries asked a second time."""
        return self._talk.retries

    # ------------------------------------------------------------ who it is, and that we live

    def identity(self) -> str:
        return self._talk.ask(self._words.identify.fill())

    def beat(self) -> None:
        """Do nothing: such an instrument has no dead-man to keep content."""

    def check(self) -> None:
        self._talk.check()

    # ------------------------------------------------------------ outputs

    def set(self, channel: int, value: float) -> None:
        own = self._entry(channel).closes
        if own is None or value not in {0, 1}:
            raise AdapterRefused(f"channel {channel} of {self._talk.name} cannot be set to {value:g}")
        self._switch_route(own, close=bool(value))

    def off(self, channel: int) -> None:
        entry = self._entry(channel)
        if entry.closes is not None:
            self._switch_route(entry.closes, close=False)
        elif entry.supply is not None:
            self._output_off(entry.supply)
            self._settle(self._words.settle.output)
        else:
            raise AdapterRefused(f"channel {channel} of {self._talk.name} is no output")

    def all_off(self) -> None:
        """Order everything off, loads first, whatever becomes of each; raise the first problem at the end."""
        acts: list[Callable[[], None]] = [partial(self._switch_route, own, close=False) for own in self._closed]
        acts += [partial(self._output_off, own) for own in self._ordered]
        if self._words.routes is not None and self._words.routes.open_all is not None:
            acts.append(partial(self._talk.order, self._words.routes.open_all.fill()))
        problems: list[RigError] = []
        for act in acts:
            try:
                act()
            except RigError as problem:
                problems.append(problem)
        if problems:
            raise problems[0]

    def energised(self) -> frozenset[int]:
        return frozenset(channel for channel, entry in self._adapter.channels.items() if self._is_on(entry))

    def _is_on(self, entry: InstrumentChannel) -> bool:
        if entry.supply is not None:
            return self._talk.switch(self._of_output(entry.supply, self._supply.is_on))
        if entry.closes is not None:
            return self._talk.switch(self._routes.is_closed.fill(channel=str(entry.closes)))
        return False

    # ------------------------------------------------------------ supplies

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        own = self._output(channel)
        volts = self._permitted(volts, self._limits.voltage, f"channel {channel}: {volts:g} V")
        amps = self._at_most(channel, amps)
        self._change(own, self._supply.limit, replace(self._ordered[own], amps=amps))
        self._change(own, self._supply.voltage, replace(self._ordered[own], volts=volts))
        self._change(own, self._supply.switch_on, replace(self._ordered[own], on=True))
        self._settle(self._words.settle.output)

    def supply_state(self, channel: int) -> SupplyState:
        own = self._output(channel)
        on = self._talk.switch(self._of_output(own, self._supply.is_on))
        volts = self._talk.known(self._of_output(own, self._supply.volts))
        amps = self._talk.known(self._of_output(own, self._supply.amps))
        return SupplyState(on=on, volts=volts, amps=amps, limiting=on and self._limiting(own, amps))

    def _limiting(self, own: int, amps: float) -> bool:
        how = self._supply.limiting
        if how is None:
            limit = self._ordered[own].amps
            return limit is not None and amps >= LIMITING * limit
        query = self._of_output(own, how.query)
        if how.word is not None:
            return self._talk.ask(query).strip('"').casefold() == how.word.casefold()
        return bool(self._talk.register(query) & (how.mask or 0))

    def _permitted(self, value: float, limit: float, what: str) -> float:
        """Return the value as it will be sent, if the bench permits it."""
        within(value, 0.0, limit, what)
        sent = float(self._words.number.write(value))
        within(sent, 0.0, limit, f"{what}, sent as {sent:g},")
        return sent

    def _at_most(self, channel: int, amps: float) -> float:
        """Return a current limit as it will be sent, never above what was asked for, if the bench permits it."""
        within(amps, 0.0, self._limits.current, f"channel {channel}: {amps:g} A")
        sent = float(self._words.number.write_at_most(amps))
        if amps > 0 and not sent > 0:
            digits = self._words.number.digits
            raise AdapterRefused(f"channel {channel}: of {amps:g} A nothing is left in {digits} digits of its dialect")
        return sent

    def _change(self, own: int, order: Phrase, to: _Ordered) -> None:
        """Order one thing of an output, and remember it."""
        values = {"volts": to.volts, "amps": to.amps}
        written = {key: self._words.number.write(value) for key, value in values.items() if value is not None}
        line = self._of_output(own, order, **written)
        before, self._ordered[own] = self._ordered[own], to
        try:
            self._talk.order(line)
        except AdapterRefused:
            self._ordered[own] = before
            raise

    def _output_off(self, own: int) -> None:
        self._change(own, self._supply.switch_off, replace(self._ordered[own], on=False))

    def _of_output(self, own: int, phrase: Phrase, **values: str) -> str:
        """Return a phrase about an output, after taking the output in hand where that is needed."""
        if self._supply.select is not None:
            self._talk.select(self._supply.select.fill(channel=str(own)))
        return phrase.fill(channel=str(own), **values)

    # ------------------------------------------------------------ readings

    def measure(self, channel: int) -> float:
        entry = self._entry(channel)
        if entry.volts_of is not None:
            return self._talk.number(self._of_output(entry.volts_of, self._supply.volts))
        if entry.amps_of is not None:
            return self._talk.number(self._of_output(entry.amps_of, self._supply.amps))
        if entry.reads is None:
            raise AdapterRefused(f"channel {channel} of {self._talk.name} cannot be read")
        query: Phrase = getattr(self._meter, entry.reads.replace(" ", "_").replace("-", "_"))
        with self._routed(entry.route):
            return self._talk.number(query.fill())

    @contextmanager
    def _routed(self, route: tuple[int, ...]) -> Iterator[None]:
        """Close a route for the block, and open it after it, whatever happened."""
        try:
            for own in route:
                self._talk.order(self._routes.close.fill(channel=str(own)))
            if route:
                self._settle(self._words.settle.route)
            yield
        finally:
            for own in reversed(route):
                self._talk.order(self._routes.open.fill(channel=str(own)))

    def _switch_route(self, own: int, *, close: bool) -> None:
        order = self._routes.close if close else self._routes.open
        before = self._closed[own]
        self._closed[own] = close
        try:
            self._talk.order(order.fill(channel=str(own)))
        except AdapterRefused:
            self._closed[own] = before
            raise
        self._settle(self._words.settle.route)

    # ------------------------------------------------------------ after a time-out

    def _verify(self) -> None:
        """Read back every set-point and output; AdapterRefused when one is not what was ordered."""
        for own, ordered in self._ordered.items():
            self._compare(own, "voltage", self._supply.voltage_is, ordered.volts, self._supply.volts_within)
            self._compare(own, "current limit", self._supply.limit_is, ordered.amps, self._supply.amps_within)
            if (found := self._talk.switch(self._of_output(own, self._supply.is_on))) != ordered.on:
                raise self._changed(f"output {own} is {'on' if found else 'off'}")
        for own, closed in self._closed.items():
            if self._talk.switch(self._routes.is_closed.fill(channel=str(own))) != closed:
                raise self._changed(f"channel {own} is {'open' if closed else 'closed'}")

    def _compare(self, own: int, what: str, query: Phrase, ordered: float | None, within_: float) -> None:
        if ordered is None:
            return
        found = self._talk.number(self._of_output(own, query))
        if not abs(found - ordered) <= within_:
            raise self._changed(f"the {what} of output {own} is set to {found:g} instead of {ordered:g}")

    def _changed(self, what: str) -> AdapterRefused:
        return AdapterRefused(f"{self._talk.name}: after a time-out {what}, which was not ordered")

    # ------------------------------------------------------------ coming and going

    def recognise(self) -> None:
        """Make sure that it is the fixture's instrument; nothing is switched before."""
        self._talk.recognise()

    def enter(self) -> None:
        """Begin with an empty error queue, after a reset, and with everything off, read back."""
        self._talk.start_anew()
        for order in (self._words.reset, *self._words.begin):
            if order is not None:
                self._talk.order(order.fill())
        self.all_off()
        self._refuse_left_on("after a reset")

    def leave(self) -> None:
        """Everything off, read back. AdapterRefused when something stays on."""
        self._talk.hurry()
        for own in self._closed:
            self._talk.say(self._routes.open.fill(channel=str(own)))
        for own in self._ordered:
            if self._supply.select is not None:
                self._talk.say(self._supply.select.fill(channel=str(own)))
            self._talk.say(self._supply.switch_off.fill(channel=str(own)))
        if self._words.routes is not None and self._words.routes.open_all is not None:
            self._talk.say(self._words.routes.open_all.fill())
        self._refuse_left_on("still")
        for order in self._words.end:
            self._talk.say(order.fill())

    def _refuse_left_on(self, when: str) -> None:
        if left := sorted(self.energised()):
            raise AdapterRefused(f"{self._talk.name}: channels {', '.join(map(str, left))} are on {when}")

    # ------------------------------------------------------------ what there is

    def _settle(self, seconds: float) -> None:
        self._clock.sleep_until(self._clock.now() + seconds)

    def _entry(self, channel: int) -> InstrumentChannel:
        if channel not in self._adapter.channels:
            raise AdapterRefused(f"there is no channel {channel} at {self._talk.name}")
        return self._adapter.channels[channel]

    def _output(self, channel: int) -> int:
        own = self._entry(channel).supply
        if own is None:
            raise AdapterRefused(f"channel {channel} of {self._talk.name} is no supply")
        return own

    @property
    def _supply(self) -> SupplyWords:
        return _known(self._words.supply)

    @property
    def _meter(self) -> MeterWords:
        return _known(self._words.meter)

    @property
    def _routes(self) -> RouteWords:
        return _known(self._words.routes)


Words = TypeVar("Words")


def _known(words: Words | None) -> Words:
    if words is None:
        raise AdapterRefused("the dialect of this instrument has no words for that")
    return words


@contextmanager
def open_instrument(*, adapter: InstrumentAdapter, port: str, limits: HardLimits, clock: Clock) -> Iterator[Device]:
    """Open the instrument at `port` (or the fixture's) by what its channels can do; all off on the way in and out.

    Raises AdapterMissing, AdapterSilent, AdapterGarbled or AdapterRefused; on the way out only when nothing else is
    being raised already.
    """
    ends = adapter.terminations or adapter.words.terminations
    with open_text_line(port or adapter.port, baud=round(adapter.baud), ends=ends, clock=clock) as line:
        instrument = TextInstrument(line=line, adapter=adapter, limits=limits, clock=clock)
        instrument.recognise()
        with leaving(instrument.leave):
            instrument.enter()
            roles = frozenset[Role]().union(*(entry.roles for entry in adapter.channels.values()))
            yield Device(
                identified=instrument,
                outputs=instrument if Role.DRIVE in roles else None,
                supplies=instrument if Role.SUPPLY in roles else None,
                meter=instrument if roles - {Role.DRIVE, Role.SUPPLY} else None,
            )
