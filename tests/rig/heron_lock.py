"""The shipped show, read and laid once; and somebody who listens where its yard would."""

from functools import cache
from pathlib import Path

from patcher.cli.inputs import load
from patcher.faults import planned
from patcher.listener.receiver import Receiver
from patcher.placement.allocation import allocate
from patcher.walk.items import items
from patcher.walk.round_plan import plan
from patcher.yard.yard import addresses, ears, sign
from rig.shipped import SHOWS

HERON_LOCK = SHOWS / "heron-lock.toml"


@cache
def heron():
    wiring = load(HERON_LOCK)
    patch = allocate(wiring).patch
    return wiring, patch, planned(wiring, patch), plan(wiring, items(wiring))


def listening(show: Path) -> Receiver:
    """Somebody who listens where the yard of the show would."""
    wiring, patch, _, _ = heron()
    return Receiver([sign(show), *ears(wiring.show, patch, addresses(show, wiring.show))])
