"""Rises no price shows: a smaller pack at the same price, freight that grew, a discount that ended. From her purchases.

Two papers of one supplier that follow each other are compared, material by material. Each rise is said in one sentence with
both papers and their figures. Thresholds: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import pairwise

from costbook.amounts.quantity import same_name
from costbook.book.model import Book
from costbook.costing.rates import LandedLine, Rates
from costbook.errors import Finding

SMALLER = 1e-9  # a pack smaller by less is the same pack in another unit
FREIGHT_POINTS = 0.02  # freight and fees as a share of what is paid have to grow by so much
DISCOUNT_POINTS = 0.005  # and a discount to shrink by so much


@dataclass(frozen=True, slots=True)
class HiddenRise:
    """One rise: kind ('smaller pack', 'freight' or 'discount'), the two purchase lines, and the rise as a fraction.

    `rise` is what it adds to the goods price (smaller pack, discount) or to the landed rate (freight) of the earlier paper.
    """

    kind: str
    material: str
    before: LandedLine
    after: LandedLine
    rise: float
    sentence: str

    def finding(self) -> Finding:
        """The same as a finding at the later purchase line."""
        do = "Ask the supplier, or count it in your prices."
        return Finding("warn", f"hidden-{self.kind.replace(' ', '-')}", self.sentence, self.after.line.where, do)


def hidden_rises(book: Book, on: date, rated: Rates) -> list[HiddenRise]:
    """Every hidden rise between two papers of one supplier that follow each other, the newest first.

    Only lines that count for a price and are dated up to the book's day are looked at.
    """
    history: dict[tuple[str, str], list[LandedLine]] = {}
    for line in rated.landed:
        if line.counted and line.line.date is not None and line.line.date <= on:
            history.setdefault((line.material, same_name(line.line.supplier)), []).append(line)
    found: list[HiddenRise] = []
    for (code, _), lines in history.items():
        ordered = sorted(lines, key=lambda x: x.line.date or date.min)
        for before, after in pairwise(ordered):
            if before.line.paper != after.line.paper:
                found += _between(code, book.materials[code].name, before, after)
    return sorted(found, key=lambda rise: rise.after.line.date or date.min, reverse=True)


def _between(code: str, name: str, before: LandedLine, after: LandedLine) -> Iterable[HiddenRise]:
    both = f"on paper {_paper(before)}, {{}} on {_paper(after)}"
    packs = [line.base / float(line.line.packs) for line in (before, after)]
    price, same_currency = before.line.pack_price, before.line.currency == after.line.currency
    if price and same_currency and price == after.line.pack_price and packs[1] < packs[0] * (1 - SMALLER):
        rise = packs[0] / packs[1] - 1
        texts = [line.line.pack.text if line.line.pack else "" for line in (before, after)]
        said = f"{name}: the same price of {price:.2f} for a smaller pack: {texts[0]} {both.format(texts[1])}: {rise:.1%} more a unit"
        yield HiddenRise("smaller pack", code, before, after, rise, said)
    shares = [_share(line.charges, line.landed) for line in (before, after)]
    more = float(after.charges) / after.base - float(before.charges) / before.base
    if shares[1] - shares[0] >= FREIGHT_POINTS and more > 0 and before.rate:
        rise = more / before.rate
        said = f"{name}: freight and fees grew: {shares[0]:.1%} of what is paid {both.format(f'{shares[1]:.1%}')}: {rise:.1%} on its landed rate"
        yield HiddenRise("freight", code, before, after, rise, said)
    off = [_discount(line) for line in (before, after)]
    if off[0] - off[1] >= DISCOUNT_POINTS and off[0] < 1:
        rise = (1 - off[1]) / (1 - off[0]) - 1
        now = "none" if off[1] < DISCOUNT_POINTS else f"{off[1]:.1%}"
        said = f"{name}: a discount {'ended' if now == 'none' else 'shrank'}: {off[0]:.1%} {both.format(now)}: {rise:.1%} more a unit"
        yield HiddenRise("discount", code, before, after, rise, said)


def _discount(line: LandedLine) -> float:
    """What was taken off the paper's own pack price, line and document discounts together, as a fraction."""
    listed = line.list_rate * line.base
    return 1 - float(line.goods) / listed if listed else 0.0


def _share(part: Decimal, whole: Decimal) -> float:
    return float(part / whole) if whole else 0.0


def _paper(line: LandedLine) -> str:
    return f"{line.line.paper or '(no number)'} of {line.line.date}"
