"""Faults that a simulated eye is to find: those that nobody can see are refused, in every command that answers so."""

from __future__ import annotations

from contextlib import nullcontext

import numpy as np
import pytest

from patcher.errors import PatcherError
from patcher.faults import KINDS, practised
from patcher.shapes import positions
from rig.any_show import any_show
from rig.examples import seeds
from rig.heron_lock import heron
from rig.shipped import Patcher, wired


# Judge: pixel by pixel, whether the run looks the same when it is gone along from its other end.
@pytest.mark.parametrize("seed", seeds(8, 80))
def test_a_run_is_turned_round_only_where_its_ends_can_be_told_apart(seed: int) -> None:
    # Source: found in use: of a run that is not drawn "something else" was found, and its sheet says either end may be
    # first.
    wiring = wired(any_show(seed))
    for name, run in wiring.show.runs.items():
        if not run.hung:
            continue
        places = positions(wiring.show, run)
        seen = places is not None and any(
            np.hypot(*(one - other)) > 0.01 for one, other in zip(places, reversed(places), strict=True)
        )
        refused = pytest.raises(PatcherError, match="cannot be seen")
        with nullcontext() if seen else refused:
            assert practised([f"reversed:{name}"], wiring), name


def test_all_else_can_be_practised() -> None:
    texts = ["reversed:towpath", "cut:hedge/3", "shift:hedge=1", "swapped-ports:mooring/1,mooring/4", "dead:gatepost"]
    assert [str(fault) for fault in practised(texts, heron()[0])] == texts
    assert {text.partition(":")[0] for text in texts} <= {*KINDS}


@pytest.mark.parametrize("command", [("diagnose", "hedge"), ("verify", "mooring")])
@pytest.mark.parametrize("run", ["hedge", "footbridge-arch"])
def test_every_command_refuses_it(here: Patcher, heron_lock: object, command: tuple[str, str], run: str) -> None:
    name, thing = command
    done = here(name, heron_lock, thing, "--yard", "--fault", f"reversed:{run}")
    assert done.returncode == 2
    assert f"reversed:{run}: cannot be seen" in " ".join(done.stderr.split())
