"""What a change of rates does to her products: costs before and after, split by material, margins, floors, a year's money.

    effect of a material = usage x (new rate - old rate)          rise = the sum of a product's effects

Only the lines of usage whose rate changes are looked at, so that the split is the change and nothing is left over; a full
pricing or the usage matrix at the new rates comes to the same costs. Floors are tested on unrounded figures. Nothing of
hers moves; prices are proposals, worked out when asked for.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import NamedTuple

from costbook.amounts.money import Ending
from costbook.book.model import Book
from costbook.costing.announced import NewRate, rates_after
from costbook.costing.rates import Rates
from costbook.costing.tiers import HAIR, Pricer, Tier, flag, margin_fraction, pricers, tiers
from costbook.costing.usage import Cost, Key, Usage, cost_parts, rate_of
from costbook.errors import Finding, InputError

WEEKS_A_YEAR = 52
BOUGHT = ("materials", "packaging", "consumables")  # categories whose rates come from suppliers


class TierChange(NamedTuple):
    """One product in one channel at her price, before and after; margins are fractions of the price without tax.

    `kept` is money a piece. Everything but product, channel and costs is None where she has no price there; `under_floor`
    is None where the channel has no floor.
    """

    product: str
    pricer: Pricer
    cost: float
    cost_after: float
    her_price: Decimal | None
    net: float | None
    margin: float | None
    margin_after: float | None
    kept: float | None
    kept_after: float | None
    under_floor: bool | None
    under_floor_after: bool | None

    @property
    def channel(self) -> str:
        """The channel's name."""
        return self.pricer.channel.name

    @property
    def crosses_floor(self) -> bool:
        """Whether the change takes it under a floor it stood on or over."""
        return self.under_floor is False and self.under_floor_after is True

    @property
    def kept_fraction(self) -> float | None:
        """What is kept today as a share of the price without tax."""
        return None if self.kept is None or self.net is None else self.kept / self.net

    @property
    def kept_fraction_after(self) -> float | None:
        """What is kept after the change as a share of the price without tax."""
        return None if self.kept_after is None or self.net is None else self.kept_after / self.net

    @property
    def flags(self) -> tuple[str, str]:
        """How her price stands before and after, as `tiers.flag` says it; '' where she has none."""
        if self.net is None:
            return "", ""
        return flag(self.pricer, self.net, self.cost), flag(self.pricer, self.net, self.cost_after)

    def price_keeping_margin(self, ending: Ending | None = None, meant_for: float | None = None) -> Decimal | None:
        """The shown price at which the margin over cost stays what it is, up to an ending (None: the channel's).

        Her own price where the cost does not change; None where she has no price, or no price keeps that margin.

        Args: meant_for is the unit cost her price was accepted for, where that is not today's: then it is the margin over that
        cost which stays, or each answer to one rise would raise the price once more.
        """
        if self.margin is None or self.net is None:
            return None
        if meant_for is not None and math.isclose(meant_for, self.cost_after, rel_tol=1e-9):
            return self.her_price
        if self.cost_after == self.cost and ending is None:
            return self.her_price
        margin = self.margin if meant_for is None else self.pricer.share(self.net, meant_for, "margin")
        try:
            return self.pricer.shown(self.pricer.for_share(self.cost_after, margin, "margin"), ending)
        except InputError:
            return None


class ProductChange(NamedTuple):
    """One product: its unit cost before and after, what each material adds, and how its prices stand.

    `effects` holds the materials that touch it, in book currency a piece, unrounded; they add up to `rise`, and `after` is
    `before` and all of them. `a_year` is the rise over a year of present sales, None where no sales are typed.
    """

    product: str
    before: float
    after: float
    rise: float
    effects: Mapping[str, float]
    a_year: float | None
    tiers: tuple[TierChange, ...]


@dataclass(frozen=True)
class Impact:
    """What the announced prices do, by product in the book's order. `news` are the new rates by material.

    `rates` are those after, `costs` those before. `findings` name materials no product takes and products whose sales
    nobody typed.
    """

    usage: Usage
    rates: Rates
    costs: Mapping[str, Cost]
    news: Mapping[str, NewRate]
    products: Mapping[str, ProductChange]
    findings: tuple[Finding, ...]

    @cached_property
    def a_year(self) -> float:
        """What the whole change costs a year at present sales; products without typed sales are not in it."""
        return math.fsum(change.a_year for change in self.products.values() if change.a_year is not None)

    @property
    def crossed(self) -> list[TierChange]:
        """Every product and channel that the change takes under its floor."""
        return [tier for change in self.products.values() for tier in change.tiers if tier.crosses_floor]

    def tiers_after(self, product: str) -> list[Tier]:
        """One product priced in every channel at its cost after: floor, price at target, proposal, as `tiers` has them."""
        parts = cost_parts(self.usage.row(product), self.rates)
        cost = self.costs[product]._replace(unit_cost=self.products[product].after, parts=parts)
        return tiers(self.usage.book, {product: cost})[0]


def impact(
    usage: Usage, rated: Rates, costed: Mapping[str, Cost], tiered: Sequence[Tier], news: Mapping[str, NewRate]
) -> Impact:
    """What new rates do to every product that has a cost.

    Args:
        usage, rated, costed, tiered: the book as priced today.
        news: as `announced.new_rates` gives them.
    """
    book = usage.book
    changes = {code: new.change for code, new in news.items() if new.change}
    standing: dict[str, list[Tier]] = {}
    for tier in tiered:
        standing.setdefault(tier.product, []).append(tier)
    ready = {pricer.channel.name: pricer for pricer in pricers(book)}
    found: dict[str, ProductChange] = {}
    for code, cost in costed.items():
        before = after = cost.unit_cost
        effects: dict[str, float] = {}
        for (category, item), amount in usage.row(code).bought.items():
            if item in changes and category in BOUGHT:
                effects[item] = effects.get(item, 0.0) + amount * changes[item]
        if effects:
            after = math.fsum((before, *effects.values()))
        rise = math.fsum(effects.values())
        sold = None if book.products[code].trying else book.products[code].sold_per_week  # no part of the line
        a_year = None if sold is None else rise * float(sold) * WEEKS_A_YEAR
        changed = tuple([_tier(ready[tier.channel], tier, after) for tier in standing.get(code, ())])
        found[code] = ProductChange(code, before, after, rise, effects, a_year, changed)
    return Impact(usage, rates_after(rated, news), costed, news, found, tuple(_findings(book, news, found)))


def _tier(pricer: Pricer, tier: Tier, after: float) -> TierChange:
    """One product in one channel, before and after."""
    price, cost = tier.her_price, tier.unit_cost
    if price is None or tier.kept is None:
        return TierChange(tier.product, pricer, cost, after, None, None, None, None, None, None, None, None)
    net = pricer.net(price)
    margin, kept = margin_fraction(net, after), pricer.kept(net, after)
    under = under_after = None
    if pricer.floor is not None:
        if pricer.channel.floor_counts == "margin":
            under, under_after = (tier.margin or 0.0) < pricer.floor - HAIR, margin < pricer.floor - HAIR
        else:
            under, under_after = tier.kept / net < pricer.floor - HAIR, kept / net < pricer.floor - HAIR
    return TierChange(tier.product, pricer, cost, after, price, net, tier.margin, margin, tier.kept, kept, under, under_after)


def _findings(book: Book, news: Mapping[str, NewRate], found: Mapping[str, ProductChange]) -> list[Finding]:
    used = {code for change in found.values() for code in change.effects}
    notes = [
        Finding("note", "announced-unused", f"the price of {book.materials[code].name} changes, and no product that has a cost takes it: nothing follows",
                new.announced.where)
        for code, new in news.items() if new.change and code not in used
    ]  # fmt: skip
    unsold = tuple(code for code, change in found.items() if change.rise and change.a_year is None and not book.products[code].trying)
    if unsold:
        where = book.products[unsold[0]].places.get("sold_per_week", book.products[unsold[0]].where)
        sentence = f"no sales a week are typed for {', '.join(unsold)}: not in what it costs a year"
        notes.append(Finding("ask", "no-sales", sentence, where, "Type how many are sold a week.", unsold))
    return notes


# ------------------------------------------------------------ which materials move her costs most


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """How much one bought item, role or overhead weighs in the yearly cost of what is sold.

    `share` is its part of that cost, which is its elasticity: 1 % on its rate moves the yearly cost by `share` %.
    `a_year` is its money a year, `ten_percent` what 10 % on its rate adds. `most_in` is the product of whose unit cost it
    is the largest part, and `part` that part.
    """

    category: str
    item: str
    share: float
    a_year: float
    ten_percent: float
    most_in: str
    part: float


def sensitivities(usage: Usage, rated: Rates, costed: Mapping[str, Cost]) -> list[Sensitivity]:
    """What moves her costs most, the greatest first, weighted by what is sold; every product counts one a week where none is.

    A set's pieces count as sold in the set. What is bought under several categories is told once, under the first.
    """
    products = usage.book.products
    costed = {code: cost for code, cost in costed.items() if not products[code].trying}
    sold = {code: float(products[code].sold_per_week or 0) * WEEKS_A_YEAR for code in costed}
    if not any(sold.values()):
        sold = dict.fromkeys(costed, float(WEEKS_A_YEAR))
    named: dict[str, Key] = {}
    money: dict[Key, list[float]] = {}
    most: dict[Key, tuple[float, str]] = {}
    for code, cost in costed.items():
        here: dict[Key, float] = {}
        for key, amount in usage.row(code).bought.items():
            named_key = named.setdefault(key[1], key) if key[0] in BOUGHT else key
            here[named_key] = here.get(named_key, 0.0) + amount * rate_of(key, rated)
        for key, each in here.items():
            money.setdefault(key, []).append(each * sold[code])
            part = each / cost.unit_cost if cost.unit_cost else 0.0
            if key not in most or part > most[key][0]:
                most[key] = part, code
    whole = math.fsum(x for several in money.values() for x in several)
    found = []
    for key, several in money.items():
        a_year = math.fsum(several)
        part, code = most[key]
        found.append(Sensitivity(*key, a_year / whole if whole else 0.0, a_year, a_year / 10, code, part))
    return sorted(found, key=lambda s: -s.a_year)
