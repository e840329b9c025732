"""Makes again what the program generates into the repository: `python -m tests.regenerate`."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from costbook import commands
from costbook.demo.workshop import EXAMPLE_DATE

ROOT = Path(__file__).resolve().parents[1]


def regenerate(root: Path) -> None:
    """Writes workbooks/demo.xlsx, workbooks/blank.xlsx and sample_invoices/ below `root`."""
    books, papers = root / "workbooks", root / "sample_invoices"
    books.mkdir(parents=True, exist_ok=True)
    shutil.rmtree(papers, ignore_errors=True)
    commands.sample_papers(papers)
    (books / "blank.xlsx").unlink(missing_ok=True)
    commands.blank(books / "blank.xlsx", EXAMPLE_DATE)
    with tempfile.TemporaryDirectory() as scratch:
        commands.demo(Path(scratch))
        shutil.copyfile(Path(scratch) / commands.DEMO_BOOK, books / "demo.xlsx")


if __name__ == "__main__":
    regenerate(Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT)
