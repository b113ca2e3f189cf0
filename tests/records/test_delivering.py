"""A bench and the server that it shares with others: every run arrives, once, and no test waits for it."""

import json
import socket
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from time import perf_counter

import pytest
from sqlalchemy import select, text

from benchtest.records.database.delivering import Delivered, deliver, deliver_within, waiting
from benchtest.records.database.opening import Records, Unreachable, open_file, open_server
from benchtest.records.database.storing import store
from benchtest.records.database.tables import OUTBOX, RUNS
from tests.records.depot import CARWASH, Said, count, like, rows
from tests.servers.postgresql import Server


def test_a_bench_without_its_server_keeps_its_runs_and_delivers_them_once(bench: Records, postgresql: Server) -> None:
    """Nobody listens at first; then all ten arrive, once, however often they are delivered."""
    with socket.socket() as nobody:
        nobody.bind(("127.0.0.1", 0))
        why = deliver_within(bench, f"postgresql+psycopg://x@127.0.0.1:{nobody.getsockname()[1]}/x", 3)
    assert "refused" in why
    assert 10 == waiting(bench)

    with open_server(postgresql.new()) as server:
        for _ in range(2):
            deliver(bench, server)
        assert (10, 0) == (count(server), waiting(bench))


def test_a_server_that_never_answers_is_not_waited_for(bench: Records) -> None:
    """It takes the connection and says nothing; the bench goes on after the time that it has."""
    with socket.create_server(("127.0.0.1", 0)) as silent:
        begin = perf_counter()
        why = deliver_within(bench, f"postgresql+psycopg://x@127.0.0.1:{silent.getsockname()[1]}/x", 0.3)
        took = perf_counter() - begin

    assert "has not answered within" in why
    assert took < 1.5
    assert 10 == waiting(bench)


def test_two_syncs_at_once_deliver_each_run_once(bench: Records, postgresql: Server, tmp_path: Path) -> None:
    """Each with connections of its own, as two processes have."""
    url = postgresql.new()

    def sync(_: int) -> None:
        with open_file(tmp_path / "bench.sqlite") as mine, open_server(url) as server:
            deliver(mine, server)

    with ThreadPoolExecutor(3) as several:
        list(several.map(sync, range(3)))
    with open_server(url) as server:
        assert (10, 0) == (count(server), waiting(bench))


def test_a_run_that_the_server_refuses_holds_up_no_other(bench: Records, postgresql: Server) -> None:
    """One has another content there; it stays in the queue with the reason, the rest is delivered."""
    with open_server(postgresql.new()) as server:
        with server.writing() as connection:
            store(connection, like(4, run_digest="99" * 32))
        told: list[Delivered] = []
        deliver(bench, server, told=told.append)

        assert ["N-4"] == [one.number for one in told if one.stored is None]
        assert (10, 1) == (count(server), waiting(bench))
    with bench.reading() as connection:
        assert "another content" in str(connection.scalar(select(OUTBOX.c.problem)))


def test_news_that_come_while_a_run_is_on_its_way_are_not_lost(bench: Records, tmp_path: Path) -> None:
    """Something is added between the server's yes and the bench's note: the run waits on."""
    later = like(0, resumed=1, run_digest="55" * 32)

    def goes_on(one: Delivered) -> None:
        if one.number == "N-0":
            with bench.writing() as connection:
                store(connection, later, queue=True)

    with open_file(tmp_path / "shared.sqlite") as shared:
        deliver(bench, shared, told=goes_on)
        assert 1 == waiting(bench)
        deliver(bench, shared)
        with shared.reading() as connection:
            digests = set(connection.scalars(select(RUNS.c.run_digest).where(RUNS.c.number == "N-0")))
    assert ({later.run_digest}, 0) == (digests, waiting(bench))


def test_a_lost_connection_is_replaced(postgresql: Server) -> None:
    """The server drops an idle connection; the next question does not notice."""
    url = postgresql.new()
    with open_server(url) as server, open_server(url) as other:
        with server.reading() as connection:
            mine = connection.scalar(text("SELECT pg_backend_pid()"))
        with other.writing() as connection:
            assert connection.scalar(text("SELECT pg_terminate_backend(:mine)"), {"mine": mine})
        assert 0 == count(server)


def test_a_run_is_judged_whatever_becomes_of_the_server(benchtest: Said, tmp_path: Path, postgresql: Server) -> None:
    """Exit code 0 with a server that is not there, words that it waits; the next run takes both along."""
    with socket.socket() as nobody:
        nobody.bind(("127.0.0.1", 0))
        away = f"postgresql://x@127.0.0.1:{nobody.getsockname()[1]}/x"
        code, _, said = benchtest(*CARWASH, "--serial", "A", "--runs", tmp_path, "--records", away)
    assert (0, True) == (code, "1 run waits for the server of the records" in said)
    assert "records sync" in said

    there = postgresql.new()
    code, printed, _ = benchtest(*CARWASH, "--serial", "A", "--runs", tmp_path, "--records", there, "--json")
    assert (0, 0) == (code, json.loads(printed)["records"]["waiting"])
    assert 2 == len(rows(benchtest("records", "list", "--records", there, "--format", "json")))


def test_the_site_file_names_the_server_for_all_benches(
    benchtest: Said, tmp_path: Path, postgresql: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without an option a run is delivered there, and asked for there."""
    site = tmp_path / "site.yaml"
    depot = "depot: {name: Lock Lane Board Repair}"
    site.write_text(f"format: benchtest-site/1\n{depot}\nrecords: {postgresql.new()}\n", encoding="utf-8")
    benchtest(*CARWASH, "--serial", "A", "--runs", tmp_path / "runs", "--site", site, "--json")
    monkeypatch.setenv("BENCHTEST_SITE", str(site))

    assert ["A"] == [row["serial"] for row in rows(benchtest("records", "list", "--format", "json"))]


def test_a_password_is_never_shown(postgresql: Server) -> None:
    """Neither in the name of the records nor in what is said of a failure."""
    url = postgresql.new().replace("postgres@", "postgres:s3cret@")
    with open_server(url) as server:
        assert "s3cret" not in server.name
    with pytest.raises(Unreachable) as lost:
        open_server(url.rsplit("/", 1)[0] + "/nowhere")
    assert "s3cret" not in str(lost.value)
    assert "nowhere" in str(lost.value)
