"""Frames out of a stream: nothing raises, noise is counted, the next whole frame is found."""

from hypothesis import given, settings
from hypothesis import strategies as st

from benchtest.messages import SerialCodec, Splitter
from benchtest.profile import load_profile
from benchtest.profile.serial_link import BytesLink
from tests.links.misting import BOARDS

LINK = load_profile(BOARDS / "misting.yaml").profile.link
assert isinstance(LINK, BytesLink)
FORM = LINK.resolved()


def test_an_order_is_written_as_the_profile_says() -> None:
    """Begin, length, mark and bits, and the signals come back."""
    frame = SerialCodec(FORM).encode("Order", {"mist": 1, "fan": 1})

    assert bytes.fromhex("AA55020203") == frame[:5]
    assert ("Order", {"mist": 1.0, "fan": 1.0}) == SerialCodec(FORM).decode(0, frame)


@settings(max_examples=200)
@given(st.binary(max_size=300), st.integers(0, 3))
def test_any_noise_is_survived_and_the_next_frame_found(noise: bytes, count: int) -> None:
    """Whatever came before: after it and a quiet line, whole frames are found, and none is invented or lost."""
    splitter, frame = Splitter(FORM), SerialCodec(FORM).encode("Order", {"mist": 1})
    found = splitter.feed(noise) + splitter.feed(frame * count) + splitter.quiet()

    assert count <= found.count(frame)
    assert len(noise) + count * len(frame) == splitter.noise + sum(map(len, found))


def test_a_wrong_checksum_is_no_frame() -> None:
    """One bit off: thrown away and counted as broken."""
    splitter, frame = Splitter(FORM), SerialCodec(FORM).encode("Order", {})
    found = splitter.feed(frame[:-1] + bytes([frame[-1] ^ 1])) + splitter.quiet()

    assert ([], 1) == (found, splitter.broken)
