"""Who holds a port: open device files, the bench's own locks, and lock files of old-fashioned programs.

A lock is held while the kernel says so (/proc/locks, by inode), whatever a note beside it says. Old-fashioned programs
leave `LCK..ttyUSB0` with their process number (Filesystem Hierarchy Standard 3.0, 5.9, from memory).
"""

import json
from collections.abc import Iterator
from pathlib import Path

from benchtest.doctor.line import Line, ok, unknown, warn
from benchtest.doctor.ports import UsbPort, read


def lock_lines(ports: tuple[UsbPort, ...] | None, root: Path) -> Iterator[Line]:
    """Yield who has a port open, which bench locks are held, and which lock files are left over."""
    lines = [*_open_ports(ports or (), root), *_bench_locks(root), *_left_over(root)]
    if lines:
        yield from lines
    elif not (root / "proc").is_dir():
        yield unknown("locks", "processes and locks cannot be listed here")
    else:
        yield ok("locks", "no port is held by a program of which this user may know")


def _open_ports(ports: tuple[UsbPort, ...], root: Path) -> Iterator[Line]:
    nodes = {str(root / "dev" / port.name): port for port in ports}
    nodes |= {port.node: port for port in ports}
    for process in sorted((root / "proc").glob("[0-9]*")):
        for port in {nodes[target].name: nodes[target] for target in _opened(process) if target in nodes}.values():
            who = f"process {process.name} ({read(process / 'comm')}) has it open"
            yield warn(f"{port.node} in use", who, f"ps -fp {process.name}  # and let it end")


def _opened(process: Path) -> Iterator[str]:
    try:
        entries = list((process / "fd").iterdir())
    except OSError:
        return  # another user's process, or gone
    for entry in entries:
        try:
            yield str(entry.readlink())
        except OSError:
            continue


def _bench_locks(root: Path) -> Iterator[Line]:
    folder = root / "run/lock"
    held = _held_inodes(root)
    for path in sorted(folder.glob("benchtest-*.lock")) if folder.is_dir() else ():
        if held is not None and path.stat().st_ino in held:
            yield ok(f"lock {path.stem.removeprefix('benchtest-')}", f"held by {_holder(path)}")


def _held_inodes(root: Path) -> set[int] | None:
    """Return the inodes of files that are locked; None where the kernel does not tell."""
    try:
        lines = (root / "proc/locks").read_text(encoding="ascii", errors="replace").splitlines()
    except OSError:
        return None
    places = (word for line in lines for word in line.split() if word.count(":") == 2)
    return {int(place.rpartition(":")[2]) for place in places if place.rpartition(":")[2].isdigit()}


def _holder(path: Path) -> str:
    try:
        told = json.loads(read(path.with_suffix(".holder")))
        return f"process {int(told['pid'])} of {str(told['person'])[:40]} since {str(told['since'])[:30]}"
    except (ValueError, TypeError, KeyError):
        return "a program that left no note"


def _left_over(root: Path) -> Iterator[Line]:
    folder = root / "run/lock"
    for path in sorted(folder.glob("LCK..*")) if folder.is_dir() else ():
        number = read(path).split()[:1]
        if number and number[0].isdigit() and (root / "proc" / number[0]).is_dir():
            yield ok(f"lock {path.name}", f"held by process {number[0]}")
        else:
            yield warn(f"lock {path.name}", "left over by a program that has ended", f"rm /run/lock/{path.name}")
