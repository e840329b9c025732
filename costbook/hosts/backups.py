"""Earlier states of a workbook, kept in one folder of ours beside it, whole and verified.

Before every save the state that is about to be replaced is kept. Afterwards what stays is the first state of each of the
last three days on which the book was saved, and always the state before the last save. A file's name tells which workbook
it is of, when it was put there, and the first digits of its sha256:
`workshop 2026-11-25 110304 1a2b3c4d5e6f.xlsx`.
"""

import os
import re
import time
from collections.abc import Sequence
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from costbook.errors import WriteRefused
from costbook.hosts.whole import copied, file_digest, flush_folder, shortened, sweep, temporary_beside

FOLDER = "costbook-backups"
DAYS = 3
SHORT_DIGITS = 12
STAMP = "%Y-%m-%d %H%M%S"


class State(NamedTuple):
    """One kept state: its file, when it was kept (local time, 'YYYY-MM-DD HHMMSS'), how its sha256 begins, its size."""

    path: Path
    stamp: str
    short: str
    size_bytes: int

    @property
    def day(self) -> str:
        """The day it was kept, as 2026-11-25."""
        return self.stamp[:10]

    @property
    def kept(self) -> str:
        """When it was kept, as 2026-11-25 11:03:04."""
        hours = self.stamp[11:]
        return f"{self.day} {hours[:2]}:{hours[2:4]}:{hours[4:]}"

    def holds(self, sha256: str) -> bool:
        """Whether it is the state of this sha256, going by its name."""
        return sha256.startswith(self.short)


def states(target: Path) -> list[State]:
    """The kept states of a workbook, newest first; none where there is no folder of ours."""
    stem, suffix = _named(target)
    wanted = re.compile(
        rf"{re.escape(stem)} (\d{{4}}-\d\d-\d\d \d{{6}}) ([0-9a-f]{{{SHORT_DIGITS}}}){re.escape(suffix)}"
    )
    found = []
    with suppress(FileNotFoundError, NotADirectoryError), os.scandir(_folder(target)) as entries:
        for entry in entries:
            fits = wanted.fullmatch(entry.name)
            if fits and _moment(fits[1]) and entry.is_file():
                found.append(State(Path(entry.path), fits[1], fits[2], entry.stat().st_size))
    return sorted(found, key=lambda state: state.stamp, reverse=True)


def _folder(target: Path) -> Path:
    return target.parent / FOLDER


def _named(target: Path) -> tuple[str, str]:
    return shortened(target.stem), target.suffix


def keep(target: Path, sha256: str) -> Path | None:
    """The file in which the workbook's state of now was kept; None where the newest one kept is the same.

    It is copied beside, flushed, read back and compared with `sha256`, and only then given its name.

    Raises:
        WriteRefused: it does not read back as it was, or a file stands where the folder should be.
        OSError: it cannot be written.
    """
    before = states(target)
    if before and before[0].holds(sha256) and file_digest(before[0].path) == sha256:
        return None
    folder = _folder(target)
    stem, suffix = _named(target)
    stamp = _stamp(before[0].stamp if before else "")
    place = folder / f"{stem} {stamp} {sha256[:SHORT_DIGITS]}{suffix}"
    temporary = temporary_beside(place)
    try:
        _make(folder)
        copied(temporary, target)
        if file_digest(temporary) != sha256:
            raise WriteRefused(
                f"{target.name} was not touched: its backup did not read back as it was written.",
                do="See whether the disk is in order, and whether another program is saving the workbook.",
            )
        os.rename(temporary, place)
    finally:
        if not place.exists():
            discard(temporary)
    flush_folder(folder)
    return place


def _make(folder: Path) -> None:
    try:
        folder.mkdir()
    except FileExistsError as error:
        if not folder.is_dir():
            raise WriteRefused(
                f"backups go into the folder {FOLDER}, and a file of that name stands there.", do="Rename that file."
            ) from error
        sweep(folder)
        return
    flush_folder(folder.parent)


def _stamp(newest: str) -> str:
    """Now, or where a clock was put back since the newest one, a second after that: the order of names is that of saves."""
    now = time.strftime(STAMP)
    if now > newest:
        return now
    last = _moment(newest)
    return (last + timedelta(seconds=1)).strftime(STAMP) if last else now


def _moment(stamp: str) -> datetime | None:
    """The moment a stamp tells; None where it is no date, in a name made by somebody else."""
    try:
        return datetime.fromisoformat(f"{stamp[:13]}:{stamp[13:15]}:{stamp[15:]}")
    except ValueError:
        return None


def discard(place: Path) -> None:
    """Remove a file of the folder, and the folder where nothing else is in it."""
    with suppress(OSError):
        place.unlink(missing_ok=True)
        place.parent.rmdir()


def prune(target: Path) -> None:
    """Remove the states of a workbook that are kept no longer."""
    with suppress(OSError):
        found = states(target)
        for state in set(found) - wanted(found):
            state.path.unlink(missing_ok=True)


def wanted(found: Sequence[State]) -> set[State]:
    """The states that stay: the newest, and the first of each of the last three days."""
    first = {state.day: state for state in found}  # newest first, so the last one seen of a day is its first
    return set(found[:1]) | {first[day] for day in sorted(first)[-DAYS:]}


def before_last_save(found: Sequence[State], sha256: str) -> State | None:
    """The newest state that is not the workbook's of now; None where there is none.

    One that is as the workbook stands was kept for a save that then did not happen.
    """
    return next((state for state in found if not state.holds(sha256)), None)
