"""`benchtest study`: what many runs, or a table of readings, say."""

from typing import Final

import click

from benchtest.cli.lazy import LazyGroup

COMMANDS: Final = {
    "limits": ("benchtest.cli.study_limits:limits", "Where limits should be, from boards that are known to be good."),
    "plan": ("benchtest.cli.study_plan:plan", "Make the sheet of a gauge study, in random order."),
    "enter": ("benchtest.cli.study_plan:enter", "Ask for the readings of a sheet, one after another."),
    "repeatability": ("benchtest.cli.study_repeatability:repeatability", "Whether the gauge is good enough."),
    "capability": ("benchtest.cli.study_capability:capability", "How the spread of readings compares with the limits."),
    "drift": ("benchtest.cli.study_drift:drift", "Control charts: whether something has moved over time."),
    "agreement": ("benchtest.cli.study_agreement:agreement", "Two benches, or as found against as left."),
    "coverage": ("benchtest.cli.study_coverage:coverage", "Try by simulation whether these limits hold what they say."),
}


@click.group("study", cls=LazyGroup, commands=COMMANDS)
def study() -> None:
    """Study the readings of many runs: from run folders, a depot's records, or a table in CSV (see --template)."""
