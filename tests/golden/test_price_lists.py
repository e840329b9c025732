"""A supplier's price list with a day it holds from: into Announced prices what it changes of what she buys. Invented here.

Prices now, from the demo's papers: foaming powder 52.00 for 5 lb, cocoa butter 23.60 for 2 lb, coconut oil 17.20 for 32 fl oz.
"""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from costbook import cli, commands, serving
from costbook.hosts.file import WorkbookFile

Copy = Any
LIST = (
    "Brackwell Dry Goods\nPrice list valid from 2026-12-01\n\nItem code,Description,Pack,Price\n"
    "M08,Foaming powder,5 lb,55.00\nM14,Cocoa butter,2 lb,23.60\nM12,Fractionated coconut oil,28 fl oz,17.20\n"
    "X99,Oyster shell flour,10 lb,9.00\n"
)


@pytest.fixture
def quiet(book: Copy) -> Copy:
    """The demo without announced prices."""
    sheet = book.workbook["Announced prices"]
    for row in sheet.iter_rows(min_row=4):
        for cell in row:
            cell.value = None
    return book


def posted(book: Copy, folder: Path, text: str, name: str = "list.csv") -> commands.PostedPaper:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    (one,) = commands.post(book.save(), [path])
    return one


def test_what_a_list_changes_of_what_she_buys_is_announced(quiet: Copy, tmp_path: Path) -> None:
    one = posted(quiet, tmp_path, LIST)
    assert (one.state, one.supplier) == ("posted", "Brackwell Dry Goods")
    assert one.why == "2 announced prices, 1 unchanged, 1 not bought by you (Oyster shell flour)"
    rows = {r["Material"]: r for r in quiet.written("Announced prices")[0]}
    assert set(rows) == {"Foaming powder (SLSA)", "Fractionated coconut oil"}
    powder, oil = rows["Foaming powder (SLSA)"], rows["Fractionated coconut oil"]
    assert (powder["New price per pack"], powder["New pack size"], powder["From"]) == (55, None, datetime(2026, 12, 1))
    assert (oil["New price per pack"], oil["New pack size"], oil["Pack unit"]) == (17.2, 28, "fl oz")
    impact = commands.changed(quiet.path, today=date(2026, 10, 26)).impact
    # 55 / 52 of the goods; the smaller bottle is the demo's hidden rise of 14.3 % (32 / 28).
    assert impact.news["M08"].goods_rise == pytest.approx(55 / 52 - 1)
    assert impact.news["M12"].goods_rise == pytest.approx(32 / 28 - 1)


def test_what_to_do_next_is_told_by_what_was_posted(quiet: Copy, papers: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """After a price list what it changes, after an invoice the prices; an invoice of the demo is there already."""
    prices = tmp_path / "list.csv"
    prices.write_text(LIST, encoding="utf-8")
    invoice = tmp_path / "new.csv"
    text = (papers / "Brackwell_B-0977.csv").read_text(encoding="utf-8")
    invoice.write_text(text.replace("B-0977", "B-0978"), encoding="utf-8")
    for paper, command in ((prices, "changed"), (invoice, "price")):
        assert cli.main(["post", str(quiet.save()), str(paper)]) == 0
        told = [line for line in capsys.readouterr().out.splitlines() if line.startswith("Now: ")]
        assert told == [f"Now: costbook {command} {quiet.path}"]
    assert cli.main(["post", str(quiet.save()), str(prices)]) == 0 and "Now:" not in capsys.readouterr().out


def test_a_button_leads_to_what_the_paper_is_for(quiet: Copy, papers: Path, tmp_path: Path) -> None:
    prices = tmp_path / "prices.csv"
    prices.write_text(LIST, encoding="utf-8")
    invoice = tmp_path / "new.csv"
    text = (papers / "Brackwell_B-0977.csv").read_text(encoding="utf-8")
    invoice.write_text(text.replace("B-0977", "B-0978"), encoding="utf-8")
    for paper, button in ((prices, "What changed"), (invoice, "Price")):
        told = serving.DOES["post"](WorkbookFile(quiet.save()), {"papers": [str(paper)]}, serving.quiet)
        assert told["sentence"] == f"1 paper posted. Now press {button}."


def test_a_list_twice_is_there_once_and_buys_nothing(quiet: Copy, tmp_path: Path) -> None:
    before = len(quiet.written("Purchases")[0])
    posted(quiet, tmp_path, LIST)
    again = posted(quiet, tmp_path, LIST)
    assert again.state == "already there" and "0 announced" not in again.why
    assert len(quiet.written("Announced prices")[0]) == 2
    assert len(quiet.written("Purchases")[0]) == before


def test_a_workbook_with_a_day_in_every_row(quiet: Copy, tmp_path: Path) -> None:
    path = tmp_path / "new prices.xlsx"
    workbook = openpyxl.Workbook()
    for row in (["Supplier", "Sallowby Scents"], [], ["Code", "Item", "Size", "Unit price", "Effective from"],
                ["M26", "Lavender oil", "4 fl oz", 30.0, datetime(2026, 11, 15)]):  # fmt: skip
        workbook.active.append(row)
    workbook.save(path)
    (one,) = commands.post(quiet.save(), [path])
    assert (one.state, one.why) == ("posted", "1 announced price")
    (row,) = quiet.written("Announced prices")[0]
    assert (row["Material"], row["New price per pack"], row["From"]) == ("Lavender essential oil", 30, datetime(2026, 11, 15))


def test_item_beside_description_is_the_code_as_in_invoices(quiet: Copy, tmp_path: Path) -> None:
    """The supplier's own words for the materials, so that only the codes can tell which they are."""
    quiet.type("Materials", "Supplier item codes", "M08", "BW-8")
    text = "Supplier;Brackwell Dry Goods\nValid from;2026-12-01\nItem;Description;Pack;Price\nBW-8;Surfactant, coarse;5 lb;55.00\nQ-1;Oyster shell flour;10 lb;9.00\n"
    one = posted(quiet, tmp_path, text)
    assert (one.state, one.why) == ("posted", "1 announced price, 1 not bought by you (Oyster shell flour)")
    (row,) = quiet.written("Announced prices")[0]
    assert (row["Material"], row["New price per pack"], row["From"]) == ("Foaming powder (SLSA)", 55, datetime(2026, 12, 1))


def test_a_list_of_nothing_she_buys_says_so_and_names_its_items(quiet: Copy, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    items = ["Oyster shell flour", "Walnut grit", "Pumice, fine", "Loofah rounds"]
    head = "Brackwell Dry Goods\nValid from 2026-12-01\nItem,Description,Pack,Price\n"
    prices = tmp_path / "list.csv"
    prices.write_text(head + "".join(f'Q-{n},"{item}",10 lb,9.00\n' for n, item in enumerate(items)), encoding="utf-8")
    before = quiet.save().read_bytes()
    assert cli.main(["post", str(quiet.path), str(prices)]) == 1
    out = capsys.readouterr().out
    assert "refused: no price of it was taken over: 4 not bought by you (Oyster shell flour, Walnut grit, Pumice, fine and 1 more)" in out
    assert "write their codes under Supplier item codes on Materials" in out and "Now:" not in out
    assert quiet.path.read_bytes() == before


def test_a_list_of_the_prices_she_pays_is_there_already(quiet: Copy, tmp_path: Path) -> None:
    one = posted(quiet, tmp_path, LIST.replace("55.00", "52.00").replace("28 fl oz", "32 fl oz"))
    assert (one.state, one.why) == ("already there", "3 unchanged, 1 not bought by you (Oyster shell flour)")
    assert quiet.written("Announced prices")[0] == []


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (LIST.replace("Price list valid from 2026-12-01", ""), "no day its prices hold from"),
        (LIST.replace("Brackwell Dry Goods", ""), "does not say whose list it is"),
        (LIST.replace("55.00", "on request"), "'on request' is no number"),
        (LIST.replace("55.00", "").replace("23.60", "").replace("17.20", "").replace("9.00", ""), "no row of it has a price"),
    ],
)
def test_a_list_that_cannot_be_used_is_refused_in_a_sentence(quiet: Copy, tmp_path: Path, text: str, says: str) -> None:
    one = posted(quiet, tmp_path, text)
    assert one.state == "refused" and says in one.why
    assert quiet.written("Announced prices")[0] == []
