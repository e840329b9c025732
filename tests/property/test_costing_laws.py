"""Laws of costing that hold for every book, tried on random small ones, and a second implementation to agree with.

`naive.py` works out the same costs in exact fractions, written from the description of costing alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import timedelta
from decimal import Decimal
from typing import Any

from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st
from property import naive
from property.strategies import LAW, ON, amount, books, paper_line
from records import replace

from costbook.book.grid import Snapshot
from costbook.book.model import (
    Book,
    Part,
    Product,
    PurchaseLine,
    RecipeLine,
)
from costbook.book.reading import read_book
from costbook.costing.rates import Rates, landed_lines, rates
from costbook.costing.tiers import (
    tiers,
)
from costbook.costing.trace import Node, explanation, trace_lines
from costbook.costing.usage import Cost, Usage, cost_at, costs
from costbook.demo.tables import scenario
from costbook.demo.workshop import blank_tabs, demo_tabs
from costbook.errors import InputError

CLOSE = 1e-9


def close(one: float, two: float) -> bool:
    return math.isclose(one, two, rel_tol=CLOSE, abs_tol=1e-12)


def worked(book: Book) -> tuple[Usage, Rates, dict[str, Cost]]:
    usage, rated = Usage(book), rates(book, ON)
    return usage, rated, costs(usage, rated)[0]


def unit_costs(book: Book) -> dict[str, float]:
    return {code: cost.unit_cost for code, cost in worked(book)[2].items()}


def same(one: Mapping[str, float], two: Mapping[str, float], times: float = 1.0) -> bool:
    return one.keys() == two.keys() and all(close(one[k] * times, two[k]) for k in one)


# ------------------------------------------------------------------ a second implementation


def plainly(book: Book, code: str, reading: naive.Reading = naive.USUAL) -> float | None:
    try:
        return float(naive.unit_cost(book, code, ON, reading))
    except naive.Refused:
        return None


@settings(LAW, max_examples=150)
@given(books())
def test_unit_costs_are_those_of_exact_fractions(book: Book) -> None:
    """The same products have a price, and the same one, at every end of the ranges and for every alternative."""
    found = worked(book)[2]
    for code in book.products:
        usual = plainly(book, code)
        event("priced" if usual is not None else "refused")
        if usual is None:
            assert code not in found
            continue
        cost = found[code]
        assert close(cost.unit_cost, usual)
        for end, given_cost in (("low", cost.low), ("high", cost.high)):
            other = plainly(book, code, naive.Reading(end))
            assert other is None or close(given_cost, other), end
        for choice, given_cost in enumerate(cost.choices):
            other = plainly(book, code, naive.Reading(choice=choice))
            assert other is None or close(given_cost, other), f"alternative {choice}"


@LAW
@given(books())
def test_rates_are_those_of_exact_fractions(book: Book) -> None:
    rated = rates(book, ON)
    for code in book.materials:
        try:
            expected = float(naive.rate(book, code, ON))
        except naive.Refused:
            assert code not in rated.materials
        else:
            assert close(rated.materials[code].per_base, expected)


@LAW
@given(books())
def test_what_has_no_price_has_a_finding_that_names_it(book: Book) -> None:
    usage, rated = Usage(book), rates(book, ON)
    found, findings = costs(usage, rated)
    about = {code for finding in findings for code in finding.about}
    assert set(book.products) == set(found) | about
    assert not set(found) & about
    assert all(f.level == "stop" and f.where and f.sentence for f in findings)


# ------------------------------------------------------------------ order, scale


def shuffled(draw: Any, mapping: Mapping[str, Any]) -> dict[str, Any]:
    return {key: mapping[key] for key in draw(st.permutations(list(mapping)))}


@st.composite
def reordered(draw: Any) -> tuple[Book, Book]:
    """A book and the same with rows, tabs and papers in another order; lines of one paper stay in theirs."""
    book = draw(books())
    papers: dict[str, list[PurchaseLine]] = {}
    for line in book.purchases:
        papers.setdefault(line.paper, []).append(line)
    bought = tuple(line for number in draw(st.permutations(list(papers))) for line in papers[number])
    other = replace(
        book, purchases=bought, materials=shuffled(draw, book.materials), recipes=shuffled(draw, book.recipes),
        products=shuffled(draw, book.products), roles=shuffled(draw, book.roles), channels=shuffled(draw, book.channels),
        suppliers=shuffled(draw, book.suppliers), steps=tuple(draw(st.permutations(book.steps))),
    )  # fmt: skip
    return book, other


@LAW
@given(reordered())
def test_order_of_rows_and_papers_changes_nothing(pair: tuple[Book, Book]) -> None:
    first, second = (worked(book)[2] for book in pair)
    assert same({k: v.unit_cost for k, v in first.items()}, {k: v.unit_cost for k, v in second.items()})
    shown = [
        {(t.product, t.channel): (t.proposal, t.floor_price, t.flag) for t in tiers(book, found)[0]}
        for book, found in zip(pair, (first, second), strict=True)
    ]
    assert shown[0] == shown[1]


@LAW
@given(books(), st.data())
def test_lines_of_a_recipe_in_another_order_cost_the_same(book: Book, data: st.DataObject) -> None:
    """Order of adding matters to the mix, not to what it costs."""
    recipes = {
        code: replace(r, lines=tuple(data.draw(st.permutations(r.lines)))) for code, r in book.recipes.items()
    }  # fmt: skip
    assert same(unit_costs(book), unit_costs(replace(book, recipes=recipes)))


@LAW
@given(books(), st.data())
def test_a_rate_rise_never_lowers_a_cost(book: Book, data: st.DataObject) -> None:
    usage, rated, before = worked(book)
    assume(rated.materials)
    code = data.draw(st.sampled_from(sorted(rated.materials)))
    rise = data.draw(st.integers(100, 300)) / 100
    dearer = replace(rated.materials[code], per_base=rated.materials[code].per_base * rise)
    after = costs(usage, replace(rated, materials=dict(rated.materials) | {code: dearer}))[0]
    for product, cost in before.items():
        new = after[product]
        used = sum(v for k, v in usage.row(product).bought.items() if k[1] == code)
        assert new.unit_cost >= cost.unit_cost * (1 - CLOSE)
        # And the rise is usage x (new rate - old rate), to the last figure.
        rose = used * rated.materials[code].per_base * (rise - 1)
        assert math.isclose(new.unit_cost - cost.unit_cost, rose, rel_tol=1e-6, abs_tol=1e-9 * max(1.0, cost.unit_cost))


def dearer_book(book: Book, times: Decimal) -> Book:
    """The book with all money in it times as much."""
    bought = tuple(
        replace(x, amount=x.amount * times, pack_price=None if x.pack_price is None else x.pack_price * times)
        for x in book.purchases
    )
    shelf = {
        code: replace(m, quoted_price=None if m.quoted_price is None else m.quoted_price * times)
        for code, m in book.materials.items()
    }
    roles = {n: replace(r, pay_per_hour=r.pay_per_hour * times) for n, r in book.roles.items()}
    chosen = replace(book.settings, overhead_per_year=book.settings.overhead_per_year * times)
    activities = {n: replace(a, per_year=a.per_year * times) for n, a in book.activities.items()}
    return replace(book, purchases=bought, materials=shelf, roles=roles, settings=chosen, activities=activities)


@LAW
@given(books(), st.integers(2, 9))
def test_all_money_times_n_makes_every_cost_n_times_as_much(book: Book, times: int) -> None:
    assert same(unit_costs(book), unit_costs(dearer_book(book, Decimal(times))), float(times))


def twice(line: RecipeLine) -> RecipeLine:
    a = line.amount
    if a.percent or a.unit is None:
        return line
    return replace(line, amount=replace(a, low=a.low * 2, usual=a.usual * 2, high=a.high * 2))


@LAW
@given(books())
def test_doubling_recipes_doubles_batches_and_leaves_unit_costs(book: Book) -> None:
    """Percent lines follow by themselves. Where a recipe yields pieces it yields twice as many."""
    recipes = {
        code: replace(r, lines=tuple(map(twice, r.lines)), pieces=None if r.pieces is None else r.pieces * 2)
        for code, r in book.recipes.items()
    }
    doubled = replace(book, recipes=recipes)
    assert same(unit_costs(book), unit_costs(doubled))
    fills = {"scent": "G0", "colour": "G1"}
    for code in book.recipes:
        one, two = mix_of(book, code, fills), mix_of(doubled, code, fills)
        assert (one is None) == (two is None)
        if one is not None and two is not None:
            assert close(two.in_g, 2 * one.in_g) and close(two.stays_g, 2 * one.stays_g) and close(two.makes, 2 * one.makes)
            assert same(one.bought, two.bought, 2.0) and same(one.kept, two.kept, 2.0)


def mix_of(book: Book, code: str, fills: Mapping[str, str]) -> Any:
    try:
        return Usage(book).mix(code, fills)
    except InputError:
        return None


@LAW
@given(books(), st.integers(2, 5))
def test_fewer_good_pieces_cost_as_many_times_more(book: Book, times: int) -> None:
    before = unit_costs(book)
    for code, cost in before.items():
        p = book.products[code]
        fewer = dict(book.products) | {code: replace(p, good=p.good * times)}
        assert close(unit_costs(replace(book, products=fewer))[code] * times, cost)


@LAW
@given(books(), st.integers(2, 4))
def test_a_recipe_of_pieces_keeps_its_yield_over_a_range(book: Book, times: int) -> None:
    """As many times more pieces from the same batch, so many times less of the batch in each."""
    for code, recipe in book.recipes.items():
        one = mix_of(book, code, {"scent": "G0", "colour": "G1"})
        if recipe.pieces is None or one is None:
            continue
        more = dict(book.recipes) | {code: replace(recipe, pieces=recipe.pieces * times)}
        two = mix_of(replace(book, recipes=more), code, {"scent": "G0", "colour": "G1"})
        assert two.makes == one.makes * times and same(one.bought, two.bought)


# ------------------------------------------------------------------ one figure, however it is told


def sums_up(node: Node) -> None:
    if node.inside:
        assert close(node.cost, math.fsum(n.cost for n in node.inside)), node.label
        for inner in node.inside:
            sums_up(inner)


@LAW
@given(books())
def test_unit_cost_is_its_trace_its_tree_and_its_parts(book: Book) -> None:
    usage, rated, found = worked(book)
    for code, cost in found.items():
        lines = trace_lines(usage, rated, code)
        assert close(cost.unit_cost, math.fsum(line.cost for line in lines))
        assert close(cost.unit_cost, math.fsum(line.usage * line.rate for line in lines))
        assert close(cost.unit_cost, math.fsum(cost.parts.values()))
        tree = explanation(usage, rated, code)
        assert close(cost.unit_cost, tree.cost)
        sums_up(tree)


@LAW
@given(books())
def test_the_lowest_and_the_highest_hold_the_usual(book: Book) -> None:
    for cost in worked(book)[2].values():
        assert cost.lowest <= cost.unit_cost <= cost.highest
        assert {cost.lowest, cost.highest} <= {cost.low, cost.unit_cost, cost.high}
        assert cost.choices[0] == cost.unit_cost
        assert cost.unit_cost > 0


@LAW
@given(books())
def test_exact_amounts_have_no_range(book: Book) -> None:
    def exactly(line: RecipeLine) -> RecipeLine:
        return replace(line, amount=replace(line.amount, low=line.amount.usual, high=line.amount.usual))

    recipes = {code: replace(r, lines=tuple(map(exactly, r.lines))) for code, r in book.recipes.items()}
    found = worked(replace(book, recipes=recipes))[2]
    assert all(cost.lowest == cost.unit_cost == cost.highest for cost in found.values())
    assert same({k: c.unit_cost for k, c in found.items()}, unit_costs(book))


@LAW
@given(books())
def test_what_stays_in_a_piece_is_no_more_than_what_goes_in(book: Book) -> None:
    """And weighs what the piece was said to weigh: kept is the recipe's share of that mass."""
    usage, _, found = worked(book)
    for code in found:
        product = book.products[code]
        row = usage.row(code)
        grams = sum(
            p.amount.base(want="g") / (product.planned if p.per_batch else 1) for p in product.parts
            if p.kind == "recipe" and not usage.mix(p.item, product.fills).in_pieces
        )  # fmt: skip
        if all(p.kind != "product" and not (p.kind == "recipe" and book.recipes[p.item].pieces) for p in product.parts):
            assert close(sum(row.kept.values()), grams)
        for item, kept in row.kept.items():
            assert kept <= row.bought.get(("materials", item), 0.0) * (1 + CLOSE)


@LAW
@given(books())
def test_nested_recipes_are_the_solution_of_one_linear_system(book: Book) -> None:
    """x = b + A x: a unit of mix costs its own materials, and its recipes at what a unit of them costs."""
    import numpy

    usage, rated, _ = worked(book)
    fills = {"scent": "G0", "colour": "G1"}
    mixes = {code: mix for code in book.recipes if (mix := mix_of(book, code, fills)) is not None}
    codes = [c for c, m in mixes.items() if all(item in rated.materials for item in m.bought)]
    nested, direct = numpy.zeros((len(codes), len(codes))), numpy.zeros(len(codes))
    for i, code in enumerate(codes):
        for _, item, taken in mixes[code].lines:
            if item in book.materials:
                direct[i] += taken / mixes[code].makes * rated.materials[item].per_base
            else:
                nested[i, codes.index(item)] += taken / mixes[code].makes
    solved = numpy.linalg.solve(numpy.eye(len(codes)) - nested, direct) if codes else direct
    for code, expected in zip(codes, solved, strict=True):
        mix = usage.mix(code, fills)
        assert close(sum(v * rated.materials[k].per_base for k, v in mix.bought.items()) / mix.makes, float(expected))


# ------------------------------------------------------------------ batches


@LAW
@given(books())
def test_the_usual_batch_costs_the_unit_cost(book: Book) -> None:
    usage, rated, found = worked(book)
    for code, cost in found.items():
        assert close(cost_at(usage, rated, code, 1.0), cost.unit_cost)
        assert close(cost.batch_cost, cost.unit_cost * book.products[code].good)


@LAW
@given(books(), st.integers(2, 9))
def test_a_larger_batch_costs_what_planning_it_would(book: Book, times: int) -> None:
    """Without a bowl to fill: the same as a product of so many times the pieces, planned and good; never dearer."""
    usage, rated, found = worked(book)
    for code, cost in found.items():
        p = book.products[code]
        larger = dict(book.products) | {code: replace(p, planned=p.planned * times, good=p.good * times)}
        at = cost_at(usage, rated, code, float(times))
        assert close(at, unit_costs(replace(book, products=larger))[code])
        assert at <= cost.unit_cost * (1 + CLOSE)


@LAW
@given(books(), st.integers(2, 6))
def test_a_bowl_of_one_batch_makes_a_larger_one_no_cheaper(book: Book, times: int) -> None:
    """N mixes pay what a batch takes N times: the unit cost stays. Only of products whose recipes are weighed."""
    for code in unit_costs(book):
        product = book.products[code]
        mass = sum(p.amount.base(want="g") * (1 if p.per_batch else product.planned) for p in weighed(book, product))
        if not mass:
            continue
        full = replace(book, settings=replace(book.settings, mixer_g=mass))
        usage, rated, found = worked(full)
        assert close(cost_at(usage, rated, code, float(times)), found[code].unit_cost)


def weighed(book: Book, product: Product) -> list[Part]:
    return [p for p in product.parts if p.kind == "recipe" and not book.recipes[p.item].pieces]


# ------------------------------------------------------------------ papers, rates


def papers_of(book: Book) -> Iterable[Sequence[PurchaseLine]]:
    grouped: dict[tuple[str, str], list[PurchaseLine]] = {}
    for line in book.purchases:
        grouped.setdefault((line.supplier, line.paper), []).append(line)
    return grouped.values()


@settings(LAW, suppress_health_check=[*LAW.suppress_health_check, HealthCheck.filter_too_much])
@given(books(plain=True))
def test_landed_lines_of_a_paper_sum_to_the_paper(book: Book) -> None:
    """Goods less discount plus charges, and tax only where she cannot reclaim it, in the book's currency."""
    landed, _ = landed_lines(book)
    for lines in papers_of(book):
        found = [x.landed for x in landed if x.line.paper == lines[0].paper]
        if len(found) < sum(x.kind == "goods" for x in lines):
            continue  # a pack that cannot be weighed: a finding says so
        kinds = {kind: sum((x.amount for x in lines if x.kind == kind), Decimal(0)) for kind in ("goods", "charge", "tax")}
        off = sum((abs(x.amount) for x in lines if x.kind == "discount"), Decimal(0))
        tax = Decimal(0) if book.settings.tax_reclaimed else kinds["tax"]
        into = lines[0].currency_rate or Decimal(1)
        assert close(float(sum(found)), float((kinds["goods"] - off + kinds["charge"] + tax) * into))


@LAW
@given(books())
def test_every_rate_lies_between_the_cheapest_and_the_dearest_line(book: Book) -> None:
    """Average and layers between the ends, the latest one of them; what stays in the bucket taken out first."""
    rated = rates(book, ON)
    for code, rate in rated.materials.items():
        lines = [x.rate for x in rated.landed if x.material == code and x.counted and x.line.date and x.line.date <= ON]
        bare = rate.per_base * (1 - book.materials[code].waste_fraction)
        if rate.rule == "quoted":
            assert not rate.lines
            continue
        assert min(lines) * (1 - CLOSE) <= bare <= max(lines) * (1 + CLOSE)
        if rate.rule == "latest":
            assert rate.line is not None and close(bare, rate.line.rate)


@LAW
@given(books(), st.sampled_from(["credit note", "sample", "back-order", "returned", "no"]))
def test_what_was_not_shipped_and_charged_makes_no_price(book: Book, kind: str) -> None:
    """A newest paper of one odd line of everything changes no rate."""
    line = {
        "credit note": {"paper_type": "credit note"}, "sample": {"kind": "sample"}, "back-order": {"kind": "back-order"},
        "returned": {"packs": Decimal(-1), "amount": Decimal(-9)}, "no": {"counts": False},
    }[kind]  # fmt: skip
    extra = [
        paper_line("ODD", "goods", Decimal(9), i, material=code, packs=Decimal(1), pack=amount(1, m.base))
        for i, (code, m) in enumerate(book.materials.items())
    ]  # fmt: skip
    odd = tuple(replace(x, **line) for x in extra)  # type: ignore[arg-type]
    before, after = rates(book, ON), rates(replace(book, purchases=(*book.purchases, *odd)), ON)
    assert {c: r.per_base for c, r in before.materials.items()} == {c: r.per_base for c, r in after.materials.items()}
    counted = rates(replace(book, purchases=(*book.purchases, *extra)), ON)
    assert len(counted.landed) > len(before.landed), "and the plain line is one that counts"


@LAW
@given(books())
def test_a_later_paper_waits_for_its_day(book: Book) -> None:
    late = tuple(
        replace(x, date=ON + timedelta(1), paper="LATE", amount=x.amount * 3) for x in book.purchases if x.kind == "goods"
    )
    after = rates(replace(book, purchases=book.purchases + late), ON)
    before = rates(book, ON)
    assert {c: r.per_base for c, r in before.materials.items()} == {c: r.per_base for c, r in after.materials.items()}


# ------------------------------------------------------------------ tabs there and back


def tabs_read(tabs: Iterable[Any]) -> Book:
    return read_book(Snapshot("book", {tab.name: tab.grid() for tab in tabs}))


def test_the_demo_tabs_are_read_as_they_were_laid_out() -> None:
    """Every record of the scenario's tables comes back from the tabs made of them, and nothing stops."""
    book = tabs_read(demo_tabs())
    assert [f for f in book.findings if f.level == "stop"] == []
    for table, key, records in (
        ("materials", "Code", book.materials), ("products", "Code", book.products), ("channels", "Channel", book.channels),
    ):  # fmt: skip
        keys = next(k for k in (key, table.capitalize(), *scenario(table)[0]) if k in scenario(table)[0])
        assert sorted(records) == sorted(row[keys] for row in scenario(table))
    assert len(book.steps) == len(scenario("steps"))
    assert sum(len(r.lines) for r in book.recipes.values()) == len(scenario("recipes"))
    assert all(p.parts for p in book.products.values())


@settings(LAW, max_examples=15)
@given(st.data())
def test_order_of_the_demo_tabs_changes_nothing(data: st.DataObject) -> None:
    tabs = demo_tabs()
    one, two = tabs_read(tabs), tabs_read(data.draw(st.permutations(tabs)))
    assert one.materials == two.materials and one.products == two.products
    assert dict(one.recipes) == dict(two.recipes) and one.channels == two.channels and one.settings == two.settings


def test_the_blank_tabs_are_read_without_a_stop() -> None:
    book = tabs_read(blank_tabs())
    assert [f for f in book.findings if f.level == "stop"] == []
    assert book.materials and book.recipes and book.products
