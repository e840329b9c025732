"""One paper in several formats is one paper: the same landed rates to the printed digit, and posted once.

Expected numbers: the shared folder `demo/tables`, made by an oracle that shares no code with this program.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from golden.conftest import DEMO_DATE
from golden.test_demo_tables import MATERIALS, T, by, printed
from sample_pages import NUMBERS, printed_papers, scanned_page
from shared_files import rows

from costbook import commands
from costbook.amounts.quantity import unit
from costbook.book.grid import Edits
from costbook.book.reading import read_book
from costbook.costing.rates import papers, rates
from costbook.demo.papers import other_formats
from costbook.demo.workshop import demo_tabs
from costbook.hosts.file import WorkbookFile, create
from costbook.printouts.paper_tabs import review_lines

FORMATS = ("csv", "xlsx", "xml", "pdf")


def unposted(folder: Path) -> Path:
    """The demo workbook before any paper is posted."""
    book = folder / "workshop.xlsx"
    create(book, Edits(tabs=tuple(demo_tabs())))
    return book


def put(folder: Path, ending: str) -> Path:
    """The demo's five papers in one format, in a folder of their own."""
    drawer = folder / ending
    drawer.mkdir()
    made = other_formats() | printed_papers()
    for number in NUMBERS:
        (drawer / f"{number}.{ending}").write_bytes(made[f"{number}.{ending}"])
    return drawer


@pytest.mark.parametrize("ending", FORMATS)
def test_the_landed_rates_are_those_of_the_tables_from_each_format(ending: str, tmp_path: Path) -> None:
    book = unposted(tmp_path)
    posted = commands.post(book, [put(tmp_path, ending)])
    assert [(x.state, x.why) for x in posted] == [("posted", "")] * 5
    read = read_book(WorkbookFile(book).snapshot())
    found = rates(read, DEMO_DATE).materials
    expected = by("landed_expected.csv")
    for code in MATERIALS:
        per = 1.0 if expected[code]["Per"] == "each" else float(unit("oz").factor)
        assert printed(found[code].per_base * per, expected[code]["Landed"]) == expected[code]["Landed"], code
    totals = {sums.paper: sums.total for sums in papers(read)}
    for row in rows(T + "invoice_totals_expected.csv"):
        assert f"{totals[row['Invoice']]:.2f}" == row["Total"]


@pytest.mark.parametrize("first", FORMATS)
def test_the_same_paper_in_another_format_is_already_there(first: str, tmp_path: Path) -> None:
    book = unposted(tmp_path)
    commands.post(book, [put(tmp_path, first)])
    before = book.read_bytes()
    others = [put(tmp_path, ending) for ending in FORMATS if ending != first]
    assert {(x.file, x.state) for x in commands.post(book, others)} == {
        (f"{number}.{drawer.name}", "already there") for number in NUMBERS for drawer in others
    }
    assert book.read_bytes() == before


@pytest.mark.scan
def test_a_scan_waits_with_its_figures_filled_in_and_asks_less_once_its_items_are_known(tmp_path: Path) -> None:
    """300 dots an inch, two degrees askew. No sum guards a code or a name, so an unknown one always waits."""
    scan = tmp_path / "B-0977.png"
    scan.write_bytes(scanned_page())
    book = unposted(tmp_path)
    (told,) = commands.post(book, [scan])
    assert (told.state, told.paper, told.supplier) == ("to review", "B-0977", "Brackwell Dry Goods")
    assert "'M08' was read from a picture and is no item known of this supplier" in told.why
    rows = [x.values for x in review_lines(WorkbookFile(book).snapshot())]
    assert [(x.get("item_code"), x["amount"]) for x in rows] == [("M08", 94.0), (None, 2.4), (None, 96.4)]
    drawer = put(tmp_path, "csv")
    (drawer / "B-0977.csv").unlink()
    commands.post(book, [drawer])
    (told,) = commands.post(book, [scan])
    assert told.state == "to review" and "not clear in the picture" in told.why
    assert "known" not in told.why
