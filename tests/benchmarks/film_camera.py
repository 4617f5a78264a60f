"""How long the camera of the tests takes for a second of film: a table in markdown.

    python tests/benchmarks/film_camera.py [seconds of each film]

Pictures of 640 × 360, 1920 × 1080 and 3840 × 2160 of 500, 5 000 and 20 000 pixels: as times of the film's length, alone
on one thread, first at 30 frames a second with every effect switched on, then the mean of some cameras at random.
The last column is what the words of the test itself take for a second. Nothing is asserted.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from film_camera import film, random_camera, random_scene

SIZES = ((640, 360), (1920, 1080), (3840, 2160))
PIXELS = (500, 5000, 20_000)


def words(pixels: int):
    """Each pixel holds a random symbol for 0.2 s, odd ones change between even ones."""
    bits = np.random.default_rng(1).integers(0, 2, size=(93, pixels)).astype(bool)
    numbers = np.arange(pixels)
    late = 0.1 * (numbers % 2)

    def levels(times: np.ndarray) -> np.ndarray:
        found = np.zeros((len(times), pixels, 3), np.uint8)
        for row, at in enumerate(times):
            symbol = np.floor((at - late) / 0.2).astype(int) % 93
            found[row, numbers, (symbol // 31 + numbers) % 3] = np.where(bits[symbol, numbers], 128, 32)
        return found

    return levels


def took(
    size: tuple[int, int], pixels: int, seconds: float, codec: str, everything: bool, seed: int
) -> tuple[float, float]:
    """Times of the film's length: by the clock, and of the processor."""
    wide = int(np.sqrt(2 * pixels))
    places = 0.05 * np.column_stack([np.arange(pixels) % wide, np.arange(pixels) // wide])
    rng = np.random.default_rng(seed)
    camera = random_camera(rng, places, "hand" if seed % 2 else "propped", width=size[0], height=size[1])
    scene = random_scene(rng, places)
    if everything:
        camera = replace(
            camera, bayer=True, bloom=0.02, local_tone=0.3, temporal_denoise=0.4, spatial_denoise=0.5, sharpen=0.3,
            stabilise=0.9, shake=1.0, auto_exposure=0.5, fps=30.0, codec=codec,
        )  # fmt: skip
        scene = replace(scene, pwm_hz=400.0)
    with tempfile.TemporaryDirectory() as folder:
        began, spent = time.perf_counter(), time.process_time()
        film(scene, camera, words(pixels), seconds, Path(folder) / "a.mp4", seed=seed, threads=1)
        return (time.perf_counter() - began) / seconds, (time.process_time() - spent) / seconds


def main() -> None:
    """Prints the table."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 4.0
    cv2.setNumThreads(1)
    print("| picture | pixels | everything on, h264: processor (clock) | hevc | at random | `levels` alone |")
    print("| --- | --- | --- | --- | --- | --- |")
    for size in SIZES:
        for pixels in PIXELS:
            cells = [took(size, pixels, seconds, codec, True, 1) for codec in ("h264", "hevc")]
            cells.append(tuple(np.mean([took(size, pixels, seconds, "", False, seed) for seed in range(4)], axis=0)))
            began = time.process_time()
            words(pixels)(np.arange(0, 1, 0.0025))
            alone = time.process_time() - began
            both = " | ".join(f"{spent:.2f} ({clock:.2f})" for clock, spent in cells)
            print(f"| {size[0]} × {size[1]} | {pixels} | {both} | {alone:.2f} |", flush=True)
    print(f"\nmost memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")


if __name__ == "__main__":
    main()
