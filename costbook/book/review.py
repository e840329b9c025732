"""The papers that wait on the Invoice review tab, and what becomes of one she has confirmed there.

A paper is confirmed whole: every one of its lines, charges and total too, says yes under Right?. It is then posted exactly
as the tab shows it, with the material and the pack she gave, so nothing depends on the paper's file. An empty answer or
a no keeps all of it waiting, and her answers stay.

What a yes can and cannot do about sums: it never changes money. Amounts are the paper's; a cell of the tool typed over is
noticed by the row's marks, and then the paper waits until its file is posted again and shows its own figures. A paper that
does not close may still be posted as it is, because she may have to pay it so; the result then says by how much it does not
close, and the same shows in Findings at every pricing. A cell the tool left empty (a date it could not read) is hers to fill.
A paper whose number is in Purchases with other content waits until one of the two is taken away: both would count twice.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from costbook.amounts.money import rounded
from costbook.amounts.numbers import counted
from costbook.amounts.quantity import read_amount, same_name
from costbook.book.grid import ErrorValue, Value
from costbook.book.layout import PURCHASES
from costbook.book.model import FACT_MEANS, Book, Invoice, PaperFact
from costbook.book.posting import (
    HALF_CENT,
    PURCHASED_TYPES,
    posted_lines,
    row_content,
    standing_of,
    type_words,
)
from costbook.book.table import plain_text
from costbook.errors import QuantityError

HERS = ("material", "pack", "pack_unit", "right")
NAMES_A_LINE = ("line", "item_code", "description", "packs", "amount")
GOODS = ("", "goods", "sample", "back-order")
YES, NO = ("yes", "y", "true"), ("no", "n", "false")
Key = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class ReviewLine:
    """A row of the review tab: its values by column key, the headings of the tool's cells typed over, the mark it bears.

    `typed` are the keys of all the tool's cells she typed in, those it had left empty too.
    """

    values: Mapping[str, Value]
    changed: tuple[str, ...] = ()
    mark: str = ""
    typed: tuple[str, ...] = ()

    def text(self, key: str) -> str:
        """A cell as text, '' where it is empty."""
        return plain_text(self.values.get(key))

    @property
    def name(self) -> tuple[str, ...]:
        """What tells a line from the others of its paper, and from the same line with other figures."""
        return tuple(self.text(key) for key in NAMES_A_LINE)

    @property
    def key(self) -> Key:
        """What names the line's paper: file, supplier and number."""
        return self.text("file"), self.text("supplier"), self.text("paper")


@dataclass(frozen=True, slots=True)
class Verdict:
    """What becomes of a waiting paper: 'unanswered', 'waits', 'there' (in Purchases already) or 'ready', and why.

    A ready one has the rows of Purchases it makes, the names of materials that are new to the book, and what her yes makes
    known of how this supplier's papers are laid out.
    """

    state: str
    why: str = ""
    rows: tuple[dict[str, Value], ...] = ()
    new: tuple[str, ...] = ()
    facts: tuple[PaperFact, ...] = ()


def by_paper(lines: Iterable[ReviewLine]) -> dict[Key, list[ReviewLine]]:
    """The rows of the tab paper by paper, in the order of their first rows."""
    found: dict[Key, list[ReviewLine]] = {}
    for line in lines:
        found.setdefault(line.key, []).append(line)
    return found


def waiting(
    invoice: Invoice, rows: Sequence[Mapping[str, Value]], hints: Sequence[str], reason: str, before: Sequence[ReviewLine]
) -> list[ReviewLine]:
    """The rows a paper gets on the review tab.

    Args:
        rows: the rows it would make in Purchases.
        hints: why each has the material it has, in their order; rows beyond have none.
        before: its rows now on the tab: what she filled in there is kept where the line is still the same.
    """
    head = {"file": invoice.source, "supplier": invoice.supplier, "paper": invoice.number, "date": invoice.issued,
            "paper_type": type_words(invoice), "reason": reason, "taken": facts_text(invoice.taken)}  # fmt: skip
    lines = posted_lines(invoice)
    found = []
    for number, row in enumerate(rows):
        line = lines[number] if number < len(lines) else None
        price = None if line is None or line.price is None else float(line.price / (line.base_quantity or Decimal(1)))
        own: dict[str, Value] = {"line": f"{number + 1} of {len(rows)}", "price": price}
        own["hint"] = hints[number] if number < len(hints) else ""
        found.append(ReviewLine({**row, **head, **own}))
    fullest = sorted(before, key=lambda old: -sum(1 for key in old.values if old.text(key)))
    return [_kept(new, next((old for old in fullest if _same_line(old, new)), None)) for new in found or [ReviewLine(head)]]


def _kept(new: ReviewLine, old: ReviewLine | None) -> ReviewLine:
    """A line drawn anew with what she typed in her cells, and in cells the tool left and leaves empty."""
    if old is None:
        return new
    hers = {key: v for key, v in old.values.items() if old.text(key) and key != "reason" and (key in HERS or not new.text(key))}
    if old.name != new.name:
        hers.pop("right", None)  # her yes was to other figures
    if old.text("hint") == new.text("hint"):
        hers["material"] = old.values.get("material")  # taken out by her, a suggestion does not come back
    return replace(new, values={**new.values, **hers})


def own_lines(lines: Sequence[ReviewLine], invoice: Invoice, rows: Sequence[ReviewLine]) -> list[ReviewLine]:
    """Which lines of the tab are those of a paper read again, wherever on the tab she has come to with them.

    Of its supplier and number all are. A supplier or number that only one side has, or that she typed, makes no other paper where
    the lines are the same: they are hers to fill in, row by row. One file may have held another paper before: lines alike are
    taken only where they make the whole paper, or where nothing else of that file could be meant.

    Args: lines are those of its file, in this folder or in the one she moved it from; rows are what it gets on the tab.
    """
    own = (invoice.source, invoice.supplier, invoice.number)
    named = [line for line in lines if line.key == own]
    others = [line for line in lines if line.key != own and not _of_another(line, invoice)]
    alike = [line for line in others if any(_same_line(line, row) for row in rows)]
    whole = all(any(_same_line(line, row) for line in (*named, *alike)) for row in rows)
    return [*named, *(alike if whole or len(alike) == len(others) else ())]


def _of_another(line: ReviewLine, invoice: Invoice) -> bool:
    """Whether a line's supplier or number, as the tool read them, are not those of a paper."""
    read = {"supplier": invoice.supplier, "paper": invoice.number}
    return any(line.text(key) and said and same_name(line.text(key)) != same_name(said) for key, said in read.items() if key not in line.typed)


def _same_line(old: ReviewLine, new: ReviewLine) -> bool:
    """Whether two rows are one line of a paper; what she typed over in the old one tells nothing."""
    return all(old.text(key) == new.text(key) for key in NAMES_A_LINE if key not in old.typed)


def verdict(lines: Sequence[ReviewLine], book: Book) -> Verdict:
    """What becomes of one paper of the tab, by her answers (see the head of this file)."""
    answers = [same_name(line.text("right")) for line in lines]
    if not any(answers):
        return Verdict("unanswered", lines[0].text("reason"))
    wrong = _answers_wanting(lines, answers) or _not_whole(lines) or _not_a_purchase(lines)
    if wrong:
        return Verdict("waits", wrong)
    first = lines[0]
    issued = next((d for line in lines if isinstance(d := line.values.get("date"), date)), None)
    rows = [_row(line, issued, book) for line in _in_order(lines)]
    known = standing_of(book, first.text("supplier"), first.text("paper"), first.text("paper_type") or "invoice", issued, row_content(rows))
    if known.state == "there":
        return Verdict("there", f"in {known.where}")
    if known.state == "other":
        return Verdict("waits", f"{known.why} ({known.where}); take one of the two away")
    new: dict[str, str] = {}
    for line, row in zip(_in_order(lines), rows, strict=True):
        if not _is_goods(line):
            continue
        wrong = _unreadable_pack(line, book)
        code = book.names.get(same_name(line.text("material")), "")
        if code and code not in book.materials:
            wrong = f"line {line.text('line')}: {line.text('material')} is a recipe of yours, not a material"
        if wrong:
            return Verdict("waits", wrong)
        if line.text("material") and not code:
            row["material"] = new.setdefault(same_name(line.text("material")), line.text("material"))
    facts = tuple(_facts(first.text("taken"), issued))
    return Verdict("ready", _not_closing(lines, rows), tuple(rows), tuple(new.values()), facts)


def facts_text(facts: Iterable[PaperFact]) -> str:
    """What a reading took for granted, in words; a heading that holds the signs between them is left out."""
    return "; ".join(f"{f.about} {f.printed}: {f.means or 'by the date you type'}" for f in facts if ";" not in f.printed)


def _facts(text: str, issued: date | None) -> Iterable[PaperFact]:
    """The facts in that text; day first or month first is what the date she typed makes of the printed one."""
    for part in text.split("; "):
        named, _, means = part.rpartition(": ")
        about, _, printed = named.partition(" ")
        if about == "dates":
            figures = re.fullmatch(r"(\d{1,2})\D(\d{1,2})\D\d+", printed)
            order = (int(figures[1]), int(figures[2])) if figures and issued else (0, 0)
            pair = (issued.day, issued.month) if issued else (0, 0)
            means = "" if order not in (pair, pair[::-1]) or pair[0] == pair[1] else "day first" if order == pair else "month first"
            printed = ""
        if means in FACT_MEANS.get(about, ()):
            yield PaperFact(about, printed.strip(), means)


def _answers_wanting(lines: Sequence[ReviewLine], answers: Sequence[str]) -> str:
    """Why her answers do not post the paper, '' where each is a yes."""
    against = [line.text("line") for line, answer in zip(lines, answers, strict=True) if answer in NO]
    if against:
        return f"line {', '.join(against)}: no under Right?, so the paper stays here"
    yes = sum(answer in YES for answer in answers)
    return "" if yes == len(lines) else f"{counted(yes, f'of {len(lines)} lines says', f'of {len(lines)} lines say')} yes under Right?; it is posted when all do"


def _not_whole(lines: Sequence[ReviewLine]) -> str:
    """Why the tab does not show the paper as it was read, '' where it does."""
    if not any(line.text("amount") for line in lines):
        return "no line of it could be read; type its lines on the Purchases tab"
    numbers = sorted(_number(line) for line in lines)
    wanted = {line.text("line").partition(" of ")[2] for line in lines}
    if numbers != list(range(1, len(lines) + 1)) or wanted != {str(len(lines))}:
        return "not every line of it stands on the tab with the same supplier and number; fill those in on every line, or post its file again"
    for line in lines:
        broken = [v.text for key in HERS if isinstance(v := line.values.get(key), ErrorValue)]
        if broken:
            return f"line {line.text('line')}: a cell shows {broken[0]}"
        if line.changed:
            return f"line {line.text('line')}: {', '.join(line.changed)} typed over; post its file again, which shows its own figures"
    return ""


def _not_a_purchase(lines: Sequence[ReviewLine]) -> str:
    """Why Purchases could not hold the paper, '' where it could."""
    for key, heading in (("supplier", "Supplier"), ("paper", "Paper")):
        if not lines[0].text(key):
            return f"the cells under {heading} are empty; fill them in on every line of it"
    days = {line.values.get("date") for line in lines} - {None, ""}
    if len(days) != 1 or not all(isinstance(day, date) for day in days):
        return "the cells under Date hold no one date; type it, such as 2026-10-26"
    kind = lines[0].text("paper_type")
    if kind and kind not in PURCHASED_TYPES:
        return f"it is a {kind}; nothing was bought by it"
    if all(line.text("kind") in ("tax", "total") for line in lines):
        return "it has no lines, only totals; type its lines on the Purchases tab"
    return ""


def _number(line: ReviewLine) -> int:
    number = line.text("line").partition(" of ")[0]
    return int(number) if number.isascii() and number.isdigit() else 0


def _in_order(lines: Sequence[ReviewLine]) -> list[ReviewLine]:
    return sorted(lines, key=_number)


def _is_goods(line: ReviewLine) -> bool:
    return line.text("kind") in GOODS


def _row(line: ReviewLine, issued: date | None, book: Book) -> dict[str, Value]:
    """The row of Purchases a line makes; the price of a pack only where it makes the amount, as in any posting."""
    goods = _is_goods(line)
    keys = [c.key for c in PURCHASES.columns if c.key not in HERS or goods]
    row = {key: line.values[key] for key in keys if line.text(key)} | {"date": issued}
    price, packs, amount = (_money(line.values.get(key)) for key in ("price", "packs", "amount"))
    if goods and price is not None and packs is not None and amount is not None and abs(price * packs - amount) < HALF_CENT:
        row["pack_price"] = float(price)
    code = book.names.get(same_name(line.text("material")), "") if goods else ""
    return row | ({"material": book.materials[code].name} if code in book.materials else {})


def _money(value: Value) -> Decimal | None:
    return Decimal(repr(value)) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _unreadable_pack(line: ReviewLine, book: Book) -> str:
    size, unit = line.values.get("pack"), line.text("pack_unit")
    if size is None or size == "":
        return f"line {line.text('line')}: {unit} under Pack unit and nothing under Pack size" if unit else ""
    if not isinstance(size, str | int | float):
        return f"line {line.text('line')}: {line.text('pack')} under Pack size is no amount"
    try:
        read_amount(size, unit, decimal=book.settings.decimal, measures=book.settings.measures)
    except QuantityError as error:
        return f"line {line.text('line')}: {error.sentence} {error.do}".strip()
    return ""


def _not_closing(lines: Sequence[ReviewLine], rows: Sequence[Mapping[str, Value]]) -> str:
    """By how much a paper does not close, in words; '' where it does."""
    told = [part for part in lines[0].text("reason").split("; ") if re.search(r"\(difference \d", part)]
    stated = [_money(row.get("amount")) or Decimal(0) for row in rows if row.get("kind") == "total"]
    made = sum((_money(row.get("amount")) or Decimal(0) for row in rows if row.get("kind") != "total"), Decimal(0))
    if not stated:
        told.append("it states no total")
    elif rounded(stated[-1]) != rounded(made) and not told:
        told.append(f"its lines make {rounded(made)} and its total is {rounded(stated[-1])} (difference {abs(rounded(stated[-1]) - rounded(made))})")
    return "; ".join(told)


def next_code(book: Book) -> str:
    """The code of a new material in her style: M46 after M45; '' where her materials have no codes with numbers."""
    written = [m for x in book.materials.values() if x.code != x.name and (m := re.fullmatch(r"(.*?)(\d+)", x.code))]
    heads = Counter(m[1] for m in written)
    if not heads:
        return ""
    head = heads.most_common(1)[0][0]
    numbers = [m[2] for m in written if m[1] == head]
    number, width = max(map(int, numbers)) + 1, max(map(len, numbers))
    while same_name(f"{head}{number:0{width}}") in book.names:
        number += 1
    return f"{head}{number:0{width}}"
