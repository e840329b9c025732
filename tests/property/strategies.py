"""Random small books, built as records without any tab: materials bought on papers, recipes in recipes, products, sets.

Nothing here is read from cells, so that a law about costing fails for costing alone. Codes: G materials by weight, E
materials by the piece, K packaging, C consumables, R recipes, P products. A recipe only uses recipes before it and a
product only products before it: no circles.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import Any, TypeVar

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from records import replace

from costbook.amounts.money import Ending
from costbook.amounts.quantity import Amount, unit
from costbook.book.model import (
    GOODS_KINDS,
    Activity,
    Book,
    Channel,
    Material,
    Part,
    Product,
    PurchaseLine,
    Recipe,
    RecipeLine,
    Role,
    Settings,
    Step,
    Supplier,
)
from costbook.errors import Where

# One setting for all laws: modest, without a clock, and the same examples every time where CI runs.
LAW = settings(
    max_examples=60,
    deadline=None,
    derandomize=bool(os.environ.get("COSTBOOK_CI")),
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
)
ON = date(2026, 6, 1)
MASS, VOLUME, COUNT = ("g", "kg", "oz", "lb"), ("mL", "cup", "tbsp", "US fl oz"), ("each", "dozen")
FAMILIES = ("pressed", "poured")
SLOTS = ("scent", "colour")
T = TypeVar("T")


def amount(usual: Fraction | int, name: str = "g", low: Fraction | None = None, high: Fraction | None = None) -> Amount:
    """An amount as reading makes it; a range where low and high are given."""
    middle = Fraction(usual)
    lowest, highest = (middle, middle) if low is None or high is None else (low, high)
    return Amount(f"{middle} {name}", unit(name), lowest, middle, highest)


def percent(share: Fraction, low: Fraction | None = None, high: Fraction | None = None) -> Amount:
    """A share of the batch; a range where low and high are given."""
    lowest, highest = (share, share) if low is None or high is None else (low, high)
    return Amount(f"{share * 100} %", None, lowest, share, highest, percent=True)


@cache
def hundredths(low: int, high: int) -> st.SearchStrategy[Decimal]:
    return st.integers(low, high).map(lambda n: Decimal(n) / 100)


@cache
def fractions(low: int, high: int, of: int = 8) -> st.SearchStrategy[Fraction]:
    return st.integers(low * of, high * of).map(lambda n: Fraction(n, of))


def pick(draw: Any, options: Sequence[T]) -> T:
    """One of the options; faster than a strategy of its own, which is made anew for every list."""
    return options[draw(st.integers(0, len(options) - 1))]


def rarely(draw: Any) -> bool:
    return bool(draw(st.integers(0, 4)) == 4)


# ------------------------------------------------------------------ materials


def materials(draw: Any, code: str, kind: str, base: str) -> Material:
    """One material; a weight per volume is known for most, a quoted price for some."""
    quoted = rarely(draw)
    pack = amount(draw(st.integers(1, 5)), pick(draw, COUNT if base == "each" else MASS))
    known = base == "g" and not rarely(draw)
    stock = draw(st.none() | fractions(0, 9000, 1))
    return Material(
        code=code, name=f"Material {code}", kind=kind, supplier="", g_per_ml=draw(st.integers(30, 160)) / 100 if known else None,
        weight_source="", waste_fraction=pick(draw, [0.0, 0.0, 0.02, 0.1]),
        rate_rule=pick(draw, ["", "", "latest", "average", "layers", "quoted"]),
        quoted_price=draw(hundredths(50, 9000)) if quoted else None, quoted_pack=pack if quoted else None,
        quoted_from=pick(draw, [None, ON - timedelta(30), ON + timedelta(30)]), usual_pack=None, aliases=(),
        quoted_less=pick(draw, [(), (), (Decimal("0.2"), Decimal("0.1"), Decimal("0.05"))]),
        cautions="", on_hand=None if stock is None else amount(stock, "each" if base == "each" else "g"),
        where=Where("Materials", code), base=base,
    )  # fmt: skip


def shelves(draw: Any) -> dict[str, Material]:
    """All materials of a book."""
    kinds = [(f"G{i}", pick(draw, GOODS_KINDS), "g") for i in range(draw(st.integers(2, 5)))]
    kinds += [("E0", "other", "each"), ("K0", "packaging", "each"), ("C0", "consumable", "each")]
    return {code: materials(draw, code, kind, base) for code, kind, base in kinds}


# ------------------------------------------------------------------ papers


def paper_line(paper: str, kind: str, money: Decimal, row: int, **more: Any) -> PurchaseLine:
    """One line of a paper with everything empty that is not said."""
    plain = PurchaseLine(
        supplier="Supplier 1", paper=paper, paper_type="invoice", date=ON, kind=kind, item_code=f"{paper}-{row}", description="",
        material="", packs=Decimal(0), pack=None, pack_price=None, amount=money, shared_by="", covers="", currency="USD",
        currency_rate=None, lot="", best_before=None, counts=None, source="", where=Where("Purchases", f"{paper}.{row}"),
    )  # fmt: skip
    return replace(plain, **more)


def goods_line(draw: Any, paper: str, row: int, material: Material | None) -> PurchaseLine:
    """A charged line of goods; None is a material that is not hers yet."""
    counted = material is not None and material.base == "each"
    volume = material is not None and material.base == "g" and material.g_per_ml and rarely(draw)
    pack = amount(draw(fractions(1, 30, 2)), pick(draw, COUNT if counted else VOLUME if volume else MASS))
    packs, price = Decimal(draw(st.integers(1, 12))), draw(hundredths(100, 9000))
    return paper_line(
        paper, "goods", packs * price, row, material=material.code if material else "", packs=packs, pack=pack,
        pack_price=price,
    )  # fmt: skip


def paper(draw: Any, number: int, goods: list[Material], *, plain: bool = False) -> list[PurchaseLine]:
    """The lines of one paper; `plain` leaves out what makes no price: returns, samples, unknown materials."""
    name = f"N{number}"
    lines = [goods_line(draw, name, i, m) for i, m in enumerate(goods)]
    row = len(lines)
    if not plain and rarely(draw):
        lines.append(goods_line(draw, name, row, None))
    if not plain and rarely(draw):
        back = goods_line(draw, name, row + 1, goods[0])
        lines.append(replace(back, packs=-back.packs, amount=-back.amount))
    if not plain and rarely(draw):
        free = goods_line(draw, name, row + 2, goods[0])
        lines.append(replace(free, kind="sample", amount=Decimal(0)))
    net = sum((x.amount for x in lines if x.amount > 0), Decimal(0))
    covers = ["", "", "all", *sorted({m.kind for m in goods}), f"{name}-0", f"{name}-0; {name}-1"]
    if draw(st.booleans()):
        # Of the smallest line, so that no line goes below nothing whichever the discount covers.
        off = min(x.amount for x in lines if x.amount > 0) * draw(st.integers(1, 30)) / 100
        sign = pick(draw, [1, -1])
        lines.append(paper_line(name, "discount", sign * off, row + 3, covers=pick(draw, covers)))
    for extra in range(draw(st.integers(0, 2))):
        basis = pick(draw, ["", "weight", "value", "pieces"])
        cost = draw(hundredths(50, 4000))
        lines.append(paper_line(name, "charge", cost, row + 4 + extra, shared_by=basis, covers=pick(draw, covers)))
    if draw(st.booleans()):
        lines.append(paper_line(name, "tax", draw(hundredths(10, 5000)), row + 6))
    return [*lines, paper_line(name, "total", net, row + 7)]


def stamped(draw: Any, lines: list[PurchaseLine], number: int, supplier: str, plain: bool) -> list[PurchaseLine]:
    """The lines with what a paper has once: date (each paper another), supplier, currency, type.

    A credit note gives all of it back, so its packs and money are negative, as posting writes them.
    """
    # Some papers are dated after the book's day; the one that holds everything is the newest or the oldest.
    later = (40 if rarely(draw) else 0) if number else pick(draw, [0, -60])
    day = ON - timedelta(8 * number + draw(st.integers(0, 7)) - later)
    foreign = rarely(draw)
    types = ["invoice", "invoice", "invoice", "correction", *([] if plain else ["credit note"])]
    kind = pick(draw, types) if number else "invoice"
    sign = -1 if kind == "credit note" else 1
    rate = draw(hundredths(60, 140)) if foreign else None
    says = pick(draw, [None, None, None, True, False]) if number else None
    return [
        replace(x, date=day, supplier=supplier, paper_type=kind, currency="EUR" if foreign else "USD",
                currency_rate=rate, packs=sign * x.packs, amount=sign * x.amount, counts=says if x.kind == "goods" else None)
        for x in lines
    ]  # fmt: skip


def purchases(draw: Any, shelf: dict[str, Material], suppliers: list[str], *, plain: bool = False) -> list[PurchaseLine]:
    """Papers whose first, which surely counts, has a line of everything (or of all but one)."""
    everything = list(shelf.values())
    if not plain and rarely(draw):
        everything = everything[1:]
    lists = [everything]
    for weighed in draw(st.lists(st.booleans(), max_size=3)):
        known = sorted(c for c in shelf if c[0] == "G" or not weighed)
        picked = draw(st.lists(st.sampled_from(known), min_size=1, max_size=3, unique=True))
        lists.append([shelf[code] for code in picked])
    found = []
    for number, goods in enumerate(lists):
        lines = paper(draw, number, goods, plain=plain)
        found += stamped(draw, lines, number, pick(draw, suppliers), plain)
    return found


# ------------------------------------------------------------------ recipes


def ends(draw: Any, usual: Fraction) -> tuple[Fraction | None, Fraction | None]:
    """Low and high of a range round the usual amount; none for an exact one."""
    down, up = pick(draw, [(0, 0), (0, 0), (10, 10), (0, 30), (25, 0), (20, 5)])
    return (usual * (100 - down) / 100, usual * (100 + up) / 100) if down or up else (None, None)


def recipe_line(draw: Any, code: str, row: int, shelf: dict[str, Material], before: dict[str, Recipe]) -> RecipeLine:
    """Any line: material, recipe, slot or one of several; exact, a range, or a share of the batch."""
    weighed = [m for m in shelf if m[0] == "G"]
    which = pick(draw, ["material", "material", "material", "choice", "slot", "piece", *["recipe"] * 2])
    slot, choices = "", (pick(draw, weighed),)
    names: tuple[str, ...] = MASS
    if which == "choice":
        choices = tuple(draw(st.lists(st.sampled_from(weighed), min_size=2, max_size=3)))
    elif which == "piece":
        choices, names = ("E0",), COUNT
    elif which == "slot":
        slot, choices = pick(draw, SLOTS), ()
    elif which == "recipe" and before:
        choices = (pick(draw, sorted(before)),)
        names = COUNT if before[choices[0]].pieces else MASS
    when = "always" if not rarely(draw) else pick(draw, ["optional", *SLOTS])
    by_weight = names == MASS
    if by_weight and which in ("material", "choice", "slot") and rarely(draw):
        names = VOLUME
    if by_weight and rarely(draw):
        share = Fraction(draw(st.integers(1, 8)), 100)
        much = percent(share, *ends(draw, share))
    else:
        usual = draw(fractions(1, 40, 4))
        much = amount(usual, pick(draw, names), *ends(draw, usual))
    return RecipeLine(choices, which == "recipe" and bool(before), slot, much, when, rarely(draw), "", Where(code, f"A{row}"))


def recipe(draw: Any, code: str, shelf: dict[str, Material], before: dict[str, Recipe]) -> Recipe:
    """A recipe whose first line is a plain weight that stays, so that a batch weighs something."""
    first = RecipeLine(("G0",), False, "", amount(draw(fractions(20, 2000, 2))), "always", False, "", Where(code, "A0"))
    more = [recipe_line(draw, code, i, shelf, before) for i in range(1, draw(st.integers(1, 5)))]
    pieces = Decimal(draw(st.integers(1, 40))) if rarely(draw) else None
    loss = pick(draw, [None, 0.0, 0.02, 0.1])
    return Recipe(code, f"Recipe {code}", pieces, loss, (first, *more), Where(code, "B1"))


# ------------------------------------------------------------------ products


def product(
    draw: Any, code: str, shelf: dict[str, Material], recipes: dict[str, Recipe], before: dict[str, Product]
) -> Product:
    """A product of one or two recipes, packaging and consumables; some are sets of products before them."""
    parts = []
    for i, name in enumerate(draw(st.lists(st.sampled_from(sorted(recipes)), min_size=1, max_size=2, unique=True))):
        much = amount(draw(st.integers(1, 4)), "each") if recipes[name].pieces else amount(draw(fractions(5, 300, 2)))
        per_batch = i > 0 and draw(st.booleans())
        parts.append(Part("recipe", name, much, per_batch, Where("Product lines", f"{code}.{i}")))
    if before and draw(st.booleans()):
        inner = pick(draw, sorted(before))
        parts.append(Part("product", inner, amount(draw(st.integers(1, 3)), "each"), rarely(draw), Where("Product lines", f"{code}.7")))
    parts.append(Part("packaging", "K0", amount(draw(st.integers(1, 3)), "each"), rarely(draw), Where("Product lines", f"{code}.8")))
    if draw(st.booleans()):
        parts.append(Part("consumable", "C0", amount(draw(fractions(1, 4, 2)), "each"), draw(st.booleans()), Where("Product lines", f"{code}.9")))
    if rarely(draw):
        times = amount(draw(st.integers(1, 4)), "each")
        parts.append(Part("activity", "mixer cleaning", times, draw(st.booleans()), Where("Product lines", f"{code}.10")))
    weighed = [m for m in shelf if m[0] == "G"]
    fills = {slot: pick(draw, weighed) for slot in SLOTS if not rarely(draw)}
    planned = draw(st.integers(1, 40))
    return Product(
        code=code, name=f"Product {code}", parts=tuple(parts), fills=fills, family=pick(draw, ["", *FAMILIES]),
        planned=planned, good=draw(st.integers(1, planned)), where=Where("Products", code),
        prices={name: draw(hundredths(50, 6000)) for name in ("wholesale", "retail") if draw(st.booleans())},
    )  # fmt: skip


def channel(draw: Any, name: str, roles: list[str]) -> Channel:
    """A channel with any mix of fees, fixed costs, tax, target, floor and ending."""
    shares = st.sampled_from(["margin", "kept"])
    target = draw(st.none() | hundredths(5, 60))
    ending = st.sampled_from(["0.05", "0.25", "0.50", "1"]).map(lambda v: Ending("step", Decimal(v)))
    cents = st.sampled_from(["0.95", "0.00", "0.49"]).map(lambda v: Ending("cents", Decimal(v)))
    return Channel(
        name=name, price=pick(draw, ["wholesale", "retail", ""]), fee_fraction=draw(hundredths(0, 25)),
        fee_on_shown=draw(st.booleans()), per_item=draw(hundredths(0, 60)), per_order=draw(hundredths(0, 400)),
        order_minutes=Decimal(draw(st.integers(0, 20))), order_role=pick(draw, roles),
        pieces_per_order=Decimal(draw(st.integers(0, 12))), per_day=draw(hundredths(0, 5000)),
        pieces_per_day=Decimal(draw(st.integers(0, 80))), tax_fraction=pick(draw, [Decimal(0), Decimal("0.21")]),
        target_fraction=target, target_counts=draw(shares), floor_fraction=draw(st.none() | hundredths(0, 40)),
        floor_counts=draw(shares), ending=draw(st.none() | ending | cents), smallest_order=None, where=Where("Channels", name),
    )  # fmt: skip


@st.composite
def books(draw: Any, *, plain: bool = False) -> Book:
    """A whole small book. `plain` papers hold only what makes a price, each line of a material of hers."""
    shelf = shelves(draw)
    names = ["Supplier 1", "Supplier 2"]
    suppliers = {
        n: Supplier(n, "USD", pick(draw, ["", "weight", "value", "pieces"]), "", None, Where("Suppliers", n))
        for n in names
    }
    recipes: dict[str, Recipe] = {}
    for i in range(draw(st.integers(1, 4))):
        recipes[f"R{i}"] = recipe(draw, f"R{i}", shelf, dict(recipes))
    roles = {
        n: Role(n, draw(hundredths(900, 3000)), pick(draw, [Decimal(0), Decimal("0.18")]), Where("Pay", n))
        for n in ("maker", "helping hand")
    }
    steps = [
        Step(pick(draw, FAMILIES), f"Step {i}", pick(draw, sorted(roles)), draw(st.integers(0, 90)) / 2,
             draw(st.integers(0, 12)) / 4, draw(st.integers(0, 48)) / 1, Where("Work", f"A{i}"))
        for i in range(draw(st.integers(1, 4)))
    ]  # fmt: skip
    products: dict[str, Product] = {}
    for i in range(draw(st.integers(1, 4))):
        products[f"P{i}"] = product(draw, f"P{i}", shelf, recipes, dict(products))
    channels = {f"Channel {i}": channel(draw, f"Channel {i}", sorted(roles)) for i in range(draw(st.integers(1, 3)))}
    chosen = Settings(
        book_date=ON, rate_rule=pick(draw, ["latest", "average", "layers", "quoted"]),
        tax_reclaimed=draw(st.booleans()), overhead_per_year=draw(hundredths(0, 900_000)),
        hands_on_hours_per_year=Decimal(draw(st.integers(0, 1800))),
        retail_over_wholesale=pick(draw, [Decimal(1), Decimal("1.8"), Decimal(2)]),
    )  # fmt: skip
    bought = tuple(purchases(draw, shelf, names, plain=plain))
    cleaning = Activity("mixer cleaning", draw(hundredths(100, 90_000)), Decimal(draw(st.integers(1, 300))), Where("Activities", "A1"))
    activities = {cleaning.name: cleaning}
    return Book(chosen, suppliers, shelf, bought, recipes, products, roles, tuple(steps), channels, activities=activities)
