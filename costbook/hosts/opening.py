"""Which host a workbook has: a file by its kind, or the one it is in already."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

from costbook.book.grid import Edits, Snapshot
from costbook.hosts.file import WorkbookFile


class Host(Protocol):
    """A workbook wherever it is: its file's path and name, and the three calls of the port."""

    @property
    def path(self) -> Path:
        """The file it is, or was opened from."""
    @property
    def name(self) -> str:
        """The file's name."""
    def snapshot(self) -> Snapshot:
        """The whole workbook as it stands now."""
    def apply(self, edits: Edits) -> bool:
        """Whether something was written."""
    def close(self) -> None:
        """What was read is forgotten."""


def opened(book: Path | Host) -> Host:
    """The workbook behind its port: a file of this name, or the open workbook itself."""
    if not isinstance(book, Path):
        return book
    if book.suffix.lower() == ".ods":
        from costbook.hosts.headless import OfficeFile

        return OfficeFile(book)
    return WorkbookFile(book)


def file_of(book: Path | Host) -> Path:
    """The file of a workbook, open or not."""
    return book if isinstance(book, Path) else book.path
