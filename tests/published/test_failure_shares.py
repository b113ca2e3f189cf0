"""Shares of failure modes, as far as they can be checked from outside.

Source of the numbers: MIL-HDBK-338B, Table 7.6-1 (itself from FMD-91), by public copies; not checked against
the handbook itself.
"""

import pytest

from benchtest.faults import ABOUT, possible, priors
from benchtest.faults.shares import ESTIMATED, HANDBOOK, share
from tests.studies.studied import greenhouse

TRANSCRIBED = {
    ("relay", "fails to trip"): 0.55,
    ("relay", "spurious trip"): 0.26,
    ("relay", "short"): 0.19,
    ("connection", "open"): 0.61,
    ("capacitor", "short"): 0.53,
    ("diode", "short"): 0.49,
    ("transistor", "short"): 0.73,
    ("LED", "open"): 0.70,
    ("resistor", "parameter"): 0.36,
    ("linear circuit", "improper output"): 0.77,
}


def test_shares_are_those_of_the_table() -> None:
    """Row by row as transcribed."""
    assert TRANSCRIBED == {mode: share(*mode) for mode in TRANSCRIBED}


@pytest.mark.parametrize("part", [part for part in HANDBOOK if part != "fuse"])
def test_the_modes_of_a_part_are_all_its_failures(part: str) -> None:
    """The table is normalised; of the fuse only one of its modes concerns a board."""
    assert sum(HANDBOOK[part].values()) == pytest.approx(1.0)


def test_every_kind_has_a_share_and_the_estimates_are_the_rarest() -> None:
    """No kind is without a prior, and what nobody has counted is never likelier than what the handbook counts."""
    shares = {kind: share(about.part, about.mode) for kind, about in ABOUT.items()}

    assert all(0 < value < 1 for value in shares.values())
    assert max(value for modes in ESTIMATED.values() for value in modes.values()) <= 0.1


def test_priors_of_a_board_are_a_distribution_in_the_handbooks_order() -> None:
    """They add up to one; of one relay, not operating comes before chattering, and chattering before a weld."""
    prior = priors(possible(greenhouse().fitted))
    of_k3 = {text: value for text, value in prior.items() if text.startswith("K3 ")}
    modes: dict[str, float] = {}
    for fault in possible(greenhouse().fitted):
        if fault.text in of_k3 and fault.about.part == "relay":
            modes[fault.about.mode] = modes.get(fault.about.mode, 0.0) + prior[fault.text]

    assert sum(prior.values()) == pytest.approx(1.0)
    assert modes["fails to trip"] > modes["spurious trip"] > modes["short"]
    assert modes["fails to trip"] / modes["short"] == pytest.approx(0.55 / 0.19)
