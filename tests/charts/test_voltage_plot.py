"""The picture of voltage: what a reader of the document reads off it is what went in."""

import math
import re
import time
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from rich.cells import cell_len

from patcher.charts.voltage_plot import svg, terminal
from patcher.drawing.voltage_profile import Profile
from rig.examples import examples

SPACE = "{http://www.w3.org/2000/svg}"

# Source: Okabe and Ito, "Color Universal Design" (2002), the set's eight colours. From memory: the hex values.
COLOUR_BLIND_SAFE = {"#000000", "#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7"}


@st.composite
def profiles(draw, most: int = 1500, fed: bool = False) -> Profile:
    """Any run: noise, jumps, unfed pixels, taps and cuts anywhere."""
    number = draw(st.integers(1, most))
    noise = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    volts = draw(st.floats(0.5, 14)) + noise.normal(0, draw(st.sampled_from([0.0, 0.01, 0.5])), number)
    volts = np.abs(volts)
    if not fed:
        for first in draw(st.lists(st.integers(0, number - 1), max_size=4)):
            volts[first : first + draw(st.integers(1, 40))] = np.nan
    pixels = st.lists(st.integers(1, number), max_size=6)
    taps = tuple((pixel, draw(st.sampled_from(["north", "south", "east"]))) for pixel in draw(pixels))
    cuts = tuple(pixel for pixel in draw(pixels) if pixel > 1)
    least = draw(st.none() | st.floats(1, 12))
    return Profile("towpath", volts, draw(st.sampled_from([5.0, 12.0, 24.0])), least, taps, cuts)


def run_of(*volts: float, least: float | None = 10.0, rated: float = 12.0, taps=(), cuts=()) -> Profile:
    return Profile("towpath", np.array(volts), rated, least, tuple(taps), tuple(cuts))


class Read:
    """A panel as a reader with a ruler reads it: the scales come from the ticks and numbers in the document alone."""

    def __init__(self, document: str) -> None:
        self.root = ElementTree.fromstring(document)
        self.panel = self.root.find(f".//{SPACE}g[@class='panel']")
        ticks = [float(re.search(r",([\d.]+)H", path.get("d"))[1]) for path in self.all("path", "volt")]
        labels = [float(text.text.removesuffix(" V")) for text in self.all("text", "volts")]
        assert len(ticks) == len(labels) >= 2
        self.unit = (labels[-1] - labels[0]) / (ticks[-1] - ticks[0])
        self.foot = ticks[0], labels[0]
        for tick, label in zip(ticks, labels, strict=True):
            assert self.volts(tick) == pytest.approx(label, abs=abs(self.unit) * 0.02)
        numbers = [(float(text.get("x")), int(text.text)) for text in self.all("text", "pixel")]
        (self.left, self.first), (right, last) = numbers[0], numbers[-1]
        self.step = (last - self.first) / (right - self.left) if last > self.first else 0.0

    def all(self, tag: str, kind: str) -> list[ElementTree.Element]:
        return self.panel.findall(f".//{SPACE}{tag}[@class='{kind}']")

    def volts(self, y: float) -> float:
        return self.foot[1] + (y - self.foot[0]) * self.unit

    def pixel(self, x: float) -> float:
        return self.first + (x - self.left) * self.step

    def points(self, text: str) -> list[tuple[float, float]]:
        pairs = [pair.split(",") for pair in text.split()]
        return [(self.pixel(float(x)), self.volts(float(y))) for x, y in pairs]

    def curves(self) -> list[list[tuple[float, float]]]:
        return [self.points(line.get("points")) for line in self.all("polyline", "curve")]


# --- SVG: the line and its scale ----------------------------------------------------------------------------------


@examples(25, 60)
@given(profiles())
def test_the_line_read_off_the_ticks_is_the_voltage(profile: Profile) -> None:
    # Source: arithmetic; the scale is read from the document's own ticks, to a fiftieth of a unit of the drawing.
    read = Read(svg("t", [profile]))
    fed = np.flatnonzero(~np.isnan(profile.volts)) + 1
    seen = set()
    for line in read.curves():
        pixels = [round(pixel) for pixel, _ in line]
        for pixel, (_, volts) in zip(pixels, line, strict=True):
            assert volts == pytest.approx(profile.volts[pixel - 1], abs=abs(read.unit) * 0.02)
        between = range(min(pixels), max(pixels) + 1)
        assert pixels == sorted(pixels)
        assert not np.isnan(profile.volts[between.start - 1 : between.stop - 1]).any()
        assert not any(pixels[0] < cut <= pixels[-1] for cut in profile.cuts)
        assert not seen & set(between)
        seen |= set(between)
    assert seen == set(fed.tolist())


@examples(25, 60)
@given(profiles(most=6000), st.data())
def test_thinning_keeps_the_lowest_and_the_highest(profile: Profile, data: st.DataObject) -> None:
    # Source: arithmetic; the least of what is drawn against numpy's least of all.
    dip = data.draw(st.integers(0, len(profile.volts) - 1))
    profile.volts[dip] = data.draw(st.sampled_from([0.25, 30.0]))
    read = Read(svg("t", [profile]))
    lines = read.curves()
    drawn = [volts for line in lines for _, volts in line]
    close = abs(read.unit) * 0.02
    assert min(drawn) == pytest.approx(np.nanmin(profile.volts), abs=close)
    assert max(drawn) == pytest.approx(np.nanmax(profile.volts), abs=close)
    assert len(drawn) <= 602 + 4 * len(lines)


@examples(25, 60)
@given(profiles(fed=True))
def test_the_scale_is_honest(profile: Profile) -> None:
    # Common practice, no source: a cut-off axis is fair where it spans enough that noise does not look like a fall.
    read = Read(svg("t", [profile]))
    known = [profile.rated, float(profile.volts.min()), float(profile.volts.max()), *filter(None, [profile.least])]
    heights = [float(y) for path in read.all("path", "volt") for y in re.findall(r",([\d.]+)H", path.get("d"))]
    plot = 104 * abs(read.unit)
    assert plot >= max(known) / 10
    assert max(known) - min(known) <= plot <= 1.5 * max(max(known) - min(known), max(known) / 10)
    assert read.volts(max(heights)) >= -1e-6


def test_no_tick_is_below_zero() -> None:
    # Source: arithmetic; a run that is nearly dead has room under it, but no voltage there.
    for profile in (run_of(12.0, 0.3), run_of(0.0), run_of(23.0, 0.0, rated=23.0)):
        assert all(float(text.text.removesuffix(" V")) >= 0 for text in Read(svg("t", [profile])).all("text", "volts"))


@examples(25, 60)
@given(profiles())
def test_the_lowest_point_is_marked_and_named(profile: Profile) -> None:
    # Source: arithmetic; numpy's least against the ring's place and the words.
    read = Read(svg("t", [profile]))
    rings, labels = read.all("circle", "lowest"), read.all("text", "lowest")
    if np.isnan(profile.volts).all():
        assert rings == labels == []
        assert "not fed: none" in read.all("text", "says")[0].text
        return
    ((ring,), (label,)) = rings, labels
    pixel = int(np.nanargmin(profile.volts)) + 1
    assert round(read.pixel(float(ring.get("cx")))) == pixel
    volts = profile.volts[pixel - 1]
    assert read.volts(float(ring.get("cy"))) == pytest.approx(volts, abs=abs(read.unit) * 0.02)
    said = re.fullmatch(r"([\d.]+) V at pixel (\d+)", label.text)
    assert float(said[1]) == pytest.approx(volts, abs=0.0051)
    assert int(said[2]) == pixel
    if profile.least is not None:
        assert (float(said[1]) < profile.least) == (volts < profile.least)


def shortfall(profile: Profile) -> float:
    """Volts times pixels that the line lies below the limit, by the trapezia between neighbours."""
    total = 0.0
    lacks = profile.least - profile.volts
    for place, (lack, then) in enumerate(pairwise(lacks), 2):
        if place in profile.cuts or math.isnan(lack) or math.isnan(then) or max(lack, then) <= 0:
            continue
        total += (lack + then) / 2 if min(lack, then) >= 0 else max(lack, then) ** 2 / 2 / abs(lack - then)
    return total


@examples(25, 60)
@given(profiles(most=300))
def test_what_is_hatched_is_what_lies_below_the_limit(profile: Profile) -> None:
    # Source: arithmetic; the polygons' area by the shoelace formula, the shortfall by trapezia.
    assume(profile.least is not None)
    read = Read(svg("t", [profile]))
    outlines = [path.get("d").split("Z") for path in read.all("path", "below")]
    polygons = [read.points(part.removeprefix("M")) for parts in outlines for part in parts if part]
    assert bool(polygons) == bool((profile.volts < profile.least).any())
    area = 0.0
    for points in polygons:
        turned = points[1:] + points[:1]
        area += abs(sum(x * then_y - then_x * y for (x, y), (then_x, then_y) in zip(points, turned, strict=True))) / 2
        assert all(volts <= profile.least + abs(read.unit) * 0.02 for _, volts in points)
    assert area == pytest.approx(shortfall(profile), abs=abs(read.unit) * 0.03 * len(profile.volts))
    (limit,) = read.all("path", "limit")
    assert limit.get("stroke-dasharray")
    at = float(re.search(r",([\d.]+)H", limit.get("d"))[1])
    assert read.volts(at) == pytest.approx(profile.least, abs=abs(read.unit) * 0.02)
    (label,) = read.all("text", "least")
    assert float(re.fullmatch(r"needs ([\d.]+) V", "".join(label.itertext()))[1]) == profile.least


# --- SVG: taps, cuts, words ---------------------------------------------------------------------------------------


@examples(25, 60)
@given(profiles(most=200))
def test_each_tap_and_each_cut_is_marked_once_at_its_place(profile: Profile) -> None:
    # Source: arithmetic; a cut before pixel p lies half way between p − 1 and p.
    read = Read(svg("t", [profile]))
    marks = [float(re.match(r"M([\d.]+),", mark.get("d"))[1]) for mark in read.all("path", "tap")]
    if len(profile.volts) > 1:
        assert [round(read.pixel(x)) for x in marks] == sorted(pixel for pixel, _ in set(profile.taps))
    named = [text.text for text in read.all("text", "feed")]
    assert len(named) == len(read.all("path", "key")) == len({feed for _, feed in profile.taps})
    for feed in {feed for _, feed in profile.taps}:
        (line,) = [line for line in named if f"{feed}:" in line]
        pixels = {pixel for pixel, name in profile.taps if name == feed}
        if "…" not in line:
            assert {int(number) for number in re.findall(r"\d+", line.split(":")[1])} == pixels
    cuts = [cut.findall(f"{SPACE}path")[-1].get("d") for cut in read.all("g", "cut")]
    places = [read.pixel(float(re.match(r"M([\d.]+),", path)[1])) for path in cuts]
    assert places == pytest.approx([cut - 0.5 for cut in sorted(set(profile.cuts))], abs=0.05)
    said = " ".join(text.text for text in read.all("text", "cuts"))
    assert said.startswith("V+ is cut before pixel") == bool(profile.cuts)
    if "…" not in said:
        assert {int(number) for number in re.findall(r"\d+", said)} == set(profile.cuts)


@pytest.mark.parametrize(
    ("pixels", "says"),
    [
        ((7,), "towpath-wire: pixel 7"),
        ((1, 250, 500), "towpath-wire: pixels 1, 250 and 500"),
        (range(1, 500, 50), "towpath-wire: pixels 1, 51, 101 … 451 (every 50)"),
        ((*range(1, 500, 50), 500), "towpath-wire: pixels 1, 51, 101 … 451 (every 50) and 500"),
        ((1, 2, 4, 8, 16, 32, 64, 128, 256, 400), "towpath-wire: pixels 1, 2, 4, 8, 16, 32, 64 and 3 more"),
    ],
)
def test_taps_are_named_in_short(pixels, says: str) -> None:
    # Common practice, no source: a long list of evenly spaced taps is read as a spacing.
    profile = run_of(*[11.0] * 500, taps=[(pixel, "towpath-wire") for pixel in pixels])
    assert " ".join(text.text for text in Read(svg("t", [profile])).all("text", "feed")) == says


def test_pixels_that_are_not_fed_are_said_and_not_drawn() -> None:
    # Common practice, no source: what has no voltage has no line.
    nan = math.nan
    read = Read(svg("t", [run_of(11.0, nan, nan, 11.5, nan)]))
    assert [text.text for text in read.all("text", "says")] == [
        "lowest 11 V at pixel 1 of 5; needs 10 V: OK",
        "not fed: pixels 2–3, 5",
    ]
    frames = [(float(frame.get("x")), float(frame.get("width"))) for frame in read.all("rect", "unfed")]
    reach = [(read.pixel(x), read.pixel(x + wide)) for x, wide in frames]
    assert [end for pair in reach for end in pair] == pytest.approx([1.5, 3.5, 4.5, 5.0], abs=0.02)
    assert len(read.all("path", "dead")) == 2
    assert [round(line[0][0]) for line in read.curves()] == [1, 4]
    assert all(len(line) == 2 for line in read.curves()), "one pixel alone is a dot, which takes two points"


@pytest.mark.parametrize(
    ("profile", "says"),
    [
        (run_of(11.9, 10.62), "lowest 10.62 V at pixel 2 of 2; needs 10 V: OK"),
        (run_of(11.9, 10.0), "lowest 10 V at pixel 2 of 2; needs 10 V: OK"),
        (run_of(8.9, 11.9, 9.0), "lowest 8.9 V at pixel 1 of 3; needs 10 V: too low at 2 pixels"),
        (run_of(9.9996), "lowest 9.9996 V at pixel 1 of 1; needs 10 V: too low at 1 pixel"),
        (run_of(10.0049, least=10.0041), "lowest 10.005 V at pixel 1 of 1; needs 10.0041 V: OK"),
        (run_of(11.9, 10.62, least=None), "lowest 10.62 V at pixel 2 of 2; min_volts not given"),
    ],
)
def test_the_words_under_both_pictures(profile: Profile, says: str) -> None:
    # Source: arithmetic; rounding never puts a voltage on the other side of its limit.
    read = Read(svg("t", [profile]))
    assert " ".join(text.text for text in read.all("text", "says")) == says
    assert " ".join(terminal(profile, 120)).endswith(says)


# --- SVG: the document --------------------------------------------------------------------------------------------


@examples(25, 60)
@given(st.text(max_size=60), st.text(max_size=60), st.text(max_size=20))
def test_any_text_is_text(title: str, name: str, feed: str) -> None:
    # Source: XML 1.0, 2.2 (characters) and 2.4 (markup): what parses as XML has no markup of a name's making.
    profile = Profile(name, np.array([11.0, 10.5]), 12.0, 10.0, ((1, feed),))
    plain = Read(svg("t", [run_of(11.0, 10.5, taps=[(1, "f")])]))
    read = Read(svg(title, [profile]))
    lines = {text.get("class") for text in read.root.iter(f"{SPACE}text")}
    assert lines <= {text.get("class") for text in plain.root.iter(f"{SPACE}text")}
    assert {element.tag for element in read.root.iter()} <= {element.tag for element in plain.root.iter()}


def test_markup_in_names_is_shown_as_it_is_written() -> None:
    # Source: XML 1.0, 2.4: < and & are escaped in text.
    name = "<script>alert('a&b')</script>"
    profile = Profile(name, np.array([11.0]), 12.0, 10.0, ((1, name),))
    document = svg(name, [profile])
    assert "<script" not in document
    read = Read(document)
    assert read.root.find(f"{SPACE}title").text == name
    assert [text.text for text in read.all("text", "run")] == [name]
    assert [text.text for text in read.all("text", "feed")] == [f"{name}: pixel 1"]
    assert name in terminal(profile, 80)


def test_the_document_needs_nothing_from_outside() -> None:
    # Source: SVG 2, 2.7 (external references): no link, and each url() names a part of this document.
    profile = run_of(11.0, 9.0, 8.0, taps=[(1, "f")], cuts=[3])
    root = ElementTree.fromstring(svg("t", [profile, profile]))
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    for element in root.iter():
        assert element.tag.removeprefix(SPACE) not in {"script", "style", "image", "use", "a", "foreignObject"}
        for key, value in element.attrib.items():
            assert not key.startswith("on")
            assert "href" not in key
            assert all(target in ids for target in re.findall(r"url\(#(.*?)\)", value))
            assert re.sub(r"url\(#.*?\)", "", value).find("url") < 0
    assert root.get("font-family") == "sans-serif"


def contrast(colour: str, other: str = "#ffffff") -> float:
    """The contrast ratio of two colours. Source: W3C, WCAG 2.2, definitions of relative luminance and contrast."""

    def luminance(colour: str) -> float:
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))

    light, dark = sorted([luminance(colour), luminance(other)], reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_and_sizes() -> None:
    # Source: W3C, WCAG 2.2, 1.4.3 (4.5 : 1 for text) and 1.4.11 (3 : 1 for what a picture is read by); from memory.
    profile = run_of(11.0, 9.0, 8.0, math.nan, taps=[(1, "f"), (2, "g")], cuts=[3])
    root = ElementTree.fromstring(svg("t", [profile]))
    assert root.find(f"{SPACE}rect").get("fill") == "#ffffff"
    assert contrast("#000000") == pytest.approx(21)
    for text in root.iter(f"{SPACE}text"):
        assert contrast(text.get("fill") or root.get("fill")) >= 4.5
        # Source: 150 mm is 425.2 pt (1 pt = 1/72 in); nothing under 7 pt on paper.
        width = float(root.get("viewBox").split()[2])
        assert float(text.get("font-size") or root.get("font-size")) * 425.2 / width >= 7
    used = {element.get(key) for element in root.iter() for key in ("stroke", "fill")}
    used -= {None, "none", "#ffffff", "url(#volts-below)"}
    assert used <= COLOUR_BLIND_SAFE
    assert all(contrast(colour) >= 3 for colour in used)


@pytest.mark.long
def test_a_hundred_thousand_pixels_over_500_runs() -> None:
    # Common practice, no source: a sheet is made while a person waits; the bounds are the plan's own.
    noise = np.random.default_rng(1)
    feeds = ((1, "a"), (100, "a"), (200, "b"))
    runs = [Profile(f"run-{k}", 10 + noise.normal(0, 0.3, 200), 12.0, 10.0, feeds) for k in range(500)]
    began = time.process_time()
    document = svg("all", runs)
    assert time.process_time() - began < 3
    assert len(document.encode()) < 5_000_000
    panels = ElementTree.fromstring(document).findall(f"{SPACE}g")
    tops = [float(re.search(r",([\d.]+)\)", panel.get("transform"))[1]) for panel in panels]
    assert len(tops) == 500
    assert min(np.diff(tops)) > 150, "panels stand under one another"


# --- terminal -----------------------------------------------------------------------------------------------------


@examples(25, 60)
@given(profiles(), st.integers(40, 200), st.integers(3, 20), st.text(max_size=80), st.text(max_size=30))
def test_lines_are_never_wider_than_asked(profile: Profile, width: int, height: int, name: str, feed: str) -> None:
    # Source: rich's cell_len, which follows Unicode's East Asian Width.
    taps = (*profile.taps, (1, feed))
    renamed = Profile(name, profile.volts, profile.rated, profile.least, taps, profile.cuts)
    lines = terminal(renamed, width, height)
    assert max(map(cell_len, lines)) <= width
    assert not any(letter < " " or "\x7f" <= letter < "\xa0" for line in lines for letter in line)


@pytest.mark.parametrize("width", [40, 41, 77])
def test_letters_two_columns_wide(width: int) -> None:
    # Source: Unicode, East Asian Width: such a letter is W, two columns.
    name = "灯" * (width // 2 + 1)
    lines = terminal(Profile(name, np.array([11.0, 10.5]), 12.0, 10.0, ((1, name),)), width)
    assert max(map(cell_len, lines)) <= width
    assert lines[0] == "灯" * ((width - 1) // 2) + "…"
    assert sum(line.count("灯") for line in lines[1:]) == len(name)


@pytest.mark.parametrize("width", [40, 57, 80, 120])
@pytest.mark.parametrize(("volts", "label"), [(11.0, "11 V"), (10.0, "needs 10 V"), (12.0, "12 V")])
@pytest.mark.parametrize("pixel", [1, 2, 77, 250, 499, 500])
def test_the_mark_of_the_lowest_point_stands_over_its_pixel(width: int, volts: float, label: str, pixel: int) -> None:
    # Source: arithmetic; a voltage that has a label stands in that label's row, a tap's pixel in that tap's column.
    flat = np.full(500, volts + 0.5)
    flat[pixel - 1] = volts
    lines = terminal(Profile("towpath", flat, 12.0, 10.0, ((pixel, "f"),)), width)
    (row,) = [line for line in lines if "●" in line]
    assert row.split("┤")[0].strip() == label
    (under,) = [line for line in lines if "▲" in line]
    assert row.index("●") == under.index("▲")
    axis = next(line for line in lines if "└" in line)
    left = axis.index("└") + 1
    inside = (row.index("●") - left + 0.5) / (width - left)
    assert inside == pytest.approx((pixel - 1) / 499, abs=0.5 / (width - left) + 0.01)


@examples(25, 60)
@given(profiles(most=500), st.integers(40, 140))
def test_each_pixel_has_a_dot_at_its_volts(profile: Profile, width: int) -> None:
    # Source: arithmetic; rows are read off the labels, of which each is true to half a row.
    assume(len(profile.volts) > 1)
    lines = terminal(profile, width, 24)
    labels = [(row, re.search(r"([\d.]+) V ┤", line)) for row, line in enumerate(lines[1:25])]
    known = [(row, float(label[1])) for row, label in labels if label]
    (high, most), (low, least) = known[0], known[-1]
    assume(low - high >= 6)
    left = lines[25].index("└") + 1
    inked = [{x for x, sign in enumerate(line) if sign == "●" or "\u2801" <= sign <= "\u28ff"} for line in lines[1:25]]
    for place in np.flatnonzero(~np.isnan(profile.volts)).tolist():
        volts = float(profile.volts[place])
        column = left + place / (len(profile.volts) - 1) * (width - left - 1)
        near = {math.floor(column), math.ceil(column)}
        row = high + (most - volts) / (most - least) * (low - high)
        about = range(max(math.ceil(row - 2.2), 0), min(math.floor(row + 2.2), 23) + 1)
        assert any(near & inked[one] for one in about)
    # Source: Unicode, Braille Patterns: U+2800 is blank; a column of blanks has no line.
    if not profile.cuts and not np.isnan(profile.volts).any():
        assert set().union(*inked) == set(range(left, width)), "the line is unbroken where the run is"


def test_the_dots_of_a_braille_cell() -> None:
    # Source: Unicode, Braille Patterns: dots 1, 2, 3, 7 down the left column, 4, 5, 6, 8 down the right one, bits 0–7.
    lines = terminal(run_of(*np.linspace(12, 10, 500), least=None), 110, 24)
    left = lines[25].index("└") + 1
    bits = [(0, 1, 2, 6), (3, 4, 5, 7)]
    heights = []
    for x in range(left, 109):
        column = [ord(line[x]) if x < len(line) and "\u2800" <= line[x] <= "\u28ff" else 0x2800 for line in lines[1:25]]
        for side in bits:
            lit = [4 * y + down for y, sign in enumerate(column) for down, bit in enumerate(side) if sign >> bit & 1]
            heights.append(sum(lit) / len(lit))
    assert heights == sorted(heights)
    slope = (heights[-1] - heights[0]) / (len(heights) - 1)
    assert heights == pytest.approx([heights[0] + slope * at for at in range(len(heights))], abs=1.01)


def test_a_small_picture_in_text() -> None:
    # Common practice, no source: drawn by hand on squared paper from the volts 12, 11, 10, 9 of four pixels.
    lines = terminal(run_of(12.0, 11.0, 10.0, 9.0, taps=[(1, "gate-wire"), (4, "far-wire")], cuts=[3]), 40, 8)
    assert lines[0] == "towpath"
    axis = next(line for line in lines if "└" in line)
    assert axis.index(" ", axis.index("└")) == axis.index("└") + 1 + 28 // 2, "V+ is cut half way"
    assert [line for line in lines if "▲" in line] == [" " * 12 + "▲" + " " * 26 + "▲"]
    assert [line for line in lines if "gate-wire" in line] == [" " * 12 + "gate-wire" + " " * 11 + "far-wire"]
    assert lines[-3:] == [
        "lowest 9 V at pixel 4 of 4; needs 10 V:",
        "too low at 1 pixel",
        "V+ is cut before pixel 3",
    ]
    assert "╌╌" in next(line for line in lines if "needs 10 V ┤" in line)


def test_a_feed_whose_name_does_not_fit_is_named_below() -> None:
    # Common practice, no source: a mark that is drawn is named.
    lines = terminal(run_of(*[11.0] * 90, taps=[(40, "a" * 30), (41, "short"), (42, "short")]), 60)
    assert "▲ short: pixels 41 and 42" in lines
