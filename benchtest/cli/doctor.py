"""`benchtest doctor`: whether this computer is fit for a bench."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import Final

import click

from benchtest.cli.words import say, tell
from benchtest.doctor import Line, State, examine

MARK: Final = {State.OK: "ok", State.WARN: "warn", State.UNKNOWN: "-"}


@click.command()
@click.option("--runs", type=click.Path(path_type=Path), default=Path("runs"), show_default=True, metavar="DIR")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
def doctor(runs: Path, as_json: bool) -> int:
    """Look at serial ports, permissions, locks, delays, power saving, disk and clock; nothing is opened or changed.

    Exit code 0 when nothing is wrong, 5 when something will give trouble; each warning says what mends it.
    """
    lines = examine(runs=runs)
    if as_json:
        tell(json.dumps([asdict(line) for line in lines], ensure_ascii=False, indent=2))
    else:
        for line in lines:
            _tell(line)
        warnings = sum(line.state is State.WARN for line in lines)
        say(f"{warnings} warning{'' if warnings == 1 else 's'}" if warnings else "nothing is wrong that can be seen")
    return 5 if any(line.state is State.WARN for line in lines) else 0


def _tell(line: Line) -> None:
    note = "not looked at: " if line.state is State.UNKNOWN else ""
    say(f"{MARK[line.state]:<4}  {line.topic}: {note}{line.found}")
    if line.mend:
        click.echo(f"      {line.mend}")  # never broken over lines: it is to be pasted
