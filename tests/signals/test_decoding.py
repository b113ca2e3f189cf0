"""Signals decoded from whole logs at once, against cantools frame by frame."""

from typing import Any

import cantools
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.signals.decoding import Decoded, raw_values, signals
from benchtest.signals.frames import Kind
from tests.signals.bit_by_bit import STANDARD, data_frame, frames_of

DATABASE: Any = cantools.database.load_string(
    """VERSION ""
BU_: Tank
BO_ 257 Levels: 8 Tank
 SG_ sequence : 0|4@1+ (1,0) [0|15] "" Tank
 SG_ level : 4|12@1- (0.25,-10) [0|0] "%" Tank
 SG_ flow : 23|16@0+ (0.1,0) [0|0] "l/min" Tank
 SG_ torque : 38|13@0- (1,0) [0|0] "Nm" Tank
 SG_ state : 62|2@1+ (1,0) [0|3] "" Tank
BO_ 2566844926 Weights: 12 Tank
 SG_ single : 0|32@1- (1,0) [0|0] "kg" Tank
 SG_ double : 39|64@0- (2,1) [0|0] "" Tank
BO_ 300 Pages: 4 Tank
 SG_ page M : 0|4@1+ (1,0) [0|15] "" Tank
 SG_ volts m0 : 8|16@1+ (0.001,0) [0|0] "V" Tank
 SG_ amps m1 : 8|16@1- (0.001,0) [0|0] "A" Tank
 SG_ depth m2M : 8|4@1+ (1,0) [0|15] "" Tank
 SG_ inner m3 : 16|8@1+ (1,0) [0|0] "" Tank
 SG_ always : 24|8@1+ (1,0) [0|0] "" Tank
BO_ 301 Counter: 8 Tank
 SG_ ticks : 0|64@1+ (1,0) [0|0] "" Tank
BO_ 302 Serial: 16 Tank
 SG_ letters : 0|128@1+ (1,0) [0|0] "" Tank
 SG_ tail : 120|8@1+ (1,0) [0|0] "" Tank
SIG_VALTYPE_ 2566844926 single : 1;
SIG_VALTYPE_ 2566844926 double : 2;
VAL_ 257 state 0 "empty" 1 "filling" 3 "full" ;
SG_MUL_VAL_ 300 volts page 0-0;
SG_MUL_VAL_ 300 amps page 1-1;
SG_MUL_VAL_ 300 depth page 2-2;
SG_MUL_VAL_ 300 inner depth 5-7;
""",
    "dbc",
    strict=False,
)
EXTENDED = 2566844926 & 0x1FFFFFFF


def found_in(identifier: int, data: list[bytes], kind: Kind = STANDARD) -> Any:
    """Return what is decoded from frames of one message, one every tenth of a second."""
    log = frames_of([data_frame(identifier, part, kind) for part in data], times=[0.1 * i for i in range(len(data))])
    return signals(log, DATABASE)


def by_cantools(name: str, data: list[bytes]) -> dict[str, list[tuple[int, float]]]:
    """Return signal → (number of the frame, value) as cantools decodes frame by frame; refused frames are left out."""
    found: dict[str, list[tuple[int, float]]] = {}
    for place, part in enumerate(data):
        try:
            decoded = DATABASE.get_message_by_name(name).decode(part, decode_choices=False)
        except cantools.database.DecodeError:
            continue
        for signal, value in decoded.items():
            found.setdefault(signal, []).append((place, float(value)))
    return found


def placed(series: tuple[Decoded, ...]) -> dict[str, list[tuple[int, float]]]:
    """Return signal → (number of the frame, value) of decoded series."""
    return {
        one.signal: list(
            zip(np.rint(one.series.times * 10).astype(int).tolist(), one.series.values.tolist(), strict=True)
        )
        for one in series
    }


def assert_same(name: str, data: list[bytes], series: tuple[Decoded, ...]) -> None:
    """Fail unless both ways to decode say the same of the same frames, to the last digits of a float."""
    expected, found = by_cantools(name, data), placed(series)
    assert {signal: [place for place, _ in pairs] for signal, pairs in expected.items()} == {
        signal: [place for place, _ in pairs] for signal, pairs in found.items()
    }
    for signal, pairs in expected.items():
        values = [value for _, value in pairs]
        assert [value for _, value in found[signal]] == pytest.approx(values, rel=1e-15, abs=1e-12, nan_ok=True)


@given(st.lists(st.binary(min_size=8, max_size=8), min_size=1, max_size=20))
def test_both_byte_orders_and_signs_are_decoded_as_cantools_does(data: list[bytes]) -> None:
    """Little- and big-endian signals across bytes, signed and not, scaled and shifted."""
    assert_same("Levels", data, found_in(257, data).series)


@given(st.lists(st.binary(min_size=12, max_size=12), min_size=1, max_size=20))
def test_floats_are_decoded_as_cantools_does(data: list[bytes]) -> None:
    """IEEE 754 numbers of 32 and 64 bits in an extended frame of flexible data rate, with scale and without."""
    assert_same("Weights", data, found_in(EXTENDED, data, Kind.EXTENDED | Kind.FD).series)


@given(st.lists(st.binary(min_size=0, max_size=6), min_size=1, max_size=20))
def test_multiplexed_signals_are_where_cantools_finds_them(data: list[bytes]) -> None:
    """Pages in pages, values nobody knows, and frames too short: the same frames are decoded, the same left out."""
    assert_same("Pages", data, found_in(300, data).series)


def test_choices_stay_numbers_and_bring_their_words() -> None:
    """A state of 3 is 3.0, and 3 is called full."""
    (state,) = [one for one in found_in(257, [bytes(7) + b"\xc0"]).series if one.signal == "state"]
    assert [3.0] == state.series.values.tolist()
    assert {0: "empty", 1: "filling", 3: "full"} == dict(state.choices)
    assert ("Levels", "") == (state.message, state.unit)


def test_numbers_of_64_bits_are_taken_whole() -> None:
    """The raw number is exact; as a float it has 53 bits."""
    signal = DATABASE.get_message_by_name("Counter").signals[0]
    raw = raw_values(signal, np.array([[0xFF] * 8, [1, 0, 0, 0, 0, 0, 0, 0x80]], np.uint8))
    assert [(1 << 64) - 1, (1 << 63) + 1] == raw.tolist()


def test_a_short_frame_is_an_oddity_and_says_nothing() -> None:
    """Two of four frames lack bytes: they are counted, the first is shown, the others are decoded."""
    found = found_in(257, [bytes(8), b"\x01\x02", bytes(8), b""])
    (oddity,) = found.oddities
    assert (2, 0.1, "0x101#0102") == (oddity.count, oddity.at, oddity.frame)
    assert "Levels: 2 frames shorter than the 8 bytes of the message (first at 0.100000 s: 0x101#0102)" == str(oddity)
    assert [2] * 5 == [one.series.values.size for one in found.series]


def test_an_unknown_multiplexer_value_is_an_oddity_and_shows_the_bytes() -> None:
    """Page 9 is none of the database's; neither is depth 1 on page 2."""
    found = found_in(300, [b"\x00\x10\x00\x00", b"\x09\x00\x00\x07", b"\x02\x01\x00\x00"])
    assert ["0x12C#09000007", "0x12C#02010000"] == [oddity.frame for oddity in found.oddities]
    assert {"page", "volts", "always"} == {one.signal for one in found.series}


def test_frames_stamped_no_later_are_left_out_and_told() -> None:
    """A series goes forward in time; what the clock's step back hides is counted."""
    log = frames_of([data_frame(257, bytes([i] * 8)) for i in range(4)], times=[0.0, 1.0, 0.5, 1.0])
    found = signals(log, DATABASE)
    assert [2] == [oddity.count for oddity in found.oddities]
    assert [0.0, 1.0] == found.series[0].series.times.tolist()


def test_a_signal_that_is_no_number_is_told() -> None:
    """128 bits of letters are not decoded; the byte that lies over them is."""
    found = found_in(302, [bytes(range(16))], Kind.FD)
    assert "letters of 128 bits" in found.oddities[0].found
    assert {"tail": [(0, 15.0)]} == placed(found.series)


def test_only_data_frames_of_the_right_identifier_length_are_decoded() -> None:
    """0x101 in 29 bits is another message, a remote frame asks, an error frame says nothing."""
    kinds = [Kind.EXTENDED, Kind.ERROR]
    log = frames_of([*(data_frame(257, bytes(8), kind) for kind in kinds), (257, Kind.REMOTE, 8, b"")])
    assert ((), ()) == (signals(log, DATABASE).series, signals(log, DATABASE).oddities)


def test_each_channel_has_its_own_series() -> None:
    """Two buses may carry the same message at their own times."""
    log = frames_of([data_frame(301, bytes(8))] * 2, times=[5.0, 1.0], channels=["a", "b"])
    assert [("a", [5.0]), ("b", [1.0])] == [(o.channel, o.series.times.tolist()) for o in signals(log, DATABASE).series]
