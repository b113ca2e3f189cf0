"""Small makers of checks, so that every planner names, places and probes them in the same way."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

from benchtest.instruments import Role
from benchtest.plan.timeline import Draft, beside
from benchtest.procedure import Check, Interval, Measurand, Record, Still
from benchtest.profile.permitted import Limits
from benchtest.profile.requirements import required
from benchtest.terminals import Pair

NONE: Final = Interval(low=0.0, high=0.0)
WATCHED: Final = frozenset({Role.CONTACT, Role.LIGHT, Role.SENSE})
"""Roles that have states, so that they can be still."""


def interval(limits: "Limits[float] | None") -> Interval:
    """Return limits as an interval; no limits permit everything."""
    return Interval(low=None, high=None) if limits is None else Interval(low=limits.min, high=limits.max)


@dataclass(frozen=True, kw_only=True, slots=True)
class Maker:
    """Makes the checks of one step about one subject."""

    draft: Draft
    step: str
    subject: str
    key: tuple[str, ...]
    """Where the subject stands in the profile."""

    def number(
        self, name: str, measurand: Measurand, unit: str, permitted: Interval, probe: Pair | str | None, *key: str
    ) -> Check:
        """Return a check of a number against an interval."""
        return self._check(name, measurand, unit, permitted, probe, key)

    def word(self, name: str, measurand: Measurand, expected: str, probe: Pair | str | None, *key: str) -> Check:
        """Return a check of a word."""
        return self._check(name, measurand, "", expected, probe, key)

    def _check(
        self,
        name: str,
        measurand: Measurand,
        unit: str,
        permitted: Interval | str,
        probe: Pair | str | None,
        key: tuple[str, ...],
    ) -> Check:
        return Check(
            id=f"{self.step}.{self.subject}.{name}".replace(" ", "-"),
            subject=self.subject,
            title=f"{self.subject}: {name}" if " " in self.subject else f"{self.subject} {name}",
            measurand=measurand,
            unit=unit,
            permitted=permitted,
            probe=str(probe or ""),
            place=self.draft.place(*self.key, *key),
            requirement=required(self.draft.profile, *self.key, *key),
        )


def evidence_of(check: Check, *requirements: str) -> Check:
    """Return a check that is evidence of these requirements too."""
    return replace(check, requirement=tuple(dict.fromkeys((*check.requirement, *requirements))))


def others_still(maker: Maker, move: Record, involved: Iterable[str], lamps: Iterable[int] = ()) -> Check:
    """Return the check that no contact, coil or lamp moves but those of the relays involved.

    Relays that obey the same command move along. Lamps that give codes are let be, and so are the channels in `lamps`.
    """
    draft = maker.draft
    moved = {other for name in involved for other in (name, *beside(draft.profile, name))}
    mine = draft.blinking().union(lamps, *(draft.relay(name).all() for name in moved))
    known = draft.channels
    others = tuple(n for n in move.channels if n not in mine and n in known and known[n].role in WATCHED)
    still = Still(evidence=move.name, channels=others, start=0.0, end=move.duration)
    return maker.number("leaves the others still", still, "", NONE, "all other contacts, coils and lamps")
