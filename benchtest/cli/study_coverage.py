"""`benchtest study coverage`: whether limits hold what they say, by simulation."""

import click

from benchtest.cli.study_options import NOT_GOOD, tell_report


@click.command()
@click.option("--draws", type=click.IntRange(100, 1_000_000), default=10_000, show_default=True, help="Studies a line.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True)
@click.option("--json", "as_json", is_flag=True, help="The counts as JSON.")
def coverage(draws: int, seed: int, as_json: bool) -> int:
    """Draw readings from a known population, again and again, and count how often limits hold the truth.

    Exit code 1 when limits miss the confidence that they state, those aside that a note names.
    """
    from benchtest.studies.simulated_coverage import count_lines, report

    found = list(count_lines(draws, seed))
    tell_report(report(found, seed), as_json=as_json, html=None)
    return NOT_GOOD if any(one.exact and not one.agrees for one in found) else 0
