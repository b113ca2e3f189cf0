"""Whether a profile is approved here: signed as it is now, by somebody whom a list of approvers names.

The list of approvers is not the list of stations: who may seal a result must not thereby be able to approve a method.
"""

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from benchtest.approval.statement import Approval, approval_file, read_approvals
from benchtest.errors import PlanError
from benchtest.profile import LoadedProfile
from benchtest.seal.statement import fingerprint
from benchtest.seal.trusted import FORMAT, Stations, read_stations, standing
from benchtest.site import LoadedSite


class State(StrEnum):
    """What an approval is worth."""

    APPROVED = "approved"
    ALTERED = "altered"
    """The profile is not the one that was signed."""
    FORGED = "not genuine"
    """The signature is not that of its key."""
    UNKNOWN = "not of an approver"
    UNSIGNED = "not signed"


@dataclass(frozen=True, kw_only=True, slots=True)
class Examined:
    """One approval, or the lack of any."""

    state: State
    why: str
    approval: Approval | None = None

    @property
    def sentence(self) -> str:
        """Return it for people."""
        if self.approval is None:
            return f"{self.state}: {self.why}"
        said = self.approval.statement
        return f"{self.state}: {said.by}, {said.day}, key {fingerprint(said.key)}: {self.why}"


def nobody() -> Stations:
    """Return an empty list of approvers."""
    return Stations(format=FORMAT)


def examine(loaded: LoadedProfile, approvers: Stations) -> tuple[Examined, ...]:
    """Return what each approval beside a profile is worth. Raises DocumentError when the file is damaged."""
    found = read_approvals(loaded.path)
    if not found:
        return (Examined(state=State.UNSIGNED, why=f"there is no {approval_file(loaded.path).name} beside it"),)
    return tuple(_examined(one, loaded, approvers) for one in found)


def _examined(one: Approval, loaded: LoadedProfile, approvers: Stations) -> Examined:
    said = one.statement
    if not one.genuine:
        why = "the signature does not hold: the approval was changed, or is not of this key"
        return Examined(state=State.FORGED, why=why, approval=one)
    if (said.profile, said.part) != (loaded.path.name, loaded.profile.board.part):
        why = f"it is of {said.profile} for {said.part}, not of this profile"
        return Examined(state=State.ALTERED, why=why, approval=one)
    if said.digest != loaded.digest:
        why = "the profile, or its signal database, has been changed since"
        return Examined(state=State.ALTERED, why=why, approval=one)
    known = standing(said.key, said.day, one.lineage, approvers)
    state = State.APPROVED if known.trusted else State.UNKNOWN
    return Examined(state=state, why=known.why, approval=one)


def approvers_of(site: LoadedSite) -> Stations:
    """Return a site's list of approvers. Raises DocumentError with what is wrong with it."""
    name = site.site.profiles.approvers
    return nobody() if name is None else read_stations(site.path.parent / name)


def permit(loaded: LoadedProfile, site: LoadedSite | None) -> tuple[str, ...]:
    """Return who has approved a profile here; before anything is energised, refuse one that the site does not take.

    Raises PlanError where the site requires signed profiles and no approver of its list has signed this one as it is.
    """
    if site is None or (site.site.profiles.approvers is None and site.site.profiles.signed == "optional"):
        return ()
    found = examine(loaded, approvers_of(site))
    approved = [one.approval for one in found if one.state is State.APPROVED and one.approval is not None]
    if not approved and site.site.profiles.signed == "required":
        where = site.place("profiles", "signed")
        raise PlanError([_refusal(loaded.path, where, one) for one in found])
    return tuple(f"{one.statement.by}, {one.statement.day}, key {fingerprint(one.statement.key)}" for one in approved)


def _refusal(profile: Path, where: str, found: Examined) -> str:
    hint = f"an approver looks at it and runs: benchtest profile sign {profile} --by NAME"
    return f"{profile}: this site takes signed profiles only ({where}); {found.sentence} ({hint})"
