"""A study as plain text, as plain data, and as one page for the screen and the printer."""

from collections.abc import Iterator
from dataclasses import asdict
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, StrictUndefined, Template

from benchtest.metrology.figures import percent
from benchtest.quantities import show
from benchtest.studies.coverage import Coverage

FORMAT = "benchtest-coverage/1"


def to_json(found: Coverage) -> dict[str, Any]:
    """Return the study as plain data, with a version; shares between 0 and 1, times in seconds."""
    figures = {"share": found.share, "seconds_a_fault": found.seconds_a_fault}
    return {"format": FORMAT, **asdict(found), **figures}


def to_lines(found: Coverage) -> Iterator[str]:
    """Yield the study line by line."""
    yield f"{found.part}: {found.faults} faults on {found.boards} boards, and {found.good} good boards"
    yield (
        f"caught: {found.caught} of {found.boards} boards, {percent(found.share)} "
        f"(at least {percent(found.caught_limit)}, one-sided 95 %); inconclusive: {found.inconclusive}; "
        f"faults caught on every board: {found.always} of {found.faults}"
    )
    yield (
        f"false alarms: {len(found.alarms)} of {found.good} good boards "
        f"(at most {percent(found.alarm_limit)}, one-sided 95 %)"
    )
    yield f"bench time: {show(found.seconds, 's')}, {show(found.seconds_a_fault, 's')} for each fault caught"
    yield from _part(
        "Missed", (f"{one.fault} ({one.passed} of {one.boards} passed): {one.reason}" for one in found.missed)
    )
    yield from _part("False alarms", found.alarms)
    yield from _part("Look the same to this procedure", (", ".join(group) for group in found.groups))
    yield from _part(
        "Steps that show nothing that no other shows",
        (f"{step.title}: {show(step.seconds, 's')}, shows {step.catches}" for step in found.idle),
    )
    yield from _part("Inconclusive", found.undecided)


def _part(title: str, lines: "Iterator[str] | tuple[str, ...]") -> Iterator[str]:
    some = list(lines)
    if some:
        yield ""
        yield f"{title}:"
        yield from (f"  {line}" for line in some)


def to_html(found: Coverage) -> str:
    """Return the study as a page that loads nothing and runs nothing."""
    return _page().render(d=found, percent=percent, show=show)


@cache
def _page() -> Template:
    made = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    text = files("benchtest.studies").joinpath("page.html.j2").read_text(encoding="utf-8")
    return made.from_string(text)
