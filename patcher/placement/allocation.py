"""Allocates the patch of a wiring: freshly, or keeping what is typed into the boxes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from patcher.errors import Finding, PatcherError, refuse
from patcher.patch.chains import chains
from patcher.patch.patch import Chain, Patch, Start, written
from patcher.patch.rules import breaches
from patcher.placement.effort import Effort
from patcher.placement.in_order import in_order
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
    if show.settings.placement == "whole":
        from patcher.placement.whole import whole

        laid = whole(show, todo, effort=effort.part(_FOR_BOUND) if kept else effort, spare_pixels=spare_pixels)
        fresh = Allocation(_patch(todo, laid.places), laid.lower_bound, laid.proved, laid.reason)
    else:
        patch = _patch(todo, in_order(show, todo, spare_pixels))
        fresh = Allocation(patch, patch.universe_count, True, FORCED)
    if kept is not None and kept.starts:
        return _kept(show, todo, kept, fresh, spare_pixels, effort)
    if found := breaches(show, fresh.patch):
        raise PatcherError(*(_with_spare(finding, spare_pixels) for finding in found))
    return fresh


def _with_spare(finding: Finding, spare_pixels: int) -> Finding:
    """A finding that the pixels kept free have made, said as such."""
    if not spare_pixels or finding.rule != "consecutive":
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
        raise PatcherError(*(_with_spare(finding, spare_pixels) for finding in wrong))
    return replace(fresh, excess=len(kept.starts))


def _is_kept_fault(finding: Finding, faulty: frozenset[str]) -> bool:
    return finding.rule in ("overlap", "split-pixel") and finding.where.split(".")[1] in faulty
