"""Who else has the workbook: the lock files of spreadsheet programs, and one of our own for as long as a save takes.

Ours names the process, the computer and its start, so that one left by a crash is recognised and removed: the process is
gone, or the computer was started anew. Of another computer's lock only its age can be known.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from costbook.errors import WorkbookBusy
from costbook.hosts.whole import PREFIX, shortened, temporary_beside

CLOSE_IT = "Close it there, or delete the lock file if no program has it open."
HALF_WRITTEN_SECONDS, UNASKABLE_SECONDS, ELSEWHERE_SECONDS = 10, 600, 3_600
TRIES = 5


def refuse_if_open(path: Path) -> None:
    """Nothing, when no program has left a lock file beside the workbook and no other run is saving it.

    Raises:
        WorkbookBusy: somebody has it; the sentence says who, where the lock file tells.
    """
    refuse_if_in_office(path)
    lock = lock_of(path.resolve())
    if lock.exists() and not _stale(lock, theirs := _first_bytes(lock)):
        raise _saving(path.name, lock, theirs)


def refuse_if_in_office(path: Path) -> None:
    """Nothing, when no spreadsheet program has left a lock file beside the workbook.

    Raises:
        WorkbookBusy: one has.
    """
    for place in {path, path.resolve()}:
        for lock, read in ((f".~lock.{place.name}#", _office_owner), (f"~${place.name}", _owner_file)):
            beside = place.parent / lock
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


# ------------------------------------------------------------------ our own


def lock_of(target: Path) -> Path:
    """The name of our lock file for a workbook: in its folder, hidden."""
    return target.parent / f"{PREFIX}{shortened(target.name)}.lock"


@contextmanager
def held(target: Path, name: str) -> Iterator[Callable[[], None]]:
    """The workbook, ours alone among all runs; what is yielded checks that it still is.

    Raises:
        WorkbookBusy: another run is saving it; the sentence says which.
        OSError: no file may be made in its folder.
    """
    lock, mine = lock_of(target), _mine()
    _take(lock, mine, name)

    def still_mine() -> None:
        now = _first_bytes(lock)
        if now != mine:
            raise _saving(name, lock, now)

    try:
        yield still_mine
    finally:
        if _first_bytes(lock) == mine:
            with suppress(OSError):
                lock.unlink()


def _take(lock: Path, mine: bytes, name: str) -> None:
    theirs = b""
    for _ in range(TRIES):
        if _made(lock, mine):
            return
        theirs = _first_bytes(lock)
        if not _stale(lock, theirs):
            break
        _clear(lock, theirs)
    raise _saving(name, lock, theirs)


def _made(lock: Path, mine: bytes) -> bool:
    """Whether the lock file is ours now. It appears with all it says, so that no crash leaves an empty one."""
    temporary = temporary_beside(lock)
    _new(temporary, mine)
    try:
        os.link(temporary, lock)
    except FileExistsError:
        return False
    except OSError:
        return _made_bare(lock, mine)
    finally:
        temporary.unlink(missing_ok=True)
    return True


def _made_bare(lock: Path, mine: bytes) -> bool:
    """The same where the file system knows no second name for a file."""
    try:
        _new(lock, mine)
    except FileExistsError:
        return False
    return True


def _new(path: Path, data: bytes) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o644)
    written = False
    try:
        written = os.write(handle, data) == len(data)
    finally:
        os.close(handle)
        if not written:
            path.unlink(missing_ok=True)


def _clear(lock: Path, theirs: bytes) -> None:
    """Remove a lock left by a crash, unless another run has cleared it and made its own since."""
    with _alone_in(lock.parent) as alone:
        if not alone:
            _clear_aside(lock, theirs)
        elif _first_bytes(lock) == theirs:
            lock.unlink(missing_ok=True)


@contextmanager
def _alone_in(folder: Path) -> Iterator[bool]:
    """Whether no other run clears a lock of this folder meanwhile; False where the system cannot promise that."""
    try:
        from fcntl import LOCK_EX, flock

        handle = os.open(folder, os.O_RDONLY)
    except (ImportError, OSError):
        yield False
        return
    try:
        try:
            flock(handle, LOCK_EX)
            alone = True
        except OSError:
            alone = False
        yield alone
    finally:
        os.close(handle)


def _clear_aside(lock: Path, theirs: bytes) -> None:
    """The same by moving it aside first; what was moved by mistake is put back."""
    aside = temporary_beside(lock)
    try:
        os.rename(lock, aside)
    except FileNotFoundError:
        return
    if _first_bytes(aside) != theirs:
        with suppress(OSError):
            os.link(aside, lock)
    aside.unlink(missing_ok=True)


def _mine() -> bytes:
    pid = os.getpid()
    fields = (str(pid), _host(), _boot(), _born(pid), os.urandom(4).hex())
    return "\t".join(fields).encode("utf-8", "replace")


def _fields(lock: bytes) -> list[str]:
    fields = lock.decode("utf-8", "replace").split("\t")
    return fields if len(fields) == 5 and fields[0].isdecimal() else []


def _stale(lock: Path, theirs: bytes) -> bool:
    """Whether the run that made this lock is over for certain, or for all that can be known."""
    try:
        age = time.time() - lock.stat().st_mtime
    except OSError:
        return True
    fields = _fields(theirs)
    if not fields:
        return age > HALF_WRITTEN_SECONDS
    pid, host, boot, born, _ = fields
    if host != _host():
        return age > ELSEWHERE_SECONDS
    if boot != _boot():
        return True
    # On Windows asking after a process this way would end it (from memory): only the age is left.
    return age > UNASKABLE_SECONDS if os.name == "nt" else not _alive(int(pid), born)


def _alive(pid: int, born: str) -> bool:
    now = _born(pid)
    if now:
        return now == born
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True


def _born(pid: int) -> str:
    """When a process began, in the kernel's own count, or that it is over; '' where the system does not tell."""
    try:
        said = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return ""
    fields = said.rpartition(")")[2].split()
    if len(fields) < 20:
        return ""
    return "over" if fields[0] in "ZX" else fields[19]


def _boot() -> str:
    """A name for this start of the computer; '' where the system has none."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="utf-8").strip()
    except OSError:
        return ""


def _host() -> str:
    from platform import node

    return node().replace("\t", " ")


def _saving(name: str, lock: Path, theirs: bytes) -> WorkbookBusy:
    fields = _fields(theirs)
    who = f" (process {fields[0]} on {fields[1] or 'this computer'})" if fields else ""
    return WorkbookBusy(
        f"{name} is being saved by another run of costbook{who}; this one wrote nothing.",
        do=f"Run it again when that one is done; if none runs, delete {lock.name} beside it.",
    )
