"""Whether every terminal of a profile exists, and belongs to one thing only.

The first terminal of a pair is a thing's own; so are both of a contact and of the link. The second terminal of a pair
is a return: returns are shared, but never with a terminal that is somebody's own. Things that are never fitted together
(different variants) may have the same terminals.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from benchtest.documents import Review, nearest_or_list
from benchtest.profile.board import Contact
from benchtest.profile.document import Profile
from benchtest.profile.permitted import Fitted
from benchtest.terminals import Pair, Terminal

KeyPath = tuple[str | int, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Use:
    """One pair of terminals and who has it."""

    keys: KeyPath
    """Where the pair stands in the document."""
    who: str
    thing: Fitted | None
    own: tuple[Terminal, ...]
    returns: tuple[Terminal, ...]


def check_terminals(profile: Profile, review: Review) -> None:
    """Report terminals that are not there, that must stay empty, or that two things claim."""
    uses = tuple(_uses(profile))
    for use in uses:
        for terminal in (*use.own, *use.returns):
            _exists(terminal, use, profile, review)
    _claimed_once(uses, review)
    _bridges(profile, review)
    for name, relay in profile.relays.items():
        make, broken = relay.contact.make, relay.contact.break_
        if make is not None and broken is not None and make.high != broken.high:
            message = f"make and break of a form C contact have the common first, got {make.high} and {broken.high}"
            review.say(("relays", name, "contact"), message, f"such as 'make: {make}, break: {make.high}-{broken.low}'")


def _uses(profile: Profile) -> Iterator[Use]:
    for name, supply in profile.supplies.items():
        keys: KeyPath = ("supplies", name)
        yield _pair((*keys, "terminals"), f"supply {name}", supply, supply.terminals)
        if supply.passed_on is not None:
            at = (*keys, "passed_on", "terminals")
            yield _pair(at, f"supply {name} passed on", supply, supply.passed_on.terminals)
    for name, rail in profile.rails.items():
        yield _pair(("rails", name, "terminals"), f"rail {name}", rail, rail.terminals)
    for name, entry in profile.inputs.items():
        yield _pair(("inputs", name, "terminals"), f"input {name}", entry, entry.terminals)
    for name, relay in profile.relays.items():
        keys = ("relays", name)
        yield from _contact((*keys, "contact"), f"contact of {name}", relay, relay.contact)
        if relay.coil is not None:
            yield _pair((*keys, "coil"), f"coil of {name}", relay, relay.coil)
    if profile.link is not None:
        pair = profile.link.terminals
        own = (pair.high, pair.low)
        yield Use(keys=("link", "terminals"), who="link", thing=profile.link, own=own, returns=())


def _pair(keys: KeyPath, who: str, thing: Fitted, pair: Pair) -> Use:
    return Use(keys=keys, who=who, thing=thing, own=(pair.high,), returns=(pair.low,))


def _contact(keys: KeyPath, who: str, thing: Fitted, contact: Contact) -> Iterator[Use]:
    if contact.make is not None:
        own = (contact.make.high, contact.make.low)
        yield Use(keys=(*keys, "make"), who=who, thing=thing, own=own, returns=())
    if contact.break_ is not None:
        shared = contact.make is not None and contact.make.high == contact.break_.high
        common = () if shared else (contact.break_.high,)
        yield Use(keys=(*keys, "break"), who=who, thing=thing, own=(*common, contact.break_.low), returns=())


def _exists(terminal: Terminal, use: Use, profile: Profile, review: Review) -> None:
    connector = profile.connectors.get(terminal.connector)
    if connector is None:
        known = review.names("connectors")
        if terminal.connector not in known:
            hint = nearest_or_list(terminal.connector, known, what="connectors")
            review.say(use.keys, f"{use.who} sits on {terminal}, but there is no connector {terminal.connector}", hint)
    elif terminal.board:
        review.say(
            use.keys, f"{use.who} sits on {terminal}; a profile is about one board", "leave out the board's name"
        )
    elif terminal.pin > connector.pins and not review.is_broken("connectors", terminal.connector):
        message = f"{use.who} sits on {terminal}, but {terminal.connector} has {connector.pins} pins"
        review.say(use.keys, message, f"{terminal.connector}.1 to {terminal.connector}.{connector.pins}")
    elif connector.keep_empty:
        message = f"{use.who} sits on {terminal}, but {terminal.connector} must stay empty"
        review.say(use.keys, message, "use another connector, or take keep_empty from this one")


def _claimed_once(uses: tuple[Use, ...], review: Review) -> None:
    owners: dict[Terminal, list[Use]] = {}
    for use in uses:
        for terminal in use.own:
            rival = _rival(use, owners.setdefault(terminal, []))
            if rival is not None:
                _report_rival(terminal, use, rival, review)
            owners[terminal].append(use)
    for use in uses:
        for terminal in use.returns:
            rival = _rival(use, owners.get(terminal, []))
            if rival is not None:
                _report_rival(terminal, use, rival, review)


def _rival(use: Use, others: list[Use]) -> Use | None:
    return next((other for other in others if _fitted_together(use.thing, other.thing)), None)


def _fitted_together(one: Fitted | None, other: Fitted | None) -> bool:
    variants = {thing.variant for thing in (one, other) if thing is not None and thing.variant is not None}
    return len(variants) < 2


def _report_rival(terminal: Terminal, use: Use, rival: Use, review: Review) -> None:
    message = f"{use.who} takes terminal {terminal}, which {rival.who} has (line {review.line(*rival.keys)})"
    review.say(use.keys, message, "only a return, the second of a pair, may be shared")


def _bridges(profile: Profile, review: Review) -> None:
    for name, connector in profile.connectors.items():
        for place, bridge in enumerate(connector.bridged):
            keys = ("connectors", name, "bridged", place)
            if bridge[0] == bridge[1]:
                review.say(keys, f"a bridge from pin {bridge[0]} to itself", "name two pins")
            for pin in bridge:
                if not 1 <= pin <= connector.pins and not review.is_broken("connectors", name, "pins"):
                    review.say(keys, f"{name} has no pin {pin}", f"pins 1 to {connector.pins}")
        if connector.bridged and connector.keep_empty:
            review.say(("connectors", name), f"{name} must stay empty, yet has a jumper plug", "keep one of the two")
