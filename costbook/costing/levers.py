"""What else she could do for a product under its floor: another pack or supplier, a substitute, batch size, good pieces, price.

Every lever is worked out with what the book holds already: her purchases, the alternatives her recipes name, her batch. Each
says what it does to unit cost and margin, alone, and whether it brings the product back over its floor. A change of price
comes with the change of sales at which she is neither better nor worse off.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from costbook.amounts.numbers import counted
from costbook.amounts.quantity import same_name
from costbook.book.model import Material, Recipe
from costbook.costing.rates import LandedLine, Rates
from costbook.costing.tiers import HAIR, Pricer, pricers
from costbook.costing.usage import Cost, Usage, cost_at, cost_parts
from costbook.errors import CostbookError, InputError

MULTIPLES = (2.0, 3.0)
SAME_PACK = 1e-9
TELLING = 0.001  # what saves less than a thousandth of a piece's cost is not worth a row


@dataclass(frozen=True, slots=True)
class Standing:
    """One product at her price in one channel at some unit cost: margin, kept (money), and whether the floor is met."""

    channel: str
    her_price: Decimal
    margin: float
    kept: float
    over_floor: bool


@dataclass(frozen=True, slots=True)
class Lever:
    """One thing she could do: kind ('pack', 'quantity', 'supplier', 'substitute', 'batch' or 'good pieces'), in words.

    `unit_cost` is what a good piece would cost then and `effect` by how much that is more (negative: less), in book
    currency. `standings` are the channels in which the product is under its floor now, as they would stand then.
    """

    kind: str
    product: str
    words: str
    unit_cost: float
    effect: float
    standings: tuple[Standing, ...]


@dataclass(frozen=True, slots=True)
class PriceMove:
    """One product in one channel at another shown price: margin and kept (money) before and after.

    `sales_change` is the fraction by which pieces sold may fall (negative) or have to rise until she is no better or worse
    off than at the old price; None where no number of pieces does it.
    """

    product: str
    channel: str
    price_before: Decimal
    price_after: Decimal
    margin_before: float
    margin_after: float
    kept_before: float
    kept_after: float
    sales_change: float | None


def break_even_sales_change(margin: float, price_change: float) -> float:
    """The fraction by which sales may change before a price change leaves her worse off: -dP / (CM + dP).

    Args:
        margin: what a piece contributes today, as a fraction of its price.
        price_change: the change as a fraction of the price, -0.1 for a cut of 10 %.
    Raises:
        InputError: a piece contributes nothing, before or after, so no number of them makes up for it.
    Source: Nagle and Mueller, The Strategy and Tactics of Pricing, chapter on financial analysis.

    >>> round(break_even_sales_change(0.5, 0.125), 6)
    -0.2
    """
    if margin <= HAIR or margin + price_change <= HAIR:
        when = "today" if margin <= HAIR else "at the new price"
        raise InputError(f"a piece contributes nothing {when}, so no number of pieces makes up for the change", do="Look at price and cost first.")
    return -price_change / (margin + price_change)


def price_move(pricer: Pricer, cost: Cost, before: Decimal, after: Decimal) -> PriceMove:
    """What another shown price does in a channel at a cost, and how many sales it may cost.

    What a piece contributes is what it keeps and its overhead: overhead goes on when fewer are made.
    """
    nets = [pricer.net(price) for price in (before, after)]
    kept = [pricer.kept(net, cost.unit_cost) for net in nets]
    shares = [pricer.share(net, cost.unit_cost, "margin") for net in nets]
    try:
        contributes = (kept[0] + cost.parts["overhead"]) / nets[0]
        sales = break_even_sales_change(contributes, (kept[1] - kept[0]) / nets[0])
    except InputError:
        sales = None
    return PriceMove(cost.product, pricer.channel.name, before, after, shares[0], shares[1], kept[0], kept[1], sales)


def under_floor(usage: Usage, costed: Mapping[str, Cost]) -> list[str]:
    """The products whose price is under its floor in some channel, in the book's order."""
    return [code for code, cost in costed.items() if any(_under_floor(usage, cost))]


def levers(usage: Usage, rated: Rates, costed: Mapping[str, Cost], product: str, on: date) -> list[Lever]:
    """Every lever of one product that lowers its unit cost by a thousandth or more, the one that saves most first.

    Args:
        usage, rated, costed: the book as priced; for announced prices, `rates_after` and the costs at them.
        product: one that `under_floor` names; of another one the levers have no standings.
        on: the book's date; later papers are left for later.
    """
    cost = costed[product]
    under = list(_under_floor(usage, cost))
    ways = (*_packs(usage, rated, cost, on), *_substitutes(usage, rated, cost), *_batches(usage, rated, cost), *_good_pieces(usage, cost, under))
    found = [
        Lever(kind, product, words, after, after - cost.unit_cost, tuple(_standing(p, price, after) for p, price in under))
        for kind, words, after in ways if after < cost.unit_cost * (1 - TELLING)
    ]  # fmt: skip
    return sorted(found, key=lambda lever: lever.effect)


Way = tuple[str, str, float]  # kind, words, unit cost then


def _under_floor(usage: Usage, cost: Cost) -> Iterable[tuple[Pricer, Decimal]]:
    prices = usage.book.products[cost.product].prices
    for pricer in pricers(usage.book):
        price = prices.get(pricer.channel.price)
        if price is not None and pricer.floor is not None and not _standing(pricer, price, cost.unit_cost).over_floor:
            yield pricer, price


def _standing(pricer: Pricer, price: Decimal, cost: float) -> Standing:
    net = pricer.net(price)
    share = pricer.share(net, cost, pricer.channel.floor_counts)
    over = pricer.floor is None or share >= pricer.floor - HAIR
    return Standing(pricer.channel.name, price, pricer.share(net, cost, "margin"), pricer.kept(net, cost), over)


# ------------------------------------------------------------ bought otherwise


def _packs(usage: Usage, rated: Rates, cost: Cost, on: date) -> Iterable[Way]:
    """Other packs, larger quantities and other suppliers she bought from before, where they are cheaper."""
    taken: dict[str, float] = {}
    for (category, code), amount in usage.row(cost.product).bought.items():
        if category not in ("labour", "overhead"):
            taken[code] = taken.get(code, 0.0) + amount
    bought: dict[str, list[LandedLine]] = {}
    for line in rated.landed:
        if line.material in taken and line.counted and (line.line.date is None or line.line.date <= on):
            bought.setdefault(line.material, []).append(line)
    for code, lines in bought.items():
        material, now = usage.book.materials[code], rated.materials[code].per_base
        for kind, line in _others(lines, rated.materials[code].line, rated.materials[code].rule):
            rate = line.rate / (1 - material.waste_fraction)
            yield kind, _bought_words(kind, material, line, rate, now), cost.unit_cost + taken[code] * (rate - now)


def _others(lines: Sequence[LandedLine], used: LandedLine | None, rule: str) -> Iterable[tuple[str, LandedLine]]:
    """The last line of every supplier, pack and quantity that is not the one in use.

    Fewer or as many packs as now of the same supplier's same pack are an old price, not another offer; and so is all that a
    supplier charged before announcing a new price.
    """
    latest: dict[tuple[str, float, Decimal], LandedLine] = {}
    for line in sorted(lines, key=lambda x: x.line.date or date.min):
        latest[same_name(line.line.supplier), round(_pack(line), 6), line.line.packs] = line
    for line in latest.values():
        if used is None or same_name(line.line.supplier) != same_name(used.line.supplier):
            yield "supplier", line
        elif rule == "announced":
            continue
        elif abs(_pack(line) - _pack(used)) > SAME_PACK * _pack(used):
            yield "pack", line
        elif line.line.packs > used.line.packs:
            yield "quantity", line


def _pack(line: LandedLine) -> float:
    return line.base / float(line.line.packs)


def _bought_words(kind: str, material: Material, line: LandedLine, rate: float, now: float) -> str:
    bought = line.line
    pack = bought.pack.text if bought.pack else "a pack"
    unit = "g" if material.base == "g" else "piece"
    how = f"{counted(bought.packs, 'pack')} of {pack} at a time" if kind == "quantity" else f"packs of {pack}"
    return (f"{material.name} in {how} from {bought.supplier}, as on paper {bought.paper or '(no number)'} of {bought.date}: "
            f"{rate:.5f} a {unit} landed in place of {now:.5f}")  # fmt: skip


# ------------------------------------------------------------ made otherwise


def _substitutes(usage: Usage, rated: Rates, cost: Cost) -> Iterable[Way]:
    """Every other name of every line that names several, one at a time."""
    book = usage.book
    named = {**{code: m.name for code, m in book.materials.items()}, **{code: r.name for code, r in book.recipes.items()}}
    for recipe in _recipes(usage, cost.product):
        for at, line in enumerate(recipe.lines):
            for other in () if line.slot else dict.fromkeys(line.choices[1:]):
                swapped = recipe._replace(lines=(*recipe.lines[:at], line._replace(choices=(other,)), *recipe.lines[at + 1 :]))
                tried = Usage(book._replace(recipes={**book.recipes, recipe.code: swapped}))
                try:
                    after = math.fsum(cost_parts(tried.row(cost.product), rated).values())
                except (CostbookError, KeyError):
                    continue
                yield "substitute", f"{named[other]} in place of {named[line.choices[0]]} in {recipe.name}", after


def _recipes(usage: Usage, product: str) -> list[Recipe]:
    """Every recipe a product takes, the recipes inside those and the products inside it too, each once."""
    book, found = usage.book, dict[str, Recipe]()
    products, waiting = [product], list[str]()
    for code in products:
        made = book.products[code]
        products += [x.item for x in made.parts if x.kind == "product" and x.item not in products]
        waiting += [*(x.item for x in made.parts if x.kind == "recipe"), *made.fills.values()]
    while waiting:
        code = waiting.pop()
        if code in book.recipes and code not in found:
            found[code] = book.recipes[code]
            waiting += [choice for line in book.recipes[code].lines for choice in line.choices]
    return list(found.values())


def _batches(usage: Usage, rated: Rates, cost: Cost) -> Iterable[Way]:
    """Larger batches, as far as the rack has places."""
    product, places = usage.book.products[cost.product], usage.book.settings.rack_places
    for multiple in MULTIPLES:
        if product.rest_hours and places and product.planned * multiple > places:
            continue
        good = product.good * multiple
        weeks = f", {good / float(product.sold_per_week):.1f} weeks of sales" if product.sold_per_week else ""
        yield "batch", f"a batch {multiple:g} times as large: {good:g} good pieces{weeks}", cost_at(usage, rated, cost.product, multiple)


def _good_pieces(usage: Usage, cost: Cost, under: Sequence[tuple[Pricer, Decimal]]) -> Iterable[Way]:
    """The fewest good pieces that meet every floor, or all that are planned where even those do not."""
    product = usage.book.products[cost.product]
    least = product.planned
    if under:
        allowed = min(_cost_at_floor(pricer, price) for pricer, price in under)
        if allowed > 0:
            least = min(least, math.ceil(cost.batch_cost / allowed - HAIR))
    if least > product.good:
        words = f"{least} good pieces of {product.planned} planned in place of {product.good}"
        yield "good pieces", words, cost.batch_cost / least


def _cost_at_floor(pricer: Pricer, price: Decimal) -> float:
    """The unit cost at which a shown price is just on its floor: both shares fall by cost over price."""
    net = pricer.net(price)
    return (pricer.share(net, 0.0, pricer.channel.floor_counts) - (pricer.floor or 0.0)) * net
