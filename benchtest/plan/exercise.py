"""One relay in turn: at rest, commanded, energised, released, at rest again, all in one recording.

    rest | what must come first | command | coil … contact … settled | command away | released | again | undo | rest

The first actuation of every contact is in such a recording, since nothing before it commands a relay. Whatever does not
belong to the relay must be still all the way.
"""

from dataclasses import replace
from typing import Literal

from benchtest.instruments import Role
from benchtest.plan.checks import Maker, evidence_of, interval, others_still
from benchtest.plan.timeline import Draft, Timeline, beside, first, staying, true_with
from benchtest.plan.wiring import RelayChannels
from benchtest.procedure import (
    Bounce,
    Cause,
    Check,
    ContactResistance,
    Delay,
    Extent,
    Interval,
    Mean,
    Measurand,
    MessageAnswer,
    OpenShare,
    SignalValue,
    State,
    StateOf,
    Step,
)
from benchtest.profile.board import Relay, RelayLimits
from benchtest.profile.requirements import required
from benchtest.terminals import Pair

Side = Literal["make", "break"]
"""Which contact of a relay."""

LONGEST = 0.06  # s assumed where the profile sets no limit for a time


def exercise(draft: Draft, name: str, again: int) -> Step:
    """Return the step that exercises one relay, and energises it so many times more."""
    relay = draft.profile.relays[name]
    return _Exercise(draft, name, relay, draft.limits(name), again).step()


class _Exercise:
    """The moments of one relay's recording, and the checks that are read from it."""

    def __init__(self, draft: Draft, name: str, relay: Relay, limits: RelayLimits, again: int) -> None:
        self.draft, self.name, self.relay, self.limits = draft, name, relay, limits
        self.id = f"exercise-{name}"
        self.seen: RelayChannels = draft.relay(name)
        self.maker = Maker(draft=draft, step="exercise", subject=name, key=("relays", name))
        self.inputs, self.before = first(draft.profile, name)
        times = (limits.response, limits.operate, limits.bounce)
        follow = sum(LONGEST if time is None or time.max is None else time.high for time in times)
        each = follow + self.draft.pace.settled
        timeline = Timeline(draft)
        self.on = timeline.prepare(self.draft.pace.quiet, self.before, self.inputs)
        timeline.command(self.on, name, on=True)
        self.off = self.on + each
        timeline.command(self.off, name, on=False)
        self.released = self.off + each
        self.more = [self.released + each + 2 * each * number for number in range(again)]
        """Moments at which it is switched off after it was energised again."""
        for off in self.more:
            timeline.command(off - each, name, on=True)
            timeline.command(off, name, on=False)
        self.undo = self.released + 2 * each * again
        end = timeline.undo(self.undo, self.before, self.inputs)
        self.end = end + (self.draft.pace.settled if end > self.undo else 0.0)
        self.move = timeline.record(self.id, duration=self.end, channels=draft.watched())

    def step(self) -> Step:
        checks = [*self._at_rest(), *self._commanded(), *self._energised(), *self._released()]
        checks += [check for number, off in enumerate(self.more, 2) for check in self._again(number, off)]
        checks += self._others()
        title = f"Exercise {self.name}, {self.relay.load}"
        return Step(id=self.id, title=title, moves=(self.move,), checks=tuple(checks), duration=0.0)

    def _at_rest(self) -> list[Check]:
        """Before the command: a make contact is open, a break contact closed, the lamp dark."""
        return [
            *self._open("open contact at first", "make", self.on - self.draft.pace.quiet, self.on),
            *self._closed("contact resistance at first", "break", self.on - self.draft.pace.quiet, self.on),
            *self._lamp("lamp at first", "dark", self.on - self.draft.pace.quiet, self.on),
        ]

    def _commanded(self) -> list[Check]:
        """Command to coil, coil to contact, bounce."""
        checks = []
        order = self._order(self.on)
        if self.relay.coil:
            response = Delay(evidence=self.id, channel=self.seen.coil, state="high", since=order)
            checks.append(self._limited("response", response, "s", self.relay.coil, "response"))
        contact: Side = "make" if self.relay.contact.make else "break"
        state: State = "made" if contact == "make" else "broken"
        checks.append(self._transition("operate time", contact, state, self.on, "high", "operate"))
        if contact == "make":
            checks.append(self._bounce("make", self.on, self.off))
        return checks

    def _energised(self) -> list[Check]:
        """Settled: contact resistance, the other contact open, lamp lit, the board's own word."""
        start, end = self.off - self.draft.pace.settled / 2, self.off
        return [
            *self._closed("contact resistance", "make", start, end),
            *self._open("open contact when energised", "break", start, end),
            *self._lamp("lamp when energised", "lit", start, end),
            *self._current(start, end),
            *self._feedback(),
        ]

    def _released(self) -> list[Check]:
        """Coil off to the contact's return, bounce of a break contact, rest again."""
        contact: Side = "make" if self.relay.contact.make else "break"
        state: State = "broken" if contact == "make" else "made"
        checks = [self._transition("release time", contact, state, self.off, "low", "release")]
        if self.relay.contact.break_:
            checks.append(self._bounce("break", self.off, self.released, name="bounce on release"))
        start, end = self.released - self.draft.pace.settled / 2, self.released
        return [
            *checks,
            *self._kick(),
            *self._open("open contact when released", "make", start, end),
            *self._closed("contact resistance when released", "break", start, end),
            *self._lamp("lamp when released", "dark", start, end),
        ]

    def _again(self, number: int, off: float) -> list[Check]:
        """Energised once more: the contact follows as it did, and the lamp is lit all the while."""
        start = off - self.draft.pace.settled
        contact: Side = "make" if self.relay.contact.make else "break"
        state: State = "made" if contact == "make" else "broken"
        what = StateOf(evidence=self.id, channel=self._channel(contact), start=start, end=off)
        probe = str(self._probe(contact))
        return [
            self.maker.word(f"contact at actuation {number}", what, state, probe, "contact"),
            *self._lamp(f"lamp at actuation {number}", "lit", start, off),
        ]

    def _others(self) -> list[Check]:
        """Every other output and lamp is still, but for what had to be commanded first."""
        return [others_still(self.maker, self.move, (self.name, *self.before))]

    # ---------------------------------------------------------------- one check each

    def _order(self, at: float) -> Cause:
        return Cause(at=at, order="link" if self.relay.command.link else "bench")

    def _limited(self, name: str, what: Measurand, unit: str, probe: object, limit: str) -> Check:
        """Return the check against the relay's own limit, or the common one, with the place of whichever it is."""
        own = getattr(self.relay.limits, limit) is not None
        key = ("relays", self.name, "limits", limit) if own else ("relay_limits", limit)
        permitted = interval(getattr(self.limits, limit))
        check = self.maker.number(name, what, unit, permitted, str(probe))
        return replace(evidence_of(check, *self._required(*key)), place=self.draft.place(*key))

    def _required(self, *key: str) -> tuple[str, ...]:
        return required(self.draft.profile, *key)

    def _transition(self, name: str, contact: Side, state: State, at: float, coil: State, limit: str) -> Check:
        order = self._order(at)
        if self.relay.coil:
            order = Cause(at=at, order=order.order, channel=self.seen.coil, state=coil)
        delay = Delay(evidence=self.id, channel=self._channel(contact), state=state, since=order)
        return self._limited(name, delay, "s", self._probe(contact), limit)

    def _bounce(self, contact: Side, since: float, until: float, name: str = "bounce time") -> Check:
        bounce = Bounce(evidence=self.id, channel=self._channel(contact), since=since, until=until)
        return self._limited(name, bounce, "s", self._probe(contact), "bounce")

    def _channel(self, contact: Side) -> int:
        return self.seen.make if contact == "make" else self.seen.break_

    def _probe(self, contact: Side) -> Pair | None:
        return self.relay.contact.make if contact == "make" else self.relay.contact.break_

    def _closed(self, name: str, contact: Side, start: float, end: float) -> list[Check]:
        if self._probe(contact) is None:
            return []
        what = ContactResistance(evidence=self.id, channel=self._channel(contact), start=start, end=end)
        return [self._limited(name, what, "Ω", self._probe(contact), "resistance")]

    def _open(self, name: str, contact: Side, start: float, end: float) -> list[Check]:
        if self._probe(contact) is None:
            return []
        what = OpenShare(evidence=self.id, channel=self._channel(contact), start=start, end=end)
        return [self._limited(name, what, "%", self._probe(contact), "open_voltage")]

    def _lamp(self, name: str, state: str, start: float, end: float) -> list[Check]:
        if self.relay.lamp is None:
            return []
        what = StateOf(evidence=self.id, channel=self.seen.lamp, start=start, end=end)
        check = self.maker.word(f"{name} ({self.relay.lamp})", what, state, f"lamp {self.relay.lamp}", "lamp")
        return [evidence_of(check, *self._required("lamps", self.relay.lamp))]

    def _current(self, start: float, end: float) -> list[Check]:
        """What the coil takes, with those that obey the same command: the current less what it was before."""
        along = self._along()
        limits = [self.draft.limits(name).current for name in (self.name, *along)]
        if any(limit is None for limit in limits):
            return []
        terminals = self.draft.profile.supplies[self.draft.profile.feeding].terminals
        channel = self.draft.wiring.channel(Role.CURRENT, terminals, f"coil current of {self.name}")
        before = (self.on - self.draft.pace.quiet, self.on)
        what = Mean(evidence=self.id, channel=channel, start=start, end=end, before=before)
        check = self._limited(" with ".join(("coil current", *along)), what, "A", terminals, "current")
        sums = [[getattr(limit, end) for limit in limits] for end in ("min", "max")]
        low, high = (None if None in ends else sum(ends) for ends in sums)
        return [replace(check, permitted=Interval(low=low, high=high))]

    def _along(self) -> list[str]:
        """Return the other relays that the command energises too."""
        profile = self.draft.profile
        others = [name for name in beside(profile, self.name) if name not in self.before]
        true = true_with(profile, self.inputs)
        energised = staying(profile, frozenset({self.name, *self.before, *others}), true)
        return [name for name in others if name in energised]

    def _kick(self) -> list[Check]:
        """How far the coil's voltage goes below zero when it is switched off."""
        if self.limits.kick is None or self.relay.coil is None:
            return []
        what = Extent(evidence=self.id, channel=self.seen.coil, start=self.off, end=self.released, of="lowest")
        return [self._limited("coil voltage at release", what, "V", self.relay.coil, "kick")]

    def _feedback(self) -> list[Check]:
        link, signal = self.draft.profile.link, self.relay.feedback
        if link is None or signal is None:
            return []
        probe = f"link {link.terminals}"

        def shown(start: float, end: float) -> SignalValue:
            return SignalValue(evidence=self.id, message=link.status, signal=signal, start=start, end=end)

        checks = [
            self.maker.word("feedback when energised", shown(self.on, self.off), "1", probe, "feedback"),
            self.maker.word("feedback when released", shown(self.off, self.released), "0", probe, "feedback"),
        ]
        if self.relay.command.link:
            answer = MessageAnswer(
                evidence=self.id, sent=link.command, since=self.on, message=link.status, signal=signal, value=1.0
            )
            permitted = interval(link.answer)
            check = self.maker.number("answer on the link", answer, "s", permitted, probe, "feedback")
            checks.append(evidence_of(check, *self._required("link", "answer")))
        return checks
