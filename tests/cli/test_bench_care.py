"""The commands about the bench itself, as a person gives them."""

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
    """Another ending is wrong usage, and nothing is written."""
    assert 2 == entry(["hookup", CARWASH, "--fixture", SERIAL, "-o", str(tmp_path / "sheet.doc")])
    assert "neither .pdf nor .html" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())
