"""The board's serial link over a pseudo-terminal: what a far side can do to it, and what is no answer.

The far side is bytes written by the test. Frames are those of the misting board, in bytes, and in text that is asked.
"""

import os
import termios
import tty
from collections.abc import Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import pytest

from benchtest.adapters.serial_link import open_serial
from benchtest.clock import RealClock
from benchtest.errors import AdapterMissing, LinkLost, PlanError
from benchtest.fixture.document import Adapter
from benchtest.instruments import Link, Message
from benchtest.messages import SerialCodec, SerialFormat
from benchtest.procedure import LinkPlan
from benchtest.profile import load_profile
from benchtest.profile.serial_link import SerialLink
from tests.links.misting import written

CLOCK = RealClock()


@dataclass
class Far:
    """The other end of the line."""

    fd: int
    name: str
    codec: SerialCodec

    def say(self, *pieces: bytes) -> None:
        for piece in pieces:
            os.write(self.fd, piece)

    def frame(self, message: str, **signals: float) -> bytes:
        return self.codec.encode(message, signals)

    def hang_up(self) -> None:
        if self.fd >= 0:
            os.close(self.fd)
        self.fd = -1

    def hears(self, message: str, *, within: float = 2.0) -> bool:
        """Return whether a message comes in time."""
        wanted, came, until = self.frame(message), b"", CLOCK.now() + within
        os.set_blocking(self.fd, False)
        while wanted not in came and CLOCK.now() < until:
            try:
                came += os.read(self.fd, 4096)
            except BlockingIOError:
                CLOCK.sleep_until(CLOCK.now() + 0.001)
        return wanted in came


def form_of(folder: Path, *, polled: bool) -> SerialFormat:
    profile, _ = written(folder, fixture="serial", polled=polled)
    link = load_profile(profile).profile.link
    assert isinstance(link, SerialLink)
    return link.resolved()


@pytest.fixture
def far(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Far]:
    """A line whose board speaks in bytes by itself, or in text when it is asked (parameter True)."""
    form = form_of(tmp_path, polled=getattr(request, "param", False))
    master, slave = os.openpty()
    tty.setraw(master)
    far = Far(master, os.ttyname(slave), SerialCodec(form))
    yield far
    far.hang_up()
    os.close(slave)


def opened(far: Far, *, bit_rate: float = 38400) -> AbstractContextManager[Link]:
    plan = LinkPlan(
        database="",
        bit_rate=bit_rate,
        heartbeat="Ask",
        every=0.04,
        terminals="X4.1-X4.2",
        serial=far.codec.form,
    )
    return open_serial(adapter=Adapter(driver="serial"), port=far.name, plan=plan, clock=CLOCK)


def received(link: Link, count: int, *, within: float = 2.0) -> list[Message]:
    """Return what came, once it is so much or time is over."""
    found: list[Message] = []
    until = CLOCK.now() + within
    while len(found) < count and CLOCK.now() < until:
        found += [message for message in link.messages() if not message.sent]
    return found


def watched(link: Link, seconds: float) -> None:
    """Look again and again whether a link is alive."""
    until = CLOCK.now() + seconds
    while CLOCK.now() < until:
        link.check()
        CLOCK.sleep_until(CLOCK.now() + 0.01)


def said(link: Link) -> str:
    return "; ".join(remark.text for remark in link.remarks())


ASKED = pytest.mark.parametrize("far", [True], indirect=True)

# ---------------------------------------------------------------- frames


def test_a_frame_in_pieces_is_one_message(far: Far) -> None:
    """Byte by byte, as a slow line brings it."""
    with opened(far) as link:
        far.say(*(bytes([byte]) for byte in far.frame("State", k1=1, main_ok=1)))
        (message,) = received(link, 1)

    assert "State" == message.name
    assert {"k1": 1.0, "k2": 0.0, "main_ok": 1.0} == {key: message.signals[key] for key in ("k1", "k2", "main_ok")}


def test_a_frame_that_was_cut_off_is_given_up_after_the_gap(far: Far) -> None:
    """The next whole one is heard, and what was thrown away is told."""
    with opened(far) as link:
        far.say(far.frame("State", k1=1)[:5])
        CLOCK.sleep_until(CLOCK.now() + 5 * far.codec.form.gap)
        far.say(far.frame("Beat", sequence=7))
        (message,) = received(link, 1)
        remark = said(link)

    assert ("Beat", 7.0) == (message.name, message.signals["sequence"])
    assert "5 bytes of noise" in remark


@pytest.mark.parametrize("noise", [b"\x00\xff\x13", b"\xaa", b"\xaa\x55\x02", b"\r\n$"])
def test_noise_between_frames_costs_no_frame(far: Far, noise: bytes) -> None:
    """Also noise that looks like a beginning."""
    with opened(far) as link:
        far.say(far.frame("Beat", sequence=1), noise, far.frame("Beat", sequence=2))
        found = received(link, 2)

    assert [("Beat", 1.0), ("Beat", 2.0)] == [(one.name, one.signals["sequence"]) for one in found]


def test_a_wrong_checksum_is_no_message_and_is_told(far: Far) -> None:
    """Thrown away, counted, and the line goes on."""
    frame = far.frame("State", k1=1)
    with opened(far) as link:
        far.say(frame[:-1] + bytes([frame[-1] ^ 0x10]), far.frame("Beat", sequence=3))
        found = received(link, 1)
        remark = said(link)
        again = said(link)

    assert ["Beat"] == [one.name for one in found]
    assert "1 broken frames" in remark
    assert "" == again


# ---------------------------------------------------------------- questions and answers


@ASKED
def test_an_answer_in_time_is_taken(far: Far) -> None:
    """It is the one that was asked for."""
    with opened(far) as link:
        link.send("Ask", {})
        assert far.hears("Ask")
        far.say(far.frame("State", k1=1, supply=24))
        (message,) = received(link, 1)

    assert ("State", 1.0, 24.0) == (message.name, message.signals["k1"], message.signals["supply"])


@ASKED
@pytest.mark.parametrize("overtaken", [False, True], ids=["before", "after the next question"])
def test_a_late_answer_is_never_taken_for_the_next_one(far: Far, overtaken: bool) -> None:
    """Kept as it came, without a name, and told; one whole exchange later an answer is believed again."""
    with opened(far) as link:
        link.send("Ask", {})
        assert far.hears("Ask")
        CLOCK.sleep_until(CLOCK.now() + 0.06)  # within: 20 ms, and its bytes on the wire
        if overtaken:
            link.send("Ask", {})
            assert far.hears("Ask")
        far.say(far.frame("State", k1=1))
        (late,) = received(link, 1)
        for _ in range(2):
            link.send("Ask", {})
            assert far.hears("Ask")
            far.say(far.frame("State", k1=0))
            (answer,) = received(link, 1)
        remark = said(link)

    assert ("", {}) == (late.name, late.signals)
    assert ("State", 0.0) == (answer.name, answer.signals["k1"])
    assert "1 questions without an answer in time" in remark


@ASKED
def test_a_second_copy_of_an_answer_answers_nothing(far: Far) -> None:
    """One question, one answer."""
    with opened(far) as link:
        link.send("Ask", {})
        assert far.hears("Ask")
        far.say(far.frame("State", k1=1), far.frame("State", k1=1))
        found = received(link, 2)

    assert ["State", ""] == [message.name for message in found]


@ASKED
def test_nothing_is_said_while_an_answer_is_awaited(far: Far) -> None:
    """An order goes when the answer has come; here it never comes, and the order waits out its time."""
    with opened(far) as link:
        asked = link.send("Ask", {})
        ordered = link.send("Order", {"mist": 1})

    assert ordered - asked >= 0.02


# ---------------------------------------------------------------- the port


def test_a_line_that_is_pulled_is_told_at_the_next_call(far: Far) -> None:
    """LinkLost, by the thread that reads."""
    with opened(far) as link:
        far.hang_up()
        with pytest.raises(LinkLost, match=far.name):
            watched(link, 2.0)


def test_a_line_that_is_well_is_alive(far: Far) -> None:
    """Silence is no death: the thread comes back from the port again and again."""
    with opened(far) as link:
        CLOCK.sleep_until(CLOCK.now() + 0.3)
        link.check()
        assert [] == received(link, 1, within=0.1)


@pytest.mark.parametrize(("stop_bits", "parity"), [(1, "none"), (2, "odd")])
def test_speed_and_characters_of_the_board_reach_the_port(
    far: Far, stop_bits: Literal[1, 2], parity: Literal["none", "odd"]
) -> None:
    """Whether there is a parity, a pseudo-terminal of Linux does not keep (drivers/tty/pty.c), but which one."""
    far.codec = SerialCodec(replace(far.codec.form, stop_bits=stop_bits, parity=parity))
    with opened(far, bit_rate=19200):
        _, _, control, _, into, out, _ = termios.tcgetattr(far.fd)

    assert (termios.B19200, termios.B19200) == (into, out)
    assert (2 == stop_bits) == bool(control & termios.CSTOPB)
    assert ("odd" == parity) == bool(control & termios.PARODD)


def test_a_port_that_is_not_there_says_what_to_try(far: Far) -> None:
    """Nothing was sent."""
    far.name = "/dev/none"
    with pytest.raises(AdapterMissing, match="/dev/none"), opened(far):
        pass


def test_a_board_on_a_can_bus_is_not_spoken_to_over_a_serial_port(far: Far) -> None:
    """The plan says that it is one."""
    plan = LinkPlan(database="x", bit_rate=125e3, heartbeat="Ask", every=0.04, terminals="X4.1-X4.2")
    line = open_serial(adapter=Adapter(driver="serial"), port=far.name, plan=plan, clock=CLOCK)
    with pytest.raises(PlanError, match="try driver can"), line:
        pass
