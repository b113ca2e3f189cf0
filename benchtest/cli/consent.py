"""What a person must say, by name, before a bench is energised: that the cautions are known, and what is overridden.

A bench that is simulated, or a virtual one behind wires, hurts nobody and asks for nothing; which it is shows for
certain when it says who it is. So on a terminal a person is asked before anything is opened, unless the fixture expects
a virtual bench; unattended, the name is missed when a real bench has answered, still without power.
"""

import sys
from datetime import date
from typing import Final

import click

from benchtest.adapters.answers import name
from benchtest.cautions import CAUTIONS, before_power
from benchtest.cli.documents import Prepared
from benchtest.errors import PlanError
from benchtest.fixture.calibration import overdue
from benchtest.fixture.document import Fixture
from benchtest.instruments import VIRTUAL
from benchtest.records.journal import Journal
from benchtest.records.labels import clean_text
from benchtest.results import Override

_UNPOWERED: Final = frozenset({"simulated", "replay", "manual"})
"""Drivers that energise nothing by themselves; a person who works a bench by hand is told what to see to all along."""


def expects_virtual(prepared: Prepared) -> bool:
    """Return whether the fixture expects a bench that is not real."""
    adapter = prepared.fixture.fixture.adapters[prepared.harness.adapter]
    return adapter.driver in _UNPOWERED or adapter.identity.startswith(VIRTUAL)


def ask_for_name() -> str:
    """Return the name that was typed under the cautions; what is no name, such as a no, is wrong usage."""
    typed = clean_text(click.prompt("Type your name to acknowledge these cautions", default="", show_default=False))
    try:
        return name(typed)
    except ValueError:
        raise click.UsageError("no name was typed, so the cautions were not acknowledged; nothing was opened") from None


def can_ask() -> bool:
    """Return whether a person sits at this terminal."""
    return all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stdout))


def refuse_unacknowledged(fixture: Fixture) -> None:
    """Raise wrong usage with the cautions in it: a real bench is there and nobody has acknowledged them."""
    sentences = "\n".join(f"  {sentence}" for sentence in before_power(fixture.guards))
    raise click.UsageError(
        f"this is a real bench, and nobody has acknowledged its cautions; nothing was energised:\n{sentences}\n"
        "(whoever knows them says so: --acknowledge NAME)"
    )


def read_override(text: str | None) -> tuple[str, str] | None:
    """Return name and reason of an override written `NAME, reason`; None where nobody overrides."""
    if text is None:
        return None
    name, _, reason = (clean_text(part) for part in text.partition(","))
    if not name or not reason:
        raise click.UsageError(f"--override-calibration {text!r} is not 'NAME, reason' (who answers for it, and why)")
    return name, reason


def calibration(
    fixture: Fixture, today: date, override: tuple[str, str] | None, *, unproven: str = ""
) -> tuple[Override, ...]:
    """Return what is overridden on this day; `unproven` says why the known-good board does not prove the bench.

    Raises PlanError for that and for every overdue instrument when nobody overrides.
    """
    late = {str(one): "have it calibrated" for one in overdue(fixture, today)}
    late |= {unproven: "put it on the bench now"} if unproven else {}
    if late and override is None:
        answer = "or somebody answers for it: --override-calibration 'NAME, reason'"
        raise PlanError([f"{one} ({what}, {answer})" for one, what in late.items()])
    if override is None or not late:
        return ()
    return (Override(by=override[0], reason=override[1], of=tuple(late)),)


def note_consent(journal: Journal, acknowledged: str, overrides: tuple[Override, ...]) -> None:
    """Write down who acknowledged the cautions and who answers for what, before anything is opened."""
    if acknowledged:
        keys = [caution.key for caution in CAUTIONS]
        journal.append("cautions acknowledged", at=0.0, by=acknowledged, cautions=keys)
    for one in overrides:
        journal.append("calibration overridden", at=0.0, by=one.by, reason=one.reason, of=list(one.of))
