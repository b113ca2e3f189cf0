"""`benchtest measure`: the code of the bench, applied to files from a scope, a logic analyser, a bus or a phone."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchtest.cli.capture_options import (
    SECONDS,
    VOLTS,
    Quantity,
    channel_option,
    files_argument,
    options_of,
    output_options,
    read_channel,
    reading_options,
    tell,
)
from benchtest.quantities import BIT_RATE, RATIO, TEMPERATURE

if TYPE_CHECKING:
    from benchtest.captures.capture import Options
    from benchtest.measure.measured import Input, Measured
    from benchtest.measure.stated import Instrument

CELSIUS, SHARE, BITS = Quantity(TEMPERATURE), Quantity(RATIO), Quantity(BIT_RATE)


@click.group()
def measure() -> None:
    """Measure a captured FILE: contact, coil, supply, lamp, link or resistance.

    Reads tables (CSV) as instruments write them, event lists, WAV, VCD, NumPy, raw and zipped logic captures, CAN logs,
    and films of a lamp. Exit code 3: the main question stayed open.
    """


def _said_of_the_instrument(command: Callable[..., Any]) -> Callable[..., Any]:
    for option in (
        click.option("--clock", type=SHARE, default=0.0, metavar="RATIO", help="Error of its time base: 50 ppm."),
        click.option("--offset", type=float, default=0.0, metavar="NUMBER", help="Its accuracy, plus: in SI units."),
        click.option("--of-reading", type=SHARE, default=0.0, metavar="RATIO", help="Its accuracy, of reading: 0.5 %."),
    ):
        command = option(command)
    return command


def _instrument(said: dict[str, Any]) -> "Instrument":
    from benchtest.measure.stated import Instrument

    return Instrument(of_reading=said.pop("of_reading"), plus=said.pop("offset"), clock=said.pop("clock"))


def _output(said: dict[str, Any]) -> dict[str, Any]:
    return {name: said.pop(name) for name in ("as_json", "definitions", "picture")}


def _input(path: Path, options: "Options", channel: str | None) -> "Input":
    from benchtest.measure.measured import Input

    found = read_channel(path, options, channel)
    return Input(name=found.channel.name, unit=found.channel.unit, series=found.series, notes=found.notes)


def _each(files: Sequence[Path], one: "Callable[[Path], Measured]") -> "list[Measured]":
    """Measure every file; a channel that cannot answer is a problem of its file."""
    from benchtest.errors import CaptureError
    from benchtest.measure.measured import Unmeasurable

    found = []
    for path in files:
        try:
            found.append(one(path))
        except (Unmeasurable, ValueError) as problem:
            raise CaptureError(path, str(problem)) from problem
    return found


thresholds = (
    click.option(
        "--high", type=float, metavar="NUMBER", help="At or over: the upper state; in SI units of the channel."
    ),
    click.option("--low", type=float, metavar="NUMBER", help="At or under: the lower state."),
)


def _thresholds(command: Callable[..., Any]) -> Callable[..., Any]:
    for option in thresholds:
        command = option(command)
    return command


@measure.command()
@files_argument
@channel_option("channel", "The contact; may be left out where the file has one channel.")
@channel_option("command", "What the coil was told; for operate and release time.")
@channel_option("break", "The other contact of a change-over; for transfer.")
@click.option("--made", type=click.Choice(["low", "high"]), default="low", show_default=True,
              help="Side on which the contact is made: low across it, high at its load.")  # fmt: skip
@click.option("--form", type=click.Choice(["A", "B"]), default="A", show_default=True, help="A makes, B breaks.")
@click.option("--time-to", type=click.Choice(["first", "settled"]), default="first", show_default=True,
              help="Operate time to the first change, or bounce included.")  # fmt: skip
@click.option("--bounce", type=click.Choice(["every", "MIL-R-5757J"]), default="every", show_default=True,
              help="What counts as a bounce.")  # fmt: skip
@_thresholds
@_said_of_the_instrument
@reading_options
@output_options
def contact(files: tuple[Path, ...], channel: str | None, command: str | None, **said: Any) -> int:
    """First make and break, bounce, rest, chatter, operate and release time, transfer."""
    from benchtest.measure.contact import ContactFile, measure_contact
    from benchtest.signals.contact import BounceRule, TimeRule

    output, instrument, options = _output(said), _instrument(said), options_of(said)
    rules = {"first": TimeRule.FIRST_CONTACT, "settled": TimeRule.SETTLED}

    def one(path: Path) -> "Measured":
        asked = ContactFile(
            contact=_input(path, options, channel),
            command=_input(path, options, command) if command else None,
            breaking=_input(path, options, said["break"]) if said["break"] else None,
            made="below" if said["made"] == "low" else "above",
            way="make" if said["form"] == "A" else "break",
            low=said["low"],
            high=said["high"],
            time_rule=rules[said["time_to"]],
            bounce_rule=BounceRule.EVERY if said["bounce"] == "every" else BounceRule.MIL_R_5757J,
        )
        return measure_contact(path.name, asked, instrument)

    return tell(_each(files, one), **output)


@measure.command()
@files_argument
@channel_option("voltage", "Voltage across the coil.")
@channel_option("current", "Current through the coil.")
@click.option(
    "--contact", "contacts", multiple=True, metavar="CHANNEL", help="A contact that it moves; may be repeated."
)
@click.option("--method", type=click.Choice(["switched", "ramp", "steps"]), default="switched", show_default=True,
              help="How the coil was driven.")  # fmt: skip
@click.option("--made", type=click.Choice(["low", "high"]), default="low", show_default=True,
              help="Side on which the contacts are made.")  # fmt: skip
@click.option("--form", type=click.Choice(["A", "B"]), default="A", show_default=True, help="A makes, B breaks.")
@click.option("--temperature", type=CELSIUS, metavar="T", help="Of the winding: 23 degC; for the resistance at 20 °C.")
@click.option("--copper", type=float, default=234.5, show_default=True, help="Inferred zero-resistance temperature.")
@click.option("--clips", type=float, metavar="VOLTS", help="Where the converter of the voltage ends, of either sign.")
@_thresholds
@_said_of_the_instrument
@reading_options
@output_options
def coil(files: tuple[Path, ...], voltage: str | None, current: str | None, **said: Any) -> int:
    """Inrush dip, holding current, resistance at 20 °C, clamp; operate and release voltage by ramp or steps."""
    from benchtest.measure.coil import CoilFile, measure_coil

    output, instrument, options = _output(said), _instrument(said), options_of(said)

    def one(path: Path) -> "Measured":
        asked = CoilFile(
            volts=_input(path, options, voltage) if voltage else None,
            amps=_input(path, options, current) if current else None,
            contacts=tuple(_input(path, options, name) for name in said["contacts"]),
            made="below" if said["made"] == "low" else "above",
            low=said["low"],
            high=said["high"],
            form="make" if said["form"] == "A" else "break",
            method=said["method"],
            temperature=said["temperature"],
            constant=said["copper"],
            saturation=_clips(said),
        )
        return measure_coil(path.name, asked, instrument, instrument)

    return tell(_each(files, one), **output)


def _clips(said: dict[str, Any]) -> tuple[float, float] | None:
    return None if said["clips"] is None else (-abs(said["clips"]), abs(said["clips"]))


@measure.command()
@files_argument
@channel_option("channel", "The supply; may be left out where the file has one channel.")
@click.option("--dc", "nature", flag_value="dc", help="It is a d.c. supply.")
@click.option("--ac", "nature", flag_value="ac", help="It is an a.c. supply.")
@click.option(
    "--nominal", type=VOLTS, metavar="VOLTS", help="Nominal voltage: 24 V; sags are looked for below 90 % of it."
)
@click.option("--clips", type=float, metavar="VOLTS", help="Where the converter ends, of either sign.")
@_said_of_the_instrument
@reading_options
@output_options
def supply(files: tuple[Path, ...], channel: str | None, **said: Any) -> int:
    """D.c. mean, ripple and sags; a.c. r.m.s., frequency and crest factor over whole cycles."""
    from benchtest.measure.supply import SupplyFile, measure_supply

    output, instrument, options = _output(said), _instrument(said), options_of(said)

    def one(path: Path) -> "Measured":
        asked = SupplyFile(
            supply=_input(path, options, channel),
            nature=said["nature"],
            nominal=said["nominal"],
            saturation=_clips(said),
        )
        return measure_supply(path.name, asked, instrument)

    return tell(_each(files, one), **output)


@measure.command()
@files_argument
@channel_option("channel", "The light; may be left out where the file has one channel.")
@click.option("--profile", type=click.Path(path_type=Path), metavar="FILE", help="Profile that declares the rhythm.")
@click.option("--lamp", metavar="NAME", help="Lamp of the profile: D21.")
@click.option("--flash", type=SECONDS, metavar="TIME", help="Counting code: flash, with --gap and --pause.")
@click.option("--gap", type=SECONDS, metavar="TIME", help="Dark between flashes.")
@click.option("--pause", type=SECONDS, metavar="TIME", help="Dark between repeats.")
@_thresholds
@reading_options
@output_options
def lamp(files: tuple[Path, ...], channel: str | None, **said: Any) -> int:
    """Blink code with its confidence; the rhythm is declared, by a profile or here, or learned from the record."""
    from benchtest.measure.lamp import LampFile, measure_lamp

    output, options = _output(said), options_of(said)
    rhythm = _rhythm(said)

    def one(path: Path) -> "Measured":
        asked = LampFile(light=_input(path, options, channel), rhythm=rhythm, low=said["low"], high=said["high"])
        return measure_lamp(path.name, asked)

    return tell(_each(files, one), **output)


def _rhythm(said: dict[str, Any]) -> Any:
    """Return the declared rhythm; None when it shall be learned."""
    from benchtest.plan.codes import rhythm
    from benchtest.procedure import CountRhythm
    from benchtest.profile import load_profile

    times = [said[name] for name in ("flash", "gap", "pause")]
    if said["profile"] is None and said["lamp"] is None:
        if not any(times):
            return None
        if not all(times):
            raise click.UsageError("a counting rhythm has all of --flash, --gap and --pause")
        return CountRhythm(flash=times[0], gap=times[1], pause=times[2])
    if said["profile"] is None or said["lamp"] is None or any(times):
        raise click.UsageError("a profile's rhythm needs --profile and --lamp, and nothing else about the rhythm")
    profile = load_profile(said["profile"]).profile
    known = {name: lamp.code for name, lamp in profile.lamps.items() if lamp.code is not None}
    if said["lamp"] not in known:
        raise click.UsageError(
            f"lamp {said['lamp']!r} gives no code in this profile (try {', '.join(known) or 'none'})"
        )
    return rhythm(profile.codes[known[said["lamp"]]])


@measure.command()
@files_argument
@channel_option("voltage", "Volts at the sense wires.")
@channel_option("current", "Amps through the contact.")
@click.option(
    "--open-voltage", type=VOLTS, required=True, metavar="VOLTS", help="Of the test supply, contact open: 6 V."
)
@click.option("--category", type=click.Choice(["CC0", "CC1", "CC2"]), default="CC2", show_default=True,
              help="Contact category; a test supply beyond its limits is refused.")  # fmt: skip
@_said_of_the_instrument
@reading_options
@output_options
def resistance(files: tuple[Path, ...], voltage: str | None, current: str | None, **said: Any) -> int:
    """Contact resistance, four wires, the current both ways, several actuations."""
    from benchtest.measure.resistance import CATEGORIES, ResistanceFile, measure_resistance

    if voltage is None or current is None:
        raise click.UsageError("name both channels: --voltage and --current")
    output, instrument, options = _output(said), _instrument(said), options_of(said)

    def one(path: Path) -> "Measured":
        asked = ResistanceFile(
            volts=_input(path, options, voltage),
            amps=_input(path, options, current),
            open_volts=said["open_voltage"],
            category=CATEGORIES[said["category"]],
        )
        return measure_resistance(path.name, asked, instrument, instrument)

    return tell(_each(files, one), **output)


@measure.command()
@files_argument
@click.option("--bit-rate", type=BITS, metavar="RATE", help="Of the bus: 125 kbit/s; for its load.")
@click.option("--database", type=click.Path(path_type=Path), metavar="FILE", help="Signal database (DBC).")
@click.option("--period", "periods", multiple=True, metavar="NAME=TIME", help="Required period; may be repeated.")
@click.option("--request", metavar="ID", help="Identifier, or message.signal=value, that asks.")
@click.option("--answer", metavar="ID", help="Identifier, or message.signal=value, that answers.")
@click.option("--within", type=SECONDS, metavar="TIME", help="Time in which an answer is due.")
@click.option("--signal", "signals", multiple=True, metavar="NAME", help="Signal to draw; may be repeated.")
@click.option("--clock", type=SHARE, default=0.0, metavar="RATIO", help="Error of the recorder's time base: 50 ppm.")
@output_options
def link(files: tuple[Path, ...], **said: Any) -> int:
    """Periods, jitter, gaps, bus load, error frames, latency and signals of a CAN log."""
    from benchtest.captures.can_log import read_can_log
    from benchtest.cli.link_options import asked_message, database_of, periods_of
    from benchtest.measure.link import LinkFile, measure_link
    from benchtest.measure.stated import Instrument

    output, database = _output(said), database_of(said["database"])

    def one(path: Path) -> "Measured":
        log = read_can_log(path)
        asked = LinkFile(
            frames=log.frames,
            notes=log.notes,
            bit_rate=said["bit_rate"],
            nominal=periods_of(said["periods"]),
            database=database,
            request=asked_message("--request", said["request"]),
            answer=asked_message("--answer", said["answer"]),
            within=said["within"],
            signal_names=said["signals"],
        )
        return measure_link(path.name, asked, Instrument(clock=said["clock"]))

    return tell(_each(files, one), **output)
