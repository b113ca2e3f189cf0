"""What the depot's commands share: identifiers from a scanner, amounts, periods, and the depot itself."""

import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from benchtest.cli.records_options import address, records_option, runs_option
from benchtest.cli.words import say
from benchtest.records.labels import clean_serial, clean_text

if TYPE_CHECKING:
    from benchtest.depot.case import Case
    from benchtest.depot.flow import Depot

Command = TypeVar("Command", bound=Callable[..., Any])
FROM_SCANNER: Final = "-"
LONGEST_LINE: Final = 100_000
"""Characters that are read of one line; what is too long is refused where its meaning is known."""


def scanned(text: str, what: str) -> str:
    """Return an identifier, read from standard input where `-` stands for it. Raises click's UsageError."""
    if text != FROM_SCANNER:
        return text
    line = sys.stdin.readline(LONGEST_LINE) if sys.stdin is not None else ""
    if not line.strip():
        raise click.UsageError(f"{what} was to come from standard input ('-'), and there was no line (scan it again)")
    return line.strip()


class Identifier(click.ParamType[str]):
    """A serial number, work order or the like; `-` reads it from standard input."""

    name = "identifier"

    def __init__(self, what: str) -> None:
        self.what = what

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return it without the blanks around it."""
        text = scanned(str(value), self.what)
        try:
            return clean_serial(text)
        except ValueError as problem:
            self.fail(str(problem).replace("serial number", self.what), param, ctx)


class Name(click.ParamType[str]):
    """A person's name, or other short words; `-` reads it from standard input."""

    name = "name"

    def __init__(self, what: str, longest: int = 200) -> None:
        self.what, self.longest = what, longest

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return it on one line. Refuses what is too long: words are never cut."""
        text = clean_text(scanned(str(value), self.what), longest=1_000_000)
        if len(text) > self.longest:
            self.fail(f"{self.what} of {len(text)} characters (at most {self.longest}; try the gist of it)", param, ctx)
        return text


class Amount(click.ParamType[int]):
    """An amount of the depot's currency such as `12.50`, in hundredths."""

    name = "amount"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Return the hundredths."""
        if isinstance(value, int):
            return value
        found = re.fullmatch(r"(\d{1,9})(?:[.,](\d{1,2}))?", str(value).strip(), re.ASCII)
        if found is None:
            self.fail(f"{value!r} is no amount (such as 12.50)", param, ctx)
        return int(found[1]) * 100 + int((found[2] or "0").ljust(2, "0"))


class Day(click.ParamType[datetime]):
    """A date such as `2026-03-14`, or so many days ago: `90d`."""

    name = "day"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> datetime:
        """Return the moment at which that day begins here."""
        from benchtest.clock import wall_time

        if isinstance(value, datetime):
            return value
        text = str(value).strip()
        ago = re.fullmatch(r"(\d{1,5})\s*d", text, re.ASCII)
        try:
            if ago is not None:
                return (wall_time() - timedelta(days=int(ago[1]))).astimezone(UTC)
            return datetime.strptime(text, "%Y-%m-%d").astimezone()
        except (ValueError, OverflowError):
            self.fail(f"{value!r} is no day (such as 2026-03-14, or 90d for so many days ago)", param, ctx)


work_order_argument = click.argument("work_order", type=Identifier("work order"), metavar="WORK_ORDER")
by_option = click.option("--by", type=Name("name"), required=True, metavar="NAME", help="Who says so.")
json_option = click.option("--json", "as_json", is_flag=True, help="As JSON, for programs.")


def in_depot(command: Command) -> Command:
    """Give a command the options that say which depot it is about."""
    return runs_option(records_option(command))


def in_period(command: Command) -> Command:
    """Give a command the options of a period."""
    since = click.option("--since", type=Day(), metavar="DAY", help="From this day on: 2026-03-14, or 90d.")
    until = click.option("--until", type=Day(), metavar="DAY", help="Up to, but not with, this day.")
    return since(until(command))


def required(value: str | None, what: str, option: str) -> str:
    """Return an identifier that is needed: asked for on a terminal, missing elsewhere."""
    if value is not None:
        return value
    if sys.stdin is None or not sys.stdin.isatty():
        raise click.MissingParameter(param_hint=f"'{option}'", param_type="option")
    return str(click.prompt(what, type=Identifier(what), err=True))


@contextmanager
def opened(root: Path, records: str, *, new: bool = False) -> Iterator["Depot"]:
    """Open the depot of a folder of runs; with `new`, its records are made where there are none."""
    from benchtest.depot.flow import Depot
    from benchtest.records.database.opening import open_file, open_records

    place = address(records, root)
    make = new and not place.server and place.file is not None
    with open_file(place.file) if make and place.file else open_records(place) as found:
        yield Depot(root=root, records=found)


def tell_case(case: "Case", *, next_steps: bool = True) -> None:
    """Say where a case stands and what comes next."""
    from benchtest.depot.states import ways_on

    say(f"{case.work_order}: {case.state}  ({case.intake.part}, serial {case.intake.serial})")
    if case.clock_back:
        say(
            "the clock of this computer was set back since an earlier entry: times of this case are not counted",
            err=True,
        )
    if next_steps:
        for what, how in ways_on(case.state, order=case.work_order).items():
            say(f"  {what}: {how}")
