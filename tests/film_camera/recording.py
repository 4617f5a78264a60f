"""When frames are taken, which are lost, and how they are stored: real encoders, a real container."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from av.video.reformatter import ColorRange
from numpy.typing import NDArray

from film_camera.things import Camera

TICK = Fraction(1, 90_000)
"""Common practice: the clock of time stamps in films, 90 kHz."""
ENCODERS = {"h264": "libx264", "hevc": "libx265"}
PRESETS = {"h264": "veryfast", "hevc": "ultrafast"}
"""A phone encodes while it films: what takes little effort comes nearest."""
_BT709 = (1, 1, 1)
_HLG = (9, 18, 9)
"""ITU-T H.273: the numbers of primaries, transfer and matrix."""


@dataclass(frozen=True)
class Exposure:
    """One stored frame: when it was taken (the scene's time), its stamp (seconds), and whether it repeats the last."""

    time: float
    stamp: float
    again: bool


def rate(camera: Camera) -> Fraction:
    """The nominal rate: 29.97 and its like are meant as 30 000/1 001."""
    whole = Fraction(round(camera.fps * 1.001) * 1000, 1001)
    return whole if abs(float(whole) - camera.fps) < 0.006 else Fraction(camera.fps).limit_denominator(1000)


def exposures(camera: Camera, start: float, seconds: float, rng: np.random.Generator) -> list[Exposure]:
    """The frames that are stored, in order; a dropped one leaves a gap in the stamps."""
    each = float(1 / rate(camera)) / (1 + camera.clock_error)
    taken: list[Exposure] = []
    for number in range(int(seconds / each + 1e-6)):
        early = float(np.clip(rng.normal() * camera.jitter, -0.3 * each, 0.3 * each))
        lost, again = rng.random(2) < (camera.dropped, camera.doubled)
        if lost and taken:
            continue
        even = number * each
        stamp = (even + (early if camera.variable_rate and number else 0.0)) * (1 + camera.clock_error)
        time = start + even + (early if number else 0.0)
        if again and taken:
            taken.append(Exposure(taken[-1].time, stamp, True))
        else:
            taken.append(Exposure(time, stamp, False))
    return taken


def record(camera: Camera, frames: Iterator[tuple[float, NDArray[np.uint8]]], file: Path, threads: int = 2) -> None:
    """Encodes stamped frames, uint8[h, w, 3], into a file whose name says its container (.mp4, .mov, .mkv).

    Raises:
        ValueError: the camera's codec is none that is known, or has no HLG.
    """
    if camera.codec not in ENCODERS:
        raise ValueError(f"codec {camera.codec!r}: choose one of {', '.join(ENCODERS)}")
    if camera.hlg and camera.codec != "hevc":
        raise ValueError(f"codec {camera.codec!r} has no HLG: choose hevc")
    primaries, transfer, colours = _HLG if camera.hlg else _BT709
    layout = "yuv420p10le" if camera.hlg else "yuv420p"
    with av.open(str(file), "w") as container:
        sound = container.add_stream("aac", rate=48_000, layout="mono") if camera.sound else None
        stream = container.add_stream(ENCODERS[camera.codec], rate=rate(camera), options=_options(camera, threads))
        stream.width, stream.height, stream.pix_fmt = camera.width, camera.height, layout
        stream.bit_rate = int(camera.bit_rate * 1e6)
        stream.gop_size = max(1, round(camera.key_seconds * camera.fps))
        stream.codec_context.time_base = TICK
        stream.time_base = TICK
        stream.codec_context.thread_count = threads
        span = ColorRange.JPEG if camera.full_range else ColorRange.MPEG
        stream.color_range, stream.colorspace = int(span), colours
        stream.color_primaries, stream.color_trc = primaries, transfer
        if camera.rotation:
            stream.set_display_rotation(-camera.rotation)
        last = 0.0
        for stamp, picture in frames:
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24").reformat(
                format=layout, dst_colorspace=colours, dst_color_range=span
            )
            frame.pts, frame.time_base = round(stamp / TICK), TICK
            container.mux(stream.encode(frame))
            last = stamp
        container.mux(stream.encode(None))
        if sound is not None:
            _silence(container, sound, last)


def _options(camera: Camera, threads: int) -> dict[str, str]:
    """Whatever the encoder wants to know beside rate and size."""
    options = {"preset": PRESETS[camera.codec]}
    if camera.codec == "hevc":
        options["x265-params"] = f"log-level=none:pools=none:frame-threads={threads}"
    return options


def _silence(container: av.container.OutputContainer, sound: av.AudioStream, seconds: float) -> None:
    """A track of silence as long as the film."""
    for number in range(int(seconds * 48_000) // 1024):
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
        frame.sample_rate, frame.pts, frame.time_base = 48_000, number * 1024, Fraction(1, 48_000)
        container.mux(sound.encode(frame))
    container.mux(sound.encode(None))
