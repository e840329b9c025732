"""The rows and sums of a printed table: what of each line stands in which column, as text; nothing is worth money yet."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from costbook.invoices.columns import MONEY, PERCENT, Column, Heading, placed
from costbook.invoices.dialect import COUNTED
from costbook.invoices.line_terms import price_parts, priced_for
from costbook.invoices.placed import CURRENCY_WORD, Line, Phrase, has_digit, has_letter, is_number
from costbook.invoices.vocabulary import SUMS
from costbook.invoices.wording import clean, plain

COUNTS = ("packs", "ordered", "shipped", "back_ordered")
SIGNS = {"€": "EUR", "£": "GBP"}
_REGISTERED = re.compile(r"\b(?:id|no|nr|n|number|nummer|numero|reg|registration|intracom\w*|ident\w*|idnr|nif|cif)\b")
_CODE = re.compile(r"[A-Z0-9][A-Z0-9./_ -]*|[a-z0-9][a-z0-9./_ -]*")  # 'Al-8' may be 'AI-8'
_NOTE = re.compile(r":\s*[-\d.,\s€$£%]+$")



@dataclass
class Item:
    """A row of the table while it is put together: texts by role, and for how many its heading says the price is."""

    line: Line
    cells: dict[str, str]
    sure: float = 100.0
    bottom: Line | None = None
    priced_for: int = 1


@dataclass(frozen=True)
class Sum:
    """A sum with its words: what kind it is, its amount as written, and where it stands."""

    kind: str
    label: str
    amount: str
    place: str


@dataclass
class LineTable:
    """What one way of reading the pages finds."""

    heading: Heading
    items: list[Item] = field(default_factory=list)
    sums: list[Sum] = field(default_factory=list)
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
    counted = COUNTED.fullmatch(text)
    return is_number(text) or bool(
        counted and is_number(counted[1]) and len(counted[2].split()) < 3 and not has_digit(counted[2])
    )


def line_table(all_lines: Sequence[Line], headings: dict[int, Heading]) -> LineTable:
    """Read the lines from the first of these headings on: rows while the table is open, sums everywhere below."""
    table = LineTable(next(iter(headings.values())))
    start = min(headings)
    for at in range(start, len(all_lines)):
        if at in headings:
            table.heading, table.open = headings[at], True
            table.used |= headings[at].at
        elif at not in table.used:
            _take(table, all_lines[at], at)
    return table


def _take(table: LineTable, line: Line, at: int) -> None:
    cells = _cells(line, table.heading.columns)
    figures = {role for role in (*MONEY, *COUNTS) if role in cells and _is_figure(price_parts(_text(cells, role))[0] if role == "price" else _text(cells, role))}
    whole = {"price", "amount"} <= figures and bool(figures & set(COUNTS))
    sums = [] if whole and table.open else list(sums_on(line))
    if table.open and "amount" not in figures and table.items and _near(table.items[-1], line):  # a note: 'Discount: 0.66'
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


def _goes_on(table: LineTable, line: Line, figures: set[str]) -> bool:
    """Whether figures on a line of their own are the rest of the row above."""
    if not table.items or "amount" in table.items[-1].cells or not _near(table.items[-1], line):
        table.problems.append(f"{line.place}: figures without a description")
        return False
    return not figures & table.items[-1].cells.keys()


def _near(item: Item, line: Line) -> bool:
    last = item.bottom or item.line
    return line.page == last.page and line.middle - last.middle < 2.2 * max(last.height, line.height)


def _take_row(table: LineTable, line: Line, cells: dict[str, list[Phrase]], figures: set[str]) -> None:
    last = table.items[-1] if table.items else None
    rest = last is not None and "amount" not in last.cells and not figures & last.cells.keys() and _near(last, line)
    if last is not None and rest:
        for role in figures | (cells.keys() - last.cells.keys() - {"code", "name"}):
            last.cells.setdefault(role, _text(cells, role))
        _wrap(last, line, cells)
        return
    item = Item(line, {role: _text(cells, role) for role in cells if role})
    item.priced_for = next((priced_for(c.text)[1] for c in table.heading.columns if c.role == "price"), 1)
    # Two readings agree on words more easily than on codes, in which no letter follows from another.
    clear = {"code": 0.0, "name": 13.0}
    item.sure = min((p.sure + more for role, more in clear.items() for p in cells.get(role, ())), default=100.0)
    scanned = any(word.sure < 100 for word in line.words)
    if scanned and ("" in cells or not _CODE.fullmatch(item.cells.get("code", "A"))):
        item.sure = 0.0  # a heading that was misread, or a code with signs that codes do not have
    table.items.append(item)


def _wrap(item: Item, line: Line, cells: dict[str, list[Phrase]]) -> None:
    """Words below a row go on with its description; a note such as 'Gross price: 4,00' does not."""
    more = _text(cells, "name")
    item.bottom = line
    if more and not _NOTE.search(more):
        item.cells["name"] = f"{item.cells.get('name', '')} {more}".strip()


# ------------------------------------------------------------------ sums


def sums_on(line: Line) -> Iterator[Sum]:
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
        while cut > 1 and (is_number(words[cut - 1]) or words[cut - 1] in SIGNS or words[cut - 1] == "EUR"):
            cut -= 1
            if has_digit(words[cut]):
                break
        if cut < len(words) and any(has_letter(w) for w in words[:cut]) and any(has_digit(w) for w in words[cut:]):
            yield clean(" ".join(words[:cut]))
            yield clean(" ".join(words[cut:]))
        else:
            yield phrase.text


def _summed(label: Sequence[str], figures: Sequence[str], place: str) -> Iterator[Sum]:
    for text in (label[-1] if label else "", " ".join(label)):
        words = plain(re.sub(r"\([^)]*\)", lambda m: m[0] if re.search(r"[a-z]{3}", m[0], re.I) else " ", text))
        words = re.sub(r"(?<=[a-z])(?=\d)", " ", words)  # a scan's 'VAT5%'
        kind = next((kind for kind, pattern in SUMS if pattern.search(words)), "")
        if kind in ("tax", "tax total", "gross", "due") and _REGISTERED.search(words):
            return
        if kind.startswith("tax") and not re.search(r"[.,]\d\d(?!\d)", figures[-1]):
            return
        if kind:
            yield Sum(kind, text.strip(" :"), figures[-1], place)
            return
