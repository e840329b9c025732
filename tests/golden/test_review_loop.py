"""The review loop: a paper waits, she fills in the tab, posts again, and the next paper is known.

The papers are invented here, so are their sums. Cells are typed by heading, as she would.
"""

from __future__ import annotations

import csv
import io
import re
import shutil
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from records import replace
from shared_files import FOLDER, shared

from costbook import clerk, cli, commands, serving
from costbook.book.reading import read_book
from costbook.commands import PostedPaper
from costbook.errors import Where
from costbook.hosts.file import WorkbookFile

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = sorted(p.name for p in (ROOT / "sample_invoices").iterdir() if p.is_file() and not p.name.startswith("."))
XML = sorted(p.relative_to(FOLDER / "invoices").as_posix() for p in (FOLDER / "invoices" / "xml").glob("*.xml"))
HERE = Where("Purchases", "A1")
Copy = Any
TAB = "Invoice review"
HEAD = "Invoice,Date,Supplier,Item code,Description,Packs,Pack,Price per pack,Amount,Lot,Line is\n"
# Two goods lines and freight make 58.50; the paper says 60.00.
OPEN_PAPER = (
    HEAD + "T-1,2026-10-01,Tallow Yard,TY-7,\"Glycerin refined, 1 gal\",1,1 gal,40.00,40.00,L9,goods\n"
    "T-1,2026-10-01,Tallow Yard,TY-8,Rosemary powder,2,8 oz,5.00,10.00,,goods\n"
    "T-1,2026-10-01,Tallow Yard,,\"Freight (share by value, all lines)\",,,,8.50,,charge\n"
    "T-1,2026-10-01,Tallow Yard,,Invoice total,,,,60.00,,total\n"
)  # fmt: skip
NEXT_PAPER = (
    HEAD + "T-2,2026-10-20,Tallow Yard,TY-7,Glycerin,2,,41.00,82.00,,goods\n"
    "T-2,2026-10-20,Tallow Yard,,Rosemary powder,1,8 oz,5.00,5.00,,goods\n"
    "T-2,2026-10-20,Tallow Yard,,Invoice total,,,,87.00,,total\n"
)


@pytest.fixture
def paper(tmp_path: Path) -> Path:
    path = tmp_path / "Tallow_T-1.csv"
    path.write_text(OPEN_PAPER, encoding="utf-8")
    return path


@pytest.fixture
def waiting(book: Copy, paper: Path) -> Copy:
    """The demo with the open paper on its review tab."""
    (posted,) = commands.post(book.path, [paper])
    assert posted.state == "to review" and "difference 1.50" in posted.why
    return book


def lines(book: Copy) -> list[dict[str, Any]]:
    (rows,) = book.written(TAB)
    return [row for row in rows if row["Why not posted"]]


def purchases(book: Copy, number: str) -> list[dict[str, Any]]:
    (rows,) = book.written("Purchases")
    return [row for row in rows if row["Paper"] == number]


def answer(book: Copy, *answers: object) -> None:
    """Types what she answers under Right?, line by line, and saves."""
    for number, said in enumerate(answers, 1):
        book.type(TAB, "Right?", f"{number} of {len(answers)}", said)
    book.save()


def post(book: Copy, *papers: Path) -> list[PostedPaper]:
    return commands.post(book.save(), papers)


def test_a_waiting_line_shows_what_is_likely_and_why(waiting: Copy) -> None:
    glycerin, rosemary, freight, total = lines(waiting)
    assert glycerin["Material"] == "Glycerin" and glycerin["Why this material"] == "looks like Glycerin; same words apart from 'refined'"
    assert (glycerin["Pack size"], glycerin["Pack unit"], glycerin["Right?"]) == (1, "gal", None)
    assert rosemary["Material"] is None and (rosemary["Pack size"], rosemary["Pack unit"]) == (8, "oz")
    assert (freight["Line is"], freight["Shared by"], freight["Covers"]) == ("charge", "value", "all")
    assert total["Amount"] == 60 and total["Line"] == "4 of 4"
    assert not purchases(waiting, "T-1")


def test_the_cells_she_fills_have_dropdowns(waiting: Copy) -> None:
    sheet = openpyxl.load_workbook(waiting.path)[TAB]
    named = {said.value: said.column_letter for said in sheet[3]}
    rules = {str(rule.sqref)[0]: rule.formula1 for rule in sheet.data_validations.dataValidation}
    assert rules[named["Right?"]] == '"yes,no"' and "gal" in rules[named["Pack unit"]]
    names = openpyxl.load_workbook(waiting.path).defined_names
    assert names[rules[named["Material"]]].attr_text.startswith("'Materials'!$B$4:")


def test_the_whole_loop(waiting: Copy, paper: Path, tmp_path: Path) -> None:
    """Confirmed with a likely and a new material, recognised when it comes again, and known on the next paper."""
    waiting.type(TAB, "Material", "2 of 4", "Rosemary leaf, ground")
    answer(waiting, "yes", "yes", "yes", "Yes")
    (told,) = post(waiting)
    assert (told.state, told.paper, told.lines) == ("posted", "T-1", 2)
    assert told.why.startswith("from review; new material M31 Rosemary leaf, ground; it does not close: ")
    assert "difference 1.50" in told.why
    assert lines(waiting) == []
    rows = purchases(waiting, "T-1")
    assert [(r["Material"], r["Packs"], r["Pack size"], r["Pack unit"], r["Price per pack"], r["Amount"]) for r in rows] == [
        ("Glycerin", 1, 1, "gal", 40, 40),
        ("Rosemary leaf, ground", 2, 8, "oz", 5, 10),
        (None, None, None, None, None, 8.5),
        (None, None, None, None, None, 60),
    ]
    assert rows[0]["Lot"] == "L9" and rows[0]["Date"].date() == date(2026, 10, 1)
    assert (rows[2]["Line is"], rows[2]["Shared by"], rows[2]["Covers"]) == ("charge", "value", "all")
    assert rows[0]["Posted from"] == "Tallow_T-1.csv, row 2"
    new = next(r for r in waiting.written("Materials")[0] if r["Code"] == "M31")
    assert (new["Material"], new["Kind"], new["Supplier"]) == ("Rosemary leaf, ground", "other", "Tallow Yard")
    assert any(r["Supplier"] == "Tallow Yard" for r in waiting.written("Suppliers")[0])

    outcome = waiting.price()
    # 10.00 and its share by value (10/50 of 8.50) for 16 oz.
    assert outcome.priced.rates.materials["M31"].per_base == pytest.approx(11.70 / (16 * 28.349523125), rel=1e-12)
    assert [f.check for f in outcome.findings if "paper T-1" in f.sentence] == ["paper-total"]

    before = waiting.path.read_bytes()
    assert [(p.state, "Purchases!" in p.why) for p in post(waiting, paper)] == [("already there", True)]
    assert waiting.path.read_bytes() == before

    following = tmp_path / "Tallow_T-2.csv"
    following.write_text(NEXT_PAPER, encoding="utf-8")
    assert [(p.state, p.why) for p in post(waiting, following)] == [("posted", "")]
    known = purchases(waiting, "T-2")
    assert [(r["Material"], r["Pack size"], r["Pack unit"]) for r in known[:2]] == [
        ("Glycerin", 1, "gal"),  # by item code, the pack too
        ("Rosemary leaf, ground", 8, "oz"),  # by description
    ]


def test_half_confirmed_waits_and_says_so(waiting: Copy) -> None:
    answer(waiting, "yes", None, "yes", None)
    (told,) = post(waiting)
    assert told.state == "to review" and told.why.startswith("2 of 4 lines say yes")
    assert [r["Right?"] for r in lines(waiting)] == ["yes", None, "yes", None] and not purchases(waiting, "T-1")


def test_a_no_keeps_the_paper_here(waiting: Copy) -> None:
    answer(waiting, "yes", "no", "yes", "yes")
    (told,) = post(waiting)
    assert told.state == "to review" and told.why.startswith("line 2 of 4: no under Right?")
    assert not purchases(waiting, "T-1")


def test_what_she_filled_in_survives_every_run(waiting: Copy, paper: Path, tmp_path: Path) -> None:
    waiting.type(TAB, "Material", "2 of 4", "Rosemary")
    waiting.type(TAB, "Pack size", "2 of 4", "7 1/2")
    waiting.type(TAB, "Right?", "2 of 4", "yes")
    waiting.price()
    other = tmp_path / "Other_T-9.csv"
    other.write_text(OPEN_PAPER.replace("T-1", "T-9"), encoding="utf-8")
    for papers in ((), (paper,), (other,), (paper,)):
        post(waiting, *papers)
        waiting.price()
        mine = next(r for r in lines(waiting) if r["Paper"] == "T-1" and r["Line"] == "2 of 4")
        assert (mine["Material"], mine["Pack size"], mine["Pack unit"], mine["Right?"]) == ("Rosemary", "7 1/2", "oz", "yes")
    assert [r["Paper"] for r in lines(waiting)] == ["T-1"] * 4 + ["T-9"] * 4


def test_a_suggestion_she_took_out_does_not_come_back(waiting: Copy, paper: Path) -> None:
    waiting.type(TAB, "Material", "1 of 4", None)
    for papers in ((), (paper,)):
        post(waiting, *papers)
        assert lines(waiting)[0]["Material"] is None
    answer(waiting, "yes", "yes", "yes", "yes")
    assert [p.state for p in post(waiting)] == ["posted"]
    assert purchases(waiting, "T-1")[0]["Material"] is None


def test_no_yes_confirms_an_amount_that_is_not_the_papers(waiting: Copy, paper: Path, tmp_path: Path) -> None:
    waiting.type(TAB, "Amount", "4 of 4", 58.5)
    answer(waiting, "yes", "yes", "yes", "yes")
    other = tmp_path / "Other_T-9.csv"
    other.write_text(OPEN_PAPER.replace("T-1", "T-9"), encoding="utf-8")
    post(waiting, other)  # draws the tab anew: the cell is noticed all the same
    told = {p.paper: p for p in post(waiting)}["T-1"]
    assert told.state == "to review" and "line 4 of 4: Amount typed over" in told.why
    assert not purchases(waiting, "T-1")
    post(waiting, paper)  # its file shows its own figures again; her yes was to another amount, and is asked again
    assert "3 of 4 lines say yes" in {p.paper: p for p in post(waiting)}["T-1"].why
    waiting.type(TAB, "Right?", ("T-1", "4 of 4"), "yes")
    assert {p.paper: p.state for p in post(waiting)} == {"T-1": "posted", "T-9": "to review"}
    assert purchases(waiting, "T-1")[3]["Amount"] == 60


def test_a_line_taken_out_of_the_tab_is_missed(waiting: Copy) -> None:
    answer(waiting, "yes", "yes", "yes", "yes")
    waiting.workbook[TAB].delete_rows(waiting.row(TAB, "2 of 4"))
    (told,) = post(waiting)
    assert told.state == "to review" and "not every line" in told.why and not purchases(waiting, "T-1")


@pytest.mark.parametrize(
    ("heading", "typed", "said"),
    [("Pack size", "a tub", "line 1 of 4"), ("Pack size", None, "nothing under Pack size"), ("Material", "R1", "is a recipe")],
)  # fmt: skip
def test_what_purchases_could_not_read_waits(waiting: Copy, heading: str, typed: object, said: str) -> None:
    recipe = next(iter(commands.worked_out(commands._read(waiting.path), date(2026, 10, 26))[0].book.recipes))
    waiting.type(TAB, heading, "1 of 4", recipe if typed == "R1" else typed)
    answer(waiting, "yes", "yes", "yes", "yes")
    (told,) = post(waiting)
    assert told.state == "to review" and said in told.why and not purchases(waiting, "T-1")


def test_a_date_the_paper_lacks_is_hers_to_fill_in(book: Copy, paper: Path) -> None:
    paper.write_text(OPEN_PAPER.replace("2026-10-01", ""), encoding="utf-8")
    assert "no date" in post(book, paper)[0].why
    answer(book, "yes", "yes", "yes", "yes")
    assert "Date" in post(book)[0].why
    for number in range(1, 5):
        book.type(TAB, "Date", f"{number} of 4", date(2026, 10, 2))
    # From the tab first, and then its file is the same paper.
    assert [p.state for p in post(book, paper)] == ["posted", "already there"]
    assert {r["Date"].date() for r in purchases(book, "T-1")} == {date(2026, 10, 2)}
    assert [p.state for p in post(book, paper)] == ["already there"]


def test_a_number_the_paper_lacks_is_hers_to_fill_in(book: Copy, paper: Path) -> None:
    paper.write_text(OPEN_PAPER.replace("T-1", ""), encoding="utf-8")
    assert "no number" in post(book, paper)[0].why
    for number in range(1, 5):
        book.type(TAB, "Paper", f"{number} of 4", "by hand 1")
    post(book, paper)
    assert [r["Paper"] for r in lines(book)] == ["by hand 1"] * 4
    answer(book, "yes", "yes", "yes", "yes")
    assert [(p.state, p.paper) for p in post(book)] == [("posted", "by hand 1")]
    assert len(purchases(book, "by hand 1")) == 4
    # Its file, which has no number still, is the same paper; of another day or with another line it is not.
    assert [p.state for p in post(book, paper)] == ["already there"] and not lines(book)
    for old, new in (("2026-10-01", "2026-10-02"), ("40.00,40.00", "41.00,41.00")):
        other = paper.with_name(f"other {new}.csv")
        other.write_text(paper.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
        assert [p.state for p in post(book, other)] == ["to review"], new


def number_by_hand(book: Copy, file: str, number: str) -> None:
    """Types a paper's number and yes on each of its waiting lines."""
    sheet = book.workbook[TAB]
    places = {name: book.heading(TAB, name).column for name in ("File", "Paper", "Right?")}
    rows = [row for row in range(1, sheet.max_row + 1) if sheet.cell(row, places["File"]).value == file]
    assert len(rows) == 4
    for row in rows:
        sheet.cell(row, places["Paper"]).value, sheet.cell(row, places["Right?"]).value = number, "yes"


def test_two_like_papers_without_a_number_are_told_and_both_posted_when_she_says_so(book: Copy, tmp_path: Path) -> None:
    """Never both by themselves, and never the second one dropped: she may have bought the same twice in a day."""
    drawer = tmp_path / "drawer"
    drawer.mkdir()
    for name in ("a.csv", "b.csv"):
        (drawer / name).write_text(OPEN_PAPER.replace("T-1,", ","), encoding="utf-8")
    for _ in range(2):
        first, second = post(book, drawer)
        assert (first.state, second.state) == ("to review", "to review") and "like" not in first.why and "a.csv" not in first.why
        assert "the paper has no number" in second.why and "day and lines of a.csv, which waits too; if it is another purchase, type a number" in second.why
    number_by_hand(book, "a.csv", "17")
    confirmed, first, second = post(book, drawer)
    assert (confirmed.state, confirmed.paper) == ("posted", "17") and first.state == "already there"
    assert "as paper 17; if this is another purchase, give its file another name" in first.why
    assert second.state == "to review" and "the supplier, day and lines of paper 17 of Tallow Yard (Purchases!" in second.why
    assert {r["Why not posted"] for r in lines(book)} == {second.why}
    # The first one's number again says that it is the same paper, and how it is told if it is not.
    number_by_hand(book, "b.csv", "17")
    (told,) = post(book)
    assert told.state == "already there" and "if this is another purchase, post b.csv again and type another number" in told.why
    assert not lines(book) and [p.state for p in post(book, drawer)] == ["already there", "to review"]
    number_by_hand(book, "b.csv", "17 second")
    assert [(p.state, p.paper) for p in post(book)] == [("posted", "17 second")]
    assert len(purchases(book, "17")) == len(purchases(book, "17 second")) == 4
    before = book.path.read_bytes()
    assert ["17 second" in p.why for p in post(book, drawer)] == [False, True]
    assert book.path.read_bytes() == before and not lines(book)


def test_a_paper_without_a_number_like_lines_she_typed_is_asked_about(book: Copy, paper: Path) -> None:
    paper.write_text(OPEN_PAPER.replace("T-1,", ","), encoding="utf-8")
    post(book, paper)
    number_by_hand(book, paper.name, "by hand 2")
    post(book)
    for number in range(4):
        book.cell("Purchases", "Posted from", ("Tallow Yard", ["Glycerin", "Rosemary powder", "Freight (share by value, all lines)", "Invoice total"][number])).value = None
    (told,) = post(book, paper)
    assert told.state == "to review" and "paper by hand 2 of Tallow Yard" in told.why and "take these lines and its file away" in told.why


@pytest.mark.parametrize("number", ["T-1", ""])
def test_a_waiting_paper_whose_file_was_moved_keeps_its_answers(book: Copy, tmp_path: Path, number: str) -> None:
    drawer = tmp_path / "drawer"
    (drawer / "2026-10").mkdir(parents=True)
    (drawer / "x.csv").write_text(OPEN_PAPER.replace("T-1,", f"{number},"), encoding="utf-8")
    assert [p.file for p in post(book, drawer)] == ["x.csv"]
    book.type(TAB, "Material", "2 of 4", "Rosemary leaf, ground")
    answer(book, "yes", "yes", "no", "yes")
    (drawer / "x.csv").rename(drawer / "2026-10" / "x.csv")
    assert [p.file for p in post(book, drawer)] == ["2026-10/x.csv"]
    assert [(r["File"], r["Right?"]) for r in lines(book)] == [("2026-10/x.csv", a) for a in ("yes", "yes", "no", "yes")]
    assert lines(book)[1]["Material"] == "Rosemary leaf, ground"


def test_papers_of_one_name_in_two_folders_both_wait(book: Copy, tmp_path: Path) -> None:
    """Neither takes the other's place on the tab, the lines being the same or not."""
    drawer = tmp_path / "drawer"
    (drawer / "2026-10").mkdir(parents=True)
    for path, text in ((drawer / "x.csv", OPEN_PAPER), (drawer / "2026-10" / "x.csv", OPEN_PAPER), (drawer / "y.csv", NEXT_PAPER)):
        path.write_text(text.replace("T-1,", ",").replace("T-2,", ","), encoding="utf-8")
    for _ in range(2):
        assert [p.file for p in post(book, drawer)] == ["2026-10/x.csv", "x.csv", "y.csv"]
        assert [r["File"] for r in lines(book)] == ["2026-10/x.csv"] * 4 + ["x.csv"] * 4 + ["y.csv"] * 3


def test_a_supplier_the_paper_lacks_is_hers_to_fill_in(book: Copy, paper: Path) -> None:
    whole = OPEN_PAPER.replace("Tallow Yard", "")
    assert whole != OPEN_PAPER
    paper.write_text(whole, encoding="utf-8")
    assert post(book, paper)[0].state == "to review"
    for number in range(1, 5):
        book.type(TAB, "Supplier", f"{number} of 4", "Tallow Yard")
    answer(book, "yes", "yes", "yes", "yes")
    assert [p.state for p in post(book, paper)] == ["posted", "already there"] and len(purchases(book, "T-1")) == 4
    assert [p.state for p in post(book, paper)] == ["already there"] and not lines(book)


def list_workbook(path: Path, text: str) -> Path:
    """A list as an XLSX workbook, its figures as numbers."""
    made = openpyxl.Workbook()
    for row in csv.reader(io.StringIO(text)):
        made.active.append([float(cell) if re.fullmatch(r"[0-9.]+", cell) else cell for cell in row])
    made.save(path)
    return path


@pytest.mark.parametrize(("heading", "lacking"), [("Supplier", "Tallow Yard"), ("Paper", "T-1")])
def test_a_paper_posted_again_while_she_fills_it_in_stands_once(book: Copy, tmp_path: Path, heading: str, lacking: str) -> None:
    """Some rows have what she typed and others not yet: no second paper, however often its file is posted."""
    paper = list_workbook(tmp_path / "october.xlsx", OPEN_PAPER.replace(lacking, "").replace("60.00", "58.50"))
    assert [p.state for p in post(book, paper)] == ["to review"]
    for number in (1, 2, 4):
        book.type(TAB, heading, f"{number} of 4", lacking)
    book.type(TAB, "Material", "2 of 4", "Rosemary leaf, ground")
    book.type(TAB, "Right?", "2 of 4", "yes")
    for _ in range(3):
        post(book, paper)
        assert [(r["Line"], r[heading] or "") for r in lines(book)] == [(f"{n} of 4", "" if n == 3 else lacking) for n in range(1, 5)]
        assert (lines(book)[1]["Material"], lines(book)[1]["Right?"]) == ("Rosemary leaf, ground", "yes")
    book.type(TAB, heading, "3 of 4", lacking)
    answer(book, "yes", "yes", "yes", "yes")
    assert [p.state for p in post(book)] == ["posted"] and not lines(book)
    assert [r["Material"] for r in purchases(book, "T-1")[:2]] == ["Glycerin", "Rosemary leaf, ground"]


def test_a_paper_that_stands_twice_on_the_tab_stands_once_when_its_file_is_posted(book: Copy, paper: Path) -> None:
    """Rows she copied, or that an earlier version doubled; what she filled in stays."""
    paper.write_text(OPEN_PAPER.replace("Tallow Yard", ""), encoding="utf-8")
    post(book, paper)
    sheet = book.workbook[TAB]
    for row in range(4, 8):
        for column in range(1, sheet.max_column + 1):
            sheet.cell(row + 4, column).value = sheet.cell(row, column).value
    place = book.heading(TAB, "Supplier").column
    for row in (8, 9, 10):
        sheet.cell(row, place).value = "Tallow Yard"
    post(book, paper)
    assert [(r["Line"], r["Supplier"]) for r in lines(book)] == [(f"{n} of 4", None if n == 4 else "Tallow Yard") for n in range(1, 5)]


def test_a_cell_typed_over_and_a_supplier_half_filled_in_are_one_paper(book: Copy, paper: Path) -> None:
    paper.write_text(OPEN_PAPER.replace("Tallow Yard", ""), encoding="utf-8")
    post(book, paper)
    for number in (1, 2, 4):
        book.type(TAB, "Supplier", f"{number} of 4", "Tallow Yard")
    book.type(TAB, "Amount", "4 of 4", 58.5)
    book.type(TAB, "Right?", "4 of 4", "yes")
    post(book, paper)
    assert [(r["Supplier"], r["Amount"], r["Right?"]) for r in lines(book)] == [
        ("Tallow Yard", 40, None), ("Tallow Yard", 10, None), (None, 8.5, None), ("Tallow Yard", 60, None),
    ]  # fmt: skip


def test_a_file_mended_while_she_fills_in_its_lines_is_posted_and_leaves_the_tab(book: Copy, paper: Path) -> None:
    whole = OPEN_PAPER.replace("60.00", "58.50")
    paper.write_text(whole.replace("Tallow Yard", ""), encoding="utf-8")
    post(book, paper)
    for number in (1, 2, 4):
        book.type(TAB, "Supplier", f"{number} of 4", "Tallow Yard, Ltd")
    paper.write_text(whole, encoding="utf-8")
    assert [p.state for p in post(book, paper)] == ["posted"] and not lines(book)


def test_another_paper_in_a_file_of_the_same_name_leaves_the_waiting_one(book: Copy, paper: Path) -> None:
    """As with scans that are all called the same: neither takes the other's place."""
    paper.write_text(OPEN_PAPER.replace("Tallow Yard", ""), encoding="utf-8")
    post(book, paper)
    for number in range(1, 5):
        book.type(TAB, "Supplier", f"{number} of 4", "Tallow Yard")
    paper.write_text(OPEN_PAPER.replace("T-1", "T-9").replace("Tallow Yard", ""), encoding="utf-8")
    post(book, paper)
    assert [(r["Paper"], r["Supplier"]) for r in lines(book)] == [("T-1", "Tallow Yard")] * 4 + [("T-9", None)] * 4


def test_a_name_near_one_of_hers_is_told(waiting: Copy) -> None:
    waiting.type(TAB, "Material", "1 of 4", "Glycerine")
    answer(waiting, "yes", "yes", "yes", "yes")
    assert "new material M31 Glycerine (nearest you had: Glycerin)" in post(waiting)[0].why


def test_a_pro_forma_paper_is_no_purchase(book: Copy, paper: Path) -> None:
    text = OPEN_PAPER.replace("Lot,Line is", "Lot,Line is,Type").replace("goods\n", "goods,pro forma\n")
    paper.write_text(text, encoding="utf-8")
    assert "pro forma" in post(book, paper)[0].why
    answer(book, "yes", "yes", "yes", "yes")
    assert "nothing was bought by it" in post(book)[0].why and not purchases(book, "T-1")


def test_a_second_paper_of_the_same_number_is_never_counted_twice(book: Copy, papers: Path, tmp_path: Path) -> None:
    text = (papers / "Brackwell_B-0977.csv").read_text(encoding="utf-8")
    other = tmp_path / "again.csv"
    other.write_text(text.replace("47.00,94.00", "48.00,96.00").replace("96.40", "98.40"), encoding="utf-8")
    rows = len(purchases(book, "B-0977"))
    assert post(book, other)[0].state == "to review"
    answer(book, "yes", "yes", "yes")
    (told,) = post(book)
    assert told.state == "to review" and "other content" in told.why and len(purchases(book, "B-0977")) == rows


def test_an_unknown_line_of_a_paper_that_closes_is_posted_and_the_result_says_what_it_looks_like(book: Copy, paper: Path) -> None:
    paper.write_text(OPEN_PAPER.replace("60.00", "58.50"), encoding="utf-8")
    (told,) = post(book, paper)
    assert told.state == "posted" and told.why == (
        "'Glycerin refined, 1 gal' is no material of yours yet; it looks like Glycerin; same words apart from 'refined'"
    )
    assert purchases(book, "T-1")[0]["Material"] is None


def test_a_pack_read_from_the_description_is_asked_once(book: Copy, paper: Path) -> None:
    text = HEAD + "{n},2026-10-01,Tallow Yard,TY-7,Glycerin 4 x 1 gal,1,,140.00,140.00,,goods\n{n},2026-10-01,Tallow Yard,,Invoice total,,,,140.00,,total\n"
    paper.write_text(text.format(n="T-5"), encoding="utf-8")
    (told,) = post(book, paper)
    assert told.state == "to review" and "the pack size was read from the description: 4 x 1 gal; confirm it" in told.why
    line = lines(book)[0]
    assert (line["Material"], line["Pack size"], line["Pack unit"]) == ("Glycerin", 4, "gal")
    answer(book, "yes", "yes")
    assert [(p.state, p.why) for p in post(book)] == [("posted", "from review")]
    paper.write_text(text.format(n="T-6"), encoding="utf-8")
    assert [(p.state, p.why) for p in post(book, paper)] == [("posted", "")]
    known = purchases(book, "T-6")[0]
    assert (known["Material"], known["Pack size"], known["Pack unit"]) == ("Glycerin", 4, "gal")


def test_the_command_line_without_papers(waiting: Copy, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["post", str(waiting.path)]) == 1
    assert "to review" in capsys.readouterr().out
    answer(waiting, "yes", "yes", "yes", "yes")
    assert cli.main(["post", str(waiting.path)]) == 0
    out = capsys.readouterr().out
    assert "posted: from review" in out and f"costbook price {waiting.path}" in out
    assert cli.main(["post", str(waiting.path)]) == 0
    assert "no paper to post" in capsys.readouterr().out


def test_what_to_do_next_names_the_review_tab_while_a_paper_waits(waiting: Copy, paper: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """First what waits, then what a posted paper is for; on the command line and by a button."""
    closes, other = tmp_path / "Tallow_T-3.csv", tmp_path / "Tallow_T-4.csv"
    closes.write_text(OPEN_PAPER.replace("T-1", "T-3").replace("60.00", "58.50"), encoding="utf-8")
    other.write_text(closes.read_text(encoding="utf-8").replace("T-3", "T-4"), encoding="utf-8")
    assert cli.main(["post", str(waiting.path), str(paper), str(closes)]) == 1
    told = capsys.readouterr().out.splitlines()[-2:]
    assert told == [
        f"Now answer what waits on the Invoice review tab, and save; then: costbook post {waiting.path}",
        f"And for what was posted: costbook price {waiting.path}",
    ]
    said = serving.DOES["post"](WorkbookFile(waiting.path), {"papers": [str(paper), str(other)]}, serving.quiet)["sentence"]
    assert said.endswith(". Now answer what waits on the Invoice review tab, and press Post papers once more. For what was posted press Price.")


def test_two_papers_at_once_and_one_that_follows_in_the_same_run(waiting: Copy, tmp_path: Path) -> None:
    """The same new name twice makes one material, and a paper posted in that run knows what was confirmed in it."""
    other, following = tmp_path / "Tallow_T-9.csv", tmp_path / "Tallow_T-2.csv"
    other.write_text(OPEN_PAPER.replace("T-1", "T-9"), encoding="utf-8")
    following.write_text(NEXT_PAPER, encoding="utf-8")
    post(waiting, other)
    for number in ("T-1", "T-9"):
        waiting.type(TAB, "Material", (number, "2 of 4"), "Rosemary")
        for line in range(1, 5):
            waiting.type(TAB, "Right?", (number, f"{line} of 4"), "yes")
    before = waiting.save().read_bytes()
    told = post(waiting, following)
    assert [(p.paper, p.state) for p in told] == [("T-1", "posted"), ("T-9", "posted"), ("T-2", "posted")]
    assert ["new material" in p.why for p in told] == [True, False, False]
    assert [r["Material"] for r in waiting.written("Materials")[0]].count("Rosemary") == 1
    assert [r["Material"] for n in ("T-1", "T-9", "T-2") for r in purchases(waiting, n)[:2]] == ["Glycerin", "Rosemary"] * 3
    commands.takeback(waiting.path)
    assert waiting.path.read_bytes() == before


def test_a_tab_of_an_earlier_version_waits_for_its_file(waiting: Copy, paper: Path) -> None:
    """Its rows lack what Purchases needs; nothing is lost, and the file brings it."""
    sheet = waiting.workbook[TAB]
    sheet.delete_cols(15, 30)
    sheet.delete_cols(10, 4)
    sheet.delete_cols(5)
    sheet.insert_cols(5)
    sheet.cell(3, 5).value = "Line"
    assert [p.state for p in post(waiting)] == ["to review"]
    assert [r["Description"] for r in lines(waiting)][2:] == ["Freight (share by value, all lines)", "Invoice total"]
    for named in ("Rosemary powder", "Invoice total", "Freight (share by value, all lines)", "Glycerin refined, 1 gal"):
        waiting.type(TAB, "Right?", named, "yes")
    assert "post its file again" in post(waiting)[0].why
    post(waiting, paper)
    answer(waiting, "yes", "yes", "yes", "yes")
    assert [p.state for p in post(waiting)] == ["posted"]


def posted_from(path: Path, source: str) -> list[tuple[Any, ...]]:
    """What Purchases holds from a file, places apart."""
    host = WorkbookFile(path)
    try:
        found = read_book(host.snapshot()).purchases
    finally:
        host.close()
    plain = [replace(line, where=HERE, places={}) for line in found if line.source.startswith(source)]
    return [tuple(line) for line in plain]


@pytest.mark.parametrize("name", [*SAMPLES, *XML])
def test_from_the_tab_a_paper_makes_the_rows_it_makes_when_it_closes(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every sample and public paper that is posted by itself, posted a second way: sent to review, and confirmed."""
    file = ROOT / "sample_invoices" / name if name in SAMPLES else shared(f"invoices/{name}")
    direct, confirmed = tmp_path / "direct.xlsx", tmp_path / "confirmed.xlsx"
    commands.blank(direct)
    shutil.copyfile(direct, confirmed)
    states = {p.state for p in commands.post(direct, [file])}
    if states != {"posted"}:
        assert states == {"to review"} and posted_from(direct, file.name) == []
        return
    monkeypatch.setattr(clerk, "problems", lambda invoice: ("look at it",))
    assert {p.state for p in commands.post(confirmed, [file])} == {"to review"}
    assert posted_from(confirmed, file.name) == []
    opened = openpyxl.load_workbook(confirmed)
    column = {cell.value: cell.column for cell in opened[TAB][3]}
    for row in range(4, opened[TAB].max_row + 1):
        opened[TAB].cell(row, column["Right?"]).value = "yes"
        if str(opened[TAB].cell(row, column["Why this material"]).value).startswith("looks like"):
            opened[TAB].cell(row, column["Material"]).value = None  # posted by itself such a line has no material
    opened.save(confirmed)
    assert {(p.state, p.why) for p in commands.post(confirmed)} == {("posted", "from review")}
    assert posted_from(confirmed, file.name) == posted_from(direct, file.name) != []
    assert {p.state for p in commands.post(confirmed, [file])} == {"already there"}
