"""The cells of a grid as a finger on the wire passes them."""

CORNERS = ("bottom-left", "bottom-right", "top-left", "top-right")


def walk(columns: int, rows: int, lines: str, turns: str, data_in: str) -> list[tuple[int, int]]:
    """The cells of a grid as a finger on the wire passes them: one step at a time from the corner data_in."""
    x = 0 if data_in in ("bottom-left", "top-left") else columns - 1
    y = 0 if data_in in ("bottom-left", "bottom-right") else rows - 1
    right = 1 if x == 0 and data_in.endswith("left") else -1
    up = 1 if data_in.startswith("bottom") else -1
    passed = []
    if lines == "rows":
        for row in range(rows):
            begin = x
            for column in range(columns):
                passed.append((x, y))
                if column < columns - 1:
                    x += right
            if row < rows - 1:
                y += up
                if turns == "serpentine":
                    right = -right
                else:
                    x = begin
    else:
        for column in range(columns):
            begin = y
            for row in range(rows):
                passed.append((x, y))
                if row < rows - 1:
                    y += up
            if column < columns - 1:
                x += right
                if turns == "serpentine":
                    up = -up
                else:
                    y = begin
    return passed
