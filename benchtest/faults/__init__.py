"""What may be wrong, as data: with a board, in a technician's words, and with a bench; the simulator builds it in."""

from benchtest.faults.catalogue import BETWEEN, Fault, parse, possible
from benchtest.faults.defects import Defect, Mishap, parse_defect
from benchtest.faults.kinds import ABOUT, STEADY, About, Kind
from benchtest.faults.shares import priors
from benchtest.faults.trips import Trip, parse_trip

__all__ = [
    "ABOUT",
    "BETWEEN",
    "STEADY",
    "About",
    "Defect",
    "Fault",
    "Kind",
    "Mishap",
    "Trip",
    "parse",
    "parse_defect",
    "parse_trip",
    "possible",
    "priors",
]
