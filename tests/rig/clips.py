"""Video files of every kind, made by a real encoder."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

SIZE = (96, 64)
"""Width and height."""


def picture(number: int, size: tuple[int, int] = SIZE) -> np.ndarray:
    """A picture by whose grey its number can be told: its upper left quarter is red, its upper right one green."""
    wide, high = size
    found = np.full((high, wide, 3), 40 + 5 * (number % 30), dtype=np.uint8)
    found[: high // 2, : wide // 2] = (200, 20, 20)
    found[: high // 2, wide // 2 :] = (20, 200, 20)
    return found


def written(
    path: Path,
    times: Iterable[float],
    *,
    codec: str = "libx264",
    rate: int = 30,
    size: tuple[int, int] = SIZE,
    noise: int = 0,
) -> Path:
    """A clip with frames at these times, in seconds; with noise all frames are of about a size."""
    rng = np.random.default_rng(1)
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=rate)
        stream.width, stream.height = size
        stream.pix_fmt = "yuv420p"
        stream.time_base = stream.codec_context.time_base = Fraction(1, 90000)
        stream.options = {"crf": "12"}
        for number, time in enumerate(times):
            seen = picture(number, size)
            if noise:
                seen = (seen // 2 + rng.integers(0, noise, seen.shape)).astype(np.uint8)
            frame = av.VideoFrame.from_ndarray(seen, format="rgb24")
            frame.pts, frame.time_base = round(time * 90000), Fraction(1, 90000)
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def steady(count: int, rate: float) -> list[float]:
    return [number / rate for number in range(count)]


def turned(path: Path, degrees: int) -> Path:
    """Write into an MP4's head that it is to be turned by quarter turns: the matrix of ISO/IEC 14496-12, 8.3.2.

    Clockwise, as phones write it.
    """
    octets = bytearray(path.read_bytes())
    at = octets.find(b"tkhd")
    assert at > 0
    version = octets[at + 4]
    begin = at + 4 + 4 + (32 if version == 1 else 20) + 16
    one = {0: (1, 0, 0, 1), 90: (0, 1, -1, 0), 180: (-1, 0, 0, -1), 270: (0, -1, 1, 0)}[degrees]
    a, b, c, d = (number << 16 for number in one)
    values = (a, b, 0, c, d, 0, 0, 0, 1 << 30)
    octets[begin : begin + 36] = b"".join(value.to_bytes(4, "big", signed=True) for value in values)
    path.write_bytes(octets)
    return path


def sound_only(path: Path) -> Path:
    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=44100)
        for number in range(20):
            frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), dtype=np.float32), format="fltp", layout="mono")
            frame.sample_rate, frame.pts = 44100, number * 1024
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path
