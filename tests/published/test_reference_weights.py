"""Reference weights per volume in pricing: where they come from, what the book is told of them, and that hers come first.

Expected weights and ranges are read from densities.csv itself, row by row, not from the program that looks them up.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from datetime import date
from pathlib import Path

import pytest
from pytest import approx

import costbook.amounts.weights as weights_file
from costbook.amounts.quantity import reference_weight, reference_weights_for
from costbook.book import layout
from costbook.book.grid import Snapshot, Value
from costbook.book.sheets import RecipeBlock, recipe_tab, table_tab
from costbook.commands import worked_out
from costbook.costing.checks import Priced
from costbook.errors import Finding

ROWS = list(csv.DictReader(Path(weights_file.__file__).with_name("densities.csv").read_text(encoding="utf-8").splitlines()))
BULK = [row for row in ROWS if "true" not in row["form"]]  # a true density is never the weight of a cup
TOLD_TWICE = sorted({row["material"] for row in BULK if sum(r["material"] == row["material"] for r in BULK) > 1})
ON = date(2026, 6, 1)
CUP_ML = 236.5882365  # NIST Handbook 44, Appendix C


def rows_of(name: str) -> list[dict[str, str]]:
    return [row for row in BULK if row["material"] == name]


def span(name: str) -> tuple[float, float]:
    """The least and the greatest published for exactly that name."""
    found = rows_of(name)
    return min(float(r["range_low"]) for r in found), max(float(r["range_high"]) for r in found)


def two_cups_of(name: str, **hers: Value) -> tuple[Priced, list[Finding]]:
    """A book whose one product is a batch of two cups of that material, which costs 10.00 a kilogram."""
    typed: Mapping[str, list[dict[str, Value]]] = {
        "Materials": [{"code": "M", "name": name, "kind": "powder", "rate_rule": "quoted", "quoted_price": 10.0, "quoted_pack": "1 kg", **hers}],
        "Products": [{"code": "P", "name": "Piece", "planned": 1, "good": 1}],
        "Product lines": [{"product": "P", "kind": "recipe", "item": "R", "amount": 100, "unit": "g", "per": "piece"}],
    }
    tabs = [table_tab(tab, typed.get(tab.name, [])) for tab in layout.HER_TABS]
    lines: list[dict[str, Value]] = [{"order": 1, "material": name, "amount": 2, "unit": "cup"}]
    tabs.append(recipe_tab("Recipes", [RecipeBlock("Mix", "R", 0.0, lines)]))
    return worked_out(Snapshot("book", {tab.name: tab.grid() for tab in tabs}), ON)


def told(findings: list[Finding]) -> list[Finding]:
    return [finding for finding in findings if finding.check == "reference-weight"]


def test_every_row_has_form_source_and_status() -> None:
    assert len(ROWS) == 134
    for row in ROWS:
        assert all(row[key].strip() for key in ("material", "form", "source", "status")), row
        assert row["status"] in ("verified", "verified (secondary)", "verified (conflict)", "from memory"), row
        assert float(row["range_low"]) <= float(row["g_per_ml"]) <= float(row["range_high"]), row


@pytest.mark.parametrize("name", sorted({row["material"] for row in BULK}))
def test_a_name_gives_a_row_of_its_own_seen_sources_first(name: str) -> None:
    found = reference_weight(name)
    assert found is not None
    seen = [row for row in rows_of(name) if row["status"] != "from memory"]
    assert (found.g_per_ml, found.source) in [(float(r["g_per_ml"]), r["source"]) for r in seen or rows_of(name)]


def test_every_published_figure_of_a_name_is_given_with_its_range() -> None:
    for name in TOLD_TWICE:
        found = reference_weights_for(name)
        ours = sorted((w.g_per_ml, w.low, w.high, w.source) for w in found if w.material == name)
        assert ours == sorted((float(r["g_per_ml"]), float(r["range_low"]), float(r["range_high"]), r["source"]) for r in rows_of(name))


@pytest.mark.parametrize("name", TOLD_TWICE)
def test_disagreement_of_published_figures_is_told_with_its_range(name: str) -> None:
    priced, findings = two_cups_of(name)
    [finding] = told(findings)
    low, high = span(name)
    assert "P" in priced.costs
    spread = f"published figures run from {low:g} to {high:g}"
    assert (spread in finding.sentence) is (high > low * 1.005), finding.sentence


@pytest.mark.parametrize(
    ("name", "level"),
    [("cream of tartar", "note"), ("colloidal oatmeal", "ask"), ("kaolin clay", "ask"), ("arrowroot flour", "note")],
)
def test_a_reference_weight_in_a_price_is_a_finding(name: str, level: str) -> None:
    _, findings = two_cups_of(name)
    [finding] = told(findings)
    [row] = [r for r in rows_of(name) if f"by {float(r['g_per_ml']):g} g/ml" in finding.sentence]
    assert finding.level == level
    assert (row["status"] == "from memory") is ("from memory, not checked" in finding.sentence) is (level == "ask")
    assert row["form"] in finding.sentence and row["source"] in finding.sentence
    assert finding.where is not None and finding.where.tab == "Materials"


def grams_of_two_cups(priced: Priced) -> float:
    return priced.usage.mix("R", {}).in_g


@pytest.mark.parametrize(
    ("hers", "g_per_ml"),
    [({"weighed": "1 cup", "weighs": "120 g"}, 120 / CUP_ML), ({"g_per_ml": 0.6}, 0.6)],
    ids=["a weighed cup", "a figure of her own"],
)
def test_her_own_weight_comes_first_and_is_no_finding(hers: dict[str, Value], g_per_ml: float) -> None:
    plain, _ = two_cups_of("corn starch")
    assert grams_of_two_cups(plain) == approx(2 * 128, rel=1e-3)  # USDA SR26, NDB 20027: 1 cup = 128 g
    priced, findings = two_cups_of("corn starch", **hers)
    assert not told(findings)
    assert grams_of_two_cups(priced) == approx(2 * CUP_ML * g_per_ml)


def test_a_material_without_any_weight_has_no_price() -> None:
    """No row of that name, none of its own: water is never assumed."""
    priced, findings = two_cups_of("Powder nobody weighed")
    assert "P" not in priced.costs and any(f.level == "stop" for f in findings)
