"""The one way in which files are written: whole or not at all, by one program at a time, and as the person keeps them.

A text is written into a hidden file beside its own and then put in its place, so that the file is the old one or the
new one at every moment. Links are followed; owner, mode, line ends and byte-order mark stay as they are. While a file
is read, changed and written, a lock on it keeps every other Patcher out. An editor knows nothing of that lock, so what
a file says is held against what it said when it was read, and a save made meanwhile is never written over.

The lock is our own and not filelock's, because that one leaves its file for ever in the folder of a person's show.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
import shutil
import stat
import sys
import time
import unicodedata
import zlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from patcher.errors import PatcherError, refuse
from patcher.show.line_numbers import with_ends_of

LARGEST_FILE = 8 * 1024 * 1024
"""Octets that are read again. A show of all 63 999 universes takes about 1 MB."""
PATIENCE = 20.0
"""Seconds to wait for another Patcher that is writing; it takes milliseconds."""
_PAUSE = 0.005
_BOM = b"\xef\xbb\xbf"

UNSEALED = "written by Patcher, seal " + "0" * 16
"""The words by which an output is known as Patcher's own; `sealed` puts a checksum in the place of the zeros."""
_SEAL = re.compile(r"(?<=written by Patcher, seal )[0-9a-f]{16}")
_HEAD = 400
"""Octets in which the seal of an output stands."""

Seen = Mapping[Path, str | None]
"""What files said when they were read; None: the file was not there."""


def as_read(*paths: Path) -> dict[Path, str | None]:
    """What files say now, to be held against what they say when they are written.

    A file that cannot be read counts as none: reading it elsewhere reports why.
    """
    found: dict[Path, str | None] = {}
    for path in paths:
        found[path] = None
        with suppress(OSError, ValueError):
            if path.is_file():
                with path.open("rb") as file:
                    found[path] = _text(file.read(LARGEST_FILE + 1))
    return found


def write_whole(path: Path, text: str) -> None:
    """Write a text in the place of whatever the file says.

    Raises:
        PatcherError: it could not be written; the old file, if any, is as it was.
    """
    _write({}, {path: text})


def write_together(seen: Seen, texts: Mapping[Path, str], *, alone: bool = False) -> None:
    """Write texts, all or none, and only where every file of `seen` still says what it said.

    Args:
        seen: what files said when they were read, by `as_read`; also of files that are only read.
        texts: what is to be written.
        alone: the caller is `alone_with` them.

    Raises:
        PatcherError: one of them was changed meanwhile, or could not be written; all are as they were.
    """
    for path, text in texts.items():
        if len(text.encode(errors="replace")) > LARGEST_FILE:
            says = f"would grow larger than {LARGEST_FILE // 1024**2} MiB, and could not be read again"
            raise refuse(str(path), f"{says}; nothing was written", "shorten it, or move it away and begin a new one")
    if alone:
        _put(seen, texts, {path: _real(path) for path in {**seen, **texts}})
    else:
        _write(seen, texts)


def write_output(path: Path, text: str) -> None:
    """Write an output, in the place of nothing but an earlier output.

    Args:
        path: the file that a person names.
        text: has the words of `UNSEALED` near its beginning.

    Raises:
        PatcherError: the file is there and is not what Patcher wrote, or it has the name of a show's file, or it could
            not be written; it is as it was.
    """
    refuse_output(path)
    _write({}, {path: sealed(text)}, outputs=True)


def refuse_output(path: Path) -> None:
    """PatcherError where an output may not be written to this file."""
    for name in (path.name, _real(path).name):
        if name.lower().endswith(".toml"):
            says = "is named like a show file, so no output goes there; nothing was written"
            raise refuse(str(path), says, "name another file")
    with _in_words(path):
        _refuse_foreign(path, _real(path))


def _refuse_foreign(path: Path, real: Path) -> None:
    old = _octets(path, real)
    if old is not None and not _is_sealed(old):
        says = "exists already, and Patcher did not write it; nothing was changed"
        raise refuse(str(path), says, "name another file, or move this one away first")


def _is_sealed(octets: bytes) -> bool:
    text = _text(octets).replace("\r\n", "\n") if _SEAL.search(_text(octets[:_HEAD])) else ""
    return bool(text) and sealed(text) == text


def sealed(text: str) -> str:
    """A text that has the words of `UNSEALED` near its beginning, with its checksum there in place of what is there."""
    text = text.replace("\r\n", "\n")
    match = _SEAL.search(text)
    if match is None:
        raise ValueError("an output without a seal")
    bare = text[: match.start()] + "0" * 16 + text[match.end() :]
    seal = hashlib.sha256(bare.encode(errors="replace")).hexdigest()[:16]
    return text[: match.start()] + seal + text[match.end() :]


_PNG_HEAD = 33
"""Octets of the signature and the first chunk of a PNG."""


def sealed_png(png: bytes) -> bytes:
    """A PNG with its seal in a chunk of text behind the first one. Source: W3C, PNG (third edition), 11.3.3.2."""
    text = b"tEXtSoftware\0written by Patcher, seal " + hashlib.sha256(png).hexdigest()[:16].encode()
    chunk = (len(text) - 4).to_bytes(4, "big") + text + zlib.crc32(text).to_bytes(4, "big")
    return png[:_PNG_HEAD] + chunk + png[_PNG_HEAD:]


def write_png(path: Path, png: bytes) -> None:
    """Write a picture, in the place of nothing but an earlier one.

    Raises:
        PatcherError: the file is there and is not what Patcher wrote, or it could not be written; it is as it was.
    """
    new = sealed_png(png)
    real, mark = _real(path), len(new) - len(png)
    with alone_with(path), _in_words(path):
        old = _octets(path, real)
        if old is not None and sealed_png(old[:_PNG_HEAD] + old[_PNG_HEAD + mark :]) != old:
            says = "exists already, and Patcher did not write it; nothing was changed"
            raise refuse(str(path), says, "name another file, or move this one away first")
        temporary = _prepared(path, real, new)
        temporary.replace(real)


@contextmanager
def alone_with(path: Path) -> Iterator[None]:
    """While this lasts, no other Patcher, and no other thread of this one, writes the file.

    Raises:
        PatcherError: another one does not let go of it.
    """
    real = _real(path)
    lock = real.with_name(f".patcher-{_mark(real)}.lock")
    until = time.monotonic() + PATIENCE
    while True:
        with _in_words(path):
            handle = _opened(lock)
            try:
                if _locked(handle) and _same_file(handle, lock):
                    break
            except BaseException:
                os.close(handle)
                raise
            os.close(handle)
        if time.monotonic() > until:
            says = "is being written by another Patcher, which does not end; nothing was written"
            raise refuse(str(path), says, f"end the other one, or delete {lock}")
        time.sleep(_PAUSE)
    try:
        yield
    finally:
        with suppress(OSError):  # Windows deletes no file that is open: there it stays, and is used again
            lock.unlink()
        os.close(handle)


def _write(seen: Seen, texts: Mapping[Path, str], *, outputs: bool = False) -> None:
    real = {path: _real(path) for path in {**seen, **texts}}
    if not seen and all(_as_kept(old, text) == old for path, text in texts.items() for old in [_old(path, real[path])]):
        return  # also where nothing may be written
    with ExitStack() as stack:
        for path in sorted(texts, key=lambda path: str(real[path])):
            stack.enter_context(alone_with(path))
        for path in texts if outputs else ():
            _refuse_foreign(path, real[path])
        _put(seen, texts, real)


def _put(seen: Seen, texts: Mapping[Path, str], real: Mapping[Path, Path]) -> None:
    """All files are prepared, held against what they said, and then put in their places one after the other."""
    ready: dict[Path, Path] = {}
    old: dict[Path, bytes | None] = {}
    done: list[Path] = []
    try:
        for path, text in texts.items():
            with _in_words(path):
                old[path] = _octets(path, real[path])
                new = _as_kept(old[path], text)
                if new != old[path]:
                    ready[path] = _prepared(path, real[path], new)
        for path, before in seen.items():
            with _in_words(path):
                now = _octets(path, real[path])
                if (None if now is None else _text(now)) != before:
                    raise _changed(path)
        for path, temporary in ready.items():
            with _in_words(path):
                temporary.replace(real[path])
            done.append(path)
    except BaseException as error:
        _undo(done, old, real, error)
        raise
    finally:
        for temporary in ready.values():
            with suppress(OSError):
                temporary.unlink()


def _undo(
    done: Iterable[Path], old: Mapping[Path, bytes | None], real: Mapping[Path, Path], why: BaseException
) -> None:
    """Put back what was replaced before another file failed; PatcherError names what could not be put back."""
    left = []
    for path in done:
        try:
            before = old[path]
            if before is None:
                real[path].unlink()
            else:
                _prepared(path, real[path], before).replace(real[path])
        except (OSError, PatcherError):
            left.append(str(path))
    if left and isinstance(why, PatcherError):
        first = why.findings[0]
        says = f"{first.says.removesuffix('; nothing was changed')}; but {', '.join(left)} was changed already"
        raise refuse(first.where, says, first.remedy) from None


def _changed(path: Path) -> PatcherError:
    says = "was changed by another program since it was read; it was left as it is, and nothing was written"
    return refuse(str(path), says, "run the command again")


def _real(path: Path) -> Path:
    """Where a file truly stands, through links."""
    try:
        return Path(os.path.realpath(path))
    except (OSError, ValueError):
        raise refuse(str(path).replace("\0", "\\0"), "cannot be the name of a file", "check the name") from None


def _octets(path: Path, real: Path) -> bytes | None:
    """What a file holds; None where there is none. PatcherError where something else stands there."""
    try:
        kind = real.stat().st_mode
    except FileNotFoundError:
        return None
    if stat.S_ISDIR(kind):
        raise refuse(str(path), "is a folder, not a file", "name a file")
    if not stat.S_ISREG(kind):
        raise refuse(str(path), "is not an ordinary file; nothing was changed", "name another file")
    return real.read_bytes()


def _old(path: Path, real: Path) -> bytes | None:
    with _in_words(path):
        return _octets(path, real)


def _text(octets: bytes) -> str:
    return octets.decode("utf-8-sig", errors="surrogateescape")


def _as_kept(old: bytes | None, text: str) -> bytes:
    """A text's octets, with the byte-order mark of the file, and its line ends where the text has none of its own."""
    if old is not None and "\r" not in text and b"\r\n" in old:
        text = with_ends_of(_text(old), text)
    mark = _BOM if old is not None and old.startswith(_BOM) and not text.startswith("\ufeff") else b""
    return mark + text.encode(errors="replace")


def _prepared(path: Path, real: Path, octets: bytes) -> Path:
    """The octets in a hidden file beside the real one, with its owner and its mode."""
    before = real.stat() if real.exists() else None
    if before is not None and (not before.st_mode & 0o222 or not os.access(real, os.W_OK)):
        raise refuse(str(path), "is read-only; nothing was changed", "make it writable first, if that is meant")
    for left in real.parent.glob(f".patcher-{_mark(real)}-*.part"):  # of killed writes: nobody else writes it now
        with suppress(OSError):
            left.unlink()
    temporary = real.with_name(f".patcher-{_mark(real)}-{secrets.token_hex(4)}.part")
    flags = os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_BINARY", 0)
    handle = os.open(temporary, flags, 0o666)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(octets)
            file.flush()
            os.fsync(file.fileno())
        if before is not None:
            _keep_owner(path, temporary, before)
            shutil.copystat(real, temporary)
            os.utime(temporary)
    except BaseException:
        with suppress(OSError):
            temporary.unlink()
        raise
    return temporary


def _keep_owner(path: Path, temporary: Path, before: os.stat_result) -> None:
    own = temporary.stat()
    if sys.platform == "win32" or (own.st_uid, own.st_gid) == (before.st_uid, before.st_gid):
        return
    try:
        os.chown(temporary, before.st_uid, before.st_gid)
    except PermissionError:
        says = "belongs to somebody else, and writing it would change its owner; nothing was changed"
        raise refuse(str(path), says, "let its owner do it, or work on a copy of your own") from None


@contextmanager
def _in_words(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        says = f"could not be written: {error.strerror}; nothing was changed"
        raise refuse(str(path), says, "look at the folder, its owner and the free space") from None


# --- the lock -----------------------------------------------------------------------------------------------------


def _mark(real: Path) -> str:
    """Short, and the same for all ways in which a disk may write a name."""
    return hashlib.sha256(unicodedata.normalize("NFC", real.name.casefold()).encode(errors="replace")).hexdigest()[:12]


def _opened(lock: Path) -> int:
    flags = getattr(os, "O_NOFOLLOW", 0)
    try:
        return os.open(lock, os.O_RDWR | os.O_CREAT | flags, 0o666)
    except PermissionError:
        if not lock.exists():
            raise
        return os.open(lock, os.O_RDONLY | flags)  # somebody else's, left behind


def _locked(handle: int) -> bool:
    """Whether the lock is ours now; it ends with the handle, and so with the process, however that ends."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


def _same_file(handle: int, lock: Path) -> bool:
    """Whether the file is still the one that was opened: another program may have deleted it and made a new one."""
    try:
        now = lock.stat()
    except FileNotFoundError:
        return False
    return os.path.samestat(os.fstat(handle), now)
