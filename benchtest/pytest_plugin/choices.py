"""Which boards of a profile are put on the bench: every variant, bare and with all options, or what was asked for."""

from collections.abc import Iterator
from dataclasses import dataclass

from benchtest.profile.document import Profile
from benchtest.pytest_plugin.asked import Asked


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """One board of a profile."""

    part: str
    variant: str | None
    options: tuple[str, ...]
    attempt: int = 0
    """From 1; 0 where there is only one."""

    @property
    def name(self) -> str:
        """What tells it from the others of its profile: `two-bay with dosing, attempt 2`."""
        words = self.variant or self.part
        words += f" with {', '.join(self.options)}" if self.options else ""
        return words + (f", attempt {self.attempt}" if self.attempt else "")


class LeftOut(Exception):
    """What was asked for is not about this board; says why."""


def choices(profile: Profile, asked: Asked) -> Iterator[Choice]:
    """Yield the boards of a profile, each attempt of its own. Raises LeftOut where it has none of those asked for."""
    attempts = range(1, asked.attempts + 1) if asked.attempts > 1 else (0,)
    for variant in _variants(profile, asked):
        for options in _options(profile, asked):
            for attempt in attempts:
                yield Choice(part=profile.board.part, variant=variant, options=options, attempt=attempt)


def _variants(profile: Profile, asked: Asked) -> tuple[str | None, ...]:
    if not profile.variants:
        return (None,)
    kept = tuple(name for name in profile.variants if not asked.variants or name in asked.variants)
    if not kept:
        raise LeftOut(f"no variant {' or '.join(asked.variants)} (this profile has: {', '.join(profile.variants)})")
    return kept


def _options(profile: Profile, asked: Asked) -> tuple[tuple[str, ...], ...]:
    if asked.options or asked.real or not profile.options:
        return (tuple(name for name in asked.options if name in profile.options),)
    return ((), tuple(profile.options))
