"""The bench's hard limits against every order of a finished procedure, whatever the profile said to come to it."""

from collections.abc import Iterator

from benchtest.fixture.document import HardLimits
from benchtest.interlocks import refused_by_the_bench, refused_order
from benchtest.procedure import Move, Procedure, Record, Set, Source


def forbidden(procedure: Procedure, limits: HardLimits) -> list[str]:
    """Return a sentence for every order that the bench's hard limits forbid; a wire that is missing is no order."""
    return [
        f"step {step.title!r}, channel {channel}: {refused}"
        for step in procedure.steps
        for move in step.moves
        for channel, refused in _refused(move, procedure, limits)
        if channel and refused
    ]


def _refused(move: Move, procedure: Procedure, limits: HardLimits) -> Iterator[tuple[int, str]]:
    """Yield each channel that a move orders, with why it may not, or an empty string."""
    roles = {number: channel.role for number, channel in procedure.channels.items()}
    most = limits.voltage
    match move:
        case Source():
            refused = refused_by_the_bench(move.volts, move.amps, most_volts=most, most_amps=limits.current)
            yield move.channel, refused
        case Set():
            yield move.channel, refused_order(roles.get(move.channel), move.value, most_volts=most)
        case Record():
            for order in move.orders:
                yield order.channel, refused_order(roles.get(order.channel), order.value, most_volts=most)
        case _:
            return
