"""The same job done the ordinary way: read with openpyxl, a pint quantity on every line, pandas, written with openpyxl.

The baseline of the speed measures: how a careful person would write it with general libraries for these very books (latest
paper, freight by value, US measures). It knows only what `books.py` makes, and finds, checks and explains nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

UNITS = {"g": "gram", "kg": "kilogram", "oz": "ounce", "lb": "pound", "ml": "milliliter", "l": "liter", "fl oz": "fluid_ounce",
         "tsp": "teaspoon", "tbsp": "tablespoon", "cup": "cup", "each": "count"}  # fmt: skip
HEADINGS = ("Code", "Channel", "Unit cost", "Proposed price", "Margin", "Kept a piece")


# A cell as the full writing gets it: what stands in it, its number format ("General": none), and whether it is bold.
Written = tuple[Any, str, bool]


def price(path: Path, write: bool, tabs: Mapping[str, Sequence[Sequence[Written]]] | None = None) -> dict[str, Any]:
    """Unit costs by product and proposals by (product, channel); written into the file where asked.

    Args:
        tabs: whole tabs to write in place of the six columns: their cells, handed over ready. None writes the six columns.
    """
    import openpyxl

    book = openpyxl.load_workbook(path)
    found = worked_out({ws.title: [list(row) for row in ws.iter_rows(values_only=True)] for ws in book.worksheets})
    if write and tabs is not None:
        for title, rows in tabs.items():
            if title in book.sheetnames:
                del book[title]
            _write(book.create_sheet(title), rows)
        book.save(path)
    elif write:
        for title in ("Ordinary costs", "Ordinary prices"):
            if title in book.sheetnames:
                del book[title]
        costs, prices = book.create_sheet("Ordinary costs"), book.create_sheet("Ordinary prices")
        for row in found["cost rows"]:
            costs.append(row)
        prices.append(HEADINGS)
        for row in found["price rows"]:
            prices.append(row)
        book.save(path)
    return found


def _write(sheet: Any, rows: Sequence[Sequence[Written]]) -> None:
    """Rows appended as values, then a look for those cells alone that have one."""
    from openpyxl.styles import Font

    bold = Font(bold=True)
    for number, row in enumerate(rows, 1):
        sheet.append([value for value, _, _ in row])
        for column, (value, number_format, is_bold) in enumerate(row, 1):
            if value is not None and (is_bold or number_format != "General"):
                cell = sheet.cell(number, column)
                if is_bold:
                    cell.font = bold
                if number_format != "General":
                    cell.number_format = number_format


def worked_out(tabs: Mapping[str, list[list[Any]]]) -> dict[str, Any]:
    """The figures of a book's rows."""
    import pandas as pd
    import pint

    registry = pint.UnitRegistry()

    def frame(tab: str) -> Any:
        return pd.DataFrame(tabs[tab][1:], columns=tabs[tab][0])

    def grams(amount: object, unit: str, g_per_ml: float) -> float:
        """Grams (or pieces) of one written amount, by a quantity of its own."""
        number = float(sum(Fraction(word) for word in amount.split())) if isinstance(amount, str) else float(str(amount))
        quantity = registry.Quantity(number, UNITS[unit])
        if unit == "each":
            return float(quantity.to("count").magnitude)
        if quantity.check("[volume]"):
            quantity = quantity * registry.Quantity(g_per_ml, "gram / milliliter")
        return float(quantity.to("gram").magnitude)

    materials = frame("Materials")
    density = dict(zip(materials["Material"], materials["Grams per ml"].fillna(1.0)))
    rate = _rates(frame("Purchases"), density, grams)
    mixes = _mixes(tabs, rate, density, grams)
    return _prices(frame, tabs, rate, mixes, density, grams)


def _rates(lines: Any, density: Mapping[str, float], grams: Any) -> dict[str, float]:
    """Cost per gram or piece by material's name: the latest paper, its freight shared by value."""
    goods = lines[lines["Material"].notna()].copy()
    freight = lines[lines["Line is"] == "charge"].groupby("Paper")["Amount"].sum()
    whole = goods.groupby("Paper")["Amount"].transform("sum")
    goods["landed"] = goods["Amount"] * (1 + goods["Paper"].map(freight).fillna(0.0) / whole)
    goods["grams"] = [grams(p, u, density[m]) * n for p, u, m, n in zip(goods["Pack size"], goods["Pack unit"], goods["Material"], goods["Packs"])]
    latest = goods.sort_values("Date", kind="stable").groupby("Material").last()
    return dict((latest["landed"] / latest["grams"]).items())


def _mixes(tabs: Mapping[str, list[list[Any]]], rate: Mapping[str, float], density: Mapping[str, float], grams: Any) -> dict[str, float]:
    """Cost per usable gram by recipe's name; a recipe uses only earlier ones."""
    found: dict[str, float] = {}
    for tab, rows in tabs.items():
        if not tab.startswith("Recipes"):
            continue
        name, loss, cost, weight = "", 0.0, 0.0, 0.0
        for row in [*rows, ["Recipe", ""]]:
            first = row[0] if row else None
            if first == "Recipe":
                if name:
                    found[name] = cost / (weight * (1 - loss))
                name, cost, weight = str(row[1]), 0.0, 0.0
            elif first == "Bench loss":
                loss = float(row[1])
            elif first and first not in ("Code", "Material"):
                taken = grams(row[1], row[2], density.get(first, 1.0))
                cost += taken * (rate[first] if first in rate else found[first])
                weight += taken
    return found


def _prices(frame: Any, tabs: Mapping[str, list[list[Any]]], rate: Mapping[str, float], mixes: Mapping[str, float], density: Mapping[str, float], grams: Any) -> dict[str, Any]:
    products, lines, pay, work = frame("Products"), frame("Product lines"), frame("Pay"), frame("Work")
    products = products.set_index("Code")
    lines["cost"] = [
        grams(a, u, density.get(i, 1.0)) * (mixes[i] if i in mixes else rate[i]) for a, u, i in zip(lines["Amount"], lines["Unit"], lines["Item"])
    ]
    planned, good = lines["Product"].map(products["Pieces planned"]), lines["Product"].map(products["Good pieces"])
    lines["cost"] *= planned.where(lines["Per"].isna(), 1.0) / good
    start = {row[0]: row[1] for row in tabs["Start"]}
    overhead = start["Overhead a year"] / start["Hands-on hours a year"] / 60
    minute = dict(zip(pay["Who"], pay["Pay an hour"] * (1 + pay["On-cost"]) / 60))
    work["rate"] = work["Who"].map(minute) + overhead
    work["batch"], work["piece"] = work["Minutes a batch"] * work["rate"], work["Minutes a piece"] * work["rate"]
    steps = work.groupby("Steps for")[["batch", "piece"]].sum()
    family, count = products["Work as"], products["Pieces planned"]
    labour = (family.map(steps["batch"]) + family.map(steps["piece"]) * count) / products["Good pieces"]
    unit_cost = lines.groupby("Product")["cost"].sum().reindex(products.index) + labour
    costs = dict(unit_cost.items())
    channels = frame("Channels").to_dict("records")
    rows, proposals = [], {}
    for code, cost in costs.items():
        wholesale = None
        for channel in channels:
            at = proposal(channel, cost, wholesale)
            wholesale = at if channel["Sells at"] == "wholesale" else wholesale
            proposals[code, channel["Channel"]] = at
            hers = products.at[code, "Retail now" if channel["Sells at"] == "retail" else "Wholesale now"]
            fee, item = _plain(channel["Fee"]), _plain(channel["Per piece"])
            rows.append((code, channel["Channel"], cost, at, (at - cost) / at, hers - fee * hers - item - cost))
    return {"costs": costs, "proposals": proposals, "price rows": rows, "cost rows": [("Code", "Unit cost"), *costs.items()]}


def _plain(value: Any) -> float:
    return 0.0 if value is None or value != value else float(value)


def proposal(channel: Any, cost: float, wholesale: float | None) -> float:
    """The price at the channel's target, up to the next step; retail at least twice wholesale."""
    fee = _plain(channel["Fee"]) if channel["Target counts"] == "kept" else 0.0
    item = _plain(channel["Per piece"]) if channel["Target counts"] == "kept" else 0.0
    net = (cost + item) / (1 - fee - channel["Target"])
    if channel["Sells at"] == "retail" and wholesale is not None:
        net = max(net, 2 * wholesale)
    step = float(channel["Ending"].removeprefix("next "))
    return round(math.ceil(round(net / step, 6)) * step, 2)
