"""The misting board, whose link is a serial line: as it is written, and as one that speaks text when it is asked."""

from pathlib import Path
from typing import Final

from benchtest.cli.documents import Prepared, prepare

ROOT: Final = Path(__file__).parents[2]
BOARDS: Final = ROOT / "tests/links/boards"
POLLED_TEXT: Final = """link:
  kind: serial text
  terminals: X4.1-X4.2
  level: RS-232
  bit_rate: 38400 bit/s
  begins_with: "24"
  checksum: {kind: xor8, since: 1, after: "*"}
  gap: 20 ms
  longest: 80
  messages:
    Ask: {word: Q}
    Order:
      word: O
      signals: {mist: {field: 1}, fan: {field: 2}}
    State:
      word: S
      answers: Ask
      within: 20 ms
      signals:
        k1: {field: 1}
        k2: {field: 2}
        door: {field: 3}
        main_ok: {field: 4}
        supply: {field: 5, decimals: 3, unit: V}
  controller: {message: Ask, every: 40 ms}
  board: {message: State, every: {min: 30 ms, max: 60 ms}}
  command: Order
  status: State
  answer: {max: 90 ms}
  lost_after: {min: 0.7 s, max: 1.4 s}
  back_within: {max: 1 s}
"""
"""The same board as one that says nothing unless it is asked, in lines of text."""
WIRES: Final = {
    "simulated": ("can: {driver: simulated}", "line: {driver: simulated}"),
    "serial": ("can: {driver: can, interface: slcan, settings: {sleep_after_open: 0}}", "line: {driver: serial}"),
}


def written(folder: Path, *, fixture: str, polled: bool = False) -> tuple[Path, Path]:
    """Write profile, harness and a shipped fixture with a serial link into a folder; return profile and fixture."""
    profile, bench = folder / "misting.yaml", folder / f"{fixture}.yaml"
    text = (BOARDS / "misting.yaml").read_text(encoding="utf-8")
    if polled:
        text = text[: text.index("link:\n  kind")] + POLLED_TEXT + text[text.index("steps:") :]
    profile.write_text(text, encoding="utf-8")
    (folder / "misting.harness.yaml").write_bytes((BOARDS / "misting.harness.yaml").read_bytes())
    shipped = (ROOT / f"fixtures/{fixture}.yaml").read_text(encoding="utf-8")
    old, new = WIRES[fixture]
    assert old in shipped
    shipped = shipped.replace(old, new).replace(
        "[greenhouse.harness.yaml, carwash.harness.yaml]", "[misting.harness.yaml]"
    )
    bench.write_text(shipped, encoding="utf-8")
    return profile, bench


def prepared(folder: Path, *, fixture: str = "simulated", polled: bool = False) -> Prepared:
    """Load, fit and plan the board."""
    return prepare(*written(folder, fixture=fixture, polled=polled), None, ())
