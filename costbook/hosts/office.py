"""The office program as a printer: tabs as a PDF, made by LibreOffice without a window."""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

from costbook.book.grid import Edits, PutTab
from costbook.errors import HostUnavailable
from costbook.hosts.file import create
from costbook.hosts.headless import program

SECONDS = 120


def printed(tabs: tuple[PutTab, ...]) -> bytes:
    """Tabs as a PDF, printed from a workbook and in an office profile of their own.

    Raises:
        HostUnavailable: no office program is installed, it gave no PDF, or it took too long.
    """
    office = program()
    with tempfile.TemporaryDirectory() as folder:
        book = Path(folder) / "print.xlsx"
        create(book, Edits(tabs=tabs))
        profile = (Path(folder) / "profile").as_uri()
        command = [office, f"-env:UserInstallation={profile}", "--headless", "--convert-to", "pdf", "--outdir", folder, str(book)]
        try:
            subprocess.run(command, capture_output=True, check=False, timeout=SECONDS, stdin=subprocess.DEVNULL)
        except subprocess.TimeoutExpired:
            raise HostUnavailable(f"the office program gave no PDF within {SECONDS} seconds", do="Try again.") from None
        made = book.with_suffix(".pdf")
        if not made.is_file():
            raise HostUnavailable("the office program gave no PDF", do="Print the tabs from your office program.")
        return made.read_bytes()
