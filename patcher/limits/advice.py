"""Warnings about plans that can be built, but look or work worse than intended."""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil

from patcher.errors import Finding
from patcher.patch.chains import chains
from patcher.patch.patch import Chain
from patcher.show.run_tables import Run
from patcher.show.schema import GridProp, Show
from patcher.trade import LETTER_NAMES, letter_name
from patcher.units import METRES_PER, in_units
from patcher.wiring import Wiring

LONGEST_LEAD = 5.0
"""Metres of lead that data crosses without help; a null pixel sends it on afresh from where it sits.
Common practice, no source."""
_MEASURED = 0.011
"""Metres to which a lead is measured."""


def findings(wiring: Wiring) -> list[Finding]:
    """Warnings and notes about a sound wiring."""
    show = wiring.show
    return [
        *(finding for chain in chains(wiring) for finding in _chain(show, chain)),
        *_leads(show),
        *_tee_colours(wiring),
        *_grid_lines(show),
        *_unused(wiring),
        *_letters(show),
    ]


def _letters(show: Show) -> Iterator[Finding]:
    """Colours that have no name here: one of their kind, or a slip of the finger."""
    for name, pixel_type in show.pixel_types.items():
        order = pixel_type.colour_order
        if odd := [letter for letter in order if letter not in LETTER_NAMES]:
            known = ", ".join(LETTER_NAMES)
            says = f"“{order}” has {' and '.join(odd)}, and Patcher knows the colours of {known} only"
            remedy = f"if it is right, leave it: {odd[0]} is lit and named as {letter_name(odd[0])}"
            yield Finding("note", "letters", "wiring", f"pixel.{name}.colour_order", says, remedy)


def _chain(show: Show, chain: Chain) -> Iterator[Finding]:
    orders = {show.type_of(show.runs[link.run]).colour_order: link.run for link in chain.links}
    if show.controllers[chain.controller].reorders and len(orders) > 1:
        mixed = " and ".join(f"{order} ({run})" for order, run in orders.items())
        says = f"the start address of {chain.name} mixes colour orders, {mixed}, and the box has one setting for both"
        remedy = f"{_one_order_a_start(show, chain)}, or reorders = false"
        yield Finding("warning", "mixed-order", "address", f"controller.{chain.controller}", says, remedy)


def _one_order_a_start(show: Show, chain: Chain) -> str:
    """How each colour order of a chain that mixes them gets a start address of its own."""
    if show.controllers[chain.controller].start_per == "port":
        return 'give each kind a port of its own, or set start_per = "run"'
    each = {(link.port, show.type_of(show.runs[link.run]).colour_order) for link in chain.links}
    if len(each) == len({port for port, _ in each}):
        return 'set start_per = "port" or "run"'
    return 'set start_per = "run", or give each kind a port of its own and set start_per = "port"'


def _leads(show: Show) -> Iterator[Finding]:
    for run in show.runs.values():
        longest = max(run.lead_stretches)
        if longest <= LONGEST_LEAD + _MEASURED or run.lead_via != "cable":
            continue
        units = show.settings.units
        lead = f"has {in_units(run.lead, units)} of lead"
        where = lead if longest == run.lead else f"{lead}, {in_units(longest, units)} of it without a null pixel"
        says = f"{where}; past {in_units(LONGEST_LEAD, units)} data often arrives damaged"
        if run.nulls and not run.nulls_at:
            says += ", and a null pixel at the end of a lead does not help the lead before it"
        nulls = f"put null pixels along it ({_nulls_along(run, units)}), with V+ from the run"
        remedy = f'{nulls}, or a booster (lead_via = "booster")'
        yield Finding("warning", "lead-length", "wiring", f"run.{run.name}", says, remedy)


def _nulls_along(run: Run, units: str) -> str:
    """The keys that share out a lead by null pixels, in stretches that data crosses, in the file's units."""
    nulls = ceil(run.lead / LONGEST_LEAD - 1e-9) - 1
    each = run.lead / (nulls + 1) / METRES_PER[units]
    few = [f"{each * number:.4g}" for number in range(1, min(nulls, 4) + 1)]
    return f"nulls = {nulls}, nulls_at = [{', '.join(few)}{', …' if nulls > 4 else ''}]"


def _tee_colours(wiring: Wiring) -> Iterator[Finding]:
    show = wiring.show
    for run in show.runs.values():
        if run.same_data_as is None:
            continue
        source = show.runs[wiring.source(run.name)]
        own, wanted = show.type_of(run).colour_order, show.type_of(source).colour_order
        if own != wanted:
            says = f"has chips that take {own}, but shares the data of {source.name}, which is sent as {wanted}"
            yield Finding("warning", "mixed-order", "wiring", f"run.{run.name}.pixel", says, "use pixels of one kind")


def _grid_lines(show: Show) -> Iterator[Finding]:
    bands = show.bands
    for prop in show.props.values():
        if not isinstance(prop, GridProp):
            continue
        wired = {line for run in bands.get(prop.name, []) for line in range(run.band[0], run.band[1] + 1)}
        if bare := sorted(set(range(1, prop.line_count + 1)) - wired):
            says = f"has {len(bare)} of its {prop.line_count} {prop.lines} on no run, the first of them {bare[0]}"
            remedy = f'add a run with shape = "band" and of = "{prop.name}"'
            yield Finding("warning", "bare-lines", "wiring", f"prop.{prop.name}", says, remedy)


def _unused(wiring: Wiring) -> Iterator[Finding]:
    show = wiring.show
    used = {run.pixel for run in show.runs.values()}
    for name in show.pixel_types:
        if name not in used:
            yield Finding("note", "unused", "file", f"pixel.{name}", "is used by no run", "take it out, or leave it")
    for controller in show.controllers.values():
        if not controller.spare and not wiring.of_controller(controller.name):
            says = "feeds no run"
            remedy = "hang a run on a port, or mark it spare = true"
            yield Finding("note", "unused", "wiring", f"controller.{controller.name}", says, remedy)
