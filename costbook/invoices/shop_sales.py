"""A shop's list of sales, as its rows: which column is the day, the product, the pieces, by heading words or as she said.

Every shop writes other headings. Those in MEANS are known (common practice, no source); another is asked once, on the Shop
columns tab, and known from then on. An order's line that was taken over before is left out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from costbook.amounts.numbers import counted
from costbook.amounts.quantity import same_name
from costbook.book.grid import Value
from costbook.book.model import Book, product_names
from costbook.errors import Finding, InvoiceError
from costbook.invoices.dialect import day, dialect, number, shown
from costbook.invoices.wording import clean, folded

MEANS: Mapping[str, tuple[str, ...]] = {
    "date": ("date", "order date", "sale date", "sold on", "day", "paid on", "created at", "datum", "bestelldatum", "date de commande"),
    "product": ("product", "item", "sku", "code", "item code", "product code", "product name", "item name", "artikel", "article", "variant sku"),
    "pieces": ("pieces", "qty", "quantity", "units", "items", "count", "sold", "quantity sold", "item quantity", "menge", "anzahl", "quantite", "aantal"),
    "channel": ("channel", "shop", "sales channel", "kanal"),
    "order": ("order", "order no", "order number", "order id", "bestellnummer", "numero de commande"),
}  # fmt: skip
NEEDED = ("date", "product", "pieces")
KNOWN = {heading: means for means, headings in MEANS.items() for heading in headings}
HEADING_ROWS = 20
Sold = tuple[date, str, Decimal, str, str, str]


@dataclass(frozen=True, slots=True)
class Read:
    """What a sales list comes to: sales, headings to be asked about with an example (nothing is taken over then), findings."""

    sales: tuple[Sold, ...]
    asked: tuple[tuple[str, str], ...]
    findings: tuple[Finding, ...]
    left_out: int = 0


def read(rows: Sequence[Sequence[Value]], source: str, book: Book, said: Mapping[str, str]) -> Read:
    """The sales in a list.

    Args:
        rows: its cells, headings among the first.
        book: the products, and the sales it holds already.
        said: by folded heading what she said it means ('nothing' for one to be left alone).
    Raises:
        InvoiceError: no row of headings.
    """
    at, columns = _headings(rows, said)
    if at < 0:
        raise InvoiceError("no row of headings was found; a sales list starts with one.", source, "Export it again with headings.")
    missing = [what for what in NEEDED if what not in columns]
    if missing:
        example = next((row for row in rows[at + 1 :] if any(_text(v) for v in row)), ())
        asked = [(_text(cell), _text(example[i]) if i < len(example) else "") for i, cell in enumerate(rows[at]) if _text(cell) and folded(cell) not in said]
        if not asked:
            sentence = f"no column of it is {' or '.join(missing)}"
            raise InvoiceError(sentence, source, "Say on the Shop columns tab which heading means it.")
        return Read((), tuple(asked), ())
    body = [(n, row) for n, row in enumerate(rows[at + 1 :], at + 2) if any(_text(v) for v in row)]
    reading = dialect([_text(_at(row, columns, "pieces")) for _, row in body], [], [_text(_at(row, columns, "date")).split(" ")[0] for _, row in body])
    names = product_names(book.products)
    there = Counter((s.order, s.product, s.on, s.pieces) for s in book.sales)
    sales, findings, left_out, unsure = list[Sold](), list[Finding](), 0, 0
    for n, row in body:
        written = _text(_at(row, columns, "product"))
        code = names.get(same_name(written), "")
        on, doubt = day(_day_part(_at(row, columns, "date")), reading.order)
        pieces = number(_at(row, columns, "pieces"), reading.decimal)
        order = _text(_at(row, columns, "order"))
        if not code or on is None or pieces is None:
            why = f'no product "{written}"' if not code else doubt or f"pieces '{_text(_at(row, columns, 'pieces'))}'"
            findings.append(Finding("ask", "sale", f"{source} row {n}: {why}; not taken over", None, "Mend the list or the Products tab and read it again."))
        elif there[order, code, on, pieces]:
            there[order, code, on, pieces] -= 1
            left_out += 1
            unsure += not order
        else:
            sales.append((on, code, pieces, _text(_at(row, columns, "channel")), order, f"{source} row {n}"))
    if unsure:
        sentence = f"{source}: {counted(unsure, 'sale without an order number is', 'sales without an order number are')} left out, since Sales holds the same product, day and pieces"
        findings.append(Finding("ask", "sale", sentence, None, "Type any that are sales of their own on the Sales tab."))
    return Read(tuple(sales), (), tuple(findings), left_out)


def _headings(rows: Sequence[Sequence[Value]], said: Mapping[str, str]) -> tuple[int, dict[str, int]]:
    """The row of headings and what its columns mean; the row with most known ones, else the first of several texts."""
    best, found = -1, dict[str, int]()
    for at, row in enumerate(rows[:HEADING_ROWS]):
        columns: dict[str, int] = {}
        for i, cell in enumerate(row):
            means = said.get(folded(cell), KNOWN.get(folded(cell), "")) if isinstance(cell, str) else ""
            if means and means != "nothing":
                columns.setdefault(means, i)
        texts = sum(isinstance(cell, str) and bool(cell.strip()) for cell in row)
        if len(columns) > len(found) or (best < 0 and texts >= len(NEEDED)):
            best, found = at, columns
    return best, found


def _at(row: Sequence[Value], columns: Mapping[str, int], what: str) -> Value:
    place = columns.get(what, -1)
    return row[place] if 0 <= place < len(row) else None


def _text(value: Value) -> str:
    return "" if value is None else clean(shown(value))


def _day_part(value: Value) -> Value:
    """A day without its time: '2026-10-20 14:05:11 +0000'."""
    return value.split("T")[0].split(" ")[0] if isinstance(value, str) and value[:4].isdigit() else value


def meanings(rows: Iterable[Sequence[Value]]) -> dict[str, str]:
    """What she said on the Shop columns tab, by folded heading: rows of (heading, means, example)."""
    return {folded(row[0]): same_name(str(row[1])) for row in rows if row[0] and same_name(str(row[1])) in (*MEANS, "nothing")}
