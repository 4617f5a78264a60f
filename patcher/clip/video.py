"""A clip: the frames of a video file with their times, as red, green and blue. Only here is a clip decoded.

The two libraries that reading a clip needs are an extra of the package; whoever lacks them is told how to get them.
"""

from __future__ import annotations

import hashlib
import queue
import threading
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from patcher.errors import PatcherError, refuse

if TYPE_CHECKING:
    from av.container import InputContainer
    from av.video.stream import VideoStream

Picture = NDArray[np.uint8]

MOST_POINTS = 9_000_000
"""Points of a frame; what has more is made smaller. 3840 × 2160 has 8.3 million."""
HLG = 18
"""The transfer characteristics of films for bright screens. Source: ITU-T H.273, table 3."""
FINEST = 1 / 36
"""Seconds between two frames that are read: of a clip of 60 frames a second every other one is left out."""
LONGEST = 150.0
"""Seconds of a clip that are read."""
AHEAD = 4
"""Frames that are decoded ahead of those that are worked on."""
_TURNS = {1: 2, 2: 1, 3: 0}
"""The library's names for quarter turns anticlockwise: ROTATE_90_COUNTERCLOCKWISE is 2, ROTATE_180 1,
ROTATE_90_CLOCKWISE 0."""
LACKS = "reading a clip needs a library that is missing"
INSTALL = 'install it: in Patcher\'s own folder, pip install ".[film]"'
SLOWEST = 20.0
"""Frames a second that a clip needs: light changes ten times a second."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What a clip is.

    Attributes:
        path: the file.
        seconds: how long it lasts, as far as it says so.
        width, height: points, turned as its metadata says.
        rate: frames a second on the mean.
        turn: quarter turns anticlockwise that its metadata asks for.
    """

    path: Path
    seconds: float
    width: int
    height: int
    rate: float
    turn: int


def lacks() -> str:
    """What of that is missing, in words; empty where all is there. Nothing is imported for that."""
    missing = [name for name in ("av", "cv2") if find_spec(name) is None]
    return f"{LACKS[:1].upper()}{LACKS[1:]} ({missing[0]}). On the computer, {INSTALL}" if missing else ""


def extra() -> None:
    """Check that what reads clips is installed.

    Raises:
        PatcherError: it is not.
    """
    try:
        import av  # noqa: F401
        import cv2  # noqa: F401
    except ImportError as error:
        raise refuse("film", f"{LACKS} ({error.name})", INSTALL) from None


def facts(path: Path) -> Facts:
    """What a clip is, from its head and its first frame.

    Raises:
        PatcherError: it cannot be read as a video.
    """
    with _opened(path) as container:
        stream = _video(path, container)
        first = next(_decoded(path, container, stream), None)
        if first is None:
            raise refuse(str(path), "has no picture in it that can be read", "copy the clip from the phone once more")
        turn = _turn(first.rotation)
        wide, high = _size(first.width, first.height)
        if turn % 2:
            wide, high = high, wide
        length = stream.duration * stream.time_base if stream.duration and stream.time_base else None
        seconds = float(length if length is not None else (container.duration or 0) / 1_000_000)
        rate = float(stream.average_rate or stream.guessed_rate or 0)
    return Facts(path, seconds, wide, high, rate, turn)


def frames(clip: Facts) -> Iterator[tuple[float, Picture]]:
    """The frames of a clip with their times in seconds, from 0: shape (height, width, 3), red, green, blue.

    Frames that follow too closely are left out, and so is what comes after `LONGEST` seconds.
    """
    import cv2

    with _opened(clip.path) as container:
        stream = _video(clip.path, container)
        stream.thread_type = "AUTO"
        begin, last = None, -np.inf
        for frame in _decoded(clip.path, container, stream):
            if frame.time is None:
                continue
            begin = frame.time if begin is None else begin
            time = float(frame.time - begin)
            if time > LONGEST:
                return
            if time - last < FINEST:
                continue
            last = time
            wide, high = _size(frame.width, frame.height)
            picture = frame.to_ndarray(format="rgb24", width=wide, height=high)
            if frame.color_trc == HLG:
                picture = np.asarray(cv2.LUT(picture, _usual_levels()), dtype=np.uint8)
            yield (
                time,
                picture if clip.turn == 0 else np.asarray(cv2.rotate(picture, _TURNS[clip.turn]), dtype=np.uint8),
            )


@cache
def _usual_levels() -> NDArray[np.uint8]:
    """What the 256 levels of a film for bright screens would be in a usual one, whose lights do not look alike.

    Source: ITU-R BT.2100-2, table 5 (the inverse of HLG's OETF); ITU-R BT.709-6, item 1.2.
    """
    level = np.arange(256) / 255
    a, b, c = 0.17883277, 0.28466892, 0.55991073
    light = np.where(level <= 0.5, level**2 / 3, (np.exp((level - c) / a) + b) / 12)
    usual = np.where(light < 0.018, 4.5 * light, 1.099 * light**0.45 - 0.099)
    return np.round(255 * usual.clip(0, 1)).astype(np.uint8)


def ahead(pictures: Iterator[tuple[float, Picture]]) -> Iterator[tuple[float, Picture]]:
    """The same frames, decoded by a thread of their own while those before are worked on."""
    waiting: queue.Queue[tuple[float, Picture] | BaseException | None] = queue.Queue(AHEAD)
    stopped = threading.Event()

    def put(item: tuple[float, Picture] | BaseException | None) -> bool:
        while not stopped.is_set():
            with suppress(queue.Full):
                waiting.put(item, timeout=0.1)
                return True
        return False

    def decode() -> None:
        try:
            for each in pictures:
                if not put(each):
                    return
            put(None)
        except BaseException as error:
            put(error)

    thread = threading.Thread(target=decode, daemon=True)
    thread.start()
    try:
        while (each := waiting.get()) is not None:
            if isinstance(each, BaseException):
                raise each
            yield each
    finally:
        stopped.set()
        thread.join()


def digest(path: Path) -> str:
    """A short digest of a file, by which the record knows a clip again."""
    found = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            found.update(block)
    return found.hexdigest()[:16]


def _opened(path: Path) -> InputContainer:
    extra()
    import av

    try:
        return av.open(str(path), mode="r", metadata_errors="replace")
    except (av.error.FFmpegError, OSError, ValueError) as error:
        raise _unreadable(path, error) from None


def _unreadable(path: Path, error: Exception) -> PatcherError:
    if isinstance(error, FileNotFoundError):
        return refuse(str(path), "is not there", "check the name of the clip")
    if isinstance(error, PermissionError | IsADirectoryError):
        return refuse(str(path), "cannot be opened", "check the name of the clip, and whether you may read it")
    return refuse(str(path), "cannot be read as a video", "copy the clip from the phone once more, as it was recorded")


def _video(path: Path, container: InputContainer) -> VideoStream:
    if not container.streams.video:
        raise refuse(str(path), "has no video in it", "give the clip that the phone recorded")
    return container.streams.video[0]


def _decoded(path: Path, container: InputContainer, stream: VideoStream):  # type: ignore[no-untyped-def]
    """Its frames, as far as they can be read: a clip may be cut off."""
    import av

    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets)
        except (StopIteration, av.error.FFmpegError):
            return
        try:
            yield from packet.decode()
        except av.error.FFmpegError:
            continue


def _size(width: int, height: int) -> tuple[int, int]:
    """The size at which frames are read."""
    part = min(1.0, (MOST_POINTS / max(1, width * height)) ** 0.5)
    return max(2, int(width * part) // 2 * 2), max(2, int(height * part) // 2 * 2)


def _turn(degrees: int) -> int:
    """Quarter turns anticlockwise."""
    return round(degrees / 90) % 4
