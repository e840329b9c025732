"""The demo data: tables against the shared scenario, papers against the scenario's totals, tabs complete."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal
from xml.etree import ElementTree

import pytest
from shared_files import rows as shared_rows

from costbook.book import layout
from costbook.book.grid import PutTab, Snapshot, Value
from costbook.book.reading import read_book
from costbook.demo.papers import papers
from costbook.demo.tables import scenario
from costbook.demo.workshop import LIKE, RECIPE_TABS, blank_tabs, demo_tabs
from costbook.invoices import en16931, tabular
from costbook.invoices.checks import problems

SAME = {
    "materials": "materials", "product_lines": "product_lines", "recipe_losses": "recipe_losses", "steps": "steps",
    "stock": "stock", "nicknames": "nicknames", "recipes": "recipes", "price_news": "price_news", "products": "products", "queue": "queue_expected",
}  # fmt: skip
XLSX = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
UBL = {
    "cac": "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2",
    "cbc": "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2",
}
CII = {
    "ram": "urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100",
    "rsm": "urn:un:unece:uncefact:data:standard:CrossIndustryInvoice:100",
}


def demo_table(name: str) -> list[dict[str, str]]:
    return shared_rows(f"demo/tables/{name}.csv")


# ------------------------------------------------------------------- tables


@pytest.mark.parametrize(("ours", "theirs"), SAME.items())
def test_input_tables_say_what_the_scenario_says(ours: str, theirs: str) -> None:
    expected = [{h: row[h] for h in scenario(ours)[0]} for row in demo_table(theirs)]
    assert [dict(row) for row in scenario(ours)] == expected


def test_paper_lines_are_the_scenario_lines_and_its_traps() -> None:
    columns = ("Invoice", "Date", "Supplier", "Code", "Line", "Packs", "Pack", "Pack price", "Amount")
    expected = {tuple(row[c] for c in columns) for row in demo_table("invoice_lines")}
    ours = {tuple(row[c] for c in columns) for row in scenario("paper_lines")}
    missing, more = expected - ours, ours - expected
    # The scenario's trap: sea salt sent as 2 x 5 lb instead of 1 x 10 lb, charged the same.
    assert {row[3] for row in missing} == {"M06"}
    assert {(row[0], row[3]) for row in more} == {
        ("B-1041", "M06"), ("S-2207", "M29"), ("S-2207", ""), ("C-0391", "K02"), ("C-0391", ""), ("B-0977", "M08"),
        ("B-0977", ""),
    }  # fmt: skip


def test_every_trap_of_the_scenario_is_on_a_paper() -> None:
    charged = {(t["Invoice"], t["Charged"]) for t in demo_table("invoice_traps") if t["Charged"]}
    amounts = {(line["Invoice"], line["Amount"]) for line in scenario("paper_lines")}
    assert charged <= amounts
    traps = " ".join(t["What the line says"] for t in demo_table("invoice_traps"))
    lots = {(line["Lot"], line["Best before"]) for line in scenario("paper_lines") if line["Lot"]}
    assert lots == {("CA-4471", "2026-11-30"), ("OT-118", "2026-10-15"), ("RG-2206", "")}
    assert all(lot in traps and best_before in traps for lot, best_before in lots)


def test_channels_take_what_the_scenario_says() -> None:
    """Fee and fixed cost a piece, worked out here from the columns: helper hour 16.00 x 1.12 = 17.92."""
    ours = {row["Channel"]: row for row in scenario("channels")}
    for theirs in demo_table("channels"):
        row = {
            heading: Decimal(text or 0) if re.fullmatch(r"[\d.]*", text) else text
            for heading, text in ours[theirs["Channel"]].items()
        }
        share = sum(Decimal(n) for n in re.findall(r"[\d.]+", theirs["Share of price"])) / 100
        labour = Decimal("17.92") / 60 * Decimal(row["Minutes an order"])
        fixed = Decimal(row["Per piece"])
        if row["Pieces an order"]:
            fixed += (Decimal(row["Per order"]) + labour) / Decimal(row["Pieces an order"])
        if row["Pieces a day"]:
            fixed += Decimal(row["Stall a day"]) / Decimal(row["Pieces a day"])
        assert row["Fee"] == share, theirs["Channel"]
        assert round(fixed, 6) == Decimal(theirs["Fixed per piece"]), theirs["Channel"]
        assert row["Sells at"] == theirs["Price used"]


def test_settings_and_pay_are_the_scenario_ones() -> None:
    theirs = {row["Setting"]: row["Value"] for row in demo_table("settings")}
    ours = {row["Setting"]: row["Value"] for row in scenario("settings")}
    pay = {row["Who"]: row for row in scenario("pay")}
    assert Decimal(ours["Overhead a year"]) == Decimal(theirs["Overhead per year"])
    assert ours["Hands-on hours a year"] == theirs["Hands-on hours per year"]
    assert ours["Book date"] == theirs["Demo date"]
    assert ours["Bowl or mixer holds"] == theirs["Bowl holds at most"]
    assert ours["Places to set or dry"] == theirs["Rack places"]
    assert f"{ours['Price counts as old after, days']} days" == theirs["Price counts as old after"]
    assert f"{ours['Keep on the shelf, weeks of sales']} weeks of sales" == theirs["Keep on shelf"]
    for who in ("owner", "helper"):
        assert pay[who]["Pay an hour"] == theirs[f"{who.title()} pay per hour"]
        assert f"{Decimal(pay[who]['On-cost']) * 100:.0f} %" == theirs[f"{who.title()} on-cost"]


def test_suppliers_are_those_of_the_materials() -> None:
    assert {row["Supplier"] for row in scenario("materials")} == {row["Supplier"] for row in scenario("suppliers")}


# ------------------------------------------------------------------- papers


def csv_rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(papers()[name].decode("utf-8"))))


def xlsx_rows(data: bytes) -> list[dict[str, str]]:
    """The first tab of a workbook by heading, read with nothing but the standard library; numbers as written."""
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        sheet = ElementTree.fromstring(package.read("xl/worksheets/sheet1.xml"))
    table: list[dict[str, str]] = []
    for row in sheet.iter(f"{XLSX}row"):
        cells = {}
        for cell in row.iter(f"{XLSX}c"):
            cells[re.sub(r"\d", "", cell.attrib["r"])] = "".join(cell.itertext())
        table.append(cells)
    return [{table[0][letters]: text for letters, text in row.items()} for row in table[1:]]


def summed(rows: Iterable[Mapping[str, str]], *kinds: str) -> Decimal:
    return sum((Decimal(row["Amount"]) for row in rows if row["Line is"] in kinds), Decimal(0))


def expected_total(number: str) -> dict[str, Decimal]:
    row = next(r for r in demo_table("invoice_totals_expected") if r["Invoice"] == number)
    return {key: Decimal(row[key]) for key in ("Goods", "Discount", "Charges", "Total")}


def test_papers_are_the_same_bytes_every_time() -> None:
    assert papers() == papers()
    assert len(papers()) == 5


def test_the_xlsx_paper_carries_no_moment_of_its_making() -> None:
    with zipfile.ZipFile(io.BytesIO(papers()["Sallowby_S-2207.xlsx"])) as package:
        assert {info.date_time for info in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert "docProps/core.xml" not in package.namelist()


@pytest.mark.parametrize("number", ["B-1041", "S-2207"])
def test_list_papers_add_up_to_the_scenario_totals(number: str) -> None:
    rows = csv_rows("Brackwell_B-1041.csv") if number == "B-1041" else xlsx_rows(papers()["Sallowby_S-2207.xlsx"])
    wanted = expected_total(number)
    assert {row["Invoice"] for row in rows} == {number}
    assert round(summed(rows, "goods"), 2) == wanted["Goods"]
    assert round(summed(rows, "discount"), 2) == -wanted["Discount"]
    assert round(summed(rows, "charge"), 2) == wanted["Charges"]
    assert round(summed(rows, "total"), 2) == wanted["Total"]
    goods = [row for row in rows if row["Line is"] == "goods"]
    assert all(
        round(Decimal(r["Packs"]) * Decimal(r["Price per pack"]), 2) == round(Decimal(r["Amount"]), 2) for r in goods
    )


def test_the_older_paper_adds_up() -> None:
    rows = csv_rows("Brackwell_B-0977.csv")
    trap = next(t for t in demo_table("invoice_traps") if t["Invoice"] == "B-0977")
    assert summed(rows, "goods", "charge") == summed(rows, "total") == Decimal(trap["Charged"])


def test_the_ubl_invoice_adds_up_to_the_scenario_total() -> None:
    root = ElementTree.fromstring(papers()["Cobbin_Lane_C-0388.xml"])
    wanted = expected_total("C-0388")
    total = {
        t: Decimal(root.findtext(f"cac:LegalMonetaryTotal/cbc:{t}", "", UBL))
        for t in ("LineExtensionAmount", "ChargeTotalAmount", "PayableAmount")
    }
    assert total == {
        "LineExtensionAmount": wanted["Goods"],
        "ChargeTotalAmount": wanted["Charges"],
        "PayableAmount": wanted["Total"],
    }
    lines = root.findall("cac:InvoiceLine", UBL)
    assert sum(Decimal(line.findtext("cbc:LineExtensionAmount", "", UBL)) for line in lines) == wanted["Goods"]
    packs = {
        line.findtext("cac:Item/cac:SellersItemIdentification/cbc:ID", "", UBL): line.findtext(
            "cac:Item/cac:AdditionalItemProperty/cbc:Value", "", UBL
        )
        for line in lines
    }
    assert packs == {
        r["Code"]: r["Pack"] for r in demo_table("invoice_lines") if r["Invoice"] == "C-0388" and r["Code"]
    }


def test_the_cii_credit_note_states_what_comes_back() -> None:
    """EN 16931 has a credit note (type 381) carry positive amounts; the scenario counts it as -10.32."""
    root = ElementTree.fromstring(papers()["Cobbin_Lane_C-0391.xml"])
    trap = next(t for t in demo_table("invoice_traps") if t["Invoice"] == "C-0391")
    assert root.findtext("rsm:ExchangedDocument/ram:TypeCode", "", CII) == "381"
    assert Decimal(root.findtext(".//ram:DuePayableAmount", "", CII)) == -Decimal(trap["Charged"])
    quantity = root.find(".//ram:BilledQuantity", CII)
    assert quantity is not None and (quantity.text, quantity.get("unitCode")) == ("12", "H87")
    assert Decimal(root.findtext(".//ram:ChargeAmount", "", CII)) * 12 == Decimal("10.32")


def test_the_xlsx_paper_holds_dates_and_numbers_as_such() -> None:
    rows = xlsx_rows(papers()["Sallowby_S-2207.xlsx"])
    # Day 1 of the 1900 date system is 1900-01-01, with a 29 February 1900 that never was (ECMA-376 part 1, 18.17.4.1).
    assert {int(float(row["Date"])) for row in rows} == {(date(2026, 9, 3) - date(1899, 12, 30)).days}
    kinds = [row["Line is"] for row in rows]
    assert (kinds.count("sample"), kinds.count("back-order"), kinds.count("charge"), kinds.count("total")) == (
        1,
        1,
        2,
        1,
    )


# --------------------------------------------------------------------- tabs


def tab_named(tabs: Iterable[PutTab], name: str) -> PutTab:
    return next(t for t in tabs if t.name == name)


def by_heading(tab: PutTab) -> list[dict[str, Value]]:
    """The filled rows of a tab below its headings."""
    rows = tab.grid().rows
    headings = [str(heading) for heading in rows[2]]
    found: list[dict[str, Value]] = [dict(zip(headings, row, strict=False)) for row in rows[3:]]
    return [row for row in found if any(value is not None for value in row.values())]


def recipe_rows(tab: PutTab) -> dict[str, list[tuple[Value, ...]]]:
    """The lines of each recipe block by its code, without order and empty ends."""
    found: dict[str, list[tuple[Value, ...]]] = {}
    code = ""
    for row in tab.grid().rows[3:]:
        if row[:1] == ("Code",):
            code = str(row[1])
        if row and isinstance(row[0], int):
            found.setdefault(code, []).append(row)
    return found


def test_demo_book_has_every_tab_of_hers_and_no_purchases_yet() -> None:
    tabs = demo_tabs()
    wanted = {layout.START, *(t.name for t in layout.HER_TABS), *(name for name, _ in RECIPE_TABS)}
    wanted -= {"Activities"}  # the demo's overhead all follows hands-on time
    assert {t.name for t in tabs} == wanted and len(tabs) == len(wanted)
    assert by_heading(tab_named(tabs, "Purchases")) == []


def test_every_row_of_the_scenario_is_in_its_tab() -> None:
    tabs = demo_tabs()
    products = by_heading(tab_named(tabs, "Products"))
    assert [(p["Code"], p["Product"], p["Scent"], p["Colour"], p["Retail now"]) for p in products] == [
        (r["Code"], r["Product"], r["Scent"] or None, r["Colour"] or None, float(r["Retail now"]))
        for r in demo_table("products")
    ]
    materials = by_heading(tab_named(tabs, "Materials"))
    assert [m["Material"] for m in materials] == [r["Material"] for r in demo_table("materials")]
    assert [m["On hand"] for m in materials] == [float(r["On hand"]) for r in demo_table("stock")]
    work = by_heading(tab_named(tabs, "Work"))
    assert [(w["Steps for"], w["Step"], w["Minutes a batch"], w["Minutes a piece"]) for w in work] == [
        (r["Steps for"], r["Step"], float(r["Minutes per batch"]), float(r["Minutes per planned piece"]))
        for r in demo_table("steps")
    ]
    assert len(by_heading(tab_named(tabs, "Channels"))) == len(demo_table("channels")) + 1


def test_every_product_line_is_given_once_or_by_a_like_product() -> None:
    names = {r["Code"]: r["Material"] for r in demo_table("materials")} | {
        r["Recipe"]: r["Name"] for r in demo_table("recipe_losses")
    }
    typed = {
        (r["Product"], r["Item"], r["Amount"], r["Per"]) for r in by_heading(tab_named(demo_tabs(), "Product lines"))
    }
    for row in demo_table("product_lines"):
        product = LIKE.get(row["Product"], row["Product"])
        per = "batch" if row["Per"] == "per batch" else "piece"
        assert (product, names.get(row["Code"], row["Code"]), int(row["Amount"]), per) in typed
    assert not {product for product, *_ in typed} & set(LIKE)


def test_every_recipe_line_stands_as_written() -> None:
    blocks = {
        code: lines for name, _ in RECIPE_TABS for code, lines in recipe_rows(tab_named(demo_tabs(), name)).items()
    }
    expected: dict[str, list[tuple[str, str, str, bool, bool]]] = {}
    for row in demo_table("recipes"):
        note = row["Note"]
        material = row["Material"].replace(" of the piece)", ")")
        line = (material, row["Amount as written"], row["Unit"], "no colour" in note, note == "dries off")
        expected.setdefault(row["Recipe"], []).append(line)
    got = {
        code: [(r[1], str(r[2]), r[3], r[4] == "if colour", r[5] == "yes") for r in lines]
        for code, lines in blocks.items()
    }
    assert got == expected


def test_recipe_blocks_state_their_bench_loss() -> None:
    losses: dict[Value, Value] = {}
    for name, _ in RECIPE_TABS:
        pairs = [row[:2] for row in tab_named(demo_tabs(), name).grid().rows if len(row) == 2]
        codes = [value for label, value in pairs if label == "Code"]
        losses |= dict(zip(codes, [value for label, value in pairs if label == "Bench loss"], strict=True))
    assert losses == {r["Recipe"]: int(r["Bench loss %"]) / 100 for r in demo_table("recipe_losses")}


def test_both_books_say_they_are_invented() -> None:
    start = "\n".join(str(cell) for row in tab_named(demo_tabs(), "Start").grid().rows for cell in row)
    assert "invented demo data" in start and "not to be made, used or sold" in start and layout.NOTICE in start
    for tab in blank_tabs()[1:]:
        typed = [str(cell) for row in tab.grid().rows[3:] for cell in row if cell is not None]
        empty = tab.name in ("Announced prices", "Batches", "Sales")
        assert ("example" in " ".join(typed).casefold()) != empty and bool(typed) != empty, tab.name


def test_the_blank_paper_adds_up() -> None:
    lines = by_heading(tab_named(blank_tabs(), "Purchases"))
    amounts = [(line["Line is"], Decimal(str(line["Amount"]))) for line in lines]
    assert sum(amount for kind, amount in amounts if kind != "total") == next(
        amount for kind, amount in amounts if kind == "total"
    )


def test_dropdowns_only_offer_what_the_rows_use() -> None:
    """A value of ours outside its own column's dropdown would be asked about the first time she touches it."""
    for tabs in (demo_tabs(), blank_tabs()):
        for tab in (t for t in layout.HER_TABS if t.name in {put.name for put in tabs}):
            for row in by_heading(tab_named(tabs, tab.name)):
                for column in tab.columns:
                    if isinstance(column.choices, tuple) and column.choices and row[column.heading] is not None:
                        assert row[column.heading] in column.choices, (tab.name, column.heading)


@pytest.mark.parametrize("tabs", [demo_tabs(), blank_tabs()], ids=["demo", "blank"])
def test_both_books_are_read_without_a_finding(tabs: list[PutTab]) -> None:
    book = read_book(Snapshot("book", {tab.name: tab.grid() for tab in tabs}))
    assert book.findings == ()
    assert len(book.products) == len(by_heading(tab_named(tabs, "Products")))


def test_text_papers_are_read_without_a_problem() -> None:
    for name, data in papers().items():
        if name.endswith(".xlsx"):
            continue
        read = [en16931.read(data, name)] if name.endswith(".xml") else tabular.read_csv(data, name)
        assert [invoice.problems + problems(invoice) for invoice in read] == [()], name


def test_the_blank_paper_is_dated_as_asked() -> None:
    lines = by_heading(tab_named(blank_tabs(date(2027, 2, 3)), "Purchases"))
    assert {line["Date"] for line in lines} == {date(2027, 2, 3)}
