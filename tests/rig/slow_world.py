"""A slow world: a box that reads its table pixel by pixel and pushes octets down a wire, and chips on that wire that
each take the first few and pass on the rest. It shares no code with the faults.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field

from hypothesis import strategies as st

from patcher.faults import KINDS, Fault
from patcher.patch.patch import Patch
from rig.grid_walk import CORNERS, walk

ORDERS = {"mono": "W", "rgb": "RGB", "grb": "GRB", "rgbw": "RGBW", "gwrb": "GWRB", "five": "RGBWA"}


GARBAGE = -1


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


RNG = random.Random(7)


MEMORY = {(universe, channel): RNG.randrange(1, 256) for universe in range(1, 115) for channel in range(1, 513)}
"""Every box is sent the same values on every universe that any of them may listen to."""


Address = tuple[int, int]


def cells_on_the_way(table: dict, plan: dict) -> list[tuple[int, int]]:
    if "corners" in table:
        return [place for place in round_of(table) if place not in plan.get("gaps", ())]
    empty = {walk(**plan)[gap - 1] for gap in plan.get("gaps", ())}
    return [cell for cell in walk(**table) if cell not in empty]


def starts_typed(box: str, table: dict, patch: Patch) -> dict[str, Address]:
    """What should be typed into a box: the start of each chain, by its first run."""
    starts: dict[str, Address] = {}
    for start in patch.starts:
        if start.controller == box:
            port = start.chain.port if start.chain.port is not None else min(int(p) for p in table["port"])
            starts[start.chain.run or table["port"][str(port)][0]] = (start.universe, start.channel)
    return starts


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
