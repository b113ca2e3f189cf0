"""Old runs under a new profile: which certificates would have been others, and why. What was issued stays as it is."""

from benchtest.rejudge.judging import Rejudge, Rejudged, Turn, Way
from benchtest.rejudge.stored import run_folders

__all__ = ["Rejudge", "Rejudged", "Turn", "Way", "run_folders"]
