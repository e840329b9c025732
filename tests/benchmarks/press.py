"""A press of the Price button in an open workbook, held against the price command on the same workbook as a closed file.

The press goes through the installed extension in a live office without a window, from the dispatch of the button's address to
the sentence that tells the answer is written. The engine runs already and has priced the book before. Closed is the whole
process of the command, which is what she would run instead. Before each pair one rate of pay changes on both sides, so that both write.
"""

from __future__ import annotations

import contextlib
import io
import shutil
import time
from pathlib import Path

from costbook import cli
from costbook.book.grid import Edits, SetCell
from costbook.errors import HostUnavailable
from costbook.hosts.file import WorkbookFile
from costbook.hosts.headless import Office
from tests.benchmarks import books
from tests.benchmarks.measures import ROOT, Measure, against, program, run_child, timed

HANDS = ROOT / "tests" / "hosts" / "office_side.py"
SHAPE = books.Shape(200, 150, 500)
LIMIT, SECONDS, LOOK_SECONDS = 3.0, 120.0, 0.003


def press_measure(folder: Path, shape: books.Shape = SHAPE, pairs: int = 5) -> Measure:
    """The fastest press over the fastest run of the command; a line without figures where there is no office."""
    what = f"Price pressed in the open workbook, {shape.products} products; the command on the closed file"
    open_one, closed, profile = folder / "open.xlsx", folder / "closed.xlsx", folder / "office profile"
    books.save(books.tabs(shape), open_one)
    shutil.copyfile(open_one, closed)
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            cli.main(["install", "--profile", str(profile)])
        office = Office(bridge=(str(HANDS),), profile=profile)
    except HostUnavailable:
        return Measure(what, "not measured: no office")
    try:
        office.ask({"ask": "open", "url": open_one.as_uri()})
        _press(office, profile)
        _closed(closed, folder)
        presses, runs = [], []
        for pair in range(pairs):
            pay = 30.0 + pair
            office.ask({"ask": "type", "tab": "Pay", "row": 1, "column": 1, "text": str(pay)})
            book = WorkbookFile(closed)
            before = book.snapshot().grids["Pay"].value(1, 1)
            book.apply(Edits((SetCell("Pay", 1, 1, pay, "plain", before),)))
            book.close()
            presses.append(timed(lambda: _press(office, profile))[0])
            runs.append(timed(lambda: _closed(closed, folder))[0])
    finally:
        office.end()
    return against(what, min(presses), min(runs), f"<= {LIMIT:g} x", LIMIT)


def _closed(path: Path, folder: Path) -> None:
    run_child(program("price", str(path)), folder / "compiled")


def _said(profile: Path) -> list[str]:
    return [line for log in profile.rglob("costbook-log.txt") for line in log.read_text(encoding="utf-8").splitlines()]


def _press(office: Office, profile: Path) -> None:
    """Presses the button and waits for its sentence.

    Raises:
        RuntimeError: no sentence comes, or it tells of no written prices.
    """
    before, end = len(_said(profile)), time.monotonic() + SECONDS
    office.ask({"ask": "press", "action": "price"})
    while len(said := _said(profile)) == before:
        if time.monotonic() > end:
            raise RuntimeError("the button did not answer")
        time.sleep(LOOK_SECONDS)
    if "products priced" not in said[-1] or "Nothing" in said[-1]:
        raise RuntimeError(said[-1])
