"""Lengths of classic CAN frames and their CRC, against published figures."""

import numpy as np
import pytest
from crccheck.crc import Crc15Can
from hypothesis import given
from hypothesis import strategies as st

from benchtest.signals.bus_load import bus_load, lengths
from benchtest.signals.can_bits import INTERFRAME, crc15, most_stuff_bits, plain_bits, stuff_bits
from benchtest.signals.frames import Kind
from tests.signals.bit_by_bit import data_frame, frames_of

LONGEST = [
    # data bytes; 11 bits: bits, most stuff bits, longest with interframe space; 29 bits: the same
    (0, 44, 8, 55, 64, 13, 80),
    (1, 52, 10, 65, 72, 15, 90),
    (2, 60, 12, 75, 80, 17, 100),
    (3, 68, 14, 85, 88, 19, 110),
    (4, 76, 16, 95, 96, 21, 120),
    (5, 84, 18, 105, 104, 23, 130),
    (6, 92, 20, 115, 112, 25, 140),
    (7, 100, 22, 125, 120, 27, 150),
    (8, 108, 24, 135, 128, 29, 160),
]
"""R. Davis et al., "Controller Area Network (CAN) schedulability analysis: refuted, revisited and revised", Real-Time
Systems 35 (2007): a frame takes at most (55 + 10 s) bit times with an 11-bit identifier and (80 + 10 s) with one of 29
bits, three of interframe space included (from memory; the columns between were computed apart)."""


@pytest.mark.parametrize(("size", "plain", "stuff", "longest", "plain29", "stuff29", "longest29"), LONGEST)
def test_the_longest_frame(
    size: int, plain: int, stuff: int, longest: int, plain29: int, stuff29: int, longest29: int
) -> None:
    """Bits before stuffing, most stuff bits and the longest frame for every data length and both identifiers."""
    log = frames_of([data_frame(0x123, bytes(size)), data_frame(0x123, bytes(size), Kind.EXTENDED)])
    places = np.arange(2)
    assert [plain, plain29] == plain_bits(log, places).tolist()
    assert [stuff, stuff29] == most_stuff_bits(log, places).tolist()
    found = plain_bits(log, places) + most_stuff_bits(log, places) + INTERFRAME
    assert [longest, longest29] == found.tolist() == [55 + 10 * size, 80 + 10 * size]


@pytest.mark.parametrize(
    ("identifier", "data", "bits"),
    [
        (0x000, "", 50),
        (0x123, "", 45),
        (0x7FF, "00 00 00 00 00 00 00 00", 123),
        (0x123, "00 CA 22 FF 55 66 AA DF", 112),
    ],
)
def test_frames_worked_out_bit_by_bit(identifier: int, data: str, bits: int) -> None:
    """Frames with 11-bit identifiers, worked out apart by a program of its own (no published source)."""
    log = frames_of([data_frame(identifier, bytes.fromhex(data))])
    assert [bits] == (plain_bits(log, np.array([0])) + stuff_bits(log, np.array([0]))).tolist()


def test_the_check_value_of_the_crc() -> None:
    """CRC-15/CAN of "123456789" is 0x059E (G. Cook, Catalogue of parametrised CRC algorithms, from memory)."""
    assert 0x059E == crc15(b"123456789") == Crc15Can.calc(b"123456789")


@given(st.binary(max_size=80))
def test_the_crc_is_that_of_a_library(octets: bytes) -> None:
    """The library crccheck computes the same for any bytes."""
    assert Crc15Can.calc(octets) == crc15(octets)


@pytest.mark.parametrize(("kind", "share"), [(Kind(0), 0.108), (Kind.EXTENDED, 0.128)])
def test_worst_load_of_a_bus(kind: Kind, share: float) -> None:
    """A hundred frames of 8 bytes a second at 125 kbit/s: 10.8 % with 11 bits, 12.8 % with 29."""
    log = frames_of([data_frame(0x123, bytes(8), kind)] * 101, times=[place / 100 for place in range(101)])
    found = bus_load(log, found=lengths(log), channel="", bit_rate=125e3)
    assert found.most_load == pytest.approx(share, rel=1e-12)
    assert found.load is not None
    assert found.load < share
