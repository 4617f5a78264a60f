"""Allocates the patch of a wiring: freshly, or keeping what is typed into the boxes.

Placements `fresh` and `follow` are laid here: pinned starts lie where they are pinned and move nobody; the others
follow in the order of the file, controllers first, then ports, and step over universes that a pin takes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from patcher.errors import Finding, PatcherError, refuse
from patcher.patch.chains import chains
from patcher.patch.occupancy import Taken
from patcher.patch.patch import Chain, Patch, Start, behind, first_fit, running, universe_from, written
from patcher.patch.rules import breaches
from patcher.placement.effort import Effort
from patcher.placement.gap_advice import advised
from patcher.show.schema import Show
from patcher.trade import CHANNELS
from patcher.wiring import Wiring


@dataclass(frozen=True, slots=True)
class Allocation:
    """A patch, and how good it is.

    Attributes:
        patch: the patch.
        lower_bound: a count of universes that no patch under the same rules can beat.
        proved: that the patch meets the bound, or that the search was exhausted.
        reason: why no patch can use fewer than `lower_bound`, in words.
        excess: starts that change beyond the fewest conceivable, where an old patch was kept and it is not known
            whether they must.
        faults: rules that the kept patch breaks by itself, where it was kept all the same.
    """

    patch: Patch
    lower_bound: int
    proved: bool
    reason: str
    excess: int = 0
    faults: tuple[Finding, ...] = ()


FORCED = "each start falls where this placement says"
"""The reason of a bound that needs no search."""
_FOR_BOUND = 0.3
"""The part of the effort that the bound may take where an old patch is kept; the rest is for keeping it."""


def allocate(wiring: Wiring, kept: Patch | None = None, *, spare_pixels: int = 0, seconds: float = 10.0) -> Allocation:
    """Lay every chain of a sound wiring.

    Args:
        wiring: what hangs on what.
        kept: the patch that is typed into the boxes now: as few of them change as can be.
        spare_pixels: pixels to keep free behind each newly laid start.
        seconds: how much to search for a better patch, or for a proof that there is none; work is counted, not time.

    Raises:
        PatcherError: no patch can be under the show's pins and limits, with every reason.
    """
    show = wiring.show
    if spare_pixels and show.settings.placement == "follow":
        says = "leaves spare pixels after each start address, but placement “follow” leaves nothing between them"
        raise refuse("--spare-pixels", says, 'use placement = "fresh" or "whole"', area="address")
    effort = Effort(seconds)
    todo = chains(wiring)
    fresh = _fresh(show, todo, effort.part(_FOR_BOUND) if kept else effort, spare_pixels)
    if kept is not None and kept.starts:
        return _kept(show, todo, kept, fresh, spare_pixels, effort)
    if found := breaches(show, fresh.patch):
        raise _refusal(show, todo, fresh.patch, found, spare_pixels)
    return fresh


def _fresh(show: Show, todo: Sequence[Chain], effort: Effort, spare_pixels: int) -> Allocation:
    """A patch of all chains that keeps nothing; whether it breaks a rule is for the caller to see."""
    if show.settings.placement == "whole":
        from patcher.placement.whole import whole

        laid = whole(show, todo, effort=effort, spare_pixels=spare_pixels)
        return Allocation(_patch(todo, laid.places), laid.lower_bound, laid.proved, laid.reason)
    patch = _patch(todo, in_order(show, todo, spare_pixels))
    return Allocation(patch, patch.universe_count, True, FORCED)


def _refusal(
    show: Show, todo: Sequence[Chain], patch: Patch, wrong: Sequence[Finding], spare_pixels: int
) -> PatcherError:
    """Why there is no patch, with pins that were seen to help where such are known."""
    if not spare_pixels:
        return PatcherError(*advised(show, patch, wrong, lambda changed: _fresh(changed, todo, Effort(1.0), 0).patch))
    return PatcherError(*(_with_spare(finding, spare_pixels) for finding in wrong))


def _with_spare(finding: Finding, spare_pixels: int) -> Finding:
    """A finding that the pixels kept free have made, said as such."""
    if finding.rule != "consecutive":
        return finding
    says = (
        f"{finding.says}: {spare_pixels} spare pixels after each start would leave whole universes empty between them"
    )
    return replace(
        finding, says=says, remedy='leave fewer spare pixels, use placement = "whole", or set consecutive = false'
    )


def _patch(todo: Sequence[Chain], places: Sequence[int]) -> Patch:
    return Patch(tuple(Start(chain, *written(at)) for chain, at in zip(todo, places, strict=True)))


def _kept(
    show: Show, todo: list[Chain], kept: Patch, fresh: Allocation, spare_pixels: int, effort: Effort
) -> Allocation:
    """The patch that keeps another; a fresh one where nothing of it can be kept."""
    from patcher.placement.retention import keep

    found = keep(show, todo, kept, reserve=spare_pixels, effort=effort)
    if found is not None:
        patch = _patch(todo, found.places)
        wrong = breaches(show, patch)
        if all(_is_kept_fault(finding, found.faulty) for finding in wrong):
            universes, bound, reason = patch.universe_count, fresh.lower_bound, fresh.reason
            if universes < bound:
                bound, reason = min(universes, -(-patch.channels // CHANNELS)), "so many channels fill them"
            return Allocation(patch, bound, universes == bound, reason, found.excess, tuple(wrong))
    if wrong := breaches(show, fresh.patch):
        raise _refusal(show, todo, fresh.patch, wrong, spare_pixels)
    return replace(fresh, excess=len(kept.starts))


def _is_kept_fault(finding: Finding, faulty: frozenset[str]) -> bool:
    return finding.rule in ("overlap", "split-pixel") and finding.where.split(".")[1] in faulty


def in_order(show: Show, todo: Sequence[Chain], spare_pixels: int) -> list[int]:
    """The running channel at which each chain begins.

    Args:
        show: its settings, pins and boxes.
        todo: the chains, controllers in the file's order, ports in theirs.
        spare_pixels: pixels to keep free behind each start.
    """
    boxes = {chain.controller: show.controllers[chain.controller] for chain in todo}
    pins = {name: box.pins for name, box in boxes.items()}
    places: dict[int, int] = {}
    free: dict[str, list[int]] = {}
    for index, chain in enumerate(todo):
        if chain.key in pins[chain.controller]:
            places[index] = running(*pins[chain.controller][chain.key])
        else:
            free.setdefault(chain.controller, []).append(index)
    blocked = Taken()

    def block(laid: Iterable[int]) -> None:
        blocked.add_universes(_universes(todo[index], places[index]) for index in laid)

    def lay(members: list[int], cursor: int, *, whole: bool) -> int:
        laid, behind_last = _lay_box(show, [todo[i] for i in members], cursor, blocked, spare_pixels, whole=whole)
        places.update(zip(members, laid, strict=True))
        return behind_last

    block(places)
    pinned = {name: first for name in free if (first := boxes[name].first_universe) is not None}
    for name, first in pinned.items():
        lay(free[name], running(first, 1), whole=False)
    block(index for name in pinned for index in free[name])
    cursor = running(show.settings.first_universe, 1)
    runs_on = show.settings.placement == "follow" and show.settings.share_universes
    for name, members in free.items():
        if name not in pinned:
            cursor = lay(members, cursor if runs_on else universe_from(cursor), whole=boxes[name].consecutive)
    return [places[index] for index in range(len(todo))]


def _lay_box(
    show: Show, box: list[Chain], cursor: int, blocked: Taken, spare_pixels: int, *, whole: bool
) -> tuple[list[int], int]:
    """Lay the chains of one box from `cursor` on; where `whole`, none of them may stand behind a pin that another is
    before. Returns where each begins, and the running channel behind the last.
    """
    laid: list[int] = []
    fresh = show.settings.placement == "fresh"
    number = 0
    while number < len(box):
        chain = box[number]
        at = first_fit(universe_from(cursor) if fresh else cursor, chain.links[0].channels)
        universes = _universes(chain, at)
        step = blocked.behind(universes.start * CHANNELS, universes.stop * CHANNELS)
        if step is not None:
            cursor = step
            if whole:
                laid, number = [], 0
            continue
        laid.append(at)
        cursor = behind(chain.end(at), spare_pixels, chain.links[-1].channels)
        number += 1
    return laid, cursor


def _universes(chain: Chain, at: int) -> range:
    return range(at // CHANNELS, (chain.end(at) - 1) // CHANNELS + 1)
