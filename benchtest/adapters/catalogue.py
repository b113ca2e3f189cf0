"""Every driver on one screen, imported only when asked for, so that a bench PC without a CAN library can still run."""

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any, Final

from benchtest.errors import PlanError

DRIVERS: Final[Mapping[str, str]] = {
    "scpi": "benchtest.adapters.scpi:open_scpi",
    "can": "benchtest.adapters.can_link:open_can",
    "serial": "benchtest.adapters.serial_link:open_serial",
    "modbus": "benchtest.adapters.modbus:open_modbus",
    "frames": "benchtest.adapters.frames:open_frames",
    "manual": "benchtest.adapters.manual:open_manual",
    "replay": "benchtest.adapters.replay:open_replay",
    "instrument": "benchtest.adapters.instrument:open_instrument",
    "simulated": "benchtest.simulator.bench:open_simulated",
}
QUESTIONS: Final[Mapping[str, str]] = {
    "scpi": "benchtest.adapters.scpi:ask_scpi",
}
"""Drivers whose adapter can be asked who it is before it is opened, and what asks."""


def question(name: str) -> Callable[..., str] | None:
    """Return the function that asks the device at a port who it is; None where driver `name` has no question."""
    if name not in QUESTIONS:
        return None
    module, _, function = QUESTIONS[name].partition(":")
    found: Callable[..., str] = getattr(import_module(module), function)
    return found


def find(name: str) -> Callable[..., Any]:
    """Return the function that opens an adapter of driver `name`; PlanError when there is no such driver."""
    if name not in DRIVERS:
        raise PlanError([f"there is no driver {name!r} (try one of {', '.join(sorted(DRIVERS))})"])
    module, _, function = DRIVERS[name].partition(":")
    found: Callable[..., Any] = getattr(import_module(module), function)
    return found
