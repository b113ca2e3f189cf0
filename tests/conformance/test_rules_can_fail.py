"""A rule that nothing can break is none: adapters that do one thing wrong, each caught by the rule about it."""

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from benchtest.conformance import RULES, Case, State, try_rule
from benchtest.errors import AdapterSilent
from benchtest.instruments import Capture, Order, Recording, Started, SupplyState
from tests.conformance.benches import in_process


class Honest:
    """A bench adapter that hands everything on to one that is in order."""

    def __init__(self, bench: Any) -> None:
        self._bench = bench

    def __getattr__(self, name: str) -> Any:
        return getattr(self._bench, name)


class SaysNameTwice(Honest):
    def identity(self) -> str:
        return "only,two"


class KeepsOneOn(Honest):
    def all_off(self) -> None:
        for channel in sorted(self._bench.energised())[1:]:
            self._bench.off(channel)


class ForgetsWhatIsOn(Honest):
    def energised(self) -> frozenset[int]:
        return frozenset()


class TakesAnyVoltage(Honest):
    def source(self, channel: int, *, volts: float, amps: float) -> None:
        self._bench.source(channel, volts=0.0 if math.isnan(volts) else min(max(volts, 0.0), 30.0), amps=amps)


class TakesAnyLimit(Honest):
    def source(self, channel: int, *, volts: float, amps: float) -> None:
        self._bench.source(channel, volts=volts, amps=1.0)


class ReadsEverything(Honest):
    def measure(self, channel: int) -> float:
        return 0.0


class StampsLate(Honest):
    def fetch(self) -> Recording:
        found: Recording = self._bench.fetch()
        return replace(found, done=tuple(replace(order, at=order.at + 0.001) for order in found.done))


class LosesSamples(Honest):
    def fetch(self) -> Recording:
        found: Recording = self._bench.fetch()
        return replace(found, codes=np.asarray(found.codes)[:, :-1])


class TakesAnyRecording(Honest):
    def begin(self, capture: Capture) -> Started:
        orders = [order for order in capture.orders if 0 <= order.at <= 0.06]
        started: Started = self._bench.begin(replace(capture, orders=tuple(sorted(orders, key=_at))))
        return started


class DoesOrdersAfterAllOff(Honest):
    def all_off(self) -> None:
        on = self._bench.energised()
        for channel in on:
            self._bench.off(channel)


class NeverLimits(Honest):
    def supply_state(self, channel: int) -> SupplyState:
        state: SupplyState = self._bench.supply_state(channel)
        return replace(state, limiting=False)


class FallsSilent(Honest):
    def set(self, channel: int, value: float) -> None:
        raise AdapterSilent("gone")


def _at(order: Order) -> float:
    return order.at


CAUGHT: Mapping[Callable[[Any], Any], str] = {
    SaysNameTwice: "identity",
    KeepsOneOn: "all off",
    ForgetsWhatIsOn: "read back",
    TakesAnyVoltage: "voltage limit",
    TakesAnyLimit: "current limit refused",
    ReadsEverything: "unreadable",
    StampsLate: "orders",
    LosesSamples: "recording",
    TakesAnyRecording: "refused whole",
    DoesOrdersAfterAllOff: "ended by all off",
    NeverLimits: "limiting",
    FallsSilent: "after a refusal",
}


@pytest.mark.parametrize(("wrong", "name"), CAUGHT.items(), ids=CAUGHT.values())
def test_the_rule_catches_an_adapter_that_breaks_it(wrong: Callable[[Any], Any], name: str) -> None:
    """The finding says so in words, and an adapter in order passes the same rule."""
    (rule,) = [rule for rule in RULES if rule.name == name]
    with in_process() as case:
        broken: Case = replace(case, bench=wrong(case.bench))
        finding = try_rule(rule, broken)

    assert State.BROKEN is finding.state
    assert finding.found
    with in_process() as case:
        assert State.HOLDS is try_rule(rule, case).state


def test_what_an_adapter_cannot_be_is_not_tried() -> None:
    """Without supplies there is nothing to limit; without a board nothing is said about readings."""
    with in_process() as case:
        bare = replace(case, harness=case.harness.model_copy(update={"supply": {}}), board=False)
        found = {rule.name: try_rule(rule, bare) for rule in RULES}

    assert ("this adapter has no channel that is supply",) == found["voltage limit"].found
    assert State.NOT_TRIED is found["units"].state
    assert State.HOLDS is found["identity"].state
