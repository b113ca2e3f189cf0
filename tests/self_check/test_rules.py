"""Own wires that contradict themselves, or the cable sets, are refused where they are written."""

import pytest

from benchtest.errors import DocumentError
from tests.self_check.conftest import Short

LOOPS = "drives: {101: 151, 102: 152, 103: 153, 104: 154, 105: 155, 106: 156}"


@pytest.mark.parametrize(
    ("old", "new", "where", "words"),
    [
        (LOOPS, "drives: {101: 151, 102: 151}", "self_check.drives.102", "channel 151 has another use on line"),
        (LOOPS, "drives: {101: 195}", "self_check.test_light", "channel 195 has another use on line"),
        (LOOPS, "drives: {101: 301}", "sense.X1.1-X1.2", "channel 301 reads a drive back, says 'self_check'"),
        (LOOPS, "drives: {501: 151}", "light.D1", "channel 501 is a drive, says 'self_check'"),
        ("test_light: 195", "test_light: 405", "contact.X11.9-X11.10", "channel 405 drives the test light"),
        ("test_light: 195", "level: 40 V", "self_check.level", "40 V is not between nothing and 30 V"),
        ("test_light: 195", "supply_volts: 0 V", "self_check.supply_volts", "0 V is not between nothing and 30 V"),
        ("test_light: 195", "supply_amps: 5 A", "self_check.supply_amps", "5 A is not between nothing and 3 A"),
        ("  test_light: 195\n", "", "self_check.with_board[2]", "nothing is declared for 'test light'"),
        ("test_light: 195", "link_peer: can2", "self_check.link_peer", "the fixture has no adapter 'can2'"),
        ("test_light: 195", "link_peer: io", "self_check.link_peer", "has driver simulated, which is on no link"),
        (
            "harnesses:",
            "guards: {lid: {channel: 151, safe: low, threshold: 5 V}}\nharnesses:",
            "self_check.drives.101",
            "channel 151 is that of a guard",
        ),
        (
            "harnesses:",
            "reference: {part: XY-1, serial: A1}\nharnesses:",
            "reference.part",
            "no harness of this fixture is for board 'XY-1'",
        ),
    ],
)
def test_a_contradiction_is_told_where_it_stands(short: Short, old: str, new: str, where: str, words: str) -> None:
    """With its place in the file, what was found, and what to try."""
    with pytest.raises(DocumentError) as refused:
        short.prepared((old, new))
    found = [problem for problem in refused.value.problems if words in problem.message]

    assert where in {problem.where for problem in found}
    assert all(problem.hint and problem.line for problem in found)
