"""Two files beside the show file: the patch file, what is to be typed into the boxes, and what of it was ticked off.

The patch file holds the starts and the lengths of each chain's runs, and nothing that follows from them. A start stands
where it is typed: at the box, at a port, or at a run. Its last line says how many there are, so that half a file is
known as such. The other file needs no such line: what is missing in it is still to do.
"""

from __future__ import annotations

import ipaddress
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import asdict, astuple
from itertools import chain
from pathlib import Path
from typing import Any

import tomli_w

from patcher.patch.changes import BoxSetting, PortSetting, RunPlace, Setting
from patcher.patch.entered import Entered
from patcher.patch.patch import Chain, Link, Patch, Start
from patcher.patch.player import MULTICAST, Drawing, Sending
from patcher.show.kept_file import change_kept, kept_path, read_kept
from patcher.show.writer import Seen, write_together
from patcher.trade import MOST_LETTERS, PROTOCOL_NAMES, USUAL_CHANNELS, is_address

FORMAT = 1

_HEAD = """\
# What is to be typed into the boxes, written by `patcher patch`: change the show file, not this one.

"""
_ENTERED_HEAD = """\
# What is in the boxes, and what the player was told, as it was ticked off: `patcher todo` says what is still to do.

"""


def patch_path(show_path: Path) -> Path:
    """Where the patch file of a show file stands: `heron-lock.toml` → `heron-lock.patch.toml`."""
    return kept_path(show_path, "patch")


def dump(patch: Patch) -> str:
    """The text of the patch file."""
    boxes: dict[str, Any] = {}
    for start in patch.starts:
        chain, start_text = start.chain, start.address
        box = boxes.setdefault(chain.controller, {})
        if chain.port is None:
            box["start"] = start_text
        for link in chain.links:
            port = box.setdefault("port", {}).setdefault(str(link.port), {})
            if chain.run is not None:
                port.setdefault("run", {})[link.run] = {"start": start_text} | _link_keys(link)
                continue
            if chain.port is not None:
                port["start"] = start_text
            for key, value in _link_keys(link).items():
                port.setdefault(key, {})[link.run] = value
    return _HEAD + tomli_w.dumps({"format": FORMAT, "controller": boxes}) + _last_line(len(patch.starts), len(boxes))


def _last_line(starts: int, boxes: int) -> str:
    return f"\n# The end: {starts} start{'s' * (starts != 1)} in {boxes} box{'es' * (boxes != 1)}.\n"


def _link_keys(link: Link) -> dict[str, int]:
    """A run's length, and of its channels and nulls what is not as usual."""
    unusual = {"channels": (link.channels, USUAL_CHANNELS), "nulls": (link.nulls, 0)}
    return {"pixels": link.pixels} | {key: value for key, (value, usual) in unusual.items() if value != usual}


def parse(text: str) -> Patch:
    """The patch of a patch file's text; ValueError or KeyError and their like where it is not one."""
    tables = tomllib.loads(text)
    if tables["format"] != FORMAT:
        raise ValueError(f"it has the format {tables['format']!r}; this version reads {FORMAT}")
    patch = Patch(tuple(start for name, box in tables["controller"].items() for start in _box(name, box)))
    last_line = _last_line(len(patch.starts), len(tables["controller"])).strip()
    if text.rstrip().rpartition("\n")[2].strip() != last_line:
        raise ValueError("its last line does not fit what stands above it, so a part of it is missing or too much")
    return patch


def _box(name: str, box: dict[str, Any]) -> Iterator[Start]:
    ports = [(int(number), port) for number, port in box["port"].items()]
    if "start" in box:
        links = tuple(link for number, port in ports for link in _links(number, port))
        yield _start(Chain(name, None, None, links), box["start"])
        return
    for number, port in ports:
        if "start" in port:
            yield _start(Chain(name, number, None, tuple(_links(number, port))), port["start"])
            continue
        for run, keys in port["run"].items():
            yield _start(Chain(name, number, run, (_link(number, run, keys),)), keys["start"])


def _links(number: int, port: dict[str, Any]) -> Iterator[Link]:
    for run in port["pixels"]:
        yield _link(
            number, run, {key: port[key][run] for key in ("pixels", "channels", "nulls") if run in port.get(key, {})}
        )


def _link(number: int, run: str, keys: dict[str, Any]) -> Link:
    link = Link(number, run, keys["pixels"], keys.get("channels", USUAL_CHANNELS), keys.get("nulls", 0))
    counts = (link.pixels, link.channels, link.nulls)
    if (
        not all(type(count) is int for count in counts)
        or link.pixels < 1
        or not 1 <= link.channels <= MOST_LETTERS
        or link.nulls < 0
    ):
        raise ValueError(f"run {run} has no sensible length")
    return link


def _start(chain: Chain, text: str) -> Start:
    universe, channel = (int(part) for part in text.split("/"))
    if not (chain.links and is_address(universe, channel)):
        raise ValueError(f"{chain.name} has no sensible start: {text!r}")
    return Start(chain, universe, channel)


def read_patch(show_path: Path) -> Patch | None:
    """The kept patch of a show file; None where there is none yet.

    Raises:
        PatcherError: there is one, but it cannot be read; it is left as it is.
    """
    remedy = "bring back the last good one, or forget it: patcher patch --fresh"
    return read_kept(patch_path(show_path), parse, "patch file", remedy, rule="patch-file")


def write_patch(show_path: Path, patch: Patch, seen: Seen | None = None) -> Path:
    """Write the patch file of a show file, and say where.

    Args:
        show_path: the show file.
        patch: what the patch file is to say.
        seen: what files said when they were read (`as_read`); where one says something else by now, nothing is written.

    Raises:
        PatcherError: it could not be written, or a file of `seen` was changed; all is as it was.
    """
    path = patch_path(show_path)
    write_together(seen or {}, {path: dump(patch)})
    return path


def entered_path(show_path: Path, *, practice: bool = False) -> Path:
    """Where it stands what was ticked off of a show file: `heron-lock.toml` → `heron-lock.entered.toml`."""
    return kept_path(show_path, "entered", practice=practice)


def dump_entered(entered: Entered) -> str:
    """The text of the file of what was ticked off."""
    boxes = {box: {start: _kept(held) for start, held in starts.items()} for box, starts in entered.boxes.items()}
    player = {run: asdict(place) for run, place in entered.player.items()}
    own = {
        box: {key: value for key, value in asdict(held).items() if value is not None}
        for box, held in entered.own.items()
    }
    sent = {run: asdict(how) for run, how in entered.sent.items()}
    drawn = {run: {key: word for key, word in asdict(how).items() if word} for run, how in entered.drawn.items()}
    tables = {"format": FORMAT, "box": boxes, "own": own, "player": player, "sent": sent, "drawn": drawn}
    return _ENTERED_HEAD + tomli_w.dumps(tables)


def _kept(held: Setting) -> dict[str, Any]:
    """A setting as it is written: its ports only where the start does not stand at one of them."""
    keys = {key: value for key, value in asdict(held).items() if value is not None and key != "ports"}
    if held.port is None and held.ports is not None:
        keys["ports"] = [list(port) for port in held.ports]
    return keys


def _setting(keys: dict[str, Any]) -> Setting:
    """A setting as it was written; what was ticked off before ports were kept does not say them."""
    rest = {key: value for key, value in keys.items() if key != "ports"}
    ports = keys.get("ports")
    if "port" in keys:
        ports = [(keys["port"], keys["pixels"], keys["nulls"])]
    return Setting(**({"port": None} | rest), ports=None if ports is None else tuple(PortSetting(*p) for p in ports))


def parse_entered(text: str) -> Entered:
    """What was ticked off, of its file's text; ValueError or KeyError and their like where it is not one."""
    tables = tomllib.loads(text)
    if tables["format"] != FORMAT:
        raise ValueError(f"it has the format {tables['format']!r}; this version reads {FORMAT}")
    boxes = {box: {start: _setting(keys) for start, keys in starts.items()} for box, starts in tables["box"].items()}
    player = {run: RunPlace(**keys) for run, keys in tables["player"].items()}
    settings = [setting for starts in boxes.values() for setting in starts.values()]
    for place in [*player.values(), *settings]:
        _refuse_nonsense(place)
    # A file of before these were kept has no such tables.
    sent = {run: Sending(**keys) for run, keys in tables.get("sent", {}).items() if run in player}
    for how in sent.values():
        _refuse_no_sending(how)
    drawn = {run: Drawing(**keys) for run, keys in tables.get("drawn", {}).items() if run in player}
    if not all(isinstance(word, str) and word.isprintable() for how in drawn.values() for word in astuple(how)):
        raise ValueError("it does not say where a run begins")
    # A file of before own settings were kept has no such table: of the boxes in it they are not known.
    own = {box: BoxSetting(**keys) for box, keys in tables.get("own", {box: {} for box in boxes}).items()}
    for held in own.values():
        _refuse_no_box(held)
    return Entered(boxes, player, own, sent, drawn)


def _refuse_no_sending(how: Sending) -> None:
    """ValueError where the player is said to send as no player can."""
    _refuse_no_box(BoxSetting("" if how.to == MULTICAST else how.to, how.protocol))
    if how.to is None or how.protocol is None:
        raise ValueError("it does not say how a run is sent")


def _refuse_no_box(held: BoxSetting) -> None:
    """ValueError where something is ticked off that is set in no box."""
    if not isinstance(held.address, str | None) or (held.address and not ipaddress.IPv4Address(held.address)):
        raise ValueError(f"{held.address!r} is not an IPv4 address")
    if held.protocol is not None and held.protocol not in list(PROTOCOL_NAMES):
        raise ValueError(f"{held.protocol!r} is not a protocol")


def _refuse_nonsense(place: Any) -> None:
    """ValueError where something is ticked off that no box and no player can have."""
    values = {key: value for key, value in asdict(place).items() if value is not None}
    colours, ports = values.pop("colours", ""), values.pop("ports", ())
    if not isinstance(colours, str):
        raise ValueError(f"{colours!r} is not a colour order")
    if not all(type(number) is int and number >= 0 for number in (*values.values(), *chain.from_iterable(ports))):
        raise ValueError(f"{[*values.values()]} are not the numbers of a start")
    if isinstance(place, RunPlace) and not 1 <= place.channels <= MOST_LETTERS:
        raise ValueError(f"a pixel has no {place.channels} channels")
    if not is_address(place.universe, place.channel):
        raise ValueError(f"{place.universe}/{place.channel} is not an address")


def read_entered(show_path: Path, *, practice: bool = False) -> Entered:
    """What was ticked off of a show; nothing where there is no file yet.

    Raises:
        PatcherError: there is one, but it cannot be read; it is left as it is.
    """
    remedy = "bring back the last good one; or move it away: then all is still to type"
    kind, rule = "file of what is ticked off", "file-of-what-is-ticked-off"
    path = entered_path(show_path, practice=practice)
    return read_kept(path, parse_entered, kind, remedy, rule=rule) or Entered()


def change_entered(show_path: Path, change: Callable[[Entered], Entered], *, practice: bool = False) -> Entered:
    """Read what was ticked off, change it, and write it; see `change_kept`."""
    path = entered_path(show_path, practice=practice)
    return change_kept(path, lambda: read_entered(show_path, practice=practice), change, dump_entered)
