"""The cautions of this program, once: for the bench before it is energised, for the paper, for the hook-up sheet.

A caution may be worded twice, for whoever stands at the bench and for whoever reads a paper about a board. Cautions do
not replace knowledge of the trade: local codes and licensed practice come first, everywhere.

Source: common practice, no source; what extra-low voltage is: IEC 61140 and IEC 60449 band I, from memory (50 V a.c.,
120 V ripple-free d.c.); de-energised, secured, verified dead by a qualified person: practice of OSHA 29 CFR 1910.333
and EN 50110-1, from memory.
"""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, kw_only=True, slots=True)
class Caution:
    """One thing that can hurt somebody, in words."""

    key: str
    bench: str = ""
    """For whoever stands at the bench; empty where it is only for the paper."""
    paper: str = ""
    """For whoever reads a certificate; empty where it is only for the bench."""


CAUTIONS: Final = (
    Caution(
        key="extra-low voltage",
        bench="Extra-low voltage only: this program sources at most 30 V.",
        paper="The test uses extra-low voltage only. In service, relay contacts may carry dangerous voltages.",
    ),
    Caution(
        key="mains",
        bench=(
            "No mains on this bench. Relay contacts may carry it in service; here they switch test currents only. "
            "Mains work is for qualified people under local codes, outside this program."
        ),
    ),
    Caution(
        key="current limit",
        bench=(
            "Current limit before voltage; a supply in current limit at first power-up means stop, not turn it up. "
            "Fuse the rig."
        ),
    ),
    Caution(
        key="hands",
        bench="Hands off while the board is powered; safety glasses at first power-up.",
    ),
    Caution(
        key="emergency stop",
        bench=(
            "An emergency stop must cut the supply in hardware. No software stop is isolation; a qualified person "
            "verifies dead."
        ),
        paper="Before fitting, the machine is to be isolated, secured and verified dead by a qualified person.",
    ),
    Caution(
        key="discharge",
        bench="Capacitors stay charged after power-off until they are measured discharged.",
    ),
    Caution(
        key="static",
        bench="Boards are damaged by static: a tested wrist strap, an earthed mat, bags that shield.",
    ),
    Caution(
        key="interlocks",
        bench="Never bypass a safety interlock in a machine to make a board pass.",
    ),
    Caution(
        key="release",
        bench="A pass on the bench is not a release to run the machine; commissioning checks on site remain.",
        paper="A pass on the bench is not a release to run the machine; site commissioning checks remain.",
    ),
    Caution(
        key="local codes",
        bench="Local codes and licensed practice come first.",
        paper="Local codes and licensed practice apply.",
    ),
)
ON_PAPER: Final = tuple(caution.paper for caution in CAUTIONS if caution.paper)


def before_power(guards: Collection[str] = ()) -> tuple[str, ...]:
    """Return what is said before a bench is energised, in order; `guards` are the inputs that are watched on it."""
    watched = f"Watched all through the run on this bench: {', '.join(guards)}." if guards else ""
    unwatched = "This bench has no emergency stop that the program sees: know where its supply is cut."
    return (*(caution.bench for caution in CAUTIONS if caution.bench), watched or unwatched)
