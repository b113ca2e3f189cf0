"""Where an adapter is: by the USB serial number of its port, by the USB socket it is in, by asking it who it is.

Names such as ttyUSB0 belong to whoever comes first; a serial number belongs to the adapter, and a socket at least stays
where it is. Cheap converters share one serial number or have none, so that whatever leaves two candidates is refused
with both named, unless asking them tells them apart. Only USB serial ports are looked at, and only adapters whose
protocol has a question are asked.

Source: pyserial's `serial.tools.list_ports` for what a system knows of its ports; IEEE 488.2, 10.14 for `*IDN?`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module

from benchtest.errors import AdapterMissing, RigError
from benchtest.fixture.document import Adapter


@dataclass(frozen=True, kw_only=True, slots=True)
class Described:
    """One USB serial port, as the system describes it."""

    device: str
    serial: str = ""
    """USB serial number; empty when the adapter has none."""
    location: str = ""
    """Path of the USB socket, such as `1-1.4`."""
    product: str = ""

    def __str__(self) -> str:
        serial = f"serial number {self.serial!r}" if self.serial else "no serial number"
        return f"{self.device} ({self.product or 'unnamed'}, {serial}, at {self.location or 'an unknown socket'})"


@dataclass(frozen=True, kw_only=True, slots=True)
class Found:
    """The port of one adapter."""

    port: str
    how: str
    """What matched: `as given`, `by USB serial number 'A123'`, `by asking`."""


def listed() -> tuple[Described, ...]:
    """Return every USB serial port of this computer; opens none of them."""
    comports = import_module("serial.tools.list_ports").comports  # a bench without serial ports does not wait for it
    return tuple(
        Described(
            device=port.device,
            serial=port.serial_number or "",
            location=port.location or "",
            product=port.product or port.description or "",
        )
        for port in sorted(comports())
        if port.vid is not None
    )


def find_port(
    name: str, adapter: Adapter, ports: Sequence[Described], *, ask: Callable[[str], str] | None = None
) -> Found:
    """Return where an adapter without a stated port is.

    `ask` returns what the device at a port answers, or an empty string; None where the driver has no question. Raises
    AdapterMissing when nothing matches, RigError when two do; both name what there is.
    """
    candidates, how = matching(name, adapter, ports)
    if len(candidates) == 1 and how:
        return Found(port=candidates[0].device, how=how)
    if ask is None or not adapter.identity:
        raise RigError(f"adapter {name} could be at {_both(candidates)} (give one: --port {name}=…)")
    answers = {port: ask(port.device) for port in candidates}
    right = [port for port, answer in answers.items() if answer.startswith(adapter.identity)]
    if len(right) > 1:
        raise RigError(f"adapter {name} could be at {_both(right)}: each answers as {adapter.identity!r}")
    if not right:
        heard = "; ".join(f"{port.device} answers {answer!r}" for port, answer in answers.items())
        raise AdapterMissing(
            f"no adapter {name}: expected {adapter.identity!r}, {heard or 'there is no USB serial port'}"
        )
    return Found(port=right[0].device, how=f"{how}, then by asking".removeprefix(", then "))


def matching(name: str, adapter: Adapter, ports: Sequence[Described]) -> tuple[tuple[Described, ...], str]:
    """Return the ports that fit what the fixture says of an adapter's USB side, and what of it they fit.

    A serial number that is stated and not there is never made good by a socket: another adapter may be in it. Raises
    AdapterMissing then.
    """
    fit, how = tuple(ports), ""
    if adapter.usb_serial:
        fit, how = tuple(port for port in fit if port.serial == adapter.usb_serial), _by_serial(adapter)
    if adapter.usb_location and (len(fit) > 1 or not adapter.usb_serial):
        fit = tuple(port for port in fit if port.location == adapter.usb_location)
        how = f"{how} and {_by_location(adapter)}".removeprefix(" and ")
    if how and not fit:
        there = "; ".join(map(str, ports)) or "none"
        raise AdapterMissing(f"no adapter {name} {how} (USB serial ports here: {there})")
    return fit, how


def _by_serial(adapter: Adapter) -> str:
    return f"by USB serial number {adapter.usb_serial!r}"


def _by_location(adapter: Adapter) -> str:
    return f"by USB socket {adapter.usb_location!r}"


def _both(candidates: Sequence[Described]) -> str:
    return " or ".join(map(str, candidates)) or "no USB serial port of this computer"
