"""Boards going through the depot one after another, as fast as it can: what a kill in the middle is tried on.

    python -m tests.depot.releasing ROOT RECORDS NAME

Every entry that was acknowledged is printed: work order and number of the entry.
"""

import sys
from itertools import count
from pathlib import Path

import click

from benchtest.depot.entries import Intake, Released, Returned, Triaged
from benchtest.depot.flow import Depot
from benchtest.depot.personal import Personal
from benchtest.records.database.opening import open_file, open_server
from tests.depot.cases import judged

FOUND = judged("as found")


def main(root: Path, place: str, name: str) -> None:
    """Take boards in and through until killed."""
    with open_server(place) if "://" in place else open_file(Path(place)) as records:
        depot = Depot(root=root, records=records)
        click.echo("ready")
        for number in count(1):
            order = f"{name}-{number}"
            fact = Intake(part="GZ-2140", serial=order)
            case = depot.take_in(order, fact, by="Ann", personal=Personal(customer=f"customer of {order}"))
            click.echo(f"{order} {len(case.entries)}")
            for move, by in ((Triaged(), "Ann"), (FOUND, "Bo"), (Released(), "Cy"), (Returned(), "Cy")):
                click.echo(f"{order} {len(depot.enter(order, move, by=by).entries)}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], sys.argv[3])
