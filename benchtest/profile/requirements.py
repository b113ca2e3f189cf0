"""Which requirements stand along a path of a profile: those of a thing, and those of the limit in it."""

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import BaseModel

from benchtest.profile.document import Profile


def required(profile: Profile, *keys: str | int) -> tuple[str, ...]:
    """Return the requirements named at a key path and at everything around it, each once."""
    found: dict[str, None] = {}
    here: Any = profile
    for key in keys:
        here = _inside(here, key)
        found |= dict.fromkeys(getattr(here, "requirement", ()))
    return tuple(found)


def _inside(here: Any, key: str | int) -> Any:
    if isinstance(here, BaseModel):
        return getattr(here, str(key), None)
    if isinstance(here, Mapping):
        return here.get(key)
    if isinstance(here, Sequence) and isinstance(key, int) and key < len(here):
        return here[key]
    return None
