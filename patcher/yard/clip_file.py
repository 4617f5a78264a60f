"""A clip that is written: pictures as H.264 in an MP4 file, whole or not at all."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from patcher.errors import refuse

if TYPE_CHECKING:
    from patcher.yard.night_picture import Camera, Picture

BITS = 12_000_000
"""A second, of 1280 × 720 points: about what a phone takes."""
FEWEST_BITS = 2_000_000


def refuse_clip(path: Path) -> None:
    """PatcherError where no clip may be written to this file."""
    if path.suffix.lower() != ".mp4":
        raise refuse(str(path), "is no clip's name", "let it end in .mp4")
    if path.exists() or path.is_symlink():
        raise refuse(str(path), "exists already; nothing was written", "name another file, or move this one away first")
    if not path.parent.is_dir():
        raise refuse(str(path), "cannot be written: its folder is not there", "make the folder first")


def write_clip(camera: Camera, path: Path, tell: Callable[[float], None] = lambda part: None) -> None:
    """Film a display.

    Args:
        camera: before it.
        path: of the clip; nothing is there yet.
        tell: is told after each frame which part of the clip is done; what it raises ends the work, and no file stays.

    Raises:
        PatcherError: there may be no clip of that name, or it could not be written.
    """
    from av.error import FFmpegError

    refuse_clip(path)
    unfinished = path.with_name(f".{path.name}.part")
    try:
        _encode(camera, unfinished, tell)
        unfinished.replace(path)
    except (FFmpegError, OSError) as error:
        why = error.strerror or type(error).__name__
        raise refuse(
            str(path), f"could not be written: {why}", "look at the folder's owner and the free space"
        ) from None
    finally:
        unfinished.unlink(missing_ok=True)


def _encode(camera: Camera, path: Path, tell: Callable[[float], None]) -> None:
    import av

    from patcher.clip.video import INSTALL

    shot = camera.shot
    if "libx264" not in av.codecs_available:
        raise refuse("film", "the library av that is installed writes no H.264", INSTALL)
    with av.open(str(path), "w", format="mp4") as container:
        stream = container.add_stream("libx264", rate=shot.rate, options={"preset": "veryfast"})
        stream.width, stream.height, stream.pix_fmt = shot.width, shot.height, "yuv420p"
        stream.bit_rate = max(FEWEST_BITS, BITS * shot.width * shot.height // (1280 * 720))
        for number, picture in enumerate(_told(camera.pictures(), shot.frames, tell)):
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
            frame.pts = number
            container.mux(stream.encode(frame))
        container.mux(stream.encode())


def _told(pictures: Iterator[Picture], count: int, tell: Callable[[float], None]) -> Iterator[Picture]:
    for number, picture in enumerate(pictures, start=1):
        yield picture
        tell(number / count)
