"""The chart of a known-good board: a signal stops the bench until a named person clears it."""

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from benchtest.cli import entry
from benchtest.errors import DocumentError
from benchtest.fixture import load_fixture
from benchtest.fixture.self_check import Reference
from benchtest.records.drift import BASELINE, CLEARANCES, Charted, Clearance, charted, clear, clearances
from benchtest.records.folder import create_folder, write_run
from benchtest.records.reference import standing
from benchtest.results import Run
from tests.records.finished import finished_run

BEGAN = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
ROOT = Path(__file__).parents[2]
WHOLE = finished_run()
BOARD = replace(WHOLE, procedure=replace(WHOLE.procedure, steps=()))
"""Without its steps, so that many runs are read in no time."""
CHECK = next(one.check.id for one in BOARD.results if isinstance(one.value, float) and one.check.unit == "V")
NOISE = np.random.default_rng(9).standard_normal(60) * 2e-3
"""Of a seed that gives no false alarm."""


def reference(**changed: object) -> Reference:
    return Reference.model_validate(
        {"part": BOARD.procedure.part, "serial": "GOLD-1", "days": 3000, "charted": [CHECK], **changed}
    )


def runs(values: Sequence[float]) -> list[Run]:
    """One run a day, with this reading."""
    return [
        replace(
            BOARD,
            started=(BEGAN + timedelta(days=day)).isoformat(),
            job=replace(BOARD.job, serial="GOLD-1"),
            results=tuple(replace(one, value=value) for one in BOARD.results if one.check.id == CHECK),
        )
        for day, value in enumerate(values)
    ]


def moved(count: int = 40, *, after: int = 30) -> list[float]:
    """A rail that goes up by five standard deviations."""
    return [5.0 + float(NOISE[n]) + (1e-2 if n >= after else 0.0) for n in range(count)]


def chart(values: Sequence[float], *cleared: Clearance, **changed: object) -> Charted:
    (found,) = charted(reference(**changed), runs(values), cleared)
    return found


def cleared(day: float, *, anew: bool = False) -> Clearance:
    at = (BEGAN + timedelta(days=day, hours=6)).isoformat()
    return Clearance(
        part=BOARD.procedure.part, serial="GOLD-1", bench=BOARD.bench, at=at, by="B. Meter", reason="fuse", of=("x",),
        anew=anew,
    )  # fmt: skip


def test_a_chart_needs_twenty_runs_and_one() -> None:
    """Until then it says how many there are."""
    assert f"{BASELINE} runs of {BASELINE + 1} that a chart needs" == chart(moved(BASELINE)).missing
    assert chart(moved(BASELINE + 1)).missing == ""


def test_a_shift_is_a_signal_with_rule_and_day_and_stays_after_it_has_gone() -> None:
    """Nothing before; the first signal is kept although the rail comes back."""
    found, gone = chart(moved()), chart([*moved(36), *[5.0] * 10])

    assert chart(moved(30)).signal is None
    assert found.signal is not None
    assert 30 <= found.signal.at <= 33
    assert "Western Electric" in found.sentence
    assert found.at[:10] in found.sentence
    assert gone.signal == found.signal


def test_the_rules_are_those_of_the_fixture() -> None:
    """Nelson's are named where the fixture asks for them."""
    found = chart(moved(), rules="nelson")
    assert found.signal is not None
    assert found.signal.rule.startswith("Nelson")


def test_a_clearance_ends_a_signal_and_a_new_one_can_come() -> None:
    """Patterns begin anew with the runs that follow; the old limits hold."""
    assert chart(moved(36), cleared(36)).signal is None
    again = chart(moved(50), cleared(36)).signal
    assert again is not None
    assert again.at >= 36


def test_with_limits_anew_the_moved_rail_is_the_new_centre() -> None:
    """Twenty runs later the chart judges again, and finds nothing where nothing moves."""
    assert "runs of 21" in chart(moved(50), cleared(36, anew=True)).missing
    assert chart(moved(60), cleared(36, anew=True)).signal is None
    assert 60 - 37 == chart(moved(60), cleared(36, anew=True)).runs


def test_readings_that_do_not_differ_are_told_and_stop_nothing() -> None:
    """A constant gives no limits; a check that no run has gives no chart."""
    assert "do not differ" in chart([5.0] * 30).missing
    assert "0 runs of 21" in chart(moved(), charted=["no.such.check"]).missing


def test_clearances_are_kept_for_their_board_and_bench(tmp_path: Path) -> None:
    """What is written is read; another bench's is not counted; a spoilt line is refused with its place."""
    clear(tmp_path, cleared(1))
    clear(tmp_path, replace(cleared(2), bench="another"))

    assert (cleared(1),) == clearances(tmp_path, reference(), BOARD.bench)
    with (tmp_path / CLEARANCES).open("a", encoding="utf-8") as file:
        file.write('{"by": "nobody"}\n')
    with pytest.raises(DocumentError, match=r"drift-cleared\.jsonl:3:1: is not a clearance"):
        clearances(tmp_path, reference(), BOARD.bench)


# ---------------------------------------------------------------- at the bench


@pytest.fixture
def fixture(tmp_path: Path) -> Path:
    """The simulated bench with a known-good board whose rail is charted, and its forty runs."""
    text = (ROOT / "fixtures/simulated.yaml").read_text(encoding="utf-8")
    line = f"reference: {{part: {BOARD.procedure.part}, serial: GOLD-1, days: 3000, charted: [{CHECK}]}}\n"
    path = tmp_path / "bench.yaml"
    path.write_text(f"{text}{line}", encoding="utf-8")
    for file in (ROOT / "fixtures").glob("*.harness.yaml"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    return path


def keep(root: Path, bench: str, values: Sequence[float]) -> None:
    for run in runs(values):
        started = datetime.fromisoformat(run.started)
        folder = create_folder(root, started=started, part=run.procedure.part, serial="GOLD-1")
        write_run(folder, replace(run, bench=bench))


def test_a_signal_stops_the_bench_until_it_is_cleared_by_name(
    fixture: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Other boards are refused, an override does not help; a name with a reason does, and stands in the record."""
    name = load_fixture(fixture).fixture.bench.name
    root = tmp_path / "runs"
    keep(root, name, moved(34))
    words = [
        "run",
        str(ROOT / "profiles/carwash.yaml"),
        "--fixture",
        str(fixture),
        "--serial",
        "A1",
        "--runs",
        str(root),
    ]
    show = ["rig", "reference", str(fixture), "--runs", str(root)]

    assert 5 == entry(show)
    assert "drift that nobody has cleared" in capsys.readouterr().out
    assert 4 == entry([*words, "--override-calibration", "B. Meter, in a hurry"])
    assert "its chart shows drift" in capsys.readouterr().err
    assert 2 == entry([*show, "--clear", "B. Meter"])
    assert "is not 'NAME, reason'" in capsys.readouterr().err
    entry([*show, "--clear", "B. Meter, wire X2 was loose"])
    assert "by B. Meter: wire X2 was loose" in capsys.readouterr().out
    assert not standing(reference(), bench=name, root=root, now=datetime.now(UTC)).signals
    assert 2 == entry([*show, "--clear", "B. Meter, again"])
    assert "there is nothing to clear" in capsys.readouterr().err
    entry([*show, "--json"])
    told = json.loads(capsys.readouterr().out)
    assert [None] == [one["signal"] for one in told["charts"]]
    assert ["B. Meter"] == [one["by"] for one in told["cleared"]]
