"""The map of a clip whose show is wired otherwise than planned: found, without a whole map of every wiring there is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
import pytest

from patcher.faults import Takes, departure, parse
from patcher.film import map_search
from patcher.film.map_search import MOST_LIKELY, best_map, pairs
from rig.hut import hut
from rig.made_up_film import filmed

SINGLE = ["swapped-ports:box/1,box/2", "data-in:panel=top-left", "lines:panel=columns", "universe-shift:box=1"]
SEVERAL = [
    "data-in:panel=top-left universe-shift:box/2=1 shift:hatch=3",
    "lines:panel=columns swapped-ports:box/2,box/4",
]


@pytest.mark.parametrize("texts", [*SINGLE, *SEVERAL])
def test_a_map_is_found_by_the_true_wiring_and_few_are_made_whole(texts: str, monkeypatch: pytest.MonkeyPatch) -> None:
    own = hut()
    true = departure(own.plan, tuple(parse(text, own.plan.wiring) for text in texts.split())).takes
    seen = filmed(own, true, np.random.default_rng(7), 0.0).seen
    assert seen is not None
    made: list[int] = []
    whole = map_search.camera_map
    monkeypatch.setattr(map_search, "camera_map", lambda *a, **k: (made.append(1), whole(*a, **k))[1])

    def wirings() -> Iterator[Mapping[str, Takes]]:
        yield own.plan.takes
        yield from ({**own.plan.takes, **takes} for _, takes in own.coarse())

    found = best_map(wirings(), own.places, own.code, seen.lights, seen.mean.shape)
    assert 1 <= len(made) <= 1 + MOST_LIKELY < len(own.coarse())
    if texts in SEVERAL:
        return
    assert found is not None
    here, there, _ = pairs({**own.plan.takes, **true}, own.places, own.code, seen.lights)
    off = np.hypot(*(found.picture(here) - there).T)
    assert (off < 2.0).mean() > 0.9


@pytest.mark.parametrize("turned", [False, True])
def test_a_map_is_not_that_of_what_a_wet_yard_mirrors(turned: bool) -> None:
    """Each light is there twice: upright, and fainter upside down below; whichever is looked at first."""
    own = hut()
    seen = filmed(own, {}, np.random.default_rng(9), 0.0).seen
    assert seen is not None
    lights = seen.lights
    high = 2 * lights.at[:, 1].max() + 20
    mirrored = replace(
        lights, at=np.column_stack([lights.at[:, 0], high - lights.at[:, 1]]), flux=0.5 * lights.flux
    )  # fmt: skip
    both = mirrored.and_also(lights) if turned else lights.and_also(mirrored)
    shape = (int(high) + 20, seen.mean.shape[1])
    found = best_map([own.plan.takes], own.places, own.code, both, shape)
    assert found is not None
    assert found.upright()
    here, there, _ = pairs(own.plan.takes, own.places, own.code, lights)
    assert np.median(np.hypot(*(found.picture(here) - there).T)) < 1.0
