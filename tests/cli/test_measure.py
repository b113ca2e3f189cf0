"""`benchtest measure` as a person uses it: each kind from a file, the picture, the JSON, and whatever can be wrong."""

import json
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import can
import numpy as np
import pytest

ROOT = Path(__file__).parent.parent.parent
RATE = 20e3
Measure = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture
def measure(tmp_path: Path) -> Measure:
    """Run a command among the captures."""

    def run(*words: str) -> "subprocess.CompletedProcess[str]":
        return subprocess.run(
            [sys.executable, "-m", "benchtest", "measure", *words],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=60,
            check=False,
            env={"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin", "LC_ALL": "C.UTF-8"},
        )

    return run


def table(path: Path, columns: dict[str, Any], *, head: str = "") -> Path:
    """Write columns as a table with a header."""
    rows = np.column_stack(list(columns.values()))
    np.savetxt(path, rows, delimiter=",", header=head + ",".join(columns), comments="", fmt="%.9g")
    return path


def contact_file(folder: Path) -> Path:
    """Write a contact that is commanded at 50 ms, makes at 55 ms, bounces once, and lets go at 120 ms."""
    t = np.arange(round(0.2 * RATE)) / RATE
    made = ((t >= 0.055) & (t < 0.12)) & ~((t >= 0.0555) & (t < 0.056))
    volts = np.where(made, 0.02, 12.0) + np.random.default_rng(1).normal(0, 0.01, t.size)
    command = np.where((t >= 0.05) & (t < 0.115), 24, 0)
    return table(folder / "k3.csv", {"time (s)": t, "K3 (V)": volts, "coil (V)": command})


def facts(done: "subprocess.CompletedProcess[str]") -> dict[str, Any]:
    """Return the quantities of a single file by name."""
    (only,) = json.loads(done.stdout)
    return {one["name"]: one for one in only["quantities"]}


def test_a_contact_is_told_as_a_table_as_json_and_as_a_picture(measure: Measure, tmp_path: Path) -> None:
    """The same figures three ways; JSON carries full precision and every definition, the picture every mark."""
    contact_file(tmp_path)
    words = ("contact", "k3.csv", "--channel", "K3", "--command", "coil")
    told, exact = measure(*words, "--picture", "k3.svg"), measure(*words, "--json")
    found = facts(exact)

    assert (0, 0) == (told.returncode, exact.returncode), told.stderr + exact.stderr
    assert "operate time" in told.stdout
    assert found["operate time"]["value"] == pytest.approx(5e-3, abs=1 / RATE)
    assert found["bounce time, make"]["value"] == pytest.approx(1e-3, abs=1 / RATE)
    assert all(one["definition"] for one in found.values())
    drawn = ET.parse(tmp_path / "k3.svg").getroot()
    assert any("first make" in (text.text or "") for text in drawn.iter("{http://www.w3.org/2000/svg}text"))


def test_a_picture_can_be_png_and_nothing_else_but_svg(measure: Measure, tmp_path: Path) -> None:
    """The suffix decides; an unknown one is wrong usage, and so is a place where nothing can be written."""
    contact_file(tmp_path)
    drawn = measure("contact", "k3.csv", "--channel", "K3", "--picture", "k3.png")
    wrong = measure("contact", "k3.csv", "--channel", "K3", "--picture", "k3.gif")

    nowhere = measure("contact", "k3.csv", "--channel", "K3", "--picture", "none/k3.svg")

    assert (0, 2, 2) == (drawn.returncode, wrong.returncode, nowhere.returncode)
    assert "try another place with --picture" in " ".join(nowhere.stderr.split())
    assert b"\x89PNG" == (tmp_path / "k3.png").read_bytes()[:4]
    assert ".svg or .png" in wrong.stderr


def test_a_supply_a_coil_and_a_resistance_from_their_files(measure: Measure, tmp_path: Path) -> None:
    """24 V with ripple, 600 Ω of coil, 50 mΩ of contact with the current reversed."""
    rng = np.random.default_rng(2)
    t = np.arange(round(0.4 * RATE)) / RATE
    table(tmp_path / "psu.csv", {"time (s)": t, "main (V)": 24 + 0.5 * np.sin(2 * np.pi * 100 * t)})
    on = (t >= 0.05) & (t < 0.3)
    amps = np.where(on, 0.04 * (1 - np.exp(-(t - 0.05).clip(0) / 4e-3)), 0) + rng.normal(0, 2e-5, t.size)
    table(tmp_path / "coil.csv", {"time (s)": t, "u (V)": np.where(on, 24.0, 0.0), "i (mA)": amps * 1e3})
    current = np.repeat([0.0, 0.1, 0.0, -0.1, 0.0], 200)
    table(tmp_path / "r.csv", {"time (s)": np.arange(1000) / 1e3, "v (mV)": current * 50, "i (A)": current})

    supply = facts(measure("supply", "psu.csv", "--json", "--nominal", "24 V"))
    coil = facts(measure("coil", "coil.csv", "--voltage", "u", "--current", "i", "--temperature", "23 degC", "--json"))
    contact = facts(
        measure("resistance", "r.csv", "--voltage", "v", "--current", "i", "--open-voltage", "6 V", "--json")
    )

    assert supply["mean"]["value"] == pytest.approx(24, rel=1e-4)
    assert supply["ripple, peak to peak"]["value"] == pytest.approx(1 / 24, rel=1e-2)
    assert coil["coil resistance"]["value"] == pytest.approx(600, rel=1e-2)
    assert coil["coil resistance at 20 °C"]["value"] == pytest.approx(600 * 254.5 / 257.5, rel=1e-2)
    assert contact["contact resistance"]["value"] == pytest.approx(50e-3, rel=1e-6)


def lamp_file(folder: Path, flashes: int, repeats: int = 4) -> Path:
    """Write a lamp that gives so many flashes of 200 ms, dark for 1.2 s between repeats."""
    one = [(1.0, 0.2), (0.0, 0.2)] * (flashes - 1) + [(1.0, 0.2), (0.0, 1.2)]
    light = np.concatenate([np.full(round(seconds * 500), level) for level, seconds in one * repeats])
    noise = np.random.default_rng(3).normal(0, 0.02, light.size)
    return table(folder / "lamp.csv", {"time (s)": np.arange(light.size) / 500, "light": 0.1 + 0.6 * light + noise})


def test_a_lamp_is_read_by_a_profiles_rhythm_by_a_stated_one_and_by_its_own(measure: Measure, tmp_path: Path) -> None:
    """The code is 3 all three ways, with its confidence and the raw pattern."""
    lamp_file(tmp_path, 3)
    by_profile = ("--profile", str(ROOT / "profiles/greenhouse.yaml"), "--lamp", "D21")
    stated = ("--flash", "200 ms", "--gap", "200 ms", "--pause", "1.2 s")
    for words in (by_profile, stated, ()):
        found = facts(measure("lamp", "lamp.csv", "--json", *words))
        assert found["code"]["value"] == "3"
        assert " off " in found["code"]["note"]
        assert found["confidence"]["value"] >= 0.99


def test_a_lamp_seen_too_shortly_is_doubtful_and_exits_with_three(measure: Measure, tmp_path: Path) -> None:
    """One repeat is no code."""
    lamp_file(tmp_path, 3, repeats=1)
    done = measure("lamp", "lamp.csv", "--flash", "200 ms", "--gap", "200 ms", "--pause", "1.2 s")

    assert 3 == done.returncode
    assert "doubtful" in done.stdout


@pytest.mark.parametrize(
    "words", [("--flash", "200 ms"), ("--lamp", "D21"), ("--profile", "x.yaml"), ("--flash", "200")]
)
def test_half_a_rhythm_is_wrong_usage(measure: Measure, tmp_path: Path, words: tuple[str, ...]) -> None:
    """A rhythm needs all of its times, or a profile and a lamp."""
    lamp_file(tmp_path, 3)
    assert 2 == measure("lamp", "lamp.csv", *words).returncode


def bus_file(folder: Path) -> Path:
    """Write a log of the greenhouse board's heartbeat every 250 ms, one missing, and the controller's every 200 ms."""
    frames = [(0.25 * n, 0x310) for n in range(40) if n != 17] + [(0.2 * n + 0.01, 0x101) for n in range(50)]
    with can.ASCWriter(str(folder / "bus.asc")) as writer:
        for at, identifier in sorted(frames):
            message = can.Message(arbitration_id=identifier, data=[0, 0], is_extended_id=False, timestamp=1e9 + at)
            writer.on_message_received(message)
    return folder / "bus.asc"


def test_a_bus_log_shows_periods_load_latency_and_who_is_missing(measure: Measure, tmp_path: Path) -> None:
    """Names from the database, one heartbeat missing, load by actual and worst-case stuffing."""
    bus_file(tmp_path)
    database = str(ROOT / "profiles/greenhouse.dbc")
    done = measure("link", "bus.asc", "--bit-rate", "125 kbit/s", "--database", database, "--period",
                   "ZoneHeartbeat=250 ms", "--request", "0x101", "--answer", "0x310", "--json")  # fmt: skip
    found = facts(done)

    assert 3 == done.returncode  # ZoneStatus was never heard: the question stays open
    assert found["ZoneHeartbeat period"]["value"] == pytest.approx(0.25, abs=1e-4)
    assert found["ZoneHeartbeat missing"]["value"] == 1
    assert found["ZoneHeartbeat longest gap"]["value"] == pytest.approx(0.5, abs=1e-4)
    assert 0 < found["bus load"]["value"] <= found["bus load, worst case"]["value"] < 0.05
    assert any("never heard" in note for note in json.loads(done.stdout)[0]["notes"])


def test_header_and_rows_that_disagree_are_told_and_the_rows_believed(measure: Measure, tmp_path: Path) -> None:
    """The header says twice the step of the rows."""
    t = np.arange(2000) / RATE
    volts = np.where((t > 0.03) & (t < 0.07), 0.0, 12.0)
    table(tmp_path / "k.csv", {"time (s)": t, "K3 (V)": volts}, head="Sample Interval,1E-04\n")
    done = measure("contact", "k.csv")

    assert 0 == done.returncode
    assert "rows are believed" in done.stdout


BROKEN = {
    "empty.csv": b"",
    "header.csv": b"time,K3\n",
    "one.csv": b"time,K3\n0,1\n",
    "junk.csv": bytes(range(256)) * 40,
    "backwards.csv": b"time,K3\n0,1\n1,2\n0.5,3\n2,4\n",
    "cut.zip": b"PK\x03\x04" + b"\x00" * 30,
    "cut.mp4": b"\x00\x00\x00\x18ftypisom\x00\x00\x02\x00isomiso2",
    "cut.wav": b"RIFF\x24\x00\x00\x00WAVEfmt ",
    "cut.npz": b"PK\x03\x04",
    "cut.vcd": b"$timescale 1 ns $end\n$scope module",
}


@pytest.mark.parametrize("name", BROKEN)
@pytest.mark.parametrize("kind", ["contact", "supply", "lamp"])
def test_a_broken_file_ends_in_a_sentence_that_names_it(measure: Measure, tmp_path: Path, name: str, kind: str) -> None:
    """No traceback, no guess: exit 4, or 3 where it could be read and shows nothing."""
    (tmp_path / name).write_bytes(BROKEN[name])
    done = measure(kind, name)

    assert done.returncode in {3, 4}, done.stdout + done.stderr
    assert name in done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    assert "defect" not in done.stderr


@pytest.mark.parametrize("value", ["nan", "OL", "7.5"])
@pytest.mark.parametrize("kind", ["contact", "supply", "lamp"])
def test_a_record_of_one_value_is_answered_without_a_guess(
    measure: Measure, tmp_path: Path, value: str, kind: str
) -> None:
    """Nothing but sentinels, or one level all along."""
    (tmp_path / "flat.csv").write_text("time,K3\n" + "".join(f"{n / 1000},{value}\n" for n in range(500)))
    done = measure(kind, "flat.csv")

    assert done.returncode in {0, 3, 4}
    assert done.returncode != 0 or (kind == "supply" and value == "7.5")
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("contact", "k3.csv"), 4, "--channel"),
        (("contact", "k3.csv", "--channel", "K9"), 4, "K9"),
        (("contact", "k3.csv", "--channel", "K3", "--low", "3"), 4, "--high"),
        (("contact", "nowhere.csv"), 4, "nowhere.csv"),
        (("contact", "."), 4, "."),
        (("coil", "k3.csv"), 4, "--voltage"),
        (("resistance", "k3.csv", "--open-voltage", "6 V"), 2, "--voltage"),
        (("resistance", "k3.csv", "--voltage", "K3", "--current", "coil", "--open-voltage", "6"), 2, "without a unit"),
        (("link", "k3.csv"), 4, "k3.csv"),
        (("link", "bus.asc", "--period", "x"), 2, "NAME=TIME"),
        (("link", "bus.asc", "--request", "zzz", "--answer", "0x1"), 2, "zzz"),
        (("link", "bus.asc", "--database", "k3.csv"), 4, "k3.csv"),
        (("lamp", "k3.csv", "--channel", "K3", "--region", "1,2"), 2, "120,80,16,16"),
        (("contact",), 2, "FILE"),
        (("smell", "k3.csv"), 2, "smell"),
    ],
)
def test_wrong_words_are_answered_with_what_to_try(
    measure: Measure, tmp_path: Path, words: tuple[str, ...], code: int, said: str
) -> None:
    """Exit code and a sentence that names the thing."""
    contact_file(tmp_path)
    bus_file(tmp_path)
    done = measure(*words)

    assert code == done.returncode, done.stdout + done.stderr
    assert said in done.stderr
    assert "Traceback" not in done.stderr
