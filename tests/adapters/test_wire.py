"""The host's side of the wire: published examples, and any bytes at all."""

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.adapters import wire
from benchtest.errors import AdapterGarbled
from tests.published import scpi

NOISE = st.one_of(st.binary(max_size=200), st.text('0123456789;#"\n\r,.@(:)-+E', max_size=200).map(str.encode))


@pytest.mark.parametrize(("text", "value"), scpi.NUMBERS.items())
def test_number_forms_are_read(text: str, value: float) -> None:
    """NR1, NR2 and NR3 are read as printed in IEEE 488.2."""
    assert value == wire.read_number(text)


def test_infinity_and_not_a_number_have_their_own_values() -> None:
    """9.9E37 is infinite and 9.91E37 no number (SCPI-99 volume 1, 7.2.1)."""
    assert (math.inf, -math.inf) == (wire.read_number("9.9E37"), wire.read_number("-9.90000E+37"))
    assert math.isnan(wire.read_number("9.91E+37"))
    assert ("9.9E37", "-9.9E37") == (wire.number(math.inf), wire.number(-math.inf))


@pytest.mark.parametrize("block", scpi.BLOCKS)
def test_definite_blocks_are_read(block: bytes) -> None:
    """The two printed spellings of a block of four bytes give the same four bytes."""
    replies = wire.Replies()
    replies.feed(b"7;" + block + b";0\n")

    assert ("7", b"abcd", "0") == replies.next_reply()


@pytest.mark.parametrize(("text", "channels"), scpi.CHANNEL_LISTS.items())
def test_channel_lists_are_read(text: str, channels: tuple[int, ...]) -> None:
    """Lists and ranges are read in their order; a reversed range counts down."""
    assert channels == wire.read_channels(text)


def test_errors_are_read_with_or_without_sign() -> None:
    """Queued errors come oldest first; +0 and -000 are no error, as some instruments print them."""
    assert () == wire.read_errors('+0,"No error"') == wire.read_errors('-000,"No error"')
    found = wire.read_errors('-113,"Undefined header;""A""",-222,"Data out of range"')
    assert [(-113, 'Undefined header;"A"'), (-222, "Data out of range")] == [(e.code, e.text) for e in found]


@given(st.lists(st.integers(101, 999), max_size=40))
def test_channel_lists_are_written_as_they_are_read(channels: list[int]) -> None:
    """Reading a written channel list gives the channels back, in order."""
    assert tuple(channels) == wire.read_channels(wire.channel_list(channels))


@given(st.floats(allow_nan=False, min_value=-9.8e37, max_value=9.8e37))
def test_numbers_keep_every_digit(value: float) -> None:
    """A number arrives as the very float that was sent."""
    assert value == wire.read_number(wire.number(value))


def test_not_a_number_is_never_sent() -> None:
    """NaN cannot become an order."""
    with pytest.raises(ValueError, match="nan"):
        wire.number(math.nan)


@given(NOISE, st.integers(1, 50))
def test_any_bytes_give_replies_or_our_error(noise: bytes, piece: int) -> None:
    """Whatever comes, in pieces of whatever size, there are replies or AdapterGarbled, and it ends."""
    replies = wire.Replies()
    for at in range(0, len(noise), piece):
        replies.feed(noise[at : at + piece])
        for _ in range(len(noise) + 1):
            try:
                if replies.next_reply() is None:
                    assert replies.wanted >= 1
                    break
            except AdapterGarbled:
                continue
        else:
            raise AssertionError("the reader does not come to an end")


@given(st.lists(st.binary(max_size=60), min_size=1, max_size=4), st.integers(1, 30))
def test_blocks_of_any_bytes_arrive_whole_in_pieces(blocks: list[bytes], piece: int) -> None:
    """Blocks with line feeds, semicolons and quotation marks inside arrive as they were sent, however cut."""
    parts = [b"#%d%d%b" % (len(str(len(block))), len(block), block) for block in blocks]
    message = b"12;" + b";".join(parts) + b';0,"No; ""error"\n'
    replies = wire.Replies()
    found = []
    for at in range(0, len(message), piece):
        replies.feed(message[at : at + piece])
        if reply := replies.next_reply():
            found.append(reply)

    assert [("12", *blocks, '0,"No; ""error"')] == found


@given(NOISE.map(lambda noise: noise.decode("latin-1")))
def test_any_text_is_a_value_or_our_error(text: str) -> None:
    """Every reader of a unit gives a value or AdapterGarbled."""
    readers = (
        wire.read_number, wire.read_integer, wire.read_channels, wire.read_errors, wire.read_supply_state,
        wire.read_done, lambda form: wire.read_recording(form, "0", b""),
    )  # fmt: skip
    for reader in readers:
        try:
            reader(text)
        except AdapterGarbled:
            continue


def test_recording_with_missing_bytes_is_garbage() -> None:
    """A block shorter than its description is never a recording."""
    form, data = "1000.0,2,0,1,401,0.5,0.25", b"\x01\x00\xff\xff"

    assert [0.75, -0.25] == list(wire.read_recording(form, "0", data).samples(401))
    with pytest.raises(AdapterGarbled, match="got 3 bytes"):
        wire.read_recording(form, "0", data[:3])


def test_endless_replies_are_given_up() -> None:
    """A mebibyte without an end, or a block of a gigabyte, is garbage, not memory."""
    replies = wire.Replies()
    replies.feed(b"1" * (wire.TEXT_LENGTH + 1))
    with pytest.raises(AdapterGarbled):
        replies.next_reply()
    replies.feed(b"#9999999999")
    with pytest.raises(AdapterGarbled):
        replies.next_reply()


@given(st.text('0123456789;"\r.,', max_size=60))
def test_the_short_way_reads_as_the_long_one(text: str) -> None:
    """A line that is taken at once has the units that it has when it comes byte by byte."""
    line = f"{text}\n".encode()
    at_once, byte_by_byte = wire.Replies(), wire.Replies()
    at_once.feed(line)
    try:
        whole = at_once.next_reply()
    except AdapterGarbled:
        whole = None
    found = None
    try:
        for place in range(len(line)):
            byte_by_byte.feed(line[place : place + 1])
            found = byte_by_byte.next_reply() or found
    except AdapterGarbled:
        found = None

    assert whole == found


@pytest.mark.parametrize(
    "read",
    [
        lambda: wire.read_finite("9.91E37"),
        lambda: wire.read_finite("9.9E37"),
        lambda: wire.read_finite("1E400"),
        lambda: wire.read_known("9.91E37"),
        lambda: wire.read_supply_state("1,9.91E37,0.1,0"),
        lambda: wire.read_supply_state("1,24.0,9.91E37,0"),
        lambda: wire.read_done("1,9.9E37,1.0,101"),
        lambda: wire.read_done("1,0.01,9.91E37,101"),
        lambda: wire.read_recording("1000.0,0,0,1,401,9.91E37,0.0", "0", b""),
        lambda: wire.read_recording("1000.0,0,0,1,401,0.5,9.9E37", "0", b""),
        lambda: wire.read_recording("1000.0,0,0,1,401,0.0,0.5", "0", b""),
    ],
)
def test_what_is_reckoned_with_is_a_number(read: Callable[[], object]) -> None:
    """A moment, a scale or an offset is finite, and what a supply gives is a value: else the answer is garbled."""
    with pytest.raises(AdapterGarbled):
        read()


def test_over_range_and_open_are_values() -> None:
    """A supply may read over its range, and an order may open a resistance."""
    assert math.inf == wire.read_supply_state("1,9.9E37,0.1,1").volts
    assert math.inf == wire.read_done("1,0.01,9.9E37,601")[0].value
