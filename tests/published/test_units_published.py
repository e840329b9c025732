"""The published values on units and household measures, one check an entry; the source is cited by every failure.

Entries are those copied into figures.json. `NOT_CHECKED` lists what of them has no counterpart here, and why.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pytest
from published.figures import FIGURES

from costbook.amounts.quantity import convert, read_amount, rec20_unit, reference_weights, unit
from costbook.errors import UnknownUnit

Entry = dict[str, Any]
US, METRIC, IMPERIAL, AUSTRALIAN = "US customary", "metric", "imperial", "Australian"

# Entry (and the part of it) -> why nothing here is checked against it.
NOT_CHECKED = {
    "U19": "rounded sizes of nutrition labels: not for costing; what is checked is that they are not used",
    "U28 legalcup": "the cup of nutrition labels (21 CFR 101.9), not used for costing",
    "U28 stick of butter": "a weight of butter only, so the name is refused",
    "U28 number-n scoop": "a size for each number, so the name is refused",
    "U29 US_label": "the cup of nutrition labels, not used for costing",
    "U29 japan": "no book measures in Japanese cups",
    "W04 row": "table salt has no row among the reference weights; its measures are checked",
    "W14 row": "grapeseed oil has a row from another source only; its measures are checked",
    "W17 row": "rolled oats have no row among the reference weights; their measures are checked",
    "W20 row": "80 proof spirit has a row from another source only; its measures are checked",
}


def entries() -> dict[str, Entry]:
    return {number: entry for number, entry in FIGURES.items() if entry["topic"] in ("units", "household measures")}


def size(name: str, measures: str = US) -> Fraction:
    return unit(name, measures).factor


def exact(value: float) -> Fraction:
    return Fraction(repr(value))


def is_refused(name: str, measures: str = US) -> bool:
    try:
        unit(name, measures)
    except UnknownUnit:
        return True
    return False


# Constants: entry -> our unit, its measure, and the published field holding g or mL.
CONSTANTS = {
    "U01": ("gal", US, "mL"), "U02": ("qt", US, "mL"), "U03": ("pt", US, "mL"), "U04": ("cup", US, "mL"),
    "U05": ("fl oz", US, "mL"), "U06": ("tbsp", US, "mL"), "U08": ("fluid dram", US, "mL"),
    "U09": ("dry pint", US, "mL"),
    "U10": ("lb", US, "g"), "U11": ("oz", US, "g"), "U12": ("grain", US, "g"), "U14": ("gallon", IMPERIAL, "L"),
    "U16": ("cup", IMPERIAL, "mL"), "U17": ("cup", AUSTRALIAN, "cup_mL"), "U18": ("cup", METRIC, "cup_mL"),
}  # fmt: skip


@pytest.mark.parametrize("number", CONSTANTS)
def test_constants(number: str) -> None:
    entry = entries()[number]
    name, measures, key = CONSTANTS[number]
    factor = 1000 if key == "L" else 1
    assert size(name, measures) == exact(entry["published"][key]) * factor, entry["source"]


def parts(published: Entry) -> list[tuple[Fraction, Fraction]]:
    """Ratios the entries state in words: (ours, published)."""
    pairs = {
        "in3": lambda value: (size("gal") / Fraction("16.387064"), Fraction(value)),  # 1 in = 2.54 cm, exact
        "of_gallon": lambda value: (size("qt") / size("gal"), Fraction(value)),
        "tsp": lambda value: (size("tbsp") / size("tsp"), Fraction(value)),
        "per_cup": lambda value: (size("cup") / size("tbsp"), Fraction(value)),
        "per_lb": lambda value: (size("lb") / size("oz" if value == 16 else "grain"), Fraction(value)),
    }
    return [pairs[key](value) for key, value in published.items() if key in pairs]


@pytest.mark.parametrize("number", ["U01", "U02", "U06", "U11", "U12"])
def test_ratios_between_units(number: str) -> None:
    entry = entries()[number]
    found = parts(entry["published"])
    assert found
    assert all(ours == published for ours, published in found), entry["source"]


def test_fluid_ounces_in_a_cup_a_tablespoon_and_a_dram() -> None:
    for number, name in (("U04", "cup"), ("U06", "tbsp"), ("U08", "fl dr")):
        entry = entries()[number]
        assert size(name) / size("fl oz") == Fraction(entry["published"]["fl_oz"]), entry["source"]


def test_spoons_of_the_australian_and_the_metric_set() -> None:
    for number, measures in (("U17", AUSTRALIAN), ("U18", METRIC), ("U18", IMPERIAL)):
        published = entries()[number]["published"]
        spoons = (size("tablespoon", measures), size("teaspoon", measures))
        assert spoons == (published["tablespoon_mL"], published["teaspoon_mL"]), entries()[number]["source"]
    # The set's third cup is a rounded 80 mL spoon; a written 1/3 cup stays a third of the cup.
    assert read_amount("1/2 cup", measures=AUSTRALIAN).base(want="mL") == entries()["U17"]["published"]["half_cup_mL"]


def test_label_sizes_are_not_used() -> None:
    published = entries()["U19"]["published"]
    names = {"teaspoon_mL": "tsp", "tablespoon_mL": "tbsp", "cup_mL": "cup", "fl_oz_mL": "fl oz", "oz_g": "oz"}
    for key, name in names.items():
        assert size(name) != exact(published[key])
        assert abs(float(size(name)) / published[key] - 1) < 0.02  # the same measure, before the label's rounding


def test_australian_against_us_tablespoon() -> None:
    entry = entries()["U21"]
    assert float(size("tbsp", AUSTRALIAN) / size("tbsp")) == pytest.approx(entry["published"]["ratio"], abs=5e-7)


@pytest.mark.parametrize(
    ("key", "written", "places"),
    [("tsp", "1 tsp", 1), ("tbsp", "1 tbsp", 0), ("fl_oz", "1 fl oz", 0), ("quarter_cup", "1/4 cup", 0),
     ("gill", "1 gill", 0), ("cup", "1 cup", 0), ("pint", "1 pint", 0), ("quart", "1 quart", 0)],
)  # fmt: skip
def test_table_of_rounded_household_equivalents(key: str, written: str, places: int) -> None:
    entry = entries()["U22"]
    assert round(read_amount(written).base(want="mL"), places) == entry["published"][key], entry["source"]


def test_a_litre_in_fluid_ounces_and_cups() -> None:
    entry = entries()["U22"]
    litre = unit("liter")
    assert round(float(convert(1, litre, unit("fl oz"))), 1) == entry["published"]["L_in_fl_oz"], entry["source"]
    assert round(float(convert(1, litre, unit("cup"))), 2) == entry["published"]["L_in_cups"], entry["source"]


def test_fl_oz_is_a_fluid_ounce() -> None:
    entry = entries()["U23"]
    assert "wrong" in entry["published"]["parses_as"]
    found = unit(entry["inputs"]["input"])
    assert (found.dimension, found.factor) == ("volume", exact(entries()["U05"]["published"]["mL"]))


def test_letters_a_library_takes_for_physics() -> None:
    entry = entries()["U25"]
    ours = {"t": "tsp", "T": "tbsp", "c": "cup", "C": "cup", "ML": "mL", "oz t": "troy oz"}
    assert {name: unit(name).name for name in entry["inputs"]["inputs"]} == ours
    assert set(entry["published"]) == set(ours)


def test_a_mixed_fraction_is_not_a_product() -> None:
    entry = entries()["U26"]
    assert "0.5 cup (wrong" in entry["published"]["value"]
    amount = read_amount("1 1/2 cup")
    assert amount.usual == Fraction(3, 2)
    assert amount.base(want="mL") == pytest.approx(1.5 * entries()["U04"]["published"]["mL"], rel=1e-15)


def test_names_a_library_does_not_have() -> None:
    ours = {"drop": "drop", "Tbsp": "tbsp", "dozen": "dozen", "ea": "each", "gm": "g", "fl_oz": "fl oz"}
    names = entries()["U27"]["inputs"]["inputs"]
    assert {name: unit(name).name for name in names if name != "dash"} == ours
    assert is_refused("dash")


def test_informal_units() -> None:
    entry = entries()["U28"]
    assert size("drop") == exact(entry["published"]["drop_mL"]), entry["source"]
    assert size("saltspoon") == Fraction(1, 4) * size("tsp"), entry["published"]["saltspoon"]
    assert all(is_refused(name) for name in ("legalcup", "stick", "scoop", "pinch", "dash"))


def test_cups_of_each_measure() -> None:
    entry = entries()["U29"]
    for key, measures in (("US", US), ("metric", METRIC), ("imperial", IMPERIAL)):
        assert round(float(size("cup", measures)), 3) == entry["published"][key], entry["source"]


def test_price_of_cups_from_the_price_of_a_gallon() -> None:
    entry = entries()["U30"]
    need = read_amount(entry["inputs"]["need"])
    assert need.unit is not None
    gallons = convert(need.usual, need.unit, unit("gal"))
    assert float(gallons) * entry["inputs"]["price_per_gallon"] == entry["published"]["cost"]


def test_pound_per_cubic_foot() -> None:
    entry = entries()["U31"]
    ours = float(size("lb") / (size("gal") / 231 * 12**3))
    assert ours == pytest.approx(entry["published"]["g_per_mL"], abs=5e-10), entry["source"]


# ---------------------------------------------------------------- household weights (USDA)

HOUSEHOLD = (
    "W01", "W03", "W04", "W05", "W06", "W08", "W09", "W11", "W12", "W13", "W14", "W16", "W17", "W19", "W20",
)  # fmt: skip


def grams_per_ml(measure: str, grams: float) -> float:
    """What a published measure says a mL weighs: '1 cup', '1 cup sifted', '1 cup 8 fl oz' (the same cup)."""
    number, name = measure.removesuffix(" 8 fl oz").split(" ", 1)
    return grams / read_amount(number, name).base(want="mL")


@pytest.mark.parametrize("number", HOUSEHOLD)
def test_weight_per_volume_follows_from_the_published_measures(number: str) -> None:
    """With our cups and spoons, the published grams give the published weight per mL."""
    entry = entries()[number]
    measures = {name: grams for name, grams in entry["published"]["measures_g"].items() if "dash" not in name}
    ours = [round(grams_per_ml(name, grams), 4) for name, grams in measures.items()]
    assert entry["published"]["g_per_mL"] in ours, entry["source"]


@pytest.mark.parametrize("number", HOUSEHOLD)
def test_every_published_measure_is_near_the_weight_per_volume(number: str) -> None:
    entry = entries()[number]
    for measure, grams in entry["published"]["measures_g"].items():
        if "dash" in measure or "sifted" in measure:
            continue  # a dash is no fixed volume; the sifted cup is another form with a row of its own
        # Spoons are published to 0.1 g or 1 g: half of the last digit, and 4 % for the table's own spread.
        half = 0.5 if float(grams).is_integer() else 0.05
        allowed = half / grams + 0.04
        assert grams_per_ml(measure, grams) == pytest.approx(entry["published"]["g_per_mL"], rel=allowed), measure


@pytest.mark.parametrize("number", HOUSEHOLD)
def test_reference_table_carries_the_published_weight(number: str) -> None:
    entry = entries()[number]
    found = [weight for weight in reference_weights() if f"NDB {entry['inputs']['NDB']} " in weight.source]
    assert (not found) is (f"{number} row" in NOT_CHECKED)
    published = entry["published"]["g_per_mL"]
    # W19 takes the cup of 237 g, the table the litre of 1000 g: both are published, 0.2 % apart.
    assert not found or any(weight.low <= published <= weight.high for weight in found), entry["source"]
    assert not any(weight.from_memory for weight in found)


def test_cost_of_two_cups_from_the_weight_of_a_teaspoon() -> None:
    entry = entries()["W21"]
    inputs, published = entry["inputs"], entry["published"]
    assert size("cup") / size("tsp") == inputs["tsp_per_cup"]
    per_ml = inputs["g_per_tsp"] / float(size("tsp"))
    grams = read_amount(inputs["need_cups"], "cups").base(g_per_ml=per_ml)
    assert grams == pytest.approx(published["grams"], rel=1e-12)
    pounds = grams / float(size("lb"))
    assert pounds * inputs["price_per_lb_baking_soda"] == pytest.approx(published["cost"], abs=5e-6), entry["source"]


# ---------------------------------------------------------------- nothing left out

OTHER_CHECKS: dict[str, Callable[[], None]] = {
    "U21": test_australian_against_us_tablespoon, "U22": test_a_litre_in_fluid_ounces_and_cups,
    "U23": test_fl_oz_is_a_fluid_ounce, "U25": test_letters_a_library_takes_for_physics,
    "U26": test_a_mixed_fraction_is_not_a_product, "U27": test_names_a_library_does_not_have,
    "U28": test_informal_units, "U29": test_cups_of_each_measure,
    "U30": test_price_of_cups_from_the_price_of_a_gallon, "U31": test_pound_per_cubic_foot,
    "W21": test_cost_of_two_cups_from_the_weight_of_a_teaspoon,
}  # fmt: skip


def test_every_entry_is_checked_or_listed() -> None:
    whole = {number for number in NOT_CHECKED if " " not in number}
    assert set(entries()) == {*CONSTANTS, *OTHER_CHECKS, *HOUSEHOLD, *whole}


def test_codes_carry_the_published_sizes() -> None:
    for code, number, key in (("GLL", "U01", "mL"), ("OZA", "U05", "mL"), ("LBR", "U10", "g"), ("ONZ", "U11", "g")):
        found = rec20_unit(code)
        assert found is not None
        assert found.factor == exact(entries()[number]["published"][key]), entries()[number]["source"]
