"""How results are said on a terminal: one line each, in words that need neither colour nor special characters."""

import errno
import os
import shutil
import sys
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final, TextIO

import click

from benchtest.metrology.figures import chance, figures, permitted, unusual
from benchtest.procedure import Interval
from benchtest.results import Outcome, Result, Verdict

PLAIN: Final = str.maketrans(
    {
        "±": "+/-",
        "Ω": "ohm",
        "µ": "u",
        "°": "deg ",
        "≤": "<=",
        "≥": ">=",
        "−": "-",
        "–": "-",
        "…": "..",
        "∞": "inf",
        "·": "*",
        "\u00a0": " ",
    }
)

MARK: Final = {
    Verdict.PASS: "ok",
    Verdict.CONDITIONAL_PASS: "pass?",
    Verdict.CONDITIONAL_FAIL: "FAIL?",
    Verdict.FAIL: "FAIL",
    Verdict.NOT_TESTED: "not tested",
}

OUTCOME: Final = {
    Outcome.PASS: "PASS",
    Outcome.FAIL: "FAIL",
    Outcome.INCONCLUSIVE: "INCONCLUSIVE",
    Outcome.BENCH_FAULT: "BENCH FAULT: the board is not judged",
    Outcome.ABORTED: "ABORTED: the board is not judged",
}

GONE: Final = frozenset({errno.EPIPE, errno.EIO})
"""What writing to somebody who has left ends with: the reader of a pipe, a terminal whose line was cut."""


def say(text: str, *, err: bool = False) -> None:
    """Print a line; where the encoding lacks a character, a plain spelling stands in.

    On a terminal a long line is broken between words and goes on indented; anywhere else it stays one line.
    """
    stream = sys.stderr if err else sys.stdout
    if stream is None:  # started with it closed: there is nobody to tell
        return
    if stream.isatty():
        text = "\n".join(folded(part, shutil.get_terminal_size().columns) for part in text.split("\n"))
    tell(spelled(text, stream), err=err)


def spelled(text: str, stream: TextIO) -> str:
    """Return a text with plain spellings where the stream's encoding lacks a character."""
    try:
        text.encode(stream.encoding or "utf-8")
    except UnicodeEncodeError:
        return text.translate(PLAIN).encode("ascii", "replace").decode("ascii")
    return text


def tell(text: str, *, err: bool = False) -> None:
    """Print a line as it is; when its reader has gone, nothing more is said, and the work goes on to its own end."""
    with unheard(err=err):
        click.echo(text, err=err)


@contextmanager
def unheard(*, err: bool = False) -> Iterator[None]:
    """Let what is said in here fall silent, and all that follows, where its reader has gone."""
    try:
        yield
    except OSError as problem:
        if problem.errno not in GONE:
            raise
        os.dup2(os.open(os.devnull, os.O_WRONLY), (sys.stderr if err else sys.stdout).fileno())


def folded(text: str, columns: int) -> str:
    """Return a line broken between words at a terminal's width, continued under its own indent."""
    indent = " " * (len(text) - len(text.lstrip()) + 4)
    folds = textwrap.wrap(text, columns, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
    return "\n".join(folds)


def line(result: Result, *, risk: bool = False) -> str:
    """Return one result in one line: mark, what, found, expected, where to probe, note; with `risk`, what it risks.

    How likely it is that the item conforms is always said of a result that did not simply pass.
    """
    check = result.check
    parts = [f"{MARK[result.verdict]:<10}  {check.title}: {found(result)}", f"expected {expected(result)}"]
    if check.probe:
        parts.append(f"probe {check.probe}")
    if result.note:
        parts.append(result.note)
    if result.risk is not None and (risk or result.verdict is not Verdict.PASS):
        parts.append(f"conforms with a probability of {chance(result.risk.conformity)}")
    return "; ".join(parts)


def found(result: Result) -> str:
    """Return what was found, with its expanded uncertainty."""
    if result.value is None:
        return "nothing read"
    return figures(result.value, result.uncertainty, result.check.unit, coverage=unusual(result.coverage))


def expected(result: Result) -> str:
    """Return what was expected."""
    wanted = result.check.permitted
    return permitted(wanted.low, wanted.high, result.check.unit) if isinstance(wanted, Interval) else wanted


def duration(seconds: float) -> str:
    """Return minutes and seconds: `2:05`."""
    minutes, rest = divmod(max(0, round(seconds)), 60)
    return f"{minutes}:{rest:02d}"
