"""The whole board from event to event beside the same board in small fixed steps, in the same run.

Run alone with `pytest tests/benchmarks/test_board.py -s` to see the figures.
"""

from time import process_time
from typing import Final

import numpy as np
import pytest

from benchtest.simulator.scene import Scene
from benchtest.studies.trial import Trial, try_one
from tests.benchmarks.stepped_board import STEP, SteppedBoard
from tests.simulator.stand import BENCH, GREENHOUSE, Stand, edges
from tests.simulator.stand import greenhouse as on_a_stand
from tests.studies.studied import greenhouse

STRETCH: Final = 0.2
"""Seconds of the board's time that both go through: a command, a relay that picks up, its bounce, and rest."""
SAID: Final = 0.02
"""Seconds from the begin of the stretch to the command."""
RELAY, SIGNAL = "K2", "fan_1"
LEAST_ALIKE: Final = 60.0
"""Of the same stretch, every sample of every channel made."""
LEAST_WHOLE: Final = 600.0
"""Of a whole procedure, judged; the steps are not."""


def stepped() -> tuple[float, SteppedBoard]:
    """Return the processor seconds of the stretch in steps, and the board after it."""
    known = on_a_stand()
    scene = Scene(
        fitted=known.fitted, harness=known.harness, fixture=BENCH.fixture, database=GREENHOUSE.database, seed=1
    )
    board = SteppedBoard(scene.board, heartbeat=0.2)
    begin = process_time()
    board.run(SAID)
    board.command(RELAY, on=True)
    board.run(STRETCH - SAID)
    return process_time() - begin, board


def from_event_to_event(stand: Stand, *, on: bool) -> tuple[float, float]:
    """Return the processor seconds of the stretch with every sample made, and when the contact first changed."""
    begin = process_time()
    recording = stand.record(seconds=STRETCH, say={SIGNAL: float(on)})
    np.asarray(recording.codes)
    spent = process_time() - begin
    return spent, float(edges(recording, stand.contact(RELAY), above=6.0)[0])


def test_the_board_is_simulated_far_faster_than_in_steps_of_10_microseconds() -> None:
    """A stretch of the procedure with all its samples, and a whole judged run beside the steps drawn out to it.

    Both boards must do the same: the contact makes at the same moment, as nearly as two movements are alike.
    """
    steps, board = stepped()
    stand = on_a_stand()
    stand.power()
    both = [(from_event_to_event(stand, on=True), from_event_to_event(stand, on=False)) for _ in range(10)]
    events = min(spent for pair in both for spent, _ in pair)
    make = board.relays[RELAY].build.make
    assert make is not None
    column = board.readings[-1].index(make.closed_volts)  # drawn, so no other channel reads the same
    made = next(row for row, values in enumerate(board.readings) if values[column] == make.closed_volts) * 1e-4

    subject = greenhouse()
    try_one(subject, Trial(faults=(), seed=0))
    whole = []
    for seed in range(1, 6):
        begin = process_time()
        try_one(subject, Trial(faults=(), seed=seed))
        whole.append(process_time() - begin)
    lasts = subject.procedure.duration
    drawn_out = steps * lasts / STRETCH
    print(
        f"\n{STRETCH:g} s of the board in steps of {STEP * 1e6:g} µs {steps:.2f} s, from event to event with "
        f"{len(stand.everything())} channels sampled {events * 1e3:.1f} ms (× {steps / events:.0f}, limit "
        f"{LEAST_ALIKE:g}); the procedure of {lasts:.0f} s in steps {drawn_out:.0f} s, a whole judged run "
        f"{min(whole) * 1e3:.0f} ms (× {drawn_out / min(whole):.0f}, limit {LEAST_WHOLE:g})"
    )

    assert made == pytest.approx(both[0][0][1], abs=0.5e-3)
    assert steps / events >= LEAST_ALIKE
    assert drawn_out / min(whole) >= LEAST_WHOLE
