"""Sound, arrays, logic and value change dumps, written by other people's libraries or by hand from the standard."""

import io
import struct
import wave
import zipfile
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.io import wavfile

from benchtest.captures import Options
from benchtest.errors import CaptureError
from tests.captures.recordings import opened, sampled, stamped, uneven, zipped

SHARES = np.array([0.0, 0.5, -0.5, 0.25, -1.0, 0.75])


def sound(values: NDArray[np.generic], rate: int = 8000) -> bytes:
    """Return a WAV file as scipy writes it."""
    content = io.BytesIO()
    wavfile.write(content, rate, values)
    return content.getvalue()


@pytest.mark.parametrize(
    "written",
    [
        (SHARES * 128 + 128).clip(0, 255).astype(np.uint8),
        (SHARES * 2**15).astype(np.int16),
        (SHARES * 2**31).astype(np.int32),
        SHARES.astype(np.float32),
        SHARES,
    ],
    ids=lambda written: str(written.dtype),
)
def test_sound_that_scipy_wrote_is_read_as_shares_of_full_scale(tmp_path: Path, written: NDArray[np.generic]) -> None:
    """Bytes, whole numbers of 16 and 32 bits, floats of both sizes."""
    series = sampled(opened(tmp_path, sound(written), "a.wav").read(1))
    assert (8000, SHARES.tolist()) == (series.rate, series.values.tolist())


def test_sound_of_24_bits_and_two_channels(tmp_path: Path) -> None:
    """Written by the standard library; the channels are told apart and scipy agrees on the numbers."""
    path = tmp_path / "a.wav"
    with wave.open(str(path), "wb") as file:
        file.setparams((2, 3, 44_100, 0, "NONE", ""))
        for share in SHARES:
            file.writeframes(int(share * 2**23).to_bytes(3, "little", signed=True) + (1).to_bytes(3, "little"))
    capture = opened(tmp_path, path.read_bytes(), "a.wav")
    _, judged = wavfile.read(path)

    assert SHARES.tolist() == sampled(capture.read(1)).values.tolist()
    assert {2.0**-23} == set(sampled(capture.read("channel 2")).values)
    assert (judged[:, 0] / 2.0**31).tolist() == sampled(capture.read(1)).values.tolist()


def test_sound_in_the_extensible_form(tmp_path: Path) -> None:
    """The format code is the beginning of the sub-format; chunks that are not known are passed over."""
    body = np.array([16384, -16384], "<i2").tobytes()
    form = struct.pack("<HHIIHHHHI", 0xFFFE, 1, 1000, 2000, 2, 16, 22, 16, 4) + struct.pack("<H", 1) + bytes(14)
    chunks = b"LIST" + struct.pack("<I", 3) + b"abc\0" + b"fmt " + struct.pack("<I", len(form)) + form
    content = b"RIFF\0\0\0\0WAVE" + chunks + b"data" + struct.pack("<I", len(body)) + body
    assert [0.5, -0.5] == sampled(opened(tmp_path, content, "a.wav").read(1)).values.tolist()


def test_torn_sound_gives_what_is_there_and_says_so(tmp_path: Path) -> None:
    """Half of the frames are missing: the others are read, with a note."""
    whole = sound((SHARES * 2**15).astype(np.int16))
    capture = opened(tmp_path, whole[:-6], "a.wav")
    assert SHARES[:3].tolist() == sampled(capture.read(1)).values.tolist()
    assert any("3 of 6 frames" in note for note in capture.notes)


def test_sound_packed_in_another_way_is_refused(tmp_path: Path) -> None:
    """µ-law has format code 7: not read, and not guessed."""
    form = struct.pack("<HHIIHH", 7, 1, 8000, 8000, 1, 8)
    with pytest.raises(CaptureError, match="format 7"):
        opened(tmp_path, b"RIFF\0\0\0\0WAVEfmt " + struct.pack("<I", 16) + form, "a.wav")


def arrays(**named: object) -> bytes:
    """Return arrays as numpy saves them."""
    content = io.BytesIO()
    np.savez_compressed(content, **named)  # type: ignore[arg-type] # arrays and what becomes one
    return content.getvalue()


def test_arrays_with_a_rate_or_with_times(tmp_path: Path) -> None:
    """A rate makes even samples, even times do too, uneven times do not."""
    rated = opened(tmp_path, arrays(rate=100, volts=[1.0, 2.0], amps=[3, 4]), "a.npz")
    timed = opened(tmp_path, arrays(times=np.arange(30) * 0.1, volts=np.arange(30)), "b.npz").read("volts")
    own = opened(tmp_path, arrays(times=[0.0, 0.1, 0.4], volts=[1.0, np.nan, 3.0]), "c.npz").read("volts")

    assert (100, [3, 4]) == (sampled(rated.read("amps")).rate, sampled(rated.read("amps")).values.tolist())
    assert pytest.approx(10) == sampled(timed).rate
    assert [0.0, 0.1, 0.4] == uneven(own).times.tolist()
    assert any("1 of 3 samples left out" in note for note in own.notes)


def test_arrays_of_objects_are_never_run(tmp_path: Path) -> None:
    """A pickled object is no channel."""
    with pytest.raises(CaptureError, match="no channel"):
        opened(tmp_path, arrays(rate=1, a=np.array([{}], object)), "a.npz")


def test_arrays_without_time_need_a_rate(tmp_path: Path) -> None:
    """The rate may be told."""
    content = arrays(volts=[1.0, 2.0])
    with pytest.raises(CaptureError, match="'rate'"):
        opened(tmp_path, content, "a.npz")
    assert 5 == sampled(opened(tmp_path, content, "a.npz", Options(rate=5)).read(1)).rate


def test_an_array_larger_than_the_memory_is_refused_by_its_head(tmp_path: Path) -> None:
    """It says it holds a million million numbers; none of them is asked for."""
    head = io.BytesIO()
    np.lib.format.write_array_header_1_0(head, {"descr": "<f8", "fortran_order": False, "shape": (10**12,)})
    with zipfile.ZipFile(tmp_path / "a.npz", "w") as archive:
        archive.writestr("volts.npy", head.getvalue() + bytes(80))
    with pytest.raises(CaptureError, match="8000000000000 bytes"):
        opened(tmp_path, (tmp_path / "a.npz").read_bytes(), "b.npz", Options(rate=1)).read("volts")


@pytest.mark.parametrize("size", [1, 2, 4, 8])
def test_raw_logic_is_one_bit_per_channel(tmp_path: Path, size: int) -> None:
    """The lowest byte comes first; a change is stamped with the sample that shows it first."""
    top = 8 * size
    samples = [0, 0, 1, 1 | 1 << (top - 1), 1 << (top - 1), 0]
    content = b"".join(sample.to_bytes(size, "little") for sample in samples)
    capture = opened(tmp_path, content, "a.bin", Options(rate=1000, unit_size=size))
    low, high = stamped(capture.read("bit 0")), stamped(capture.read(top))

    assert ([0.002, 0.004], [True, False], False) == (low.times.tolist(), low.rising.tolist(), low.first)
    assert ([0.003, 0.005], 0.005, 0.001) == (high.times.tolist(), high.end, high.resolution)


def test_raw_logic_needs_a_rate(tmp_path: Path) -> None:
    """Nothing in the bytes says how fast they were taken; half a sample at the end is left out."""
    with pytest.raises(CaptureError, match="say the samples per second"):
        opened(tmp_path, b"\0\1", "a.bin")
    recorded = opened(tmp_path, b"\0\0\1", "a.bin", Options(rate=1, unit_size=2)).read(1)
    assert any("1 bytes at the end" in note for note in recorded.notes)


METADATA = """[global]
[device 1]
capturefile=logic-1
total probes=3
samplerate=2 MHz
probe1=COIL
probe3=NO
unitsize=1
"""


def test_a_zipped_logic_capture_joins_its_entries(tmp_path: Path) -> None:
    """Entry 10 comes after entry 2; the probes have their names and the rate of the metadata."""
    entries = {f"logic-1-{number}": bytes([number % 2]) * 100 for number in (10, 1, 2, 3, 4, 5, 6, 7, 8, 9)}
    capture = opened(tmp_path, zipped({"version": b"2", "metadata": METADATA.encode(), **entries}), "a.sr")
    series = stamped(capture.read("COIL"))

    assert [(1, "COIL"), (3, "NO")] == [(channel.number, channel.name) for channel in capture.channels]
    assert pytest.approx([50e-6 * place for place in range(1, 10)]) == series.times
    assert (True, 999 / 2e6) == (series.first, series.end)
    assert 0 == stamped(capture.read("NO")).times.size


def test_samples_may_cross_from_one_entry_into_the_next(tmp_path: Path) -> None:
    """A sample of two bytes whose halves are in two entries is one sample."""
    metadata = METADATA.replace("unitsize=1", "unitsize=2").encode()
    content = zipped({"metadata": metadata, "logic-1-1": b"\0\0\1", "logic-1-2": b"\0\0\0"})
    assert [0.5e-6, 1e-6] == stamped(opened(tmp_path, content, "a.sr").read("COIL")).times.tolist()


def test_an_archive_that_grows_beyond_belief_is_refused(tmp_path: Path) -> None:
    """Two entries that share their bytes, or a size that deflate cannot reach, were never recorded."""
    content = bytearray(zipped({"metadata": METADATA.encode(), "logic-1-1": bytes(5000)}))
    directory = content.rindex(b"PK\x01\x02")
    content[directory + 24 : directory + 28] = struct.pack("<I", 2**31)
    with pytest.raises(CaptureError, match="entries that grow"):
        opened(tmp_path, bytes(content), "a.sr")


def test_a_torn_archive_and_one_of_other_things_are_refused(tmp_path: Path) -> None:
    """The message says torn, or lists what is in it."""
    content = zipped({"metadata": METADATA.encode(), "logic-1-1": np.random.default_rng(1).bytes(5000)})
    with pytest.raises(CaptureError, match="no whole archive"):
        opened(tmp_path, content[:3000], "a.sr")
    garbled = bytearray(content)
    garbled[2000] ^= 0xFF
    with pytest.raises(CaptureError, match="entry 'logic-1-1'"):
        opened(tmp_path, bytes(garbled), "a.sr").read(1)
    with pytest.raises(CaptureError, match=r"an archive of readme\.txt"):
        opened(tmp_path, zipped({"readme.txt": b""}), "a.zip")


def test_paths_in_an_archive_do_not_matter(tmp_path: Path) -> None:
    """Nothing is unpacked: an entry that points outside is not even read."""
    content = zipped({"metadata": METADATA.encode(), "logic-1-1": b"\0\1", "../../evil": b"x"})
    opened(tmp_path, content, "a.sr").read(1)
    assert ["a.sr"] == [path.name for path in tmp_path.iterdir()]
    with zipfile.ZipFile(tmp_path / "a.sr") as archive:
        assert "../../evil" in archive.namelist()


DUMP = """$date today $end
$version by hand $end
$timescale
  10 us
$end
$scope module board $end
$var wire 1 ! coil $end
$var wire 4 " bus [3:0] $end
$var real 64 r volts $end
$upscope $end
$enddefinitions $end
#5
$dumpvars
x!
b0 "
r1.5 r
$end
#10 1!
b1x01 "
#20
0! r2.5 r
#20
$comment #99 1! $end
#30
b101 "
"""


def test_a_value_change_dump_gives_changes_of_scalars_and_bits(tmp_path: Path) -> None:
    """IEEE Std 1364-2005, 18.2: changes, left extension, x and z, several time stamps alike."""
    capture = opened(tmp_path, DUMP, "a.vcd")
    coil = stamped(capture.read("board.coil"))

    assert ["board.coil", "board.bus[0]", "board.bus[1]", "board.bus[2]", "board.bus[3]", "board.volts"] == [
        channel.name for channel in capture.channels
    ]
    assert (None, [1e-4, 2e-4], [True, False]) == (coil.first, coil.times.tolist(), coil.rising.tolist())
    assert (5e-5, 3e-4, 1e-5) == (coil.begin, coil.end, coil.resolution)
    assert ([1e-4], [True]) == (
        stamped(capture.read("board.bus[0]")).times.tolist(),
        stamped(capture.read("board.bus[0]")).rising.tolist(),
    )
    assert [1e-4, 3e-4] == stamped(capture.read("board.bus[3]")).times.tolist()


def test_what_is_unknown_in_a_dump_is_said(tmp_path: Path) -> None:
    """Either one keeps the state before it, and the note counts them: x and z."""
    recorded = opened(tmp_path, DUMP, "a.vcd").read("board.bus[2]")
    assert [3e-4] == stamped(recorded).times.tolist()
    assert any("unknown or not driven 1 times, first at 100 µs" in note for note in recorded.notes)


def test_a_real_variable_holds_its_values_at_their_times(tmp_path: Path) -> None:
    """Value by value, with a note that each holds until the next."""
    recorded = opened(tmp_path, DUMP, "a.vcd").read("board.volts")
    assert ([1.5, 2.5], [5e-5, 2e-4]) == (uneven(recorded).values.tolist(), uneven(recorded).times.tolist())
    assert any("holds until the next" in note for note in recorded.notes)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (("10 us", "3 us"), "time scale"),
        (("#30", "#3"), "time goes back from 20 to 3"),
        (("1!\nb1x01", "?!\nb1x01"), "a time or a change"),
        (("$enddefinitions $end", ""), "line 12: '#5', expected a declaration"),
        (("wire 4", "wire four"), "type, bits, identifier"),
    ],
)
def test_a_garbled_dump_is_refused_with_its_place(tmp_path: Path, change: tuple[str, str], message: str) -> None:
    """The message has the line where there is one."""
    with pytest.raises(CaptureError, match=message):
        opened(tmp_path, DUMP.replace(*change), "a.vcd").read("board.coil")
