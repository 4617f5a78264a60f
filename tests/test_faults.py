"""Faults against a slow world of its own: a box that reads its table pixel by pixel and pushes octets down a wire, and
chips on that wire that each take the first few and pass on the rest. It shares no code with the faults.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

import numpy as np
import pytest
from conftest import wired
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st
from test_yard import CORNERS, artnet, e131, walk

from patcher.errors import PatcherError
from patcher.faults import DARK, KINDS, RANDOM, Built, Fault, build, departure, parse, planned, slot_index
from patcher.patch.patch import Patch
from patcher.placement.allocation import allocate
from patcher.show.schema import Show
from patcher.wiring import Wiring
from patcher.yard.yard import Yard

ORDERS = {"mono": "W", "rgb": "RGB", "grb": "GRB", "rgbw": "RGBW", "gwrb": "GWRB", "five": "RGBWA"}
Address = tuple[int, int]
GARBAGE = -1


# --- the slow world -----------------------------------------------------------------------------------------------


@dataclass
class Chip:
    """One pixel on the wire: takes its octets and passes on the rest; `lamp` is None for a null pixel."""

    order: str
    lamp: tuple[str, int] | None = None
    stays_dark: bool = False
    dark_letters: set[str] = field(default_factory=set)
    cut_before: bool = False
    garbles: bool = False
    shows: dict[str, int] = field(default_factory=dict)

    def pass_on(self, octets: list[int]) -> list[int]:
        if self.cut_before:
            octets = []
        if self.garbles:
            octets = [GARBAGE] * len(octets)
        mine, rest = octets[: len(self.order)], octets[len(self.order) :]
        mine = mine + [0] * (len(self.order) - len(mine))
        self.shows = dict(zip(self.order, mine, strict=True))
        for letter in self.order:
            if self.stays_dark or letter in self.dark_letters:
                self.shows[letter] = 0
        return rest


@dataclass
class Place:
    """A lead's end: nulls there, then the chips; and tees, each with nulls and chips of its own, on the same data."""

    nulls: list[Chip]
    chips: list[Chip]
    tees: list[Place] = field(default_factory=list)


def push(chain: list[Place], octets: list[int]) -> None:
    for place in chain:
        for tee in place.tees:
            push([tee], list(octets))
        for chip in [*place.nulls, *place.chips]:
            octets = chip.pass_on(octets)


def round_of(table: dict) -> list[int]:
    """The drawn places of a loop, from 1, as a finger goes round it from where its data enters."""
    begin, backwards = table.get("data_in", "first"), table.get("backwards", False) or table.get("data_in") == "last"
    count = table["pixels"]
    if begin in CORNERS:
        ends = [[pick(axis) for axis in zip(*table["corners"], strict=True)] for pick in (min, max)]
        outer = [ends["right" in begin][0], ends["top" in begin][1]]
        corner = min(table["corners"], key=lambda at: math.dist(at, outer))
        begin = 1 + min(range(count), key=lambda place: math.dist(drawn_at(table, place), corner))
    place = {"first": 1, "last": count}.get(begin, begin)
    found = []
    while len(found) < count:
        found.append(place)
        place += -1 if backwards else 1
        place = count if place < 1 else 1 if place > count else place
    return found


def drawn_at(table: dict, place: int) -> list[float]:
    """Where a drawn place of a loop is, from 0: walked along its sides."""
    corners = table["corners"]
    sides = list(zip(corners, [*corners[1:], corners[0]], strict=True))
    left = place / table["pixels"] * sum(math.dist(a, b) for a, b in sides)
    for a, b in sides:
        if left <= math.dist(a, b):
            return [a[axis] + (b[axis] - a[axis]) * left / math.dist(a, b) for axis in (0, 1)]
        left -= math.dist(a, b)
    return corners[0]


def pixels_of(table: dict) -> int:
    if "corners" in table:
        return table["pixels"] - len(table.get("gaps", ()))
    return table["columns"] * table["rows"] - len(table.get("gaps", ())) if "columns" in table else table["pixels"]


def cells_on_the_way(table: dict, plan: dict) -> list[tuple[int, int]]:
    if "corners" in table:
        return [place for place in round_of(table) if place not in plan.get("gaps", ())]
    empty = {walk(plan)[gap - 1] for gap in plan.get("gaps", ())}
    return [cell for cell in walk(table) if cell not in empty]


def starts_typed(box: str, table: dict, patch: Patch) -> dict[str, Address]:
    """What should be typed into a box: the start of each chain, by its first run."""
    starts: dict[str, Address] = {}
    for start in patch.starts:
        if start.controller == box:
            port = start.chain.port if start.chain.port is not None else min(int(p) for p in table["port"])
            starts[start.chain.run or table["port"][str(port)][0]] = (start.universe, start.channel)
    return starts


def named_starts(name: str, tables: dict) -> list[tuple[str, str]]:
    """The box and the first run of each start that is named: by a port, by a run, or all of a box, port by port."""
    for box, table in tables["controller"].items():
        chains = [table["port"][port] for port in sorted(table["port"], key=int)]
        if name == box:
            per = {"controller": [chains[0][0]], "port": [c[0] for c in chains], "run": [r for c in chains for r in c]}
            return [(box, run) for run in per[table["start_per"]]]
        for port, chain in table["port"].items():
            if name == f"{box}/{port}":
                return [(box, chain[0])]
            if name in chain:
                return [(box, name)]
    raise AssertionError(name)


def send_box(
    box: str, table: dict, tables: dict, patch: Patch, memory: dict[Address, int], faults: list[Fault]
) -> dict[int, list[int]]:
    """What a box sends on each port: it reads its table of starts, one pixel after the other."""
    if any(fault.kind == "dead" and fault.where == box for fault in faults):
        return {}
    typed_count: dict[int, int] = {}
    for port, chain in table["port"].items():
        lamps = sum(pixels_of(tables["run"][run]) for run in chain)
        nulls = 0 if table["skips_nulls"] else sum(tables["run"][run].get("nulls", 0) for run in chain)
        typed_count[int(port)] = lamps + nulls
    for fault in faults:
        if fault.kind == "count" and fault.where.split("/")[0] == box:
            typed_count[int(fault.where.split("/")[1])] += int(fault.value)
    starts = starts_typed(box, table, patch)
    for fault in faults:
        if fault.kind == "swapped-starts":
            every = {name: starts_typed(name, own, patch) for name, own in tables["controller"].items()}
            one, other = ([(b, run) for b, run in named_starts(name, tables)] for name in fault.where.split(","))
            for (here, run), (there, second) in zip(one, other, strict=False):
                if here == box:
                    starts[run] = every[there][second]
                if there == box:
                    starts[second] = every[here][run]
    for fault in faults:
        if fault.kind == "universe-shift":
            for name, run in named_starts(fault.where, tables):
                if name == box:
                    starts[run] = (starts[run][0] + int(fault.value), starts[run][1])
    for fault in faults:
        if fault.kind == "channel-shift":
            run = fault.where
            if run == box:
                run = table["port"][min(table["port"], key=int)][0]
            elif "/" in run and run.split("/")[0] == box:
                port = run.split("/")[1] if table["start_per"] != "controller" else min(table["port"], key=int)
                run = table["port"][port][0]
            if run in starts:
                universe, channel = starts[run]
                channel += int(fault.value)
                while channel > 512:
                    universe, channel = universe + 1, channel - 512
                while channel < 1:
                    universe, channel = universe - 1, channel + 512
                starts[run] = (universe, channel)
    sent: dict[int, list[int]] = {}
    universe, channel = 0, 0
    for port in sorted(int(number) for number in table["port"]):
        out: list[int] = []
        left = typed_count[port]
        chain = table["port"][str(port)]
        for run in chain:
            if run in starts:
                universe, channel = starts[run]
            order = ORDERS[tables["run"][run]["pixel"]]
            in_channels = "".join(sorted(order, key="RGBWA".index)) if table["reorders"] else order
            nulls = tables["run"][run].get("nulls", 0)
            if table["skips_nulls"]:
                out += [0] * len(order) * nulls
                wanted = pixels_of(tables["run"][run])
            else:
                wanted = nulls + pixels_of(tables["run"][run])
            if run == chain[-1]:
                wanted = left
            for _ in range(min(wanted, left)):
                if channel + len(order) - 1 > 512:
                    universe, channel = universe + 1, 1
                values = {
                    letter: memory.get((universe, channel + number), 0) for number, letter in enumerate(in_channels)
                }
                out += [values[letter] for letter in order]
                channel += len(order)
                left -= 1
        dead = any(fault.kind == "dead" and fault.where == f"{box}/{port}" for fault in faults)
        sent[port] = [] if dead else out
    return sent


def world(
    tables: dict, patch: Patch, memories: dict[str, dict[Address, int]], faults: list[Fault]
) -> dict[tuple[str, int], dict[str, int]]:
    """What every pixel shows; GARBAGE where its data is broken."""
    order_of = {run: ORDERS[table["pixel"]] for run, table in tables["run"].items()}

    def place(run: str) -> Place:
        table = tables["run"][run]
        chips = [Chip(order_of[run], (run, number + 1)) for number in range(pixels_of(table))]
        now = dict(table)
        for fault in faults:
            if fault.where == run and fault.kind == "data-in" and "corners" in table:
                now["backwards"] = fault.value.endswith("-backwards")
                begin = fault.value.removesuffix("-backwards")
                now["data_in"] = int(begin) if begin.isdigit() else begin
            elif fault.where == run and fault.kind in ("data-in", "lines", "turns"):
                now[fault.kind.replace("-", "_")] = fault.value
        if now != table:
            plan = cells_on_the_way(table, table)
            chips = [chips[plan.index(cell)] for cell in cells_on_the_way(now, table)]
        for fault in faults:
            if fault.where == run and fault.kind == "reversed":
                chips.reverse()
            if fault.where == run and fault.kind == "colour-order":
                for chip in chips:
                    chip.order = fault.value
        tees = [place(name) for name, other in tables["run"].items() if other.get("same_data_as") == run]
        return Place([Chip(order_of[run]) for _ in range(table.get("nulls", 0))], chips, tees)

    chains = {
        (box, int(port)): [place(run) for run in chain]
        for box, table in tables["controller"].items()
        for port, chain in table["port"].items()
    }
    every_place = [p for chain in chains.values() for one in chain for p in (one, *one.tees)]
    every_chip = {chip.lamp: chip for p in every_place for chip in p.chips}
    assert len(every_chip) == sum(pixels_of(table) for table in tables["run"].values())
    for fault in faults:
        run, _, pixel = fault.where.rpartition("/")
        if fault.kind == "replaced":
            every_chip[run, int(pixel)].order = fault.value
        if fault.kind in ("dark", "dark-channel", "cut", "flicker"):
            chip = every_chip[run, int(pixel)]
            chip.stays_dark |= fault.kind == "dark"
            chip.cut_before |= fault.kind == "cut"
            chip.garbles |= fault.kind == "flicker"
            chip.dark_letters |= set(fault.value)
        if fault.kind == "missing":
            for p in every_place:
                p.chips[:] = [chip for chip in p.chips if chip.lamp != (run, int(pixel))]
    runs_at = {
        run: (chains[box, int(port)], number)
        for box, table in tables["controller"].items()
        for port, chain in table["port"].items()
        for number, run in enumerate(chain)
    }
    for fault in faults:
        if fault.kind == "swapped-runs":
            one, other = fault.where.split(",")
            (chain, a), (second, b) = runs_at[one], runs_at[other]
            chain[a].chips, second[b].chips = second[b].chips, chain[a].chips
            runs_at[one], runs_at[other] = (second, b), (chain, a)
        if fault.kind == "swapped-with-leads":
            one, other = fault.where.split(",")
            (chain, a), (second, b) = runs_at[one], runs_at[other]
            chain[a], second[b] = second[b], chain[a]
            runs_at[one], runs_at[other] = (second, b), (chain, a)
    # Cut-off pixels are cut off from the near end of the cable on, as a person would walk along it.
    shifts = [fault for fault in faults if fault.kind == "shift"]
    for fault in sorted(shifts, key=lambda f: runs_at.get(f.where, ([], 0))[1]):
        run, amount = fault.where, int(fault.value)
        if run in runs_at:
            chain, at = runs_at[run]
        else:
            (tee,) = [p for one in every_place for p in one.tees if tee_name(p) == run]
            chain, at = [tee], 0
        if amount > 0:
            chain[at].nulls += [Chip(order_of[run]) for _ in range(amount)]
        for _ in range(-amount):
            ahead = [chain[at].nulls, *(part for p in reversed(chain[:at]) for part in (p.chips, p.nulls))]
            for part in ahead:
                if part:
                    part.pop()
                    break
            else:
                chain[at].chips[:1] = []
    sent = {}
    for box, table in tables["controller"].items():
        for port, out in send_box(box, table, tables, patch, memories[box], faults).items():
            sent[box, port] = out
    socket = {port: port for port in chains}
    for fault in faults:
        if fault.kind == "swapped-ports":
            one, other = ((name.split("/")[0], int(name.split("/")[1])) for name in fault.where.split(","))
            socket[one], socket[other] = other, one
    for port, chain in chains.items():
        push(chain, sent.get(socket[port], []))
    return {
        lamp: {letter: chip.shows.get(letter, 0) for letter in order_of[lamp[0]]}
        for lamp, chip in every_chip.items()
        if lamp is not None
    }


def tee_name(place: Place) -> str:
    return next(chip.lamp[0] for chip in place.chips if chip.lamp)


# --- random shows and faults --------------------------------------------------------------------------------------


@st.composite
def some_shows(draw) -> dict:
    """Up to three boxes of each kind of start, with runs of all widths on ports, nulls, grids and tees."""
    runs: dict[str, dict] = {}
    controllers = {}
    for number in range(draw(st.integers(1, 3))):
        box = f"box-{number}"
        per = draw(st.sampled_from(("controller", "port", "run")))
        one_kind = draw(st.sampled_from((None, None, *ORDERS)))
        ports: dict[str, list[str]] = {}
        for port in draw(st.lists(st.integers(1, 4), min_size=1, max_size=3, unique=True)):
            ports[str(port)] = []
            for _ in range(draw(st.integers(1, 3))):
                run = f"run-{len(runs)}"
                kind = one_kind or draw(st.sampled_from(list(ORDERS)))
                table = {"pixel": kind, "nulls": draw(st.integers(0, 2))}
                what = draw(st.integers(0, 4))
                if what == 1:
                    table |= {
                        "shape": "loop", "corners": [[0.0, 0.0], [0.1, 1.1], [2.4, 1.0], [2.2, -0.1]],
                        "pixels": draw(st.integers(5, 20)),
                        "data_in": draw(st.sampled_from(("first", "last", 3, *CORNERS))),
                        "gaps": draw(st.lists(st.integers(1, 4), unique=True, max_size=2)),
                    }  # fmt: skip
                    table["backwards"] = draw(st.booleans()) and table["data_in"] != "last"
                elif what == 0:
                    table |= {
                        "shape": "grid", "area": [[0.0, 0.0], [1.0, 1.0]],
                        "columns": draw(st.integers(2, 4)), "rows": draw(st.integers(2, 4)),
                        "lines": draw(st.sampled_from(("rows", "columns"))),
                        "turns": draw(st.sampled_from(("serpentine", "same-way"))),
                        "data_in": draw(st.sampled_from(CORNERS)),
                        "gaps": draw(st.lists(st.integers(1, 4), unique=True, max_size=2)),
                    }  # fmt: skip
                else:
                    table["pixels"] = draw(st.one_of(st.integers(1, 9), st.just(172)))
                runs[run] = table
                ports[str(port)].append(run)
        first_port = min(ports, key=int)
        key = {"controller": box, "port": first_port, "run": ports[first_port][0]}[per]
        controllers[box] = {
            "address": f"192.0.2.{number + 1}", "ports": 4, "port": ports, "start_per": per,
            "protocol": draw(st.sampled_from(("e131", "artnet"))), "consecutive": False,
            "reorders": draw(st.booleans()), "skips_nulls": draw(st.booleans()),
            "start": {key: f"{20 + 30 * number}/{draw(st.sampled_from((1, 400, 490, 508)))}"},
        }  # fmt: skip
    for source in draw(st.lists(st.sampled_from(sorted(runs)), max_size=2, unique=True)):
        runs[f"tee-of-{source}"] = {
            "pixel": runs[source]["pixel"], "pixels": pixels_of(runs[source]),
            "nulls": runs[source]["nulls"], "same_data_as": source,
        }  # fmt: skip
    show = {"title": "faults", "first_universe": 10, "placement": draw(st.sampled_from(("fresh", "follow")))}
    return {
        "show": show, "pixel": {kind: {"colour_order": order} for kind, order in ORDERS.items()},
        "controller": controllers, "run": runs,
    }  # fmt: skip


def choices(tables: dict, kind: str) -> list[str]:
    """Places that a fault of a kind may have in a show."""
    runs, boxes = tables["run"], tables["controller"]
    used = [f"{box}/{port}" for box, table in boxes.items() for port in table["port"]]
    match kind:
        case "reversed" | "colour-order" | "shift":
            return list(runs)
        case "data-in":
            return [run for run, table in runs.items() if "columns" in table or "corners" in table]
        case "lines" | "turns":
            return [run for run, table in runs.items() if "columns" in table]
        case "swapped-ports":
            every = [f"{box}/{port}" for box in boxes for port in range(1, 5)]
            return [f"{a},{b}" for a in used for b in every if a != b]
        case "swapped-runs" | "swapped-with-leads":
            hung = [run for table in boxes.values() for chain in table["port"].values() for run in chain]
            return [f"{a},{b}" for a in hung for b in hung if a != b]
        case "swapped-starts":
            own = [
                name for name in every_start(tables) if name not in boxes or boxes[name]["start_per"] == "controller"
            ]
            pairs = [(a, b) for a in own for b in own if a != b] + [(a, b) for a in boxes for b in boxes if a != b]
            return [f"{a},{b}" for a, b in pairs if not set(named_starts(a, tables)) & set(named_starts(b, tables))]
        case "dead":
            return [*boxes, *used]
        case "universe-shift":
            return every_start(tables)
        case "count":
            return used
        case "channel-shift":
            whole = [box for box, table in boxes.items() if table["start_per"] == "controller"]
            single = [
                run
                for table in boxes.values() if table["start_per"] == "run"
                for chain in table["port"].values() for run in chain
            ]  # fmt: skip
            return [*used, *whole, *single]
        case _:
            return [f"{run}/{pixel}" for run, table in runs.items() for pixel in range(1, pixels_of(table) + 1)]


def every_start(tables: dict) -> list[str]:
    """Every name of a start, and of a box for all of its."""
    found = list(tables["controller"])
    for box, table in tables["controller"].items():
        for port, chain in table["port"].items():
            found += [f"{box}/{port}"] if table["start_per"] != "controller" else []
            found += chain if table["start_per"] == "run" else []
    return found


def ahead(tables: dict, run: str) -> int:
    """Pixels that can be cut off before a run's first one, or at its beginning, so that one is left."""
    count = tables["run"][run]["nulls"] + pixels_of(tables["run"][run]) - 1
    for table in tables["controller"].values():
        for chain in table["port"].values():
            for other in chain[: chain.index(run)] if run in chain else ():
                count += tables["run"][other]["nulls"] + pixels_of(tables["run"][other])
    return count


def a_fault(draw, tables: dict) -> str | None:
    kind = draw(st.sampled_from(KINDS))
    places = choices(tables, kind)
    if not places:
        return None
    where = draw(st.sampled_from(places))
    order = ORDERS[tables["run"][where.split("/")[0]]["pixel"]] if where.split("/")[0] in tables["run"] else ""
    sign = draw(st.sampled_from((1, -1)))
    match kind:
        case "data-in" if "corners" in tables["run"][where]:
            begin = draw(st.sampled_from(("first", "last", *CORNERS, *range(1, tables["run"][where]["pixels"] + 1))))
            value = f"{begin}" + "-backwards" * (draw(st.booleans()) and begin != "last")
        case "data-in":
            value = draw(st.sampled_from(CORNERS))
        case "replaced":
            value = draw(
                st.sampled_from([one for one in (*ORDERS.values(), "BRG", "WRGB", "RGBWAXYZ") if one != order])
            )
        case "lines":
            value = draw(st.sampled_from(("rows", "columns")))
        case "turns":
            value = draw(st.sampled_from(("serpentine", "same-way")))
        case "colour-order":
            value = "".join(draw(st.permutations(order)))
        case "dark-channel":
            value = draw(st.sampled_from(order))
        case "shift":
            most = 4 if sign > 0 else min(ahead(tables, where), draw(st.sampled_from((1, 3, 30))))
            if most == 0:
                return None
            value = str(sign * draw(st.integers(1, most)))
        case "universe-shift":
            value = str(sign * draw(st.integers(1, 9)))
        case "channel-shift":
            value = str(sign * draw(st.integers(1, 511)))
        case "count":
            box, port = where.split("/")
            table = tables["controller"][box]
            planned_here = sum(
                pixels_of(tables["run"][run]) + (0 if table["skips_nulls"] else tables["run"][run]["nulls"])
                for run in table["port"][port]
            )
            value = str(sign * draw(st.integers(1, planned_here if sign < 0 else 200)))
        case _:
            value = ""
    return f"{kind}:{where}" + (f"={value}" if value else "")


def receive_all(yard: Yard, wiring: Wiring, memories: dict[str, dict[Address, int]], sequence: int = 1) -> None:
    for box, memory in memories.items():
        make = e131 if wiring.show.controllers[box].protocol == "e131" else artnet
        for universe in yard.boxes[box].universes:  # one that is missing there leaves pixels dark that should not be
            slots = bytes(memory[universe, channel] for channel in range(1, 513))
            yard.receive([box], make(universe, slots, sequence), "192.0.2.200:5000", 0.0)


RNG = random.Random(7)
MEMORY = {(universe, channel): RNG.randrange(1, 256) for universe in range(1, 115) for channel in range(1, 513)}
"""Every box is sent the same values on every universe that any of them may listen to."""


SLOW = [HealthCheck.too_slow, HealthCheck.filter_too_much]


@settings(max_examples=50, deadline=None, suppress_health_check=SLOW)
@given(st.data())
def test_the_yards_lamps_are_those_of_the_slow_world(data: st.DataObject) -> None:
    # Source: DESIGN.md, Faults; WS2811 and WS2812B data sheets (CHECKS.md): a pixel takes the first octets that reach
    # it and passes on the rest.
    against_the_slow_world(data)


@pytest.mark.long
@settings(max_examples=1500, deadline=None, suppress_health_check=SLOW)
@given(st.data())
def test_the_yards_lamps_are_those_of_the_slow_world_in_many_shows(data: st.DataObject) -> None:
    # Source: as above.
    against_the_slow_world(data)


def against_the_slow_world(data: st.DataObject) -> None:
    """A random show with one to three random faults, in the yard with real packets and in the slow world."""
    tables = data.draw(some_shows())
    wiring = wired(tables)
    patch = allocate(wiring).patch
    texts = [a_fault(data.draw, tables) for _ in range(data.draw(st.integers(1, 3)))]
    faults = [parse(text, wiring.show) for text in texts if text]
    try:
        built = build(wiring.show, faults)
    except PatcherError:
        assume(False)
    for fault in faults:
        event(fault.kind)
    memories = dict.fromkeys(tables["controller"], MEMORY)
    wanted = world(tables, patch, memories, faults)
    yard = Yard(wiring, patch, built)
    receive_all(yard, wiring, memories)
    plan = planned(wiring, patch)
    takes = plan.takes | departure(plan, faults).takes
    for (run, pixel), lamp in wanted.items():
        shown = dict(zip(ORDERS[tables["run"][run]["pixel"]], yard.pixels[run][pixel - 1].tolist(), strict=True))
        taken = dict(zip(ORDERS[tables["run"][run]["pixel"]], takes[run][pixel - 1].tolist(), strict=True))
        for letter, value in lamp.items():
            assert (taken[letter] == RANDOM) is (value == GARBAGE), (run, pixel, letter, faults)
            if value != GARBAGE:
                assert shown[letter] == value, (run, pixel, letter, faults)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(st.data())
def test_a_departure_names_what_changes_and_nothing_else(data: st.DataObject) -> None:
    # Source: DESIGN.md, Faults: a difference between the wiring as planned and as built.
    tables = data.draw(some_shows())
    wiring = wired(tables)
    plan = planned(wiring, allocate(wiring).patch)
    text = a_fault(data.draw, tables)
    assume(text is not None)
    fault = parse(text, wiring.show)
    found = departure(plan, [fault])
    assert all(not np.array_equal(taken, plan.takes[run]) for run, taken in found.takes.items())
    assert all(box != plan.boxes[run] for run, box in found.boxes.items())
    assert all(universes != plan.patch.box_universes[box] for box, universes in found.universes.items())
    lamps = plan.takes["run-0"]
    assert (lamps >= 0).all()
    again = departure(plan, [])
    assert (again.takes, again.boxes, again.universes) == ({}, {}, {})


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_a_fault_is_read_as_it_is_written(data: st.DataObject) -> None:
    # Source: DESIGN.md, Faults: one way to write a fault, KIND:WHERE=VALUE.
    tables = data.draw(some_shows())
    show = wired(tables).show
    text = a_fault(data.draw, tables)
    assume(text is not None)
    fault = parse(text, show)
    assert str(fault) == text
    assert parse(str(fault), show) == fault
    kind, _, rest = text.partition(":")
    assert (fault.kind, fault.where, fault.value) == (kind, rest.partition("=")[0], rest.partition("=")[2])


# --- single cases that a person can count on their fingers --------------------------------------------------------


def small(**box: object) -> dict:
    """Two runs of four RGB pixels on port 1, one of four on port 2: channels 1–12 and 13–24, and the next universe."""
    tables = {
        "show": {"title": "small"},
        "pixel": {"rgb": {"colour_order": "RGB"}},
        "controller": {
            "box": {"address": "192.0.2.1", "ports": 4, "port": {"1": ["a", "b"], "2": ["c"]}} | box,
            "shelf": {"ports": 2, "spare": True},
        },
        "run": {name: {"pixel": "rgb", "pixels": 4} for name in "abc"},
    }
    tables["run"]["off"] = {"pixel": "rgb", "pixels": 4, "hung": False}
    tables["controller"]["box"]["port"]["3"] = ["off"]
    return tables


def with_loop() -> dict:
    """The same, with a triangle on its tip behind `c`: nobody can say which of its corners is bottom left."""
    tables = small()
    corners = [[0.0, 1.0], [2.0, 1.0], [1.0, 0.0]]
    tables["run"]["o"] = {"pixel": "rgb", "shape": "loop", "corners": corners, "pixels": 8}
    tables["controller"]["box"]["port"]["2"].append("o")
    return tables


def first_channels(tables: dict, *texts: str) -> dict[str, list[int]]:
    """The running channel of each pixel's first channel, in pixels: 0 for the first of its universe."""
    wiring = wired(tables)
    plan = planned(wiring, allocate(wiring).patch)
    faults = build(wiring.show, [parse(text, wiring.show) for text in texts]).faults
    takes = plan.takes | departure(plan, faults).takes
    return {
        run: [int(c) if c < 0 else int(c) // 512 * 1000 + int(c) % 512 // 3 for c in takes[run][:, 0]] for run in "abc"
    }


@pytest.mark.parametrize(
    ("texts", "a", "b", "c"),
    [
        ([], [0, 1, 2, 3], [4, 5, 6, 7], [1000, 1001, 1002, 1003]),
        (["shift:b=1"], [0, 1, 2, 3], [5, 6, 7, DARK], [1000, 1001, 1002, 1003]),
        (["shift:a=2"], [2, 3, 4, 5], [6, 7, DARK, DARK], [1000, 1001, 1002, 1003]),
        (["shift:b=-1"], [0, 1, 2, DARK], [3, 4, 5, 6], [1000, 1001, 1002, 1003]),
        (["shift:a=-1"], [DARK, 0, 1, 2], [3, 4, 5, 6], [1000, 1001, 1002, 1003]),
        (["missing:a/2"], [0, DARK, 1, 2], [3, 4, 5, 6], [1000, 1001, 1002, 1003]),
        (["cut:a/3"], [0, 1, DARK, DARK], [DARK] * 4, [1000, 1001, 1002, 1003]),
        (["cut:b/1", "reversed:b"], [0, 1, 2, 3], [DARK, 6, 5, 4], [1000, 1001, 1002, 1003]),
        (["flicker:b/3"], [0, 1, 2, 3], [4, 5, RANDOM, RANDOM], [1000, 1001, 1002, 1003]),
        (["dark:a/1", "dark:b/4"], [DARK, 1, 2, 3], [4, 5, 6, DARK], [1000, 1001, 1002, 1003]),
        (["swapped-runs:a,b"], [4, 5, 6, 7], [0, 1, 2, 3], [1000, 1001, 1002, 1003]),
        (["swapped-ports:box/1,box/2"], [1000, 1001, 1002, 1003], [DARK] * 4, [0, 1, 2, 3]),
        (["swapped-ports:box/2,box/4"], [0, 1, 2, 3], [4, 5, 6, 7], [DARK] * 4),
        (["dead:box/1"], [DARK] * 4, [DARK] * 4, [1000, 1001, 1002, 1003]),
        (["dead:box"], [DARK] * 4, [DARK] * 4, [DARK] * 4),
        (["universe-shift:box=2"], [2000, 2001, 2002, 2003], [2004, 2005, 2006, 2007], [3000, 3001, 3002, 3003]),
        (["channel-shift:box/1=3"], [1, 2, 3, 4], [5, 6, 7, 8], [1000, 1001, 1002, 1003]),
        (["count:box/1=-3"], [0, 1, 2, 3], [4, DARK, DARK, DARK], [1000, 1001, 1002, 1003]),
        (["count:box/1=2", "shift:b=1"], [0, 1, 2, 3], [5, 6, 7, 8], [1000, 1001, 1002, 1003]),
        (["missing:a/2", "shift:b=1"], [0, DARK, 1, 2], [4, 5, 6, 7], [1000, 1001, 1002, 1003]),
        (["swapped-runs:b,c"], [0, 1, 2, 3], [1000, 1001, 1002, 1003], [4, 5, 6, 7]),
        (["universe-shift:box/1=2"], [2000, 2001, 2002, 2003], [2004, 2005, 2006, 2007], [1000, 1001, 1002, 1003]),
        (["swapped-starts:box/1,box/2"], [1000, 1001, 1002, 1003], [1004, 1005, 1006, 1007], [0, 1, 2, 3]),
        (["swapped-starts:box/1,box/2", "channel-shift:box/2=3"], [1000, 1001, 1002, 1003],
         [1004, 1005, 1006, 1007], [1, 2, 3, 4]),
    ],
)  # fmt: skip
def test_faults_on_the_fingers(texts: list[str], a: list[int], b: list[int], c: list[int]) -> None:
    # Source: DESIGN.md, Faults, counted by hand: channels 1–3 are pixel 0 of the first universe.
    assert first_channels(small(), *texts) == {"a": a, "b": b, "c": c}


def test_a_wider_pixel_moves_all_behind_it_by_an_octet() -> None:
    # Source: WS2811 and WS2812B data sheets (CHECKS.md): a pixel takes the first octets and passes on the rest.
    wiring = wired(small())
    plan = planned(wiring, allocate(wiring).patch)
    found = departure(plan, [parse("replaced:a/2=GRBW", wiring.show)]).takes
    assert found["a"].tolist() == [[0, 1, 2], [4, 3, 5], [7, 8, 9], [10, 11, 12]]
    assert found["b"][-1].tolist() == [22, 23, DARK]
    found = departure(plan, [parse("replaced:a/4=BG", wiring.show)]).takes
    assert found["a"][3].tolist() == [DARK, 10, 9]
    assert found["b"][0].tolist() == [11, 12, 13]


def test_nulls_go_along_with_their_leads() -> None:
    # Source: counted by hand: b's null takes the third pixel's data where its lead stays, the first's where it goes.
    tables = small()
    tables["run"]["b"] |= {"nulls": 1, "pixels": 2}
    without, along = (first_channels(tables, f"swapped-{how}:a,b") for how in ("runs", "with-leads"))
    assert (without["b"], without["a"]) == ([0, 1], [3, DARK, 4, 5])
    assert (along["b"], along["a"]) == ([1, 2], [3, DARK, 4, 5])


@pytest.mark.parametrize(
    ("value", "order"),
    [
        ("3", [7, 8, 1, 2, 3, 4, 5, 6]), ("3-backwards", [3, 2, 1, 8, 7, 6, 5, 4]), ("last", [8, 7, 6, 5, 4, 3, 2, 1]),
        ("top-right", [6, 7, 8, 1, 2, 3, 4, 5]), ("top-right-backwards", [4, 3, 2, 1, 8, 7, 6, 5]),
    ],
)  # fmt: skip
def test_a_loop_entered_elsewhere(value: str, order: list[int]) -> None:
    # Source: counted by hand: sides of 2, √2 and √2 m; eight places of 0.604 m, the second corner nearest to the fourth
    wiring = wired(with_loop())
    plan = planned(wiring, allocate(wiring).patch)
    found = departure(plan, [parse(f"data-in:o={value}", wiring.show)]).takes["o"]
    assert (found[:, 0] - plan.takes["o"][0, 0] == (np.array(order) - 1) * 3).all()


def test_a_count_moves_the_next_port_where_ports_follow_on() -> None:
    # Source: DESIGN.md: with start_per = "controller" the ports follow on inside one chain.
    tables = small(start_per="controller")
    tables["controller"]["box"]["port"].pop("3")
    tables["run"].pop("off")
    assert first_channels(tables)["c"] == [8, 9, 10, 11]
    found = first_channels(tables, "count:box/1=-3")
    assert (found["b"], found["c"]) == ([4, DARK, DARK, DARK], [5, 6, 7, 8])
    assert first_channels(tables, "count:box/1=2")["c"] == [10, 11, 12, 13]
    assert first_channels(tables, "channel-shift:box=6")["c"] == [10, 11, 12, 13]


def test_a_run_that_is_not_up_this_season_is_dark() -> None:
    # Source: DESIGN.md: hung = false: not up this season; its addresses stay reserved.
    wiring = wired(small())
    plan = planned(wiring, allocate(wiring).patch)
    assert (plan.takes["off"] == DARK).all()


def test_where_slots_stand() -> None:
    # Source: DESIGN.md: universe and channel count from 1; a running channel from 0.
    takes = np.array([[0, 1], [511, 512], [1024, DARK], [RANDOM, 1536]], dtype=np.int32)
    assert slot_index(takes, (1, 3)).tolist() == [[0, 1], [511, 1024], [512, 1024], [1024, 1024]]
    assert slot_index(takes, ()).tolist() == [[0, 0]] * 4


# --- what cannot be -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "reversed", "reversed:", "reversed:d", "reversed:a=1", "reversed:a=", "reversed:off", "reversed:box",
        "data-in:a=top-left", "colour-order:a=RGBW", "colour-order:a", "colour-order:a=",
        "swapped-ports:box/1", "swapped-ports:box/1,box/1", "swapped-ports:box/1,box/01", "swapped-ports:box/1,box/9",
        "swapped-ports:box/4,box/3x", "swapped-ports:box/1,nowhere/1", "swapped-ports:box/1,box", "swapped-ports:,",
        "swapped-ports:box/1,box/2,box/3", "swapped-ports:box/1,shelf/1", "swapped-ports:box/1,box/²",
        "swapped-runs:a", "swapped-runs:a,a", "swapped-with-leads:a,a", "swapped-with-leads:a",
        "swapped-runs:a,off", "swapped-runs:a,b,c",
        "shift:a", "shift:a=0", "shift:a=x", "shift:a=1.5", "shift:a=-4", "shift:b=-8", "shift:a=99999999999",
        "shift:a=100000", "shift:a=--1", "shift:a=１",
        "dark:a", "dark:a/0", "dark:a/5", "dark:a/1-2", "dark:d/1", "dark:a/1=G", "dark:a/x", "dark:a/", "dark:a/01",
        "dark-channel:a/1", "dark-channel:a/1=W", "dark-channel:a/1=RG", "missing:off/1", "cut:a/-1", "flicker:/1",
        "dead:a", "dead:box/4", "dead:box/9", "dead:shelf", "dead:", "dead:box=1",
        "universe-shift:box", "universe-shift:box=0", "universe-shift:box/4=1", "universe-shift:a=1",
        "universe-shift:box=64000",
        "swapped-starts:box/1,box/1", "swapped-starts:box,box/1", "swapped-starts:box/1", "swapped-starts:a,b",
        "swapped-starts:box/1,box/4", "swapped-starts:box/1,shelf", "replaced:a/1", "replaced:a/1=RGB",
        "replaced:a/1=RR", "replaced:a/9=GRB", "replaced:a=GRB", "replaced:a/1=grb", "data-in:o=9", "data-in:o=0",
        "data-in:o=middle", "data-in:o=last-backwards", "data-in:o=3-forwards", "data-in:o", "data-in:o=bottom-left",
        "channel-shift:box=3", "channel-shift:a=3", "channel-shift:box/1=0", "channel-shift:box/1=512",
        "channel-shift:box/4=3", "count:box/1", "count:box/1=-9", "count:box=1", "count:box/4=1", "count:box/1=0",
        "sideways:a", "", ":", "=", "dark", "\0",
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused_in_words(text: str) -> None:
    # Source: DESIGN.md: messages name the place, what is wrong, and what to do.
    with pytest.raises(PatcherError) as caught:
        parse(text, wired(with_loop()).show)
    (finding,) = caught.value.findings
    assert finding.where == text
    assert finding.says
    assert finding.remedy


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(KINDS), st.text(max_size=12), st.text(max_size=6))
def test_rubbish_is_refused_and_never_more(kind: str, where: str, value: str) -> None:
    # Source: DESIGN.md: no traceback ever reaches a person.
    show = SMALL_SHOW
    for text in (f"{kind}:{where}={value}", f"{kind}:a/{where}={value}", f"{kind}:box/{where}={value}"):
        try:
            fault = parse(text, show)
        except PatcherError:
            continue
        assert parse(str(fault), show) == fault


SMALL_SHOW: Show = wired(with_loop()).show


@pytest.mark.parametrize(
    ("texts", "sense"),
    [
        (["reversed:a", "reversed:b"], True),
        (["reversed:a", "reversed:a"], False),
        (["shift:a=1", "shift:a=2"], False),
        (["shift:a=1", "shift:b=2"], True),
        (["dark:a/1", "dark:a/2"], True),
        (["dark:a/1", "missing:a/1"], False),
        (["cut:a/1", "flicker:a/1"], False),
        (["cut:a/1", "flicker:b/1"], True),
        (["dark-channel:a/1=R", "dark-channel:a/1=G"], True),
        (["dark-channel:a/1=R", "dark-channel:a/1=R"], False),
        (["dark-channel:a/1=R", "dark:a/1"], False),
        (["swapped-ports:box/1,box/2", "swapped-ports:box/2,box/3"], False),
        (["swapped-runs:a,b", "swapped-runs:b,a"], False),
        (["swapped-ports:box/1,box/2", "swapped-runs:a,b"], True),
        (["swapped-runs:a,b", "swapped-with-leads:b,c"], False),
        (["swapped-with-leads:a,b", "swapped-runs:c,o"], True),
        (["data-in:o=2", "data-in:o=3"], False),
        (["data-in:o=2", "reversed:o"], True),
        (["swapped-starts:box/1,box/2", "swapped-starts:box/2,box/1"], False),
        (["universe-shift:box/1=1", "universe-shift:box/1=2"], False),
        (["universe-shift:box/1=1", "universe-shift:box=2"], True),
        (["replaced:a/1=GRB", "dark:a/1"], False),
        (["replaced:a/1=GRB", "dark:a/2"], True),
        (["dead:box", "dead:box/1"], False),
        (["dead:box/1", "dead:box"], False),
        (["dead:box/1", "dead:box/1"], False),
        (["dead:box/1", "dead:box/2"], True),
        (["count:box/1=1", "count:box/1=2"], False),
        (["count:box/1=1", "count:box/2=2"], True),
        (["universe-shift:box=1", "channel-shift:box/1=2"], True),
        (["universe-shift:box=1", "universe-shift:box=1"], False),
        (["channel-shift:box/1=1", "channel-shift:box/2=1"], True),
    ],
)
def test_what_makes_no_sense_together_is_refused(texts: list[str], sense: bool) -> None:
    # Source: DESIGN.md: messages name the place, what is wrong, and what to do; plain reason: one pixel, one harm.
    faults = [parse(text, SMALL_SHOW) for text in texts]
    if sense:
        assert build(SMALL_SHOW, faults) == Built(tuple(faults))
        return
    with pytest.raises(PatcherError) as caught:
        build(SMALL_SHOW, faults)
    assert caught.value.findings[0].where == texts[1]


@pytest.mark.parametrize(
    ("text", "protocol"),
    [
        ("universe-shift:box=-1", "e131"),
        ("channel-shift:box/1=-3", "e131"),
        ("universe-shift:box=63997", "e131"),
        ("universe-shift:box=32765", "artnet"),
    ],
)
def test_a_box_cannot_begin_before_the_first_universe_nor_end_behind_the_last(text: str, protocol: str) -> None:
    # Source: ANSI E1.31-2018 6.2.7: universes 1 to 63999; Art-Net 4: Port-Addresses to 32767 (CHECKS.md). The box has
    # three starts, on universes 1 to 3.
    wiring = wired(small(protocol=protocol))
    last = parse("universe-shift:box=63996" if protocol == "e131" else "universe-shift:box=32764", wiring.show)
    departure(planned(wiring, allocate(wiring).patch), [last])
    plan = planned(wiring, allocate(wiring).patch)
    with pytest.raises(PatcherError) as caught:
        departure(plan, [parse(text, wiring.show)])
    assert caught.value.findings[0].where == text


def test_every_kind_of_the_design_is_there() -> None:
    # Source: DESIGN.md, Faults: the table.
    assert set(KINDS) == {
        "reversed", "data-in", "lines", "turns", "colour-order", "swapped-ports", "swapped-runs", "swapped-with-leads",
        "swapped-starts", "shift", "dark", "dark-channel", "replaced", "missing", "cut", "flicker", "dead",
        "universe-shift", "channel-shift", "count",
    }  # fmt: skip
