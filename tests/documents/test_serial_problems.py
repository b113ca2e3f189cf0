"""A serial link that makes no sense is refused where it is written, with what to try."""

from pathlib import Path

import pytest

from benchtest.errors import DocumentError
from benchtest.profile import load_profile
from tests.links.misting import written


@pytest.mark.parametrize(
    ("polled", "old", "new", "where", "words"),
    [
        (False, "length: {at: 2, adds: 5}", "longest: 60", "link", "nothing says where a frame ends"),
        (False, 'marks: {3: "11"}', 'marks: {3: "12"}\n      length: 9', "link.messages", "cannot be told from"),
        (False, "sequence: {at: 4}", "sequence: {at: 3}", "link.messages.Beat.signals.sequence.at", "is marked"),
        (False, "fan: {at: 4, bit: 1}", "fan: {at: 4, bit: 0}", "link.messages.Order.signals.fan", "stands where mist"),
        (False, "sequence: {at: 4}", "sequence: {at: 4, bit: 6, bits: 4}", "signals.sequence", "bits 6 to 9 of 8"),
        (False, "sequence: {at: 4}", "sequence: {at: 4, scale: 0}", "sequence.scale", "stands for nothing"),
        (False, "longest: 64", "longest: 7", "link.messages", "more than the longest frame"),
        (False, "adds: 5}", "adds: 300}", "link.length.adds", "for which there is no room"),
        (True, "answers: Ask", "answers: Asking", "link.messages.State.answers", "there is no message 'Asking'"),
        (True, "within: 20 ms", "within: 200 ms", "link.messages.State.within", "orders wait for it"),
        (True, "every: 40 ms", "every: 55 ms", "link.controller.every", "tells its status only when Ask asks"),
        (True, "min: 30 ms, max: 60 ms", "min: 60 ms, max: 90 ms", "link.board.every", "which is sent every 0.04 s"),
        (True, "word: O", 'word: "O,P"', "link.messages.Order.word", "holds the separator"),
        (True, "k2: {field: 2}", "k2: {field: 1}", "link.messages.State.signals.k2.field", "stands where k1 stands"),
        (True, "word: O", "word: S\n      fields: 6", "link.messages", "the same word and number of fields"),
    ],
)
def test_a_contradiction_is_told_where_it_stands(
    tmp_path: Path, polled: bool, old: str, new: str, where: str, words: str
) -> None:
    """With what was found and what to try."""
    profile, _ = written(tmp_path, fixture="serial", polled=polled)
    text = profile.read_text(encoding="utf-8")
    assert old in text
    profile.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(DocumentError) as refused:
        load_profile(profile)
    found = [problem for problem in refused.value.problems if words in problem.message]

    assert any(where in problem.where for problem in found), refused.value
    assert all(problem.hint and problem.line for problem in found)
