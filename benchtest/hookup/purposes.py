"""What a profile says of each pin, in few words."""

from collections.abc import Iterator

from benchtest.profile.document import Profile
from benchtest.terminals import Pair, Terminal

SHARED = 3  # a pin that more things than this meet at is a common return


def purposes(profile: Profile) -> dict[Terminal, str]:
    """Return for each pin that the profile speaks of what is there; a pin where many things meet is their return."""
    found: dict[Terminal, list[str]] = {}
    for pair, words in _pairs(profile):
        for terminal in (pair.high, pair.low):
            found.setdefault(terminal, []).append(words)
    return {pin: _together(list(dict.fromkeys(said))) for pin, said in found.items()}


def of_pair(profile: Profile) -> dict[Pair, str]:
    """Return for each pair of pins that the profile speaks of what is there."""
    found: dict[Pair, list[str]] = {}
    for pair, words in _pairs(profile):
        found.setdefault(pair, []).append(words)
    return {pair: ", ".join(dict.fromkeys(said)) for pair, said in found.items()}


def _together(said: list[str]) -> str:
    return f"{said[0]}; common return" if len(said) > SHARED else ", ".join(said)


def _pairs(profile: Profile) -> Iterator[tuple[Pair, str]]:
    for name, supply in profile.supplies.items():
        yield supply.terminals, f"{name}, {supply.nominal:g} V {'d.c.' if supply.kind == 'dc' else 'a.c.'}"
        if supply.passed_on is not None:
            yield supply.passed_on.terminals, f"{name} passed on"
    for name, thing in profile.inputs.items():
        yield thing.terminals, f"{name} ({thing.rest} at rest)" if thing.kind == "dry contact" else name
    yield from ((rail.terminals, name) for name, rail in profile.rails.items())
    if profile.link is not None:
        yield profile.link.terminals, "link"
    yield from _contacts_and_bridges(profile)


def _contacts_and_bridges(profile: Profile) -> Iterator[tuple[Pair, str]]:
    for name, relay in profile.relays.items():
        for pair, words in ((relay.contact.make, "make"), (relay.contact.break_, "break"), (relay.coil, "coil")):
            if pair is not None:
                yield pair, f"{name} {words}"
    for name, connector in profile.connectors.items():
        for one, other in connector.bridged:
            yield Pair(Terminal(name, one), Terminal(name, other)), f"bridge {one}–{other}"
