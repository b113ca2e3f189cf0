"""The script of two profiles: which steps came, went, changed, or stand in another place.

Steps have no names. One stands for another when it says the same; else when it is the next of its kind that asks for
the same situation. What is left was added or removed: less is looked at, or more.
"""

from collections.abc import Iterable, Iterator

from benchtest.profile.script import (
    Exercise,
    Given,
    Loss,
    PowerUp,
    ReadCode,
    ReadLamps,
    Step,
    TryInterlocks,
)
from benchtest.revision.change import LOOSER, NEUTRAL, TIGHTER, Change, listed
from benchtest.revision.sections import fields

Steps = tuple[Step, ...]


def step_changes(old: Steps, new: Steps) -> Iterator[Change]:
    """Yield what the script says differently."""
    pairs = _paired(old, new)
    gone = [place for place in range(len(old)) if place not in pairs]
    taken = set(pairs.values())
    come = [place for place in range(len(new)) if place not in taken]
    for place in gone:
        text = told(old[place])
        yield Change(sentence=f"step removed: {text}", direction=LOOSER, keys=("steps", place), removed=True, old=text)
    for place in come:
        text = told(new[place])
        yield Change(sentence=f"step added: {text}", direction=TIGHTER, keys=("steps", place), new=text)
    for was, now in pairs.items():
        yield from fields(f"step {_head(new[now])}", ("steps", now), old[was], new[now])
    order = [now for _, now in sorted(pairs.items())]
    for place in _out_of_order(order):
        yield Change(sentence=f"step in another place: {told(new[place])}", direction=NEUTRAL, keys=("steps", place))


def _paired(old: Steps, new: Steps) -> dict[int, int]:
    """Return places of old steps and of the new ones that stand for them."""
    pairs: dict[int, int] = {}
    for alike in (lambda one, other: one == other, lambda one, other: _kin(one) == _kin(other)):
        for was, step in enumerate(old):
            if was not in pairs:
                free = (now for now, other in enumerate(new) if now not in pairs.values() and alike(step, other))
                found = next(free, None)
                if found is not None:
                    pairs[was] = found
    return pairs


def _kin(step: Step) -> tuple[object, ...]:
    """Return what two steps must share for one to be a changed other."""
    match step:
        case ReadCode() | ReadLamps():
            return step.step, _given(step.given), step.variant, step.option
        case Loss():
            return step.step, step.of, step.variant, step.option
    return step.step, step.variant, step.option


def _out_of_order(order: list[int]) -> list[int]:
    """Return the fewest places that must be moved to make the others rise: those beside a longest rising row."""
    rows: list[list[int]] = []
    for place in order:
        rows.append([*_longest(row for row in rows if row[-1] < place), place])
    kept = set(_longest(rows))
    return [place for place in order if place not in kept]


def _longest(rows: Iterable[list[int]]) -> list[int]:
    return max([[], *rows], key=len)


def told(step: Step) -> str:
    """Return a step in a few words, with what it looks at."""
    match step:
        case PowerUp():
            what = f" of {listed(step.supplies)}"
        case Exercise():
            what = f" {listed(step.relays)}{f', {step.again} times more' if step.again else ''}"
        case ReadLamps():
            lamps = [*(f"{lamp} lit" for lamp in step.lit), *(f"{lamp} dark" for lamp in step.dark)]
            what = f", {_given(step.given)}: {listed(lamps)}"
        case ReadCode():
            what = f", {_given(step.given)}: {listed(f'{lamp} reads {code}' for lamp, code in step.reads.items())}"
        case TryInterlocks():
            what = f": {listed(step.names)}"
        case Loss():
            what = f" of {step.of}{f', with {listed(step.energised)} energised' if step.energised else ''}"
        case _:
            what = ""
    whose = " ".join(filter(None, [step.variant, step.option]))
    return f"{step.step}{what}{f' ({whose} only)' if whose else ''}"


def _head(step: Step) -> str:
    """Return what tells a step from others of its kind."""
    match step:
        case ReadLamps() | ReadCode():
            return f"{step.step}, {_given(step.given)},"
        case Loss():
            return f"{step.step} of {step.of}"
    return step.step


def _given(given: Given) -> str:
    parts = [f"{name} {state}" for name, state in given.inputs.items()]
    parts += [f"{relay} energised" for relay in given.energised]
    parts += ["link silent"] if given.link == "silent" else []
    return listed(parts) or "at rest"
