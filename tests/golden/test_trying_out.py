"""A product she only tries out: costed and priced like any other, kept or dropped by one cell."""

from __future__ import annotations

from typing import Any

import pytest

from costbook import cli, commands

Copy = Any
TRIAL = {"Code": "P15", "Product": "Harbour Melt Tin - Amber", "Lines as in": "P01", "Scent": "Amber Dusk fragrance",
         "Pieces planned": 32, "Good pieces": 30, "Work as": None, "Retail now": 16.0, "In the line": "trying out"}  # fmt: skip


@pytest.fixture
def tried(book: Copy) -> Copy:
    """The demo with a scent more, tried out: everything else as in P01."""
    top = book.heading("Products", "Code")
    sheet = book.workbook["Products"]
    like = {h: book.cell("Products", h, "P01").value for h in ("Colour", "Work as")}
    row = next(r for r in range(top.row + 1, 200) if not sheet.cell(r, top.column).value)
    for heading, value in (TRIAL | like).items():
        sheet.cell(row, book.heading("Products", heading).column).value = value
    return book


def test_it_is_costed_and_priced_and_said_to_be_tried(tried: Copy) -> None:
    before = commands.price(tried.save()).figures()
    costs = {p["code"]: p for p in before["products"]}
    # The scents differ by 3.79188 - 2.12575 an ounce in the demo's expected table, and everything else is the same.
    scent = next(v for k, v in costs["P15"]["usage"].items() if k.endswith("M25")) / 28.349523125
    assert costs["P15"]["unit_cost"] == pytest.approx(costs["P01"]["unit_cost"] + scent * (3.79188 - 2.12575), abs=1e-4)
    assert costs["P15"]["trying"] and not costs["P01"]["trying"]
    rows = [r for table in tried.written("Prices") for r in table if r["Code"] == "P15"]
    assert rows and all(r["Product"].endswith("(trying out)") for r in rows)
    retail = [r for r in rows if r["Your price now"] == 16.0]
    assert retail and all(0 < r["Margin"] < 1 for r in retail)


def test_the_line_is_as_it_was(tried: Copy, book: Copy) -> None:
    with_it = {p["code"]: p["unit_cost"] for p in commands.price(tried.save()).figures()["products"]}
    tried.empty_row("Products", "P15")
    without = {p["code"]: p["unit_cost"] for p in commands.price(tried.save()).figures()["products"]}
    assert with_it == without | {"P15": with_it["P15"]}


def test_what_a_rise_costs_a_year_and_what_shops_see_is_the_line_without_it(tried: Copy) -> None:
    """The letter costs 935.46 a year (the demo's table), however many of the one tried out may be sold; kept, it counts."""
    tried.type("Products", "Sold a week", "P15", 10)
    tried.type("Products", "Wholesale now", "P15", 8)
    told = commands.changed(tried.save())
    assert f"{told.impact.a_year:.2f}" == "935.46" and told.impact.products["P15"].rise > 0
    rises, decisions = tried.written("Supplier rises", "Price decisions")
    assert sum(r["A year at present sales"] for r in rises) == pytest.approx(935.46, abs=0.01)
    assert "P15" not in {r["Code"] for r in decisions}
    year = sum(r["A year"] for r in tried.written("What moves costs")[0])
    tried.type("Products", "Wholesale now", "P15", 5)  # under its floor, and no matter for shops
    assert "P15" not in commands.shops(tried.save())[1]
    assert "P15" not in {r["Code"] for r in tried.written("Line sheet")[0]}
    tried.type("Products", "Wholesale now", "P15", 8)
    tried.type("Products", "In the line", "P15", None)
    kept = commands.changed(tried.save())
    assert kept.impact.a_year == pytest.approx(935.46 + told.impact.products["P15"].rise * 520, abs=0.01)
    more = told.impact.products["P15"].before * 520
    assert sum(r["A year"] for r in tried.written("What moves costs")[0]) == pytest.approx(year + more, abs=0.01)
    commands.shops(tried.save())
    assert "P15" in {r["Code"] for r in tried.written("Line sheet")[0]}


def test_kept_it_is_one_of_the_line_and_dropped_it_is_left_alone(tried: Copy) -> None:
    tried.type("Products", "In the line", "P15", None)
    kept = next(p for p in commands.price(tried.save()).figures()["products"] if p["code"] == "P15")
    assert not kept["trying"]
    tried.type("Products", "In the line", "P15", "dropped")
    tried.type("Products", "Scent", "P15", "no such scent")
    done = commands.price(tried.save())
    assert "P15" not in {p["code"] for p in done.figures()["products"]}
    assert not any("no such scent" in f.sentence or "P15" in f.about for f in done.findings)


def test_a_dropped_product_is_explained_in_one_sentence(book: Copy, capsys: pytest.CaptureFixture[str]) -> None:
    place = book.type("Products", "In the line", "P06", "dropped")
    path = str(book.save())
    for command, asked in (("explain", "p06"), ("explain", "Foam Stone - Salt Mist"), ("lot", "P06")):
        assert cli.main([command, path, asked]) == 3
        said = capsys.readouterr()
        assert said.out == "" and said.err.count("\n") == 1
        assert f"{place}: P06 Foam Stone - Salt Mist is dropped from the line" in said.err
    assert cli.main(["explain", path, "Foam Stone Salt Mist"]) == 3
    assert "nearest: P06 Foam Stone - Salt Mist (dropped)" in capsys.readouterr().err


def test_others_may_have_their_lines_as_in_a_dropped_one_and_a_set_may_not_hold_it(book: Copy) -> None:
    before = {p["code"]: p["unit_cost"] for p in commands.price(book.save()).figures()["products"]}
    place = book.type("Products", "In the line", "P01", "dropped")
    done = commands.price(book.save())
    after = {p["code"]: p["unit_cost"] for p in done.figures()["products"]}
    assert after["P02"] == before["P02"] and place
    stop = next(f for f in done.findings if f.check == "dropped")
    assert stop.sentence == "P14 takes P01, which is dropped" and stop.where and stop.where.tab == "Product lines"
    assert "P14" not in after
