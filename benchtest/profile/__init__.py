"""Profiles: what a good board is, and how to prove it."""

from benchtest.profile.document import Profile
from benchtest.profile.load import LoadedProfile, load_profile

__all__ = ["LoadedProfile", "Profile", "load_profile"]
