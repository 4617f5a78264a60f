"""Faults that look the same on film: with each of them every pixel plays what it plays with the other."""

from __future__ import annotations

import numpy as np
import pytest

from patcher.diagnosis.hypotheses import singles
from patcher.faults import Fault, departure, parse
from patcher.film.same_look import same_look
from rig.examples import seeds
from rig.film_scenes import KINDS, layout
from rig.hut import hut
from rig.made_up_film import Stage, stage
from rig.shipped import laid


def played(own: Stage, faults: tuple[Fault, ...]) -> dict[str, np.ndarray]:
    """What the light of each channel does; a second definition, by the levels that are sent, not by words."""
    takes = {**own.plan.takes, **departure(own.plan, faults).takes}
    return {run: own.code.drive(taken.astype(np.int64)) for run, taken in takes.items()}


def same(one: dict[str, np.ndarray], other: dict[str, np.ndarray]) -> bool:
    return all(np.array_equal(one[run], other[run]) for run in one)


@pytest.mark.parametrize("seed", seeds(2, 20))
def test_they_are_those_with_which_every_channel_plays_the_same_and_no_others(seed: int) -> None:
    rng = np.random.default_rng(seed)
    own = stage(*laid(layout(KINDS[seed % len(KINDS)], rng).show))
    every = [fault for fault, differs in singles(own.plan, list(own.plan.takes), lambda run: ()) if differs.takes]
    sound = played(own, ())
    seen = [fault for fault in every if not same(sound, played(own, (fault,)))]
    fault = seen[int(rng.integers(len(seen)))]
    found = same_look(own.plan, own.code, [fault]).get(fault, ())
    here = played(own, (fault,))
    assert [str(other) for other in found] == [
        str(other) for other in every if other != fault and same(here, played(own, (other,)))
    ]


def test_a_start_in_no_universe_of_the_show_looks_like_a_port_without_data() -> None:
    fault = parse("universe-shift:box/4=2", hut().plan.wiring)
    (found,) = same_look(hut().plan, hut().code, [fault]).values()
    assert found
    assert same(played(hut(), (fault,)), played(hut(), (found[0],)))


def test_a_pixel_that_was_replaced_looks_like_nothing_else() -> None:
    assert same_look(hut().plan, hut().code, [parse("replaced:sill/3=RGB", hut().plan.wiring)]) == {}


def test_what_another_fault_hides_looks_the_same_whatever_it_is() -> None:
    """A port without data hides where the starts of its runs are: in the place of a start typed wrongly may be any."""
    wiring = hut().plan.wiring
    dead, start = parse("dead:box/2", wiring), parse("swapped-starts:box/2,box/4", wiring)
    found = same_look(hut().plan, hut().code, [start, dead])
    assert "universe-shift:box/4=-2" in map(str, found[start])
    for other in found[start]:
        assert same(played(hut(), (start, dead)), played(hut(), (other, dead)))
