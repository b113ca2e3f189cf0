"""Asking a bench what is on without disturbing it."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from benchtest.adapters.glance import glance_scpi
from benchtest.errors import AdapterMissing
from tests.server.greenhouse_served import served_greenhouse
from tests.simulator.stand import BENCH

ADAPTER = BENCH.fixture.adapters["io"].model_copy(update={"driver": "scpi", "identity": "Benchtest,Virtual bench"})


@contextmanager
def answering(active: str) -> Iterator[tuple[str, list[str]]]:
    """A small peer on TCP that says which outputs are active, and keeps every line that it was sent."""
    lines: list[str] = []
    answers = {"*IDN?": "Benchtest,Virtual bench,1,1", ":OUTPut:ACTive?": active, ":SYST:ERR:ALL?": '0,"No error"'}

    def serve(door: socket.socket) -> None:
        connection, _ = door.accept()
        with connection, connection.makefile("r", encoding="ascii", newline="\n") as coming:
            for line in coming:
                units = [unit.strip() for unit in line.strip().split(";")]
                lines.extend(filter(None, units))
                if any(units):
                    told = [answers.get(unit, unit.partition(":SYST:ECHO? ")[2]) for unit in units]
                    connection.sendall((";".join(told) + "\n").encode())

    with socket.create_server(("127.0.0.1", 0)) as door:
        thread = threading.Thread(target=serve, args=(door,))
        thread.start()
        yield f"socket://127.0.0.1:{door.getsockname()[1]}", lines
        thread.join(5)


def test_a_bench_at_rest_says_that_nothing_is_on() -> None:
    """Over a pseudo-terminal against the served bench."""
    with served_greenhouse(None) as port:
        assert frozenset() == glance_scpi(ADAPTER, port, BENCH.fixture.limits)


def test_another_adapter_is_not_asked_further() -> None:
    """Its name and the name that was expected are said."""
    other = ADAPTER.model_copy(update={"identity": "Another,Adapter"})
    with served_greenhouse(0) as port, pytest.raises(AdapterMissing, match="Another,Adapter"):
        glance_scpi(other, port, BENCH.fixture.limits)


def test_asking_resets_and_switches_nothing() -> None:
    """What is on is told, and every unit that was sent is a question."""
    with answering("(@104,201)") as (port, lines):
        assert {104, 201} == glance_scpi(ADAPTER, port, BENCH.fixture.limits)

    assert {"*IDN?", ":OUTPut:ACTive?"} <= set(lines)
    assert all("?" in line for line in lines)
