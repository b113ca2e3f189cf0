"""What happens to a board between intake and return: one command each."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchtest.cli.depot_options import (
    Amount,
    Identifier,
    Name,
    by_option,
    in_depot,
    opened,
    tell_case,
    work_order_argument,
)
from benchtest.cli.words import say

if TYPE_CHECKING:
    from benchtest.depot.entries import Fact

NOTE = 1000
"""Characters of a note."""


def _enter(root: Path, records: str, work_order: str, fact: "Fact", by: str) -> int:
    with opened(root, records) as depot:
        tell_case(depot.enter(work_order, fact, by=by))
    return 0


@click.command()
@work_order_argument
@click.option("--note", type=Name("note", NOTE), default="", metavar="TEXT", help="What was seen.")
@click.option("--hazard", type=Name("hazard", NOTE), default="", metavar="TEXT", help="Contamination or other danger.")
@click.option("--warranty", is_flag=True, help="The repair is under warranty.")
@click.option("--estimate", type=Amount(), metavar="AMOUNT", help="What the repair will cost.")
@by_option
@in_depot
def triage(
    work_order: str,
    note: str,
    hazard: str,
    warranty: bool,
    estimate: int | None,
    by: str,
    root: Path,
    records: str,
) -> int:
    """Decide that the board of WORK_ORDER shall be tested; else it is `beyond-repair`."""
    from benchtest.depot.entries import Triaged

    return _enter(
        root, records, work_order, Triaged(note=note, hazard=hazard, warranty=warranty, estimate=estimate), by
    )


@click.command()
@work_order_argument
@click.option("--what", type=Name("what was done", NOTE), required=True, metavar="TEXT", help="What was done.")
@click.option("--part", type=Identifier("part"), default=None, metavar="REF", help="Part of the board, such as K3.")
@click.option("--replaced", is_flag=True, help="The part is a new one.")
@click.option("--lot", type=Identifier("lot"), default=None, metavar="NO", help="Lot or date code of the new part.")
@click.option("--fault", default=None, metavar="TEXT", help="What had been wrong: 'K3 contact welded'.")
@click.option("--minutes", type=click.IntRange(0, 100_000), default=0, metavar="N", help="Minutes of work.")
@click.option("--cost", type=Amount(), default=0, metavar="AMOUNT", help="Labour and parts.")
@by_option
@in_depot
def repair(
    work_order: str,
    what: str,
    part: str | None,
    replaced: bool,
    lot: str | None,
    fault: str | None,
    minutes: int,
    cost: int,
    by: str,
    root: Path,
    records: str,
) -> int:
    """Enter what was done to the board of WORK_ORDER. It must have been tested as found first."""
    from benchtest.depot.entries import Repaired
    from benchtest.faults.catalogue import written

    if replaced and not part:
        raise click.UsageError("--replaced needs --part (which one, such as K3)")
    try:
        named = written(fault).text if fault else ""
    except ValueError as problem:
        raise click.UsageError(str(problem)) from None
    fact = Repaired(
        what=what, part=part or "", replaced=replaced, lot=lot or "", fault=named, minutes=minutes, cost=cost
    )
    return _enter(root, records, work_order, fact, by)


@click.command()
@work_order_argument
@click.argument("amount", type=Amount(), metavar="AMOUNT")
@click.option(
    "--reference", type=Name("reference"), required=True, metavar="TEXT", help="Order or letter that says so; no names."
)
@by_option
@in_depot
def limit(work_order: str, amount: int, reference: str, by: str, root: Path, records: str) -> int:
    """Enter the cost limit that the customer agreed to for WORK_ORDER."""
    from benchtest.depot.entries import LimitSet

    return _enter(root, records, work_order, LimitSet(limit=amount, reference=reference), by)


@click.command()
@work_order_argument
@click.option("--straps", type=Name("straps", NOTE), default="", metavar="TEXT", help="Straps and plugs as left.")
@click.option("--note", type=Name("note", NOTE), default="", metavar="TEXT")
@click.option("--alone", type=Name("reason", NOTE), default="", metavar="REASON", help="Why no second person releases.")
@by_option
@in_depot
def release(work_order: str, straps: str, note: str, alone: str, by: str, root: Path, records: str) -> int:
    """Let the board of WORK_ORDER go, as somebody who has neither tested nor repaired it.

    Its certificate is issued anew under your name; the one that nobody had released is superseded.
    """
    from benchtest.cli.depot_paper import issue_paper
    from benchtest.depot.entries import Released

    with opened(root, records) as depot:
        case = depot.enter(work_order, Released(straps=straps, note=note, alone=alone), by=by)
    tell_case(case)
    issue_paper(case, root)
    if case.without_finding:
        say("nothing was found: tell the site what was tested, and what to look at in the machine")
    if straps and case.intake.straps and straps != case.intake.straps:
        say(f"straps as found: {case.intake.straps}; as left: {straps}: tell the site, or restore them")
    return 0


@click.command("return")
@work_order_argument
@click.option("--way", type=Name("way", NOTE), default="", metavar="TEXT", help="Carrier and consignment.")
@click.option("--note", type=Name("note", NOTE), default="", metavar="TEXT", help="What the site should look at.")
@by_option
@in_depot
def return_board(work_order: str, way: str, note: str, by: str, root: Path, records: str) -> int:
    """Enter that the board of WORK_ORDER has left for its owner."""
    from benchtest.depot.entries import Returned

    return _enter(root, records, work_order, Returned(way=way, note=note), by)


@click.command("beyond-repair")
@work_order_argument
@click.option("--reason", type=Name("reason", NOTE), required=True, metavar="TEXT")
@by_option
@in_depot
def beyond_repair(work_order: str, reason: str, by: str, root: Path, records: str) -> int:
    """Declare the board of WORK_ORDER not worth repairing, or not repairable."""
    from benchtest.depot.entries import BeyondRepair

    return _enter(root, records, work_order, BeyondRepair(reason=reason), by)


@click.command()
@work_order_argument
@click.option(
    "--reference", type=Name("reference"), required=True, metavar="TEXT", help="Where the owner's consent is."
)
@by_option
@in_depot
def scrap(work_order: str, reference: str, by: str, root: Path, records: str) -> int:
    """Enter that the board of WORK_ORDER was disposed of with its owner's consent."""
    from benchtest.depot.entries import Scrapped

    return _enter(root, records, work_order, Scrapped(reference=reference), by)


@click.command()
@work_order_argument
@click.option("--reason", type=Name("reason", NOTE), required=True, metavar="TEXT")
@by_option
@in_depot
def reopen(work_order: str, reason: str, by: str, root: Path, records: str) -> int:
    """Take the release of WORK_ORDER back before the board has gone; it is tested as left again."""
    from benchtest.depot.entries import Reopened

    return _enter(root, records, work_order, Reopened(reason=reason), by)


@click.command()
@click.argument("run", type=click.Path(path_type=Path), metavar="RUN")
@in_depot
def link(run: Path, root: Path, records: str) -> int:
    """Enter the finished run in folder RUN, which was made under a work order but did not link itself."""
    from benchtest.depot.links import linked
    from benchtest.records.folder import read_run

    with opened(root, records) as depot:
        tell_case(linked(depot, read_run(run), run))
    return 0
