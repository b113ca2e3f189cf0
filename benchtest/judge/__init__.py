"""From procedure and readings to results: a pure function, so that an old run can be judged again.

One small function per kind of measurand finds the value, its uncertainty and what a person should know (`Finding`);
one place compares it with what is permitted; one place sums a run up. What could not be looked at, for whatever reason,
is `not tested` and never passes; what was watched and did not happen has failed.
"""

from benchtest.judge.checks import judge_all, judge_check, judge_step
from benchtest.judge.outcome import conclude

__all__ = ["conclude", "judge_all", "judge_check", "judge_step"]
