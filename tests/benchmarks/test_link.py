"""Speed of the link's arithmetic, as a ratio inside one run. Run alone with `pytest tests/benchmarks -s`."""

from random import Random
from time import perf_counter

import numpy as np

from benchtest.signals.bus_load import lengths
from benchtest.signals.can_bits import INTERFRAME
from benchtest.signals.frames import Kind
from tests.signals.bit_by_bit import bits_on_the_bus, data_frame, frames_of

COUNT = 100_000


def test_bits_of_a_hundred_thousand_frames_take_a_twentieth_of_a_walk() -> None:
    """Tables of bytes count the bits of random frames at least twenty times faster than a walk over every bit."""
    random = Random(1)
    kinds = [(Kind(0), 11), (Kind.EXTENDED, 29)]
    drawn = [
        data_frame(random.getrandbits(bits), random.randbytes(random.randrange(9)), kind)
        for kind, bits in random.choices(kinds, k=COUNT)
    ]
    log = frames_of(drawn)
    begin = perf_counter()
    walked = [bits_on_the_bus(frame) for frame in drawn]
    between = perf_counter()
    found = lengths(log).actual
    end = perf_counter()
    ratio = (between - begin) / (end - between)
    print(f"\n{COUNT} frames: walk {between - begin:.2f} s, tables {end - between:.3f} s, ratio {ratio:.0f} (limit 20)")

    assert np.array_equal(found, np.array(walked) + INTERFRAME)
    assert ratio >= 20
