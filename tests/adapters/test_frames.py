"""Templates of byte frames, their checksums, and the driver against scripted boards and the virtual one."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.adapters.frames import open_frames
from benchtest.errors import AdapterGarbled, AdapterMissing, AdapterRefused, AdapterSilent, RigError
from benchtest.fixture.document import HardLimits
from benchtest.fixture.frames import FramesAdapter, Template
from benchtest.instruments import Outputs
from benchtest.messages.checksums import CHECKSUMS, crc8, crc16, sum8, xor8
from tests.adapters.poor_served import CLOCK, Served, carwash, served
from tests.adapters.scripted_line import Peer, Script, scripted
from tests.published import modbus as published

SLOWEST = "60 ms"
ON_1, OFF_1, ON_2, OFF_2 = (bytes.fromhex(frame) for frame in ("A00101A2", "A00100A1", "A00201A3", "A00200A2"))

# ---------------------------------------------------------------- checksums and templates


def test_checksums_have_their_published_check_values() -> None:
    """CRC-16/MODBUS and CRC-8/SMBUS of "123456789", and the bytes 02 07, low byte first on the wire."""
    assert published.CRC16_MODBUS == int.from_bytes(crc16(published.CHECK), "little")
    assert published.CRC8_SMBUS == crc8(published.CHECK)[0]
    assert published.CRC16_OF_0207 == crc16(bytes([2, 7]))


@given(st.binary())
def test_checksums_over_frame_and_checksum_leave_nothing(data: bytes) -> None:
    """A frame with its CRC, or its exclusive-or, divides out to zero; a sum is the sum."""
    assert b"\0\0" == crc16(data + crc16(data))
    assert b"\0" == crc8(data + crc8(data))
    assert b"\0" == xor8(data + xor8(data))
    assert (sum(data) - sum8(data)[0]) % 256 == 0


PARTS = st.one_of(
    st.binary(min_size=1, max_size=1),
    st.sampled_from(["channel", "state"]).map(lambda name: (name, 1)),
    st.sampled_from(sorted(CHECKSUMS)).map(lambda name: (name, CHECKSUMS[name][1])),
)
TEMPLATES = st.lists(PARTS, min_size=1, max_size=12).map(lambda parts: Template(tuple(parts)))


@given(TEMPLATES)
def test_parse_and_str_are_inverses(template: Template) -> None:
    """What is written down is read back as the same template."""
    assert template == Template.parse(str(template))


@given(TEMPLATES, st.integers(0, 255), st.booleans())
def test_what_is_rendered_is_read_back(template: Template, channel: int, on: bool) -> None:
    """Every rendered frame fits its own template, with the fields that went in."""
    frame = template.render(channel=channel, on=on)
    fields = template.read(frame)

    assert len(template) == len(frame)
    assert fields.get("channel", bytes([channel])) == bytes([channel])
    assert fields.get("state", bytes([on])) == bytes([on])


@given(st.integers(0, 3), st.integers(0, 7))
def test_one_wrong_bit_is_noticed(place: int, bit: int) -> None:
    """In a frame of literal, channel, literal and sum no single bit can change unseen."""
    template = Template.parse("A0 {channel} 01 {sum8}")
    frame = bytearray(template.render(channel=1))
    frame[place] ^= 1 << bit

    with pytest.raises(ValueError, match="byte"):
        template.read(bytes(frame))


@pytest.mark.parametrize("text", ["", "A", "A0A1", "{chan}", "{bits}", "{bits:0}", "0x10", "{sum8", "GG"])
def test_what_is_no_template_is_refused(text: str) -> None:
    """Half bytes, unknown fields, lists without a length."""
    with pytest.raises(ValueError, match="try 'A0"):
        Template.parse(text)


# ---------------------------------------------------------------- the driver


def adapter(**more: Any) -> FramesAdapter:
    words = {
        "driver": "frames",
        "dead_man": "none",
        "baud": "115200 bit/s",
        "slowest": SLOWEST,
        "switch_on": "A0 {channel} 01 {sum8}",
        "switch_off": "A0 {channel} 00 {sum8}",
        "channels": {101: {"number": 1}, 102: {"number": 2}},
    }
    return FramesAdapter.model_validate(words | more)


@contextmanager
def opened(script: Script, **more: Any) -> Iterator[tuple[Outputs, Peer]]:
    limits = HardLimits.model_construct()
    with (
        scripted(script) as peer,
        open_frames(adapter=adapter(**more), port=peer.port, limits=limits, clock=CLOCK) as device,
    ):
        assert device.outputs is not None
        joined(peer)
        peer.heard.clear()
        yield device.outputs, peer


def joined(peer: Peer, least: bytes = b"") -> bytes:
    """Everything that was heard, once nothing more comes; a busy computer has five seconds for the `least` of it."""
    patience = CLOCK.now() + 5.0
    while sum(map(len, peer.heard)) < len(least) and CLOCK.now() < patience:
        CLOCK.sleep_until(CLOCK.now() + 0.02)
    seen = -1
    while seen != len(peer.heard):
        seen = len(peer.heard)
        CLOCK.sleep_until(CLOCK.now() + 0.02)
    return b"".join(peer.heard)


def test_orders_are_the_templates_frames_once_each() -> None:
    """On, off, another channel: four bytes each, with their sum."""
    with opened(lambda _: []) as (board, peer):
        board.set(101, 1)
        board.set(102, 1)
        board.off(101)
        wanted = ON_1 + ON_2 + OFF_1
        assert wanted == joined(peer, wanted)
        assert frozenset({102}) == board.energised()


def test_everything_is_ordered_off_on_the_way_in_and_out() -> None:
    """Before the first order and after the last, whatever was on."""
    with ExitStack() as stack:
        peer = stack.enter_context(scripted(lambda _: []))
        limits = HardLimits.model_construct()
        with open_frames(adapter=adapter(), port=peer.port, limits=limits, clock=CLOCK) as device:
            assert device.outputs is not None
            device.outputs.set(102, 1)
        wanted = OFF_1 + OFF_2 + ON_2 + OFF_1 + OFF_2
        assert wanted == joined(peer, wanted)


def test_what_is_no_relay_or_no_state_is_refused() -> None:
    """An unknown channel and half a state: nothing is sent."""
    with opened(lambda _: []) as (board, peer):
        for channel, value in ((103, 1.0), (101, 0.5), (101, float("nan"))):
            with pytest.raises(AdapterRefused):
                board.set(channel, value)
        assert b"" == joined(peer)


def echo(frame: bytes) -> list[tuple[float, bytes]]:
    return [(0.0, frame)]


REPLY = "A0 {channel} {state} {sum8}"


def test_a_reply_must_be_of_this_channel_and_state() -> None:
    """The board repeats each frame; one of another channel is an answer to something else."""
    with opened(echo, reply=REPLY) as (board, peer):
        board.set(101, 1)
        peer.script = lambda _: [(0.0, ON_2)]
        with pytest.raises(AdapterGarbled, match="something else than an order to channel 101"):
            board.set(101, 0)
        peer.script = echo


def test_silence_after_an_order_is_a_fault_and_the_channel_counts_as_on() -> None:
    """Nobody knows what the relay does: it is among those to switch off."""
    with opened(echo, reply=REPLY) as (board, peer):
        peer.script = lambda _: []
        with pytest.raises(AdapterSilent, match="no answer to an order to channel 101"):
            board.set(101, 1)
        assert frozenset({101}) == board.energised()
        peer.script = echo
        board.all_off()
        assert frozenset() == board.energised()


def test_a_late_reply_is_never_taken_for_the_next() -> None:
    """It comes after the deadline, while nothing is asked, and is thrown away."""
    late = bytes.fromhex("A001A1")

    def script(frame: bytes) -> list[tuple[float, bytes]]:
        return [(0.09, late)] if frame == ON_1 else [(0.04, bytes.fromhex("A000A0"))]

    with opened(script, reply="A0 {state} {sum8}") as (board, _):
        with pytest.raises(AdapterSilent):
            board.set(101, 1)
        board.set(102, 0)


@pytest.mark.parametrize("answer", [b"\xa0\x01", b"\xa0\x01\x01\xff", b"\x13\x37\x13\x37"])
def test_half_a_reply_and_garbage_are_garbled(answer: bytes) -> None:
    """Half a frame, a wrong sum, other bytes: refused with what came."""
    with opened(echo, reply=REPLY) as (board, peer):
        peer.script = lambda _: [(0.0, answer)]
        with pytest.raises(AdapterGarbled, match=answer.hex(" ").upper()):
            board.set(101, 1)
        peer.script = echo


QUERY = b"\xa0\xff\xff"


class Relays:
    """A board that tells its states, one bit or one byte each; relays in `stuck` stay as they are."""

    def __init__(self, *, by_bits: bool) -> None:
        self.on: set[int] = set()
        self.stuck: set[int] = set()
        self._by_bits = by_bits

    def __call__(self, heard: bytes) -> list[tuple[float, bytes]]:
        if heard.endswith(QUERY):  # behind an order, where this thread was late
            return [*self(heard.removesuffix(QUERY)), (0.0, self._told())]
        for frame in (heard[place : place + 4] for place in range(0, len(heard), 4)):
            if frame[1] not in self.stuck:
                (self.on.add if frame[2] else self.on.discard)(frame[1])
        return []

    def _told(self) -> bytes:
        states = sum(1 << number - 1 for number in self.on) if self._by_bits else 0
        told = b"\xa1" + (bytes([states]) if self._by_bits else bytes([1 in self.on, 2 in self.on]))
        return told + xor8(told)


@pytest.mark.parametrize("by_bits", [True, False])
def test_a_status_reply_reads_orders_back(by_bits: bool) -> None:
    """By bits or by bytes: what is on is read, and an order that is not followed is a fault of the bench."""
    relays = Relays(by_bits=by_bits)
    status = {"ask": "A0 FF FF", "reply": f"A1 {'{bits:1}' if by_bits else '{bytes:2}'} {{xor8}}"}
    with opened(relays, status=status) as (board, _):
        board.set(102, 1)
        assert frozenset({102}) == board.energised()
        relays.stuck = {1}
        with pytest.raises(AdapterRefused, match="channel 101 does not follow, it reads off"):
            board.set(101, 1)
        relays.stuck = set()


def test_a_board_that_is_gone_says_so() -> None:
    """The far side closes: missing, and no waiting for each relay."""
    limits = HardLimits.model_construct()
    with scripted(lambda _: []) as peer:
        stack = ExitStack()
        device = stack.enter_context(open_frames(adapter=adapter(), port=peer.port, limits=limits, clock=CLOCK))
        assert device.outputs is not None
        peer.gone.set()
        CLOCK.sleep_until(CLOCK.now() + 0.02)
        with pytest.raises(AdapterMissing):
            device.outputs.set(101, 1)
        with pytest.raises(RigError):
            stack.close()


# ---------------------------------------------------------------- the virtual board


@pytest.fixture
def board() -> Iterator[Served]:
    with served(carwash("relaybox")) as running:
        yield running


def test_the_virtual_board_drives_the_scene_at_the_pace_of_its_line(board: Served) -> None:
    """At 9600 Bd four bytes take 4.2 ms; what is ordered is on in the scene, and off at the end."""
    box = board.prepared.fixture.fixture.adapters["box"]
    assert isinstance(box, FramesAdapter)
    limits = HardLimits.model_construct()
    with open_frames(adapter=box, port=board.ports["box"], limits=limits, clock=CLOCK) as device:
        assert device.outputs is not None
        begun = CLOCK.now()
        for _ in range(5):
            device.outputs.set(101, 1)
            device.outputs.set(102, 1)
            device.outputs.set(102, 0)
        took = CLOCK.now() - begun
        CLOCK.sleep_until(CLOCK.now() + 0.05)

        assert frozenset({101}) == board.scene.energised()
        assert took >= 15 * 4 * 10 / 9600
    CLOCK.sleep_until(CLOCK.now() + 0.05)
    assert frozenset() == board.scene.energised()
