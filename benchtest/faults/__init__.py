"""What may be wrong, as data: with a board, in a technician's words, and with a bench; the simulator builds it in."""

from benchtest.faults.catalogue import SENTENCES, Fault, Kind, parse, possible
from benchtest.faults.defects import Defect, Mishap, parse_defect
from benchtest.faults.trips import Trip, parse_trip

__all__ = ["SENTENCES", "Defect", "Fault", "Kind", "Mishap", "Trip", "parse", "parse_defect", "parse_trip", "possible"]
