"""A kept patch and an edited show, held against the judge of retention_oracle.py."""

from collections import Counter

import pytest

from patcher.errors import PatcherError
from patcher.patch.changes import changed_boxes
from patcher.placement.allocation import allocate
from rig import retention_oracle as oracle
from rig.shipped import wired


def typed(patch) -> list[oracle.Typed]:
    """What is typed into the boxes."""
    return [
        (
            start.controller, start.chain.port, start.chain.run, start.universe, start.channel,
            tuple(sorted(Counter(chain_ports(start)).items())),
        )
        for start in patch.starts
    ]  # fmt: skip


def chain_ports(start) -> list[int]:
    """The port of each pixel of a start."""
    return [link.port for link in start.chain.links for _ in range(link.pixels)]


def hold_against_the_judge(before: dict, after: dict) -> None:
    kept = allocate(wired(before)).patch
    assert oracle.breaks(before, typed(kept)) == []
    verdict = oracle.judge(after, typed(kept))
    if verdict is None:
        with pytest.raises(PatcherError):
            allocate(wired(after), kept)
        return
    best, example = verdict
    allocation = allocate(wired(after), kept)
    now = typed(allocation.patch)
    assert oracle.breaks(after, now) == []
    # Judge: OR-Tools CP-SAT 9.15; Source: the design: a new patch changes as few boxes as it can
    assert oracle.cost(after, typed(kept), now) == best, f"for example {example}"
    # Source: the design: `changed` names the controllers whose settings differ
    assert len(changed_boxes(kept, allocation.patch)) == best[0]
    assert allocation.lower_bound <= best[2]
