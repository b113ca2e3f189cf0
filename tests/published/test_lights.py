"""Published lights as an outside language for the lamp reader.

The rhythms and their periods are published: IHO M-12 (June 2004) A-9 with all durations; cardinal marks and other
buoyage by a naval training text on the IALA system, where a flash length was chosen that fits the period; the slot
codes of rotating beacons from a table of lens panels. Each is made into a record of brightness with noise, dimming and
a room lamp's flicker, and must be described as it is published.
"""

import numpy as np
import pytest

from benchtest.procedure import CountRhythm
from benchtest.signals.brightness import light_of
from benchtest.signals.character import LightCharacter, describe
from benchtest.signals.lamp import decode
from benchtest.signals.levels import Samples, states
from benchtest.signals.rhythm import changes
from benchtest.signals.series import Sampled

RATE = 500.0


def light(durations: list[float], *, seconds: float, phase: float = 0.03, rough: bool = True) -> Samples:
    """Return the brightness of a light, lit first; `rough`: dimmed at 130 Hz, mains flicker, 26 dB over the noise."""
    ends = np.cumsum(durations)
    times = np.arange(round(seconds * RATE)) / RATE
    lit = np.searchsorted(ends, (times + phase * ends[-1]) % ends[-1], side="right") % 2 == 0
    if not rough:
        return np.asarray(lit, float)
    dimmed = lit * ((times * 130.0) % 1 < 0.5) * 2.0
    flicker = 0.1 * np.sin(2 * np.pi * 100.0 * times)
    return np.asarray(dimmed + 0.7 + flicker + np.random.default_rng(1).normal(0, 0.05, times.size))


def described(durations: list[float], *, phase: float = 0.03, rough: bool = True) -> LightCharacter:
    """Return the character that is read from a little more than three periods."""
    samples = light(durations, seconds=3.4 * sum(durations) + 2.0, phase=phase, rough=rough)
    shortest = min(durations) if min(durations) >= 0.1 else None
    record = Sampled(values=samples, rate=RATE)
    return describe(changes(light_of(record, shortest=shortest, longest=sum(durations) if shortest else None)))


CHARACTERS = [
    # name as charts have it, lit and dark durations of one period, title, groups, rate inside a group or None
    ("Iso 10s", [5.0, 5.0], "isophase", (1,), None),  # IHO M-12 A-9
    ("Oc 12s", [10.0, 2.0], "occulting", (1,), None),  # the same
    ("Oc(2) 13s", [1.0, 1.0, 10.0, 1.0], "group-occulting", (2,), None),  # eclipse 1, light 1, eclipse 1, light 10
    ("Oc(2+1) 12s", [1.0, 1.0, 4.0, 1.0, 4.0, 1.0], "composite group-occulting", (2, 1), None),  # the same
    ("VQ(3) 5s", [0.2, 0.3, 0.2, 0.3, 0.2, 3.8], "group very quick", (3,), 120.0),  # east cardinal
    ("Q(3) 10s", [0.3, 0.7, 0.3, 0.7, 0.3, 7.7], "group quick", (3,), 60.0),  # east cardinal
    ("VQ(6)+LFl 10s", [0.2, 0.3] * 6 + [2.0, 5.0], "group very quick plus long flash", (6,), 120.0),  # south cardinal
    ("Q(9) 15s", [0.3, 0.7] * 8 + [0.3, 6.7], "group quick", (9,), 60.0),  # west cardinal
    ("Q", [0.3, 0.7], "continuous quick", (1,), None),  # north cardinal
    ("VQ", [0.2, 0.3], "continuous very quick", (1,), None),  # north cardinal
    ("LFl 10s", [2.0, 8.0], "long-flashing", (1,), None),  # safe water
    ("Fl(2+1) 10s", [0.5, 1.0, 0.5, 2.0, 0.5, 5.5], "composite group-flashing", (2, 1), 40.0),  # preferred channel
    ("Mo(A) 8s", [0.5, 0.5, 1.5, 5.5], "Morse", (2,), None),  # safe water; dash = 3 dots (ITU-R M.1677, from memory)
]


@pytest.mark.parametrize(("name", "durations", "title", "groups", "inner"), CHARACTERS)
@pytest.mark.parametrize("phase", [0.03, 0.41, 0.77])
def test_a_published_light_is_described_as_published(
    name: str, durations: list[float], title: str, groups: tuple[int, ...], inner: float | None, phase: float
) -> None:
    """Class, groups, period and the rate inside a group, wherever the record begins."""
    found = described(durations, phase=phase)
    assert (found.abbreviation, found.title, found.groups) == (name, title, groups)
    assert found.period == pytest.approx(sum(durations), rel=0.01)
    assert found.share == pytest.approx(sum(durations[::2]) / sum(durations), abs=0.03)
    if inner is not None:
        assert found.inner_per_minute == pytest.approx(inner, rel=0.05)
    assert found.letter == ("A" if title == "Morse" else "")


GROUPS = [
    ([0.5, 0.5, 0.5, 3.5], (2,), 5.0),  # isolated danger Fl(2) 5 s
    ([0.5, 0.5, 0.5, 0.5, 0.5, 1.5], (3,), 4.0),  # temporal three of ISO 8201, by a building code's appendix
    ([0.16, 0.2, 0.16, 0.2, 0.16, 0.62], (3,), 1.5),  # hazard triple, US interpretation letter 01931ztv
]


@pytest.mark.parametrize(("durations", "groups", "period"), GROUPS)
def test_the_group_and_period_are_found_where_no_class_is_published(
    durations: list[float], groups: tuple[int, ...], period: float
) -> None:
    """Number of flashes and period; the class would follow from the rate inside the group."""
    found = described(durations)
    assert found.groups == groups
    assert found.period == pytest.approx(period, rel=0.01)


SLOT_CODES = {
    "111111": (1,),
    "110110": (2,),
    "11001100": (2,),
    "111000": (3,),
    "11101110": (3,),
    "111100": (4,),
    "11111000": (5,),
    "11111100": (6,),
    "110100": (2, 1),
    "11001000": (2, 1),
    "111010": (3, 1),
    "11100100": (3, 1),
    "11101100": (3, 2),
}
"""Panels of a rotating beacon's lens (a table of such lenses; pairing of code and name partly inferred)."""


@pytest.mark.parametrize(("code", "groups"), SLOT_CODES.items())
@pytest.mark.parametrize("turned", [0, 1, 3])
def test_the_panels_of_a_rotating_beacon_are_read_round_the_circle(
    code: str, groups: tuple[int, ...], turned: int
) -> None:
    """The order of groups does not depend on where the record begins."""
    panels = code[turned:] + code[:turned]
    slots = [part for panel in panels for part in ([0.2] * 2 if panel == "1" else [0.0] * 2) + [0.0] * 6]
    lit = np.repeat(np.array(slots * 5) > 0, round(0.1 * RATE)).astype(float)
    found = describe(states(Sampled(values=lit, rate=RATE), low=0.2, high=0.8))
    assert found.groups == groups


def test_the_rate_of_a_group_is_given_in_both_ways() -> None:
    """160 ms lit, 200, 200 and 620 ms dark: 120.0 a minute over time, 136.8 as mean of rates (letter 01931ztv)."""
    found = described([0.16, 0.2, 0.16, 0.2, 0.16, 0.62], rough=False)
    assert found.per_minute == pytest.approx(120.0, rel=1e-3)
    assert found.mean_of_rates == pytest.approx(136.8, rel=5e-3)


@pytest.mark.parametrize(
    ("half", "band"),
    [(0.8333, (24.0, 48.0)), (0.25, (84.0, 168.0))],
)
def test_standard_flash_rates_have_their_rate(half: float, band: tuple[float, float]) -> None:
    """IEC 60073 (second hand): slow flashing is 24 to 48 a minute, normal 84 to 168, lit and dark alike."""
    found = described([half, half])
    assert found.per_minute == pytest.approx(30.0 / half, rel=0.01)
    assert band[0] <= (found.per_minute or 0.0) <= band[1]
    assert found.share == pytest.approx(0.5, abs=0.03)


@pytest.mark.parametrize(("per_minute", "inside"), [(55.0, False), (60.0, True), (119.0, True), (125.0, False)])
def test_a_flashers_rate_is_told_from_its_limits(per_minute: float, inside: bool) -> None:
    """SAE J945 by letter 01931ztv: 60 to 120 a minute, after at least five cycles, mean of at least three."""
    found = describe(
        states(Sampled(values=light([30 / per_minute] * 2, seconds=8.0, rough=False), rate=RATE), low=0.2, high=0.8)
    )
    assert (59.7 <= (found.per_minute or 0.0) <= 120.3) is inside  # of samples at 500 Hz


@pytest.mark.parametrize(("rate", "most"), [(2.9, 3), (2.0, 2), (4.5, 5)])
def test_flashes_in_any_second_are_counted(rate: float, most: int) -> None:
    """WCAG 2.3.1: no more than three in any one second."""
    record = Sampled(values=light([0.5 / rate] * 2, seconds=6.0, rough=False), rate=RATE)
    assert describe(states(record, low=0.2, high=0.8)).most_in_a_second == most


@pytest.mark.parametrize("width", [0.005, 0.01, 0.0175, 0.02, 0.035])
def test_the_short_flash_of_a_beacon_is_not_missed(width: float) -> None:
    """Flashes of 5 to 35 ms each 1.25 s (a fire-beacon planning manual): 0.8 Hz, from samples every 0.5 ms."""
    times = np.arange(16_000) / 2000.0
    samples = ((times % 1.25) >= 0.6) & ((times % 1.25) < 0.6 + width)
    found = describe(changes(light_of(Sampled(values=samples.astype(float), rate=2000.0))))
    assert found.per_minute == pytest.approx(48.0, rel=1e-3)
    assert found.share == pytest.approx(width / 1.25, rel=0.1)


COUNTS = [
    ([0.5, 0.5, 0.5, 3.5], "2"),
    ([0.3, 0.7, 0.3, 0.7, 0.3, 7.7], "3"),
    ([0.2, 0.3, 0.2, 0.3, 0.2, 3.8], "3"),
    ([0.3, 0.7] * 8 + [0.3, 6.7], "9"),
    ([0.5, 0.5, 0.5, 0.5, 0.5, 1.5], "3"),
    ([0.16, 0.2, 0.16, 0.2, 0.16, 0.62], "3"),
]


@pytest.mark.parametrize(("durations", "word"), COUNTS)
@pytest.mark.parametrize("declared", [True, False])
def test_the_number_of_a_group_is_read(durations: list[float], word: str, declared: bool) -> None:
    """The code reader counts the flashes of a published group light, its rhythm declared or learned from the record."""
    kinds = CountRhythm(flash=durations[0], gap=durations[1], pause=durations[-1]) if declared else None
    assert decode(light(durations, seconds=4.2 * sum(durations)), kinds, rate=RATE).word == word


@pytest.mark.parametrize(
    "durations",
    [
        [0.2, 0.3] * 6 + [2.0, 5.0],  # south cardinal: a long flash is no mark of the group
        [0.5, 1.0, 0.5, 2.0, 0.5, 5.5],  # preferred channel: two groups in one period
        [0.5, 0.5, 1.5, 5.5],  # Morse A
    ],
)
def test_composite_lights_are_no_counts(durations: list[float]) -> None:
    """A light that is no simple group is irregular, not the nearest number."""
    kinds = CountRhythm(flash=durations[0], gap=durations[1], pause=durations[-1])
    assert decode(light(durations, seconds=4.2 * sum(durations)), kinds, rate=RATE).word == "irregular"
