"""The five rules of the patch, held by a second program that lays every pixel one by one.

The oracle below is written from the design and shares no code with the patch: it walks the show's tables as a person
would with a pencil, pixel after pixel, and keeps a table of who has which channel.
"""

import re
from copy import deepcopy
from itertools import pairwise

import pytest
import tomli_w
from hypothesis import assume, example, given
from hypothesis import strategies as st

from patcher.errors import Finding, PatcherError
from patcher.patch.patch_file import dump, parse
from patcher.patch.rules import PIN_OUT, breaches
from patcher.patch.thing import find, spans_of
from patcher.placement.allocation import allocate
from patcher.show.parser import read
from patcher.wiring import problems, wire
from rig.by_hand import by_hand, starts, typed_in
from rig.examples import examples
from rig.patch_pencil import ORDERS, Address, Lamp, allocated, laid_by_pencil, pencil_lay, pencil_starts, shows
from rig.shipped import wired

LAST = {"e131": 63_999, "artnet": 32_767}  # Source: ANSI E1.31-2018, 6.2.7; Art-Net 4, 15-bit Port-Address


# --- the oracle ---------------------------------------------------------------------------------------------------


def next_place(laid: list[tuple[Address, Lamp]]) -> Address:
    """The channel right behind the last pixel."""
    (universe, channel), lamp = laid[-1]
    channel += lamp.width
    return (universe, channel) if channel <= 512 else (universe + 1, 1)


def pencil_placement(tables: dict) -> list[Address]:
    """Where each start falls in placement fresh and follow, when nothing is pinned."""
    show = tables["show"]
    at: Address = (show.get("first_universe", 1), 1)
    places, box_before = [], None
    for box, _, lamps in pencil_starts(tables):
        new_universe = show.get("placement", "fresh") == "fresh"
        if box != box_before and not show.get("share_universes", False):
            new_universe = True
        if new_universe and at[1] != 1:
            at = (at[0] + 1, 1)
        laid = pencil_lay(at, lamps)
        places.append(laid[0][0])
        at, box_before = next_place(laid), box
    return places


# --- shows --------------------------------------------------------------------------------------------------------


def table_of(tables: dict, patch) -> dict[Address, Lamp]:
    """Who has each channel; it fails where two have one."""
    owner: dict[Address, Lamp] = {}
    for _, _, laid in laid_by_pencil(tables, patch):
        for (universe, channel), lamp in laid:
            for step in range(lamp.width):
                # Source: the design: no channel is given twice
                assert (universe, channel + step) not in owner
                owner[universe, channel + step] = lamp
    return owner


quick = examples(20, 100)


# --- the rules ----------------------------------------------------------------------------------------------------


def hold_the_rules(tables: dict, patch) -> None:
    owner = table_of(tables, patch)
    # Source: the design: every pixel has channels exactly once (tees apart)
    by_pixel: dict[tuple[str, int], list[Address]] = {}
    for address, lamp in owner.items():
        if lamp.number is not None:
            by_pixel.setdefault((lamp.run, lamp.number), []).append(address)
    wanted = {
        (run, pixel + 1)
        for run, table in tables["run"].items()
        if "same_data_as" not in table
        for pixel in range(table["pixels"])
    }
    assert set(by_pixel) == wanted
    # The spans say the same, pixel by pixel, and nothing else.
    from_spans: dict[tuple[str, int], list[Address]] = {}
    for span in patch.spans():
        # Source: the design: span: pixels of one run that lie together in one universe
        width = len(ORDERS[tables["run"][span.run]["pixel"]])
        channel = span.first_channel
        assert span.first_pixel <= span.last_pixel
        for pixel in range(span.first_pixel, span.last_pixel + 1):
            assert (span.run, pixel) not in from_spans
            from_spans[span.run, pixel] = [(span.universe, channel + step) for step in range(width)]
            channel += width
        assert span.last_channel == channel - 1
        assert span.run in tables["controller"][span.controller]["port"][str(span.port)]
    assert from_spans == {pixel: sorted(addresses) for pixel, addresses in by_pixel.items()}
    for addresses in from_spans.values():
        # Source: the design: a pixel never straddles 512
        assert len({universe for universe, _ in addresses}) == 1
        assert addresses[0][1] >= 1
        assert addresses[-1][1] <= 512
    for _, _, laid in laid_by_pencil(tables, patch):
        for (one, lamp), (two, after) in pairwise(laid):
            # Source: the design: addresses rise; only a universe's unusable tail is skipped
            assert two > one
            if two[0] == one[0]:
                assert two[1] == one[1] + lamp.width
            else:
                assert two == (one[0] + 1, 1)
                assert 512 - (one[1] + lamp.width - 1) < after.width
    assert patch.pixels == len(wanted)
    assert patch.channels == sum(len(addresses) for addresses in by_pixel.values())
    assert patch.universe_count == len({universe for universe, _ in owner})
    by_box: dict[str, set[int]] = {}
    for box, _, laid in laid_by_pencil(tables, patch):
        by_box.setdefault(box, set()).update(universe for (universe, _), _ in laid)
    assert patch.box_universes == {box: tuple(sorted(universes)) for box, universes in by_box.items()}
    assert patch.universes == tuple(sorted({universe for universe, _ in owner}))


def hold_the_limits(tables: dict, patch) -> None:
    """Source: the design: pins and limits hold."""
    owner = table_of(tables, patch)
    starts = {(start.controller, start.chain.key): (start.universe, start.channel) for start in patch.starts}
    mine: dict[str, set[int]] = {}
    for (universe, _), lamp in owner.items():
        mine.setdefault(lamp.controller, set()).add(universe)
    for box, controller in tables["controller"].items():
        pins = controller.get("start", {})
        for key, text in pins.items():
            assert "{}/{}".format(*starts[box, key]) == text
        if box not in mine:
            continue
        assert min(mine[box]) >= 1
        assert max(mine[box]) <= LAST[controller["protocol"]]
        if "first_universe" in controller and not pins:
            first = next(place for (name, _), place in starts.items() if name == box)
            blocked = [
                universe
                for other, table in tables["controller"].items()
                if other != box and ("start" in table or "first_universe" in table)
                for universe in mine.get(other, ())
            ]
            # it begins there, unless another pin has taken that universe already
            assert first == (controller["first_universe"], 1) or blocked
        if "universes" in controller:
            assert len(mine[box]) <= controller["universes"]
        if controller["consecutive"]:
            assert sorted(mine[box]) == list(range(min(mine[box]), max(mine[box]) + 1))
    if not tables["show"]["share_universes"]:
        for one in mine:
            for two in mine:
                assert one == two or not mine[one] & mine[two]


@quick
@given(shows(pins=True))
def test_every_patch_keeps_the_rules(tables):
    _, patch = allocated(tables)
    if patch is None:
        return
    hold_the_rules(tables, patch)
    hold_the_limits(tables, patch)
    # Source: the design: the same show gives the same patch, to the byte
    again = allocate(wired(tables)).patch
    assert dump(again) == dump(patch)
    # Source: the design: the patch file holds the starts and the length of each chain's runs
    assert parse(dump(patch)) == patch
    assert dump(parse(dump(patch))) == dump(patch)


@quick
@given(shows(pins=False))
def test_where_starts_fall_when_nothing_is_pinned(tables):
    # Source: the design: placement fresh and follow
    _, patch = allocated(tables)
    assert patch is not None
    assert [(start.universe, start.channel) for start in patch.starts] == pencil_placement(tables)


@quick
@given(shows(pins=False), st.data())
def test_a_pinned_start_does_not_move_the_others(tables, data):
    # Source: the design: a pinned start does not move the others' position
    starts = pencil_starts(tables)
    if not starts:
        return
    pinned = data.draw(st.integers(0, len(starts) - 1))
    box, key, lamps = starts[pinned]
    tables["controller"][box] |= {"start": {key: "60000/1"}, "consecutive": False, "protocol": "e131"}
    _, patch = allocated(tables)
    assert patch is not None
    without = {name: dict(table) for name, table in tables.items()}
    # the oracle's show: the same one, without that start
    hidden = {lamp.run for lamp in lamps}
    without["controller"] = {
        name: controller | {"port": {n: [r for r in runs if r not in hidden] for n, runs in controller["port"].items()}}
        for name, controller in tables["controller"].items()
    }
    found = [(start.universe, start.channel) for start in patch.starts]
    assert found.pop(pinned) == (60_000, 1)
    assert found == pencil_placement(without)


@quick
@given(shows(pins=False), st.integers(-1, 1))
def test_port_pixels_counts_lamps_and_nulls(tables, spare):
    # Source: the design: port_pixels: most pixels on one port, nulls included
    loads = {
        (box, number): sum(tables["run"][run]["pixels"] + tables["run"][run].get("nulls", 0) for run in runs)
        for box, controller in tables["controller"].items()
        for number, runs in controller["port"].items()
    }
    most = max(loads.values(), default=0) + spare
    if most < 1:
        return
    for controller in tables["controller"].values():
        controller["port_pixels"] = most
    reading = read(tomli_w.dumps(tables))
    assert reading.show is not None
    found = {finding.where for finding in problems(wire(reading.show))}
    assert found == {f"controller.{box}.port.{number}" for (box, number), load in loads.items() if load > most}


# --- the patch and the table of channels, both ways ---------------------------------------------------------------


@quick
@given(shows(pins=True), st.data())
def test_address_to_pixel_and_back(tables, data):
    wiring, patch = allocated(tables)
    if patch is None:
        return
    owner = table_of(tables, patch)
    tees: dict[str, list[str]] = {}
    for name, table in tables["run"].items():
        if "same_data_as" in table:
            tees.setdefault(table["same_data_as"], []).append(name)
    universes = sorted({universe for universe, _ in owner})
    if not owner:
        assert patch.span_at(1, 1) is None
        return
    edges = [a for a in owner if (a[0], a[1] + 1) not in owner or (a[0], a[1] - 1) not in owner][:60]
    around = [(u, c + step) for u, c in edges for step in (-1, 1) if 1 <= c + step <= 512]
    picked = data.draw(st.lists(st.sampled_from(sorted(owner)), max_size=30))
    beyond = [(u, 512) for u in universes[:20]] + [(universes[-1] + 1, 1)]
    for universe, channel in [*edges, *around, *picked, *beyond]:
        lamp = owner.get((universe, channel))
        span = patch.span_at(universe, channel)
        if lamp is None or lamp.number is None:
            # Source: the design: a null pixel is not part of the picture; so no pixel has that channel
            assert span is None
            continue
        assert span is not None
        assert (span.run, span.first_pixel, span.last_pixel) == (lamp.run, lamp.number, lamp.number)
        assert span.controller == lamp.controller
        assert span.universe == universe
        assert span.first_channel <= channel <= span.last_channel
        assert span.last_channel - span.first_channel + 1 == lamp.width
        if universe > 63_999:
            continue
        # Source: the design: where: 3/100 → the pixel; same_data_as: `where` lists both
        thing = find(f"{universe}/{channel}", wiring, patch)
        lit = [(part.run, part.first, part.last) for part in thing.parts]
        assert lit == [(run, lamp.number, lamp.number) for run in (lamp.run, *tees.get(lamp.run, ()))]
        # Source: the design: where: towpath/12 → its address; a tee has its run's
        for run in (lamp.run, *tees.get(lamp.run, ())):
            (piece,) = spans_of(find(f"{run}/{lamp.number}", wiring, patch), wiring, patch)
            assert piece.run == run
            assert (piece.first_pixel, piece.last_pixel) == (lamp.number, lamp.number)
            assert (piece.universe, piece.first_channel, piece.last_channel) == (
                universe, span.first_channel, span.last_channel,
            )  # fmt: skip


def channels_of(spans, tables) -> set[tuple[str, int, int, int]]:
    """(run, pixel, universe, first channel) of every pixel of some spans."""
    found = set()
    for span in spans:
        width = len(ORDERS[tables["run"][span.run]["pixel"]])
        for step in range(span.last_pixel - span.first_pixel + 1):
            found.add((span.run, span.first_pixel + step, span.universe, span.first_channel + step * width))
    return found


@quick
@given(shows(pins=False), st.data())
def test_the_spans_of_a_box_a_port_a_run_and_a_range(tables, data):
    # Source: the design: things are named the same way everywhere: BOX, BOX/PORT, RUN, RUN/FIRST-LAST
    if not tables["run"]:
        return
    wiring, patch = allocated(tables)
    assert patch is not None
    rows = set()
    ports = {}
    for box, controller in tables["controller"].items():
        ports |= {run: (box, number) for number, runs in controller["port"].items() for run in runs}
    for _, _, laid in laid_by_pencil(tables, patch):
        rows |= {(lamp.run, lamp.number, *address) for address, lamp in laid if lamp.number is not None}

    def found(name: str):
        return channels_of(spans_of(find(name, wiring, patch), wiring, patch), tables)

    run = data.draw(st.sampled_from(sorted(tables["run"])))
    source = tables["run"][run].get("same_data_as", run)
    of_run = {(run, *row[1:]) for row in rows if row[0] == source}
    assert found(run) == of_run
    first = data.draw(st.integers(1, tables["run"][run]["pixels"]))
    last = data.draw(st.integers(first, tables["run"][run]["pixels"]))
    assert found(f"{run}/{first}-{last}") == {row for row in of_run if first <= row[1] <= last}
    box, number = ports[source]
    assert found(f"{box}/{number}") == {row for row in rows if ports[row[0]] == (box, number)}
    assert found(box) == {row for row in rows if ports[row[0]][0] == box}


# --- by hand ------------------------------------------------------------------------------------------------------


def written_spans(tables: dict) -> list[tuple[str, int, int, str, int]]:
    return [
        (span.run, span.first_pixel, span.last_pixel, f"{span.universe}/{span.first_channel}", span.last_channel)
        for span in allocate(wired(tables)).patch.spans()
    ]


@pytest.mark.parametrize(
    ("kind", "fit", "last_channel"), [("rgb", 170, 510), ("rgbw", 128, 512), ("mono", 512, 512), ("five", 102, 510)]
)
def test_so_many_pixels_fill_a_universe(kind, fit, last_channel):
    # Source: arithmetic: 170 RGB, 128 RGBW pixels in 512 channels (arithmetic: 512 // channels)
    assert written_spans(by_hand({"box-a": f"run-a:{fit}*{kind}"})) == [("run-a", 1, fit, "1/1", last_channel)]
    width = len(ORDERS[kind])
    assert written_spans(by_hand({"box-a": f"run-a:{fit + 1}*{kind}"})) == [
        ("run-a", 1, fit, "1/1", last_channel),
        ("run-a", fit + 1, fit + 1, "2/1", width),
    ]


def test_a_run_behind_another_takes_the_channels_that_still_fit():
    # Source: the design: laid pixel by pixel; by hand: 169 RGB end at 507, RGBW fits at 508
    tables = by_hand({"box-a": "run-a:169 run-b:2*rgbw"}, {"box-a": {"start_per": "controller"}})
    assert written_spans(tables) == [
        ("run-a", 1, 169, "1/1", 507),
        ("run-b", 1, 1, "1/508", 511),
        ("run-b", 2, 2, "2/1", 4),
    ]


def test_a_pixel_may_end_on_the_last_channel_of_a_universe():
    # By hand: 127 RGBW end at 508, and one more takes 509 to 512
    tables = by_hand({"box-a": "run-a:127*rgbw run-b:1*rgbw"}, {"box-a": {"start_per": "controller"}})
    assert written_spans(tables)[-1] == ("run-b", 1, 1, "1/509", 512)


def test_nulls_are_laid_like_pixels_only_where_the_box_does_not_skip_them():
    # Source: the design: nulls with skips_nulls = false are laid like pixels of their run
    tables = by_hand({"box-a": "run-a:170"})
    tables["run"]["run-a"]["nulls"] = 1
    assert written_spans(tables) == [("run-a", 1, 170, "1/1", 510)]
    tables["controller"]["box-a"]["skips_nulls"] = False
    assert written_spans(tables) == [("run-a", 1, 169, "1/4", 510), ("run-a", 170, 170, "2/1", 3)]


def test_a_pinned_box_moves_others_only_out_of_its_universes():
    # Source: the design: stepping over pinned universes; a consecutive box that would be cut moves whole
    boxes = {"box-a": "run-a:340", "box-b": "run-b1:200 run-b2:200", "box-c": "run-c1:200 run-c2:200"}
    keys = {"box-a": {"first_universe": 3}, "box-c": {"consecutive": False}}
    # box-b would have 1–2 and then 5–6, so it stands whole behind the pinned 3–4
    found = starts(allocate(wired(by_hand(boxes, keys))).patch)
    assert found == {"box-a/1": "3/1", "box-b/1": "5/1", "box-b/2": "7/1", "box-c/1": "9/1", "box-c/2": "11/1"}
    found = starts(allocate(wired(by_hand(boxes, keys | {"box-b": {"consecutive": False}}))).patch)
    assert found == {"box-a/1": "3/1", "box-b/1": "1/1", "box-b/2": "5/1", "box-c/1": "7/1", "box-c/2": "9/1"}


def refused(tables: dict) -> dict[str, str]:
    """The rules that a show breaks, with the place of each."""
    with pytest.raises(PatcherError) as error:
        allocate(wired(tables))
    assert all(finding.says and finding.remedy and finding.area == "address" for finding in error.value.findings)
    return {finding.where: finding.says for finding in error.value.findings}


@pytest.mark.parametrize(
    ("box", "where", "words"),
    [
        ({"start": {"1": "5/1", "2": "5/28"}}, "controller.box-a.start.2", ["5/28"]),  # run-a's tenth pixel
        ({"start": {"1": "5/511"}, "consecutive": False}, "controller.box-a.start.1", ["512"]),
        ({"start": {"1": "5/1", "2": "9/1"}}, "controller.box-a", ["5", "9"]),
        ({"universes": 1}, "controller.box-a", ["2 universes"]),
        ({"first_universe": 63_999}, "controller.box-a.start.2", ["64000"]),
        ({"first_universe": 32_767, "protocol": "artnet"}, "controller.box-a.start.2", ["32768"]),
    ],
)
def test_pins_that_cannot_be_are_refused_with_their_reason(box, where, words):
    # Source: the design: no channel twice, no pixel across 512, pins hold
    found = refused(by_hand({"box-a": "run-a:10 run-b:10"}, {"box-a": box}))
    assert all(word in found[where] for word in words)


def mended(tables: dict, finding) -> list[dict]:
    """The show with each remedy that a finding offers, as a person would write it."""
    shows = []
    for remedy in finding.remedy.split(", or "):
        changed = deepcopy(tables)
        table = re.search(r"\[controller\.([\w-]+?)(\.start)?\]", remedy)
        box = changed["controller"][table[1]]
        if first := re.fullmatch(r"write first_universe = (\d+) in \[.*\]", remedy):
            box["first_universe"] = int(first[1])
        else:
            pins = re.findall(r'([\w-]+) = "(\d+/\d+)"', remedy)
            assert pins, remedy
            box["start"] = box["start"] | dict(pins)
        shows.append(changed)
    return shows


@pytest.mark.parametrize("placement", ["fresh", "follow"])
@pytest.mark.parametrize(("boxes", "pin"), [
    ({"box-a": "run-a:600", "box-b": "run-b:100 run-c:100"}, "3/1"),
    ({"box-b": "run-b:100 run-c:100", "box-a": "run-a:600"}, "3/1"),
    ({"box-b": "run-b:100 run-c:800 run-d:200", "box-a": "run-a:150"}, "5/1"),
    ({"box-a": "run-a:600", "box-b": "run-b:200 run-c:100 run-d:200"}, "1/1"),  # nothing can stand before it
])  # fmt: skip
def test_a_box_torn_by_its_own_pin_is_told_what_else_to_pin(placement: str, boxes: dict[str, str], pin: str) -> None:
    # Source: the design: a pinned start moves nobody, so a patch exists that the placement alone does not give
    alike = {"protocol": "e131", "consecutive": True}
    keys = {"box-a": alike, "box-b": alike | {"start": {"2": pin}}}
    tables = by_hand(boxes, keys, placement=placement, share_universes=False)
    with pytest.raises(PatcherError) as error:
        allocate(wired(tables))
    [finding] = error.value.findings
    assert finding.where == "controller.box-b"
    assert "file's order" in finding.says
    remedies = mended(tables, finding)
    assert len(remedies) == 2
    for changed in remedies:
        hold_the_limits(changed, allocate(wired(changed)).patch)


def findings_of(tables: dict) -> dict[tuple[str, str], Finding]:
    """What a patch of a show would break, by rule and place."""
    try:
        allocate(wired(tables))
    except PatcherError as error:
        return {(finding.rule, finding.where): finding for finding in error.findings}
    return {}


@quick
@given(shows(pins=True))
def test_each_remedy_for_a_torn_box_mends_it(tables) -> None:
    broken = findings_of(tables)
    for key, finding in broken.items():
        if key[0] != "consecutive" or "pin its starts side by side" in finding.remedy:
            continue  # the latter: nothing is known that helps
        for changed in mended(tables, finding):
            assert findings_of(changed).keys() <= broken.keys() - {key}


def test_touching_pins_are_no_overlap():
    # Source: the design: no channel twice; by hand: ten RGB pixels from 5/1 end at 5/30
    pins = {"start": {"1": "5/1", "2": "5/31"}, "consecutive": True}
    tables = by_hand({"box-a": "run-a:10 run-b:10"}, {"box-a": pins})
    assert written_spans(tables) == [("run-a", 1, 10, "5/1", 30), ("run-b", 1, 10, "5/31", 60)]


def test_two_boxes_share_a_universe_only_where_the_show_says_so():
    # Source: the design: without share_universes a universe carries one controller's channels only
    pins = {"box-a": {"start": {"1": "8/1"}}, "box-b": {"start": {"1": "8/31"}}}

    def show(share: bool, keys: dict) -> dict:
        return by_hand({"box-a": "run-a:10", "box-b": "run-b:10"}, keys, placement="follow", share_universes=share)

    assert [span[3] for span in written_spans(show(False, {}))] == ["1/1", "2/1"]
    assert [span[3] for span in written_spans(show(True, {}))] == ["1/1", "1/31"]
    assert [span[3] for span in written_spans(show(True, pins))] == ["8/1", "8/31"]
    assert "box-a" in refused(show(False, pins))["controller.box-b.start.1"]


@pytest.mark.parametrize(
    "name",
    [
        "nowhere", "run-a/0", "run-a/11", "run-a/3-2", "run-a/x", "run-a/", "box-a/2", "box-a/x", "box-a/",
        "0/1", "1/0", "1/513", "64000/1", "", "/", "//", "run-a/1/2", "box-a/" + "1" * 5000, "1/" + "1" * 5000,
        "run-a/" + "1" * 5000, "дорожка", "box-a/²",
    ],
    ids=lambda name: name[:12] or "empty",
)  # fmt: skip
def test_a_name_that_means_nothing_is_refused_in_words(name):
    # Source: the design: no traceback ever reaches a person; messages name what to do
    wiring = wired(by_hand({"box-a": "run-a:10"}))
    patch = allocate(wiring).patch
    with pytest.raises(PatcherError) as error:
        find(name, wiring, patch)
    assert all(finding.says and finding.remedy for finding in error.value.findings)


def test_the_nearest_name_is_offered():
    # Source: the design: the nearest known key as the hint; names alike
    wiring = wired(by_hand({"box-a": "towpath:10 footbridge:10"}))
    patch = allocate(wiring).patch
    with pytest.raises(PatcherError) as error:
        find("towpaht/3", wiring, patch)
    assert "towpath" in error.value.findings[0].remedy


def test_a_range_is_read_as_it_is_printed() -> None:
    # Common practice, no source: a person copies what stands on the screen, with the dash that stands there
    wiring = wired(by_hand({"box-a": "run-a:10"}))
    patch = allocate(wiring).patch
    assert find("run-a/2–5", wiring, patch).parts == find("run-a/2-5", wiring, patch).parts


@pytest.mark.parametrize(("protocol", "first", "other"), [("e131", 63_999, ""), ("artnet", 32_767, "E1.31")])
def test_no_protocol_is_offered_that_ends_sooner(protocol: str, first: int, other: str) -> None:
    tables = by_hand({"box-a": "run-a:300"})
    tables["controller"]["box-a"] |= {"protocol": protocol, "first_universe": first}
    with pytest.raises(PatcherError) as error:
        allocate(wired(tables))
    says = " ".join(finding.remedy for finding in error.value.findings)
    assert ("or use E1.31" in says) == bool(other)
    assert "or use Art-Net" not in says


# --- what is advised where starts collide -------------------------------------------------------------------------


@examples(60, 400)
@given(
    st.lists(
        st.tuples(st.integers(1, 5), st.lists(st.sampled_from([100, 250]), min_size=1, max_size=3)),
        min_size=2, max_size=4,
    ),
    st.booleans(), st.sampled_from([None, 3, 6]),
)  # fmt: skip
@example([(1, [100, 100, 100]), (3, [100, 100])], True, None)
@example([(1, [100, 100]), (2, [100]), (1, [100])], True, None)
def test_who_follows_the_advice_where_starts_collide_has_a_patch(
    boxes: list[tuple[int, list[int]]], consecutive: bool, most: int | None
) -> None:
    # Source: found by a reader: "pin it where it is free: 8/1", where the box could not go, since its universes must
    # follow each other; of 2 errors 7 were made
    keys: dict = {"consecutive": consecutive}
    texts, places = {}, []
    for number, (begin, lengths) in enumerate(boxes):
        texts[f"box{number}"] = " ".join(f"r{number}{at}:{pixels}" for at, pixels in enumerate(lengths))
        for pixels in lengths:
            places.append(f"{begin}/1")
            begin += -(-pixels // 170)
    if most is not None and all(sum(-(-pixels // 170) for pixels in lengths) <= most for _, lengths in boxes):
        keys["universes"] = most
    tables = by_hand(texts, dict.fromkeys(texts, keys))
    old = typed_in(tables, " ".join(places))
    found = breaches(wired(tables).show, old)
    assert {finding.rule for finding in found} <= {"overlap"}
    followed, whole = deepcopy(tables), set()
    for finding in found:
        _, box, _, key = finding.where.split(".")
        if first := re.search(r"first_universe = (\d+) in \[controller\.(\w+)\]", finding.remedy):
            assert first[2] == box
            followed["controller"][box]["first_universe"] = int(first[1])
            whole.add(box)
        elif pin := re.search(r'pin it where it is free: "(\d+/1)"', finding.remedy):
            followed["controller"][box].setdefault("start", {})[key] = pin[1]
        else:
            raise AssertionError(finding.remedy)
    for box in whole:  # with no other pin
        followed["controller"][box].pop("start", None)
    wiring = wired(followed)
    new = allocate(wiring, old).patch
    assert breaches(wiring.show, new) == []


@examples(60, 400)
@given(
    st.lists(st.tuples(st.integers(1, 4), st.sampled_from([1, 100, 271])), min_size=2, max_size=4),
    st.lists(st.sampled_from([60, 90, 250]), min_size=4, max_size=4), st.booleans(), st.integers(0, 2),
)  # fmt: skip
@example([(1, 1), (1, 100)], [90, 60, 60, 60], True, 1)
def test_who_follows_the_advice_where_pins_collide_has_a_patch(
    pins: list[tuple[int, int]], lengths: list[int], consecutive: bool, unpinned: int
) -> None:
    # Source: found by a reader: "no pin is free: move the whole box", where taking the pin out was enough
    runs = [f"r{number}:{pixels}" for number, (_, pixels) in enumerate(zip(pins, lengths, strict=False))]
    tables = by_hand(
        {"box": " ".join(runs + [f"more{n}:60" for n in range(unpinned)]), "other": "o:400"},
        {"box": {"consecutive": consecutive}},
    )
    tables["controller"]["box"]["start"] = {
        str(number): f"{universe}/{channel}" for number, (universe, channel) in enumerate(pins, start=1)
    }
    for _ in pins:
        try:
            found = allocate(wired(tables)).faults
        except PatcherError as error:
            found = error.findings
        if not found:
            return
        assume({finding.rule for finding in found} <= {"overlap"})
        for finding in found:
            _, box, _, key = finding.where.split(".")
            if PIN_OUT in finding.remedy:
                tables["controller"][box]["start"].pop(key)
            elif pin := re.search(r'pin it where it is free: "(\d+/1)"', finding.remedy):
                tables["controller"][box].setdefault("start", {})[key] = pin[1]
            else:
                raise AssertionError(finding.remedy)
    assert not allocate(wired(tables)).faults
