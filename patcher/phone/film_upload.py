"""A clip as it comes from a phone: written to a file in the temporary folder as it comes, or refused in words.

A clip lies in a folder of its own, which is deleted when the clip was read, and when whoever sent it leaves.
"""

from __future__ import annotations

import asyncio
import errno
import shutil
import tempfile
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from pathlib import Path

MOST_OCTETS = 1 << 30
"""Of a clip: at 17 Mb/s that is 8 minutes, and two are enough."""
SPARE_OCTETS = 256 << 20
"""That the disk must have left beside the clip."""
AT_ONCE = 1 << 20
"""Octets that are written together."""
CHUNK_IN = 20.0
"""Seconds to wait for the next octets: a phone that is carried away from the network for longer has left."""
WHOLE_IN = 1800.0
"""Seconds for the whole clip."""


class RefusedClipError(Exception):
    """A clip is not taken.

    Attributes:
        status: of HTTP, for the page.
        says: why, and what to do.
    """

    def __init__(self, status: int, says: str) -> None:
        super().__init__(says)
        self.status, self.says = status, says


class Upload:
    """The file that a clip is written to.

    Attributes:
        folder: its own; deleted by `leave`.
        path: the clip.
        size: octets that it will have; None where that is not known.
        taken: octets that it has.
    """

    def __init__(self, size: int | None) -> None:
        """Open it. RefusedClipError: it is too large, or the disk too full."""
        check(size)
        self.size, self.taken = size, 0
        try:
            self.folder = Path(tempfile.mkdtemp(prefix="patcher-film-"))
        except OSError as error:
            raise _full(error) from None
        self.path = self.folder / "clip"
        try:
            self._file = self.path.open("xb")
        except OSError as error:
            self.leave()
            raise _full(error) from None

    @property
    def part(self) -> float:
        """How much of it is there, from 0 to 1."""
        return self.taken / self.size if self.size else 0.0

    def take(self, octets: bytes) -> None:
        """Write some more. RefusedClipError: that is too much."""
        check(self.taken + len(octets), there=self.taken)
        try:
            self._file.write(octets)
            self._file.flush()
        except OSError as error:
            raise _full(error) from None
        self.taken += len(octets)

    def close(self) -> None:
        """All of it is there. RefusedClipError: that is nothing."""
        if not self.taken:
            raise RefusedClipError(400, "The clip is empty. Film again.")
        self._file.close()

    def leave(self) -> None:
        """Delete it, whatever there is of it."""
        if hasattr(self, "_file"):
            with suppress(OSError):  # what was not written yet does not fit; it is deleted anyway
                self._file.close()
        shutil.rmtree(self.folder, ignore_errors=True)


def check(size: int | None, there: int = 0) -> None:
    """Whether a clip of so many octets can be taken, some of which are on the disk. RefusedClipError: it cannot."""
    if size is not None and size > MOST_OCTETS:
        says = f"The clip is larger than {_mebi(MOST_OCTETS)} MiB. Film a minute at 1080p, and choose that."
        raise RefusedClipError(413, says)
    try:
        free = shutil.disk_usage(tempfile.gettempdir()).free
    except OSError as error:
        raise _full(error) from None
    if free < (size or 0) - there + SPARE_OCTETS:
        raise RefusedClipError(507, f"The computer's disk has only {_mebi(free)} MiB left. {_FREE}")


_FREE = "Free some, or film a shorter clip."


def _full(error: OSError) -> RefusedClipError:
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return RefusedClipError(507, f"The computer's disk is full. {_FREE}")
    return RefusedClipError(507, f"The computer cannot keep the clip: {error.strerror}. See to its temporary folder.")


def _mebi(octets: int) -> int:
    return octets >> 20


async def receive(octets: AsyncIterator[bytes], upload: Upload, tell: Callable[[float], None]) -> None:
    """Write a clip to its file as it comes.

    Args:
        octets: the clip, as it comes.
        upload: where it is written.
        tell: is told which part of it is there.

    Raises:
        RefusedClipError: it is too large, too slow or empty, or the disk is full.
    """
    waiting = bytearray()
    try:
        async with asyncio.timeout(WHOLE_IN):
            while True:
                async with asyncio.timeout(CHUNK_IN):
                    chunk = await anext(octets, None)
                if chunk is not None:
                    waiting += chunk
                if waiting and (chunk is None or len(waiting) >= AT_ONCE):
                    await asyncio.to_thread(upload.take, bytes(waiting))
                    waiting.clear()
                    tell(upload.part)
                if chunk is None:
                    break
    except TimeoutError:
        raise RefusedClipError(
            408, "The upload was too slow. Go nearer to the network, and choose the clip again."
        ) from None
    upload.close()
