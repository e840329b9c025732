"""What to buy: whole packs, price breaks, suppliers side by side, reorder points; the cheapest against trying every count."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published.small_books import ON, book, bought_line, item, made, pieces, take
from records import replace

from costbook.book.model import Book, PurchaseLine, Supplier
from costbook.costing.buying import Offer, cheapest, offers, reorder_points, to_buy
from costbook.costing.checks import Priced
from costbook.costing.rates import rates
from costbook.costing.usage import Usage, costs
from costbook.errors import Where

HERE = Where("Example", "A1")


def priced(of: Book) -> Priced:
    rated, usage = rates(of, ON), Usage(of)
    return Priced(of, ON, rated, usage, costs(usage, rated)[0], ())


def paper(supplier: str, packs: int, holds: int, amount: float, days_ago: int = 10) -> PurchaseLine:
    return bought_line("goods", amount, supplier=supplier, paper=f"{supplier} {packs} {days_ago}", material="TIN", packs=Decimal(packs),
                       pack=pieces(holds), date=ON - timedelta(days_ago))  # fmt: skip


def shop(*papers: PurchaseLine, on_hand: int | None = 28, lead: Mapping[str, int | None] | None = None, sold: int = 7) -> Priced:
    """Ten pieces a batch, two tins a piece."""
    tin = replace(item("TIN"), rate_rule="latest", quoted_price=None, quoted_pack=None, supplier="Near",
                  on_hand=None if on_hand is None else pieces(on_hand))  # fmt: skip
    product = replace(made("P", take("packaging", "TIN", 2), batch=10), sold_per_week=Decimal(sold))
    suppliers = {name: Supplier(name, "USD", "", "", days, HERE) for name, days in (lead or {}).items()}
    return priced(replace(book([product], [tin], bought=papers), suppliers=suppliers))


def test_whole_packs_of_the_cheaper_supplier() -> None:
    """By hand: 3 batches take 60 tins, 28 are there: 32 lack. Near sells 50 for 30.00, Far 20 for 10.00: two of those."""
    found = to_buy(shop(paper("Near", 1, 50, 30), paper("Far", 2, 20, 20)), {"P": 3})
    [row] = found.rows
    assert (row.needed, row.on_hand, row.lacking, row.unit) == (60, 28, 32, "each")
    assert [(b.offer.supplier, b.packs, b.cost) for b in row.packs] == [("Far", 2, 20.0)]
    assert row.elsewhere == (("Far", 20.0), ("Near", 30.0))
    assert found.by_supplier == {"Far": 20.0} and found.cost == 20.0 and not found.findings


@pytest.mark.parametrize(("smallest", "missing"), [(None, 0.0), ("20.00", 0.0), ("25.50", 5.5)])
def test_what_is_missing_to_a_smallest_order(smallest: str | None, missing: float) -> None:
    """By hand: 20.00 is spent at Far, nothing at Near."""
    there = shop(paper("Near", 1, 50, 30), paper("Far", 2, 20, 20))
    far = Supplier("far ", "USD", "", "", None, HERE, None if smallest is None else Decimal(smallest))
    found = to_buy(replace(there, book=replace(there.book, suppliers={"far ": far})), {"P": 3})
    assert found.missing("Far") == missing and found.missing("Near") == 0.0


def test_a_price_break_is_used_once_there_are_enough_packs() -> None:
    """By hand: one pack of 20 for 10.00; a paper of 5 packs came to 8.00 each. 4 packs are 40.00, and so are 5 of them."""
    near = shop(paper("Near", 1, 20, 10, 5), paper("Near", 5, 20, 40, 50), on_hand=0)
    assert offers(near)["TIN"][0].breaks == ((5, 8.0),)
    assert to_buy(near, {"P": 4}).rows[0].cost == 40.0
    assert [(b.packs, b.cost) for b in to_buy(near, {"P": 5}).rows[0].packs] == [(5, 40.0)]
    old = shop(paper("Near", 1, 20, 10, 5), paper("Near", 5, 20, 40, 400), on_hand=0)
    assert offers(old)["TIN"][0].breaks == (), "a break of a paper that counts as old"


def test_the_newest_paper_tells_the_price() -> None:
    assert [o.price for o in offers(shop(paper("Near", 1, 50, 30, 9), paper("Near", 1, 50, 33, 3)))["TIN"]] == [33.0]


def test_what_nobody_sells_and_what_is_not_short() -> None:
    nobody = to_buy(shop(), {"P": 3})
    assert nobody.rows[0].packs == () and [f.check for f in nobody.findings] == ["no-pack"]
    assert to_buy(shop(paper("Near", 1, 50, 30)), {"P": 1}).rows == ()
    assert to_buy(shop(), {"P": 0}).cost == 0


def test_what_nobody_counted_is_neither_none_nor_short() -> None:
    """By hand: 3 batches of ten pieces with 2 tins each take 60; what of that is there nobody knows, so nothing is bought."""
    near = shop(paper("Near", 1, 50, 30), on_hand=None)
    found = to_buy(near, {"P": 3})
    [row] = found.rows
    assert (row.needed, row.on_hand, row.lacking, row.packs) == (60, None, None, ()) and found.cost == 0 and not found.findings
    [point] = reorder_points(near)
    assert point.on_hand is None and not point.due
    assert to_buy(near, {"P": 0}).rows == ()


def test_reorder_points() -> None:
    """By hand: 7 sold a week are 2 tins a day; 5 days to come and 7 days kept: 10 + 14 = 24."""
    [point] = reorder_points(shop(paper("Near", 1, 50, 30), lead={"Near": 5}))
    assert (point.use_a_day, point.lead_days, point.lead_known, point.point, point.due) == (2, 5, True, 24, False)
    [low] = reorder_points(shop(paper("Near", 1, 50, 30), on_hand=24, lead={"Near": 5}))
    assert low.due
    [unknown] = reorder_points(shop(paper("Near", 1, 50, 30)), usual_lead_days=3)
    assert (unknown.lead_known, unknown.point) == (False, 20)
    assert reorder_points(shop(sold=0)) == []


sizes = st.lists(st.tuples(st.integers(1, 12), st.integers(1, 30), st.integers(2, 4), st.integers(1, 30)), min_size=1, max_size=3)


@settings(deadline=None, max_examples=150)
@given(st.integers(1, 40), sizes)
def test_the_packs_are_the_cheapest_of_all_counts(lacking: int, drawn: Sequence[tuple[int, int, int, int]]) -> None:
    packs = [Offer("S", float(holds), float(price), "", date(2026, 1, 1), ((least, float(lower)),)) for holds, price, least, lower in drawn]
    found = cheapest(float(lacking), packs)
    assert sum(b.offer.holds * b.packs for b in found) >= lacking
    ways = itertools.product(*(range(max(-(-lacking // holds), least) + 1) for holds, _, least, _ in drawn))
    best = min(
        sum(o.cost(n) for o, n in zip(packs, counts, strict=True))
        for counts in ways
        if sum(o.holds * n for o, n in zip(packs, counts, strict=True)) >= lacking
    )
    assert sum(b.cost for b in found) == pytest.approx(best)
