"""What a person says of a bus: a database, required periods, which messages ask and answer."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchtest.quantities import DURATION, parse

if TYPE_CHECKING:
    from benchtest.signals.frames import Identifier
    from benchtest.signals.latency import Shows

_SHOWS = re.compile(r"(?P<message>\w+)\.(?P<signal>\w+)=(?P<value>[-+0-9.eE]+)")


def database_of(path: Path | None) -> Any:
    """Return the signal database at a path; None without one. Raises CaptureError."""
    if path is None:
        return None
    import cantools

    from benchtest.errors import CaptureError

    try:
        return cantools.database.load_file(path)
    except OSError as problem:
        raise CaptureError(path, f"cannot be read: {problem.strerror or problem}") from problem
    except Exception as problem:  # the library raises what its parser happens to raise
        raise CaptureError(path, f"is no signal database: {str(problem).splitlines()[0]}") from problem


def periods_of(texts: tuple[str, ...]) -> dict[str, float]:
    """Return required periods in seconds by message name or identifier."""
    found = {}
    for text in texts:
        name, _, period = text.rpartition("=")
        if not name:
            raise click.UsageError(f"--period {text!r} is not NAME=TIME (try 0x1A0='200 ms')")
        try:
            found[name] = parse(period, DURATION)
        except ValueError as problem:
            raise click.UsageError(f"--period {text!r}: {problem}") from None
    return found


def asked_message(option: str, text: str | None) -> "Identifier | Shows | None":
    """Return the message that is meant: `0x123`, `0x18FF00A1` (more than three digits: 29 bits), `Status.k1=1`."""
    if text is None:
        return None
    from benchtest.signals.frames import Identifier
    from benchtest.signals.latency import Shows

    try:
        if (shown := _SHOWS.fullmatch(text)) is not None:
            return Shows(message=shown["message"], signal=shown["signal"], value=float(shown["value"]))
        digits = text.lower().removeprefix("0x")
        return Identifier(int(digits, 16), extended=len(digits) > 3)
    except ValueError:
        raise click.UsageError(
            f"{option} {text!r} is neither an identifier such as 0x1A0 nor message.signal=value"
        ) from None
