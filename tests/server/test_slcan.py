"""The served serial-line CAN adapter: strict, and total."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.simulator.slcan import Frame, SlcanPeer, read_frame, write_frame


def test_closed_channel_rings_the_bell() -> None:
    """A frame while the channel is closed is answered with BEL and does not reach the bus."""
    assert (b"\a", ()) == SlcanPeer().feed(b"t1232AABB\r")


def test_open_channel_takes_frames_of_both_kinds() -> None:
    """After bit rate and open, frames with 11 and 29 bit identifiers go to the bus and are confirmed."""
    peer = SlcanPeer()
    answers, frames = peer.feed(b"S4\rO\rt1232AABB\rT18FEF1000\r")

    assert b"\r\rz\rZ\r" == answers
    assert (Frame(0x123, b"\xaa\xbb"), Frame(0x18FEF100, b"", extended=True)) == frames


@pytest.mark.parametrize("line", [b"O", b"S4", b"t1239", b"t1232AA", b"t1231AABB", b"tXYZ0", b"t8000", b"hello"])
def test_open_channel_rings_the_bell_at_nonsense(line: bytes) -> None:
    """A second open, a bit rate while open, a frame whose length and data disagree: BEL, and nothing sent."""
    peer = SlcanPeer()
    peer.feed(b"O\r")

    assert (b"\a", ()) == peer.feed(line + b"\r")


def test_hang_up_closes_the_channel() -> None:
    """After a hang-up the channel is closed and half a command is forgotten."""
    peer = SlcanPeer()
    peer.feed(b"O\rt1232A")
    peer.hang_up()

    assert (b"\a", ()) == peer.feed(b"ABB\r")


FRAMES = st.builds(Frame, st.integers(0, 0x7FF), st.binary(max_size=8)) | st.builds(
    Frame, st.integers(0, 0x1FFFFFFF), st.binary(max_size=8), st.just(True)
)


@given(FRAMES)
def test_written_frames_are_read_back(frame: Frame) -> None:
    """Every classic frame survives writing and reading, with the length of its identifier."""
    assert frame == read_frame(write_frame(frame).removesuffix(b"\r"))


@given(st.lists(st.binary(max_size=40), max_size=8))
def test_any_bytes_are_answered(pieces: list[bytes]) -> None:
    """Whatever comes, the peer raises nothing and answers each command once."""
    peer = SlcanPeer()
    for piece in pieces:
        answers, _ = peer.feed(piece)
        assert answers.count(b"\r") + answers.count(b"\a") >= piece.count(b"\r")
