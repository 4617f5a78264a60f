"""What differs between two patches: settings to change, box by box, and addresses to tell the player, run by run.

Also what differs between a patch and the wiring.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from patcher.errors import Finding, first_few
from patcher.patch.chains import chains
from patcher.patch.patch import Chain, Patch, Start, behind, first_fit, running, written
from patcher.show.schema import Show
from patcher.trade import Protocol
from patcher.wiring import Wiring


class PortSetting(NamedTuple):
    """What is typed in for one port that a start covers: its pixels, and its null pixels."""

    port: int
    pixels: int
    nulls: int


@dataclass(frozen=True, slots=True)
class Setting:
    """What is typed into a box for one start.

    Attributes:
        port: its port; None where the whole box has one start.
        universe: the universe of its first channel.
        channel: its first channel.
        pixels: its pixels, without nulls.
        nulls: its null pixels, whether they take channels or not.
        colours: the colour order to set, of each kind of pixel once; `as sent` where the box leaves colours as they
            come; empty where only the patch file is known.
        ports: each port that the start covers; None where nobody knows, as in what was ticked off before they were
            kept: then it differs from every other.
    """

    port: int | None
    universe: int
    channel: int
    pixels: int
    nulls: int
    colours: str = ""
    ports: tuple[PortSetting, ...] | None = None


def setting(start: Start, show: Show | None = None) -> Setting:
    """What is typed into the box for a start. The patch file alone knows no colours, and of null pixels only those that
    take channels.
    """
    chain = start.chain
    plain = Setting(
        chain.port, start.universe, start.channel, chain.pixels, sum(link.nulls for link in chain.links),
        ports=_ports(chain, {link.run: link.nulls for link in chain.links}),
    )  # fmt: skip
    box = show.controllers.get(chain.controller) if show is not None else None
    if show is None or box is None:
        return plain
    runs = [link.run for link in chain.links if link.run in show.runs]
    plain = replace(plain, colours=colours(show, chain.controller, runs))
    if not box.skips_nulls:
        return plain
    nulls = {run: show.runs[run].nulls for run in runs}
    return replace(plain, nulls=sum(nulls.values()), ports=_ports(chain, nulls))


def _ports(chain: Chain, nulls: Mapping[str, int]) -> tuple[PortSetting, ...]:
    """What is typed in for each port of a chain, by the null pixels of its runs."""
    return tuple(
        PortSetting(port, pixels, sum(nulls.get(link.run, 0) for link in chain.links if link.port == port))
        for port, pixels in chain.port_pixels.items()
    )


AS_SENT = "as sent"
"""The colour order of a box that leaves colours as they come."""


def colours(show: Show, box: str, runs: Iterable[str]) -> str:
    """The colour order to set in a box for some runs; `AS_SENT` where it leaves colours as they come."""
    orders = dict.fromkeys(show.type_of(show.runs[run]).colour_order for run in runs)
    return " ".join(orders) if show.controllers[box].reorders else AS_SENT


Settings = Mapping[str, Mapping[str, Setting]]
"""What is typed into the boxes: box → start, as it is named everywhere → its setting."""


def settings(patch: Patch | None, show: Show | None = None) -> dict[str, dict[str, Setting]]:
    """What a patch wants typed into the boxes."""
    boxes = patch.boxes if patch else {}
    return {box: {start.chain.name: setting(start, show) for start in starts} for box, starts in boxes.items()}


@dataclass(frozen=True, slots=True)
class StartChange:
    """One start of a box whose setting is to be changed.

    Attributes:
        controller: the box.
        name: the start, as it is named everywhere.
        old: as it is typed in now; None where it is new.
        new: as it is to be; None where it goes.
    """

    controller: str
    name: str
    old: Setting | None
    new: Setting | None


@dataclass(frozen=True, slots=True)
class BoxSetting:
    """What is typed into a box once, for all its starts.

    Attributes:
        address: its IPv4 address, empty where it has none; None where nobody knows.
        protocol: what it listens to; None where nobody knows.
    """

    address: str | None = None
    protocol: Protocol | None = None

    def known_differs(self, other: BoxSetting) -> bool:
        """Whether anything that is known of both differs."""
        pairs = ((self.address, other.address), (self.protocol, other.protocol))
        return any(None not in pair and pair[0] != pair[1] for pair in pairs)


@dataclass(frozen=True, slots=True)
class BoxChange:
    """A box whose own setting is to be changed; `old` is None where nothing of it was ever ticked off."""

    controller: str
    old: BoxSetting | None
    new: BoxSetting


def box_settings(patch: Patch, show: Show) -> dict[str, BoxSetting]:
    """What is typed in once for each box of a patch."""
    boxes = {name: show.controllers[name] for name in patch.boxes if name in show.controllers}
    return {name: BoxSetting(box.address or "", box.protocol) for name, box in boxes.items()}


@dataclass(frozen=True, slots=True)
class RunPlace:
    """What a player knows of a run: its first channel, its pixels, and the channels that one of them takes."""

    universe: int
    channel: int
    pixels: int
    channels: int

    @property
    def universes(self) -> range:
        """The universes in which it has pixels, which follow each other."""
        at = running(self.universe, self.channel)
        last = behind(at, self.pixels, self.channels) - 1
        return range(written(first_fit(at, self.channels))[0], written(last)[0] + 1)


@dataclass(frozen=True, slots=True)
class RunChange:
    """A run that the player must be told of; `old` is None where it is new, `new` where it goes."""

    run: str
    old: RunPlace | None
    new: RunPlace | None


Typed = tuple[int | None, int, int, dict[int, int]]


def _typed(start: Start) -> Typed:
    """What is typed into the box: the port, the universe, the channel, and the pixels of each port that the start
    covers; not what the run is called.
    """
    return (start.chain.port, start.universe, start.channel, start.chain.port_pixels)


def changed_boxes(old: Patch | None, new: Patch) -> list[str]:
    """The controllers whose settings differ: their starts with the pixels of each port. All, where there is no old
    patch.
    """
    before = old.boxes if old else {}
    return [
        name
        for name, starts in new.boxes.items()
        if [_typed(start) for start in starts] != [_typed(start) for start in before.get(name, ())]
    ]


def start_changes(old: Patch | None, new: Patch, show: Show | None = None) -> list[StartChange]:
    """The starts to type in, box by box, and those that go; nothing of what stays.

    What differs is told from the two patches alone; the show is looked up for what else their settings say.
    """
    before, after = settings(old, show), settings(new, show)
    return [
        StartChange(
            change.controller,
            change.name,
            change.old and before[change.controller][change.name],
            change.new and after[change.controller][change.name],
        )
        for change in setting_changes(settings(old), settings(new))
    ]


def setting_changes(before: Settings, after: Settings) -> list[StartChange]:
    """The settings to change, box by box, and those that go; what a start is called is not typed in."""
    return [
        change
        for name in [*after, *(name for name in before if name not in after)]
        for change in _box_changes(name, before.get(name, {}), after.get(name, {}))
    ]


def _box_changes(name: str, old: Mapping[str, Setting], new: Mapping[str, Setting]) -> Iterator[StartChange]:
    left = dict(old)
    stays: set[str] = set()
    for start, wanted in new.items():
        twin = start if left.get(start) == wanted else next((was for was in left if left[was] == wanted), None)
        if twin is not None:
            del left[twin]
            stays.add(start)
    for start, wanted in new.items():
        if start not in stays:
            yield StartChange(name, start, left.pop(start, None), wanted)
    for gone, was in left.items():
        yield StartChange(name, gone, was, None)


def run_changes(old: Patch | None, new: Patch) -> list[RunChange]:
    """The runs whose addresses differ, and those that go."""
    return place_changes(places(old), places(new))


def same_runs(before: Mapping[str, RunPlace], after: Mapping[str, RunPlace]) -> dict[str, str]:
    """The name that each run had before; a run with a new name in the very place of one that is gone is the same run.
    Those that are new are missing.
    """
    gone = {place: run for run, place in before.items() if run not in after}
    return {
        run: run if run in before else gone.pop(place) for run, place in after.items() if run in before or place in gone
    }


def place_changes(before: Mapping[str, RunPlace], after: Mapping[str, RunPlace]) -> list[RunChange]:
    """The runs whose addresses differ, and those that go."""
    names = same_runs(before, after)
    were = {run: before[name] for run, name in names.items()}
    gone = before.keys() - names.values()
    found = [RunChange(run, were.get(run), place) for run, place in after.items() if were.get(run) != place]
    return found + [RunChange(run, place, None) for run, place in before.items() if run in gone]


def moved_runs(old: Patch | None, new: Patch) -> list[str]:
    """The runs of the new patch whose addresses differ; all, where there is no old patch."""
    return [change.run for change in run_changes(old, new) if change.new is not None]


def places(patch: Patch | None) -> dict[str, RunPlace]:
    """What the player is told of a patch, run by run."""
    return {
        link.run: RunPlace(*written(at), link.pixels, link.channels)
        for start in (patch.starts if patch else ())
        for link, at in start.placed()
    }


def misfits(patch: Patch, wiring: Wiring) -> list[Finding]:
    """Where a patch that was read from its file is not a patch of this wiring, box by box."""
    wanted = {chain.name: chain for chain in chains(wiring)}
    held = {start.chain.name: start.chain for start in patch.starts}
    boxes: dict[str, list[str]] = {}
    for name in [*wanted, *(name for name in held if name not in wanted)]:
        if wanted.get(name) != held.get(name):
            chain = wanted.get(name) or held[name]
            boxes.setdefault(chain.controller, []).append(name)
    return [
        Finding(
            "error", "patch-file", "address", f"controller.{box}",
            f"is not wired as in the patch file: {first_few(names, 4)}",
            "run patcher patch first, then type the new numbers into the box",
        )
        for box, names in boxes.items()
    ]  # fmt: skip
