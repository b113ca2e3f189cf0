"""Where to look first: suspects with probabilities, what speaks for and against each, and the next best check."""

from benchtest.diagnose.library import Library, Signature
from benchtest.diagnose.symptoms import symptom, symptoms

__all__ = ["Library", "Signature", "symptom", "symptoms"]
