"""What is killed: jobs that write to the records, and how each is looked at afterwards."""

import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from hashlib import sha256
from importlib import import_module
from pathlib import Path
from time import perf_counter
from typing import Final, Protocol

from sqlalchemy import func, select

from benchtest.cli import entry
from benchtest.records.database.delivering import deliver, waiting
from benchtest.records.database.opening import Records, open_file, open_server
from benchtest.records.database.questions import find_runs, runs_of_number
from benchtest.records.database.rebuilding import rebuild
from benchtest.records.database.record import Record, read_record
from benchtest.records.database.storing import load, store
from benchtest.records.database.tables import CERTIFICATE_CHANGES, RUNS
from benchtest.records.database.withdrawing import withdraw
from benchtest.records.folder import write_run
from tests.records.finished import finished_run

ROOT: Final = Path(__file__).parents[2]
Say = Callable[[str], None]
BEGUN: Final = ""
"""What a job says when it has opened what it works on."""
BATCH: Final = 30
"""Runs that lie ready for a job."""


@dataclass
class Depot:
    """Where the records of one campaign are."""

    place: Path
    server: str
    """URL of shared records; empty where everything is SQLite."""
    made: int = 0

    @cached_property
    def pattern(self) -> Record:
        """A run whose likes are stored."""
        folder = self.place / "pattern"
        folder.mkdir()
        write_run(folder, finished_run(welded=7))
        return read_record(folder)

    def like(self, number: str) -> Record:
        """Return a run of its own, by number."""
        identity = sha256(number.encode()).hexdigest()
        return replace(self.pattern, number=number, identity=identity, serial=f"S-{len(number)}", paper="certificate")

    @property
    def bench(self) -> Path:
        """The bench's own records."""
        return self.place / "bench.sqlite"

    def open_shared(self) -> Records:
        """Open the records that are written to: the server, or a file."""
        return open_server(self.server) if self.server else open_file(self.place / "shared.sqlite")

    def fresh(self) -> Iterator[Record]:
        """Yield a batch of runs that nobody has seen yet."""
        for _ in range(BATCH):
            self.made += 1
            yield self.like(f"made-{self.made}")


class Job(Protocol):
    """Something that is killed."""

    name: str
    share: float
    """Of all kills."""
    seconds: float
    """After which it is killed at the latest."""

    def prepare(self, depot: Depot) -> None:
        """Lay ready what it works on."""

    def work(self, depot: Depot, number: int, say: Say, /) -> None:
        """Work, and say what was acknowledged."""

    def check(self, depot: Depot, said: Sequence[str]) -> str:
        """Return what is wrong after a kill, or nothing."""

    def finish(self, depot: Depot) -> str:
        """Bring in what was left, and return what is wrong then."""


def wrong_in(records: Records, depot: Depot, numbers: Sequence[str], *, must: bool) -> str:
    """Return what is wrong with the runs of these numbers: not there although they `must`, twice, or not whole."""
    with records.reading() as connection:
        for number in numbers:
            ids = connection.scalars(select(RUNS.c.id).where(RUNS.c.number == number)).all()
            if len(ids) > 1 or (must and not ids):
                return f"{number} is there {len(ids)} times"
            if ids and load(connection, ids[0]) != depot.like(number):
                return f"{number} is not whole"
    return _sound(records)


def _sound(records: Records) -> str:
    if records.on_server:
        return ""
    with records.reading() as connection:
        found = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar()
    return "" if found == "ok" else f"the file is damaged: {found}"


class Store:
    """A finished run is stored, one after the other."""

    name, share, seconds = "store", 0.35, 0.6

    def prepare(self, depot: Depot) -> None:
        assert depot.pattern

    def work(self, depot: Depot, number: int, say: Say, /) -> None:
        with depot.open_shared() as records:
            say(BEGUN)
            for count in range(1000):
                name = f"store-{number}-{count}"
                with records.writing() as connection:
                    store(connection, depot.like(name))
                say(name)

    def check(self, depot: Depot, said: Sequence[str]) -> str:
        following = []
        if said:
            head, _, count = said[-1].rpartition("-")
            following = [f"{head}-{int(count) + 1}"]
        with depot.open_shared() as records:
            return wrong_in(records, depot, said, must=True) or wrong_in(records, depot, following, must=False)

    def finish(self, depot: Depot) -> str:
        with depot.open_shared() as records, records.reading() as connection:
            twice = select(RUNS.c.number).group_by(RUNS.c.number).having(func.count() > 1)
            found = connection.scalars(twice).all()
            for run_id in connection.scalars(select(RUNS.c.id)).all():
                load(connection, run_id)
        return f"twice: {found}" if found else ""


class Deliver:
    """A bench's queue is delivered."""

    name, share, seconds = "deliver", 0.35, 0.6

    def prepare(self, depot: Depot) -> None:
        with open_file(depot.bench) as bench:
            if waiting(bench) >= BATCH:
                return
            with bench.writing() as connection:
                for record in depot.fresh():
                    store(connection, record, queue=True)

    def work(self, depot: Depot, _number: int, say: Say, /) -> None:
        with open_file(depot.bench) as bench, depot.open_shared() as shared:
            say(BEGUN)
            deliver(bench, shared, told=lambda one: say(one.number))

    def check(self, depot: Depot, said: Sequence[str]) -> str:
        with open_file(depot.bench) as bench, depot.open_shared() as shared:
            return wrong_in(shared, depot, said, must=True) or _sound(bench)

    def finish(self, depot: Depot) -> str:
        every = [f"made-{count}" for count in range(1, depot.made + 1)]
        with open_file(depot.bench) as bench, depot.open_shared() as shared:
            deliver(bench, shared)
            left = waiting(bench)
            return f"{left} still wait" if left else wrong_in(shared, depot, every, must=True)


class Withdraw:
    """Certificates are withdrawn, one by one."""

    name, share, seconds = "withdraw", 0.15, 0.6

    def prepare(self, depot: Depot) -> None:
        with depot.open_shared() as records, records.writing() as connection:
            self._ready = [record.number for record in depot.fresh() if store(connection, record)]

    def work(self, depot: Depot, _number: int, say: Say, /) -> None:
        with depot.open_shared() as records:
            say(BEGUN)
            for one in self._ready:
                with records.reading() as connection:
                    runs = runs_of_number(connection, one)
                withdraw(records, runs, root=depot.place, reason="found unfit", by="Q. Person")
                say(one)

    def check(self, depot: Depot, said: Sequence[str]) -> str:
        counted = (
            select(RUNS.c.number, func.count())
            .join(CERTIFICATE_CHANGES, CERTIFICATE_CHANGES.c.run_id == RUNS.c.id)
            .where(RUNS.c.number.in_(self._ready))
            .group_by(RUNS.c.number)
        )
        with depot.open_shared() as records:
            with records.reading() as connection:
                found = {row[0]: row[1] for row in connection.execute(counted)}
            wrong = [
                number for number in self._ready if found.get(number, 0) not in ({1} if number in said else {0, 1})
            ]
            return f"withdrawn otherwise than once: {wrong}" if wrong else _sound(records)

    def finish(self, depot: Depot) -> str:
        return self.check(depot, ())


class WholeRun:
    """`benchtest run`, from its start to its last line."""

    name, share = "whole run", 0.15
    seconds = 0.0
    """Measured before the first kill: a tenth more than a run takes here and now."""

    def prepare(self, depot: Depot) -> None:
        """Load what a run needs, once for all that are killed."""
        for name in ("cli.run", "certificate", "self_check", "records.junit", "records.database.keeping"):
            import_module(f"benchtest.{name}")
        if not self.seconds:
            begin = perf_counter()
            if os.fork() == 0:
                try:
                    self.work(depot, 0, lambda _: None)
                finally:
                    os._exit(0)
            os.wait()
            self.seconds = 1.1 * (perf_counter() - begin)

    def work(self, depot: Depot, number: int, say: Say, /) -> None:
        say(BEGUN)
        read, write = os.pipe()
        os.dup2(write, sys.stdout.fileno())
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stderr.fileno())
        place = ["--runs", str(depot.place / "runs"), *(["--records", depot.server] if depot.server else [])]
        words = ["profiles/carwash.yaml", "--fixture", "fixtures/simulated.yaml", "--serial", f"KILL-{number % 5}"]
        os.chdir(ROOT)
        os.environ.pop("BENCHTEST_RECORDS", None)
        os.environ["BENCHTEST_STATION"] = str(depot.place / "station")
        entry(["run", *words, "--json", *place])
        sys.stdout.flush()
        summary = json.loads(os.read(read, 1 << 16))
        say(f"{summary['number']} {summary['records']['waiting']}")

    def check(self, depot: Depot, said: Sequence[str]) -> str:
        for line in said:
            number, waits = line.split()
            with open_file(depot.place / "runs" / "records.sqlite") as bench, bench.reading() as connection:
                if len(runs_of_number(connection, number)) != 1:
                    return f"{number} is not there once"
            if depot.server and waits == "0":
                with depot.open_shared() as shared, shared.reading() as connection:
                    if len(runs_of_number(connection, number)) != 1:
                        return f"{number} is not on the server once"
        return ""

    def finish(self, depot: Depot) -> str:
        root = depot.place / "runs"
        finished = [path for path in root.glob("*/run.json") if (path.parent / "journal.jsonl").exists()]
        with open_file(root / "records.sqlite") as bench:
            damaged = [one.reason for one in rebuild(bench, root, queue=True) if one.damaged]
            with bench.reading() as connection:
                here = {Path(run.folder).name for run in find_runs(connection, "KILL-", limit=10_000)}
            if damaged or here != {path.parent.name for path in finished}:
                return f"{len(here)} of {len(finished)} finished runs; {damaged[:1]}"
            if not depot.server:
                return _sound(bench)
            with depot.open_shared() as shared:
                deliver(bench, shared)
                with shared.reading() as connection:
                    there = [Path(run.folder).name for run in find_runs(connection, "KILL-", limit=10_000)]
        return "" if sorted(there) == sorted(here) else f"{len(there)} on the server of {len(here)}"


JOBS: Final[tuple[Job, ...]] = (Store(), Deliver(), Withdraw(), WholeRun())
