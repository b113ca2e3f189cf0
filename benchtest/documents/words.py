"""Hints made of words: the nearest valid one, and the list to choose from."""

from collections.abc import Iterable
from difflib import get_close_matches

LONGEST_LIST = 24
"""Names in a hint; beyond that a reader looks into the document anyway."""


def choices(names: Iterable[object]) -> str:
    """Return the names as a list for a sentence; `none` when there are none."""
    words = [str(name) for name in names]
    more = f" and {len(words) - LONGEST_LIST} more" if len(words) > LONGEST_LIST else ""
    return (", ".join(words[:LONGEST_LIST]) + more) or "none"


def nearest(word: object, names: Iterable[object]) -> str | None:
    """Return the one of `names` that looks most like `word`, or None when none does."""
    by_case = {str(name).casefold(): str(name) for name in names}
    found = get_close_matches(str(word).casefold(), by_case, n=1, cutoff=0.5)
    return by_case[found[0]] if found else None


def nearest_or_list(word: object, names: Iterable[object], *, what: str = "known") -> str:
    """Return a hint: the nearest of `names`, and all of them."""
    known = tuple(names)
    close = nearest(word, known)
    listed = f"{what}: {choices(known)}"
    return f"nearest {close}; {listed}" if close is not None else listed
