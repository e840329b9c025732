"""What to buy: packs as her own papers priced them, the cheapest whole packs for what lacks, and when to order again.

A pack costs what it landed at on the newest paper of that supplier for that size. An older paper with more packs at a lower
price tells a price break: from so many packs on. A quoted price in force is an offer of its own, delivered.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from costbook.amounts.money import after_discounts
from costbook.amounts.quantity import same_name
from costbook.book.model import Book, Material
from costbook.costing.checks import Priced
from costbook.costing.rates import LandedLine
from costbook.costing.stock import counted, in_her_unit
from costbook.errors import CostbookError, Finding, QuantityError

FULL = 1e-9
MOST_WAYS = 20_000  # ways of putting packs together that are tried before only the two best sizes are mixed


@dataclass(frozen=True, slots=True)
class Offer:
    """A pack a supplier sold or quotes: grams or pieces it holds, and what it costs in book currency.

    `breaks` are (packs, price): from so many packs on each costs that. `text` is the pack as written.
    """

    supplier: str
    holds: float
    price: float
    text: str
    day: date | None = None
    breaks: tuple[tuple[int, float], ...] = ()
    lead_days: int | None = None

    def cost(self, packs: int) -> float:
        """What so many packs cost together."""
        return packs * min([self.price, *(price for least, price in self.breaks if packs >= least)])


@dataclass(frozen=True, slots=True)
class Bought:
    """So many of one pack."""

    offer: Offer
    packs: int

    @property
    def cost(self) -> float:
        """What they cost together."""
        return self.offer.cost(self.packs)


@dataclass(frozen=True, slots=True)
class ToBuy:
    """One material that lacks: how much in her unit, the cheapest whole packs for it, and what other suppliers would ask.

    `on_hand` and `lacking` are None where nobody counted: no packs are told then. `packs` is empty where nobody has sold or
    quoted it, too. `elsewhere` are (supplier, cost), cheapest first.
    """

    code: str
    name: str
    unit: str
    needed: float
    on_hand: float | None
    lacking: float | None
    packs: tuple[Bought, ...]
    elsewhere: tuple[tuple[str, float], ...]

    @property
    def cost(self) -> float:
        """What the packs cost together."""
        return sum(b.cost for b in self.packs)


@dataclass(frozen=True)
class Shopping:
    """Everything to buy, with the sum by supplier and the smallest orders she typed, and a sentence for what cannot be bought or told."""

    rows: tuple[ToBuy, ...]
    findings: tuple[Finding, ...]
    smallest_orders: Mapping[str, float] = field(default_factory=dict)

    def missing(self, supplier: str) -> float:
        """By how much what is spent there falls short of the supplier's smallest order, in book currency; 0 where it does not."""
        smallest = next((x for name, x in self.smallest_orders.items() if same_name(name) == same_name(supplier)), 0.0)
        return max(0.0, smallest - self.by_supplier.get(supplier, 0.0))

    @property
    def by_supplier(self) -> dict[str, float]:
        """What is spent at each supplier."""
        found: dict[str, float] = {}
        for row in self.rows:
            for bought in row.packs:
                found[bought.offer.supplier] = found.get(bought.offer.supplier, 0.0) + bought.cost
        return found

    @property
    def cost(self) -> float:
        """What everything costs together."""
        return sum(row.cost for row in self.rows)


# ------------------------------------------------------------ offers


def offers(priced: Priced) -> dict[str, list[Offer]]:
    """The packs of every material, those of one supplier together, in the order of the papers."""
    book, on = priced.book, priced.on
    lines: dict[str, dict[tuple[str, float], list[LandedLine]]] = {}
    for line in priced.rates.landed:
        if line.counted and (line.line.date is None or line.line.date <= on):
            holds = round(line.base / float(line.line.packs), 6)
            lines.setdefault(line.material, {}).setdefault((same_name(line.line.supplier), holds), []).append(line)
    leads = {same_name(name): supplier.lead_days for name, supplier in book.suppliers.items()}
    found: dict[str, list[Offer]] = {}
    for code, material in book.materials.items():
        sold = [_offer(of_size, on, book.settings.old_after_days, leads) for of_size in lines.get(code, {}).values()]
        quoted = _quoted(material, on, leads)
        found[code] = sold + ([quoted] if quoted else [])
    return found


def _offer(lines: Sequence[LandedLine], on: date, old_after: int, leads: Mapping[str, int | None]) -> Offer:
    """What one supplier's pack of one size costs now: the newest paper, and breaks that papers not too old have shown."""
    newest = max(lines, key=lambda x: x.line.date or date.min)
    price = float(newest.landed) / float(newest.line.packs)
    breaks = tuple(
        sorted(
            (math.ceil(x.line.packs), float(x.landed) / float(x.line.packs))
            for x in lines
            if x.line.packs > newest.line.packs
            and float(x.landed) / float(x.line.packs) < price
            and (x.line.date is None or (on - x.line.date).days <= old_after)
        )
    )
    text = newest.line.pack.text if newest.line.pack else ""
    holds = newest.base / float(newest.line.packs)
    supplier = newest.line.supplier
    return Offer(supplier, holds, price, text, newest.line.date, breaks, leads.get(same_name(supplier)))


def _quoted(material: Material, on: date, leads: Mapping[str, int | None]) -> Offer | None:
    if material.quoted_price is None or material.quoted_pack is None or (material.quoted_from and material.quoted_from > on):
        return None
    try:
        holds = material.quoted_pack.base(g_per_ml=material.g_per_ml, want=material.base)
    except QuantityError:
        return None
    price = float(after_discounts(material.quoted_price, material.quoted_less))
    lead = leads.get(same_name(material.supplier))
    return Offer(material.supplier, holds, price, material.quoted_pack.text, material.quoted_from, (), lead) if holds > 0 else None


def cheapest(lacking: float, packs: Sequence[Offer]) -> tuple[Bought, ...]:
    """The whole packs that hold at least so much for the least money; () where there is nothing to choose from.

    All ways of putting the sizes together are tried; where those are very many, only the two cheapest by what they hold.
    """
    sizes = sorted((o for o in packs if o.holds > 0), key=lambda o: -o.holds)
    ways = math.prod(_enough(lacking, o) + 1 for o in sizes[:-1])
    if ways > MOST_WAYS:
        sizes = sorted(sorted(sizes, key=lambda o: o.price / o.holds)[:2], key=lambda o: -o.holds)
    found = _cheapest(lacking, sizes)
    return () if found is None else tuple(Bought(o, n) for o, n in found[1] if n)


def _enough(lacking: float, offer: Offer) -> int:
    return max(0, math.ceil(lacking / offer.holds - FULL))


def _cheapest(lacking: float, sizes: Sequence[Offer]) -> tuple[float, list[tuple[Offer, int]]] | None:
    if not sizes:
        return (0.0, []) if lacking <= FULL else None
    first, rest = sizes[0], sizes[1:]
    enough = _enough(lacking, first)
    # Past what is enough only a price break can be worth it.
    counts = [*(range(enough + 1) if rest else [enough]), *(n for n, _ in first.breaks if n > enough)]
    best: tuple[float, list[tuple[Offer, int]]] | None = None
    for count in counts:
        others = _cheapest(lacking - count * first.holds, rest)
        if others is not None and (best is None or first.cost(count) + others[0] < best[0]):
            best = (first.cost(count) + others[0], [(first, count), *others[1]])
    return best


# ------------------------------------------------------------ the shopping


def to_buy(priced: Priced, batches: Mapping[str, float]) -> Shopping:
    """What these batches take more of than there is, in whole packs; for what nobody counted only what they take."""
    needed: dict[str, float] = {}
    findings: list[Finding] = []
    for code, count in batches.items():
        try:
            used, _ = priced.usage.batch_takes(code)
        except CostbookError as error:
            findings.append(Finding("stop", "no-plan", f"what {code} takes cannot be told: {error.sentence}", None, error.do))
            continue
        for (category, item), amount in used.items():
            if item in priced.book.materials and category not in ("labour", "overhead"):
                needed[item] = needed.get(item, 0.0) + amount * count
    found, on_offer = [], offers(priced)
    for code, material in priced.book.materials.items():
        there = counted(material)
        if there is None:
            if needed.get(code, 0.0) > 0:
                takes, unit = in_her_unit(material, needed[code])
                found.append(ToBuy(code, material.name, unit, takes, None, None, (), ()))
            continue
        held = max(0.0, there)
        lacking = needed.get(code, 0.0) - held
        if lacking <= FULL * max(1.0, held):
            continue
        packs = cheapest(lacking, on_offer[code])
        by_supplier = {o.supplier: cheapest(lacking, [x for x in on_offer[code] if x.supplier == o.supplier]) for o in on_offer[code]}
        elsewhere = sorted((sum(b.cost for b in bought), name) for name, bought in by_supplier.items() if bought)
        if not packs:
            findings.append(Finding("ask", "no-pack", f"nobody has sold or quoted {material.name}, so no pack of it is known", material.where,
                                    "Type a quoted price and pack, or post a paper."))  # fmt: skip
        amounts = [in_her_unit(material, x) for x in (needed[code], held, lacking)]
        found.append(
            ToBuy(code, material.name, amounts[0][1], amounts[0][0], amounts[1][0], amounts[2][0], packs,
                  tuple((name, cost) for cost, name in elsewhere))
        )  # fmt: skip
    smallest = {name: float(s.smallest_order) for name, s in priced.book.suppliers.items() if s.smallest_order is not None}
    return Shopping(tuple(found), tuple(findings), smallest)


@dataclass(frozen=True, slots=True)
class Reorder:
    """When a material is to be ordered again, in her unit: use a day x lead days + buffer.

    `on_hand` is None where nobody counted. `lead_known` is False where her supplier's lead days are not given.
    """

    code: str
    name: str
    unit: str
    use_a_day: float
    lead_days: int
    lead_known: bool
    buffer: float
    on_hand: float | None

    @property
    def point(self) -> float:
        """Order when no more than this is on hand."""
        return self.use_a_day * self.lead_days + self.buffer

    @property
    def due(self) -> bool:
        """Whether the point is reached."""
        return self.on_hand is not None and self.on_hand <= self.point


def reorder_points(priced: Priced, buffer_days: float = 7.0, usual_lead_days: int = 7) -> list[Reorder]:
    """The reorder point of every material that what is sold a week uses up.

    Args:
        priced: what the book comes to.
        buffer_days: days of use that are kept against surprises.
        usual_lead_days: for suppliers whose lead days she has not given.
    """
    book = priced.book
    leads = {same_name(name): supplier.lead_days for name, supplier in book.suppliers.items()}
    found = []
    for code, grams in _used_a_day(book, priced).items():
        material = book.materials[code]
        lead = leads.get(same_name(material.supplier))
        use, unit = in_her_unit(material, grams)
        held = counted(material)
        on_hand = None if held is None else in_her_unit(material, max(0.0, held))[0]
        days = usual_lead_days if lead is None else lead
        found.append(Reorder(code, material.name, unit, use, days, lead is not None, use * buffer_days, on_hand))
    return found


def _used_a_day(book: Book, priced: Priced) -> dict[str, float]:
    """Grams or pieces a day of every material, by what is sold a week."""
    found: dict[str, float] = dict.fromkeys(book.materials, 0.0)
    for code, product in book.products.items():
        for item, amount in _bought(priced, code):
            if item in found:
                found[item] += amount * float(product.sold_per_week or 0) / 7
    return {code: amount for code, amount in found.items() if amount > 0}


def _bought(priced: Priced, code: str) -> Iterable[tuple[str, float]]:
    try:
        row = priced.usage.row(code)
    except CostbookError:
        return []
    return [(item, amount) for (category, item), amount in row.bought.items() if category not in ("labour", "overhead")]
