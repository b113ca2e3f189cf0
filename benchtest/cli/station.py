"""`benchtest station`: this station's key, and the list of those that are trusted here."""

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from benchtest.cli.lazy import LazyGroup

if TYPE_CHECKING:
    from benchtest.seal.trusted import Entry, Stations

COMMANDS: Final = {
    "show": ("benchtest.cli.station:show", "Show this station's key, and whom it trusts."),
    "renew": ("benchtest.cli.station:renew", "Give this station a new key that the old one vouches for."),
    "trust": ("benchtest.cli.station:trust", "Trust another station, by its card or its key."),
}


@click.group("station", cls=LazyGroup, commands=COMMANDS)
def station() -> None:
    """This station's key, with which it seals papers, and the stations that are trusted here."""


@click.command()
@click.option("--card", is_flag=True, help="Only this station's public keys, as a list to give to others.")
@click.option("--pem", is_flag=True, help="Only the public key, as PEM for other programs.")
def show(card: bool, pem: bool) -> int:
    """Show this station's key, and whom it trusts. Makes the key when there is none."""
    from benchtest.cli.words import say
    from benchtest.seal import open_station, read_stations, station_folder, stations_file
    from benchtest.seal.statement import fingerprint
    from benchtest.seal.station import own_stations, public_pem
    from benchtest.seal.trusted import as_text

    own = open_station()
    stations = read_stations(stations_file(station_folder()))
    if card or pem:
        click.echo(public_pem(own) if pem else as_text(own_stations(own, stations)), nl=False)
        return 0
    say(f"{own.name}, key {fingerprint(own.key)}")
    say(f"public key {own.key}")
    say(f"kept in {station_folder()}\n\ntrusted here:")
    for entry in stations.stations:
        say(f"  {_line(entry)}")
    return 0


@click.command()
@click.option("--name", metavar="TEXT", help="Another name for the station.")
def renew(name: str | None) -> int:
    """Give this station a new key, vouched for by the old one; papers under the old one stay good.

    The old private key is gone afterwards. Do this every year or two, and when somebody leaves who could read it.
    When it may have been stolen, tell whoever trusts it as well: a thief can use it, and date as he likes.
    """
    from benchtest.cli.words import say
    from benchtest.records.labels import clean_text
    from benchtest.seal.station import renew as renew_key

    own = renew_key(name=clean_text(name, longest=80) if name else None)
    say(f"{own.name} has a new key: {own.key}")
    say("give others the new list: benchtest station show --card")
    return 0


@click.command()
@click.argument("who", metavar="CARD|KEY")
@click.option("--name", metavar="TEXT", help="What it is called here; needed with a key.")
@click.option("--until", metavar="DAY", help="Last day whose papers are believed, such as 2026-12-31.")
@click.option("--yes", is_flag=True, help="Do not ask: the key was compared already.")
def trust(who: str, name: str | None, until: str | None, yes: bool) -> int:
    """Trust a station: its CARD (from 'station show --card' there), or its public KEY with a name.

    Compare the key with the station's own by another way than the one the card came by.
    """
    from benchtest.cli.words import say
    from benchtest.seal import read_stations, station_folder, stations_file
    from benchtest.seal.station import trust as keep

    entries = _asked_for(who, name, until)
    for entry in entries:
        say(_line(entry))
    if not yes and not click.confirm("Is this what the station itself says of its key?", default=False):
        say("nothing was changed")
        return 3
    keep(entries)
    total = len(read_stations(stations_file(station_folder())).stations)
    say(f"trusted; keys in {stations_file(station_folder())}: {total}")
    return 0


def _asked_for(who: str, name: str | None, until: str | None) -> "tuple[Entry, ...]":
    from benchtest.canonical import wrong
    from benchtest.seal import read_stations
    from benchtest.seal.statement import is_hex
    from benchtest.seal.trusted import Entry, is_day

    if until is not None and not is_day(until):
        raise click.UsageError(f"--until {until!r} is not a day (write it as 2026-12-31)")
    if is_hex(who, 32):
        if not name:
            raise click.UsageError("a key alone has no name (give one with --name)")
        return (Entry(name=name[:80], key=who, until=until),)
    path = Path(who)
    if not path.exists():
        hint = "give a card, or a public key of 64 hexadecimal digits in small letters"
        raise wrong(path, "there is no such file, and it is not a key", hint=hint)
    found: Stations = read_stations(path)
    if not found.stations:
        raise wrong(path, "names no station", hint="make one with 'benchtest station show --card' at that station")
    changes = {key: value for key, value in (("name", name), ("until", until)) if value is not None}
    return tuple(entry.model_copy(update=changes) for entry in found.stations)


def _line(entry: "Entry") -> str:
    from benchtest.seal.statement import fingerprint

    times = [f"since {entry.since}" if entry.since else "", f"until {entry.until}" if entry.until else ""]
    return ", ".join(filter(None, [entry.name, f"key {fingerprint(entry.key)}", *times]))
