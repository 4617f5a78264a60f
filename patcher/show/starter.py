"""The show file that `patcher new` writes: small, sound, and with a word on every key."""

from __future__ import annotations

STARTER = """\
#:schema patcher.schema.json
# SAFETY. Mains is for a licensed electrician: outdoor circuits behind an RCD, supplies in closed, dry boxes.
# Put a fuse in every feed, close to its supply. Switch off before you touch a wire.
#
# Lengths are in metres, seen from the street: x to the right, y up. Text behind a # is for you alone.
# Change what is yours, then run: patcher check, with the name of this file.

[show]
title = "My first show"
units = "m"                # or "ft": feet, in this whole file
frame_rate = 40            # frames a second, as in your player
level = 0.4                # the brightest you run it: 0.4 is 40 %, and plenty in the dark

[pixel.bullet]             # one kind of pixel; its numbers are on its data sheet
colour_order = "RGB"       # if red lights green, try "GRB"; with a white chip, "RGBW"
volts = 12.0               # what the supply must give
channel_ma = 9.0           # milliamperes of one colour at full
idle_ma = 0.8              # milliamperes of a dark pixel
min_volts = 10.0           # below this it flickers
awg = 18                   # thickness of the string's power wires; or in square millimetres: mm2 = 0.75
pitch = 0.1                # wire from pixel to pixel

[controller.box]           # the pixel controller in your box
address = "192.0.2.21"     # the one that is set in it
protocol = "e131"          # or "artnet": as set in it
start_per = "port"         # each port has a first universe and channel of its own; or "controller", or "run"
ports = 4                  # how many ports it has
port_pixels = 600          # the most pixels that one port takes

[controller.box.port]      # what hangs on which port, in the order that the data passes
1 = ["roof", "panel"]

[run.roof]                 # one string of pixels, in a line
pixel = "bullet"
shape = "line"
path = [[0.0, 3.0], [4.9, 3.0]]    # from the first pixel to the last; add corners between them
pixels = 50                # how many pixels
lead = 2.0                 # data and ground from the box to pixel 1; past 5 m: nulls = 1, nulls_at = [5.0]

[run.panel]                # rows of pixels, every second row running back
pixel = "bullet"
shape = "grid"
area = [[1.0, 1.0], [1.9, 1.4]]    # its lowest left pixel, and its highest right one
columns = 10               # pixels across
rows = 5                   # pixels up
lines = "rows"             # or "columns": the wire runs up and down
turns = "serpentine"       # or "same-way": each row begins at the same side
data_in = "top-right"      # the corner where the cable comes in
lead = 3.7                 # cable from the last pixel of the roof

[prop.house]               # what people see as one thing
runs = ["roof", "panel"]

[supply.box-12v]           # the power supply
volts = 12.0
amps = 12.5                # as printed on it
box = "box"                # whose enclosure it sits in

[feed.wire]                # power from the supply to the pixels
supply = "box-12v"
awg = 14
fuse = 5                   # amps
taps = [                   # where it joins them; length: of wire from the place before
  { run = "roof", pixel = "first", length = 2.0 },
  { run = "panel", pixel = "first", length = 3.0 },
]
"""
"""The text of a first show."""
