"""Frame times, and every warning: raised where it should be, and not where it should not."""

import pytest
from conftest import wired

from patcher.errors import Finding
from patcher.limits.findings import accepted, check
from patcher.limits.timing import frame_ms, port_times

KINDS = {
    "rgb": {"colour_order": "RGB"},
    "grb": {"colour_order": "GRB"},
    "rgbw": {"colour_order": "RGBW"},
    "slow": {"colour_order": "RGB", "bit_rate": 400_000},
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
    # Source: WS2812B and WS2811 data sheets: 1.25 µs a bit, 24 bits a pixel (CHECKS.md, Pixel data line).
    assert frame_ms([(1, 3)], 800_000, 0) == pytest.approx(0.030)
    assert frame_ms([(1, 4)], 800_000, 0) == pytest.approx(0.040)


@pytest.mark.parametrize(("pixels", "rate"), [(340, 95), (680, 48), (800, 41)])
def test_refresh_of_a_port(pixels: int, rate: int) -> None:
    # Source: arithmetic from the data sheets' 30 µs a pixel, with 300 µs reset (CHECKS.md, Pixel data line).
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
    # Source: arithmetic: 1.25 µs a bit, 8 bits a channel; the nulls before a run are of its own kind (DESIGN.md).
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
    # Source: DESIGN.md: a tee hangs on the same data, and has no port.
    runs = {"a": {"pixels": 40}, "b": {"pixels": 40, "same_data_as": "a"}}
    (time,) = port_times(wired(tables_of(runs)))
    assert time.pixels == 40


# --- each warning, raised and not ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("pixels", "rate", "raised"), [(800, 40, False), (823, 40, False), (824, 40, True)])
def test_refresh(pixels: int, rate: int, raised: bool) -> None:
    # Source: arithmetic: 25 ms a frame less 0.3 ms of reset are 823 pixels of 30 µs and a bit (CHECKS.md).
    found = said(tables_of({"a": {"pixels": pixels}}, frame_rate=rate))
    assert found == ([("refresh", "warning", "controller.box.port.1")] if raised else [])


def test_refresh_names_only_the_port_that_is_too_long_and_counts_its_nulls() -> None:
    # Source: arithmetic as above.
    runs = {"a": {"pixels": 800}, "b": {"pixels": 800, "nulls": 24}}
    found = said(tables_of(runs, ports={"1": ["a"], "2": ["b"]}))
    assert found == [("refresh", "warning", "controller.box.port.2")]


@pytest.mark.parametrize(
    ("run", "units", "raised"),
    [
        ({"lead": 5.0}, "m", False),
        ({"lead": 5.1}, "m", True),
        ({"lead": 16.0}, "ft", False),
        ({"lead": 17.0}, "ft", True),
        ({"lead": 9.0, "nulls": 1}, "m", False),
        ({"lead": 9.0, "lead_via": "booster"}, "m", False),
        ({"lead": 9.0, "lead_via": "differential"}, "m", False),
        ({"lead": 9.0, "lead_via": "cable"}, "m", True),
    ],
)
def test_lead_length(run: dict, units: str, raised: bool) -> None:
    # Common practice, no source: past about 5 m a lead wants a null pixel or a booster (CHECKS.md, People).
    found = said(tables_of({"a": {"pixels": 10} | run}, units=units))
    assert found == ([("lead-length", "warning", "run.a")] if raised else [])


@pytest.mark.parametrize(
    ("start_per", "ports", "raised"),
    [
        ("port", {"1": ["off", "b"]}, True),
        ("port", {"1": ["b", "off"]}, False),
        ("port", {"1": ["off"], "2": ["b"]}, False),
        ("controller", {"1": ["off"], "2": ["b"]}, True),
        ("controller", {"1": ["b"], "2": ["off"]}, False),
        ("run", {"1": ["off", "b"]}, False),
    ],
)
def test_not_hung(start_per: str, ports: dict, raised: bool) -> None:
    # Source: DESIGN.md: a run with hung = false must have nothing behind it on its start; else check says so.
    runs = {"off": {"pixels": 10, "hung": False}, "b": {"pixels": 10}}
    found = said(tables_of(runs, ports, {"start_per": start_per}))
    assert found == ([("not-hung", "warning", "run.off.hung")] if raised else [])


@pytest.mark.parametrize(
    ("start_per", "reorders", "kinds", "ports", "raised"),
    [
        ("port", True, ("rgb", "grb"), {"1": ["a", "b"]}, True),
        ("port", True, ("rgb", "rgb"), {"1": ["a", "b"]}, False),
        ("port", False, ("rgb", "grb"), {"1": ["a", "b"]}, False),
        ("port", True, ("rgb", "grb"), {"1": ["a"], "2": ["b"]}, False),
        ("controller", True, ("rgb", "grb"), {"1": ["a"], "2": ["b"]}, True),
        ("run", True, ("rgb", "grb"), {"1": ["a", "b"]}, False),
    ],
)
def test_mixed_order(start_per: str, reorders: bool, kinds: tuple[str, str], ports: dict, raised: bool) -> None:
    # Source: DESIGN.md: with reorders the box puts colours into chip order itself; it has one setting a start.
    runs = {"a": {"pixels": 10, "pixel": kinds[0]}, "b": {"pixels": 10, "pixel": kinds[1]}}
    found = said(tables_of(runs, ports, {"start_per": start_per, "reorders": reorders}))
    assert found == ([("mixed-order", "warning", "controller.box")] if raised else [])


@pytest.mark.parametrize(("kind", "raised"), [("rgb", False), ("grb", True)])
def test_a_tee_of_another_colour_order(kind: str, raised: bool) -> None:
    # Source: DESIGN.md: a tee hangs on the same data, so its chips must take the colours in the same order.
    runs = {"a": {"pixels": 10}, "b": {"pixels": 10, "same_data_as": "a", "pixel": kind}}
    assert said(tables_of(runs)) == ([("mixed-order", "warning", "run.b.pixel")] if raised else [])


@pytest.mark.parametrize(
    ("bands", "raised"),
    [(([1, 2], [3, 6]), False), (([1, 2], [4, 6]), True), (([1, 5],), True), (([2, 6],), True)],
)
def test_bare_lines(bands: tuple[list[int], ...], raised: bool) -> None:
    # Source: DESIGN.md: a band is some whole lines of a grid that is drawn once, on its prop.
    runs = {
        f"band-{number}": {"shape": "band", "of": "wall", "band": band, "data_in": "bottom-left"}
        for number, band in enumerate(bands)
    }
    tables = tables_of(runs)
    tables["prop"] = {
        "wall": {"area": [[0.0, 0.0], [1.0, 1.0]], "columns": 6, "rows": 3, "lines": "columns", "turns": "serpentine"}
    }
    assert said(tables) == ([("bare-lines", "warning", "prop.wall")] if raised else [])


def test_unused_things_are_notes_and_a_spare_is_none() -> None:
    # Source: DESIGN.md: an error is a hazard or a patch that cannot be, a warning a worse show; a note is neither.
    tables = tables_of({"a": {"pixels": 10}})
    tables["pixel"]["left-over"] = {"colour_order": "RGB"}
    tables["controller"]["idle"] = {"address": "192.0.2.2", "ports": 1}
    tables["controller"]["shelf"] = {"ports": 1, "spare": True}
    assert said(tables) == [("unused", "note", "pixel.left-over"), ("unused", "note", "controller.idle")]


@pytest.mark.parametrize(
    ("kinds", "ports", "raised"),
    [
        (("rgb", "slow"), {"1": ["a", "b"]}, True),
        (("rgb", "slow"), {"1": ["a"], "2": ["b"]}, False),
        (("rgb", "late"), {"1": ["a", "b"]}, False),
    ],
)
def test_bit_rate(kinds: tuple[str, str], ports: dict, raised: bool) -> None:
    # From memory: one data line has one clock, so chips that want 400 and 800 kb/s cannot share it.
    runs = {"a": {"pixels": 10, "pixel": kinds[0]}, "b": {"pixels": 10, "pixel": kinds[1]}}
    assert said(tables_of(runs, ports)) == ([("bit-rate", "warning", "controller.box.port.1")] if raised else [])


# --- accepting ----------------------------------------------------------------------------------------------------


def test_an_accepted_warning_stays_a_warning_and_is_marked() -> None:
    # Source: DESIGN.md: [[accept]]: a warning that the person has judged.
    tables = tables_of({"a": {"pixels": 10, "lead": 9.0}, "b": {"pixels": 10, "lead": 9.0}})
    tables["accept"] = [{"rule": "lead-length", "where": "run.b", "why": "booster built into the plug"}]
    found = check(wired(tables))[1]
    assert [(f.where, f.severity, f.accepted) for f in found] == [
        ("run.a", "warning", False),
        ("run.b", "warning", True),
    ]


def test_an_error_cannot_be_accepted() -> None:
    # Source: DESIGN.md: an error is a hazard, or a patch that cannot be; [[accept]] is for warnings.
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


@pytest.mark.parametrize("where", ["run.a", "run.gone"])
def test_an_accept_that_meets_no_warning_is_a_note(where: str) -> None:
    # Source: the brief of the project: a stale accept is a note.
    tables = tables_of({"a": {"pixels": 10}})
    tables["accept"] = [{"rule": "lead-length", "where": where, "why": "was long once"}]
    (finding,) = check(wired(tables))[1]
    assert (finding.severity, finding.rule, finding.where) == ("note", "accept", "accept[1]")
    assert "lead-length" in finding.says
    assert where in finding.says


def test_accepting_asks_for_rule_and_place_both() -> None:
    # Source: DESIGN.md: [[accept]] has rule and where.
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
