"""In which words the paper speaks: catalogues, one file a language, and what is done with them.

Two kinds of words are on a paper. Its own `texts` have keys; the English catalogue has all of them and stands in for
what another lacks. `phrases` are what a run says, such as `K3 operate time`: they are kept in English in the run file,
and a catalogue turns them over by their pattern, `{what} operate time`, part by part; gaps named `{own_…}` hold a
profile's own words, which stay. What no pattern fits stays as the run says it. Numbers get the language's decimal sign
wherever they stand alone; names of terminals and versions do not.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache, lru_cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Annotated, Final, Literal

from pydantic import Field

from benchtest.documents import Loaded, Review, load, nearest_or_list
from benchtest.documents.section import Section
from benchtest.errors import DocumentError, Problem

SHIPPED: Final = ("en", "de")
Words = Annotated[str, Field(min_length=1, max_length=1000)]
_GAP: Final = re.compile(r"\{(\w+)\}")
_NUMBER: Final = re.compile(r"(?<![\w.])(\d+)\.(\d+)(?![\w.]|-\w)")
_OWN: Final = "own_"
"""Gaps of these names hold words of a profile, which are let be."""
_PARTS: Final = ("; ", ", ")
DEEPEST: Final = 6
"""Phrases inside phrases."""


class Catalogue(Section):
    """A language file."""

    format: Literal["benchtest-language/1"]
    tag: Annotated[str, Field(pattern=r"^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$")]
    """BCP 47, such as `de`; readers for the blind choose their voice by it."""
    name: Annotated[str, Field(min_length=1, max_length=40)]
    decimal: Literal[".", ","] = "."
    day: Annotated[str, Field(min_length=1, max_length=40)] = "{year}-{month}-{day}"
    texts: dict[str, Words]
    """Key → text; gaps such as `{number}` as in the English catalogue."""
    phrases: dict[Words, Words] = {}
    """English phrase of a run → phrase; gaps by name, in any order."""


@dataclass(frozen=True, slots=True)
class _Phrase:
    pattern: re.Pattern[str]
    says: str


@dataclass(frozen=True, eq=False)
class Language:
    """A catalogue ready for use, English behind it."""

    tag: str
    decimal: str
    day_pattern: str
    texts: Mapping[str, str]
    exact: Mapping[str, str]
    patterns: tuple[_Phrase, ...]

    def say(self, key: str, **gaps: object) -> str:
        """Return one of the paper's own texts, its gaps filled."""
        return filled(self.texts[key], {name: str(value) for name, value in gaps.items()})

    def day(self, iso: str) -> str:
        """Return the day of an ISO 8601 date or moment; what is none, as it is."""
        year, dash, rest = iso[:10].partition("-")
        month, second, day = rest.partition("-")
        if not (dash and second and (year + month + day).isdigit()):
            return iso
        return filled(self.day_pattern, {"year": year, "month": month, "day": day})

    def moment(self, rfc3339: str) -> str:
        """Return a moment to the second, with its offset."""
        at = datetime.fromisoformat(rfc3339).isoformat(sep=" ", timespec="seconds")
        return f"{self.day(at[:10])}{at[10:]}"

    def number(self, text: str) -> str:
        """Return a text with the language's decimal sign in its numbers."""
        return text if self.decimal == "." else _NUMBER.sub(rf"\1{self.decimal}\2", text)

    def phrase(self, text: str) -> str:
        """Return what a run says in this language, as far as its catalogue goes."""
        return _phrase(self, text, DEEPEST) if self.exact or self.patterns else self.number(text)

    def knows(self, text: str) -> bool:
        """Return whether the catalogue has a phrase for what a run says."""
        return _turned(self, text, DEEPEST) is not None


def _phrase(language: Language, text: str, depth: int) -> str:
    """Return a text turned over, or part by part where only parts of it are known."""
    turned = _turned(language, text, depth)
    if turned is not None:
        return turned
    sign = next((sign for sign in _PARTS if sign in text), "") if depth else ""
    parts = text.split(sign) if sign else []
    return sign.join(_phrase(language, part, depth - 1) for part in parts) if parts else language.number(text)


@lru_cache(maxsize=8192)
def _turned(language: Language, text: str, depth: int) -> str | None:
    """Return a text turned over as a whole: itself a phrase, a list of phrases, or of a pattern; else None."""
    if not text or not depth:
        return None
    if text in language.exact:
        return language.exact[text]
    for sign in _PARTS:
        parts = [_turned(language, part, depth - 1) for part in text.split(sign)] if sign in text else []
        whole = [part for part in parts if part is not None]
        if parts and len(whole) == len(parts):
            return sign.join(whole)
    for one in language.patterns:
        if (found := one.pattern.fullmatch(text)) is not None:
            gaps = found.groupdict()
            turned = {name: _phrase(language, gaps[name], depth - 1) for name in gaps if not name.startswith(_OWN)}
            return filled(one.says, gaps | turned)
    return None


def filled(text: str, gaps: Mapping[str, str]) -> str:
    """Return a text with its gaps filled; nothing in a text is ever evaluated."""
    return _GAP.sub(lambda gap: gaps.get(gap[1], gap[0]), text)


def gaps_of(text: str) -> frozenset[str]:
    """Return the names of a text's gaps."""
    return frozenset(_GAP.findall(text))


# ---------------------------------------------------------------- catalogues


@cache
def english() -> Language:
    """Return the language that has every text."""
    return _ready(_shipped("en"), {})


@lru_cache(maxsize=16)
def language(name: str) -> Language:
    """Return a shipped language by its tag, or the one in a file by its path.

    Raises DocumentError with every problem of the file, or when there is no such language.
    """
    if name == "en":
        return english()
    if name in SHIPPED:
        return _ready(_shipped(name), english().texts)
    path = Path(name)
    if not path.suffix:
        hint = f"{nearest_or_list(name, SHIPPED, what='shipped')}; or give the path of a language file"
        problem = Problem(file=path, line=0, column=0, where="", message="there is no such language", hint=hint)
        raise DocumentError([problem])
    return _ready(load(path, Catalogue, check=_check).value, english().texts)


def _shipped(tag: str) -> Catalogue:
    return shipped(tag).value


def shipped(tag: str) -> Loaded[Catalogue]:
    """Return a shipped catalogue as it is written."""
    with as_file(files("benchtest.language").joinpath(f"{tag}.yaml")) as path:
        return load(path, Catalogue, check=None if tag == "en" else _check)


def _check(catalogue: Catalogue, review: Review) -> None:
    """Refuse keys and gaps that no text of the paper has."""
    known = english().texts
    for key, text in catalogue.texts.items():
        if key not in known:
            review.say(("texts", key), f"the paper has no text {key!r}", nearest_or_list(key, known), key=True)
        elif strange := gaps_of(text) - gaps_of(known[key]):
            gaps = ", ".join(sorted(gaps_of(known[key]))) or "none"
            review.say(("texts", key), f"gap {{{min(strange)}}} is not one of this text's", f"its gaps: {gaps}")
    for key, text in catalogue.phrases.items():
        if strange := gaps_of(text) - gaps_of(key):
            review.say(("phrases", key), f"gap {{{min(strange)}}} is not in the English phrase", "take its names")


def _ready(catalogue: Catalogue, behind: Mapping[str, str]) -> Language:
    exact = {key: text for key, text in catalogue.phrases.items() if not _GAP.search(key)}
    longest_first = sorted((key for key in catalogue.phrases if key not in exact), key=_weight, reverse=True)
    return Language(
        tag=catalogue.tag,
        decimal=catalogue.decimal,
        day_pattern=catalogue.day,
        texts={**behind, **catalogue.texts},
        exact=exact,
        patterns=tuple(_Phrase(_pattern(key), catalogue.phrases[key]) for key in longest_first),
    )


def _weight(key: str) -> int:
    """Return how much of a phrase is fixed: the more, the sooner it is tried."""
    return len(_GAP.sub("", key))


def _pattern(key: str) -> re.Pattern[str]:
    parts = _GAP.split(key)
    fixed, names = parts[::2], parts[1::2]
    made = re.escape(fixed[0])
    for name, after in zip(names, fixed[1:], strict=True):
        inside = after.startswith(")") and made.endswith("\\(")
        made += f"(?P<{name}>{'[^()]' if inside else '.'}+?){re.escape(after)}"
    return re.compile(made, re.DOTALL)
