"""Placement `whole` as a constraint model, written from the rules, and kept patches below it."""

from ortools.sat.python import cp_model

from patcher.patch.chains import chains
from patcher.patch.patch import Patch, Start, written
from patcher.patch.rules import breaches
from patcher.placement.effort import Effort
from patcher.placement.whole import whole
from rig.patch_pencil import ORDERS
from rig.shipped import wired


def tables_of(boxes: dict[str, tuple[dict, list[list[tuple[str, int]]]]], **show) -> dict:
    """A show from each box's keys and its ports, each a list of (pixel, pixels)."""
    runs, controllers = {}, {}
    for place, (name, (keys, ports)) in enumerate(boxes.items()):
        port = {}
        for number, chain in enumerate(ports, start=1):
            port[str(number)] = [f"{name}-{number}-{step}" for step in range(len(chain))]
            for run, (pixel, pixels) in zip(port[str(number)], chain, strict=True):
                runs[run] = {"pixel": pixel, "pixels": pixels}
        controllers[name] = {"address": f"192.0.2.{place + 1}", "ports": 99, "port": port} | keys
    return {
        "show": {"title": "whole"} | show,
        "pixel": {name: {"colour_order": order} for name, order in ORDERS.items()},
        "controller": controllers,
        "run": runs,
    }


def pencil(lamps: list[int], offset: int) -> int:
    """Where a chain ends whose pixels, by their channels, begin at a channel (from 0) of universe 0."""
    at = offset
    for width in lamps:
        if at % 512 + width > 512:
            at += 512 - at % 512
        at += width
    return at


def lamps_of(tables: dict, runs: list[str]) -> list[int]:
    return [len(ORDERS[tables["run"][run]["pixel"]]) for run in runs for _ in range(tables["run"][run]["pixels"])]


def touches(lamps: list[int], offset: int) -> int:
    return -(-pencil(lamps, offset) // 512)


def free_offsets(lamps: list[int]) -> list[int]:
    """Channels, from 0, where a chain may begin.

    Source: the design: `whole`: in no more universes than from channel 1 of a fresh one
    """
    least = touches(lamps, 0)
    return [at for at in range(512) if at + lamps[0] <= 512 and touches(lamps, at) <= least]


def pinned_at(tables: dict) -> dict[tuple[str, str], int]:
    """Running channels of the pinned starts; of a pinned box, its first free chain where its channels are free."""
    found: dict[tuple[str, str], int] = {}
    for box, controller in tables["controller"].items():
        for key, text in controller.get("start", {}).items():
            universe, channel = map(int, text.split("/"))
            found[box, key] = (universe - 1) * 512 + channel - 1
    for box, controller in tables["controller"].items():
        free = [key for key in controller["port"] if (box, key) not in found]
        if "first_universe" not in controller or not free:
            continue
        at = (controller["first_universe"] - 1) * 512
        lamps = lamps_of(tables, controller["port"][free[0]])
        clear = True
        for (other, key), there in found.items():
            others = lamps_of(tables, tables["controller"][other]["port"][key])
            end = there // 512 * 512 + pencil(others, there % 512)
            overlap = at < end and there < at + pencil(lamps, 0)
            meet = at // 512 <= (end - 1) // 512 and there // 512 <= at // 512 + touches(lamps, 0) - 1
            foreign = other != box and meet and not tables["show"]["share_universes"]
            clear = clear and not overlap and not foreign
        if clear:
            found[box, free[0]] = at
    return found


def a_patch_below(tables: dict, below: int, spare: int = 0) -> bool:
    """Whether the rules allow a patch with fewer universes than `below`; CP-SAT has proved it where there is none.

    Judge: OR-Tools CP-SAT 9.15, on a model of the design: no channel twice, no pixel across 512, pins and
    limits hold, no chain in more universes than it must.
    """
    model = cp_model.CpModel()
    pins = pinned_at(tables)
    starts = [
        (box, key, lamps_of(tables, runs)) for box, c in tables["controller"].items() for key, runs in c["port"].items()
    ]
    floors = [controller.get("first_universe", 1) for controller in tables["controller"].values()]
    ends = [
        (there + 512 * touches(lamps, 0)) // 512 + 1
        for box, key, lamps in starts
        for there in [pins.get((box, key), 0)]
    ]
    most = sum(
        touches(lamps + lamps[-1:] * spare, 0) + (spare > 0) for box, key, lamps in starts if (box, key) not in pins
    )
    stop = max([tables["show"]["first_universe"] - 1, *(floor - 1 for floor in floors), *ends]) + most
    uses: dict[str, list] = {box: [[] for _ in range(stop)] for box in tables["controller"]}
    intervals = []
    content: list[list] = [[] for _ in range(stop)]
    for box, key, lamps in starts:
        controller = tables["controller"][box]
        if (box, key) in pins:
            first, offset = divmod(pins[box, key], 512)
            begin, end = pins[box, key], first * 512 + pencil(lamps, offset)
            intervals.append(model.new_fixed_size_interval_var(begin, end - begin, ""))
            for universe in range(first, (end - 1) // 512 + 1):
                uses[box][universe].append(1)
            continue
        floor = controller.get("first_universe", tables["show"]["first_universe"]) - 1
        here = [model.new_bool_var("") for _ in range(stop)]
        model.add_exactly_one(here)
        for universe in range(stop):
            if universe < floor or universe + touches(lamps, 0) > stop:
                model.add(here[universe] == 0)
            for step in range(touches(lamps, 0)):
                if universe + step < stop:
                    uses[box][universe + step].append(here[universe])
        offset, end = model.new_int_var(0, 511, ""), model.new_int_var(0, 512 * stop, "")
        least = touches(lamps, 0)
        # of two beginnings with one end, the later one holds a part of the other's channels
        held_to = model.new_int_var(0, 512 * stop, "")
        kept = lamps + lamps[-1:] * spare
        table = {(pencil(lamps, at), pencil(kept, at)): at for at in free_offsets(lamps)}
        if least == 1 and not spare:
            model.add(end == offset + pencil(lamps, 0))
            model.add(end <= 512)
            model.add(held_to == end)
        else:
            model.add_allowed_assignments([end, held_to, offset], [(*ends, at) for ends, at in table.items()])
        begin, stands = model.new_int_var(0, 512 * stop, ""), model.new_int_var(0, 512 * stop, "")
        size = model.new_int_var(0, 512 * stop, "")
        model.add(begin == sum(512 * universe * there for universe, there in enumerate(here)) + offset)
        model.add(size == held_to - offset)
        intervals.append(model.new_interval_var(begin, size, stands, ""))
        for universe, there in enumerate(here):
            for step in range(min(least, stop - universe)):
                held = model.new_int_var(0, 512, "")
                low = offset if step == 0 else 0
                high = end - 512 * step if step == least - 1 else 512
                model.add(held >= high - low).only_enforce_if(there)
                content[universe + step].append(held)
    model.add_no_overlap(intervals)
    touched = {}
    for box, controller in tables["controller"].items():
        touched[box] = [model.new_bool_var("") for _ in range(stop)]
        for universe, there in enumerate(touched[box]):
            model.add_max_equality(there, uses[box][universe] or [0])
        if "universes" in controller:
            model.add(sum(touched[box]) <= controller["universes"])
        if controller.get("consecutive", True):
            low, high = model.new_int_var(0, stop, ""), model.new_int_var(0, stop, "")
            for universe, there in enumerate(touched[box]):
                model.add(low <= universe).only_enforce_if(there)
                model.add(high >= universe).only_enforce_if(there)
            model.add(high - low + 1 == sum(touched[box]))
    used = [model.new_bool_var("") for _ in range(stop)]
    for universe, there in enumerate(used):
        model.add_max_equality(there, [touched[box][universe] for box in touched])
        if not tables["show"]["share_universes"]:
            model.add_at_most_one(touched[box][universe] for box in touched)
    # follows from the rest and is there for speed: what the chains hold of a universe is not more than its channels
    for universe, there in enumerate(used):
        model.add(sum(content[universe]) <= 512 * there)
    model.add(sum(used) < below)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers, solver.parameters.linearization_level = 1, 0
    solver.parameters.cp_model_probing_level = 0
    solver.parameters.max_time_in_seconds = 120
    status = solver.solve(model)
    assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE)
    return status == cp_model.OPTIMAL


def laid(tables: dict, seconds: float = 10.0, **how):
    """The laying of a show, and its patch, held against the rules and the rule of where a start may fall."""
    wiring = wired(tables)
    todo = chains(wiring)
    found = whole(wiring.show, todo, effort=Effort(seconds), **how)
    patch = Patch(tuple(Start(chain, *written(at)) for chain, at in zip(todo, found.places, strict=True)))
    pins = pinned_at(tables)
    for chain, at in zip(todo, found.places, strict=True):
        lamps = lamps_of(tables, [link.run for link in chain.links])
        if (chain.controller, chain.key) in pins:
            assert at == pins[chain.controller, chain.key]
        else:
            # Source: the design: touches no more universes than it would from channel 1 of a fresh one
            assert at % 512 + lamps[0] <= 512
            assert touches(lamps, at % 512) <= touches(lamps, 0)
            controller = tables["controller"][chain.controller]
            floor = controller.get("first_universe", tables["show"].get("first_universe", 1))
            assert at >= (floor - 1) * 512
    # A box pinned to begin where another is pinned cannot be, as the caller says; here all else must hold all the same.
    return found, patch, [finding for finding in breaches(wiring.show, patch) if finding.rule != "pin"]


def starts(tables: dict) -> dict[str, str]:
    found, patch, broken = laid(tables)
    assert broken == []
    assert found.proved
    return {start.chain.name: f"{start.universe}/{start.channel}" for start in patch.starts}
