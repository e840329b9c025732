"""Putting bytes on disk so that at every moment the file holds the old or the new workbook, whole.

The new bytes go to a temporary file beside the target, are flushed to the disk, take over the target's mode and owner,
and replace it in one step. Nothing is ever written in place.
"""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from costbook.errors import HostUnavailable, WorkbookBusy, WorkbookChanged, WriteRefused

PREFIX = ".costbook-"
ORPHAN_SECONDS = 86_400
CLOSE_IT = "Close it there, or delete the lock file if no program has it open."


def digest(data: bytes) -> str:
    """The sha256 of these bytes, in hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def contents(path: Path) -> bytes:
    """The bytes of a workbook file.

    Raises:
        HostUnavailable: there is no such file, it is a folder or a device, or it may not be read.
    """
    if not path.exists():
        raise HostUnavailable(f"there is no file {path}.", do="Check the name and the folder.")
    if not path.is_file():
        raise HostUnavailable(f"{path} is not a file.", do="Name a workbook, not a folder.")
    try:
        return path.read_bytes()
    except OSError as error:
        raise HostUnavailable(f"{path} cannot be read: {error.strerror}.", do="Check who may read it.") from error


def refuse_if_open(path: Path) -> None:
    """Nothing, when no program has left a lock file beside the workbook.

    Raises:
        WorkbookBusy: a lock file of a spreadsheet program stands there; the sentence says who, where the file tells.
    """
    for place in {path, path.resolve()}:
        for lock, read in ((f".~lock.{place.name}#", _office_owner), (f"~${place.name}", _owner_file)):
            beside = place.with_name(lock)
            if beside.exists():
                who = read(beside)
                raise WorkbookBusy(f"{path.name} is open{who} (its lock file {lock} stands beside it).", do=CLOSE_IT)


def _office_owner(lock: Path) -> str:
    """Fields of the lock file: full name, login, host, since when, profile."""
    fields = [piece.strip() for piece in _first_bytes(lock).decode("utf-8", "replace").rstrip(";\r\n").split(",")]
    fields += [""] * (4 - len(fields))
    pieces = ((" by ", fields[0] or fields[1]), (" on ", fields[2]), (" since ", fields[3]))
    return "".join(word + said for word, said in pieces if said)


def _owner_file(lock: Path) -> str:
    """The other kind of lock file begins with the length of a name, then the name."""
    raw = _first_bytes(lock)
    name = raw[1 : 1 + raw[0]].decode("utf-8", "replace").strip(" \0") if raw else ""
    return f" by {name}" if name.isprintable() and name else ""


def _first_bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as handle:
            return handle.read(512)
    except OSError:
        return b""


def replace_file(path: Path, data: bytes, expected: str) -> None:
    """Put `data` in the place of the file, whole, if the file still holds what was read.

    Raises:
        WorkbookChanged: the file's sha256 is not `expected` any more.
        WriteRefused: the file or its folder may not be written, or the disk is full; the file is untouched.
    """
    target = path.resolve()
    if not os.access(target, os.W_OK):
        raise WriteRefused(f"{path.name} is read-only.", do="Allow writing to it, or work on a copy.")

    def unchanged() -> None:
        if digest(contents(target)) != expected:
            raise WorkbookChanged(
                f"{path.name} was changed by another program since it was read; nothing was written.",
                do="Run it again.",
            )

    unchanged()
    _sweep(target.parent)
    _written(target, path.name, data, unchanged)


def new_file(path: Path, data: bytes) -> None:
    """Put `data` in a file that is not there yet.

    Raises:
        WriteRefused: a file of that name is there, or its folder may not be written.
    """
    _refuse_existing(path)
    if not path.parent.is_dir():
        raise WriteRefused(f"there is no folder {path.parent}.", do="Make it first, or name another.")
    _written(path, path.name, data, lambda: _refuse_existing(path))


def _refuse_existing(path: Path) -> None:
    if path.exists() or path.is_symlink():
        raise WriteRefused(f"{path.name} is there already; it is not overwritten.", do="Choose another name.")


def _written(target: Path, name: str, data: bytes, check: Callable[[], None]) -> None:
    temporary = target.with_name(f"{PREFIX}{os.getpid()}-{target.name}.tmp")
    try:
        _flushed(temporary, data, target)
        check()
        os.replace(temporary, target)
        _flush_folder(target.parent)
    except PermissionError as error:
        raise WriteRefused(
            f"{name} cannot be saved: writing is not allowed there ({error.strerror}).",
            do="Close it in other programs, allow writing to it and its folder, or work on a copy.",
        ) from error
    except OSError as error:
        raise WriteRefused(
            f"{name} cannot be saved: {error.strerror}.", do="Make room or choose another folder."
        ) from error
    finally:
        temporary.unlink(missing_ok=True)


def _flushed(temporary: Path, data: bytes, target: Path) -> None:
    with temporary.open("xb") as handle:
        handle.write(data)
        handle.flush()
        os.fsync(handle.fileno())
    if target.exists():
        before = target.stat()
        if hasattr(os, "chown"):
            # Somebody else's file in a shared folder becomes hers, as with any program that saves.
            with suppress(PermissionError):
                os.chown(temporary, before.st_uid, before.st_gid)
        os.chmod(temporary, before.st_mode & 0o7777)


def _flush_folder(folder: Path) -> None:
    """Make the replacement itself last through a power cut, where the system lets a folder be flushed."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    with suppress(OSError):
        os.fsync(handle)
    os.close(handle)


def _sweep(folder: Path) -> None:
    """Remove temporary files of ours that a crash left behind more than a day ago."""
    for orphan in folder.glob(f"{PREFIX}*.tmp"):
        try:
            if time.time() - orphan.stat().st_mtime > ORPHAN_SECONDS:
                orphan.unlink()
        except OSError:
            continue
