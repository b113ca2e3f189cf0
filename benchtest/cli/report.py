"""`benchtest report`: the depot's figures of a period as one page."""

from datetime import datetime
from pathlib import Path

import click

from benchtest.cli.depot_answers import period_of
from benchtest.cli.depot_options import in_depot, in_period, opened
from benchtest.cli.words import say


@click.command()
@in_period
@click.option("-o", "to", type=click.Path(path_type=Path, dir_okay=False), required=True, metavar="FILE")
@in_depot
def report(since: datetime | None, until: datetime | None, to: Path, root: Path, records: str) -> int:
    """Write one page for whoever runs the depot: returns, findings, failing checks, parts, times.

    It holds everything it shows, asks for nothing, and names no customer.
    """
    from benchtest.canonical import write_whole
    from benchtest.depot import report as reports

    with opened(root, records) as depot:
        found = reports.report(depot.records, period_of(since, until))
    try:
        write_whole(to, reports.to_html(found).encode())
    except OSError as problem:
        raise click.UsageError(f"{to}: cannot be written: {problem.strerror} (try another place with -o)") from None
    say(f"{to}: {found.period}")
    return 0
