"""What is wrong with a recording is said with its place and what to try; never a traceback, never a silent guess."""

import io
import os
import random
import struct
import zipfile
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.io import wavfile

from benchtest.captures import KINDS, Options, open_capture
from benchtest.captures.opening import SUFFIXES
from benchtest.errors import BenchtestError, CaptureError
from tests.captures.recordings import film, opened, put, read, sampled, scene, uneven, zipped


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", "an empty file"),
        ("\n\n\n", "nothing but empty lines"),
        ("Time,CH1\n", "no delimiter and decimal mark make readings"),
        ("hello\nworld\n", "no delimiter and decimal mark make readings"),
        ("0,5\n1,5\n2,5\n", "two ways: delimiter comma, decimal point .* or one column, decimal comma .*--decimal ,"),
        ("Time (s);CH1\n1,234;5,678\n2,234;6,678\n", "two ways: a decimal comma, or thousands .*--decimal ,"),
        ("Time (s);CH1\n0;1.234,5\n1;1.235,5\n", "without thousands marks"),
        ("Time (s),CH1\n0,001,1,234\n0,002,1,5\n", "line 1: the heading names 2 columns, the rows have 4 cells"),
        ("Time (s),CH1\n0,1\n1,2\n0.5,3\n2,4\n", "data row 3: time does not go forward: 0.5 s after 1 s"),
        ("Time (s),CH1\n0,1\n,2\n1,3\n", "data row 2: no time in column 1 'Time'"),
        ("Time (s),CH1\n0,OL\n1,OL\n2,\n", r"no reading at all in 3 rows \(OL 2, empty 1\)"),
        ("Time (s),CH1\n0,1\n1,2\n2,3\nTime (s),CH1\n0,1\n", "line 5: .*second table"),
        ("Time (s),CH1\n0,1\nTime (s),CH1\n0,1\n1,2\n2,3\n", "line 3: .*CH1"),
        ("Time (s),CH1\n0,1\n1,2\n2,3,4\n3,4\n4,5\n", "line 4: '2 3 4' stands between rows"),
        ("Time (s),CH1\n0,1\n1,x7\n2,3\n3,4\n4,5\n5,6\n6,7\n7,8\n", "line 3: '1 x7' stands between rows"),
        ("CH1,CH2\n3,1\n1,2\n2,3\n", "no column says that it is the time"),
        ("0;1\n1;2\n2;2\n", "could be a count or seconds"),
        ("Rate,10\n5,1\n6.5,2\n7,2\n", "it may be the time or a reading .*--time 1, or --time 0"),
        ("Time (V),CH1\n0,1\n1,2\n", "is in 'V', which is no unit of time"),
        ("stamp,CH1\n2026-01-01T00:00:00Z,1\n2026-01-01T00:00:01,2\n", "line 3: .*time zone among stamps without"),
        ("Time (s),CH1\n" + "1" * 3_000_000, "line longer than"),
        ("Date/Time;CH1\n01.02.2026 12:00:00;1,5\n", "date '01.02.2026' can be read in two ways, day first or month"),
        (bytes(range(256)), "bytes that are no text"),
    ],
    ids=lambda case: str(case)[:24].encode("unicode_escape").decode(),
)
def test_a_table_in_trouble_says_where_and_what(tmp_path: Path, content: str | bytes, message: str) -> None:
    """File, line or row, what was found, and what settles it."""
    with pytest.raises(CaptureError, match=message) as caught:
        read(tmp_path, content)
    assert str(caught.value).startswith(str(tmp_path / "recording.csv"))
    assert 4 == caught.value.exit_code


def test_what_could_be_read_in_two_ways_is_read_when_told(tmp_path: Path) -> None:
    """Each refusal names the option, and the option settles it."""
    column = read(tmp_path, "0,5\n1,5\n2,5\n", options=Options(decimal=",", rate=10))
    pairs = read(tmp_path, "0,5\n1,5\n2,5\n", options=Options(decimal=".", time=1))
    commas = read(tmp_path, "Time (s);CH1\n1,234;5,678\n2,234;6,678\n", options=Options(decimal=","))

    assert [0.5, 1.5, 2.5] == sampled(column).values.tolist()
    assert [5, 5, 5] == sampled(pairs).values.tolist()
    assert [5.678, 6.678] == sampled(commas).values.tolist()


def test_an_unknown_channel_lists_what_there_is(tmp_path: Path) -> None:
    """By name and number; two of one name are told apart by number."""
    capture = opened(tmp_path, "Time (s),A,B,B\n0,1,2,3\n1,1,2,3\n")
    for wrong in ("C", 4, 0, "-1"):
        with pytest.raises(CaptureError, match="one of: 1 'A', 2 'B', 3 'B'"):
            capture.read(wrong)
    with pytest.raises(CaptureError, match="2 channels are called 'B'"):
        capture.read("B")
    assert [3, 3] == sampled(capture.read("3")).values.tolist()


def test_one_sample_and_a_constant_are_right_answers(tmp_path: Path) -> None:
    """One row has no step, and says so; a constant is as good as any signal."""
    one = read(tmp_path, "Time (s),CH1\n0.5,7\n")
    assert ([7], [0.5]) == (uneven(one).values.tolist(), uneven(one).times.tolist())
    assert any("one sample" in note for note in one.notes)
    assert [2, 2, 2] == sampled(read(tmp_path, "Time (s),CH1\n0,2\n1,2\n2,2\n")).values.tolist()


def test_places_of_lost_samples_are_named(tmp_path: Path) -> None:
    """A logger that dropped rows 51 to 53 leaves a gap after row 50."""
    rows = "".join(f"{place * 0.001:.3f},1\n" for place in range(100) if place not in {50, 51, 52})
    recorded = read(tmp_path, f"Time (s),CH1\n{rows}")
    assert 97 == uneven(recorded).times.size
    assert any("1 gap where samples may be missing, first after row 50" in note for note in recorded.notes)


def test_a_decimal_comma_that_comes_late_is_not_misread(tmp_path: Path) -> None:
    """Thousands of whole numbers, then one with a comma: refused with its line, never cut in two."""
    rows = "".join(f"{place};{place}\n" for place in range(9000))
    with pytest.raises(CaptureError, match=r"line 9002: '9000,5'.*--decimal"):
        read(tmp_path, f"Time (s);CH1\n{rows}9000,5;1\n")


@pytest.mark.parametrize("torn", ["90,1,2\n", "90\n", "90,1.5.2\n", "90,1_000\n", "90,0x1F\n", "Time (s),CH1\n"])
def test_a_torn_row_far_down_is_named_by_its_line(tmp_path: Path, torn: str) -> None:
    """Below the head too, in the fast way through large files: the line, and what is wrong with it."""
    rows = [f"{place / 100:.2f},{place % 7}\n" for place in range(40_000)]
    rows[30_000] = torn
    with pytest.raises(CaptureError, match="line 30002: "):
        read(tmp_path, f"Time (s),CH1\n{''.join(rows)}")


def test_directories_and_missing_and_forbidden_files_are_refused(tmp_path: Path) -> None:
    """The system's reason is in the message."""
    with pytest.raises(CaptureError, match="cannot be read: Is a directory"):
        open_capture(tmp_path)
    with pytest.raises(CaptureError, match="cannot be read: No such file"):
        open_capture(tmp_path / "missing.csv")
    with pytest.raises(CaptureError, match="cannot be read"):
        open_capture(Path("/proc/self/mem") if os.geteuid() == 0 else put(tmp_path, "1"), Options(kind="csv", rate=1))


def test_options_that_make_no_sense_are_refused(tmp_path: Path) -> None:
    """Kind, rate, delimiter and unit are checked before anything is read."""
    path = put(tmp_path, "Time (s),CH1\n0,1\n1,2\n")
    for options, message in (
        (Options(kind="xyz"), "no kind of file"),
        (Options(rate=float("nan")), "a rate of nan"),
        (Options(delimiter="|"), "a delimiter of"),
        (Options(unit="furlong"), "no unit known"),
        (Options(time="Zeit"), "no column 'Zeit' for the time"),
    ):
        with pytest.raises(CaptureError, match=message):
            open_capture(path, options)


def test_a_sound_longer_than_the_memory_is_refused(tmp_path: Path) -> None:
    """A file of 2 GB with more samples than fit says so; nothing of it is read. The file is sparse."""
    path = tmp_path / "long.wav"
    with path.open("wb") as file:
        form = struct.pack("<HHIIHH", 1, 1, 48_000, 48_000, 1, 8)
        file.write(b"RIFF\0\0\0\0WAVEfmt " + struct.pack("<I", 16) + form + b"data" + struct.pack("<I", 2**31 - 100))
        file.truncate(2**31)
    with pytest.raises(CaptureError, match="more than fit"):
        open_capture(path).read(1)


def sound() -> bytes:
    """Return a small WAV file."""
    content = io.BytesIO()
    wavfile.write(content, 8000, np.arange(40, dtype=np.int16))
    return content.getvalue()


def arrays() -> bytes:
    """Return a small file of arrays."""
    content = io.BytesIO()
    np.savez_compressed(content, times=np.arange(5) * 0.1, a=np.arange(5.0))
    return content.getvalue()


def short_film(suffix: str) -> bytes:
    """Return a small film."""
    with TemporaryDirectory() as folder:
        return film(
            Path(folder) / f"a{suffix}", [scene(lamp=place // 3 % 2 == 1)[::2, ::2] for place in range(9)]
        ).read_bytes()


VALID = [
    (".csv", b"Sample Interval,0.001\nTime (ms),CH1 (mV),CH2 [V]\n0,100,1\n1,150,2\n2,OL,3\n3,9.9E37,4\n4,,5\n"),
    (".csv", b"Model;X\nTime;Volt\n(s);(mV)\n0,001;1,25\n0,002;1,50\n"),
    (".csv", b"X,CH1,Start,Increment,\nSequence,Volt,-1.2e-3,2.0e-6\n0,1.2,,\n1,1.3,,\n2,1.4,,\n"),
    (".txt", b"time,state\n2026-01-01 10:00:00,open\n2026-01-01 10:00:02,closed\n"),
    (".tsv", "Time\tV\n0\t1,5\n1\t2,5\n".encode("utf-16")),
    (".wav", sound()),
    (".npz", arrays()),
    (
        ".vcd",
        (
            b"$timescale 1ns $end $var wire 2 ! a $end $var real 64 r r $end $enddefinitions $end\n"
            b"#0\nb1x !\nr1 r\n#9\nb0 !\n"
        ),
    ),
    (".sr", zipped({"metadata": b"[d]\nsamplerate=1 MHz\ncapturefile=l\n", "l-1": bytes(99), "l-2": b"\1" * 99})),
]
FILMS = [(suffix, short_film(suffix)) for suffix in (".mp4", ".mkv", ".avi")]
OPTIONS = [Options(), Options(rate=10.0), Options(time=1), Options(time=0, rate=5.0), Options(rows="changes")]
BITS = [
    b"\n",
    b",",
    b";",
    b".",
    b"-",
    b"e9999",
    b'"',
    b"#",
    b"\r",
    b"nan",
    b"1e300",
    b"\0",
    b"$end",
    b"OL",
    b"\xff" * 8,
]


def garbled(content: bytes, chance: random.Random) -> bytes:
    """Return the content with bytes changed, lost, doubled and put in, or cut short."""
    body = bytearray(content)
    for _ in range(chance.choice([1, 1, 2, 5, 30])):
        place = chance.randrange(len(body) + 1) if chance.random() < 0.5 else chance.randrange(min(200, len(body)) + 1)
        match chance.randrange(5):
            case 0:
                body[place : place + 1] = bytes([chance.randrange(256)])
            case 1:
                del body[place : place + chance.choice([1, 1, 6])]
            case 2:
                body[place:place] = body[place : place + 20]
            case 3:
                body[place:place] = chance.choice(BITS)
            case _:
                del body[max(place, len(body) // 2) :]
    return bytes(body)


def everything(path: Path, options: Options) -> None:
    """Read all there is; our own errors are right answers, all others are not."""
    try:
        capture = open_capture(path, options)
    except BenchtestError:
        return
    for channel in capture.channels[:8]:
        try:
            recorded = capture.read(channel.number)
        except BenchtestError:
            continue
        assert recorded.series.begin <= recorded.series.end


@given(content=st.binary(max_size=300), suffix=st.sampled_from([*SUFFIXES, ".sr", ".zip", ".dat", ""]))
def test_any_bytes_under_any_name_are_read_or_refused(content: bytes, suffix: str) -> None:
    """No traceback, whatever the file is."""
    with TemporaryDirectory() as folder:
        everything(put(Path(folder), content, f"a{suffix}"), Options(rate=10.0))


@given(content=st.binary(max_size=300), kind=st.sampled_from(list(KINDS)))
def test_any_bytes_as_any_kind_are_read_or_refused(content: bytes, kind: str) -> None:
    """A kind that the person says is believed, and the content still checked."""
    with TemporaryDirectory() as folder:
        everything(put(Path(folder), content, "a"), Options(rate=10.0, kind=kind))


@settings(max_examples=400)
@given(valid=st.sampled_from(VALID), chance=st.randoms(use_true_random=False), options=st.sampled_from(OPTIONS))
def test_garbled_recordings_are_read_or_refused(
    valid: tuple[str, bytes], chance: random.Random, options: Options
) -> None:
    """Good files with bad bytes in them: no traceback, and no warning either."""
    suffix, content = valid
    with TemporaryDirectory() as folder:
        everything(put(Path(folder), garbled(content, chance), f"a{suffix}"), options)


@settings(max_examples=30, deadline=None)
@given(valid=st.sampled_from(FILMS), chance=st.randoms(use_true_random=False))
def test_garbled_films_are_read_or_refused(valid: tuple[str, bytes], chance: random.Random) -> None:
    """The decoder's own complaints become ours."""
    suffix, content = valid
    with TemporaryDirectory() as folder:
        everything(put(Path(folder), garbled(content, chance), f"a{suffix}"), Options(region=(0, 0, 9, 9)))


def test_a_torn_archive_of_arrays_is_refused(tmp_path: Path) -> None:
    """A bit that is wrong in the packed samples is found by their check sum."""
    content = bytearray(arrays())
    with zipfile.ZipFile(io.BytesIO(arrays())) as archive:
        place = archive.getinfo("a.npy").header_offset + 60
    content[place] ^= 0x10
    with pytest.raises(CaptureError, match="copy"):
        opened(tmp_path, bytes(content), "a.npz").read("a")
