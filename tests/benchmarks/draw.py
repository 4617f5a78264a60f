"""The page on which a show is drawn, with 10 000 pixels on it: how smooth a drag is, and how soon findings come.

    python tests/benchmarks/draw.py

Frames are counted by the browser itself (requestAnimationFrame) while a pointer drags a corner, a whole run, and the
view; what a change takes is counted from letting go to the moment at which the page shows what `check` says of it. Both
stand against their limits: 30 frames a second, 200 ms. Ends with 1 where one is missed by more than half.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

import tomli_w

sys.path.insert(0, str(Path(__file__).parent.parent))

from playwright.sync_api import Page

from rig.draw_pages import Pointer, drawing, opened

FPS, SOON = 30.0, 0.2
"""The limits: frames a second of a drag, seconds from a change to its findings."""
BOXES, PORTS, PIXELS, TIMES = 10, 4, 125, 5


def show() -> str:
    """Ten boxes of four ports with two runs each, 125 pixels a run."""
    bead = {"colour_order": "RGB", "volts": 12.0, "channel_ma": 9.0, "idle_ma": 0.8, "min_volts": 9.0, "awg": 18}
    runs, boxes = {}, {}
    for box in range(BOXES):
        x, ports = box * 3.2, {}
        for port in range(PORTS):
            y, own = 0.5 + port * 1.5, [f"roof-{box}-{port}", f"window-{box}-{port}"]
            path = [[x, y], [x + 1.5, y + 0.4], [x + 3.0, y]]
            loop = [[x, y + 0.6], [x + 2.6, y + 0.6], [x + 2.6, y + 1.1], [x, y + 1.1]]
            runs[own[0]] = {"pixel": "bead", "shape": "line", "path": path, "pixels": PIXELS, "lead": 3.0}
            runs[own[1]] = {"pixel": "bead", "shape": "loop", "corners": loop, "pixels": PIXELS, "lead": 4.0}
            ports[str(port + 1)] = own
        boxes[f"box-{box}"] = {"address": f"192.0.2.{10 + box}", "ports": PORTS, "at": [x, 0.1], "port": ports}
    return tomli_w.dumps({
        "show": {"title": "Ten thousand"}, "pixel": {"bead": {**bead, "pitch": 0.05}}, "controller": boxes, "run": runs,
    })  # fmt: skip


COUNT = """() => {
    window.frames_ = [];
    const count = (now) => { window.frames_.push(now); window.counting_ = requestAnimationFrame(count); };
    window.counting_ = requestAnimationFrame(count);
}"""


def frames(page: Page, pointer: Pointer, begin: tuple[float, float], end: tuple[float, float]) -> float:
    """Frames a second while the pointer drags for about a second; it does not let go."""
    page.mouse.move(*pointer.at(begin))
    page.mouse.down()
    (x0, y0), (x1, y1) = pointer.at(begin), pointer.at(end)
    page.mouse.move(x0 + 8, y0)
    page.evaluate(COUNT)
    for part in range(60):
        page.mouse.move(x0 + (x1 - x0) * part / 59, y0 + (y1 - y0) * part / 59)
    told: list[float] = page.evaluate("() => { cancelAnimationFrame(window.counting_); return window.frames_; }")
    return (len(told) - 1) / (told[-1] - told[0]) * 1000


def soon(page: Page, pointer: Pointer) -> float:
    """Seconds from letting go of a corner until its findings are shown."""
    page.evaluate(
        """() => {
            const about = document.getElementById("chosen-about"), begun = about.textContent;
            window.shown_ = new Promise((resolve) => {
                let up = 0;
                window.addEventListener("pointerup", () => { up = performance.now(); }, { once: true, capture: true });
                new MutationObserver((_, own) => {
                    if (about.textContent !== begun) { own.disconnect(); resolve(performance.now() - up); }
                }).observe(about, { childList: true, characterData: true, subtree: true });
            });
        }"""
    )
    page.mouse.up()
    return float(page.evaluate("() => window.shown_")) / 1000


def main() -> int:
    """Measure, and say how the figures stand against their limits."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ten.toml"
        path.write_text(show(), encoding="utf-8")
        with drawing(path) as rig, opened(rig) as page:
            pointer = Pointer(page)
            pointer.choose("roof-4-1")
            time.sleep(0.5)
            corner, x, y = [], 4 * 3.2, 2.0
            waits = []
            for number in range(TIMES):
                begin = (x + 1.5, y + 0.4 + 0.05 * number)
                corner.append(frames(page, pointer, begin, (x + 1.5, y + 0.45 + 0.05 * number)))
                waits.append(soon(page, pointer))
            shift = frames(page, pointer, (x + 0.75, y + 0.2 + 0.025 * TIMES), (x + 0.95, y + 0.3))
            page.mouse.up()
            time.sleep(0.5)
            view = frames(page, pointer, (x, 8.0), (x + 2, 8.5))
            page.mouse.up()
    slowest = min(statistics.median(corner), shift, view)
    wait = statistics.median(waits)
    print(f"frames a second: a corner {statistics.median(corner):.0f}, a run {shift:.0f}, the view {view:.0f}")
    print(f"the slowest of them, of the limit of {FPS:g}: {slowest / FPS:.2f} times")
    print(f"from a change to its findings, the median of {TIMES}: {wait * 1000:.0f} ms, {wait / SOON:.2f} of the limit")
    return int(slowest < FPS / 2 or wait > SOON * 1.5)


if __name__ == "__main__":
    sys.exit(main())
