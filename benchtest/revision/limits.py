"""Limits against limits, end by end: what is permitted more is looser, what is permitted less is tighter."""

from collections import defaultdict
from collections.abc import Iterator
from typing import Any

from benchtest.profile.board import RelayLimits
from benchtest.profile.document import Profile
from benchtest.profile.permitted import Limits
from benchtest.quantities import Dimension, dimension_of
from benchtest.revision.change import LOOSER, NEUTRAL, TIGHTER, Change, KeyPath, listed, named_differences, written

AnyLimits = Limits[Any] | None


def limit_changes(subject: str, keys: KeyPath, old: AnyLimits, new: AnyLimits) -> Iterator[Change]:
    """Yield the change of each end of an interval."""
    there = new or old
    if there is None:
        return
    dimension = dimension_of(type(there).model_fields["min"].annotation)
    for end in ("min", "max"):
        was, now = (None if limits is None else getattr(limits, end) for limits in (old, new))
        if was != now:
            yield _end(subject, (*keys, end) if new is not None else keys, end, was, now, dimension)
    if old is not None and new is not None:
        at = (*keys, "requirement")
        yield from named_differences(subject, "requirement", at, old.requirement, new.requirement, NEUTRAL)


def _end(
    subject: str, keys: KeyPath, end: str, was: float | None, now: float | None, dimension: Dimension | None
) -> Change:
    old, new = (None if value is None else written(value, dimension) for value in (was, now))
    if was is None:
        return Change(sentence=f"{subject}: {end} {new} added", direction=TIGHTER, keys=keys, new=new)
    if now is None:
        return Change(sentence=f"{subject}: {end} {old} removed", direction=LOOSER, keys=keys, removed=True, old=old)
    direction = LOOSER if (now > was) == (end == "max") else TIGHTER
    return Change(sentence=f"{subject}: {end} {old} -> {new}", direction=direction, keys=keys, old=old, new=new)


def relay_limit_changes(old: Profile, new: Profile) -> Iterator[Change]:
    """Yield what is permitted otherwise of relays that both profiles have, whoever says it: the relay or the default.

    Relays whose limit changed in the same way are told together.
    """
    both = [name for name in new.relays if name in old.relays]
    for limit in RelayLimits.model_fields:
        alike: dict[tuple[AnyLimits, AnyLimits], list[str]] = defaultdict(list)
        for name in both:
            was, now = (_in_force(profile, name, limit) for profile in (old, new))
            if was != now:
                alike[was, now].append(name)
        for (was, now), names in alike.items():
            who = f"every relay ({len(names)})" if len(names) == len(both) > 1 else listed(names)
            yield from limit_changes(f"{who} {limit.replace('_', ' ')}", _keys(new, names[0], limit), was, now)


def _in_force(profile: Profile, relay: str, limit: str) -> AnyLimits:
    found: AnyLimits = getattr(profile.relays[relay].limits, limit) or getattr(profile.relay_limits, limit)
    return found


def _keys(profile: Profile, relay: str, limit: str) -> KeyPath:
    own = getattr(profile.relays[relay].limits, limit) is not None
    return ("relays", relay, "limits", limit) if own else ("relay_limits", limit)
