"""Bits of CAN frames against a walk over every bit."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.signals.can_bits import classic, crc15, most_stuff_bits, plain_bits, stuff_bits
from benchtest.signals.frames import Frames, Kind
from tests.signals.bit_by_bit import Frame, bits_on_the_bus, data_frame, frames_of


@st.composite
def classic_frames(draw: st.DrawFn) -> Frame:
    """Draw a frame of either identifier length; bytes of all zeros and ones come often, for long runs."""
    kind = draw(st.sampled_from([Kind(0), Kind.EXTENDED, Kind.REMOTE, Kind.EXTENDED | Kind.REMOTE]))
    bits = 29 if Kind.EXTENDED in kind else 11
    identifier = draw(st.integers(0, (1 << bits) - 1) | st.sampled_from([0, (1 << bits) - 1]))
    if Kind.REMOTE in kind:
        return identifier, kind, draw(st.integers(0, 15)), b""
    octets = st.integers(0, 255) | st.sampled_from([0, 255, 0x0F, 0x83])
    data = bytes(draw(st.lists(octets, max_size=8)))
    return identifier, kind, draw(st.integers(8, 15)) if len(data) == 8 else len(data), data


@given(st.lists(classic_frames(), max_size=20))
def test_every_frame_has_as_many_bits_as_a_walk_over_them_counts(frames: list[Frame]) -> None:
    """Tables of bytes and a walk over bits agree on any mix of frames, in any order."""
    log, places = frames_of(frames), np.arange(len(frames))
    found = plain_bits(log, places) + stuff_bits(log, places)
    assert [bits_on_the_bus(frame) for frame in frames] == found.tolist()
    assert (stuff_bits(log, places) <= most_stuff_bits(log, places)).all()


def test_bits_are_of_the_places_asked_for() -> None:
    """Places may be some of the log, in any order and more than once."""
    log = frames_of([data_frame(0x000), data_frame(0x7FF, bytes(8)), data_frame(0x123)])
    assert [15, 6, 6] == stuff_bits(log, np.array([1, 0, 0])).tolist()


def test_error_frames_and_flexible_ones_have_no_bits_to_count() -> None:
    """Nobody records how long an error frame was, and a flexible frame goes at two rates."""
    log = frames_of([data_frame(1), (0, Kind.ERROR, 0, b""), data_frame(1, bytes(12), Kind.FD)])
    assert [True, False, False] == classic(log).tolist()


def test_leading_zeros_do_not_change_the_crc() -> None:
    """The register begins at zero; that is why the header may be filled up to whole bytes."""
    assert crc15(b"\x00\x00\x35\x17") == crc15(b"\x35\x17") != 0
    assert 0 == crc15(b"")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"time": np.array([np.nan])}, "no time"),
        ({"time": np.array([0.0, 1.0])}, "columns of"),
        ({"size": np.array([2], np.uint8)}, "1 data bytes for frames of 2"),
        ({"channel": np.array([1], np.uint8)}, "channel 1 of 1"),
        ({"identifier": np.array([0x800], np.uint32)}, "too many bits"),
    ],
)
def test_frames_that_cannot_be_are_refused_at_birth(change: dict[str, np.ndarray], said: str) -> None:
    """Lengths that do not agree, no time, no such channel, too large an identifier."""
    log = frames_of([data_frame(0x123, b"\x01")])
    columns = {name: getattr(log, name) for name in Frames.__dataclass_fields__}
    with pytest.raises(ValueError, match=said):
        Frames(**{**columns, **change})
