"""Takes the picture of the page on which a show is drawn that README shows.

python tests/pictures/draw.py            into this folder
python tests/pictures/draw.py FOLDER     into that one
"""

import math
import sys
import tempfile
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent.parent))

import cv2
import numpy as np

from patcher.draw.draft import Draft
from patcher.draw.view import view
from rig.draw_pages import EMPTY, Pointer, drawing, opened
from rig.photographs import ARCHES, DOOR, IN_PICTURE, PANE, POSTS, ROOF, TREES, WINDOWS, photograph

OWN = Path(__file__).parent
GOOD, FAR = 84, 5.0


def acts() -> list[list[dict[str, Any]]]:
    """The whole house as the page would draw it, each change for itself."""
    bead = {"pixel": "bead"}
    wall = {"corners": [list(at) for at in IN_PICTURE], "width": 12.0, "height": 4.5}
    found = [[{"act": "set", "thing": "show", "key": "photo", "value": {"file": "house.jpg", "wall": wall}}]]
    for name, path in zip(("rake-left", "ridge", "rake-right"), ROOF, strict=True):
        keys = bead | {"shape": "line", "path": [list(at) for at in path], "pixels": 44 if "rake" in name else 61}
        found.append([{"act": "draw", "run": name, "keys": keys}])
    (x, y), (wide, high) = WINDOWS[0], PANE
    corners = [[x, y], [x + wide, y], [x + wide, y + high], [x, y + high]]
    found.append(
        [{"act": "draw", "run": "window-1", "keys": bead | {"shape": "loop", "corners": corners, "pixels": 46}}]
    )
    for number, (to_x, to_y) in enumerate(WINDOWS[1:], start=2):
        keys = {"like": "window-1", "moved": [round(to_x - x, 3), round(to_y - y, 3)]}
        found.append([{"act": "draw", "run": f"window-{number}", "keys": keys}])
    grid = {"area": [list(at) for at in DOOR], "columns": 31, "rows": 23, "lines": "rows", "turns": "serpentine"}
    found.append([{"act": "draw-grid", "prop": "net", "keys": grid | {"data_in": "bottom-left"}}])
    for number, band in enumerate(([1, 8], [9, 16], [17, 23]), start=1):
        keys = bead | {"shape": "band", "of": "net", "band": band, "data_in": "bottom-left"}
        found.append([{"act": "draw", "run": f"net-{number}", "keys": keys}])
    x, y = TREES[0]
    zigzag = [[x, y + 2.3], [x - 0.1, y + 1.9], [x + 0.2, y + 1.4], [x - 0.3, y + 0.9], [x + 0.45, y + 0.5]]
    found.append([{"act": "draw", "run": "tree-1", "keys": bead | {"shape": "line", "path": zigzag, "pixels": 28}}])
    found.append([{"act": "copy", "thing": "tree-1", "by": [1.25, 0.0], "count": 5, "mirrored": False, "turned": 0.0}])
    x, y = ARCHES[0]
    keys = bead | {"shape": "arch", "feet": [[x, y], [x + 1, y]], "height": 1.1, "pixels": 27}
    found.append([{"act": "draw", "run": "arch-1", "keys": keys}])
    found.append([{"act": "copy", "thing": "arch-1", "by": [1.3, 0.0], "count": 5, "mirrored": False, "turned": 0.0}])
    return [*found, *_boxes()]


def _boxes() -> list[list[dict[str, Any]]]:
    chains = [
        [[f"tree-{number}" for number in range(1, 7)]],
        [["rake-left"], ["window-1", "window-2"], ["window-5", "window-6"]],
        [["net-1"], ["net-2"], ["net-3"], ["ridge"]],
        [["rake-right"], ["window-3", "window-4"], ["window-7", "window-8"]],
        [[f"arch-{number}" for number in range(6, 0, -1)]],
    ]
    found = []
    for number, (post, ports) in enumerate(zip(POSTS, chains, strict=True), start=1):
        keys = {"address": f"192.0.2.{10 + number}", "ports": 4}
        found.append([{"act": "box", "name": f"post-{number}", "at": list(post), "keys": keys}])
        for port, chain in enumerate(ports, start=1):
            for behind, run in zip([None, *chain], chain, strict=False):
                hang = {"act": "hang", "run": run, "box": f"post-{number}", "port": port, "behind": behind}
                found.append([hang])
    return found


def lead(draft: Draft) -> None:
    """Give each lead a tenth more than its way, and a booster where data would not come so far."""
    for each in view(draft.path, draft.history.now)["leads"]:
        length = math.ceil(each["way"] * 11) / 10
        own = [{"act": "set", "thing": each["run"], "key": "lead", "value": length}]
        if length > FAR:
            own.append({"act": "set", "thing": each["run"], "key": "lead_via", "value": "booster"})
        draft.act(own)


def main(folder: Path) -> None:
    """Draw the house, open the page, take the picture."""
    with tempfile.TemporaryDirectory() as own:
        photograph(Path(own) / "house.jpg")
        path = Path(own) / "lane-house.toml"
        path.write_text(EMPTY.replace("Ferry house", "The house by the lane"), encoding="utf-8")
        draft = Draft(path)
        for each in acts():
            draft.act(each)
        lead(draft)
        with drawing(path) as rig, opened(rig) as page:
            Pointer(page).choose("ridge")
            page.wait_for_timeout(600)
            png = np.frombuffer(page.screenshot(), np.uint8)
        cv2.imwrite(str(folder / "draw.jpg"), cv2.imdecode(png, cv2.IMREAD_COLOR), [cv2.IMWRITE_JPEG_QUALITY, GOOD])


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else OWN)
