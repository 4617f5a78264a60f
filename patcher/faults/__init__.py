"""The wiring as built: the wiring as planned, with faults in it. All of it is pure.

`fault.py` reads, checks and writes a fault; `sent.py` says what a box sends, `cable.py` who takes it, and `built.py`
what that changes for each pixel.
"""

from patcher.faults.built import Departure, Planned, departure, planned, slot_index
from patcher.faults.cable import RANDOM, Takes
from patcher.faults.fault import KINDS, Built, Fault, build, parse
from patcher.faults.sent import DARK, wire_letters

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
    "wire_letters",
]
