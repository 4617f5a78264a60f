"""The whole of E1.31's range: 63 999 universes, 10.88 million RGB pixels, 10 000 runs on 1 000 boxes.

`patch` from show file to patch file, and `where` after the files are read, beside what Python's tomllib alone takes to
read that show file, all in one run, each the best of three; and the same at a tenth of the size. Prints a table, and a
verdict on the goal of 6 times as long.

    python tests/benchmarks/range.py

Source: ANSI E1.31-2018, 6.2.7: universes 1–63999; 170 RGB pixels a universe is arithmetic.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
import tomllib
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from rig.verdicts import at_most

TIMES_TOMLLIB = 6
BOXES, RUNS, PIXELS = 1_000, 10, 1_088
SHORT = 63_999 * 170 - (BOXES * RUNS - 1) * PIXELS
"""Pixels of the very last run: ten runs fill 64 universes, and the last box has one universe less."""


def show_text(boxes: int) -> str:
    """The show file: ten runs a box, each on a port of its own, drawn as a line."""
    out = [
        '[show]\ntitle = "All of the range"\nplacement = "follow"\n\n[pixel.lamp]\ncolour_order = "RGB"\nvolts = 12.0\n'
    ]
    last = f"run-{BOXES}-{RUNS}"
    for box in range(1, boxes + 1):
        out.append(f'[controller.box-{box}]\naddress = "10.0.{box // 250}.{box % 250 + 1}"\nports = {RUNS}\n')
        names = [f"run-{box}-{port}" for port in range(1, RUNS + 1)]
        out.append(f"[controller.box-{box}.port]")
        out += [f'{port} = ["{name}"]' for port, name in enumerate(names, start=1)]
        for port, name in enumerate(names):
            pixels = SHORT if name == last else PIXELS
            out.append(f'\n[run.{name}]\npixel = "lamp"\nshape = "line"')
            out.append(f"path = [[{box}.0, {port}.5], [{box}.9, {port}.5]]\npixels = {pixels}\nlead = 2.5")
        out.append("")
    return "\n".join(out)


def command(*words: object) -> tuple[float, float]:
    """Seconds of a whole command, its start among them, and its largest memory in MB."""
    begun = time.perf_counter()
    with subprocess.Popen([sys.executable, "-m", "patcher", *map(str, words)], stdout=subprocess.DEVNULL) as ran:
        _, status, usage = os.wait4(ran.pid, 0)
        ran.returncode = os.waitstatus_to_exitcode(status)
    seconds = time.perf_counter() - begun
    if ran.returncode:
        raise SystemExit(f"patcher {words[0]} ended with {ran.returncode}")
    return seconds, usage.ru_maxrss / 1024


def where_after_reading(show: Path) -> float:
    """Seconds that the answer of `where` takes once show and patch are in memory."""
    from patcher.patch.patch_file import read_patch
    from patcher.patch.thing import find, spans_of
    from patcher.show.show_file import read_show
    from patcher.wiring import wire

    reading, patch = read_show(show), read_patch(show)
    assert reading.show is not None
    assert patch is not None
    wiring = wire(reading.show)
    begun = time.perf_counter()
    for name in (f"{patch.starts[-1].universes[-1]}/1", f"{patch.starts[-1].chain.links[0].run}/17"):
        assert spans_of(find(name, wiring, patch), wiring, patch)
    return time.perf_counter() - begun


def main() -> None:
    """Measure both sizes and print the table."""
    print("| boxes | pixels | show file | tomllib | patch | × tomllib | memory | kept again | where, after reading |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    with tempfile.TemporaryDirectory() as folder:
        for boxes in (BOXES // 10, BOXES):
            show = Path(folder) / f"range-{boxes}.toml"
            text = show_text(boxes)
            show.write_text(text)
            reads = []
            for _ in range(3):
                begun = time.perf_counter()
                tomllib.loads(text)
                reads.append(time.perf_counter() - begun)
            runs = [command("patch", show, "--fresh") for _ in range(3)]
            patched, memory = min(seconds for seconds, _ in runs), max(size for _, size in runs)
            again = min(command("patch", show)[0] for _ in range(3))
            pixels = boxes * RUNS * PIXELS - (PIXELS - SHORT) * (boxes == BOXES)
            print(
                f"| {boxes} | {pixels} | {len(text) / 1e6:.2f} MB | {min(reads):.2f} s | {patched:.2f} s "
                f"| {patched / min(reads):.1f} | {memory:.0f} MB | {again:.2f} s | {where_after_reading(show):.3f} s |"
            )
    print()
    at_most("`patch` of the whole range ÷ tomllib alone", patched / min(reads), TIMES_TOMLLIB)


if __name__ == "__main__":
    main()
