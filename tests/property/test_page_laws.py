"""Random words on a page: reading ends, and never with a crash."""

from __future__ import annotations

import time

from hypothesis import given, settings
from hypothesis import strategies as st

from costbook.book.words import Document, Page, Word
from costbook.invoices import page
from costbook.invoices.checks import problems
from costbook.invoices.vocabulary import ROLES

SURE = ("Qty", "Unit price", "Amount", "Description", "Total", "VAT", "Invoice", "no.", "Date", "Seller:")
NAMED = [*sorted(ROLES)[::7], *SURE]
FIGURES = ["1", "2,50", "1.234,56", "-4.20", "(3.00)", "19 %", "€", "14.09.2026", "1.2.3", "99999999999999999999", "٣", "½"]
TEXTS = st.sampled_from(NAMED + FIGURES) | st.text(max_size=12)
PLACES = st.integers(0, 12)


@st.composite
def words(draw: st.DrawFn) -> Word:
    """A word on a coarse grid, so that rows and columns come about by chance."""
    x, y, wide = draw(PLACES) * 45.0, draw(PLACES) * 12.0, draw(st.floats(0, 80))
    return Word(draw(TEXTS), x, y, x + wide, y + draw(st.floats(0, 14)), draw(st.floats(0, 100)))


@settings(max_examples=150, deadline=None)
@given(st.lists(st.lists(words(), max_size=60), max_size=3))
def test_any_page_is_read_to_its_end(drawn: list[list[Word]]) -> None:
    found = tuple(Page(number, 595, 842, tuple(each)) for number, each in enumerate(drawn, 1))
    got = page.read(Document((), found), "random.pdf", ("Seller", "Amount"))
    assert isinstance(problems(got), tuple)
    page.disagreements(got, found)


def test_a_page_full_of_headings_ends_soon() -> None:
    heads = ("Description", "Qty", "Price", "Price", "Amount", "Amount", "Code", "Code", "Qty")
    each = tuple(
        Word(text, 60.0 * x, 12.0 * y, 60.0 * x + 30, 12.0 * y + 9) for y in range(600) for x, text in enumerate(heads)
    )
    start = time.monotonic()
    page.read(Document((), (Page(1, 595, 842, each),)), "heads.pdf")
    assert time.monotonic() - start < 30
