"""The commands about the bench itself, as a person gives them."""

import json
from pathlib import Path

import pytest

from benchtest.cli import entry

ROOT = Path(__file__).parents[2]
CARWASH, SERIAL = str(ROOT / "profiles/carwash.yaml"), str(ROOT / "fixtures/serial.yaml")
SIMULATED = str(ROOT / "fixtures/simulated.yaml")


@pytest.mark.parametrize("ending", ["pdf", "html"])
def test_the_hookup_sheet_is_written_where_it_was_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], ending: str
) -> None:
    """Exit 0, a file of that kind, and the plugs that are easily swapped named on the terminal."""
    sheet = tmp_path / f"sheet.{ending}"

    assert 0 == entry(["hookup", CARWASH, "--fixture", SERIAL, "-o", str(sheet)])
    assert sheet.read_bytes()[:4] in {b"%PDF", b"<!DO"}
    assert "easily swapped: X2 and X3" in capsys.readouterr().out


def test_a_sheet_is_a_pdf_or_a_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Another ending is wrong usage, a folder that is not there too and no fault of the bench; nothing is written."""
    assert 2 == entry(["hookup", CARWASH, "--fixture", SERIAL, "-o", str(tmp_path / "sheet.doc")])
    assert "neither .pdf nor .html" in capsys.readouterr().err
    assert 2 == entry(["hookup", CARWASH, "--fixture", SERIAL, "-o", str(tmp_path / "none" / "sheet.html")])
    assert "there is no folder" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_the_bench_is_shown_wire_by_wire_in_eighty_columns(capsys: pytest.CaptureFixture[str]) -> None:
    """Both cable sets, every channel with its accuracy and calibration; nothing is asked unless it was asked for."""
    assert 0 == entry(["rig", "show", SERIAL])
    out = capsys.readouterr().out
    line = next(line for line in out.splitlines() if "io 303" in line)

    assert ["X2.1-X2.2", "sense", "io", "303", "0.05", "%", "+", "3", "mV", "2036-03-02"] == line.split()
    assert max(map(len, out.splitlines())) <= 80
    assert "everything off" not in out


def test_the_bench_is_shown_as_data(capsys: pytest.CaptureFixture[str]) -> None:
    """One harness, its twenty channels; an adapter without a port says why it was not asked."""
    assert 0 == entry(["rig", "show", SERIAL, "--harness", "CW-0410", "--ask", "--json"])
    told = json.loads(capsys.readouterr().out)

    assert ["CW-0410"] == list(told["harnesses"])
    assert 20 == len(told["harnesses"]["CW-0410"])
    assert {"channels": None, "why_not_known": "not asked: no port is given (try --port io=…)"} == told["energised"][
        "io"
    ]


def test_an_adapter_that_does_not_answer_is_a_bench_fault(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 5, with the reason beside the adapter, after everything that could be said."""
    assert 5 == entry(["rig", "show", SERIAL, "--harness", "CW-0410", "--ask", "--port", "io=/dev/none"])
    out = capsys.readouterr().out

    assert "X4.1-X4.2" in out
    assert "io: no answer: cannot open '/dev/none'" in out


@pytest.mark.parametrize("words", [("--harness", "ZZ-1"), ("--port", "xy=/dev/null")])
def test_an_unknown_harness_or_adapter_is_wrong_usage(words: tuple[str, ...]) -> None:
    """Exit 2."""
    assert 2 == entry(["rig", "show", SERIAL, *words])


def test_an_adapter_of_a_simulated_bench_keeps_what_can_be_tried(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 0; what needs a board, or a far side, says why it was not tried."""
    assert 0 == entry(["adapter", "check", SIMULATED, "--json"])
    found = {one["rule"]: one for one in json.loads(capsys.readouterr().out)}

    assert "holds" == found["refused whole"]["state"]
    assert ["needs a board on the bench"] == found["units"]["found"]
    assert "not tried" == found["dead-man"]["state"]
    assert "does not hold" not in {one["state"] for one in found.values()}


def test_a_real_bench_is_not_switched_on_with_a_board_on_it(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2 until somebody says that nothing hangs on it; nothing was opened."""
    assert 2 == entry(["adapter", "check", SERIAL, "--port", "io=/dev/none"])
    assert "--no-board-connected" in capsys.readouterr().err
