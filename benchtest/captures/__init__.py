"""Files that somebody else recorded, as series: tables, sound, changes, logic, arrays, films of a lamp."""

from benchtest.captures.capture import Capture, Channel, Options, Recorded
from benchtest.captures.opening import KINDS, open_capture

__all__ = ["KINDS", "Capture", "Channel", "Options", "Recorded", "open_capture"]
