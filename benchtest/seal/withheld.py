"""A copy of a sealed paper without what its job says of somebody, which still proves everything else.

A part and its salt go together: what is left of the part is a digest that nobody can guess back. Only lines about the
job may go; a result or a caution that is missing makes a paper an altered one.
"""

import json
from collections.abc import Collection
from typing import Any

from benchtest.canonical import to_canonical
from benchtest.seal.examine import WITHHELD
from benchtest.seal.sealing import SEAL

JOB = WITHHELD.removesuffix("[")


def lines_of(paper: Any) -> list[str]:
    """Return the labels of the lines that may be withheld, in their order; empty where one is already."""
    lines = paper.get(JOB) or []
    return [str(line["label"]) if isinstance(line, dict) and "label" in line else "" for line in lines]


def place_of(path: str) -> int:
    """Return which line about the job, from 1, a path of a withheld part names."""
    return int(path.removeprefix(WITHHELD).removesuffix("]"))


def without(content: bytes, labels: Collection[str]) -> bytes:
    """Return a copy of a genuine paper without some lines about its job. Raises ValueError for a label it lacks."""
    paper = json.loads(content)
    known = lines_of(paper)
    missing = next((label for label in labels if label not in known), None)
    if missing is not None:
        raise ValueError(f"no line about the job is called {missing!r} (there are: {', '.join(filter(None, known))})")
    for place, label in enumerate(known, 1):
        if label in labels:
            paper[JOB][place - 1] = None
            del paper[SEAL]["salts"][f"{WITHHELD}{place}]"]
    return to_canonical(paper)
