"""A printed paper, words with places, as one `Invoice`: its columns by their heading words, its sums by theirs.

There are no templates and no guesses in silence: what is not certain is a problem of the invoice, which then waits for
her look with the guess filled in. Closing sums alone decide nothing, since quantity and price can be swapped and still close.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from costbook.amounts.quantity import same_name
from costbook.book.model import HEADING_MEANS, SCAN, Invoice, InvoiceLine, PaperFact
from costbook.book.words import Box, Document, Page
from costbook.invoices.checks import problems
from costbook.invoices.columns import MONEY, Column, Heading, by_sums, choices, filled, heading_at
from costbook.invoices.dialect import COUNTED, TIMES, Dialect, day, dialect, number
from costbook.invoices.headings import DAY_FIRST
from costbook.invoices.letterhead import SURE, Head, dates_written, days_shown, head, labelled_days, named
from costbook.invoices.line_table import COUNTS, SIGNS, Item, LineTable, Sum, line_table, sums_on
from costbook.invoices.line_terms import (
    DISCOUNTS,
    Discount,
    many,
    price_parts,
    printed_discount,
    settled,
    with_discounts,
)
from costbook.invoices.placed import Line, has_digit, is_number, lines
from costbook.invoices.vocabulary import SUMS
from costbook.invoices.wording import (
    INSIDE_TAX,
    NOTES_TAX,
    clean,
    kind_of,
    pack_parts,
    plain,
    sharing,
    without_positions,
)

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
_GUESS = "its columns have no heading words that are known, so what its figures are is a guess"
_CURRENCY = re.compile(r"\b(USD|EUR|GBP|CAD|AUD|NZD|CHF|SEK|NOK|DKK|JPY|PLN|CZK)\b")


Facts = Mapping[str, Sequence[PaperFact]]


def read(document: Document, source: str, suppliers: Sequence[str] = (), facts: Facts | None = None) -> Invoice:
    """The paper on the pages of a document; a scan that reads otherwise the second time gets a problem.

    Args:
        suppliers: the names the book knows; one of them on the page is the supplier.
        facts: by the folded name of a supplier, what is known of how its papers are laid out.
    """
    facts = facts or {}
    first = _read(document.pages, source, suppliers, facts)
    found = list(first.problems)
    found += [f"page {p.number} is a picture that was not read" for p in document.pages if p.picture]
    if document.again:
        found += _differences(first, _read(document.again, source, suppliers, facts))
        if first.supplier not in suppliers:  # no sum guards a name
            found.append(f"the supplier '{first.supplier}' read from a picture is not one the book knows")
        first = first._replace(syntax=SCAN)
    return first._replace(problems=tuple(dict.fromkeys(found)))


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


def disagreements(invoice: Invoice, pages: Sequence[Page], facts: Facts | None = None) -> tuple[str, ...]:
    """Where the visible page contradicts the e-invoice inside the file.

    It does not show its number, its total or a line amount, or clearly shows another date or another quantity.

    Args: facts as for `read`.
    """
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
    if clear:
        found += _other_day(invoice, [line for page in pages for line in lines(page)])
        found += _other_quantities(invoice, _read(pages, invoice.source, (invoice.supplier,), facts or {}))
    return tuple(found)


def _other_day(invoice: Invoice, all_lines: Sequence[Line]) -> Iterator[str]:
    """The date of the page where it is clearly another than the e-invoice's, in whatever order its day and month stand."""
    days, sure = labelled_days(all_lines, invoice.number)
    if invoice.issued is None or not days or invoice.issued in days:
        return
    if sure or invoice.issued not in days_shown(all_lines):
        named = " or ".join(day.isoformat() for day in sorted(days))
        yield f"the page is dated {named}, the e-invoice inside the file {invoice.issued}"


def _other_quantities(invoice: Invoice, page: Invoice) -> Iterator[str]:
    """Lines whose amount both show with different quantities; a page whose columns are a guess tells nothing."""
    if (page.taken and page.taken[0].about == "heading") or _GUESS in page.problems:
        return
    inside, seen = _by_amount(invoice.lines), _by_amount(page.lines)
    for amount, told in inside.items():
        shown = seen.get(amount, ())
        if len(shown) == len(told):
            for one, other in zip(sorted(told, key=_quantity), sorted(shown, key=_quantity)):
                if _quantity(one) != _quantity(other):
                    words = f"{_quantity(other):f} of '{one.name[:40]}', the e-invoice inside the file {_quantity(one):f}"
                    yield f"{one.place}: the page shows {words}"


def _by_amount(lines: Sequence[InvoiceLine]) -> dict[Decimal, list[InvoiceLine]]:
    """Goods with an amount and a quantity, by the amount."""
    found: dict[Decimal, list[InvoiceLine]] = {}
    for line in lines:
        if line.kind == "goods" and line.net and line.quantity and not line.group:
            found.setdefault(abs(line.net), []).append(line)
    return found


def _quantity(line: InvoiceLine) -> Decimal:
    return abs(line.quantity).normalize()


def _either_way(text: str) -> Iterator[Decimal]:
    if has_digit(text):
        for decimal in ("point", "comma"):
            value = number(text.strip("*;:"), decimal)
            if value is not None:
                yield value


# ------------------------------------------------------------------ the invoice


@dataclass(frozen=True)
class _Known:
    """What is known of the supplier's papers: headings with their roles, how dates and numbers are written."""

    suppliers: Sequence[str]
    headings: Mapping[str, str] = field(default_factory=dict)
    order: str = ""
    decimal: str | None = None


def _known(all_lines: Sequence[Line], suppliers: Sequence[str], facts: Facts) -> _Known:
    """What is known of the one supplier of the book that stands on the pages."""
    there = named(all_lines, suppliers)
    own = facts.get(same_name(there[0]), ()) if len(there) == 1 else ()
    told = {fact.about: fact.means for fact in own}
    return _Known(
        suppliers,
        {plain(fact.printed): HEADING_MEANS[fact.means] for fact in own if fact.about == "heading"},
        {"day first": "dmy", "month first": "mdy"}.get(told.get("dates", ""), ""),
        told.get("numbers"),
    )


def _read(pages: Sequence[Page], source: str, suppliers: Sequence[str], facts: Facts) -> Invoice:
    all_lines = [line for page in pages for line in lines(page)]
    known = _known(all_lines, suppliers, facts)
    found = {at: h for at in range(len(all_lines)) if (h := heading_at(all_lines, at, known.headings))}
    headings: dict[int, Heading] = {}
    for at, heading in found.items():
        if not any(at in other.at for other in headings.values()):
            headings[at] = heading
    if not headings:
        return _without_headings(all_lines, source, known)
    layouts: dict[tuple[str, ...], dict[int, Heading]] = {}
    for at, heading in headings.items():
        layouts.setdefault(heading.roles, {})[at] = heading
    readings = [
        _invoice(all_lines, line_table(all_lines, dict(zip(alike, chosen))), source, known)
        for alike in list(layouts.values())[:4]
        for chosen in zip(*(choices(heading) for heading in alike.values()))
    ]
    taken = (one for alike in layouts.values() if len(alike) == 1 for one in _filled(all_lines, alike, source, known))
    return next(taken, None) or _decided(readings)


def _filled(all_lines: Sequence[Line], alike: Mapping[int, Heading], source: str, known: _Known) -> Iterator[Invoice]:
    """Readings in which an unknown column is the quantity or price that is wanted, since every amount then is their product."""
    (at, heading), *_ = alike.items()
    for guess, column in filled(heading):
        read = _invoice(all_lines, line_table(all_lines, {at: guess}), source, known)
        goods = [line for line in read.lines if line.kind == "goods" and line.price]
        if goods and all(line.price and line.quantity * line.price == line.net for line in goods):
            yield _taken(read, (column,))


def _taken(invoice: Invoice, columns: Sequence[Column]) -> Invoice:
    """The reading with the columns it took for something by their figures: a problem, and what a yes would make known."""
    words = {role: means for means, role in HEADING_MEANS.items()}
    told = " and ".join(f"'{c.text}' taken for {words[c.role]}" for c in columns)
    why = f"headings nobody told yet: {told}, since quantity times price is then the amount"
    facts = tuple(PaperFact("heading", c.text, words[c.role]) for c in columns)
    return invoice._replace(problems=(*invoice.problems, why), taken=(*facts, *invoice.taken))


def _decided(readings: Sequence[Invoice]) -> Invoice:
    """The one reading whose sums close, else the fullest; two that close and differ are a problem."""
    closing = [one for one in readings if not problems(one)]
    if not closing:
        return max(readings, key=lambda one: len(one.lines))
    told = {tuple((x.quantity, x.price, x.net, x.name) for x in one.lines) for one in closing}
    if len(told) > 1:
        return closing[0]._replace(problems=("the page can be read in two ways that both add up",))
    return closing[0]


def _dialect(all_lines: Sequence[Line], figures: Sequence[str], headings: str, known: _Known) -> Dialect:
    """How the paper writes: as is known of its supplier, else by its own figures, and day before month where its headings
    are in a language that does so; where its dates say otherwise neither is certain."""
    reading = dialect([t for t in figures if t], (), dates_written(all_lines), known.decimal)
    order = reading.order
    if any(word in DAY_FIRST for word in headings.split("|")):
        order = "" if order == "mdy" else "dmy"
    return replace(reading, order=known.order or order)


def _invoice(all_lines: Sequence[Line], table: LineTable, source: str, known: _Known) -> Invoice:
    figures = [item.cells.get(role, "") for item in table.items for role in (*MONEY, *COUNTS)]
    figures = [COUNTED.sub(r"\1", text) for text in figures] + [s.amount for s in table.sums]
    reading = _dialect(all_lines, figures, "|".join(plain(column.text) for column in table.heading.columns), known)
    paper = _Paper(reading, [reading.unsure] if reading.unsure else [])
    paper.problems += table.problems
    around = [line for at, line in enumerate(all_lines) if at not in table.used]
    top = head(around, known.suppliers, reading.order)
    for item in table.items:
        paper.row(item)
    paper.discounted()
    paper.totals(table.sums)
    whole = " ".join(plain(p.text) for line in all_lines for p in line.phrases)
    if "gross" in table.heading.roles and "amount" not in table.heading.roles:
        paper.problems.append("the amounts of its lines are with tax inside")
    elif INSIDE_TAX.search(whole) or any(NOTES_TAX.match(plain(p.text)) for line in all_lines for p in line.phrases) or any(s.kind == "inside" for s in table.sums):
        paper.problems.append("its prices may be with tax inside")
    return paper.invoice(top, all_lines, source)


@dataclass
class _Paper:
    """One paper while its texts become figures."""

    reading: Dialect
    problems: list[str]
    lines: list[InvoiceLine] = field(default_factory=list)
    stated: dict[str, Decimal] = field(default_factory=dict)
    discounts: dict[int, Discount] = field(default_factory=dict)

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
        found = COUNTED.fullmatch(text)
        if not found:
            if text.strip("-–— "):
                self.problems.append(f"{place}: '{text[:40]}' is not a count")
            return None, ""
        return self.money(found[1], place), "" if found[2].strip() in TIMES else found[2].strip()

    def row(self, item: Item) -> None:
        """A row of the table as a line."""
        cells, place = item.cells, item.line.place
        shipped = next((cells[role] for role in ("shipped", "packs", "ordered") if role in cells), "")
        packs, unit = self.count(shipped, place)
        price_text, per = price_parts(cells.get("price", ""))
        price, net = self.money(price_text, place), self.money(cells.get("amount", ""), place)
        told = [Decimal(item.priced_for), *(many(text) for text in (per, cells.get("price_for", "")) if text.strip("-–— "))]
        priced_for, doubt = settled(told)
        self.problems += [f"{place}: {doubt}"] if doubt else []
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
            base_quantity=priced_for, net=money, place=place, pack_size=size, pack_unit=pack_unit,
            lot=cells.get("lot", ""), best_before=expires,
        )  # fmt: skip
        if line.kind == "goods" and net is not None and (packs is None or price is None):
            self.problems.append(f"{place}: '{(name or code)[:40]}' lacks its quantity or its price")
        self.lines.append(line)
        for role in DISCOUNTS:
            self._discount(role, cells.get(role, ""), place)

    def _discount(self, role: str, written: str, place: str) -> None:
        """Keeps the discount printed for the last line."""
        if not written.strip("-–— "):
            return
        found = printed_discount(written, role, number(written.replace("%", ""), self.reading.decimal))
        if found is None or len(self.lines) - 1 in self.discounts:
            self.problems.append(f"{place}: the discount '{written[:20]}' is not a number" if found is None else f"{place}: it has two discounts")
        elif found.value:
            self.discounts[len(self.lines) - 1] = found

    def discounted(self) -> None:
        """Takes each line's own discount off, once all lines are read."""
        self.lines, doubts = with_discounts(self.lines, self.discounts)
        self.problems += doubts

    def totals(self, sums: Sequence[Sum]) -> None:
        """Sums in the order of the page: charges and discounts up to the invoice total, taxes, totals."""
        rates: list[Sum] = []
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

    def _second(self, one: Sum, amount: Decimal) -> None:
        if one.kind != "net":  # there may be a subtotal of goods and one with freight
            self.problems.append(f"{one.place}: a second total of {amount}; the first was {self.stated[one.kind]}")

    def _extra(self, one: Sum, amount: Decimal) -> None:
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
        self.lines = without_positions(self.lines)
        invoice = Invoice(
            supplier=top.supplier, number=top.number, issued=top.issued, type_code=type_code,
            currency=self._currency(all_lines), lines=tuple(map(_worded, self._turned(type_code))), source=source, syntax="page",
            tax=self.stated.get("tax"), gross=gross, prepaid=abs(paid) if paid else None, due=due,
            decimal=self.reading.decimal, taken=tuple(self._taken(top)),
        )  # fmt: skip
        self._check_net(invoice)
        return invoice._replace(problems=tuple(dict.fromkeys(self.problems)))

    def _taken(self, top: Head) -> Iterator[PaperFact]:
        """What this reading took for granted; which way a date is written shows once she has typed it."""
        if self.reading.usual:
            yield PaperFact("numbers", "", self.reading.decimal)
        if top.undated:
            yield PaperFact("dates", top.undated, "")

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
            yield line._replace(quantity=-line.quantity, allowances=-line.allowances) if back else line

    def _currency(self, all_lines: Sequence[Line]) -> str:
        text = " ".join(word.text for line in all_lines for word in line.words)
        named = set(_CURRENCY.findall(text)) | {code for sign, code in SIGNS.items() if sign in text}
        if len(named) > 1:
            self.problems.append(f"the page names several currencies: {', '.join(sorted(named))}")
        return named.pop() if len(named) == 1 else ""


def _worded(line: InvoiceLine) -> InvoiceLine:
    """A charge or discount with what its words say of how it is shared."""
    if line.kind not in ("charge", "discount"):
        return line
    shared_by, covers = sharing(line.name)
    return line._replace(shared_by=shared_by, covers=covers)


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


def _without_headings(all_lines: Sequence[Line], source: str, known: _Known) -> Invoice:
    """A paper whose columns have no heading words that are known: named by what multiplies, else its rows alone, as a guess."""
    reading = _dialect(all_lines, [p.text for line in all_lines for p in line.phrases if is_number(p.text)], "", known)
    heading = by_sums(all_lines, lambda text: number(text, reading.decimal))
    if heading is not None:
        read = _invoice(all_lines, line_table(all_lines, {min(heading.at): heading}), source, known)
        return _taken(read, [c for c in heading.columns if c.role])
    paper = _Paper(reading, [_GUESS])
    sums = [one for line in all_lines for one in sums_on(line)]
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
    return paper.invoice(head(all_lines, known.suppliers, reading.order), all_lines, source)
