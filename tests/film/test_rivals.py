"""Which other wirings of a run are tried before its pixels are proved."""

from __future__ import annotations

import numpy as np

from patcher.film.rivals import rivals


def test_where_no_word_is_read_no_rival_begins_anywhere() -> None:
    """A run that is held against words that nobody reads there would be told from nothing."""
    pixel = np.arange(20, 32)
    nothing = np.full(12, -1)
    close = np.ones(12, dtype=bool)
    for other in rivals(pixel, close, nothing, 100):
        assert (np.abs(np.sort(other) - np.arange(20, 32)) <= 3).all()
    read = [other.tolist() for other in rivals(pixel, close, np.arange(50, 62), 100)]
    assert list(range(50, 62)) in read
