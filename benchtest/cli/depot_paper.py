"""`benchtest depot paper`: the certificate that a board leaves with, under the name of whoever released it."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchtest.cli.depot_options import in_depot, opened, work_order_argument
from benchtest.cli.words import say
from benchtest.errors import BenchtestError

if TYPE_CHECKING:
    from benchtest.depot.case import Case


@click.command()
@work_order_argument
@in_depot
def paper(work_order: str, root: Path, records: str) -> int:
    """Issue the certificate of the released WORK_ORDER on the bench that tested it, where that was not done yet."""
    with opened(root, records) as depot:
        case = depot.case(work_order)
    return 0 if issue_paper(case, root) else 4


def issue_paper(case: "Case", root: Path) -> bool:
    """Issue the certificate of a released case anew with the releaser's name; return whether it is there."""
    from benchtest.cli.certificate_issue import put_right
    from benchtest.depot.entries import Released
    from benchtest.depot.links import last_passed

    release = next((entry for entry in reversed(case.entries) if isinstance(entry.fact, Released)), None)
    passed = last_passed(case)
    if release is None or passed is None:
        say(f"{case.work_order}: nobody has released it, so there is no certificate to issue", err=True)
        return False
    assert isinstance(release.fact, Released)
    folder, reason = root / passed.folder, f"released by {release.by}"
    if not folder.is_dir():
        say(f"run {passed.run} is not on this computer; there: benchtest depot paper {case.work_order}", err=True)
        return False
    if _said_already(folder, reason):
        say(f"{case.work_order}: issued already")
        return True
    stated = {"released_by": release.by, **({"straps": release.fact.straps} if release.fact.straps else {})}
    try:
        put_right(folder, stated, reason=reason, by=release.by)
    except (BenchtestError, OSError) as problem:
        say(f"NOT issued: {problem}. Later: benchtest depot paper {case.work_order}", err=True)
        return False
    return True


def _said_already(folder: Path, reason: str) -> bool:
    from benchtest.seal import State, read_stations, station_folder, stations_file
    from benchtest.seal.note import Kind, notes_in

    notes = notes_in([folder], read_stations(stations_file(station_folder())))
    return any(note.kind is Kind.REPLACED and note.reason == reason and note.state is State.GENUINE for note in notes)
