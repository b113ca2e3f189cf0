"""`benchtest profile`: begin a profile, keep it tidy, compare it, approve it."""

from typing import Final

import click

from benchtest.cli.lazy import LazyGroup

COMMANDS: Final = {
    "new": ("benchtest.cli.profile_new:new", "Make a first profile, by asking or from a connector table."),
    "format": ("benchtest.cli.profile_format:format_profiles", "Write profiles in one style, comments kept."),
    "sign": ("benchtest.cli.profile_sign:sign", "Approve a profile as it is now, by a signature beside it."),
    "verify": (
        "benchtest.cli.profile_sign:verify",
        "Say who has approved a profile, and whether it still is that one.",
    ),
    "diff": ("benchtest.cli.profile_diff:diff", "Say what two versions of a profile mean differently."),
}


@click.group(cls=LazyGroup, commands=COMMANDS)
def profile() -> None:
    """Begin a profile, keep it tidy, compare two versions of it, approve it."""
