"""`benchtest coverage`: which faults a profile catches on a bench, which it misses, and why."""

import json
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from benchtest.cli.documents import fitting_options, partial_option, prepare, profile_argument
from benchtest.cli.words import say
from benchtest.cli.written import Written
from benchtest.studies.coverage import Coverage, study
from benchtest.studies.known import home, subject_of
from benchtest.studies.page import to_html, to_json, to_lines
from benchtest.studies.trials import Progress, all_trials, carry_out, stock

LESS = 1
"""Exit code when less was caught than --minimum asks for."""


class Share(click.ParamType[float]):
    """A share such as `95%` or `0.95`."""

    name = "share"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return it between 0 and 1."""
        text = str(value).strip()
        try:
            share = float(text.removesuffix("%")) / (100 if text.endswith("%") else 1)
        except ValueError:
            share = -1.0
        if not 0 <= share <= 1:
            self.fail(f"{text!r} is no share (such as 95% or 0.95)", param, ctx)
        return share


@click.command()
@profile_argument
@click.option("--fixture", type=click.Path(path_type=Path), required=True, metavar="FILE", help="The bench.")
@fitting_options
@partial_option
@click.option("--good", type=click.IntRange(1), default=200, show_default=True, help="Good boards to try.")
@click.option("--boards", type=click.IntRange(1), default=3, show_default=True, help="Boards to try of every fault.")
@click.option("--seed", type=int, default=1, show_default=True, help="What the boards' seeds follow from.")
@click.option("--jobs", type=click.IntRange(1), help="Processes side by side; by default one a processor.")
@click.option("--scheduler", default="", metavar="ADDRESS", help="Dask scheduler to send the work to (extra cluster).")
@click.option("--minimum", type=Share(), metavar="SHARE", help="Exit 1 when a smaller share of boards is caught.")
@click.option("--json", "as_json", is_flag=True, help="The study as JSON.")
@click.option("--html", type=Written(), metavar="FILE", help="Also write a page.")
@click.option("--kept", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER", help="Where trials lie.")
def coverage(
    profile: Path,
    fixture: Path,
    variant: str | None,
    options: tuple[str, ...],
    partial: bool,
    good: int,
    boards: int,
    seed: int,
    jobs: int | None,
    scheduler: str,
    minimum: float | None,
    as_json: bool,
    html: Path | None,
    kept: Path | None,
) -> int:
    """Try PROFILE on good boards and on boards with every single fault, and say what it catches.

    Every board is simulated. What was tried before, by the same software on the same documents, is not tried again; so
    an interrupted study goes on where it stood.
    """
    subject = subject_of(prepare(profile, fixture, variant, options, partial=partial))
    trials = all_trials(subject, good=good, boards=boards, base=seed)
    with progress_bar(len(trials)) as progress:
        tried = carry_out(
            subject, trials, kept=stock(subject, kept or home()), jobs=jobs, scheduler=scheduler, progress=progress
        )
    found = study(subject, tried)
    if html is not None:
        html.write_text(to_html(found), encoding="utf-8")
    _tell(found, as_json)
    if minimum is not None and found.share < minimum:
        say(f"less was caught than {minimum:.4g} asks for: {found.share:.4g}", err=True)
        return LESS
    return 0


def _tell(found: Coverage, as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps(to_json(found), ensure_ascii=False))
        return
    for line in to_lines(found):
        say(line)


@contextmanager
def progress_bar(of: int) -> Iterator[Progress]:
    """Show on standard error how far it is and how long it will take; nothing where nobody looks."""
    told = 0
    numbers: Iterable[int] = range(of)
    hidden = sys.stderr is None or not sys.stderr.isatty()
    with click.progressbar(numbers, label="boards", file=sys.stderr, hidden=hidden) as bar:

        def progress(done: int, _of: int) -> None:
            nonlocal told
            told, more = done, done - told
            bar.update(more)

        yield progress
