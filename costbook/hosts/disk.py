"""Putting bytes on disk so that at every moment the file holds the old or the new workbook, whole.

The state that is there is kept first (`backups.py`). The new bytes go to a temporary file beside the target, are flushed to
the disk, take over the target's mode and owner, and replace it in one step, under a lock of ours (`locks.py`). Nothing is
ever written in place.

On Windows a file another program holds open cannot be replaced: that is tried again for about three seconds, then the new
state is put beside as a copy, and the sentence says so. This is by design and has not been tried on a real machine.
"""

from __future__ import annotations

import os
import re
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from costbook.errors import Finding, HostUnavailable, WorkbookBusy, WorkbookChanged, WriteRefused
from costbook.hosts import backups, locks
from costbook.hosts.backups import State
from costbook.hosts.locks import refuse_if_open
from costbook.hosts.whole import (
    contents,
    digest,
    file_digest,
    flush_folder,
    flushed,
    sweep,
    temporary_beside,
    told_plainly,
)

__all__ = ["conflict_copies", "contents", "digest", "kept_states", "new_file", "refuse_if_open", "refuse_no_place", "replace_file", "take_back"]  # fmt: skip

HELD_OPEN = (5, 32, 33)  # access denied, sharing violation, lock violation (from memory)
PAUSES_SECONDS = (0.05, 0.1, 0.2, 0.4, 0.8, 1.6)
# What programs that keep folders alike on several computers put into the name of a second version, in some languages.
CONFLICT = re.compile(r"[ck]onfli[ck]?t", re.IGNORECASE)
NUMBERED = re.compile(r"[ _-]?\(\d+\)|[ _-]+copy(?:[ _-]?\d+)?", re.IGNORECASE)


def replace_file(path: Path, data: bytes, expected: str) -> None:
    """Put `data` in the place of the file, whole, if the file still holds what was read.

    Raises:
        WorkbookChanged: the file's sha256 is not `expected` any more.
        WorkbookBusy: another run is saving it, or a spreadsheet program has it open.
        WriteRefused: the file or its folder may not be written, or the disk is full; the file is untouched.
    """
    target = path.resolve()
    _refuse_changed(path, expected)
    if not os.access(target, os.W_OK):
        raise WriteRefused(f"{path.name} is read-only.", do="Allow writing to it, or work on a copy.")
    with told_plainly(path.name), locks.held(target, path.name) as still_mine:

        def check() -> None:
            still_mine()
            locks.refuse_if_in_office(path)
            _refuse_changed(path, expected)

        check()
        sweep(target.parent)
        _kept_and_written(target, path.name, data, expected, check)


def _refuse_changed(path: Path, expected: str) -> None:
    if file_digest(path.resolve()) != expected:
        raise WorkbookChanged(
            f"{path.name} was changed by another program since it was read; nothing was written.", do="Run it again."
        )


def _kept_and_written(target: Path, name: str, data: bytes, expected: str, check: Callable[[], None]) -> None:
    kept, done = backups.keep(target, expected), False
    try:
        _written(target, name, data, check)
        done = True
    finally:
        # What was kept for a save that did not happen goes again; if in doubt it stays.
        if kept and not done:
            with suppress(OSError, HostUnavailable):
                if file_digest(target) != digest(data):
                    backups.discard(kept)
    backups.prune(target)


def new_file(path: Path, data: bytes) -> None:
    """Put `data` in a file that is not there yet.

    Raises:
        WriteRefused: a file of that name is there, or its folder may not be written.
    """
    refuse_no_place(path)
    with told_plainly(path.name):
        _written(path, path.name, data, lambda: _refuse_existing(path))


def refuse_no_place(path: Path) -> None:
    """Refuses a new file where one is there already, or no folder is; asked before long work whose result goes there.

    Raises:
        WriteRefused: so it is.
    """
    _refuse_existing(path)
    if not path.parent.is_dir():
        raise WriteRefused(f"there is no folder {path.parent}.", do="Make it first, or name another.")


def _refuse_existing(path: Path) -> None:
    if path.exists() or path.is_symlink():
        raise WriteRefused(f"{path.name} is there already; it is not overwritten.", do="Choose another name, or move that one away first.")


def _written(target: Path, name: str, data: bytes, check: Callable[[], None]) -> None:
    temporary = temporary_beside(target)
    try:
        flushed(temporary, data, target)
        _put_in_place(temporary, target, name, check)
        flush_folder(target.parent)
    finally:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)


def _put_in_place(temporary: Path, target: Path, name: str, check: Callable[[], None]) -> None:
    for pause in (*PAUSES_SECONDS, None):
        check()
        try:
            os.replace(temporary, target)
            return
        except OSError as error:
            if getattr(error, "winerror", None) not in HELD_OPEN:
                raise
        if pause is not None:
            time.sleep(pause)
    raise _put_beside(temporary, target, name)


def _put_beside(temporary: Path, target: Path, name: str) -> WorkbookBusy:
    """The new state as a copy beside, for a workbook that another program does not let go of."""
    names = (f"{target.stem}-pending{number}{target.suffix}" for number in ("", *(f"-{n}" for n in range(2, 1000))))
    beside = next(place for name in names if not (place := target.with_name(name)).exists())
    os.rename(temporary, beside)
    return WorkbookBusy(
        f"{name} is held open by another program and was not touched; what was to be saved stands beside it as {beside.name}.",
        do="Close it there and run it again, then delete that copy; or go on with the copy.",
    )


# ------------------------------------------------------------------ earlier states


def kept_states(path: Path) -> list[State]:
    """The earlier states of a workbook that are kept, newest first.

    Raises:
        HostUnavailable: the folder that holds them may not be read.
    """
    try:
        return backups.states(path.resolve())
    except OSError as error:
        raise HostUnavailable(f"the folder {backups.FOLDER} cannot be read: {error.strerror}.") from error


def take_back(path: Path, number: int | None = None) -> State | None:
    """The state that was put back, byte for byte; None where the workbook is in that state already.

    What it replaces is kept like before every save, so that a second call undoes the first. A workbook that is gone is
    made anew.

    Args:
        number: which of `kept_states`, counted from 1; without it, the state before the last save.
    Raises:
        WriteRefused: there is no such state, or it is damaged, or the file may not be written.
        WorkbookBusy: the workbook is open elsewhere.
    """
    with told_plainly(path.name):
        refuse_if_open(path)
        there = path.exists()
    now = digest(contents(path)) if there else ""
    state = _chosen(path, now, number)
    data = contents(state.path)
    sha256 = digest(data)
    if not state.holds(sha256):
        raise WriteRefused(f"the state kept {state.kept} is damaged and was not put back.", do="Choose another one.")
    if sha256 == now:
        return None
    if there:
        replace_file(path, data, now)
    else:
        new_file(path, data)
    return state


def _chosen(path: Path, sha256: str, number: int | None) -> State:
    found = kept_states(path)
    state = backups.before_last_save(found, sha256 or "-") if number is None else None
    if number is not None and 1 <= number <= len(found):
        state = found[number - 1]
    if state:
        return state
    if number is not None and found:
        raise WriteRefused(f"there is no state {number} of {path.name}; there are {len(found)}.", do="Look at the list.")
    raise WriteRefused(
        f"there is no earlier state of {path.name} to put back.",
        do=f"One is kept at every save, in the folder {backups.FOLDER} beside the workbook.",
    )


# ------------------------------------------------------------------ second versions


def conflict_copies(path: Path) -> list[Finding]:
    """A finding for each file beside the workbook that looks like a second version of it, made when two places saved it.

    A name that speaks of a conflict is enough; a numbered copy must be newer than the workbook.
    """
    target = path.resolve()
    found = []
    with suppress(OSError):
        saved_ns = target.stat().st_mtime_ns
        for name in sorted(name for name in os.listdir(target.parent) if _added(target, name)):  # a folder may hold thousands
            other, more = target.with_name(name), _added(target, name)
            if not other.is_file():
                continue
            if CONFLICT.search(more) or (NUMBERED.fullmatch(more) and other.stat().st_mtime_ns > saved_ns):
                found.append(_second_version(path.name, other.name))
    return found


def _added(target: Path, other: str) -> str:
    """What the other name has between the stem and the ending of the workbook's; '' where it is not made of these."""
    name, stem, suffix = other.casefold(), target.stem.casefold(), target.suffix.casefold()
    if not (name.startswith(stem) and name.endswith(suffix) and len(name) > len(stem) + len(suffix)):
        return ""
    return name[len(stem) : len(name) - len(suffix)]


def _second_version(name: str, other: str) -> Finding:
    return Finding(
        "warn",
        "conflict-copy",
        f"{other} beside the workbook looks like a second version of it, made when it was saved in two places; "
        f"{name} was priced",
        do="Look which of the two is right, bring over what only the other has, and put the other elsewhere.",
    )
