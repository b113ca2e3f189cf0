"""The sentences that stand on every certificate and report; the cautions are in `benchtest.cautions`.

Source: ISO/IEC 17025:2017, 7.8.2.1 l and its note, for the first statement. What is said of the decision rule stands in
`certificate.rule`.
"""

from collections.abc import Mapping
from typing import Final

from benchtest.readings import Origin

ORIGIN: Final[Mapping[Origin, str]] = {
    Origin.MEASURED: "All readings were measured on the bench named here.",
    Origin.BY_HAND: "Some readings were taken by a person with a hand-held instrument and entered by hand.",
    Origin.REPLAYED: "REPLAYED: readings of an earlier run were judged again. No board was on the bench.",
    Origin.SIMULATED: (
        "SIMULATED: the readings come from a simulated bench or board. "
        "No real board was tested, and this paper says nothing about one."
    ),
}
STATEMENT: Final = (
    "The results relate only to the item tested, as it was when tested. "
    "This document is not to be reproduced except in full."
)
LEGEND: Final = (
    "Time is counted from the order (▼), at 0. Each trace fills its own height: voltage at a coil; voltage across a "
    "contact, high while it is open; light of a lamp. A dashed line marks where a time that was measured ends; an "
    "operate or release time counts from the coil where that is shown, else from the order. "
    "In strips of lamp codes a bar is a lit lamp."
)
SUSPECTS: Final = (
    "Where to look first, from simulated boards with every fault that the profile can have. "
    "No finding, and no part of the result."
)
CLAIMED: Final = (
    "The item named here was tested by the method, with the equipment and at the times named here.",
    "Each result line shows what was read, how far it may be off, what was permitted, and where it was probed.",
    "The evidence is kept with the run; its digests and the journal head above identify it.",
)
NOT_CLAIMED: Final = (
    "No accreditation, approval or certification of the test place is implied.",
    (
        "Nothing is said about other items, about checks that are not listed, or about life, insulation, "
        "emission, immunity, or contacts under their service load."
    ),
    "Customer, work order, revision and condition are as stated to the bench and were not verified.",
)
