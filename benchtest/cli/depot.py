"""`benchtest depot`: boards that come in, are repaired and go back; and what a depot asks of its records."""

from typing import Final

import click

from benchtest.cli.lazy import LazyGroup

COMMANDS: Final = {
    "intake": ("benchtest.cli.depot_intake:intake", "Take a board in, with its complaint."),
    "triage": ("benchtest.cli.depot_moves:triage", "Look at a board and decide that it shall be tested."),
    "repair": ("benchtest.cli.depot_moves:repair", "Enter what was done to a board."),
    "limit": ("benchtest.cli.depot_moves:limit", "Enter the cost limit that the customer agreed to."),
    "release": ("benchtest.cli.depot_moves:release", "Let a board go, as a second person."),
    "paper": ("benchtest.cli.depot_paper:paper", "Issue the released certificate, where the release could not."),
    "return": ("benchtest.cli.depot_moves:return_board", "Enter that a board has left for its owner."),
    "beyond-repair": ("benchtest.cli.depot_moves:beyond_repair", "Declare a board beyond repair."),
    "scrap": ("benchtest.cli.depot_moves:scrap", "Enter that a board beyond repair was disposed of."),
    "reopen": ("benchtest.cli.depot_moves:reopen", "Take a release back before the board has gone."),
    "link": ("benchtest.cli.depot_moves:link", "Enter a finished run that did not link itself."),
    "state": ("benchtest.cli.depot_show:state", "Show where a case stands, and what comes next."),
    "list": ("benchtest.cli.depot_show:list_cases", "List the boards that are here."),
    "board": ("benchtest.cli.depot_show:board", "Show everything that happened to a board."),
    "returns": ("benchtest.cli.depot_answers:returns", "Boards that came back soon."),
    "rogues": ("benchtest.cli.depot_answers:rogues", "Boards returned again and again without a finding."),
    "no-fault": ("benchtest.cli.depot_answers:no_fault", "How often nothing is found, per complaint or profile."),
    "yield": ("benchtest.cli.depot_answers:first_pass", "How many repairs pass the first time."),
    "checks": ("benchtest.cli.depot_answers:checks", "The checks that fail most often."),
    "parts": ("benchtest.cli.depot_answers:parts", "The parts that are replaced most often."),
    "turnaround": ("benchtest.cli.depot_answers:turnaround", "How long boards stay."),
    "shares": ("benchtest.cli.depot_answers:shares", "How parts fail: handbook and own repairs."),
    "erase": ("benchtest.cli.depot_erase:erase", "Take out what is personal; what is technical stays."),
}


@click.group("depot", cls=LazyGroup, commands=COMMANDS)
def depot() -> None:
    """Follow a board through the depot: intake, triage, run as found, repair, run as left, release, return.

    Where WORK_ORDER or another identifier is asked for, `-` reads one line from standard input, as a scanner types it.
    """
