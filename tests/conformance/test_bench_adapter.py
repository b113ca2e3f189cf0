"""Every adapter that we ship keeps every rule of `benchtest.conformance`, with a board on the bench."""

from collections.abc import Iterator

import pytest

from benchtest.conformance import LIFELINE, RULES, Case, Rule, State, try_rule
from tests.conformance.benches import BENCHES


@pytest.fixture(params=BENCHES)
def case(request: pytest.FixtureRequest) -> Iterator[Case]:
    with BENCHES[request.param]() as opened:
        yield opened


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_a_bench_adapter_keeps_the_rule(case: Case, rule: Rule) -> None:
    """Each on a freshly opened adapter; none is left untried, since every role and a board are there."""
    finding = try_rule(rule, case)

    assert (State.HOLDS, ()) == (finding.state, finding.found), finding.sentence


def test_an_adapter_that_is_left_alone_takes_everything_off(case: Case) -> None:
    """Where it has a dead-man; the bench in this process cannot outlive its user and has none."""
    if case.dead_man is None:
        assert case.clock.now() < 1  # virtual time: nothing runs on without us
        return
    finding = try_rule(LIFELINE, case)

    assert (State.HOLDS, ()) == (finding.state, finding.found)
