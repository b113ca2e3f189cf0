"""What must never happen on a bench, decided purely; whoever acts loops over the answer.

Safe state: loads first, supplies last, so that no contact breaks a supply's current that its own command could have
taken away, and nothing is driven into a board without power.
"""

from collections.abc import Collection, Sequence


def to_safe(energised: Collection[int], *, loads: Sequence[int], supplies: Sequence[int]) -> tuple[int, ...]:
    """Return the channels to take off, in order: energised loads, whatever nobody named, energised supplies."""
    first = [channel for channel in loads if channel in energised]
    last = [channel for channel in supplies if channel in energised]
    unnamed = sorted(set(energised) - set(first) - set(last))
    return (*first, *unnamed, *last)


def refused_by_the_bench(volts: float, amps: float, *, most_volts: float, most_amps: float) -> str:
    """Return why a supply order is refused, or an empty string; NaN is refused."""
    if not 0.0 <= volts <= most_volts:
        return f"{volts:g} V is not between 0 V and this bench's limit of {most_volts:g} V"
    if not 0.0 <= amps <= most_amps:
        return f"{amps:g} A is not between 0 A and this bench's limit of {most_amps:g} A"
    return ""
