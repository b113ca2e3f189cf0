"""A first profile: from what a connector table says or a person answers, to one that `benchtest check` accepts."""

from benchtest.sketch.draft import Control, Draft, Feed, Plug, Switch
from benchtest.sketch.table import ROLES, TEMPLATE, read_table
from benchtest.sketch.writing import Sketched, sketch

__all__ = ["ROLES", "TEMPLATE", "Control", "Draft", "Feed", "Plug", "Sketched", "Switch", "read_table", "sketch"]
