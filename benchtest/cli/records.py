"""`benchtest records`: the depot's memory of all runs."""

from typing import Final

import click

from benchtest.cli.lazy import LazyGroup

COMMANDS: Final = {
    "list": ("benchtest.cli.records_look:list_", "List runs, the newest first."),
    "find": ("benchtest.cli.records_look:find", "Find runs by number, serial number, work order or customer."),
    "history": ("benchtest.cli.records_look:history", "Show all runs of a board, and how its readings have drifted."),
    "recall": ("benchtest.cli.records_recall:recall", "Say which certificates used an instrument; withdraw them."),
    "withdraw": ("benchtest.cli.records_recall:withdraw", "Withdraw certificates by their numbers."),
    "sync": ("benchtest.cli.records_care:sync", "Deliver this bench's runs to the server of the records."),
    "rebuild": ("benchtest.cli.records_care:rebuild", "Make the records again from the run folders."),
    "backup": ("benchtest.cli.records_care:backup", "Copy the records to a file, and look the copy through."),
    "restore": ("benchtest.cli.records_care:restore", "Put a backup in the place of the records."),
    "upgrade": ("benchtest.cli.records_care:upgrade", "Bring the records on a server to this version's tables."),
}

EPILOG: Final = (
    "Exit codes: 0 done, 2 wrong usage, 4 the records cannot be used, do not know what was asked, "
    "or something was left out."
)


@click.group("records", cls=LazyGroup, commands=COMMANDS, epilog=EPILOG)
def records() -> None:
    """Ask the records of all runs, and look after them. They are an index: the run folders are the truth."""
