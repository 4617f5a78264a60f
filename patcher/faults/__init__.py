"""The wiring as built: the wiring as planned, with faults in it. All of it is pure.

`fault.py` reads, checks and writes a fault; `sent.py` says what a box sends, `cable.py` who takes it, `built.py` what
that changes for each pixel, and `appearance.py` what a pixel then shows.
"""

from patcher.faults.appearance import LitChannels, shades
from patcher.faults.built import BuiltCables, Departure, Planned, departure, planned, slot_index
from patcher.faults.cable import RANDOM, AtPixels, Takes
from patcher.faults.fault import KINDS, Built, Fault, build, parse
from patcher.faults.sent import DARK, wire_letters

__all__ = [
    "DARK",
    "KINDS",
    "RANDOM",
    "AtPixels",
    "Built",
    "BuiltCables",
    "Departure",
    "Fault",
    "LitChannels",
    "Planned",
    "Takes",
    "build",
    "departure",
    "parse",
    "planned",
    "shades",
    "slot_index",
    "wire_letters",
]
