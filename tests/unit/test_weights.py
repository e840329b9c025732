"""Reference weights per volume: by exact name only, and the names compared."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from shared_files import shared

import costbook.amounts.weights as weights_file
from costbook.amounts.quantity import (
    nearest_references,
    reference_weight,
    reference_weights,
    reference_weights_for,
    same_name,
)

ROOM = Path(weights_file.__file__).parent


def test_reference_weights_are_the_published_rows() -> None:
    with shared("published/densities.csv").open(newline="", encoding="utf-8") as handle:
        published = list(csv.DictReader(handle))
    ours = list(csv.DictReader((ROOM / "densities.csv").read_text(encoding="utf-8").splitlines()))
    assert ours == published
    assert [weight.g_per_ml for weight in reference_weights()] == [float(row["g_per_ml"]) for row in published]
    from_memory = [row["status"] == "from memory" for row in published]
    assert [weight.from_memory for weight in reference_weights()] == from_memory


def test_every_reference_weight_is_within_its_range() -> None:
    assert [weight.material for weight in reference_weights() if not weight.low <= weight.g_per_ml <= weight.high] == []


@pytest.mark.parametrize("name", ["sugar, granulated", "granulated sugar", " Granulated  SUGAR. ", "Sugar, Granulated"])
def test_a_name_turned_round_at_its_comma_is_the_same(name: str) -> None:
    found = reference_weight(name)
    assert found is not None
    # USDA SR26, NDB 19335: 1 cup = 200 g.
    assert found.g_per_ml == pytest.approx(200 / 236.5882365, abs=0.0001)


@pytest.mark.parametrize("name", ["granulated", "sugar", "baking soda", "cocoa", "olive oil blend", "almond oil", ""])
def test_a_near_name_is_never_taken(name: str) -> None:
    assert reference_weight(name) is None


@pytest.mark.parametrize("name", ["mica", "sodium chloride", "titanium dioxide (rutile)", "citric acid monohydrate"])
def test_the_density_of_a_crystal_is_never_the_weight_of_a_cup(name: str) -> None:
    assert reference_weight(name) is None
    assert any(weight.material == name for weight in reference_weights())


def test_a_seen_source_goes_before_memory() -> None:
    found = reference_weights_for("sodium bicarbonate")
    assert [weight.from_memory for weight in found] == sorted(weight.from_memory for weight in found)
    assert len(found) > 1
    assert reference_weight("corn starch") == reference_weights_for("corn starch")[0]
    assert "USDA" in reference_weights_for("corn starch")[0].source


def test_near_names_are_offered() -> None:
    assert nearest_references("baking soda")[0] == "sodium bicarbonate (baking soda)"
    assert "citric acid, anhydrous" in nearest_references("citric acid")
    assert "beeswax" in nearest_references("beeswax pellets")
    assert nearest_references("zzzz") == []


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [("Baking soda ", "baking  SODA", True), ("Kaolin.", " kaolin", True), ("Ｋaolin", "kaolin", True),
     ("Blu mica", "Blue mica", False), ("St. Ives", "St Ives", False), ("Straße", "STRASSE", True)],
)  # fmt: skip
def test_same_name(one: str, other: str, same: bool) -> None:
    assert (same_name(one) == same_name(other)) is same
