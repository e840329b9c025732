"""A printed paper, words with places, as one `Invoice`: its columns by their heading words, its sums by theirs.

There are no templates and no guesses in silence: what is not certain is a problem of the invoice, which then waits for
her look with the guess filled in. Closing sums alone decide nothing, since quantity and price can be swapped and still close.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from costbook.book.model import SCAN, Invoice, InvoiceLine
from costbook.book.words import Box, Document, Page
from costbook.invoices.checks import problems
from costbook.invoices.columns import MONEY, PERCENT, Column, Heading, choices, heading_at, placed
from costbook.invoices.dialect import Dialect, day, dialect, number
from costbook.invoices.letterhead import SURE, Head, dates_written, head
from costbook.invoices.placed import CURRENCY_WORD, Line, Phrase, has_digit, has_letter, is_number, lines
from costbook.invoices.vocabulary import DAY_FIRST, INSIDE_TAX, SUMS, plain
from costbook.invoices.wording import clean, kind_of, pack_parts, sharing

_COUNTS = ("packs", "ordered", "shipped", "back_ordered")
_MIXED = {
    "and",
    "und",
    "et",
    "en",
    "y",
    "de",
    "costs",
    "kosten",
    "charge",
    "charges",
    "for",
    "the",
    "order",
    "volume",
    "trade",
}
_CURRENCY = re.compile(r"\b(USD|EUR|GBP|CAD|AUD|NZD|CHF|SEK|NOK|DKK|JPY|PLN|CZK)\b")
_SIGNS = {"€": "EUR", "£": "GBP"}
_REGISTERED = re.compile(r"\b(?:id|no|nr|n|number|nummer|numero|reg|registration|intracom\w*|ident\w*|idnr|nif|cif)\b")
_COUNTED = re.compile(r"([-–−+]?\d[\d.,]*(?: \d{3})*)\s*(.*)", re.ASCII)
_CODE = re.compile(r"[A-Z0-9][A-Z0-9./_ -]*|[a-z0-9][a-z0-9./_ -]*")  # 'Al-8' may be 'AI-8'
_NOTE = re.compile(r":\s*[-\d.,\s€$£%]+$")


def read(document: Document, source: str, suppliers: Sequence[str] = ()) -> Invoice:
    """The paper on the pages of a document; a scan that reads otherwise the second time gets a problem.

    Args: suppliers are the names the book knows; one of them on the page is the supplier.
    """
    first = _read(document.pages, source, suppliers)
    found = list(first.problems)
    found += [f"page {p.number} is a picture that was not read" for p in document.pages if p.picture]
    if document.again:
        found += _differences(first, _read(document.again, source, suppliers))
        if first.supplier not in suppliers:  # no sum guards a name
            found.append(f"the supplier '{first.supplier}' read from a picture is not one the book knows")
        first = replace(first, syntax=SCAN)
    return replace(first, problems=tuple(dict.fromkeys(found)))


def _differences(one: Invoice, other: Invoice) -> Iterator[str]:
    """What a second reading of the same picture reads otherwise."""
    pairs = (
        ("supplier", one.supplier, other.supplier),
        ("number", one.number, other.number),
        ("date", f"{one.issued}", f"{other.issued}"),
        ("total", f"{one.gross}", f"{other.gross}"),
        ("kind of paper", one.type_code, other.type_code),
        ("number of lines", f"{len(one.lines)}", f"{len(other.lines)}"),
    )
    for what, first, second in pairs:
        if first != second:
            yield f"the picture is not clear: its {what} reads as '{first}' and as '{second}'"
    for a, b in zip(one.lines, other.lines):
        same = [(x.item_code, x.name, x.quantity, x.price, x.net) for x in (a, b)]
        if same[0] != same[1]:
            yield f"{a.place}: the picture is not clear: '{a.name[:40]}' is read in two ways"


def boxes(document: Document, read: Invoice) -> list[Box]:
    """Boxes over what was read of the pages: lines of goods, other money, and what is in doubt, with the reading in words."""
    by_place = {line.place: line for line in read.lines}
    found = []
    for page in document.pages:
        for row in lines(page):
            line = by_place.get(row.place)
            doubt = any(why.startswith(f"{row.place}: ") for why in problems(read))
            if line is None and not doubt:
                continue
            colour = "doubt" if doubt else "goods" if line and line.kind == "goods" else "money"
            edges = min(w.x0 for w in row.words), min(w.top for w in row.words), max(w.x1 for w in row.words), max(w.bottom for w in row.words)
            found.append(Box(page.number, *edges, colour, _reading(line) if line else ""))
    return found


def _reading(line: InvoiceLine) -> str:
    """A line as it was read, in a few words."""
    if line.kind != "goods" or line.price is None:
        return f"{line.kind} {line.net}"
    return f"{line.quantity:f} x {line.price:f} = {line.net:f}"


def disagreements(invoice: Invoice, pages: Sequence[Page]) -> tuple[str, ...]:
    """Where the visible page does not show the number, the total or a line amount of the e-invoice inside the file."""
    written = [word for page in pages for line in lines(page) for word in line.words]
    if not written:
        return ()
    texts = "".join(clean(word.text) for word in written).casefold()
    found = []
    if "".join(invoice.number.casefold().split()) not in texts:
        found.append(f"the page does not show the number {invoice.number} of the e-invoice inside the file")
    shown = {abs(value) for word in written for value in _either_way(word.text)}
    shown |= {abs(v) for page in pages for line in lines(page) for p in line.phrases for v in _either_way(p.text)}
    totals = [value for value in (invoice.gross, invoice.due) if value is not None]
    if totals and not any(abs(value) in shown for value in totals):
        found.append(f"the page does not show the total {totals[0]} of the e-invoice inside the file")
    clear = all(word.sure >= SURE for word in written)
    for line in invoice.lines if clear else ():
        if line.line_id and not line.group and line.net and abs(line.net) not in shown:
            found.append(f"{line.place}: the page does not show the amount {line.net} of '{line.name[:40]}'")
    return tuple(found)


def _either_way(text: str) -> Iterator[Decimal]:
    if has_digit(text):
        for decimal in ("point", "comma"):
            value = number(text.strip("*;:"), decimal)
            if value is not None:
                yield value


# ------------------------------------------------------------------ rows of the table


@dataclass
class _Item:
    """A row of the table while it is put together: texts by role."""

    line: Line
    cells: dict[str, str]
    sure: float = 100.0
    bottom: Line | None = None


@dataclass(frozen=True)
class _Sum:
    """A sum with its words: what kind it is, its amount as written, and where it stands."""

    kind: str
    label: str
    amount: str
    place: str


@dataclass
class _Table:
    """What one way of reading the pages finds."""

    heading: Heading
    items: list[_Item] = field(default_factory=list)
    sums: list[_Sum] = field(default_factory=list)
    used: set[int] = field(default_factory=set)
    problems: list[str] = field(default_factory=list)
    open: bool = False


def _cells(line: Line, columns: Sequence[Column]) -> dict[str, list[Phrase]]:
    cells: dict[str, list[Phrase]] = {}
    for phrase in line.phrases:
        for role, part in placed(phrase, columns):
            cells.setdefault(role, []).append(part)
    return cells


def _text(cells: dict[str, list[Phrase]], role: str) -> str:
    return " ".join(phrase.text for phrase in cells.get(role, ()))


def _is_figure(text: str) -> bool:
    counted = _COUNTED.fullmatch(text)
    return is_number(text) or bool(
        counted and is_number(counted[1]) and len(counted[2].split()) < 3 and not has_digit(counted[2])
    )


def _table(all_lines: Sequence[Line], headings: dict[int, Heading]) -> _Table:
    """Read the lines from the first of these headings on: rows while the table is open, sums everywhere below."""
    table = _Table(next(iter(headings.values())))
    start = min(headings)
    for at in range(start, len(all_lines)):
        if at in headings:
            table.heading, table.open = headings[at], True
            table.used |= headings[at].at
        elif at not in table.used:
            _take(table, all_lines[at], at)
    return table


def _take(table: _Table, line: Line, at: int) -> None:
    cells = _cells(line, table.heading.columns)
    figures = {role for role in (*MONEY, *_COUNTS) if role in cells and _is_figure(_text(cells, role))}
    whole = {"price", "amount"} <= figures and bool(figures & set(_COUNTS))
    sums = [] if whole and table.open else list(_sums(line))
    if table.open and "amount" not in figures:  # a note on a row: 'Discount: 0.66' under its description
        sums = [one for one in sums if one.kind not in ("charge", "discount")]
    if sums:
        table.sums += sums
        table.used.add(at)
        if any(s.kind not in ("charge", "discount", "carry") for s in sums):
            table.open = False
    elif (
        table.open
        and _starts(figures, cells)
        and ("name" in cells or "code" in cells or _goes_on(table, line, figures))
    ):
        table.used.add(at)
        _take_row(table, line, cells, figures)
    elif table.open and table.items and _near(table.items[-1], line):
        table.used.add(at)
        _wrap(table.items[-1], line, cells)


def _starts(figures: set[str], cells: dict[str, list[Phrase]]) -> bool:
    """Whether a line has figures of a row: money, or a bare count."""
    return bool(figures & set(MONEY)) or any(is_number(_text(cells, role)) for role in figures)


def _goes_on(table: _Table, line: Line, figures: set[str]) -> bool:
    """Whether figures on a line of their own are the rest of the row above."""
    if not table.items or "amount" in table.items[-1].cells or not _near(table.items[-1], line):
        table.problems.append(f"{line.place}: figures without a description")
        return False
    return not figures & table.items[-1].cells.keys()


def _near(item: _Item, line: Line) -> bool:
    last = item.bottom or item.line
    return line.page == last.page and line.middle - last.middle < 2.2 * max(last.height, line.height)


def _take_row(table: _Table, line: Line, cells: dict[str, list[Phrase]], figures: set[str]) -> None:
    last = table.items[-1] if table.items else None
    rest = last is not None and "amount" not in last.cells and not figures & last.cells.keys() and _near(last, line)
    if last is not None and rest:
        for role in figures | (cells.keys() - last.cells.keys() - {"code", "name"}):
            last.cells.setdefault(role, _text(cells, role))
        _wrap(last, line, cells)
        return
    item = _Item(line, {role: _text(cells, role) for role in cells if role})
    # Two readings agree on words more easily than on codes, in which no letter follows from another.
    clear = {"code": 0.0, "name": 13.0}
    item.sure = min((p.sure + more for role, more in clear.items() for p in cells.get(role, ())), default=100.0)
    scanned = any(word.sure < 100 for word in line.words)
    if scanned and ("" in cells or not _CODE.fullmatch(item.cells.get("code", "A"))):
        item.sure = 0.0  # a heading that was misread, or a code with signs that codes do not have
    table.items.append(item)


def _wrap(item: _Item, line: Line, cells: dict[str, list[Phrase]]) -> None:
    """Words below a row go on with its description; a note such as 'Gross price: 4,00' does not."""
    more = _text(cells, "name")
    item.bottom = line
    if more and not _NOTE.search(more):
        item.cells["name"] = f"{item.cells.get('name', '')} {more}".strip()


# ------------------------------------------------------------------ sums


def _sums(line: Line) -> Iterator[_Sum]:
    """The sums on a line: words, then figures, perhaps several beside each other."""
    label: list[str] = []
    figures: list[str] = []
    for text in _pieces(line):
        if is_number(text) and has_digit(text):
            figures.append(text)
        elif has_letter(text) and not CURRENCY_WORD.fullmatch(text) and not PERCENT.fullmatch(text):
            if figures:
                yield from _summed(label, figures, line.place)
                label, figures = [], []
            label.append(text)
    if figures:
        yield from _summed(label, figures, line.place)


def _pieces(line: Line) -> Iterator[str]:
    """The phrases of a line; a figure at the end of words stands alone: 'Total: 529.87' is two."""
    for phrase in line.phrases:
        words = [word.text for word in phrase.words]
        cut = len(words)
        while cut > 1 and (is_number(words[cut - 1]) or words[cut - 1] in _SIGNS or words[cut - 1] == "EUR"):
            cut -= 1
            if has_digit(words[cut]):
                break
        if cut < len(words) and any(has_letter(w) for w in words[:cut]) and any(has_digit(w) for w in words[cut:]):
            yield clean(" ".join(words[:cut]))
            yield clean(" ".join(words[cut:]))
        else:
            yield phrase.text


def _summed(label: Sequence[str], figures: Sequence[str], place: str) -> Iterator[_Sum]:
    for text in (label[-1] if label else "", " ".join(label)):
        words = plain(re.sub(r"\([^)]*\)", lambda m: m[0] if re.search(r"[a-z]{3}", m[0], re.I) else " ", text))
        words = re.sub(r"(?<=[a-z])(?=\d)", " ", words)  # a scan's 'VAT5%'
        kind = next((kind for kind, pattern in SUMS if pattern.search(words)), "")
        if kind in ("tax", "tax total", "gross", "due") and _REGISTERED.search(words):
            return
        if kind.startswith("tax") and not re.search(r"[.,]\d\d(?!\d)", figures[-1]):
            return
        if kind:
            yield _Sum(kind, text.strip(" :"), figures[-1], place)
            return


# ------------------------------------------------------------------ the invoice


def _read(pages: Sequence[Page], source: str, suppliers: Sequence[str]) -> Invoice:
    all_lines = [line for page in pages for line in lines(page)]
    found = {at: h for at in range(len(all_lines)) if (h := heading_at(all_lines, at))}
    headings: dict[int, Heading] = {}
    for at, heading in found.items():
        if not any(at in other.at for other in headings.values()):
            headings[at] = heading
    if not headings:
        return _without_headings(all_lines, source, suppliers)
    layouts: dict[tuple[str, ...], dict[int, Heading]] = {}
    for at, heading in headings.items():
        layouts.setdefault(heading.roles, {})[at] = heading
    readings = [
        _invoice(all_lines, _table(all_lines, dict(zip(alike, chosen))), source, suppliers)
        for alike in list(layouts.values())[:4]
        for chosen in zip(*(choices(heading) for heading in alike.values()))
    ]
    return _decided(readings)


def _decided(readings: Sequence[Invoice]) -> Invoice:
    """The one reading whose sums close, else the fullest; two that close and differ are a problem."""
    closing = [one for one in readings if not problems(one)]
    if not closing:
        return max(readings, key=lambda one: len(one.lines))
    told = {tuple((x.quantity, x.price, x.net, x.name) for x in one.lines) for one in closing}
    if len(told) > 1:
        return replace(closing[0], problems=("the page can be read in two ways that both add up",))
    return closing[0]


def _dialect(all_lines: Sequence[Line], figures: Sequence[str], headings: str) -> Dialect:
    """How the paper writes: by its own figures, and day before month where its headings are in a language that does so."""
    reading = dialect([t for t in figures if t], (), dates_written(all_lines))
    day_first = reading.order == "" and any(word in DAY_FIRST for word in headings.split("|"))
    return replace(reading, order="dmy") if day_first else reading


def _invoice(all_lines: Sequence[Line], table: _Table, source: str, suppliers: Sequence[str]) -> Invoice:
    figures = [item.cells.get(role, "") for item in table.items for role in (*MONEY, *_COUNTS)]
    figures = [_COUNTED.sub(r"\1", text) for text in figures] + [s.amount for s in table.sums]
    named = "|".join(plain(column.text) for column in table.heading.columns)
    reading = _dialect(all_lines, figures, named)
    paper = _Paper(reading, [reading.unsure] if reading.unsure else [])
    paper.problems += table.problems
    around = [line for at, line in enumerate(all_lines) if at not in table.used]
    top = head(around, suppliers, reading.order)
    for item in table.items:
        paper.row(item)
    paper.totals(table.sums)
    whole = " ".join(plain(p.text) for line in all_lines for p in line.phrases)
    if "gross" in table.heading.roles and "amount" not in table.heading.roles:
        paper.problems.append("the amounts of its lines are with tax inside")
    elif INSIDE_TAX.search(whole) or any(s.kind == "inside" for s in table.sums):
        paper.problems.append("its prices may be with tax inside")
    return paper.invoice(top, all_lines, source)


@dataclass
class _Paper:
    """One paper while its texts become figures."""

    reading: Dialect
    problems: list[str]
    lines: list[InvoiceLine] = field(default_factory=list)
    stated: dict[str, Decimal] = field(default_factory=dict)

    def money(self, text: str, place: str) -> Decimal | None:
        """A figure of money, None where none is written; one that cannot be read is a problem."""
        bare = re.sub(r"\s*(?:€|\$|£)\s*", "", text).strip()
        if bare in ("", "-", "–", "—"):
            return None
        found = number(bare, self.reading.decimal)
        if found is None:
            self.problems.append(f"{place}: '{text[:40]}' is not a number")
        return found

    def count(self, text: str, place: str) -> tuple[Decimal | None, str]:
        """A count and the unit beside it: '20 Stk'."""
        found = _COUNTED.fullmatch(text)
        if not found:
            if text.strip("-–— "):
                self.problems.append(f"{place}: '{text[:40]}' is not a count")
            return None, ""
        return self.money(found[1], place), found[2].strip()

    def row(self, item: _Item) -> None:
        """A row of the table as a line."""
        cells, place = item.cells, item.line.place
        shipped = next((cells[role] for role in ("shipped", "packs", "ordered") if role in cells), "")
        packs, unit = self.count(shipped, place)
        price, net = (self.money(cells.get(role, ""), place) for role in MONEY)
        name, code = cells.get("name", ""), cells.get("code", "").split("  ")[0]
        if net is None:
            self.problems.append(f"{place}: '{(name or code)[:40]}' has no amount")
        if item.sure < SURE:
            self.problems.append(f"{place}: '{(name or code)[:40]}' is not clear in the picture")
        if not name and not code:
            self.problems.append(f"{place}: a row has no description")
        if "ordered" in cells and "shipped" not in cells and "packs" not in cells:
            self.problems.append(f"{place}: what came is not told, only what was ordered")
        size, pack_unit = pack_parts(cells.get("pack", ""))
        money = net or Decimal(0)
        expires, doubt = day(cells.get("best_before") or None, self.reading.order)
        self.problems += [f"{place}: {doubt}"] if doubt else []
        line = InvoiceLine(
            line_id=str(len(self.lines) + 1), kind=_kind(name, code, size, money), item_code=code, name=name or code,
            quantity=packs if packs is not None else Decimal(0), unit=cells.get("unit", "") or unit, price=price,
            base_quantity=Decimal(1), net=money, place=place, pack_size=size, pack_unit=pack_unit,
            lot=cells.get("lot", ""), best_before=expires,
        )  # fmt: skip
        if line.kind == "goods" and net is not None and (packs is None or price is None):
            self.problems.append(f"{place}: '{(name or code)[:40]}' lacks its quantity or its price")
        self.lines.append(self._less(line, cells.get("discount", "")))

    def _less(self, line: InvoiceLine, written: str) -> InvoiceLine:
        """The line with its own discount, a share or an amount."""
        if not written.strip("-–— ") or line.price is None:
            return line
        share = PERCENT.fullmatch(written) or re.fullmatch(r"([-–−]?\d[\d.,]*)", written)
        value = number(share[1], self.reading.decimal) if share else None
        if value is None:
            self.problems.append(f"{line.place}: the discount '{written[:20]}' is not a number")
            return line
        return replace(line, allowances=line.quantity * line.price * abs(value) / 100)

    def totals(self, sums: Sequence[_Sum]) -> None:
        """Sums in the order of the page: charges and discounts up to the invoice total, taxes, totals."""
        rates: list[_Sum] = []
        for one in sums:
            amount = self.money(one.amount, one.place)
            if amount is None:
                continue
            if one.kind in ("charge", "discount"):
                if "gross" not in self.stated and amount:
                    self._extra(one, amount)
            elif one.kind == "tax":
                told = "gross" in self.stated and (rates or "tax total" in self.stated)
                rates += [] if told else [one]
            elif one.kind not in ("carry", "inside") and self.stated.setdefault(one.kind, amount) != amount:
                self._second(one, amount)
        taxes = [amount for one in rates if (amount := self.money(one.amount, one.place)) is not None]
        if "tax total" in self.stated:
            self.stated["tax"] = self.stated["tax total"]
            if taxes and sum(taxes) != self.stated["tax"] and self.stated["tax"] not in taxes:
                self.problems.append("the tax by rate does not add up to the tax")
        elif taxes:
            self.stated["tax"] = sum(taxes, Decimal(0))

    def _second(self, one: _Sum, amount: Decimal) -> None:
        if one.kind != "net":  # there may be a subtotal of goods and one with freight
            self.problems.append(f"{one.place}: a second total of {amount}; the first was {self.stated[one.kind]}")

    def _extra(self, one: _Sum, amount: Decimal) -> None:
        """Freight or a discount below the lines; without a sign a discount is money less, unless goods go back."""
        goods = sum((line.net for line in self.lines), Decimal(0))
        net = -abs(amount) if one.kind == "discount" and goods >= 0 else amount
        self.lines.append(
            InvoiceLine(
                line_id=str(len(self.lines) + 1), kind=one.kind, item_code="", name=one.label, quantity=Decimal(1),
                unit="", price=net, base_quantity=Decimal(1), net=net, place=one.place,
            )
        )  # fmt: skip

    def invoice(self, top: Head, all_lines: Sequence[Line], source: str) -> Invoice:
        """The paper with what stands around its table."""
        self.problems += top.problems
        gross, due, paid = (self.stated.get(kind) for kind in ("gross", "due", "paid"))
        if gross is None and due is not None:
            gross = due + abs(paid or Decimal(0))
        type_code = self._type(top, gross)
        invoice = Invoice(
            supplier=top.supplier, number=top.number, issued=top.issued, type_code=type_code,
            currency=self._currency(all_lines), lines=tuple(map(_worded, self._turned(type_code))), source=source, syntax="page",
            tax=self.stated.get("tax"), gross=gross, prepaid=abs(paid) if paid else None, due=due,
            decimal=self.reading.decimal,
        )  # fmt: skip
        self._check_net(invoice)
        return replace(invoice, problems=tuple(dict.fromkeys(self.problems)))

    def _check_net(self, invoice: Invoice) -> None:
        """A subtotal is the lines, with or without what stands below them."""
        net = self.stated.get("net")
        everything = sum((line.net for line in invoice.lines), Decimal(0))
        goods = sum((line.net for line in invoice.lines if line.kind not in ("charge", "discount")), Decimal(0))
        if net is not None and abs(net) not in (abs(everything), abs(goods), abs(invoice.gross or 0)):
            partly = [sum((x.net for x in invoice.lines[:n]), Decimal(0)) for n in range(len(invoice.lines) + 1)]
            if net not in partly:
                self.problems.append(f"the lines do not add up to the total without tax of {net}")

    def _type(self, top: Head, gross: Decimal | None) -> str:
        """The type the page names; words that may mean a bill as well as money back are asked unless the total says."""
        negative = gross is not None and gross < 0
        if top.type_code == "381?" or (top.type_code == "384" and not negative):
            if not negative:
                self.problems.append("whether it takes money back or asks for it is not certain")
            return "381"
        if top.type_code in ("380", "not"):
            return "381" if negative else "380"
        return top.type_code

    def _turned(self, type_code: str) -> Iterator[InvoiceLine]:
        """On a credit note that writes its amounts negative and its quantities not, the quantities go back too."""
        goods = [line for line in self.lines if line.kind == "goods"]
        turn = type_code == "381" and goods and all(x.net < 0 < x.quantity and (x.price or 0) > 0 for x in goods)
        for line in self.lines:
            back = turn and line.kind == "goods"
            yield replace(line, quantity=-line.quantity, allowances=-line.allowances) if back else line

    def _currency(self, all_lines: Sequence[Line]) -> str:
        text = " ".join(word.text for line in all_lines for word in line.words)
        named = set(_CURRENCY.findall(text)) | {code for sign, code in _SIGNS.items() if sign in text}
        if len(named) > 1:
            self.problems.append(f"the page names several currencies: {', '.join(sorted(named))}")
        return named.pop() if len(named) == 1 else ""


def _worded(line: InvoiceLine) -> InvoiceLine:
    """A charge or discount with what its words say of how it is shared."""
    if line.kind not in ("charge", "discount"):
        return line
    shared_by, covers = sharing(line.name)
    return replace(line, shared_by=shared_by, covers=covers)


def _kind(name: str, code: str, pack: str, money: Decimal) -> str:
    """The kind of a row that has figures of its own: goods, unless its words name nothing but a charge or a discount."""
    kind = kind_of(name, money, code=code, pack=pack)
    if kind in ("charge", "discount", "sample", "back-order"):
        return kind
    words = plain(name).split()
    for wanted, pattern in SUMS if words and not code else ():
        named = [bool(pattern.search(word)) for word in words]
        if wanted in ("charge", "discount") and any(named) and all(n or w in _MIXED for n, w in zip(named, words)):
            return wanted
    return "goods"


def _without_headings(all_lines: Sequence[Line], source: str, suppliers: Sequence[str]) -> Invoice:
    """A paper whose columns have no heading words: rows where one figure is two others multiplied, as a guess."""
    reading = _dialect(all_lines, [p.text for line in all_lines for p in line.phrases if is_number(p.text)], "")
    paper = _Paper(reading, ["its columns have no heading words that are known, so what its figures are is a guess"])
    sums = [one for line in all_lines for one in _sums(line)]
    for line in all_lines:
        figures = [v for p in line.phrases if is_number(p.text) and (v := number(p.text, reading.decimal)) is not None]
        words = " ".join(p.text for p in line.phrases if not is_number(p.text))
        if 3 <= len(figures) <= 8 and words:
            packs, price, net = figures[-3:]
            if packs * price == net:
                paper.lines.append(
                    InvoiceLine(
                        str(len(paper.lines) + 1), "goods", "", words, packs, "", price, Decimal(1), net, line.place
                    )
                )
    paper.totals(sums)
    return paper.invoice(head(all_lines, suppliers, reading.order), all_lines, source)
