"""Whether every recording ends in good time: a slip of the pen in a duration shows before the board has power."""

from collections.abc import Iterable
from typing import Final

from benchtest.plan.timeline import Draft
from benchtest.procedure import Record, Step

HOUR: Final = 3600.0
"""Seconds; what a step would watch for longer than this, on any bench, is taken for a slip of the pen."""


def too_long(script: Iterable[tuple[int, Step]], draft: Draft, longest: float) -> list[str]:
    """Return a sentence for every recording longer than `longest` seconds; steps come with their numbers."""
    return [
        f"{draft.place_in_step(number)}: {step.title}: a recording of {move.duration:.10g} s, and this bench makes "
        f"none of more than {longest:g} s (shorten the times that the step waits for)".removeprefix(": ")
        for number, step in script
        for move in step.moves
        if isinstance(move, Record) and not move.duration <= longest
    ]
