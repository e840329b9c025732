"""Her tabs filled: the invented demo workbook, and the blank one that teaches by a few example rows.

Both are lists of tabs laid out by `book.sheets`. In the demo book Purchases is empty: its papers are posted by the
program, like any of hers. What she would type as text (fractions, ranges) stays text here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal

from costbook.book import layout
from costbook.book.grid import PutTab, Value
from costbook.book.layout import Column, Tab
from costbook.book.model import Settings
from costbook.book.sheets import RecipeBlock, recipe_tab, start_tab, table_tab
from costbook.demo.tables import Record, example, scenario

Row = Mapping[str, Value]

SPARE, BLANK_SPARE = 6, 20
NOT_TO_BE_MADE = "Invented demo recipe: not to be made, used or sold."
DELETE = "example: delete"
EXAMPLE_DATE = date(2026, 1, 5)
ANNOUNCED_FROM = date(2026, 11, 1)

RECIPE_TABS = (
    ("Recipes tins", ("R1", "R2", "R10")),
    ("Recipes stones", ("R3", "R8")),
    ("Recipes soaks", ("R4", "R5")),
    ("Recipes balms", ("R6", "R7", "R9")),
)
# Products with the parts and packaging of another one; only scent and colour differ.
LIKE = {"P02": "P01", "P03": "P01", "P05": "P04", "P07": "P06"}
SLOTS = {"(scent of the piece)": "(scent)", "(colour of the piece)": "(colour)"}
UNIT_NAMES = {"gal": "gallon"}
# Columns of text, for what she writes as 2 3/4 or up to 3; a plain number in them is a number all the same.
AMOUNTS = ("amount", "pack", "usual_pack")
NO_COLOUR, DRIES_OFF = "left out when the piece has no colour", "dries off"
# Notes of the scenario that a recipe line says in a column of its own.
SAID_BY_COLUMNS = (NO_COLOUR, DRIES_OFF)

DEMO_INTRO = (
    "Everything in this workbook is invented demo data: workshop, suppliers, prices, recipes, weights.",
    "The recipes are not to be made, used or sold: nobody has made, tested or assessed them.",
    "Look at Materials, the recipe tabs, Products, Pay, Work and Channels: cells with a pale fill are typed by hand.",
    "Add the supplier papers: each becomes lines of Purchases. Then let the tool work out costs and prices.",
    "Read Findings first, then Costs and Prices. Change a price or an amount and run it again.",
)
BLANK_INTRO = (
    "Example rows stand in every tab, so the book works from the start. Look at them, then delete them.",
    "Fill in the settings below, then Suppliers and Materials. Weigh a level cup of what you measure by cup.",
    "Add your suppliers' papers, or type their lines into Purchases, charges and the total in rows of their own.",
    "Write each recipe as a block on a recipe tab, copying the example. A tab may hold several; you may add tabs.",
    "List Products and what a piece takes (Product lines), then Pay, Work and Channels.",
    "Let the tool work out costs and prices. Read Findings first, then Costs and Prices.",
)


def demo_tabs() -> list[PutTab]:
    """The demo workbook's tabs in order: Start, then hers with the recipe cards before Products. Purchases is empty."""
    recipes = [recipe_tab(name, [_recipe(code) for code in codes]) for name, codes in RECIPE_TABS]
    rows = {
        layout.SUPPLIERS.name: _rows(layout.SUPPLIERS, scenario("suppliers")),
        layout.MATERIALS.name: _materials(),
        layout.PRODUCTS.name: _products(),
        layout.LINES.name: [_product_line(row) for row in scenario("product_lines") if row["Product"] not in LIKE],
        layout.PAY.name: _rows(layout.PAY, scenario("pay")),
        layout.WORK.name: _rows(layout.WORK, scenario("steps")),
        layout.CHANNELS.name: _rows(layout.CHANNELS, scenario("channels")),
        layout.WEEK.name: _rows(layout.WEEK, scenario("week")),
        layout.ANNOUNCED.name: [_announced(row) for row in scenario("price_news")],
    }
    start = start_tab("Saltreed Bath Workshop: invented demo workbook", _demo_settings(), DEMO_INTRO)
    return _in_order(start, rows, recipes, SPARE)


def blank_tabs(paper_date: date = EXAMPLE_DATE) -> list[PutTab]:
    """The blank workbook's tabs: settings at their defaults and one small example, priced as soon as the tool runs.

    `paper_date` is the day of the example paper. A caller who may read the clock gives today's, so that the example's
    prices are neither old nor still to come.
    """
    rows = {tab.name: _examples(tab) for tab in layout.HER_TABS if tab not in (layout.BATCHES, layout.SALES)}
    rows[layout.PURCHASES.name] = [{**line, "date": paper_date} for line in rows[layout.PURCHASES.name]]
    lines = [_by_heading(layout.RECIPE_COLUMNS, row) for row in example("recipe_lines")]
    card = RecipeBlock("Example soak", "XR1", 0.02, lines, note=f"{DELETE}; invented, not to be made", spare=12)
    start = start_tab("Your cost book", _default_settings(), BLANK_INTRO)
    return _in_order(start, rows, [recipe_tab("Recipes", [card])], BLANK_SPARE)


def _examples(tab: Tab) -> list[Row]:
    return _rows(tab, example(tab.name.lower().replace(" ", "_")))


def _rows(tab: Tab, records: Iterable[Record]) -> list[Row]:
    return [_by_heading(tab.columns, record) for record in records]


def _in_order(start: PutTab, rows: Mapping[str, list[Row]], recipes: list[PutTab], spare: int) -> list[PutTab]:
    tabs = [start]
    for tab in layout.HER_TABS:
        if tab is layout.PRODUCTS:
            tabs += recipes
        if tab is layout.ACTIVITIES and tab.name not in rows:
            continue  # the one tab a book does well without
        # Papers are posted below the last row of Purchases: it gets no empty ones.
        tabs.append(table_tab(tab, rows.get(tab.name, []), spare=0 if tab in (layout.PURCHASES, layout.SALES) else spare))
    return tabs


def number_or_text(text: str) -> Value:
    """What she would type: a plain number as a number, everything else as text, nothing as an empty cell.

    >>> number_or_text("5.5"), number_or_text("2 1/2"), number_or_text("36.00"), number_or_text("")
    (5.5, '2 1/2', 36, None)
    """
    if not re.fullmatch(r"-?\d+(\.\d+)?", text):
        return text or None
    value = float(text)
    return int(value) if value.is_integer() else value


def _typed(text: str, column_kind: str) -> Value:
    if column_kind == "date":
        return date.fromisoformat(text) if text else None
    return (text or None) if column_kind == "text" else number_or_text(text)


def _by_heading(columns: Iterable[Column], row: Record) -> Row:
    """A row by column key, for a table whose headings are the tab's own or their synonyms."""
    found = {heading: column for column in columns for heading in column.headings}
    kinds = {heading: "number" if c.key in AMOUNTS else c.kind for heading, c in found.items()}
    return {found[heading].key: _typed(text, kinds[heading]) for heading, text in row.items()}


def _by(table: str, key: str = "Code") -> Mapping[str, Record]:
    return {row[key]: row for row in scenario(table)}


def _demo_settings() -> Row:
    kinds = layout.settings_by_label()
    found = [(kinds[row["Setting"].casefold()], row["Value"]) for row in scenario("settings")]
    return {setting.key: _typed(value, setting.kind) for setting, value in found}


def _default_settings() -> Row:
    defaults = Settings()
    return {row.key: _as_typed(getattr(defaults, row.key)) for row in layout.SETTINGS}


def _as_typed(value: object) -> Value:
    """A default as a cell: yes and no in words, decimals as numbers, empty where there is none."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return number_or_text(str(value)) if value else None
    return value if isinstance(value, (int, float, str, date)) and value != "" else None


def _materials() -> list[Row]:
    stock, aliases = _by("stock"), _aliases()
    return [_material(row, stock[row["Code"]], aliases.get(row["Code"], [])) for row in scenario("materials")]


def _aliases() -> Mapping[str, list[str]]:
    found: dict[str, list[str]] = {}
    for row in scenario("nicknames"):
        found.setdefault(row["Means"], []).append(row["She also writes"])
    return found


def _material(row: Record, stock: Record, aliases: Iterable[str]) -> Row:
    weight = number_or_text(row["Grams per ml (demo)"])
    return {
        "code": row["Code"],
        "name": row["Material"],
        "kind": row["Kind"],
        "supplier": row["Supplier"],
        "usual_pack": number_or_text(row["Pack size"]),
        "usual_pack_unit": UNIT_NAMES.get(row["Pack unit"], row["Pack unit"]),
        "g_per_ml": weight,
        "known_by": "demo assumption" if weight else None,
        "aliases": "; ".join(aliases) or None,
        "supplier_codes": row["Code"],
        "cautions": row["Note"] or None,
        "on_hand": number_or_text(stock["On hand"]),
        "on_hand_unit": stock["Unit"],
    }


def _products() -> list[Row]:
    queue = _by("queue")
    return [_product(row, queue[row["Code"]]) for row in scenario("products")]


def _product(row: Record, queue: Record) -> Row:
    promised_in = "Wholesale" if queue["Wholesale open"] not in ("", "0") else None
    return {**_by_heading(layout.PRODUCTS.columns, {**row, **queue}), "like": LIKE.get(row["Code"]), "promised_in": promised_in}


def _product_line(row: Record) -> Row:
    kind = "recipe" if row["Kind"] == "part" else row["Kind"]
    return {
        "product": row["Product"],
        "kind": kind,
        "item": row["Code"] if kind == "product" else _item_name(row["Code"]),
        "amount": number_or_text(row["Amount"]),
        "unit": "g" if kind == "recipe" else "each",
        "per": "batch" if row["Per"] == "per batch" else "piece",
    }


def _announced(row: Record) -> Row:
    size, _, unit = row["Pack from 1 Nov"].partition(" ")
    same = row["Pack price from 1 Nov"] == row["Pack price now"]
    return {
        "material": row["Material"], "supplier": row["Supplier"], "new_price": None if same else number_or_text(row["Pack price from 1 Nov"]),
        "new_pack": None if row["Pack now"] == row["Pack from 1 Nov"] else number_or_text(size),
        "new_pack_unit": None if row["Pack now"] == row["Pack from 1 Nov"] else unit, "starts": ANNOUNCED_FROM, "note": "their letter of 20 October",
    }  # fmt: skip


def _item_name(code: str) -> str:
    losses = _by("recipe_losses", "Recipe")
    return losses[code]["Name"] if code in losses else _by("materials")[code]["Material"]


def _recipe(code: str) -> RecipeBlock:
    head = _by("recipe_losses", "Recipe")[code]
    aliases = ", ".join(text.lower() for text in _aliases().get(code, []))
    note = NOT_TO_BE_MADE + (f" She also writes: {aliases}." if aliases else "")
    lines = [_recipe_line(row) for row in scenario("recipes") if row["Recipe"] == code]
    loss = Decimal(head["Bench loss %"]) / 100
    return RecipeBlock(head["Name"], code, float(loss), lines, note=note, spare=1)


def _recipe_line(row: Record) -> Row:
    note = row["Note"]
    return {
        "order": number_or_text(row["Order"]),
        "material": SLOTS.get(row["Material"], row["Material"]),
        "amount": number_or_text(row["Amount as written"]),
        "unit": row["Unit"],
        "when": "if colour" if NO_COLOUR in note else None,
        "dries_off": "yes" if note == DRIES_OFF else None,
        "note": "; ".join(part for part in note.split("; ") if part not in SAID_BY_COLUMNS) or None,
    }
