"""The whole campaign: every trouble at every step of the greenhouse run, and the page about it.

    python -m tests.reliability.campaign --write docs/reliability.md

Takes about ten minutes on two cores; the cases wait more than they compute, so several run side by side.
"""

import argparse
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import cast

from tests.reliability.cases import Ended, cases, hold
from tests.reliability.troubles import TROUBLES, Trouble

HEAD = """# Reliability

Every step of the greenhouse run (two bays, dosing), the bench's check of itself among them, in the middle of which
something goes wrong, over pseudo-terminals
in real time. Made by `python -m tests.reliability.campaign --write docs/reliability.md`.

A case has held when the exit code and the words are right, the journal is whole up to that moment, nothing stayed on,
no reading of the good board failed, and no verdict was given on the board for a fault of the bench. A reply that was
spoilt once and overcome by asking once more lets the board pass; a supply in current limit is a failing gate of the
power-up (exit 1) or an abort (6). Time to safe is measured at the bench, from the trouble until nothing was energised;
it is that of the whole rest of the run where the run went on.

"""


def main(arguments: Sequence[str]) -> int:
    """Run the campaign; return 0 when every case held."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", type=Path, help="page to write")
    parser.add_argument("--jobs", type=int, default=4, help="cases side by side")
    parser.add_argument("--trouble", action="append", choices=TROUBLES, help="only this one; may be repeated")
    parser.add_argument("--every", type=int, default=1, help="only every so many cases")
    said = parser.parse_args(arguments)
    chosen = list(cases(tuple(said.trouble or TROUBLES)))[:: said.every]
    with tempfile.TemporaryDirectory() as made, ProcessPoolExecutor(said.jobs) as pool:
        folders = [Path(made) / str(number) for number in range(len(chosen))]
        ended = list(_told(pool.map(hold, chosen, folders), len(chosen)))
    page = HEAD + table(ended) + misses(ended)
    print(page)
    if said.write is not None:
        said.write.write_text(page, encoding="utf-8")
    return 0 if not any(one.wrong for one in ended) else 1


def _told(ended: "Sequence[Ended] | object", count: int) -> "Sequence[Ended]":
    found = []
    for number, one in enumerate(cast("Sequence[Ended]", ended), 1):
        found.append(one)
        if one.wrong or number % 20 == 0:
            print(f"{number}/{count} {one.name}, {one.trouble}: {one.wrong or 'held'}", file=sys.stderr, flush=True)
    return found


def table(ended: Sequence[Ended]) -> str:
    """Return the table: cases, held, worst time to safe, exit codes, per trouble."""
    rows = ["| trouble | cases | held | worst time to safe / s | exit codes |", "|---|---|---|---|---|"]
    for trouble in dict.fromkeys(one.trouble for one in ended):
        some = [one for one in ended if one.trouble == trouble]
        rows.append(_row(trouble, some))
    rows.append(_row("all", ended))
    return "\n".join(rows) + "\n"


def _row(name: Trouble | str, some: Sequence[Ended]) -> str:
    codes = sorted({one.exit_code for one in some})
    counted = ", ".join(f"{code}: {sum(one.exit_code == code for one in some)}" for code in codes)
    worst = max(one.safe_after for one in some)
    return f"| {name} | {len(some)} | {sum(not one.wrong for one in some)} | {worst:.2f} | {counted} |"


def misses(ended: Sequence[Ended]) -> str:
    """Return what did not hold, one line each."""
    wrong = [f"- {one.name}, {one.trouble}: {one.wrong}" for one in ended if one.wrong]
    return "\nNot held:\n\n" + "\n".join(wrong) + "\n" if wrong else "\nEvery case held.\n"


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
