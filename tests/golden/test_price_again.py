"""Running again, and running on a book that is not as it was made: what stays, what is noticed, what is refused.

What is hers stays as it is; what the tool wrote is written again only where something changed; what cannot be read is
said in one sentence and stops no more than it must. Expected figures are those of the clean demo (checked against the
shared tables elsewhere in this folder).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from copy import copy as duplicate
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from records import replace

from costbook import commands
from costbook.book.grid import Snapshot
from costbook.book.tool_tabs import TOOL_TABS
from costbook.costing.checks import Priced
from costbook.errors import BookError, CostbookError, Finding, LayoutError
from costbook.hosts import disk
from costbook.hosts.file import WorkbookFile
from costbook.printouts import result_tabs
from costbook.printouts.marks import beside

Copy = Any
Clean = tuple[Priced, list[Finding]]
DEMO_DATE = date(2026, 10, 26)
TINS = {"P01", "P02", "P03", "P04", "P05"}
ALL = {f"P{i:02}" for i in range(1, 15)}
HERS = (
    "Suppliers",
    "Materials",
    "Purchases",
    "Recipes tins",
    "Recipes stones",
    "Recipes soaks",
    "Recipes balms",
    "Products",
    "Product lines",
    "Pay",
    "Work",
    "Channels",
)


def stamp(path: Path) -> tuple[bytes, int]:
    """What must not move where nothing is written: the bytes and the time of the file."""
    return path.read_bytes(), path.stat().st_mtime_ns


def same_figures(priced: Priced, before: Priced) -> bool:
    """Whether every cost and every price comes to the same."""
    costs = {c: x.unit_cost for c, x in priced.costs.items()}
    as_before = {c: x.unit_cost for c, x in before.costs.items()}
    prices = {(t.product, t.channel): (t.proposal, t.floor_price, t.her_price, t.flag) for t in priced.tiers}
    prices_before = {(t.product, t.channel): (t.proposal, t.floor_price, t.her_price, t.flag) for t in before.tiers}
    near = costs.keys() == as_before.keys() and all(math.isclose(costs[c], as_before[c], rel_tol=1e-12) for c in costs)
    return near and prices == prices_before


def lost(outcome: commands.Outcome) -> set[str]:
    return ALL - set(outcome.priced.costs)


def stops(outcome: commands.Outcome) -> list[Finding]:
    return [f for f in outcome.findings if f.level == "stop"]


# ------------------------------------------------------------ the second run


def test_a_second_run_leaves_the_file_alone(book: Copy) -> None:
    before = stamp(book.path)
    outcome = commands.price(book.path)
    assert not outcome.written and stamp(book.path) == before


def test_tabs_looked_at_row_by_row_are_those_that_would_be_drawn(book: Copy) -> None:
    host = WorkbookFile(book.path)
    snapshot = host.snapshot()
    host.close()
    priced, _ = commands.worked_out(snapshot, DEMO_DATE)
    tabs = result_tabs.figure_tabs(priced, snapshot)
    assert [tab.name for tab in tabs] == ["Costs", "Prices", "Landed rates", "Cost trace"]
    for tab in tabs:
        assert tuple(tab.rows()) == tab.put().rows and tab.stands(snapshot)
        rows = snapshot.grids[tab.name].rows
        for other in (rows[:-1], (*rows, ("one more",)), (*rows[:-1], (*rows[-1][:1], "typed", *rows[-1][2:]))):
            changed = Snapshot(snapshot.name, {**snapshot.grids, tab.name: replace(snapshot.grids[tab.name], rows=other)})
            assert not tab.stands(changed)
        assert tab.stands(Snapshot(snapshot.name, {tab.name: replace(snapshot.grids[tab.name], rows=(*rows, (None, ""), ()))}))


def test_after_a_change_the_first_run_writes_and_the_second_does_not(book: Copy) -> None:
    book.type("Pay", "Pay an hour", "helper", 17)
    first = book.price()
    before = stamp(book.path)
    second = commands.price(book.path)
    assert first.written and not second.written and stamp(book.path) == before
    assert [f.sentence for f in second.findings] == [f.sentence for f in first.findings]


def test_the_day_of_the_run_alone_changes_nothing(book: Copy) -> None:
    """The demo has a book date: a run on another day finds the same."""
    before = stamp(book.path)
    assert not commands.price(book.path, today=date(2031, 1, 1)).written and stamp(book.path) == before


def test_what_is_hers_stays(book: Copy) -> None:
    """A column, a tab, a formula and a note of her own, and every cell of her tabs, through a run that writes."""
    from openpyxl.comments import Comment

    sheet = book.workbook["Products"]
    own = sheet.max_column + 2
    typed = dict(zip(range(3, 8), ("My mark", "ask Ann", 12.5, "½ later", True), strict=True))
    for row, value in typed.items():
        sheet.cell(row, own).value = value
    sheet.cell(4, own).comment = Comment("mine, not the tool's", "she")
    ideas = book.workbook.create_sheet("Ideas", 0)
    for line in (["winter", 3.25], ["spring", 4], ["together", "=B1+B2"]):
        ideas.append(line)
    book.type("Purchases", "Amount", ("B-1041", "M14"), 150)
    before = every_cell(book.save())
    outcome = book.price()
    assert outcome.written
    after = every_cell(book.path)
    for tab in (*HERS, "Ideas"):
        assert after[tab] == before[tab], tab
    stored = openpyxl.load_workbook(book.path)
    assert stored.sheetnames[0] == "Ideas" and stored["Ideas"]["B3"].value == "=B1+B2"
    assert [stored["Products"].cell(row, own).value for row in typed] == list(typed.values())
    assert "mine, not the tool's" in stored["Products"].cell(4, own).comment.text


def every_cell(path: Path) -> dict[str, dict[str, Any]]:
    workbook = openpyxl.load_workbook(path)
    return {
        s.title: {c.coordinate: c.value for row in s.iter_rows() for c in row if c.value is not None} for s in workbook
    }


def test_trial_prices_stay_when_rates_change(book: Copy) -> None:
    trials = {("P03", "Web"): 18.0, ("P12", "Wholesale"): 5.25}
    for (code, channel), price in trials.items():
        book.type("Prices", "Trial price: type here", (code, channel), price)
    assert book.price().written
    first = trial_rows(book)
    book.type("Purchases", "Amount", ("B-1041", "M02"), 275)
    book.type("Purchases", "Price per pack", ("B-1041", "M02"), 137.5)
    book.type("Products", "Code", "P14", "P15")  # the last row gets another code: rows of Prices are written anew
    assert book.price().written
    second = trial_rows(book)
    assert (
        {k: r["Trial price: type here"] for k, r in second.items()}
        == trials
        == {k: r["Trial price: type here"] for k, r in first.items()}
    )
    for key, row in second.items():
        assert math.isclose(row["Margin at trial"], (trials[key] - row["Unit cost"]) / trials[key], rel_tol=1e-9)
    assert second[("P12", "Wholesale")]["Margin at trial"] < first[("P12", "Wholesale")]["Margin at trial"] - 0.01


def trial_rows(book: Copy) -> dict[tuple[str, str], dict[str, Any]]:
    (prices,) = book.written("Prices")
    return {(r["Code"], r["Channel"]): r for r in prices if r["Trial price: type here"] is not None}


def test_a_cell_typed_over_is_noticed_once_and_put_right(book: Copy, clean: Clean) -> None:
    places = [book.type("Costs", "Unit cost", "P06", 2.98), book.type("Landed rates", "Landed rate", "M14", 0.5)]
    outcome = book.price()
    over = [f for f in outcome.findings if f.check == "typed-over"]
    assert sorted(str(f.where) for f in over) == sorted(places) and {f.level for f in over} == {"warn"}
    assert same_figures(outcome.priced, clean[0])
    (costs,) = book.written("Costs")
    assert abs(next(r for r in costs if r["Code"] == "P06")["Unit cost"] - clean[0].costs["P06"].unit_cost) < 1e-9
    before = stamp(book.path)
    assert not commands.price(book.path).written and stamp(book.path) == before


def test_what_she_typed_beside_or_below_a_table_of_the_tool_is_told(book: Copy) -> None:
    """Nothing of hers goes without a word: the cells are named, the state before is kept, and a second run writes nothing."""
    sheet = book.workbook["Costs"]
    below, beside = f"B{sheet.max_row + 3}", "X5"
    sheet[below], sheet[beside] = "ask the packer", 7
    book.workbook["Findings"]["J1"] = "seen by me"
    told = [f for f in book.price().findings if f.check == "typed-beside"]
    assert {str(f.where).partition("!")[0] for f in told} == {"Costs", "Findings"}
    costs = next(f.sentence for f in told if "ask the packer" in f.sentence)
    assert f'{below} "ask the packer"' in costs and f'{beside} "7"' in costs
    (kept, *_) = disk.kept_states(book.path)
    assert "ask the packer" in str(WorkbookFile(kept.path).snapshot().grids["Costs"].rows)
    before = stamp(book.path)
    assert not commands.price(book.path).written and stamp(book.path) == before


def test_the_tool_finds_nothing_of_hers_on_its_own_tabs(book: Copy, tmp_path: Path) -> None:
    for run in (commands.changed, commands.accept, commands.shops, commands.count, commands.record):
        run(book.save(), today=DEMO_DATE)
    commands.make_next(book.path, "plan", 1.0, today=DEMO_DATE)
    snapshot = WorkbookFile(book.path).snapshot()
    names = [tab.name for tab in TOOL_TABS if snapshot.grid(tab.name)]
    assert len(names) > 20 and not beside(snapshot, names)


# ------------------------------------------------------------ the same book, laid out otherwise


def tabs_reversed(book: Copy) -> None:
    for name in book.workbook.sheetnames:
        book.workbook.move_sheet(name, -book.workbook.sheetnames.index(name))


def columns_reversed(book: Copy) -> None:
    """Headings and cells of her tables from right to left, two columns further right and one row further down."""
    for tab in ("Materials", "Purchases", "Products", "Product lines", "Pay", "Work", "Channels"):
        sheet = book.workbook[tab]
        lines = [[cell.value for cell in row][::-1] for row in sheet.iter_rows()]
        sheet.delete_rows(1, sheet.max_row)
        for row, line in enumerate(lines, 2):
            for column, value in enumerate(line, 3):
                sheet.cell(row, column).value = value


def other_words(book: Copy) -> None:
    """Tabs and headings under other names they are found by."""
    words = {
        "Purchases": {"Paper": "Invoice", "Packs": "Quantity", "Amount": "Line total", "Pack size": "pack"},
        "Materials": {"Material": "Ingredient", "Kind": "TYPE", "Grams per ml": "Density"},
        "Products": {"Good pieces": "Good", "Pieces planned": "Planned", "Work as": "Steps", "Colour": "Color"},
        "Pay": {"Who": "Role"},
        "Work": {"Minutes a piece": "Minutes per planned piece"},
    }
    for tab, headings in words.items():
        for heading, other in headings.items():
            book.put(book.heading(tab, heading), other)
    for tab, other in {"Purchases": "Invoices", "Materials": "Supplies", "Work": "Work steps", "Pay": "Roles"}.items():
        book.workbook[tab].title = other


def units_left_out(book: Copy) -> None:
    """Product lines without the units that go without saying: grams of a mix, pieces of all else."""
    unit, takes = book.heading("Product lines", "Unit"), book.heading("Product lines", "Takes")
    sheet = book.workbook["Product lines"]
    for row in range(unit.row + 1, sheet.max_row + 1):
        said = (sheet.cell(row, takes.column).value, sheet.cell(row, unit.column).value)
        assert said in (
            ("recipe", "g"),
            ("packaging", "each"),
            ("consumable", "each"),
            ("product", "each"),
            (None, None),
        )
        sheet.cell(row, unit.column).value = None


def blank_rows(book: Copy) -> None:
    """Empty rows inside every table and one inside a recipe."""
    for tab in ("Materials", "Purchases", "Products", "Product lines", "Pay", "Work", "Channels"):
        sheet = book.workbook[tab]
        for row in (7, 5):
            moved_down(sheet, row)
    moved_down(book.workbook["Recipes tins"], book.recipe_cell("R1", "Material", "Emulsifying wax").row)


def moved_down(sheet: Any, first: int) -> None:
    """Everything from a row on one row further down."""
    for row in range(sheet.max_row, first - 1, -1):
        for column in range(1, sheet.max_column + 1):
            sheet.cell(row + 1, column).value = duplicate(sheet.cell(row, column).value)
            sheet.cell(row, column).value = None


@pytest.mark.parametrize("change", [tabs_reversed, columns_reversed, other_words, blank_rows, units_left_out])
def test_another_layout_changes_no_figure(change: Callable[[Copy], None], book: Copy, clean: Clean) -> None:
    change(book)
    outcome = book.price()
    assert stops(outcome) == [] and same_figures(outcome.priced, clean[0])
    assert sorted((f.check, f.about) for f in outcome.findings) == sorted((f.check, f.about) for f in clean[1])
    before = stamp(book.path)
    assert not commands.price(book.path).written and stamp(book.path) == before


# ------------------------------------------------------------ what cannot be read


@pytest.mark.parametrize(
    ("tab", "heading"),
    [
        ("Purchases", "Amount"),
        ("Materials", "Kind"),
        ("Products", "Good pieces"),
        ("Product lines", "Item"),
        ("Pay", "Pay an hour"),
        ("Work", "Who"),
        ("Channels", "Channel"),
    ],
)
def test_a_needed_heading_renamed_is_named_with_its_tab(tab: str, heading: str, book: Copy) -> None:
    book.put(book.heading(tab, heading), "Something else")
    path = book.save()
    before = stamp(path)
    with pytest.raises(LayoutError) as error:
        commands.price(path)
    assert tab in str(error.value) and f"'{heading}'" in str(error.value) and error.value.do
    assert stamp(path) == before


@pytest.mark.parametrize("tab", ["Materials", "Purchases", "Products", "Product lines", "Pay", "Work", "Channels"])
def test_a_missing_tab_is_named(tab: str, book: Copy) -> None:
    del book.workbook[tab]
    path = book.save()
    before = stamp(path)
    with pytest.raises((LayoutError, BookError)) as error:
        commands.price(path)
    assert f"'{tab}'" in str(error.value) and stamp(path) == before


def test_two_things_missing_are_named_at_once(book: Copy) -> None:
    del book.workbook["Pay"]
    book.put(book.heading("Purchases", "Amount"), "Sum")
    with pytest.raises(CostbookError, match="Amount") as error:
        commands.price(book.save())
    assert "'Pay'" in str(error.value)


def oat_unweighed(book: Copy) -> str:
    """Takes the weight per volume of the oat powder away, which R1 takes by the cup."""
    book.type("Materials", "Grams per ml", "M09", None)
    cell = book.recipe_cell("R1", "Material", "Colloidal oat powder")
    return f"{cell.parent.title}!{cell.coordinate}"


def set_in_itself(book: Copy) -> str:
    line = {"Product": "P14", "Takes": "product", "Item": "P14", "Amount": 1, "Unit": "each"}
    book.add_row("Product lines", line)
    return f"Products!{book.cell('Products', 'Product', 'P14').coordinate}"


# A line of a paper without its money carries no freight: the other lines of that paper carry a little more until it is
# mended, and the paper's sum is asked about.
MOVES_THE_FREIGHT, CENT = "text for money", 0.0125
# What is typed, the place it must be told at, words of the sentence or the advice, and who loses the price.
UNREADABLE: dict[str, tuple[Callable[[Copy], str], tuple[str, ...], set[str]]] = {
    "a unit nobody knows": (
        lambda b: b.type_recipe("R1", "Unit", "Colloidal oat powder", "cupp"),
        ("cupp", "cup"),
        TINS | {"P14"},
    ),
    "a recipe of itself": (
        lambda b: b.type_recipe("R10", "Material", "Mango butter", "R10"),
        ("R10 > R10",),
        TINS | {"P13", "P14"},
    ),
    "a set of itself": (set_in_itself, ("P14 > P14",), {"P14"}),
    "text for pieces": (lambda b: b.type("Products", "Good pieces", "P05", "most"), ("most", "number"), {"P05"}),
    "text for minutes": (
        lambda b: b.type("Work", "Minutes a batch", ("scrub", "Melt and blend"), "long"),
        ("long", "number"),
        {"P11"},
    ),
    "text for an amount": (lambda b: b.type_recipe("R7", "Amount", "Fine sugar", "some"), ("some",), {"P11"}),
    "text for money": (lambda b: b.type("Purchases", "Amount", ("B-1041", "M10"), "free"), ("free", "number"), {"P11"}),
    "text for pay": (
        lambda b: b.type("Pay", "Pay an hour", "owner", "plenty"),
        ("plenty", "number"),
        ALL - {"P08", "P09"},
    ),
    "text in the settings": (lambda b: b.setting("Overhead a year", "a lot"), ("a lot", "number"), ALL),
    "an error in a cell": (lambda b: b.type("Products", "Pieces planned", "P13", "#N/A"), ("#N/A",), {"P13"}),
    "no weight per volume": (oat_unweighed, ("Colloidal oat powder", "volume", "Weigh"), TINS | {"P14"}),
    "a role nobody has": (lambda b: b.type("Work", "Who", ("balm", "Pour"), "ownr"), ("ownr", "owner"), {"P10"}),
    "no work of that name": (lambda b: b.type("Products", "Work as", "P12", "showr"), ("showr", "shower"), {"P12"}),
}


@pytest.mark.parametrize("name", list(UNREADABLE))
def test_what_cannot_be_read_stops_the_products_that_need_it(name: str, book: Copy, clean: Clean) -> None:
    plant, words, concerned = UNREADABLE[name]
    place = plant(book)
    total = f"Purchases!{book.cell('Purchases', 'Amount', ('B-1041', 'total')).coordinate}"
    outcome = book.price()
    said = [f for f in stops(outcome) if all(w.casefold() in f"{f.sentence} {f.do}".casefold() for w in words)]
    found = "\n".join(f"{f.where}: {f.sentence} {f.do} {f.about}" for f in stops(outcome))
    tab = place.partition("!")[0]
    assert any(str(f.where).startswith(tab) for f in said), f"planted at {place}, found\n{found}"
    assert lost(outcome) == concerned, found
    kept = {c: x.unit_cost for c, x in outcome.priced.costs.items()}
    near = CENT if name == MOVES_THE_FREIGHT else 1e-12
    assert all(abs(cost - clean[0].costs[c].unit_cost) < near for c, cost in kept.items())
    if name == MOVES_THE_FREIGHT:
        assert [str(f.where) for f in outcome.findings if f.check == "paper-total" and f.level == "ask"] == [total]
    assert outcome.written and outcome.stopped
