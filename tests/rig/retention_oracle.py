"""A judge of “the fewest changes when a patch is kept”, written from the rules and sharing no code with the patch.

A pencil lays every pixel one by one; `breaks` holds a patch against the rules with it; `judge` asks OR-Tools CP-SAT for
the best patch there is. Only shows without share_universes are judged, and in `follow` only those without pins.

Judge: OR-Tools CP-SAT 9.15 (PyPI)
Source: the design: the five rules; where a start may fall; what is kept, and in which order changes count
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise, permutations

from ortools.sat.python import cp_model

LAST = {"e131": 63_999, "artnet": 32_767}  # Source: ANSI E1.31-2018, 6.2.7; Art-Net 4, 15-bit Port-Address

Place = tuple[int, int]  # universe, channel
Cost = tuple[int, int, int]  # changed boxes, changed starts, distinct universes
Pixels = tuple[tuple[int, int], ...]  # port and pixels, of each port that a start covers
Typed = tuple[str, int | None, str | None, int, int, Pixels]  # box, port, run, universe, channel: what is typed in


@dataclass(frozen=True)
class Chain:
    """What has a start of its own; `widths` holds the channels of each of its pixels, nulls among them."""

    box: str
    port: int | None
    run: str | None
    widths: tuple[int, ...]
    lamps: Pixels
    pin: Place | None

    def at(self, place: Place) -> Typed:
        return self.box, self.port, self.run, *place, self.lamps


def chains_of(tables: dict) -> list[Chain]:
    """The chains of a show's tables, in the order of the file, ports in theirs."""
    found = []
    for box, controller in tables["controller"].items():
        hung = [(int(port), run) for port, runs in controller.get("port", {}).items() for run in runs]
        hung.sort(key=lambda pair: pair[0])
        keys: dict[tuple, list[str]] = {}
        for port, run in hung:
            start_per = controller.get("start_per", "port")
            key = {"controller": (None, None), "port": (port, None), "run": (port, run)}[start_per]
            keys.setdefault(key, []).append(run)
        for (port, run), runs in keys.items():
            widths: list[int] = []
            for name in runs:
                table = tables["run"][name]
                nulls = 0 if controller.get("skips_nulls", True) else table.get("nulls", 0)
                width = len(tables["pixel"][table["pixel"]]["colour_order"])
                widths += [width] * (nulls + table["pixels"])
            pin = controller.get("start", {}).get(run or (box if port is None else str(port)))
            place = None if pin is None else (int(pin.split("/")[0]), int(pin.split("/")[1]))
            lamps = Counter()
            for number, name in hung:
                lamps[number] += tables["run"][name]["pixels"] if name in runs else 0
            of_ports = tuple(sorted((+lamps).items()))
            found.append(Chain(box, port, run, tuple(widths), of_ports, place))
    return found


# --- the pencil ---------------------------------------------------------------------------------------------------


@lru_cache(maxsize=20_000)
def footprint(place: Place, widths: tuple[int, ...]) -> tuple[tuple[int, int, int], ...]:
    """(universe, first channel, last channel) of each universe that pixels laid one by one from a place touch."""
    universe, channel = place
    touched: list[tuple[int, int, int]] = []
    first = channel
    for width in widths:
        if channel + width - 1 > 512:
            if channel > first:
                touched.append((universe, first, channel - 1))
            universe, channel, first = universe + 1, 1, 1
        channel += width
    return (*touched, (universe, first, channel - 1))


def next_place(place: Place, before: tuple[int, ...], width: int) -> Place:
    """Where a pixel goes that stands right behind a chain."""
    universe, _, last = footprint(place, before)[-1]
    return (universe, last + 1) if last + width <= 512 else (universe + 1, 1)


# --- the rules ----------------------------------------------------------------------------------------------------


def breaks(tables: dict, now: list[Typed], *, placement: bool = True) -> list[str]:
    """Every rule that a patch breaks: the five rules and, where asked for, where a start may fall."""
    chains, held = chains_of(tables), {typed[:3]: typed for typed in now}
    wanted = {(chain.box, chain.port, chain.run): chain.lamps for chain in chains}
    if len(held) != len(now) or {key: typed[5] for key, typed in held.items()} != wanted:
        return ["the starts are not those of the show"]
    places = [held[chain.box, chain.port, chain.run][3:5] for chain in chains]
    found: list[str] = []
    owned: dict[int, list[tuple[int, int, Chain]]] = {}
    for chain, (universe, channel) in zip(chains, places, strict=True):
        if channel + chain.widths[0] - 1 > 512 or min(universe, channel) < 1:
            found.append(f"{chain.at((universe, channel))} begins where its first pixel does not fit")
        if chain.pin not in (None, (universe, channel)):
            found.append(f"{chain.at((universe, channel))} is not where it is pinned")
        for touched, first, last in footprint((universe, channel), chain.widths):
            owned.setdefault(touched, []).append((first, last, chain))
    for universe, parts in owned.items():
        parts.sort(key=lambda part: part[:2])
        for (_, end, one), (first, _, two) in pairwise(parts):
            if first <= end:
                found.append(f"overlap in {universe}: {one.at((0, 0))[:3]}, {two.at((0, 0))[:3]}")
        if len({chain.box for _, _, chain in parts}) > 1 and not tables["show"].get("share_universes", False):
            found.append(f"universe {universe} is shared")
    for box, controller in tables["controller"].items():
        mine = sorted(universe for universe, parts in owned.items() if any(chain.box == box for *_, chain in parts))
        if mine:
            found += _limits(box, controller, mine)
    return found + (_misplaced(tables, chains, places) if placement else [])


def _limits(box: str, controller: dict, mine: list[int]) -> list[str]:
    found = []
    if mine[-1] > LAST[controller.get("protocol", "e131")]:
        found.append(f"{box} reaches universe {mine[-1]}")
    if len(mine) > controller.get("universes", len(mine)):
        found.append(f"{box} listens to {len(mine)} universes")
    if controller.get("consecutive", True) and mine[-1] - mine[0] >= len(mine):
        found.append(f"{box} has a gap: {mine}")
    return found


def _misplaced(tables: dict, chains: list[Chain], places: list[Place]) -> list[str]:
    """The starts that lie where the placement does not let them fall."""
    found, show = [], tables["show"]
    universes = [{touched for touched, _, _ in footprint(p, c.widths)} for c, p in zip(chains, places, strict=True)]
    for box, controller in tables["controller"].items():
        mine = [n for n, chain in enumerate(chains) if chain.box == box and chain.pin is None]
        if not mine:
            continue
        lowest, first = min(places[n] for n in mine), controller.get("first_universe")
        if lowest < (show.get("first_universe", 1), 1) if first is None else lowest != (first, 1):
            found.append(f"{box} begins at {lowest}")
        if show["placement"] == "follow":
            mine.sort(key=lambda n: places[n])
            right = [(lowest[0], 1)]
            right += [next_place(places[a], chains[a].widths, chains[b].widths[0]) for a, b in pairwise(mine)]
            if [places[n] for n in mine] != right:
                found.append(f"{box} has {[places[n] for n in mine]}, not {right}")
            continue
        for n in mine:
            if show["placement"] == "fresh":
                alone = not any(universes[n] & universes[other] for other in range(len(chains)) if other != n)
                right_place = places[n][1] == 1 and alone
            else:
                right_place = len(universes[n]) <= len(footprint((1, 1), chains[n].widths))
            if not right_place:
                found.append(f"{chains[n].at(places[n])} is no place for {show['placement']}")
    return found


def cost(tables: dict, kept: list[Typed], now: list[Typed]) -> Cost:
    """What a patch costs: changed boxes, then changed starts, then distinct universes."""
    boxes = {typed[0] for typed in now}
    changed = [box for box in boxes if [t for t in now if t[0] == box] != [t for t in kept if t[0] == box]]
    widths = {(chain.box, chain.port, chain.run): chain.widths for chain in chains_of(tables)}
    touched = {part[0] for typed in now for part in footprint(typed[3:5], widths[typed[:3]])}
    return len(changed), len([typed for typed in now if typed not in kept]), len(touched)


# --- the judge ----------------------------------------------------------------------------------------------------


@dataclass
class Sheet:
    """The model while it is built: which box owns which universe, and which chain stays (0 or 1)."""

    tables: dict
    chains: list[Chain]
    old: list[Place | None]
    universes: range
    model: cp_model.CpModel
    own: dict[tuple[str, int], cp_model.IntVar]


def judge(tables: dict, kept: list[Typed]) -> tuple[Cost, list[Typed]] | None:
    """The least cost of a patch that keeps the rules, and one such patch; None where there is none."""
    chains = chains_of(tables)
    places = {(*typed[:3], typed[5]): typed[3:5] for typed in kept}
    old = [places.get((chain.box, chain.port, chain.run, chain.lamps)) for chain in chains]
    universes = horizon(tables, chains, old)
    model = cp_model.CpModel()
    boxes = list(dict.fromkeys(chain.box for chain in chains))
    own = {(box, u): model.new_bool_var("") for box in boxes for u in universes}
    sheet = Sheet(tables, chains, old, universes, model, own)
    stays, read = (_follow if tables["show"]["placement"] == "follow" else _apart)(sheet)
    for universe in universes:
        model.add_at_most_one(own[box, universe] for box in boxes)
    tied = universes.stop - free_universes(chains)
    for u in universes[1:]:
        # What lies behind all ties and a free universe may move up: so only the others need be looked at.
        if u > tied:
            model.add(sum(own[box, u] for box in boxes) <= sum(own[box, u - 1] for box in boxes))
    changed = []
    for box in boxes:
        mine = [own[box, universe] for universe in universes]
        controller = tables["controller"][box]
        model.add(sum(mine) <= controller.get("universes", len(mine)))
        if controller.get("consecutive", True):
            rises = [model.new_bool_var("") for _ in mine]
            for rise, here, before in zip(rises, mine, [0, *mine], strict=False):
                model.add(rise >= here - before)
            model.add(sum(rises) <= 1)
        changed.append(model.new_bool_var(""))
        keys = [(*typed[:3], typed[5]) for typed in kept if typed[0] == box]
        if keys != [(c.box, c.port, c.run, c.lamps) for c in chains if c.box == box]:
            model.add(changed[-1] == 1)
        for chain, stay in zip(chains, stays, strict=True):
            if chain.box == box:
                model.add(changed[-1] + stay >= 1)
    start_weight = len(universes) + 1
    box_weight = start_weight * (len(chains) + 1)
    model.minimize(box_weight * sum(changed) + start_weight * (len(chains) - sum(stays)) + sum(own.values()))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = 120
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return None
    assert status == cp_model.OPTIMAL, solver.status_name(status)
    now = [chain.at(place) for chain, place in zip(chains, read(solver), strict=True)]
    # The judge is judged too: its patch keeps the rules, and costs what it says.
    assert breaks(tables, now) == []
    best = cost(tables, kept, now)
    assert best[0] * box_weight + best[1] * start_weight + best[2] == round(solver.objective_value)
    return best, now


def horizon(tables: dict, chains: list[Chain], old: list[Place | None]) -> range:
    """Universes enough: behind everything that is tied to a place there is room for all the rest, one by one."""
    show_first = tables["show"].get("first_universe", 1)
    ties = {show_first}
    for chain, place in zip(chains, old, strict=True):
        ties |= {universe for tie in (place, chain.pin) if tie for universe, *_ in footprint(tie, chain.widths)}
        ties |= {tables["controller"][chain.box].get("first_universe", show_first)}
    return range(min(ties), max(ties) + 1 + free_universes(chains))


def free_universes(chains: list[Chain]) -> int:
    """Universes in which all chains have room, one by one, and one to spare."""
    return sum(len(footprint((1, 1), chain.widths)) for chain in chains) + 1


Read = Callable[[cp_model.CpSolver], list[Place]]


def _follow(sheet: Sheet) -> tuple[list, Read]:
    """Every order of a box's starts from channel 1 of every universe, one of which is picked for each box."""
    picks: list[tuple[cp_model.IntVar, dict[int, Place]]] = []
    stays: list = [0] * len(sheet.chains)
    for box in dict.fromkeys(chain.box for chain in sheet.chains):
        mine = [n for n, chain in enumerate(sheet.chains) if chain.box == box]
        covers: dict[int, list] = {universe: [] for universe in sheet.universes}
        of_box = []
        pinned = sheet.tables["controller"][box].get("first_universe")
        lowest = sheet.tables["show"].get("first_universe", 1)
        for order in permutations(mine):
            places: dict[int, Place] = {order[0]: (0, 1)}
            for before, after in pairwise(order):
                widths = sheet.chains[after].widths
                places[after] = next_place(places[before], sheet.chains[before].widths, widths[0])
            span = footprint(places[order[-1]], sheet.chains[order[-1]].widths)[-1][0]
            bases = range(lowest, sheet.universes.stop - span) if pinned is None else [pinned]
            for base in bases:
                pick = sheet.model.new_bool_var("")
                of_box.append(pick)
                moved_to = {n: (base + universe, channel) for n, (universe, channel) in places.items()}
                picks.append((pick, moved_to))
                for n, place in moved_to.items():
                    if place == sheet.old[n]:
                        stays[n] += pick
                for universe in range(base, base + span + 1):
                    covers[universe].append(pick)
        sheet.model.add_exactly_one(of_box)
        for universe, covering in covers.items():
            sheet.model.add(sheet.own[box, universe] == sum(covering))

    def read(solver: cp_model.CpSolver) -> list[Place]:
        places = {n: place for pick, chosen in picks if solver.value(pick) for n, place in chosen.items()}
        return [places[n] for n in range(len(sheet.chains))]

    return stays, read


def channels(tables: dict, chains: list[Chain], old: list[Place | None]) -> list[set[int]]:
    """The channels at which each chain of one box need be tried.

    In `whole`, a start that neither stays nor is pinned can slide down its universe to channel 1 or to right behind
    another chain; laid from a lower channel it ends no later, so nothing gets worse. Hence the ends of all sequences of
    the box's chains, from channel 1, an old channel or a pin, are enough.
    """
    found: list[set[int]] = [set() for _ in chains]
    whole = tables["show"]["placement"] == "whole"

    def lay(n: int, channel: int, before: tuple[int, ...]) -> None:
        widths = chains[n].widths
        pinned = chains[n].pin is not None
        fits = channel + widths[0] - 1 <= 512
        if not (pinned or (fits and len(footprint((0, channel), widths)) <= len(footprint((0, 1), widths)))):
            return
        found[n].add(channel)
        for other in range(len(chains)):
            if whole and other not in before and other != n and chains[other].pin is None:
                lay(other, footprint((0, channel), widths)[-1][2] + 1, (*before, n))

    for n, chain in enumerate(chains):
        place = old[n]
        begins = {1} | ({place[1]} if place and whole else set())
        for channel in begins if chain.pin is None else {chain.pin[1]}:
            lay(n, channel, ())
    return found


def _apart(sheet: Sheet) -> tuple[list, Read]:
    """Each start by itself, in `fresh` and `whole`: one of its places is picked, and none covers another's first."""
    model, show = sheet.model, sheet.tables["show"]
    picks: list[dict[Place, cp_model.IntVar]] = [{} for _ in sheet.chains]
    covers: dict[Place, list[cp_model.IntVar]] = {}
    for box in dict.fromkeys(chain.box for chain in sheet.chains):
        mine = [n for n, chain in enumerate(sheet.chains) if chain.box == box]
        tried = channels(sheet.tables, [sheet.chains[n] for n in mine], [sheet.old[n] for n in mine])
        firsts = set().union(*tried) | {1}
        pinned = sheet.tables["controller"][box].get("first_universe")
        lowest = show.get("first_universe", 1) if pinned is None else pinned
        inside: dict[int, list[cp_model.IntVar]] = {universe: [] for universe in sheet.universes}
        for n, begins in zip(mine, tried, strict=True):
            chain, touching = sheet.chains[n], {u: [] for u in sheet.universes}
            for place in [chain.pin] if chain.pin else [(u, c) for u in sheet.universes if u >= lowest for c in begins]:
                parts = footprint(place, chain.widths)
                if parts[-1][0] not in sheet.universes or parts[0][:2] != place:
                    continue
                pick = picks[n][place] = model.new_bool_var("")
                for universe, first, last in parts:
                    touching[universe].append(pick)
                    alone = show["placement"] == "fresh" and chain.pin is None
                    for channel in firsts:
                        if alone or first <= channel <= last:
                            covers.setdefault((universe, channel), []).append(pick)
            model.add_exactly_one(picks[n].values())
            for universe, touch in touching.items():
                model.add(sheet.own[box, universe] >= sum(touch))
                inside[universe] += touch
        for universe in sheet.universes:
            model.add(sheet.own[box, universe] <= sum(inside[universe]))
        if pinned is not None and (free := [n for n in mine if sheet.chains[n].pin is None]):
            model.add_bool_or(picks[n][pinned, 1] for n in free if (pinned, 1) in picks[n])
    for covering in covers.values():
        model.add_at_most_one(covering)
    stays = [0 if old is None else pick.get(old, 0) for old, pick in zip(sheet.old, picks, strict=True)]
    return stays, lambda solver: [next(p for p, pick in of.items() if solver.value(pick)) for of in picks]
