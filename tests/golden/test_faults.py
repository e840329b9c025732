"""The seeded faults of the demo, each planted in a copy of the workbook, and what a run says of it.

What must be said: `demo/tables/faults.csv` of the shared folder; what may be said of the clean book: its
`demo/clean_findings.md`. F9, a supplier's limit for a scent, is no column of the workbook and is left out.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from shared_files import rows

from costbook.commands import Outcome
from costbook.costing.checks import Priced
from costbook.errors import Finding

Copy = Any
Plant = Callable[[Copy], str]
TINS = ("P01", "P02", "P03", "P04", "P05")
ALL = tuple(f"P{i:02}" for i in range(1, 15))
B1041, S2207 = "B-1041", "S-2207"


@dataclass(frozen=True)
class Fault:
    """One fault: how it is planted (its place comes back), and what must come of it.

    `words` must stand in the sentence; `figures` too, as long as no other fault moves them. `alters` are the products
    whose cost may move, `stops` those that must lose it.
    """

    plant: Plant
    level: str
    words: tuple[str, ...]
    figures: tuple[str, ...] = ()
    alters: tuple[str, ...] = ()
    stops: tuple[str, ...] = ()
    about: tuple[str, ...] = ()


def place(copy: Copy, tab: str, heading: str, named: Any) -> str:
    """The place of a cell that is left as it is."""
    return f"{tab}!{copy.cell(tab, heading, named).coordinate}"


def no_freight(copy: Copy) -> str:
    copy.empty_row("Purchases", (B1041, "charge"))
    return place(copy, "Purchases", "Amount", (B1041, "total"))


def no_back_label(copy: Copy) -> str:
    copy.empty_row("Product lines", ("P12", "Back label"))
    return place(copy, "Products", "Product", "P12")


def two_cups_of_epsom(copy: Copy) -> str:
    copy.type_recipe("R4", "Amount", "Epsom salt, fine", 2)
    return str(copy.type_recipe("R4", "Unit", "Epsom salt, fine", "cups"))


def baking_soda_twice(copy: Copy) -> str:
    copy.add_row("Materials", {"Code": "M31", "Material": "Bicarb", "Kind": "powder"})
    return str(copy.type("Materials", "Material", "M01", "Baking soda "))


def acid_first(copy: Copy) -> str:
    """Moves the last line of R8, the acid, before the first."""
    last = copy.recipe_cell("R8", "Material", "Citric acid, fine")
    first = copy.recipe_cell("R8", "Material", "Baking soda")
    sheet, columns = last.parent, range(2, last.parent.max_column + 1)
    lines = [[sheet.cell(row, c).value for c in columns] for row in range(first.row, last.row + 1)]
    for row, line in enumerate([lines[-1], *lines[:-1]], first.row):
        for column, value in zip(columns, line, strict=True):
            sheet.cell(row, column).value = value
    return f"{sheet.title}!{first.coordinate}"


def recipe_in_itself(copy: Copy) -> str:
    """No line of a circle is more wrong than another: it is told at the card it starts from."""
    copy.type_recipe("R10", "Amount", "", 2)
    copy.type_recipe("R10", "Unit", "", "oz")
    copy.type_recipe("R10", "Material", "", "R2")
    tab, row = copy.recipe("R2")
    assert copy.workbook[tab].cell(row - 1, 1).value == "Recipe"
    return f"{tab}!{copy.workbook[tab].cell(row - 1, 2).coordinate}"


FAULTS: dict[str, Fault] = {
    "F1": Fault(
        lambda c: c.type_recipe("R3", "Unit", "Glycerin", "oz"),
        "ask",
        ("R3", "7 oz", "Glycerin", "thin liquid given in plain oz", "weight or fluid?"),
        ("1.61 against 2.12",),
        alters=("P06", "P07", "P14"),
    ),
    "F2": Fault(
        lambda c: c.type("Purchases", "Date", (B1041, "Citric acid, fine"), datetime(2025, 3, 2)),
        "warn",
        ("Citric acid", "2025-03-02", "older than 180 days"),
    ),
    "F3": Fault(
        lambda c: c.type("Purchases", "Price per pack", (B1041, "M08"), "$52.00 "), "warn", ("$52.00", "read as 52.00")
    ),
    "F4": Fault(
        lambda c: c.type("Costs", "Unit cost", "P06", 2.98),
        "warn",
        ("2.98", "typed where a tool value belongs"),
        ("tool says 2.97",),
    ),
    "F5": Fault(no_freight, "ask", (B1041, "do not add up to the invoice total", "difference 128.00"), alters=ALL),
    "F6": Fault(no_back_label, "warn", ("P12", "no Back label", "Paper pouch"), alters=("P12",), about=("P12",)),
    "F7": Fault(
        lambda c: c.type("Products", "Work as", "P09", None),
        "warn",
        ("P09", "no work steps", "labour is zero"),
        alters=("P09",),
        about=("P09",),
    ),
    "F8": Fault(
        lambda c: place(c, "Product lines", "Item", ("P04", "Marbled butter cap")),
        "warn",
        ("P04", "Marbled butter cap", "40 g x 30 = 1,200 g wanted", "gives 926 g", "make 1.30 batches"),
        about=("P04",),
    ),
    "F10": Fault(
        two_cups_of_epsom, "stop", ("Epsom salt", "weight"), stops=("P08", "P14"), about=("P08", "P14")
    ),
    "F11": Fault(baking_soda_twice, "ask", ("Baking soda", "Bicarb", "same thing twice?")),
    "F12": Fault(
        lambda c: place(c, "Purchases", "Best before", (B1041, "M09")),
        "warn",
        ("OT-118", "past its", "2026-10-15", "R1, R5"),
        about=(*TINS, "P09", "P14"),
    ),
    "F13": Fault(
        lambda c: place(c, "Products", "Wholesale now", "P10"),
        "warn",
        ("P10", "6.00", "under the floor"),
        ("23.5%",),
        about=("P10",),
    ),
    "F14": Fault(
        lambda c: c.type("Products", "Retail now", "P11", 15),
        "warn",
        ("P11", "15.00", "8.00", "less than 2 times wholesale", "undercuts the shops"),
        about=("P11",),
    ),
    "F15": Fault(
        lambda c: c.type("Purchases", "Pack unit", (S2207, "M26"), "oz"),
        "ask",
        ("Lavender essential oil", "same material, two pack units", "4 fl oz is 3.69 oz by weight"),
        alters=("P03", "P10"),
    ),
    "F16": Fault(
        lambda c: c.type("Products", "Colour", "P02", "Blu mica"),
        "stop",
        ('"Blu mica"', "nearest: Blue mica"),
        stops=("P02",),
        about=("P02",),
    ),
    "F17": Fault(
        lambda c: c.type("Products", "Good pieces", "P01", 34),
        "warn",
        ("P01", "34", "32 planned", "more than planned"),
        alters=("P01", "P14"),
        about=("P01",),
    ),
    "F18": Fault(acid_first, "warn", ("R8", "Citric acid", "before the scent is mixed in", "caution")),
    "F19": Fault(recipe_in_itself, "stop", ("a recipe uses itself: R2 > R10 > R2",), stops=(*TINS, "P13", "P14")),
}
# A product without a cost has no batch to compare with its recipe, and no lot in it: F19 takes P04 away.
MASKED_BY_A_CIRCLE = {"F8"}


def told(fault: Fault, planted: str, findings: Any, *, alone: bool = True) -> list[Finding]:
    """The findings that say of a fault what must be said, at its place."""
    words = fault.words + (fault.figures if alone else ())
    return [
        f
        for f in findings
        if f.level == fault.level
        and all(w.casefold() in f.sentence.casefold() for w in words)
        and str(f.where) == planted
        and (not alone or set(fault.about) <= set(f.about))
    ]


def moved(priced: Priced, before: Priced) -> set[str]:
    """The products whose unit cost is another one, or gone."""
    return {
        code
        for code, cost in before.costs.items()
        if code not in priced.costs or not math.isclose(cost.unit_cost, priced.costs[code].unit_cost, rel_tol=1e-12)
    }


def test_every_fault_of_the_table_has_its_test() -> None:
    assert set(FAULTS) | {"F9"} == {row["Fault"] for row in rows("demo/tables/faults.csv")}


@dataclass(frozen=True)
class Ran:
    """One book with one fault: its place, what the run came to, and the Costs and Prices rows the file then holds."""

    planted: str
    outcome: Outcome
    costs: dict[str, dict[str, Any]]
    priced_codes: set[str]


@pytest.fixture(scope="module")
def ran(copy_into: Callable[[Path], Copy], tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Ran]:
    """Plants a fault in a copy and prices it, once for all tests that ask for it."""
    folder = tmp_path_factory.mktemp("faults")

    @cache
    def run(name: str) -> Ran:
        copy = copy_into(folder / name)
        planted = FAULTS[name].plant(copy)
        outcome = copy.price()
        costs, prices = copy.written("Costs", "Prices")
        return Ran(planted, outcome, {row["Code"]: row for row in costs}, {row["Code"] for row in prices})

    return run


def listed(planted: str, outcome: Outcome) -> str:
    """Everything that was found, for a failed test's message."""
    found = (f"{f.level} {f.where}: {f.sentence} {f.about}" for f in outcome.findings)
    return "\n".join([f"planted at {planted}", *found])


@pytest.mark.parametrize("name", list(FAULTS))
def test_the_fault_is_reported_at_its_place(name: str, ran: Callable[[str], Ran]) -> None:
    fault, run = FAULTS[name], ran(name)
    assert len(told(fault, run.planted, run.outcome.findings)) == 1, listed(run.planted, run.outcome)
    assert run.outcome.stopped == bool(fault.stops)


@pytest.mark.parametrize("name", list(FAULTS))
def test_only_the_products_concerned_lose_or_change_their_price(
    name: str, ran: Callable[[str], Ran], clean: tuple[Priced, Any]
) -> None:
    fault, run = FAULTS[name], ran(name)
    priced = run.outcome.priced
    assert set(clean[0].costs) - set(priced.costs) == set(fault.stops)
    assert moved(priced, clean[0]) == set(fault.stops) | set(fault.alters)
    without = {code for code, row in run.costs.items() if not isinstance(row["Unit cost"], int | float)}
    assert set(run.costs) == set(ALL) and without == set(fault.stops)
    assert all("no price" in str(run.costs[code]["Materials"]) for code in without)
    assert run.priced_codes == set(ALL) - without


@pytest.mark.parametrize("name", list(FAULTS))
def test_a_fault_adds_only_what_comes_of_it(
    name: str, ran: Callable[[str], Ran], clean: tuple[Priced, list[Finding]]
) -> None:
    """Other checks keep quiet or say what they said: one fault does not set off alarms elsewhere."""
    fault, run = FAULTS[name], ran(name)
    before = {(f.check, f.sentence) for f in clean[1]}
    own = told(fault, run.planted, run.outcome.findings)
    new = [f for f in run.outcome.findings if (f.check, f.sentence) not in before and f not in own]
    assert [f for f in new if f.check not in ALSO.get(name, set())] == []


# What follows from a fault beside its own finding, by name of the check: shares that moved with the cost are said
# anew, and products without a cost drop out of the lists of others.
ALSO: dict[str, set[str]] = {
    "F1": {"scale-recipe", "under-floor"},  # less glycerin makes a smaller batch
    "F5": {"under-floor", "under-target"},
    "F6": {"under-floor"},
    "F7": {"under-target"},
    "F10": {"under-target"},
    "F11": {"stray-space"},
    "F15": {"under-floor", "announced-which-pack"},  # an announced price of that oil then meets two packs
    "F16": {"under-target"},
    "F17": {"under-floor"},
    "F19": {"no-price", "best-before", "under-target"},
}


def planted_together(copy: Copy, names: list[str]) -> tuple[dict[str, str], Outcome]:
    """The faults planted in one book: their places, and one run. Places are read again once all are planted."""
    planted = {name: FAULTS[name].plant(copy) for name in names}
    return planted, copy.price()


def test_all_faults_together_are_reported_in_one_run(book: Copy) -> None:
    planted, outcome = planted_together(book, list(FAULTS))
    silent = {n for n, at in planted.items() if not told(FAULTS[n], at, outcome.findings, alone=False)}
    assert silent == MASKED_BY_A_CIRCLE, listed("all", outcome)
    assert set(ALL) - set(outcome.priced.costs) == {p for f in FAULTS.values() for p in f.stops}


def test_all_faults_but_the_circle_are_reported_in_one_run(book: Copy) -> None:
    names = [name for name in FAULTS if name != "F19"]
    planted, outcome = planted_together(book, names)
    assert {n for n in names if not told(FAULTS[n], planted[n], outcome.findings, alone=False)} == set()
    assert set(ALL) - set(outcome.priced.costs) == {"P02", "P08", "P14"}


# ------------------------------------------------------------ the clean book

FLOOR = [("under-floor", (code,)) for code in ("P09", "P10", "P12", "P13", "P14")]
UNDER_WHOLESALE_TARGET = (*TINS, "P06", "P07", "P08", "P11")
CLEAN = [
    ("best-before", ("P12",)),
    ("best-before", (*TINS, "P09", "P14")),
    ("allergen", ()),
    ("all-good", ("P08", "P09", "P11", "P13", "P14")),
    ("scale-recipe", ("P01",)),
    ("scale-recipe", ("P02",)),
    ("scale-recipe", ("P03",)),
    ("scale-recipe", ("P04",)),
    ("scale-recipe", ("P04",)),
    ("scale-recipe", ("P05",)),
    ("scale-recipe", ("P05",)),
    ("set-parts", ("P14",)),
    *FLOOR,
    ("under-target", UNDER_WHOLESALE_TARGET),
]
# Beyond the shared list, and right: all are under the web shop's 65 % (tier_summary_expected.csv says so).
EXTRA = [("under-target", ALL)]


def test_the_clean_book_says_what_is_true_of_it_and_no_more(clean: tuple[Priced, list[Finding]]) -> None:
    """The list above: demo/clean_findings.md of the shared folder, the part of it this program reads, and one more."""
    assert len(EXTRA) <= 2
    assert sorted((f.check, f.about) for f in clean[1]) == sorted(CLEAN + EXTRA)
    assert {f.level for f in clean[1]} == {"warn", "note"}


def test_the_list_for_the_clean_book_follows_from_the_tables() -> None:
    """The products named above are those the shared tables say, each worked out here."""
    summary = {r["Code"]: r for r in rows("demo/tables/tier_summary_expected.csv") if r["Prices"] == "today"}
    assert [c for c, r in summary.items() if r["Wholesale now is"] == "under floor"] == [about[0] for _, about in FLOOR]
    assert tuple(c for c, r in summary.items() if r["Wholesale now is"] == "under target") == UNDER_WHOLESALE_TARGET
    assert [c for c, r in summary.items() if float(r["Web margin % after fees at retail now"]) < 65] == list(ALL)
    products = {r["Code"]: r for r in rows("demo/tables/products.csv")}
    good = tuple(c for c, r in products.items() if r["Pieces planned"] == r["Good pieces (usual)"])
    assert good == ("P08", "P09", "P11", "P13", "P14")
    codes = {r["Material"]: r["Code"] for r in rows("demo/tables/materials.csv")}
    usable = {
        (r["Recipe"], r["Scent"], r["Colour"]): float(r["Usable grams"])
        for r in rows("demo/tables/recipe_batches_expected.csv")
    }
    short = []
    for line in rows("demo/tables/product_lines.csv"):
        product = products[line["Product"]]
        fills = (codes.get(product["Scent"], ""), codes.get(product["Colour"], ""))
        if line["Kind"] == "part" and line["Code"].startswith("R"):
            wanted = float(line["Amount"]) * int(product["Pieces planned"])
            short += [(line["Product"],)] if wanted > usable[(line["Code"], *fills)] else []
    assert sorted(short) == sorted(about for check, about in CLEAN if check == "scale-recipe")
