"""Laws of prices: what a target promises, what a floor holds, and what a flag says, on random channels and books."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from property.strategies import LAW, ON, books

from costbook.book.model import Book, Channel
from costbook.costing.rates import rates
from costbook.costing.tiers import (
    Pricer,
    Tier,
    kept_per_piece,
    margin_fraction,
    markup_fraction,
    net_price_for_kept,
    net_price_for_margin,
    pricers,
    tiers,
)
from costbook.costing.usage import Usage, costs
from costbook.errors import InputError


def tiers_of(book: Book) -> list[Tier]:
    return tiers(book, costs(Usage(book), rates(book, ON))[0])[0]


shares = st.integers(0, 70).map(lambda n: n / 100)
money = st.integers(1, 10_000).map(lambda n: n / 100)


@LAW
@given(money, shares)
def test_a_net_price_for_a_margin_has_that_margin(cost: float, target: float) -> None:
    price = net_price_for_margin(cost, target)
    margin, markup = margin_fraction(price, cost), markup_fraction(price, cost)
    assert math.isclose(margin, target, abs_tol=1e-9)
    assert math.isclose(markup, target / (1 - target), rel_tol=1e-9, abs_tol=1e-9)


@LAW
@given(money, shares, st.integers(0, 25), st.integers(0, 300), st.sampled_from([0.0, 0.06, 0.21]), st.booleans())
def test_a_net_price_for_what_is_kept_keeps_it(cost: float, target: float, fee: int, fixed: int, tax: float, shown: bool) -> None:
    f, k = fee / 100, fixed / 100
    taken = f * (1 + tax) if shown else f
    if 1 - taken - target <= 1e-9:
        with pytest.raises(InputError):
            net_price_for_kept(cost, target, f, k, tax, fee_on_shown=shown)
        return
    price = net_price_for_kept(cost, target, f, k, tax, fee_on_shown=shown)
    kept = kept_per_piece(price, cost, f, k, tax, fee_on_shown=shown)
    assert math.isclose(kept, price - taken * price - k - cost, rel_tol=1e-9, abs_tol=1e-9)
    assert math.isclose(kept / price, target, abs_tol=1e-9)


@pytest.mark.parametrize("target", [1.0, 1.2])
def test_no_price_is_all_margin(target: float) -> None:
    with pytest.raises(InputError):
        net_price_for_margin(1.0, target)


def fixed_cost(channel: Channel, book: Book) -> Fraction:
    """Fixed cost of a piece in a channel, in exact fractions: per item, its share of an order and of a stall day."""
    role = book.roles[channel.order_role]
    hour = Fraction(role.pay_per_hour) * (1 + Fraction(role.on_cost_fraction))
    order = Fraction(channel.per_order) + Fraction(channel.order_minutes) * hour / 60
    in_order, in_day = Fraction(channel.pieces_per_order or 1), Fraction(channel.pieces_per_day or 1)
    return Fraction(channel.per_item) + order / in_order + Fraction(channel.per_day) / in_day


def kept_exactly(channel: Channel, book: Book, net: Fraction, cost: Fraction) -> Fraction:
    """kept = p - f (1 + t) p - k - C, without (1 + t) where the fee is on the net price."""
    f, t = Fraction(channel.fee_fraction), Fraction(channel.tax_fraction)
    return net - f * (1 + t if channel.fee_on_shown else 1) * net - fixed_cost(channel, book) - cost


@LAW
@given(books())
def test_prices_of_every_tier_hold_what_they_promise(book: Book) -> None:
    for tier in tiers_of(book):
        channel = book.channels[tier.channel]
        cost, tax = Fraction(tier.unit_cost), 1 + Fraction(channel.tax_fraction)

        def share(shown: Decimal, counts: str, channel: Channel = channel, cost: Fraction = cost, tax: Fraction = tax) -> float:
            net = Fraction(shown) / tax
            return float(((net - cost) if counts == "margin" else kept_exactly(channel, book, net, cost)) / net)

        assert math.isclose(tier.channel_cost, float(fixed_cost(channel, book)), rel_tol=1e-9, abs_tol=1e-12)
        if tier.target_price is not None:
            assert channel.target_fraction is not None and tier.exact_shown is not None
            assert share(tier.target_price, channel.target_counts) >= float(channel.target_fraction) - 1e-7
            assert tier.target_price >= Decimal(repr(tier.exact_shown)).quantize(Decimal("1e-7")) - Decimal("1e-7")
            assert tier.proposal is not None and tier.proposal >= tier.target_price
        if tier.floor_price is not None:
            assert share(tier.floor_price, channel.floor_counts) >= float(channel.floor_fraction or 0) - 1e-7
            assert tier.proposal is None or tier.proposal >= tier.floor_price
        if tier.her_price is not None:
            net = Fraction(tier.her_price) / tax
            assert tier.kept is not None and tier.margin is not None
            assert math.isclose(tier.kept, float(kept_exactly(channel, book, net, cost)), rel_tol=1e-9, abs_tol=1e-9)
            assert math.isclose(tier.margin, share(tier.her_price, "margin"), rel_tol=1e-9, abs_tol=1e-9)
            assert math.isclose(tier.kept_fraction or 0.0, share(tier.her_price, "kept"), rel_tol=1e-9, abs_tol=1e-9)


@LAW
@given(books())
def test_a_flag_tells_how_the_unrounded_price_stands(book: Book) -> None:
    for tier in tiers_of(book):
        channel = book.channels[tier.channel]
        if tier.her_price is None:
            assert tier.flag == ""
            continue
        net, cost = Fraction(tier.her_price) / (1 + Fraction(channel.tax_fraction)), Fraction(tier.unit_cost)
        kept = kept_exactly(channel, book, net, cost)
        by = {"margin": (net - cost) / net, "kept": kept / net}
        marks = [(channel.floor_fraction, channel.floor_counts), (channel.target_fraction, channel.target_counts)]
        gaps = [None if share is None else by[counts] - Fraction(share) for share, counts in marks]
        assume(all(gap is None or abs(gap) > 1e-6 for gap in (*gaps, kept)))
        floor, target = gaps
        expected = "ok" if floor is not None or target is not None else ""
        expected = "under target" if target is not None and target < 0 else expected
        expected = "under floor" if floor is not None and floor < 0 else expected
        assert tier.flag == ("under cost" if kept < 0 else expected)


@LAW
@given(books())
def test_a_proposal_is_the_lowest_price_with_its_ending(book: Book) -> None:
    """One step lower would miss the target, the floor, or the multiple of wholesale."""
    ready = {p.channel.name: p for p in pricers(book)}
    rows = tiers_of(book)
    for tier in rows:
        if tier.proposal is None:
            continue
        channel = book.channels[tier.channel]
        whole = [
            ready[t.channel].net(t.proposal) for t in rows
            if t.product == tier.product and book.channels[t.channel].price == "wholesale" and t.proposal is not None
        ]  # fmt: skip
        least = max(tier.exact_shown or 0.0, tier.floor_exact or 0.0)
        if channel.price == "retail" and whole:
            multiple = max(whole) * float(book.settings.retail_over_wholesale)
            least = max(least, multiple * float(1 + channel.tax_fraction))
        step = Decimal(1) if channel.ending and channel.ending.kind == "cents" else (channel.ending.value if channel.ending else Decimal("0.01"))
        assert float(tier.proposal) >= least - 1e-7
        assert float(tier.proposal - step) < least + 1e-7 or tier.proposal < step


@LAW
@given(books(), st.integers(1, 40).map(lambda n: n / 4))
def test_a_dearer_piece_never_gets_a_lower_price(book: Book, more: float) -> None:
    for pricer in pricers(book):
        channel = pricer.channel
        for share, counts in ((channel.target_fraction, channel.target_counts), (channel.floor_fraction, channel.floor_counts)):
            if share is not None:
                low, high = (priced_at(pricer, cost, float(share), counts) for cost in (2.0, 2.0 + more))
                assert (low is None) == (high is None)
                assert low is None or high is None or low <= high


def priced_at(pricer: Pricer, cost: float, share: float, counts: str) -> Decimal | None:
    try:
        return pricer.shown(pricer.for_share(cost, share, counts))
    except InputError:
        return None
