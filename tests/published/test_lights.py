"""Published flash rhythms as an outside language for the counting decoder.

Group-flashing lights say a number by flashes and a long eclipse, as our counting codes do. The numbers of flashes and
the periods are published; where a source gives no flash length, one was chosen that fits the period.
"""

import numpy as np
import pytest

from benchtest.procedure import CountRhythm
from benchtest.signals.lamp import decode, stretches_of
from benchtest.signals.levels import Samples

RATE = 500.0

RHYTHMS = [
    # name, lit and dark durations of one period, expected word, source
    ("isolated danger Fl(2) 5 s", [0.5, 0.5, 0.5, 3.5], "2"),  # IALA, by a naval training text
    ("east cardinal Q(3) 10 s", [0.3, 0.7, 0.3, 0.7, 0.3, 7.7], "3"),  # the same
    ("east cardinal VQ(3) 5 s", [0.2, 0.3, 0.2, 0.3, 0.2, 3.8], "3"),  # the same
    ("west cardinal Q(9) 15 s", [0.3, 0.7] * 8 + [0.3, 6.7], "9"),  # the same
    ("evacuation, temporal three", [0.5, 0.5, 0.5, 0.5, 0.5, 1.5], "3"),  # ISO 8201, by a building code's appendix
    ("hazard triple", [0.16, 0.2, 0.16, 0.2, 0.16, 0.62], "3"),  # US interpretation letter 01931ztv
    ("safe water LFl 10 s", [2.0, 8.0], "1"),  # IALA, by a naval training text
]
NO_COUNTS = [
    ("south cardinal VQ(6)+LFl 10 s", [0.2, 0.3] * 6 + [2.0, 5.0]),  # a long flash is no mark of the group
    ("preferred channel Fl(2+1) 10 s", [0.5, 1.0, 0.5, 2.0, 0.5, 5.5]),  # two groups in one period
    ("Morse A 8 s", [0.5, 0.5, 1.5, 5.5]),  # ITU-R M.1677, dash = 3 dots (from memory)
]


def light(durations: list[float], *, seconds: float) -> Samples:
    """Return the brightness of a light that begins amid its first flash."""
    ends = np.cumsum(durations)
    moments = (np.arange(round(seconds * RATE)) / RATE + durations[0] / 2) % ends[-1]
    return np.where(np.searchsorted(ends, moments, side="right") % 2 == 0, 1.0, 0.0)


def rhythm(durations: list[float]) -> CountRhythm:
    """Return the counting rhythm whose flash, gap and pause are those of a published light."""
    return CountRhythm(flash=durations[0], gap=durations[1], pause=durations[-1])


@pytest.mark.parametrize(("name", "durations", "word"), RHYTHMS)
def test_the_number_of_a_group_is_read(name: str, durations: list[float], word: str) -> None:
    """The decoder counts the flashes of a published group light."""
    kinds = rhythm(durations) if len(durations) > 2 else CountRhythm(flash=2.0, gap=2.0, pause=8.0)
    samples = light(durations, seconds=4.2 * sum(durations))
    assert decode(samples, rate=RATE, low=0.2, high=0.5, rhythm=kinds).word == word, name


@pytest.mark.parametrize(("name", "durations"), NO_COUNTS)
def test_composite_lights_are_no_counts(name: str, durations: list[float]) -> None:
    """A light that is no simple group is irregular, not the nearest number."""
    samples = light(durations, seconds=4.2 * sum(durations))
    assert decode(samples, rate=RATE, low=0.2, high=0.5, rhythm=rhythm(durations)).word == "irregular", name


def test_isophase_and_occulting_lights_show_their_durations() -> None:
    """IHO M-12 (June 2004), A-9: Iso 10 s is 5 s lit, 5 s dark; Oc(2) 13 s is dark 1, lit 1, dark 1, lit 10."""
    for durations in ([5.0, 5.0], [1.0, 1.0, 10.0, 1.0]):
        found = stretches_of(light(durations, seconds=2.2 * sum(durations)), rate=RATE, low=0.2, high=0.5)
        whole = [stretch.duration for stretch in found if stretch.whole]
        expected = (durations * 3)[1 : 1 + len(whole)]
        assert whole == pytest.approx(expected, abs=1 / RATE)


@pytest.mark.parametrize("per_minute", [24.0, 36.0, 48.0, 84.0, 120.0, 168.0])
def test_standard_flash_rates_have_their_rate(per_minute: float) -> None:
    """IEC 60073 (second hand): slow flashing is 24 to 48 a minute, normal 84 to 168, lit and dark alike."""
    half = 30.0 / per_minute
    found = stretches_of(light([half, half], seconds=20.0), rate=RATE, low=0.2, high=0.5)
    flashes = [stretch.duration for stretch in found if stretch.whole and stretch.lit]
    assert flashes == pytest.approx([half] * len(flashes), abs=1 / RATE)
    assert abs(len(flashes) - 20.0 * per_minute / 60) <= 1.5
