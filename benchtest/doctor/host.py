"""The computer itself: clock, disk, battery, libraries, CAN interfaces."""

import shutil
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Final

from benchtest.clock import RealClock, resolution
from benchtest.doctor.line import Line, ok, unknown, warn
from benchtest.doctor.ports import read
from benchtest.quantities import show

FINE: Final = 1e-6
"""Coarsest clock, in seconds, that does not show in a bench's uncertainties."""
WAKES: Final = 30
"""How often a short sleep is tried."""
NAP: Final = 0.001
"""Seconds of one of them."""
LATE: Final = 0.005
"""Seconds that a sleep may end late; a composed bench then still keeps to looks of ten a second and more."""
ROOM: Final = 1e9
"""Bytes that a disk should have left: some thousand runs."""
CAN: Final = "280"
"""Type of a CAN interface among network interfaces (ARPHRD_CAN in linux/if_arp.h)."""


def host_lines(root: Path, runs: Path) -> Iterator[Line]:
    """Yield what there is to say of the computer."""
    yield _clock()
    yield _waking()
    yield _disk(runs)
    yield from _battery(root)
    yield _library("python-can", "python -m pip install 'python-can>=4.5,<5'", needed=True)
    yield _library("PyVISA", "python -m pip install PyVISA PyVISA-py", needed=False)
    yield from _can(root)


def _clock() -> Line:
    step = resolution()
    said = f"steps of {show(step, 's', digits=2)}"
    return ok("clock", said) if step <= FINE else warn("clock", f"{said}: too coarse", "try another computer")


def _waking() -> Line:
    clock = RealClock()
    late = max(_late(clock) for _ in range(WAKES))
    said = f"a sleep of {show(NAP, 's')} ended up to {show(late, 's', digits=2)} late in {WAKES} tries"
    if late <= LATE:
        return ok("waking up", said)
    return warn("waking up", f"{said}: the computer is busy", "top  # and end what is not needed")


def _late(clock: RealClock) -> float:
    deadline = clock.now() + NAP
    clock.sleep_until(deadline)
    return clock.now() - deadline


def _disk(runs: Path) -> Line:
    there = next(path for path in (runs.absolute(), *runs.absolute().parents) if path.exists())
    try:
        free = shutil.disk_usage(there).free
    except OSError as problem:
        return unknown("disk", f"{there}: {problem.strerror}")
    said = f"{free / 1e9:.1f} GB free at {there}"
    return ok("disk", said) if free >= ROOM else warn("disk", f"{said}: runs may not fit", f"du -xh {there} | sort -h")


def _battery(root: Path) -> Iterator[Line]:
    for supply in sorted((root / "sys/class/power_supply").glob("*")):
        if read(supply / "type") == "Battery" and read(supply / "status") == "Discharging":
            yield warn("power", "runs on battery: power saving may stop ports and clock", "plug in the charger")
            return
    yield ok("power", "not on battery")


def _library(name: str, install: str, *, needed: bool) -> Line:
    try:
        return ok(name, version(name))
    except PackageNotFoundError:
        said = "not installed"
    return warn(name, said, install) if needed else ok(name, f"{said}; only instruments on VISA need it ({install})")


def _can(root: Path) -> Iterator[Line]:
    folder = root / "sys/class/net"
    if not folder.is_dir():
        yield unknown("CAN interfaces", "network interfaces are not listed here")
        return
    found = [entry for entry in sorted(folder.iterdir()) if read(entry / "type") == CAN]
    for entry in found:
        if read(entry / "operstate") == "down":
            up = f"sudo ip link set {entry.name} up type can bitrate 125000  # with the link's own bit rate"
            yield warn(f"CAN interface {entry.name}", "is down", up)
        else:
            yield ok(f"CAN interface {entry.name}", "is up")
    if not found:
        yield ok("CAN interfaces", "none in the system; a serial-line one needs none")
