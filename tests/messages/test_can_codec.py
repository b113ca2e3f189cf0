"""What is made of frames: the two kinds of identifiers, whole ones and halves, and messages of several kinds."""

import pytest
from can import Message as Came

from benchtest.adapters.can_link import as_heard
from benchtest.messages import EXTENDED, CanCodec

DATABASE = """VERSION ""
BU_: board host
BO_ 291 Order: 3 host
 SG_ Valve : 0|8@1+ (1,0) [0|200] "" board
 SG_ Level : 8|16@1+ (0.1,0) [0|6553.5] "V" board
BO_ 292 Several: 2 host
 SG_ Which M : 0|8@1+ (1,0) [0|255] "" board
 SG_ One m1 : 8|8@1+ (1,0) [0|255] "" board
BO_ 2147483939 Wide: 1 board
 SG_ Pump : 0|8@1+ (1,0) [0|1] "" host
"""
"""A signal database writes an identifier of 29 bits with bit 31 set: 2147483939 is 0x123 in 29 bits."""


@pytest.fixture(scope="module")
def codec() -> CanCodec:
    return CanCodec(DATABASE)


def test_a_whole_frame_has_its_name_and_signals(codec: CanCodec) -> None:
    """Bytes beyond the message's length are no part of it."""
    heard = as_heard(2.0, Came(arbitration_id=0x123, is_extended_id=False, data=b"\x07\xf0\x00\xff"))

    assert heard is not None
    assert codec.decode(heard.identifier, heard.data) == ("Order", {"Valve": 7.0, "Level": 24.0})
    assert (2.0, "123#07F000FF") == (heard.at, codec.written(heard.identifier, heard.data))


def test_the_same_number_in_29_bits_is_another_message(codec: CanCodec) -> None:
    """And is written like the other one, as people write it."""
    heard = as_heard(0.0, Came(arbitration_id=0x123, is_extended_id=True, data=b"\x01\xf0\x00"))

    assert heard is not None
    assert codec.decode(heard.identifier, heard.data) == ("Wide", {"Pump": 1.0})
    assert codec.identifier("Wide") == EXTENDED | 0x123
    assert codec.written(codec.identifier("Wide"), b"\x01") == "123#01"


def test_half_a_frame_is_none() -> None:
    """Fewer bytes came than the frame says that it has: a line of the adapter has lost characters."""
    with pytest.raises(ValueError, match=r"half a frame: 123#07F000, of 8 bytes"):
        as_heard(0.0, Came(arbitration_id=0x123, is_extended_id=False, data=b"\x07\xf0\x00", dlc=8))


def test_remote_and_error_frames_carry_nothing() -> None:
    """They are no messages, whatever their identifier."""
    assert as_heard(0.0, Came(arbitration_id=0x123, is_extended_id=False, is_remote_frame=True, dlc=3)) is None
    assert as_heard(0.0, Came(is_error_frame=True)) is None


@pytest.mark.parametrize(
    ("identifier", "data"),
    [(0x123, b"\x07\xf0"), (0x125, b"\x07\xf0\x00"), (0x124, b"\x09\x00"), (EXTENDED | 0x124, b"\x01\x00")],
    ids=["too short", "unknown", "unknown multiplexer value", "29 bits"],
)
def test_what_the_database_does_not_know_has_no_name(codec: CanCodec, identifier: int, data: bytes) -> None:
    """No signal is read from it."""
    assert codec.decode(identifier, data) == ("", {})


def test_a_frame_of_can_fd_is_none_on_a_bus_that_has_none() -> None:
    """Spoilt text of an adapter can become one, with an identifier in digits of another script."""
    with pytest.raises(ValueError, match=r"a frame of CAN FD on a bus that has none: 320#01"):
        as_heard(0.0, Came(arbitration_id=0x320, is_extended_id=False, is_fd=True, data=b"\x01"))
