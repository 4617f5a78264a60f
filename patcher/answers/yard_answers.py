"""Simulated boxes answer a walk-through: what is sent to them shows in their pixels, and an eye looks at those."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from patcher.answers.witness import Loopback, Witness
from patcher.dialogue.answerer import Answering
from patcher.faults import build, practised
from patcher.listener.receiver import Receiver
from patcher.patch.patch import Patch
from patcher.stream.sender import Sender, targets
from patcher.wiring import Wiring
from patcher.yard.yard import LOOPBACK, Yard, addresses, ears


@contextmanager
def simulated(
    show: Path, wiring: Wiring, patch: Patch, faults: list[str], seed: int, stopped: Callable[[], bool]
) -> Iterator[Answering]:
    """Simulated boxes and an eye answer."""
    table = wiring.show
    built = build(wiring, practised(faults, wiring))
    yard = Yard(wiring, patch, built, seed=seed)
    hosts = addresses(show, table)
    heard_by = ears(table, patch, hosts)
    for ear, boxes in ears(table, patch, hosts, yard.universes).items():
        heard_by[ear] = list(dict.fromkeys([*heard_by.get(ear, []), *boxes]))
    near = {box: host for box, host in hosts.items() if table.controllers[box].delivery == "unicast"}
    goals = targets(table, patch, patch.boxes, near)
    own = f"Patcher {uuid.uuid4()}"
    with Receiver(heard_by) as receiver, Sender(goals, interface=LOOPBACK, source=own) as sender:
        steps = Loopback(yard, sender, own, receiver, heard_by, stopped)
        yield Witness(wiring, patch, built, seed=seed, steps=steps, stopped=stopped)
