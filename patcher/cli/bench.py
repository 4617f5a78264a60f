"""`bench`: the same patterns on one string, with no show file, or as a run of a show will have it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from patcher.cli.inputs import AsJson
from patcher.cli.pattern_options import (
    PATTERNS,
    By,
    ColourName,
    DryRun,
    Every,
    Flashing,
    FramesASecond,
    Interface,
    Level,
    Loops,
    Priority,
    Rate,
    Seconds,
    Step,
    Sync,
    choose,
)
from patcher.errors import choose_from, refuse
from patcher.frames.request import FASTEST_STREAM, Asked, PatternName
from patcher.terminal.tables import count
from patcher.trade import CHANNELS, FIRST_UNIVERSE, LAST_UNIVERSE, PRIORITY, PROTOCOL_NAMES, TEST_LEVEL
from patcher.visible import one_line

if TYPE_CHECKING:
    from patcher.patch.patch import Patch
    from patcher.wiring import Wiring

BOX, STRING, LAMP = "bench", "string", "lamp"


def bench(
    address: Annotated[str, typer.Argument(metavar="ADDRESS", help="IPv4 address of the box.")],
    pattern: Annotated[PatternName, typer.Argument(metavar="[PATTERN]", help=PATTERNS)] = PatternName.primaries,
    pixels: Annotated[int | None, typer.Option(metavar="N", help="How many pixels the string has.")] = None,
    colour_order: Annotated[
        str | None,
        typer.Option(help="As it goes over the wire: RGB where the box puts colours into chip order.  [default: RGB]"),
    ] = None,
    protocol: Annotated[str | None, typer.Option(help="e131 or artnet.  [default: e131]")] = None,
    universe: Annotated[int | None, typer.Option(help="Where the string starts.  [default: 1]")] = None,
    channel: Annotated[int | None, typer.Option(help="Its first channel in that universe.  [default: 1]")] = None,
    like: Annotated[str | None, typer.Option("--as", metavar="SHOW:RUN", help="Take all that from a run.")] = None,
    colour: ColourName = "white",
    level: Level = TEST_LEVEL,
    by: By = "rows",
    every: Every = 10,
    rate: Rate = None,
    fps: FramesASecond = None,
    seconds: Seconds = None,
    loops: Loops = None,
    step: Step = False,
    priority: Priority = PRIORITY,
    interface: Interface = None,
    sync: Sync = False,
    flashing: Flashing = False,
    result: Annotated[
        str | None, typer.Option(metavar="TEXT", help="With --as: how it was, kept in the show's record.")
    ] = None,
    dry_run: DryRun = False,
    as_json: AsJson = False,
) -> None:
    """Stream a test pattern to one string on the bench; Ctrl-C ends it, and leaves it dark."""
    from patcher.cli.send import say_dry_run, stream
    from patcher.patch.thing import whole_show
    from patcher.stream.sender import targets

    if result is not None and (like is None or dry_run):
        raise refuse("--result", "is kept of a run of a show that was lit", "add --as SHOW:RUN, without --dry-run")
    own = {"--pixels": pixels, "--colour-order": colour_order, "--protocol": protocol,
           "--universe": universe, "--channel": channel}  # fmt: skip
    given = {option: value for option, value in own.items() if value is not None}
    wiring, patch = _of_run(address, like, given) if like is not None else _of_options(address, **_named(given))
    frames = fps or min(wiring.show.settings.frame_rate, FASTEST_STREAM)
    asked = Asked(pattern, colour, by, every, rate, frames, step, flashing, level)
    chosen = choose(asked, wiring, patch, whole_show(wiring))
    goals = targets(wiring.show, patch, wiring.show.controllers, {})
    print(_settings(wiring, patch), file=sys.stderr)
    if dry_run:
        say_dry_run(chosen, goals, as_json=as_json)
        return
    stream(
        chosen, wiring, patch, goals, level=level, frames=frames, seconds=seconds, loops=loops, step=step,
        priority=priority, interface=interface, sync=sync, quiet=False, as_json=as_json,
    )  # fmt: skip
    if like is not None:
        _keep(like, pattern.value, result if as_json else result or _asked(), as_json=as_json)


def _asked() -> str:
    """How a person says that it was; empty where there is none at the keys, or they say nothing."""
    if not sys.stdin.isatty():
        return ""
    print("How was it? y as it should be · or in words, then Enter · Enter alone keeps nothing", file=sys.stderr)
    said = sys.stdin.readline().strip()
    return {"y": "as it should be"}.get(said.lower(), said)


def _keep(like: str, pattern: str, how: str | None, *, as_json: bool) -> None:
    """A string that was tried on the bench goes into the record beside its show."""
    from patcher.walk.record import Entry
    from patcher.walk.record_file import change_record, checks_path, local_time

    if not how:
        return
    path, _, run = like.rpartition(":")
    now = local_time()
    change_record(Path(path), lambda record: record.added("bench", Entry(run, now, f"{pattern}: {how}")))
    print(
        f"Kept of {run} in {checks_path(Path(path)).name}: {one_line(how)}", file=sys.stderr if as_json else sys.stdout
    )


def _named(given: dict[str, Any]) -> dict[str, Any]:
    return {option.removeprefix("--").replace("-", "_"): value for option, value in given.items()}


def _of_options(
    address: str, pixels: int | None = None, colour_order: str = "RGB", protocol: str = "e131",
    universe: int = 1, channel: int = 1,
) -> tuple[Wiring, Patch]:  # fmt: skip
    """A show of one string on one box, and its patch; PatcherError names the option that is wrong."""
    from pydantic import TypeAdapter, ValidationError

    from patcher.show.schema import Show
    from patcher.show.tables import MOST_PIXELS, ColourOrder

    if pixels is None:
        raise refuse("--pixels", "is missing", "say how many pixels the string has, or --as SHOW:RUN")
    if not 1 <= pixels <= MOST_PIXELS:
        raise refuse("--pixels", f"cannot be {pixels}", f"a string has 1 to {MOST_PIXELS} pixels")
    try:
        TypeAdapter(ColourOrder).validate_python(colour_order)
    except ValidationError:
        says = f"“{colour_order}” is no order of colours"
        raise refuse("--colour-order", says, "write a capital letter a channel, each once: RGB, GRB, RGBW") from None
    if protocol not in PROTOCOL_NAMES:
        raise refuse("--protocol", f"cannot be “{protocol}”", choose_from(protocol, PROTOCOL_NAMES))
    box = {"address": _station(address), "protocol": protocol, "reorders": False, "ports": 1, "port": {"1": [STRING]}}
    show = Show.model_validate({
        "show": {"title": "the bench"}, "pixel": {LAMP: {"colour_order": colour_order}},
        "controller": {BOX: box}, "run": {STRING: {"pixel": LAMP, "pixels": pixels}},
    })  # fmt: skip
    return _laid(show, universe, channel)


def _station(address: str) -> str:
    from patcher.show.tables import station_address

    try:
        return station_address(address)
    except ValueError:
        raise refuse("ADDRESS", f"“{address}” is not the IPv4 address of one box", "such as 192.0.2.30") from None


def _of_run(address: str, like: str, given: dict[str, Any]) -> tuple[Wiring, Patch]:
    """A run of a show alone on one box that is set as its own box is, its pixels on their own channels."""
    from patcher.cli.inputs import load, load_patch
    from patcher.patch.patch import behind, first_fit, written

    if given:
        raise refuse(", ".join(given), "comes from the run with --as", "leave out the one or the other")
    path, colon, name = like.rpartition(":")
    if not colon or not path:
        raise refuse("--as", f"“{like}” names no run of a show", "write the show file, a colon and the run")
    whole = load(Path(path))
    if name not in whole.show.runs:
        raise refuse("--as", f"“{name}” is no run of {path}", choose_from(name, whole.show.runs))
    patch = load_patch(Path(path), whole)
    source = whole.source(name)
    box = whole.show.controllers[whole.ports[source][0]].model_copy(
        update={"address": _station(address), "delivery": "unicast", "start_per": "port", "port": {1: (source,)},
                "start": {}, "first_universe": None, "universes": None}
    )  # fmt: skip
    show = whole.show.model_copy(
        update={"controllers": {box.name: box}, "runs": {source: whole.show.runs[source]}, "accepts": (), "feeds": {}}
    )
    start = patch.start_of(source)
    at = start.at
    for link, lamps in start.placed():
        if link.run == source:
            return _laid(show, *written(first_fit(at, link.channels)))
        at = behind(lamps, link.pixels, link.channels)
    raise KeyError(source)


def _laid(show: Any, universe: int, channel: int) -> tuple[Wiring, Patch]:
    """The wiring of a show of one run, and the patch that begins there with its first pixel, a laid null included."""
    from patcher.patch.chains import chains
    from patcher.patch.patch import Patch, Start
    from patcher.wiring import wire

    wiring = wire(show)
    (chain,) = chains(wiring)
    (link,) = chain.links
    (box,) = show.controllers.values()
    last = LAST_UNIVERSE[box.protocol]
    universes = f"universes of {PROTOCOL_NAMES[box.protocol]} are {FIRST_UNIVERSE} to {last}"
    if not FIRST_UNIVERSE <= universe <= last:
        raise refuse("--universe", f"cannot be {universe}", universes)
    if not 1 <= channel <= CHANNELS - link.channels + 1:
        says = f"cannot be {channel}: a pixel of {count(link.channels, 'channel')} would not fit before {CHANNELS}"
        raise refuse("--channel", says, f"channels are 1 to {CHANNELS - link.channels + 1}")
    start = Start(chain, universe, channel)
    if start.universes[-1] > last:
        says = f"{universe} leaves no room: the string would end in universe {start.universes[-1]}"
        raise refuse("--universe", says, universes)
    return wiring, Patch((start,))


def _settings(wiring: Wiring, patch: Patch) -> str:
    """What the box on the bench must be set to, in words."""
    from patcher.faults import wire_letters

    (start,) = patch.starts
    (link,) = start.chain.links
    (box,) = wiring.show.controllers.values()
    run = wiring.show.runs[link.run]
    order = wire_letters(wiring.show, box.name, run)
    chips = wiring.show.type_of(run).colour_order
    laid = count(link.nulls + link.pixels, "pixel")
    protocol = PROTOCOL_NAMES[box.protocol]
    words = f"Set the box at {box.address} to {protocol}, start {start.universe}/{start.channel}, {laid}"
    if run.nulls:
        nulls = count(run.nulls, "null pixel")
        words += f": {nulls}, then {count(link.pixels, 'lamp')}" if link.nulls else f" behind {nulls}"
    words += f"; colours go out as {order}"
    return words + (f", and the box makes {chips} of them." if chips != order else ".")
