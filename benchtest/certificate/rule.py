"""How the certificate states its decision rule, its uncertainties, and what they risk.

Source: ILAC-G8:09/2019, 4.2 and table 1 (from memory) for the words and the risk; ISO/IEC 17025:2017, 7.8.6, asks for
the rule and its level of risk to be stated; JCGM 100:2008, 7.2.3 and G.6.4 for what is said of U.
"""

from collections.abc import Mapping
from typing import Final

from benchtest.metrology.coverage import below, probability
from benchtest.metrology.decision import Rule
from benchtest.metrology.figures import chance
from benchtest.procedure import DecisionRule, Procedure

WORDS: Final[Mapping[Rule, str]] = {
    "non-binary": (
        "Pass: inside the limits by w or more. Conditional pass: inside by less than w. "
        "Conditional fail: outside by no more than w. Fail: outside by more than w. "
    ),
    "guarded acceptance": (
        "Guarded acceptance. Pass: inside the limits by w or more. Fail: everything else. A value that is refused for "
        "the guard band's sake although it lies inside the limits says so, and does not by itself fail the item: the "
        "outcome is then inconclusive. "
    ),
    "guarded rejection": "Guarded rejection. Fail: outside the limits by more than w. Pass: everything else. ",
    "simple acceptance": "Simple acceptance. Pass: inside the limits. Fail: outside. There is no guard band. ",
}
NOT_TESTED: Final = (
    "Not tested: nothing was decided, for the reason given. A reading that is not a number never passes."
)
RISK: Final = (
    "For each single check the probability that a pass is wrong is below 2.5 %, for normally distributed errors "
    "(ILAC-G8:09/2019, w = U)."
)
SHARED_RISK: Final = (
    "A pass close to a limit may be wrong with a probability of up to 50 %, for normally distributed errors "
    "(ILAC-G8:09/2019, simple acceptance)."
)


def rule_sentences(procedure: Procedure) -> tuple[str, ...]:
    """Return how results were decided, as it stands on the paper."""
    decision = procedure.decision
    lines = [_uncertainty(decision), WORDS[decision.rule] + NOT_TESTED, _conditional(decision)]
    return (*lines, *_risk(procedure), *_unresolved(procedure))


def _uncertainty(decision: DecisionRule) -> str:
    covered = f"{probability(decision.coverage) * 100:.4g} %"
    band = "" if decision.rule == "simple acceptance" else f"Guard band w = {decision.guard:g} · U, where "
    return (
        f"{band}U is the expanded uncertainty for a coverage probability of {covered}. Its coverage factor is k = 2, "
        "unless another is printed with the reading; it grows where effective degrees of freedom are few. "
        "Every check is decided for itself against the limit printed beside it."
    )


def _conditional(decision: DecisionRule) -> str:
    exact = "Words and counts are compared exactly."
    if decision.rule != "non-binary":
        return exact
    accepted = "accepted" if decision.accept_conditional else "not accepted"
    return f"Conditional passes are {accepted} by this method. {exact}"


def _risk(procedure: Procedure) -> tuple[str, ...]:
    """Return what a pass risks; nothing general can be said where a limit is not resolved and both may be near."""
    decision = procedure.decision
    if decision.guard == 0:
        return (SHARED_RISK,)
    if procedure.unresolved:
        return ()
    if decision.guard >= 1 and decision.coverage >= 2:
        return (RISK,)
    risk = chance(below(-decision.guard * decision.coverage))
    return (f"For each single check the probability that a pass is wrong is at most {risk}, for normal errors.",)


def _unresolved(procedure: Procedure) -> tuple[str, ...]:
    """Return each limit that the bench resolves worse than 4:1, with the reason why the profile accepts it."""
    titles = {check.id: check.title for step in procedure.steps for check in step.checks}
    return tuple(
        f"Accepted by the method although the expanded uncertainty is more than a quarter of the tolerance: "
        f"{titles.get(one.check, one.check)}, tolerance / U = {one.ratio:.2g}. Reason given: {one.reason}"
        for one in procedure.unresolved
    )
