"""What may be wrong with a board, as data: named faults in a technician's words; the simulator builds them in."""

from benchtest.faults.catalogue import SENTENCES, Fault, Kind, parse, possible
from benchtest.faults.trips import Trip, parse_trip

__all__ = ["SENTENCES", "Fault", "Kind", "Trip", "parse", "parse_trip", "possible"]
