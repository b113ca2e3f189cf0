"""`benchtest study plan` and `enter`: the sheet of a gauge study, and its readings one after another."""

import math
from pathlib import Path

import click

from benchtest.cli.study_options import OPEN
from benchtest.cli.words import say
from benchtest.cli.written import Written


def _names(given: str, word: str) -> tuple[str, ...]:
    """Return names between commas; a number means as many, counted from 1."""
    if given.strip().isdecimal():
        from benchtest.studies.gauge_plan import MOST

        count = given.strip().lstrip("0") or "0"
        if len(count) > len(str(MOST)) or int(count) > MOST:  # a long one is no number for `int` either
            raise click.UsageError(f"{count[:20]} of them would be more than {MOST} readings, the most of a sheet")
        return tuple(f"{word}{number}" for number in range(1, int(count) + 1))
    return tuple(name.strip() for name in given.split(",") if name.strip())


@click.command()
@click.option("--boards", required=True, metavar="NAMES|N", help="Serial numbers between commas, or how many.")
@click.option("--operators", default="A,B,C", show_default=True, metavar="NAMES", help="Who reads, between commas.")
@click.option("--benches", metavar="NAMES", help="Benches instead of operators.")
@click.option("--repeats", type=click.IntRange(2, 100), default=3, show_default=True)
@click.option("--seed", type=int, default=1, show_default=True, help="What the order follows from.")
@click.option("--reading", default="reading", show_default=True, metavar="NAME", help="What is read.")
@click.option("--unit", default="", metavar="UNIT", help="Such as ms or mohm.")
@click.option("--low", default="", metavar="NUMBER", help="Lowest permitted value, in the unit.")
@click.option("--high", default="", metavar="NUMBER", help="Highest permitted value.")
@click.option("--output", type=Written(), metavar="FILE", help="Write the sheet here, not to the screen.")
def plan(
    boards: str,
    operators: str,
    benches: str | None,
    repeats: int,
    seed: int,
    reading: str,
    unit: str,
    low: str,
    high: str,
    output: Path | None,
) -> None:
    """Make the sheet of a gauge study: every operator reads every board several times, in random order.

    Fill in the column 'value' in a spreadsheet, or with 'benchtest study enter'; then 'benchtest study repeatability'.
    """
    from benchtest.studies.gauge_plan import Asked, planned, sheet

    for name, text in (("--low", low), ("--high", high)):
        _check_limit(name, text)
    if low and high and float(low) >= float(high):
        raise click.UsageError(f"--low {low} is not below --high {high}")
    asked = Asked(
        boards=_names(boards, ""),
        operators=_names(benches or operators, "Bench " if benches else ""),
        repeats=repeats,
        seed=seed,
        across="bench" if benches else "operator",
        quantity=reading,
        unit=unit,
        low=low,
        high=high,
    )
    text = sheet(asked, planned(asked))
    if output is None:
        click.echo(text, nl=False)
        return
    if output.exists():
        raise click.UsageError(f"{output} is there already; a sheet that somebody filled in is not written over")
    output.write_text(text, encoding="utf-8")
    say(f"{text.count(chr(10)) - 1} readings to make, in {output}")


def _check_limit(name: str, text: str) -> None:
    try:
        fine = not text or math.isfinite(float(text))
    except ValueError:
        fine = False
    if not fine:
        raise click.UsageError(f"{name} {text!r} is no number (its unit goes into --unit)")


@click.command()
@click.argument("sheet", type=click.Path(path_type=Path), metavar="SHEET")
def enter(sheet: Path) -> int:
    """Ask for the readings that SHEET still lacks, one after another, and keep each as soon as it is given.

    Earlier readings are not shown. An empty answer, or the end of the input, stops; the next call goes on. Exit code 3
    while readings are missing.
    """
    from benchtest.canonical import write_whole
    from benchtest.studies.gauge_plan import Sheet

    found = Sheet.read(sheet)
    for number in found.open:
        value = _asked(f"{number + 1} of {len(found.rows)}: {found.says(number)}")
        if not value:
            break
        found.fill(number, value)
        write_whole(sheet, found.text().encode())
    left = len(found.open)
    say(f"{left} of {len(found.rows)} readings are missing" if left else "all readings are there")
    return OPEN if left else 0


def _asked(words: str) -> str:
    """Return a number as it was typed, or nothing when nobody answers."""
    while True:
        try:
            given = str(click.prompt(words, default="", show_default=False)).strip()
        except click.Abort:
            click.echo()
            return ""
        try:
            if not given or math.isfinite(float(given)):
                return given
        except ValueError:
            pass
        say(f"{given!r} is no number (expected one such as 12.5, in the unit of the sheet; nothing to stop)")
