"""Cells that could be meant two ways, or silently make a wrong price: each is told, and none is guessed.

The cases are those a first reader met when she tried the tool with a book of her own.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from costbook import commands
from costbook.commands import Outcome
from costbook.costing.checks import Priced
from costbook.errors import Finding, InputError, WriteRefused

Copy = Any  # DemoCopy of conftest.py


def told(outcome: Outcome, where: str, level: str, *words: str) -> bool:
    """Whether a finding of that level at that place says all of these words, with something to do."""
    return any(
        str(f.where) == where and f.level == level and f.do and all(w in f.sentence for w in words)
        for f in outcome.findings
    )


def without_cost(outcome: Outcome) -> set[str]:
    return set(outcome.priced.book.products) - set(outcome.priced.costs)


B1041 = "B-1041"
EVERY = {f"P{i:02}" for i in range(1, 15)}

CASES: dict[str, tuple[Callable[[Copy], str], str, tuple[str, ...], set[str]]] = {
    # how it is typed; level; words of the sentence; the products that lose their cost
    "a share of 100 % is not 1 %": (lambda b: b.type("Pay", "On-cost", "helper", 1.0), "stop", ("100 %",), EVERY),
    "overhead without hours": (
        lambda b: b.setting("Hands-on hours a year", None),
        "stop",
        ("no hands-on hours",),
        EVERY,
    ),
    "a book currency that is none": (lambda b: b.setting("Book currency", "dollars"), "stop", ("DOLLARS",), EVERY),
    "a word that is no setting": (lambda b: b.setting("Decimal mark", "dot"), "stop", ("dot",), EVERY),
    "a negative fee": (lambda b: b.type("Channels", "Fee", "Web", -0.05), "stop", ("less than nothing",), set()),
    "a negative order": (lambda b: b.type("Channels", "Per order", "Web", -5), "stop", ("less than nothing",), set()),
    "an order of no pieces": (
        lambda b: b.type("Channels", "Pieces an order", "Web", None),
        "ask",
        ("one piece carries",),
        set(),
    ),
    "a number beyond meaning": (lambda b: b.type("Pay", "Pay an hour", "helper", 1e300), "stop", ("too large",), EVERY),
    "a formula nobody worked out": (
        lambda b: b.type("Pay", "Pay an hour", "helper", "=8*2"),
        "stop",
        ("without a stored result",),
        EVERY,
    ),
    "a line of no product": (lambda b: b.type("Product lines", "Product", ("P12", "Back label"), None), "stop", ("no product", "of P12 above"), {"P12"}),
    "nothing of a material": (lambda b: b.type_recipe("R8", "Amount", "Citric acid, fine", 0), "ask", ("0 of Citric acid, fine",), set()),
    "a price typed as words": (lambda b: b.type("Products", "Wholesale now", "P10", "six"), "ask", ("six",), set()),
    "stock typed as words": (lambda b: b.type("Materials", "On hand", "M01", "plenty"), "ask", ("plenty",), set()),
}


@pytest.mark.parametrize("name", CASES)
def test_a_doubtful_cell_is_told_at_its_place(name: str, book: Copy) -> None:
    typed, level, words, lost = CASES[name]
    where = typed(book)
    outcome = book.price()
    assert told(outcome, where, level, *words), [str(f) for f in outcome.findings if str(f.where) == where]
    assert without_cost(outcome) == lost
    assert sum(str(f.where) == where and f.level == level for f in outcome.findings) == 1, "told once"


def test_a_plain_number_of_pieces_beside_makes(book: Copy, clean: tuple[Priced, list[Finding]]) -> None:
    tab, top = book.recipe("R5")
    sheet = book.workbook[tab]
    makes = next(c for row in sheet.iter_rows(min_row=top, max_row=top + 3) for c in row if c.value == "Makes")
    where = book.put(sheet.cell(makes.row, makes.column + 1), 24)
    outcome = book.price()
    assert not [f for f in outcome.findings if str(f.where) == where]
    assert outcome.priced.book.recipes["R5"].pieces == 24
    assert "P09" in without_cost(outcome), "170 g of a recipe that makes pieces is no number of pieces"
    assert clean[0].costs["P09"]


def test_a_tab_of_hers_with_a_name_of_the_tools_is_refused(book: Copy) -> None:
    sheet = book.workbook["Costs"]
    book.workbook.remove(sheet)
    book.workbook.create_sheet("Costs").append(["Rent", 350])
    before = book.save().read_bytes()
    with pytest.raises(WriteRefused, match="Costs is yours"):
        commands.price(book.path)
    assert book.path.read_bytes() == before


def test_a_tab_the_tool_does_not_know_is_left_alone(book: Copy) -> None:
    book.workbook.create_sheet("My notes").append(["hi", 1])
    outcome = book.price()
    assert without_cost(outcome) == set()


def test_a_heading_that_stands_twice_is_asked_about(book: Copy) -> None:
    head = book.heading("Products", "Retail now")
    extra = book.workbook["Products"].cell(head.row, book.workbook["Products"].max_column + 2)
    where = book.put(extra, "Retail")
    outcome = book.price()
    assert told(outcome, where, "ask", "Retail", head.coordinate)


def test_a_quote_that_is_not_there_is_said(book: Copy) -> None:
    book.type("Materials", "Price used", "M01", "quoted")
    outcome = book.price()
    assert [f for f in outcome.findings if f.check == "no-quote" and "Baking soda" in f.sentence]


def test_a_material_whose_only_line_does_not_count_says_why(book: Copy) -> None:
    place = book.type("Purchases", "Packs", ("B-1041", "Fine sugar"), 0)
    outcome = book.price()
    row = place.split("!")[1].strip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    stops = [f for f in outcome.findings if f.level == "stop"]
    assert [f.about for f in stops] == [("P11",)] and str(stops[0].where).endswith(row)
    assert "0 packs" in stops[0].sentence


def test_a_trial_price_typed_as_text_is_kept(book: Copy) -> None:
    book.type("Prices", "Trial price: type here", ("P01", "Web"), "12,50?")
    book.setting("Overhead a year", 9000)
    book.price()
    assert book.cell("Prices", "Trial price: type here", ("P01", "Web")).value == "12,50?"


@pytest.mark.parametrize("batches", [0.0, -1.0, float("nan"), float("inf")])
def test_a_batch_that_cannot_be_is_said(batches: float, book: Copy) -> None:
    with pytest.raises(InputError, match="times as large"):
        commands.explain(book.save(), "P01", batches)


def test_the_same_paper_under_another_suppliers_name_waits(book: Copy, papers: Path) -> None:
    text = (papers / "Brackwell_B-1041.csv").read_text(encoding="utf-8").replace("Brackwell Dry Goods", "BRACKWELL LTD")
    again = book.save().parent / "again.csv"
    again.write_text(text, encoding="utf-8")
    [posted] = commands.post(book.path, [again])
    assert posted.state == "to review" and "under the supplier Brackwell Dry Goods" in posted.why


def test_an_amount_beyond_meaning_makes_no_price(book: Copy) -> None:
    where = book.type_recipe("R8", "Amount", "Citric acid, fine", 1e30)
    outcome = book.price()
    assert told(outcome, where, "stop", "too large")
    assert "P12" in without_cost(outcome)


def test_pay_that_cannot_be_read_is_told_once_and_at_its_place(book: Copy) -> None:
    where = book.type("Pay", "Pay an hour", "helper", "sixteen")
    outcome = book.price()
    assert told(outcome, where, "stop", "sixteen")
    assert not [f for f in outcome.findings if "no pay on the Pay tab" in f.sentence], "helper stands on the Pay tab"
    assert without_cost(outcome) == EVERY
    with pytest.raises(InputError, match="sixteen"):
        commands.explain(book.path, "P01")


def test_a_bench_loss_beside_makes_is_said_to_count_nowhere(book: Copy) -> None:
    tab, top = book.recipe("R5")
    book.put(book.workbook[tab].cell(book.heading(tab, "Makes", top - 2).row, 2), 24)
    outcome = book.price()
    [said] = [f for f in outcome.findings if f.check == "loss-unused"]
    assert said.sentence.startswith("R5 ") and "24 pieces" in said.sentence and said.level == "warn" and said.do


def test_the_smallest_order_is_the_pieces_that_reach_it(book: Copy) -> None:
    """12 pieces at 7.75 come to 93.00, under the smallest order of 100; 13 come to 100.75. 5 at 20.00 are 100 exactly."""
    book.type("Channels", "Smallest order", "Wholesale", 100)
    book.type("Channels", "Per order", "Wholesale", 500)
    said = {f.about[0]: f.sentence for f in book.price().findings if f.check == "small-order"}
    assert "(13 pieces)" in said["P01"] and "(5 pieces)" in said["P14"]


def test_a_name_on_the_pay_tab_is_shown_as_she_typed_it(book: Copy) -> None:
    book.type("Pay", "Who", "helper", "Jo")
    for sheet, heading in (("Work", "Who"), ("Channels", "Who packs")):
        top = book.heading(sheet, heading)
        for row in range(top.row + 1, book.workbook[sheet].max_row + 1):
            cell = book.workbook[sheet].cell(row, top.column)
            cell.value = "JO" if cell.value == "helper" else cell.value
    assert without_cost(book.price()) == set()
    [trace] = book.written("Cost trace")
    people = {row["Item"] for row in trace if row["Kind"] == "labour"}
    assert "Jo" in people and not people & {"jo", "JO", "helper"}
    tree = commands.explain(book.path, "P01")
    assert "(Jo)" in str(tree)
    commands.changed(book.path)
    [movers] = book.written("What moves costs")
    named = {str(row["Item"]) for row in movers}
    assert "Jo" in named and not named & {"jo", "JO", "helper"}


def card_lines(book: Copy, code: str) -> tuple[Any, Any]:
    """The sheet of a recipe's card and the cell of its heading Material."""
    tab, top = book.recipe(code)
    return book.workbook[tab], book.heading(tab, "Material", top)


@pytest.mark.parametrize(("empty", "asked"), [(1, False), (2, True)])
def test_a_recipe_line_below_two_empty_rows_is_asked_about(empty: int, asked: bool, book: Copy) -> None:
    sheet, head = card_lines(book, "R8")
    line = book.recipe_cell("R8", "Material", "Citric acid, fine").row
    sheet.insert_rows(line, empty)
    where = f"{sheet.title}!{sheet.cell(line + empty, head.column).coordinate}"
    outcome = book.price()
    assert told(outcome, where, "ask", "Citric acid, fine", "below two empty rows") == asked
    assert len(outcome.priced.book.recipes["R8"].lines) == line - head.row - asked


def test_a_recipe_without_the_headings_of_its_lines_is_said(book: Copy) -> None:
    sheet, head = card_lines(book, "R8")
    amount = book.heading(sheet.title, "Amount", head.row - 1)
    assert amount.row == head.row
    book.put(amount, None)
    outcome = book.price()
    assert [f for f in outcome.findings if f.check == "no-headings" and f.level == "stop" and "headings" in f.sentence]
    assert "P12" in without_cost(outcome)


def test_a_purchase_that_cannot_be_read_is_named_as_why_its_paper_does_not_close(book: Copy) -> None:
    book.type("Purchases", "Amount", (B1041, "Citric acid, fine"), "ninety")
    [said] = [f for f in book.price().findings if f.check == "paper-total"]
    assert "paper B-1041" in said.sentence and "could not be read" in said.sentence
    book.empty_row("Purchases", (B1041, "Citric acid, fine"))
    [said] = [f for f in book.price().findings if f.check == "paper-total"]
    assert "could not be read" not in said.sentence, "nothing is unreadable any more"
