"""One string on the bench as a show of its own: one box with one port, one run, and the patch that lights it."""

from __future__ import annotations

from typing import NamedTuple

from pydantic import TypeAdapter, ValidationError

from patcher.errors import choose_from, refuse
from patcher.faults import wire_letters
from patcher.patch.chains import chains
from patcher.patch.patch import Patch, Start, behind, first_fit, written
from patcher.sheets.figures import count
from patcher.show.schema import Show
from patcher.show.tables import MOST_PIXELS, ColourOrder, station_address
from patcher.trade import CHANNELS, FIRST_UNIVERSE, LAST_UNIVERSE, PROTOCOL_NAMES, SACN_IS_E131, UNIVERSE_0, is_sacn
from patcher.wiring import Wiring, wire

BOX, STRING, PIXEL = "bench", "string", "pixel"


class String(NamedTuple):
    """What a person says of a string; errors name the options of `bench` in which they say it.

    Attributes:
        pixels: how many it has.
        colour_order: as it goes over the wire.
        protocol: the box's.
        universe: of its first channel.
        channel: its first channel.
    """

    pixels: int
    colour_order: str = "RGB"
    protocol: str = "e131"
    universe: int = 1
    channel: int = 1


def of_string(address: str, string: String) -> tuple[Wiring, Patch]:
    """The show of one string on the box at an address, and its patch.

    Raises:
        PatcherError: a value that cannot be.
    """
    if not 1 <= string.pixels <= MOST_PIXELS:
        raise refuse("--pixels", f"cannot be {string.pixels}", f"a string has 1 to {MOST_PIXELS} pixels")
    try:
        TypeAdapter(ColourOrder).validate_python(string.colour_order)
    except ValidationError:
        says = f"“{string.colour_order}” is not a colour order"
        raise refuse("--colour-order", says, "write a capital letter a channel, each once: RGB, GRB, RGBW") from None
    if string.protocol not in PROTOCOL_NAMES:
        instead = SACN_IS_E131 if is_sacn(string.protocol) else choose_from(string.protocol, PROTOCOL_NAMES)
        raise refuse("--protocol", f"cannot be “{string.protocol}”", instead)
    box = {"address": _box_address(address), "protocol": string.protocol, "reorders": False, "ports": 1}
    show = Show.model_validate({
        "show": {"title": "the bench"}, "pixel": {PIXEL: {"colour_order": string.colour_order}},
        "controller": {BOX: box | {"port": {"1": [STRING]}}},
        "run": {STRING: {"pixel": PIXEL, "pixels": string.pixels}},
    })  # fmt: skip
    return _laid(show, string.universe, string.channel)


def of_run(address: str, whole: Wiring, patch: Patch, run: str) -> tuple[Wiring, Patch]:
    """The show of one run alone, on the box at an address that is set as the run's own box is; and its patch.

    Args:
        address: of the box on the bench.
        whole: the wiring that the run is taken from.
        patch: its patch, from which the run has its channels.
        run: its name.
    """
    source = whole.source(run)
    box = whole.show.controllers[whole.ports[source][0]].model_copy(
        update={"address": _box_address(address), "delivery": "unicast", "start_per": "port", "port": {1: (source,)},
                "start": {}, "first_universe": None, "universes": None}
    )  # fmt: skip
    show = whole.show.model_copy(
        update={"controllers": {box.name: box}, "runs": {source: whole.show.runs[source]}, "accepts": (), "feeds": {}}
    )
    start = patch.start_of(source)
    at = start.at
    for link, pixels in start.placed():
        if link.run == source:
            return _laid(show, *written(first_fit(at, link.channels)))
        at = behind(pixels, link.pixels, link.channels)
    raise KeyError(source)


def settings(wiring: Wiring, patch: Patch) -> str:
    """What the box on the bench must be set to, in words."""
    (start,) = patch.starts
    (link,) = start.chain.links
    (box,) = wiring.show.controllers.values()
    run = wiring.show.runs[link.run]
    sent, chips = wire_letters(wiring.show, box.name, run), wiring.show.type_of(run).colour_order
    said = [
        f"Set the box at {box.address} to {PROTOCOL_NAMES[box.protocol]}",
        f"start {start.universe}/{start.channel}",
    ]
    said.append(count(link.nulls + link.pixels, "pixel"))
    if run.nulls:
        nulls = count(run.nulls, "null pixel")
        said[-1] += f": {nulls}, then {count(link.pixels, 'pixel')}" if link.nulls else f" behind {nulls}"
    colours = f"; colours are sent as {sent}"
    return ", ".join(said) + colours + (f", and the box reorders them to {chips}." if chips != sent else ".")


def _box_address(address: str) -> str:
    try:
        return station_address(address)
    except ValueError:
        raise refuse("ADDRESS", f"“{address}” is not the IPv4 address of one box", "such as 192.0.2.30") from None


def _laid(show: Show, universe: int, channel: int) -> tuple[Wiring, Patch]:
    """The wiring of a show of one run, and the patch that begins there with its first pixel, a laid null included."""
    wiring = wire(show)
    (chain,) = chains(wiring)
    (link,) = chain.links
    (box,) = show.controllers.values()
    last = LAST_UNIVERSE[box.protocol]
    universes = f"universes of {PROTOCOL_NAMES[box.protocol]} are {FIRST_UNIVERSE} to {last}"
    if not FIRST_UNIVERSE <= universe <= last:
        zero = universe == 0 and box.protocol == "artnet"
        raise refuse("--universe", f"cannot be {universe}", UNIVERSE_0 if zero else universes)
    if not 1 <= channel <= CHANNELS - link.channels + 1:
        says = f"cannot be {channel}: a pixel of {count(link.channels, 'channel')} would not fit before {CHANNELS}"
        raise refuse("--channel", says, f"channels are 1 to {CHANNELS - link.channels + 1}")
    start = Start(chain, universe, channel)
    if start.universes[-1] > last:
        says = f"{universe} leaves no room: the string would end in universe {start.universes[-1]}"
        raise refuse("--universe", says, universes)
    return wiring, Patch((start,))
