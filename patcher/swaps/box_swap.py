"""The swap of a dead box for a spare: what hangs where afterwards, which cables are new, which addresses stay.

The spare is put where the dead box stood and takes its address. A chain that is plugged into a port keeps its lead,
with all that is in it. A chain that is hung behind another needs a cable from there, for data and ground: its power
stays as it is. What was in the old lead (null pixels, a booster, its wires) stays with the old lead: the new cable has
none of it, but for a booster where it is long. A tee's lead begins at the data-in of its run and stays there; but where
it has null pixels, which its run then has no more, the tee gets a new one too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from patcher.errors import choose_from, refuse
from patcher.patch.chains import chains
from patcher.patch.patch import Patch, Start
from patcher.power.stretches import stretches
from patcher.show.run_tables import Run
from patcher.show.schema import Controller, Logic, Show
from patcher.swaps.dead_box import DeadBox, SwapCable, runs_of
from patcher.swaps.joins import Piece, Sharing, with_fewest_cuts
from patcher.swaps.shortfall import Shortfall as Shortfall
from patcher.swaps.shortfall import no_universes, too_short
from patcher.swaps.takeover import falls_by_itself, spare_starts
from patcher.wiring import Wiring, wire


@dataclass(frozen=True)
class BoxSwap:
    """A spare in a dead box's place.

    Attributes:
        dead: the dead box, as it was.
        shelved: the spare, as it was.
        show: the show afterwards, without the dead box.
        patch: its patch.
        spare: the spare, as it is set afterwards.
        spare_ports: the chain on each of the spare's ports afterwards.
        from_ports: of each piece's first run, the dead box's port that the piece hung on.
        cables: the cables to make.
        moves: of each run whose addresses change, the running channel of its first pixel before and after.
        worst_ms: milliseconds that the slowest port takes for a frame.
        proved: no other way to join chains is better.
    """

    dead: Controller
    shelved: Controller
    show: Show
    patch: Patch
    spare_ports: dict[int, tuple[str, ...]]
    from_ports: dict[str, int]
    cables: tuple[SwapCable, ...]
    moves: dict[str, tuple[int, int]]
    worst_ms: float
    proved: bool

    @property
    def spare(self) -> Controller:
        """The spare, as it is set afterwards."""
        return self.show.controllers[self.shelved.name]

    @property
    def starts(self) -> tuple[Start, ...]:
        """The spare's starts: what is typed into it."""
        return self.patch.boxes.get(self.shelved.name, ())


def swap_box(wiring: Wiring, kept: Patch, dead: str, spare: str) -> BoxSwap | Shortfall:
    """The best way to put a spare into a dead box's place, or why there is none.

    Args:
        wiring: the wiring of a sound show.
        kept: its patch.
        dead: the controller that died.
        spare: the one that takes its place.

    Raises:
        PatcherError: the two are not a box with runs and a free spare.
    """
    old, new = wiring.show.controllers[dead], wiring.show.controllers[spare]
    _refuse_unfit(wiring, old, new)
    box = DeadBox(wiring, kept, old, new)
    sharing = with_fewest_cuts(box.singles, box.ports, box.join)
    if sharing is None:
        return too_short(box)
    lines = _numbered(sharing, new.ports)
    cables = tuple(box.cables(lines))
    ports = {port: runs_of(line) for port, line in lines.items()}
    after = _show_after(wiring, _in_place_of(old, new, ports), ports, cables, old)
    every = chains(wire(after))
    others = [start for start in kept.starts if start.controller != dead]
    taken_over = [chain for chain in every if chain.controller == spare]
    starts = spare_starts(after, others, taken_over, box.today, box.begins)
    if starts is None:
        return no_universes(box, taken_over)
    by_name = {start.chain.name: start for start in (*others, *starts)}
    return BoxSwap(
        old, new, _pinned(after, old, spare, starts, others), Patch(tuple(by_name[chain.name] for chain in every)),
        ports,
        {piece.runs[0]: piece.port for line in lines.values() for piece in line},
        _with_feeds(cables, after), _moves(starts, box.today), sharing.worst_ms, sharing.proved,
    )  # fmt: skip


def _moves(starts: Iterable[Start], today: Mapping[str, int]) -> dict[str, tuple[int, int]]:
    placed = ((link.run, at) for start in starts for link, at in start.placed())
    return {run: (today[run], at) for run, at in placed if at != today[run]}


def _with_feeds(cables: Iterable[SwapCable], after: Show) -> tuple[SwapCable, ...]:
    """The cables, with whether a feed still reaches their runs."""
    fed = {(run, first) for part in stretches(wire(after)) if part.trees for run, first, _ in part.parts}
    return tuple(replace(cable, fed=(cable.run, 1) in fed or cable.tee_of is not None) for cable in cables)


def _refuse_unfit(wiring: Wiring, old: Controller, new: Controller) -> None:
    show, where = wiring.show, f"controller.{new.name}"
    hanging = [run for chain in wiring.of_controller(new.name).values() for run in chain]
    if hanging:
        says = f"is in use: {', '.join(hanging)} hang{'s' if len(hanging) == 1 else ''} on it"
        raise refuse(where, says, "name a box that feeds nothing; a spare is a [controller.NAME] with spare = true")
    if not new.spare:
        spares = [box.name for box in show.controllers.values() if box.spare]
        remedy = (
            f"write spare = true there, or {choose_from(new.name, spares)}" if spares else "write spare = true there"
        )
        raise refuse(where, "is not marked as a spare", remedy)
    if not wiring.of_controller(old.name):
        raise refuse(f"controller.{old.name}", "feeds no run, so there is nothing to move", "name the box that died")
    if _delivery(old, new) == "unicast" and old.address is None and new.address is None:
        says = f"needs an address of its own: {old.name} has none to hand on, and Art-Net goes to one box only"
        raise refuse(where, says, 'write address = "…" there, the one set in the box')


def _delivery(old: Controller, new: Controller) -> str:
    return old.delivery if new.protocol == "e131" else "unicast"


def _numbered(sharing: Sharing, ports: int) -> dict[int, tuple[Piece, ...]]:
    """Each line on a port, on the same number as before where the spare has it."""
    found: dict[int, tuple[Piece, ...]] = {}
    rest: list[tuple[Piece, ...]] = []
    for line in sorted(sharing.lines, key=lambda line: (line[0].cut, line[0].port)):
        wanted = [piece.port for piece in line if piece.port <= ports and piece.port not in found and not piece.cut]
        if wanted:
            found[wanted[0]] = line
        else:
            rest.append(line)
    free = (number for number in range(1, ports + 1) if number not in found)
    found |= dict(zip(free, rest, strict=False))
    return dict(sorted(found.items()))


def _show_after(
    wiring: Wiring,
    spare: Controller,
    ports: Mapping[int, tuple[str, ...]],
    cables: tuple[SwapCable, ...],
    old: Controller,
) -> Show:
    """The show with the spare, as it is set there, in the dead box's place; its starts have no pins yet."""
    show = wiring.show
    port_of = {runs[0]: port for port, runs in wiring.of_controller(old.name).items()}
    moved = {port_of[run]: port for port, runs in ports.items() for run in runs if run in port_of}
    supplies = {
        name: supply.model_copy(update={"box": spare.name}) if supply.box == old.name else supply
        for name, supply in show.supplies.items()
    }
    accepts = tuple(
        accept.model_copy(update={"where": _where_after(accept.where, old.name, spare.name, moved)})
        for accept in show.accepts
    )
    boxes = {name: spare if name == spare.name else box for name, box in show.controllers.items() if name != old.name}
    runs = show.runs | {cable.run: _behind_cable(show.runs[cable.run], cable) for cable in cables}
    return show.model_copy(update={"controllers": boxes, "runs": runs, "supplies": supplies, "accepts": accepts})


def _in_place_of(old: Controller, new: Controller, ports: dict[int, tuple[str, ...]]) -> Controller:
    """The spare as it is set in the dead box's place."""
    logic = new.logic
    if old.logic is not None:
        logic = Logic(supply=old.logic.supply, amps=(new.logic or old.logic).amps)
    return new.model_copy(update={
        "address": old.address or new.address, "delivery": _delivery(old, new), "at": old.at, "level": old.level,
        "reorders": old.reorders and new.reorders, "logic": logic, "spare": False, "port": ports, "start": {},
        "first_universe": None,
    })  # fmt: skip


def _behind_cable(run: Run, cable: SwapCable) -> Run:
    """A run with a new cable in the place of its lead."""
    lead = {
        "lead": cable.metres, "lead_via": cable.via, "lead_awg": None, "lead_mm2": None, "nulls": 0, "nulls_at": (),
    }  # fmt: skip
    return run.model_copy(update=lead if cable.behind is None else lead | {"power_joined": False})


def _where_after(where: str, dead: str, spare: str, ports: dict[int, int]) -> str:
    """A place of the show file, as `[[accept]]` names it, with the spare and its port for the dead box and its."""
    steps = where.split(".")
    if steps[:2] != ["controller", dead]:
        return where
    steps[1] = spare
    if steps[2:3] == ["port"] and len(steps) > 3 and steps[3].isdigit():
        steps[3] = str(ports.get(int(steps[3]), int(steps[3])))
    return ".".join(steps)


def _pinned(show: Show, old: Controller, spare: str, starts: list[Start], others: list[Start]) -> Show:
    """The show with the pins that keep the spare's starts where they are: the dead box's own where they are enough."""
    pinned = {f"{universe}/{channel}" for universe, channel in old.pins.values()}
    pins = {start.chain.key: start.address for start in starts}
    carried = {key: address for key, address in pins.items() if address in pinned}
    box = show.controllers[spare].model_copy(update={"start": carried, "first_universe": old.first_universe})
    if not falls_by_itself(show, box, starts, others):
        box = box.model_copy(update={"start": pins, "first_universe": None})
    return show.model_copy(update={"controllers": show.controllers | {spare: box}})
