"""Files read and written whole: hashes, a temporary file beside the target, flushed to the disk, and the sweeping up.

Nothing is ever written in place. A temporary file has a name of ours with a random part, so that what a crash left behind
is never in the way of the next run, and is told from hers when it is swept up.
"""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from stat import S_ISREG

from costbook.errors import HostUnavailable, WriteRefused

PREFIX = ".costbook-"
ORPHAN_SECONDS = 3_600
PIECE_BYTES = 1 << 20
LONGEST_NAME_BYTES = 180


def digest(data: bytes) -> str:
    """The sha256 of these bytes, in hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def file_digest(path: Path) -> str:
    """The sha256 of a file's bytes, read piece by piece.

    Raises:
        HostUnavailable: there is no such file, or it may not be read.
    """
    try:
        with path.open("rb") as handle:
            return hashlib.file_digest(handle, "sha256").hexdigest()
    except FileNotFoundError as error:
        raise _missing(path) from error
    except OSError as error:
        raise _unreadable(path, error) from error


def contents(path: Path) -> bytes:
    """The bytes of a workbook file.

    Raises:
        HostUnavailable: there is no such file, it is a folder or a device, or it may not be read.
    """
    try:
        if not path.exists():
            raise _missing(path)
        if not path.is_file():
            raise HostUnavailable(f"{path} is not a file.", do="Name a workbook, not a folder.")
        return path.read_bytes()
    except OSError as error:
        raise _unreadable(path, error) from error


def _missing(path: Path) -> HostUnavailable:
    return HostUnavailable(f"there is no file {path}.", do="Check the name and the folder.")


def _unreadable(path: Path, error: OSError) -> HostUnavailable:
    return HostUnavailable(f"{path} cannot be read: {error.strerror}.", do="Check who may read it.")


@contextmanager
def told_plainly(name: str) -> Iterator[None]:
    """A stretch of work on the disk in which whatever the system refuses becomes a sentence about the workbook `name`.

    Raises:
        WriteRefused: writing is not allowed, the disk is full, or the like; the sentence says which.
    """
    try:
        yield
    except PermissionError as error:
        raise WriteRefused(
            f"{name} cannot be saved: writing is not allowed there ({error.strerror}).",
            do="Close it in other programs, allow writing to it and its folder, or work on a copy.",
        ) from error
    except OSError as error:
        raise WriteRefused(
            f"{name} cannot be saved: {error.strerror}. The workbook is as it was.",
            do="Make room or choose another folder.",
        ) from error


def shortened(name: str) -> str:
    """The name, or where it is too long to be added to, its beginning and a hash of all of it.

    >>> shortened("workshop.xlsx")
    'workshop.xlsx'
    """
    raw = name.encode("utf-8", "surrogateescape")
    if len(raw) <= LONGEST_NAME_BYTES:
        return name
    return raw[: LONGEST_NAME_BYTES - 9].decode("utf-8", "ignore") + "-" + digest(raw)[:8]


def temporary_beside(target: Path) -> Path:
    """A name for a temporary file in the target's folder; no two are alike."""
    return target.with_name(f"{PREFIX}{os.getpid()}-{os.urandom(4).hex()}-{shortened(target.name)}.tmp")


def flushed(temporary: Path, data: bytes, target: Path) -> None:
    """Put `data` in a new file and on the disk, with the mode and owner the target has now."""
    _put(temporary, _pieces(data), target)


def copied(temporary: Path, source: Path) -> None:
    """Put the bytes of `source` in a new file and on the disk, with its mode and owner."""
    with source.open("rb") as handle:
        _put(temporary, iter(lambda: handle.read(PIECE_BYTES), b""), source)


def _pieces(data: bytes) -> Iterator[memoryview]:
    view = memoryview(data)
    return (view[start : start + PIECE_BYTES] for start in range(0, len(view), PIECE_BYTES))


def _put(temporary: Path, pieces: Iterable[bytes | memoryview], like: Path) -> None:
    # Nobody else may read it before it has the mode of the original.
    mode = 0o600 if like.exists() else 0o666
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), mode)
    try:
        for piece in pieces:
            rest = memoryview(piece)
            while rest:
                rest = rest[os.write(handle, rest) :]
        os.fsync(handle)
    finally:
        os.close(handle)
    if like.exists():
        _take_over(temporary, like)


def _take_over(temporary: Path, like: Path) -> None:
    """Owner, further attributes such as access lists where there are any, and mode."""
    before = like.stat()
    if hasattr(os, "chown"):
        # Somebody else's file in a shared folder becomes hers, as with any program that saves.
        with suppress(PermissionError):
            os.chown(temporary, before.st_uid, before.st_gid)
    if hasattr(os, "listxattr"):
        with suppress(OSError):
            for attribute in os.listxattr(like):
                os.setxattr(temporary, attribute, os.getxattr(like, attribute))
    os.chmod(temporary, before.st_mode & 0o7777)


def flush_folder(folder: Path) -> None:
    """Make a replacement itself last through a power cut, where the system lets a folder be flushed."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    with suppress(OSError):
        os.fsync(handle)
    with suppress(OSError):
        os.close(handle)


def sweep(folder: Path) -> None:
    """Remove temporary files of ours that a crash left behind more than an hour ago."""
    for orphan in folder.glob(f"{PREFIX}*.tmp"):
        with suppress(OSError):
            about = orphan.lstat()
            if S_ISREG(about.st_mode) and time.time() - about.st_mtime > ORPHAN_SECONDS:
                orphan.unlink()
