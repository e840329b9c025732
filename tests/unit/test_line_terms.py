"""For how many a price is and what is taken off a line: small lists and pages worked out by hand, sound and with one fault.

300 at 12.50 per 100 are 37.50; 2000 at 31.00 per 1000 are 62.00; 4 x 25.00 less 12.35 are 87.65; 10 x 3.20 less 1.60 are 30.40.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from printed_papers import Paper, pdf

from costbook.book.model import Invoice
from costbook.hosts.pages import read_pages
from costbook.invoices import page, tabular
from costbook.invoices.checks import problems

D = Decimal
WORDS = {
    "en": ("Invoice no,Invoice date,Supplier", "Item code,Description", "Qty", "Price per 100", "Amount", "Invoice total"),
    "de": ("Rechnungsnummer,Rechnungsdatum,Lieferant", "Art.-Nr.,Bezeichnung", "Menge", "Preis/100", "Gesamt", "Rechnungsbetrag"),
    "fr": ("Facture n°,Date de facture,Fournisseur", "Référence,Désignation", "Quantité", "Prix pour 100", "Montant HT", "Total TTC"),
    "nl": ("Factuurnummer,Factuurdatum,Leverancier", "Artikelcode,Omschrijving", "Aantal", "Prijs per 100", "Bedrag", "Totaal"),
    "es": ("Factura n.º,Fecha de factura,Proveedor", "Código,Descripción", "Cantidad", "Precio por 100", "Importe", "Total factura"),
}


def listed(headings: str, rows: list[str], total: str, last: str = "Invoice total", first: str = "") -> Invoice:
    head = "A-1,2026-09-14,Fenwick,"
    commas = "," * (headings.count(",") - 1)
    text = f"{first or WORDS['en'][0]},{headings}\n" + "".join(f"{head}{row}\n" for row in rows) + f"{head},{last}{commas}{total}\n"
    [read] = tabular.read_csv(text.encode(), "list.csv")
    return read


@pytest.mark.parametrize("language", WORDS)
def test_a_price_per_hundred_in_the_heading_posts(language: str) -> None:
    first, named, count, price, amount, last = WORDS[language]
    read = listed(f"{named},{count},{price},{amount}", ["X1,Lids,300,12.50,37.50"], "37.50", last, first)
    line = read.lines[0]
    assert problems(read) == () and read.number == "A-1" and read.supplier == "Fenwick"
    assert (line.quantity, line.price, line.base_quantity, line.net) == (300, D("12.50"), 100, D("37.50"))


@pytest.mark.parametrize(("price", "per"), [("12.50 / 100", ""), ("12.50 per 100 pcs", ""), ("12.50", "100"), ("12.50", "100 pcs")])
def test_the_cell_or_a_column_may_tell_it(price: str, per: str) -> None:
    read = listed("Item code,Description,Qty,Price,Per,Amount", [f"X1,Lids,300,{price},{per},37.50", "X2,Box,2,3.00,,6.00"], "43.50")
    assert problems(read) == () and [x.base_quantity for x in read.lines[:2]] == [100, 1]


@pytest.mark.parametrize(
    ("price", "row", "said"),
    [
        ("Price per 100", "X1,Lids,310,12.50,37.50", "make 38.75"),
        ("Price per 100", "X1,Lids,3,12.50,37.50", "if the price were for 1,"),
        ("Price", "X1,Lids,300,12.50,37.50", "if the price were for 100, which the paper does not say"),
        ("Price per 1000", "X1,Lids,1000,3.11,3.11", "costs less than a cent"),
        ("Cost per lot", "X1,Lids,300,12.50,37.50", "no price checks the lines"),
    ],
)
def test_what_does_not_close_as_it_is_written_waits(price: str, row: str, said: str) -> None:
    """A count with a nought too many would close if a price per 100 were only inferred."""
    assert any(said in why for why in problems(listed(f"Item code,Description,Qty,{price},Amount", [row], row.rsplit(",", 1)[1])))


def test_two_places_that_differ_wait() -> None:
    read = listed("Item code,Description,Qty,Price per 100,Per,Amount", ["X1,Lids,300,12.50,1000,37.50"], "37.50")
    assert any("for 100 in one place and for 1000 in another" in why for why in problems(read))


@pytest.mark.parametrize(
    ("heading", "one", "two"),
    [("Discount", "12.35", "1.60"), ("Discount", "-12.35", "-1.60"), ("Discount amount", "12.35", "1.60"), ("Rabattbetrag", "12.35", "1.60"),
     ("Discount", "12.35 EUR", "1.60 EUR"), ("Discount %", "12.35", "5"), ("Discount", "12.35%", "5%")],
)  # fmt: skip
def test_a_discount_in_money_or_in_percent_posts(heading: str, one: str, two: str) -> None:
    rows = [f"X1,Lavender oil,4,25.00,{one},87.65", f"X2,Shea butter,10,3.20,{two},30.40", "X3,Box,1,2.00,,2.00"]
    read = listed(f"Item code,Description,Qty,Price,{heading},Amount", rows, "120.05")
    assert problems(read) == () and [x.allowances for x in read.lines[:3]] == [D("12.35"), D("1.60"), 0]


def test_one_bare_figure_that_closes_in_money_alone_waits() -> None:
    """20 x 10.00 less 10 % are 180.00, and so are 19 x 10.00 less 10.00: the count may be the fault."""
    read = listed("Item code,Description,Qty,Price,Discount,Amount", ["X1,Shea butter,19,10.00,10,180.00"], "180.00")
    assert any("adds up as money off the line and not as percent" in why for why in problems(read))


@pytest.mark.parametrize(("count", "unit"), [("12pcs", "pcs"), ("12 St.", "St."), ("12x", ""), ("12 ×", "")])
def test_a_count_beside_its_unit_is_read(count: str, unit: str) -> None:
    read = listed("Item code,Description,Qty,Price,Amount", [f"X1,Box,{count},2.50,30.00"], "30.00")
    assert problems(read) == () and (read.lines[0].quantity, read.lines[0].unit) == (12, unit)


@pytest.mark.parametrize("count", ["2 x 12", "12 of 24", "x12", "12 pcs (2)"])
def test_a_count_of_two_numbers_waits(count: str) -> None:
    assert any("is not a number" in why for why in problems(listed("Item code,Description,Qty,Price,Amount", [f"X1,Box,{count},2.50,30.00"], "30.00")))


@pytest.mark.parametrize("title", ["AVOIR", "Creditnota", "Nota de crédito", "Gutschrift"])
def test_a_list_that_gives_money_back_is_no_invoice(title: str) -> None:
    rows = f"{title},,,,\nFacture n°:,A-1,,,\nDate:,2026-09-14,,,\nFournisseur:,Fenwick,,,\nCode,Bezeichnung,Menge,Preis,Betrag\nX1,Box,2,3.00,6.00\n,Summe,,,6.00\n"
    [read] = tabular.read_csv(rows.encode(), "list.csv")
    assert read.type_code == "381" and any("not certain" in why for why in problems(read)) == (title == "Gutschrift")


@pytest.mark.parametrize(("language", "heading"), [("en", "Price per 100"), ("de", "Preis/100"), ("fr", "Prix pour 100"), ("nl", "Prijs per 100"), ("es", "Precio por 100")])
@pytest.mark.parametrize("fault", [False, True])
def test_a_page_with_prices_per_hundred(language: str, heading: str, fault: bool) -> None:
    lines = [("LD-1", "Lids black", "310" if fault else "300", "12.50", "37.50"), ("BX-7", "Box white", "200", "61.25", "122.50")]
    paper = Paper(language, lines=lines, freight="", discount="", taxes=("", ""), total="160.00")
    named = paper.words.headings
    paper.headings = (*named[:3], heading, named[4])
    read = page.read(read_pages(pdf(paper), "a.pdf"), "a.pdf")
    assert bool(problems(read)) == fault
    assert [(x.quantity, x.base_quantity, x.net) for x in read.lines] == [(D(310 if fault else 300), 100, D("37.50")), (200, 100, D("122.50"))]
