"""Serial ports of this computer and the USB devices that they are on, as the Linux kernel lists them.

Source: the kernel's sysfs-class-tty, sysfs-bus-usb and sysfs-devices-power documents (from memory).
"""

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

_HEX = re.compile(r"[0-9a-f]{4}")
_STRANGE = re.compile(r"[^\x20-\x7e]")


@dataclass(frozen=True, kw_only=True, slots=True)
class UsbPort:
    """A serial port on USB."""

    name: str
    """Such as ttyUSB0."""
    vendor: str
    """Four hexadecimal digits."""
    product: str
    serial: str
    """Serial number, empty where the device has none, or one that says nothing."""
    maker: str
    place: str
    """Where it is plugged in: bus and chain of sockets, such as 1-2.4."""
    latency: float | None
    """The driver's latency timer in seconds; None where there is none."""
    suspends: bool | None
    """Whether the system may put the device to sleep; None where it does not say."""

    @property
    def node(self) -> str:
        """The device file."""
        return f"/dev/{self.name}"

    @property
    def identity(self) -> str:
        """What tells it from another of its kind."""
        own = f"serial number {self.serial}" if self.serial else f"no serial number, told by its socket {self.place}"
        return f"USB {self.vendor}:{self.product} {self.maker}".rstrip() + f", {own}"


def find_ports(root: Path) -> tuple[UsbPort, ...] | None:
    """Return the serial ports on USB; None where the system does not list its terminals in /sys."""
    folder = root / "sys/class/tty"
    if not folder.is_dir():
        return None
    return tuple(port for entry in sorted(folder.iterdir()) for port in _port(entry))


def _port(entry: Path) -> Iterator[UsbPort]:
    device = _usb_device((entry / "device").resolve())
    if device is None:
        return
    serial = read(device / "serial")
    timer = read(entry / "device" / "latency_timer")
    control = read(device / "power" / "control")
    yield UsbPort(
        name=entry.name,
        vendor=read(device / "idVendor"),
        product=read(device / "idProduct"),
        serial="" if serial.strip("0") == "" else serial,
        maker=" ".join(filter(None, (read(device / "manufacturer"), read(device / "product")))),
        place=device.name,
        latency=int(timer) / 1000 if timer.isdigit() else None,
        suspends={"auto": True, "on": False}.get(control),
    )


def _usb_device(path: Path) -> Path | None:
    """Return the nearest folder above a terminal's device that is a USB device."""
    for folder in (path, *path.parents):
        if all(_HEX.fullmatch(read(folder / name)) for name in ("idVendor", "idProduct")):
            return folder
    return None


def read(path: Path) -> str:
    """Return a short file's printable text; empty when it is not there or may not be read."""
    try:
        with path.open("rb") as file:
            text = file.read(400).decode("utf-8", "replace")
    except OSError:
        return ""
    return _STRANGE.sub("?", text.strip())


def number_of(node: Path) -> str:
    """Return a device file's number as udev's records name it, such as c188:0; empty when there is no such device."""
    try:
        found = node.stat().st_rdev
    except OSError:
        return ""
    return f"c{os.major(found)}:{os.minor(found)}" if found else ""
