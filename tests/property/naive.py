"""The same costs worked out a second time, the plain way: exact fractions, plain recursion, nothing kept.

Written from the description of costing (usage x rate, landed cost, ranges, conventions), not from the engine, and money
first: a batch here has a cost, where the engine has usage. The places where the description is silent are marked "silent".
It shares with the engine only the records and the factors of units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from costbook.amounts.quantity import Amount
from costbook.book.model import Book, Material, Product, PurchaseLine, RecipeLine

ZERO = Fraction(0)


class Refused(Exception):
    """No price: something is missing or cannot be read."""


@dataclass(frozen=True)
class Reading:
    """Which end of every range, and which of the named alternatives."""

    end: str = "usual"
    choice: int = 0


USUAL = Reading()


@dataclass(frozen=True)
class Batch:
    """One batch: what it costs, what went in, what it weighs finished, and how many grams or pieces it gives."""

    cost: Fraction
    mass_in: Fraction
    finished: Fraction
    gives: Fraction


def exact(number: object) -> Fraction:
    """A typed number as the decimal it prints as."""
    return Fraction(str(number))


def written(amount: Amount, end: str = "usual") -> Fraction:
    value: Fraction = {"low": amount.low, "usual": amount.usual, "high": amount.high}[end]
    return value


def measured(amount: Amount, material: Material, end: str = "usual") -> Fraction:
    """Grams or pieces of a material."""
    assert amount.unit is not None
    size = written(amount, end) * amount.unit.factor
    kinds = (amount.unit.dimension, material.base)
    if kinds in (("mass", "g"), ("count", "each")):
        return size
    if kinds == ("volume", "g") and material.g_per_ml is not None:
        return size * exact(material.g_per_ml)
    raise Refused(f"{amount.text} of {material.name}")


# ------------------------------------------------------------------ rates


def charged(line: PurchaseLine) -> bool:
    return line.kind == "goods" and line.amount > 0 and line.packs > 0


def covered(line: PurchaseLine, goods: Sequence[PurchaseLine], book: Book) -> list[PurchaseLine]:
    """The lines a charge or a discount covers; all where it names none of them (silent)."""
    words = {w.strip() for w in line.covers.split(";") if w.strip()}
    kinds = {id(g): book.materials[g.material].kind if g.material else "" for g in goods}
    meant = [g for g in goods if g.item_code in words or kinds[id(g)] in words]
    return meant or list(goods)


def weight(line: PurchaseLine, book: Book) -> Fraction | None:
    if line.pack is None or line.pack.unit is None or line.pack.unit.dimension == "count":
        return None
    per_ml = book.materials[line.material].g_per_ml if line.material else None
    size = written(line.pack) * line.pack.unit.factor * exact(line.packs)
    if line.pack.unit.dimension == "mass":
        return size
    return None if per_ml is None else size * exact(per_ml)


def pieces(line: PurchaseLine) -> Fraction:
    """Single pieces, not packs; a pack of something weighed is one piece (silent)."""
    assert line.pack is not None and line.pack.unit is not None
    inside = written(line.pack) * line.pack.unit.factor if line.pack.unit.dimension == "count" else Fraction(1)
    return exact(line.packs) * inside


def net(line: PurchaseLine, paper: Sequence[PurchaseLine], book: Book) -> Fraction:
    """A line's amount less its share of the document's discount, by value."""
    goods = [x for x in paper if charged(x)]
    left = exact(line.amount)
    for off in (x for x in paper if x.kind == "discount"):
        meant = covered(off, goods, book)
        if any(x is line for x in meant):
            left -= abs(exact(off.amount)) * exact(line.amount) / sum(exact(x.amount) for x in meant)
    return left


def freight(line: PurchaseLine, paper: Sequence[PurchaseLine], book: Book) -> Fraction:
    """A line's share of the charges: the paper's words, else the supplier's, else weight where all known, else value."""
    goods = [x for x in paper if charged(x)]
    share = ZERO
    for charge in (x for x in paper if x.kind == "charge"):
        meant = covered(charge, goods, book)
        if not any(x is line for x in meant):
            continue
        basis = charge.shared_by or book.suppliers[charge.supplier].shared_by
        weights = [weight(x, book) for x in meant]
        if basis == "pieces":
            parts = [pieces(x) for x in meant]
        elif basis != "value" and all(w is not None for w in weights):
            parts = [w for w in weights if w is not None]
        else:
            parts = [net(x, paper, book) for x in meant]
        mine = next(part for part, x in zip(parts, meant, strict=True) if x is line)
        share += exact(charge.amount) * mine / sum(parts)
    return share


def landed(line: PurchaseLine, paper: Sequence[PurchaseLine], book: Book) -> Fraction:
    """What a line's goods cost delivered, in the book's currency."""
    before = {id(x): net(x, paper, book) + freight(x, paper, book) for x in paper if charged(x)}
    tax = sum((exact(x.amount) for x in paper if x.kind == "tax"), ZERO)
    lost = ZERO if book.settings.tax_reclaimed else tax * before[id(line)] / sum(before.values())
    into = exact(line.currency_rate) if line.currency != book.settings.currency else Fraction(1)
    return (before[id(line)] + lost) * into


def bought(book: Book, material: Material, on: date) -> list[tuple[Fraction, Fraction]]:
    """(landed cost, base amount) of every purchase of a material that counts, oldest first."""
    found = []
    for line in book.purchases:
        invoice = line.paper_type in ("invoice", "correction") if line.counts is None else line.counts
        if charged(line) and invoice and line.material == material.code and line.date is not None and line.date <= on:
            paper = [x for x in book.purchases if (x.supplier, x.paper) == (line.supplier, line.paper)]
            assert line.pack is not None
            base = measured(line.pack, material) * exact(line.packs)
            found.append((line.date, landed(line, paper, book), base))
    found.sort(key=lambda x: x[0])
    return [(cost, base) for _, cost, base in found]


def rate(book: Book, code: str, on: date) -> Fraction:
    """What one gram or piece of a material costs, what stays in the bucket paid."""
    material = book.materials[code]
    rule = material.rate_rule or book.settings.rate_rule
    kept = 1 - exact(material.waste_fraction)
    if rule == "quoted":
        starts = material.quoted_from is None or material.quoted_from <= on
        if material.quoted_price is not None and material.quoted_pack is not None and starts:
            price = exact(material.quoted_price)
            for discount in material.quoted_less:
                price -= price * exact(discount)
            return price / measured(material.quoted_pack, material) / kept
        rule = "latest" if book.settings.rate_rule == "quoted" else book.settings.rate_rule  # silent
    lots = bought(book, material, on)
    if not lots:
        raise Refused(f"no price for {material.name}")
    if rule == "average":
        return sum((cost for cost, _ in lots), ZERO) / sum((base for _, base in lots), ZERO) / kept
    if rule == "layers":
        return layers(lots, measured(material.on_hand, material) if material.on_hand else ZERO) / kept
    return lots[-1][0] / lots[-1][1] / kept


def layers(lots: Sequence[tuple[Fraction, Fraction]], count: Fraction) -> Fraction:
    """Value of a count from the newest layers back, over the count; newest where nothing is counted (silent).

    A count above all that was bought takes the oldest layer's rate for the rest (silent).
    """
    if count <= 0:
        return lots[-1][0] / lots[-1][1]
    value, left = ZERO, count
    for cost, base in reversed(lots):
        value += cost * min(base, left) / base
        left -= min(base, left)
    return (value + left * lots[0][0] / lots[0][1]) / count


# ------------------------------------------------------------------ recipes


def chosen(line: RecipeLine, fills: Mapping[str, str], choice: int) -> str | None:
    """The code a line stands for in this piece, None where it is left out."""
    if line.when not in ("always", "optional") and line.when not in fills:
        return None
    if not line.slot:
        return line.choices[min(choice, len(line.choices) - 1)]
    if line.slot not in fills and line.when != "optional":
        raise Refused(f"no {line.slot}")
    return fills.get(line.slot)


def batch(book: Book, code: str, fills: Mapping[str, str], on: date, reading: Reading) -> Batch:
    """One batch of a recipe: percent lines count on everything that goes in, dried-off lines included."""
    recipe = book.recipes[code]
    taken = [(line, item) for line in recipe.lines if (item := chosen(line, fills, reading.choice)) is not None]
    shares = sum((written(line.amount, reading.end) for line, _ in taken if line.amount.percent), ZERO)
    plain = [(line, item, None) for line, item in taken if not line.amount.percent]
    rest = sum((mass_of(book, item, quantity(book, line, item, reading), fills, on, reading) for line, item, _ in plain), ZERO)
    whole = rest / (1 - shares)
    cost = stays = ZERO
    for line, item in taken:
        if line.amount.percent and by_piece(book, item):
            raise Refused(f"a share of a weight cannot be counted in pieces of {item}")
        much = whole * written(line.amount, reading.end) if line.amount.percent else quantity(book, line, item, reading)
        cost += cost_of(book, item, much, fills, on, reading)
        if not line.dries_off:
            stays += mass_of(book, item, much, fills, on, reading)
    finished = stays * (1 - exact(recipe.loss_fraction or 0))
    gives = exact(recipe.pieces) if recipe.pieces else finished
    return Batch(cost, whole, finished, gives)


def by_piece(book: Book, item: str) -> bool:
    if item in book.materials:
        return book.materials[item].base == "each"
    return book.recipes[item].pieces is not None


def quantity(book: Book, line: RecipeLine, item: str, reading: Reading) -> Fraction:
    if item in book.materials:
        return measured(line.amount, book.materials[item], reading.end)
    assert line.amount.unit is not None
    wanted = "count" if book.recipes[item].pieces else "mass"
    if line.amount.unit.dimension != wanted:
        raise Refused(f"{line.amount.text} of {item}")
    return written(line.amount, reading.end) * line.amount.unit.factor


def mass_of(book: Book, item: str, much: Fraction, fills: Mapping[str, str], on: date, reading: Reading) -> Fraction:
    """What an amount weighs; materials by the piece weigh nothing here (silent)."""
    if item in book.materials:
        return much if book.materials[item].base == "g" else ZERO
    if not book.recipes[item].pieces:
        return much
    inner = batch(book, item, fills, on, reading)
    return much * inner.finished / inner.gives


def cost_of(book: Book, item: str, much: Fraction, fills: Mapping[str, str], on: date, reading: Reading) -> Fraction:
    if item in book.materials:
        return much * rate(book, item, on)
    inner = batch(book, item, fills, on, reading)
    return much * inner.cost / inner.gives


# ------------------------------------------------------------------ products


def unit_cost(book: Book, code: str, on: date, reading: Reading = USUAL) -> Fraction:
    """What one good piece costs: all the batch takes, over the good pieces."""
    product = book.products[code]
    total = work(book, product)
    for part in product.parts:
        times = 1 if part.per_batch else product.planned
        assert part.amount.unit is not None
        much = written(part.amount, reading.end) * part.amount.unit.factor * times
        if part.kind == "recipe":
            made = batch(book, part.item, product.fills, on, reading)
            total += much * made.cost / made.gives
        elif part.kind == "product":
            total += much * unit_cost(book, part.item, on, reading)
        elif part.kind == "activity":
            activity = book.activities[part.item]
            total += much * exact(activity.per_year) / exact(activity.times)
        else:
            total += measured(part.amount, book.materials[part.item], reading.end) * times * rate(book, part.item, on)
    return total / product.good


def work(book: Book, product: Product) -> Fraction:
    """Labour and overhead of one batch: pay with on-cost, and yearly overhead over yearly hands-on hours."""
    settings = book.settings
    hours = exact(settings.hands_on_hours_per_year)
    overhead = exact(settings.overhead_per_year) / hours / 60 if hours else ZERO
    total = ZERO
    for step in book.steps:
        if product.family and step.family == product.family:
            role = book.roles[step.role]
            pay = exact(role.pay_per_hour) * (1 + exact(role.on_cost_fraction)) / 60
            total += (exact(step.batch_minutes) + exact(step.piece_minutes) * product.planned) * (pay + overhead)
    return total
