"""The bench as opened, guarded so that nobody needs to fear it."""

from benchtest.rig.in_use import Rig
from benchtest.rig.opened import BEATS_PER_DEAD_MAN, Company, Virtual, open_rig

__all__ = ["BEATS_PER_DEAD_MAN", "Company", "Rig", "Virtual", "open_rig"]
