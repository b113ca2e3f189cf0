"""A stream of bytes → whole, sound frames. Owns no port and no clock.

Nothing is believed before it is whole: what begins, ends, and carries its checksum as the format says is a frame, and
anything else is thrown away byte by byte until a frame begins again, and counted. So after noise, a lost byte or a cut
frame the next whole frame is found, also where the noise looked like a beginning. A frame whose rest does not come
is given up when whoever owns the clock says that the line is quiet.
"""

from typing import Final

from benchtest.messages.checksums import CHECKSUMS
from benchtest.messages.format import SerialFormat, byte_order

NOT_HERE: Final = 0
"""No frame begins at this byte."""


class Splitter:
    """The receiving end of one line."""

    def __init__(self, form: SerialFormat) -> None:
        self.noise = 0
        """Bytes thrown away."""
        self.broken = 0
        """Pieces that began and ended like a frame and were none: a wrong checksum, a wrong end."""
        self._form = form
        self._begins, self._ends = bytes.fromhex(form.begins), bytes.fromhex(form.ends)
        self._pending = b""

    @property
    def waits(self) -> bool:
        """Whether a frame has begun whose rest has yet to come."""
        return bool(self._pending)

    def feed(self, data: bytes) -> list[bytes]:
        """Take bytes and return the frames that are whole now, in order."""
        stream, at = self._pending + data, 0
        frames: list[bytes] = []
        while at < len(stream):
            length = self._length(stream, at)
            if length is None:
                break
            frame = stream[at : at + length]
            if length and self._sound(frame):
                frames.append(frame)
                at += length
                continue
            self.broken += bool(length)
            thrown = length if length and not self._begins and self._by_its_end else 1
            self.noise += thrown
            at += thrown
        self._pending = stream[at:]
        return frames

    def quiet(self) -> list[bytes]:
        """Give up what waits for its rest, and return the whole frames behind the false beginning, if any."""
        frames: list[bytes] = []
        while self._pending:
            self._pending = self._pending[1:]
            self.noise += 1
            frames += self.feed(b"")
        return frames

    @property
    def _by_its_end(self) -> bool:
        return not self._form.length and self._form.length_at is None

    def _length(self, stream: bytes, at: int) -> int | None:
        """Return the length of the frame that begins at a byte: NOT_HERE when none does, None to wait for more."""
        came = stream[at : at + len(self._begins)]
        if came != self._begins[: len(came)]:
            return NOT_HERE
        if len(came) < len(self._begins):
            return None
        if self._by_its_end:
            return self._up_to_its_end(stream, at)
        length = self._form.length or self._stated(stream, at)
        if length is None or length == NOT_HERE:
            return length
        return length if len(stream) - at >= length else None

    def _up_to_its_end(self, stream: bytes, at: int) -> int | None:
        most = at + self._form.longest
        end = stream.find(self._ends, at + len(self._begins), most)
        if end >= 0:
            return end + len(self._ends) - at
        return None if len(stream) < most else NOT_HERE

    def _stated(self, stream: bytes, at: int) -> int | None:
        form = self._form
        assert form.length_at is not None
        begin, end = at + form.length_at, at + form.length_at + form.length_bytes
        if len(stream) < end:
            return None
        length = int.from_bytes(stream[begin:end], byte_order(form.length_low_byte_first)) + form.length_adds
        shortest = form.length_at + form.length_bytes + _checksum_length(form) + len(self._ends)
        return length if shortest <= length <= form.longest else NOT_HERE

    def _sound(self, frame: bytes) -> bool:
        return frame.endswith(self._ends) and checksum_holds(self._form, frame)


def _checksum_length(form: SerialFormat) -> int:
    if not form.checksum:
        return 0
    length = CHECKSUMS[form.checksum][1]
    return length if form.kind == "bytes" else 2 * length + len(form.checksum_after.encode("ascii"))


def checksum_of(form: SerialFormat, covered: bytes) -> bytes:
    """Return what stands for the checksum of a frame whose bytes up to there are `covered`, digits in text."""
    if not form.checksum:
        return b""
    found = CHECKSUMS[form.checksum][0](covered[form.checksum_from :])
    return found if form.kind == "bytes" else (form.checksum_after + found.hex().upper()).encode("ascii")


def checksum_holds(form: SerialFormat, frame: bytes) -> bool:
    """Return whether the checksum of a whole frame is what it must be; small digits are read too."""
    if not form.checksum:
        return True
    begin = body_end(form, frame)
    if begin < 0:
        return False
    wanted, found = checksum_of(form, frame[:begin]), frame[begin : len(frame) - len(form.ends) // 2]
    return wanted == found or (form.kind == "text" and wanted.upper() == found.upper())


def body_end(form: SerialFormat, frame: bytes) -> int:
    """Return where the body of a whole frame ends: before its checksum and its last bytes."""
    return len(frame) - len(form.ends) // 2 - _checksum_length(form)
