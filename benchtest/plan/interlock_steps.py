"""Each element of each interlock in turn: taken away while the relay is energised, given back, and watched.

Where taking the element away is itself impossible while the relay is energised (two relays that lock each other out),
the other order is tried: the element first, then the command, which must be refused.
"""

from dataclasses import dataclass

from benchtest.plan.checks import Maker, interval, others_still
from benchtest.plan.timeline import Draft, Timeline, first, true_at_rest
from benchtest.procedure import Cause, Check, Delay, Record, State, StateOf, Step
from benchtest.profile.board import Interlock


def try_interlock(draft: Draft, name: str) -> list[Step]:
    """Return one step per element of the interlock; a supply or the link has its own step, the loss."""
    lock = draft.profile.interlocks[name]
    elements = [element for element in lock.needs.names if element not in {"link", *draft.profile.supplies}]
    return [_Trial(draft, name, lock, element).step() for element in elements]


@dataclass(frozen=True, slots=True)
class _Trial:
    """One element of one interlock."""

    draft: Draft
    name: str
    lock: Interlock
    element: str

    def step(self) -> Step:
        move, checks = self._refused() if self._locked_out() else self._dropped()
        title = f"Interlock: {self.name}, {self.element}"
        return Step(id=self._id(), title=title, moves=(move,), checks=tuple(checks), duration=0.0)

    def _id(self) -> str:
        return f"interlock-{self.lock.relay}-{self.element}-{self._number()}"

    def _number(self) -> int:
        return list(self.draft.profile.interlocks).index(self.name) + 1

    def _locked_out(self) -> bool:
        """Return whether the element is a relay that the interlocked relay itself holds off."""
        return any(self.lock.relay in other.needs.none for other in self.draft.profile.locks(self.element))

    def _dropped(self) -> tuple[Record, list[Check]]:
        """Energise, take the element away, give it back."""
        relay, timeline = self.lock.relay, Timeline(self.draft)
        inputs, before = self._beforehand()
        at = timeline.prepare(self.draft.pace.quiet, before, inputs)
        timeline.command(at, relay, on=True)
        away = at + self.draft.pace.gap + self.draft.pace.follow
        wanted = self.element in {*self.lock.needs.all, *self.lock.needs.any}
        self._make(timeline, away, true=not wanted)
        back = away + self.lock.reaction.high + self.draft.pace.follow
        self._make(timeline, back, true=wanted)
        last = back + self.lock.reaction.high + self.draft.pace.follow
        timeline.command(last, relay, on=False)
        end = timeline.undo(last + self.draft.pace.gap, before, inputs)
        move = timeline.record(self._id(), duration=end + self.draft.pace.settled, channels=self.draft.watched())
        cause = Cause(at=away, order="link" if self._by_link() else "bench")
        checks = [
            self._state("energised while it holds", "on", away - self.draft.pace.settled / 2, away),
            self._reaction(cause),
            self._state("off while it is violated", "off", back - self.draft.pace.settled / 2, back),
            self._restart(last - self.draft.pace.settled / 2, last),
            others_still(self._maker(), move, self._involved(before)),
        ]
        return move, checks

    def _refused(self) -> tuple[Record, list[Check]]:
        """Energise the element first, command the relay, take the element's command back."""
        relay, timeline = self.lock.relay, Timeline(self.draft)
        inputs, before = self._beforehand()
        at = timeline.prepare(self.draft.pace.quiet, [*before, self.element], inputs)
        timeline.command(at, relay, on=True)
        back = at + self.lock.reaction.high + self.draft.pace.follow
        timeline.command(back, self.element, on=False)
        last = back + self.lock.reaction.high + self.draft.pace.follow
        timeline.command(last, relay, on=False)
        end = timeline.undo(last + self.draft.pace.gap, before, inputs)
        move = timeline.record(self._id(), duration=end + self.draft.pace.settled, channels=self.draft.watched())
        checks = [
            self._state("refused while it is violated", "off", at, back),
            self._restart(last - self.draft.pace.settled / 2, last),
            others_still(self._maker(), move, self._involved(before)),
        ]
        return move, checks

    # ---------------------------------------------------------------- parts

    def _beforehand(self) -> tuple[list[tuple[str, bool]], list[str]]:
        """Return what must be so for the element alone to decide, and to obey: inputs to set, relays in order."""
        inputs, relays = first(self.draft.profile, self.lock.relay)
        one_of = self.lock.needs.any if self.element in self.lock.needs.any else ()
        inputs = [(other, truth) for other, truth in inputs if other not in one_of]
        relays = [other for other in relays if other not in one_of]
        at_rest = true_at_rest(self.draft.profile)
        inputs += [(other, False) for other in one_of if other != self.element and other in at_rest]
        if self._is_relay():
            deeper_inputs, deeper = first(self.draft.profile, self.element)
            inputs += deeper_inputs
            relays += [*deeper, *([self.element] if one_of else [])]
        elif one_of and self.element not in at_rest:
            inputs.append((self.element, True))
        return list(dict.fromkeys(inputs)), [other for other in dict.fromkeys(relays) if other != self.lock.relay]

    def _involved(self, before: list[str]) -> list[str]:
        """Return the relays that this trial moves itself."""
        return [self.lock.relay, *before, *([self.element] if self._is_relay() else [])]

    def _is_relay(self) -> bool:
        return self.element in self.draft.profile.relays

    def _by_link(self) -> bool:
        return self._is_relay() and self.draft.profile.relays[self.element].command.link is not None

    def _make(self, timeline: Timeline, at: float, *, true: bool) -> None:
        if self._is_relay():
            timeline.command(at, self.element, on=true)
        else:
            timeline.truth(at, self.element, true=true)

    def _maker(self) -> Maker:
        return Maker(
            draft=self.draft, step=f"interlock-{self.element}", subject=self.name, key=("interlocks", self.name)
        )

    def _seen(self) -> tuple[int, State, State, str]:
        """Return where the relay is watched, what it shows when energised and when not, and where to probe."""
        relay, channels = self.draft.profile.relays[self.lock.relay], self.draft.relay(self.lock.relay)
        if channels.coil:
            return channels.coil, "high", "low", str(relay.coil)
        if channels.make:
            return channels.make, "made", "broken", str(relay.contact.make)
        return channels.break_, "broken", "made", str(relay.contact.break_)

    def _state(self, words: str, state: str, start: float, end: float) -> Check:
        channel, energised, released, probe = self._seen()
        what = StateOf(evidence=self._id(), channel=channel, start=start, end=end)
        expected = energised if state == "on" else released
        return self._maker().word(f"{self.lock.relay} {words} ({self.element})", what, expected, probe, "needs")

    def _reaction(self, cause: Cause) -> Check:
        channel, _, released, probe = self._seen()
        what = Delay(evidence=self._id(), channel=channel, state=released, since=cause)
        words = f"{self.lock.relay} reaction to {self.element}"
        return self._maker().number(words, what, "s", interval(self.lock.reaction), probe, "reaction")

    def _restart(self, start: float, end: float) -> Check:
        again = self.lock.restart == "by itself"
        words = "comes back by itself" if again else "stays off until commanded anew"
        return self._state(words, "on" if again else "off", start, end)
