"""Prices by tier: net price, margin, what is kept, floors, endings, and the comparison by rule of thumb.

With net price p, unit cost C, fee fraction f, fixed cost a piece k and tax fraction t in the shown price:

    margin = (p - C) / p          markup = (p - C) / C
    kept   = p - f (1 + t) p - k - C              (without (1 + t) where the fee is on the net price)

Money shown to a customer is Decimal and rounded once, up to the tier's ending. Floors and targets are tested unrounded.
"""

import math
from collections.abc import Mapping, Sequence
from decimal import Decimal
from functools import cached_property
from typing import NamedTuple

from costbook.amounts.money import Ending, rounded, up_to_ending
from costbook.book.model import Book, Channel, Role, Settings
from costbook.costing.usage import Cost
from costbook.errors import Finding, InputError

CENT = Ending("step", Decimal("0.01"))
HAIR = 1e-9


def margin_fraction(price: float, cost: float) -> float:
    """Margin over cost as a share of the price without tax.

    >>> margin_fraction(8.0, 6.0)
    0.25
    """
    return (price - cost) / price


def markup_fraction(price: float, cost: float) -> float:
    """Markup as a share of the cost.

    >>> markup_fraction(9.0, 6.0)
    0.5
    """
    return (price - cost) / cost


def kept_per_piece(
    net_price: float, cost: float, fee: float = 0.0, fixed: float = 0.0, tax: float = 0.0, *, fee_on_shown: bool = True
) -> float:
    """What is left of a net price after unit cost, channel fee and fixed channel cost, in money."""
    return net_price - _fee(fee, tax, fee_on_shown) * net_price - fixed - cost


def net_price_for_margin(cost: float, target: float) -> float:
    """The net price at which margin over cost is `target`. Raises InputError where no price reaches it."""
    return _over(cost, 1 - target, target)


def net_price_for_kept(
    cost: float, target: float, fee: float = 0.0, fixed: float = 0.0, tax: float = 0.0, *, fee_on_shown: bool = True
) -> float:
    """The net price of which the share `target` is kept after channel costs. Raises InputError where none does."""
    return _over(cost + fixed, 1 - _fee(fee, tax, fee_on_shown) - target, target)


def _fee(fee: float, tax: float, on_shown: bool) -> float:
    return fee * (1 + tax) if on_shown else fee


def _over(cost: float, left: float, target: float) -> float:
    if left <= HAIR:
        raise InputError(f"no price can reach a target of {target:.0%} with these fees", do="Target and fees together must stay under 100 % of the price; a markup of 100 % is a margin of 50 %.")  # fmt: skip
    return cost / left


def order_cost(channel: Channel, roles: Mapping[str, Role]) -> Decimal:
    """What handling one order costs: its fixed money and its packing minutes, which carry labour and no overhead."""
    minutes = channel.order_minutes * (
        roles[channel.order_role].rate_per_hour / 60 if channel.order_minutes else Decimal(0)
    )
    return channel.per_order + minutes


def break_even_pieces(kept: float, fixed: float, wanted: float = 0.0) -> float:
    """How many pieces pay a fixed cost (and leave `wanted` besides) when each keeps this much; not rounded.

    Raises:
        InputError: a piece keeps nothing, so that no number of them does.
    """
    if kept <= 0:
        raise InputError("a piece keeps nothing, so no number of them pays it", do="Raise the price or lower the cost.")
    return (fixed + wanted) / kept


def channel_cost(channel: Channel, roles: Mapping[str, Role]) -> float:
    """Fixed cost of one piece in a channel: per item, its share of an order, its share of a stall day.

    An order's cost, or a day's, counts as one piece's where no number of pieces is given.
    """
    order = order_cost(channel, roles) / (channel.pieces_per_order or Decimal(1))
    return float(channel.per_item + order + channel.per_day / (channel.pieces_per_day or Decimal(1)))


class Tier(NamedTuple):
    """One product in one channel.

    Prices are as shown to the customer (with tax where the channel shows it), shares are fractions of the net price.
    `floor_price` and `target_price` are rounded up to the ending; `proposal` also keeps retail over its multiple of
    wholesale. `exact_net` and `exact_shown` are the target before rounding. None where the channel asks for none, or, for
    her price, where she has none. `flag` is '' (nothing to hold it against), 'ok', 'under target', 'under floor' or 'under cost'.
    """

    product: str
    channel: str
    unit_cost: float
    channel_cost: float
    floor_exact: float | None
    floor_price: Decimal | None
    exact_net: float | None
    exact_shown: float | None
    target_price: Decimal | None
    proposal: Decimal | None
    proposal_margin: float | None
    proposal_kept: float | None
    her_price: Decimal | None
    margin: float | None
    kept: float | None
    kept_fraction: float | None
    day_pieces: int | None
    flag: str
    compare: Decimal | None
    compare_materials: Decimal


class _Shares(NamedTuple):
    channel: Channel
    fixed: float
    fee: float
    tax: float
    target: float | None
    floor: float | None


class Pricer(_Shares):
    """A channel with its money and shares worked out once, ready for any product's cost."""

    @cached_property
    def taken(self) -> float:
        """The share of a net price that the fee takes."""
        return _fee(self.fee, self.tax, self.channel.fee_on_shown)

    @cached_property
    def aims(self) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
        """For target and floor, what is added to a cost and by what share of the price the sum is divided.

        None where there is none, or no price reaches it.
        """
        return self._aim(self.target, self.channel.target_counts), self._aim(self.floor, self.channel.floor_counts)

    def _aim(self, share: float | None, counts: str) -> tuple[float, float] | None:
        if share is None:
            return None
        added, left = (0.0, 1 - share) if counts == "margin" else (self.fixed, 1 - self.taken - share)
        return None if left <= HAIR else (added, left)

    @property
    def ending(self) -> Ending:
        """The channel's ending, up to the cent where she gave none."""
        return self.channel.ending or CENT

    def shown(self, net: float, ending: Ending | None = None) -> Decimal:
        """A net price as customers see it: tax added where shown, rounded up to the ending."""
        return up_to_ending(net * (1 + self.tax), ending or self.ending)

    def net(self, shown: Decimal | float) -> float:
        """A shown price without its tax."""
        return float(shown) / (1 + self.tax)

    def for_share(self, cost: float, share: float, counts: str) -> float:
        """The net price at which margin or kept is this share. Raises InputError where none does."""
        if counts == "margin":
            return net_price_for_margin(cost, share)
        return net_price_for_kept(cost, share, self.fee, self.fixed, self.tax, fee_on_shown=self.channel.fee_on_shown)

    def kept(self, net: float, cost: float) -> float:
        """What is left of a net price, in money."""
        return kept_per_piece(net, cost, self.taken, self.fixed, fee_on_shown=False)  # what is taken is of the net price already

    def share(self, net: float, cost: float, counts: str) -> float:
        """Margin or kept as a share of a net price."""
        return margin_fraction(net, cost) if counts == "margin" else self.kept(net, cost) / net


def pricers(book: Book) -> list[Pricer]:
    """Every channel of the book, ready to price, wholesale before the retail it guards."""
    made = [
        Pricer(
            c, channel_cost(c, book.roles), float(c.fee_fraction), float(c.tax_fraction),
            None if c.target_fraction is None else float(c.target_fraction), None if c.floor_fraction is None else float(c.floor_fraction),
        )
        for c in book.channels.values()
    ]  # fmt: skip
    return sorted(made, key=lambda p: p.channel.price != "wholesale")


def tiers(book: Book, costs: Mapping[str, Cost]) -> tuple[list[Tier], list[Finding]]:
    """Every product with a cost in every channel, in the book's order, and the targets no price can reach."""
    ready, findings = _reachable(pricers(book))
    settings = book.settings
    priced = [pricer.channel.name for pricer in ready]
    places = [priced.index(name) for name in book.channels]
    times_materials, over_wholesale = float(settings.compare_materials), float(settings.retail_over_wholesale)
    beside: dict[Decimal, list[Decimal | None]] = {}  # many products share a doubled cost, which all of this follows from
    found: list[Tier] = []
    for code, cost in costs.items():
        prices = book.products[code].prices
        doubled = doubled_cost(cost.unit_cost, settings, ready)
        if doubled not in beside:
            beside[doubled] = [compare(pricer.channel, doubled, settings) for pricer in ready]
        least: float | None = None
        by_materials = rounded(cost.parts["materials"] * times_materials)
        rows = []
        for pricer, compared in zip(ready, beside[doubled]):
            tier = _tier(pricer, cost, prices, least, compared, by_materials)
            rows.append(tier)
            if pricer.channel.price == "wholesale" and tier.proposal is not None:
                net = pricer.net(tier.proposal) * over_wholesale
                least = net if least is None else max(least, net)
        found += [rows[place] for place in places]
    return found, findings


def _reachable(ready: Sequence[Pricer]) -> tuple[list[Pricer], list[Finding]]:
    """The channels, and a finding for each whose target or floor no price can reach (it is then left out of it)."""
    findings = []
    for pricer in ready:
        channel = pricer.channel
        for share, counts, what in (
            (pricer.target, channel.target_counts, "target"),
            (pricer.floor, channel.floor_counts, "floor"),
        ):
            try:
                pricer.for_share(1.0, share or 0.0, counts)
            except InputError as error:
                findings.append(
                    Finding(
                        "stop",
                        "target-unreachable",
                        f"{channel.name}, {what}: {error.sentence}",
                        channel.where,
                        error.do,
                    )
                )
    return list(ready), findings


def _tier(
    pricer: Pricer,
    cost: Cost,
    prices: Mapping[str, Decimal],
    least: float | None,
    compared: Decimal | None,
    by_materials: Decimal,
) -> Tier:
    """One product in one channel; `least` is the net price that keeps retail over its multiple of wholesale."""
    channel, unit_cost, with_tax = pricer.channel, cost.unit_cost, 1 + pricer.tax
    target, bottom = pricer.aims
    exact = None if target is None else (unit_cost + target[0]) / target[1]
    floor = None if bottom is None else (unit_cost + bottom[0]) / bottom[1]
    proposed = exact if exact is None or floor is None or floor <= exact else floor
    if proposed is not None and least is not None and proposed < least and channel.price == "retail":
        proposed = least
    proposal = None if proposed is None else pricer.shown(proposed)
    at = None if proposal is None else pricer.net(proposal)
    hers = prices.get(channel.price)
    margin = kept = kept_fraction = days = None
    told = ""
    if hers is not None:
        net = pricer.net(hers)
        margin, kept = margin_fraction(net, unit_cost), pricer.kept(net, unit_cost)
        kept_fraction = kept / net
        days = day_pieces(pricer, net, unit_cost) if channel.per_day else None
        told = _flag(pricer, margin, kept, kept_fraction)
    return Tier(
        cost.product, channel.name, unit_cost, pricer.fixed,
        None if floor is None else floor * with_tax, None if floor is None else pricer.shown(floor),
        exact, None if exact is None else exact * with_tax,
        proposal if proposed == exact else pricer.shown(exact or 0.0), proposal,
        None if at is None else margin_fraction(at, unit_cost), None if at is None else pricer.kept(at, unit_cost) / at,
        hers, margin, kept, kept_fraction, days, told, compared, by_materials,
    )  # fmt: skip


def day_pieces(pricer: Pricer, net: float, cost: float) -> int | None:
    """How many of a piece alone pay the stall's day at a net price; None where there is no day to pay or none do."""
    channel = pricer.channel
    if not channel.per_day:
        return None
    share = float(channel.per_day / (channel.pieces_per_day or Decimal(1)))
    kept = pricer.kept(net, cost) + share
    return math.ceil(break_even_pieces(kept, float(channel.per_day)) - HAIR) if kept > 0 else None


def flag(pricer: Pricer, net: float, cost: float) -> str:
    """How a net price stands against cost, floor and target, on unrounded figures."""
    kept = pricer.kept(net, cost)
    return "under cost" if kept < 0 else _flag(pricer, margin_fraction(net, cost), kept, kept / net)


def _flag(pricer: Pricer, margin: float, kept: float, kept_fraction: float) -> str:
    channel, floor, target = pricer.channel, pricer.floor, pricer.target
    if kept < 0:
        return "under cost"
    if floor is not None and (margin if channel.floor_counts == "margin" else kept_fraction) < floor - HAIR:
        return "under floor"
    if target is not None and (margin if channel.target_counts == "margin" else kept_fraction) < target - HAIR:
        return "under target"
    return "" if floor is None and target is None else "ok"


def doubled_cost(cost: float, settings: Settings, ready: Sequence[Pricer]) -> Decimal:
    """The rule of thumb for wholesale: cost times, up to the ending of the first wholesale channel."""
    whole = next((p.ending for p in ready if p.channel.price == "wholesale"), CENT)
    return up_to_ending(cost * float(settings.compare_wholesale), whole)


def compare(channel: Channel, doubled: Decimal, settings: Settings) -> Decimal | None:
    """The rule of thumb beside: the doubled cost for wholesale, that times again up to its ending for retail."""
    if channel.price == "wholesale":
        return doubled
    return (
        up_to_ending(doubled * settings.compare_retail, channel.ending or CENT) if channel.price == "retail" else None
    )
