"""From a site file, and the logo and language file beside it, to a checked site."""

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from benchtest.documents import Loaded, Review, beside, choices, load, nearest_or_list, read_bytes
from benchtest.errors import DocumentError
from benchtest.language import SHIPPED, language
from benchtest.site.document import Site
from benchtest.site.logo import LARGEST, Kind, LogoError, kind_of

ENVIRONMENT: Final = "BENCHTEST_SITE"
"""Names the site file where no option does."""
SERVER: Final = "postgresql://"
"""What the address of shared records begins with."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Logo:
    """A picture that can be printed without harm."""

    kind: Kind
    content: bytes


@dataclass(frozen=True, kw_only=True, slots=True)
class LoadedSite:
    """A site file whose companions were read."""

    site: Site
    path: Path
    logo: Logo | None
    document: Loaded[Site]

    @property
    def language(self) -> str:
        """The tag of a shipped language, or the path of a language file."""
        return language_beside(self.path, self.site.language)

    def place(self, *keys: str | int) -> str:
        """Return `file:line` of a key path, or of its nearest parent."""
        return self.document.place(*keys)


def find_site(given: Path | None) -> LoadedSite | None:
    """Return the site that is given, else the one that the environment names, else None.

    Raises DocumentError with every problem of the file.
    """
    path = given or (Path(named) if (named := os.environ.get(ENVIRONMENT, "")) else None)
    return None if path is None else load_site(path)


def load_site(path: Path) -> LoadedSite:
    """Return the site at `path`. Raises DocumentError with every problem of the file and of what lies beside it."""
    logos: list[Logo] = []

    def check(site: Site, review: Review) -> None:
        if site.depot is not None and site.depot.logo is not None and not review.is_broken("depot", "logo"):
            logos.extend(_logo(site.depot.logo, review))
        if not review.is_broken("language"):
            _language(site.language, review)
        if not review.is_broken("records") and site.records and not site.records.startswith(SERVER):
            hint = f"{SERVER}host/name; a bench's own file needs no line here"
            review.say(("records",), f"{site.records!r} is not the address of a server", hint)
        if site.profiles.approvers is not None and not review.is_broken("profiles"):
            _companion(site.profiles.approvers, ("profiles", "approvers"), review)

    document = load(path, Site, check=check)
    return LoadedSite(site=document.value, path=path, logo=logos[0] if logos else None, document=document)


def language_beside(site: Path, name: str) -> str:
    """Return the path of a language file that lies beside a site file; the tag of a shipped language as it is."""
    return str(site.parent / name) if _is_file(name) else name


def _is_file(language: str) -> bool:
    return "." in language


def _language(name: str, review: Review) -> None:
    if not _is_file(name):
        if name not in SHIPPED:
            hint = f"{nearest_or_list(name, SHIPPED, what='shipped')}; or a language file beside the site file"
            review.say(("language",), f"there is no language {name!r}", hint)
        return
    path = _companion(name, ("language",), review)
    if path is not None:
        try:
            language(str(path))
        except DocumentError as problem:
            review.problems.extend(problem.problems)


def _logo(name: str, review: Review) -> list[Logo]:
    keys = ("depot", "logo")
    path = _companion(name, keys, review)
    if path is None:
        return []
    try:
        content = read_bytes(path, largest=LARGEST)
        return [Logo(kind=kind_of(content), content=content)]
    except LogoError as problem:
        found, _, hint = str(problem).rpartition(" (")
        review.say(keys, f"{name}: {found}", hint.removesuffix(")"))
    except DocumentError as problem:
        review.say(keys, "; ".join(f"{name}: {one.message}" for one in problem.problems), "another file, SVG or PNG")
    return []


def _companion(name: str, keys: tuple[str, ...], review: Review) -> Path | None:
    path = beside(review.path, name)
    if path is None:
        review.say(keys, f"{name!r} is not a file name", "it lies beside the site file, name it alone")
    elif not path.is_file():
        ending = Path(name).suffix
        there = sorted(file.name for file in path.parent.glob(f"*{ending}") if file != review.path)
        review.say(keys, f"there is no file {name!r}", f"beside the site file: {choices(there)}")
    else:
        return path
    return None
