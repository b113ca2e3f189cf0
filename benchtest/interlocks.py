"""What must never happen on a bench, decided purely; whoever acts loops over the answer.

Safe state: loads first, supplies last, so that no contact breaks a supply's current that its own command could have
taken away, and nothing is driven into a board without power.

Orders: no supply above the bench's hard limits, no drive between off and on, no resistance below zero, and nothing that
is not a number. An infinite resistance is open, its safe state; nothing else may be infinite.
"""

from collections.abc import Collection, Sequence

from benchtest.instruments import Role


def to_safe(energised: Collection[int], *, loads: Sequence[int], supplies: Sequence[int]) -> tuple[int, ...]:
    """Return the channels to take off, in order: energised loads, whatever nobody named, energised supplies.

    Each comes once; one that is named as both is a supply, and goes last.
    """
    last = [channel for channel in dict.fromkeys(supplies) if channel in energised]
    first = [channel for channel in dict.fromkeys(loads) if channel in energised and channel not in last]
    unnamed = sorted(set(energised) - set(first) - set(last))
    return (*first, *unnamed, *last)


def refused_by_the_bench(volts: float, amps: float, *, most_volts: float, most_amps: float) -> str:
    """Return why a supply order is refused, or an empty string; NaN is refused."""
    if not 0.0 <= volts <= most_volts:
        return f"{volts:g} V is not between 0 V and this bench's limit of {most_volts:g} V"
    if not 0.0 <= amps <= most_amps:
        return f"{amps:g} A is not between 0 A and this bench's limit of {most_amps:g} A"
    return ""


def refused_order(role: Role | None, value: float, *, most_volts: float) -> str:
    """Return why an output may not be set to `value`, or an empty string; `role` is None where nobody knows it."""
    match role:
        case Role.SUPPLY:
            return refused_by_the_bench(value, 0.0, most_volts=most_volts, most_amps=0.0)
        case Role.DRIVE:
            return "" if value in {0.0, 1.0} else f"a drive is 0 or 1, not {value:g}"
        case Role.RESISTANCE:
            return "" if value >= 0.0 else f"a resistance is 0 ohm or more, inf is open, not {value:g} ohm"
        case None:
            return "nobody knows what this channel is (it is not in the harness)"
        case _:
            return f"a channel that is '{role}' reads, and cannot be set"
