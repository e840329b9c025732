"""Costs of small books worked out by hand: cases a random book rarely meets, each with its sum in the docstring."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

import pytest
from property.strategies import ON, amount, paper_line, percent
from records import replace

from costbook.amounts.quantity import Amount
from costbook.book.model import Book, Material, Part, Product, Recipe, RecipeLine, Settings
from costbook.costing.rates import Rates, landed_lines, papers, rates
from costbook.costing.usage import Cost, Usage, cost_at, costs
from costbook.errors import Where

CLOSE = 1e-9


def worked(book: Book) -> tuple[Usage, Rates, dict[str, Cost]]:
    usage, rated = Usage(book), rates(book, ON)
    return usage, rated, costs(usage, rated)[0]



def share_line(code: str, much: Amount) -> RecipeLine:
    return RecipeLine((code,), code.startswith("R"), "", much, "always", False, "", Where("Recipes", code))


def by_hand(recipes: Sequence[Recipe], *parts: Part, mixer_g: float | None = None) -> Book:
    """Ten planned pieces, ten good. G materials cost 0.01 a gram, whatever is counted 10.00 a piece; no work, no losses."""
    def quoted(code: str, kind: str, base: str) -> Material:
        return Material(
            code=code, name=code, kind=kind, supplier="", g_per_ml=None, weight_source="", waste_fraction=0.0,
            rate_rule="quoted", quoted_price=Decimal(10), quoted_pack=amount(1, "kg" if base == "g" else "each"),
            quoted_from=None, quoted_less=(), usual_pack=None, aliases=(), cautions="", on_hand=None, where=Where("Materials", code), base=base,
        )  # fmt: skip

    shelf = [quoted(c, "other", "g") for c in ("G0", "G1")] + [quoted("E0", "other", "each")]
    shelf += [quoted("K0", "packaging", "each"), quoted("C0", "consumable", "each")]
    made = Product("P0", "Piece", parts, {}, "", 10, 10, {}, Where("Products", "P0"))
    chosen = Settings(book_date=ON, mixer_g=mixer_g)
    return Book(chosen, {}, {m.code: m for m in shelf}, (), {r.code: r for r in recipes}, {"P0": made}, {}, (), {})


def card(code: str, *lines: RecipeLine, pieces: int | None = None, loss: float | None = None) -> Recipe:
    return Recipe(code, code, None if pieces is None else Decimal(pieces), loss, lines, Where("Recipes", code))


def part(kind: str, item: str, much: Amount, per_batch: bool = False) -> Part:
    return Part(kind, item, much, per_batch, Where("Product lines", item))


TEN_PIECES = card("R0", share_line("G0", amount(1000)), pieces=10, loss=0.1)


def test_a_nested_piece_weighs_what_is_left_after_its_bench_loss() -> None:
    """1000 g less a tenth in 10 pieces: 90 g and 1.00 each. 100 g and two of them: 3.00 in 280 g, so 100 g cost 1.0714.

    Finished mass is mass in, less what dries off, less bench loss; a yield in pieces stands after loss.
    """
    outer = card("R1", share_line("G1", amount(100)), share_line("R0", amount(2, "each")))
    [cost] = worked(by_hand([TEN_PIECES, outer], part("recipe", "R1", amount(100))))[2].values()
    assert math.isclose(cost.unit_cost, 300 / 280, rel_tol=CLOSE)


@pytest.mark.parametrize("item", ["E0", "R0"])
def test_a_share_of_the_batch_cannot_be_counted_in_pieces(item: str) -> None:
    """2 % of 100 g is 2 g, not 2 pieces: no price, and a finding."""
    recipe = card("R1", share_line("G1", amount(100)), share_line(item, percent(Fraction(2, 100))))
    book = by_hand([TEN_PIECES, recipe], part("recipe", "R1", amount(100)))
    usage, rated = Usage(book), rates(book, ON)
    found, findings = costs(usage, rated)
    assert found == {} and [f.about for f in findings] == [("P0",)]


def test_a_range_of_packaging_shows_in_lowest_and_highest() -> None:
    """1-3 wraps, usually 2, at 10.00, round 1.00 of mix; with or without a range in the recipe."""
    wraps = part("packaging", "K0", amount(2, "each", Fraction(1), Fraction(3)))
    book = by_hand([card("R0", share_line("G0", amount(100)))], part("recipe", "R0", amount(100)), wraps)
    [cost] = worked(book)[2].values()
    assert (cost.lowest, cost.unit_cost, cost.highest) == pytest.approx((11.0, 21.0, 31.0))


def test_a_recipe_taken_per_batch_fills_the_bowl_once() -> None:
    """500 g a batch in a bowl of 1000 g: two batches go in one mix, so the consumable is paid once and a piece is cheaper."""
    parts = part("recipe", "R0", amount(500), per_batch=True), part("consumable", "C0", amount(1, "each"), per_batch=True)
    usage, rated, found = worked(by_hand([card("R0", share_line("G0", amount(100)))], *parts, mixer_g=1000.0))
    assert cost_at(usage, rated, "P0", 2.0) < found["P0"].unit_cost - 0.4


@pytest.mark.parametrize(
    ("words", "goods", "freight"),
    [("", None, (2, 6)), ("weight", None, (2, 6)), ("value", None, (4, 4)), ("pieces", None, (6, 2)), ("", "each", (4, 4))],
)
def test_a_charge_is_shared_as_its_words_say_else_by_weight_else_by_value(
    words: str, goods: str | None, freight: tuple[int, int]
) -> None:
    """8.00 freight over 3 packs of 1/3 kg and 1 pack of 3 kg, 20.00 each line: 1 to 3 by weight, 1 to 1 by value, 3 to 1
    by pieces. Where a line's weight is not known (it is counted), and nothing is said, by value."""
    book = by_hand([], part("recipe", "R0", amount(1)))
    second = ("K0", amount(3, "each")) if goods == "each" else ("G1", amount(3, "kg"))
    lines = (
        paper_line("N1", "goods", Decimal(20), 1, material="G0", packs=Decimal(3), pack=amount(Fraction(1, 3), "kg")),
        paper_line("N1", "goods", Decimal(20), 2, material=second[0], packs=Decimal(1), pack=second[1]),
        paper_line("N1", "charge", Decimal(8), 3, shared_by=words),
    )
    landed, findings = landed_lines(replace(book, purchases=lines))
    assert [float(x.charges) for x in landed] == pytest.approx(freight) and findings == []


@pytest.mark.parametrize(("fills", "cost"), [({}, 1.0), ({"colour": "G1"}, 100 * 3.0 / 200)])
def test_a_line_for_a_slot_counts_only_where_the_slot_is_filled(fills: dict[str, str], cost: float) -> None:
    """100 g at 0.01; 'if colour' 100 g at 0.02 more. A piece of 100 g: 1.00 without, 3.00 / 200 g x 100 g = 1.50 with."""
    only = replace(share_line("G1", amount(100)), when="colour")
    book = by_hand([card("R0", share_line("G0", amount(100)), only)], part("recipe", "R0", amount(100)))
    dearer = replace(book.materials["G1"], quoted_price=Decimal(20))
    book = replace(
        book, materials=dict(book.materials) | {"G1": dearer},
        products={"P0": replace(book.products["P0"], fills=fills)},
    )  # fmt: skip
    assert worked(book)[2]["P0"].unit_cost == pytest.approx(cost)


def test_a_piece_of_a_recipe_of_pieces_keeps_what_is_left_after_bench_loss() -> None:
    """1000 g less a tenth in 10 pieces: one piece takes 100 g and keeps 90 g."""
    book = by_hand([TEN_PIECES], part("recipe", "R0", amount(1, "each")))
    row = Usage(book).row("P0")
    assert row.bought[("materials", "G0")] == pytest.approx(100)
    assert row.kept["G0"] == pytest.approx(90)


@pytest.mark.parametrize(
    ("paper_type", "goods", "discount", "due"),
    [
        ("invoice", [100], -5, 95), ("invoice", [100], 5, 95), ("invoice", [20, -50], -5, -35),
        ("correction", [-8], 1, -7), ("credit note", [-100, 40], 6, -54),
    ],
)  # fmt: skip
def test_a_discount_is_taken_off_or_given_back(paper_type: str, goods: list[int], discount: int, due: int) -> None:
    """A discount lowers what an invoice charges, minus sign or not, also where a returned line outweighs the goods; where
    all goods go back, or on a credit note, a plus gives the discount back: -8 + 1 = -7, -100 + 40 + 6 = -54."""
    kinds = [("goods", x) for x in goods] + [("discount", discount)]
    lines = tuple(
        replace(paper_line("N1", kind, Decimal(x), row, material="G0"), paper_type=paper_type)
        for row, (kind, x) in enumerate(kinds, 1)
    )
    assert [x.total for x in papers(replace(by_hand([]), purchases=lines))] == [due]


def test_a_supplier_spelt_two_ways_on_one_paper_is_one_supplier() -> None:
    lines = (paper_line("N1", "goods", Decimal(20), 1), paper_line("N1", "charge", Decimal(3), 2))
    lines = (lines[0], replace(lines[1], supplier=f" {lines[0].supplier.upper()} "))
    assert [x.total for x in papers(replace(by_hand([]), purchases=lines))] == [23]
