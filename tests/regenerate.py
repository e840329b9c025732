"""Makes again what the program generates into the repository: `python -m tests.regenerate`."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from costbook import commands
from costbook.demo.papers import other_formats
from costbook.demo.workshop import EXAMPLE_DATE
from tests.sample_pages import SCANNED, printed_papers, scanned_page

ROOT = Path(__file__).resolve().parents[1]


def regenerate(root: Path) -> None:
    """Writes workbooks/demo.xlsx, workbooks/blank.xlsx and sample_invoices/ with its folders below `root`."""
    books, papers = root / "workbooks", root / "sample_invoices"
    books.mkdir(parents=True, exist_ok=True)
    shutil.rmtree(papers, ignore_errors=True)
    commands.sample_papers(papers)
    (papers / "other-formats").mkdir()
    for name, data in (other_formats() | printed_papers()).items():
        (papers / "other-formats" / name).write_bytes(data)
    (papers / "scan").mkdir()
    (papers / "scan" / f"{SCANNED}.png").write_bytes(scanned_page())
    (books / "blank.xlsx").unlink(missing_ok=True)
    commands.blank(books / "blank.xlsx", EXAMPLE_DATE)
    with tempfile.TemporaryDirectory() as scratch:
        commands.demo(Path(scratch))
        shutil.copyfile(Path(scratch) / commands.DEMO_BOOK, books / "demo.xlsx")


if __name__ == "__main__":
    regenerate(Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT)
