"""Frame times, and every warning: raised where it should be, and not where it should not."""

import tomllib
from collections.abc import Iterator
from itertools import combinations, pairwise, product
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.errors import Finding
from patcher.limits.findings import accepted, check
from patcher.limits.refresh import Load, best_split, frame_ms, port_times, rate_text, rate_to_set, slowest_ports
from patcher.units import METRES_PER
from rig.examples import examples
from rig.in_process import run
from rig.shipped import SHOWS, wired

KINDS = {
    "rgb": {"colour_order": "RGB"},
    "grb": {"colour_order": "GRB"},
    "rgbw": {"colour_order": "RGBW"},
    "slow": {"colour_order": "RGB", "bit_rate": 400_000},
    "odd": {"colour_order": "RGBX"},
    "late": {"colour_order": "RGB", "reset_us": 1300},
}


def tables_of(runs: dict, ports: dict | None = None, box: dict | None = None, **show: object) -> dict:
    """One box; the runs on port 1, if not said otherwise; of the kinds of pixel those that a run has."""
    runs = {name: {"pixel": "rgb"} | run for name, run in runs.items()}
    on_port = [name for name, run in runs.items() if "same_data_as" not in run]
    controller = {"address": "192.0.2.1", "ports": 4} | (box or {})
    controller["port"] = ports if ports is not None else {"1": on_port}
    used = {run["pixel"] for run in runs.values()}
    return {
        "show": {"title": "limits"} | show,
        "pixel": {name: kind for name, kind in KINDS.items() if name in used},
        "controller": {"box": controller},
        "run": runs,
    }


def said(tables: dict) -> list[tuple[str, str, str]]:
    return [(finding.rule, finding.severity, finding.where) for finding in check(wired(tables))[1]]


# --- frame times --------------------------------------------------------------------------------------------------


def test_one_pixel_of_24_bits_takes_30_microseconds() -> None:
    # Source: WS2812B and WS2811 data sheets: 1.25 µs a bit, 24 bits a pixel.
    assert frame_ms([(1, 3)], 800_000, 0) == pytest.approx(0.030)
    assert frame_ms([(1, 4)], 800_000, 0) == pytest.approx(0.040)


@pytest.mark.parametrize(("pixels", "rate"), [(340, 95), (680, 48), (800, 41)])
def test_refresh_of_a_port(pixels: int, rate: int) -> None:
    # Source: arithmetic from the data sheets' 30 µs a pixel, with 300 µs reset.
    (time,) = port_times(wired(tables_of({"a": {"pixels": pixels}})))
    assert time.frame_ms == pytest.approx(pixels * 0.030 + 0.3)
    assert round(time.max_rate) == rate
    assert (time.controller, time.port, time.pixels) == ("box", 1, pixels)


@pytest.mark.parametrize("skips", [True, False])
def test_nulls_take_time_on_the_line_whether_or_not_they_take_channels(skips: bool) -> None:
    # Source: WS2811 data sheet: a chip passes on what follows its own 24 bits, so a null's bits are on the line too.
    runs = {"a": {"pixels": 100, "nulls": 2}, "b": {"pixels": 50, "nulls": 1}}
    (time,) = port_times(wired(tables_of(runs, box={"skips_nulls": skips})))
    assert time.pixels == 153
    assert time.frame_ms == pytest.approx(153 * 0.030 + 0.3)


def test_pixels_of_three_and_of_four_channels_on_one_line() -> None:
    # Source: arithmetic: 1.25 µs a bit, 8 bits a channel; the nulls before a run are of its own kind (the design).
    runs = {"a": {"pixels": 100}, "b": {"pixels": 50, "pixel": "rgbw", "nulls": 3}}
    (time,) = port_times(wired(tables_of(runs)))
    assert time.frame_ms == pytest.approx(100 * 0.030 + 53 * 0.040 + 0.3)


def test_the_slowest_chip_sets_the_pace_and_each_port_has_its_own() -> None:
    # From memory: one data line has one clock; a chip for 400 kb/s cannot read 800; the longest latch counts.
    runs = {"a": {"pixels": 10}, "b": {"pixels": 10, "pixel": "slow"}, "c": {"pixels": 7, "pixel": "late"}}
    times = port_times(wired(tables_of(runs, ports={"1": ["a", "b"], "3": ["c"]})))
    assert [(time.port, time.pixels) for time in times] == [(1, 20), (3, 7)]
    assert times[0].frame_ms == pytest.approx(20 * 0.060 + 0.3)
    assert times[1].frame_ms == pytest.approx(7 * 0.030 + 1.3)


def test_a_tee_takes_no_time_of_its_own() -> None:
    # Source: the design: a tee hangs on the same data, and has no port.
    runs = {"a": {"pixels": 40}, "b": {"pixels": 40, "same_data_as": "a"}}
    (time,) = port_times(wired(tables_of(runs)))
    assert time.pixels == 40


def test_a_box_is_as_slow_as_its_slowest_port() -> None:
    # Source: arithmetic from the data sheets' 30 µs a pixel, with 300 µs reset.
    tables = tables_of({"a": {"pixels": 340}, "b": {"pixels": 800}, "c": {"pixels": 680}}, {"1": ["a"], "2": ["b"]})
    tables["controller"]["other"] = {"address": "192.0.2.2", "ports": 1, "port": {"1": ["c"]}}
    tables["controller"]["idle"] = {"address": "192.0.2.3", "ports": 1}
    slowest = slowest_ports(port_times(wired(tables)))
    assert {box: (time.port, round(time.max_rate)) for box, time in slowest.items()} == {
        "box": (2, 41),
        "other": (1, 48),
    }


# --- splits -----------------------------------------------------------------------------------------------------------


def contiguous(loads: list[Load]) -> Iterator[list[list[Load]]]:
    """Every way to cut a chain between runs."""
    for cuts in range(len(loads)):
        for places in combinations(range(1, len(loads)), cuts):
            ends = [0, *places, len(loads)]
            yield [loads[first:end] for first, end in pairwise(ends)]


def slow_ms(loads: list[Load]) -> float:
    """A line's time, from its data sheets: 8 bits a channel at the slowest chip's rate, then the longest quiet."""
    rate, quiet = min(load.bit_rate for load in loads), max(load.reset_us for load in loads)
    return sum(load.channels for load in loads) * 8 / rate * 1e3 + quiet / 1e3


SHEETS = [(3, 800_000, 300.0), (4, 800_000, 300.0), (3, 400_000, 50.0), (3, 800_000, 4000.0), (3, 777_777, 299.9)]
QUICK = [(1, 400_000_000, 0.0)]
"""Chips too quick to be, so that times lie close together."""


@st.composite
def boxes(draw: st.DrawFn) -> tuple[dict[int, list[Load]], list[int]]:
    lines: dict[int, list[Load]] = {}
    kinds = st.sampled_from(draw(st.sampled_from([SHEETS, QUICK])))
    for port in range(1, draw(st.integers(1, 4)) + 1):
        lines[port] = []
        for number in range(draw(st.integers(1, 5))):
            pixels = draw(st.integers(1, 400) | st.sampled_from([1, 50, 100]))
            width, bit_rate, quiet = draw(kinds)
            lines[port].append(Load(f"run-{port}-{number}", pixels, pixels * width, bit_rate, quiet))
    return lines, [port + len(lines) for port in range(1, draw(st.integers(0, 5)) + 1)]


@examples(25, 100)
@given(boxes())
def test_the_best_split_is_the_best_of_all(box: tuple[dict[int, list[Load]], list[int]]) -> None:
    # Judge: every way to cut every chain between runs, each piece but a chain's first on a free port of its own.
    lines, free = box
    ways = [
        (max(slow_ms(piece) for chain in way for piece in chain), pieces, sum(len(p) for c in way for p in c[1:]))
        for way in product(*(list(contiguous(loads)) for loads in lines.values()))
        if (pieces := sum(len(chain) - 1 for chain in way)) <= len(free)
    ]
    fastest, ports, runs = min(ways)
    assert min(way[2] for way in ways if way[0] == fastest) == runs
    split = best_split(lines, free)
    assert split.frame_ms == pytest.approx(fastest, rel=1e-12)
    assert (len(split.moves), sum(len(move.runs) for move in split.moves)) == (ports, runs)
    # What it says is what it does: carried out, no run is lost, each free port has one piece, and the time is true.
    after = {port: list(loads) for port, loads in lines.items()}
    for move in split.moves:
        piece = [load for load in lines[move.port] if load.run in move.runs]
        assert tuple(load.run for load in piece) == move.runs
        assert move.to in free
        assert move.to not in after
        after[move.to] = piece
        after[move.port] = [load for load in after[move.port] if load not in piece]
    assert max(slow_ms(loads) for loads in after.values()) == pytest.approx(split.frame_ms)
    assert sorted(load.run for loads in after.values() for load in loads) == sorted(
        load.run for loads in lines.values() for load in loads
    )


@examples(80, 400)
@given(
    st.lists(st.lists(st.tuples(st.integers(1, 30), st.sampled_from(SHEETS + QUICK)), min_size=2, max_size=6),
             min_size=1, max_size=2),
    st.integers(1, 4),
)  # fmt: skip
def test_a_chain_of_unlike_chips_is_cut_into_the_best_pieces(chains: list, ports: int) -> None:
    # Judge: as above, on chains in which a piece is slow for its chips as often as for its length.
    lines = {
        port: [
            Load(f"run-{port}-{number}", 10 * tens, 10 * tens * width, bit_rate, quiet)
            for number, (tens, (width, bit_rate, quiet)) in enumerate(chain)
        ]
        for port, chain in enumerate(chains, start=1)
    }
    free = list(range(len(lines) + 1, len(lines) + ports + 1))
    fastest, pieces, runs = min(
        (max(slow_ms(piece) for chain in way for piece in chain), cuts, sum(len(p) for c in way for p in c[1:]))
        for way in product(*(list(contiguous(loads)) for loads in lines.values()))
        if (cuts := sum(len(chain) - 1 for chain in way)) <= ports
    )
    split = best_split(lines, free)
    assert split.frame_ms == pytest.approx(fastest, rel=1e-12)
    assert (len(split.moves), sum(len(move.runs) for move in split.moves)) == (pieces, runs)


def test_a_long_chain_is_split_at_once() -> None:
    # Source: arithmetic: 20 000 runs of 10 pixels on ten ports are 2 000 runs a port, 600 ms and the reset.
    lines = {1: [Load(f"run-{number}", 10, 30, 800_000, 300.0) for number in range(20_000)]}
    split = best_split(lines, list(range(2, 11)))
    assert split.frame_ms == pytest.approx(2000 * 0.3 + 0.3)
    assert len(split.moves) == 9


def refresh(tables: dict) -> dict[str, str]:
    """What to do, by port."""
    found = check(wired(tables))[1]
    return {finding.where.rsplit(".", 1)[1]: finding.remedy for finding in found if finding.rule == "refresh"}


def runs_of(**pixels: int) -> dict:
    return {name: {"pixels": number} for name, number in pixels.items()}


OWN, OTHER_BOX = ", with a start of its own", "or hang some of its runs on another box"


# Source of the rates: arithmetic, 30 µs a pixel and 300 µs reset, rounded down.
@pytest.mark.parametrize(
    ("runs", "ports", "box", "wanted"),
    [
        # The move is named, and whether it changes starts.
        (runs_of(gable=500, eaves=500), None, {}, {"1": f"move eaves to box/2{OWN}: then 65.3 frames a second"}),
        *((runs_of(gable=500, eaves=500), None, {"start_per": per},
           {"1": "move eaves to box/2: then 65.3 frames a second"}) for per in ("run", "controller")),
        # Source: the design: with start_per = "controller" the ports follow on inside one chain.
        (runs_of(a=500, b=500, c=5), {"1": ["a", "b"], "3": ["c"]}, {"start_per": "controller"},
         {"1": "move b to box/2: then 65.3 frames a second"}),
        (runs_of(a=500, b=500, c=5), {"1": ["a", "b"], "2": ["c"]}, {"start_per": "controller"},
         {"1": "move b to box/3, which changes addresses: then 65.3 frames a second"}),
        # The fewest moves that do, and those that do most.
        (runs_of(a=250, b=250, c=250, d=250), None, {},
         {"1": f"move d to box/2{OWN}: then 43.8 frames a second. The most that box can keep is 128.2: "
               "move b to box/2, c to box/3, d to box/4, with starts of their own"}),
        # Each slow port has its own moves.
        (runs_of(a=500, b=500, c=600, d=600), {"2": ["a", "b"], "4": ["c", "d"]}, {},
         {"2": f"move b to box/1{OWN}: then 65.3 frames a second",
          "4": f"move d to box/3{OWN}: then 54.6 frames a second"}),
        # Where no split helps it says what would.
        (runs_of(a=500, b=500), None, {"ports": 1},
         {"1": f"no port of box is free; lower frame_rate to 30, {OTHER_BOX}"}),
        (runs_of(a=1000), None, {"ports": 1},
         {"1": "a hangs there alone; lower frame_rate to 30, or make two runs of a, the second on another box"}),
        (runs_of(a=1000), None, {"ports": 2},
         {"1": "a hangs there alone; lower frame_rate to 30, or make two runs of a, the second on"}),
        # A split that helps, but not enough.
        (runs_of(a=900, b=300), None, {},
         {"1": f"move b to box/2{OWN}: then 36.6 frames a second, which is still too few; lower frame_rate to 30"}),
        # A run too long by itself leaves no reason to cut the others shorter.
        (runs_of(a=900, b=450, c=450), None, {},
         {"1": f"move b and c to box/2{OWN}: then 36.6 frames a second, which is"}),
        # A run that cannot be cut keeps no port from one that can.
        (runs_of(a=2000, b=500, c=500, d=500), {"1": ["a"], "2": ["b", "c", "d"]}, {"ports": 3, "start_per": "run"},
         {"1": "a hangs there alone; lower frame_rate to 15, or make two runs of a, the second on another box",
          "2": "move d to box/3: then 33.0 frames a second, which is still too few; lower frame_rate to 30, "
               "or hang more of it on another box"}),
        # The slower port has the last free one.
        (runs_of(a=500, b=500, c=490, d=490), {"1": ["a", "b"], "2": ["c", "d"]}, {"ports": 3, "start_per": "run"},
         {"1": "move b to box/3: then 65.3 frames a second",
          "2": "no port of box is left free for it; lower frame_rate to 30"}),
    ],
)  # fmt: skip
def test_what_to_do_about_a_slow_port(runs: dict, ports: dict | None, box: dict, wanted: dict[str, str]) -> None:
    found = refresh(tables_of(runs, ports, box))
    assert found.keys() == wanted.keys()
    assert {port: found[port][: len(words)] for port, words in wanted.items()} == wanted
    assert all(found[port] == words for port, words in wanted.items() if words.endswith("frames a second"))


@pytest.mark.parametrize(("pixels", "slow"), [(800, False), (801, True)])
def test_a_port_that_takes_just_as_long_as_a_frame_keeps_it(pixels: int, slow: bool) -> None:
    # Source: arithmetic: 800 pixels of 24 bits at 800 000 a second take 24 ms; 1 ms of quiet makes 25: 40 a second.
    tables = tables_of({"a": {"pixels": pixels}}, frame_rate=40)
    tables["pixel"]["rgb"] = {"colour_order": "RGB", "bit_rate": 800_000, "reset_us": 1000.0}
    assert bool(refresh(tables)) is slow


def test_a_moved_run_really_gives_that_rate() -> None:
    # Judge: the frame times of the show with the move carried out.
    tables = tables_of(runs_of(a=250, b=250, c=250, d=250))
    for ports, rate in (
        ({"1": ["a", "b", "c"], "2": ["d"]}, "43.8"),
        ({"1": ["a"], "2": ["b"], "3": ["c"], "4": ["d"]}, "128.2"),
    ):
        tables["controller"]["box"]["port"] = ports
        assert rate_text(slowest_ports(port_times(wired(tables)))["box"].max_rate) == rate
        assert refresh(tables) == {}


@examples(30, 100)
@given(st.floats(0.1, 5000))
def test_a_rate_to_set_is_offered_and_holds(most: float) -> None:
    # Common practice, no source: the rates that players offer; the judge is the port's own rate
    rate = float(rate_to_set(most))
    assert rate <= most + 1e-6
    if 5 <= most < 61:
        assert rate in (60, 50, 40, 30, 25, 20, 15, 10, 5)
    assert rate > most / 2 - 0.01


@examples(30, 100)
@given(st.floats(0.5, 2000))
def test_a_rate_is_never_said_too_high(rate: float) -> None:
    # Source: arithmetic: 824 pixels keep 39.97 frames a second; “40.0 at most” beside a show that plays 40 is nonsense.
    assert rate - 0.1 <= float(rate_text(rate)) <= rate + 1e-6
    assert rate_text(1000 / (824 * 0.03 + 0.3)) == "39.9"


# --- each warning, raised and not ---------------------------------------------------------------------------------


ONE, BOTH, APART = {"1": ["a", "b"]}, ("rgb", "grb"), {"1": ["a"], "2": ["b"]}


def two(one: str, other: str) -> dict:
    """Two runs of these kinds of pixel."""
    return {"a": {"pixels": 10, "pixel": one}, "b": {"pixels": 10, "pixel": other}}


TEE = {"pixels": 10, "same_data_as": "a"}
REFRESH = ("refresh", "controller.box.port.1")
MIXED, BIT_RATE = ("mixed-order", "controller.box"), ("bit-rate", REFRESH[1])


@pytest.mark.parametrize(
    ("runs", "ports", "box", "wanted"),
    [
        # Source: arithmetic: 25 ms a frame less 0.3 ms of reset are 823 pixels of 30 µs and a bit.
        ({"a": {"pixels": 800}}, None, {}, None), ({"a": {"pixels": 823}}, None, {}, None),
        ({"a": {"pixels": 824}}, None, {}, REFRESH),
        # It names only the port that is too long, and counts its nulls.
        ({"a": {"pixels": 800}, "b": {"pixels": 800, "nulls": 24}}, APART, {}, ("refresh", "controller.box.port.2")),
        # Source: the design: with reorders the box puts colours into chip order itself; it has one setting a start.
        (two(*BOTH), ONE, {}, MIXED), (two("rgb", "rgb"), ONE, {}, None), (two(*BOTH), APART, {}, None),
        (two(*BOTH), ONE, {"reorders": False}, None), (two(*BOTH), APART, {"start_per": "controller"}, MIXED),
        (two(*BOTH), ONE, {"start_per": "run"}, None),
        # Source: the design: a tee hangs on the same data, so its chips must take the colours in the same order.
        ({"a": {"pixels": 10}, "b": TEE}, None, {}, None),
        ({"a": {"pixels": 10}, "b": TEE | {"pixel": "grb"}}, None, {}, ("mixed-order", "run.b.pixel")),
        # From memory: one data line has one clock, so chips that want 400 and 800 kb/s cannot share it.
        (two("rgb", "slow"), ONE, {}, BIT_RATE), (two("rgb", "slow"), APART, {}, None),
        (two("rgb", "late"), ONE, {}, None),
        # A slip of the finger, or a colour that has no name here
        ({"a": {"pixels": 10, "pixel": "odd"}}, None, {}, ("letters", "pixel.odd.colour_order")),
    ],
)  # fmt: skip
def test_each_warning_is_raised_and_not(runs: dict, ports: dict | None, box: dict, wanted: tuple | None) -> None:
    found = said(tables_of(runs, ports, box))
    severity = "note" if wanted and wanted[0] == "letters" else "warning"
    assert found == ([(wanted[0], severity, wanted[1])] if wanted else [])


@pytest.mark.parametrize(
    ("address", "raised"), [("127.0.0.1", True), ("127.95.172.1", True), ("192.0.2.1", False), ("172.17.0.1", False)]
)
def test_a_box_at_the_address_of_whoever_sends_is_warned_of(address: str, raised: bool) -> None:
    # Source: RFC 1122, 3.2.1.3 (g): 127/8 is the host's own, and must not appear outside it. Found by a reader.
    found = said(tables_of({"a": {"pixels": 10}}, None, {"address": address}))
    assert found == [("loopback", "warning", "controller.box.address")] * raised


PORT_OF_ITS_OWN = "give each kind a port of its own"
MIXED_ON = {
    # by start_per and ports: the remedies that the words must name
    ("port", "ab"): {PORT_OF_ITS_OWN, 'start_per = "run"', "reorders = false"},
    ("controller", "a b"): {'start_per = "port"', 'start_per = "run"', "reorders = false"},
    ("controller", "ab"): {PORT_OF_ITS_OWN + ' and set start_per = "port"', 'start_per = "run"', "reorders = false"},
    ("controller", "ab c"): {PORT_OF_ITS_OWN + ' and set start_per = "port"', 'start_per = "run"', "reorders = false"},
}


@pytest.mark.parametrize(("start_per", "ports"), MIXED_ON)
def test_each_remedy_of_mixed_orders_is_one(start_per: str, ports: str) -> None:
    # Source: found by a reader: "a port of its own", said of two kinds that had one each, cured nothing
    runs = {name: {"pixels": 10, "pixel": kind} for name, kind in zip("abc", ("rgb", "grb", "grb"), strict=True)}
    runs = {name: run for name, run in runs.items() if name in ports}
    hung = {str(number): list(names) for number, names in enumerate(ports.split(), start=1)}
    (finding,) = check(wired(tables_of(runs, hung, {"start_per": start_per})))[1]
    assert finding.rule == "mixed-order"
    apart = {str(number): [name] for number, name in enumerate(runs, start=1)}
    cures = {
        PORT_OF_ITS_OWN: (apart, {"start_per": start_per}),
        PORT_OF_ITS_OWN + ' and set start_per = "port"': (apart, {"start_per": "port"}),
        'start_per = "port"': (hung, {"start_per": "port"}), 'start_per = "run"': (hung, {"start_per": "run"}),
        "reorders = false": (hung, {"start_per": start_per, "reorders": False}),
    }  # fmt: skip
    words = finding.remedy.replace('"port" or "run"', '"port", or set start_per = "run"')
    for cure in MIXED_ON[start_per, ports]:
        assert cure in words
        assert check(wired(tables_of(runs, *cures[cure])))[1] == []
    assert (PORT_OF_ITS_OWN in words) == any(PORT_OF_ITS_OWN in cure for cure in MIXED_ON[start_per, ports])


@pytest.mark.parametrize(
    ("run", "units", "raised"),
    [
        ({"lead": 5.0}, "m", False), ({"lead": 5.1}, "m", True), ({"lead": 16.0}, "ft", False),
        ({"lead": 17.0}, "ft", True), ({"lead": 9.0, "nulls": 1}, "m", True),
        ({"lead": 9.0, "nulls": 1, "nulls_at": [4.5]}, "m", False),
        ({"lead": 9.0, "nulls": 1, "nulls_at": [3.9]}, "m", True),
        ({"lead": 9.0, "nulls": 1, "nulls_at": [5.1]}, "m", True),
        ({"lead": 30.0, "nulls": 1, "nulls_at": [15.0]}, "m", True),
        ({"lead": 15.0, "nulls": 3, "nulls_at": [5.0, 10.0, 15.0]}, "m", False),
        ({"lead": 32.0, "nulls": 1, "nulls_at": [16.0]}, "ft", False),
        ({"lead": 33.0, "nulls": 1, "nulls_at": [16.0]}, "ft", True),
        ({"lead": 9.0, "lead_via": "booster"}, "m", False), ({"lead": 9.0, "lead_via": "differential"}, "m", False),
        ({"lead": 9.0, "lead_via": "cable"}, "m", True),
    ],
)  # fmt: skip
def test_lead_length(run: dict, units: str, raised: bool) -> None:
    # Common practice, no source: past about 5 m a lead wants a null pixel or a booster.
    found = said(tables_of({"a": {"pixels": 10} | run}, units=units))
    assert found == ([("lead-length", "warning", "run.a")] if raised else [])


@examples(30, 100)
@given(st.sampled_from(["m", "ft"]), st.floats(0.1, 200).map(lambda metres: round(metres, 2)), st.integers(0, 3))
def test_the_lead_s_remedy_is_one(units: str, lead: float, nulls: int) -> None:
    # Judge: the remedy is written into the file as it is said, and the warning is gone.
    run = {"pixels": 10, "lead": lead, "nulls": nulls}
    found = check(wired(tables_of({"a": run}, units=units)))[1]
    if not found:
        assert lead * METRES_PER[units] <= 5.0
        return
    if "…" not in found[0].remedy:
        keys = tomllib.loads(found[0].remedy.split("(")[1].split(")")[0].replace(", nulls_at", "\nnulls_at"))
        assert said(tables_of({"a": run | keys}, units=units)) == []
        assert 5.0 * keys["nulls"] < lead * METRES_PER[units], "one null pixel fewer would do"


@examples(30, 100)
@given(st.lists(st.floats(0, 40), max_size=6), st.floats(0, 40))
def test_the_stretches_of_a_lead_by_hand(places: list[float], lead: float) -> None:
    # Judge: a slow definition: the farthest that any point of the lead is from the last null pixel before it.
    at = sorted(place for place in places if place <= lead)
    run = wired(tables_of({"a": {"pixels": 1, "lead": lead, "nulls": len(at), "nulls_at": at}})).show.runs["a"]
    behind = [point - max([0.0, *(place for place in at if place < point)]) for point in (*at, lead)]
    assert max(run.lead_stretches) == pytest.approx(max(behind))


@pytest.mark.parametrize(
    ("bands", "raised"),
    [(([1, 2], [3, 6]), False), (([1, 2], [4, 6]), True), (([1, 5],), True), (([2, 6],), True)],
)
def test_bare_lines(bands: tuple[list[int], ...], raised: bool) -> None:
    # Source: the design: a band is some whole lines of a grid that is drawn once, on its prop.
    runs = {
        f"band-{number}": {"shape": "band", "of": "wall", "band": band, "data_in": "bottom-left", "lead": 2.0}
        for number, band in enumerate(bands)
    }
    wall = {
        "area": [[0.0, 0.0], [1.0, 1.0]], "columns": 6, "rows": 3, "lines": "columns", "turns": "serpentine",
        "data_in": "bottom-left",
    }  # fmt: skip
    assert said(tables_of(runs) | {"prop": {"wall": wall}}) == (
        [("bare-lines", "warning", "prop.wall")] if raised else []
    )


def test_unused_things_are_notes_and_a_spare_is_none() -> None:
    # Source: the design: an error is a hazard or a patch that cannot be, a warning a worse show; a note is neither.
    tables = tables_of({"a": {"pixels": 10}})
    tables["pixel"]["left-over"] = {"colour_order": "RGB"}
    tables["controller"]["idle"] = {"address": "192.0.2.2", "ports": 1}
    tables["controller"]["shelf"] = {"ports": 1, "spare": True}
    assert said(tables) == [("unused", "note", "pixel.left-over"), ("unused", "note", "controller.idle")]


# --- accepting ----------------------------------------------------------------------------------------------------


def test_an_accepted_warning_stays_a_warning_and_is_marked() -> None:
    # Source: the design: [[accept]]: a warning that the person has judged.
    tables = tables_of({"a": {"pixels": 10, "lead": 9.0}, "b": {"pixels": 10, "lead": 9.0}})
    tables["accept"] = [{"rule": "lead-length", "where": "run.b", "why": "booster built into the plug"}]
    found = check(wired(tables))[1]
    assert [(f.where, f.severity, f.accepted) for f in found] == [
        ("run.a", "warning", False),
        ("run.b", "warning", True),
    ]


def test_an_error_cannot_be_accepted() -> None:
    # Source: the design: an error is a hazard, or a patch that cannot be; [[accept]] is for warnings.
    tables = tables_of({"a": {"pixels": 600}}, box={"universes": 1})
    (error,) = check(wired(tables))[1]
    assert error.severity == "error"
    tables["accept"] = [{"rule": error.rule, "where": error.where, "why": "it will be all right"}]
    patch, found = check(wired(tables))
    assert patch is None
    assert [(f.severity, f.rule, f.accepted) for f in found] == [
        ("error", error.rule, False),
        ("note", "accept", False),
    ]
    assert "which is an error" in found[-1].says


@pytest.mark.parametrize("where", ["run.a", "run.gone"])
def test_an_accept_that_meets_no_warning_is_a_note(where: str) -> None:
    # Source: the design: a stale accept is a note.
    tables = tables_of({"a": {"pixels": 10}})
    tables["accept"] = [{"rule": "lead-length", "where": where, "why": "was long once"}]
    (finding,) = check(wired(tables))[1]
    assert (finding.severity, finding.rule, finding.where) == ("note", "accept", "accept[1]")
    assert "lead-length" in finding.says
    assert where in finding.says


def test_accepting_asks_for_rule_and_place_both() -> None:
    # Source: the design: [[accept]] has rule and where.
    tables = tables_of({"a": {"pixels": 10}})
    tables["accept"] = [{"rule": "lead-length", "where": "run.a", "why": "so"}]
    show = wired(tables).show
    given = [
        Finding("warning", "lead-length", "wiring", "run.b", "", ""),
        Finding("warning", "refresh", "timing", "run.a", "", ""),
        Finding("note", "lead-length", "wiring", "run.a", "", ""),
        Finding("error", "lead-length", "wiring", "run.a", "", ""),
    ]
    assert [f.accepted for f in accepted(show, given)[:4]] == [False] * 4
    assert [f.rule for f in accepted(show, given)[4:]] == ["accept"]


def test_what_the_typed_patch_breaks_is_put_right_by_a_new_one(tmp_path: Path) -> None:
    # Source: a reader who pinned a box after its patch was written, and was told to take out a pin that was not there
    text = (SHOWS / "heron-lock.toml").read_text(encoding="utf-8")
    (tmp_path / "willow.csv").write_bytes((SHOWS / "willow.csv").read_bytes())
    show = tmp_path / "show.toml"
    show.write_text(text, encoding="utf-8")
    assert run(tmp_path, "patch", show).returncode == 0
    show.write_text(text.replace("[controller.lockhouse]", "[controller.lockhouse]\nfirst_universe = 40", 1))
    said = " ".join(run(tmp_path, "check", show).stdout.split())
    assert "is pinned to begin at 40/1" in said
    assert "run patcher patch: it puts that right" in said
    assert "take the other pin out" not in said
    assert run(tmp_path, "patch", show).returncode == 0
    assert "is pinned to begin" not in run(tmp_path, "check", show).stdout
