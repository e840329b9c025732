"""A supplier's price list, as CSV bytes or a workbook that was read: prices from a day on, and nothing bought.

A list is one where items have prices and neither quantities nor amounts. It says from when it holds, in a column or above
its headings ("Valid from 2026-11-01"), and whose it is. Heading words as in `tabular`; those of the day are common practice.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal

from costbook.book.grid import Value
from costbook.book.model import PRICE_LIST, Invoice, InvoiceLine
from costbook.errors import InvoiceError
from costbook.invoices.dialect import Dialect, day, dialect, number, shown
from costbook.invoices.headings import columns_named, heading_role
from costbook.invoices.wording import clean, folded, pack_parts, without_positions

STARTS = re.compile(r"^(?:new )?(?:price list |prices? |list )?(?:valid|effective|prices?|starting)(?: as)?(?: from| of| date)?\b:?|^(?:price )?list of\b")
_NOT_A_LIST = {"amount", "packs", "ordered", "shipped", "number", "paper_total"}
_LINE_ROLES = ("code", "name", "pack", "unit", "price", "currency")


def read(tabs: Mapping[str, Sequence[Sequence[Value]]], source: str, suppliers: Sequence[str]) -> Invoice | None:
    """The price list in the rows of a file, None where it is no such list.

    Args:
        tabs: rows of cells by tab; one without a name for a CSV file.
        suppliers: the names the book knows; one of them above the headings is whose list it is.
    Raises:
        InvoiceError: a list that says no day its prices hold from.
    """
    for tab, rows in tabs.items():
        for at, row in enumerate(rows):
            columns = _columns(row)
            if columns:
                return _list(rows, at, columns, tab, source, suppliers)
    return None


def _columns(row: Sequence[Value]) -> dict[str, int]:
    """Role -> column of a row of headings, {} where it is none of a price list."""
    found = columns_named(row, _role)
    listed = "price" in found and {"code", "name"} & found.keys() and not _NOT_A_LIST & found.keys()
    return found if listed else {}


def _role(heading: str) -> str:
    role = heading_role(heading)
    return "starts" if STARTS.match(folded(heading)) and role != "price" else role


def _list(
    rows: Sequence[Sequence[Value]], at: int, columns: Mapping[str, int], tab: str, source: str, suppliers: Sequence[str]
) -> Invoice:  # fmt: skip
    above = [value for row in rows[:at] for value in row if isinstance(value, str | date) and str(value).strip()]
    body = [(index, row) for index, row in enumerate(rows[at + 1 :], at + 2) if any(str(v or "").strip() for v in row)]
    said = [_cell(row, columns, "price") for _, row in body]
    days = [str(_cell(row, columns, "starts")) for _, row in body]
    reading = dialect([shown(v) for v in said if v is not None], [], [*days, *map(str, above)])
    starts = _starts(above, reading)
    lines: list[InvoiceLine] = []
    problems = [reading.unsure] if reading.unsure else []
    for index, row in body:
        place = f"{tab} row {index}".strip()
        price = number(_cell(row, columns, "price"), reading.decimal)
        named = {role: clean(shown(v)) if (v := _cell(row, columns, role)) is not None else "" for role in _LINE_ROLES}
        if price is None:
            if named["name"] or named["code"]:
                problems.append(f"{place}: the price '{named['price'][:30]}' is no number" if named["price"] else f"{place}: no price")
            continue
        if price <= 0:
            problems.append(f"{place}: a price of {price} is none")
            continue
        from_day, doubt = day(_cell(row, columns, "starts"), reading.order)
        if doubt:
            problems.append(f"{place}: {doubt}")
        size, unit = pack_parts(named["pack"])
        lines.append(InvoiceLine(
            line_id=str(len(lines) + 1), kind="goods", item_code=named["code"], name=named["name"] or named["code"], quantity=Decimal(1),
            unit=named["unit"], price=price, base_quantity=Decimal(1), net=price, place=place, pack_size=size, pack_unit=unit or named["unit"] * bool(size),
            best_before=from_day or starts,
        ))  # fmt: skip
    if not lines:
        raise InvoiceError("this looks like a price list, and no row of it has a price that can be read.", source)
    if any(line.best_before is None for line in lines):
        do = "Write 'Valid from' and the day above its headings, such as Valid from 2026-11-01."
        raise InvoiceError("this looks like a price list, and it says no day its prices hold from.", source, do)
    supplier = _supplier(above, suppliers)
    problems += [] if supplier else ["it does not say whose list it is; write 'Supplier:' and the name above its headings"]
    return Invoice(supplier, "", lines[0].best_before, PRICE_LIST, "", tuple(without_positions(lines, named_codes=True)), source, "list", problems=tuple(problems), decimal=reading.decimal)


def _cell(row: Sequence[Value], columns: Mapping[str, int], role: str) -> Value:
    place = columns.get(role, -1)
    value = row[place] if 0 <= place < len(row) else None
    return None if isinstance(value, str) and not value.strip() else value


def _starts(above: Sequence[Value], reading: Dialect) -> date | None:
    """The day a list holds from, in a cell that says so or in the cell after it."""
    for at, value in enumerate(above):
        words = folded(value) if isinstance(value, str) else ""
        if not STARTS.match(words):
            continue
        inside = re.search(r"(\d{4}-\d\d?-\d\d?|\d{1,2}[./-]\d{1,2}[./-]\d{2,4}|\d{1,2} [A-Za-z]{3,9} \d{4}|[A-Za-z]{3,9} \d{1,2},? \d{4})", str(value))
        for written in ([inside[1]] if inside else []) + list(above[at + 1 : at + 2]):
            found, _ = day(written, reading.order)
            if found:
                return found
    return None


def _supplier(above: Sequence[Value], suppliers: Sequence[str]) -> str:
    """Whose list it is: a supplier of the book that is named, else what stands behind 'Supplier'."""
    texts = [clean(value) for value in above if isinstance(value, str)]
    for name in suppliers:
        if any(folded(name) in folded(text) for text in texts):
            return name
    for at, text in enumerate(texts):
        label, _, inside = text.partition(":")
        if heading_role(label) == "supplier":
            return inside.strip() or (texts[at + 1] if at + 1 < len(texts) else "")
    return ""
