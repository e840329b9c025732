"""What announced prices do to the demo, by the oracle's tables; wrong input; states, levers and hidden rises by hand."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from property.strategies import paper_line
from records import replace
from shared_files import rows

from costbook import commands
from costbook.amounts.money import Ending
from costbook.amounts.quantity import read_amount, unit
from costbook.book.model import Book
from costbook.book.tool_tabs import LEVERS
from costbook.costing.announced import Announced, NewRate, new_rates, rates_after
from costbook.costing.checks import Priced
from costbook.costing.hidden_rises import HiddenRise, hidden_rises
from costbook.costing.impact import Impact, ProductChange, TierChange, impact, sensitivities
from costbook.costing.levers import Lever, Standing, break_even_sales_change, levers, price_move, under_floor
from costbook.costing.matrix import Matrix
from costbook.costing.rates import rates
from costbook.costing.tiers import pricers, tiers
from costbook.costing.usage import Usage, costs
from costbook.costing.variance import HEADINGS, State, state_from_rows, state_rows, variances
from costbook.errors import Finding, InputError, Where
from costbook.hosts.file import WorkbookFile
from costbook.printouts.change_tabs import levers_tab
from tests.benchmarks.impact_measures import impact_measures

DAY = date(2026, 10, 26)
NEWS, EFFECT = "demo/tables/price_news.csv", "demo/tables/price_news_effect_expected.csv"
PER_OZ = float(unit("oz").factor)
FIVE_CENTS = Ending("step", Decimal("0.05"))
HERE = Where("What if", "B7")


@pytest.fixture(scope="module")
def demo() -> Priced:
    """The demo workbook as it stands in the repository, priced on its day."""
    host = WorkbookFile(Path(__file__).parents[2] / "workbooks" / "demo.xlsx")
    try:
        return commands.worked_out(host.snapshot(), DAY)[0]
    finally:
        host.close()


def again(book: Book) -> Priced:
    """A changed book priced on the demo's day."""
    usage, rated = Usage(book), rates(book, DAY)
    costed = costs(usage, rated)[0]
    return Priced(book, DAY, rated, usage, costed, tiers(book, costed)[0])


def announced(demo: Priced, *said: Announced) -> tuple[dict[str, NewRate], list[Finding]]:
    return new_rates(demo.book, demo.on, demo.rates, said)


def effect_of(demo: Priced, news: Mapping[str, NewRate]) -> Impact:
    return impact(demo.usage, demo.rates, demo.costs, demo.tiers, news)


def letter() -> list[Announced]:
    """The price news as the demo's table has them."""
    return [
        Announced(row["Code"], Decimal(row["Pack price from 1 Nov"]), read_amount(row["Pack from 1 Nov"]),
                  starts=date(2026, 11, 1), supplier=row["Supplier"])
        for row in rows(NEWS)
    ]  # fmt: skip


@pytest.fixture(scope="module")
def told(demo: Priced) -> Impact:
    """What the whole letter does."""
    news, findings = announced(demo, *letter())
    assert findings == []
    return effect_of(demo, news)


def printed(value: float | Decimal, like: str) -> str:
    """A value rounded half up to as many decimals as the table's text has."""
    number = Decimal(repr(value)) if isinstance(value, float) else Decimal(value)
    return str(number.quantize(Decimal(1).scaleb(-len(like.partition(".")[2])), ROUND_HALF_UP))


def wholesale(change: ProductChange) -> TierChange:
    [tier] = [t for t in change.tiers if t.channel == "Wholesale"]
    return tier


# ------------------------------------------------------------ the demo's tables


def test_new_rates_are_the_table_s(demo: Priced, told: Impact) -> None:
    """price_news.csv: packs and prices now and after, the rise of the goods price, landed rates now and after."""
    assert list(told.news) == [row["Code"] for row in rows(NEWS)]
    for row in rows(NEWS):
        new = told.news[row["Code"]]
        assert new.pack_before is not None and new.pack_after is not None
        found: dict[str, Any] = {
            "Pack price now": new.price_before, "Pack price from 1 Nov": new.price_after,
            "Rise per unit % (goods)": new.goods_rise * 100, "Landed per oz now": new.before * PER_OZ, "Landed per oz after": new.after * PER_OZ,
        }  # fmt: skip
        assert {k: printed(v, row[k]) for k, v in found.items()} == {k: row[k] for k in found}
        assert (new.pack_before.text, new.pack_after.text) == (row["Pack now"], row["Pack from 1 Nov"])


def test_effects_are_the_table_s_to_the_printed_digit(demo: Priced, told: Impact) -> None:
    """price_news_effect_expected.csv, every column of every product."""
    table = rows(EFFECT)
    assert [row["Code"] for row in table] == list(told.products) == list(demo.costs)
    names = {f"from {demo.book.materials[code].name}": code for code in told.news}
    for row in table:
        change = told.products[row["Code"]]
        tier = wholesale(change)
        assert tier.margin is not None and tier.margin_after is not None and change.a_year is not None
        found: dict[str, Any] = {
            "Cost now": change.before, **{heading: change.effects.get(code, 0.0) for heading, code in names.items()},
            "Rise": change.rise, "Cost after": change.after, "Wholesale margin % now": tier.margin * 100,
            "Wholesale margin % after": tier.margin_after * 100, "A year at present sales": change.a_year,
            "Wholesale price that keeps the margin (up to 0.05)": tier.price_keeping_margin(FIVE_CENTS),
        }  # fmt: skip
        shown = {k: printed(v, row[k]) for k, v in found.items()}
        shown |= {"Code": change.product, "Against the 30 % floor": "UNDER" if tier.under_floor_after else "above"}
        assert shown == row


def test_the_edge_pair_is_told_by_the_unrounded_margin(told: Impact) -> None:
    """P03 lands at 30.0023 %, over the floor; P07 at 29.9569 %, under it. Both show as 30.0 %."""
    over, under = wholesale(told.products["P03"]), wholesale(told.products["P07"])
    assert over.margin_after is not None and under.margin_after is not None
    assert f"{over.margin_after:.1%}" == f"{under.margin_after:.1%}" == "30.0%"
    assert (over.under_floor_after, under.under_floor_after) == (False, True)
    assert (over.flags[1], under.flags[1]) == ("under target", "under floor")
    assert [(t.product, t.channel) for t in told.crossed] == [("P06", "Wholesale"), ("P07", "Wholesale")]


def test_a_year_and_the_split_have_nothing_left_over(demo: Priced, told: Impact) -> None:
    """About 935 a year (scenario, section 10); the effects of every product are its rise to the last bit."""
    assert round(told.a_year) == 935
    assert told.a_year == pytest.approx(sum(Fraction(r["A year at present sales"]) for r in rows(EFFECT)), abs=0.1)
    for change in told.products.values():
        whole = sum(map(Fraction, change.effects.values()), Fraction(0))
        assert change.rise - float(whole) == 0 and change.after == float(Fraction(change.before) + whole)
    matrix = Matrix.of(demo.usage)
    again_ = matrix.unit_costs(matrix.rates_vector(told.rates))
    assert list(again_) == pytest.approx([c.after for c in told.products.values()], rel=1e-13)


def after_news(table: str) -> list[dict[str, str]]:
    found = [row for row in rows(f"demo/tables/{table}") if row["Prices"] == "after news"]
    assert len(found) == 14
    return found


def differences(row: Mapping[str, str], found: Mapping[str, Any]) -> list[str]:
    """What of a table's row is found otherwise."""
    told = {k: v if isinstance(v, str) else printed(v, row[k]) for k, v in found.items()}
    return [f"{k}: table {row[k]}, found {text}" for k, text in told.items() if text != row[k]]


def test_prices_at_target_after_the_letter_are_the_table_s(told: Impact) -> None:
    """tier_summary_expected.csv after the news: floors, targets and proposals up to the channels' own endings."""
    for row in after_news("tier_summary_expected.csv"):
        tier = {t.channel: t for t in told.tiers_after(row["Code"])}
        web, whole, taxed = tier["Web"], tier["Wholesale"], tier["Web, tax in price"]
        assert whole.target_price is not None and web.kept_fraction is not None
        assert differences(row, {
            "Full cost": web.unit_cost, "Wholesale floor (up to 0.25)": whole.floor_price, "Wholesale target (up to 0.25)": whole.target_price,
            "Web retail target (up to 0.50)": web.target_price, "2 x wholesale target": whole.target_price * 2,
            "Retail to use (higher of the two)": web.proposal, "Web retail with VAT (up to .95)": taxed.target_price,
            "Wholesale now": whole.her_price, "Retail now": web.her_price, "Wholesale now is": whole.flag,
            "Web margin % after fees at retail now": web.kept_fraction * 100,
        }) == []  # fmt: skip


def test_what_is_kept_in_every_channel_is_the_tables_before_and_after(told: Impact) -> None:
    """channels_expected.csv: what a piece keeps in each channel, today and after the news; cost_expected.csv: retail margin."""
    today = {r["Code"]: r for r in rows("demo/tables/channels_expected.csv") if r["Prices"] == "today"}
    for row in after_news("channels_expected.csv"):
        change = told.products[row["Code"]]
        named = [t for t in change.tiers if t.channel in row]
        assert len(named) == 5
        assert differences(row, {t.channel: t.kept_after for t in named}) == []
        assert differences(today[row["Code"]], {t.channel: t.kept for t in named}) == []
    for row in rows("demo/tables/cost_expected.csv"):
        change = told.products[row["Code"]]
        [web] = [t for t in change.tiers if t.channel == "Web"]
        assert web.margin is not None and web.margin_after is not None
        assert differences(row, {
            "Full cost after news": change.after, "Rise": change.rise, "Retail margin %": web.margin * 100,
            "Retail margin % after": web.margin_after * 100,
        }) == []  # fmt: skip
        assert web.kept_fraction is not None


def test_a_rise_as_a_fraction_is_the_new_price_in_percent(demo: Priced) -> None:
    by_rise, _ = announced(demo, Announced("cocoa butter", rise=Decimal("0.25")))
    by_price, _ = announced(demo, Announced("M14", Decimal("29.50")))
    assert by_rise["M14"].price_after == Decimal("29.50")  # 23.60 and a quarter
    assert by_rise["M14"].after == by_price["M14"].after
    assert by_rise["M14"].goods_rise == pytest.approx(0.25)


def test_a_change_is_measured_from_the_rate_the_book_uses(demo: Priced) -> None:
    """The average rule gives foaming powder 0.6230 an ounce, the last paper 0.6333: the same price announced is a rise."""
    averaged = again(replace(demo.book, materials={
        **demo.book.materials, "M08": replace(demo.book.materials["M08"], rate_rule="average"),
    }))  # fmt: skip
    news, findings = announced(averaged, Announced("M08", Decimal("52.00")))
    assert findings == [] and news["M08"].goods_rise == 0
    assert f"{news['M08'].before * PER_OZ:.4f} {news['M08'].after * PER_OZ:.4f}" == "0.6230 0.6333"


def test_the_terms_are_those_of_the_supplier_who_announces(demo: Priced) -> None:
    """Cocoa butter last from Sallowby at 25.00 with 5.00 of freight; Brackwell's 30.90 still comes with its own 5 % and freight."""
    head = {"supplier": "Sallowby Scents", "date": date(2026, 10, 1)}
    goods = paper_line("S-9", "goods", Decimal(25), 0, material="M14", packs=Decimal(1), pack=read_amount("2 lb"), pack_price=Decimal(25))
    lines = [replace(x, **head) for x in (goods, paper_line("S-9", "charge", Decimal(5), 1))]
    priced = again(replace(demo.book, purchases=(*demo.book.purchases, *lines)))
    table = next(r for r in rows(NEWS) if r["Code"] == "M14")
    hers, _ = announced(priced, Announced("M14", Decimal("30.90"), supplier="brackwell dry goods"))
    assert printed(hers["M14"].after * PER_OZ, "0.000000") == table["Landed per oz after"]
    assert hers["M14"].before == pytest.approx(30 / 32 / PER_OZ), "measured from the rate in use, Sallowby's"
    theirs, _ = announced(priced, Announced("M14", Decimal("30.90")))
    assert theirs["M14"].after == pytest.approx((30.90 + 5) / 32 / PER_OZ)


def test_a_discount_on_the_line_itself_goes_on(demo: Priced) -> None:
    """Cocoa butter at 25.00 for 2 lb, 22.50 paid; at 30.00 announced, the same tenth off is 27.00."""
    line = paper_line("D-1", "goods", Decimal("22.50"), 0, material="M14", packs=Decimal(1), pack=read_amount("2 lb"), pack_price=Decimal(25))
    line = replace(line, supplier="Sallowby Scents", date=date(2026, 10, 1))
    priced = again(replace(demo.book, purchases=(*demo.book.purchases, line)))
    news, _ = announced(priced, Announced("M14", Decimal(30), supplier="Sallowby Scents"))
    assert (news["M14"].price_before, news["M14"].goods_rise) == (25, pytest.approx(0.2))
    assert (news["M14"].before * 32 * PER_OZ, news["M14"].after * 32 * PER_OZ) == pytest.approx((22.5, 27))


def test_a_quoted_material_is_quoted_anew_with_its_discounts(demo: Priced) -> None:
    """20.00 less 20 and 10 % for 1 lb is 14.40, delivered; 30.00 on the same terms 21.60."""
    quote = {"rate_rule": "quoted", "quoted_price": Decimal(20), "quoted_pack": read_amount("1 lb"), "quoted_less": (Decimal("0.2"), Decimal("0.1"))}
    quoted = again(replace(demo.book, materials={**demo.book.materials, "M04": replace(demo.book.materials["M04"], **quoted_terms(quote))}))
    news, findings = announced(quoted, Announced("M04", Decimal(30)))
    assert findings == [] and news["M04"].line is None
    assert (news["M04"].before * 16 * PER_OZ, news["M04"].after * 16 * PER_OZ) == pytest.approx((14.40, 21.60))


def quoted_terms(quote: dict[str, Any]) -> dict[str, Any]:
    return {**quote, "quoted_from": None}


def test_a_floor_of_what_is_kept_is_tested_on_what_is_kept(demo: Priced) -> None:
    """P11 wholesale at 8.00: 35.2 % margin, 34.8 % after; it keeps 31.9 and 31.5 %. A floor of 31.7 % kept is crossed, of 33 % was not met."""
    kept = [float(r["Wholesale"]) / 8 for r in rows("demo/tables/channels_expected.csv") if r["Code"] == "P11"]
    assert f"{kept[0]:.3f} {kept[1]:.3f}" == "0.319 0.315"
    for floor, stands in (("0.317", (False, True)), ("0.33", (True, True)), ("0.31", (False, False))):
        shop = replace(demo.book.channels["Wholesale"], floor_counts="kept", floor_fraction=Decimal(floor))
        priced = again(replace(demo.book, channels={**demo.book.channels, "Wholesale": shop}))
        tier = wholesale(effect_of(priced, announced(priced, *letter())[0]).products["P11"])
        assert (tier.under_floor, tier.under_floor_after) == stands and tier.crosses_floor is (stands == (False, True))


def test_a_floor_of_margin_is_tested_before_and_after(demo: Priced) -> None:
    """P11 wholesale: 35.2 % today, 34.8 % after. A floor of 35 % is crossed, of 36 % was not met, of 34 % stays met."""
    [row] = [r for r in rows(EFFECT) if r["Code"] == "P11"]
    assert 0.35 < float(row["Wholesale margin % now"]) / 100 < 0.36 and 0.34 < float(row["Wholesale margin % after"]) / 100 < 0.35
    for floor, stands in (("0.35", (False, True)), ("0.36", (True, True)), ("0.34", (False, False))):
        shop = replace(demo.book.channels["Wholesale"], floor_fraction=Decimal(floor))
        priced = again(replace(demo.book, channels={**demo.book.channels, "Wholesale": shop}))
        tier = wholesale(effect_of(priced, announced(priced, *letter())[0]).products["P11"])
        assert (tier.under_floor, tier.under_floor_after) == stands


def test_a_role_that_bears_a_material_s_code_is_no_material(demo: Priced, told: Impact) -> None:
    roles = {("M14" if n == "owner" else n): replace(r, name="M14") if n == "owner" else r for n, r in demo.book.roles.items()}
    steps = tuple(replace(s, role="M14") if s.role == "owner" else s for s in demo.book.steps)
    priced = again(replace(demo.book, roles=roles, steps=steps))
    found = effect_of(priced, announced(priced, *letter())[0])
    assert {c: x.effects for c, x in found.products.items()} == {c: x.effects for c, x in told.products.items()}
    plain = offers(demo)
    both = (plain, again(replace(plain.book, roles=roles, steps=steps)))
    ways, same = ([(x.words, x.effect) for x in levers(p.usage, p.rates, p.costs, "P04", DAY) if x.words.startswith("Cocoa")] for p in both)
    assert len(ways) == 3 and same == [(words, pytest.approx(effect)) for words, effect in ways]


# ------------------------------------------------------------ wrong input

WRONG = {
    "unknown": (Announced("Coca butter", Decimal(30)), 'an announced price for "Coca butter": no such material; nearest: Cocoa butter'),
    "unlike anything": (Announced("qqqq", Decimal(30)), 'an announced price for "qqqq": no such material'),
    "percent": (Announced("M14", rise=Decimal("20.0")), "Cocoa butter: a rise of 20 would be 2000 %. Write 20 % or 0.2"),
    "one": (Announced("M14", rise=Decimal(1)), "Cocoa butter: a rise of 1 would be 100 %. Write 1 % or 0.01"),
    "fall": (Announced("M14", rise=Decimal(-20)), "Cocoa butter: a rise of -20 leaves no price"),
    "zero": (Announced("M14", Decimal(0)), "Cocoa butter: an announced price of 0.00 is no price"),
    "negative": (Announced("M14", Decimal("-3.50")), "Cocoa butter: an announced price of -3.50 is no price"),
    "not a number": (Announced("M14", Decimal("NaN")), "Cocoa butter: an announced price of NaN is no price"),
    "no rise": (Announced("M14", rise=Decimal("NaN")), "Cocoa butter: a rise of NaN is no rise"),
    "empty": (Announced("M14"), "Cocoa butter: nothing is announced for it"),
    "both": (Announced("M14", Decimal(30), rise=Decimal("0.2")), "Cocoa butter: 30.00 and a rise of 0.2: which of the two?"),
    "counted": (Announced("M14", Decimal(30), read_amount("12 each")), "Cocoa butter: an announced pack of 12 each: "),
    "volume": (Announced("M05", Decimal(30), read_amount("2 cups")), "no weight per volume is known to make it a mass"),
    "weight of tins": (Announced("K01", Decimal(30), read_amount("5 lb")), "Round tin 4 oz with lid: an announced pack of 5 lb: "),
    "nothing in it": (Announced("M14", Decimal(30), read_amount("0 lb")), "Cocoa butter: an announced pack of 0 lb holds nothing"),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_cannot_be_used_is_said_and_left_out(case: str, demo: Priced) -> None:
    said, sentence = WRONG[case]
    news, [finding] = announced(demo, replace(said, where=HERE), Announced("M04", Decimal("13.90")))
    assert list(news) == ["M04"], "the others are still worked out"
    assert finding.level == "stop" and finding.where == HERE
    assert sentence in f"{finding.sentence}. {finding.do}" and finding.do and "\n" not in finding.sentence


def test_several_prices_of_one_material_are_all_named_and_left_out(demo: Priced) -> None:
    rises = [
        Announced("M14", Decimal("30.90"), starts=date(2026, 11, 1), where=HERE), Announced("cocoa butter", rise=Decimal("0.3")),
        Announced("M14", pack=read_amount("28 oz"), starts=date(2027, 2, 1)),
    ]  # fmt: skip
    news, [finding] = announced(demo, *rises[:2])
    assert news == {} and finding.level == "stop"
    assert finding.sentence == "Cocoa butter: 2 announced prices, 30.90 from 2026-11-01 (What if!B7) and +30.0%; none of them is used"
    news, [finding] = announced(demo, *rises)
    assert news == {} and finding.sentence == (
        "Cocoa butter: 3 announced prices, 30.90 from 2026-11-01 (What if!B7), +30.0% and the same price for 28 oz from 2027-02-01; none of them is used"
    )


def test_a_material_without_a_price_has_no_rise(demo: Priced) -> None:
    bare = again(replace(demo.book, purchases=tuple(x for x in demo.book.purchases if x.material != "M14")))
    news, [finding] = announced(bare, Announced("M14", Decimal(30)))
    assert news == {} and finding.sentence == "Cocoa butter: a rise cannot be measured: no price for Cocoa butter: no purchase of it"


ASKED = {
    "gone by": (Announced("M14", Decimal("30.90"), starts=date(2025, 11, 1)), "in force already on the book's day, 2026-10-26"),
    "twice as dear": (Announced("M14", Decimal("309.00")), "309.00 for 2 lb is 13 times what a unit costs now"),
    "other pack": (Announced("M08", Decimal("240.00"), read_amount("25 lb")), "freight and fees are left at "),
    "half a pack": (Announced("M06", Decimal("15.00")), "15.00 is taken as the price of 5 lb, as bought last; its usual pack is 10 lb"),
    "other supplier": (Announced("M14", Decimal("30.90"), supplier="Sallowby Scents"), "nothing bought from Sallowby Scents yet"),
}


@pytest.mark.parametrize("case", ASKED)
def test_what_is_used_on_a_reading_is_asked(case: str, demo: Priced) -> None:
    said, sentence = ASKED[case]
    news, findings = announced(demo, said)
    assert len(news) == 1 and {f.level for f in findings} == {"ask"}
    assert any(sentence in f.sentence and f.do for f in findings)


def test_what_is_plainly_said_is_not_asked(demo: Priced) -> None:
    """A price from the very day of the book; a fall of 60 % typed as a share, which is no other pack."""
    for said in (Announced("M14", Decimal("30.90"), starts=DAY), Announced("M14", rise=Decimal("-0.6"))):
        news, findings = announced(demo, said)
        assert list(news) == ["M14"] and findings == []


def test_what_no_product_takes_and_what_nobody_counted_is_noted(demo: Priced) -> None:
    products = {c: replace(p, sold_per_week=None if c == "P01" else p.sold_per_week) for c, p in demo.book.products.items()}
    spare = replace(demo.book.materials["M14"], code="M99", name="Spare butter", aliases=())
    bought = [x for x in demo.book.purchases if x.material == "M14"]
    more = tuple(replace(x, material="M99", paper="X-1") for x in bought)
    book = replace(demo.book, products=products, materials={**demo.book.materials, "M99": spare}, purchases=(*demo.book.purchases, *more))
    priced = again(book)
    news, _ = announced(priced, Announced("M99", Decimal(30)), Announced("M14", Decimal("30.90")))
    found = effect_of(priced, news)
    assert [(f.level, f.check, f.about) for f in found.findings] == [("note", "announced-unused", ()), ("ask", "no-sales", ("P01",))]
    assert found.products["P01"].a_year is None and found.products["P01"].rise > 0
    tried = again(replace(book, products={**products, "P01": replace(products["P01"], trying=True)}))
    news, _ = announced(tried, Announced("M14", Decimal("30.90")))
    assert effect_of(tried, news).findings == (), "nobody sells yet what is only tried out"


# ------------------------------------------------------------ states


def test_the_letter_come_true_is_a_change_of_rates_alone(demo: Priced, told: Impact) -> None:
    old = State.of(demo.usage, demo.rates, demo.costs, demo.on)
    new = State.of(demo.usage, told.rates, costs(demo.usage, told.rates)[0], demo.on)
    for code, split in variances(old, new).items():
        assert split.rates == pytest.approx(told.products[code].rise, abs=1e-12) and split.change == math.fsum(split.effects)
        assert split.effects == (0, 0, 0, 0, 0, split.rates, 0, 0)


def test_fewer_good_pieces_and_a_dearer_tin_by_hand(demo: Priced) -> None:
    """P01: 30 good of 32, then 24 of 32: a quarter more for everything, as P14, which holds one of it, sees too."""
    one = demo.book.products["P01"]
    assert (one.planned, one.good) == (32, 30)
    fewer = again(replace(demo.book, products={**demo.book.products, "P01": replace(one, good=24)}))
    old = State.of(demo.usage, demo.rates, demo.costs, demo.on)
    found = variances(old, State.of(fewer.usage, fewer.rates, fewer.costs, fewer.on))
    assert found["P01"].good_pieces == pytest.approx(demo.costs["P01"].unit_cost / 4)
    assert found["P14"].good_pieces == pytest.approx(demo.costs["P01"].unit_cost / 4)
    assert all(split.effects[1:] == (0,) * 7 for split in found.values())


def test_a_batch_twice_as_large_is_no_change_of_good_pieces(demo: Priced) -> None:
    """P01: 60 good of 64 is the share of 30 of 32. Work and consumables once a batch are spread further, nothing else moves."""
    one = demo.book.products["P01"]
    twice = again(replace(demo.book, products={**demo.book.products, "P01": replace(one, planned=64, good=60)}))
    states = [State.of(p.usage, p.rates, p.costs, DAY) for p in (demo, twice)]
    split = variances(*states)["P01"]
    assert (split.good_pieces, split.packaging, split.rates, split.pay, split.overhead_rate) == (0, 0, 0, 0, 0)
    assert split.recipe == pytest.approx(-demo.costs["P01"].parts["consumables"] / 2) and split.labour < 0 and split.overhead < 0
    assert split.change == math.fsum(split.effects)


def test_the_state_of_a_set_of_pieces_alone_by_hand(demo: Priced) -> None:
    """P14 without its box, one P01 for all ten, packed by helper and owner: 5 minutes a batch of ten and 4 a piece, 4.5 each of both."""
    parts = tuple(replace(x, per_batch=x.item == "P01") for x in demo.book.products["P14"].parts if x.kind == "product")
    [step] = [s for s in demo.book.steps if s.family == "gift"]
    assert (step.role, step.batch_minutes, step.piece_minutes, demo.book.products["P14"].good) == ("helper", 5, 4, 10)
    set_ = replace(demo.book.products["P14"], parts=parts)
    priced = again(replace(demo.book, steps=(*demo.book.steps, replace(step, role="owner")), products={**demo.book.products, "P14": set_}))
    work = 4.5 * (demo.rates.labour["helper"] + demo.rates.labour["owner"]) + 9 * priced.rates.overhead
    pieces = [(priced.costs[code].unit_cost, times) for code, times in (("P01", 0.1), ("P07", 1), ("P08", 1))]
    wanted = sum(cost * times for cost, times in pieces) + work
    assert State.of(priced.usage, priced.rates, priced.costs, DAY).unit_cost("P14") == pytest.approx(wanted)


ROWS = [("date", "", "", "", "2026-10-26"), ("rate", "", "packaging", "K1", 2.0), ("planned", "P", None, None, 4.0), ("good", "P", "", "", 2.0),
        ("usage", "P", "packaging", "K1", 2.0)]  # fmt: skip


def test_a_state_is_read_from_cells() -> None:
    state = state_from_rows([*ROWS, (None, None, None, None, None), ()])
    assert state.unit_cost("P") == 4 and state.on == DAY and len(HEADINGS) == 5
    numbered = [tuple(7.0 if cell == "K1" else cell for cell in row) for row in ROWS]
    assert state_from_rows(numbered).rates == {("packaging", "7"): 2.0}


BAD_ROWS = {
    "no number": (1, ("rate", "", "packaging", "K1", "two"), 'row 2 of the kept state cannot be read: "two" is no number'),
    "no pieces": (3, ("good", "P", "", "", 0.0), "row 4 of the kept state cannot be read"),
    "other words": (4, ("usage", "P", "glitter", "K1", 2.0), 'row 5 of the kept state cannot be read: "usage glitter"'),
    "no date": (0, ("date", "", "", "", "yesterday"), 'row 1 of the kept state cannot be read: "yesterday" is no date'),
    "date gone": (0, (), "the kept state has no date"),
    "rate gone": (1, (), "the kept state of P lacks the rate of K1"),
    "good gone": (3, (), "the kept state of P lacks good"),
}


@pytest.mark.parametrize("case", BAD_ROWS)
def test_a_state_that_cannot_be_read_is_one_sentence(case: str) -> None:
    at, row, sentence = BAD_ROWS[case]
    spoilt: list[Any] = [*ROWS]
    spoilt[at] = row
    with pytest.raises(InputError) as told:
        state_from_rows(spoilt)
    assert told.value.sentence.startswith(sentence) and told.value.do


def test_the_rows_of_the_demo_come_back(demo: Priced) -> None:
    state = State.of(demo.usage, demo.rates, demo.costs, demo.on)
    assert state_from_rows(state_rows(state)) == state


# ------------------------------------------------------------ levers


def test_levers_of_the_products_the_letter_takes_under_the_floor(demo: Priced, told: Impact) -> None:
    """P06 at 4.50: 23 good pieces cost 3.158006 each; the same batch over 24 is 3.026423, 32.7 % of the price is margin."""
    costed = costs(demo.usage, told.rates)[0]
    assert under_floor(demo.usage, costed) == [r["Code"] for r in rows(EFFECT) if r["Against the 30 % floor"] == "UNDER"]
    found = {lever.kind: lever for lever in levers(demo.usage, told.rates, costed, "P06", demo.on)}
    good = found["good pieces"]
    assert good.words == "24 good pieces of 24 planned in place of 23"
    assert good.unit_cost == pytest.approx(3.158006 * 23 / 24, abs=1e-6)
    [standing] = good.standings
    assert standing.margin == pytest.approx(1 - 3.158006 * 23 / 24 / 4.5, abs=1e-6) and standing.over_floor
    assert all(s.over_floor for s in found["batch"].standings) and "pack" not in found, "the older price of the same pack is no other offer"


def test_a_substitute_named_in_the_recipe(demo: Priced) -> None:
    """P08's salt soak names fractionated coconut oil first, then sunflower oil: the second oil of ranges_expected.csv."""
    [lever] = [x for x in levers(demo.usage, demo.rates, demo.costs, "P08", demo.on) if x.kind == "substitute"]
    assert lever.words == "Sunflower oil in place of Fractionated coconut oil in Salt soak"
    [second] = [r["Second oil"] for r in rows("demo/tables/ranges_expected.csv") if r["Code"] == "P08"]
    assert printed(lever.unit_cost, second) == second


def test_a_saving_of_less_than_a_thousandth_is_not_told(demo: Priced, told: Impact) -> None:
    """P14 holds one P08: 3.306875, with the second oil 3.279816, with the third 3.310926; the first oil rises by what the letter
    adds to P08. So the second saves 0.0332 of P14's 15.43 and the third 0.0021, which is 0.14 in a thousand."""
    costed = costs(demo.usage, told.rates)[0]
    [rise] = [float(r["from Fractionated coconut oil"]) for r in rows(EFFECT) if r["Code"] == "P08"]
    [oils] = [r for r in rows("demo/tables/ranges_expected.csv") if r["Code"] == "P08"]
    second, third = (float(oils[name]) - float(oils["First oil"]) - rise for name in ("Second oil", "Third oil"))
    assert -0.001 * 15.43 < third < 0
    found = [x for x in levers(demo.usage, told.rates, costed, "P14", demo.on) if x.kind == "substitute"]
    assert [x.words for x in found] == ["Sunflower oil in place of Fractionated coconut oil in Salt soak"]
    assert found[0].effect == pytest.approx(second, abs=2e-6)


def test_the_tab_of_levers_says_which_products_nothing_helps_and_when_none_is_under_its_floor(demo: Priced) -> None:
    words, back = LEVERS.place("words"), LEVERS.place("back")
    lever = Lever("batch", "P10", "a larger batch", 4.0, -0.5, (Standing("Wholesale", Decimal(6), 0.33, 1.5, True), Standing("Consigned", Decimal(6), 0.29, 1.2, False)))
    shown = [[c.value for c in row] for row in levers_tab(demo, {"P09": (), "P10": (lever,)}).rows[3:]]
    assert [(row[0], row[words], row[back]) for row in shown] == [
        ("P09", "Nothing the book holds would lower what it costs.", None), ("P10", "a larger batch", "yes"), ("P10", "a larger batch", "no"),
    ]  # fmt: skip
    [only] = levers_tab(demo, {}).rows[3:]
    assert [c.value for c in only][:2] == ["none", "No price is under its floor."]


def offers(demo: Priced) -> Priced:
    """The demo with cocoa butter also bought as 10 lb at 90.00, five packs of 2 lb at 22.00, and elsewhere at 20.00."""
    lines = [
        paper_line("B-1", "goods", Decimal(90), 0, material="M14", packs=Decimal(1), pack=read_amount("10 lb"), pack_price=Decimal(90)),
        paper_line("B-2", "goods", Decimal(176), 0, material="M14", packs=Decimal(8), pack=read_amount("2 lb"), pack_price=Decimal(22)),
        paper_line("B-3", "goods", Decimal(20), 0, material="M14", packs=Decimal(1), pack=read_amount("2 lb"), pack_price=Decimal(20)),
        replace(paper_line("C-1", "goods", Decimal(20), 0, material="M14", packs=Decimal(1), pack=read_amount("2 lb"), pack_price=Decimal(20)),
                supplier="Cobbin Lane Packaging"),
    ]  # fmt: skip
    days = date(2026, 3, 1)
    lines = [replace(x, date=days, supplier=x.supplier if x.paper == "C-1" else "Brackwell Dry Goods") for x in lines]
    return again(replace(demo.book, purchases=(*demo.book.purchases, *lines)))


def test_other_packs_quantities_and_suppliers_in_the_book(demo: Priced) -> None:
    """Cheaper per gram and already bought: 9.00, 11.00 and 10.00 a lb against 11.46 landed. One pack at 20.00 is an old price."""
    priced = offers(demo)
    usage = priced.usage.row("P04").bought["materials", "M14"]
    offered = [x for x in levers(priced.usage, priced.rates, priced.costs, "P04", DAY) if x.kind in ("pack", "quantity", "supplier")]
    found = {x.kind: x for x in offered}
    assert [x.kind for x in offered] == ["pack", "supplier", "quantity"], "the one that saves most first"
    for kind, a_pound, paper in (("pack", 9, "B-1"), ("quantity", 11, "B-2"), ("supplier", 10, "C-1")):
        rate = a_pound / (16 * PER_OZ)
        assert found[kind].effect == pytest.approx(usage * (rate - priced.rates.materials["M14"].per_base))
        assert f"paper {paper} of 2026-03-01" in found[kind].words
    news, _ = announced(priced, Announced("M14", Decimal("30.90"), supplier="Brackwell Dry Goods"))
    after = rates_after(priced.rates, news)
    left = [x.kind for x in levers(priced.usage, after, costs(priced.usage, after)[0], "P04", DAY) if x.words.startswith("Cocoa")]
    assert left == ["supplier"], "what Brackwell charged before it announced a new price is gone"


def test_an_offer_of_a_later_day_is_left_for_later(demo: Priced) -> None:
    """Cocoa butter half as dear from elsewhere, on the book's day and on the day after; its own price is quoted, so neither moves it."""
    quoted = {"rate_rule": "quoted", "quoted_price": Decimal(23), "quoted_pack": read_amount("2 lb")}
    materials = {**demo.book.materials, "M14": replace(demo.book.materials["M14"], **quoted_terms(quoted))}
    line = paper_line("C-2", "goods", Decimal(10), 0, material="M14", packs=Decimal(1), pack=read_amount("2 lb"), pack_price=Decimal(10))
    for day, offered in ((date(2026, 10, 26), True), (date(2026, 10, 27), False)):
        bought = replace(line, supplier="Cobbin Lane Packaging", date=day)
        priced = again(replace(demo.book, materials=materials, purchases=(*demo.book.purchases, bought)))
        words = [x.words for x in levers(priced.usage, priced.rates, priced.costs, "P04", DAY)]
        assert any("from Cobbin Lane Packaging, as on paper C-2" in x for x in words) is offered


def test_an_offer_is_the_last_one_of_its_kind_with_the_waste_in_it(demo: Priced) -> None:
    """Two packs of 2 lb from elsewhere, 10.00 in March and 15.00 in October: 15.00 counts, and of 2 lb nine tenths are left in hand."""
    materials = {**demo.book.materials, "M14": replace(demo.book.materials["M14"], waste_fraction=0.1)}
    line = paper_line("", "goods", Decimal(10), 0, material="M14", packs=Decimal(1), pack=read_amount("2 lb"), pack_price=Decimal(10))
    lines = [
        replace(line, supplier="Cobbin Lane Packaging", paper=paper, date=date(2026, month, 1), amount=Decimal(price), pack_price=Decimal(price))
        for paper, month, price in (("C-2", 3, 10), ("C-3", 8, 15))
    ]  # fmt: skip
    priced = again(replace(demo.book, materials=materials, purchases=(*demo.book.purchases, *lines)))
    [lever] = [x for x in levers(priced.usage, priced.rates, priced.costs, "P04", DAY) if "Cobbin Lane" in x.words]
    assert "paper C-3 of 2026-08-01" in lever.words and f"{15 / (32 * PER_OZ * 0.9):.5f} a g landed" in lever.words


def test_a_price_over_the_floor_and_the_sales_it_may_cost(demo: Priced, told: Impact) -> None:
    """P06: 4.75 meets 30 %. A piece contributes what it keeps and its overhead; 0.25 more may cost 0.25 / (that + 0.25)."""
    costed = costs(demo.usage, told.rates)[0]
    [pricer] = [p for p in pricers(demo.book) if p.channel.name == "Wholesale"]
    assert pricer.shown(pricer.for_share(costed["P06"].unit_cost, 0.30, "margin")) == Decimal("4.75")
    move = price_move(pricer, costed["P06"], Decimal("4.50"), Decimal("4.75"))
    contributes = 4.5 - 3.158006 - 0.2631 + costed["P06"].parts["overhead"]
    assert move.sales_change == pytest.approx(-0.25 / (contributes + 0.25), abs=1e-4)
    assert price_move(pricer, costed["P06"], Decimal("0.10"), Decimal("4.75")).sales_change is None


def test_no_number_of_pieces_makes_up_for_a_piece_that_contributes_nothing() -> None:
    for margin, change in ((0.2, -0.2), (0.2, -0.5), (0.0, 0.1), (-0.1, 0.3)):
        with pytest.raises(InputError, match="contributes nothing"):
            break_even_sales_change(margin, change)


# ------------------------------------------------------------ sensitivity, hidden rises


def test_what_moves_her_costs_most(demo: Priced) -> None:
    """Cocoa butter is the material that weighs most; its share is its usage over all sales, from the oracle's effect column.

    The letter's 30.9 % on goods adds 0.216718 to 0.716391 an ounce, so the year's effect of cocoa butter over that ratio is
    what cocoa butter costs a year.
    """
    found = sensitivities(demo.usage, demo.rates, demo.costs)
    first = next(s for s in found if s.category == "materials")
    sold = {code: Fraction(str(p.sold_per_week)) * 52 for code, p in demo.book.products.items()}
    effect = sum(Fraction(r["from Cocoa butter"]) * sold[r["Code"]] for r in rows(EFFECT))
    year = sum(Fraction(r["Cost now"]) * sold[r["Code"]] for r in rows(EFFECT))
    butter = effect / (Fraction("0.933109") - Fraction("0.716391")) * Fraction("0.716391")
    assert first.item == "M14" and first.a_year == pytest.approx(float(butter), rel=1e-4)
    assert first.share == pytest.approx(float(butter / year), rel=1e-4) and first.ten_percent == pytest.approx(float(butter) / 10, rel=1e-4)
    assert math.fsum(s.share for s in found) == pytest.approx(1)
    ratio = Fraction("0.716391") / (Fraction("0.933109") - Fraction("0.716391"))
    part, most_in = max((Fraction(r["from Cocoa butter"]) * ratio / Fraction(r["Cost now"]), r["Code"]) for r in rows(EFFECT))
    assert first.most_in == most_in and first.part == pytest.approx(float(part), rel=1e-4)


def test_what_is_bought_for_two_purposes_is_told_once(demo: Priced) -> None:
    """A second tin in each P01, as a consumable: one row for the tin, with what both cost a year."""
    tin = next(part for part in demo.book.products["P01"].parts if part.kind == "packaging")
    one = demo.book.products["P01"]
    more = again(replace(demo.book, products={**demo.book.products, "P01": replace(one, parts=(*one.parts, replace(tin, kind="consumable")))}))
    [before], [after] = ([s for s in sensitivities(p.usage, p.rates, p.costs) if s.item == tin.item] for p in (demo, more))
    a_tin = demo.rates.materials[tin.item].per_base * demo.usage.row("P01").bought["packaging", tin.item]
    sold = float(one.sold_per_week or 0) + float(demo.book.products["P14"].sold_per_week or 0)  # P14 holds one
    assert (after.category, after.a_year - before.a_year) == ("packaging", pytest.approx(a_tin * sold * 52))


def bought(demo: Priced, *papers: Mapping[str, Any]) -> list[HiddenRise]:
    """The hidden rises of a book in which lavender water was bought on these papers and no other."""
    lines = []
    for month, paper in enumerate(papers, 1):
        head = {"date": date(2026, month, 3), "supplier": paper.get("supplier", "Brackwell Dry Goods")}
        price, packs, pack = Decimal(paper.get("price", "8.80")), Decimal(2), read_amount(paper.get("pack", "32 fl oz"))
        goods = paper_line(f"L-{month}", "goods", price * packs, 0, material="M20", packs=packs, pack=pack, pack_price=price)
        extras = [paper_line(f"L-{month}", kind, Decimal(paper[kind]), 1, shared_by="value") for kind in ("charge", "discount") if kind in paper]
        lines += [replace(x, **head) for x in (goods, *extras)]
    book = replace(demo.book, purchases=tuple(lines))
    return hidden_rises(book, DAY, rates(book, DAY))


SAID = {
    "smaller": ([{}, {"pack": "28 fl oz"}], "smaller pack", 0.142857,
                "Lavender water: the same price of 8.80 for a smaller pack: 32 fl oz on paper L-1 of 2026-01-03, 28 fl oz on L-2 of 2026-02-03: 14.3% more a unit"),
    "freight": ([{"charge": "0.88"}, {"charge": "4.40"}], "freight", 0.190476,
                "Lavender water: freight and fees grew: 4.8% of what is paid on paper L-1 of 2026-01-03, 20.0% on L-2 of 2026-02-03: 19.0% on its landed rate"),
    "ended": ([{"discount": "-1.76"}, {}], "discount", 0.111111,
              "Lavender water: a discount ended: 10.0% on paper L-1 of 2026-01-03, none on L-2 of 2026-02-03: 11.1% more a unit"),
    "shrank": ([{"discount": "-1.76"}, {"discount": "-0.88"}], "discount", 0.055556,
               "Lavender water: a discount shrank: 10.0% on paper L-1 of 2026-01-03, 5.0% on L-2 of 2026-02-03: 5.6% more a unit"),
}  # fmt: skip


@pytest.mark.parametrize("case", SAID)
def test_a_hidden_rise_is_said_with_both_papers(case: str, demo: Priced) -> None:
    papers, kind, rise, sentence = SAID[case]
    [found] = bought(demo, *papers)
    assert (found.kind, found.sentence) == (kind, sentence) and found.rise == pytest.approx(rise, abs=1e-6)
    finding = found.finding()
    assert (finding.level, finding.sentence, finding.where) == ("warn", sentence, found.after.line.where) and finding.do


@pytest.mark.parametrize("papers", [
    [{}, {}], [{}, {"price": "9.90", "pack": "36 fl oz"}], [{"pack": "28 fl oz"}, {}], [{"charge": "4.40"}, {"charge": "0.88"}], [{}, {"discount": "-1.76"}],
    [{}, {"pack": "28 fl oz", "supplier": "Sallowby Scents"}], [{"pack": "1 qt"}, {"pack": "32 fl oz"}], [{"price": "9.00"}, {"pack": "28 fl oz"}],
])  # fmt: skip
def test_what_is_no_hidden_rise(papers: list[dict[str, str]], demo: Priced) -> None:
    """An open rise, a larger pack, cheaper freight, a new discount, another supplier's pack, the same pack in other words."""
    assert bought(demo, *papers) == []


def test_a_paper_still_to_come_and_two_packs_of_one_paper_hide_nothing(demo: Priced) -> None:
    """A smaller pack at the same price: after the book's day, as the second line of one paper, in another currency."""
    line = paper_line("L-1", "goods", Decimal("8.80"), 0, material="M20", packs=Decimal(1), pack=read_amount("32 fl oz"), pack_price=Decimal("8.80"))
    line = replace(line, date=date(2026, 9, 1))
    smaller = replace(line, paper="L-2", pack=read_amount("28 fl oz"), date=date(2026, 10, 1))
    for other, count in (
        (smaller, 1), (replace(smaller, date=date(2026, 10, 27)), 0), (replace(smaller, paper="L-1"), 0),
        (replace(smaller, currency="EUR", currency_rate=Decimal("1.1")), 0),
    ):  # fmt: skip
        book = replace(demo.book, purchases=(line, other))
        assert len(hidden_rises(book, DAY, rates(book, DAY))) == count


def test_batches_only_as_large_as_the_rack(demo: Priced) -> None:
    """P01 has 32 planned pieces to rest and the rack 72 places: twice as many fit, three times do not."""
    assert demo.book.settings.rack_places == 72 and demo.book.products["P01"].planned == 32
    found = [x.words for x in levers(demo.usage, demo.rates, demo.costs, "P01", demo.on) if x.kind == "batch"]
    assert found == ["a batch 2 times as large: 60 good pieces, 4.3 weeks of sales"]
    restless = replace(demo.book.products["P01"], rest_hours=0.0)
    priced = again(replace(demo.book, products={**demo.book.products, "P01": restless}))
    found = [x.words for x in levers(priced.usage, priced.rates, priced.costs, "P01", demo.on) if x.kind == "batch"]
    assert sorted(found)[1] == "a batch 3 times as large: 90 good pieces, 6.4 weeks of sales", "what needs no rest needs no rack"


def test_the_fewest_good_pieces_that_meet_the_floor(demo: Priced) -> None:
    """P01 at 5.80 and 20 good of 32: 148.522 a batch, so 30 % of 5.80 wants 148.522 / 4.06 = 36.6 pieces; at 7.75, 27.4."""
    one = demo.book.products["P01"]
    for price, words in (("7.75", "28 good pieces of 32 planned in place of 20"), ("5.80", "32 good pieces of 32 planned in place of 20")):
        priced = again(replace(demo.book, products={"P01": replace(one, good=20, prices={"wholesale": Decimal(price)})}))
        [lever] = [x for x in levers(priced.usage, priced.rates, priced.costs, "P01", DAY) if x.kind == "good pieces"]
        assert lever.words == words and all(s.over_floor for s in lever.standings) is (price == "7.75")


def test_the_demo_hides_no_rise(demo: Priced) -> None:
    assert hidden_rises(demo.book, demo.on, demo.rates) == []


def test_the_measures_run_at_a_tiny_size() -> None:
    found = impact_measures(products=20, changed=3, runs=1)
    assert [bool(m.ratio) for m in found] == [True, True, False]
