"""The car-wash board behind the shipped poor benches, served in real time by a thread of this process."""

import io
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from benchtest.cli.documents import Prepared, prepare
from benchtest.clock import RealClock
from benchtest.simulator.scene import Scene
from benchtest.simulator.served_board import open_sides
from benchtest.simulator.server import SceneClock, serve_sides

ROOT = Path(__file__).parents[2]
CLOCK = RealClock()


@dataclass
class Served:
    """A board being served."""

    prepared: Prepared
    scene: Scene
    ports: dict[str, str] = field(default_factory=dict)
    die: Callable[[], None] = lambda: None
    """Ends the server and closes its doors."""


@contextmanager
def served(prepared: Prepared, tcp: int | None = None) -> Iterator[Served]:
    """Serve a prepared board, on pseudo-terminals or on TCP."""
    link = prepared.procedure.link
    scene = Scene(
        fitted=prepared.fitted,
        harness=prepared.harness,
        fixture=prepared.fixture.fixture,
        database=link.database if link else None,
        seed=1,
    )
    clock, stop, up = SceneClock(scene.advance), threading.Event(), threading.Event()
    board, out = Served(prepared, scene), io.StringIO()

    def serve() -> None:
        with ExitStack() as stack:
            board.ports, sides = open_sides(stack, scene, clock, out, tcp=tcp)
            up.set()
            serve_sides(sides, clock=clock, out=out, stop=stop, world=scene)

    thread = threading.Thread(target=serve)

    def die() -> None:
        stop.set()
        thread.join(10)

    board.die = die
    thread.start()
    try:
        assert up.wait(10)
        yield board
    finally:
        die()


def carwash(bench: str) -> Prepared:
    """Return the car-wash board planned for one of the poor benches, as far as it goes."""
    return prepare(ROOT / "profiles/carwash.yaml", ROOT / f"fixtures/{bench}.yaml", None, (), partial=True)
