"""What all studies of readings take, and how they tell what they found."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchtest.cli.words import spelled, tell
from benchtest.cli.written import Written

if TYPE_CHECKING:
    from benchtest.studies.report import Report

OPEN, NOT_GOOD = 3, 1
"""Exit codes: the question stays open; what was asked for is not reached."""


def study_options(columns: tuple[str, ...]) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Return a decorator that adds the sources, the choice of readings and the forms of a study."""

    def template(ctx: click.Context, _parameter: click.Parameter, wanted: bool) -> None:
        if wanted:
            from benchtest.studies.reading_table import meanings
            from benchtest.studies.reading_table import template as first_line

            tell(first_line(columns), err=False)
            for line in meanings(columns):
                click.echo(line, err=True)
            ctx.exit()

    def add(command: Callable[..., Any]) -> Callable[..., Any]:
        for option in (
            click.option(
                "--template", is_flag=True, is_eager=True, expose_value=False, callback=template, help="An empty table."
            ),
            click.option("--html", type=Written(), metavar="FILE", help="Also write a page with pictures."),
            click.option("--json", "as_json", is_flag=True, help="The findings as JSON."),
            click.option(
                "--reading",
                "patterns",
                multiple=True,
                metavar="NAME",
                help="Only these, such as K3.operate*; repeatable.",
            ),
            click.option("--part", default="", metavar="PART", help="Part number, where there are runs of several."),
            click.argument("sources", nargs=-1, required=True, metavar="TABLE|RUNS|RECORDS..."),
        ):
            command = option(command)
        return command

    return add


def tell_report(report: "Report", *, as_json: bool, html: Path | None) -> None:
    """Print a study, and write its page where one is wanted."""
    import sys

    from benchtest.studies.report import to_html, to_json, to_lines

    if html is not None:
        html.write_text(to_html(report), encoding="utf-8")
    if as_json:
        tell(json.dumps(to_json(report), ensure_ascii=False, allow_nan=False))
        return
    for line in to_lines(report, spell=lambda text: spelled(text, sys.stdout)):
        tell(line)


class Share(click.ParamType[float]):
    """A share strictly between 0 and 1, such as `95%` or `0.95`."""

    name = "share"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return it as a number."""
        text = str(value).strip()
        try:
            share = float(text.removesuffix("%")) / (100 if text.endswith("%") else 1)
        except ValueError:
            share = 0.0
        if not 0 < share < 1:
            self.fail(f"{text!r} is no share (such as 95% or 0.95)", param, ctx)
        return share


class Amount(click.ParamType[tuple[float, str]]):
    """A number with a unit that a study knows, such as `20 us`, or a plain one."""

    name = "quantity"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, str]:
        """Return it in SI, with its SI unit."""
        if isinstance(value, tuple):
            return value
        from benchtest.studies.reading_table import si_unit

        number, _, unit = str(value).strip().partition(" ")
        try:
            scale, si = si_unit(unit.strip()) if unit.strip() else (1.0, "")
            amount = float(number) * scale
        except ValueError:
            amount = -1.0
        if not 0 <= amount < float("inf"):
            self.fail(f"{value!r} is no quantity (such as '20 us' or 0.5)", param, ctx)
        return amount, si
