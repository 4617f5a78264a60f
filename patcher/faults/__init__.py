"""The wiring as built: the wiring as planned, with faults in it.

`fault.py` reads, checks and writes a fault; `built.py` says which data each lamp then takes. All of it is pure.
"""

from patcher.faults.built import DARK, RANDOM, Departure, Planned, Takes, departure, planned, slot_index
from patcher.faults.fault import KINDS, Built, Fault, build, parse

__all__ = [
    "DARK",
    "KINDS",
    "RANDOM",
    "Built",
    "Departure",
    "Fault",
    "Planned",
    "Takes",
    "build",
    "departure",
    "parse",
    "planned",
    "slot_index",
]
