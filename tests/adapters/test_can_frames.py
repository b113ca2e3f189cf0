"""What is made of frames: whole ones, halves, the two kinds of identifiers, and messages of several kinds."""

from importlib import import_module

import pytest
from can import Message as Came

from benchtest.adapters.can_frames import Frame, Frames, heard

DATABASE = """VERSION ""
BU_: board host
BO_ 291 Order: 3 host
 SG_ Valve : 0|8@1+ (1,0) [0|200] "" board
 SG_ Level : 8|16@1+ (0.1,0) [0|6553.5] "V" board
BO_ 292 Several: 2 host
 SG_ Which M : 0|8@1+ (1,0) [0|255] "" board
 SG_ One m1 : 8|8@1+ (1,0) [0|255] "" board
"""


@pytest.fixture(scope="module")
def frames() -> Frames:
    return Frames(import_module("cantools.database").load_string(DATABASE, "dbc"))


def test_a_whole_frame_has_its_name_and_signals(frames: Frames) -> None:
    """Bytes beyond the message's length are no part of it."""
    frame = heard(2.0, Came(arbitration_id=0x123, is_extended_id=False, data=b"\x07\xf0\x00\xff"))

    assert frame is not None
    message = frames.message(frame)
    assert ("Order", {"Valve": 7.0, "Level": 24.0}) == (message.name, message.signals)
    assert (2.0, "123#07F000FF", False) == (message.at, message.frame, message.sent)


def test_half_a_frame_is_none() -> None:
    """Fewer bytes came than the frame says that it has: a line of the adapter has lost characters."""
    with pytest.raises(ValueError, match=r"half a frame: 123#07F000, of 8 bytes"):
        heard(0.0, Came(arbitration_id=0x123, is_extended_id=False, data=b"\x07\xf0\x00", dlc=8))


def test_remote_and_error_frames_carry_nothing() -> None:
    """They are no messages, whatever their identifier."""
    assert heard(0.0, Came(arbitration_id=0x123, is_extended_id=False, is_remote_frame=True, dlc=3)) is None
    assert heard(0.0, Came(is_error_frame=True)) is None


@pytest.mark.parametrize(
    "frame",
    [
        Frame(at=0.0, can_id=0x123, extended=True, data=b"\x07\xf0\x00"),
        Frame(at=0.0, can_id=0x123, extended=False, data=b"\x07\xf0"),
        Frame(at=0.0, can_id=0x125, extended=False, data=b"\x07\xf0\x00"),
        Frame(at=0.0, can_id=0x124, extended=False, data=b"\x09\x00"),
    ],
    ids=["29 bits", "too short", "unknown", "unknown multiplexer value"],
)
def test_what_the_database_does_not_know_has_no_name(frames: Frames, frame: Frame) -> None:
    """Its bytes stay to be seen, and no signal is read from them."""
    message = frames.message(frame)

    assert ("", {}, str(frame)) == (message.name, message.signals, message.frame)
