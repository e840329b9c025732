"""A coverage-guided look for papers that make a reader fall over: run as a program, by test_fuzz.py or by hand.

    .venv/bin/python tests/hosts/fuzz_readers.py xml -max_total_time=600 FOLDER

A reader may refuse a paper in its own sentence; anything else it raises, and a paper that takes half a minute, is a fault.
"""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable
from datetime import date

import atheris

with atheris.instrument_imports(include=["costbook"]):
    from costbook.book.model import Book, Settings
    from costbook.book.words import Document, Page, Word
    from costbook.errors import CostbookError
    from costbook.hosts import pages
    from costbook.invoices import en16931, page, price_list, shop_sales, tabular
    from costbook.invoices.checks import problems

BOOK = Book(Settings(book_date=date(2026, 1, 1)), {}, {}, (), {}, {}, {}, (), {})


def csv(data: bytes) -> None:
    """A list of a supplier, a price list or a list of sales."""
    rows = tabular.csv_rows(data, "x.csv")
    price_list.read({"": rows}, "x.csv", ("Brackwell Dry Goods",))
    for invoice in tabular.read_csv(data, "x.csv"):
        problems(invoice)


def sales(data: bytes) -> None:
    """A shop's list of sales."""
    shop_sales.read(tabular.csv_rows(data, "x.csv"), "x.csv", BOOK, {})


def xml(data: bytes) -> None:
    """An e-invoice."""
    problems(en16931.read(data, "x.xml"))


def words(data: bytes) -> None:
    """A printed page: the words of a text, each line a row, set apart by tabs."""
    found = []
    for down, line in enumerate(data.decode("utf-8", "replace").split("\n")[:80]):
        across = 40.0
        for text in line.split("\t")[:12]:
            for word in text.split()[:8]:
                found.append(Word(word, across, 40 + 14.0 * down, across + 5.0 * len(word), 50 + 14.0 * down))
                across += 5.0 * len(word) + 3
            across += 30
    problems(page.read(Document((), (Page(1, 600, 1200, tuple(found)),)), "x.pdf", ("Hollow Oak Botanicals Ltd",)))


def pdf(data: bytes) -> None:
    """A PDF, as the process that reads one does it."""
    pages._text(data)


READERS: dict[str, Callable[[bytes], None]] = {"csv": csv, "sales": sales, "xml": xml, "words": words, "pdf": pdf}


def main() -> None:
    """Fuzzes the reader named first; the rest is for the fuzzer."""
    reader = READERS[sys.argv[1]]
    refuses: tuple[type[BaseException], ...] = (CostbookError, pages._Unreadable)
    if reader is pdf:
        refuses = (Exception,)  # a damaged PDF fails in every way there is, and its process has no other duty; hangs count

    def one(data: bytes) -> None:
        with contextlib.suppress(*refuses):
            reader(data)

    atheris.Setup([sys.argv[0], *sys.argv[2:]], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
