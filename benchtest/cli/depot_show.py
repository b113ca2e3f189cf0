"""Where cases stand, and what happened to a board."""

import json
from typing import TYPE_CHECKING, Any

import click

from benchtest.cli.answers import Form, format_option
from benchtest.cli.depot_options import Identifier, in_depot, json_option, opened, tell_case, work_order_argument
from benchtest.cli.tables import answered
from benchtest.cli.words import say

if TYPE_CHECKING:
    from benchtest.depot.case import Case
    from benchtest.depot.personal import Personal

FORMAT = "benchtest-case/1"


@click.command()
@work_order_argument
@json_option
@in_depot
def state(work_order: str, as_json: bool, root: Any, records: str) -> int:
    """Show where the case WORK_ORDER stands, what was entered, and what comes next."""
    with opened(root, records) as depot:
        case, personal = depot.case(work_order), depot.personal(work_order)
    if as_json:
        click.echo(json.dumps(_plain(case, personal), ensure_ascii=False))
        return 0
    tell_case(case)
    _tell_person(case, personal)
    _tell_entries(case)
    return 0


def _tell_person(case: "Case", personal: "Personal") -> None:
    from benchtest.depot.case import money

    intake = case.intake
    facts = {
        "customer": ", ".join(filter(None, [personal.customer, personal.contact])),
        "complaint": f"{intake.complaint}{f': {personal.complaint}' if personal.complaint else ''}",
        "condition": intake.condition,
        "straps as found": intake.straps,
        "serial as stated": intake.serial_stated,
        "return authorisation": intake.rma,
        "cost": f"{money(case.cost)} of at most {money(case.limit)}" if case.limit is not None else money(case.cost),
        "photos": ", ".join(photo.name for photo in personal.photos),
        "erased": ", ".join(sorted(case.erased)),
    }
    for name, value in facts.items():
        if value:
            say(f"  {name}: {' '.join(value.split())}")


def _tell_entries(case: "Case") -> None:
    from benchtest.depot.history import in_words

    for entry in case.entries:
        say(f"  {entry.moment.astimezone():%Y-%m-%d %H:%M}  {in_words(entry)}  ({entry.by})")


def _plain(case: "Case", personal: "Personal") -> dict[str, Any]:
    from benchtest.depot.states import ways_on

    return {
        "format": FORMAT,
        "work_order": case.work_order,
        "state": case.state.value,
        "part": case.intake.part,
        "serial": case.intake.serial,
        "complaint": case.intake.complaint.value,
        "customer": personal.customer,
        "words": personal.complaint,
        "found": case.found.value if case.found else None,
        "cost": case.cost,
        "cost_limit": case.limit,
        "minutes": case.minutes,
        "erased": sorted(case.erased),
        "head": case.head,
        "entries": [json.loads(entry.line()) for entry in case.entries],
        "next": ways_on(case.state, order=case.work_order),
    }


@click.command("list")
@click.option("--all", "everything", is_flag=True, help="Also boards that have left.")
@format_option
@in_depot
def list_cases(everything: bool, form: Form, root: Any, records: str) -> int:
    """List the boards that are here, the longest first."""
    from benchtest.depot.questions import cases

    with opened(root, records) as depot:
        return answered(cases(depot.records, everything=everything), form)


@click.command()
@click.argument("serial", type=Identifier("serial number"), metavar="SERIAL")
@click.option("--part", type=Identifier("part number"), default=None, metavar="PN", help="Only boards of this number.")
@format_option
@in_depot
def board(serial: str, part: str | None, form: Form, root: Any, records: str) -> int:
    """Show everything that happened to the board with serial number SERIAL: stays, runs, repairs."""
    from benchtest.depot.history import history

    with opened(root, records) as depot:
        return answered(history(depot.records, serial=serial, part=part or ""), form)
