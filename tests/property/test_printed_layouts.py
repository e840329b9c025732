"""Random printed papers: whatever their layout, what would be posted is what was printed. How many are posted is told.

A paper is drawn as words with places: order of columns, alignment, language, decimal style, rows, wrapped rows, pages, taxes,
charges and an unlucky fault (a heading left out, a figure misprinted, a second total) are drawn by chance from a fixed seed.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from printed_papers import LANGUAGES, Words

from costbook.book.words import Document, Page, Word
from costbook.invoices import page
from costbook.invoices.checks import problems

CENT = Decimal("0.01")
GOODS = ("Lavender oil", "Shea butter", "Beeswax pellets", "Amber jar 120 ml", "Kaolin clay", "Castor oil", "Gift box, white", "Rose water")
MORE = ("organic, cold pressed", "batch of spring", "origin France")
ROUNDS = 400


def cents(value: Decimal) -> Decimal:
    return value.quantize(CENT, ROUND_HALF_UP)


@dataclass
class Printed:
    """What was printed, as figures, and its words with places."""

    pages: list[Page]
    lines: list[tuple[str, str, Decimal, Decimal, Decimal]]
    number: str
    total: Decimal
    supplier: str
    fault: str


class Printer:
    """Puts words on pages of A4; letters are 5 points wide."""

    def __init__(self, size: float = 9) -> None:
        self.pages: list[list[Word]] = [[]]
        self.y, self.size = 40.0, size

    def put(self, x: float, text: str, align: str = "left", size: float | None = None) -> None:
        size = size or self.size
        wide = size * 0.5
        x -= {"left": 0.0, "right": 1.0, "middle": 0.5}[align] * wide * len(text)
        for word in text.split(" "):
            if word:
                self.pages[-1].append(Word(word, x, self.y, x + wide * len(word), self.y + size))
            x += wide * (len(word) + 1)

    def down(self, by: float) -> bool:
        """Go down; True where that began a new page."""
        self.y += by
        if self.y > 760:
            self.pages.append([])
            self.y = 50.0
            return True
        return False


def printed(chance: random.Random) -> Printed:
    words: Words = LANGUAGES[chance.choice(list(LANGUAGES))]
    fault = chance.choice(["", "", "", "no heading", "misprint", "second total", "no tax line"])
    lines = []
    for n in range(chance.choice([1, 2, 3, 5, 12, 45])):
        packs, price = Decimal(chance.randint(1, 40)), cents(Decimal(chance.randint(5, 9999)) / 100)
        lines.append((f"A-{100 + n}", chance.choice(GOODS), packs, price, packs * price))
    out = Printer(chance.choice([8, 9, 10]))
    number = f"{chance.choice(['', 'INV-', 'R', '2026/'])}{chance.randint(1000, 99999)}"

    def figure(value: Decimal) -> str:
        text = f"{value:,.2f}" if chance_thousands else f"{value:.2f}"
        return text.translate(str.maketrans(",.", ".,")) if words.comma else text

    chance_thousands = chance.random() < 0.6
    out.put(50, words.supplier, size=15)
    out.down(40)
    out.put(50, words.title, size=13)
    out.down(30)
    if chance.random() < 0.5:
        for label, value in ((words.number, number), (words.dated, words.day)):
            out.put(50, label)
            out.put(190, value)
            out.down(14)
    else:
        out.put(50, words.number)
        out.put(250, words.dated)
        out.down(13)
        out.put(50, number)
        out.put(250, words.day)
    out.down(40)
    code, name, qty, price, amount = words.headings
    order = chance.choice([["qty", "price", "amount"], ["price", "qty", "amount"]])
    align = chance.choice(["left", "right", "middle"])
    text = {"qty": qty, "price": price, "amount": amount}
    places = dict(zip(order, (360, 455, 550)))
    with_code = chance.random() < 0.7
    tilt = {"left": 40, "right": 0, "middle": 20}[align]
    left_out = chance.choice(order)
    named = [role for role in text if not (fault == "no heading" and role == left_out)]

    def heading() -> None:
        if with_code:
            out.put(50, code)
        out.put(110, name)
        for role in named:
            out.put(places[role] - tilt, text[role], align)
        out.down(out.size * 1.7)

    heading()
    wrapped = chance.random() < 0.4
    misprint = chance.randrange(len(lines)) if fault == "misprint" else -1
    for at, (item, said, packs, each, net) in enumerate(lines):
        if with_code:
            out.put(50, item)
        out.put(110, said)
        figures = {"qty": f"{packs}", "price": figure(each), "amount": figure(net + (1 if at == misprint else 0))}
        for role in order:
            out.put(places[role], figures[role], "right")
        if wrapped:
            out.down(out.size * 1.2)
            out.put(110, chance.choice(MORE))
        if out.down(out.size * 1.7):
            heading()
    goods = sum((x[4] for x in lines), Decimal(0))
    less = cents(goods * Decimal("0.05")) if chance.random() < 0.4 else Decimal(0)
    freight = cents(Decimal(chance.randint(100, 3000)) / 100) if chance.random() < 0.5 else Decimal(0)
    net = goods - less + freight
    tax = cents(net * Decimal("0.20"))
    total = net + tax
    rows = [(words.discount, -less), (words.freight, freight), (words.net, net)]
    rows += [] if fault == "no tax line" else [(words.tax[0], tax)]
    rows += [(words.total, total)] + ([(words.total, total + 1)] if fault == "second total" else [])
    out.down(20)
    for label, value in rows:
        if value:
            out.put(340, label)
            out.put(550, figure(value), "right")
            out.down(out.size * 1.6)
    pages = [Page(n, 595, 842, tuple(each)) for n, each in enumerate(out.pages, 1)]
    return Printed(pages, lines, number, total, words.supplier, fault)


def test_of_random_layouts_none_is_read_wrong() -> None:
    chance = random.Random(20260914)
    tally: dict[str, list[int]] = {}
    for _ in range(ROUNDS):
        drawn = printed(chance)
        got = page.read(Document((), tuple(drawn.pages)), "drawn.pdf")
        count = tally.setdefault(drawn.fault or "none", [0, 0])
        count[0] += 1
        if problems(got):
            continue
        count[1] += 1
        assert drawn.fault == ""
        goods = [(x.quantity, x.price, x.net) for x in got.lines if x.kind == "goods"]
        assert goods == [line[2:] for line in drawn.lines]
        assert [x.name.startswith(line[1]) for x, line in zip(got.lines, drawn.lines)] == [True] * len(drawn.lines)
        assert {x.item_code for x in got.lines if x.kind == "goods"} in ({""}, {line[0] for line in drawn.lines})
        assert (got.number, str(got.issued), got.gross) == (drawn.number, "2026-09-14", drawn.total)
        assert got.supplier == drawn.supplier
    print({fault: f"{posted} of {count} posted" for fault, (count, posted) in tally.items()})
    assert tally["none"][1] >= 0.9 * tally["none"][0]
    for fault in ("no heading", "misprint", "second total", "no tax line"):
        assert tally[fault][1] == 0 < tally[fault][0]
