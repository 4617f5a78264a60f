"""The paper's drawing made a phone's: light ink on the dark page, and only what a person finds a run by."""

from __future__ import annotations

from xml.etree import ElementTree

from patcher.drawing.svg import BLACK, GREY, WHITE

SVG = "{http://www.w3.org/2000/svg}"
INK = {WHITE: "#0b0d11", BLACK: "#e9e6df", GREY: "#a9adb6"}
"""The page's inks for the paper's."""
KEPT = ({"run"}, {"lead"}, {"way"}, {"mark"}, {"label", "run"}, {"label", "box"})
"""Classes of what stays: runs with their names, boxes, leads, and where data enters and ends."""


def night_drawing(drawing: str) -> str:
    """A drawing of `show_drawing` for the phone; a page's script fits its frame to what is left."""
    root = ElementTree.fromstring(drawing)  # noqa: S314  (it is our own)
    for part in list(root):
        classes = set((part.get("class") or "").split())
        named = part.tag in (SVG + "title", SVG + "desc")
        fed = part.get("data-feed") is not None or part.get("data-cut") is not None
        if not named and (fed or classes not in KEPT):
            root.remove(part)
    for part in root.iter():
        for key in ("fill", "stroke"):
            if (ink := part.get(key)) in INK:
                part.set(key, INK[ink])
    ElementTree.register_namespace("", "http://www.w3.org/2000/svg")
    return ElementTree.tostring(root, encoding="unicode")
