"""`benchtest records recall` and `withdraw`: what an instrument certified that was then found unfit.

ISO 9001:2015, 7.1.5.2: when measuring equipment is found unfit, the validity of earlier results is to be reviewed.
"""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from benchtest.cli.answers import Form, answer, format_option
from benchtest.cli.records_look import FORMAT, rows_of
from benchtest.cli.records_options import address, day, opened, records_option, runs_option
from benchtest.cli.words import say
from benchtest.records.labels import clean_text

if TYPE_CHECKING:
    from benchtest.records.database.opening import Records
    from benchtest.records.database.questions import RunLine

SHOWN: Final = ("started", "number", "part", "serial", "outcome", "status", "customer", "work_order")


@click.command("recall")
@click.argument("instrument", metavar="INSTRUMENT")
@click.option("--since", required=True, callback=day, metavar="DATE", help="The day from which it may have been unfit.")
@click.option("--until", default=None, callback=day, metavar="DATE", help="Only before this day.")
@click.option("--withdraw", "reason", default=None, metavar="REASON", help="Withdraw all of these certificates.")
@click.option("--by", default="", metavar="NAME", help="Who withdraws them.")
@runs_option
@records_option
@format_option
def recall(
    instrument: str,
    since: datetime,
    until: datetime | None,
    reason: str | None,
    by: str,
    root: Path,
    records: str,
    form: Form,
) -> int:
    """Say which runs used INSTRUMENT, by its serial number, name or calibration certificate, since a day.

    Reports of boards that did not pass are listed too: they may have been rejected wrongly. A withdrawn certificate
    stays withdrawn; a board that is tested again gets a new one.
    """
    _check_words(reason, by)
    from benchtest.records.database.questions import recall as ask

    with opened(address(records, root)) as found:
        with found.reading() as connection:
            used = ask(connection, instrument, since=since, until=until)
        rows = [
            {
                **row,
                "instrument": one.instrument,
                "instrument_serial": one.instrument_serial,
                "calibration": one.certificate,
                "due": one.due,
            }
            for one, row in zip(used, rows_of(one.run for one in used), strict=True)
        ]
        answer(rows, form, shown=SHOWN, about={"format": FORMAT, "instrument": instrument})
        certificates = sum(one.run.paper == "certificate" for one in used)
        say(f"{len(used)} runs used it, {certificates} of them with a certificate", err=True)
        if reason is not None:
            _withdraw(found, root, [one.run for one in used], reason=reason, by=by)
    return 0


@click.command("withdraw")
@click.argument("numbers", metavar="NUMBER…", nargs=-1, required=True)
@click.option("--reason", required=True, metavar="TEXT", help="Why.")
@click.option("--by", required=True, metavar="NAME", help="Who withdraws it.")
@runs_option
@records_option
def withdraw(numbers: tuple[str, ...], reason: str, by: str, root: Path, records: str) -> int:
    """Withdraw the certificates with these numbers, all or none, with a sealed note in each run folder.

    To put right what was only stated wrongly, issue a new one instead: 'benchtest certificate reissue'.
    """
    _check_words(reason, by)
    from benchtest.errors import RecordsError
    from benchtest.records.database.questions import runs_of_number

    with opened(address(records, root)) as found:
        runs: list[RunLine] = []
        with found.reading() as connection:
            for number in numbers:
                ones = runs_of_number(connection, number)
                if not any(one.paper == "certificate" for one in ones):
                    what = "is the number of a report, not of a certificate" if ones else "is not in the records"
                    raise RecordsError(f"{number!r} {what}; nothing was withdrawn")
                runs += ones
        _withdraw(found, root, runs, reason=reason, by=by)
    return 0


def _check_words(reason: str | None, by: str) -> None:
    if reason is None:
        if by:
            raise click.UsageError("--by says who withdraws, and --withdraw why (try both, or neither)")
        return
    if not clean_text(reason):
        raise click.UsageError("a certificate is not withdrawn without a reason (try saying what was found)")
    if not clean_text(by):
        raise click.UsageError("somebody must answer for it (try --by with a name)")


def _withdraw(found: "Records", root: Path, runs: "Sequence[RunLine]", **words: Any) -> None:
    from benchtest.records.database.withdrawing import withdraw as carry_out

    said = {name: clean_text(text, longest=1000) for name, text in words.items()}
    done = carry_out(found, runs, root=root, **said)
    count = len(done.numbers)
    say(f"{count} certificate{'' if count == 1 else 's'} withdrawn", err=True)
    if done.untold:
        say(f"no sealed note could be laid into {len(done.untold)} run folders, such as {done.untold[0]}", err=True)
