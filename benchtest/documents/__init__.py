"""YAML documents → values that know their file, line and column; every problem in one report.

`load` for a document that stands alone, `examine` for one whose problems are reported together with another's.
"""

from benchtest.documents.files import beside, digest_of
from benchtest.documents.loading import Check, Loaded, Review, examine, load
from benchtest.documents.shape import schema
from benchtest.documents.source import read_bytes
from benchtest.documents.words import choices, nearest, nearest_or_list

__all__ = [
    "Check",
    "Loaded",
    "Review",
    "beside",
    "choices",
    "digest_of",
    "examine",
    "load",
    "nearest",
    "nearest_or_list",
    "read_bytes",
    "schema",
]
