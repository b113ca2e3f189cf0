"""How the certificate states its decision rule, its uncertainties, and what they risk.

Source: ILAC-G8:09/2019, 4.2 and table 1 (from memory) for the words and the risk; ISO/IEC 17025:2017, 7.8.6, asks for
the rule and its level of risk to be stated; JCGM 100:2008, 7.2.3 and G.6.4 for what is said of U.
"""

from benchtest.certificate.lines import short
from benchtest.language import Language
from benchtest.metrology.coverage import below, probability
from benchtest.metrology.figures import chance
from benchtest.procedure import DecisionRule, Procedure


def rule_sentences(procedure: Procedure, words: Language) -> tuple[str, ...]:
    """Return how results were decided, as it stands on the paper."""
    decision = procedure.decision
    rule = words.say(f"rule_{decision.rule.replace(' ', '_').replace('-', '_')}")
    lines = [_uncertainty(decision, words), f"{rule} {words.say('rule_not_tested')}", _conditional(decision, words)]
    return (*lines, *_risk(procedure, words), *_unresolved(procedure, words))


def _uncertainty(decision: DecisionRule, words: Language) -> str:
    covered = words.number(f"{probability(decision.coverage) * 100:.6g} %")
    if decision.rule == "simple acceptance":
        return words.say("rule_uncertainty", covered=covered)
    return words.say("rule_guarded_uncertainty", covered=covered, guard=words.number(f"{decision.guard:g}"))


def _conditional(decision: DecisionRule, words: Language) -> str:
    exact = words.say("rule_words")
    if decision.rule != "non-binary":
        return exact
    return f"{words.say('rule_accepted' if decision.accept_conditional else 'rule_not_accepted')} {exact}"


def _risk(procedure: Procedure, words: Language) -> tuple[str, ...]:
    """Return what a pass risks; nothing general can be said where a limit is not resolved and both may be near."""
    decision = procedure.decision
    if decision.guard == 0:
        return (words.say("risk_shared"),)
    if procedure.unresolved:
        return ()
    if decision.guard >= 1 and decision.coverage >= 2:
        return (words.say("risk"),)
    # beyond U the tails of few degrees of freedom are longer than the normal one; at U all are alike
    risk = words.number(chance(below(-min(decision.guard, 1.0) * decision.coverage)))
    return (words.say("risk_at_most", risk=risk),)


def _unresolved(procedure: Procedure, words: Language) -> tuple[str, ...]:
    """Return each limit that the bench resolves worse than 4:1, with the reason why the profile accepts it."""
    titles = {check.id: check.title for step in procedure.steps for check in step.checks}
    return tuple(
        words.say(
            "rule_unresolved",
            check=short(words.phrase(titles.get(one.check, one.check)), words),
            ratio=words.number(f"{one.ratio:.2g}"),
            reason=short(one.reason, words),
        )
        for one in procedure.unresolved
    )
