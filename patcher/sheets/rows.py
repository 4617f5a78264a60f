"""Tables of the patch: what is typed into the boxes, what the player is told, and what of both has changed.

A table is its heads and its rows; heads are words joined by underscores, as a CSV file has them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from patcher.address.changes import RunChange, StartChange
from patcher.address.patch import Patch, written
from patcher.wiring import Wiring

Row = tuple[object, ...]


@dataclass(frozen=True)
class Table:
    """Heads, and rows of as many cells."""

    heads: tuple[str, ...]
    rows: tuple[Row, ...]


def starts(wiring: Wiring, patch: Patch) -> Table:
    """What is typed into the boxes, a row a start."""
    rows = []
    for start in patch.starts:
        runs = [link.run for link in start.chain.links]
        rows.append((
            start.controller, start.chain.name, start.universe, start.channel, start.chain.pixels,
            start.universes[-1], colours(wiring, start.controller, runs), ", ".join(runs),
        ))  # fmt: skip
    heads = ("box", "start of", "universe", "channel", "pixels", "last_universe", "colours", "runs")
    return Table(heads, tuple(rows))


def colours(wiring: Wiring, box: str, runs: Sequence[str]) -> str:
    """The colour order to set in a box for some runs; `as sent` where it leaves colours as they come."""
    show = wiring.show
    orders = dict.fromkeys(show.type_of(show.runs[run]).colour_order for run in runs)
    return " ".join(orders) if show.controllers[box].reorders else "as sent"


def player(wiring: Wiring, patch: Patch) -> Table:
    """What is typed into the show's player, prop by prop and run by run."""
    rows: list[Row] = []
    for prop, runs in wiring.show.prop_runs().items():
        for run in runs:
            if patch.has(run):
                link, at = patch.link_of(run)
                rows.append((prop, run, *written(at), at + 1, link.pixels, link.channels))
    return Table(("prop", "run", "universe", "channel", "running_channel", "pixels", "channels"), tuple(rows))


def typed_anew(changes: Sequence[StartChange]) -> Table:
    """What is typed anew into the boxes: each start as it is now and as it is to be."""
    rows: list[Row] = []
    for change in changes:
        old, new = change.old, change.new
        now = f"{old.universe}/{old.channel}" if old else "new"
        then = f"{new.universe}/{new.channel}" if new else "goes"
        pixels = " → ".join(dict.fromkeys(str(start.chain.pixels) for start in (old, new) if start))
        rows.append((change.controller, change.name, now, then if then != now else "as now", pixels))
    return Table(("box", "start of", "now", "then", "pixels"), tuple(rows))


def told_anew(changes: Sequence[RunChange]) -> Table:
    """What the player is told anew, run by run."""
    return Table(("run", "now", "then", "pixels"), tuple(_told(change) for change in changes))


def _told(change: RunChange) -> Row:
    old, new = change.old, change.new
    now = f"{old.universe}/{old.channel}" if old else "new"
    then = f"{new.universe}/{new.channel}" if new else "goes"
    wide = old is not None and new is not None and old.channels != new.channels
    texts = [f"{place.pixels} × {place.channels}" if wide else str(place.pixels) for place in (old, new) if place]
    return change.run, now, then if then != now else "as now", " → ".join(dict.fromkeys(texts))


def every_pixel(patch: Patch) -> Table:
    """One row a pixel: where it hangs and the first of its channels."""
    rows: list[Row] = []
    for span in patch.spans():
        for number, pixel in enumerate(range(span.first_pixel, span.last_pixel + 1)):
            channel = span.first_channel + number * span.width
            rows.append((span.controller, span.port, span.run, pixel, span.universe, channel))
    return Table(("controller", "port", "run", "pixel", "universe", "channel"), tuple(rows))
