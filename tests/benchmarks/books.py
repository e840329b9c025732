"""Seeded synthetic workbooks on the program's own layout, from a workshop's size up. Everything is invented.

A book is made as plain rows by tab, so that the same rows can be a file, a snapshot, or a book of formulas. The recipes are
nested up to three deep; amounts are numbers and written fractions; a paper's freight is shared by value.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from costbook.book import layout
from costbook.book.grid import Grid, Snapshot, Value
from costbook.book.layout import Tab

Rows = list[list[Value]]
BOOK_DATE = date(2026, 10, 26)
RECIPES_A_TAB = 100
LINES_A_PAPER = 20
PRODUCTS_A_FAMILY = 40
PACKS = (("g", 500), ("g", 1000), ("kg", 5), ("oz", 32), ("lb", 2), ("lb", 10), ("l", 1), ("fl oz", 16))
LINE_UNITS = ("g", "oz", "lb", "tsp", "tbsp", "fl oz", "cup", "ml")
USUAL_AMOUNT = {"g": 240, "oz": 8, "lb": 1, "tsp": 6, "tbsp": 4, "fl oz": 6, "cup": 1, "ml": 180}
PIECE_AMOUNT = {"g": 90, "oz": 3, "fl oz": 2, "ml": 60, "tbsp": 3}
FRACTIONS = ("1/4", "1/2", "3/4", "1/3", "2/3")
FIRST = ("plain", "soft", "amber", "cedar", "linen", "moss", "honey", "rose", "salt", "oatmeal", "mint", "clay")
SECOND = ("balm", "bar", "wash", "oil", "melt", "butter")


@dataclass(frozen=True, slots=True)
class Shape:
    """How many materials (a quarter of them packaging), recipes and products."""

    materials: int
    recipes: int
    products: int


SIZES = {"tiny": Shape(12, 6, 10), "S": Shape(60, 40, 120), "M": Shape(500, 1_000, 5_000)}


def name(index: int) -> str:
    """A two-word name with its number."""
    return f"{FIRST[index % 12]} {SECOND[index // 12 % 6]} {index + 1}"


def tabs(shape: Shape, seed: int = 7) -> dict[str, Rows]:
    """The rows of every tab by its name, headings first."""
    chance = random.Random(seed)
    packaging = max(4, shape.materials // 4)
    ingredients = shape.materials - packaging
    families = max(2, shape.products // PRODUCTS_A_FAMILY)
    found = {"Start": _start()}
    found["Materials"] = _table(layout.MATERIALS, _materials(shape.materials, ingredients, chance))
    found["Purchases"] = _table(layout.PURCHASES, _purchases(shape.materials, ingredients, chance))
    found |= _recipes(shape.recipes, ingredients, chance)
    found["Products"] = _table(layout.PRODUCTS, _products(shape.products, families, chance))
    found["Product lines"] = _table(layout.LINES, _lines(shape, ingredients, chance))
    found["Pay"] = _table(layout.PAY, [{"role": "maker", "pay": 21.0, "on_cost": 0.12}, {"role": "packer", "pay": 17.0, "on_cost": 0.12}])
    found["Work"] = _table(layout.WORK, _work(families, chance))
    found["Channels"] = _table(layout.CHANNELS, _channels())
    return found


def _table(tab: Tab, rows: Sequence[Mapping[str, Value]]) -> Rows:
    keys = [c.key for c in tab.columns if any(c.key in row for row in rows)]
    return [[tab.column(key).heading for key in keys], *([row.get(key) for key in keys] for row in rows)]


def _start() -> Rows:
    said: dict[str, Value] = {"book_date": BOOK_DATE, "overhead_per_year": 9_000.0, "hands_on_hours_per_year": 1_500.0}
    return [[s.label, said[s.key]] for s in layout.SETTINGS if s.key in said]


def material_code(index: int) -> str:
    """The code of a material."""
    return f"M{index + 1:05d}"


def _materials(count: int, ingredients: int, chance: random.Random) -> list[dict[str, Value]]:
    kinds = ("powder", "liquid", "solid fat", "other")
    rows: list[dict[str, Value]] = []
    for i in range(count):
        goods = i < ingredients
        row: dict[str, Value] = {"code": material_code(i), "name": f"{'' if goods else 'pack '}{name(i)}", "kind": kinds[i % 4] if goods else "packaging"}
        rows.append(row | ({"g_per_ml": round(chance.uniform(0.45, 1.35), 3), "known_by": "own scale"} if goods else {}))
    return rows


def _purchases(count: int, ingredients: int, chance: random.Random) -> list[dict[str, Value]]:
    bought = [i for i in range(count) for _ in range(chance.randint(2, 6))]
    chance.shuffle(bought)
    worth = [chance.lognormvariate(-4.6, 0.5) for _ in range(count)]
    weights = {"g": 1.0, "kg": 1000.0, "oz": 28.35, "lb": 453.6, "l": 1000.0, "fl oz": 29.57}
    rows: list[dict[str, Value]] = []
    for number, start in enumerate(range(0, len(bought), LINES_A_PAPER)):
        head: dict[str, Value] = {"supplier": f"Supplier {number % 9 + 1}", "paper": f"P-{number + 1:05d}", "date": BOOK_DATE - timedelta(days=5 + number % 160)}
        total = 0.0
        for i in bought[start : start + LINES_A_PAPER]:
            unit, size = PACKS[chance.randrange(len(PACKS))] if i < ingredients else ("each", chance.choice((24, 50, 100)))
            each = worth[i] * weights.get(unit, 20.0) * chance.uniform(0.95, 1.05)
            packs, price = chance.randint(1, 4), max(round(each * size, 2), 0.05)
            amount = round(packs * price, 2)
            total += amount
            rows.append(head | {"material": f"{'' if i < ingredients else 'pack '}{name(i)}", "packs": float(packs), "pack": float(size),
                                "pack_unit": unit, "pack_price": price, "amount": amount})  # fmt: skip
        freight = round(total * 0.06 + 4, 2)
        rows.append(head | {"kind": "charge", "description": "freight", "amount": freight, "shared_by": "value"})
        rows.append(head | {"kind": "total", "amount": round(total + freight, 2)})
    return rows


def recipe_name(index: int) -> str:
    """The name of a recipe."""
    return f"mix {name(index)}"


def _amount(usual: float, chance: random.Random) -> Value:
    if usual <= 8 and chance.random() < 0.5:
        return f"{chance.randint(1, max(1, int(usual)))} {chance.choice(FRACTIONS)}"
    return max(0.25, round(usual * chance.uniform(0.4, 1.6) * 4) / 4)


def _recipes(count: int, ingredients: int, chance: random.Random) -> dict[str, Rows]:
    """Cards on tabs; the first three fifths are made of materials only, the others also of an earlier recipe."""
    found: dict[str, Rows] = {}
    plain = max(1, count * 3 // 5)
    for i in range(count):
        rows = found.setdefault(f"Recipes {i // RECIPES_A_TAB + 1}", [])
        rows += [["Recipe", recipe_name(i)], ["Code", f"R{i + 1:05d}"], ["Bench loss", round(chance.uniform(0.005, 0.05), 3)]]
        rows.append(["Material", "Amount", "Unit"])
        for place in range(chance.randint(10, 15)):
            nested = i >= plain and place == 0
            below = chance.randrange(plain if i < (plain + count) // 2 else i)
            what = recipe_name(below) if nested else name(chance.randrange(ingredients))
            unit = "g" if nested else LINE_UNITS[chance.randrange(len(LINE_UNITS))]
            rows.append([what, 400.0 if nested else _amount(USUAL_AMOUNT[unit], chance), unit])
        rows += [[], []]
    return found


def product_code(index: int) -> str:
    """The code of a product."""
    return f"A{index + 1:06d}"


def _products(count: int, families: int, chance: random.Random) -> list[dict[str, Value]]:
    rows: list[dict[str, Value]] = []
    for i in range(count):
        planned = chance.randint(20, 80)
        wholesale = round(chance.uniform(4, 12), 2)
        rows.append({"code": product_code(i), "name": f"piece {name(i)}", "planned": float(planned), "good": float(planned - chance.randint(1, 4)),
                     "family": f"family {i % families + 1}", "wholesale": wholesale, "retail": round(wholesale * 2.1, 2)})  # fmt: skip
    return rows


def _lines(shape: Shape, ingredients: int, chance: random.Random) -> list[dict[str, Value]]:
    units = tuple(PIECE_AMOUNT)
    rows: list[dict[str, Value]] = []
    for i in range(shape.products):
        head: dict[str, Value] = {"product": product_code(i)}
        for _ in range(chance.randint(1, 2)):
            rows.append(head | {"kind": "recipe", "item": recipe_name(chance.randrange(shape.recipes)), "amount": float(chance.randint(30, 140)), "unit": "g"})
        for _ in range(chance.randint(2, 4)):
            pack = chance.randrange(ingredients, shape.materials)
            rows.append(head | {"kind": "packaging", "item": f"pack {name(pack)}", "amount": float(chance.randint(1, 2)), "unit": "each"})
        unit = units[chance.randrange(len(units))]
        rows.append(head | {"kind": "consumable", "item": name(chance.randrange(ingredients)), "amount": _amount(PIECE_AMOUNT[unit], chance),
                            "unit": unit, "per": "batch"})  # fmt: skip
    return rows


def _work(families: int, chance: random.Random) -> list[dict[str, Value]]:
    steps = (("weigh and mix", "maker"), ("fill", "maker"), ("label and pack", "packer"))
    return [
        {"family": f"family {f + 1}", "name": step, "role": role, "batch_minutes": float(chance.randint(5, 30)), "piece_minutes": chance.randint(1, 8) / 4}
        for f in range(families) for step, role in steps
    ]  # fmt: skip


def _channels() -> list[dict[str, Value]]:
    return [
        {"name": "Shops", "price": "wholesale", "target": 0.35, "target_counts": "margin", "ending": "next 0.05"},
        {"name": "Big shops", "target": 0.25, "target_counts": "margin", "ending": "next 0.05"},
        {"name": "Market", "price": "retail", "fee": 0.025, "per_item": 0.10, "target": 0.5, "target_counts": "margin", "ending": "next 0.25"},
        {"name": "Own page", "price": "retail", "fee": 0.04, "per_item": 0.30, "target": 0.45, "target_counts": "kept", "ending": "next 0.50"},
    ]  # fmt: skip


def snapshot(rows: Mapping[str, Rows]) -> Snapshot:
    """The book as a host would read it."""
    grids = {tab: Grid(tab, tuple(tuple(_read(v) for v in row) for row in body)) for tab, body in rows.items()}
    return Snapshot("book.xlsx", grids)


def _read(value: Value) -> Value:
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


def save(rows: Mapping[str, Rows], path: Path) -> None:
    """The book as a file."""
    import openpyxl

    book = openpyxl.Workbook(write_only=True)
    for tab, body in rows.items():
        sheet = book.create_sheet(tab)
        for row in body:
            sheet.append(row)
    book.save(path)
