"""`benchtest certificate`: papers under seal, once they are there."""

from typing import Final

import click

from benchtest.cli.lazy import LazyGroup

COMMANDS: Final = {
    "verify": ("benchtest.cli.certificate_verify:verify", "Say whether a paper is what a trusted station sealed."),
    "seal": ("benchtest.cli.certificate_issue:seal", "Write the papers of a run that was cut off before they were."),
    "label": ("benchtest.cli.certificate_label:label", "Write a label for the board, with the code of its paper."),
    "withdraw": ("benchtest.cli.certificate_issue:withdraw", "Write a sealed note that a paper no longer counts."),
    "reissue": ("benchtest.cli.certificate_issue:reissue", "Issue a paper anew, with a note on the one it replaces."),
    "withhold": (
        "benchtest.cli.certificate_issue:withhold",
        "Write a copy without the customer; its seal holds.",
    ),
}


@click.group("certificate", cls=LazyGroup, commands=COMMANDS)
def certificate() -> None:
    """Check, withdraw or issue anew what a run put under seal: a certificate, or a report of findings."""
