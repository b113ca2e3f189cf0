"""Interlocks of every make, and what a loss leaves: a good board passes, and one that keeps no interlock fails.

What is so about the board follows from the meaning of the keys (docs/profile-keys.md); the simulated board comes from
the same words by other code.
"""

from pathlib import Path
from typing import Any

import pytest

from benchtest.cli.documents import Prepared, prepare
from benchtest.errors import DocumentError
from benchtest.procedure import Interval
from benchtest.results import Outcome
from tests.links.misting import written

LOCK = "needs: {all: [door_shut]}"
LOSS = "  - {step: loss, of: link, energised: [K1, K2]}"
ALONE = LOSS.replace(", K2", "")
PROBE = "  air: {kind: probe, terminals: X2.7-X2.8, use: air, states: {mild: 10 kohm, cold: 40 kohm}}"
MADE: dict[str, dict[str, str]] = {
    "one of two that hold at rest": {LOCK: "needs: {any: [door_shut, main_shut]}"},
    "one of an input at rest and a relay": {LOCK: "needs: {any: [door_shut, K2]}"},
    "a relay that waits for an input itself": {
        LOCK: "needs: {none: [K2]}",
        "\nlink:": "\n  fan: {relay: K2, needs: {all: [flush]}, reaction: {max: 80 ms}}\nlink:",
        LOSS: ALONE,
    },
    "two relays that exclude each other": {
        LOCK: "needs: {all: [flush], none: [K2]}",
        "reaction: {max: 80 ms}}": "reaction: {max: 80 ms}, restart: by itself}",
        "\nlink:": "\n  fan: {relay: K2, needs: {none: [K1]}, reaction: {max: 80 ms}}\nlink:",
        LOSS: ALONE,
    },
    "the state of a probe": {LOCK: "needs: {none: [air=cold]}"},
    "the state of a probe that is not at rest": {LOCK: "needs: {all: [air=cold]}"},
    "the link": {LOCK: "needs: {all: [door_shut, link]}"},
}


def board(folder: Path, changes: dict[str, str]) -> Prepared:
    """Plan the misting board with another interlock, one more switch and a probe."""
    profile, fixture = written(folder, fixture="simulated")
    switch = '  main_shut: {kind: dry contact, terminals: X2.5-X2.6, rest: closed, use: "main door"}'
    text = profile.read_text(encoding="utf-8").replace("X2: {pins: 4", "X2: {pins: 8")
    text = text.replace("relay_limits:", f"{switch}\n{PROBE}\nrelay_limits:", 1)
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new, 1)
    tried = "names: [mist only with the door shut]"
    text = text.replace(tried, tried.replace("]", ", fan]")) if "  fan: {relay" in text else text
    profile.write_text(text, encoding="utf-8")
    harness = folder / "misting.harness.yaml"
    wired = harness.read_text(encoding="utf-8").replace("X2.3-X1.2: 102}", "X2.3-X1.2: 102, X2.5-X2.6: 103}")
    harness.write_text(f"{wired}resistance: {{X2.7-X2.8: 601}}\n", encoding="utf-8")
    return prepare(profile, fixture, None, ())


@pytest.mark.parametrize("made", MADE)
def test_an_interlock_of_any_make_is_tried_as_it_is_meant(tmp_path: Path, bench: Any, made: str) -> None:
    """A good board passes; where the program ignores the interlock, or always active the relay, the board fails."""
    ready = board(tmp_path, MADE[made])

    assert [] == [result.check.id for result in bench.performed(ready).results if result.verdict != "pass"]
    assert Outcome.FAIL is bench.performed(ready, "mist only with the door shut always active").outcome
    assert Outcome.FAIL is bench.performed(ready, "mist only with the door shut ignored").outcome


@pytest.mark.parametrize("kept", ["released", "holds"])
def test_a_relay_that_follows_an_input_does_what_its_profile_says_without_a_link(
    tmp_path: Path, bench: Any, kept: str
) -> None:
    """`without_link` counts for relays that follow an input too; with the link back the demand is still there."""
    fan = {"command: {link: fan}": f"command: {{input: flush}}, without_link: {kept}"}
    ready = board(tmp_path, fan)
    (step,) = (step for step in ready.procedure.steps if step.id.startswith("loss"))
    expected = {check.title: check.permitted for check in step.checks}

    assert ("made" if kept == "holds" else "broken") == expected["K2 contact with link gone"]
    assert "made" == expected["K2 contact with link back"]
    assert Outcome.PASS is bench.performed(ready).outcome


@pytest.mark.parametrize("restart", ["by command", "by itself"])
def test_a_loss_takes_along_what_an_interlock_holds(tmp_path: Path, bench: Any, restart: str) -> None:
    """A fan that stays without a link goes with the pump it waits for, and is looked for there; so is its return."""
    needs = f"  fan: {{relay: K2, needs: {{all: [K1]}}, reaction: {{max: 80 ms}}, restart: {restart}}}"
    fan = {
        "command: {link: fan}": "command: {input: flush}, without_link: holds",
        "\nlink:": f"\n{needs}\nlink:",
        LOSS: "  - {step: loss, of: link, energised: [K2]}\n  - {step: loss, of: main, energised: [K2]}",
    }
    ready = board(tmp_path, fan)
    (step,) = (step for step in ready.procedure.steps if step.id.startswith("loss-of-link"))
    expected = {check.title: check.permitted for check in step.checks}

    assert "broken" == expected["K2 contact with link gone"]
    assert [] == [result.check.id for result in bench.performed(ready).results if result.verdict != "pass"]


def test_an_interlock_on_a_supply_is_tried_by_the_loss_of_it(tmp_path: Path) -> None:
    """Nobody takes a supply away in the step of the interlocks: without a loss that shows it, it would stay untried."""
    loss = "add a step {step: loss, of: main, energised: [K1]}"

    with pytest.raises(DocumentError) as refused:
        board(tmp_path, {LOCK: "needs: {all: [door_shut, main]}"})
    assert loss in str(refused.value.problems)
    board(tmp_path, {LOCK: "needs: {all: [door_shut, main]}", LOSS: f"{LOSS}\n{LOSS.replace('link', 'main')}"})


def test_a_second_supply_is_lost_without_the_relays(tmp_path: Path, bench: Any) -> None:
    """Program and coils are fed by the first d.c. supply: the relays outlast another one, and the board tells."""
    profile, fixture = written(tmp_path, fixture="simulated")
    text = profile.read_text(encoding="utf-8").replace("X1: {pins: 2", "X1: {pins: 4")
    aux = "  aux: {kind: dc, terminals: X1.3-X1.4, nominal: 12 V, current_limit: 200 mA, feedback: flushing}"
    text = text.replace("\ninputs:", f"\n{aux}\ninputs:").replace("supplies: [main]", "supplies: [main, aux]")
    text = text.replace("main_ok: {at: 4, bit: 7}", "main_ok: {at: 4, bit: 7}\n        flushing: {at: 4, bit: 6}")
    profile.write_text(text.replace(LOSS, f"{LOSS}\n{LOSS.replace('link', 'aux')}"), encoding="utf-8")
    harness = tmp_path / "misting.harness.yaml"
    wired = harness.read_text(encoding="utf-8").replace("supply: {", "supply: {X1.3-X1.4: 202, ")
    harness.write_text(wired, encoding="utf-8")
    ready = prepare(profile, fixture, None, ())
    (step,) = (step for step in ready.procedure.steps if step.id.startswith("loss-of-aux"))
    expected = {check.title: check.permitted for check in step.checks}

    assert ("made", "0") == (expected["K1 contact with aux gone"], expected["aux feedback missing"])
    assert [] == [result.check.id for result in bench.performed(ready).results if result.verdict != "pass"]


def test_a_board_without_a_direct_supply_is_refused(tmp_path: Path) -> None:
    """Nothing would feed its coils."""
    profile, fixture = written(tmp_path, fixture="simulated")
    text = profile.read_text(encoding="utf-8").replace("kind: dc", "kind: ac")
    profile.write_text(text, encoding="utf-8")

    with pytest.raises(DocumentError, match=r"there is no d\.c\. supply"):
        prepare(profile, fixture, None, ())


def test_two_relays_may_obey_one_command(tmp_path: Path, bench: Any) -> None:
    """A pump and its valve on one demand move together: neither is an intruder, and their coils take the sum."""
    both = {
        "command: {link: fan}": "command: {link: mist}",
        "open_voltage: {min: 90 %}": "open_voltage: {min: 90 %}\n  current: {min: 12 mA, max: 22 mA}",
    }
    ready = board(tmp_path, both)
    checks = {check.title: check.permitted for step in ready.procedure.steps for check in step.checks}

    summed = checks["K1 coil current with K2"]

    assert isinstance(summed, Interval)
    assert pytest.approx((0.024, 0.044)) == (summed.low, summed.high)
    assert [] == [result.check.id for result in bench.performed(ready).results if result.verdict != "pass"]
    assert Outcome.FAIL is bench.performed(ready, "K2 contact never closes").outcome
    assert Outcome.FAIL is bench.performed(ready, "K1 coil open").outcome
