"""What a depot asks of its records, one command a question."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchtest.cli.answers import Form, format_option
from benchtest.cli.depot_options import Identifier, in_depot, in_period, opened
from benchtest.cli.tables import answered

if TYPE_CHECKING:
    from benchtest.depot.questions import Period
    from benchtest.depot.table import Table
    from benchtest.records.database.opening import Records

MOST = click.option("--most", type=click.IntRange(1, 1000), default=15, show_default=True, help="Rows to show.")


def period_of(since: datetime | None, until: datetime | None) -> "Period":
    """Return the period of a command's options. Raises click's UsageError when it ends before it begins."""
    from benchtest.depot.questions import ALWAYS, Period

    begin, end = since or ALWAYS.since, until or ALWAYS.until
    if begin >= end:
        raise click.UsageError(f"--since {begin:%Y-%m-%d} is not before --until {end:%Y-%m-%d}")
    return Period(since=begin, until=end)


def _answer(root: Path, records: str, form: Form, question: "Callable[[Records], Table]") -> int:
    with opened(root, records) as depot:
        return answered(question(depot.records), form)


@click.command()
@click.option("--days", type=click.IntRange(1), default=90, show_default=True, help="Within which it is a repeat.")
@in_period
@format_option
@in_depot
def returns(days: int, since: datetime | None, until: datetime | None, form: Form, root: Path, records: str) -> int:
    """List the boards that came back within so many days of having left."""
    from benchtest.depot.questions import repeat_returns

    period = period_of(since, until)
    return _answer(root, records, form, lambda found: repeat_returns(found, period, days=days))


@click.command()
@click.option("--returns", "count", type=click.IntRange(1), default=3, show_default=True, help="How often.")
@format_option
@in_depot
def rogues(count: int, form: Form, root: Path, records: str) -> int:
    """List the boards that were returned again and again without a finding."""
    from benchtest.depot.questions import rogue_boards

    return _answer(root, records, form, lambda found: rogue_boards(found, returns=count))


@click.command()
@click.option("--by", type=click.Choice(["complaint", "profile"]), default="complaint", show_default=True)
@in_period
@format_option
@in_depot
def no_fault(by: str, since: datetime | None, until: datetime | None, form: Form, root: Path, records: str) -> int:
    """Say how often nothing was found, per kind of complaint or per version of the profile."""
    from benchtest.depot.questions import no_fault_by_profile, no_fault_found

    period, question = period_of(since, until), no_fault_found if by == "complaint" else no_fault_by_profile
    return _answer(root, records, form, lambda found: question(found, period))


@click.command("yield")
@in_period
@format_option
@in_depot
def first_pass(since: datetime | None, until: datetime | None, form: Form, root: Path, records: str) -> int:
    """Say how many repaired boards passed their first run as left."""
    from benchtest.depot.questions import first_pass_yield

    period = period_of(since, until)
    return _answer(root, records, form, lambda found: first_pass_yield(found, period))


@click.command()
@MOST
@in_period
@format_option
@in_depot
def checks(most: int, since: datetime | None, until: datetime | None, form: Form, root: Path, records: str) -> int:
    """List the checks that fail most often before a repair."""
    from benchtest.depot.questions import failing_checks

    period = period_of(since, until)
    return _answer(root, records, form, lambda found: failing_checks(found, period, most=most))


@click.command()
@MOST
@in_period
@format_option
@in_depot
def parts(most: int, since: datetime | None, until: datetime | None, form: Form, root: Path, records: str) -> int:
    """List the parts that are replaced most often."""
    from benchtest.depot.questions import replaced_parts

    period = period_of(since, until)
    return _answer(root, records, form, lambda found: replaced_parts(found, period, most=most))


@click.command()
@in_period
@format_option
@in_depot
def turnaround(since: datetime | None, until: datetime | None, form: Form, root: Path, records: str) -> int:
    """Say how long boards stay, from intake to return."""
    from benchtest.depot import questions

    period = period_of(since, until)
    return _answer(root, records, form, lambda found: questions.turnaround(found, period))


@click.command()
@click.option("--part", type=Identifier("part number"), default=None, metavar="PN", help="Boards of this number only.")
@in_period
@format_option
@in_depot
def shares(
    part: str | None, since: datetime | None, until: datetime | None, form: Form, root: Path, records: str
) -> int:
    """Say how parts fail: the handbook's shares, and what they become with the own repairs."""
    from benchtest.depot.questions import failure_shares

    period = period_of(since, until)
    return _answer(root, records, form, lambda found: failure_shares(found, part=part or "", period=period))
