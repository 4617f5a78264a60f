"""Tables of the patch: what is typed into the boxes, what the player is told, and what of both has changed.

A table is its heads and its rows; heads are words joined by underscores, as a CSV file has them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import astuple, dataclass, fields

from patcher.errors import first_few
from patcher.faults import wire_letters
from patcher.patch.changes import AS_SENT, BoxChange, BoxSetting, RunChange, RunPlace, Setting, StartChange, setting
from patcher.patch.patch import Patch, Start, written
from patcher.patch.player import MULTICAST, DrawChange, SendChange, Sending
from patcher.patch.player import sending as sending_of
from patcher.sheets.figures import count, ranges
from patcher.show.schema import Controller
from patcher.trade import PROTOCOL_NAMES
from patcher.wire.artnet import in_parts
from patcher.wiring import Wiring, port_name

Row = tuple[object, ...]


@dataclass(frozen=True)
class PrintedTable:
    """Heads, and rows of as many cells."""

    heads: tuple[str, ...]
    rows: tuple[Row, ...]

    def without(self, *heads: str) -> PrintedTable:
        """It without some columns."""
        kept = [at for at, name in enumerate(self.heads) if name not in heads]
        rows = tuple(tuple(row[at] for at in kept) for row in self.rows)
        return PrintedTable(tuple(self.heads[at] for at in kept), rows)


@dataclass(frozen=True, slots=True)
class StartRow:
    """One start as it is typed into the box. Its fields are the columns of every table that is typed in.

    Attributes:
        start_of: the start, as it is named everywhere.
        universe: the universe of its first channel.
        channel: its first channel.
        pixels: its pixels, without nulls.
        nulls: its null pixels, whether they take channels or not.
        last_universe: the last universe that it reaches.
        colours: the colour order to set.
        runs: its runs in data order.
    """

    start_of: str
    universe: int
    channel: int
    pixels: int
    nulls: int
    last_universe: int
    colours: str
    runs: str

    @property
    def cells(self) -> Row:
        """Its cells, in the order of `TYPED`."""
        return astuple(self)


TYPED = tuple({"start_of": "start of"}.get(field.name, field.name) for field in fields(StartRow))
"""The columns of what is typed in."""
PORT_PIXELS = "port_pixels"
"""The column for scripts that says how many pixels each port of a start has; on paper a note says it."""
NUMBERS = frozenset({
    "universe", "channel", "pixels", "nulls", "last_universe", "running_channel", "channels", "pixel", "port",
})  # fmt: skip
"""Columns of numbers, which are aligned right."""


SHOWN = {
    "running_channel": "absolute channel (counted from 1/1)", "channels": "channels a pixel", "controller": "box",
}  # fmt: skip
"""Heads that a person reads otherwise than a script."""


def shown_head(head: str) -> str:
    """The head of a column as a person reads it."""
    return SHOWN.get(head, head.replace("_", " "))


def screen_head(head: str) -> str:
    """The same in one word, as `say_table` takes it."""
    return shown_head(head).replace(" ", "_")


def start_row(wiring: Wiring, start: Start) -> StartRow:
    """What is typed in for one start."""
    runs = [link.run for link in start.chain.links]
    typed = setting(start, wiring.show)
    return StartRow(
        start.chain.name, typed.universe, typed.channel, typed.pixels, typed.nulls, start.universes[-1], typed.colours,
        ", ".join(runs),
    )  # fmt: skip


def typed_notes(wiring: Wiring, starts: Iterable[Start]) -> list[str]:
    """What is to be said under a table of starts of one box: what its columns cannot say."""
    own = list(starts)
    return [words for kind in (_port_words, _artnet_words, _colour_words, null_words) for words in kind(wiring, own)]


def _port_words(wiring: Wiring, starts: list[Start]) -> Iterator[str]:
    for start in starts:
        nulls: dict[int, int] = {}
        for link in start.chain.links:
            nulls[link.port] = nulls.get(link.port, 0) + wiring.show.runs[link.run].nulls
        each = [
            f"{port_name(start.controller, port)} {pixels}" + f" and {count(nulls[port], 'null')}" * bool(nulls[port])
            for port, pixels in start.chain.port_pixels.items()
        ]
        if len(each) > 1:
            yield f"pixels of each port: {', '.join(each)}"


def _artnet_words(wiring: Wiring, starts: list[Start]) -> Iterator[str]:
    if starts and wiring.show.controllers[starts[0].controller].protocol == "artnet":
        universes = sorted({universe for start in starts for universe in (start.universe, start.universes[-1])})
        each = ", ".join(f"{universe} is {in_parts(universe)}" for universe in universes)
        yield f"Art-Net universes as Net.Sub-Net.Universe, each counted from 0: {each}"


def _colour_words(wiring: Wiring, starts: list[Start]) -> Iterator[str]:
    if any(setting(start, wiring.show).colours == AS_SENT for start in starts):
        yield f"{AS_SENT}: the box does not reorder colours: set nothing, or where it asks RGB (RGBW for four colours)"


def null_words(wiring: Wiring, starts: Iterable[Start]) -> list[str]:
    """What a table of starts of one box cannot say of null pixels: how the box takes them, and those inside a chain."""
    own = list(starts)
    inside = [
        f"{name} has {nulls} null pixel{'s' * (nulls > 1)} before it, in the middle of its chain"
        for start in own
        for before, link in zip((None, *start.chain.links), start.chain.links, strict=False)
        if before is not None and before.port == link.port
        for name, nulls in [(link.run, wiring.show.runs[link.run].nulls)]
        if nulls
    ]
    if not any(setting(start, wiring.show).nulls for start in own):
        return []
    if wiring.show.controllers[own[0].controller].skips_nulls:
        said = "null pixels take no channels: type in their number, and do not count them as pixels"
    else:
        said = "null pixels take channels here: if the box has one number for both, type in pixels + nulls"
    return [said, *inside]


def starts(wiring: Wiring, patch: Patch) -> PrintedTable:
    """What is typed into the boxes, a row a start."""
    rows = (
        (
            start.controller, *start_row(wiring, start).cells,
            ", ".join(f"{port}: {pixels}" for port, pixels in start.chain.port_pixels.items()),
        )
        for start in patch.starts
    )  # fmt: skip
    return PrintedTable(("box", *TYPED, PORT_PIXELS), tuple(rows))


SEND_BY, SEND_TO = "protocol", "send_to"
"""The columns for scripts that say how a run's universes reach its box; for people `sent_lines` says it."""


def player(wiring: Wiring, patch: Patch) -> PrintedTable:
    """What is typed into the show's player, prop by prop and run by run, both in the order of their addresses."""
    rows: list[Row] = []
    places = {
        prop: sorted((patch.link_of(run)[1], run) for run in runs if patch.has(run))
        for prop, runs in wiring.show.prop_runs().items()
    }
    for prop, runs in sorted(places.items(), key=lambda each: each[1]):
        for at, run in runs:
            link, _ = patch.link_of(run)
            box = wiring.show.controllers[patch.start_of(run).controller]
            letters = wire_letters(wiring.show, box.name, wiring.show.runs[run])
            sent = PROTOCOL_NAMES[box.protocol], goal(box)
            rows.append((prop, run, *written(at), at + 1, link.pixels, link.channels, letters, *sent))
    heads = ("prop", "run", "universe", "channel", "running_channel", "pixels", "channels", "colours_to_send")
    return PrintedTable((*heads, SEND_BY, SEND_TO), tuple(rows))


def goal(box: Controller) -> str:
    """Where the player sends a box's universes: its address, or `multicast`."""
    return sending_of(box).to or NOT_KNOWN


def sending(box: Controller) -> str:
    """How the player sends a box's universes: `E1.31 to 192.0.2.11`, `E1.31 as multicast`."""
    return sent_words(sending_of(box))


def sent_words(how: Sending) -> str:
    """How universes are sent, in words."""
    return f"{PROTOCOL_NAMES[how.protocol]} {'as' if how.to == MULTICAST else 'to'} {how.to or NOT_KNOWN}"


def sent_lines(wiring: Wiring, patch: Patch) -> list[str]:
    """Which universes the player sends where, a line a box: `universes 1–3: E1.31 to 192.0.2.11 (hall)`."""
    return [
        f"{universe_words(universes)}: {sending(wiring.show.controllers[box])} ({box})"
        for box, universes in patch.box_universes.items()
    ]


def universe_words(universes: Sequence[int]) -> str:
    """`universe 3`, `universes 3–4, 7`."""
    return f"universe{'s' * (len(universes) > 1)} {ranges(universes)}"


NOT_KNOWN = "not known"
"""What stands for a setting or an address of which nobody said what it is."""


IN_THE_BOX, PLAYER_HAS, IN_PATCH_FILE = "in_the_box", "player_has", "in_the_patch_file"
"""Heads of what an address is changed from: what was ticked off as typed in, or as told, and the patch that is kept."""
_NO_ADDRESS = {IN_THE_BOX: NOT_KNOWN, PLAYER_HAS: NOT_KNOWN, IN_PATCH_FILE: "none"}
"""What stands under each of them where there is no address."""


def to_type(changes: Sequence[StartChange], before: str = IN_THE_BOX) -> PrintedTable:
    """The settings to change in the boxes: each start as it was before, under that head, and as it is to be."""
    rows: list[Row] = []
    none = _NO_ADDRESS[before]
    for change in changes:
        both = [setting for setting in (change.old, change.new) if setting]
        others = zip(*((setting.pixels, setting.nulls, setting.colours) for setting in both), strict=True)
        pixels, *words = (" → ".join(dict.fromkeys(map(str, values))) for values in others)
        if (of_ports := _port_change(change)) is not None:
            pixels = of_ports
        rows.append((change.controller, change.name, *_before_and_after(change.old, change.new, none), pixels, *words))
    return PrintedTable(("box", "start of", before, "change_to", "pixels", "nulls", "colours"), tuple(rows))


OWN_SETTING = "address, protocol"
"""What a box's own setting is called among its starts."""


def own_rows(changes: Sequence[BoxChange]) -> tuple[Row, ...]:
    """The boxes' own settings to change, as rows of the table of `to_type`."""
    return tuple(
        (change.controller, OWN_SETTING, own_words(change.old), own_words(change.new), "", "", "") for change in changes
    )


def own_words(held: BoxSetting | None) -> str:
    """A box's own setting: `192.0.2.33, Art-Net`."""
    if held is None:
        return NOT_KNOWN
    address, protocol = _own_parts(held)
    return f"{address}, {protocol}"


def own_change(change: BoxChange) -> str:
    """What to change of a box's own setting, and to what: `address 192.0.2.33 → 192.0.2.77`."""
    new = _own_parts(change.new)
    old = _own_parts(change.old) if change.old else new
    parts = zip(("address", "protocol"), old, new, strict=True)
    return ", ".join(
        f"{name} {' → '.join(dict.fromkeys((was, then)))}"
        for name, was, then in parts
        if change.old is None or was not in (then, NOT_KNOWN)
    )


def _own_parts(held: BoxSetting) -> tuple[str, str]:
    address = NOT_KNOWN if held.address is None else held.address or "none"
    return address, NOT_KNOWN if held.protocol is None else PROTOCOL_NAMES[held.protocol]


def _port_change(change: StartChange) -> str | None:
    """The pixels of each port before and after, where those of a start that covers several ports differ."""
    old, new = change.old, change.new
    if old is None or new is None or old.ports == new.ports or max(len(each.ports or ()) for each in (old, new)) < 2:
        return None
    return " → ".join(f"{each.pixels} ({_port_list(each)})" for each in (old, new))


def _port_list(setting: Setting) -> str:
    if setting.ports is None:
        return f"of each port {NOT_KNOWN}"
    return ", ".join(
        f"{each.port}: {each.pixels}" + f" and {count(each.nulls, 'null')}" * bool(each.nulls) for each in setting.ports
    )


def to_tell(changes: Sequence[RunChange], before: str = PLAYER_HAS) -> PrintedTable:
    """What the player is to be told, run by run, with the address of before under that head."""
    return PrintedTable(
        ("run", before, "change_to", "pixels"), tuple(_told(change, _NO_ADDRESS[before]) for change in changes)
    )


def _told(change: RunChange, none: str) -> Row:
    old, new = change.old, change.new
    wide = old is not None and new is not None and old.channels != new.channels
    texts = [f"{place.pixels} × {place.channels}" if wide else str(place.pixels) for place in (old, new) if place]
    return change.run, *_before_and_after(old, new, none), " → ".join(dict.fromkeys(texts))


def to_send(changes: Sequence[SendChange]) -> PrintedTable:
    """Which universes the player is to send otherwise, or to begin to send."""
    rows = (
        (
            ranges(change.universes), ", ".join(change.runs),
            sent_words(change.old) if change.old else NOT_KNOWN, sent_words(change.new),
        )
        for change in changes
    )  # fmt: skip
    return PrintedTable(("universes", "runs", PLAYER_HAS, "change_to"), tuple(rows))


def send_words(change: SendChange) -> str:
    """The same in words: `universes 3–4 (ridge, tree): E1.31 to 192.0.2.40, no longer Art-Net to 192.0.2.32`."""
    before = f", no longer {sent_words(change.old)}" if change.old else ""
    runs = first_few(change.runs, MOST_RUNS)
    return f"{universe_words(change.universes)} ({runs}): {sent_words(change.new)}{before}"


MOST_RUNS = 8
"""Runs that are named in one line."""


def to_draw(changes: Sequence[DrawChange]) -> PrintedTable:
    """The runs that begin elsewhere than the player was told, or go another way."""
    rows = (
        (change.run, *(f"{how.begin}{', ' * bool(how.way)}{how.way}" for how in (change.old, change.new)))
        for change in changes
    )
    return PrintedTable(("run", PLAYER_HAS, "change_to"), tuple(rows))


def draw_words(change: DrawChange) -> str:
    """The same in words: `panel now begins at its top right corner; no longer at its bottom left corner`."""
    old, new = change.old, change.new
    if new.begin == old.begin:
        return f"{change.run} now goes {new.way}; no longer {old.way}"
    ways = ("", "") if new.way == old.way else tuple(f", {how.way}" * bool(how.way) for how in (new, old))
    return f"{change.run} now begins at {new.begin}{ways[0]}; no longer at {old.begin}{ways[1]}"


IN_ITS_DRAWING = "where it has a drawing of its own"
"""A player that has none need not be told where a run begins."""


def _before_and_after(old: Setting | RunPlace | None, new: Setting | RunPlace | None, none: str) -> tuple[str, str]:
    """The address of before, `none` where there is none, and what to change it to."""
    before = f"{old.universe}/{old.channel}" if old else none
    then = f"{new.universe}/{new.channel}" if new else "none"
    return before, then if then != before else "same"


def every_pixel(patch: Patch) -> PrintedTable:
    """One row a pixel: where it hangs and the first of its channels."""
    rows: list[Row] = []
    for span in patch.spans():
        for number, pixel in enumerate(range(span.first_pixel, span.last_pixel + 1)):
            channel = span.first_channel + number * span.width
            rows.append((span.controller, span.port, span.run, pixel, span.universe, channel))
    return PrintedTable(("controller", "port", "run", "pixel", "universe", "channel"), tuple(rows))
