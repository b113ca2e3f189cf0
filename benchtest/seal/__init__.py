"""Seals: a station signs a paper, and whoever trusts the station can check it, offline and later.

`station` keeps the key, `sealing` signs, `examine` checks, `trusted` is the list of stations that are believed here.
"""

from benchtest.seal.examine import examine_json, examine_text
from benchtest.seal.examined import EXIT_CODE, Examined, State
from benchtest.seal.sealing import Sealed, seal
from benchtest.seal.station import Station, open_station, renew, station_folder
from benchtest.seal.trusted import Stations, read_stations, stations_file

__all__ = [
    "EXIT_CODE",
    "Examined",
    "Sealed",
    "State",
    "Station",
    "Stations",
    "examine_json",
    "examine_text",
    "open_station",
    "read_stations",
    "renew",
    "seal",
    "station_folder",
    "stations_file",
]
