"""What an approver signs of a profile, and the file beside it that says so: `greenhouse.yaml.approval`.

Signed is a statement of six facts as canonical JSON (RFC 8785), by Ed25519 (RFC 8032): the digest stands for the bytes
of the profile and of its signal database, so that a changed comment needs a new signature too. The file holds one
approval per key; who signs again replaces what they signed before.
"""

from pathlib import Path
from typing import Annotated, Final, Literal

from pydantic import Field, ValidationError

from benchtest.canonical import read_whole, to_canonical, write_whole, wrong
from benchtest.documents.section import Section
from benchtest.profile import LoadedProfile
from benchtest.seal.statement import holds
from benchtest.seal.station import Station
from benchtest.seal.strict import Unsound, read_strictly
from benchtest.seal.trusted import Day, Key, Signature, Succession

FORMAT: Final = "benchtest-approval/1"
ENDING: Final = ".approval"


class Statement(Section):
    """What is said of a profile, and by whom."""

    format: Literal["benchtest-approval/1"] = FORMAT
    profile: Annotated[str, Field(min_length=1, max_length=255)]
    """File name."""
    part: Annotated[str, Field(min_length=1, max_length=30)]
    digest: Key
    """SHA-256 over the profile and its signal database, as `benchtest` has it for every run."""
    by: Annotated[str, Field(min_length=1, max_length=80)]
    """Name of the approver, as given."""
    day: Day
    key: Key
    """Public key of the approver."""

    def spelled(self) -> bytes:
        """Return the bytes that are signed."""
        return to_canonical(self.model_dump(mode="json"))


class Approval(Section):
    """One signature."""

    statement: Statement
    signature: Signature
    lineage: tuple[Succession, ...] = ()
    """How the approver's keys follow one another."""

    @property
    def genuine(self) -> bool:
        """Whether the owner of the key has signed the statement."""
        return holds(self.statement.key, self.signature, self.statement.spelled())


class Approvals(Section):
    """The file."""

    format: Literal["benchtest-approval/1"] = FORMAT
    approvals: Annotated[tuple[Approval, ...], Field(min_length=1)]


def approval_file(profile: Path) -> Path:
    """Return where the approvals of a profile lie."""
    return profile.with_name(profile.name + ENDING)


def read_approvals(profile: Path) -> tuple[Approval, ...]:
    """Return the approvals beside a profile, none when there is no file. Raises DocumentError when it is damaged."""
    path = approval_file(profile)
    if not path.exists():
        return ()
    try:
        return Approvals.model_validate(read_strictly(read_whole(path))).approvals
    except Unsound as cause:
        raise wrong(path, f"is damaged: {cause}", hint="have the profile signed again") from cause
    except ValidationError as cause:
        first = cause.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        raise wrong(path, f"is damaged: {where}: {first['msg']}", hint="have the profile signed again") from cause


def approve(loaded: LoadedProfile, *, by: str, day: str, station: Station) -> Path:
    """Write an approval beside a profile and return its file."""
    statement = Statement(
        profile=loaded.path.name, part=loaded.profile.board.part, digest=loaded.digest, by=by, day=day, key=station.key
    )
    own = Approval(statement=statement, signature=station.sign(statement.spelled()), lineage=station.lineage)
    others = [one for one in read_approvals(loaded.path) if one.statement.key != station.key]
    found = Approvals(approvals=(*others, own))
    path = approval_file(loaded.path)
    write_whole(path, to_canonical(found.model_dump(mode="json")))
    return path
