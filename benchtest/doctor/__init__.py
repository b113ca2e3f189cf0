"""Whether this computer is fit for a bench: ports, permissions, who else uses them, delays, power saving, disk, clock.

Everything is read, nothing is opened or changed. What cannot be looked at here (a container, another system) is said to
be so, and is neither good nor bad.
"""

from pathlib import Path

from benchtest.doctor.host import host_lines
from benchtest.doctor.line import Line, State
from benchtest.doctor.locks import lock_lines
from benchtest.doctor.person import Person
from benchtest.doctor.ports import find_ports
from benchtest.doctor.serial_lines import port_lines

__all__ = ["Line", "Person", "State", "examine"]


def examine(*, root: Path = Path("/"), runs: Path = Path(), person: Person | None = None) -> tuple[Line, ...]:
    """Return what was found, one line each, for a person, or whoever asks.

    `root` is where /sys, /proc, /dev and /run are, `runs` the folder of runs.
    """
    ports = find_ports(root)
    return (*port_lines(ports, root, person or Person.here()), *lock_lines(ports, root), *host_lines(root, runs))
