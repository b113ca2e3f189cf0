"""Which relays stay energised when a supply or the link is lost, and which are so again when it has come back.

A relay leaves with what is lost, or with the interlock that then no longer holds. It comes back when its command is
still there: that of an input is, that of the link is not. An interlock that wants a new command keeps it off.
"""

from benchtest.plan.timeline import first, staying, true_with
from benchtest.profile.document import Profile


def beforehand(profile: Profile, energised: tuple[str, ...]) -> tuple[list[tuple[str, bool]], list[str]]:
    """Return the inputs to set and the relays to command, in order, so that interlocks let all be energised."""
    needs = [(first(profile, relay), relay) for relay in energised]
    inputs = dict.fromkeys(one for (inputs, _), _ in needs for one in inputs)
    relays = dict.fromkeys(name for (_, before), relay in needs for name in (*before, relay))
    return list(inputs), list(relays)


class Outlasting:
    """The relays of one loss: those that stay energised with it gone, and those that are so with it back."""

    def __init__(self, profile: Profile, lost: str, inputs: list[tuple[str, bool]], commanded: list[str]) -> None:
        self._profile, self._lost = profile, lost
        true = true_with(profile, inputs)
        released = {name for name in commanded if self._released(name)}
        self.gone = staying(profile, frozenset(commanded) - released, true - {lost})
        again = {name for name in released if profile.relays[name].command.input is not None}
        again |= {name for name in commanded if name not in released and self._by_itself(name, true - {lost})}
        self.back = staying(profile, self.gone | again, true)

    def _released(self, name: str) -> bool:
        """Return whether the loss itself releases a relay."""
        if self._lost == "link":
            return self._profile.relays[name].without_link == "released"
        return self._lost == self._profile.feeding

    def _by_itself(self, name: str, true: frozenset[str]) -> bool:
        """Return whether every interlock that lets a relay go also lets it come back."""
        locks, true = self._profile.locks(name), true | self.gone
        return all(lock.restart == "by itself" for lock in locks if not lock.needs.holds(true))
