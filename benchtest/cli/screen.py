"""What a person sees while a run goes on: a bar with the time left on a terminal, one line per step elsewhere.

On a terminal the bar is rich's; anywhere else (a pipe, a log of a build server) there are plain lines, no colours and
no bars. With --json there is nothing but the summary.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Protocol

from benchtest.cli.words import duration, folded, line, say, unheard
from benchtest.procedure import Procedure, Step
from benchtest.results import BenchCheck, Result, Verdict

if TYPE_CHECKING:
    from rich.text import Text


class Screen(Protocol):
    """Is told of steps as they begin and end."""

    def begins(self, step: Step) -> None: ...
    def judged(self, step: Step, results: tuple[Result, ...]) -> None: ...
    def checked(self, bench: BenchCheck) -> None: ...


class Quiet:
    """Says nothing."""

    def begins(self, step: Step) -> None:
        """Say nothing."""

    def judged(self, step: Step, results: tuple[Result, ...]) -> None:
        """Say nothing."""

    def checked(self, bench: BenchCheck) -> None:
        """Say nothing."""


class Lines:
    """One line per step, and one for each reading that did not pass."""

    def __init__(self, procedure: Procedure) -> None:
        self._count = len(procedure.steps)
        self._number = 0
        self._left = procedure.duration

    def begins(self, step: Step) -> None:
        self._number += 1

    def judged(self, step: Step, results: tuple[Result, ...]) -> None:
        self._left -= step.duration
        say(f"[{self._number:>2}/{self._count}]  {duration(self._left):>5} left  {step.title}: {summary(results)}")
        for result in results:
            if result.verdict is not Verdict.PASS:
                say(f"    {line(result)}")

    def checked(self, bench: BenchCheck) -> None:
        for text in said_of_the_bench(bench):
            say(text)


class Bar:
    """A bar with the time left by the plan's own estimate; what did not pass stays above it."""

    def __init__(self, procedure: Procedure, before: float) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn

        self._before = before
        self._left = procedure.duration
        columns = (BarColumn(bar_width=24), TextColumn("{task.fields[left]} left  {task.description}"))
        self.progress = Progress(*columns, console=Console(highlight=False), transient=True)
        self._task = self.progress.add_task(
            "the bench checks itself" if before else "",
            total=before + procedure.duration,
            left=duration(before + self._left),
        )

    def begins(self, step: Step) -> None:
        from rich.markup import escape

        self.progress.update(self._task, description=escape(step.title), left=duration(self._left))

    def judged(self, step: Step, results: tuple[Result, ...]) -> None:
        from rich.text import Text

        columns = self.progress.console.width
        self._left -= step.duration
        self.progress.advance(self._task, step.duration)
        for result in results:
            if result.verdict is not Verdict.PASS:
                self._print(Text(folded(line(result), columns)))

    def checked(self, bench: BenchCheck) -> None:
        from rich.text import Text

        self.progress.advance(self._task, self._before)
        for text in said_of_the_bench(bench):
            self._print(Text(folded(text, self.progress.console.width)))

    def _print(self, text: "Text") -> None:
        with unheard():
            self.progress.console.print(text)


class Talk:
    """For a person who is asked: where they are, and after each step what did not pass."""

    def __init__(self, procedure: Procedure, *, err: bool) -> None:
        self._steps = {step.id: number for number, step in enumerate(procedure.steps, 1)}
        self._durations = [step.duration for step in procedure.steps]
        self._err = err

    def begins(self, step: Step) -> None:
        number, steps = self._steps[step.id], len(self._steps)
        if step.moves:
            left = round(sum(self._durations[number - 1 :]) / 60)
            about = f"about {left} min left" if left > 1 else "nearly done"
            say(f"\nStep {number} of {steps}, {about}: {step.title}", err=self._err)
        else:
            say(f"\nStep {number} of {steps}: {step.title}: not possible on this bench", err=self._err)

    def judged(self, step: Step, results: tuple[Result, ...]) -> None:
        looked_at = [result for result in results if result.verdict is not Verdict.NOT_TESTED]
        bad = [result for result in looked_at if result.verdict is not Verdict.PASS]
        for result in bad:
            say(f"  {line(result)}", err=self._err)
        if looked_at and not bad:
            say(f"  {len(looked_at)} of {len(results)} readings taken, all pass", err=self._err)

    def checked(self, bench: BenchCheck) -> None:
        """Say nothing: a person answers for themselves, and no bench has checked itself."""


def said_of_the_bench(bench: BenchCheck) -> list[str]:
    """Return what the bench found of itself, as lines."""
    bad = [result for result in bench.results if result.verdict not in {Verdict.PASS, Verdict.CONDITIONAL_PASS}]
    lines = [f"bench checked itself: {summary(bench.results)}"] + [f"    {line(result)}" for result in bad]
    return lines + ([f"    {bench.reference}"] if bench.reference else [])


def summary(results: tuple[Result, ...]) -> str:
    """Return how many readings there were and how many did not pass."""
    bad = sum(result.verdict is not Verdict.PASS for result in results)
    plural = "" if len(results) == 1 else "s"
    return f"{len(results)} reading{plural}, {f'{bad} not passed' if bad else 'all pass'}"


@contextmanager
def screen(procedure: Procedure, *, before: float = 0.0, quiet: bool, by_person: bool = False) -> Iterator[Screen]:
    """Return what fits the place: nothing, a bar, or lines; for a person who is asked, lines on whichever stream.

    `before` is how many seconds the bench needs for itself before the procedure begins.
    """
    if by_person:
        yield Talk(procedure, err=quiet)
    elif quiet:
        yield Quiet()
    elif sys.stdout is not None and sys.stdout.isatty():
        bar = Bar(procedure, before)
        bar.progress.start()
        try:
            yield bar
        finally:
            with unheard():
                bar.progress.stop()
    else:
        yield Lines(procedure)
