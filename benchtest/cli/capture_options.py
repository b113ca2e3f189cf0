"""Options that say how a captured file is to be read, and what becomes of what was measured; shared by `measure`."""

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from benchtest.cli.words import say
from benchtest.quantities import DURATION, SAMPLE_RATE, VOLTAGE, Dimension, parse

if TYPE_CHECKING:
    from benchtest.captures.capture import Options, Recorded
    from benchtest.measure.measured import Measured

Decorated = TypeVar("Decorated", bound=Callable[..., Any])


class Quantity(click.ParamType[float]):
    """A quantity with its unit, such as `10 kS/s`."""

    name = "quantity"

    def __init__(self, dimension: Dimension) -> None:
        self.dimension = dimension

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if isinstance(value, float):
            return value
        try:
            return parse(value, self.dimension)
        except ValueError as problem:
            self.fail(str(problem), param, ctx)


class Region(click.ParamType[tuple[int, ...]]):
    """Left, top, width and height in pixels: `120,80,16,16`."""

    name = "region"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[int, ...]:
        parts = str(value).replace(" ", "").split(",")
        if len(parts) != 4 or not all(part.isdecimal() for part in parts):
            self.fail(f"{value!r} is not left,top,width,height in pixels (try 120,80,16,16)", param, ctx)
        return tuple(int(part) for part in parts)


VOLTS, SECONDS, RATE = Quantity(VOLTAGE), Quantity(DURATION), Quantity(SAMPLE_RATE)

files_argument = click.argument("files", type=click.Path(path_type=Path), nargs=-1, required=True, metavar="FILE...")


def channel_option(name: str, says: str) -> Callable[[Decorated], Decorated]:
    """Return an option that names a channel of the file."""
    return click.option(f"--{name}", name.replace("-", "_"), metavar="CHANNEL", help=says)


def reading_options(command: Decorated) -> Decorated:
    """Add what may be said about the file itself."""
    for option in (
        click.option("--file-kind", metavar="KIND", help="Kind of file, where name and first bytes do not tell."),
        click.option("--delimiter", metavar="CHAR", help="Between the cells of a table: , ; tab or space."),
        click.option("--decimal", type=click.Choice([".", ","]), help="Decimal mark of a table."),
        click.option("--time", "time", metavar="COLUMN", help="Column that holds the time; 0 for none."),
        click.option("--rate", type=RATE, metavar="RATE", help="Sample rate, where the file does not say it: 10 kS/s."),
        click.option("--unit", metavar="UNIT", help="Unit in which the channel is written, such as mV."),
        click.option("--rows", type=click.Choice(["samples", "changes"]), help="What a row of states is."),
        click.option("--unit-size", type=click.Choice(["1", "2", "4", "8"]), help="Bytes of a sample of raw logic."),
        click.option("--region", type=Region(), metavar="X,Y,W,H", help="Where the lamp is in a film, in pixels."),
    ):
        command = option(command)
    return command


def output_options(command: Decorated) -> Decorated:
    """Add what shall become of what was measured."""
    for option in (
        click.option("--json", "as_json", is_flag=True, help="Full precision and every definition, as JSON."),
        click.option("--definitions", is_flag=True, help="Say beneath the table what each quantity means."),
        click.option("--picture", type=click.Path(path_type=Path), metavar="FILE", help="Marked trace, .svg or .png."),
    ):
        command = option(command)
    return command


def options_of(said: dict[str, Any]) -> "Options":
    """Take the reading options out of a command's arguments."""
    from benchtest.captures.capture import Options

    names = ("delimiter", "decimal", "time", "rate", "unit", "rows", "region")
    taken = {name: said.pop(name) for name in names}
    size, kind = said.pop("unit_size"), said.pop("file_kind")
    return Options(kind=kind, unit_size=int(size) if size else None, **taken)


def read_channel(path: Path, options: "Options", channel: str | None) -> "Recorded":
    """Return the named channel, or the only one there is. Raises CaptureError."""
    from benchtest.captures import open_capture
    from benchtest.errors import CaptureError

    capture = open_capture(path, options)
    if channel is not None:
        return capture.read(channel)
    if len(capture.channels) != 1:
        listed = ", ".join(f"{known.number} '{known.name}'" for known in capture.channels[:40])
        raise CaptureError(path, f"{len(capture.channels)} channels", expected="one named by --channel", hint=listed)
    return capture.read(capture.channels[0].number)


def tell(found: Sequence["Measured"], *, as_json: bool, definitions: bool, picture: Path | None) -> int:
    """Print what was measured, draw it where asked, and return the exit code: 3 where a main question stayed open."""
    if picture is not None:
        _draw(found, picture)
    if as_json:
        from benchtest.measure.report import as_json as report

        click.echo(json.dumps([report(one) for one in found], ensure_ascii=False, indent=1))
    else:
        _print(found, definitions=definitions)
    return 0 if all(one.settled for one in found) else 3


def _print(found: Sequence["Measured"], *, definitions: bool) -> None:
    from benchtest.measure import words

    for number, one in enumerate(found):
        if number:
            say("")
        for line in words.lines(one):
            say(line)
    if definitions and found:
        say("\ndefinitions")
        for line in words.definitions(found[0]):
            say(line)


def _draw(found: Sequence["Measured"], picture: Path) -> None:
    """Draw every file; from the second one on the picture's name gets a number."""
    from benchtest.measure.picture import draw

    for number, one in enumerate(found, 1):
        path = picture if number == 1 else picture.with_stem(f"{picture.stem}-{number}")
        try:
            draw(one, path)
        except ValueError as problem:
            raise click.UsageError(str(problem)) from None
        except OSError as problem:
            hint = "try another place with --picture"
            raise click.UsageError(f"{path}: cannot be written: {problem.strerror} ({hint})") from None
