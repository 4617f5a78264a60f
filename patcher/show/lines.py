"""On which line of the file a place stands, for a person with an editor open.

The TOML reader of the standard library keeps no line numbers, so the place is looked for in the text. What cannot be
found plainly has no line; a wrong line would be worse than none.
"""

import re

_HEADING = re.compile(r"^\s*\[\[?\s*(?P<path>[^\[\]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(r"^\s*(?P<key>[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')\s*(=|\.)")


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def line_of(text: str, place: tuple[str | int, ...]) -> int | None:
    """The line, counted from 1, of the longest beginning of `place` that the text shows plainly."""
    names = [str(part) for part in place if isinstance(part, str)]
    numbers = [part for part in place[:2] if isinstance(part, int)]
    wanted_array = numbers[0] + 1 if numbers else None
    best: tuple[int, int] | None = None
    heading: tuple[str, ...] = ()
    seen = 0
    for number, line in enumerate(text.splitlines(), start=1):
        if found := _HEADING.match(line):
            heading = _parts(found["path"])
            seen += heading == tuple(names[:1])
            depth = min(len(heading), len(names))
        elif (found := _KEY.match(line)) and heading:
            heading_key = (*heading, found["key"].strip("\"'"))
            depth = len(heading_key)
            if heading_key != tuple(names[:depth]):
                continue
        else:
            continue
        if heading[: len(names)] != tuple(names[: len(heading)]) or (wanted_array and seen != wanted_array):
            continue
        if best is None or depth > best[0]:
            best = (depth, number)
    return best[1] if best else None
