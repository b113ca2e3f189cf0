"""The board without power, coming up, at rest with its lamps, and off again."""

from dataclasses import replace

from benchtest.instruments import Role
from benchtest.plan.checks import Maker, evidence_of, interval
from benchtest.plan.timeline import Draft, Timeline, rest
from benchtest.procedure import (
    AllOff,
    Check,
    EffectiveValue,
    Extent,
    Interval,
    Limiting,
    Mean,
    Measure,
    MessageGap,
    Move,
    Record,
    Scalar,
    Set,
    SignalValue,
    Source,
    StateOf,
    Step,
    StillOn,
)
from benchtest.profile.board import DryContact, Level, Supply
from benchtest.profile.requirements import required
from benchtest.profile.script import PowerUp, ReadLamps
from benchtest.terminals import Pair, Terminal

READ_BACK = 0.02  # relative: a supply further off its own set-point than this is not what was ordered; common practice
SETTLE = 0.15  # s from a new supply voltage to reading it; charges the board's capacitors through the current limit
BOOT = 1.0  # s from nominal voltage to a board that obeys
WATCH = 5  # settled windows long is what is averaged at rest: ten mains cycles on a bench that records in hardware
DISCHARGED = 0.2  # s until a supply that is off has let its voltage go
OFF = 1.0  # V left on a supply that is off; common practice, no source
NONE = Interval(low=0.0, high=0.0)


def unpowered(draft: Draft) -> Step:
    """Return the step that looks at the board without power: bridges of jumper plugs, supplies not shorted."""
    moves: list[Move] = []
    checks: list[Check] = []
    for name, connector in draft.profile.connectors.items():
        for one, other in connector.bridged:
            pair = Pair(Terminal(name, one), Terminal(name, other))
            maker = Maker(draft=draft, step="unpowered", subject=name, key=("connectors", name))
            measure = _ohms(draft, pair, f"jumper plug {name}")
            moves.append(measure)
            what = Scalar(evidence=measure.name)
            checks.append(maker.number(f"bridge {one}-{other}", what, "Ω", interval(connector.bridge), pair, "bridge"))
    for name, supply in draft.profile.supplies.items():
        if supply.unpowered is not None:
            maker = Maker(draft=draft, step="unpowered", subject=name, key=("supplies", name))
            measure = _ohms(draft, supply.terminals, f"supply {name}")
            moves.append(measure)
            what = Scalar(evidence=measure.name)
            limits = interval(supply.unpowered)
            checks.append(maker.number("not shorted", what, "Ω", limits, supply.terminals, "unpowered"))
    return Step(
        id="unpowered", title="Without power", moves=tuple(moves), checks=tuple(checks), duration=0.0, gate=True
    )


def _ohms(draft: Draft, pair: Pair, why: str) -> Measure:
    return Measure(name=f"ohms {pair}", channel=draft.wiring.channel(Role.OHMS, pair, why))


def power_up(draft: Draft, step: PowerUp) -> list[Step]:
    """Return one gate per supply, then the step that watches the board come to rest, then one that hears its link."""
    steps = [*(_supply_up(draft, name) for name in step.supplies), _come_to_rest(draft, step)]
    return steps if draft.profile.link is None else [*steps, _heard(draft)]


def _supply_up(draft: Draft, name: str) -> Step:
    supply = draft.profile.supplies[name]
    channel = draft.wiring.channel(Role.SUPPLY, supply.terminals, f"supply {name}")
    moves: list[Move] = _inputs_at_rest(draft) if supply.kind == "dc" else []
    checks: list[Check] = []
    for volts in (*supply.stages, supply.nominal):
        full = volts == supply.nominal
        amps = supply.current_limit if full else supply.first_limit or supply.current_limit
        source = Source(name=f"{name} {volts:g} V", channel=channel, volts=volts, amps=amps, settle=SETTLE)
        moves.append(source)
        checks += _source_checks(draft, name, supply, source)
    title = f"Power up {name}, {supply.nominal:g} V {'d.c.' if supply.kind == 'dc' else 'a.c.'}"
    return Step(id=f"power-up-{name}", title=title, moves=tuple(moves), checks=tuple(checks), duration=0.0, gate=True)


def _source_checks(draft: Draft, name: str, supply: Supply, source: Source) -> list[Check]:
    maker = Maker(draft=draft, step=f"power-up-{source.volts:g}V", subject=name, key=("supplies", name))
    free = Limiting(evidence=source.name)
    volts = Scalar(evidence=source.name, field="volts")
    permitted = Interval(low=source.volts * (1 - READ_BACK), high=source.volts * (1 + READ_BACK))
    at = f"at {source.volts:g} V"
    return [
        maker.word(f"current limit {at}", free, "free", supply.terminals, "current_limit"),
        maker.number(f"voltage {at}", volts, "V", permitted, supply.terminals, "nominal"),
    ]


def _inputs_at_rest(draft: Draft) -> list[Move]:
    moves: list[Move] = []
    for name, thing in draft.profile.inputs.items():
        if isinstance(thing, (DryContact, Level)):
            channel = draft.wiring.channel(Role.DRIVE, thing.terminals, f"input {name}")
            moves.append(Set(channel=channel, value=float(rest(thing) in {"closed", "high"})))
        else:
            channel = draft.wiring.channel(Role.RESISTANCE, thing.terminals, f"input {name}")
            moves.append(Set(channel=channel, value=thing.states[thing.rest]))
    return moves


def _come_to_rest(draft: Draft, step: PowerUp) -> Step:
    """Idle current, rails, pass-through, supply lamps and the board's own word, once it has booted."""
    timeline = Timeline(draft)
    timeline.heartbeat(draft.pace.quiet, alive=True)
    name, long = "come-to-rest", WATCH * draft.pace.settled
    end = BOOT + long
    channels = sorted({*draft.watched(), *_senses(draft)})
    move = timeline.record(name, duration=end, rate=draft.rate / 4, channels=channels)
    window = (BOOT, end)
    checks = [check for supply in step.supplies for check in _supply_checks(draft, supply, name, window)]
    for rail, thing in draft.profile.rails.items():
        maker = Maker(draft=draft, step="rest", subject=rail, key=("rails", rail))
        channel = draft.wiring.channel(Role.SENSE, thing.terminals, f"rail {rail}")
        mean = Mean(evidence=name, channel=channel, start=window[0], end=window[1])
        checks.append(maker.number("voltage", mean, "V", interval(thing.limits), thing.terminals, "limits"))
        if thing.ripple is not None:
            swing = Extent(evidence=name, channel=channel, start=window[0], end=window[1], of="peak to peak")
            checks.append(maker.number("ripple", swing, "V", interval(thing.ripple), thing.terminals, "ripple"))
    return Step(id=name, title="Come to rest", moves=(move,), checks=tuple(checks), duration=0.0, gate=True)


def _heard(draft: Draft) -> Step:
    """The board's heartbeat is there at all; without it nothing that the board reports can be believed missing."""
    link, name = draft.link(), "link-heard"
    duration = 4 * link.board.every.high
    move = Timeline(draft).record(name, duration=duration, rate=100.0, channels=draft.watched()[:1])
    maker = Maker(draft=draft, step="rest", subject="link", key=("link",))
    gap = MessageGap(evidence=name, message=link.board.message)
    permitted = Interval(low=None, high=2 * link.board.every.high)
    check = maker.number("heartbeat heard", gap, "s", permitted, f"link {link.terminals}", "board", "every")
    return Step(id=name, title="Hear the link", moves=(move,), checks=(check,), duration=0.0)


def _senses(draft: Draft) -> list[int]:
    """Return the sense channels beside coils: supplies, what is passed on, rails."""
    wiring = draft.wiring
    pairs = [supply.terminals for supply in draft.profile.supplies.values()]
    pairs += [supply.passed_on.terminals for supply in draft.profile.supplies.values() if supply.passed_on]
    pairs += [rail.terminals for rail in draft.profile.rails.values()]
    return [wiring.harness.sense[pair] for pair in pairs if wiring.has(Role.SENSE, pair)]


def _supply_checks(draft: Draft, name: str, evidence: str, window: tuple[float, float]) -> list[Check]:
    supply = draft.profile.supplies[name]
    maker = Maker(draft=draft, step="rest", subject=name, key=("supplies", name))
    wiring, (start, end), checks = draft.wiring, window, list[Check]()
    if supply.idle_current is not None:
        channel = wiring.channel(Role.CURRENT, supply.terminals, f"idle current of {name}")
        mean = Mean(evidence=evidence, channel=channel, start=start, end=end)
        checks.append(
            maker.number("idle current", mean, "A", interval(supply.idle_current), supply.terminals, "idle_current")
        )
    if supply.kind == "dc" and wiring.wired(Role.SENSE, supply.terminals):
        channel = wiring.channel(Role.SENSE, supply.terminals, f"voltage of {name}")
        mean = Mean(evidence=evidence, channel=channel, start=start, end=end)
        permitted = Interval(low=supply.nominal * (1 - READ_BACK), high=supply.nominal * (1 + READ_BACK))
        checks.append(maker.number("voltage at the board", mean, "V", permitted, supply.terminals, "nominal"))
    if supply.kind == "ac":
        channel = wiring.channel(Role.SENSE, supply.terminals, f"voltage of {name}")
        rms = EffectiveValue(evidence=evidence, channel=channel, start=start, end=end)
        permitted = Interval(low=supply.nominal * 0.85, high=supply.nominal * 1.1)  # IEC 61810-1 class 2, from memory
        checks.append(maker.number("r.m.s. voltage", rms, "V", permitted, supply.terminals, "nominal"))
    if supply.passed_on is not None:
        into = wiring.channel(Role.SENSE, supply.terminals, f"voltage of {name}")
        onward = wiring.channel(Role.SENSE, supply.passed_on.terminals, f"{name} passed on")
        drop = Mean(evidence=evidence, channel=into, start=start, end=end, minus=onward)
        pair, limits = supply.passed_on.terminals, interval(supply.passed_on.drop)
        checks.append(maker.number("drop to the next board", drop, "V", limits, pair, "passed_on", "drop"))
    return [*checks, *supply_shown(draft, name, evidence, window, there=True)]


def supply_shown(
    draft: Draft, name: str, evidence: str, window: tuple[float, float], *, there: bool, step: str = "rest"
) -> list[Check]:
    """Return the checks of a supply's lamp and of the board's own word about it."""
    supply = draft.profile.supplies[name]
    maker = Maker(draft=draft, step=step, subject=name, key=("supplies", name))
    (start, end), checks = window, list[Check]()
    if supply.lamp is not None:
        lamp = draft.wiring.channel(Role.LIGHT, supply.lamp, f"lamp of {name}")
        what = StateOf(evidence=evidence, channel=lamp, start=start, end=end)
        word = "lit" if there else "dark"
        shown = maker.word(f"lamp ({supply.lamp}) {word}", what, word, f"lamp {supply.lamp}", "lamp")
        checks.append(evidence_of(shown, *required(draft.profile, "lamps", supply.lamp)))
    link = draft.profile.link
    if supply.feedback is not None and link is not None:
        told = SignalValue(evidence=evidence, message=link.status, signal=supply.feedback, start=0.0, end=end)
        words = f"feedback {'there' if there else 'missing'}"
        checks.append(maker.word(words, told, str(int(there)), f"link {link.terminals}", "feedback"))
    return checks


def lamps(draft: Draft, step: ReadLamps, number: int) -> Step:
    """Return the step that reads steady lamps under given conditions."""
    timeline, name = Timeline(draft), f"lamps-{number}"
    at = draft.pace.quiet
    for thing, state in step.given.inputs.items():
        timeline.input(at, thing, state)
    at = timeline.prepare(at, step.given.energised)
    window = (at + draft.pace.settled, at + 3 * draft.pace.settled)
    end = timeline.undo(window[1], step.given.energised)
    for thing in step.given.inputs:
        timeline.input(end, thing, rest(draft.profile.inputs[thing]))
    channels = {lamp: draft.wiring.channel(Role.LIGHT, lamp, f"lamp {lamp}") for lamp in (*step.lit, *step.dark)}
    seen = sorted(set(channels.values()))
    move = timeline.record(name, duration=end + draft.pace.settled, rate=draft.rate / 4, channels=seen)
    checks = []
    for lamp, channel in channels.items():
        maker = Maker(draft=draft, step=name, subject=lamp, key=("lamps", lamp))
        what = StateOf(evidence=name, channel=channel, start=window[0], end=window[1])
        word = "lit" if lamp in step.lit else "dark"
        check = maker.word("at rest", what, word, f"lamp {lamp}")
        checks.append(replace(check, place=draft.place_in_step(number, word)))
    return Step(id=name, title="Lamps", moves=(move,), checks=tuple(checks), duration=0.0)


def safe_off(draft: Draft) -> Step:
    """Return the step that takes everything off and proves it by reading back and by looking at the board."""
    off = AllOff(name="all off")
    contacts = {number for name in draft.profile.relays for number in draft.relay(name).all()}
    start, end = DISCHARGED, DISCHARGED + WATCH * draft.pace.settled
    watched: Record = Timeline(draft).record(
        "after off", duration=end, rate=draft.rate / 4, channels=sorted({*draft.watched(), *_senses(draft), *contacts})
    )
    maker = Maker(draft=draft, step="safe-off", subject="bench", key=("steps",))
    checks = [maker.number("channels left on", StillOn(evidence="all off"), "", NONE, "bench adapter")]
    for name, supply in draft.profile.supplies.items():
        if supply.kind == "dc" and draft.wiring.wired(Role.SENSE, supply.terminals):
            channel = draft.wiring.channel(Role.SENSE, supply.terminals, f"voltage of {name}")
            mean = Mean(evidence="after off", channel=channel, start=start, end=end)
            about = Maker(draft=draft, step="safe-off", subject=name, key=("supplies", name))
            permitted = Interval(low=-OFF, high=OFF)
            checks.append(about.number("voltage after off", mean, "V", permitted, supply.terminals, "terminals"))
    for name, relay in draft.profile.relays.items():
        seen, contact = draft.relay(name), relay.contact
        about = Maker(draft=draft, step="safe-off", subject=name, key=("relays", name))
        for number, pair, word in ((seen.make, contact.make, "broken"), (seen.break_, contact.break_, "made")):
            if number:
                what = StateOf(evidence="after off", channel=number, start=start, end=end)
                kind = "make" if word == "broken" else "break"
                checks.append(about.word(f"{kind} contact after off", what, word, pair, "contact"))
    return Step(id="safe-off", title="Safe off", moves=(off, watched), checks=tuple(checks), duration=0.0)
