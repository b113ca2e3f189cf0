"""What may be wrong with a serial port: permissions, delays, power saving, a service that grabs it.

A USB serial driver collects bytes for up to its latency timer, usually 16 ms, before it hands them on; request and
answer then take that long. Common practice, measured by many; the bench's own round trip is measured in its self-check.
"""

import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from benchtest.doctor.line import Line, ok, unknown, warn
from benchtest.doctor.person import Person, group_name
from benchtest.doctor.ports import UsbPort, number_of, read

QUICK: Final = 0.002
"""Longest latency timer, in seconds, that a bench can live with."""
GRABBERS: Final = {
    "ModemManager": "sends AT commands to new ports",
    "brltty": "takes some USB serial adapters for itself",
}
"""Services that open serial ports unasked."""


def port_lines(ports: tuple[UsbPort, ...] | None, root: Path, person: Person) -> Iterator[Line]:
    """Yield what there is to say of every serial port on USB."""
    if ports is None:
        yield unknown("serial ports", "no list of terminals in /sys (not a Linux system, or a closed container)")
        return
    if not ports:
        yield ok("serial ports", "none on USB is plugged in")
        return
    running = _running(root)
    for port in ports:
        yield ok(port.node, port.identity)
        yield from _twins(port, ports)
        yield _permission(port, root, person)
        yield _latency(port)
        yield _suspension(port)
        yield from _grabbed(port, root, running)


def _twins(port: UsbPort, ports: tuple[UsbPort, ...]) -> Iterator[Line]:
    same = [one for one in ports if (one.vendor, one.product, one.serial) == (port.vendor, port.product, port.serial)]
    if len(same) > 1:
        names = ", ".join(f"{one.node} in socket {one.place}" for one in same)
        yield warn(f"{port.node} identity", f"several ports cannot be told apart: {names}", _by_path(port))


def _by_path(port: UsbPort) -> str:
    return f"ls -l /dev/serial/by-path  # and name {port.node} by its path there in the fixture"


def _permission(port: UsbPort, root: Path, person: Person) -> Line:
    topic, node = f"{port.node} permission", root / "dev" / port.name
    try:
        owned = node.stat()
    except OSError:
        return unknown(topic, "the device file is not here (a container that was not given it?)")
    if person.may_open(owned):
        return ok(topic, "this user may open it")
    group = group_name(owned.st_gid)
    if owned.st_mode & 0o060 != 0o060:
        found = f"its mode {owned.st_mode & 0o777:03o} keeps even its group {group} out"
        return warn(topic, found, f"sudo chmod g+rw {port.node}")
    if owned.st_gid in person.groups:
        return warn(topic, f"this user is in {group} and still may not open it", f"ls -l {port.node}")
    found = f"this user is not in the group {group} that owns it (log in again afterwards)"
    return warn(topic, found, f'sudo usermod -aG {shlex.quote(group)} "$USER"')


def _latency(port: UsbPort) -> Line:
    topic = f"{port.node} latency"
    if port.latency is None:
        return ok(topic, "its driver has no latency timer")
    if port.latency <= QUICK:
        return ok(topic, f"latency timer {port.latency * 1000:g} ms")
    found = f"latency timer {port.latency * 1000:g} ms: every order and answer waits for it"
    return warn(topic, found, f"setserial {port.node} low_latency  # again after each plugging in")


def _suspension(port: UsbPort) -> Line:
    topic = f"{port.node} power saving"
    if port.suspends is None:
        return unknown(topic, "the system does not say whether it may put the port to sleep")
    if not port.suspends:
        return ok(topic, "never put to sleep")
    command = f"echo on | sudo tee /sys/bus/usb/devices/{port.place}/power/control"
    return warn(topic, "the system may put it to sleep in mid-run", command)


def _running(root: Path) -> set[str] | None:
    """Return the grabbing services that run; None where processes cannot be listed."""
    folder = root / "proc"
    if not folder.is_dir():
        return None
    names = {read(process / "comm") for process in folder.iterdir() if process.name.isdigit()}
    return names & GRABBERS.keys()


def _grabbed(port: UsbPort, root: Path, running: set[str] | None) -> Iterator[Line]:
    topic = f"{port.node} other services"
    if running is None:
        yield unknown(topic, "processes cannot be listed here")
        return
    told = read_properties(root, number_of(root / "dev" / port.name))
    for name in sorted(running):
        if name == "ModemManager" and told.get("ID_MM_DEVICE_IGNORE") == "1":
            continue
        yield warn(topic, f"{name} is running; it {GRABBERS[name]}", _told_to_ignore(name, port))
    if not running or (running == {"ModemManager"} and told.get("ID_MM_DEVICE_IGNORE") == "1"):
        yield ok(topic, "none that grabs it")


def _told_to_ignore(name: str, port: UsbPort) -> str:
    if name != "ModemManager":
        return f"sudo systemctl disable --now {name}"
    match = f'ATTRS{{idVendor}}=="{port.vendor}", ATTRS{{idProduct}}=="{port.product}"'
    rule = f'{match}, ENV{{ID_MM_DEVICE_IGNORE}}="1", TEST=="power/control", ATTR{{power/control}}="on"'
    file = f"/etc/udev/rules.d/78-bench-{port.vendor}-{port.product}.rules"
    return f"echo {shlex.quote(rule)} | sudo tee {file}  # then unplug it and plug it in again"


def read_properties(root: Path, number: str) -> dict[str, str]:
    """Return what udev remembers of a device: lines `E:NAME=value` of its record."""
    if not number:
        return {}
    try:
        lines = (root / "run/udev/data" / number).read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return {}
    pairs = (line[2:].partition("=") for line in lines if line.startswith("E:"))
    return {name: value for name, _, value in pairs}
