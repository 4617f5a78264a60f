"""The cells of a grid as a finger on the wire passes them."""

CORNERS = ("bottom-left", "bottom-right", "top-left", "top-right")


def walk(columns: int, rows: int, lines: str, turns: str, data_in: str, **_: object) -> list[tuple[int, int]]:
    """Column and row of each cell, from 0 at the bottom left: line by line from the corner data_in."""
    across, up = list(range(columns)), list(range(rows))
    if "right" in data_in:
        across.reverse()
    if "top" in data_in:
        up.reverse()
    outer, inner = (up, across) if lines == "rows" else (across, up)
    passed = []
    for number, line in enumerate(outer):
        back = turns == "serpentine" and number % 2 == 1
        for place in reversed(inner) if back else inner:
            passed.append((place, line) if lines == "rows" else (line, place))
    return passed
