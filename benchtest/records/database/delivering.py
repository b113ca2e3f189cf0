"""Delivering a bench's runs to the database that several benches share: each once, whatever happens in between.

A run is stored on the bench first, together with the note that it has yet to be delivered. It is delivered in one
transaction, and the note is taken away after that one is kept. Whoever is killed in between delivers it again, and the
server finds that it has it. What is told of a run while it is on its way keeps its note.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from threading import Thread

from sqlalchemy import delete, exists, func, insert, literal, select, update

from benchtest.clock import wall_time
from benchtest.errors import BenchtestError
from benchtest.records.database.opening import Records, Unreachable, open_server
from benchtest.records.database.record import here
from benchtest.records.database.storing import Stored, add_changes, load, store
from benchtest.records.database.tables import CERTIFICATE_CHANGES, OUTBOX, RUNS
from benchtest.records.notes import WITHDRAWN, Change, withdraw_papers


@dataclass(frozen=True, kw_only=True, slots=True)
class Delivered:
    """What became of one run that was to be delivered."""

    number: str
    stored: Stored | None
    """None when the server did not take it."""
    problem: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Waiting:
    run_id: int
    number: str
    news: int


def waiting(bench: Records) -> int:
    """Return how many runs have yet to be delivered."""
    with bench.reading() as connection:
        return int(connection.scalar(select(func.count()).select_from(OUTBOX)) or 0)


def queue_everything(bench: Records) -> None:
    """Note of every run that it has yet to be delivered: for a server that is new, or has lost something."""
    row = select(RUNS.c.id, literal(wall_time(), OUTBOX.c.queued.type), literal(1), literal(0), literal(""))
    missing = row.where(~exists().where(OUTBOX.c.run_id == RUNS.c.id))
    with bench.writing() as connection:
        connection.execute(insert(OUTBOX).from_select(["run_id", "queued", "news", "attempts", "problem"], missing))


def deliver(
    bench: Records,
    server: Records,
    *,
    told: Callable[[Delivered], None] = lambda _: None,
    enough: Callable[[], bool] = lambda: False,
) -> None:
    """Deliver what waits, the oldest first, until all is delivered or it is `enough`.

    A run that the server will not take stays, with the reason, and the next is tried. Raises Unreachable when the
    server is lost; what has been delivered by then is delivered.
    """
    for one in _queue(bench):
        if enough():
            return
        try:
            done = _deliver_one(bench, server, one)
        except Unreachable:
            raise
        except (BenchtestError, ValueError) as problem:
            _note(bench, one, str(problem))
            told(Delivered(number=one.number, stored=None, problem=str(problem)))
        else:
            told(Delivered(number=one.number, stored=done))


def _queue(bench: Records) -> Sequence[_Waiting]:
    wanted = select(OUTBOX.c.run_id, RUNS.c.number, OUTBOX.c.news).join(RUNS, RUNS.c.id == OUTBOX.c.run_id)
    with bench.reading() as connection:
        rows = connection.execute(wanted.order_by(OUTBOX.c.attempts, OUTBOX.c.run_id)).all()
    return [_Waiting(run_id=row.run_id, number=row.number, news=row.news) for row in rows]


def _deliver_one(bench: Records, server: Records, one: _Waiting) -> Stored:
    with bench.reading() as connection:
        record = load(connection, one.run_id)
    with server.writing() as connection:
        done = store(connection, record)
    with bench.writing() as connection:
        connection.execute(delete(OUTBOX).where(OUTBOX.c.run_id == one.run_id, OUTBOX.c.news == one.news))
    return done


def _note(bench: Records, one: _Waiting, problem: str) -> None:
    values = {"attempts": OUTBOX.c.attempts + 1, "problem": problem}
    with bench.writing() as connection:
        connection.execute(update(OUTBOX).where(OUTBOX.c.run_id == one.run_id).values(values))


def fetch_changes(bench: Records, server: Records, root: Path) -> int:
    """Take over what the server knows of this bench's certificates, here and in their run folders; return how much."""
    wanted = select(RUNS.c.identity, CERTIFICATE_CHANGES).join(RUNS, RUNS.c.id == CERTIFICATE_CHANGES.c.run_id)
    with server.reading() as connection:
        rows = connection.execute(wanted).all()
    news = 0
    with bench.writing() as connection:
        for row in rows:
            there = connection.execute(select(RUNS.c.id, RUNS.c.folder).where(RUNS.c.identity == row.identity)).first()
            if there is None:
                continue
            names = ("key", "status", "reason", "by", "at", "replaced_by")
            change = Change(**{name: getattr(row, name) for name in names})
            if add_changes(connection, there.id, [change]):
                news += 1
                if change.status == WITHDRAWN:
                    withdraw_papers(here(there.folder, root), change)
    return news


def deliver_within(bench: Records, url: str, seconds: float) -> str:
    """Deliver what waits, for so long and no longer; return why not all of it was, or nothing.

    It works beside the caller, who waits for it no longer than that: a server that has gone without a word can hold a
    connection for minutes, and a name that nobody resolves as well. What is on its way then is not lost by being left.
    """
    said: list[str] = []
    left: list[bool] = []

    def work() -> None:
        try:
            with open_server(url) as server:
                deliver(bench, server, enough=lambda: bool(left))
        except (BenchtestError, OSError, ValueError) as problem:
            said.append(str(problem))
        else:
            said.append("")

    worker = Thread(target=work, daemon=True, name="deliver runs")
    worker.start()
    worker.join(seconds)
    left.append(True)
    return said[0] if said else f"the server has not answered within {seconds:.0f} s"
