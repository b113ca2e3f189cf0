"""`benchtest depot intake`: a board comes in."""

from collections.abc import Iterator
from contextlib import contextmanager
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
    required,
    scanned,
    tell_case,
)
from benchtest.cli.words import say
from benchtest.clock import wall_time
from benchtest.depot.complaints import Complaint

if TYPE_CHECKING:
    from benchtest.depot.case import Case
    from benchtest.depot.personal import Personal, Photo


@click.command()
@click.option("--work-order", type=Identifier("work order"), metavar="NO", help="The depot's number of this stay.")
@click.option("--part", type=Identifier("part number"), metavar="PN", help="Part number on the board.")
@click.option("--serial", type=Identifier("serial number"), metavar="SN", help="Serial number as found on the board.")
@click.option(
    "--serial-stated", type=Identifier("serial number"), default=None, metavar="SN", help="As the papers say."
)
@click.option("--revision", type=Name("revision"), default="", metavar="REV", help="Hardware revision as found.")
@click.option("--variant", type=Name("variant"), default="", metavar="NAME", help="Variant as found.")
@click.option("--straps", type=Name("straps", 1000), default="", metavar="TEXT", help="Straps and plugs as found.")
@click.option("--condition", type=Name("condition", 1000), default="", metavar="TEXT", help="Condition on receipt.")
@click.option("--customer", type=str, default="", metavar="NAME", help="Whose board it is.")
@click.option("--contact", type=str, default="", metavar="NAME", help="Whom to call there.")
@click.option("--complaint", type=str, default="", metavar="TEXT", help="In the customer's words.")
@click.option(
    "--kind",
    type=click.Choice([one.value for one in Complaint]),
    default=Complaint.NOT_STATED.value,
    show_default=True,
    help="Of what kind the complaint is.",
)
@click.option(
    "--rma", type=Identifier("return authorisation"), default=None, metavar="NO", help="Return authorisation."
)
@click.option("--cost-limit", type=Amount(), metavar="AMOUNT", help="What the repair may cost without asking again.")
@click.option("--photo", "photos", type=click.Path(path_type=Path), multiple=True, metavar="FILE", help="Repeatable.")
@click.option("--repeat-days", type=click.IntRange(1), default=90, show_default=True, help="When a return is a repeat.")
@by_option
@in_depot
def intake(
    work_order: str | None,
    part: str | None,
    serial: str | None,
    serial_stated: str | None,
    revision: str,
    variant: str,
    straps: str,
    condition: str,
    customer: str,
    contact: str,
    complaint: str,
    kind: str,
    rma: str | None,
    cost_limit: int | None,
    photos: tuple[Path, ...],
    repeat_days: int,
    by: str,
    root: Path,
    records: str,
) -> int:
    """Take a board in. What is missing of work order, part and serial number is asked for on a terminal."""
    from benchtest.depot.entries import Intake
    from benchtest.depot.history import stays_of, warnings

    work_order = required(work_order, "work order", "--work-order")
    fact = Intake(
        part=required(part, "part number", "--part"),
        serial=required(serial, "serial number", "--serial"),
        serial_stated=serial_stated or "",
        revision=revision,
        variant=variant,
        straps=straps,
        condition=condition,
        complaint=Complaint(kind),
        rma=rma or "",
        cost_limit=cost_limit,
    )
    personal, pictures = _personal(customer, contact, complaint, photos)
    with opened(root, records, new=True) as depot:
        earlier = stays_of(depot.records, serial=fact.serial, part=fact.part)
        case = depot.take_in(work_order, fact, by=by, personal=personal, photos=pictures)
        tell_case(case)
        for warning in warnings(earlier, now=wall_time(), days=repeat_days):
            say(warning)
    _tell_doubts(case, asked_for=bool(complaint))
    return 0


def _personal(
    customer: str, contact: str, complaint: str, photos: tuple[Path, ...]
) -> "tuple[Personal, list[tuple[Photo, bytes]]]":
    from benchtest.depot.personal import MOST_PHOTOS, Personal, photo, words

    if len(photos) > MOST_PHOTOS:
        raise click.UsageError(f"{len(photos)} photos (at most {MOST_PHOTOS})")
    with _as_usage():
        pictures = [photo(path) for path in photos]
        personal = Personal(
            customer=words(scanned(customer, "customer"), "customer"),
            contact=words(scanned(contact, "contact"), "contact"),
            complaint=words(scanned(complaint, "complaint"), "complaint"),
            photos=tuple(about for about, _ in pictures),
        )
    return personal, pictures


@contextmanager
def _as_usage() -> Iterator[None]:
    try:
        yield
    except ValueError as problem:
        raise click.UsageError(str(problem)) from None


def _tell_doubts(case: "Case", *, asked_for: bool) -> None:
    """Say what should be cleared up with the customer now, while they remember."""
    fact = case.intake
    if fact.serial_stated and fact.serial_stated != fact.serial:
        say(f"the papers say serial {fact.serial_stated}, the board says {fact.serial}: ask which is meant")
    if fact.complaint in {Complaint.NOT_STATED, Complaint.OTHER} and not asked_for:
        say("no complaint is stated: ask what the board does or does not do, when, and in which machine")
