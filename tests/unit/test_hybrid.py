"""A page with an e-invoice inside: it waits where the two clearly differ, and only there.

Page and e-invoice are drawn here from the lines of `printed_papers` (together 156.70), without freight, discount and tax.
"""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from printed_papers import LANGUAGES, LINES, Paper, pdf
from pypdf import PdfReader, PdfWriter

from costbook.book.model import Invoice
from costbook.invoices.checks import problems
from costbook.papers import read_paper

UBL = """<Invoice xmlns="urn:oasis:names:specification:ubl:schema:xsd:Invoice-2"
 xmlns:cac="urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
 xmlns:cbc="urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2">
<cbc:ID>HB-2041</cbc:ID><cbc:IssueDate>{day}</cbc:IssueDate><cbc:InvoiceTypeCode>380</cbc:InvoiceTypeCode>
<cbc:DocumentCurrencyCode>EUR</cbc:DocumentCurrencyCode>
<cac:AccountingSupplierParty><cac:Party><cac:PartyLegalEntity><cbc:RegistrationName>Hollow Oak Botanicals Ltd</cbc:RegistrationName>
</cac:PartyLegalEntity></cac:Party></cac:AccountingSupplierParty>
<cac:LegalMonetaryTotal><cbc:LineExtensionAmount>156.70</cbc:LineExtensionAmount><cbc:TaxExclusiveAmount>156.70</cbc:TaxExclusiveAmount>
<cbc:TaxInclusiveAmount>156.70</cbc:TaxInclusiveAmount><cbc:PayableAmount>156.70</cbc:PayableAmount></cac:LegalMonetaryTotal>
{lines}</Invoice>"""
LINE = """<cac:InvoiceLine><cbc:ID>{at}</cbc:ID><cbc:InvoicedQuantity unitCode="C62">{packs}</cbc:InvoicedQuantity>
<cbc:LineExtensionAmount>{net}</cbc:LineExtensionAmount><cac:Item><cbc:Name>{name}</cbc:Name><cac:SellersItemIdentification>
<cbc:ID>{code}</cbc:ID></cac:SellersItemIdentification></cac:Item><cac:Price><cbc:PriceAmount>{price}</cbc:PriceAmount></cac:Price>
</cac:InvoiceLine>"""


def hybrid(folder: Path, page: Paper, lines: tuple[tuple[str, ...], ...] = LINES, day: str = "2026-09-14") -> Invoice:
    """The paper read from a PDF that shows `page` and holds an e-invoice of these lines and that day."""
    drawn = [LINE.format(at=at, code=c, name=n, packs=q, price=p, net=a) for at, (c, n, q, p, a) in enumerate(lines, 1)]
    made = PdfWriter(PdfReader(io.BytesIO(pdf(page))))
    made.add_attachment("e-invoice.xml", UBL.format(day=day, lines="".join(drawn)).encode())
    with (folder / "hybrid.pdf").open("wb") as file:
        made.write(file)
    [read] = read_paper(folder / "hybrid.pdf")
    return read


def shown(language: str = "en", *, day: str | None = None, headings: tuple[str, ...] | None = None) -> Paper:
    return Paper(language, freight="", discount="", taxes=("", ""), net="156.70", total="156.70", day=day, headings=headings)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("day", [None, "2026-09-14", "14/09/2026", "09/14/2026"])
def test_page_and_e_invoice_that_agree_are_posted(language: str, day: str | None, tmp_path: Path) -> None:
    read = hybrid(tmp_path, shown(language, day=day))
    assert read.syntax == "UBL" and problems(read) == ()


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("day", ["2026-09-15", "15/09/2026", "09/15/2026"])
def test_another_date_on_the_page_waits(language: str, day: str, tmp_path: Path) -> None:
    why = "the page is dated 2026-09-15, the e-invoice inside the file 2026-09-14"
    assert problems(hybrid(tmp_path, shown(language, day=day))) == (why,)


def test_a_date_that_can_be_read_in_two_ways_differs_only_where_both_do(tmp_path: Path) -> None:
    assert problems(hybrid(tmp_path, shown(day="02/08/2026"), day="2026-08-02")) == ()
    assert problems(hybrid(tmp_path, shown(day="02/08/2026"), day="2026-02-08")) == ()
    why = "the page is dated 2026-02-08 or 2026-08-02, the e-invoice inside the file 2026-08-03"
    assert problems(hybrid(tmp_path, shown(day="02/08/2026"), day="2026-08-03")) == (why,)


@pytest.mark.parametrize("language", LANGUAGES)
def test_another_quantity_on_the_page_waits(language: str, tmp_path: Path) -> None:
    """5 x 10.00 and 4 x 12.50 are 50.00 both, so no sum tells."""
    other = (("LV-10", "Lavender oil 100 ml", "5", "10.00", "50.00"), *LINES[1:])
    why = "line 1: the page shows 4 of 'Lavender oil 100 ml', the e-invoice inside the file 5"
    assert problems(hybrid(tmp_path, shown(language), other)) == (why,)


def test_swapped_quantity_and_price_wait(tmp_path: Path) -> None:
    swapped = (LINES[0], ("SB-05", "Shea butter refined", "3.20", "10", "32.00"), LINES[2])
    assert any("the page shows 10 of 'Shea butter refined', the e-invoice inside the file 3.2" in why for why in problems(hybrid(tmp_path, shown(), swapped)))


def test_columns_without_words_that_are_known_contradict_nothing(tmp_path: Path) -> None:
    """Which of two figures is the quantity is then only a guess, here a wrong one."""
    swapped = (LINES[0], ("SB-05", "Shea butter refined", "3.20", "10", "32.00"), LINES[2])
    assert problems(hybrid(tmp_path, shown(headings=("Aaa", "Bbb", "Ccc", "Ddd", "Eee")), swapped)) == ()
