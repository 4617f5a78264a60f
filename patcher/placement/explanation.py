"""Why a patch takes the universes that it takes: which are not full, and what one changed setting would save."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from patcher.errors import PatcherError
from patcher.patch.patch import Patch, Start, pieces
from patcher.placement.allocation import allocate
from patcher.show.schema import Show
from patcher.trade import CHANNELS
from patcher.wiring import Wiring


@dataclass(frozen=True, slots=True)
class PartEmpty:
    """A universe with room for a pixel that carries none.

    Attributes:
        universe: its number.
        controllers: the boxes that have pixels in it.
        free: how many of its channels no pixel has.
        start: the last start in it.
        why: what keeps it so.
    """

    universe: int
    controllers: tuple[str, ...]
    free: int
    start: str
    why: str


@dataclass(frozen=True, slots=True)
class Saving:
    """A setting that, changed alone, would save universes in a fresh patch.

    Attributes:
        setting: the setting, as it is written.
        universes: how many the patch would use.
        placement: the placement that it is; None where it is another setting.
        fewest: it is the placement that takes the fewest universes of all three.
    """

    setting: str
    universes: int
    placement: str | None = None
    fewest: bool = False


def part_empty(show: Show, patch: Patch) -> list[PartEmpty]:
    """The universes in which another pixel of the narrowest kind would fit, and why none is there."""
    used: dict[int, int] = {}
    owners: dict[int, dict[str, Start]] = {}
    last: dict[int, Start] = {}
    for start in sorted(patch.starts, key=lambda start: start.at):
        for universe, channels in _channels(start):
            used[universe] = used.get(universe, 0) + channels
            owners.setdefault(universe, {})[start.controller] = start
            last[universe] = start
    narrowest = min((link.channels for start in patch.starts for link in start.chain.links), default=1)
    return [
        PartEmpty(
            universe, tuple(owners[universe]), CHANNELS - used[universe],
            last[universe].chain.name, _why(show, universe, last[universe], patch.starts),
        )
        for universe in sorted(used)
        if CHANNELS - used[universe] >= narrowest
    ]  # fmt: skip


def _channels(start: Start) -> Iterator[tuple[int, int]]:
    """The channels of its pixels, nulls among them, by universe."""
    at = start.at
    for link in start.chain.links:
        for where, count in pieces(at, link.nulls + link.pixels, link.channels):
            yield where // CHANNELS + 1, count * link.channels
            at = where + count * link.channels


def _why(show: Show, universe: int, start: Start, starts: Sequence[Start]) -> str:
    if universe < start.universes[-1]:
        return "a start begins in the middle of it"
    if start.chain.key in show.controllers[start.controller].pins:
        return "a pinned start ends there"
    behind = min((each for each in starts if each.at > start.at), key=lambda each: each.at, default=None)
    if behind is None:
        return "the last start ends there"
    match show.settings.placement:
        case "fresh":
            return "the next start begins on a new universe (fresh)"
        case "follow" if behind.controller != start.controller:
            return "the next box begins on a new universe"
        case "follow":
            return "the next start stays where the patch file has it"
        case _:
            return "no other start fits there whole"


def savings(wiring: Wiring, universes: int, *, spare_pixels: int = 0, seconds: float = 1.0) -> list[Saving]:
    """The settings that, each changed alone, would make a fresh patch use fewer universes, best first.

    Args:
        wiring: the show as it is.
        universes: how many its patch uses.
        spare_pixels: pixels to keep free behind each start.
        seconds: how long to search for each.
    """
    found: list[Saving] = []
    for setting, show in _variants(wiring.show):
        placement = show.settings.placement if show.settings.placement != wiring.show.settings.placement else None
        try:
            made = allocate(Wiring(show, wiring.graph), spare_pixels=spare_pixels, seconds=seconds)
        except PatcherError:
            continue
        found.append(Saving(setting, made.patch.universe_count, placement))
    # The least of the three: against a fresh patch of this placement, which `found` has too.
    least = min((one.universes for one in found if one.placement or one.setting == FRESH), default=universes)
    return sorted(
        (
            replace(one, fewest=one.placement is not None and one.universes == least)
            for one in found
            if one.universes < universes
        ),
        key=lambda saving: saving.universes,
    )


FRESH = "patch --fresh"
PLACEMENTS = ("fresh", "follow", "whole")


def _variants(show: Show) -> Iterator[tuple[str, Show]]:
    settings, boxes = show.settings, show.controllers
    used = [box for box in boxes.values() if not box.spare]
    yield FRESH, show
    for placement in PLACEMENTS:
        if settings.placement != placement:
            yield f'placement = "{placement}" and {FRESH}', _with_settings(show, placement=placement)
    if not settings.share_universes:
        yield f"share_universes = true and {FRESH}", _with_settings(show, share_universes=True)
    if settings.share_universes and any(box.consecutive for box in used):
        yield f"consecutive = false in every box and {FRESH}", _with_boxes(show, consecutive=False)
    if settings.placement == "whole" and any(box.start_per != "run" for box in used):
        yield f'start_per = "run" in every box without pins and {FRESH}', _with_boxes(show, start_per="run")


def _with_settings(show: Show, **changes: object) -> Show:
    return show.model_copy(update={"settings": show.settings.model_copy(update=changes)})


def _with_boxes(show: Show, **changes: object) -> Show:
    boxes = {
        name: box if box.start and "start_per" in changes else box.model_copy(update=changes)
        for name, box in show.controllers.items()
    }
    return show.model_copy(update={"controllers": boxes})
