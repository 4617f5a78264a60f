"""The wiring as built: the wiring as planned, with faults in it. All of it is pure.

`fault.py` is a fault, `fault_text.py` reads and checks one as a person writes it, `fault_sentences.py` says one in
words; `sent.py` says what a box sends, `cable.py` which pixel takes it, `built.py` what that changes, `pairs.py` the
same for two faults at once, and `appearance.py` what pixels then show of a frame.
"""

from patcher.faults.appearance import LitChannels, shades
from patcher.faults.built import BuiltCables, Departure, Departures, Planned, departure, planned, slot_index
from patcher.faults.cable import RANDOM, AtPixels, Takes
from patcher.faults.fault import KINDS, Built, Fault, build
from patcher.faults.fault_sentences import code_in_words, codes, in_words
from patcher.faults.fault_text import has_ends, parse, practised
from patcher.faults.sent import DARK, wire_letters

__all__ = [
    "DARK",
    "KINDS",
    "RANDOM",
    "AtPixels",
    "Built",
    "BuiltCables",
    "Departure",
    "Departures",
    "Fault",
    "LitChannels",
    "Planned",
    "Takes",
    "build",
    "code_in_words",
    "codes",
    "departure",
    "has_ends",
    "in_words",
    "parse",
    "planned",
    "practised",
    "shades",
    "slot_index",
    "wire_letters",
]
