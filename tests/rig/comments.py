"""A show file whose comments can be told apart."""

import re

from hypothesis import strategies as st

MARK = re.compile(r"# c[0-9]+")


def commented(text: str, picks: list[int]) -> str:
    """The text with comments of their own on lines and between them, as the numbers pick."""
    lines = []
    for number, line in enumerate(text.split("\n")):
        pick = picks[number % len(picks)]
        if pick in (0, 1):
            lines.append(f"# c{2 * number}")
        lines.append(f"{line}  # c{2 * number + 1}" if line and pick in (1, 2) else line)
    return "\n".join(lines)


picked = st.lists(st.integers(0, 4), min_size=1, max_size=9)
