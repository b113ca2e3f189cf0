"""`benchtest profile sign` and `profile verify`: approval of a profile by a person's key."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchtest.cli.words import say

if TYPE_CHECKING:
    from benchtest.seal.trusted import Stations


@click.command()
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option("--by", required=True, metavar="NAME", help="Who approves it.")
def sign(file: Path, by: str) -> int:
    """Approve profile FILE as it is now: write a signature of your key beside it, FILE.approval.

    The key is that of 'benchtest station show' for this user (BENCHTEST_STATION names another folder). It covers every
    byte of the profile and of its signal database: after any change, comments too, it must be signed again.
    """
    from benchtest.approval import approve
    from benchtest.clock import wall_time
    from benchtest.profile import load_profile
    from benchtest.records.labels import clean_text
    from benchtest.seal import open_station
    from benchtest.seal.statement import fingerprint

    name = clean_text(by, longest=80)
    if not name:
        raise click.UsageError("--by needs the name of whoever approves it")
    loaded = load_profile(file)
    station = open_station()
    path = approve(loaded, by=name, day=wall_time().date().isoformat(), station=station)
    say(f"{file}: approved by {name}, key {fingerprint(station.key)}")
    say(f"SHA-256 of profile and signal database: {loaded.digest}")
    say(f"written to {path}; a site takes it when its list of approvers has this key: benchtest station show --card")
    return 0


@click.command()
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option("--site", type=click.Path(path_type=Path), metavar="FILE", help="Its approvers; else $BENCHTEST_SITE.")
@click.option("--approvers", type=click.Path(path_type=Path), metavar="FILE", help="A list of approvers' keys instead.")
def verify(file: Path, site: Path | None, approvers: Path | None) -> int:
    """Say who has approved profile FILE, and whether it is still what they signed.

    Exit code 0 when an approver of the list has signed it as it is; 1 when it was changed since, or a signature is not
    genuine, and nobody has signed it as it is; 3 when it is not signed, or only by keys that the list does not have; 4
    when profile, approval or list cannot be read.
    """
    from benchtest.approval import State, examine
    from benchtest.profile import load_profile

    loaded = load_profile(file)
    found = examine(loaded, _approvers(site, approvers))
    for one in found:
        say(f"{file}: {one.sentence}")
    states = {one.state for one in found}
    if State.APPROVED in states:
        return 0
    return 1 if states & {State.ALTERED, State.FORGED} else 3


def _approvers(site: Path | None, approvers: Path | None) -> "Stations":
    from benchtest.approval import approvers_of, nobody
    from benchtest.documents import read_bytes
    from benchtest.seal import read_stations
    from benchtest.site import find_site

    if approvers is not None:
        read_bytes(approvers)  # a list that is named must be there
        return read_stations(approvers)
    found = find_site(site)
    return nobody() if found is None else approvers_of(found)
