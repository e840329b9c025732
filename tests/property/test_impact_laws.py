"""Laws of what a change of prices or recipes does, on random small books, against pricing the changed book from the start."""

from __future__ import annotations

import math
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import event, given
from hypothesis import strategies as st
from property import naive
from property.strategies import COUNT, LAW, MASS, ON, amount, books, hundredths, paper_line, pick
from records import replace

from costbook.book.model import Book, Material
from costbook.costing import matrix
from costbook.costing.announced import Announced, NewRate, new_rates, rates_after
from costbook.costing.impact import WEEKS_A_YEAR, Impact, impact, sensitivities
from costbook.costing.levers import break_even_sales_change, levers, price_move, under_floor
from costbook.costing.matrix import Matrix
from costbook.costing.rates import Rates, rates
from costbook.costing.tiers import pricers, tiers
from costbook.costing.usage import Cost, Usage, costs
from costbook.costing.variance import STEPS, State, state_from_rows, state_rows, variances

CLOSE = 1e-9


def close(one: float, two: float) -> bool:
    return math.isclose(one, two, rel_tol=CLOSE, abs_tol=1e-10)


def priced(book: Book) -> tuple[Usage, Rates, dict[str, Cost]]:
    usage, rated = Usage(book), rates(book, ON)
    return usage, rated, costs(usage, rated)[0]


def announced(draw: Any, code: str, material: Material) -> Announced:
    """A new price, a new pack, both, or a rise of the price with or without a new pack."""
    pack = amount(draw(st.integers(1, 9)), pick(draw, COUNT if material.base == "each" else MASS))
    if draw(st.booleans()):
        return Announced(code, draw(hundredths(50, 9000)), pick(draw, [None, pack]), starts=ON)
    return Announced(code, None, pick(draw, [None, pack]), rise=draw(hundredths(-60, 99)), starts=ON)


@st.composite
def changed_books(draw: Any) -> tuple[Book, list[Announced]]:
    """A book with sales, and announced prices of some of its materials."""
    book = draw(books(plain=True))
    sold = {code: replace(p, sold_per_week=pick(draw, [None, Decimal(0), Decimal(7)])) for code, p in book.products.items()}
    codes = draw(st.lists(st.sampled_from(sorted(book.materials)), min_size=1, max_size=4, unique=True))
    return replace(book, products=sold), [announced(draw, code, book.materials[code]) for code in codes]


def worked(book: Book, said: list[Announced]) -> tuple[dict[str, NewRate], Impact, Rates, dict[str, Cost]]:
    usage, rated, costed = priced(book)
    news, findings = new_rates(book, ON, rated, said)
    assert {f.about for f in findings} <= {()} and all(f.sentence and f.do for f in findings)
    return news, impact(usage, rated, costed, tiers(book, costed)[0], news), rated, costed


def with_papers(book: Book, news: Mapping[str, NewRate]) -> Book:
    """The book as if each announced price had been charged on a paper of the book's day, or quoted anew.

    The paper is written out: list price, the same share off, the same money of charges, the same share of tax.
    """
    materials, bought = dict(book.materials), list(book.purchases)
    for code, new in news.items():
        said = new.announced
        if new.line is None:
            price = materials[code].quoted_price
            assert price is not None
            price = price * (1 + said.rise) if said.rise is not None else said.pack_price or price
            materials[code] = replace(materials[code], quoted_price=price, quoted_pack=said.pack or materials[code].quoted_pack)
            continue
        last, paper = new.line, new.line.line
        assert paper.pack_price is not None
        into = paper.currency_rate if paper.currency != book.settings.currency else Decimal(1)
        assert into is not None
        price = (paper.pack_price * (1 + said.rise) if said.rise is not None else said.pack_price or paper.pack_price) * into
        listed, was = price * paper.packs, paper.pack_price * into * paper.packs
        off = listed * (1 - last.goods / was)
        lines = [paper_line(f"NEW-{code}", "goods", listed, 0, material=code, packs=paper.packs, pack=said.pack or paper.pack, pack_price=price)]
        lines.append(paper_line(f"NEW-{code}", "discount", -off, 1))
        lines.append(paper_line(f"NEW-{code}", "charge", last.charges, 2, shared_by="value"))
        taxed = last.goods + last.charges
        lines.append(paper_line(f"NEW-{code}", "tax", (listed - off + last.charges) * last.tax / taxed if taxed else last.tax, 3))
        materials[code] = replace(materials[code], rate_rule="latest")
        bought += lines
    return replace(book, materials=materials, purchases=tuple(bought))


# ------------------------------------------------------------------ announced prices


@LAW
@given(changed_books())
def test_it_is_the_difference_of_two_full_pricings(case: tuple[Book, list[Announced]]) -> None:
    """Before: the book in exact fractions. After: the book with the new prices put into it, in exact fractions."""
    book, said = case
    news, found, *_ = worked(book, said)
    after = with_papers(book, news)
    for code, change in found.products.items():
        event("touched" if change.effects else "not touched")
        assert close(change.before, float(naive.unit_cost(book, code, ON)))
        assert close(change.after, float(naive.unit_cost(after, code, ON)))


@LAW
@given(changed_books())
def test_each_material_alone_adds_what_it_adds_among_all(case: tuple[Book, list[Announced]]) -> None:
    book, said = case
    news, found, *_ = worked(book, said)
    for one in said:
        alone = worked(book, [one])[1]
        for code, change in alone.products.items():
            assert change.effects == {m: e for m, e in found.products[code].effects.items() if m == one.material}
    assert set(news) == {x.material for x in said if x.material in found.rates.materials}


@LAW
@given(changed_books())
def test_the_effects_add_up_and_nothing_is_left(case: tuple[Book, list[Announced]]) -> None:
    """In exact fractions: the rise is the sum of the effects, and the cost after is before and all of them, to the last bit."""
    _, found, *_ = worked(*case)
    for change in found.products.values():
        whole = sum(map(Fraction, change.effects.values()), Fraction(0))
        assert change.rise == float(whole)
        assert change.after == float(Fraction(change.before) + whole)
    sold = [c.a_year for c in found.products.values() if c.a_year is not None]
    assert found.a_year == math.fsum(sold)


@pytest.mark.parametrize("plain_up_to", [10**9, 0])
@LAW
@given(case=changed_books())
def test_plain_rows_lists_and_arrays_come_to_the_same(plain_up_to: int, case: tuple[Book, list[Announced]]) -> None:
    """What the lines of usage say is what the usage matrix says, by plain lists and by scipy's sparse arrays."""
    book, said = case
    news, found, rated, _ = worked(book, said)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(matrix, "PLAIN_UP_TO", plain_up_to)
        whole = Matrix.of(Usage(book))
        old, new = whole.rates_vector(rated), whole.rates_vector(rates_after(rated, news))
        for code, after, rise in zip(whole.products, whole.unit_costs(new), whole.effect(old, new)):
            if code in found.products:
                assert close(found.products[code].after, float(after))
                assert close(found.products[code].rise, float(rise))


@LAW
@given(changed_books())
def test_tiers_after_are_those_of_the_book_priced_at_the_new_rates(case: tuple[Book, list[Announced]]) -> None:
    book, said = case
    news, found, rated, costed = worked(book, said)
    again, stops = costs(Usage(book), rates_after(rated, news))
    assert set(again) == set(costed) and len(stops) == len(costs(Usage(book), rated)[1])
    wanted = {(t.product, t.channel): t for t in tiers(book, again)[0]}
    floors = {p.channel.name: p for p in pricers(book)}
    for change in found.products.values():
        assert [t.channel for t in change.tiers] == list(book.channels)
        for tier, after in zip(change.tiers, found.tiers_after(change.product)):
            full, pricer = wanted[tier.product, tier.channel], floors[tier.channel]
            assert (after.target_price, after.proposal, after.compare_materials) == (full.target_price, full.proposal, full.compare_materials)
            assert tier.her_price == full.her_price and tier.flags[1] == full.flag
            if full.her_price is None:
                assert tier.margin_after is tier.kept_after is tier.under_floor_after is None
                continue
            assert full.margin is not None and full.kept is not None and tier.margin_after is not None and tier.kept_after is not None
            assert close(tier.margin_after, full.margin) and close(tier.kept_after, full.kept)
            share = full.margin if pricer.channel.floor_counts == "margin" else full.kept_fraction
            assert share is not None
            was = tier.margin if pricer.channel.floor_counts == "margin" else tier.kept_fraction
            for under, stands in ((tier.under_floor, was), (tier.under_floor_after, share)):
                if pricer.floor is None:
                    assert under is None
                elif stands is not None and abs(stands - pricer.floor) > CLOSE:
                    assert under is (stands < pricer.floor)
            keeps = tier.price_keeping_margin()
            if keeps is not None and tier.margin is not None and keeps > 0:
                net = pricer.net(keeps)
                assert (net - change.after) / net >= tier.margin - 1e-6


@LAW
@given(changed_books())
def test_no_change_has_no_effect(case: tuple[Book, list[Announced]]) -> None:
    """The price and pack of today announced again: nothing at all, where the rate is that of the last paper or a quote."""
    book, _ = case
    usage, rated, costed = priced(book)
    again = []
    for code, rate in rated.materials.items():
        material, line = book.materials[code], rate.line
        if rate.rule == "quoted":
            again.append(Announced(code, material.quoted_price, material.quoted_pack))
        elif rate.rule == "latest":
            assert line is not None
            again.append(Announced(code, line.line.pack_price, line.line.pack) if len(code) % 2 else Announced(code, rise=Decimal(0)))
    news, findings = new_rates(book, ON, rated, again)
    found = impact(usage, rated, costed, tiers(book, costed)[0], news)
    assert len(news) == len(again) and [f for f in findings if f.level == "stop"] == []
    assert all(new.change == 0 and new.goods_rise == 0 for new in news.values())
    assert found.a_year == 0 and found.crossed == [] and found.findings == ()
    for change in found.products.values():
        assert change.effects == {} and change.rise == 0 and change.after == change.before
        for tier in change.tiers:
            assert (tier.margin, tier.kept, tier.under_floor) == (tier.margin_after, tier.kept_after, tier.under_floor_after)
            assert tier.price_keeping_margin() == tier.her_price


# ------------------------------------------------------------------ two states


@st.composite
def two_books(draw: Any) -> tuple[Book, Book]:
    """A book and the same after a while: other prices, amounts, minutes, pay, overhead, planned and good pieces."""
    book, said = draw(changed_books())
    news, *_ = worked(book, said)
    other = with_papers(book, news) if draw(st.booleans()) else book
    if draw(st.booleans()):
        times = Fraction(draw(st.integers(6, 18)), 12)
        other = replace(other, recipes={
            code: replace(r, lines=(replace(r.lines[0], amount=amount(r.lines[0].amount.usual * times)), *r.lines[1:]))
            for code, r in other.recipes.items()
        })  # fmt: skip
    if draw(st.booleans()):
        other = replace(other, roles={n: replace(r, pay_per_hour=r.pay_per_hour + draw(hundredths(0, 900))) for n, r in other.roles.items()})
    if draw(st.booleans()):
        other = replace(other, steps=tuple(replace(s, piece_minutes=s.piece_minutes + 1.5) for s in other.steps))
    if draw(st.booleans()):
        other = replace(other, settings=replace(other.settings, overhead_per_year=draw(hundredths(0, 900_000))))
    if draw(st.booleans()):
        more = draw(st.integers(1, 3))
        other = replace(other, products={
            code: replace(p, planned=p.planned * more, good=draw(st.integers(1, p.planned * more))) for code, p in other.products.items()
        })  # fmt: skip
    return book, other


def state(book: Book) -> State:
    usage, rated, costed = priced(book)
    return State.of(usage, rated, costed, ON)


@LAW
@given(two_books())
def test_a_state_costs_what_the_book_costs_and_comes_back_from_its_rows(pair: tuple[Book, Book]) -> None:
    for book in pair:
        costed, kept = priced(book)[2], state(book)
        assert state_from_rows(state_rows(kept)) == kept
        assert set(kept.products) == set(costed)
        for code, cost in costed.items():
            assert close(kept.unit_cost(code), cost.unit_cost)


@LAW
@given(two_books())
def test_the_effects_of_two_states_add_up(pair: tuple[Book, Book]) -> None:
    """Exactly, where costs next to each other differ by less than a factor of two: then their difference is exact."""
    old, new = state(pair[0]), state(pair[1])
    found = variances(old, new)
    assert set(found) == set(old.products) & set(new.products)
    for code, split in found.items():
        assert (split.before, split.after) == (old.unit_cost(code), new.unit_cost(code))
        assert len(split.effects) == len(STEPS)
        left = sum(map(Fraction, split.effects)) - (Fraction(split.after) - Fraction(split.before))
        costs_ = [Fraction(split.before)]
        for effect in split.effects:
            costs_.append(costs_[-1] + Fraction(effect))
        exact = all(a <= 2 * b and b <= 2 * a for a, b in pairwise(costs_))
        event("exact" if exact else "to the last bits")
        assert left == 0 if exact else abs(left) < 1e-9
        assert close(split.labour + split.overhead + split.recipe + split.packaging + split.good_pieces + split.rates, split.change)


ONLY = {
    "pay": lambda b: replace(b, roles={n: replace(r, pay_per_hour=r.pay_per_hour * 2) for n, r in b.roles.items()}),
    "labour_minutes overhead_minutes": lambda b: replace(b, steps=tuple(replace(s, piece_minutes=s.piece_minutes * 2 + 1) for s in b.steps)),
    "overhead_rate": lambda b: replace(b, settings=replace(b.settings, overhead_per_year=b.settings.overhead_per_year * 3)),
    "good_pieces": lambda b: replace(b, products={c: replace(p, good=max(1, p.good // 2)) for c, p in b.products.items()}),
    "recipe": lambda b: replace(b, recipes={c: replace(r, loss_fraction=(r.loss_fraction or 0) + 0.2) for c, r in b.recipes.items()}),
    "packaging": lambda b: replace(b, products={
        c: replace(p, parts=tuple(replace(x, amount=amount(x.amount.usual + 1, "each")) if x.kind == "packaging" else x for x in p.parts))
        for c, p in b.products.items()
    }),
    "rates": lambda b: replace(b, materials={c: replace(m, waste_fraction=m.waste_fraction + 0.1) for c, m in b.materials.items()}),
    "": lambda b: b,
}  # fmt: skip


@pytest.mark.parametrize("only", ONLY)
@LAW
@given(book=books(plain=True))
def test_one_thing_changed_is_one_effect(only: str, book: Book) -> None:
    """Everything else is exactly nothing; for good pieces, the cost per planned piece stays what it was."""
    for split in variances(state(book), state(ONLY[only](book))).values():
        moved = [name for name, effect in zip(STEPS, split.effects) if abs(effect) > 1e-12 * split.before]
        assert set(moved) <= set(only.split())
        assert only or not any(split.effects)
        event(f"{only}: {'seen' if moved else 'nothing'}")


# ------------------------------------------------------------------ levers, sensitivity


def plainly(book: Book, code: str) -> float | None:
    """The cost in exact fractions, None where there is none: two lines can name the same, and one may lack a weight."""
    try:
        return float(naive.unit_cost(book, code, ON))
    except naive.Refused:
        return None


def with_substitute(book: Book, words: str) -> list[Book]:
    """The books with the other name alone in a line, one for each line the words can mean."""
    names = {code: m.name for code, m in book.materials.items()} | {code: r.name for code, r in book.recipes.items()}
    found = []
    for recipe in book.recipes.values():
        for at, line in enumerate(recipe.lines):
            for other in line.choices[1:]:
                if words == f"{names[other]} in place of {names[line.choices[0]]} in {recipe.name}":
                    lines = (*recipe.lines[:at], replace(line, choices=(other,)), *recipe.lines[at + 1 :])
                    found.append(replace(book, recipes={**book.recipes, recipe.code: replace(recipe, lines=lines)}))
    return found


@LAW
@given(changed_books())
def test_levers_do_what_the_book_with_them_done_comes_to(case: tuple[Book, list[Announced]]) -> None:
    book, _ = case
    usage, rated, costed = priced(book)
    under = under_floor(usage, costed)
    flagged = {t.product for t in tiers(book, costed)[0] if t.flag == "under floor"}
    assert flagged <= set(under)
    for code, cost in costed.items():
        product = book.products[code]
        for lever in levers(usage, rated, costed, code, ON):
            event(lever.kind)
            assert lever.effect < 0 and close(lever.unit_cost - cost.unit_cost, lever.effect)
            assert bool(lever.standings) == (code in under)
            done = book
            if lever.kind == "good pieces":
                done = replace(book, products={**book.products, code: replace(product, good=int(lever.words.split()[0]))})
            elif lever.kind in ("pack", "quantity", "supplier"):
                [(material, line)] = [
                    (m, x) for m in book.materials.values() for x in rated.landed
                    if x.material == m.code and lever.words.startswith(f"{m.name} in ") and f"paper {x.line.paper} " in lever.words
                    and f"{x.rate / (1 - m.waste_fraction):.5f} a " in lever.words
                ][:1]  # fmt: skip
                quoted = replace(material, rate_rule="quoted", quoted_price=line.landed, quoted_less=(), quoted_from=None,
                                 quoted_pack=amount(Fraction(line.base), "each" if material.base == "each" else "g"))  # fmt: skip
                done = replace(book, materials={**book.materials, material.code: quoted})
            elif lever.kind == "substitute":
                other = [plainly(x, code) for x in with_substitute(book, lever.words)]
                assert any(cost_then is not None and close(lever.unit_cost, cost_then) for cost_then in other)
                continue
            else:
                continue
            assert close(lever.unit_cost, float(naive.unit_cost(done, code, ON)))


@LAW
@given(changed_books())
def test_shares_add_up_and_ten_percent_is_ten_percent(case: tuple[Book, list[Announced]]) -> None:
    book, _ = case
    usage, rated, costed = priced(book)
    found = sensitivities(usage, rated, costed)
    sold = {code: float(book.products[code].sold_per_week or 0) for code in costed}
    sold = sold if any(sold.values()) else dict.fromkeys(costed, 1.0)
    year = math.fsum(costed[code].unit_cost * sold[code] * WEEKS_A_YEAR for code in costed)
    assert close(math.fsum(s.a_year for s in found), year)
    assert not costed or not year or close(math.fsum(s.share for s in found), 1)
    assert [s.a_year for s in found] == sorted((s.a_year for s in found), reverse=True)
    for one in found:
        if one.category in ("labour", "overhead"):
            continue
        dearer = replace(rated.materials[one.item], per_base=rated.materials[one.item].per_base * 1.1)
        again = costs(usage, replace(rated, materials={**rated.materials, one.item: dearer}))[0]
        rise = math.fsum((again[c].unit_cost - costed[c].unit_cost) * sold[c] * WEEKS_A_YEAR for c in costed)
        assert math.isclose(rise, one.ten_percent, rel_tol=1e-7, abs_tol=1e-7 * max(1.0, year))


@LAW
@given(st.floats(0.01, 0.95), st.floats(-0.5, 2))
def test_at_the_break_even_sales_she_is_no_better_or_worse_off(margin: float, change: float) -> None:
    if margin + change > 1e-3:
        sales = 1 + break_even_sales_change(margin, change)
        assert math.isclose(sales * (margin + change), margin, rel_tol=1e-9)


@LAW
@given(books(plain=True), hundredths(500, 4000), hundredths(1, 3000))
def test_a_price_move_keeps_what_is_contributed(book: Book, price: Decimal, more: Decimal) -> None:
    """What all pieces keep, with the overhead that goes on, is the same before and after at the sales it names."""
    costed = priced(book)[2]
    for pricer in pricers(book):
        for cost in costed.values():
            move = price_move(pricer, cost, price, price + more)
            before, after = (kept + cost.parts["overhead"] for kept in (move.kept_before, move.kept_after))
            if move.sales_change is None:
                assert min(before, after) <= 1e-6 * float(price + more)
            else:
                assert math.isclose(after * (1 + move.sales_change), before, rel_tol=1e-6)
