"""Many runs instead of one: how good a procedure is, and what each fault looks like to it.

Everything here happens on the simulated bench; what it says about a real one is as good as the model.
"""

from benchtest.studies.coverage import Coverage, Missed, study
from benchtest.studies.page import to_html
from benchtest.studies.signatures import learned
from benchtest.studies.trial import Subject, Trial, Tried, try_one
from benchtest.studies.trials import Stock, all_trials, stock

__all__ = [
    "Coverage",
    "Missed",
    "Stock",
    "Subject",
    "Trial",
    "Tried",
    "all_trials",
    "learned",
    "stock",
    "study",
    "to_html",
    "try_one",
]
