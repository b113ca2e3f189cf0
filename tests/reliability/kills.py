"""Kill -9 at random moments of whatever writes to the records, and the page about it.

    python -m tests.reliability.kills --write docs/records-kills.md

Does 1 000 kills on SQLite and 1 000 on PostgreSQL in some ten minutes. Each job runs in a process of its own that says
what has been acknowledged to it; after each kill everything that was acknowledged must be there, once and whole. This
shows what the death of a process does, not what a power cut does: a disk that acknowledges what it has not written is
beyond any program.
"""

import argparse
import os
import random
import select
import signal
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from time import perf_counter
from typing import Final

from tests.reliability.kill_jobs import JOBS, Depot, Job
from tests.servers.postgresql import served

SIDE_BY_SIDE: Final = 4
"""Jobs at once, each with records of its own: they wait for the disk more than they compute."""
LONGEST: Final = 10.0
"""Seconds until a job must have begun."""
HEAD: Final = """# Records under kill -9

The records were written to by a process of its own, which was killed (SIGKILL) at a random moment. Made by
`python -m tests.reliability.kills --write docs/records-kills.md`.

A kill has held when everything that was acknowledged before it is in the records, exactly once and whole; when what was
not acknowledged is either not there or whole; and when SQLite's own check of the file finds nothing. At the end of each
job what was left in queues and folders is brought in (`records sync`, `records rebuild`), and everything must be there
once. This shows what the death of a process does, not a power cut.

- **store**: a finished run is stored;
- **deliver**: a bench's queue is delivered to shared records (on SQLite: to a second file, by the same code);
- **withdraw**: certificates are withdrawn, one by one;
- **whole run**: `benchtest run` with a simulated board, from its start to its last line.

"""


@dataclass(kw_only=True)
class Row:
    """What came of one job on one kind of database."""

    database: str
    job: str
    kills: int = 0
    held: int = 0
    acknowledged: int = 0
    wrong: list[str] = field(default_factory=list)


def main(arguments: Sequence[str]) -> int:
    """Kill as often as asked, print the table, and write the page when asked to."""
    parser = argparse.ArgumentParser(description="Kills whatever writes to the records, at random moments.")
    parser.add_argument("--kills", type=int, default=1000, metavar="N", help="so many on each kind of database")
    parser.add_argument("--write", type=Path, metavar="FILE")
    asked = parser.parse_args(arguments)
    with served() as server, ProcessPoolExecutor(SIDE_BY_SIDE) as workers:
        urls = [server.new() if shared else "" for shared in (False, True) for _ in JOBS]
        kills = [round(asked.kills * job.share) for job in JOBS] * 2
        rows = list(workers.map(campaign, urls, [*range(len(JOBS))] * 2, kills))
    page = table(rows) + misses(rows)
    print(page)
    if asked.write is not None:
        asked.write.write_text(HEAD + page, encoding="utf-8")
    return int(any(row.wrong for row in rows))


def campaign(server: str, which: int, kills: int) -> Row:
    """Kill one of the jobs so many times on one database."""
    job, chance = JOBS[which], random.Random(which)
    row = Row(database="PostgreSQL" if server else "SQLite", job=job.name, kills=kills)
    with tempfile.TemporaryDirectory(prefix="kills-") as place:
        depot = Depot(place=Path(place), server=server)
        for number in range(kills):
            job.prepare(depot)
            said = killed(job, depot, number, after=chance.uniform(0, job.seconds), begun=bool(number % 4))
            wrong = job.check(depot, said)
            row.acknowledged += len(said)
            row.held += not wrong
            if wrong:
                row.wrong.append(f"{row.database}, {job.name}, kill {number}: {wrong}")
        if wrong := job.finish(depot):
            row.wrong.append(f"{row.database}, {job.name}, at the end: {wrong}")
    print(f"{row.database}, {row.job}: {row.kills} kills, {row.acknowledged} acknowledged", file=sys.stderr, flush=True)
    return row


def killed(job: Job, depot: Depot, number: int, *, after: float, begun: bool) -> list[str]:
    """Let a job work in a process of its own, kill it after so many seconds, and return what was acknowledged to it.

    With `begun`, the seconds count from when it has opened what it works on, else from its very beginning.
    """
    hear, say = os.pipe()
    child = os.fork()
    if child == 0:
        _work(job, depot, number, say)
    os.close(say)
    if begun:
        select.select([hear], [], [], LONGEST)
    heard = _heard(hear, until=perf_counter() + after)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    heard += _heard(hear, until=None)
    os.close(hear)
    *lines, _torn = heard.decode().split("\n")
    return [line for line in lines if line]


def _work(job: Job, depot: Depot, number: int, say: int) -> None:
    """Be the process that is killed; never returns."""
    try:
        with os.fdopen(say, "w", buffering=1, encoding="utf-8") as line:
            job.work(depot, number, lambda text: print(text, file=line))
        signal.pause()
    finally:
        os._exit(1)


def _heard(pipe: int, *, until: float | None) -> bytes:
    """Return what comes through a pipe until a moment, or until its other end is closed."""
    heard = b""
    while True:
        left = None if until is None else until - perf_counter()
        if left is not None and left <= 0:
            return heard
        ready, _, _ = select.select([pipe], [], [], left)
        if ready:
            more = os.read(pipe, 1 << 16)
            if not more and until is None:
                return heard
            if not more:
                select.select([], [], [], max(0.0, until - perf_counter()) if until is not None else 0)
                return heard
            heard += more


def table(rows: Sequence[Row]) -> str:
    """Return the table: kills, held, acknowledged, per job and database."""
    lines = ["| database | killed while | kills | held | acknowledged before a kill |", "|---|---|---|---|---|"]
    lines += [f"| {r.database} | {r.job} | {r.kills} | {r.held} | {r.acknowledged} |" for r in rows]
    kills, held, said = (sum(getattr(r, name) for r in rows) for name in ("kills", "held", "acknowledged"))
    return "\n".join([*lines, f"| both | all | {kills} | {held} | {said} |"]) + "\n"


def misses(rows: Sequence[Row]) -> str:
    """Return what did not hold, one line each."""
    wrong = [f"- {line}" for row in rows for line in row.wrong]
    return "\nNot held:\n\n" + "\n".join(wrong) + "\n" if wrong else "\nEvery kill held.\n"


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
