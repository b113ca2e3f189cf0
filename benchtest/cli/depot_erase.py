"""`benchtest depot erase`: what is personal goes, what is technical stays."""

from datetime import datetime
from pathlib import Path

import click

from benchtest.cli.depot_options import Day, Identifier, Name, by_option, in_depot, opened
from benchtest.cli.words import say
from benchtest.depot.personal import FIELDS


@click.command()
@click.argument("work_orders", type=Identifier("work order"), nargs=-1, metavar="[WORK_ORDER]...")
@click.option("--customer", type=Name("customer"), default="", metavar="NAME", help="Everything of this customer.")
@click.option(
    "--left-before", type=Day(), metavar="DAY", help="Everything of boards that left before: 730d, or a date."
)
@click.option("--only", type=click.Choice(FIELDS), multiple=True, help="Only this; may be repeated.")
@click.option("--reason", type=Name("reason", 1000), required=True, metavar="TEXT", help="Why; no names.")
@click.option("--yes", is_flag=True, help="Erase; without it, only say what would be erased.")
@by_option
@in_depot
def erase(
    work_orders: tuple[str, ...],
    customer: str,
    left_before: datetime | None,
    only: tuple[str, ...],
    reason: str,
    yes: bool,
    by: str,
    root: Path,
    records: str,
) -> int:
    """Take out who the customer is, their words and photos, and the copies of papers that carry the name.

    Entries, runs and their evidence stay as they are. It cannot be undone.
    """
    from benchtest.depot.erasure import erasable, settle, still_here
    from benchtest.depot.erasure import erase as carry_out

    if not work_orders and not customer and left_before is None:
        raise click.UsageError("say what to erase: WORK_ORDER, --customer or --left-before")
    with opened(root, records) as depot:
        chosen = list(work_orders) or erasable(depot.records, customer=customer, left_before=left_before)
        if here := still_here(depot.records, customer) if customer else []:
            say(
                f"boards of this customer are here and keep their data until they have left: {', '.join(here)}",
                err=True,
            )
        if not yes:
            count = f"{len(chosen)} case{'' if len(chosen) == 1 else 's'}"
            say(f"would erase {', '.join(only or FIELDS)} of {count}: {', '.join(chosen) or 'none'}")
            say("nothing was erased (say --yes)")
            return 0
        if not chosen:
            say("nothing was erased: no case that has left is like that (look at the spelling)")
        for order in chosen:
            taken = carry_out(depot, order, fields=only or FIELDS, reason=reason, by=by)
            papers = "1 paper" if taken.papers == 1 else f"{taken.papers} papers"
            say(f"{order}: erased {', '.join(taken.fields) or 'nothing that was still there'}; {papers}")
            for folder in taken.still:
                say(f"  the run in {folder} names a customer in its own evidence, and keeps it", err=True)
        settle(depot.records)
    return 0
