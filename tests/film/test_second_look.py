"""A second look at a clip: a light that was read before keeps its point, where no other place could be meant."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from patcher.clip.lights import Lights
from patcher.film.close_look import ALONE, ON_SITE, _as_read
from rig.examples import examples

SIDE, APART = 6, 12.0
"""Sites of a square grid, so many points apart."""


def seen(at: np.ndarray, words: np.ndarray) -> Lights:
    many = len(words)
    return Lights(
        at, words, np.ones(many), np.ones((many, 3, 3)), np.full(many, 0.1), np.ones((many, 3)), np.ones(many)
    )


@examples(30, 150)
@given(st.integers(0, 2**32 - 1))
def test_a_light_keeps_the_point_where_its_word_was_read(seed: int) -> None:
    # Source: the rule in words, light by light: the same word, near, and no other site beside
    rng = np.random.default_rng(seed)
    sites = np.stack(np.meshgrid(np.arange(SIDE), np.arange(SIDE)), axis=-1).reshape(-1, 2) * APART
    beside = rng.random(len(sites)) < 0.2
    sites = np.concatenate([sites, sites[beside] + [ALONE * 0.7, 0.0]])
    words = rng.permutation(len(sites))
    off = rng.uniform(-1.5 * ON_SITE, 1.5 * ON_SITE, sites.shape)
    word_before = np.where(rng.random(len(sites)) < 0.3, words + 1000, words)
    before = seen(sites + off, word_before)
    some = rng.random(len(sites)) < 0.8
    found = _as_read(seen(sites, words), before.of(np.flatnonzero(some)), cKDTree(sites))
    away = np.linalg.norm(sites[:, None] - sites[None], axis=-1) + np.where(np.eye(len(sites)), np.inf, 0)
    for row in range(len(sites)):
        keeps = (
            some[row] and word_before[row] == words[row] and np.hypot(*off[row]) < ON_SITE and away[row].min() > ALONE
        )
        assert np.array_equal(found.at[row], sites[row] + off[row] if keeps else sites[row])
    assert np.array_equal(found.pixel, words)


def test_nothing_moves_where_nothing_was_read_before() -> None:
    at = np.array([[0.0, 0.0], [20.0, 0.0]])
    lit = seen(at, np.array([1, 2]))
    assert np.array_equal(_as_read(lit, lit.of(np.array([], dtype=int)), cKDTree(at)).at, at)
