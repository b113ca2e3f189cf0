"""Whether the steps of a profile name things that are there, in states that they have."""

from collections.abc import Iterable
from itertools import combinations

from benchtest.documents import Review, choices, nearest_or_list
from benchtest.profile.board import CountCode, DigitsCode, DryContact, Input, Level
from benchtest.profile.document import Profile
from benchtest.profile.permitted import on_one_board
from benchtest.profile.script import (
    Exercise,
    Given,
    Loss,
    Plugs,
    PowerUp,
    ReadCode,
    ReadLamps,
    SafeOff,
    Step,
    TryInterlocks,
    Unpowered,
    WatchLink,
)

KeyPath = tuple[str | int, ...]


def check_steps(profile: Profile, review: Review) -> None:
    """Report every name, state and code in the steps that the profile does not have."""
    for place, step in enumerate(profile.steps):
        for word, section, value in (("variant", "variants", step.variant), ("option", "options", step.option)):
            if value is not None and value not in (known := review.names(section)):
                hint = nearest_or_list(value, known)
                review.say(("steps", place, word), f"there is no {word} {value!r}", hint)
        _check_step(step, ("steps", place), profile, review)
    _check_power(profile, review)
    _check_once(profile, review)


def _check_power(profile: Profile, review: Review) -> None:
    """Ohms are read without power, all else with it."""
    powered = False
    for place, step in enumerate(profile.steps):
        match step:
            case PowerUp():
                powered = True
            case SafeOff():
                powered = powered and not (step.variant is None and step.option is None)
            case Unpowered() | Plugs():
                if powered:
                    message = f"step {step.step!r} reads ohms without power, and the board has it here"
                    review.say(("steps", place), message, "put it before 'power up'")
            case _:
                if not powered:
                    message = f"the board has no power in step {step.step!r}"
                    review.say(("steps", place), message, "put a step 'power up' before it")


def _check_once(profile: Profile, review: Review) -> None:
    """Readings of one name are taken once: a second one would take the place of the first, whatever that said."""
    seen: list[tuple[str, Step]] = []
    for place, step in enumerate(profile.steps):
        for name, keys in _once(step):
            earlier = [one for other, one in seen if name == other and one is not step]
            if any(on_one_board(step.variant, one.variant) for one in earlier):
                message = f"{name} is there a second time, and its readings would take the place of the first"
                hint = "delete one of them; 'again' works a relay more often" if "exercise" in name else "delete one"
                review.say(("steps", place, *keys), message, hint)
            seen.append((name, step))


def _once(step: Step) -> list[tuple[str, KeyPath]]:
    """Return what a step does that no other may do, and where it says so."""
    match step:
        case Exercise():
            return [(f"exercise of {name}", ("relays", place)) for place, name in enumerate(step.relays)]
        case TryInterlocks():
            return [(f"trial of {name!r}", ("names", place)) for place, name in enumerate(step.names)]
        case ReadLamps() | ReadCode() | Loss():
            return []
        case _:
            return [(f"step {step.step!r}", ())]


def _check_step(step: Step, keys: KeyPath, profile: Profile, review: Review) -> None:
    match step:
        case PowerUp():
            exist(step.supplies, "supplies", (*keys, "supplies"), review)
        case Exercise():
            exist(step.relays, "relays", (*keys, "relays"), review)
        case ReadLamps():
            _check_lamps(step, keys, review)
            _check_given(step.given, (*keys, "given"), profile, review)
        case ReadCode():
            for lamp, code in step.reads.items():
                _check_read(lamp, code, (*keys, "reads", lamp), step, profile, review)
            _check_given(step.given, (*keys, "given"), profile, review)
        case TryInterlocks():
            exist(step.names, "interlocks", (*keys, "names"), review)
            _check_lost(step, (*keys, "names"), profile, review)
        case Loss():
            _check_loss(step, keys, review)
            _check_together(step, keys, profile, review)
        case WatchLink():
            _needs_link(keys, "a step about the link", review)
        case Unpowered() | Plugs() | SafeOff():
            pass


def exist(names: Iterable[str], section: str, keys: KeyPath, review: Review) -> None:
    """Report every one of a list of names that `section` does not define, and every one that is there twice."""
    known = review.names(section)
    seen: set[str] = set()
    for place, name in enumerate(names):
        if name not in known:
            review.say((*keys, place), f"{name!r} is not among the {section}", nearest_or_list(name, known))
        elif name in seen:
            review.say((*keys, place), f"{name!r} is there twice", "delete one of them")
        seen.add(name)


def _needs_link(keys: KeyPath, what: str, review: Review) -> None:
    if "link" not in review.names():
        review.say(keys, f"{what}, but the board has no link", "describe it under 'link:'")


def _check_lamps(step: ReadLamps, keys: KeyPath, review: Review) -> None:
    exist(step.lit, "lamps", (*keys, "lit"), review)
    exist(step.dark, "lamps", (*keys, "dark"), review)
    for place, lamp in enumerate(step.dark):
        if lamp in step.lit:
            review.say((*keys, "dark", place), f"lamp {lamp} is expected both lit and dark", "delete one of them")


def _check_lost(step: TryInterlocks, keys: KeyPath, profile: Profile, review: Review) -> None:
    """An interlock that waits for a supply or the link shows in the loss of it, and nowhere else."""
    shown = {(loss.of, relay) for loss in profile.steps if isinstance(loss, Loss) for relay in loss.energised}
    for place, name in enumerate(step.names):
        if name not in profile.interlocks:
            continue
        lock = profile.interlocks[name]
        for element in lock.needs.names:
            if element in {"link", *profile.supplies} and (element, lock.relay) not in shown:
                message = f"interlock {name!r} waits for {element}, which this step does not take away"
                hint = f"add a step {{step: loss, of: {element}, energised: [{lock.relay}]}}"
                review.say((*keys, place), message, hint)


def _check_loss(step: Loss, keys: KeyPath, review: Review) -> None:
    exist(step.energised, "relays", (*keys, "energised"), review)
    if step.of == "link":
        _needs_link((*keys, "of"), "loss of the link", review)
    elif step.of not in (known := review.names("supplies")):
        review.say((*keys, "of"), f"there is no supply {step.of!r} to lose", nearest_or_list(step.of, (*known, "link")))


def _check_together(step: Loss, keys: KeyPath, profile: Profile, review: Review) -> None:
    """All relays of a loss are energised at once: no good board can do that where interlocks let only one of them."""
    wanted = [(relay, _wanted(relay, step, profile)) for relay in step.energised if relay in profile.relays]
    for (first, one), (relay, other) in combinations(wanted, 2):
        contrary = [name for name, truth in other if (name, not truth) in one]
        variants = step.variant, profile.relays[first].variant, profile.relays[relay].variant
        if first != relay and contrary and on_one_board(*variants):
            message = f"{first} and {relay} exclude each other: one needs {contrary[0]}, which the other may not have"
            where = (*keys, "energised", step.energised.index(relay))
            review.say(where, message, "give each a step of its own")


def _wanted(relay: str, step: Loss, profile: Profile) -> dict[tuple[str, bool], None]:
    """Return what must be true and what must not be while a relay is energised: relays, and inputs by their names."""
    there = needed(relay, profile) | {relay}
    commands = {profile.relays[name].command.input for name in there} - {None}
    locks = [
        lock
        for lock in profile.interlocks.values()
        if lock.relay in there and on_one_board(lock.variant, profile.relays[lock.relay].variant, step.variant)
    ]
    true = [*there, *commands, *(name for lock in locks for name in lock.needs.all)]
    return dict.fromkeys([(str(name), True) for name in true] + [(n, False) for lock in locks for n in lock.needs.none])


def needed(relay: str, profile: Profile) -> set[str]:
    """Return every relay that must be energised before `relay` may be."""
    found: set[str] = set()
    waiting = [relay]
    while waiting:
        name = waiting.pop()
        for lock in profile.locks(name):
            new = {need for need in lock.needs.all if need in profile.relays} - found
            found |= new
            waiting += new
    return found


def _check_given(given: Given, keys: KeyPath, profile: Profile, review: Review) -> None:
    exist(given.energised, "relays", (*keys, "energised"), review)
    if given.link == "silent":
        _needs_link((*keys, "link"), "a silent link is given", review)
    known = review.names("inputs")
    for name, state in given.inputs.items():
        where = (*keys, "inputs", name)
        if name not in known:
            review.say(where, f"{name!r} is not among the inputs", nearest_or_list(name, known), key=True)
        elif name in profile.inputs and not review.is_broken("inputs", name):
            possible = states(profile.inputs[name])
            if state not in possible:
                hint = nearest_or_list(state, possible, what="states")
                review.say(where, f"input {name} has no state {state!r}", hint)


def states(entry: Input) -> tuple[str, ...]:
    """Return the states that an input can be put into."""
    match entry:
        case DryContact():
            return "open", "closed"
        case Level():
            return "low", "high"
        case _:
            return tuple(entry.states)


def _check_read(lamp: str, code: str, keys: KeyPath, step: ReadCode, profile: Profile, review: Review) -> None:
    if lamp not in (known := review.names("lamps")):
        review.say(keys, f"there is no lamp {lamp!r}", nearest_or_list(lamp, known), key=True)
        return
    if lamp not in profile.lamps or review.is_broken("lamps", lamp):
        return
    name = profile.lamps[lamp].code
    if name is None:
        coded = (other for other, it in profile.lamps.items() if it.code is not None)
        review.say(keys, f"lamp {lamp} shows no code", f"lamps with a code: {choices(coded)}", key=True)
    elif name in profile.codes and not review.is_broken("codes", name):
        _check_expected(code, name, _numbers(profile.codes[name], step, profile), keys, profile.codes[name], review)


def _numbers(code: CountCode | DigitsCode, step: ReadCode, profile: Profile) -> int | None:
    """Return how many numbers a code has in the variant that the step belongs to, None when a probe is broken."""
    if isinstance(code, CountCode):
        return 1
    if any(probe not in profile.inputs for probe in code.probes):
        return None
    fitted = [profile.inputs[probe].variant for probe in code.probes]
    return sum(on_one_board(step.variant, variant) for variant in fitted)


def _check_expected(
    expected: str, name: str, wanted: int | None, keys: KeyPath, code: CountCode | DigitsCode, review: Review
) -> None:
    meanings = tuple(str(meaning) for meaning in code.meanings)
    parts = expected.split()
    if wanted is not None and len(parts) != wanted:
        hint = f"such as {' '.join(meanings[:1] * wanted)!r}"
        review.say(keys, f"code {name} has {wanted} number(s), one after the other, got {expected!r}", hint)
    for part in parts:
        if part not in meanings:
            review.say(keys, f"code {name} has no meaning for {part!r}", f"known: {choices(meanings)}")
