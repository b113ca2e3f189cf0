"""What a profile says of the board itself: the same walk through every section, with a table of what is looser.

Where the table says nothing of a key, neither can be said from the key alone: the readings tell (`revision.readings`).
"""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from benchtest.profile.board import Connector, Relay, Supply
from benchtest.profile.document import Decision, Profile
from benchtest.profile.permitted import Limits
from benchtest.profile.script import Exercise, Loss, PowerUp, ReadLamps, TryInterlocks, WatchLink
from benchtest.quantities import Dimension, dimension_of
from benchtest.revision.change import (
    LOOSER,
    NEUTRAL,
    TIGHTER,
    Change,
    Direction,
    KeyPath,
    more_is,
    named_differences,
    replaced,
    written,
)
from benchtest.revision.limits import limit_changes

THINGS: Final = {
    "connectors": "connector",
    "supplies": "supply",
    "rails": "rail",
    "inputs": "input",
    "relays": "relay",
    "lamps": "lamp",
    "codes": "code",
    "interlocks": "interlock",
    "variants": "variant",
    "options": "option",
}
"""Sections of named things, and what one of them is called."""
FEWER_IS_LOOSER: Final[frozenset[tuple[type[BaseModel], str]]] = frozenset(
    {
        (Connector, "bridged"),
        (Exercise, "relays"),
        (Loss, "energised"),
        (PowerUp, "supplies"),
        (ReadLamps, "lit"),
        (ReadLamps, "dark"),
        (Supply, "stages"),
        (TryInterlocks, "names"),
    }
)
"""Lists of what is looked at."""
MORE_IS: Final[Mapping[tuple[type[BaseModel], str], Direction]] = {
    (Connector, "keep_empty"): TIGHTER,
    (Decision, "accept_conditional"): LOOSER,
    (Decision, "coverage"): TIGHTER,
    (Decision, "guard"): TIGHTER,
    (Exercise, "again"): TIGHTER,
    (Supply, "current_limit"): LOOSER,
    (Supply, "first_limit"): LOOSER,
    (WatchLink, "listen_for"): TIGHTER,
}
"""What a larger number, or yes instead of no, means."""
STRICT: Final = {"simple acceptance": 0, "non-binary": 1, "guarded acceptance": 1}
"""How much a pass takes under each rule; the two with a guard band say pass of the same values."""


def things(old: Profile, new: Profile) -> Iterator[Change]:
    """Yield what is said differently of the board, its parts and its rule, but for relay limits and steps."""
    yield from fields("board", ("board",), old.board, new.board)
    yield from _decision(old.decision, new.decision)
    for section, one in THINGS.items():
        yield from _named(section, one, getattr(old, section), getattr(new, section))
    if (old.link is None) != (new.link is None):
        yield _come_or_gone("the link", ("link",), come=new.link is not None)
    elif old.link is not None and new.link is not None:
        yield from fields("link", ("link",), old.link, new.link)


def _decision(old: Decision, new: Decision) -> Iterator[Change]:
    if old.rule != new.rule:
        grades = STRICT[old.rule], STRICT[new.rule]
        direction = NEUTRAL if grades[0] == grades[1] else more_is(TIGHTER, *grades)
        yield replaced("decision", "rule", ("decision", "rule"), old.rule, new.rule, direction)
    was, now = tuple(old.accept_unresolved), tuple(new.accept_unresolved)
    what = "limits accepted although the bench cannot resolve them"
    yield from named_differences("", what, ("decision", "accept_unresolved"), was, now, TIGHTER)
    same = {"rule": new.rule, "accept_unresolved": new.accept_unresolved}
    yield from fields("decision", ("decision",), old.model_copy(update=same), new)


def _named(section: str, one: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[Change]:
    for name in (name for name in old if name not in new):
        yield _come_or_gone(f"{one} {name}", (section, name), come=False)
    for name in (name for name in new if name not in old):
        yield _come_or_gone(f"{one} {name}", (section, name), come=True)
    for name in (name for name in new if name in old):
        was, now = old[name], new[name]
        if isinstance(was, str):
            if was != now:
                yield replaced(one, name, (section, name), was, now, NEUTRAL)
        elif type(was) is not type(now):
            yield replaced(f"{one} {name}", "kind", (section, name), was.kind, now.kind, NEUTRAL)
        else:
            yield from fields(name, (section, name), was, now)


def _come_or_gone(what: str, keys: KeyPath, *, come: bool) -> Change:
    """Return that something is there or not; what it means is up to the readings about it."""
    return Change(sentence=f"{what} {'added' if come else 'removed'}", direction=NEUTRAL, keys=keys, removed=not come)


def fields(subject: str, keys: KeyPath, old: BaseModel, new: BaseModel) -> Iterator[Change]:
    """Yield what two sections of one kind say differently."""
    if old == new:
        return
    for name, field in type(new).model_fields.items():
        was, now = getattr(old, name), getattr(new, name)
        if was == now or (isinstance(new, Relay) and name == "limits"):  # limits of relays are told with the defaults
            continue
        at = (*keys, field.alias or name)
        what = (field.alias or name).replace("_", " ")
        yield from _field(subject, what, at, was, now, _Rule(new, name, field))


class _Rule:
    """What is known of a key: its quantity, and what more or fewer mean."""

    def __init__(self, section: BaseModel, name: str, field: FieldInfo) -> None:
        key = (type(section), name)
        self.dimension = quantity_of(field)
        self.more = MORE_IS.get(key, NEUTRAL)
        self.fewer = LOOSER if key in FEWER_IS_LOOSER else NEUTRAL


def quantity_of(field: FieldInfo) -> Dimension | None:
    """Return which quantity a key is, or its entries are."""
    return next((one for part in (*field.metadata, field.annotation) if (one := dimension_of(part))), None)


def _field(subject: str, what: str, keys: KeyPath, old: Any, new: Any, rule: _Rule) -> Iterator[Change]:
    if isinstance(old, Limits) or isinstance(new, Limits):
        yield from limit_changes(f"{subject} {what}", keys, old, new)
    elif isinstance(old, BaseModel) and type(old) is type(new):
        yield from fields(f"{subject} {what}", keys, old, new)
    elif isinstance(new, tuple) and isinstance(old, tuple) and _names(old) and _names(new):
        yield from named_differences(subject, what, keys, old, new, rule.fewer, rule.dimension)
    elif isinstance(new, dict) and isinstance(old, dict):
        yield from _table(subject, what, keys, old, new, rule)
    else:
        comparable = isinstance(old, int | float) and isinstance(new, int | float)
        direction = more_is(rule.more, old, new) if comparable else NEUTRAL
        yield replaced(subject, what, keys, _plain(old), _plain(new), direction, rule.dimension)


def _names(values: tuple[Any, ...]) -> bool:
    return not any(isinstance(value, BaseModel) for value in values)


def _table(subject: str, what: str, keys: KeyPath, old: Any, new: Any, rule: _Rule) -> Iterator[Change]:
    """Yield what a table says differently, entry by entry."""
    head = f"{subject} {what}"
    yield from named_differences("", head, keys, tuple(old), tuple(new), NEUTRAL)
    for name in (name for name in new if name in old and old[name] != new[name]):
        at = (*keys, name)
        if isinstance(new[name], BaseModel):
            yield from fields(f"{head} {name}", at, old[name], new[name])
        else:
            yield replaced(head, str(name), at, old[name], new[name], NEUTRAL, rule.dimension)


def _plain(value: Any) -> Any:
    """Return a section as words, quantities with their units."""
    if not isinstance(value, BaseModel):
        return value
    said = ((field.alias or name, field, getattr(value, name)) for name, field in type(value).model_fields.items())
    return {
        name: _plain(inner) if isinstance(inner, BaseModel) else written(inner, quantity_of(field))
        for name, field, inner in said
        if inner != field.default
    }
