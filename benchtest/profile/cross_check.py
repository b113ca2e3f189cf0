"""Whether everything in a profile that points at something else finds it, and makes sense together.

Each check walks one kind of reference and says what it finds to the review; none stops the others. A name whose
definition is merely broken counts as known, so that one mistake is reported once.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import pairwise

from benchtest.documents import Review, choices, nearest_or_list
from benchtest.profile.board import Condition, CountCode, DigitsCode, Input, Probe, Relay
from benchtest.profile.document import Profile
from benchtest.profile.link import Vocabulary
from benchtest.profile.permitted import Fitted, on_one_board
from benchtest.profile.script_check import check_steps, exist, needed
from benchtest.profile.terminal_check import check_terminals

KeyPath = tuple[str | int, ...]
Reporting = tuple[KeyPath, str, Fitted]
"""Where a thing names its signal, the signal, and the thing."""

SECTIONS = ("supplies", "rails", "inputs", "relays", "lamps", "codes", "interlocks")
RESERVED = ("link", "interlock")
"""Words that mean something in a condition."""


def cross_check(profile: Profile, review: Review, said: Vocabulary | None) -> None:
    """Report every reference of `profile` that leads nowhere, and every contradiction."""
    _check_names(review)
    _check_fitted(profile, review)
    check_terminals(profile, review)
    _check_supplies(profile, review)
    _check_fed(profile, review)
    _check_heartbeat(profile, review)
    _check_commands(profile, review, said)
    _check_feedback(profile, review, said)
    _check_reported(profile, review, said)
    _check_lamps(profile, review)
    _check_codes(profile, review)
    _check_interlocks(profile, review)
    check_steps(profile, review)


def _check_names(review: Review) -> None:
    """Names are unique over all sections, because conditions and variants speak of things by name alone."""
    first: dict[str, str] = {}
    for section in SECTIONS:
        for name in review.names(section):
            if name in RESERVED:
                message = f"{name!r} cannot be a name, conditions mean something else by it"
                review.say((section, name), message, "choose another name", key=True)
            elif name in first:
                message = f"the name {name!r} is taken by the {first[name]} (line {review.line(first[name], name)})"
                review.say((section, name), message, "choose another name", key=True)
            first.setdefault(name, section)


def _things(profile: Profile) -> Iterator[tuple[KeyPath, Fitted]]:
    for section in SECTIONS:
        things: Mapping[str, Fitted] = getattr(profile, section)
        for name, thing in things.items():
            yield (section, name), thing
    if profile.link is not None:
        yield ("link",), profile.link


def _check_fitted(profile: Profile, review: Review) -> None:
    for keys, thing in _things(profile):
        for word, section, value in (("variant", "variants", thing.variant), ("option", "options", thing.option)):
            known = review.names(section)
            if value is not None and value not in known:
                review.say((*keys, word), f"there is no {word} {value!r}", nearest_or_list(value, known))


def _check_goes_along(keys: KeyPath, name: str, thing: Fitted, target: Fitted, review: Review) -> None:
    """A thing may only lean on what is fitted whenever it is; an unknown variant or option was reported elsewhere."""
    for word, wanted, had in (("variant", target.variant, thing.variant), ("option", target.option, thing.option)):
        if wanted in review.names(f"{word}s") and wanted != had:
            review.say(keys, f"{name} is fitted only with {word} {wanted}", "give both the same variant and option")


def _check_fed(profile: Profile, review: Review) -> None:
    """Program and coils are fed by a d.c. supply, in every variant and without any option."""
    direct = [supply for supply in profile.supplies.values() if supply.kind == "dc" and supply.option is None]
    if review.is_broken("supplies"):
        return
    for variant in profile.variants or (None,):
        if not any(supply.variant in {None, variant} for supply in direct):
            where = f" in variant {variant}" if variant is not None else ""
            review.say(
                ("supplies",), f"there is no d.c. supply{where}", "the first one feeds program and coils", key=True
            )


def _check_heartbeat(profile: Profile, review: Review) -> None:
    """A controller that speaks too seldom would lose the link of a good board between two of its messages."""
    if profile.link is None:
        return
    every, bears = profile.link.controller.every, profile.link.lost_after
    least = bears.low if bears.low > 0 else bears.high
    if every >= least:
        message = f"the controller speaks every {every:g} s, and a board may take the link for lost after {least:g} s"
        review.say(("link", "controller", "every"), message, "every so often that one message may go missing")


def _check_supplies(profile: Profile, review: Review) -> None:
    for name, supply in profile.supplies.items():
        stages = (*supply.stages, supply.nominal)
        for place, (lower, higher) in enumerate(pairwise(stages)):
            if not 0 < lower < higher:
                message = f"stage {lower:g} V is not above 0 V and below what follows it, {higher:g} V"
                review.say(("supplies", name, "stages", place), message, "stages rise and end below nominal")
        if supply.first_limit is not None and supply.first_limit > supply.current_limit:
            message = f"first_limit {supply.first_limit:g} A lies above current_limit {supply.current_limit:g} A"
            review.say(("supplies", name, "first_limit"), message)


def _check_commands(profile: Profile, review: Review, said: Vocabulary | None) -> None:
    inputs = review.names("inputs")
    for name, relay in profile.relays.items():
        keys = ("relays", name, "command")
        if relay.command.input is not None:
            wanted = relay.command.input
            if wanted not in inputs:
                hint = nearest_or_list(wanted, inputs)
                review.say((*keys, "input"), f"relay {name} obeys input {wanted!r}, which is not there", hint)
            elif wanted in profile.inputs:
                _check_goes_along((*keys, "input"), wanted, relay, profile.inputs[wanted], review)
                _check_commanding((*keys, "input"), name, wanted, profile.inputs[wanted], review)
        elif "link" not in review.names():
            review.say((*keys, "link"), f"relay {name} obeys the link, but the board has none", "describe 'link:'")
        elif profile.link is not None:
            _check_signal((*keys, "link"), relay.command.link, profile.link.command, review, said)


def _check_commanding(keys: KeyPath, relay: str, name: str, entry: Input, review: Review) -> None:
    """What energises a relay is true or false, and false at rest: each relay is worked from there."""
    if isinstance(entry, Probe):
        review.say(keys, f"relay {relay} obeys input {name}, which is a probe", "name a level or a dry contact")
    elif entry.rest in {"high", "closed"} and not review.is_broken("inputs", name):
        message = f"relay {relay} obeys input {name}, which is {entry.rest} at rest: it would be energised at rest"
        other = "low" if entry.rest == "high" else "open"
        review.say(keys, message, f"rest is what nobody wants anything in: give {name} 'rest: {other}'")


def _check_feedback(profile: Profile, review: Review, said: Vocabulary | None) -> None:
    seen: list[Reporting] = []
    for section in ("supplies", "inputs", "relays"):
        for name, thing in getattr(profile, section).items():
            keys = (section, name, "feedback")
            if thing.feedback is not None and "link" not in review.names():
                review.say(keys, f"{name} reports by the link, but the board has none", "describe 'link:'")
            elif thing.feedback is not None and profile.link is not None:
                _check_signal(keys, thing.feedback, profile.link.status, review, said)
                _check_own(keys, thing.feedback, thing, seen, review)


def _check_own(keys: KeyPath, signal: str, thing: Fitted, seen: list[Reporting], review: Review) -> None:
    """One signal reports one thing: it cannot follow two that come and go by themselves, unless no board has both."""
    for earlier, reported, other in seen:
        if signal == reported and on_one_board(thing.variant, other.variant) and not _alike(thing, other):
            message = f"signal {signal} reports {earlier[1]} already (line {review.line(*earlier)})"
            review.say(keys, message, f"{keys[1]} needs one of its own, or none")
            break
    seen.append((keys, signal, thing))


def _alike(one: Fitted, other: Fitted) -> bool:
    """Return whether both are relays that obey the same command, and so come and go together."""
    return isinstance(one, Relay) and isinstance(other, Relay) and one.command == other.command


def _check_reported(profile: Profile, review: Review, said: Vocabulary | None) -> None:
    for name, code in profile.codes.items():
        if not isinstance(code, CountCode) or code.reported is None:
            continue
        keys = ("codes", name, "reported")
        if profile.link is None:
            if "link" not in review.names():
                review.say(keys, f"code {name} is reported by the link, but the board has none", "describe 'link:'")
        else:
            _check_signal(keys, code.reported, profile.link.board.message, review, said)


def _check_signal(keys: KeyPath, signal: str | None, message: str, review: Review, said: Vocabulary | None) -> None:
    known = said.get(message) if said is not None else None
    if known is not None and signal not in known:
        hint = nearest_or_list(signal, known, what="signals")
        review.say(keys, f"message {message} has no signal {signal!r}", hint)


def _check_lamps(profile: Profile, review: Review) -> None:
    shown_by: dict[str, str] = {name: f"code {lamp.code}" for name, lamp in profile.lamps.items() if lamp.code}
    known = review.names("lamps")
    for section, word in (("supplies", "supply"), ("relays", "relay")):
        for name, thing in getattr(profile, section).items():
            keys = (section, name, "lamp")
            if thing.lamp is None:
                continue
            if thing.lamp not in known:
                hint = nearest_or_list(thing.lamp, known)
                review.say(keys, f"{word} {name} names lamp {thing.lamp}, which is not there", hint)
            elif thing.lamp in shown_by:
                message = f"lamp {thing.lamp} already shows {shown_by[thing.lamp]}"
                review.say(keys, message, "a lamp shows one thing")
            elif thing.lamp in profile.lamps:
                _check_goes_along(keys, f"lamp {thing.lamp}", thing, profile.lamps[thing.lamp], review)
            shown_by.setdefault(thing.lamp, f"{word} {name}")


def _check_codes(profile: Profile, review: Review) -> None:
    known = review.names("codes")
    for name, lamp in profile.lamps.items():
        if lamp.code is not None and lamp.code not in known:
            review.say(("lamps", name, "code"), f"there is no code {lamp.code!r}", nearest_or_list(lamp.code, known))
        elif lamp.code is not None and lamp.code in profile.codes:
            _check_goes_along(("lamps", name, "code"), f"code {lamp.code}", lamp, profile.codes[lamp.code], review)
    uses = Counter(lamp.code for lamp in profile.lamps.values())
    for name, code in profile.codes.items():
        if not uses[name] and not review.is_broken("lamps"):
            review.say(("codes", name), f"no lamp shows code {name!r}", "give a lamp 'code:', or delete it", key=True)
        if isinstance(code, DigitsCode):
            _check_digits(name, code, profile, review)
        else:
            _check_counts(name, code, profile, review)


def _check_counts(name: str, code: CountCode, profile: Profile, review: Review) -> None:
    for count, meaning in code.meanings.items():
        keys = ("codes", name, "meanings", count)
        if not 1 <= count <= 20:
            review.say(keys, f"{count} flashes cannot be counted", "1 to 20", key=True)
        if meaning.when is not None:
            _check_condition(meaning.when, (*keys, "when"), profile, review)


def _check_digits(name: str, code: DigitsCode, profile: Profile, review: Review) -> None:
    keys = ("codes", name)
    exist(code.probes, "inputs", (*keys, "probes"), review)
    for place, probe in enumerate(code.probes):
        entry = profile.inputs.get(probe)
        if entry is None or review.is_broken("inputs", probe):
            continue
        if not isinstance(entry, Probe):
            review.say((*keys, "probes", place), f"input {probe} is not a probe", "name inputs of 'kind: probe'")
            continue
        for digits, state in code.meanings.items():
            if state not in entry.states:
                hint = nearest_or_list(state, entry.states, what="states")
                review.say((*keys, "meanings", digits), f"probe {probe} has no state {state!r}", hint)


def _check_interlocks(profile: Profile, review: Review) -> None:
    relays = review.names("relays")
    for name, lock in profile.interlocks.items():
        keys = ("interlocks", name)
        if lock.relay not in relays:
            hint = nearest_or_list(lock.relay, relays)
            review.say((*keys, "relay"), f"there is no relay {lock.relay!r}", hint)
        _check_condition(lock.needs, (*keys, "needs"), profile, review)
        if lock.relay in lock.needs.names or "interlock" in lock.needs.names:
            message = "the interlock depends on itself"
            review.say((*keys, "needs"), message, f"take {lock.relay} and 'interlock' out of its condition")
        elif lock.relay in (chain := needed(lock.relay, profile)):
            message = f"relay {lock.relay} waits for itself, by way of {choices(sorted(chain - {lock.relay}))}"
            review.say((*keys, "needs"), message, "no board could ever energise it")


def _check_condition(condition: Condition, keys: KeyPath, profile: Profile, review: Review) -> None:
    for word in ("all", "any", "none"):
        for place, written in enumerate(getattr(condition, word)):
            _check_term(written, (*keys, word, place), profile, review)


def _check_term(written: str, keys: KeyPath, profile: Profile, review: Review) -> None:
    name, equals, state = written.partition("=")
    known = [*review.names("relays"), *review.names("inputs"), *review.names("supplies"), *RESERVED]
    if name not in known:
        review.say(keys, f"{name!r} is no relay, input, supply, 'link' or 'interlock'", nearest_or_list(name, known))
        return
    if name == "link" and "link" not in review.names():
        review.say(keys, "the condition speaks of the link, but the board has none", "describe it under 'link:'")
    entry = profile.inputs.get(name)
    if entry is not None and review.is_broken("inputs", name):
        return
    if isinstance(entry, Probe):
        if state not in entry.states:
            hint = nearest_or_list(state, [f"{name}={one}" for one in entry.states], what="possible")
            review.say(keys, f"{written!r} names no state of probe {name}", hint)
    elif equals and name in profile.inputs | profile.relays | profile.supplies | dict.fromkeys(RESERVED):
        review.say(keys, f"{written!r}: only a probe has named states", f"write {name!r} under all, any or none")
