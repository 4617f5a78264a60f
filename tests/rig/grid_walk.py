"""The cells of a grid as a finger on the wire passes them."""

CORNERS = ("bottom-left", "bottom-right", "top-left", "top-right")


def walk(columns: int, rows: int, lines: str, turns: str, data_in: str) -> list[tuple[int, int]]:
    """Column and row of each cell, from 0 at the bottom left: one step at a time from the corner data_in."""
    at = [columns - 1 if "right" in data_in else 0, rows - 1 if "top" in data_in else 0]
    step = [-1 if "right" in data_in else 1, -1 if "top" in data_in else 1]
    along, across = (0, 1) if lines == "rows" else (1, 0)
    length, count = (columns, rows) if lines == "rows" else (rows, columns)
    passed = []
    for _ in range(count):
        begin = at[along]
        for place in range(length):
            passed.append((at[0], at[1]))
            if place < length - 1:
                at[along] += step[along]
        at[across] += step[across]
        if turns == "serpentine":
            step[along] = -step[along]
        else:
            at[along] = begin
    return passed
