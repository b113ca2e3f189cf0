"""What happens to a finished run: it is stored on this bench, and delivered where a server is, but not waited for."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from benchtest.errors import BenchtestError
from benchtest.records.address import Address
from benchtest.records.database.delivering import deliver_within, waiting
from benchtest.records.database.opening import open_file
from benchtest.records.database.record import record_of
from benchtest.records.database.storing import store
from benchtest.results import Run

WAIT: Final = 3.0
"""Seconds that a finished run may wait for the server of the records."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Kept:
    """Where a run is in the records."""

    place: str
    """The bench's own database; empty where none is kept."""
    problem: str = ""
    """Why it is not there; empty when it is."""
    server: bool = False
    """Whether there is a server that should have it too."""
    waiting: int = 0
    """Runs of this bench that the server has yet to take, this one among them."""
    undelivered: str = ""
    """Why they wait."""


def keep(run: Run, folder: Path, address: Address) -> Kept:
    """Store a finished run and try to deliver it. Nothing that goes wrong here is more than a sentence."""
    if address.file is None:
        return Kept(place="")
    place = str(address.file)
    try:
        with open_file(address.file) as bench:
            record = record_of(run, folder)
            with bench.writing() as connection:
                store(connection, record, queue=bool(address.server))
            if not address.server:
                return Kept(place=place)
            why = deliver_within(bench, address.server, WAIT)
            return Kept(place=place, server=True, waiting=waiting(bench), undelivered=why)
    except (BenchtestError, OSError) as problem:
        return Kept(place=place, problem=str(problem), server=bool(address.server))
