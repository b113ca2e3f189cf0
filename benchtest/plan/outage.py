"""The link while all is well, and the loss and return of the link and of each supply."""

from dataclasses import replace

from benchtest.instruments import Role
from benchtest.plan.checks import Maker, evidence_of, interval, others_still
from benchtest.plan.outlasting import Outlasting, beforehand
from benchtest.plan.rest import BOOT, supply_shown
from benchtest.plan.timeline import Draft, Timeline, away, rest
from benchtest.procedure import (
    Cause,
    Check,
    Delay,
    Interval,
    MessageGap,
    MessagePeriod,
    Record,
    SignalValue,
    State,
    StateOf,
    Step,
)
from benchtest.profile.link import Link
from benchtest.profile.permitted import Limits
from benchtest.profile.requirements import required
from benchtest.profile.script import Loss, WatchLink

NO_LIMIT_FOR_LOSS = 0.2  # s to wait where the profile says nothing about a loss
GAP_LIMIT = 1.5  # a heartbeat later than this many of its longest periods is missing; common practice, no source


def watch_link(draft: Draft, step: WatchLink) -> list[Step]:
    """Return the steps that listen to the board's heartbeat and let it report its inputs."""
    link = draft.link()
    heartbeats = Timeline(draft).record(
        "heartbeat", duration=step.listen_for * link.board.every.high, rate=100.0, channels=draft.watched()[:1]
    )
    maker = Maker(draft=draft, step="link", subject="link", key=("link",))
    probe, message = f"link {link.terminals}", link.board.message
    longest = Interval(low=None, high=GAP_LIMIT * link.board.every.high)
    period, gap = (kind(evidence="heartbeat", message=message) for kind in (MessagePeriod, MessageGap))
    checks = [
        maker.number("heartbeat period", period, "s", interval(link.board.every), probe, "board", "every"),
        maker.number("longest gap between heartbeats", gap, "s", longest, probe, "board", "every"),
    ]
    listen = Step(id="link", title="Link heartbeat", moves=(heartbeats,), checks=tuple(checks), duration=0.0)
    return [listen, *_inputs(draft, link)]


def _inputs(draft: Draft, link: Link) -> list[Step]:
    """Every input that the board reports is taken away from rest and back, all in one recording."""
    timeline, at, moments = Timeline(draft), draft.pace.quiet, dict[str, float]()
    for name, thing in draft.profile.inputs.items():
        if thing.feedback is not None:
            moments[name] = at
            timeline.input(at, name, away(thing))
            timeline.input(at + draft.pace.gap, name, rest(thing))
            at += 2 * draft.pace.gap
    if not moments:
        return []
    evidence = "inputs-reported"
    move = timeline.record(evidence, duration=at + draft.pace.settled, channels=draft.watched(), rate=draft.rate / 4)
    checks = []
    for name, moment in moments.items():
        thing = draft.profile.inputs[name]
        maker = Maker(draft=draft, step="link", subject=name, key=("inputs", name))
        for state, start in ((away(thing), moment), (rest(thing), moment + draft.pace.gap)):
            end, signal = start + draft.pace.gap, thing.feedback or ""
            told = SignalValue(evidence=evidence, message=link.status, signal=signal, start=start, end=end)
            word = str(int(state in {"closed", "high"}))
            checks.append(maker.word(f"reported while {state}", told, word, str(thing.terminals), "feedback"))
    return [
        Step(id=evidence, title="Inputs as the board reports them", moves=(move,), checks=tuple(checks), duration=0.0)
    ]


def loss(draft: Draft, step: Loss, number: int) -> Step:
    """Return the step that takes the link or one supply away and gives it back."""
    return _Outage(draft, step, number).step()


class _Outage:
    """The moments of one loss and return, and what must be seen of each relay."""

    def __init__(self, draft: Draft, step: Loss, number: int) -> None:
        name = f"loss-of-{step.of}-{number}"
        self.draft, self.what, self.number, self.id = draft, step, number, name
        self.profile = draft.profile
        limits = draft.link().lost_after if step.of == "link" else step.within
        self.limits, wait = limits, NO_LIMIT_FOR_LOSS if limits is None else limits.high
        timeline = Timeline(draft)
        inputs, self.commanded = beforehand(draft.profile, step.energised)
        self.energised = Outlasting(draft.profile, step.of, inputs, self.commanded)
        beat = draft.link().controller.every if step.of == "link" else 0.0  # the last heartbeat finds all energised
        ready = timeline.prepare(self.draft.pace.quiet, self.commanded, inputs)
        self.gone = ready + self.draft.pace.settled + beat
        self._take(timeline, self.gone)
        self.back = self.gone + wait + self.draft.pace.gap + self.draft.pace.settled
        self._give(timeline, self.back)
        self.again = self.back + (draft.link().back_within.high if step.of == "link" else BOOT) + self.draft.pace.slack
        if step.of == "link":
            for relay in self._anew():
                timeline.command(self.again, relay, on=False)
                timeline.command(self.again + self.draft.pace.gap, relay, on=True)
        self.undo = self.again + 3 * self.draft.pace.gap + self.draft.pace.slack
        self.end = timeline.undo(self.undo, self.commanded, inputs) + self.draft.pace.settled
        channels = sorted({*draft.watched()})
        self.move: Record = timeline.record(name, duration=self.end, rate=draft.rate / 5, channels=channels)

    def step(self) -> Step:
        checks = [check for relay in self.profile.relays for check in self._relay(relay)]
        if self.what.of != "link":
            settled = self.draft.pace.settled
            gone, back = (self.back - settled, self.back), (self.undo - settled, self.undo)
            shown = supply_shown(self.draft, self.what.of, self.id, gone, there=False, step=self.id)
            checks += [check for check in shown if self._tells() or not isinstance(check.measurand, SignalValue)]
            checks += supply_shown(self.draft, self.what.of, self.id, back, there=True, step=f"{self.id}-back")
        maker = Maker(draft=self.draft, step=self.id, subject=self.what.of, key=("steps",))
        checks.append(others_still(maker, self.move, self.commanded, self._supply_lamp()))
        title = f"Loss and return of {self.what.of}"
        return Step(id=self.id, title=title, moves=(self.move,), checks=tuple(checks), duration=0.0)

    def _supply_lamp(self) -> list[int]:
        """Return the lamp that goes out with the supply; with the one that feeds the board all of them do."""
        lost = self.profile.supplies.get(self.what.of)
        gone = self.profile.supplies.values() if self.what.of == self.profile.feeding else [lost]
        lamps = [supply.lamp for supply in gone if supply is not None and supply.lamp is not None]
        return [self.draft.wiring.channel(Role.LIGHT, lamp, f"lamp {lamp}") for lamp in lamps]

    def _tells(self) -> bool:
        """Return whether the board can report the loss: without the supply that feeds it, it tells nothing."""
        return self.what.of != self.profile.feeding

    def _take(self, timeline: Timeline, at: float) -> None:
        if self.what.of == "link":
            timeline.heartbeat(at, alive=False)
        else:
            timeline.supply(at, self.what.of, 0.0)

    def _give(self, timeline: Timeline, at: float) -> None:
        if self.what.of == "link":
            timeline.heartbeat(at, alive=True)
        else:
            timeline.supply(at, self.what.of, self.profile.supplies[self.what.of].nominal)

    def _anew(self) -> list[str]:
        """Return the relays that come back only when they are commanded anew, and all that obey the link."""
        obeying = {name for name in self.commanded if self.profile.relays[name].command.link is not None}
        return [name for name in self.commanded if name in obeying or name not in self.energised.back]

    def _relay(self, name: str) -> list[Check]:
        """What must be seen of one relay: before, at the loss, during it, at the return, and commanded anew."""
        if name not in self.what.energised:
            return []
        drops, comes_back = name not in self.energised.gone, name in self.energised.back
        checks = [self._contact(name, "energised before", self.gone, energised=True)]
        if drops and self.limits is not None:
            checks.append(self._following(name, self.limits))
        gone = f"with {self.what.of} gone"
        checks.append(self._contact(name, gone, self.back, energised=not drops))
        checks.append(self._contact(name, f"with {self.what.of} back", self.again, energised=comes_back))
        if self.what.of == "link":
            checks.append(self._contact(name, "commanded anew", self.undo, energised=True))
        return checks

    def _maker(self, relay: str) -> Maker:
        return Maker(draft=self.draft, step=self.id, subject=relay, key=("relays", relay))

    def _shown(self, relay: str, *, energised: bool) -> tuple[int, State, str]:
        """Return the contact to watch, what it shows, and where to probe; a break contact shows the opposite."""
        channels, contact = self.draft.relay(relay), self.profile.relays[relay].contact
        if channels.make:
            return channels.make, "made" if energised else "broken", str(contact.make)
        return channels.break_, "broken" if energised else "made", str(contact.break_)

    def _contact(self, relay: str, words: str, end: float, *, energised: bool) -> Check:
        channel, state, probe = self._shown(relay, energised=energised)
        what = StateOf(evidence=self.id, channel=channel, start=end - self.draft.pace.settled, end=end)
        return self._maker(relay).word(f"contact {words}", what, state, probe, "contact")

    def _following(self, relay: str, limits: Limits[float]) -> Check:
        channel, state, probe = self._shown(relay, energised=False)
        link = self.profile.link
        heartbeat = link.controller.message if self.what.of == "link" and link is not None else ""
        cause = Cause(at=self.gone, order="link" if heartbeat else "bench", last_sent=heartbeat)
        delay = Delay(evidence=self.id, channel=channel, state=state, since=cause)
        words = f"follows the loss of {self.what.of}"
        check = self._maker(relay).number(words, delay, "s", interval(limits), probe)
        named = required(self.profile, "link", "lost_after") if heartbeat else limits.requirement
        by_step = self.draft.place_in_step(self.number, "within")
        place = self.draft.place("link", "lost_after") if heartbeat else by_step
        return replace(evidence_of(check, *named), place=place)
