"""What happens in the workshop: what there is this week, batches made, pieces sold. Read from her tabs, and booked there.

A row that cannot be used is told and left out, with level ask: nothing of pricing waits for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal

from costbook.amounts.numbers import counted
from costbook.amounts.quantity import same_name
from costbook.book import layout, model
from costbook.book.grid import SetCell, Snapshot, Value
from costbook.book.layout import Tab, style_for
from costbook.book.table import Notes, Row, Table, find_tables, unknown

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
HOURS, MOULDS = "hours a day", "moulds"
Records = tuple[tuple[model.WeekRow, ...], tuple[model.BatchRecord, ...], tuple[model.SaleRecord, ...], tuple[model.WaitingBatch, ...]]


def read_records(
    tables: Mapping[str, Table], products: Mapping[str, model.Product], roles: Mapping[str, model.Role], notes: Notes
) -> Records:
    """The rows of This week, Batches and Sales, and the batches that wait for a cell; none where the book has no such tab."""
    names = model.product_names(products)
    week = _rows(tables.get(layout.WEEK.name), notes)
    sales = _rows(tables.get(layout.SALES.name), notes)
    moulds = {same_name(p.mould) for p in products.values() if p.mould}
    this_week = tuple(filter(None, (_week(row, roles, moulds) for row in week)))
    batches = [_batch(row, names, products) for row in _rows(tables.get(layout.BATCHES.name), notes)]
    return (
        this_week,
        tuple(b for b in batches if isinstance(b, model.BatchRecord)),
        tuple(filter(None, (_sale(row, names, products) for row in sales))),
        tuple(b for b in batches if isinstance(b, model.WaitingBatch)),
    )


def _rows(table: Table | None, notes: Notes) -> Iterable[Row]:
    return table.rows(notes) if table else ()


def _asked(row: Row, key: str, sentence: str, do: str) -> None:
    row.bad(key, sentence, do, "ask", "record")


def _week(row: Row, roles: Mapping[str, model.Role], moulds: Iterable[str]) -> model.WeekRow | None:
    before = len(row.notes.found)
    amount, unit = row.number("amount", "ask"), row.choice("unit", layout.WEEK_UNITS, "")
    what = same_name(row.text("what"))
    if amount is None or amount < 0 or (unit == HOURS and amount > 24):
        if len(row.notes.found) == before:
            _asked(row, "amount", f"{row.text('what') or 'this row'}: an amount of 0 or more belongs here, and no day has over 24 hours", "Type how much there is.")
        return None
    if not unit:
        _asked(row, "unit", f"{row.text('what')}: {amount} of what?", f"Use one of: {', '.join(layout.WEEK_UNITS)}.")
        return None
    if unit == HOURS and what not in roles:
        written = [role.written for role in roles.values()]
        _asked(row, "what", unknown("pay on the Pay tab for", row.text("what"), written), "Add them there, or mend the name.")
        return None
    if unit == HOURS and roles[what].stops:
        return None
    if unit == MOULDS and what not in moulds:
        _asked(row, "what", unknown("product set in a mould called", row.text("what"), moulds), "Name it on the Products tab.")
        return None
    days = working_days(row.text("days"))
    if not days:
        _asked(row, "days", f'"{row.text("days")}" names no days of the week', "Write Mon-Fri, or Mon, Wed, Fri.")
        return None
    return model.WeekRow(what, amount, unit, days, row.where("what"))


def working_days(written: str) -> tuple[int, ...]:
    """The days meant, 0 for Monday; Monday to Friday where nothing is written, () where it cannot be read.

    >>> working_days("Mon-Wed, Sat"), working_days(""), working_days("soon")
    ((0, 1, 2, 5), (0, 1, 2, 3, 4), ())
    """
    found: set[int] = set()
    for part in written.replace(";", ",").split(",") if written.strip() else ["Mon-Fri"]:
        ends = [day.strip().casefold()[:3] for day in part.replace("–", "-").split("-")]
        if not 1 <= len(ends) <= 2 or any(day not in DAYS for day in ends):
            return ()
        first, last = DAYS.index(ends[0]), DAYS.index(ends[-1])
        found |= {(first + n) % 7 for n in range((last - first) % 7 + 1)}
    return tuple(sorted(found))


def _product(row: Row, names: Mapping[str, str], products: Mapping[str, model.Product]) -> str:
    code = names.get(same_name(row.text("product")), "")
    if not code:
        alike = [c for c, p in products.items() if same_name(p.name) == same_name(row.text("product"))]
        named = [*products, *(p.name for p in products.values())]
        sentence = f'"{row.text("product")}" is {" and ".join(alike)}' if alike else unknown("product", row.text("product"), named)
        _asked(row, "product", sentence, "Type a product's code.")
    return code


def _whole(row: Row, key: str) -> int | None:
    number = row.number(key, "ask")
    if number is not None and (number < 0 or number % 1):
        _asked(row, key, f"pieces are whole and not below 0; the cell holds {number}", "Count again.")
        return None
    return None if number is None else int(number)


def _batch(row: Row, names: Mapping[str, str], products: Mapping[str, model.Product]) -> model.BatchRecord | model.WaitingBatch | None:
    before = len(row.notes.found)
    code, on = _product(row, names, products), row.day("date", "ask")
    planned, good, minutes = _whole(row, "planned"), _whole(row, "good"), row.number("minutes", "ask")
    booked = row.day("booked", "ask")
    for key, value, what in (("date", on, "the day it was made"), ("good", good, "its good pieces"), ("minutes", minutes, "its minutes")):
        if value is None and row.value(key) is None:
            _asked(row, key, f"a batch of {row.text('product')} without {what}", "Type it; nothing moves before.")
    if minutes is not None and minutes < 0:
        _asked(row, "minutes", f"minutes cannot be negative; the cell holds {minutes}", "Type 0 or more.")
    if planned is not None and good is not None and good > planned:
        _asked(row, "good", f"{counted(good, 'good piece')} of {planned} poured", "Look at both.")
    if any(f.level == "ask" for f in row.notes.found[before:]) or on is None or good is None or minutes is None:
        return model.WaitingBatch(on, code, row.where("product")) if code and row.value("booked") is None else None
    lots = tuple(lot.strip() for lot in row.text("lots").replace(",", ";").split(";") if lot.strip())
    return model.BatchRecord(on, code, planned, good, float(minutes), lots, booked, row.where("product"), row.index)


def _sale(row: Row, names: Mapping[str, str], products: Mapping[str, model.Product]) -> model.SaleRecord | None:
    before = len(row.notes.found)
    code, on, pieces = _product(row, names, products), row.day("date", "ask"), row.number("pieces", "ask")
    booked, fulfils = row.day("booked", "ask"), row.choice("fulfils", layout.FULFILS, "")
    for key, value, what in (("date", on, "its day"), ("pieces", pieces, "how many pieces")):
        if value is None and row.value(key) is None:
            _asked(row, key, f"a sale of {row.text('product')} without {what}", "Type it; nothing moves before.")
    if pieces is not None and pieces % 1:
        _asked(row, "pieces", f"pieces are whole; the cell holds {pieces}", "Type how many.")
    if any(f.level == "ask" for f in row.notes.found[before:]) or on is None or pieces is None:
        return None
    return model.SaleRecord(on, code, pieces, row.text("channel"), row.text("order"), booked, row.where("product"), row.index, fulfils)


# ------------------------------------------------------------------ edits


def booked_cells(snapshot: Snapshot, tab: Tab, rows: Iterable[int], on: date) -> list[SetCell]:
    """The edits that mark rows of Batches or Sales as booked; a tab without that column gets none."""
    table = find_tables(snapshot).get(tab.name)
    place = table.columns.get("booked") if table else None
    if table is None or place is None:
        return []
    return [SetCell(table.grid.name, row, place, on, style_for(tab.column("booked")), table.grid.value(row, place)) for row in rows]


def value_cells(snapshot: Snapshot, tab: Tab, changes: Mapping[tuple[str, str], Value]) -> list[SetCell]:
    """The edits that put new values, by code and column key, into rows of Materials or Products.

    Args: changes are by what names the row (code, or name where it has none) and the column's key.
    """
    table = find_tables(snapshot)[tab.name]
    edits = []
    for row in table.rows(Notes()):
        name = row.text("code") or row.text("name")
        for (code, key), value in changes.items():
            place = table.columns.get(key)
            if code == name and place is not None:
                now = table.grid.value(row.index, place)
                if now != value:
                    edits.append(SetCell(table.grid.name, row.index, place, value, style_for(tab.column(key)), now))
    return edits


def lacks(snapshot: Snapshot, tab: Tab, keys: Sequence[str]) -> list[str]:
    """The headings of a tab that stock could not be kept without and that are not there."""
    table = find_tables(snapshot).get(tab.name)
    return [tab.column(key).heading for key in keys if table is None or key not in table.columns]


def sale_rows(found: Sequence[tuple[date, str, Decimal, str, str, str]]) -> list[dict[str, Value]]:
    """Rows of the Sales tab from (day, product, pieces, channel, order, source)."""
    return [
        {"date": on, "product": product, "pieces": float(pieces), "channel": channel or None, "order": order or None, "source": source}
        for on, product, pieces, channel, order, source in found
    ]
