"""The cable chart read back in metres, and the universe map read back in channels."""

from __future__ import annotations

import itertools
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.charts.cable_chart import cable_chart
from patcher.charts.universe_map import free, seats, twice, universe_bars
from patcher.drawing.leader_rows import LabelWords, stairs
from patcher.drawing.svg import long, look
from patcher.patch.patch import Chain, Link, Patch, Start
from rig.drawing_scenes import SHOW_SEEDS, WIDE, Scene, at_random, edges_of, joints_of, one_box, shipped
from rig.examples import examples
from rig.sketches import SPACE, Drawn


@pytest.fixture(scope="module")
def heron() -> Scene:
    return shipped()


class Axis:
    """The metres of a chart, read off its own ruler."""

    def __init__(self, drawn: Drawn) -> None:
        ticks = [(float(text.get("x")), text.text) for text in drawn.texts() if text.get("class") == "metres"]
        self.ticks = [(x, float(words.removesuffix(" m"))) for x, words in ticks]
        (x0, first), *_, (x1, last) = self.ticks
        self.scale = (x1 - x0) / (last - first)
        self.zero = x0 - first * self.scale

    def metres(self, x: float) -> float:
        return (x - self.zero) / self.scale


def across(path: ElementTree.Element) -> tuple[float, float]:
    """From where to where a level line runs."""
    found = re.match(r"M(-?[\d.]+),[-\d.]+H(-?[\d.]+)", path.get("d"))
    return float(found[1]), float(found[2])


def marks(drawn: Drawn, **data: str) -> list[ElementTree.Element]:
    """Every mark with some `data-` attributes."""
    return [
        element
        for element in drawn.root.iter(f"{SPACE}g")
        if element.get("class") == "mark" and all(element.get(f"data-{key}") == value for key, value in data.items())
    ]


def place(mark: ElementTree.Element) -> float:
    """The x of a disc or of the tip of a triangle."""
    circle = next(mark.iter(f"{SPACE}circle"), None)
    if circle is not None:
        return float(circle.get("cx"))
    path = next(mark.iter(f"{SPACE}path"))
    return float(re.match(r"M(-?[\d.]+)", path.get("d"))[1])


def stretched(found: Scene, box: str, tenth: float = 0.1) -> dict[str, list[float]]:
    """Metres along its port's cable at which each pixel of a box's runs lies, added up lead by lead, step by step."""
    show = found[0].show
    at: dict[str, list[float]] = {}
    for chain in show.controllers[box].port.values():
        here = 0.0
        for name in chain:
            run = show.runs[name]
            if run.hung:
                pitch = show.pixel_types[run.pixel].pitch
                assert pitch is not None
                at[name] = [here + run.lead]
                for lamp in lamps_between(run):
                    at[name].append(at[name][-1] + lamp * pitch)
                here = at[name][-1]
    return at


def lamps_between(run) -> list[int]:
    """How many steps of the string lie between one pixel and the next, in data order."""
    places = [place for place in range(1, run.places + 1) if place not in run.gap_places]
    steps = [two - one for one, two in itertools.pairwise(places)]
    return steps[::-1] if getattr(run, "data_in", "first") == "last" else steps


@pytest.mark.parametrize("box", ["lockhouse", "gatepost", "weirside", "mooring"])
@pytest.mark.parametrize("wide", [180.0, 90.0])
def test_everything_on_a_ports_cable_is_to_scale(heron: Scene, box: str, wide: float) -> None:
    # Source: heron-lock.toml: leads, pitches, gaps and taps added up by hand.
    drawn = Drawn(cable_chart(*heron, box, wide=wide))
    axis = Axis(drawn)
    at = stretched(heron, box)
    off = 0.02 / axis.scale + 0.005
    for run, pixels in at.items():
        (first,) = marks(drawn, run=run, end="first")
        assert axis.metres(place(first)) == pytest.approx(pixels[0], abs=off)
        (last,) = marks(drawn, run=run, end="last")
        assert axis.metres(place(last)) == pytest.approx(pixels[-1], abs=off)
        for feed, name, pixel in joints_of(heron, {run}):
            (tap,) = marks(drawn, run=name, feed=feed, pixel=pixel)
            assert axis.metres(place(tap)) == pytest.approx(pixels[int(pixel) - 1], abs=off)
        for _, pixel, _ in edges_of(heron, run):
            (edge,) = marks(drawn, run=run, edge="universe", pixel=pixel)
            middle = (pixels[int(pixel) - 2] + pixels[int(pixel) - 1]) / 2
            assert axis.metres(place(edge)) == pytest.approx(middle, abs=off)


@pytest.mark.parametrize("box", ["lockhouse", "gatepost", "weirside", "mooring"])
def test_the_wires_of_feeds_are_to_scale(heron: Scene, box: str) -> None:
    # Source: heron-lock.toml: the lengths of taps added up from the supply, through the feed that one branches off.
    show = heron[0].show
    drawn = Drawn(cable_chart(*heron, box))
    axis = Axis(drawn)
    mine = set(stretched(heron, box))
    ends: dict[str, list[float]] = {}
    for feed in show.feeds.values():
        at = 0.0 if feed.source is None else ends[feed.source][feed.tap - 1]
        ends[feed.name] = []
        for tap in feed.taps:
            pitch = show.pixel_types[show.runs[tap.run].pixel].pitch
            at += tap.length
            if tap.every is not None:
                at += (show.runs[tap.run].pixels - 1) * pitch
            ends[feed.name].append(at)
    lanes = {
        element.get("data-feed"): element for element in drawn.root.iter(f"{SPACE}g") if element.get("class") == "feed"
    }
    wanted = {feed.name for feed in show.feeds.values() if any(tap.run in mine for tap in feed.taps)}
    assert lanes.keys() == wanted
    for feed, lane in lanes.items():
        (wire,) = [path for path in lane.iter(f"{SPACE}path") if path.get("class") == "wire"]
        begin, end = (axis.metres(x) for x in across(wire))
        source = show.feeds[feed].source
        assert begin == pytest.approx(0.0 if source is None else ends[source][show.feeds[feed].tap - 1], abs=0.01)
        assert end == pytest.approx(ends[feed][-1], abs=0.01)
    words = drawn.said()
    for feed in lanes:
        fuse = show.feeds[feed].fuse
        assert feed in words
        assert fuse is None or f"fuse {fuse:g} A" in words
    for name in {show.feeds[feed].supply for feed in lanes} - {None}:
        supply = show.supplies[name]
        assert f"{name} · {supply.volts:g} V, {supply.amps:g} A" in words


@examples(15, 25)
@given(SHOW_SEEDS, WIDE)
def test_a_chart_has_every_run_end_edge_and_tap_of_its_box(seed: int, wide: float) -> None:
    # Source: the show file's tables and the patch's starts, read pixel by pixel.
    found = at_random(seed, most=5)
    show = found[0].show
    for box in show.controllers:
        drawn = Drawn(cable_chart(*found, box, wide=wide))
        if "lines of the chart" in drawn.said():
            continue
        mine = {run for run in show.runs if found[0].ports[run][0] == box and show.runs[run].hung}
        mine = {run for run in mine if found[0].source(run) == run or show.runs[found[0].source(run)].hung}
        assert {run for run, _ in drawn.data("run", "end")} == mine
        assert sorted(drawn.data("run", "end")) == sorted((run, end) for run in mine for end in ("first", "last"))
        edges = {edge for run in mine for edge in edges_of(found, run)}
        assert set(drawn.data("run", "pixel", "universe")) == edges
        assert sorted(drawn.data("feed", "run", "pixel")) == sorted(joints_of(found, mine).elements())
        shown = {
            element.get("data-run"): element.get("data-joint")
            for element in drawn.root.iter()
            if element.get("data-joint")
        }
        assert set(shown) >= {run for _, run, _ in joints_of(found, mine)}


def test_what_has_no_pitch_is_said_not_to_be_to_scale() -> None:
    # Common practice, no source: a chart says what of it is not true.
    words = Drawn(cable_chart(*one_box({"a": {"pixels": 9}}), "box")).said()
    assert "Not to scale: no pitch in the file: a" in words


def test_more_ports_than_a_page_holds_are_counted() -> None:
    # Common practice, no source: what is left out is said.
    runs = {f"run-{number}": {"pixels": 9} for number in range(90)}
    ports = {str(number): [name] for number, name in enumerate(runs, start=1)}
    drawn = Drawn(cable_chart(*one_box(runs, {"pitch": 0.1}, box={"ports": 90, "port": ports}), "box"))
    shown = {run for run, _ in drawn.data("run", "end")}
    assert 30 < len(shown) < 90
    assert f"{90 - len(shown)} lines of the chart" in drawn.said()


WORDS = st.lists(st.tuples(st.floats(12, 170), st.text("abcmW 1", min_size=1, max_size=20), st.booleans()), max_size=14)


@examples(25, 60)
@given(WORDS, st.integers(1, 20), st.lists(st.floats(10, 179), max_size=4))
def test_stairs_never_cover_a_label_or_a_leader(labels: list, most: int, blocked: list[float]) -> None:
    # Source: rectangles and uprights compared one by one.
    given_ = [LabelWords(at, text, "kind", "of", 2.5, bold) for at, text, bold in labels]
    steps, lost = stairs(given_, 9.5, 179.5, most, blocked)
    assert len(steps) + len(lost) == len(given_)
    for one, two in itertools.combinations(steps, 2):
        ends = [(step.left, step.left + step.words.wide) for step in (one, two)]
        if one.row == two.row:
            assert ends[0][1] <= ends[1][0] or ends[1][1] <= ends[0][0]
        for high, low in ((one, two), (two, one)):
            if high.row > low.row:
                assert not low.left < high.words.at < low.left + low.words.wide
    for step in steps:
        assert 0 <= step.row < most
        assert step.left >= 9.5
        assert step.left + step.words.wide <= 179.5 + 1e-9
        assert not any(step.left < upright < step.left + step.words.wide for upright in blocked)


@pytest.mark.parametrize(
    ("labels", "most", "rows", "lost"),
    [
        # By hand, letters of one width: what does not fit gives way to a name, wherever it stands
        ([(49, 6, True), (50, 5, False)], 1, 1, ["m" * 5]),
        ([(60, 5, True), (44, 5, False), (31, 5, True)], 1, 1, ["m" * 5]),
        # Side by side, where one over the other would leave out none either
        ([(53, 6, True), (54, 6, False)], 4, 1, []),
        ([(56, 6, False), (32, 3, True), (34, 6, True)], 4, 2, []),
    ],
)
def test_stairs_keep_names_first_and_then_take_the_fewest_rows(labels: list, most: int, rows: int, lost: list) -> None:
    given_ = [LabelWords(at, "m" * letters, "kind", "of", 2.5, bold) for at, letters, bold in labels]
    steps, left_out = stairs(given_, 9.5, 70.0, most)
    assert [(words.text, words.bold) for words in left_out] == [(text, False) for text in lost]
    assert max(step.row for step in steps) + 1 == rows


# --- the universe map ---------------------------------------------------------------------------------------------


def channels(found: Scene) -> dict[int, dict[int, tuple[str, int | None]]]:
    """Who sits on each channel of each universe: run and pixel, no pixel for nulls; laid one by one."""
    taken: dict[int, dict[int, tuple[str, int | None]]] = {}
    for start in found[1].starts:
        at = (start.universe - 1) * 512 + start.channel - 1
        for link in start.chain.links:
            for number in range(-link.nulls + 1, link.pixels + 1):
                if at % 512 + link.channels > 512:
                    at += 512 - at % 512
                for channel in range(link.channels):
                    who = (link.run, number if number > 0 else None)
                    taken.setdefault(at // 512 + 1, {})[at % 512 + 1 + channel] = who
                at += link.channels
    return taken


def check_frame(bar: ElementTree.Element) -> None:
    """Nothing of a bar lies outside its frame."""
    edges = np.array([[float(rect.get("x")), float(rect.get("width"))] for rect in bar.iter(f"{SPACE}rect")])
    frame = edges[np.argmax(edges[:, 1])]
    assert (edges[:, 0] >= frame[0] - 0.01).all()
    assert (edges.sum(axis=1) <= frame.sum() + 0.02).all()


@examples(15, 25)
@given(SHOW_SEEDS, WIDE)
def test_every_channel_of_the_map(seed: int, wide: float) -> None:
    # Source: every pixel laid on its channels, one by one.
    found = at_random(seed)
    told: dict[int, dict[int, tuple[str, int | None]]] = {}
    empty: dict[int, set[int]] = {}
    for page in universe_bars(found[0], found[1], wide=wide):
        drawn = Drawn(page)
        for bar in drawn.root.iter(f"{SPACE}g"):
            if (universe := bar.get("data-universe")) is None:
                continue
            check_frame(bar)
            for seat in bar.iter():
                first, last = seat.get("data-first"), seat.get("data-last")
                if first is None:
                    continue
                span = range(int(first), int(last) + 1)
                if seat.get("class") == "free":
                    empty.setdefault(int(universe), set()).update(span)
                    continue
                pixels = [int(each) for each in (seat.get("data-pixels") or "").split("-") if each]
                each = len(span) // (pixels[1] - pixels[0] + 1) if pixels else 1
                for place_, channel in enumerate(span):
                    who = (seat.get("data-run"), pixels[0] + place_ // each if pixels else None)
                    told.setdefault(int(universe), {})[channel] = who
    assert told == channels(found)
    for universe, taken in told.items():
        assert empty.get(universe, set()) == set(range(1, 513)) - taken.keys()


def test_a_bar_is_to_scale(heron: Scene) -> None:
    # Source: 512 channels make a universe; heron-lock's windows have 52 pixels of three channels each.
    (page,) = universe_bars(heron[0], heron[1])
    drawn = Drawn(page)
    (bar,) = [each for each in drawn.root.iter(f"{SPACE}g") if each.get("data-universe") == "2"]
    rects = list(bar.iter(f"{SPACE}rect"))
    whole = max(float(rect.get("width")) for rect in rects)
    left = min(float(rect.get("x")) for rect in rects)
    windows = [each for each in bar.iter(f"{SPACE}g") if each.get("data-run")]
    for place_, window in enumerate(windows):
        rect = next(window.iter(f"{SPACE}rect"))
        assert float(rect.get("width")) / whole == pytest.approx(156 / 512, abs=0.001)
        assert (float(rect.get("x")) - left) / whole == pytest.approx(place_ * 156 / 512, abs=0.001)
    assert [window.get("data-run") for window in windows] == ["window-left", "window-right"]
    assert "200 free: 313–512" in drawn.said()


@examples(15, 50)
@given(SHOW_SEEDS, WIDE)
def test_words_below_a_bar_stand_under_their_channels(seed: int, wide: float) -> None:
    # Source: found by a reader: "481–512 free" stood at the left below a bar, and the free part was at its right
    found = at_random(seed) if seed % 4 else shipped()
    for page in universe_bars(found[0], found[1], wide=wide):
        for bar in Drawn(page).root.iter(f"{SPACE}g"):
            if bar.get("data-universe") is None:
                continue
            frame = max(bar.iter(f"{SPACE}rect"), key=lambda rect: float(rect.get("width")))
            left, whole = float(frame.get("x")), float(frame.get("width"))
            taken: dict[str, list[tuple[float, float]]] = {}
            for text in (text for text in bar.iter(f"{SPACE}text") if text.get("class") == "says"):
                words = text.text or ""
                if text.get("data-from") is None:
                    assert " free" not in words  # a list at the left
                    continue
                first, last = int(text.get("data-from")), int(text.get("data-to"))
                assert re.match(rf"{first}(–{last})? ", words)
                size = long(words, float(text.get("font-size")))
                begin = float(text.get("x")) - {"start": 0.0, "middle": size / 2, "end": size}[text.get("text-anchor")]
                from_, to = (left + whole * at / 512 for at in (first - 1, last))
                assert begin - 0.1 <= (from_ + to) / 2 <= begin + size + 0.1
                assert left - 0.1 <= begin
                assert begin + size <= left + whole + 0.1
                assert all(begin >= end or begin + size <= start for start, end in taken.get(text.get("y"), []))
                taken.setdefault(text.get("y"), []).append((begin, begin + size))


def test_a_page_is_no_higher_than_asked() -> None:
    # Common practice, no source: a page is cut between universes.
    found = shipped("village.toml")
    pages = universe_bars(found[0], found[1], high=200.0)
    universes = [universe for page in pages for (universe,) in Drawn(page).data("universe")]
    assert max(Drawn(page).high for page in pages) <= 200
    assert universes == sorted(set(universes), key=int)
    assert len(universes) == found[1].universe_count
    assert "page 2 of" in Drawn(pages[1]).root.find(f"{SPACE}title").text


def test_channels_given_twice_are_said(heron: Scene) -> None:
    # Source: the design: no channel is given twice.
    links = [(Link(1, "gable", 10), 1), (Link(1, "eaves", 10), 16)]
    starts = [Start(Chain("lockhouse", None, link.run, (link,)), 1, channel) for link, channel in links]
    patch = Patch(tuple(starts))
    (page,) = universe_bars(heron[0], patch)
    assert "16–30 used twice" in Drawn(page).said()
    assert twice(seats(patch)[1]) == [(16, 30)]
    assert free(seats(patch)[1]) == [(46, 512)]


def test_looks_are_the_boxes_own(heron: Scene) -> None:
    # Source: WCAG 2.2, 1.4.1: colour is not the only visual means; the key names each look once.
    (page,) = universe_bars(heron[0], heron[1])
    drawn = Drawn(page)
    for number, box in enumerate(("lockhouse", "gatepost", "weirside", "mooring")):
        seat = next(each for each in drawn.root.iter(f"{SPACE}g") if each.get("data-box") == box)
        line, thread = list(seat.iter(f"{SPACE}path"))[:2]
        assert line.get("stroke") == look(number).colour
        assert thread.get("stroke-dasharray", "none") == look(number).dash
        assert [text.text for text in drawn.texts() if text.get("class") == "key"].count(f"box {box}") == 1
