"""The list of `patcher help changes`: what to change in the file when the display changed; each line is done."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from patcher.reference import parts_of, topics
from rig.shipped import Patcher

LIST = {part.term: part.says for part in parts_of(topics()["changes"]) if part.kind == "entry"}
NEW_KIND = """
[pixel.new-12v]
colour_order = "RGB"
volts = 12.0
channel_ma = 9.0
idle_ma = 0.8
min_volts = 10.0
awg = 18
pitch = 0.1

[run.gable] """
TEE = """[run.hedge-back]
pixel = "bulb-12v"
pixels = 150
same_data_as = "hedge"
power_joined = false

[feed.hedge-back]
from = "hedge-wire"
tap = 1
awg = 14
taps = [
  { run = "hedge-back", pixel = "first", length = 0.5 },
  { run = "hedge-back", pixel = 75, length = 3.0 },
  { run = "hedge-back", pixel = "last", length = 3.0 },
]

# ─── Power"""
TWO = """[run.hedge-end]
pixel = "new-12v"
pixels = 50
lead = 0.0

[run.gable] """
QUAY = """
[route.quay]
path = [[18.0, -0.1], [27.2, -0.1]]

[run.gable] """
HEDGE = 'pixels = 150\nlead = 9.0\nlead_via = "booster"\n'
GABLE = '[run.gable]                # up to the ridge and down again\npixel = "bulb-12v"\n'
BOAT = 'lead = 11.0                # along the quay\nlead_via = "booster"       # half way, in the railing\n'
RULE = '[[accept]]\nrule = "lead-length"\nwhere = "run.narrowboat"\nwhy = "an old hand"\n\n[pixel.bulb-12v]'
FIRST_TAP = '{ run = "gable", pixel = "first", length = 2.6 },'
MORE_TAPS = FIRST_TAP + '\n  { run = "gable", pixel = 45, length = 4.6 },'
LAST_TAP = '{ run = "eaves", pixel = "last", length = '


@pytest.mark.parametrize(
    ("row", "edits", "run", "pixels"),
    [
        ("a pixel was cut out", [("pixels = 89\n", "pixels = 89\ngaps = [17]\n")], "gable", 88),
        ("a pixel was cut out", [("gaps = [9] ", "gaps = [9, 17] ")], "eaves", 76),
        ("a pixel was cut out", [("pixels = 150\n", "pixels = 149\n")], "hedge", 149),
        ("a pixel was put back", [("gaps = [9] ", "gaps = [] ")], "eaves", 78),
        ("got more pixels", [("pixels = 101\n", "pixels = 106\n"), ("[27.0, 0.1]]", "[27.5, 0.1]]")], "towpath", 106),
        ("replaced by another", [("\n[run.gable] ", NEW_KIND), (GABLE, GABLE.replace("bulb-12v", "new-12v"))],
         "gable", 89),
        ("only a part", [("\n[run.gable] ", NEW_KIND.replace("\n[run.gable] ", "\n" + TWO)),
                         ('4 = ["hedge"]', '4 = ["hedge", "hedge-end"]'), (HEDGE, HEDGE.replace("150", "100"))],
         "hedge-end", 50),
        ("on another port", [('1 = ["gable", "eaves"]', '1 = ["gable"]\n3 = ["eaves"]'),
                             ("lead = 0.3\n", 'lead = 8.0\nlead_via = "booster"\n')], "eaves", 77),
        ("in another place", [("[[17.0, 0.1], [27.0, 0.1]]", "[[17.0, 0.3], [27.0, 0.3]]")], "towpath", 101),
        ("other end", [('data_in = "last"\nlead = 0.5', 'data_in = "first"\nlead = 11.0\nlead_via = "booster"'),
                       ("length = 0.5 }]", "length = 11.0 }]")], "towpath", 101),
        ("not used this season", [(HEDGE, HEDGE + "hung = false\n")], "hedge", 150),
        ("(a tee)", [("# ─── Power", TEE)], "hedge-back", 150),
        ("another way", [("\n[run.gable] ", QUAY)], "narrowboat", 216),
        ("a null pixel", [(HEDGE, HEDGE.split("lead_via")[0] + "nulls = 1\nnulls_at = [5.0]\n")], "hedge", 150),
        ("wired the other way", [("band = [1, 28]\n", 'band = [1, 28]\nturns = "same-way"\n'),
                             ('"gate-left", pixel = "last", length = 0.6', '"gate-left", pixel = "last", length = 1.7'),
                             ("pixel = 481, length = 0.25", "pixel = 481, length = 1.6")], "gate-left", 560),
        ("one more place", [(FIRST_TAP, MORE_TAPS), (LAST_TAP + "0.2", LAST_TAP + "5.0")], "gable", 89),
        ("another name", [("hedge", "privet")], "privet", 150),
        ("as you want it", [(BOAT, "lead = 11.0\n"), ("[pixel.bulb-12v]", RULE)], "narrowboat", 216),
    ],
)  # fmt: skip
def test_what_to_change_when(row: str, edits: list, run: str, pixels: int, here: Patcher, heron_lock: Path) -> None:
    # Source: the list itself: each line, done to the shipped show, leaves it sound, and says what hangs there
    (said,) = [says for when, says in LIST.items() if row in when]
    text = heron_lock.read_text()
    new_keys = set()
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new, -1 if old == "hedge" else 1)
        new_keys |= keys(new) - keys(old) - {"lead_via"}  # a long lead wants help, which check says
    heron_lock.write_text(text)
    assert not new_keys or any(f"`{key}" in said or f"[{key}" in said for key in new_keys | {"pixel", "accept"})
    ran = here("check", heron_lock)
    assert ran.returncode == 0, ran.stdout
    assert "warning:" not in ran.stdout, ran.stdout
    spans = json.loads(here("where", heron_lock, run, "--json").stdout)
    assert sum(span["last_pixel"] - span["first_pixel"] + 1 for span in spans) == pixels


def keys(text: str) -> set[str]:
    return set(re.findall(r"^([a-z_]+) = ", text, re.MULTILINE))


def test_every_line_of_the_list_is_tried() -> None:
    # Source: this file
    tried = next(mark.args[1] for mark in test_what_to_change_when.pytestmark if mark.name == "parametrize")
    assert LIST
    assert all(any(each[0] in row for each in tried) for row in LIST), list(LIST)
