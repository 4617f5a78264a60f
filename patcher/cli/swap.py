"""`swap`: a spare in the place of what died on the night, step by step."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import AsJson, ShowFile, load, load_patch
from patcher.errors import choose_from, refuse
from patcher.terminal.tables import say_json, start_json

if TYPE_CHECKING:
    from patcher.patch.patch import Patch
    from patcher.show.schema import Show
    from patcher.show.writer import Seen
    from patcher.swaps.box_swap import BoxSwap, Shortfall
    from patcher.swaps.supply_swap import SupplySwap
    from patcher.wiring import Wiring

WIDTH = 100


def swap(
    show: ShowFile,
    dead: Annotated[str, typer.Argument(metavar="DEAD", help="The box or supply that died.")],
    spare: Annotated[str, typer.Argument(metavar="SPARE", help="The spare that takes its place.")],
    write: Annotated[bool, typer.Option("--write", help="Change the show file and the patch file.")] = False,
    as_json: AsJson = False,
) -> None:
    """Put a spare in the place of a dead box or supply: what to replug, to make and to type, in order."""
    from patcher.patch.patch_file import patch_path
    from patcher.show.writer import as_read

    seen = as_read(show, patch_path(show))
    wiring = load(show)
    kind, dead, spare = _meant(wiring.show, dead, spare)
    if kind == "controller":
        _box(show, seen, wiring, dead, spare, write=write, as_json=as_json)
    else:
        _supply(show, seen, wiring, dead, spare, write=write, as_json=as_json)


def _meant(show: Show, dead: str, spare: str) -> tuple[str, str, str]:
    """Whether two names are boxes or supplies, and each without its kind; PatcherError says what else they are."""
    from patcher.patch.thing import split

    tables: dict[str, Mapping[str, object]] = {"controller": show.controllers, "supply": show.supplies}
    said = [split(name, tables) for name in (dead, spare)]
    kinds = [[kind for kind in wanted if name in tables[kind]] for wanted, name in said]
    others = dict.fromkeys(show.runs, "run") | dict.fromkeys(show.props, "prop") | dict.fromkeys(show.feeds, "feed")
    for (_, name), own in zip(said, kinds, strict=True):
        if not own:
            says = f"is a {others[name]}" if name in others else "is neither a box nor a supply of this show"
            same = [known for kind in kinds[0] or tables for known in tables[kind]]
            raise refuse(name, says, "name a box or a supply" if name in others else choose_from(name, same))
    both = [kind for kind in kinds[0] if kind in kinds[1]]
    article = {"controller": "a box", "supply": "a supply"}
    if not both:
        says = f"is {article[kinds[1][0]]}, and {dead} is {article[kinds[0][0]]}"
        raise refuse(spare, says, f"name {article[kinds[0][0]]} that is kept as a spare")
    if len(both) > 1:
        remedy = f"say which: controller.{dead} or supply.{dead}"
        raise refuse(dead, "is the name of two things: a box and a supply", remedy)
    if said[0][1] == said[1][1]:
        raise refuse(spare, "is named as the dead one and as its spare", "name two different ones")
    return both[0], said[0][1], said[1][1]


def _box(path: Path, seen: Seen, wiring: Wiring, dead: str, spare: str, *, write: bool, as_json: bool) -> None:
    from patcher.cli.todo import say_left
    from patcher.patch.entered import todo
    from patcher.patch.patch_file import read_entered
    from patcher.swaps.box_swap import Shortfall, swap_box
    from patcher.swaps.swap_steps import box_steps, box_summary
    from patcher.wiring import wire

    found = swap_box(wiring, load_patch(path, wiring), dead, spare)
    if isinstance(found, Shortfall):
        _say_shortfall(found, as_json=as_json)
        raise typer.Exit(1)
    steps = box_steps(found, wiring, str(path))
    entered = read_entered(path)
    wrote = _write(path, seen, wiring.show, found.show, found.patch, spare) if write else []
    if as_json:
        say_json(_box_document(found) | {"steps": [" ".join(step) for step in steps], "wrote": wrote})
        return
    _say_paragraphs(box_summary(found, wiring))
    _say_steps(steps)
    _say_end(path, dead, spare, wrote)
    if wrote and found.spare.start:
        pins = f"[controller.{spare}.start]"
        print(f"The starts of {spare} are pinned in the show file, under {pins}: take a pin out where one may move.")
    if wrote:
        say_left(path, todo(entered, wire(found.show), found.patch))


def _box_document(found: BoxSwap) -> dict[str, object]:
    from dataclasses import asdict

    return {
        "dead": found.dead.name,
        "spare": found.spare.name,
        "possible": True,
        "proved": found.proved,
        "frame_ms": round(found.worst_ms, 4),
        "ports": [{"port": port, "runs": list(runs)} for port, runs in found.spare.port.items()],
        "cables": [asdict(cable) | {"metres": round(cable.metres, 4)} for cable in found.cables],
        "starts": [start_json(start, found.show) for start in found.starts],
        "moved_runs": [
            {"run": move.run, "from": "{}/{}".format(*move.old), "to": "{}/{}".format(*move.new)}
            for move in found.moves
        ],
    }  # fmt: skip


def _say_shortfall(found: Shortfall, *, as_json: bool) -> None:
    dead, spare = found.dead.name, found.spare.name
    if as_json:
        short = {"short": list(found.short), "lit": list(found.lit), "dark": list(found.dark)}
        say_json({"dead": dead, "spare": spare, "possible": False} | short)
        return
    _say_paragraphs([f"{spare} cannot take over all of {dead}:", *(f"- {short}." for short in found.short)])
    best = f"The best that can: {', '.join(found.lit)}. Dark: {', '.join(found.dark)}." if found.lit else "No run fits."
    more = "Name a larger spare; or move the dark ones in the file to free ports of other boxes, then swap again."
    _say_paragraphs([best, more, "Nothing was written."])


def _supply(path: Path, seen: Seen, wiring: Wiring, dead: str, spare: str, *, write: bool, as_json: bool) -> None:
    from patcher.swaps.supply_swap import swap_supply
    from patcher.swaps.swap_steps import supply_shortfall, supply_steps, supply_summary

    found = swap_supply(wiring, dead, spare)
    steps = supply_steps(found, str(path)) if found.holds else []
    wrote = _write(path, seen, wiring.show, found.show, None, spare) if write and found.holds else []
    if as_json:
        say_json(_supply_document(found) | {"steps": [" ".join(step) for step in steps], "wrote": wrote})
    elif found.holds:
        _say_paragraphs(supply_summary(found))
        _say_steps(steps)
        _say_end(path, dead, spare, wrote)
    else:
        _say_paragraphs([*supply_shortfall(found), "Nothing was written."])
    if not found.holds:
        raise typer.Exit(1)


def _supply_document(found: SupplySwap) -> dict[str, object]:
    known = found.known
    fitting = None if found.holds or not known else found.fitting()
    return {
        "dead": found.dead.name,
        "spare": found.spare.name,
        "possible": found.holds,
        "volts": found.spare.volts,
        "amps": found.spare.amps,
        "most_amps": round(found.limit, 4),
        "amps_at_level": round(found.amps, 4) if known else None,
        "level": found.level,
        "max_level": found.max_level if known else None,
        "feeds": [feed.name for feed in found.feeds],
        "boxes": list(found.boxes),
        "fitting": None if fitting is None else list(fitting),
        "unknown": list(found.unknown),
        "missing": [] if known else list(found.missing),
        "unfed": list(found.unfed),
    }


def _write(path: Path, seen: Seen, before: Show, after: Show, patch: Patch | None, spare: str) -> list[str]:
    """Change the show file and, where there is one, write the patch file; both or none."""
    from patcher.patch.patch_file import dump, patch_path
    from patcher.show.text_edits import edited
    from patcher.show.writer import write_together

    again = "spare = true, without address, runs and starts" if patch is not None else "spare = true"
    note = f"Dead: {spare} has taken its place. Once mended, uncomment it with {again}."
    changed = edited(seen[path] or "", before, after, note)
    _hold_against(path, changed, after, patch)
    texts = {path: changed} | ({patch_path(path): dump(patch)} if patch is not None else {})
    write_together(seen, texts)
    return list(map(str, texts))


def _hold_against(path: Path, text: str, after: Show, patch: Patch | None) -> None:
    """Refuse a text that does not say what it should."""
    from patcher.patch.changes import misfits
    from patcher.show.parser import read
    from patcher.show.run_tables import PointsRun
    from patcher.wiring import problems, wire

    points = {
        run.file: [list(at) for at in run.at] for run in after.runs.values() if isinstance(run, PointsRun) and run.file
    }
    reading = read(text, lambda name: points[name], str(path))
    if reading.show is not None and not reading.findings:
        wiring = wire(reading.show)
        now = reading.show
        same = (now.supplies, now.feeds, now.accepts) == (after.supplies, after.feeds, after.accepts)
        same = same and _settings(reading.show) == _settings(after) and _leads(reading.show) == _leads(after)
        if same and not problems(wiring) and not (patch and misfits(patch, wiring)):
            return
    says = "is written in a way that cannot be changed here; nothing was written"
    raise refuse(str(path), says, "give each box and supply a heading of its own: [controller.NAME]")


def _settings(show: Show) -> dict[str, object]:
    """The boxes' settings but for where they stand, which a file in feet gives with other roundings."""
    return {name: box.model_dump(exclude={"at"}) for name, box in show.controllers.items()}


def _leads(show: Show) -> dict[str, object]:
    """What is in each run's lead, and what joins it; its length may be rounded otherwise in feet."""
    keys = {"lead_via", "lead_awg", "lead_mm2", "nulls", "power_joined"}
    return {name: run.model_dump(include=keys) for name, run in show.runs.items()}


def _say_paragraphs(texts: list[str]) -> None:
    for text in texts:
        print(
            "\n".join(
                wrap(text, WIDTH, break_on_hyphens=False, subsequent_indent="  " if text.startswith("- ") else "")
            )
        )


def _say_steps(steps: list[list[str]]) -> None:
    """Numbered steps; what begins with two spaces stands as it is, for a table keeps its columns."""
    for number, (first, *rest) in enumerate(steps, start=1):
        print()
        indent = " " * 4
        print(
            "\n".join(
                wrap(
                    first, WIDTH, break_on_hyphens=False, initial_indent=f"{number}.".ljust(4), subsequent_indent=indent
                )
            )
        )
        for line in rest:
            if line.startswith("  "):
                print(indent + line.rstrip())
            else:
                print(
                    "\n".join(
                        wrap(
                            f"- {line}",
                            WIDTH,
                            break_on_hyphens=False,
                            initial_indent=indent,
                            subsequent_indent=indent + "  ",
                        )
                    )
                )


def _say_end(path: Path, dead: str, spare: str, wrote: list[str]) -> None:
    print()
    if wrote:
        print(f"Wrote {' and '.join(wrote)}.")
    else:
        print(f"Nothing was written yet. Into the files: patcher swap {path} {dead} {spare} --write")
