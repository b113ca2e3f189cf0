"""Modbus modules in front of the scene: pymodbus' own server on TCP, or on two pseudo-terminals with a bridge between.

The server's event loop is run a few turns at a time by whoever gives this side its turn, so that world and server live
in one thread. What is behind each coil and register stands in the fixture; a request reads the scene and writes to the
bench at that moment. A module with a watchdog register drops its outputs when nobody has asked for so long; without one
it does not notice that its host has gone, as real ones do not.
"""

import asyncio
import math
import os
import selectors
import struct
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from importlib import import_module
from typing import Final

from pymodbus import FramerType
from pymodbus.framer import FRAMER_NAME_TO_CLASS
from pymodbus.pdu import DecodePDU, ModbusPDU
from pymodbus.pdu.device import ModbusDeviceIdentification
from pymodbus.server import ModbusSerialServer, ModbusTcpServer

import benchtest
from benchtest.clock import Clock
from benchtest.errors import PlanError
from benchtest.fixture.modbus import ModbusAdapter
from benchtest.instruments import VIRTUAL
from benchtest.simulator.doors import BLOCK, PtyDoor, open_pty
from benchtest.simulator.modules import Modules

TURNS: Final = 8
"""Turns of the event loop that a request needs from its last byte to its answer, and some more."""


class WholeRequests:
    """Lets a request pass only when what pymodbus has read in it is what came; any other one is not answered.

    It reads past lengths that contradict the data, and takes every value of a coil but FF00 for off.
    """

    def __init__(self, framer: FramerType) -> None:
        self._framer = FRAMER_NAME_TO_CLASS[framer](DecodePDU(True))
        self._came = b""

    def packet(self, sending: bool, data: bytes) -> bytes:
        """Note the bytes of a request."""
        self._came = self._came if sending else data
        return data

    def pdu(self, sending: bool, pdu: ModbusPDU) -> ModbusPDU:
        """Return the request, or nothing."""
        try:
            whole = sending or self._framer.buildFrame(pdu) in self._came
        except (ValueError, struct.error):  # counts and addresses that no request can have
            whole = False
        return pdu if whole else None  # type: ignore[return-value] # what pymodbus takes for not whole yet


class ModbusSide:
    """The server and, on a pseudo-terminal, the bridge to it."""

    def __init__(self, modules: Modules, clock: Clock) -> None:
        self.name = ""
        """What the host opens."""
        self._modules, self._clock = modules, clock
        self._selector = selectors.DefaultSelector()
        self._loop = asyncio.SelectorEventLoop(self._selector)
        self._server: ModbusTcpServer | ModbusSerialServer | None = None
        self._host: PtyDoor | None = None
        self._far = -1

    # ------------------------------------------------------------ a side among others

    def watched(self) -> Sequence[int]:
        own = self._selector.fileno() if hasattr(self._selector, "fileno") else -1
        return [own, self._far, self._host.watched() if self._host is not None else -1]

    @property
    def full(self) -> bool:
        return False

    def due(self) -> float:
        return math.inf

    def turn(self) -> None:
        self._carry_in()
        self._loop.run_until_complete(_some_turns())
        self._carry_out()
        self._modules.judge_watchdog()

    def end(self) -> None:
        self._modules.all_off()

    # ------------------------------------------------------------ the bridge

    def _carry_in(self) -> None:
        if self._host is not None:
            self._host.look()
            while self._host.present and (data := self._host.read()):
                os.write(self._far, data)

    def _carry_out(self) -> None:
        if self._host is not None:
            with suppress(BlockingIOError):
                while data := os.read(self._far, BLOCK):
                    self._host.write(data)

    # ------------------------------------------------------------ coming and going

    @contextmanager
    def on_tcp(self, port: int) -> Iterator["ModbusSide"]:
        """Listen on `port` of 127.0.0.1, 0 for any free one; PlanError when it is taken."""

        async def start() -> ModbusTcpServer:
            whole = WholeRequests(FramerType.SOCKET)
            server = ModbusTcpServer(
                self._modules.devices(),
                address=("127.0.0.1", port),
                identity=_identity(self._modules.adapter),
                trace_packet=whole.packet,
                trace_pdu=whole.pdu,
            )
            await server.serve_forever(background=True)
            return server

        with self._running():
            try:
                server = self._loop.run_until_complete(start())
            except RuntimeError as problem:
                raise PlanError([f"cannot listen on port {port} (try --tcp 0 for any free one)"]) from problem
            self._server = server
            (listener, *_) = server.transport.sockets  # type: ignore[attr-defined]
            self.name = f"tcp://127.0.0.1:{listener.getsockname()[1]}"
            yield self

    @contextmanager
    def on_pty(self) -> Iterator["ModbusSide"]:
        """Make two pseudo-terminals, one for the host and one for the server, and carry bytes between them."""
        with ExitStack() as stack:
            self._host = stack.enter_context(open_pty())
            self._far, near = os.openpty()
            stack.callback(os.close, self._far)
            stack.callback(os.close, near)  # stays open, so that the bridge never sees a hang-up
            import_module("tty").setraw(near)
            os.set_blocking(self._far, False)
            stack.enter_context(self._running())

            async def start() -> ModbusSerialServer:
                whole = WholeRequests(FramerType.RTU)
                server = ModbusSerialServer(
                    self._modules.devices(),
                    port=os.ttyname(near),
                    baudrate=round(self._modules.adapter.baud),
                    identity=_identity(self._modules.adapter),
                    trace_packet=whole.packet,
                    trace_pdu=whole.pdu,
                )
                await server.serve_forever(background=True)
                return server

            self._server = self._loop.run_until_complete(start())
            self.name = self._host.name
            yield self

    @contextmanager
    def _running(self) -> Iterator[None]:
        try:
            yield
        finally:
            if self._server is not None:
                self._server.close()
            self._loop.run_until_complete(_some_turns())
            self._loop.close()


async def _some_turns() -> None:
    for _ in range(TURNS):
        await asyncio.sleep(0)


def _identity(adapter: ModbusAdapter) -> ModbusDeviceIdentification:
    maker, _, product = VIRTUAL.partition(",")
    names = {
        "VendorName": maker,
        "ProductCode": product,
        "MajorMinorRevision": f"{adapter.unit},{benchtest.__version__}",
    }
    return ModbusDeviceIdentification(info_name=names)
