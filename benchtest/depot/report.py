"""The manager's page: what came in, what was found, what it took, in one period; every figure an aggregate.

A section is a table, with a chart of it where one helps. The page loads nothing and runs nothing.
"""

import base64
import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Final

from jinja2 import Environment, StrictUndefined, Template
from sqlalchemy import String, case, func, select, type_coerce

from benchtest.clock import wall_time
from benchtest.depot import questions
from benchtest.depot.charts import Bar, Chart, bars, columns
from benchtest.depot.questions import ALWAYS, Left, Period, quantile, stays
from benchtest.depot.table import Column, Table, shown
from benchtest.metrology.figures import percent
from benchtest.records.database.case_tables import CASES
from benchtest.records.database.opening import Records
from benchtest.records.database.tables import RUNS

MOST: Final = 10
"""Bars of a chart."""
ROWS: Final = 50
"""Boards of a list."""
MONTHS: Final = 24
"""Columns of a chart of months."""
WEEK: Final = 7 * questions.HOURS_A_DAY
WEEKS: Final = 8
"""Weeks that a chart of stays shows one by one."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Figure:
    """One figure at the head of the page."""

    label: str
    value: str
    note: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Section:
    """One question, its answer, and a drawing of it."""

    table: Table
    chart: Chart | None = None
    legend: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Report:
    """Everything on the page."""

    period: str
    made: datetime
    records: str
    figures: tuple[Figure, ...]
    sections: tuple[Section, ...]
    simulated: int
    """Runs that no real board was on the bench for."""


def report(records: Records, period: Period = ALWAYS, *, now: Callable[[], datetime] = wall_time) -> Report:
    """Return the report of a period."""
    runs, stayed = runs_by_month(records, period), stays(records, period)
    left = questions.boards_that_left(records, period)
    sections = (
        _months(runs),
        _nothing_found(questions.by_complaint(left)),
        _nothing_found(questions.by_profile(left)),
        Section(table=questions.first_pass_yield(records, period)),
        _pareto(questions.failing_checks(records, period), "check"),
        _pareto(questions.replaced_parts(records, period), "part"),
        _stays(questions.of_stays(stayed), stayed),
        Section(table=questions.repeat_returns(records, period, most=ROWS)),
        Section(table=questions.rogue_boards(records, most=ROWS)),
        Section(table=questions.failure_shares(records, period=period)),
    )
    return Report(
        period=_in_words(period),
        made=now(),
        records=records.name,
        figures=_figures(records, period, left, stayed, runs),
        sections=sections,
        simulated=sum(runs.column("simulated")),
    )


def _in_words(period: Period) -> str:
    begin = "" if period.since == ALWAYS.since else f"from {period.since.astimezone():%Y-%m-%d}"
    end = "" if period.until == ALWAYS.until else f"up to, but not with, {period.until.astimezone():%Y-%m-%d}"
    return " ".join(filter(None, [begin, end])) or "from the first entry on"


def _figures(
    records: Records, period: Period, gone: Sequence[Left], stayed: Sequence[tuple[str, int, int]], runs: Table
) -> tuple[Figure, ...]:
    received = select(func.count()).select_from(CASES).where(period.holds(CASES.c.received))
    here = select(func.count()).select_from(CASES).where(CASES.c.open == 1)
    with records.reading() as connection:
        came, now = connection.scalar(received), connection.scalar(here)
    left, without = sum(one.boards for one in gone), sum(one.without_finding for one in gone)
    together = sorted((hours, count) for _, hours, count in stayed)
    share = percent(without / left) if left else "–"
    median = f"{quantile(together, 0.5) / questions.HOURS_A_DAY:.1f} days" if together else "–"
    return (
        Figure(label="came in", value=str(came)),
        Figure(label="left", value=str(left)),
        Figure(label="are here now", value=str(now)),
        Figure(label="left without a finding", value=share, note=f"{without} boards"),
        Figure(label="half of them left within", value=median),
        Figure(label="runs", value=str(sum(runs.column("runs")))),
    )


def runs_by_month(records: Records, period: Period = ALWAYS) -> Table:
    """Return how many runs there were in each month, and what came of them."""
    month = func.substr(type_coerce(RUNS.c.started, String), 1, 7).label("month")
    query = (
        select(
            month,
            func.count(),
            *(func.sum(case((RUNS.c.outcome == word, 1), else_=0)) for word in ("pass", "fail")),
            func.sum(case((RUNS.c.origin == "simulated", 1), else_=0)),
        )
        .where(period.holds(RUNS.c.started))
        .group_by(month)
        .order_by(month)
    )
    with records.reading() as connection:
        found = connection.execute(query).all()
    rows = tuple((str(m), n, int(p), int(f), n - int(p) - int(f), int(s)) for m, n, p, f, s in found)
    headings = (
        Column(key="month", title="month (UTC)"),
        Column(key="runs", title="runs", kind="count"),
        Column(key="passed", title="pass", kind="count"),
        Column(key="failed", title="fail", kind="count"),
        Column(key="other", title="neither", kind="count"),
        Column(key="simulated", title="simulated", kind="count"),
    )
    return Table(key="runs", title="Runs by month", columns=headings, rows=rows)


def _months(table: Table) -> Section:
    if not table.rows:
        return Section(table=table)
    last = table.rows[-MONTHS:]
    stacks = [[int(str(row[place])) for place in (2, 3, 4)] for row in last]
    chart = columns("Runs by month", [str(row[0]) for row in last], stacks, ("pass", "fail", "neither"))
    legend = "from the bottom up: pass (full), fail (striped), neither (empty)"
    return Section(table=table, chart=chart, legend=legend)


def _nothing_found(table: Table) -> Section:
    if not table.rows:
        return Section(table=table)
    names, shares = [" ".join(map(str, row[:-5])) for row in table.rows], table.column("share")
    limits = zip(table.column("low"), table.column("high"), strict=True)
    rows = [
        Bar(name=name, share=share, text=percent(share), low=low, high=high)
        for name, share, (low, high) in zip(names, shares, limits, strict=True)
    ]
    return Section(table=table, chart=bars(table.title, rows[:MOST]), legend="the line shows the 95 % limits")


def _pareto(table: Table, what: str) -> Section:
    if not table.rows:
        return Section(table=table)
    parts = zip(table.column(table.columns[0].key), table.column(what), strict=True)
    figures = zip(table.column("count"), table.column("share"), table.column("running"), strict=True)
    rows = [
        Bar(name=f"{name} ({board})", share=share, text=str(count), running=running)
        for (board, name), (count, share, running) in zip(parts, figures, strict=True)
    ]
    legend = "a bar is the share of all, a dot the sum of the shares down to it; the right end is 100 %"
    return Section(table=table, chart=bars(table.title, rows[:MOST]), legend=legend)


def _stays(table: Table, stayed: Sequence[tuple[str, int, int]]) -> Section:
    if not stayed:
        return Section(table=table)
    weeks = [0] * (WEEKS + 1)
    for _, hours, count in stayed:
        weeks[min(hours // WEEK, WEEKS)] += count
    names = [*(f"{week + 1}" for week in range(WEEKS)), "more"]
    chart = columns("Boards by the week of their stay in which they left", names, [[n] for n in weeks], ("boards",))
    return Section(table=table, chart=chart, legend="boards that left in the first week after intake, the second, …")


def to_html(found: Report) -> str:
    """Return the page."""
    style = _text("page.css")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return _page().render(d=found, style=style, style_digest=digest, shown=shown)


@cache
def _page() -> Template:
    made = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return made.from_string(_text("page.html.j2"))


def _text(name: str) -> str:
    return files("benchtest.depot").joinpath(name).read_text(encoding="utf-8")
