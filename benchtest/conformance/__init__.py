"""What every bench adapter owes the seam (`benchtest.instruments`), as rules that anybody can try on any adapter.

`benchtest adapter check` tries them on a bench without a board; the project's tests try them on every adapter that it
ships, with a board. A rule says in words what it found wrong; it raises nothing.
"""

from benchtest.conformance.case import Case, Finding, Rule, State, try_rule
from benchtest.conformance.garbage import noise
from benchtest.conformance.lifeline import LIFELINE
from benchtest.conformance.outputs import OUTPUTS
from benchtest.conformance.readings import READINGS
from benchtest.conformance.recordings import RECORDINGS

__all__ = ["LIFELINE", "RULES", "Case", "Finding", "Rule", "State", "noise", "try_rule"]

RULES = (*OUTPUTS, *READINGS, *RECORDINGS)
"""Rules that may be tried one after the other on one opened adapter; LIFELINE leaves it locked and comes last."""
