"""A show file without a mistake, as tables."""

GOOD = """\
[show]
title = "Mill weir"
frame_rate = 40

[pixel.lamp]
colour_order = "RGB"
volts = 12.0
min_volts = 10.0

[controller.mill]
address = "192.0.2.21"
ports = 4
consecutive = true

[controller.mill.port]
1 = ["towpath", "gate-low"]
2 = ["willow"]
3 = ["gate-high"]

[run.towpath]
pixel = "lamp"
shape = "line"
path = [[0.0, 0.0], [4.0, 0.0]]
pixels = 50
gaps = [7]
lead = 2.5

[run.towpath-back]
pixel = "lamp"
pixels = 49
same_data_as = "towpath"

[run.willow]
pixel = "lamp"
shape = "points"
file = "willow.csv"

[run.gate-low]
pixel = "lamp"
shape = "band"
of = "gate"
band = [1, 2]
data_in = "bottom-left"

[run.gate-high]
pixel = "lamp"
shape = "band"
of = "gate"
band = [3, 4]
data_in = "bottom-left"

[prop.gate]
area = [[0, 0], [3, 3]]
columns = 4
rows = 4
lines = "rows"
turns = "serpentine"
data_in = "bottom-left"

[supply.mill-12v]
volts = 12.0
amps = 29.0
box = "mill"

[feed.bank]
supply = "mill-12v"
awg = 14
taps = [
  { run = "towpath", pixel = 1, length = 4.0 },
  { run = "willow", pixel = "last", length = 8.5 },
]

[[accept]]
rule = "lead-length"
where = "run.towpath"
why = "booster built into the plug"
"""
