"""Supplier lists as CSV and as workbook tabs: the demo's three papers, and the ways suppliers write such lists.

Expected values: ../shared/demo/tables (invoice_lines.csv, invoice_totals_expected.csv, invoice_traps.csv, faults.csv);
what is written out here was made up for the test and worked out by hand.
"""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shared_files import rows, shared

from costbook.book.grid import ErrorValue, Grid, Snapshot, Value
from costbook.book.model import Invoice
from costbook.errors import InvoiceError
from costbook.invoices.checks import counted, problems
from costbook.invoices.tabular import read_csv, read_grids

HEAD = "Invoice,Date,Supplier,Code,Line,Packs,Pack,Pack price,Amount\n"


def _demo() -> str:
    return shared("demo/tables/invoice_lines.csv").read_text(encoding="utf-8")


def _one(text: str, **options: str) -> Invoice:
    (invoice,) = read_csv(text.encode(), "list.csv", **options)
    return invoice


def _rows(*lines: str) -> str:
    return HEAD + "".join(f"B-1,2026-09-01,Brackwell,{line}\n" for line in lines)


def _kinds(invoice: Invoice) -> list[str]:
    return [line.kind for line in invoice.lines]


def test_the_demo_list_holds_three_papers_that_add_up() -> None:
    invoices = read_csv(_demo().encode(), "invoice_lines.csv")
    expected = rows("demo/tables/invoice_totals_expected.csv")
    assert len(invoices) == len(expected) == 3
    for invoice, row in zip(invoices, expected, strict=True):
        sums = {
            kind: sum(line.net for line in invoice.lines if line.kind == kind)
            for kind in ("goods", "discount", "charge")
        }
        assert (invoice.number, str(invoice.issued), invoice.supplier) == (row["Invoice"], row["Date"], row["Supplier"])
        assert (sums["goods"], -sums["discount"], sums["charge"], invoice.gross) == tuple(
            Decimal(row[column]) for column in ("Goods", "Discount", "Charges", "Total")
        )
        assert (invoice.type_code, problems(invoice)) == ("380", ())


def test_every_value_of_the_demo_list_is_kept() -> None:
    found = [
        (invoice.number, line.item_code, line.name, f"{line.pack_size} {line.pack_unit}".strip(), line.net)
        for invoice in read_csv(_demo().encode(), "invoice_lines.csv")
        for line in invoice.lines
    ]
    expected = rows("demo/tables/invoice_lines.csv")
    assert found == [(r["Invoice"], r["Code"], r["Line"], r["Pack"], Decimal(r["Amount"])) for r in expected]


def test_freight_and_fees_say_how_they_are_shared() -> None:
    found = {
        (invoice.number, line.net): (line.shared_by, line.covers)
        for invoice in read_csv(_demo().encode(), "invoice_lines.csv")
        for line in invoice.lines
        if line.kind == "charge"
    }
    assert found == {
        ("B-1041", Decimal("128.00")): ("weight", "all"),
        ("S-2207", Decimal("24.00")): ("value", "scent"),
        ("S-2207", Decimal("15.60")): ("value", "all"),
        ("C-0388", Decimal("46.00")): ("value", "all"),
    }


def test_the_missing_freight_line_is_the_difference() -> None:
    """demo/tables/faults.csv, F5."""
    text = "".join(line for line in _demo().splitlines(True) if not (line.startswith("B-1041") and "Freight" in line))
    wanted = "the lines do not add up to the invoice total (difference 128.00)"
    assert problems(read_csv(text.encode(), "x.csv")[0]) == (wanted,)


def _with_commas(text: str) -> str:
    import csv
    import io

    out = io.StringIO()
    writer = csv.writer(out, delimiter=";")
    for number, row in enumerate(csv.reader(io.StringIO(text))):
        writer.writerow(row if number == 0 else [*row[:7], *(cell.replace(".", ",") for cell in row[7:])])
    return out.getvalue()


def test_semicolons_and_decimal_commas_give_the_same_papers() -> None:
    plain, other = read_csv(_demo().encode(), "a"), read_csv(_with_commas(_demo()).encode(), "a")
    assert [invoice.lines for invoice in other] == [invoice.lines for invoice in plain]
    assert [invoice.gross for invoice in other] == [invoice.gross for invoice in plain]
    assert {invoice.decimal for invoice in other} == {"comma"}


@pytest.mark.parametrize("delimiter", ["\t", "|"])
def test_tabs_and_bars_are_delimiters_too(delimiter: str) -> None:
    text = f"sep={delimiter}\n" + _rows("M01,Soda,3,50 lb,36.00,108.00", ",Invoice total,,,,108.00").replace(
        ",", delimiter
    )
    assert problems(_one(text)) == ()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings_give_the_same_words(encoding: str) -> None:
    text = _rows("M01,Crème brûlée scent – 5 €,1,16 oz,5.00,5.00", ",Total,,,,5.00")
    (invoice,) = read_csv(text.encode(encoding), "x.csv")
    assert invoice.lines[0].name == "Crème brûlée scent – 5 €"
    assert problems(invoice) == ()


def test_labels_above_the_headings_hold_for_the_rows_below() -> None:
    invoice = _one(
        "CREDIT NOTE\nCredit note: C-0391,,\nDate,2026-09-12,\nSupplier,Cobbin Lane Packaging,\n\n"
        "Description,Qty,Amount (EUR)\nRound tin 6 oz,-12,-10.32\nTotal,,-10.32\n"
    )
    assert (invoice.number, invoice.issued, invoice.supplier) == ("C-0391", date(2026, 9, 12), "Cobbin Lane Packaging")
    assert (invoice.type_code, invoice.gross, problems(invoice)) == ("381", Decimal("-10.32"), ())


def test_two_papers_one_below_the_other_keep_their_own_labels() -> None:
    block = (
        "Invoice: {0}\nDate: {1}\nSupplier: {2}\n"
        "Item,Description,Qty,Unit price,Total\nA1,Soda,2,3.00,6.00\n,,,Total,6.00\n"
    )
    text = block.format("B-1", "2026-09-01", "Brackwell") + "\n" + block.format("S-2", "2026-09-02", "Sallowby")
    invoices = read_csv(text.encode(), "x.csv")
    assert [(i.number, str(i.issued), i.supplier, i.gross, problems(i)) for i in invoices] == [
        ("B-1", "2026-09-01", "Brackwell", Decimal("6.00"), ()),
        ("S-2", "2026-09-02", "Sallowby", Decimal("6.00"), ()),
    ]
    assert [(line.item_code, line.name) for line in invoices[0].lines] == [("A1", "Soda"), ("", "Total")]


def test_number_date_and_supplier_may_stand_on_the_first_row_only() -> None:
    text = HEAD + "B-1,2026-09-01,Brackwell,M1,Soda,1,1 lb,2.00,2.00\n,,,M2,Salt,1,1 lb,3.00,3.00\n,,,,Total,,,,5.00\n"
    assert (len(_one(text).lines), problems(_one(text))) == (3, ())


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        (",Freight,,,,12.00", "charge"),
        (",UPS ground shipping,,,,12.00", "charge"),
        (",Postage and handling,,,,12.00", "charge"),
        (",Hazmat fee,,,,12.00", "charge"),
        (",Fuel surcharge,,,,12.00", "charge"),
        ("SHIP,Shipping & handling,1,,12.00,12.00", "charge"),
        (",Shipping boxes,12,,1.00,12.00", "goods"),
        ("K9,Shipping labels,1,500 each,12.00,12.00", "goods"),
        (",Volume discount 5 %,,,,-12.00", "discount"),
        (",Rebate,,,,-12.00", "discount"),
        (",Sales tax,,,,12.00", "tax"),
        (",VAT 20 %,,,,12.00", "tax"),
        ("M31,Hearth Smoke fragrance - free sample,1,0.25 oz,0.00,0.00", "sample"),
        ("M31,Fragrance free base,1,5 lb,12.00,12.00", "goods"),
        ("M29,Green mica back-ordered,2,2 oz,5.60,0.00", "back-order"),
        (",Invoice total,,,,12.00", "total"),
        (",Grand Total:,,,,12.00", "total"),
        (",Teak totem,1,,12.00,12.00", "goods"),
    ],
)
def test_kinds_of_rows_by_their_words(line: str, kind: str) -> None:
    """Common practice, no source."""
    assert _kinds(_one(_rows(line))) == [kind]


def test_a_kind_column_wins_over_words() -> None:
    lines = ("B-1,Freight,By lorry,5.00", "B-1,goods,Discount tins,6.00", "B-1,Discount,Friends,1.00")
    invoice = _one("\n".join(("Invoice,Kind,Description,Amount", *lines)))
    assert [(line.kind, line.net) for line in invoice.lines] == [
        ("charge", Decimal("5.00")), ("goods", Decimal("6.00")), ("discount", Decimal("-1.00"))
    ]  # fmt: skip


def test_traps_of_the_demo_are_no_prices() -> None:
    """demo/tables/invoice_traps.csv: a part shipped, a sample, a credit note."""
    head = "Invoice,Date,Supplier,Code,Description,Ordered,Shipped,Back-ordered,Price each,Amount\n"
    invoice = _one(
        head + "S-2207,2026-09-03,Sallowby,M29,Green mica,2,1,1,5.60,5.60\n"
        "S-2207,2026-09-03,Sallowby,M31,\"Hearth Smoke fragrance 0.25 oz, free sample\",1,1,0,0.00,0.00\n"
        "S-2207,2026-09-03,Sallowby,M30,Pearl mica,1,0,1,8.80,0.00\n,,,,Total,,,,,5.60\n"
    )  # fmt: skip
    assert _kinds(invoice) == ["goods", "sample", "back-order", "total"]
    assert [line.quantity for line in invoice.lines][:3] == [1, 1, 0]
    assert [counted(invoice, line) for line in invoice.lines] == [True, False, False, False]
    assert problems(invoice) == ()
    credit = _one(
        "Invoice,Date,Supplier,Line,Amount\nC-0391,2026-09-12,Cobbin,Credit note: 12 dented 6 oz tins,-10.32\n"
    )
    assert (credit.type_code, counted(credit, credit.lines[0])) == ("381", False)


def test_a_discount_without_a_sign_is_still_taken_off() -> None:
    assert problems(_one(_rows("M1,Soda,1,1 lb,20.00,20.00", ",Discount,,,,3.00", ",Total,,,,17.00"))) == ()


def test_a_total_below_zero_makes_a_credit_note() -> None:
    assert _one(_rows("M1,Soda,-1,1 lb,20.00,-20.00", ",Total,,,,-20.00")).type_code == "381"


def test_a_subtotal_is_no_line_and_is_checked() -> None:
    good = _one(_rows("M1,Soda,1,1 lb,20.00,20.00", ",Subtotal,,,,20.00", ",Freight,,,,3.00", ",Total,,,,23.00"))
    assert (_kinds(good), problems(good)) == (["goods", "charge", "total"], ())
    bad = _one(_rows("M1,Soda,1,1 lb,20.00,20.00", ",Subtotal,,,,21.00", ",Freight,,,,3.00", ",Total,,,,23.00"))
    assert problems(bad) == ("row 3: the lines above do not add up to the subtotal (difference 1.00)",)


def test_what_was_paid_is_no_discount() -> None:
    invoice = _one(
        _rows("M1,Soda,1,1 lb,20.00,20.00", ",Total,,,,20.00", ",Deposit paid,,,,-5.00", ",Balance due,,,,15.00")
    )
    assert (invoice.gross, invoice.prepaid, invoice.due) == (Decimal(20), Decimal(5), Decimal(15))
    assert problems(invoice) == ()


def test_two_totals_and_no_total_are_problems() -> None:
    two = problems(_one(_rows("M1,Soda,1,1 lb,20.00,20.00", ",Total,,,,20.00", ",Total,,,,21.00")))
    assert any("a second invoice total" in text for text in two)
    none = problems(_one(_rows("M1,Soda,1,1 lb,20.00,20.00")))
    assert none == ("the paper has no invoice total to check the lines against",)


def test_packs_times_price_is_checked_with_its_row_and_difference() -> None:
    found = problems(_one(_rows("M1,Soda,3,50 lb,36.00,107.00", ",Total,,,,107.00")))
    assert found == ("row 2: 'Soda' is 107.00, but its quantity and price make 108.00 (difference 1.00)",)


def test_lot_best_before_and_sharing_columns_are_read() -> None:
    text = (
        "Invoice,Date,Supplier,Item code,Item,Qty,Pack size,Unit price,Line total,Lot,Best before,Shared by,Covers\n"
        "B-1,2026-09-01,Brackwell,M02,Citric acid,2,25 lb,68.75,137.50,CA-4471,2026-11-30,,\n"
        "B-1,2026-09-01,Brackwell,,Freight,,,,10.00,,,Weight,Powder\nB-1,2026-09-01,Brackwell,,Total,,,,147.50,,,,\n"
    )
    goods, freight, _ = _one(text).lines
    assert (goods.lot, goods.best_before) == ("CA-4471", date(2026, 11, 30))
    assert (freight.shared_by, freight.covers) == ("weight", "powder")


@pytest.mark.parametrize(
    ("amounts", "style", "read"),
    [
        (("1.234,50", "1.000"), "comma", ("1234.50", "1000")),
        (("1,234.50", "1,000"), "point", ("1234.50", "1000")),
        (("0,125", "12"), "comma", ("0.125", "12")),
        (("-4,20", "12"), "comma", ("-4.20", "12")),
        (("(4.20)", "$12.00"), "point", ("-4.20", "12.00")),
        (("12", "13"), "point", ("12", "13")),
    ],
)
def test_the_numbers_of_the_file_tell_their_decimal_style(
    amounts: tuple[str, ...], style: str, read: tuple[str, ...]
) -> None:
    text = "Invoice;Item;Amount\n" + "".join(f"B-1;Soda;{amount}\n" for amount in amounts)
    invoice = _one(text)
    assert (invoice.decimal, [line.net for line in invoice.lines]) == (style, [Decimal(value) for value in read])


def test_a_style_that_no_number_tells_is_a_problem_and_a_given_one_is_not() -> None:
    text = "Invoice;Item;Amount\nB-1;Soda;1.000\nB-1;Total;1.000\n"
    assert any("decimal mark or a thousands mark" in problem for problem in problems(_one(text)))
    assert _one(text, decimal="comma").lines[0].net == 1000
    assert not any("mark" in problem for problem in problems(_one(text, decimal="comma")))
    mixed = problems(_one("Invoice;Item;Amount\nB-1;Soda;1.50\nB-1;Salt;1,50\n"))
    assert any("decimal points and with decimal commas" in problem for problem in mixed)


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("2026-09-01", date(2026, 9, 1)),
        ("2026/9/1", date(2026, 9, 1)),
        ("2026-09-01T10:15:00", date(2026, 9, 1)),
        ("13/09/2026", date(2026, 9, 13)),
        ("9/13/2026", date(2026, 9, 13)),
        ("9/13/26", date(2026, 9, 13)),
        ("09/09/2026", date(2026, 9, 9)),
        ("01.09.2026", date(2026, 9, 1)),
        ("1 September 2026", date(2026, 9, 1)),
        ("Sep 1, 2026", date(2026, 9, 1)),
        ("01-Sep-2026", date(2026, 9, 1)),
        ("01/09/2026", None),
        ("26/09/01", None),
        ("2026-02-30", None),
        ("soon", None),
    ],
)
def test_dates_are_read_only_where_they_leave_no_choice(written: str, read: date | None) -> None:
    invoice = _one(f'Invoice,Date,Supplier,Item,Amount\nB-1,"{written}",Brackwell,Soda,1.00\nB-1,,,Total,1.00\n')
    assert invoice.issued == read
    assert any(written in problem for problem in problems(invoice)) == (read is None)


def test_one_certain_date_settles_the_others() -> None:
    text = "Invoice,Date,Supplier,Item,Amount\nB-1,9/2/2026,Brackwell,Soda,1.00\nB-2,9/13/2026,Brackwell,Soda,1.00\n"
    assert [invoice.issued for invoice in read_csv(text.encode(), "x")] == [date(2026, 9, 2), date(2026, 9, 13)]


def test_two_dates_under_one_number_are_a_problem() -> None:
    text = "Invoice,Date,Supplier,Item,Amount\nB-1,2026-09-01,X,Soda,1.00\nB-1,2026-09-02,X,Salt,1.00\n"
    assert any("one number and 2 dates" in problem for problem in problems(_one(text)))


def test_formula_text_stays_text_and_unreadable_amounts_are_problems() -> None:
    invoice = _one(_rows('M1,"=HYPERLINK(""x"")",1,1 lb,20.00,20.00', "M2,Salt,1,1 lb,3.00,#REF!", ",Total,,,,20.00"))
    assert invoice.lines[0].name == '=HYPERLINK("x")'
    assert any("row 3: '#REF!' is not a number (amount)" in problem for problem in problems(invoice))


REFUSED = {
    "empty": (b"", "empty"),
    "zip": (b"PK\x03\x04\x14\x00\x06\x00", "not a list in text form"),
    "pdf": (b"%PDF-1.4\n%\xe2\xe3", "not a list in text form"),
    "zeros": (b"Item,Amount\n\x00\x00\x00", "not a list in text form"),
    "no cp1252": (b"Item,Amount\n\x81\x8d", "not a list in text form"),
    "no headings": (b"Soda,3,36.00,108.00\nSalt,1,13.80,13.80\n", "no row of headings"),
    "headings only": (HEAD.encode(), "no row of headings with lines under it"),
    "prose": (b"Dear customer,\nplease find our invoice attached.\n", "no row of headings"),
    "open quotation": (b'Item,Amount\n"Soda,3\n', "no row of headings|quotation marks"),
}


@pytest.mark.parametrize("kind", REFUSED)
def test_what_is_no_list_is_said_in_a_sentence_with_its_name(kind: str) -> None:
    data, words = REFUSED[kind]
    with pytest.raises(InvoiceError, match=words) as caught:
        read_csv(data, "bad.csv")
    assert str(caught.value).startswith("bad.csv: ")


def test_no_headings_names_what_was_looked_for() -> None:
    with pytest.raises(InvoiceError, match="amount") as caught:
        read_csv(b"a,b\n1,2\n", "bad.csv")
    assert "description" in str(caught.value) and "pack price" in str(caught.value)


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=300))
def test_random_bytes_raise_nothing_but_an_invoice_error(data: bytes) -> None:
    for start in (b"", HEAD.encode()):
        try:
            found = read_csv(start + data, "random")
        except InvoiceError:
            continue
        assert all(isinstance(text, str) for invoice in found for text in problems(invoice))


@settings(max_examples=100, deadline=None)
@given(st.lists(st.lists(st.text(max_size=12), min_size=9, max_size=9), min_size=1, max_size=6))
def test_random_cells_are_read_and_no_row_with_an_amount_is_dropped(cells: list[list[str]]) -> None:
    below: list[tuple[Value, ...]] = [(*row[:4], "Soda", *row[5:8], 1.5) for row in cells]
    grid = Grid("List", (tuple(HEAD.strip().split(",")), *below))
    found = read_grids(Snapshot("x", {"List": grid}), "x.xlsx")
    assert sum(len(invoice.lines) for invoice in found) == len(cells)


def _snapshot(*cells: tuple[Value, ...], formulas: dict[tuple[int, int], str] | None = None) -> Snapshot:
    return Snapshot("list", {"Sheet1": Grid("Sheet1", cells, formulas or {})})


def test_a_workbook_list_takes_typed_values_as_they_are() -> None:
    (invoice,) = read_grids(
        _snapshot(
            ("Invoice", 1041.0, None),
            ("Date", datetime(2026, 9, 1, 8, 30)),
            ("Supplier", "Brackwell"),
            ("Code", "Description", "Qty", "Pack", "Unit price", "Amount"),
            (12.0, "Soda", 3, "50 lb", 36.0, 0.1 + 0.2 + 107.7),
            (None, "Invoice total", None, None, None, 108.0),
        ),
        "list.xlsx",
    )
    assert (invoice.number, invoice.issued, invoice.syntax) == ("1041", date(2026, 9, 1), "workbook")
    line = invoice.lines[0]
    assert (line.item_code, line.net, line.place) == ("12", Decimal("108.0"), "Sheet1 row 5")
    assert problems(invoice) == ()


def test_an_error_or_an_empty_formula_in_a_workbook_is_a_problem() -> None:
    (invoice,) = read_grids(
        _snapshot(
            ("Invoice", "Date", "Supplier", "Description", "Amount"),
            ("B-1", date(2026, 9, 1), "Brackwell", "Soda", ErrorValue("#DIV/0!")),
            ("B-1", date(2026, 9, 1), "Brackwell", "Salt", None),
            ("B-1", date(2026, 9, 1), "Brackwell", "Total", 5),
            formulas={(1, 4): "=1/0", (2, 4): "=SUM(A1)"},
        ),
        "list.xlsx",
    )
    found = problems(invoice)
    assert any("Sheet1 row 2: '#DIV/0!' is not a number" in text for text in found)
    assert any("Sheet1 row 3: 'a formula without a result' is not a number" in text for text in found)


def test_a_workbook_without_headings_is_refused() -> None:
    with pytest.raises(InvoiceError, match=r"list\.xlsx: no row of headings"):
        read_grids(_snapshot(("a", "b"), (1, 2)), "list.xlsx")


@pytest.mark.parametrize(
    ("title", "code"),
    [("Order confirmation", "231"), ("AUFTRAGSBESTÄTIGUNG", "231"), ("Delivery note", "270"), ("Packing slip", "271"), ("Delivery note,DN-7", "380"),
     ("Purchase order,4711", "380"), ("Invoice", "380"), ("Statement", "statement"), ("Kontoauszug", "statement"), ("Relevé de compte", "statement"), ("REKENINGOVERZICHT", "statement"),
     ("Extracto de cuenta", "statement"), ("Estado de cuenta", "statement"), ("Pro forma", "325"), ("Proforma invoice", "325"),
     ("Proforma-Rechnung", "325"), ("Facture pro forma", "325"), ("Quote", "310"), ("Quotation Q-17", "310"), ("Estimate", "310"), ("Angebot Nr. 17", "310"),
     ("Devis n° 17", "310"), ("OFFERTE", "310"), ("Presupuesto", "310"), ("Reminder", "reminder"), ("2. Mahnung", "reminder"), ("Rappel", "reminder"),
     ("Aanmaning", "reminder"), ("Packing list", "271"), ("Packliste", "271"), ("Liste de colisage", "271"), ("Paklijst", "271"),
     ("Lista de embalaje", "271"), ("Remittance advice", "remittance"), ("Anzahlungsrechnung", "386"), ("Your quotation no. 17", "380"),
     ("Quotation,17", "380"), ("Delivery note: 4711", "380"), ("Thank you for your order", "380"), ("Bank statement soap", "380")],
)  # fmt: skip
def test_a_list_that_calls_itself_something_else_is_no_invoice(title: str, code: str) -> None:
    """As the title of a list they say what it is; with a number beside they say what the invoice refers to."""
    text = f"{title}\nInvoice,C-1,\nDate,2026-09-12,\nSupplier,Cobbin Lane Packaging,\n\nItem,Packs,Pack price,Amount\nJar,2,5.00,10.00\nTotal,,,10.00\n"
    (found,) = read_csv(text.encode(), "c.csv")
    assert found.type_code == code
    assert bool(problems(found)) is (code != "380")


@pytest.mark.parametrize(
    ("above", "code"),
    [("Quotation: Q-17\nDocument,17", "310"), ("Quotation,Q-17\nDocument,17", "310"), ("Angebot: 17\nNumber,17", "310"), ("Pro forma: 5\nDocument no,17", "325"),
     ("Statement: 9\nDocument,9", "statement"), ("Quotation: Q-17\nInvoice no,17", "380"), ("Order: 17\nDocument,17", "380"), ("Delivery note: 17\nDocument,17", "380")],
)  # fmt: skip
def test_a_list_that_names_an_offer_and_no_invoice_is_the_offer(above: str, code: str) -> None:
    """Orders and deliveries are named on invoices too, and a list that names an invoice is one."""
    text = f"{above}\nDate,2026-09-12\nSupplier,Cobbin Lane Packaging\n\nItem,Packs,Pack price,Amount\nJar,2,5.00,10.00\nTotal,,,10.00\n"
    (found,) = read_csv(text.encode(), "c.csv")
    assert found.type_code == code and bool(problems(found)) is (code != "380")
