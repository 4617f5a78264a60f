"""Commands that write a file: `new`, `patch`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.loading import AsJson, ShowFile, allocated, load
from patcher.cli.saying import count, say_csv, say_json, say_table
from patcher.errors import refuse

if TYPE_CHECKING:
    from patcher.address.patch import Patch
    from patcher.address.placement import Allocation
    from patcher.wiring import Wiring

NUMBERS = "universe channel last_universe running_channel pixels channels pixel port"
Rows = list[tuple[object, ...]]


def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The show file to write, as my-show.toml.")],
) -> None:
    """Write a small show file with comments, to begin from."""
    import json

    from patcher.show.files import write_whole
    from patcher.show.schema import json_schema
    from patcher.show.starter import STARTER

    if file.suffix != ".toml":
        raise refuse(str(file), "does not end in .toml", f"call it {file.name}.toml")
    if file.exists():
        raise refuse(str(file), "is there already; it was left as it is", "choose another name")
    write_whole(file, STARTER)
    schema = file.with_name("patcher.schema.json")
    write_whole(schema, json.dumps(json_schema(), ensure_ascii=False, indent=1) + "\n")
    print(f"Wrote {file}, and {schema} beside it, by which an editor completes and checks it.")
    print(f"Change it to your own, then: patcher check {file}")


def patch(
    show: ShowFile,
    player: Annotated[bool, typer.Option("--player", help="What to type into the show's player instead.")] = False,
    fresh: Annotated[bool, typer.Option("--fresh", help="Forget the patch file that is there.")] = False,
    csv: Annotated[bool, typer.Option("--csv", help="The table as CSV.")] = False,
    every_pixel: Annotated[bool, typer.Option("--every-pixel", help="One row a pixel.")] = False,
    as_json: AsJson = False,
) -> None:
    """Give every pixel its universe and channel, keep them in the patch file, print what to type into each box."""
    from patcher.address.files import read_patch, write_patch

    if player and every_pixel:
        raise refuse("--player", "does not go together with --every-pixel", "leave one of them out")
    if as_json and (csv or player):
        raise refuse("--json", "does not go together with --csv or --player", "leave one of them out")
    wiring = load(show)
    kept = None if fresh else read_patch(show)
    made = allocated(show, wiring)
    path = write_patch(show, made.patch)
    if as_json:
        document = _document(wiring, made, kept)
        if every_pixel:
            heads, rows = _every_pixel(made.patch)
            document["every_pixel"] = [dict(zip(heads, row, strict=True)) for row in rows]
        say_json(document)
        return
    if csv or player or every_pixel:
        heads, rows = _every_pixel(made.patch) if every_pixel else _player(wiring, made.patch)
        if not player and not every_pixel:
            heads, rows = _starts(wiring, made.patch)
        if csv:
            say_csv(heads, rows)
        else:
            say_table(heads, rows, right=NUMBERS)
        return
    _say_boxes(wiring, made.patch)
    _say_summary(made, kept, path)


def _document(wiring: Wiring, made: Allocation, kept: Patch | None) -> dict[str, object]:
    from dataclasses import asdict

    from patcher.address.placement import changed_boxes, moved_runs

    patch = made.patch
    return {
        "show": wiring.show.settings.title,
        "pixels": patch.pixels,
        "channels": patch.channels,
        "universes": patch.universe_count,
        "lower_bound": made.lower_bound,
        "proved": made.proved,
        "starts": [
            {
                "controller": start.controller, "port": start.chain.port, "run": start.chain.run,
                "universe": start.universe, "channel": start.channel,
                "pixels": start.chain.pixels, "universes": len(start.universes),
            }
            for start in patch.starts
        ],
        "spans": [asdict(span) for span in patch.spans()],
        "changed": changed_boxes(kept, patch),
        "moved_runs": moved_runs(kept, patch),
    }  # fmt: skip


def _starts(wiring: Wiring, patch: Patch) -> tuple[tuple[str, ...], Rows]:
    heads = ("box", "start of", "universe", "channel", "pixels", "last_universe", "colours", "runs")
    rows: Rows = []
    for start in patch.starts:
        show = wiring.show
        runs = [link.run for link in start.chain.links]
        orders = dict.fromkeys(show.type_of(show.runs[run]).colour_order for run in runs)
        reorders = show.controllers[start.controller].reorders
        rows.append((
            start.controller, start.chain.name, start.universe, start.channel, start.chain.pixels,
            start.universes[-1],
            " ".join(orders) if reorders else "as sent", ", ".join(runs),
        ))  # fmt: skip
    return heads, rows


def _say_boxes(wiring: Wiring, patch: Patch) -> None:
    heads, rows = _starts(wiring, patch)
    for name, controller in wiring.show.controllers.items():
        own = [row[1:] for row in rows if row[0] == name]
        if own:
            protocol = "E1.31" if controller.protocol == "e131" else "Art-Net"
            print(f"{name}: {protocol}, {controller.delivery}, {controller.address or 'no address'}")
            say_table(heads[1:], own, right=NUMBERS)
            print()


def _say_summary(made: Allocation, kept: Patch | None, path: Path) -> None:
    from patcher.address.placement import changed_boxes, moved_runs

    patch = made.patch
    proof = "as few as this placement allows" if made.proved else f"at least {made.lower_bound} are needed"
    universes = count(patch.universe_count, "universe")
    print(f"{count(patch.pixels, 'pixel')}, {count(patch.channels, 'channel')}, {universes} ({proof}).")
    if kept is None:
        print(f"Wrote {path}: all of it is new to the boxes.")
    elif boxes := changed_boxes(kept, patch):
        print(f"Wrote {path}. To be typed anew: {', '.join(boxes)}.")
        if runs := moved_runs(kept, patch):
            print(f"Moved in the player: {', '.join(runs)}.")
    else:
        print(f"Kept {path}: nothing to type anew.")


def _player(wiring: Wiring, patch: Patch) -> tuple[tuple[str, ...], Rows]:
    from patcher.address.patch import written

    heads = ("prop", "run", "universe", "channel", "running_channel", "pixels", "channels")
    rows: Rows = []
    for prop, runs in wiring.show.prop_runs().items():
        for run in runs:
            if patch.has(run):
                link, at = patch.link_of(run)
                rows.append((prop, run, *written(at), at + 1, link.pixels, link.channels))
    return heads, rows


def _every_pixel(patch: Patch) -> tuple[tuple[str, ...], Rows]:
    heads = ("controller", "port", "run", "pixel", "universe", "channel")
    rows: Rows = []
    for span in patch.spans():
        for number, pixel in enumerate(range(span.first_pixel, span.last_pixel + 1)):
            channel = span.first_channel + number * span.width
            rows.append((span.controller, span.port, span.run, pixel, span.universe, channel))
    return heads, rows
