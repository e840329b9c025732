"""One case for each way in which an invented paper was once posted as something it was not; each now waits or is read right."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from printed_papers import LINES, Paper, pdf

from costbook.book.grid import Grid, Snapshot
from costbook.book.model import Invoice
from costbook.demo.papers import other_formats
from costbook.hosts.pages import read_pages
from costbook.invoices import en16931, page, tabular
from costbook.invoices.checks import problems
from costbook.invoices.wording import kind_of

LIST = "{note}Invoice,Date,Supplier,SKU,Description,Qty,{price},{amount}\nA-1,2026-09-01,Fenwick,X1,Castor oil,2,12.00,24.00\nA-1,2026-09-01,Fenwick,,Invoice total,,,24.00\n"


@pytest.mark.parametrize(
    ("note", "price", "amount", "asked"),
    [
        ("", "Unit price", "Amount", False),
        ("", "Unit price", "Amount (incl. VAT)", True),
        ("", "Price (incl. tax)", "Amount", True),
        ("All prices include VAT\n", "Unit price", "Amount", True),
        ("Alle Preise inkl. MwSt.\n", "Unit price", "Amount", True),
    ],
)
def test_a_list_with_tax_inside_waits(note: str, price: str, amount: str, asked: bool) -> None:
    [read] = tabular.read_csv(LIST.format(note=note, price=price, amount=amount).encode(), "list.csv")
    assert any("tax inside" in why for why in problems(read)) == asked == bool(problems(read))


def test_of_two_amounts_the_one_without_tax_is_taken() -> None:
    rows = LIST.format(note="", price="Unit price", amount="Total (incl. VAT),Amount (excl. VAT)").replace(",24.00\n", ",28.80,24.00\n")
    [read] = tabular.read_csv(rows.encode(), "list.csv")
    assert problems(read) == () and read.gross == Decimal(24)


@pytest.mark.parametrize("note", ["includes 20% VAT", "dont TVA 20 %", "inkl. 20 % MwSt.", "incluye IVA 20 %", "inclusief 20% btw"])
def test_a_page_that_says_its_tax_is_inside_waits(note: str) -> None:
    data = pdf(Paper(taxes=("", ""), total="160.00", notes=(note,)))
    assert any("tax inside" in why for why in problems(page.read(read_pages(data, "a.pdf"), "a.pdf")))


def test_an_english_tax_heading_does_not_put_the_day_first() -> None:
    """02/08/2026 may be in February or in August; 'Tax rate' is printed in countries that write either."""
    headings = ("Item code", "Description", "Tax rate", "Unit price", "Amount")
    for heads, read_as in ((headings, None), (("Art.-Nr.", "Bezeichnung", "Menge", "Einzelpreis", "Gesamt"), date(2026, 8, 2))):
        data = pdf(Paper(headings=heads, day="02/08/2026"))
        assert page.read(read_pages(data, "a.pdf"), "a.pdf").issued == read_as


def test_amounts_in_another_currency_than_the_papers_wait() -> None:
    xml = other_formats()["C-0388.xml"]
    assert problems(en16931.read(xml, "a.xml")) == ()
    mixed = xml.replace(b'<cbc:PriceAmount currencyID="USD">', b'<cbc:PriceAmount currencyID="EUR">', 1)
    assert any("amounts in EUR" in why for why in problems(en16931.read(mixed, "a.xml")))


def test_taxed_lines_without_any_tax_by_rate_wait() -> None:
    xml = other_formats()["C-0388.xml"]
    start, end = xml.index(b"<cac:TaxSubtotal>"), xml.index(b"</cac:TaxSubtotal>") + len(b"</cac:TaxSubtotal>")
    bare = (xml[:start] + xml[end:]).replace(b"<cbc:ID>O</cbc:ID>\n        <cac:TaxScheme>", b"<cbc:ID>S</cbc:ID><cbc:Percent>20</cbc:Percent>\n        <cac:TaxScheme>")
    assert any("BR-CO-18" in why for why in problems(en16931.read(bare, "a.xml")))


@pytest.mark.parametrize("words", ["Soap colour, gratis monster", "Soap colour, échantillon gratuit", "Soap colour, muestra gratis", "Soap colour, Gratismuster"])
def test_a_free_sample_is_one_in_every_language(words: str) -> None:
    assert kind_of(words, Decimal(0), code="Z1") == "sample" and kind_of(words, Decimal(5), code="Z1") == "goods"


def test_a_label_that_runs_into_the_number_is_none_of_it() -> None:
    assert page.read(read_pages(pdf(Paper(number="Nr.56575")), "a.pdf"), "a.pdf").number == "56575"


@pytest.mark.parametrize(
    "title",
    ["Statement", "STATEMENT OF ACCOUNT", "Kontoauszug", "Relevé de compte", "Rekeningoverzicht", "Extracto de cuenta", "Estado de cuenta", "Pro forma",
     "PROFORMA INVOICE", "Facture pro forma", "Quotation", "Estimate", "Angebot", "Devis", "Offerte", "Presupuesto", "Reminder", "2. Mahnung", "Rappel", "Aanmaning",
     "Packing list", "Packliste", "Liste de colisage", "Paklijst", "Lista de embalaje", "Remittance advice", "Order confirmation"],
)  # fmt: skip
def test_a_page_of_another_kind_waits(title: str) -> None:
    """Though its sums close and it names the number of an invoice; a slip to pay with stands below many an invoice."""
    assert any("calls itself" in why for why in problems(_page(Paper(title=title))))
    below = problems(_page(Paper(notes=("", title), note_size=14)))
    assert any("calls itself" in why for why in below) == (title != "Remittance advice")


@pytest.mark.parametrize(
    "note",
    ["Your quotation no. 17", "Quotation no. 17", "Quotation: 17", "Angebot Nr. 17 vom 3. August", "Suivant votre devis 17", "Packing list enclosed", "Delivery note 4711",
     "Statement", "Reminder: please return the pallets", "Remittance advice"],
)  # fmt: skip
def test_an_invoice_that_mentions_another_paper_is_posted(note: str) -> None:
    assert problems(_page(Paper(notes=(note,)))) == ()


def _page(paper: Paper) -> Invoice:
    return page.read(read_pages(pdf(paper), "a.pdf"), "a.pdf")


@pytest.mark.parametrize(("number", "asked"), [("n°56575", False), ("7º-56575", True), ("A°56575", True), ("56575", False)])
def test_a_degree_sign_inside_the_number_is_asked_about(number: str, asked: bool) -> None:
    """A label may have run into the number: 'n°' is taken off, any other such sign may be part of either."""
    read = _page(Paper("fr", number=number))
    assert any("a label runs into the paper's number" in why for why in problems(read)) == asked
    assert asked or read.number == "56575"


@pytest.mark.parametrize("wrapped", [False, True])
@pytest.mark.parametrize("sums_at", [(50, 300), (120, 345), (250, 420)])
def test_freight_and_discount_away_from_the_amounts_are_sums_of_their_own(sums_at: tuple[int, int], wrapped: bool) -> None:
    """They were taken for a note on the last row, and a paper without a subtotal then lost them."""
    read = _page(Paper(sums_at=sums_at, wrapped=wrapped, net=""))
    extras = {line.kind: line.net for line in read.lines if line.kind != "goods"}
    assert problems(read) == () and extras == {"charge": Decimal("9.50"), "discount": Decimal("-6.20")}


def test_a_note_close_below_a_row_is_no_sum() -> None:
    lines = (*LINES[:2], ("BX-77", "Box white with window", "3", "24.90", "74.70"), ("", "Discount: 0.66", "", "", ""))
    read = _page(Paper(lines=lines))
    assert problems(read) == () and [line.net for line in read.lines if line.kind == "discount"] == [Decimal("-6.20")]


@pytest.mark.parametrize(("heading", "codes", "kept"), [("Item", "1 2 3", ""), ("Item", "10 20 30", ""), ("Item", "0010 0020 0030", ""), ("Line", "1 2 3", ""),
                                                        ("Item", "1 2 4", "1 2 4"), ("Item", "7 8 9", "7 8 9"), ("SKU", "A1 A2 A3", "A1 A2 A3")])  # fmt: skip
def test_numbers_of_lines_are_no_item_codes(heading: str, codes: str, kept: str) -> None:
    """They would link the first line of every paper of that supplier to the same material."""
    lines = [(code, *rest) for code, (_, *rest) in zip(codes.split(), LINES)]
    read = _page(Paper(lines=lines, headings=(heading, "Description", "Qty", "Unit price", "Amount")))  # type: ignore[arg-type]
    rows = "".join(f"A-1,2026-09-01,Fenwick,{','.join(line)}\n" for line in lines)
    [listed] = tabular.read_csv(f"Invoice,Date,Supplier,{heading},Description,Qty,Price,Amount\n{rows}A-1,2026-09-01,Fenwick,,Invoice total,,,156.70\n".encode(), "a.csv")
    for one in (read, listed):
        goods = [line for line in one.lines if line.kind == "goods"]
        assert problems(one) == () and [line.name for line in goods] == [name for _, name, *_ in LINES]
        assert " ".join(line.item_code for line in goods).strip() == kept


@pytest.mark.parametrize("label", ["Date of supply", "Date due", "Date d'échéance", "Datum levering", "Fecha de pago", "Datum der Bestellung"])
def test_the_value_below_a_longer_label_is_no_date_of_the_paper(label: str) -> None:
    """Labels in a row with their values below: only the one that ends with the word itself has the paper's date."""
    assert _page(Paper(dated=False, grid=((label, "2026-09-30"), ("Date", "2026-09-14")))).issued == date(2026, 9, 14)
    alone = _page(Paper(dated=False, grid=((label, "2026-09-30"),)))
    assert alone.issued is None and problems(alone)


def test_a_number_of_a_bank_tells_nothing_of_dates() -> None:
    """12-34-56 has no 34th day of a 12th month."""
    read = _page(Paper("es", day="02/04/2026", notes=("Banco 12-34-56", "Banco 12-30-56")))
    assert problems(read) == () and read.issued == date(2026, 4, 2)


def test_dates_that_contradict_the_headings_are_asked_about() -> None:
    read = _page(Paper("es", day="02/04/2026", notes=("Pedido 04/25/2026",)))
    assert read.issued is None and any("02/04/2026" in why for why in problems(read))


@pytest.mark.parametrize(
    ("note", "asked"),
    [("Tallowfield Trading · VAT GB 123 4567 · Bank 12-34-56", True), ("Roble Hueco S.L. | NIF B123456", True), ("Hollow Oak Botanicals Ltd · VAT GB 123 4567", False),
     ("VAT no. GB 123 4567", False), ("IBAN DE00 1234", False), ("Bank: Mill Street Branch", False)],
)  # fmt: skip
def test_a_large_name_at_the_top_is_a_guess_where_another_company_signs(note: str, asked: bool) -> None:
    """The letters at the top may be the buyer's, and the supplier's name stand only with its registration."""
    assert any("is a guess from the top" in why for why in problems(_page(Paper(notes=(note,))))) == asked


HEADS = ("Invoice date", "Date", "Invoice no", "Number", "Vendor", "From")


@pytest.mark.parametrize("heads", [HEADS, HEADS[::-1]])
@pytest.mark.parametrize("above", [False, True])
def test_of_two_heads_of_a_list_the_surely_worded_one_is_the_papers(heads: tuple[str, ...], above: bool) -> None:
    """As columns or as labels above, in whatever order: 'Date' may be another day, 'Number' a customer's."""
    told = {"Invoice date": "2026-09-14", "Date": "2026-09-30", "Invoice no": "HB-7", "Number": "88", "Vendor": "Fenwick", "From": "Leeds depot"}
    read = _listed(above, [(head, told[head]) for head in heads])
    assert problems(read) == () and (read.number, read.issued, read.supplier) == ("HB-7", date(2026, 9, 14), "Fenwick")


@pytest.mark.parametrize("above", [False, True])
@pytest.mark.parametrize(("one", "other", "asked"), [("Issue date", "Date", "date"), ("Document no", "Number", "number"), ("Invoice", "Invoice no", "number"),
                                                     ("Vendor", "Supplier", "supplier")])  # fmt: skip
def test_two_heads_of_a_list_that_are_as_sure_are_asked_about(above: bool, one: str, other: str, asked: str) -> None:
    values = {"date": ("2026-09-14", "2026-09-30"), "number": ("HB-7", "88"), "supplier": ("Fenwick", "Hollow Oak")}[asked]
    rest = [(head, text) for kind, head, text in (("number", "Invoice", "HB-7"), ("date", "Invoice date", "2026-09-14"), ("supplier", "Vendor", "Fenwick")) if kind != asked]
    read = _listed(above, [(one, values[0]), (other, values[1]), *rest])
    assert [why for why in problems(read) if f"which {asked} is the paper's is not certain" in why]
    assert problems(_listed(above, [(one, values[0]), (other, values[0]), *rest])) == (), "the same twice is no question"


def test_a_sure_label_stands_over_a_column_that_is_not() -> None:
    rows = "Invoice date: 2026-09-14\n\nInvoice,Date,Vendor,SKU,Description,Qty,Price,Amount\nHB-7,2026-09-30,Fenwick,A1,Castor oil,2,12.00,24.00\nHB-7,2026-09-30,Fenwick,,Invoice total,,,24.00\n"
    [read] = tabular.read_csv(rows.encode(), "a.csv")
    assert problems(read) == () and read.issued == date(2026, 9, 14)


@pytest.mark.parametrize("headings", ["Supplier code,SKU,Name,Description", "Part no,Item code,Details,Product", "SKU,Supplier code,Description,Material"])
def test_of_two_codes_and_names_of_a_line_the_closer_worded_are_taken(headings: str) -> None:
    told = {"Supplier code": "SC-9", "Part no": "P-9", "SKU": "A1", "Item code": "A1", "Name": "Anna", "Details": "glass", "Description": "Castor oil",
            "Product": "Castor oil", "Material": "glass"}  # fmt: skip
    rows = f"Invoice,Date,Supplier,{headings},Qty,Price,Amount\nA-1,2026-09-01,Fenwick,{','.join(told[h] for h in headings.split(','))},2,12.00,24.00\nA-1,2026-09-01,Fenwick,,,Invoice total,Invoice total,,,24.00\n"
    [read] = tabular.read_csv(rows.encode(), "a.csv")
    assert [(x.item_code, x.name) for x in read.lines if x.kind == "goods"] == [("A1", "Castor oil")]


def _listed(above: bool, head: list[tuple[str, str]]) -> Invoice:
    """A list with this head, above its columns or as columns."""
    names, values = ",".join(h for h, _ in head), ",".join(v for _, v in head)
    table = ("SKU,Description,Qty,Price,Amount", "A1,Castor oil,2,12.00,24.00", ",Invoice total,,,24.00")
    text = "".join(f"{h},{v}\n" for h, v in head) + "\n" if above else ""
    rows = table if above else (f"{names},{table[0]}", *(f"{values},{row}" for row in table[1:]))
    [read] = tabular.read_csv((text + "\n".join(rows) + "\n").encode(), "a.csv")
    return read


@pytest.mark.parametrize(("heading", "codes", "kept", "doubt"), [
    ("Item code", "1", "1", True), ("SKU", "10", "10", True), ("Article no", "1 2", "1 2", True), ("Item code", "7", "7", False), ("Item code", "A1", "A1", False),
    ("Item", "1", "", False), ("Item no", "1", "", False), ("Item", "1 3", "1 3", True),
])  # fmt: skip
def test_a_short_number_under_a_heading_for_codes_is_kept_in_doubt(heading: str, codes: str, kept: str, doubt: bool) -> None:
    rows = "".join(f"A-1,2026-09-01,Fenwick,{code},Clay {code},1,5.00,5.00\n" for code in codes.split())
    total = f"A-1,2026-09-01,Fenwick,,Invoice total,,,{5 * len(codes.split())}.00\n"
    text = f"Invoice,Date,Supplier,{heading},Description,Qty,Price,Amount\n{rows}{total}"
    typed = [[float(cell) if cell in codes.split() and cell.isdigit() else cell for cell in line.split(",")] for line in text.splitlines()]
    workbook = Snapshot("list.xlsx", {"Sheet1": Grid("Sheet1", typed)})
    for [read] in (tabular.read_csv(text.encode(), "list.csv"), tabular.read_grids(workbook, "list.xlsx")):
        goods = [line for line in read.lines if line.kind == "goods"]
        assert problems(read) == () and " ".join(line.item_code for line in goods) == kept
        assert [line.code_in_doubt for line in goods] == [doubt] * len(goods)


def test_a_column_for_the_unit_of_the_pack() -> None:
    text = "Invoice,Date,Supplier,Item code,Description,Packs,Pack size,Pack unit,Price,Amount\nA-1,2026-09-01,Fenwick,C9,Clay,2,55,lb,30.00,60.00\n"
    [read] = tabular.read_csv((text + "A-1,2026-09-01,Fenwick,,Invoice total,,,,,60.00\n").encode(), "list.csv")
    [goods] = [line for line in read.lines if line.kind == "goods"]
    assert problems(read) == () and (goods.pack_size, goods.pack_unit) == ("55", "lb")
