"""Every colour that `edges` names has its part of full beside it, as the slots that are sent have it."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.frames.levels import levels
from patcher.frames.pattern_choice import named
from patcher.frames.request import Asked, PatternName
from patcher.patch.thing import whole_show
from rig.examples import examples
from rig.levels_pencil import ORDERS, pencil, shows
from rig.shipped import laid

_LINE = re.compile(r"(?P<colour>.+?): (?P<run>[\w-]+) (?P<first>\d+)–(?P<last>\d+), universe (?P<universe>\d+), from ")
_MARK = re.compile(r", (?P<run>[\w-]+)/(?P<pixel>\d+) itself (?P<colour>[\w ]+?(?: at [\d.]+ %)?)(?:;|,|$| \()")


def said_part(colour: str) -> float:
    """The part of full that a colour is said to have; all of it where nothing is said."""
    part = re.fullmatch(r".+ at ([\d.]+) %", colour)
    return float(part[1]) / 100 if part else 1.0


@examples(12, 60)
@given(shows(most=400), st.sampled_from([1.0, 0.5, 0.3, 0.2, 0.02]))
def test_edges_say_how_much_of_full_white_and_each_colour_have(tables: dict, sent: float) -> None:
    # Judge: the slots that are sent; where their pixels are, by a pencil
    wiring, patch = laid(tables)
    asked = Asked(PatternName.edges, "white", "rows", 10, None, 40.0, step=False, flashing=True, level=sent)
    look = named(asked, wiring, patch, whole_show(wiring)).look(0)
    where = pencil(tables, patch)
    universes = sorted({universe for universe, _ in where.values()})
    slots = levels(look, wiring, patch, universes, sent).slots

    def brightest(run: str, pixel: int) -> float:
        universe, channel = where[run, pixel]
        size = len(ORDERS[tables["run"][run]["pixel"]])
        return float(slots[universes.index(universe), channel - 1 : channel - 1 + size].max()) / 255

    for words in look.says:
        line = _LINE.match(words)
        assert line, words
        assert said_part(line["colour"]) == pytest.approx(brightest(line["run"], int(line["last"])), abs=0.0071), words
        mark = _MARK.search(words)
        assert (mark is not None) == (" itself " in words), words
        if mark:
            white = brightest(mark["run"], int(mark["pixel"]))
            assert said_part(mark["colour"]) == pytest.approx(white, abs=0.0071), words
