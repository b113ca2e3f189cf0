"""One variant and its options: the profile without what this board leaves out.

Whatever follows (plan, simulator) sees only what is fitted and never asks about variants again. Lists of names lose the
names that are not fitted; what was left out is kept by name, for the certificate.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from benchtest.profile.board import Condition, CountCode, DigitsCode
from benchtest.profile.document import Profile
from benchtest.profile.permitted import Fitted
from benchtest.profile.script import Exercise, Given, Loss, ReadCode, ReadLamps, Step, TryInterlocks

_SECTIONS = ("supplies", "rails", "inputs", "relays", "lamps", "codes", "interlocks")


@dataclass(frozen=True, kw_only=True, slots=True)
class FittedProfile:
    """A profile reduced to one choice."""

    profile: Profile
    variant: str | None
    options: tuple[str, ...]
    not_fitted: tuple[str, ...]
    """Names that this choice leaves out."""
    others: Mapping[str, frozenset[str]] = field(default_factory=dict)
    """Every other choice, and what it leaves out of this one."""
    written: tuple[int, ...] = ()
    """Where each step of this choice stands among all that are written."""


def fit(profile: Profile, *, variant: str | None = None, options: tuple[str, ...] = ()) -> FittedProfile:
    """Return the profile for one variant and its options.

    Raises ValueError that names the choices when the variant or an option is unknown, or when there are several
    variants and none is named.
    """
    variant = _chosen(profile, variant)
    for option in options:
        if option not in profile.options:
            raise ValueError(f"unknown option {option!r} ({_there(profile.options)})")
    out: set[str] = set()
    changed: dict[str, Any] = {}
    for section in _SECTIONS:
        everything: Mapping[str, Fitted] = getattr(profile, section)
        kept = {name: thing for name, thing in everything.items() if _has(thing, variant, options)}
        out |= everything.keys() - kept.keys()
        changed[section] = kept
    changed["codes"] = {name: _code(code, out) for name, code in changed["codes"].items()}
    changed["interlocks"] = {
        name: lock.model_copy(update={"needs": _condition(lock.needs, out)})
        for name, lock in changed["interlocks"].items()
        if lock.relay not in out and _still_says_something(lock.needs, out)
    }
    out |= profile.interlocks.keys() - changed["interlocks"].keys()
    steps = [(at, step) for at, step in enumerate(profile.steps) if _has(step, variant, options)]
    kept_steps = [(at, kept) for at, step in steps for kept in _step(step, out, profile)]
    changed["steps"] = tuple(step for _, step in kept_steps)
    return FittedProfile(
        profile=profile.model_copy(update=changed),
        variant=variant,
        options=options,
        not_fitted=tuple(sorted(out)),
        others=_others(profile, variant, options, out),
        written=tuple(at for at, _ in kept_steps),
    )


def _others(
    profile: Profile, variant: str | None, options: tuple[str, ...], out: set[str]
) -> Mapping[str, frozenset[str]]:
    """Return what the board would lack as another variant, and without one of its options."""
    everything = {name: thing for section in _SECTIONS for name, thing in getattr(profile, section).items()}

    def lacking(of: str | None, has: tuple[str, ...]) -> frozenset[str]:
        return frozenset(name for name, thing in everything.items() if name not in out and not _has(thing, of, has))

    variants = {other: lacking(other, options) for other in profile.variants if other != variant}
    without = {
        f"without {option}": lacking(variant, tuple(has for has in options if has != option)) for option in options
    }
    return variants | without


def _chosen(profile: Profile, variant: str | None) -> str | None:
    if variant is None and len(profile.variants) > 1:
        raise ValueError(f"which variant? ({_there(profile.variants)})")
    if variant is not None and variant not in profile.variants:
        raise ValueError(f"unknown variant {variant!r} ({_there(profile.variants)})")
    return variant if variant is not None else next(iter(profile.variants), None)


def _there(choices: Mapping[str, str]) -> str:
    return f"this profile has: {', '.join(choices)}" if choices else "this profile has none, leave it out"


def _has(thing: Fitted, variant: str | None, options: tuple[str, ...]) -> bool:
    return thing.variant in {None, variant} and (thing.option is None or thing.option in options)


def _kept(names: tuple[str, ...], out: set[str]) -> tuple[str, ...]:
    return tuple(name for name in names if name.partition("=")[0] not in out)


def _condition(condition: Condition, out: set[str]) -> Condition:
    return condition.model_copy(update={key: _kept(getattr(condition, key), out) for key in ("all", "any", "none")})


def _still_says_something(condition: Condition, out: set[str]) -> bool:
    return bool(_kept(condition.names, out))


def _code(code: CountCode | DigitsCode, out: set[str]) -> CountCode | DigitsCode:
    if isinstance(code, DigitsCode):
        return code.model_copy(update={"probes": _kept(code.probes, out)})
    meanings = {
        count: meaning if meaning.when is None else meaning.model_copy(update={"when": _condition(meaning.when, out)})
        for count, meaning in code.meanings.items()
        if meaning.when is None or _still_says_something(meaning.when, out)
    }
    return code.model_copy(update={"meanings": meanings})


def _given(given: Given, out: set[str]) -> Given:
    inputs = {name: state for name, state in given.inputs.items() if name not in out}
    return given.model_copy(update={"inputs": inputs, "energised": _kept(given.energised, out)})


def _reads(lamp: str, expected: str, out: set[str], profile: Profile) -> str:
    """Return the expected code without the digits of probes that are not fitted."""
    code = profile.codes.get(profile.lamps[lamp].code or "")
    if not isinstance(code, DigitsCode):
        return expected
    numbers, kept = expected.split(), _kept(code.probes, out)
    if len(numbers) == len(kept):  # the step is for this variant and says only what is fitted
        return expected
    return " ".join(digits for digits, probe in zip(numbers, code.probes, strict=True) if probe in kept)


def _step(step: Step, out: set[str], profile: Profile) -> tuple[Step, ...]:
    """Return the step without what is not fitted; nothing when nothing is left of it."""
    if isinstance(step, Exercise):
        relays = _kept(step.relays, out)
        return (step.model_copy(update={"relays": relays}),) if relays else ()
    if isinstance(step, ReadLamps):
        lamps = {"lit": _kept(step.lit, out), "dark": _kept(step.dark, out), "given": _given(step.given, out)}
        return (step.model_copy(update=lamps),)
    if isinstance(step, ReadCode):
        reads = {lamp: _reads(lamp, code, out, profile) for lamp, code in step.reads.items() if lamp not in out}
        return (step.model_copy(update={"reads": reads, "given": _given(step.given, out)}),) if reads else ()
    if isinstance(step, TryInterlocks):
        names = _kept(step.names, out)
        return (step.model_copy(update={"names": names}),) if names else ()
    if isinstance(step, Loss):
        return (step.model_copy(update={"energised": _kept(step.energised, out)}),)
    return (step,)
