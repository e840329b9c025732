"""E-invoices of both syntaxes: every value of the public samples, and files that are meant to do harm.

Expected values: ../shared/invoices/manifest.csv and lines.csv, computed from the XML by another reader (NOTICE.md there
names the samples' publishers and licences).
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shared_files import FOLDER, rows, shared

from costbook.book.model import Invoice
from costbook.errors import InvoiceError
from costbook.invoices import en16931
from costbook.invoices.checks import problems, summed

XML_FILES = [
    "cen-BIS_Billing_30-Kreditering_med_kreditnota", "cen-BIS_Billing_30-Rabatter_och_avgifter", "cen-CII_example3",
    "xr-01.01a-INVOICE_ubl", "xr-01.01a-INVOICE_uncefact", "xr-01.05_minimal_test_ubl",
    "xr-01.05_minimal_test_uncefact", "xr-01.06a-INVOICE_ubl", "xr-01.06a-INVOICE_uncefact", "xr-01.17a-INVOICE_ubl",
    "xr-01.17a-INVOICE_uncefact", "xr-01.18a-INVOICE_ubl", "xr-01.18a-INVOICE_uncefact", "xr-03.06a-INVOICE_ubl",
    "xr-03.06a-INVOICE_uncefact", "xr-04.02a-INVOICE_ubl", "xr-05.01a-INVOICE_ubl", "zf-EN16931_1_Teilrechnung.ubl",
    "zf-EN16931_Rabatte.cii", "zf-EN16931_Rabatte.ubl", "zf-EN16931_Rechnungskorrektur.ubl",
    "zf-testout-ZF2PushChargesAllowances",
]  # fmt: skip


def _sample(name: str) -> Invoice:
    path = shared(f"invoices/xml/{name}.xml")
    return en16931.read(path.read_bytes(), path.name)


def _amount(text: str) -> Decimal | None:
    return Decimal(text) if text else None


def _manifest(name: str) -> dict[str, str]:
    return next(row for row in rows("invoices/manifest.csv") if row["file"] == f"xml/{name}.xml")


def test_every_sample_is_in_the_list() -> None:
    shared("invoices/xml")
    assert sorted(path.stem for path in (FOLDER / "invoices/xml").glob("*.xml")) == sorted(XML_FILES)


@pytest.mark.parametrize("name", XML_FILES)
def test_totals_of_the_public_samples(name: str) -> None:
    expected, invoice = _manifest(name), _sample(name)
    texts = ("type_code", "number", "issue_date", "currency", "supplier", "syntax")
    found = (invoice.type_code, invoice.number, str(invoice.issued), invoice.currency, invoice.supplier, invoice.syntax)
    assert found == tuple(expected[column] for column in texts)
    amounts = ("sum_lines", "allowances", "charges", "net", "tax", "gross", "prepaid", "rounding", "due")
    assert (
        invoice.line_total, invoice.discount_total, invoice.charge_total, invoice.net, invoice.tax, invoice.gross,
        invoice.prepaid, invoice.rounding, invoice.due,
    ) == tuple(_amount(expected[column]) for column in amounts)  # fmt: skip


@pytest.mark.parametrize("name", XML_FILES)
def test_lines_of_the_public_samples(name: str) -> None:
    expected = [row for row in rows("invoices/lines.csv") if row["file"] == f"xml/{name}.xml"]
    lines = [line for line in _sample(name).lines if line.line_id]
    assert [
        (line.line_id, line.parent, "GROUP" if line.group else "", line.name, line.item_code, line.gtin, line.unit,
         line.tax_category)
        for line in lines
    ] == [
        (row["line_id"], row["parent_id"], row["line_kind"], row["name"], row["supplier_sku"], row["gtin"], row["uom"],
         row["tax_category"])
        for row in expected
    ]  # fmt: skip
    columns = ("qty", "price", "base_qty", "gross_price", "price_discount", "line_allowances", "line_charges", "net",
               "tax_rate")  # fmt: skip
    assert [
        (line.quantity, line.price, line.base_quantity, line.gross_price, line.price_discount, line.allowances,
         line.charges, line.net, line.tax_percent)
        for line in lines
    ] == [tuple(_amount(row[column]) for column in columns) for row in expected]  # fmt: skip


@pytest.mark.parametrize("name", XML_FILES)
def test_a_sample_has_problems_exactly_where_it_is_for_review(name: str) -> None:
    assert (problems(_sample(name)) == ()) == (_manifest(name)["expected"] == "post")


def test_document_discounts_and_charges_are_signed_lines_with_their_reason() -> None:
    """Read by eye from zf-EN16931_Rabatte.ubl.xml: 1.00 and 13.73 off, 5.80 for sending."""
    found = [(line.kind, line.name, line.net) for line in _sample("zf-EN16931_Rabatte.ubl").lines if not line.line_id]
    assert found == [
        ("discount", "Sondernachlass", Decimal("-1")),
        ("discount", "Sondernachlass", Decimal("-13.73")),
        ("charge", "Versandkosten", Decimal("5.8")),
    ]


def test_parts_of_a_group_are_not_summed_twice() -> None:
    """xr-04.02a: 12.32 and 15.40 are the parts of a line of 27.72."""
    invoice = _sample("xr-04.02a-INVOICE_ubl")
    assert [line.net for line in summed(invoice)] == [Decimal("12.32"), Decimal("15.40")]


UBL = """<?xml version="1.0" encoding="{encoding}"?>
<Invoice xmlns="urn:oasis:names:specification:ubl:schema:xsd:Invoice-2"
 xmlns:cac="urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
 xmlns:cbc="urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2">
<cbc:ID>{number}</cbc:ID><cbc:IssueDate>2026-09-03</cbc:IssueDate><cbc:InvoiceTypeCode>380</cbc:InvoiceTypeCode>
<cbc:DocumentCurrencyCode>USD</cbc:DocumentCurrencyCode><cbc:TaxCurrencyCode>EUR</cbc:TaxCurrencyCode>
<cac:AccountingSupplierParty><cac:Party><cac:PartyName><cbc:Name>Sallowby Scents</cbc:Name></cac:PartyName></cac:Party>
</cac:AccountingSupplierParty>
<cac:AllowanceCharge><cbc:ChargeIndicator>true</cbc:ChargeIndicator>
<cbc:AllowanceChargeReason>Hazmat fee (share by value, scent lines)</cbc:AllowanceChargeReason>
<cbc:Amount>24.00</cbc:Amount>
<cac:TaxCategory><cbc:ID>O</cbc:ID></cac:TaxCategory></cac:AllowanceCharge>
<cac:TaxTotal><cbc:TaxAmount currencyID="EUR">7.77</cbc:TaxAmount></cac:TaxTotal>
<cac:TaxTotal><cbc:TaxAmount currencyID="USD">0.00</cbc:TaxAmount><cac:TaxSubtotal>
<cbc:TaxableAmount>83.20</cbc:TaxableAmount><cbc:TaxAmount>0.00</cbc:TaxAmount>
<cac:TaxCategory><cbc:ID>O</cbc:ID></cac:TaxCategory></cac:TaxSubtotal></cac:TaxTotal>
<cac:LegalMonetaryTotal><cbc:LineExtensionAmount>59.20</cbc:LineExtensionAmount>
<cbc:TaxExclusiveAmount>83.20</cbc:TaxExclusiveAmount><cbc:TaxInclusiveAmount>83.20</cbc:TaxInclusiveAmount>
<cbc:ChargeTotalAmount>24.00</cbc:ChargeTotalAmount><cbc:PayableAmount>83.20</cbc:PayableAmount>
</cac:LegalMonetaryTotal>
<cac:InvoiceLine><cbc:ID>1</cbc:ID><cbc:InvoicedQuantity unitCode="H87">2</cbc:InvoicedQuantity>
<cbc:LineExtensionAmount>59.20</cbc:LineExtensionAmount><cac:Item><cbc:Name>{name}</cbc:Name>
<cac:SellersItemIdentification><cbc:ID>M22</cbc:ID></cac:SellersItemIdentification>
<cac:ClassifiedTaxCategory><cbc:ID>O</cbc:ID></cac:ClassifiedTaxCategory>
<cac:AdditionalItemProperty><cbc:Name>Pack size</cbc:Name><cbc:Value>16 fl oz</cbc:Value></cac:AdditionalItemProperty>
<cac:AdditionalItemProperty><cbc:Name>Lot</cbc:Name><cbc:Value>RG-2206</cbc:Value></cac:AdditionalItemProperty>
<cac:AdditionalItemProperty><cbc:Name>Best before</cbc:Name><cbc:Value>2026-11-30</cbc:Value>
</cac:AdditionalItemProperty>
</cac:Item><cac:Price><cbc:PriceAmount>{price}</cbc:PriceAmount></cac:Price></cac:InvoiceLine></Invoice>"""


def _ubl(
    encoding: str = "UTF-8", number: str = "S-2207", name: str = "Salt Mist fragrance", price: str = "29.60"
) -> str:
    return UBL.format(encoding=encoding, number=number, name=name, price=price)


CII = """<rsm:CrossIndustryInvoice xmlns:rsm="urn:un:unece:uncefact:data:standard:CrossIndustryInvoice:100"
 xmlns:ram="urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100"
 xmlns:udt="urn:un:unece:uncefact:data:standard:UnqualifiedDataType:100">
<rsm:ExchangedDocument><ram:ID>7</ram:ID><ram:TypeCode>380</ram:TypeCode><ram:IssueDateTime>
<udt:DateTimeString format="102">20260903</udt:DateTimeString></ram:IssueDateTime></rsm:ExchangedDocument>
<rsm:SupplyChainTradeTransaction>{lines}<ram:ApplicableHeaderTradeAgreement><ram:SellerTradeParty><ram:Name>Brackwell
</ram:Name></ram:SellerTradeParty></ram:ApplicableHeaderTradeAgreement><ram:ApplicableHeaderTradeSettlement>
<ram:InvoiceCurrencyCode>EUR</ram:InvoiceCurrencyCode>
<ram:SpecifiedTradeSettlementHeaderMonetarySummation><ram:LineTotalAmount>10.00</ram:LineTotalAmount>
<ram:TaxBasisTotalAmount>10.00</ram:TaxBasisTotalAmount><ram:GrandTotalAmount>10.00</ram:GrandTotalAmount>
<ram:DuePayableAmount>10.00</ram:DuePayableAmount></ram:SpecifiedTradeSettlementHeaderMonetarySummation>
</ram:ApplicableHeaderTradeSettlement></rsm:SupplyChainTradeTransaction></rsm:CrossIndustryInvoice>"""


def _cii_line(number: str, net: str, *, status: str = "", parent: str = "", base: str = "", batch: str = "") -> str:
    status = f"<ram:LineStatusReasonCode>{status}</ram:LineStatusReasonCode>" if status else ""
    parent = f"<ram:ParentLineID>{parent}</ram:ParentLineID>" if parent else ""
    base = f"<ram:BasisQuantity>{base}</ram:BasisQuantity>" if base else ""
    batch = (
        f"<ram:IndividualTradeProductInstance><ram:BatchID>{batch}</ram:BatchID></ram:IndividualTradeProductInstance>"
    )
    return f"""<ram:IncludedSupplyChainTradeLineItem><ram:AssociatedDocumentLineDocument><ram:LineID>{number}
</ram:LineID>
{parent}{status}</ram:AssociatedDocumentLineDocument><ram:SpecifiedTradeProduct><ram:Name>Soda</ram:Name>{batch}
</ram:SpecifiedTradeProduct><ram:SpecifiedLineTradeAgreement><ram:GrossPriceProductTradePrice>
<ram:ChargeAmount>5.00</ram:ChargeAmount>{base}</ram:GrossPriceProductTradePrice><ram:NetPriceProductTradePrice>
<ram:ChargeAmount>5.00</ram:ChargeAmount></ram:NetPriceProductTradePrice></ram:SpecifiedLineTradeAgreement>
<ram:SpecifiedLineTradeDelivery><ram:BilledQuantity unitCode="KGM">20</ram:BilledQuantity>
</ram:SpecifiedLineTradeDelivery>
<ram:SpecifiedLineTradeSettlement><ram:SpecifiedTradeSettlementLineMonetarySummation><ram:LineTotalAmount>{net}
</ram:LineTotalAmount></ram:SpecifiedTradeSettlementLineMonetarySummation></ram:SpecifiedLineTradeSettlement>
</ram:IncludedSupplyChainTradeLineItem>"""


def test_item_attributes_give_pack_lot_and_date() -> None:
    line = en16931.read(_ubl().encode(), "s.xml").lines[0]
    assert (line.pack_size, line.pack_unit, line.lot, line.best_before) == (
        "16",
        "fl oz",
        "RG-2206",
        date(2026, 11, 30),
    )


def test_the_words_of_a_charge_say_how_it_is_shared() -> None:
    line = en16931.read(_ubl().encode(), "s.xml").lines[1]
    assert (line.kind, line.net, line.shared_by, line.covers) == ("charge", Decimal("24.00"), "value", "scent")


def test_the_tax_total_is_the_one_in_the_invoice_currency() -> None:
    invoice = en16931.read(_ubl().encode(), "s.xml")
    assert invoice.tax == Decimal("0.00")
    assert problems(invoice) == ()


def test_the_base_quantity_may_stand_on_the_gross_price_only() -> None:
    """EN 16931 BT-149; 20 kg at 5.00 for 10 kg are 10.00."""
    invoice = en16931.read(CII.format(lines=_cii_line("1", "10.00", base="10", batch="CA-4471")).encode(), "c.xml")
    assert (invoice.lines[0].base_quantity, invoice.lines[0].lot) == (Decimal(10), "CA-4471")
    assert problems(invoice) == ()


def test_a_cii_group_is_left_out_of_the_sums_and_information_too() -> None:
    """Factur-X EXTENDED, BT-X-8 and rule BR-FXEXT-CO-10: only DETAIL lines and lines without a subtype are summed."""
    lines = (
        _cii_line("1", "10.00", status="GROUP", base="10")
        + _cii_line("2", "10.00", status="DETAIL", parent="1", base="10")
        + _cii_line("3", "10.00", status="INFORMATION", base="10")
    )
    invoice = en16931.read(CII.format(lines=lines).encode(), "c.xml")
    assert [line.group for line in invoice.lines] == [True, False, True]
    assert problems(invoice) == ()


def test_a_group_that_is_not_its_parts_is_a_problem() -> None:
    lines = _cii_line("1", "9.00", status="GROUP") + _cii_line("2", "10.00", parent="1", base="10")
    assert any("sum of its parts" in text for text in problems(en16931.read(CII.format(lines=lines).encode(), "c.xml")))


@pytest.mark.parametrize("encoding", ["UTF-8", "UTF-16", "ISO-8859-1", "windows-1252"])
def test_encodings_give_the_same_paper(encoding: str) -> None:
    invoice = en16931.read(_ubl(encoding, name="Crème fraîche scent").encode(encoding), "s.xml")
    assert invoice.lines[0].name == "Crème fraîche scent"
    assert problems(invoice) == ()


def test_utf_8_with_a_mark_and_utf_16_without_one() -> None:
    assert en16931.read(b"\xef\xbb\xbf" + _ubl().encode(), "s.xml").number == "S-2207"
    assert en16931.read(_ubl("UTF-16").encode("utf-16-le"), "s.xml").number == "S-2207"
    assert en16931.read(_ubl("UTF-16").encode("utf-16-be"), "s.xml").number == "S-2207"


def test_a_formula_in_a_name_stays_text_and_control_marks_go() -> None:
    line = en16931.read(_ubl(name="=HYPERLINK(&quot;x&quot;)\u202egpj\u0085 soda").encode(), "s.xml").lines[0]
    assert line.name == '=HYPERLINK("x")gpj soda'


def test_a_number_that_is_none_is_a_problem_not_an_error() -> None:
    for written in ("29,60", "1e3", "NaN", "9" * 40, "twenty"):
        found = problems(en16931.read(_ubl(price=written).encode(), "s.xml"))
        assert any("is not a number" in text and text.startswith("line 1") for text in found), written


DOCTYPES = {
    "plain": '<!DOCTYPE Invoice SYSTEM "http://example.org/x.dtd">',
    "entity": '<!DOCTYPE Invoice [<!ENTITY x "S-2207">]>',
    "external": '<!DOCTYPE Invoice [<!ENTITY x SYSTEM "file:///etc/hostname">]>',
    "laughs": '<!DOCTYPE Invoice [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {name} "{f"&{last};" * 10}">' for last, name in zip("abcdefghi", "bcdefghix", strict=True))
    + "]>",
    "after comments": "<!-- a --> <!-- b -->" * 40 + "<?note?>\n<!DOCTYPE Invoice>",
}


@pytest.mark.parametrize("kind", DOCTYPES)
@pytest.mark.parametrize("encoding", ["UTF-8", "UTF-16", "ISO-8859-1"])
def test_a_doctype_is_refused_in_one_sentence(kind: str, encoding: str) -> None:
    text = _ubl(encoding, number="&x;" if kind in ("entity", "external", "laughs") else "1")
    head, rest = text.split("\n", 1)
    with pytest.raises(InvoiceError) as caught:
        en16931.read(f"{head}{DOCTYPES[kind]}{rest}".encode(encoding), "bad.xml")
    assert str(caught.value) == "bad.xml: it declares a DOCTYPE, which no e-invoice needs, so it was not opened."


def test_an_encoding_that_could_hide_a_doctype_is_refused() -> None:
    with pytest.raises(InvoiceError, match=r"bad\.xml.*utf-7"):
        en16931.read(_ubl("UTF-7").encode(), "bad.xml")


BROKEN = {
    "empty": (b"", "empty"),
    "blank": (b" \n\t ", "empty"),
    "no xml": (b"Invoice,Date\nB-1041,2026-09-01\n", "not complete XML"),
    "truncated": (_ubl().encode()[:900], "not complete XML"),
    "open comment": (b"<?xml version='1.0'?><!-- never closed", "not complete XML"),
    "other root": (b"<html><body>Invoice</body></html>", "not an e-invoice"),
    "no namespace": (b"<Invoice><ID>1</ID></Invoice>", "not an e-invoice"),
    "unknown entity": (_ubl(number="&x;").encode(), "not complete XML"),
    "older form": (
        b'<a:CrossIndustryDocument xmlns:a="urn:ferd:CrossIndustryDocument:invoice:1p0"/>', "older than EN 16931"
    ),
    "pdf": (b"%PDF-1.7\n\xe2\xe3\xcf\xd3", "cannot be read"),
    "too deep": (b"<a>" * 5000 + b"</a>" * 5000, "not complete XML"),
}  # fmt: skip


@pytest.mark.parametrize("kind", BROKEN)
def test_what_is_no_e_invoice_is_said_in_a_sentence_with_its_name(kind: str) -> None:
    data, words = BROKEN[kind]
    with pytest.raises(InvoiceError, match=words) as caught:
        en16931.read(data, "bad.xml")
    assert str(caught.value).startswith("bad.xml: ")
    assert "Traceback" not in str(caught.value) and len(str(caught.value)) < 300


def test_a_file_too_large_is_refused_before_it_is_read() -> None:
    with pytest.raises(InvoiceError, match="larger than 20 MB"):
        en16931.read(b"<" * (en16931.LARGEST_BYTES + 1), "big.xml")
    # A million empty lines, twenty megabytes, took 23 seconds and 1.8 GB.
    head, tail = b'<Invoice xmlns="urn:oasis:names:specification:ubl:schema:xsd:Invoice-2">', b"</Invoice>"
    with pytest.raises(InvoiceError, match="more elements than an e-invoice of 3,000 lines"):
        en16931.read(head + b"<InvoiceLine/>" * en16931.MOST_MARKS + tail, "lines.xml")
    with pytest.raises(InvoiceError, match="starts with"):
        en16931.read(head.replace(b"Invoice", b"Order") + b"<InvoiceLine/>" * 3_000 + tail.replace(b"Invoice", b"Order"), "lines.xml")


def test_looks_like_tells_e_invoices_from_other_files() -> None:
    assert en16931.looks_like(_ubl().encode())
    assert en16931.looks_like(_ubl("UTF-16").encode("utf-16"))
    assert not en16931.looks_like(b"<html><body/></html>")
    assert not en16931.looks_like(b"Invoice,Date\n")
    assert not en16931.looks_like(b"")


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=400))
def test_random_bytes_raise_nothing_but_an_invoice_error(data: bytes) -> None:
    en16931.looks_like(data)
    with pytest.raises(InvoiceError):
        en16931.read(data, "random")


@settings(max_examples=150, deadline=None)
@given(st.integers(0, len(_ubl()) - 1), st.binary(min_size=1, max_size=6))
def test_a_damaged_invoice_is_read_or_refused_and_can_be_checked(place: int, bytes_in: bytes) -> None:
    data = _ubl().encode()
    try:
        invoice = en16931.read(data[:place] + bytes_in + data[place + len(bytes_in) :], "damaged")
    except InvoiceError:
        return
    assert all(isinstance(text, str) for text in problems(invoice))
