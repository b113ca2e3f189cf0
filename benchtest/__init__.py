"""Bench-test harness for relay boards.

profile + fixture → *plan* → procedure → *perform* (on a rig) → readings → *judge* → results
→ certificate and records
"""

__version__ = "0.1.0"
