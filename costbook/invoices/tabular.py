"""Supplier lists, as CSV bytes or as a workbook that a host read, into one `Invoice` per paper.

Columns are named by their heading words (`headings`), never by position or guess. What stands above the headings as
"Invoice: B-1041" holds for the rows below. Rows of one supplier and number are one paper. The decimal style and the
order of day and month are told from the file's own numbers and dates; where they cannot be and it matters, the paper
gets a problem and the usual reading is filled in. It is one file since what stands above the headings, the headings and
the rows below are told apart only together. Kinds of rows are common practice, no source; see `wording`.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal

from costbook.book.grid import ErrorValue, Snapshot, Value
from costbook.book.model import CREDIT_TYPES, Invoice, InvoiceLine
from costbook.errors import InvoiceError
from costbook.invoices.dialect import BLANK, Dialect, counted, day, dialect, number, shown
from costbook.invoices.headings import (
    DAY_FIRST,
    HEAD,
    columns_in,
    heading_role,
    inside,
    may_be_price,
    names_codes,
    rank,
    rivals,
    sure,
)
from costbook.invoices.line_terms import (
    DISCOUNTS,
    Discount,
    many,
    price_parts,
    priced_for,
    printed_discount,
    settled,
    with_discounts,
)
from costbook.invoices.vocabulary import SUMS
from costbook.invoices.wording import (
    clean,
    folded,
    kind_of,
    other_paper,
    pack_parts,
    plain,
    sharing,
    type_of,
    without_positions,
)

_LABELS = ("number", "type", "date", "supplier", "currency", "paper_total")
# Kinds of paper that a list is even where it says so as a label, 'Quotation: Q-17'; orders and deliveries are named on invoices too.
OFFERS = ("310", "325", "statement", "reminder")
_MONEY_ROLES = ("price", "amount", "paper_total")
_COUNT_ROLES = ("packs", "ordered", "shipped", "back_ordered")

LARGEST_BYTES = 20_000_000
# Where a CSV file's headings are looked for while its delimiter is not known.
_FIRST_ROWS = 200
_DELIMITERS = (",", ";", "\t", "|")
_NOT_TEXT = (b"PK\x03\x04", b"%PDF", b"\xd0\xcf\x11\xe0", b"\x89PNG", b"\xff\xd8\xff", b"\x1f\x8b")
_CURRENCY = re.compile(r"\b(USD|EUR|GBP|CAD|AUD|NZD|CHF|SEK|NOK|DKK|JPY|PLN|CZK)\b")
_SIGNS = {"€": "EUR", "£": "GBP"}


def read_csv(data: bytes, source: str, *, decimal: str | None = None) -> list[Invoice]:
    """The papers in a CSV file, in the order of their first rows.

    Args: source names the file in sentences; decimal ('point' or 'comma') is the style of its numbers if known.
    Raises: InvoiceError where the file is empty, no text, too large, or has no row of headings that can be used.
    """
    return _papers(_found_rows(csv_rows(data, source), ""), source, "CSV", decimal)


def csv_rows(data: bytes, source: str) -> list[list[str]]:
    """The rows of a CSV file as texts, split at the mark that gives the best row of headings.

    Raises: InvoiceError where the file is empty, no text, or too large.
    """
    text = _text(data, source)
    tables = {mark: _csv_rows(text, mark) for mark in _DELIMITERS}
    best = max(_DELIMITERS, key=lambda mark: (_heading_score(tables[mark] or ()), max(map(len, tables[mark] or ()), default=0)))
    rows = tables[best]
    if rows is None:
        raise InvoiceError(
            "its quotation marks do not close, so its columns cannot be told.", source, "Save it as CSV again."
        )
    return rows


def read_grids(snapshot: Snapshot, source: str) -> list[Invoice]:
    """The papers in a workbook, from every tab that has a row of headings; typed numbers and dates as they are.

    Raises: InvoiceError where no tab has such a row.
    """
    found: list[_Row] = []
    for grid in snapshot.grids.values():
        found += _found_rows(grid.rows, grid.name, frozenset(grid.formulas))
    return _papers(found, source, "workbook", None)


def _text(data: bytes, source: str) -> str:
    """The file's text: utf-8, utf-16 with its mark, else cp1252."""
    if not data.strip():
        raise InvoiceError("the file is empty.", source, "Save it again from the mail it came with.")
    if len(data) > LARGEST_BYTES:
        raise InvoiceError(
            f"the file is larger than {LARGEST_BYTES // 1_000_000} MB; a supplier's list is not.", source
        )
    text = None if data.startswith(_NOT_TEXT) else _decoded(data)
    if text is None or any(c < " " and c not in "\t\r\n\f" for c in text):
        do = "If it is a workbook or a PDF, give it its right name."
        raise InvoiceError("this is not a list in text form, whatever its name says.", source, do)
    return text


def _decoded(data: bytes) -> str | None:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return _decoded_as(data, "utf-16")
    text = _decoded_as(data, "utf-8-sig")
    return _decoded_as(data, "cp1252") if text is None else text


def _decoded_as(data: bytes, encoding: str) -> str | None:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError:
        return None


def _csv_rows(text: str, delimiter: str) -> list[list[str]] | None:
    """The rows split at a delimiter, None where its quotation marks do not fit; a first line 'sep=;' is left out."""
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error:
        return None
    return rows[1:] if rows and rows[0] and rows[0][0].casefold().startswith("sep=") else rows


def _heading_score(rows: Sequence[Sequence[Value]]) -> int:
    return max((len(columns_in(row)) for row in rows[:_FIRST_ROWS]), default=0)


@dataclass(frozen=True, slots=True)
class _Row:
    """A row below headings: its values by role, those of the labels above it filled in, and its place in words."""

    place: str
    values: Mapping[str, Value]
    type_code: str = ""
    inside: str = ""
    doubt: str = ""
    priced_for: int = 1
    day_first: bool = False
    named_codes: bool = False

    def text(self, role: str) -> str:
        value = self.values.get(role)
        return "" if value is None else clean(shown(value))


@dataclass
class _Block:
    """What holds for the rows being read: labels, columns, and the number, date and so on of the row above."""

    labels: dict[str, Value] = field(default_factory=dict)
    worded: dict[str, str] = field(default_factory=dict)
    columns: dict[str, int] = field(default_factory=dict)
    rivals: list[tuple[str, int]] = field(default_factory=list)
    stronger: frozenset[str] = frozenset()
    names_an_invoice: bool = False
    priced_for: int = 1
    unread: str = ""
    day_first: bool = False
    named_codes: bool = False
    type_code: str = ""
    offered: str = ""
    inside: str = ""
    doubts: dict[str, str] = field(default_factory=dict)
    above: dict[str, Value] = field(default_factory=dict)

    def label(self, role: str, words: str, value: Value) -> None:
        """Keep a label; of several for the number, date or supplier the one that is worded most closely."""
        held = self.worded.get(role)
        if role in HEAD and held is not None:
            if sure(held) == sure(words) and shown(value) != shown(self.labels[role]):
                self.doubts[role] = _doubt(role, self.labels[role], value)
            elif sure(words):
                self.doubts.pop(role, None)
            if rank(held) <= rank(words):
                return
        self.labels[role], self.worded[role] = value, words
        self.day_first = self.day_first or plain(words) in DAY_FIRST

    def head(self, row: Sequence[Value], columns: dict[str, int]) -> None:
        """Go on with the columns of a row of headings; a sure label stands over a column that is not."""
        self.columns, self.rivals = columns, rivals(row, columns)
        heads = [value for value in row if isinstance(value, str)]
        self.priced_for = priced_for(str(row[columns["price"]]))[1] if "price" in columns else 1
        self.unread = "" if "price" in columns else next((clean(value) for value in heads if may_be_price(value)), "")
        self.day_first = self.day_first or any(plain(value) in DAY_FIRST for value in heads)
        if "number" in columns:
            self.type_code = self.type_code or type_of(str(row[columns["number"]]))
        self.stronger = frozenset(role for role in HEAD if role in columns and sure(self.worded.get(role, "")) > sure(row[columns[role]]))
        self.named_codes = "code" in columns and names_codes(row[columns["code"]])
        self.names_an_invoice = any(sure(words) for words in (self.worded.get("number", ""), row[columns["number"]] if "number" in columns else ""))


def _doubt(role: str, one: Value, other: Value) -> str:
    return f"which {role} is the paper's is not certain: '{clean(shown(one))[:40]}' or '{clean(shown(other))[:40]}'"


def _found_rows(
    rows: Sequence[Sequence[Value]], tab: str, formulas: frozenset[tuple[int, int]] = frozenset()
) -> list[_Row]:
    """The rows below each row of headings, with the labels above it; [] where there are no headings."""
    block, found = _Block(), []
    for index, row in enumerate(rows):
        filled = [value for value in row if _filled(value)]
        if not filled:
            continue
        columns = columns_in(row)
        labels = [] if columns else _labels(row, block)
        if columns:
            block.head(row, columns)
            block.inside = block.inside or next((told for role in ("amount", "price") if role in columns and (told := inside(row[columns[role]]))), "")
        elif labels or not block.columns:
            if block.columns:
                block = _Block()  # another paper begins
            for label in labels:
                block.label(*label)
            block.type_code = block.type_code or _title_type(filled)
            block.offered = block.offered or _offered(filled)
            block.inside = block.inside or next(filter(None, map(inside, filled)), "")
        else:
            found.append(_row(row, block, f"{tab} row {index + 1}".strip(), [c for r, c in formulas if r == index]))
    return found


def _filled(value: Value) -> bool:
    return value is not None and (not isinstance(value, str) or bool(value.strip()))


def _title_type(filled: Sequence[Value]) -> str:
    """The type of paper a short title names, such as CREDIT NOTE; with a value beside it, Delivery note is a label of the invoice's."""
    short = (value for value in filled if isinstance(value, str) and len(value.split()) <= 4)
    return next((code for value in short if (code := type_of(value)) and ((len(filled) == 1 and ":" not in value) or not other_paper(value))), "")


def _offered(filled: Sequence[Value]) -> str:
    """The type of an offer or the like that a label names with a value: what a list is that names no invoice at all."""
    label = filled[0].partition(":")[0] if isinstance(filled[0], str) else ""
    code = other_paper(label) if len(filled) > 1 or label != filled[0] else ""
    return code if code in OFFERS else ""


def _labels(row: Sequence[Value], block: _Block) -> list[tuple[str, str, Value]]:
    """The labels in a row ('Invoice: B-1041', or 'Date' with the date right of it): role, words and value.

    Below headings only a row that starts with one and has no amount is such a row, and then a new paper begins.
    """
    found = list(_label_pairs(row))
    if not block.columns:
        return found
    column = block.columns.get("amount", -1)
    amount = row[column] if 0 <= column < len(row) else None
    start = next((value for value in row if _filled(value)), None)
    starts = isinstance(start, str) and _label_role(start) in [role for role, _, _ in found] and _label_role(start) != "paper_total"
    return found if starts and not _filled(amount) else []


def _label_role(text: str) -> str:
    role = heading_role(text.partition(":")[0])
    return role if role in _LABELS else ""


def _label_pairs(row: Sequence[Value]) -> Iterator[tuple[str, str, Value]]:
    for index, value in enumerate(row):
        role = _label_role(value) if isinstance(value, str) else ""
        if not role:
            continue
        inside = str(value).partition(":")[2].strip()
        beside = next((v for v in row[index + 1 :] if _filled(v)), None)
        if inside or beside is not None:
            yield role, str(value).partition(":")[0], inside or beside


def _row(row: Sequence[Value], block: _Block, place: str, formulas: Sequence[int]) -> _Row:
    values: dict[str, Value] = {}
    for role, column in block.columns.items():
        value = row[column] if column < len(row) else None
        if value is None and column in formulas:
            value = ErrorValue("a formula without a result")
        if _filled(value):
            values[role] = value
    if "name" not in values and "code" not in values:
        _find_words(row, values, block.columns)
    doubts = {role: text for role, text in block.doubts.items() if role in block.stronger or role not in values}
    for role, column in block.rivals:
        other = row[column] if column < len(row) else None
        if role not in block.stronger and role in values and _filled(other) and shown(other) != shown(values[role]):
            doubts[role] = _doubt(role, values[role], other)
    values = {**block.labels, **values, **{role: block.labels[role] for role in block.stronger}}
    _fill_down(values, block)
    if block.unread and "price" not in values:
        doubts["price"] = f"what stands under '{block.unread[:40]}' is not known, so no price checks the lines"
    code = block.type_code or ("" if block.names_an_invoice else block.offered)
    return _Row(place, values, code, block.inside, "; ".join(doubts.values()), block.priced_for, block.day_first, block.named_codes)


def _find_words(row: Sequence[Value], values: dict[str, Value], columns: Mapping[str, int]) -> None:
    """Words such as 'Subtotal' that stand in another column than the description, moved to it."""
    role_at = {column: role for role, column in columns.items()}
    for column, value in enumerate(row):
        role = role_at.get(column, "")
        if not isinstance(value, str) or role in ("amount", "kind") or not any(c.isalpha() for c in value):
            continue
        if role in ("", *_COUNT_ROLES, "price", "pack", "unit") or kind_of(value, Decimal(1)) != "goods":
            values["name"] = value
            values.pop(role, None)
            return


def _fill_down(values: dict[str, Value], block: _Block) -> None:
    """Fill number, date, supplier and currency from the row above; a new number starts afresh."""
    if block.above.get("number") != values.get("number") and values.get("number") is not None:
        block.above = {role: value for role, value in block.above.items() if role == "supplier" and role not in values}
    for role in ("number", "date", "supplier", "currency"):
        if role in values:
            block.above[role] = values[role]
        elif role in block.above:
            values[role] = block.above[role]


def _papers(rows: Sequence[_Row], source: str, syntax: str, decimal: str | None) -> list[Invoice]:
    if not rows:
        wanted = "item (description, item, code ...) and amount, or packs (quantity) and pack price"
        raise InvoiceError(f"no row of headings with lines under it was found; looked for {wanted}.", source,
                           "Name the columns in their first row, or post the paper from its page.")  # fmt: skip
    reading = _reading(rows, decimal)
    grouped: dict[tuple[str, str], list[_Row]] = {}
    for row in rows:
        grouped.setdefault((folded(row.text("supplier")), folded(row.text("number"))), []).append(row)
    return [_paper(group, source, syntax, reading) for group in grouped.values()]


def _reading(rows: Sequence[_Row], decimal: str | None) -> Dialect:
    numbers = [
        value
        for row in rows
        for role in (*_MONEY_ROLES, *_COUNT_ROLES, *DISCOUNTS)
        if isinstance(value := row.values.get(role), str)
    ]
    dates = [row.text(role) for row in rows for role in ("date", "best_before")]
    reading = dialect(numbers, [row.text("pack") for row in rows], dates, decimal)
    if any(row.day_first for row in rows):  # its headings are in a language that writes so, unless its dates tell otherwise
        return replace(reading, order="" if reading.order == "mdy" else "dmy")
    return reading


@dataclass
class _Paper:
    """One paper while its rows are read: lines, stated totals, money seen so far, and what is wrong with it."""

    reading: Dialect
    problems: list[str] = field(default_factory=list)
    lines: list[InvoiceLine] = field(default_factory=list)
    stated: dict[str, Decimal] = field(default_factory=dict)
    types: list[str] = field(default_factory=list)
    discounts: dict[int, Discount] = field(default_factory=dict)

    def number(self, row: _Row, role: str) -> Decimal | None:
        """A cell's number, without the unit beside a count; None where it is empty; one that cannot be read is a problem."""
        value = row.values.get(role)
        if isinstance(value, str) and role in _COUNT_ROLES:
            value = counted(value)[0]
        elif isinstance(value, str) and role == "price":
            value = price_parts(clean(value))[0]
        if value is None or (isinstance(value, str) and value.strip() in BLANK):
            return None
        found = number(value, self.reading.decimal, count=role in _COUNT_ROLES)
        if found is None:
            self.problems.append(
                f"{row.place}: '{clean(shown(value))[:40]}' is not a number ({role.replace('_', ' ')})"
            )
        return found

    def priced_for(self, row: _Row) -> Decimal:
        """For how many the row's price is, by its heading, its cell and a column of its own."""
        written = (price_parts(row.text("price"))[1], row.text("price_for"))
        found, problem = settled([Decimal(row.priced_for), *(many(text) for text in written if text not in BLANK)])
        if problem:
            self.problems.append(f"{row.place}: {problem}")
        return found

    def discount(self, row: _Row) -> None:
        """Keeps the discount printed for the last line."""
        for role in DISCOUNTS:
            text = row.text(role)
            if text in BLANK:
                continue
            cell = row.values[role]
            read = number(cell.replace("%", ""), self.reading.decimal) if isinstance(cell, str) else number(cell, self.reading.decimal)
            found = printed_discount(text, role, read)
            if found is None or len(self.lines) - 1 in self.discounts:
                self.problems.append(f"{row.place}: the discount '{text[:20]}' is not a number" if found is None else f"{row.place}: it has two discounts")
            elif found.value:
                self.discounts[len(self.lines) - 1] = found

    def day(self, row: _Row, role: str) -> date | None:
        found, problem = day(row.values.get(role), self.reading.order)
        if problem:
            self.problems.append(f"{row.place}: {problem}")
        return found

    def state(self, row: _Row, name: str, amount: Decimal) -> None:
        """Keep a total the paper states; a second one that differs is a problem."""
        if self.stated.setdefault(name, amount) != amount:
            self.problems.append(f"{row.place}: a second {name} of {amount}; the first was {self.stated[name]}")


def _paper(rows: Sequence[_Row], source: str, syntax: str, reading: Dialect) -> Invoice:
    paper = _Paper(reading, [reading.unsure] if reading.unsure else [])
    paper.problems += [f"its prices may be with tax inside: '{row.inside[:40]}'" for row in rows if row.inside][:1]
    paper.problems += dict.fromkeys(row.doubt for row in rows if row.doubt)
    for row in rows:
        _take(paper, row)
    paper.lines, doubts = with_discounts(paper.lines, paper.discounts)
    paper.problems += doubts
    first = rows[0]
    gross = paper.stated.get("invoice total")
    due = paper.stated.get("amount due")
    if gross is None and due is not None:
        gross = due + paper.stated.get("paid", Decimal(0))
    tax = [line.net for line in paper.lines if line.kind == "tax"]
    type_code = _type_code(paper, rows, gross)
    return Invoice(
        supplier=first.text("supplier"),
        number=first.text("number"),
        issued=_issued(paper, rows),
        type_code=type_code,
        currency=_currency(rows),
        lines=_given_back(_signed(without_positions(paper.lines, named_codes=all(row.named_codes for row in rows))), type_code),
        source=source,
        syntax=syntax,
        tax=sum(tax, Decimal(0)) if tax else None,
        gross=gross,
        prepaid=paper.stated.get("paid"),
        due=due,
        line_total=paper.stated.get("subtotal"),
        problems=tuple(dict.fromkeys(paper.problems)),
        decimal=reading.decimal,
    )


def _take(paper: _Paper, row: _Row) -> None:
    """Read one row into the paper: a line, a stated total, or both."""
    name, code = row.text("name"), row.text("code")
    amount, packs, price = paper.number(row, "amount"), _packs(paper, row), paper.number(row, "price")
    if "amount" not in row.values and packs is not None and price is not None and not row.values.keys() & set(DISCOUNTS):
        amount = packs * price / paper.priced_for(row)
    if amount is None and not (name or code):
        return
    money = amount if amount is not None else Decimal(0)
    came = packs if {"shipped", "back_ordered"} & row.values.keys() else None
    said = row.text("kind") or row.text("type")
    kind = kind_of(name, money, said=said, code=code, pack=row.text("pack"), shipped=came)
    if kind == "goods" and not (said or code or row.text("pack")) and packs is None and price is None:
        kind = _sum_kind(paper, row, name)
    if amount is None and kind not in ("sample", "back-order"):
        paper.problems.append(f"{row.place}: '{(name or code)[:40]}' has no amount")
    _take_type(paper, row, name)
    if (total := paper.number(row, "paper_total")) is not None:
        paper.state(row, "invoice total", total)
    _keep(paper, row, kind, _line(paper, row, kind, packs, price, money))


_SUM_KINDS = {"gross": "total", "net": "subtotal", "carry": "subtotal", "tax total": "tax"}


def _sum_kind(paper: _Paper, row: _Row, name: str) -> str:
    """The kind of a row of nothing but words and an amount, by the words of a printed sum in five languages."""
    found = next((kind for kind, pattern in SUMS if pattern.search(plain(name))), "goods")
    if found == "inside":
        paper.problems.append(f"its prices may be with tax inside: '{name[:40]}'")
    return _SUM_KINDS.get(found, found)


def _packs(paper: _Paper, row: _Row) -> Decimal | None:
    """The packs that came: shipped where the list says so, else packs, else what was ordered less what is to follow."""
    shipped = paper.number(row, "shipped")
    if shipped is not None:
        return shipped
    packs = paper.number(row, "packs")
    if packs is not None:
        return packs
    ordered = paper.number(row, "ordered")
    return ordered - (paper.number(row, "back_ordered") or Decimal(0)) if ordered is not None else None


def _take_type(paper: _Paper, row: _Row, name: str) -> None:
    credit = type_of(name) if folded(name).startswith("credit") else ""
    code = type_of(row.text("type")) or row.type_code or credit
    if code:
        paper.types.append(code)


def _line(
    paper: _Paper, row: _Row, kind: str, packs: Decimal | None, price: Decimal | None, amount: Decimal
) -> InvoiceLine:
    size, unit = pack_parts(row.text("pack"))
    shared_by, covers = sharing(row.text("name")) if kind in ("charge", "discount") else ("", "")
    return InvoiceLine(
        line_id=str(len(paper.lines) + 1),
        kind=kind,
        item_code=row.text("code"),
        name=row.text("name"),
        quantity=packs if packs is not None else Decimal(0 if kind in ("goods", "sample", "back-order") else 1),
        unit=row.text("unit") or next((beside for role in _COUNT_ROLES if (beside := counted(row.text(role))[1])), ""),
        price=price,
        base_quantity=paper.priced_for(row),
        net=amount,
        place=row.place,
        pack_size=size,
        pack_unit=unit or row.text("pack_unit") * bool(size),
        lot=row.text("lot"),
        best_before=paper.day(row, "best_before"),
        shared_by=folded(row.text("shared_by")) or shared_by,
        covers=folded(row.text("covers")) or covers,
    )


def _keep(paper: _Paper, row: _Row, kind: str, line: InvoiceLine) -> None:
    """Put a line where it belongs: totals are stated and kept, a subtotal is checked, a payment is no discount."""
    if kind == "subtotal":
        _check_subtotal(paper, row, line.net)
    elif kind == "paid":
        paper.state(row, "paid", abs(line.net))
    elif kind == "due":
        paper.state(row, "amount due", line.net)
    else:
        if kind == "total":
            paper.state(row, "invoice total", line.net)
        paper.lines.append(line)
        if kind == "goods":
            paper.discount(row)


def _check_subtotal(paper: _Paper, row: _Row, amount: Decimal) -> None:
    """A subtotal is the goods above it, or all money above it."""
    lines = [line for line in _signed(paper.lines) if line.kind not in ("tax", "total")]
    everything = sum((line.net for line in lines), Decimal(0))
    goods = sum((line.net for line in lines if line.kind not in ("discount", "charge")), Decimal(0))
    if amount not in (goods, everything):
        difference = min(abs(amount - goods), abs(amount - everything))
        paper.problems.append(
            f"{row.place}: the lines above do not add up to the subtotal (difference {difference:.2f})"
        )
    paper.stated.setdefault("subtotal", amount)


def _signed(lines: Sequence[InvoiceLine]) -> tuple[InvoiceLine, ...]:
    """The lines, discounts negative: without a sign a discount is still money less, unless goods go back."""
    goods = [line.net for line in lines if line.kind == "goods"]
    if goods and max(goods) <= 0:
        return tuple(lines)
    return tuple(_less(line) for line in lines)


def _given_back(lines: tuple[InvoiceLine, ...], type_code: str) -> tuple[InvoiceLine, ...]:
    """The lines of a credit note with what came back counted below zero.

    Many lists write plain packs beside an amount below zero. Only where packs x price is that very amount is it so read.
    """
    if type_code not in CREDIT_TYPES:
        return lines
    return tuple(
        line._replace(quantity=-line.quantity)
        if line.kind == "goods" and line.price is not None and line.net < 0 and line.quantity * line.price == -line.net
        else line
        for line in lines
    )


def _less(line: InvoiceLine) -> InvoiceLine:
    if line.kind != "discount" or line.net <= 0:
        return line
    return line._replace(net=-line.net, price=None if line.price is None else -abs(line.price))


def _issued(paper: _Paper, rows: Sequence[_Row]) -> date | None:
    """The paper's date; two different ones under one number are a problem."""
    written = {row.text("date"): row for row in reversed(rows)}
    days = sorted({found for row in written.values() if (found := paper.day(row, "date")) is not None})
    if len(days) > 1:
        paper.problems.append(f"one number and {len(days)} dates: {', '.join(found.isoformat() for found in days)}")
    return next((found for found in days), None)


def _type_code(paper: _Paper, rows: Iterable[_Row], gross: Decimal | None) -> str:
    """UNTDID 1001: by the paper's words, else a credit note (381) for a total below zero, else 380.

    Words that may mean a bill as well as money back are asked about unless the total says.
    """
    negative = gross is not None and gross < 0
    if not paper.types:
        return "381" if negative else "380"
    if paper.types[0] == "381?" and not negative:
        paper.problems.append("whether it takes money back or asks for it is not certain")
    return "381" if paper.types[0] == "381?" else paper.types[0]


def _currency(rows: Sequence[_Row]) -> str:
    """The currency stated, or the one of an unmistakable sign in the amounts; '' where neither is ($ is several)."""
    for row in rows:
        stated = _CURRENCY.search(row.text("currency").upper())
        if stated:
            return stated[1]
    return next(_marked(rows), "")


def _marked(rows: Sequence[_Row]) -> Iterator[str]:
    for row in rows:
        for role in _MONEY_ROLES:
            text = row.text(role)
            yield from (code for sign, code in _SIGNS.items() if sign in text)
            yield from _CURRENCY.findall(text.upper())
