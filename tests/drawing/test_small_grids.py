"""Small grids in a drawing: no number of a column or row stands alone, and nothing of their heading is cut out."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.drawing.show_drawing import show_drawing
from rig.drawing_scenes import one_box
from rig.examples import examples
from rig.sketches import SPACE, Drawn


def drawn(columns: int, rows: int, high: float, wide: float, other: float) -> Drawn:
    """A grid of a size in metres beside a line that is longer, with a feed whose volts are too few at its far end."""
    grid = {"shape": "grid", "area": [[1.0, 1.6], [1.0 + wide, 1.6 + high]], "columns": columns, "rows": rows,
            "lines": "rows", "turns": "serpentine", "data_in": "bottom-left", "lead": 1.0}  # fmt: skip
    line = {"shape": "line", "path": [[0.8, 1.2], [0.8 + other, 1.2]], "pixels": 20, "lead": 1.0}
    lamp = {"volts": 12.0, "channel_ma": 20.0, "idle_ma": 1.0, "min_volts": 11.9, "awg": 20, "pitch": 0.05}
    taps = [{"run": "sign", "pixel": 1, "length": 1.0}, {"run": "edge", "pixel": 1, "length": 1.0}]
    found = one_box({"sign": grid, "edge": line}, lamp, box={"at": [0.0, 0.0], "start_per": "run"}, taps=taps)
    return Drawn(show_drawing(*found))


def axes(found: Drawn) -> list[tuple[str, list[str]]]:
    """What is numbered, and its numbers."""
    groups = [each for each in found.root.iter(f"{SPACE}g") if each.get("class") == "axis"]
    return [(_kind(texts), [str(text.text) for text in texts if text.get("class")]) for texts in map(_texts, groups)]


def _texts(group: ElementTree.Element) -> list[ElementTree.Element]:
    return list(group.iter(f"{SPACE}text"))


def _kind(texts: list[ElementTree.Element]) -> str:
    return next(str(text.get("class")) for text in texts if text.get("class"))


@examples(8, 200)
@given(st.integers(2, 40), st.integers(2, 20), st.floats(0.02, 1.5), st.floats(0.02, 1.5), st.floats(1.0, 30.0))
def test_no_column_or_row_is_numbered_alone(columns: int, rows: int, high: float, wide: float, other: float) -> None:
    # Source: found by a reader: a grey "1" alone beside a small grid
    for kind, numbers in axes(drawn(columns, rows, high, wide, other)):
        last = {"column": columns, "row": rows}[kind]
        assert len(numbers) >= 2
        assert (numbers[0], numbers[-1]) == ("1", str(last))


@pytest.mark.parametrize(("columns", "rows"), [(16, 10), (8, 5), (24, 6)])
def test_the_volts_at_the_far_end_of_a_grid_are_said_whole(columns: int, rows: int) -> None:
    # Source: seen on paper: "far e… · 3.8 V" beside much white
    said = drawn(columns, rows, 0.05 * (rows - 1), 0.05 * (columns - 1), 2.0).said()
    assert f"far end {columns * rows} · " in said
    assert ", needs 11.9 V" in said
    assert "…" not in said
