"""The headings of supplier lists: what a column holds by its words, and which of several such columns is meant."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache

from costbook.book.grid import Value
from costbook.invoices.wording import clean, folded, tax_inside

# What a heading may be called, folded (small letters, no signs; '#' is ' no '), by what the column holds.
HEADINGS: Mapping[str, tuple[str, ...]] = {
    "number": ("invoice no", "invoice number", "invoice nr", "invoice id", "invoice", "credit note no", "credit note number",
               "credit memo no", "credit note", "bill no", "paper no", "paper number", "paper", "document no", "document number",
               "document", "number"),
    "type": ("type", "paper type", "document type"),
    "date": ("invoice date", "issue date", "issued", "paper date", "document date", "date"),
    "supplier": ("supplier", "supplier name", "vendor", "vendor name", "seller", "from"),
    "code": ("item code", "item no", "item number", "item id", "sku", "article no", "article number", "product code",
             "code", "part no", "part number", "catalog no", "catalogue no", "supplier code", "material code"),
    "name": ("item description", "product description", "description", "item name", "product name", "line item", "product",
             "item", "article", "material", "name", "details", "line"),
    "packs": ("packs", "qty", "quantity", "count", "units", "no of packs", "number of packs", "pieces", "pcs"),
    "ordered": ("ordered", "qty ordered", "quantity ordered", "ordered qty", "packs ordered", "order qty"),
    "shipped": ("shipped", "qty shipped", "quantity shipped", "shipped qty", "packs shipped", "delivered",
                "qty delivered", "sent"),
    "back_ordered": ("back ordered", "backordered", "back order", "backorder", "b o", "qty back ordered",
                     "packs back ordered"),
    "pack": ("pack", "pack size", "size", "package", "package size", "packing", "container", "contents", "unit size"),
    "unit": ("unit", "uom", "unit of measure", "sold by"),
    "price": ("pack price", "unit price", "price each", "each", "price", "price per pack", "cost each", "unit cost",
              "rate"),
    "amount": ("amount", "line total", "total", "line amount", "extended", "extended price", "extension", "ext price",
               "extended amount", "net", "net amount", "total price", "charged"),
    "kind": ("kind", "line kind", "row kind", "line type", "kind of line"),
    "shared_by": ("shared by", "share by", "shared"),
    "covers": ("covers", "lines covered", "applies to"),
    "lot": ("lot", "lot no", "lot number", "batch", "batch no", "batch number"),
    "best_before": ("best before", "best by", "best before date", "expiry", "expiry date", "expires", "exp date",
                    "use by"),
    "currency": ("currency", "currency code"),
    "paper_total": ("invoice total", "paper total", "grand total"),
}  # fmt: skip
# Of two columns or labels of these the one that is worded more closely is meant: they stand in that order above.
_RANKS = {heading: rank for role in ("number", "date", "supplier", "code", "name") for rank, heading in enumerate(HEADINGS[role])}
HEAD = ("number", "date", "supplier")
_SURE = re.compile(r"\b(?:invoice|credit|bill|supplier|vendor|seller)\b")
ROLE_BY_HEADING = {heading: role for role, headings in HEADINGS.items() for heading in headings}


def columns_in(row: Sequence[Value]) -> dict[str, int]:
    """Role -> column of a row of headings; {} where the row is none: it needs a name or code, and money."""
    found: dict[str, int] = {}
    second: dict[str, int] = {}
    for column, value in sorted(enumerate(row), key=lambda at: (inside(at[1]), rank(at[1]))):  # one without tax before one with it
        role = heading_role(value) if isinstance(value, str) else ""
        if role:
            (second if role in found else found).setdefault(role, column)
    if "name" in second and "code" not in found:
        found = _item_as_code(row, found, second["name"])
    usable = ("name" in found or "code" in found) and ("amount" in found or {"packs", "price"} <= found.keys())
    return found if usable else {}


@lru_cache(maxsize=4096)
def heading_role(heading: str) -> str:
    """What a heading's words name, a bracket after them left out: 'Amount (USD)' is an amount."""
    return ROLE_BY_HEADING.get(folded(heading)) or ROLE_BY_HEADING.get(folded(re.sub(r"\([^)]*\)", " ", heading)), "")


def inside(value: Value) -> str:
    """The words of a cell that say its prices or amounts are with tax inside, '' where none do."""
    return clean(value) if isinstance(value, str) and tax_inside(value) else ""


def _item_as_code(row: Sequence[Value], found: dict[str, int], other: int) -> dict[str, int]:
    """Beside a description, 'Item' is the item's code."""
    item = next((column for column, value in enumerate(row) if isinstance(value, str) and folded(value) == "item"), None)
    return found if item is None else {**found, "code": item, "name": other if item == found["name"] else found["name"]}


def rank(heading: Value) -> int:
    """How closely a heading words what its column holds, 0 the most; what is no such heading counts as 0."""
    if not isinstance(heading, str):
        return 0
    words = folded(heading)
    return _RANKS.get(words if words in ROLE_BY_HEADING else folded(re.sub(r"\([^)]*\)", " ", heading)), 0)


def sure(heading: Value) -> bool:
    """Whether a heading can only mean the paper's own number, date or supplier."""
    return _SURE.search(folded(heading)) is not None


def rivals(row: Sequence[Value], columns: Mapping[str, int]) -> list[tuple[str, int]]:
    """Columns that may as well hold the paper's number, date or supplier as those taken for it."""
    return [
        (role, column)
        for column, heading in enumerate(row)
        if isinstance(heading, str) and (role := heading_role(heading)) in HEAD and columns[role] != column and sure(heading) >= sure(row[columns[role]])
    ]
