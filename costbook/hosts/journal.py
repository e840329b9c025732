"""What was written into an open workbook, cell by cell with what stood there before, so that it can be taken back.

A small file for each write: in our backups folder beside the workbook, or, where the workbook is on no disk, in a folder of
the user's own. It is there before the first cell is written, so a write that breaks off can be taken back as well.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

from costbook.errors import WriteRefused
from costbook.hosts.backups import FOLDER, STAMP
from costbook.hosts.whole import shortened

KEPT = 10
Plain = Any  # None, bool, float, text, or {"formula" | "error" | "day": text}


class Change(NamedTuple):
    """One cell: its tab, its place, what stood there and what was written, both as plain values."""

    tab: str
    row: int
    column: int
    before: Plain
    wrote: Plain


class Entry(NamedTuple):
    """One write: its file, the tabs that were new, and its changes."""

    path: Path
    new_tabs: tuple[str, ...]
    changes: tuple[Change, ...]


def folder_of(book: Path) -> Path:
    """Where the journal of a workbook lies; a workbook without a folder has it among the user's own files."""
    if book.is_absolute() and book.parent.is_dir():
        return book.parent / FOLDER
    homes = {"win32": os.environ.get("LOCALAPPDATA", "~/AppData/Local"), "darwin": "~/Library/Application Support"}
    return Path(homes.get(sys.platform, "~/.local/share")).expanduser() / "costbook"


def entries(book: Path) -> list[Path]:
    """The files of a workbook's journal, newest first."""
    return sorted(folder_of(book).glob(f"{_glob(book)} *.cells.json"), reverse=True)


def keep(book: Path, new_tabs: Sequence[str], changes: Sequence[Change]) -> Path:
    """The file in which a write that is about to be made was noted.

    Raises:
        WriteRefused: it cannot be written.
    """
    folder = folder_of(book)
    place = folder / f"{shortened(book.name)} {time.strftime(STAMP)} {time.time_ns() % 10**9:09}.cells.json"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        place.write_text(json.dumps({"new": list(new_tabs), "changes": changes}), encoding="utf-8")
    except OSError as error:
        raise WriteRefused(
            f"nothing was written, since what stood there before cannot be kept in {folder} ({error.strerror}).",
            do="See whether that folder may be written.",
        ) from error
    for old in entries(book)[KEPT:]:
        with suppress(OSError):
            old.unlink()
    return place


def newest(book: Path) -> Entry | None:
    """The last write into a workbook; None where none is noted or its file cannot be read."""
    for path in entries(book)[:1]:
        with suppress(OSError, ValueError, KeyError, TypeError):
            told = json.loads(path.read_text(encoding="utf-8"))
            return Entry(path, tuple(told["new"]), tuple(Change(*change) for change in told["changes"]))
    return None


def _glob(book: Path) -> str:
    """The name, with what a search pattern would take for more than itself."""
    return "".join(f"[{c}]" if c in "[]*?" else c for c in shortened(book.name))
