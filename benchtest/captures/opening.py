"""Which kind of recording a file is: by its first bytes where they tell, else by the end of its name.

Only raw logic has nothing in it that could tell; it is known by its name, or by the option `kind`.
"""

from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Final

from benchtest.captures.capture import Capture, Options
from benchtest.captures.lines import open_text
from benchtest.errors import CaptureError

KINDS: Final = {
    "csv": "benchtest.captures.table:open_table",
    "wav": "benchtest.captures.wav:open_wav",
    "vcd": "benchtest.captures.vcd:open_vcd",
    "npz": "benchtest.captures.arrays:open_arrays",
    "logic": "benchtest.captures.logic:open_logic",
    "logic-zip": "benchtest.captures.logic_zip:open_logic_zip",
    "video": "benchtest.captures.video:open_video",
}
"""Kinds of file and what opens each."""
SUFFIXES: Final = {
    ".wav": "wav", ".npz": "npz", ".vcd": "vcd", ".csv": "csv", ".tsv": "csv", ".txt": "csv", ".bin": "logic",
    ".logic": "logic", ".mp4": "video", ".mov": "video", ".mkv": "video", ".avi": "video", ".m4v": "video",
    ".webm": "video",
}  # fmt: skip
START: Final = 4096
"""Bytes looked at."""


def open_capture(path: Path, options: Options | None = None) -> Capture:
    """Return the recording in a file, its head read and its channels known.

    Raises CaptureError, with the file, the place, what was found, what was expected and what to try, when the file
    cannot be read in exactly one way.
    """
    chosen = options or Options()
    path = Path(path)
    _check_options(path, chosen)
    try:
        with path.open("rb") as file:
            start = file.read(START)
        if not start:
            raise CaptureError(path, "an empty file", expected="a recording")
        return _opener(chosen.kind or _kind(path, start))(path, start, chosen)
    except OSError as cause:
        raise CaptureError(path, f"cannot be read: {cause.strerror or cause}") from cause


def _check_options(path: Path, options: Options) -> None:
    if options.kind is not None and options.kind not in KINDS:
        raise CaptureError(path, f"'{options.kind}' is no kind of file", expected=f"one of: {', '.join(KINDS)}")
    if options.rate is not None and not 0 < options.rate < float("inf"):
        raise CaptureError(path, f"a rate of {options.rate!r}", expected="samples per second above zero")
    if options.delimiter is not None and options.delimiter not in {",", ";", "\t", " "}:
        raise CaptureError(path, f"a delimiter of {options.delimiter!r}", expected="comma, semicolon, tab or space")


def _kind(path: Path, start: bytes) -> str:
    if start[:4] in {b"RIFF", b"RF64"} and start[8:12] == b"WAVE":
        return "wav"
    if start.startswith((b"PK\x03\x04", b"PK\x05\x06")):
        return "npz" if path.suffix.lower() == ".npz" else "logic-zip"
    if (
        start[4:8] == b"ftyp"
        or start.startswith(b"\x1a\x45\xdf\xa3")
        or (start[:4] == b"RIFF" and start[8:12] == b"AVI ")
    ):
        return "video"
    kind = SUFFIXES.get(path.suffix.lower(), "csv")
    if kind in {"csv", "logic"} and b"$enddefinitions" in start:
        return "vcd"
    return kind


def _opener(kind: str) -> Callable[[Path, bytes, Options], Capture]:
    if kind == "csv":
        return _open_csv
    module, _, name = KINDS[kind].partition(":")
    found: Callable[[Path, bytes, Options], Capture] = getattr(import_module(module), name)
    return found


def _open_csv(path: Path, start: bytes, options: Options) -> Capture:
    from benchtest.captures.table import open_table  # noqa: PLC0415 - the other kinds do not need it

    return open_table(open_text(path, start), options)
