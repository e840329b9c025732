"""The same model as live formulas, as a careful user would build it: every recipe and product sums its own block of lines.

The cells have no stored results, so an office program must work all of them out on loading.
"""

from __future__ import annotations

import subprocess
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tests.benchmarks.books import Rows

GRAMS = {"g": 1.0, "kg": 1000.0, "oz": 28.349523125, "lb": 453.59237, "each": 1.0}
MILLILITRES = {"ml": 1.0, "l": 1000.0, "fl oz": 29.5735295625, "tsp": 4.92892159375, "tbsp": 14.78676478125, "cup": 236.5882365}


def save(rows: Mapping[str, Rows], path: Path) -> None:
    """The book of formulas as a file."""
    import openpyxl

    book = openpyxl.Workbook(write_only=True)
    units = book.create_sheet("Units")
    for unit, factor in (GRAMS | MILLILITRES).items():
        units.append([unit, factor, int(unit in MILLILITRES)])
    _rates(book, rows["Materials"], rows["Purchases"])
    _recipes(book, rows)
    _products(book, rows)
    book.save(path)


def _base(amount: str, unit: str, name: str) -> str:
    """Formula text: an amount in grams or pieces by its unit's row and its material's weight per volume."""
    weight = f"INDEX(Materials!$B:$B,MATCH({name},Materials!$A:$A,0))"
    return f"{amount}*VLOOKUP({unit},Units!$A$1:$C$11,2,FALSE)*IF(VLOOKUP({unit},Units!$A$1:$C$11,3,FALSE)=1,{weight},1)"


def _number(value: Any) -> Any:
    return f"={value.replace(' ', '+')}" if isinstance(value, str) else value


def _rates(book: Any, materials: Rows, purchases: Rows) -> None:
    """Purchases with landed rates, and Materials with the rate of the latest paper."""
    head = {text: i for i, text in enumerate(purchases[0])}
    lines = book.create_sheet("Purchases")
    latest: dict[Any, tuple[Any, int]] = {}
    papers: dict[Any, list[int]] = {}
    for at, row in enumerate(purchases[1:], 1):
        papers.setdefault(row[head["Paper"]], []).append(at)
        name, day = row[head["Material"]], row[head["Date"]]
        if name and (name not in latest or day >= latest[name][0]):
            latest[name] = (day, at)
    freight = {p: next(a for a in at if purchases[a][head["Line is"]] == "charge") for p, at in papers.items()}
    for at, row in enumerate(purchases[1:], 1):
        name, paper = row[head["Material"]], papers[row[head["Paper"]]]
        goods = f"F${paper[0]}:F${paper[-1] - 2}"
        landed = f"=F{at}*(1+F${freight[row[head['Paper']]]}/SUM({goods}))/({_base(f'B{at}*C{at}', f'D{at}', f'A{at}')})"
        lines.append([name, row[head["Packs"]], row[head["Pack size"]], row[head["Pack unit"]], None, row[head["Amount"]], landed if name else None])
    sheet = book.create_sheet("Materials")
    place = {text: i for i, text in enumerate(materials[0])}
    for row in materials[1:]:
        name = row[place["Material"]]
        sheet.append([name, row[place["Grams per ml"]] or 1.0, f"=Purchases!G{latest[name][1]}"])


def _recipes(book: Any, rows: Mapping[str, Rows]) -> None:
    """Recipe lines with their grams and cost, and Recipes with cost per usable gram."""
    lines, cards = book.create_sheet("Recipe lines"), book.create_sheet("Recipes")
    at, blocks = 0, []
    for tab, body in rows.items():
        for row in body if tab.startswith("Recipes") else ():
            first = row[0] if row else None
            if first == "Recipe":
                blocks.append([row[1], at + 1, at, 0.0])
            elif first == "Bench loss":
                blocks[-1][3] = row[1]
            elif first and first not in ("Code", "Material"):
                at += 1
                blocks[-1][2] = at
                nested = str(first).startswith("mix ")
                rate = f"INDEX({'Recipes!$C:$C' if nested else 'Materials!$C:$C'},MATCH(A{at},{'Recipes' if nested else 'Materials'}!$A:$A,0))"
                grams = f"=B{at}*1" if nested else "=" + _base(f"B{at}", f"C{at}", f"A{at}")
                lines.append([first, _number(row[1]), row[2], grams, f"=D{at}*{rate}"])
    for i, (name, first_line, last, loss) in enumerate(blocks, 1):
        block = f"'Recipe lines'!{{0}}{first_line}:{{0}}{last}"
        cards.append([name, loss, f"=SUM({block.format('E')})/(SUM({block.format('D')})*(1-B{i}))"])


def _products(book: Any, rows: Mapping[str, Rows]) -> None:
    """Product lines with cost, and Products with unit cost and a price per channel."""
    pay = {r[0]: f"({r[1]}*(1+{r[2]})/60)" for r in rows["Pay"][1:]}
    start = {r[0]: r[1] for r in rows["Start"]}
    overhead = f"({start['Overhead a year']}/{start['Hands-on hours a year']}/60)"
    work = book.create_sheet("Work")
    steps: dict[Any, list[int]] = {}
    for at, row in enumerate(rows["Work"][1:], 1):
        steps.setdefault(row[0], []).append(at)
        minute = f"({pay[row[2]]}+{overhead})"
        work.append([row[0], f"={row[3]}*{minute}", f"={row[4]}*{minute}"])
    lines, sheet = book.create_sheet("Product lines"), book.create_sheet("Products")
    blocks: dict[Any, list[int]] = {}
    head = {text: i for i, text in enumerate(rows["Product lines"][0])}
    order = {r[0]: i for i, r in enumerate(rows["Products"][1:], 1)}
    for at, row in enumerate(rows["Product lines"][1:], 1):
        code = row[head["Product"]]
        blocks.setdefault(code, []).append(at)
        mix = row[head["Takes"]] == "recipe"
        base = f"C{at}" if mix else _base(f"C{at}", f"D{at}", f"B{at}")
        rate = f"INDEX({'Recipes' if mix else 'Materials'}!$C:$C,MATCH(B{at},{'Recipes' if mix else 'Materials'}!$A:$A,0))"
        planned = "1" if row[head["Per"]] == "batch" else f"Products!B{order[code]}"
        lines.append([code, row[head["Item"]], _number(row[head["Amount"]]), row[head["Unit"]], f"={base}*{rate}*{planned}/Products!C{order[code]}"])
    for at, row in enumerate(rows["Products"][1:], 1):
        code, planned, good, family = row[0], row[2], row[3], row[4]
        own, done = blocks[code], steps[family]
        labour = "+".join(f"Work!B{s}+Work!C{s}*B{at}" for s in done)
        cost = f"=SUM('Product lines'!E{own[0]}:E{own[-1]})+({labour})/C{at}"
        prices = [f"=CEILING(D{at}/{1 - t},{s})" for t, s in ((0.35, 0.05), (0.25, 0.05), (0.5, 0.25), (0.45, 0.5))]
        sheet.append([code, planned, good, cost, *prices, *(f"=1-D{at}/{column}{at}" for column in "EFGH")])


def recalculated(program: str, path: Path, folder: Path) -> tuple[Path, float]:
    """The file with every formula worked out by the office program, and the seconds that took, its start included."""
    target = folder / "recalculated"
    start = time.perf_counter()
    profile = f"-env:UserInstallation={(folder / 'profile').as_uri()}"
    command = [program, profile, "--headless", "--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", str(target), str(path)]
    subprocess.run(command, capture_output=True, check=True, timeout=3_600)
    return target / path.name, time.perf_counter() - start


def unit_costs(path: Path) -> dict[str, float]:
    """The unit costs a recalculated file holds."""
    import openpyxl

    book = openpyxl.load_workbook(path, data_only=True, read_only=True)
    return {str(row[0]): float(row[3]) for row in book["Products"].iter_rows(values_only=True)}
