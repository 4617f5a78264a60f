"""The sheets for machines: one JSON document, CSV tables, and Markdown for a wiki or a message."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from patcher.drawing.voltage_profile import plain
from patcher.sheets.contents import ShowSheet
from patcher.sheets.day_list import day_table
from patcher.sheets.figures import count, power_cuts
from patcher.sheets.patch_tables import PORT_PIXELS, SEND_BY, SEND_TO, PrintedTable, shown_head
from patcher.units import length
from patcher.visible import as_csv


def document(sheet: ShowSheet) -> dict[str, Any]:
    """All of it as JSON values, in the words of the other commands' JSON; tables as lists of objects."""
    found = asdict(sheet)
    tables = {
        "starts": sheet.starts, "player": sheet.player, "to_type": sheet.to_type, "to_tell": sheet.to_tell,
        "to_send": sheet.to_send, "to_draw": sheet.to_draw,
    }  # fmt: skip
    for key, table in tables.items():
        found[key] = [dict(zip(_keys(table), row, strict=True)) for row in table.rows]
    for finding in found["findings"]:
        finding["try"] = finding.pop("remedy")
    return {"show": found.pop("title"), **found}


def _keys(table: PrintedTable) -> list[str]:
    return [head.replace(" ", "_") for head in table.heads]


def files(sheet: ShowSheet) -> dict[str, str]:
    """The files that are no pages: each table as CSV, and all of it in Markdown; their texts by their names."""
    made = {f"tables/{name}.csv": as_csv(table.heads, table.rows) for name, table in tables(sheet).items()}
    return made | {"sheets.md": as_markdown(sheet)}


def tables(sheet: ShowSheet) -> dict[str, PrintedTable]:
    """What is written as CSV, by the name of its file."""
    found = {
        "patch": sheet.starts, "player": sheet.player, "to-type": sheet.to_type, "to-tell": sheet.to_tell,
        "to-send": sheet.to_send, "to-draw": sheet.to_draw, "shopping": _of(sheet.shopping),
        "day": day_table(sheet.day), "labels": _of(sheet.labels), "chains": _chains(sheet), "taps": _taps(sheet),
    }  # fmt: skip
    if sheet.tags:
        rows = [
            {
                **asdict(tag),
                "repairs": "; ".join(tag.repairs.open),
                "notes": "; ".join(tag.repairs.notes),
                "checked": tag.repairs.checked,
            }
            for tag in sheet.tags
        ]
        found["tags"] = PrintedTable(tuple(rows[0]), tuple(tuple(row.values()) for row in rows))
    return found


def _of(values: Sequence[Any]) -> PrintedTable:
    rows = [asdict(value) for value in values]
    return PrintedTable(tuple(rows[0]) if rows else (), tuple(tuple(row.values()) for row in rows))


def _chains(sheet: ShowSheet) -> PrintedTable:
    heads = (
        "box", "port", "run", "pixel", "pixels", "first", "last", "nulls", "lead_metres", "via", "universe",
        "channel",
        "last_universe", "last_channel", "tee_of", "hung", "v_plus_joined", "v_plus_cuts",
    )  # fmt: skip
    return PrintedTable(heads, tuple(
        (
            box.box, port.port, run.run, run.pixel, run.pixels, run.first, run.last, run.nulls,
            round(run.lead, 6), run.via, *run.begins, *run.ends, run.tee_of, run.hung,
            run.joined, ", ".join(map(str, run.power_cuts)),
        )
        for box in sheet.boxes for port in box.ports for run in port.chain
    ))  # fmt: skip


def _taps(sheet: ShowSheet) -> PrintedTable:
    heads = ("feed", "source", "supply", "wire", "fuse", "tap", "run", "pixel", "metres", "amps", "tap_fuse")
    return PrintedTable(heads, tuple(
        (
            feed.feed, feed.source, feed.supply, feed.wire, feed.fuse, tap.tap, tap.run, tap.pixel,
            None if tap.metres is None else round(tap.metres, 6), tap.amps, tap.fuse,
        )
        for feed in sheet.feeds for tap in feed.taps
    ))  # fmt: skip


def as_markdown(sheet: ShowSheet) -> str:
    """The sheets as Markdown: the patch, what is still to do, the player, each box, the shopping list."""
    total = f"{count(sheet.pixels, 'pixel')}, {count(sheet.channels, 'channel')}, {count(sheet.universes, 'universe')}"
    parts = [
        f"# {_inert(sheet.title)}", f"{total}. Revision {sheet.mark}.",
        "## What to type into each box", *(_inert(f"{box.box}: {box.own_setting}.") for box in sheet.boxes),
        _table(sheet.starts.without(PORT_PIXELS)),
        *(_inert(f"{box.box}: {note}.") for box in sheet.boxes for note in box.notes),
        *_changes(sheet),
        "## What to tell the player", *(_inert(f"{line}.") for line in sheet.send_to),
        _table(sheet.player.without(SEND_BY, SEND_TO)),
    ]  # fmt: skip
    for box in sheet.boxes:
        how = f"{box.protocol}, {box.delivery}, {box.address or 'no address'}"
        speed = f"{box.frame_ms:.1f} ms a frame on port {box.slowest_port}"
        parts += [f"## {box.box}", f"{how}; universe{'s' * (not box.universes.isdigit())} {box.universes}; {speed}."]
        heads = ("port", "run", "pixels", "on the port, nulls left out", "nulls", "lead", "from", "to")
        rows = [
            (
                port.port, " ".join(filter(None, [run.run, power_cuts(run.power_cuts)])), run.pixels,
                f"{run.first}–{run.last}", run.nulls,
                "; ".join(filter(None, [length(run.lead, sheet.units), run.without_power])),
                "{}/{}".format(*run.begins), "{}/{}".format(*run.ends),
            )
            for port in box.used for run in port.chain
        ]  # fmt: skip
        parts.append(_table(PrintedTable(heads, tuple(rows))))
    needs = tuple(
        (
            need.what,
            need.count,
            need.spare or "",
            "" if need.metres is None else length(need.metres, sheet.units),
            need.note,
        )
        for need in sheet.shopping
    )
    parts += ["## Shopping list", _table(PrintedTable(("what", "count", "spare", "length", "note"), needs))]
    return "\n\n".join(parts) + "\n"


def _changes(sheet: ShowSheet) -> Iterable[str]:
    yield "## Still to type in, still to tell"
    if not sheet.ticked:
        yield "Nothing is ticked off yet, so everything is still to do."
        return
    left = [table for table in (sheet.to_type, sheet.to_tell, sheet.to_send, sheet.to_draw) if table.rows]
    yield from map(_table, left) if left else ["Nothing: everything is ticked off."]


def _table(table: PrintedTable) -> str:
    lines = [[*map(shown_head, table.heads)], ["---"] * len(table.heads), *table.rows]
    return "\n".join("| " + " | ".join(_inert(str(cell)) for cell in line) + " |" for line in lines)


def _inert(text: str) -> str:
    """Text that Markdown takes for nothing but text."""
    return re.sub(r"([\\`*_{}\[\]<>()#+!|~&])", r"\\\1", plain(text))
