"""Whether a run folder still holds what a sealed paper is bound to: run file, journal, every recording."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchtest.canonical import digest, read_whole
from benchtest.errors import DocumentError
from benchtest.records.journal import read_journal


@dataclass(frozen=True, kw_only=True, slots=True)
class Held:
    """What was found of a paper's evidence."""

    files: int
    """Recordings and run file that were recomputed."""
    lines: int
    """Of the journal."""
    wrong: tuple[str, ...]
    """File and what is wrong with it; empty when everything is as bound."""


def hold_against(paper: Mapping[str, Any], folder: Path) -> Held:
    """Recompute what a sealed paper is bound to. Raises ValueError when it is bound to nothing."""
    bound: Any = paper.get("bound")
    try:
        files = {"run.json": str(bound["run"])} | {str(name): str(one) for name, one in bound["recordings"].items()}
        head = str(bound["journal"])
    except (KeyError, TypeError, AttributeError) as cause:
        raise ValueError("it is bound to no run") from cause
    wrong = [said for name, expected in files.items() if (said := _file(folder, name, expected))]
    lines, said = _journal(folder, head)
    return Held(files=len(files), lines=lines, wrong=(*wrong, *filter(None, [said])))


def _file(folder: Path, name: str, expected: str) -> str:
    path = folder / name
    if not path.resolve().is_relative_to(folder.resolve()):
        return f"{name}: lies outside the run folder"
    try:
        content = read_whole(path)
    except DocumentError:
        return f"{name}: is missing or cannot be read"
    return "" if digest(content) == expected else f"{name}: was changed"


def _journal(folder: Path, head: str) -> tuple[int, str]:
    try:
        found = read_journal(folder / "journal.jsonl")
    except DocumentError as problem:
        first = problem.problems[0]
        return 0, f"journal.jsonl{f', line {first.line}' if first.line else ''}: {first.message}"
    if found.head != head:
        return len(found.entries), "journal.jsonl: lines were added or cut off at its end"
    return len(found.entries), "journal.jsonl: its last line is torn" if found.torn else ""
