"""The paper's drawing made a phone's: light ink on the dark page, and only what a person finds a run by."""

from __future__ import annotations

from xml.etree import ElementTree

from patcher.drawing.svg import BLACK, GREY, LINE, PLAIN, WHITE, long, text_at
from patcher.drawing.voltage_profile import wrap

SVG = "{http://www.w3.org/2000/svg}"
INK = {WHITE: "#0b0d11", BLACK: "#e9e6df", GREY: "#a9adb6"}
"""The page's inks for the paper's."""
KEPT = ({"run"}, {"lead"}, {"way"}, {"mark"}, {"label", "run"}, {"label", "box"})
"""Classes of what stays: runs with their names, boxes, leads, and where data enters and ends."""


def night_drawing(drawing: str) -> str:
    """A drawing of `show_drawing` for the phone; a page's script fits its frame to what is left."""
    root = ElementTree.fromstring(drawing)  # noqa: S314  (it is our own)
    told = _unnamed(root)
    for part in list(root):
        classes = set((part.get("class") or "").split())
        named = part.tag in (SVG + "title", SVG + "desc")
        fed = part.get("data-feed") is not None or part.get("data-cut") is not None
        if not named and (fed or classes not in KEPT):
            root.remove(part)
    root.extend(told)
    for part in root.iter():
        for key in ("fill", "stroke"):
            if (ink := part.get(key)) in INK:
                part.set(key, INK[ink])
    ElementTree.register_namespace("", "http://www.w3.org/2000/svg")
    return ElementTree.tostring(root, encoding="unicode")


def _unnamed(root: ElementTree.Element) -> list[ElementTree.Element]:
    """Words under the picture: which runs and boxes found no room for their names; none where runs have no names."""
    missing = _without_name(root)
    if not missing:
        return []
    wide, high = (float(size) for size in str(root.get("viewBox")).split()[2:])
    top = min((float(part.get("y", 0)) for part in root if part.get("class") == "key"), default=high)
    lines = wrap(f"No space for the names of: {', '.join(missing)}", wide - 2, lambda words: long(words, PLAIN))
    words = (text_at(1.0, top + PLAIN * LINE * row, line, class_="unnamed") for row, line in enumerate(lines))
    return list(ElementTree.fromstring(f'<svg xmlns="{SVG[1:-1]}">{"".join(words)}</svg>'))  # noqa: S314  (our own)


def _without_name(root: ElementTree.Element) -> list[str]:
    """The runs and boxes without a name in the picture; no run where none has one."""
    named = {part.get("data-of") for part in root if set((part.get("class") or "").split()) in KEPT}
    runs = [str(part.get("data-run")) for part in root if part.get("class") == "run"]
    missing = [run for run in dict.fromkeys(runs) if run not in named] if named & set(runs) else []
    boxes = [part.get("data-box") for part in root]
    return missing + [f"box {box}" for box in boxes if box is not None and box not in named]
