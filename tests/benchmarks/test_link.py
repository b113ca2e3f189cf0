"""Speed of the link's arithmetic, as a ratio inside one run. Run alone with `pytest tests/benchmarks -s`."""

import statistics
from random import Random
from time import process_time

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
    begin = process_time()  # of the processor: other work on a busy machine does not count
    walked = [bits_on_the_bus(frame) for frame in drawn]
    walk = process_time() - begin
    tables = []
    for _ in range(5):
        begin = process_time()
        found = lengths(log).actual
        tables.append(process_time() - begin)
    table = statistics.median(tables)
    ratio = walk / table
    print(f"\n{COUNT} frames: walk {walk:.2f} s, tables {table:.3f} s, ratio {ratio:.0f} (limit 20)")

    assert np.array_equal(found, np.array(walked) + INTERFRAME)
    assert ratio >= 20
