"""The steps of a swap in words, in the order in which a person does them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from patcher.errors import Finding
from patcher.limits.advice import LONGEST_LEAD
from patcher.limits.findings import new_findings
from patcher.patch.patch import address
from patcher.patch.thing import called, swapped_as
from patcher.power.flow import LOADED
from patcher.power.stretches import stretches
from patcher.sheets.figures import ranges
from patcher.sheets.patch_tables import NUMBERS, TYPED, sending, shown_head, start_row, typed_notes
from patcher.show.schema import Show
from patcher.swaps.box_swap import BoxSwap
from patcher.swaps.dead_box import SwapCable
from patcher.swaps.supply_swap import SupplySwap
from patcher.trade import PROTOCOL_NAMES
from patcher.units import apart, length
from patcher.wiring import Wiring, wire

Steps = list[list[str]]
CARE = (
    "Fixed wiring is a licensed electrician's, by your local code. A ladder stands on firm ground, held by someone, "
    "and not in wind or ice."
)


def _and(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _are(words: list[str], one: str, many: str) -> str:
    return f"{_and(words)} {one if len(words) == 1 else many}"


def box_summary(found: BoxSwap, wiring: Wiring) -> list[str]:
    """What the swap comes to."""
    dead, spare = found.dead.name, found.spare.name
    where = f" at {found.spare.address}" if found.spare.address else ""
    said = [f"{spare} takes the place of {dead}{where}."]
    joined = [cable.run for cable in found.cables if cable.behind is not None]
    if joined:
        said.append(f"{spare} has too few ports, so {_are(joined, 'hangs', 'hang')} behind another run.")
        if not found.proved:
            said.append("With this many runs not every way was tried: this is the best found.")
    cut = [cable.run for cable in found.cables if cable.behind is None and cable.tee_of is None]
    if cut:
        said.append(f"Its ports are shorter, so {_are(cut, 'gets', 'get')} a port of its own.")
    if found.moves:
        said.append(f"All runs keep their addresses but {_and(list(found.moves))}.")
    else:
        said.append("All runs keep their addresses.")
    rate, wanted = 1000 / found.worst_ms, wiring.show.settings.frame_rate
    if rate < wanted:
        slow = f"Its slowest port takes {found.worst_ms:.1f} ms a frame"
        said.append(f"{slow}: {apart(rate, wanted)[0]} frames a second, and the show plays {wanted:g}.")
    return [" ".join(said)]


def swap_findings(found: BoxSwap | SupplySwap, wiring: Wiring) -> list[Finding]:
    """What `check` finds once the spare is there, and did not find of what died."""
    renamed = (found.dead.name, found.spare.name)
    now = found.patch if isinstance(found, BoxSwap) else None
    return new_findings(wiring, wire(found.show), renamed, now=now)


def found_then(findings: Sequence[Finding]) -> list[str]:
    """The same in words."""
    said = [f"- {each.severity}: {each.where}: {each.says}: {each.remedy}" for each in findings]
    return ["As it hangs then, patcher check finds:", *said] if said else []


def box_steps(found: BoxSwap, wiring: Wiring, path: str, *, save: bool = True) -> Steps:
    """What to do, step by step; the first line of each is the step, the others its parts.

    Args:
        found: the swap.
        wiring: the show's, as it is today.
        path: the show file.
        save: whether the swap is still to be written into the files.
    """
    dead, spare = found.dead, found.spare
    steps = [
        [_mains_off(_supplies(found, wiring), f"what feeds {dead.name} and its runs")],
        [f"At {dead.name}: put a label on every plug, then pull them.", *_unplug(found, wiring)],
        [f"Put {spare.name} where {dead.name} is. {_own_power(found, wiring)}",
         f"{dead.name} stays unplugged from now on: both have the address {spare.address}." if spare.address else
         f"{dead.name} stays unplugged from now on."],
        [f"Plug the leads into {spare.name}.", *_plug(found)],
    ]  # fmt: skip
    if found.cables:
        steps.append(["Make these cables, for data and ground only, with no null pixel in them; V+ is not joined.",
                      *_cables(found, wiring)])  # fmt: skip
    steps += [
        ["Network cable in, mains on."],
        [f"Type into {spare.name}:", *_type(found)],
        _player(found, wiring.show),
        *_save(path, swapped_as(dead.name, wiring.show), spare.name, save=save),
        [f"Test: patcher send ports {path} --on {called('controller', spare.name, wiring.show)}"],
    ]
    return steps


def _save(path: str, dead: str, spare: str, *, save: bool) -> Steps:
    return [[f"Save: patcher swap {path} {dead} {spare} --write"]] * save


def _mains_off(supplies: list[str], what: str) -> str:
    those = f" ({', '.join(supplies)})" if supplies else ""
    return f"Mains off: unplug {what}{those}, and see that every pixel and every supply there is dark. {CARE}"


def _supplies(found: BoxSwap, wiring: Wiring) -> list[str]:
    """The supplies in the dead box, and those that feed it or its runs."""
    show, runs = wiring.show, {run for chain in wiring.of_controller(found.dead.name).values() for run in chain}
    runs |= {tee for run in runs for tee in wiring.tees(run)}
    mine = [part for part in stretches(wiring) if runs & {run for run, _, _ in part.parts}]
    used = {found.dead.logic.supply if found.dead.logic else None}.union(*(part.supplies for part in mine))
    return [name for name, supply in show.supplies.items() if supply.box == found.dead.name or name in used]


def _unplug(found: BoxSwap, wiring: Wiring) -> list[str]:
    chains = wiring.of_controller(found.dead.name)
    lines = [
        f"port {port}: the lead to {runs[0]}" + (f" (behind it {', '.join(runs[1:])})" if runs[1:] else "")
        for port, runs in chains.items()
    ]
    own = f"its own power, from {found.dead.logic.supply}, and the" if found.dead.logic else "its own power and the"
    first = {cable.run: cable for cable in found.cables}
    cuts = [
        f"{run}: pull the plug between it and {ahead}"
        for runs in chains.values()
        for ahead, run in pairwise(runs)
        if run in first
    ]
    return [*lines, *cuts, f"{own} network cable"]


def _own_power(found: BoxSwap, wiring: Wiring) -> str:
    logic = found.spare.logic
    if logic is None:
        return "Give it its own power."
    volts = wiring.show.supplies[logic.supply].volts
    needs = f"{volts:g} V, {logic.amps:g} A"
    return f"Its own power comes from {logic.supply}: {needs}; check on its label that it takes {volts:g} V."


def _plug(found: BoxSwap) -> list[str]:
    lines = []
    new = {cable.run for cable in found.cables}
    for port, runs in found.spare_ports.items():
        was = found.from_ports[runs[0]]
        if runs[0] in new:
            lines.append(f"port {port}: {runs[0]}, with a new cable (below)")
        else:
            lines.append(f"port {port}: the lead to {runs[0]}" + ("" if was == port else f" (was port {was})"))
    return lines


def _cables(found: BoxSwap, wiring: Wiring) -> list[str]:
    show, lines = wiring.show, []
    for cable in found.cables:
        metres = length(cable.metres, show.settings.units)
        goal = f"the data-in of {cable.run}"
        if cable.tee_of:
            start = f"the data-in of {cable.tee_of}"
        elif cable.behind:
            start = f"the data-out of {cable.behind}, its last pixel,"
        else:
            start = f"port {cable.port} of {found.spare.name}"
        way = "in a straight line" if cable.straight else "along the routes"
        line = f"{metres} {way} (add slack), from {start} to {goal}"
        if not cable.measured:
            line = f"from {start} to {goal}: measure it; the file does not say where both are ({metres} is counted)"
        if cable.via == "booster":
            line += f"; over {LONGEST_LEAD:g} m data often arrives damaged: put a booster into it"
        lines.append(line + "." + "".join(f" {words}" for words in _old_lead(found, wiring, cable)))
    return lines


def _old_lead(found: BoxSwap, wiring: Wiring, cable: SwapCable) -> Iterator[str]:
    """What becomes of the lead that a new cable takes the place of, of what was in it and of what hung on it."""
    run, name = wiring.show.runs[cable.run], cable.run
    if cable.tee_of or (cable.behind and not _was_cut(wiring, found.dead.name, cable)):
        yield f"The old lead of {name} is not plugged in: unplug it at {name}, and cap its end."
    if run.nulls:
        pixels = f"{run.nulls} null pixel{'s' if run.nulls > 1 else ''}"
        yield f"Leave out the {pixels} of the old lead: {name} then has none."
    tees = [tee for tee in wiring.tees(name) if not wiring.show.runs[tee].nulls]
    if tees and not cable.tee_of:
        yield f"The lead of {_are(tees, 'stays', 'stay')} at the data-in of {name}."
    if not cable.fed:
        yield (
            f"The file names no feed for {name}: leave the V+ and ground that it has today where they are, "
            "and change its data wire only."
        )


def _was_cut(wiring: Wiring, dead: str, cable: SwapCable) -> bool:
    return any(cable.run in runs[1:] for runs in wiring.of_controller(dead).values())


def _type(found: BoxSwap) -> list[str]:
    spare = found.spare
    lines = [f"address {spare.address}"] if spare.address else []
    lines.append(f"protocol {PROTOCOL_NAMES[spare.protocol]}, {spare.delivery}")
    if spare.level != 1.0:
        lines.append(f"dimmer {spare.level:.0%}")
    wiring = wire(found.show)
    rows = [[*map(shown_head, TYPED)]]
    rows += [[str(cell) for cell in start_row(wiring, start).cells] for start in found.starts]
    wide = [max(len(row[at]) for row in rows) for at in range(len(TYPED))]
    for row in rows:
        cells = zip(TYPED, row, wide, strict=True)
        lines.append("  " + "  ".join(cell.rjust(w) if head in NUMBERS else cell.ljust(w) for head, cell, w in cells))
    return lines + typed_notes(wiring, found.starts)


def _player(found: BoxSwap, show: Show) -> list[str]:
    dead, spare = found.dead, found.spare
    lines = [f"{run}: from {address(old)} to {address(new)}" for run, (old, new) in found.moves.items()]
    old, new = (sending(box) for box in (dead, spare))
    universes = found.patch.box_universes.get(spare.name, ())
    if old != new:
        lines.append(f"universe{'s' if len(universes) > 1 else ''} {ranges(universes)}: {new}, no longer {old}")
    elif found.moves and spare.delivery == "unicast":
        lines.append(f"universes that go to {spare.address} now: {ranges(universes)}")
    if dead.reorders and not spare.reorders:
        for runs in found.spare_ports.values():
            for run in runs:
                order = show.type_of(show.runs[run]).colour_order
                if order not in ("RGB", "RGBW"):
                    lines.append(f"{run}: send its colours as {order}; {spare.name} does not reorder them")
    if not lines:
        return ["The player stays as it is."]
    return ["Change in the player:", *lines]


JOINED = "two supplies are joined on one V+; cut it there first, as patcher check says"
"""Why currents are not known though the file says all that they depend on."""


def supply_summary(found: SupplySwap) -> list[str]:
    """What the swap comes to."""
    dead, spare, load, level = found.dead, found.spare, found.load, found.before.level
    said = f"{spare.name} takes the place of {dead.name}: {spare.volts:g} V, {spare.amps:g} A."
    if not found.known:
        why = f"the file lacks {_and(list(found.missing))}" if found.missing else JOINED
        return [f"{said} How much is drawn is not known: {why}. But it is as strong as {dead.name}, which had "
                f"{dead.amps:g} A."]  # fmt: skip
    most = load.max_level
    more = f" It can run level {most:g}." if most is not None and most > level else ""
    gives, limit = apart(load.amps, load.limit)
    return [f"{said} At the show's level of {level:g} it gives {gives} A; "
            f"{limit} A ({LOADED * 100:.0f} % of its rating) is the most it should.{more}",
            *_unfed(found)]  # fmt: skip


def _unfed(found: SupplySwap) -> list[str]:
    runs = list(found.unfed)
    if not runs:
        return []
    return [f"No feed in the file reaches {_and(runs)}: if {found.dead.name} gives them their current, it is not "
            "counted here. Write the feed, and ask again."]  # fmt: skip


def supply_shortfall(found: SupplySwap) -> list[str]:
    """What is short, by how much, and what can be done instead."""
    dead, spare, load, level = found.dead, found.spare, found.load, found.before.level
    if found.collapses:
        return [f"At the show's level of {level:g} the pixels on {dead.name} ask for more power than its wires "
                "can bring: patcher check says where. Fix that first."]  # fmt: skip
    if not found.known:
        todo = f"write {_and(list(found.missing))}, from the data sheet or measured" if found.missing else JOINED
        return [f"Whether {spare.name} ({spare.amps:g} A) can carry the load of {dead.name} ({dead.amps:g} A) is not "
                f"known: {todo}."]  # fmt: skip
    drawn, limit, _ = apart(load.amps, load.limit, spare.amps)
    short, _ = apart(load.amps - load.limit, 0.0)
    said = [
        f"{spare.name} cannot carry {dead.name}'s load at the show's level of {level:g}: {drawn} A are "
        f"drawn, and of its {spare.amps:g} A it should give {limit} A at most ({LOADED * 100:.0f} %, common "
        f"practice). That is {short} A short."
    ]
    return [*said, *_unfed(found), *_instead(found)]


def _instead(found: SupplySwap) -> Iterator[str]:
    """What can be done with a supply that is too weak, and what cannot."""
    most, fit, level = found.load.max_level, found.fitting(), found.before.level
    either, other = ("Either run", "Or join") if most is not None and fit else ("Run", "Join")
    if most is None:
        yield "- No level helps: the dark pixels and the boxes alone draw more."
    else:
        yield f"- {either} the show at level {most:g} at most: write level = {most:g} under [show], and set the player."
    if fit:
        left = [feed.name for feed in found.feeds if feed.name not in fit]
        yield (
            f"- {other} only {_and(list(fit))}, {found.amps_of(fit):.1f} A; "
            f"{_are(left, 'stays', 'stay')} off, with what branches off there."
        )
    elif fit is None:
        yield "- It cannot even run the boxes."
    else:
        trees = {feed.name for feed in found.feeds}
        shared = any(len(part.trees & trees) > 1 for part in found.before.stretches)
        why = ": where several feed a run, the whole run draws through the one that is joined" * shared
        yield f"- At level {level:g} it cannot carry even one of the feeds{why}."


def _live_there(found: SupplySwap) -> list[str]:
    """The dead supply, and those that stand in the same box or feed a run that it feeds: hands come near them."""
    dead, parts = found.dead, found.before.stretches
    runs = {run for part in parts if dead.name in part.supplies for run, _, _ in part.parts}
    near = {name for part in parts if runs & {run for run, _, _ in part.parts} for name in part.supplies}
    others = [
        name for name, supply in found.before.show.supplies.items()
        if name != dead.name and (name in near or (dead.box is not None and supply.box == dead.box))
    ]  # fmt: skip
    return [dead.name, *others]


def supply_steps(found: SupplySwap, path: str, *, save: bool = True) -> Steps:
    """What to do, step by step; the first line of each is the step, the others its parts.

    Args:
        found: the swap.
        path: the show file.
        save: whether the swap is still to be written into the file.
    """
    dead, spare, level = found.dead, found.spare, found.before.level
    feeds = [
        f"{feed.name}, to {_and(list(dict.fromkeys(tap.run for tap in feed.taps)))}"
        + (f" (fuse {feed.fuse:g} A)" if feed.fuse else " (no fuse in the file: give it one)")
        for feed in found.feeds
    ]
    boxes = [f"{box}'s own power" for box in found.boxes]
    start, live = min(0.1, level), _live_there(found)
    what = "the dead supply" if len(live) == 1 else "the dead supply and what else is live there"
    return [
        [f"{_mains_off(live, what)} A supply holds a charge: wait a few minutes, then touch it."],
        [f"At {dead.name}: put a label on both wires of each, V+ and V−, and undo them.", *feeds, *boxes],
        [f"Put {spare.name} where {dead.name} is. Its mains side (line, neutral, earth) is for whoever is licensed by "
         "your local code; if it has a switch for the mains voltage, set it first."],
        [f"Before any feed is joined: mains on, measure {spare.volts:g} V at its output, mains off."],
        [f"Join to {spare.name}: V+ to V+, V− to V−, each with its own fuse.", *feeds, *boxes],
        ["Mains on. Nothing to type, and the player stays as it is."],
        *_save(path, dead.name, spare.name, save=save),
        [f"Test: patcher send steady {path} --level {start:g}"
         + (f", then step by step up to {level:g}; " if level > start else "; ")
         + f"{spare.name} and its wires may get hand-warm, not hot."],
    ]  # fmt: skip
