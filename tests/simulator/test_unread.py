"""Samples that are made where somebody looks at them are the samples that a bench would have taken at once."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from benchtest.faults import parse
from benchtest.instruments import Recording
from benchtest.judge import judge_all
from benchtest.perform import Performed, Watcher, perform
from benchtest.readings import Recorded
from benchtest.rig import Virtual, open_rig
from tests.simulator.stand import Stand, greenhouse
from tests.studies.studied import greenhouse as subject


def working(*faults: str) -> tuple[Stand, Recording]:
    """A board on which a relay has just been switched on in a recording, and that recording."""
    stand = greenhouse(*faults)
    stand.power()
    return stand, stand.record(say={"fan_1": 1.0}, seconds=0.3)


@cache
def performed(*faults: str) -> Performed:
    """A whole run of the greenhouse procedure."""
    it = subject()
    virtual = Virtual(seed=3, faults=tuple(parse(fault, it.fitted) for fault in faults))
    with open_rig(it.procedure, it.fitted, fixture=it.fixture, harness=it.harness, ports={}, virtual=virtual) as rig:
        return perform(it.procedure, rig, Watcher())


def test_samples_are_the_same_whenever_they_are_looked_at() -> None:
    """After much has happened on the board they are what they are when looked at in the moment they were taken."""
    _, at_once = working()
    looked_at = np.asarray(at_once.codes)
    stand, later = working()
    for _ in range(3):
        stand.record(say={"fan_1": 0.0}, seconds=0.2)
        stand.record(say={"fan_1": 1.0}, seconds=0.2)
    stand.bench.all_off()
    stand.wait(200.0)

    assert np.array_equal(looked_at, np.asarray(later.codes))


def test_a_stretch_is_part_of_the_whole() -> None:
    """Every channel looked at in two stretches alone gives what the whole has there."""
    _, recording = working()
    _, other = working()
    whole = np.asarray(other.codes)
    for row in range(whole.shape[0]):
        assert np.array_equal(recording.codes[row, 0:700], whole[row, 0:700])
        assert np.array_equal(recording.codes[row, 700:3000], whole[row, 700:3000])


@pytest.mark.parametrize("faults", [(), ("K2 contact chatters",), ("D2 lamp flickers",), ("logic 5 V rail ripples",)])
def test_no_sample_lies_outside_what_is_said_without_making_it(faults: tuple[str, ...]) -> None:
    """Of every channel, in windows before, across and after a change, and up to the ends of the converter."""
    _, recording = working(*faults)
    assert not isinstance(recording.codes, np.ndarray)
    whole = np.asarray(working(*faults)[1].codes)
    for row in range(whole.shape[0]):
        for begin, end in [(0, 150), (100, 500), (499, 500), (1500, 3000), (0, 3000)]:
            low, high = recording.codes.reach(row, begin, end)
            samples = whole[row, begin:end]
            assert low <= samples.min() <= samples.max() <= high, (recording.channels[row], begin, end)


@pytest.mark.parametrize("faults", [(), ("K2 contact chatters",), ("K5 contact welded",), ("field input open",)])
def test_a_run_is_judged_as_from_samples_alone(faults: tuple[str, ...]) -> None:
    """Every result of a run is that of the same recordings as plain arrays, all samples made: value, word and note."""
    done = performed(*faults)
    plain = {
        name: replace(seen, recording=replace(seen.recording, codes=np.asarray(seen.recording.codes)))
        if isinstance(seen, Recorded)
        else seen
        for name, seen in done.readings.evidence.items()
    }
    results = judge_all(subject().procedure, replace(done.readings, evidence=plain))

    assert len(results) == len(done.results) > 400
    for result, seen in zip(results, done.results, strict=True):
        assert result == seen or seen.note.startswith("not reached")
