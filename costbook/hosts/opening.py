"""Which host a workbook has: a file by its kind, or the one it is in already."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

from costbook.book.grid import Edits, Snapshot
from costbook.errors import HostUnavailable
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
    """The workbook behind its port: a file of this name, or the open workbook itself.

    A file beside which Excel has left its lock is looked for among the workbooks open there.
    """
    if not isinstance(book, Path):
        return book
    if book.suffix.lower() == ".ods":
        from costbook.hosts.headless import OfficeFile

        return OfficeFile(book)
    if (book.parent / f"~${book.name}").exists() and (there := _in_excel(book)):
        return there
    return WorkbookFile(book)


def _in_excel(book: Path) -> Host | None:
    """The workbook as it is open in Excel; None where it is not open there, or Excel cannot be reached: the file says who has it."""
    from costbook.hosts.excel import open_workbook

    try:
        return open_workbook(book)
    except HostUnavailable:
        return None


def file_of(book: Path | Host) -> Path:
    """The file of a workbook, open or not."""
    return book if isinstance(book, Path) else book.path
