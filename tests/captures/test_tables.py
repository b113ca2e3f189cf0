"""Tables as instruments and loggers write them: every dialect gives the same series."""

import string
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.captures import Channel, Options
from benchtest.errors import CaptureError
from tests.captures.recordings import Dialect, opened, read, sampled, stamped, table, uneven

MILLISECONDS = np.arange(5) * 1e-3
VOLTS = [0.0, 1.25, -2.5, 12.0, 0.125]

DIALECTS = {
    "commas": Dialect(),
    "semicolons and decimal commas": Dialect(delimiter=";", decimal=","),
    "tabs": Dialect(delimiter="\t"),
    "tabs and decimal commas": Dialect(delimiter="\t", decimal=","),
    "carriage returns": Dialect(line_end="\r\n"),
    "carriage returns alone": Dialect(line_end="\r"),
    "mark of UTF-8": Dialect(encoding="utf-8-sig"),
    "UTF-16": Dialect(encoding="utf-16"),
    "UTF-16 without a mark": Dialect(encoding="utf-16-le"),
    "UTF-16, highest byte first, without a mark": Dialect(encoding="utf-16-be"),
    "quoted": Dialect(quoted=True),
    "quoted decimal commas": Dialect(delimiter=";", decimal=",", quoted=True),
    "trailing delimiter": Dialect(trailing=True),
    "row of units": Dialect(units_row=True),
    "preamble": Dialect(preamble=("Model,BT-1", "Sample Interval,0.001,s", "", "# exported"), units_row=True),
    "preamble of other width": Dialect(preamble=("Logger 7", "Channels,A,B,C,D"), units_row=True),
}


@pytest.mark.parametrize("dialect", DIALECTS.values(), ids=DIALECTS.keys())
def test_every_dialect_gives_the_same_series(tmp_path: Path, dialect: Dialect) -> None:
    """Delimiter, decimal mark, encoding, quotes and line ends are found without being told."""
    recorded = read(tmp_path, table(dialect, MILLISECONDS, VOLTS), "CH1")
    series = sampled(recorded)

    assert Channel(number=1, name="CH1", unit="V") == recorded.channel
    assert pytest.approx(1000) == series.rate
    assert VOLTS == series.values.tolist()
    assert 0 == series.begin


def test_units_are_scaled_to_si(tmp_path: Path) -> None:
    """Milliseconds, millivolts and, in Latin-1, microamperes become seconds, volts and amperes."""
    content = "Time (ms),A (mV),B [µA]\n0,1500,20\n1,1600,30\n2,1700,40\n".encode("latin-1")
    capture = opened(tmp_path, content)

    assert [("A", "V"), ("B", "A")] == [(channel.name, channel.unit) for channel in capture.channels]
    assert pytest.approx([1.5, 1.6, 1.7]) == sampled(capture.read("A")).values
    assert pytest.approx([20e-6, 30e-6, 40e-6]) == sampled(capture.read(2)).values
    assert pytest.approx(1000) == sampled(capture.read(1)).rate
    assert any("Latin-1" in note for note in capture.notes)


def test_the_unit_may_be_told(tmp_path: Path) -> None:
    """A column without a unit is in the one that the person says."""
    recorded = read(tmp_path, "Time (s),CH1\n0,1500\n1,1600\n", options=Options(unit="mV"))
    assert ("V", [1.5, 1.6]) == (recorded.channel.unit, sampled(recorded).values.tolist())


@pytest.mark.parametrize(
    ("head", "rate", "start"),
    [
        ("Sample Interval,0.5 ms", 2000, 0),
        ("Sampling rate: 10 kHz", 10_000, 0),
        ("Sample rate (Sa/s),250", 250, 0),
        ("Sample Rate,1 MSa/s", 1_000_000, 0),
        ("# dt = 1e-3", 1000, 0),
        ("Sample Interval,Analog:0.001\nX Origin,-0.5", 1000, -0.5),
        ("Sample Interval (us),20", 50_000, 0),
    ],
)
def test_a_step_or_a_rate_above_the_rows_gives_the_time(tmp_path: Path, head: str, rate: float, start: float) -> None:
    """Without a column of time, the lines above say the step, the rate and the first moment."""
    series = sampled(read(tmp_path, f"{head}\nCH1 (V)\n1.5\n2.5\n3.5\n"))
    assert (start, [1.5, 2.5, 3.5]) == (series.begin, series.values.tolist())
    assert pytest.approx(rate) == series.rate


def test_start_and_increment_beside_the_units_give_the_time(tmp_path: Path) -> None:
    """One oscilloscope's way: a count in the first column, start and increment in the line of units."""
    content = "X,CH1,Start,Increment,\nSequence,Volt,-1.2e-3,2.0e-6\n0,1.2,,\n1,1.3,,\n2,1.4,,\n"
    capture = opened(tmp_path, content)
    series = sampled(capture.read("CH1"))

    assert ["CH1"] == [channel.name for channel in capture.channels]
    assert (-0.0012, [1.2, 1.3, 1.4]) == (series.begin, series.values.tolist())
    assert pytest.approx(500_000) == series.rate


def test_a_preamble_beside_the_first_rows_hides_none_of_them(tmp_path: Path) -> None:
    """An older oscilloscope's way: key, value and unit in front of the first rows, nothing in front of the others."""
    content = 'Record Length,5,"Points",-0.0005,1.5\nSample Interval,1.0E-04,s,-0.0004,1.6\nSource,CH1,,-0.0003,1.7\n'
    recorded = read(tmp_path, f"{content},,,-0.0002,1.8\n,,,-0.0001,1.9\n")
    assert (-0.0005, [1.5, 1.6, 1.7, 1.8, 1.9]) == (sampled(recorded).begin, sampled(recorded).values.tolist())
    assert pytest.approx(10_000) == sampled(recorded).rate


def test_decimal_commas_within_quotes_between_commas(tmp_path: Path) -> None:
    """The quotes tell the commas apart."""
    series = sampled(read(tmp_path, 'Time (s),CH1 (mV)\n"0,5","1,5"\n"1,0","2,5"\n"1,5","3,5"\n'))
    assert (0.5, [0.0015, 0.0025, 0.0035]) == (series.begin, series.values.tolist())


def test_units_behind_a_name_without_brackets(tmp_path: Path) -> None:
    """`time_ms` and `Level mV` have units; `Channel A` and `T min` are names."""
    capture = opened(tmp_path, "time_ms;Level mV;Channel A;T min\n1;5;6;7\n2;5;6;7\n")
    assert [("Level", "V"), ("Channel A", ""), ("T min", "")] == [(part.name, part.unit) for part in capture.channels]
    assert pytest.approx(1000) == sampled(capture.read(1)).rate


def test_a_line_of_unit_words_alone_names_no_channel(tmp_path: Path) -> None:
    """Another one's way: key and value pairs, then `Second,Volt`, then rows."""
    content = "Record Length,Analog:3\nSample Interval,Analog:0.001\nSecond,Volt\n0.100,1\n0.101,2\n0.102,3\n"
    recorded = read(tmp_path, content)
    assert ("column 2", "V", 0.1) == (recorded.channel.name, recorded.channel.unit, sampled(recorded).begin)


def test_where_header_and_rows_disagree_the_rows_are_believed(tmp_path: Path) -> None:
    """A header of 1 ms over rows 2 ms apart: 500 per second, and a note that says so."""
    recorded = read(tmp_path, "Sample Interval,0.001\nRecord Length,4\nTime (s),CH1\n0,1\n0.002,2\n0.004,2\n")
    assert pytest.approx(500) == sampled(recorded).rate
    assert any("the header says 1 ms" in note and "the rows say 2 ms" in note for note in recorded.notes)
    assert any("the header says 4 samples, the file has 3 rows" in note for note in recorded.notes)


def test_a_header_that_the_rows_bear_out_adds_its_digits(tmp_path: Path) -> None:
    """Times printed to 10 µs cannot tell 1/44 100 s; the header can, and they agree."""
    times = np.arange(200) / 44_100
    content = "Sampling rate,44100 Hz\n" + table(Dialect(digits=5), times, np.zeros(200)).decode()
    assert 44_100 == sampled(read(tmp_path, content)).rate


@pytest.mark.parametrize(
    "word", ["OL", "-OL", "OVLD", "9.9E37", "-9.9E+37", "9.91E37", "1.#INF", "-1.#IND", "---", "", "nan", "N/A", "inf"]
)
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_words_for_no_reading_are_left_out_and_counted(tmp_path: Path, word: str, delimiter: str) -> None:
    """Overload, not-a-number and empty cells become not-a-number; the note counts them."""
    rows = [
        ("Time (s)", "CH1", "CH2"),
        ("0.0", "1.5", "1"),
        ("0.1", word, "2"),
        ("0.2", "2.5", "3"),
        ("0.3", "3.5", "4"),
    ]
    recorded = read(tmp_path, "\n".join(map(delimiter.join, rows)) + "\n", "CH1")

    assert [False, True, False, False] == np.isnan(sampled(recorded).values).tolist()
    assert any("1 of 4 readings left out" in note for note in recorded.notes)
    assert [1, 2, 3, 4] == sampled(
        opened(tmp_path, (tmp_path / "recording.csv").read_bytes()).read("CH2")
    ).values.tolist()


def test_words_for_no_reading_far_down_are_counted_each(tmp_path: Path) -> None:
    """In the fast way through large files too, each word has its own count."""
    cells = [
        "OL" if row % 1000 == 7 else "" if row % 1000 == 8 else "9.9E37" if row % 1000 == 9 else "1"
        for row in range(9000)
    ]
    content = "Time (s),CH1 (mV)\n" + "".join(f"{row * 0.001:.3f},{cell}\n" for row, cell in enumerate(cells))
    recorded = read(tmp_path, content)

    note = next(note for note in recorded.notes if "left out" in note)
    assert "27 of 9000" in note
    assert all(words in note for words in ("OL 9", "empty 9", "9.9E37 9"))
    assert {0.001} == set(sampled(recorded).values[np.isfinite(sampled(recorded).values)])


def test_stamps_of_iso_8601_count_from_the_first_whole_second(tmp_path: Path) -> None:
    """Fractions keep all their digits, beyond the microseconds too."""
    content = "timestamp;CH1\n2026-03-01T12:00:00.1234567Z;1\n2026-03-01T12:00:01.5Z;2\n2026-03-01T12:01:00Z;3\n"
    recorded = read(tmp_path, content)

    assert [0.1234567, 1.5, 60] == uneven(recorded).times.tolist()
    assert any("time counts from 2026-03-01T12:00:00Z" in note for note in recorded.notes)


def test_clock_times_and_a_column_of_dates_are_one_time(tmp_path: Path) -> None:
    """Midnight passes between the rows, and time goes on."""
    content = "Date,Time,CH1\n2026-01-01,23:59:59.0,1\n2026-01-02,00:00:00.0,2\n2026-01-02,00:00:01.0,3\n"
    assert pytest.approx(1) == sampled(read(tmp_path, content)).rate


def test_relative_clock_times_are_seconds(tmp_path: Path) -> None:
    """`00:00:01.250` is 1.25 s."""
    series = sampled(read(tmp_path, "Elapsed,CH1\n00:00:01.250,1\n00:00:01.500,2\n00:00:01.750,3\n"))
    assert (1.25, 4) == (series.begin, round(series.rate, 9))


def test_comments_blank_lines_and_columns_of_text_are_passed_over(tmp_path: Path) -> None:
    """A logger's column of modes is no channel; remarks between the rows are none either."""
    content = "# logger\nNo.,Time (s),Value,Mode\n\n1,0.0,3.3,V DC\n# pause\n2,0.5,3.4,V DC\n\n3,1.0,3.5,V DC\n"
    capture = opened(tmp_path, content)
    assert ["Value"] == [channel.name for channel in capture.channels]
    assert [3.3, 3.4, 3.5] == sampled(capture.read("Value")).values.tolist()


def test_a_delimiter_within_quotes_is_part_of_the_cell(tmp_path: Path) -> None:
    """A comment such as "door, open" does not shift the columns."""
    content = 'Time (s),CH1,Remark\n0,1.5,"door, open"\n1,2.5,"shut"\n2,3.5,"a, b"\n'
    assert [1.5, 2.5, 3.5] == sampled(read(tmp_path, content)).values.tolist()


def test_the_column_of_time_may_be_told(tmp_path: Path) -> None:
    """By name or by number; 0 is none, and then the rate is needed."""
    content = "Time (s),Timestamp (s),CH1\n0,5,1\n1,7,2\n2,10,3\n"
    with pytest.raises(CaptureError, match=r"more than one column of time: 'Time' .* and 'Timestamp'"):
        opened(tmp_path, content)
    assert [5, 7, 10] == uneven(read(tmp_path, content, "CH1", Options(time="Timestamp"))).times.tolist()
    assert pytest.approx(1) == sampled(read(tmp_path, content, "CH1", Options(time=1))).rate
    assert 10 == sampled(read(tmp_path, content, "CH1", Options(time=0, rate=10))).rate


def test_states_of_which_every_row_changes_one_are_a_list_of_changes(tmp_path: Path) -> None:
    """Words and digits alike; open, high, on and lit are above."""
    for high, low in (("open", "closed"), ("high", "low"), ("on", "off"), ("lit", "dark"), ("1", "0")):
        series = stamped(read(tmp_path, f"Time (s),State\n0.0,{high}\n0.5,{low}\n0.75,{high}\n"))
        assert ([0.5, 0.75], [False, True]) == (series.times.tolist(), series.rising.tolist())
        assert (True, 0.0, 0.75) == (series.first, series.begin, series.end)


def test_a_row_that_changes_another_channel_is_a_change_too(tmp_path: Path) -> None:
    """Two channels of a logic analyser's list: each has the changes of its own."""
    capture = opened(tmp_path, "Time [s],D0,D1\n0.0,0,1\n0.5,1,1\n0.8,1,0\n")
    assert [0.5] == stamped(capture.read("D0")).times.tolist()
    assert [0.8] == stamped(capture.read("D1")).times.tolist()


def test_states_that_may_be_looks_or_changes_need_a_word(tmp_path: Path) -> None:
    """Even times that change in every row, and uneven words that repeat, can be read in two ways."""
    even = "Time (s),D0\n0.0,0\n0.5,1\n1.0,0\n"
    with pytest.raises(CaptureError, match="--rows changes"):
        read(tmp_path, even)
    assert [0.5, 1.0] == stamped(read(tmp_path, even, options=Options(rows="changes"))).times.tolist()
    assert [0, 1, 0] == sampled(read(tmp_path, even, options=Options(rows="samples"))).values.tolist()
    with pytest.raises(CaptureError, match="row 2 repeats"):
        read(tmp_path, "Time (s),D0\n0.0,on\n0.5,on\n1.7,off\n")


def test_even_looks_at_a_state_are_samples(tmp_path: Path) -> None:
    """0,0,1,1 at even times: nobody lists a change that is none."""
    assert [0, 0, 1, 1] == sampled(read(tmp_path, "Time (s),D0\n0,0\n1,0\n2,1\n3,1\n")).values.tolist()


DIALECT = st.builds(
    Dialect,
    delimiter=st.sampled_from([";", "\t"]),
    decimal=st.sampled_from([".", ","]),
    line_end=st.sampled_from(["\n", "\r\n"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1"]),
    digits=st.integers(4, 9),
    quoted=st.booleans(),
    trailing=st.booleans(),
    units_row=st.booleans(),
    preamble=st.sampled_from([(), ("Operator;A. Tester", ""), ("# remark",)]),
) | st.builds(Dialect, digits=st.integers(4, 9), quoted=st.booleans(), trailing=st.booleans(), units_row=st.booleans())


@given(
    dialect=DIALECT,
    step=st.sampled_from([0.001, 0.0025, 0.1, 3.0]),
    start=st.integers(-50, 50),
    values=st.lists(st.floats(-1e4, 1e4), min_size=2, max_size=60),
)
def test_a_series_written_in_any_dialect_is_read_back(
    dialect: Dialect, step: float, start: int, values: list[float]
) -> None:
    """Within the printed digits, values and times are what was written."""
    times = (start + np.arange(len(values))) * step
    with TemporaryDirectory() as folder:
        series = sampled(read(Path(folder), table(dialect, times, values), "CH1"))
    half = 0.500001 * 10.0**-dialect.digits

    assert np.abs(series.values - np.array(values)).max() <= half
    assert np.abs(series.moments(np.arange(len(values))) - times).max() <= 2 * half
    assert np.abs(1 / series.rate - step) <= 2 * half


@given(text=st.text(string.digits + ".,;eE+-\n\t OLnaif", max_size=60))
def test_random_cells_are_read_or_refused(text: str) -> None:
    """Rows of anything below a good heading: a series or our own error, nothing else."""
    with TemporaryDirectory() as folder:
        try:
            recorded = read(Path(folder), f"Time (s),CH1\n0,1\n1,2\n{text}\n")
        except CaptureError:
            return
    assert recorded.series.end >= recorded.series.begin
