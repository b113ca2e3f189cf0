"""What a run's papers are made with: options of the depot and the job, checked before anything is energised."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from benchtest.canonical import write_whole
from benchtest.language import SHIPPED, Language
from benchtest.language import language as language_of
from benchtest.procedure import Procedure
from benchtest.results import Before, Depot, Job
from benchtest.site import LoadedSite, find_site

if TYPE_CHECKING:
    from benchtest.cli.documents import Prepared

Decorated = TypeVar("Decorated", bound=Callable[..., Any])
LANGUAGE_FILE: Final = "language.yaml"
"""In the run folder, where it is none of the shipped ones."""


def site_options(command: Decorated) -> Decorated:
    """Add --site and --language."""
    site = click.option(
        "--site", type=click.Path(path_type=Path), metavar="FILE", help="The depot: a site file; else $BENCHTEST_SITE."
    )
    language = click.option("--language", metavar="NAME", help="Of the papers: en, de, or a language file.")
    return site(language(command))


def job_options(command: Decorated) -> Decorated:
    """Add what a depot knows of a board that came in."""
    for name, metavar, help_text in (
        ("--straps", "TEXT", "Jumper plugs as they are on the board now, such as 'X10 1-2, 3-4'."),
        ("--condition", "TEXT", "Condition of the board on receipt."),
        ("--received", "DAY", "Day on which the board came in, such as 2026-11-03."),
    ):
        command = click.option(name, default="", metavar=metavar, help=help_text)(command)
    after = click.option(
        "--after",
        type=click.Path(path_type=Path),
        metavar="RUN",
        help="Run of this board as found; this one is as left.",
    )
    return after(command)


@dataclass(frozen=True, kw_only=True, slots=True)
class Stationery:
    """Everything that the papers need besides the run."""

    site: LoadedSite | None
    language: str
    """Tag or path, as it was asked for."""
    words: Language
    after: Path | None = None
    before: Before | None = None

    @property
    def begun(self) -> dict[str, str]:
        """What a paused run has to remember of it."""
        site = "" if self.site is None else str(self.site.path.resolve())
        after = "" if self.after is None else str(self.after.resolve())
        language = self.language if self.language in SHIPPED else str(Path(self.language).resolve())
        return {"site": site, "language": language, "after": after}

    def facts(self, folder: Path) -> dict[str, Any]:
        """Return the run's fields about it; logo and language file are put into its folder."""
        kept: dict[str, str] = {}
        name = self.language
        if name not in SHIPPED:
            name = LANGUAGE_FILE
            kept[name] = write_whole(folder / name, Path(self.language).read_bytes())
        if self.site is not None and self.site.logo is not None:
            logo = f"logo.{self.site.logo.kind}"
            kept[logo] = write_whole(folder / logo, self.site.logo.content)
        return {"depot": self._depot(), "language": name, "stationery": kept, "before": self.before}

    def _depot(self) -> Depot | None:
        if self.site is None:
            return None
        about = self.site.site.depot
        return Depot(name=about.name, address=about.address, terms=about.terms)


def stationery(
    site: Path | None, language: str | None, *, after: Path | None = None, job: Job, procedure: Procedure
) -> Stationery:
    """Return what the papers are made with. Raises DocumentError or PlanError; nothing was energised then."""
    from benchtest.records.attempts import as_found

    found = find_site(site)
    name = language or ("en" if found is None else found.language)
    words = language_of(name)
    if found is not None and found.logo is not None:
        from benchtest.certificate import prove

        prove(found.logo.content, file=found.path, line=found.document.tree.mark(("depot", "logo")).line)
    before = None if after is None else as_found(after, part=procedure.part, serial=job.serial)
    return Stationery(site=found, language=name, words=words, after=after, before=before)


def about(prepared: "Prepared", job: Job, root: Path, folder: Path) -> dict[str, Any]:
    """Return the run's fields about its method's demands and about the runs of this board before it."""
    from benchtest.records.attempts import attempts

    profile = prepared.profile.profile
    before, more = attempts(root, part=prepared.procedure.part, serial=job.serial, but=folder)
    return {
        "attempts": before,
        "attempts_left_out": more,
        "profile_version": profile.version or "",
        "second_person": profile.release == "second person",
    }


def paper_of(prepared: "Prepared", job: Job, begun: Mapping[str, Any]) -> Stationery:
    """Return the same for a paused run, from what it remembers."""
    site, after = begun.get("site"), begun.get("after")
    return stationery(
        Path(site) if site else None,
        begun.get("language") or None,
        after=Path(after) if after else None,
        job=job,
        procedure=prepared.procedure,
    )


def clean_day(text: str) -> str:
    """Return a day as ISO 8601 writes it; anything else is wrong usage."""
    if not text.strip():
        return ""
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        raise click.UsageError(f"--received {text!r} is not a day (try one such as 2026-11-03)") from None
