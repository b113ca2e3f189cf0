"""Many trials, side by side on all processors, each kept as soon as it has ended.

Trials that were made before, by the same software on the same profile and fixture, are taken from where they are kept;
so work that was interrupted goes on where it stood, and a second question costs nothing.
"""

import gc
import hashlib
import json
import math
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import suppress
from dataclasses import asdict, dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import benchtest
from benchtest.canonical import digest, to_canonical
from benchtest.faults import STEADY, possible
from benchtest.studies.trial import Subject, Trial, Tried, seed_of, try_one

Progress = Callable[[int, int], None]
"""Told how many trials have ended, and of how many."""
CHUNK: Final = 8
"""Trials that a worker takes at a time."""
ACTS: Final = (
    "simulator", "faults", "judge", "signals", "metrology", "rig",
    "perform", "diagnose/symptoms.py", "studies/trial.py",
)  # fmt: skip
"""Parts of this software on which the outcome of a trial depends."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Stock:
    """Where the trials of one subject are kept."""

    path: Path
    key: str
    """Hash of everything that they depend on."""

    def load(self) -> dict[str, Tried]:
        """Return what is kept, by the trial's name; what cannot be read is left out, since it can be made again."""
        found: dict[str, Tried] = {}
        try:
            text = self.path.read_text(encoding="utf-8", errors="replace")
        except OSError:
            return found
        for line in text.splitlines():
            with suppress(ValueError, KeyError, TypeError):
                one = Tried.from_json(json.loads(line, parse_constant=float))
                found[one.trial.name] = one
        return found

    def add(self, tried: Iterable[Tried]) -> None:
        """Keep some more."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        text = "".join(json.dumps(one.to_json(), ensure_ascii=False) + "\n" for one in tried)
        with self.path.open("a", encoding="utf-8") as file:
            file.write(text)


def stock(subject: Subject, folder: Path) -> Stock:
    """Return where the trials of a subject are kept below a folder: by what they depend on, software included."""
    about = [
        digest(to_canonical(asdict(subject.procedure.unplaced()))),
        subject.fixture.model_dump_json(),
        benchtest.__version__,
        _acts(),
    ]
    profile = subject.fitted.profile.model_dump_json()
    key = hashlib.sha256("\n".join([*about, profile]).encode()).hexdigest()
    return Stock(path=folder / f"{subject.procedure.part}-{key[:16]}.jsonl", key=key)


def _acts() -> str:
    """Return a hash of the code that decides what comes of a trial."""
    whole = hashlib.sha256()
    root = Path(str(files("benchtest")))
    for part in ACTS:
        place = root / part
        for path in sorted(place.rglob("*.py")) if place.is_dir() else [place]:
            whole.update(path.read_bytes())
    return whole.hexdigest()


def all_trials(subject: Subject, *, good: int, boards: int, base: int) -> list[Trial]:
    """Return so many good boards, and so many boards of every single fault, with seeds that follow from `base`."""
    sound = [Trial(faults=(), seed=seed_of((), number, base)) for number in range(good)]
    faulty = [
        Trial(faults=(fault.text,), seed=seed_of((fault.text,), number, base))
        for fault in possible(subject.fitted)
        for number in range(boards)
    ]
    return [*sound, *faulty]


GOOD: Final = 10
"""Good boards that a library is learned from."""
BOARDS: Final = 3
"""Boards of every fault that it is learned from, where they differ."""


def to_learn_from(subject: Subject) -> list[Trial]:
    """Return the trials of a library of faults; of a fault that looks the same on every board, one is enough."""
    steady = {fault.text for fault in possible(subject.fitted) if fault.kind in STEADY}
    seen: set[str] = set()
    chosen = []
    for trial in all_trials(subject, good=GOOD, boards=BOARDS, base=0):
        if trial.faults and trial.faults[0] in steady & seen:
            continue
        seen.update(trial.faults)
        chosen.append(trial)
    return chosen


def carry_out(
    subject: Subject,
    trials: Sequence[Trial],
    *,
    kept: Stock | None = None,
    jobs: int | None = None,
    scheduler: str = "",
    progress: Progress = lambda _done, _of: None,
) -> list[Tried]:
    """Return what came of every trial, in their order; those that are kept are not made again.

    `jobs` processes work side by side, by default one on each processor; a Dask `scheduler` address takes their place
    (extra `cluster`). Raises ImportError when that extra is not there.
    """
    found = kept.load() if kept is not None else {}
    open_ = [trial for trial in trials if trial.name not in found]
    done = len(trials) - len(open_)
    progress(done, len(trials))
    for some in _made(subject, open_, jobs or len(os.sched_getaffinity(0)), scheduler):
        if kept is not None:
            kept.add(some)
        found |= {one.trial.name: one for one in some}
        done += len(some)
        progress(done, len(trials))
    return [found[trial.name] for trial in trials]


def _made(subject: Subject, trials: Sequence[Trial], jobs: int, scheduler: str) -> Iterator[list[Tried]]:
    """Yield what came of the trials, some at a time, in their order."""
    size = max(1, min(CHUNK, math.ceil(len(trials) / max(jobs, 1) / 4)))
    chunks = [trials[place : place + size] for place in range(0, len(trials), size)]
    if scheduler:
        yield from _on_a_cluster(subject, chunks, scheduler)
    elif jobs == 1 or len(chunks) < 2:
        yield from (_some(subject, chunk) for chunk in chunks)
    else:
        with ProcessPoolExecutor(jobs, initializer=_take, initargs=(subject,)) as pool:
            try:
                yield from pool.map(_mine, chunks)
            except BaseException:
                pool.shutdown(wait=False, cancel_futures=True)
                raise


def _on_a_cluster(subject: Subject, chunks: Sequence[Sequence[Trial]], scheduler: str) -> Iterator[list[Tried]]:
    from distributed import Client  # noqa: PLC0415 - an extra that few need

    with Client(scheduler) as client:
        sent = client.scatter(subject, broadcast=True)
        futures: list[Any] = [client.submit(_some, sent, chunk, pure=False) for chunk in chunks]
        for future in futures:
            yield future.result()


def _some(subject: Subject, trials: Sequence[Trial]) -> list[Tried]:
    return [try_one(subject, trial) for trial in trials]


_SUBJECT: list[Subject] = []
"""What this worker process studies: sent once, not with every trial."""


def _take(subject: Subject) -> None:
    _SUBJECT[:] = [subject]
    gc.freeze()  # all that is loaded by now stays, and need not be looked through again and again


def _mine(trials: Sequence[Trial]) -> list[Tried]:
    return _some(_SUBJECT[0], trials)
