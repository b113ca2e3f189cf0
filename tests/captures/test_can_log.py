"""Logs of CAN buses as python-can's own writers write them, whole, cut off, damaged and strange."""

import gzip
import logging
import sqlite3
import tracemalloc
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from random import Random

import can
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchtest.captures.can_files import MOST_BLOCK, MOST_SIGNS
from benchtest.captures.can_log import CanLog, read_can_log
from benchtest.errors import DocumentError
from benchtest.signals.frames import Frames, Kind
from benchtest.signals.traffic import traffic

TEXT = [".asc", ".csv", ".log", ".trc"]
FORMS = [*TEXT, ".blf", ".db"]
PACKED = [".asc.gz", ".csv.gz", ".log.gz", ".trc.gz", ".blf.gz"]
BEGIN = 1_700_000_000.0


def plain_messages(count: int = 60) -> list[can.Message]:
    """Return data frames of both identifier lengths, 10 ms apart, as every form can hold them."""
    random = Random(1)
    return [
        can.Message(
            timestamp=BEGIN + place / 100,
            arbitration_id=random.getrandbits(29 if place % 3 else 11),
            is_extended_id=bool(place % 3),
            data=random.randbytes(random.randrange(9)),
            channel=0,
        )
        for place in range(count)
    ]


def written(path: Path, messages: Sequence[can.Message]) -> Path:
    """Return the path of a log that python-can has written; packed by the suffix."""
    plain = path.with_suffix("") if path.suffix == ".gz" else path
    writer = can.Logger(plain)
    for message in messages:
        writer(message)
    writer.stop()
    if path.suffix == ".gz":
        path.write_bytes(gzip.compress(plain.read_bytes()))
    return path


def as_messages(frames: Frames, begin: float) -> list[tuple[float, int, bool, bytes]]:
    """Return stamp to the tenth of a millisecond, identifier, its length and data of each frame."""
    cuts = np.split(frames.data, np.cumsum(frames.size)[:-1])
    times = [round(float(time) + begin, 4) for time in frames.time]
    extended = frames.of_kind(Kind.EXTENDED).tolist()
    return list(zip(times, frames.identifier.tolist(), extended, [cut.tobytes() for cut in cuts], strict=True))


def read_text(folder: Path, name: str, text: str) -> CanLog:
    """Return what is read from a log with this text."""
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return read_can_log(path)


@pytest.mark.parametrize("suffix", [*FORMS, *PACKED])
def test_what_was_written_is_read(tmp_path: Path, suffix: str) -> None:
    """Every form that python-can writes gives the same frames at the same moments, with nothing to say."""
    messages = plain_messages()
    log = read_can_log(written(tmp_path / f"bus{suffix}", messages))
    begin = BEGIN if suffix.startswith(".asc") else log.begin  # this form counts from its own beginning
    assert () == log.notes
    assert log.begin == pytest.approx(0.0 if suffix.startswith(".asc") else BEGIN, abs=1e-4)
    assert [
        (round(m.timestamp, 4), m.arbitration_id, m.is_extended_id, bytes(m.data)) for m in messages
    ] == as_messages(log.frames, begin)
    assert 0.0 == log.frames.time[0]


@pytest.mark.parametrize("suffix", [".asc", ".blf", ".csv", ".db", ".log"])
def test_every_kind_of_frame_is_told_as_far_as_the_form_can(tmp_path: Path, suffix: str) -> None:
    """Sent, remote, error and flexible frames; CSV and databases cannot say who sent, nor the bit rate."""
    messages = [
        can.Message(timestamp=1.0, arbitration_id=1, is_extended_id=False, data=b"\1", is_rx=False, channel=0),
        can.Message(timestamp=1.1, arbitration_id=2, is_extended_id=False, is_remote_frame=True, channel=0),
        can.Message(timestamp=1.2, is_error_frame=True, channel=0),
        can.Message(timestamp=1.3, arbitration_id=3, data=bytes(24), is_fd=True, bitrate_switch=True, channel=0),
    ]
    frames = read_can_log(written(tmp_path / f"bus{suffix}", messages)).frames
    says = suffix in {".asc", ".blf", ".log"}
    flexible = Kind.EXTENDED | Kind.FD | (Kind.RATE_SWITCH if says else Kind(0))
    assert [Kind.SENT if says else Kind(0), Kind.REMOTE, Kind.ERROR, flexible] == [Kind(k) for k in frames.kind]
    assert [1, 0, 0, 24] == frames.size.tolist()
    assert 1 == len(frames.channels)


@pytest.mark.parametrize(("suffix", "names"), [(".asc", ("1", "3")), (".blf", ("1", "3")), (".log", ("can0", "can2"))])
def test_channels_are_called_as_in_the_file(tmp_path: Path, suffix: str, names: tuple[str, str]) -> None:
    """What python-can calls 0 and 2 is 1 and 3 in two of the forms, and a device in the third."""
    messages = plain_messages()
    for message in messages[::2]:
        message.channel = 2
    log = read_can_log(written(tmp_path / f"bus{suffix}", messages))
    assert set(names) == set(log.frames.channels)
    assert 30 == sum(log.frames.channel == log.frames.channels.index(names[0]))


def test_the_facts_of_a_log_do_not_depend_on_its_form(tmp_path: Path) -> None:
    """Rows and bits are the same whatever the log was kept in."""
    logs = [read_can_log(written(tmp_path / f"bus{suffix}", plain_messages(400))) for suffix in FORMS]
    found = [traffic(log.frames, bit_rate=125e3) for log in logs]
    assert 1 == len({tuple((row.identifier, row.count) for row in one.rows) for one in found})
    assert 1 == len({one.buses[0].bits for one in found})


def test_the_kernels_error_frames_are_error_frames_of_every_class(tmp_path: Path) -> None:
    """Bit 29 marks them (linux/can/error.h); a controller's problem (class 4) is no data frame with identifier 4."""
    text = "(1.000000) can0 20000004#0004000000000000\n(1.100000) can0 20000080#0000000000000000\n(1.2) can0 004#\n"
    frames = read_text(tmp_path, "bus.log", text).frames
    assert [Kind.ERROR, Kind.ERROR, Kind(0)] == [Kind(kind) for kind in frames.kind]
    assert ("can0",) == frames.channels


def test_a_bad_line_is_named(tmp_path: Path) -> None:
    """A line that is none of candump's, with more behind it, is an error with its number."""
    with pytest.raises(DocumentError, match=r"bus\.log:2:1: not a line of this kind of log") as caught:
        read_text(tmp_path, "bus.log", "(1.0) can0 123#00\nnot a frame\n(2.0) can0 123#00\n")
    assert 2 == caught.value.problems[0].line


def test_a_log_cut_off_in_its_last_line_is_read_up_to_there(tmp_path: Path) -> None:
    """Half a line at the end, or zeros where the disk lost power, is a note, not an error."""
    for tail in ("(3.0) ca", "\n\0\0\0\0\0\0", "(3.0) ca\n\n"):
        log = read_text(tmp_path, "bus.log", f"(1.0) can0 123#00\n(2.0) can0 123#00\n{tail}")
        assert 2 == len(log.frames)
        assert "cut off in line" in log.notes[0]


def test_a_last_frame_without_an_end_is_not_trusted(tmp_path: Path) -> None:
    """Candump has no length in its lines: `123#00` may have been `123#0011`."""
    log = read_text(tmp_path, "bus.log", "(1.0) can0 123#0011\n(2.0) can0 123#00")
    assert 1 == len(log.frames)
    assert "the last line, 2, has no end" in log.notes[0]


@pytest.mark.parametrize("suffix", [".blf", ".log.gz", ".blf.gz", ".asc.gz"])
def test_a_binary_or_packed_log_cut_off_is_read_up_to_there(tmp_path: Path, suffix: str) -> None:
    """Two thirds of the bytes give fewer frames and a note."""
    path = written(tmp_path / f"bus{suffix}", plain_messages(20_000))
    path.write_bytes(path.read_bytes()[: path.stat().st_size * 2 // 3])
    log = read_can_log(path)
    assert 1000 < len(log.frames) < 20_000
    assert "cut off" in log.notes[0]


def test_frames_that_cannot_be_are_left_out_and_counted(tmp_path: Path) -> None:
    """Identifiers too large, data that do not fit the length, no time: three notes with the first line of each."""
    lines = ["timestamp,arbitration_id,extended,remote,error,dlc,data"]
    lines += ["1.0,0x801,0,0,0,0,", "1.0,0x20000000,1,0,0,0,", "1.0,0x900,0,0,0,0,"]
    lines += ["1.0,0x100,0,0,0,4,AAA=", "nan,0x100,0,0,0,0,", "2.0,0x100,0,0,0,2,AAA=", "2.5,0x1,0,1,0,77,"]
    log = read_text(tmp_path, "bus.csv", "\n".join([*lines, "3.0,0x100,0,0,0,0,\n"]))
    assert [0.0, 1.0] == log.frames.time.tolist()
    assert {
        "left out: 2 frames with an identifier of more than 11 bits (first: line 2)",
        "left out: 1 frame with an identifier of more than 29 bits (first: line 3)",
        "left out: 1 frame with other data than the length says (first: line 5)",
        "left out: 1 frame without a time (first: line 6)",
        "left out: 1 frame asking for more data than there can be (first: line 8)",
    } == set(log.notes)


def test_entries_that_the_reader_skips_are_counted_and_not_printed(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Bus events of a trace are of no kind that is read; the reader's complaint becomes a note."""
    head = ";$FILEVERSION=2.1\n;$STARTTIME=43008.9\n;$COLUMNS=N,O,T,B,I,d,R,L,D\n"
    line = "1 {time}.0 {kind} 1 0123 Rx - 2 01 02\n"
    text = head + line.format(time=1, kind="DT") + line.format(time=2, kind="ER") + line.format(time=3, kind="ST")
    log = read_text(tmp_path, "bus.trc", text)
    assert 1 == len(log.frames)
    assert "entries of a kind that is not read: 2" in log.notes[0]
    assert "'ER'" in log.notes[0]
    assert [] == caplog.records
    assert logging.NOTSET == logging.getLogger("can.io").level
    assert logging.getLogger("can.io").propagate


def test_a_log_larger_than_the_memory_is_read_in_part(tmp_path: Path) -> None:
    """Reading ends with a note when the frames take more than they may."""
    path = tmp_path / "bus.log"
    path.write_text("".join(f"({i}.0) can0 123#0011223344556677\n" for i in range(60_000)), encoding="utf-8")
    log = read_can_log(path, most_held=900_000)
    assert 900_000 / 24 < len(log.frames) < 60_000
    assert "split it" in log.notes[0]
    assert 60_000 == len(read_can_log(path).frames)


def test_a_frame_takes_some_twenty_five_bytes(tmp_path: Path) -> None:
    """Two gigabytes of candump are some 45 million frames of 8 bytes; arrays hold them, objects would not."""
    path = tmp_path / "bus.log"
    count = 50_000
    path.write_text("".join(f"({i}.0) can0 123#0011223344556677\n" for i in range(count)), encoding="utf-8")
    read_can_log(path)  # what is imported and cached once does not count
    tracemalloc.start()
    try:
        log = read_can_log(path)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert count == len(log.frames)
    assert peak < 40 * count


def test_a_database_is_read_and_not_touched(tmp_path: Path) -> None:
    """Neither the file's bytes nor its neighbours change; a view that calls itself messages is refused."""
    path = written(tmp_path / "bus.db", plain_messages())
    before = path.read_bytes()
    path.chmod(0o444)
    read_can_log(path)
    assert before == path.read_bytes()
    assert [path] == list(tmp_path.iterdir())
    with closing(sqlite3.connect(tmp_path / "view.db")) as connection:
        connection.execute("CREATE VIEW messages AS SELECT 1 AS ts")
    with pytest.raises(DocumentError, match="no table named messages"):
        read_can_log(tmp_path / "view.db")


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("bus.txt", b"x", r"'\.txt' is not a suffix of a CAN log \(known are \.asc, .*\.trc, and each with \.gz"),
        ("bus", b"x", "no suffix tells the form"),
        ("bus.gz", b"x", "no suffix tells the form"),
        ("bus.db.gz", b"x", r"a packed \.db log cannot be read \(unpack it"),
        ("bus.log", b"", "the file is empty"),
        ("bus.log", b"\n\n", "no CAN frame is in this file"),
        ("bus.asc", b"date today\nbase hex\n", "no CAN frame is in this file"),
        ("bus.csv", b"timestamp,arbitration_id\n", "no CAN frame is in this file"),
        ("bus.blf", b"LOGG", r"not a readable \.blf log"),
        ("bus.blf", b"MZ" + bytes(400), r"not a readable \.blf log: Unexpected file format"),
        ("bus.db", b"no database", r"not a readable \.db log: file is not a database"),
        ("bus.log.gz", b"not packed at all", "no CAN frame is in this file"),
        ("bus.mf4", b"MDF     4.10", "asammdf is needed"),
        ("bus.log", b"x" * (MOST_SIGNS + 1) + b"\n(1.0) can0 1#\n", f"a line of {MOST_SIGNS} signs or more"),
    ],
)
def test_what_is_no_log_is_told_in_a_sentence(tmp_path: Path, name: str, content: bytes, said: str) -> None:
    """Unknown suffixes, empty files, foreign bytes: where, what was found, what to try."""
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(DocumentError, match=said):
        read_can_log(path)


def test_a_file_that_is_not_there_is_told_and_not_made(tmp_path: Path) -> None:
    """A database that nobody recorded is not created by looking for it; a folder is no log."""
    with pytest.raises(DocumentError, match="there is no such file"):
        read_can_log(tmp_path / "bus.db")
    (tmp_path / "folder.log").mkdir()
    with pytest.raises(DocumentError, match="this is not a file"):
        read_can_log(tmp_path / "folder.log")
    assert [tmp_path / "folder.log"] == list(tmp_path.iterdir())


def test_a_block_of_absurd_size_is_not_asked_for(tmp_path: Path) -> None:
    """A damaged size field makes python-can ask for gigabytes, or for all there is; it gets neither."""
    path = written(tmp_path / "bus.blf", plain_messages())
    whole = bytearray(path.read_bytes())
    for size in (0, MOST_BLOCK + 17, 0xFFFF_FFFF):
        whole[144 + 8 : 144 + 12] = size.to_bytes(4, "little")
        path.write_bytes(whole)
        with pytest.raises(DocumentError, match="a block of"):
            read_can_log(path)


@pytest.fixture(scope="module")
def samples(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """A log of every form with every kind of frame, as bytes."""
    folder = tmp_path_factory.mktemp("samples")
    messages = plain_messages(30)
    messages[5] = can.Message(timestamp=BEGIN + 0.05, is_error_frame=True, channel=0)
    messages[7] = can.Message(timestamp=BEGIN + 0.07, arbitration_id=9, is_remote_frame=True, dlc=4, channel=0)
    fd = can.Message(timestamp=BEGIN + 0.3, arbitration_id=9, is_fd=True, data=bytes(range(32)), channel=1)
    logging.getLogger("can.io.trc").setLevel(logging.ERROR)  # its writer complains of what its form cannot hold
    made = {s: written(folder / f"bus{s}", [*messages, fd]).read_bytes() for s in [*FORMS, *PACKED]}
    logging.getLogger("can.io.trc").setLevel(logging.NOTSET)
    return made


@given(data=st.data(), suffix=st.sampled_from([*FORMS, *PACKED, ".mf4"]))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=400)
def test_no_bytes_end_in_a_traceback(
    tmp_path: Path, samples: dict[str, bytes], data: st.DataObject, suffix: str
) -> None:
    """Logs cut anywhere, with bytes changed, put in or taken out, give frames or an error of ours, and no third."""
    content = bytearray(samples.get(suffix, b"MDF     4.10"))
    for _ in range(data.draw(st.integers(0, 4))):
        place, length = data.draw(st.integers(0, len(content))), data.draw(st.integers(0, 8))
        content[place : place + length] = data.draw(st.binary(max_size=8))
    path = tmp_path / f"bus{suffix}"
    path.write_bytes(content[: data.draw(st.just(len(content)) | st.integers(0, len(content)))])
    try:
        frames = read_can_log(path).frames
    except DocumentError:
        return
    traffic(frames, bit_rate=125e3)
