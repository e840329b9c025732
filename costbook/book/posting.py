"""From a checked paper to rows of her Purchases tab, and what is already there.

Posting only adds rows below hers; it never changes one. A paper is all there or not at all.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from costbook.amounts.money import rounded
from costbook.amounts.quantity import read_amount, read_number, rec20_unit, same_name
from costbook.book.grid import SetCell, Snapshot, Value
from costbook.book.layout import PURCHASES, SUPPLIERS, Tab, style_for
from costbook.book.model import CREDIT_TYPES, NOT_BOUGHT, Book, Invoice, InvoiceLine, PurchaseLine
from costbook.book.table import find_tables
from costbook.errors import LayoutError, QuantityError, Where

HALF_CENT = Decimal("0.005")
ANOTHER_PURCHASE = "if it is another purchase, type a number of its own under Paper on each of its lines and say yes; if not, take these lines and its file away"
_MAY_NUMBER_LINES = re.compile(r"0*\d{1,2}0?\.?", re.ASCII)  # in ones or in tens
PURCHASED_TYPES = ("invoice", "credit note", "correction")


def paper_type(invoice: Invoice) -> str:
    """The paper's type as Purchases writes it. Source: UNTDID 1001 (380 invoice, 381 credit note, 384 correction)."""
    if invoice.type_code in CREDIT_TYPES:
        return "credit note"
    return "correction" if invoice.type_code == "384" else "invoice"


def type_words(invoice: Invoice) -> str:
    """The paper's type for her to read: as Purchases writes it ('' for an invoice), or what else it is."""
    kind = NOT_BOUGHT.get(invoice.type_code) or paper_type(invoice)
    return "" if kind == "invoice" else kind


def posted_lines(invoice: Invoice) -> list[InvoiceLine]:
    """The lines that make a row each in Purchases, in their order; sums of other lines and totals make none."""
    return [line for line in invoice.lines if line.kind != "total" and not line.group]


def purchase_rows(
    invoice: Invoice, sign: int, material_of: Callable[[InvoiceLine], str], currency: str
) -> list[dict[str, Value]]:
    """The rows a paper makes in Purchases, by column key: one for each of `posted_lines`, then its tax and its total.

    Args:
        invoice: the paper as read.
        sign: -1 where the paper writes what it gives back as positive amounts (a credit note), else 1.
        material_of: the name of her material a line means, '' where not known.
        currency: the book's; the paper's own is written only where it differs.
    """
    head: dict[str, Value] = {"supplier": invoice.supplier, "paper": invoice.number, "date": invoice.issued,
                              "paper_type": "" if paper_type(invoice) == "invoice" else paper_type(invoice),
                              "currency": "" if invoice.currency in ("", currency) else invoice.currency,
                              "currency_rate": _number(invoice.currency_rate)}  # fmt: skip
    rows = []
    for line in posted_lines(invoice):
        rows.append(
            head
            | _row(line, sign, material_of(line), invoice.decimal)
            | {"source": f"{invoice.source}, {line.place}".rstrip(", ")}
        )
    if invoice.tax:
        tax_lines = any(line.kind == "tax" for line in invoice.lines)
        if not tax_lines:
            rows.append(
                head
                | {"kind": "tax", "description": "Tax", "amount": _number(sign * invoice.tax), "source": invoice.source}
            )
    if invoice.gross is not None:
        rows.append(
            head
            | {
                "kind": "total",
                "description": "Invoice total",
                "amount": _number(sign * invoice.gross),
                "source": invoice.source,
            }
        )
    return [{k: v for k, v in row.items() if v not in ("", None)} for row in rows]


def _row(line: InvoiceLine, sign: int, material: str, decimal: str) -> dict[str, Value]:
    shared: dict[str, Value] = {
        "kind": "" if line.kind == "goods" else line.kind,
        "description": line.name,
        "amount": _number(sign * line.net),
    }
    if line.kind in ("discount", "charge", "tax"):
        return shared | {"shared_by": line.shared_by, "covers": line.covers}
    size, pack_unit = pack_of(line, decimal)
    price = None if line.price is None else line.price / (line.base_quantity or Decimal(1))
    plain = price is not None and abs(price * line.quantity - line.net) < HALF_CENT
    return shared | {
        "item_code": line.item_code, "material": material, "packs": _number(sign * line.quantity), "pack": size, "pack_unit": pack_unit,
        "pack_price": _number(price) if plain else None, "lot": line.lot, "best_before": line.best_before,
    }  # fmt: skip


def pack_of(line: InvoiceLine, decimal: str = "point") -> tuple[Value, str]:
    """What one pack of a line holds: as the paper says, else one of the line's unit where that is a measure or a piece.

    Source of unit codes: UN/ECE Recommendation 20. XPP and the like say nothing of what is inside.
    """
    if line.pack_size:
        size, unit = line.pack_size, line.pack_unit
        if not unit:
            size, _, unit = line.pack_size.partition(" ")
        try:
            return float(read_number(size, decimal)), unit
        except QuantityError:
            return line.pack_size, line.pack_unit
    unit_found = rec20_unit(line.unit) if line.unit and line.unit not in ("XPP", "XBX", "XPK", "XCT") else None
    return (1.0, unit_found.name) if unit_found else (None, "")


def _number(amount: Decimal | None) -> float | None:
    return None if amount is None else float(amount)


@dataclass(frozen=True, slots=True)
class Standing:
    """What Purchases already holds of a paper: 'new', 'there' (the same paper), or 'other' (may be the same, but is not)."""

    state: str
    where: Where | None = None
    why: str = ""
    do: str = ""

    @property
    def words(self) -> str:
        """What was seen, where, and what she can do, for her to read; '' of a new paper."""
        seen = f"{self.why} ({self.where})" if self.state == "other" else f"in {self.where}{', ' if self.why else ''}{self.why}" if self.where else ""
        return "; ".join(filter(None, (seen, self.do)))


def same_file(one: str, other: str) -> bool:
    """Whether two names may be one file, seen from a folder further out or further in: x.csv and 2026-09/x.csv.

    >>> same_file("x.csv", "2026-09/x.csv"), same_file("2026-08/x.csv", "2026-09/x.csv"), same_file("x.csv", "max.csv")
    (True, False, False)
    """
    return f"/{one}".endswith(f"/{other}") or f"/{other}".endswith(f"/{one}")


Content = list[tuple[str, str, Decimal]]


def standing(book: Book, invoice: Invoice, sign: int) -> Standing:
    """Whether a paper is already in Purchases: the same supplier, number, date, type, total and lines.

    The same number, date and total under another supplier's name is a question too, not a new paper. One without a supplier or
    number that she typed is there; without a number only from the same file, for two of a kind may have been bought in a day.
    """
    lines, kind = content(invoice, sign), paper_type(invoice)
    if not invoice.number:
        return _standing_unnumbered(_alike(book, invoice, kind, lines), invoice)
    if not invoice.supplier and invoice.issued and (alike := _alike(book, invoice, kind, lines)):
        return Standing("there", alike[0][0].where)
    return standing_of(book, invoice.supplier, invoice.number, kind, invoice.issued, lines)


def _standing_unnumbered(alike: Sequence[Sequence[PurchaseLine]], invoice: Invoice) -> Standing:
    """Of a paper without a number by those it is like: from the same file it is there, from another she is asked."""
    own = next((x[0] for x in alike if invoice.issued and any(_posted_from(line, invoice.source) for line in x)), None)
    if own:
        return Standing("there", own.where, f"posted from this file as paper {own.paper}", "if this is another purchase, give its file another name")
    if not alike:
        return Standing("new")
    line, shared = alike[0][0], ["supplier"] * bool(invoice.supplier) + ["day"] * bool(invoice.issued)
    named = f"paper {line.paper}" if line.paper else "lines without a number"
    return Standing("other", line.where, f"it has the {' and '.join([', '.join(shared), 'lines'] if shared else ['lines'])} of {named} of {line.supplier}", ANOTHER_PURCHASE)


def _alike(book: Book, invoice: Invoice, kind: str, lines: Content) -> list[list[PurchaseLine]]:
    """The papers in Purchases of a paper's lines, and of its day, supplier and number where it has these."""
    found: dict[tuple[str, str], list[PurchaseLine]] = {}
    for line in book.purchases:
        named = same_name(invoice.supplier) in ("", same_name(line.supplier)) and same_name(invoice.number) in ("", same_name(line.paper))
        if named and invoice.issued in (None, line.date) and line.paper_type == kind:
            found.setdefault((line.supplier, line.paper), []).append(line)
    return [own for own in found.values() if _content(own) == lines]


def _posted_from(line: PurchaseLine, file: str) -> bool:
    """Whether a line's source is that file; what stands after it is the line's place there."""
    return same_file(line.source, file) or same_file(line.source.rpartition(", ")[0], file)


def standing_of(book: Book, supplier: str, number: str, kind: str, issued: date | None, lines: Content) -> Standing:
    """The same of a paper by what names it; one whose date could not be read is the same on any day."""
    papers: dict[str, list[PurchaseLine]] = {}
    for line in book.purchases:
        if same_name(line.paper) == same_name(number) and line.paper_type == kind:
            papers.setdefault(same_name(line.supplier), []).append(line)
    own = papers.get(same_name(supplier))
    if own:
        if _content(own) == lines and issued in (None, own[0].date):
            return Standing("there", own[0].where)
        why = f"paper {number} of {supplier} is already there with other content"
        return Standing("other", own[0].where, why)
    for there in papers.values():
        if there[0].date == issued and _content(there) == lines:
            why = f"the same paper is already there under the supplier {there[0].supplier}"
            return Standing("other", there[0].where, why)
    return Standing("new")


def _content(lines: Sequence[PurchaseLine]) -> Content:
    """A posted paper's lines as (kind, item, cents), whatever their order."""
    return sorted((x.kind, _item(x.item_code, x.description), rounded(x.amount)) for x in lines)


def _item(code: str, description: str) -> str:
    """What names a line's item. A number that may only be the line's own is not on every copy of a paper; then it is the words."""
    return same_name(description if description and _MAY_NUMBER_LINES.fullmatch(code) else code or description)


def content(invoice: Invoice, sign: int) -> Content:
    """What a paper would be in Purchases: its rows as (kind, item, cents), whatever their order."""
    return row_content(purchase_rows(invoice, sign, lambda line: "", ""))


def row_content(rows: Iterable[Mapping[str, Value]]) -> Content:
    """Rows of Purchases as (kind, item, cents), whatever their order."""
    items = ((r, _item(str(r.get("item_code") or ""), str(r.get("description") or ""))) for r in rows)
    return sorted((str(r.get("kind") or "goods"), item, rounded(Decimal(repr(r.get("amount") or 0.0)))) for r, item in items)


def announced_row(book: Book, line: InvoiceLine, material: str, prices: Invoice) -> dict[str, Value] | None:
    """The row of Announced prices a line of a price list makes; None where price and pack are those of the last paper."""
    bought = [x for x in book.purchases if x.material == material and x.pack_price and x.kind == "goods" and same_name(x.supplier) == same_name(prices.supplier)]
    last = max(bought, key=lambda x: x.date or date.min, default=None)
    size, unit = pack_of(line, prices.decimal)
    if last is not None and last.pack_price == line.price and (size is None or _same_pack(last, size, unit, book)):
        return None
    row: dict[str, Value] = {"material": book.materials[material].name, "supplier": prices.supplier, "new_price": _number(line.price),
                             "starts": line.best_before, "note": f"{prices.source}, {line.place}"}  # fmt: skip
    if size is not None and not (last is not None and _same_pack(last, size, unit, book)):
        row |= {"new_pack": size, "new_pack_unit": unit}
    return row


def _same_pack(line: PurchaseLine, size: Value, unit: str, book: Book) -> bool:
    try:
        told = read_amount(size if isinstance(size, str | int | float) else "", unit, decimal=book.settings.decimal, measures=book.settings.measures)
        held = line.pack
        if held is None or held.unit is None or told.unit is None or held.unit.dimension != told.unit.dimension:
            return False
        return told.usual * told.unit.factor == held.usual * held.unit.factor
    except QuantityError:
        return False


def appended(snapshot: Snapshot, tab: Tab, rows: Iterable[Mapping[str, Value]]) -> list[SetCell]:
    """The edits that add rows below the last used row of one of her tabs.

    Raises:
        LayoutError: the tab is not there.
    """
    table = find_tables(snapshot).get(tab.name)
    if table is None:
        raise LayoutError(
            f"no tab {tab.name!r} to add rows to", do="'costbook blank' makes a workbook that has everything."
        )
    used = [i for i, cells in enumerate(table.grid.rows) if any(c not in (None, "") for c in cells)]
    following = max([table.heading_row, *used]) + 1
    edits = []
    for index, row in enumerate(rows, following):
        for column in tab.columns:
            place = table.columns.get(column.key)
            if place is not None:
                edits.append(SetCell(table.grid.name, index, place, row.get(column.key), style_for(column)))
    return edits


def purchase_edits(snapshot: Snapshot, rows: Iterable[Mapping[str, Value]]) -> list[SetCell]:
    """The edits that add rows to Purchases."""
    return appended(snapshot, PURCHASES, rows)


def supplier_edits(snapshot: Snapshot, book: Book, names: Iterable[str]) -> list[SetCell]:
    """The edits that add suppliers the book does not know yet; none where the book has no Suppliers tab."""
    known = {same_name(n) for n in book.suppliers}
    new = [n for n in dict.fromkeys(names) if n and same_name(n) not in known]
    if not new or SUPPLIERS.name not in find_tables(snapshot):
        return []
    return appended(snapshot, SUPPLIERS, [{"name": n} for n in new])
