"""A far side of a pseudo-terminal that says what the test wrote down, and remembers every byte that it heard."""

import os
import select
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from benchtest.clock import RealClock

CLOCK = RealClock()
Script = Callable[[bytes], "list[tuple[float, bytes]]"]
"""What was heard → what is said: seconds later, and bytes."""


@dataclass
class Peer:
    """One scripted far side."""

    port: str
    heard: list[bytes] = field(default_factory=list)
    """Frames as they came; a pause of 2 ms ends one."""
    script: Script = lambda _: []
    gone: threading.Event = field(default_factory=threading.Event)


@contextmanager
def scripted(script: Script) -> Iterator[Peer]:
    """Give a pseudo-terminal behind which `script` answers."""
    master, near = os.openpty()
    tty.setraw(near)
    peer, stop = Peer(os.ttyname(near), script=script), threading.Event()
    thread = threading.Thread(target=_answer, args=(master, peer, stop))
    thread.start()
    try:
        yield peer
    finally:
        stop.set()
        thread.join(5)
        os.close(near)
        if not peer.gone.is_set():
            os.close(master)


def _answer(master: int, peer: Peer, stop: threading.Event) -> None:
    later: list[tuple[float, bytes]] = []
    while not stop.is_set():
        if peer.gone.is_set():
            os.close(master)
            return
        if select.select([master], [], [], 0.001)[0]:
            frame = os.read(master, 4096)
            while select.select([master], [], [], 0.002)[0]:
                frame += os.read(master, 4096)
            peer.heard.append(frame)
            later += [(CLOCK.now() + after, data) for after, data in peer.script(frame)]
        for moment, data in [item for item in later if item[0] <= CLOCK.now()]:
            later.remove((moment, data))
            os.write(master, data)
