"""Printed papers with a text layer: invented papers in five languages, what is unusual about them, and what must wait.

Expected figures are those typed in `printed_papers`, added up there by hand.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from printed_papers import LANGUAGES, LINES, WRAPPED, Paper, credit, pdf
from records import replace

from costbook.book.model import Invoice
from costbook.hosts.pages import read_pages
from costbook.invoices import page
from costbook.invoices.checks import problems, sign

D = Decimal


def read(paper: Paper, suppliers: tuple[str, ...] = ()) -> Invoice:
    return page.read(read_pages(pdf(paper), "paper.pdf"), "paper.pdf", suppliers)


def rows(invoice: Invoice) -> list[tuple[str, str, Decimal, Decimal | None, Decimal]]:
    return [(x.item_code, x.name, x.quantity, x.price, x.net) for x in invoice.lines if x.kind == "goods"]


def wanted(turn: int = 1, more: str = "") -> list[tuple[str, str, Decimal, Decimal, Decimal]]:
    return [(code, name + more, turn * D(packs), D(price), turn * D(net)) for code, name, packs, price, net in LINES]


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("wrapped", [False, True])
def test_a_paper_is_read_exactly(language: str, wrapped: bool) -> None:
    got = read(Paper(language, wrapped=wrapped))
    assert problems(got) == ()
    assert rows(got) == wanted(more=f" {WRAPPED}" if wrapped else "")
    assert [(x.kind, x.net) for x in got.lines if x.kind != "goods"] == [("discount", D("-6.20")), ("charge", D("9.50"))]
    assert (got.number, got.issued, got.type_code, got.currency) == ("HB-2041", date(2026, 9, 14), "380", "EUR")
    assert (got.tax, got.gross, got.supplier) == (D("23.00"), D("183.00"), LANGUAGES[language].supplier)
    assert all(x.place.startswith("page 1, row ") for x in got.lines)


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_credit_note_gives_back(language: str) -> None:
    got = read(credit(language))
    assert problems(got) == () and sign(got) == 1
    assert rows(got) == wanted(-1)
    assert got.type_code == ("384" if language == "de" else "381") and got.number == "CN-77"
    assert got.gross == D("-183.00")


def test_a_credit_note_with_positive_amounts_is_turned_round_by_its_type() -> None:
    got = read(Paper("en", "CN-78", credit=True))
    assert problems(got) == () and got.type_code == "381" and sign(got) == -1


def test_a_german_gutschrift_with_positive_amounts_is_asked() -> None:
    """The word means a credit note as well as a bill the buyer writes."""
    got = page.read(read_pages(pdf(Paper("de")).replace(b"(Rechnung)", b"(Gutschrift)"), "p.pdf"), "p.pdf")
    german = replace(LANGUAGES["de"], title="Gutschrift", number="Gutschrift Nr.")
    LANGUAGES["gutschrift"] = german
    try:
        got = read(Paper("gutschrift"))
    finally:
        del LANGUAGES["gutschrift"]
    assert any("not certain" in why for why in problems(got))


def test_without_heading_words_the_guess_waits() -> None:
    got = read(Paper(headings=("", "", "", "", "")))
    assert any("no heading words" in why for why in problems(got))
    assert [(x.quantity, x.price, x.net) for x in got.lines if x.kind == "goods"] == [x[2:] for x in wanted()]


def test_columns_are_what_their_headings_say() -> None:
    """Quantity x price is the same either way, so sums cannot tell: only the words do."""
    got = read(Paper(headings=("Item code", "Description", "Unit price", "Qty", "Amount")))
    assert [(x[2], x[3]) for x in rows(got)] == [(x[3], x[2]) for x in wanted()]


@pytest.mark.parametrize(
    ("headings", "notes"),
    [
        (("Item code", "Description", "Qty", "Amount", "Unit price"), ()),  # amounts under the price heading
        (("Item code", "Description", "Qty", "Unit price", "Amount incl. VAT"), ()),
        (("Item code", "Description", "Size", "Unit price", "Amount"), ()),
        (None, ("All prices include VAT.",)),
        (None, ("Invoice no. HB-9999",)),
        (None, ("Invoice date 15 September 2026",)),
    ],
)
def test_what_is_not_certain_waits(headings: tuple[str, ...] | None, notes: tuple[str, ...]) -> None:
    assert problems(read(Paper(headings=headings, notes=notes)))


@pytest.mark.parametrize("place", range(len(LINES) * 3 + 6))
def test_one_false_figure_anywhere_waits(place: int) -> None:
    """Each figure of the paper in turn printed with its first digit one higher."""
    lines = [list(line) for line in LINES]
    paper = Paper()
    if place < len(LINES) * 3:
        row, column = divmod(place, 3)
        lines[row][column + 2] = _higher(lines[row][column + 2])
        paper = replace(paper, lines=[(a, b, c, d, e) for a, b, c, d, e in lines])
    else:
        changes = [{name: _higher(getattr(paper, name))} for name in ("freight", "discount", "net", "total")]
        changes += [{"taxes": (_higher("20.00"), "3.00")}, {"taxes": ("20.00", _higher("3.00"))}]
        paper = replace(paper, **changes[place - len(LINES) * 3])
    assert problems(read(paper))


def _higher(figure: str) -> str:
    at = next(i for i, c in enumerate(figure) if c.isdigit())
    return figure[:at] + str((int(figure[at]) + 1) % 10) + figure[at + 1 :]


def test_a_name_the_book_knows_is_the_supplier() -> None:
    assert read(Paper(notes=("A brand of Oak Holdings",)), ("Oak Holdings",)).supplier == "Oak Holdings"
    two = read(Paper(notes=("A brand of Oak Holdings",)), ("Oak Holdings", "Hollow Oak Botanicals Ltd"))
    assert any("several suppliers" in why for why in problems(two))


@pytest.mark.parametrize("number", ["RE 2026 0815", "2026 0815", "INV 40117", "FA 2026 001 12"])
@pytest.mark.parametrize("language", LANGUAGES)
def test_a_number_with_blanks_is_read_whole(language: str, number: str) -> None:
    got = read(Paper(language, number))
    assert (got.number, problems(got)) == (number, ())


@pytest.mark.parametrize("number", ["40117 88213", "INV 40117 1/2", "2026 09 14", "INV 40117 Mill Lane", "RE 14 09 2026", "DU 14", "40117 2"])
def test_what_may_be_a_number_and_something_else_waits(number: str) -> None:
    assert any("number" in why for why in problems(read(Paper(number=number))))


def _under_another_name(note: str, top: str = "Fern Hill Soapworks") -> Invoice:
    """The paper with another large name at the top and a note above its lines."""
    LANGUAGES["other"] = replace(LANGUAGES["en"], supplier=top)
    try:
        return read(Paper("other", notes=tuple(note.split("|"))))
    finally:
        del LANGUAGES["other"]


@pytest.mark.parametrize("label", ["Bill to", "Ship to", "Sold to:", "Rechnung an", "Facturé à", "Factuur aan", "Facturar a"])
def test_the_buyers_name_at_the_top_is_not_the_supplier(label: str) -> None:
    for note in (f"{label}|Fern Hill Soapworks", f"{label.rstrip(':')}: Fern Hill Soapworks"):
        got = _under_another_name(note)
        assert got.supplier == "" and any("at the top of the page is the buyer" in why for why in problems(got))


def test_a_large_name_that_nothing_vouches_for_is_a_guess() -> None:
    """It may be the buyer's; a company beside it, or nothing at all, leaves it open."""
    for note, top in (("Thank you", "Fern Hill Soapworks"), ("Hollow Oak Botanicals Ltd, 4 Oak Street", "Fern Hill Soapworks Ltd")):
        assert any("is a guess from the top" in why for why in problems(_under_another_name(note, top)))


@pytest.mark.parametrize("note", ["Bill to|Juniper Bench", "Bill to: Juniper Bench", "Questions: hello@fernhill.example", "www.fernhillsoapworks.example"])
def test_a_large_name_that_something_vouches_for_posts(note: str) -> None:
    got = _under_another_name(note)
    assert (got.supplier, problems(got)) == ("Fern Hill Soapworks", ())
