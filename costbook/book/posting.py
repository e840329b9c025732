"""From a checked paper to rows of her Purchases tab, and what is already there.

Posting only adds rows below hers; it never changes one. A paper is all there or not at all.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from costbook.amounts.quantity import read_number, rec20_unit, same_name
from costbook.book.grid import SetCell, Snapshot, Value
from costbook.book.layout import PURCHASES, SUPPLIERS, Tab, style_for
from costbook.book.model import CREDIT_TYPES, Book, Invoice, InvoiceLine, PurchaseLine
from costbook.book.table import find_declared
from costbook.errors import LayoutError, QuantityError, Where

CENT = Decimal("0.005")


def paper_type(invoice: Invoice) -> str:
    """The paper's type as Purchases writes it. Source: UNTDID 1001 (380 invoice, 381 credit note, 384 correction)."""
    if invoice.type_code in CREDIT_TYPES:
        return "credit note"
    return "correction" if invoice.type_code == "384" else "invoice"


def purchase_rows(
    invoice: Invoice, sign: int, material_of: Callable[[InvoiceLine], str], currency: str
) -> list[dict[str, Value]]:
    """The rows a paper makes in Purchases, by column key; its total stands last.

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
    for line in invoice.lines:
        if line.kind != "total" and not line.group:
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
    plain = price is not None and abs(price * line.quantity - line.net) < CENT
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
    """What Purchases already holds of a paper: 'new', 'there' (the same paper), or 'other' (same number, other content)."""

    state: str
    where: Where | None = None


def standing(book: Book, invoice: Invoice, sign: int) -> Standing:
    """Whether a paper is already in Purchases. The same is: supplier, number, date, type and total."""
    lines = [
        x
        for x in book.purchases
        if same_name(x.supplier) == same_name(invoice.supplier) and same_name(x.paper) == same_name(invoice.number)
    ]
    lines = [x for x in lines if x.paper_type == paper_type(invoice)]
    if not lines:
        return Standing("new")
    total = _posted_total(lines)
    same = lines[0].date == invoice.issued and (invoice.gross is None or abs(total - sign * invoice.gross) < CENT)
    return Standing("there" if same else "other", lines[0].where)


def _posted_total(lines: Sequence[PurchaseLine]) -> Decimal:
    totals = [x.amount for x in lines if x.kind == "total"]
    return totals[-1] if totals else sum((x.amount for x in lines), Decimal(0))


def appended(snapshot: Snapshot, tab: Tab, rows: Iterable[Mapping[str, Value]]) -> list[SetCell]:
    """The edits that add rows below the last used row of one of her tabs.

    Raises:
        LayoutError: the tab is not there.
    """
    table = find_declared(list(snapshot.grids.values()), tab)
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
    if not new or find_declared(list(snapshot.grids.values()), SUPPLIERS) is None:
        return []
    return appended(snapshot, SUPPLIERS, [{"name": n} for n in new])
