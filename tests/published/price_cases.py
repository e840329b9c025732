"""Published price arithmetic: break-even, margin and markup, discounts and rounding, by the program's own functions."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from published.figures import Cases, Entry
from published.small_books import (
    ON,
    book,
    bought_line,
    channel,
    item,
    made,
    money,
    pieces,
    set_cost,
    take,
    worked,
)
from pytest import approx
from records import replace

from costbook.amounts.money import after_discounts, allocate, read_discounts, rounded
from costbook.book.model import Settings
from costbook.costing.rates import landed_lines
from costbook.costing.tiers import (
    break_even_pieces,
    channel_cost,
    kept_per_piece,
    margin_fraction,
    markup_fraction,
    net_price_for_kept,
    net_price_for_margin,
    tiers,
)

CASES = Cases([])
BREAK_EVEN, MARGIN, DISCOUNTS, ROUNDING = "break-even", "margin and markup", "trade discounts", "rounding"


# ------------------------------------------------------------------ break-even


def kept_of(given: Entry) -> float:
    return kept_per_piece(given["price"], given["variable_cost"])


def ratio_of(given: Entry) -> float:
    return margin_fraction(given["price"], given["variable_cost"])


def sales_for(given: Entry, wanted: float = 0.0) -> float:
    """Sales in money: a unit of money sold keeps the margin, so as many of them as pieces that keep so much."""
    return break_even_pieces(ratio_of(given), given["fixed_cost"], wanted)


@CASES.of("A01", BREAK_EVEN, "what a piece keeps, its margin, and the pieces (or money of sales) that pay a fixed cost")
def break_even(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    assert kept_of(given) == approx(published["cm_unit"])
    assert ratio_of(given) == approx(published["cm_ratio"])
    assert break_even_pieces(kept_of(given), given["fixed_cost"]) == approx(published["be_units"])
    assert sales_for(given) == approx(published["be_sales"])


@CASES.of("A03", BREAK_EVEN, "pieces and sales that pay a fixed cost and leave a profit whose share after tax is the target")
def after_tax_target(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    # The sum of which 1 - tax is the target is reckoned like the price of which 1 - margin is the cost.
    before_tax = net_price_for_margin(given["after_tax_target"], given["tax_rate"])
    assert before_tax == approx(published["pre_tax"])
    assert break_even_pieces(kept_of(given), given["fixed_cost"], before_tax) == approx(published["units"])
    assert sales_for(given, before_tax) == approx(published["sales"])


@CASES.of("A04", BREAK_EVEN, "the pieces at which so much is left, or lacking")
def loss_below_break_even(entry: Entry) -> None:
    given = entry["inputs"]
    found = [break_even_pieces(kept_of(given), given["fixed_cost"], left) for left in entry["published"]["operating_income"]]
    assert found == approx(given["units"])


@CASES.of("A05", BREAK_EVEN, "margin, and pieces and sales that pay a fixed cost, without and with a target")
def break_even_of_a_service(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    assert ratio_of(given) == approx(published["cm_ratio"])
    assert break_even_pieces(kept_of(given), given["fixed_cost"]) == approx(published["be_units"])
    assert sales_for(given) == approx(published["be_sales"])
    assert break_even_pieces(kept_of(given), given["fixed_cost"], given["target_profit"]) == approx(published["target_units"])
    assert sales_for(given, given["target_profit"]) == approx(published["target_sales"])


@CASES.of("A06", BREAK_EVEN, "pieces that pay a fixed cost, one more, one, and none")
def one_piece_more(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    left = {published["be_units"]: 0, 501: published["profit_at_501"], 0: published["loss_at_0"], 1: published["loss_at_1"],
            published["target_units"]: given["target_profit"]}  # fmt: skip
    for count, wanted in left.items():
        assert break_even_pieces(kept_of(given), given["fixed_cost"], wanted) == approx(count)


@CASES.of("A08", BREAK_EVEN, "what a piece keeps after a channel's cost per piece, and the pieces that leave the published income")
def commission_and_rent(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    kept = kept_per_piece(given["price"], given["cost"], fixed=channel_cost(channel(per_item=money(given["commission"])), {}))
    assert kept == approx(published["cm_unit"])
    found = [break_even_pieces(kept, given["rent"] + given["salary"], income) for income in published["net_income"]]
    assert found == approx(given["units"])


@CASES.of("A09", BREAK_EVEN, "pieces and sales that pay a fixed cost, without and with a target")
def break_even_and_target(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    assert break_even_pieces(kept_of(given), given["fixed_cost"]) == approx(published["be_units"])
    assert sales_for(given) == approx(published["be_sales"])
    assert break_even_pieces(kept_of(given), given["fixed_cost"], given["target_profit"]) == approx(published["target_units"])
    assert sales_for(given, given["target_profit"]) == approx(published["target_sales"])


@CASES.of("A11", BREAK_EVEN, "a mix as a set of products, the sets that pay a fixed cost, shared out by the mix")
def break_even_of_a_mix(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    weighted = set_cost(given["mix"], given["cm_unit"])
    assert weighted == approx(published["weighted_cm"])
    for wanted, units, split in ((0, "be_units", "be_split"), (given["target_profit"], "target_units", "target_split")):
        found = break_even_pieces(weighted, given["fixed_cost"], wanted)
        assert found == approx(published[units])
        assert allocate(rounded(found, 0), given["mix"], 0) == published[split]


@CASES.of("A13", BREAK_EVEN, "margin of all products together, and the sales that pay a fixed cost at it")
def break_even_of_sales(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    ratio = margin_fraction(sum(given["sales"]), sum(given["sales"]) - sum(given["cm"]))
    assert ratio == approx(published["weighted_cm_ratio"])
    assert rounded(break_even_pieces(ratio, given["fixed_cost"]), 0) == published["be_sales"]


@CASES.of("A14", BREAK_EVEN, "a set of products costed from its pieces, the sets that pay a fixed cost, shared out by its pieces")
def break_even_of_a_set(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    price, cost = set_cost(given["mix"], given["price"]), set_cost(given["mix"], given["variable_cost"])
    assert (price, cost) == approx((published["composite_price"], published["composite_vc"]))
    assert kept_per_piece(price, cost) == approx(published["composite_cm"])
    found = break_even_pieces(kept_per_piece(price, cost), given["fixed_cost"])
    assert rounded(found) == money(published["be_composite"])
    pieces_in_all = rounded(found * sum(given["mix"]), 0)
    assert pieces_in_all == published["total_units"]
    assert allocate(pieces_in_all, given["mix"], 0) == published["be_units"]


@CASES.of("A16", BREAK_EVEN, "margin, and pieces and sales that pay a fixed cost")
def break_even_before_safety(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    assert ratio_of(given) == approx(published["cm_ratio"], abs=1e-4)  # printed 0.5555, cut and not rounded
    assert break_even_pieces(kept_of(given), given["fixed_cost"]) == approx(published["be_units"])
    assert sales_for(given) == approx(published["be_sales"])


# ------------------------------------------------------------------ margin, markup, shares


@CASES.of("A57", MARGIN, "margin of a price over a cost, the price for a target margin, and what it keeps")
def target_cost(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    share, cost = given["profit_pct_of_price"], published["target_cost"]
    assert margin_fraction(given["price"], cost) == approx(share)
    assert net_price_for_margin(cost, share) == approx(given["price"])
    assert kept_per_piece(given["price"], cost) == approx(published["profit"])


@CASES.of("A68", MARGIN, "what a consignment price keeps after the shop's share, the price for it, and the shares to the cent")
def consignment(entry: Entry) -> None:
    sale, share = entry["inputs"]["sale"], Fraction(entry["inputs"]["shop_share"])
    owner, shop = entry["published"]["owner"], entry["published"]["shop"]
    assert kept_per_piece(sale, 0, fee=float(share)) == approx(owner)
    assert net_price_for_kept(owner, 0, fee=float(share)) == approx(sale)
    assert allocate(Decimal(sale), [1 - share, share]) == [owner, shop]


@CASES.of("P05", MARGIN, "margin of a price by its markup, and markup of the price for a target margin")
def markup_and_margin(entry: Entry) -> None:
    markups = [markup / 100 for markup in entry["inputs"]["markup_on_cost_pct"]]
    margins = [margin / 100 for margin in entry["published"]["margin_on_price_pct"]]
    assert [margin_fraction(1 + markup, 1) for markup in markups] == approx(margins, abs=1e-6)
    assert [markup_fraction(net_price_for_margin(1, margin), 1) for margin in margins] == approx(markups, abs=1e-5)


@CASES.of("P07", MARGIN, "markup of a price over a cost, and what it keeps")
def markup(entry: Entry) -> None:
    cost, price = entry["inputs"]["cost"], entry["published"]["price"]
    assert markup_fraction(price, cost) == approx(entry["inputs"]["markup_pct"] / 100)
    assert kept_per_piece(price, cost) == approx(entry["published"]["markup"])


@CASES.of("P08", MARGIN, "the rule of thumb shown beside (cost times two), its margin and markup", from_memory=True)
def keystone(entry: Entry) -> None:
    cost, published = entry["inputs"]["cost"], entry["published"]
    priced = replace(book([made("P", take("packaging", "K"))], [item("K", cost)]), channels={"Shop": channel()})
    [[tier], findings] = tiers(priced, worked(priced))
    assert not findings
    doubled = tier.compare
    assert doubled is not None and doubled == money(published["keystone_price"])
    assert margin_fraction(float(doubled), cost) == approx(published["margin_pct"] / 100)
    assert markup_fraction(float(doubled), cost) == approx(published["markup_pct"] / 100)


# ------------------------------------------------------------------ discounts


def chain(rates_pct: list[float]) -> tuple[Decimal, ...]:
    return read_discounts("/".join(map(str, rates_pct)))


@CASES.of("P09", DISCOUNTS, "a chain typed as 20/10/5, each off what the one before left", from_memory=True)
def discount_series(entry: Entry) -> None:
    published = entry["published"]
    left = after_discounts(Decimal(1), chain(entry["inputs"]["rates_pct"]))
    assert left == money(published["net_factor"])
    assert after_discounts(Decimal(100), read_discounts(f"{published['single_equivalent_pct']} %")) == left * 100
    assert after_discounts(Decimal(100), read_discounts(f"{published['not']} %")) != left * 100


@CASES.of("P11", DISCOUNTS, "a list price less its chain is the net price, to the cent")
def list_price_of_a_net_price(entry: Entry) -> None:
    published, less = entry["published"], chain(entry["inputs"]["rates_pct"])
    assert rounded(after_discounts(money(published["list_price"]), less)) == entry["inputs"]["net"]
    single = read_discounts(f"{published['single_equivalent_pct']} %")
    assert after_discounts(Decimal(100), less) == after_discounts(Decimal(100), single)


@CASES.of("P30", DISCOUNTS, "a price less one discount")
def price_with_a_discount(entry: Entry) -> None:
    off = read_discounts(f"{entry['inputs']['off_pct']} %")
    assert after_discounts(Decimal(entry["inputs"]["price"]), off) == entry["published"]["pay"]


# ------------------------------------------------------------------ rounding


@CASES.of("P24", ROUNDING, "the one rounding of money, half up; a paper's currency rate of six figures used whole, nothing rounded between")
def rounding_to_the_euro_cent(entry: Entry) -> None:
    assert (rounded(Decimal("0.005")), rounded(Decimal("0.0049")), rounded(Decimal("2.665"))) == (
        Decimal("0.01"), Decimal("0.00"), Decimal("2.67"),
    )  # fmt: skip
    # 1 euro = 1.95583 marks, the fixed rate of Council Regulation (EC) No 2866/98: from memory.
    line = bought_line("goods", 33.33, material="M", packs=Decimal(1), pack=pieces(1), currency="EUR", currency_rate=Decimal("1.95583"))
    [landed], findings = landed_lines(book([], [item("M")], bought=[line], settings=Settings(book_date=ON, currency="DEM")))
    assert not findings and landed.goods == Decimal("65.1878139")  # 33.33 x 1.95583, by hand


@CASES.of("P26", ROUNDING, "the one rounding of money at three decimals: half up, not half even")
def half_up_not_half_even(entry: Entry) -> None:
    values, places = entry["inputs"]["values"], entry["inputs"]["places"]
    found = [str(rounded(Decimal(value), places)) for value in values]
    assert found == entry["published"]["half_up"] != entry["published"]["half_even"]


@CASES.of("P28", ROUNDING, "the one rounding of money takes a tie away from zero (rule B), not to the even multiple (rule A)", from_memory=True)
def ties_away_from_zero(entry: Entry) -> None:
    assert [rounded(Decimal(value), 0) for value in ("0.5", "1.5", "2.5", "-0.5", "-2.5")] == [1, 2, 3, -1, -3]
    assert [rounded(Decimal(value), 1) for value in ("12.25", "12.35", "-12.25")] == [money(x) for x in (12.3, 12.4, -12.3)]


@CASES.of("P29", ROUNDING, "the one rounding of money takes a float as the decimal it prints as", from_memory=True)
def a_float_as_it_prints(entry: Entry) -> None:
    published, found = entry["published"], rounded(entry["inputs"]["value"], entry["inputs"]["places"])
    assert str(found) == published["decimal_half_up"] == published["decimal_half_even"]
    assert float(found) != published["binary_float_round"]
