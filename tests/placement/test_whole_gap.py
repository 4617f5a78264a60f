"""Placement `whole` where only the search of every order tells: boxes that share, and must not have a gap."""

import pytest

from rig.whole_oracle import a_patch_below, laid, tables_of


def ring(*boxes: str) -> dict:
    """Three boxes, of whose runs only three pairs fill a universe, each pair of two boxes: a ring."""
    sizes = {"a": (100, 68), "b": (70, 101), "c": (69, 102)}
    assert sizes["a"][0] + sizes["b"][0] == sizes["b"][1] + sizes["c"][0] == sizes["c"][1] + sizes["a"][1] == 170
    return tables_of(
        {f"box-{name}": ({"consecutive": name in boxes}, [[("rgb", n)] for n in sizes[name]]) for name in "abc"},
        first_universe=1,
        share_universes=True,
    )


@pytest.mark.parametrize(("consecutive", "universes"), [("", 3), ("a", 3), ("ab", 3), ("abc", 4)])
def test_a_ring_of_boxes_is_cut_somewhere(consecutive, universes):
    # Source: the design: `consecutive`: the universes in which a controller has pixels have no gap
    # Judge: OR-Tools CP-SAT 9.15 (a_patch_below)
    tables = ring(*consecutive)
    found, patch, broken = laid(tables)
    assert broken == []
    assert (patch.universe_count, found.lower_bound, found.proved) == (universes, universes, True)
    assert not a_patch_below(tables, universes)
