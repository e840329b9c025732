"""Written amounts, units and reference weights. Factors are checked against two unit libraries that are not ours."""

from __future__ import annotations

import csv
import datetime
import math
import re
import shutil
import subprocess
import sys
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from shared_files import rows

import costbook.amounts.quantity as quantity
from costbook.amounts.quantity import (
    MEASURES,
    Amount,
    convert,
    is_plain_ounce,
    number_text,
    read_amount,
    read_number,
    rec20_unit,
    unit,
)
from costbook.errors import CostbookError, QuantityError, UnknownUnit, WeightPerVolumeMissing

ROOM = Path(quantity.__file__).parent
UNIT_ROWS = list(csv.DictReader((ROOM / "units.csv").read_text(encoding="utf-8").splitlines()))
READ_ROWS = [row for row in UNIT_ROWS if row["dimension"] != "refused"]
F = Fraction

# What pint calls our rows; None where pint has no name of its own for it. Its names are given in full, so that none of
# its symbols or prefixes comes into it.
PINT = {
    ("g", ""): "gram", ("mg", ""): "milligram", ("mcg", ""): "microgram", ("dag", ""): "decagram",
    ("hg", ""): "hectogram", ("kg", ""): "kilogram", ("decitonne", ""): "100 * kilogram", ("tonne", ""): "metric_ton",
    ("oz", ""): "ounce", ("oz wt", ""): "ounce", ("lb", ""): "pound", ("grain", ""): "grain",
    ("troy oz", ""): "troy_ounce", ("short ton", ""): "short_ton", ("long ton", ""): "long_ton",
    ("mL", ""): "milliliter", ("cL", ""): "centiliter", ("dL", ""): "deciliter", ("L", ""): "liter",
    ("hL", ""): "hectoliter", ("m3", ""): "meter ** 3", ("drop", ""): None,
    ("gal", "US customary"): "gallon", ("qt", "US customary"): "quart", ("pt", "US customary"): "pint",
    ("cup", "US customary"): "cup", ("gill", "US customary"): "gill", ("fl oz", "US customary"): "fluid_ounce",
    ("fl dr", "US customary"): "fluid_dram", ("tbsp", "US customary"): "tablespoon",
    ("tsp", "US customary"): "teaspoon", ("saltspoon", "US customary"): None,
    ("dry pt", "US customary"): "dry_pint", ("dry qt", "US customary"): "dry_quart",
    ("gal", "imperial"): "imperial_gallon", ("qt", "imperial"): "imperial_quart", ("pt", "imperial"): "imperial_pint",
    ("cup", "imperial"): "imperial_cup", ("gill", "imperial"): "imperial_gill",
    ("fl oz", "imperial"): "imperial_fluid_ounce", ("tbsp", "imperial"): None, ("tsp", "imperial"): None,
    ("cup", "metric"): None, ("tbsp", "metric"): None, ("tsp", "metric"): None,
    ("cup", "Australian"): None, ("tbsp", "Australian"): None, ("tsp", "Australian"): None,
    ("each", ""): None, ("dozen", ""): None, ("gross", ""): None, ("hundred", ""): None, ("thousand", ""): None,
}  # fmt: skip
# What the GNU units program calls them; the Australian cup is not in its table (it has the metric one).
GNU = {
    ("g", ""): "g", ("mg", ""): "mg", ("mcg", ""): "microgram", ("dag", ""): "dag",
    ("hg", ""): "hectogram", ("kg", ""): "kg",
    ("decitonne", ""): "100 kg", ("tonne", ""): "tonne", ("oz", ""): "ounce", ("oz wt", ""): "ounce",
    ("lb", ""): "pound", ("grain", ""): "grain", ("troy oz", ""): "troyounce", ("short ton", ""): "shortton",
    ("long ton", ""): "longton", ("mL", ""): "mL", ("cL", ""): "cL", ("dL", ""): "dL", ("L", ""): "liter",
    ("hL", ""): "hL", ("m3", ""): "m^3", ("drop", ""): "drop",
    ("gal", "US customary"): "usgallon", ("qt", "US customary"): "usquart", ("pt", "US customary"): "uspint",
    ("cup", "US customary"): "uscup", ("gill", "US customary"): "usgill", ("fl oz", "US customary"): "usfloz",
    ("fl dr", "US customary"): "fluiddram", ("tbsp", "US customary"): "ustablespoon",
    ("tsp", "US customary"): "usteaspoon", ("saltspoon", "US customary"): "saltspoon",
    ("dry pt", "US customary"): "drypint", ("dry qt", "US customary"): "dryquart",
    ("gal", "imperial"): "brgallon", ("qt", "imperial"): "brquart", ("pt", "imperial"): "brpint",
    ("cup", "imperial"): "brcup", ("gill", "imperial"): "brgill", ("fl oz", "imperial"): "brfloz",
    ("tbsp", "imperial"): "brtablespoon", ("tsp", "imperial"): "brteaspoon",
    ("cup", "metric"): "metriccup", ("tbsp", "metric"): "brtablespoon", ("tsp", "metric"): "brteaspoon",
    ("cup", "Australian"): "metriccup", ("tbsp", "Australian"): "australiatablespoon",
    ("tsp", "Australian"): "australiateaspoon",
    ("each", ""): "1", ("dozen", ""): "dozen", ("gross", ""): "gross", ("hundred", ""): "hundred",
    ("thousand", ""): "thousand",
}  # fmt: skip
TARGETS = {"mass": ("gram", "g"), "volume": ("milliliter", "mL"), "count": ("", "1")}


def row_of(key: tuple[str, str]) -> dict[str, str]:
    return next(row for row in READ_ROWS if (row["name"], row["measures"]) == key)


# ---------------------------------------------------------------- the table of units


def test_every_row_is_in_both_comparison_lists() -> None:
    keys = {(row["name"], row["measures"]) for row in READ_ROWS}
    assert keys == set(PINT) == set(GNU)


@pytest.mark.parametrize(("key", "name"), [(key, name) for key, name in PINT.items() if name], ids=str)
def test_factor_agrees_with_pint(key: tuple[str, str], name: str) -> None:
    pint = pytest.importorskip("pint")
    row = row_of(key)
    theirs = pint.UnitRegistry().parse_expression(name).to(TARGETS[row["dimension"]][0]).magnitude
    assert math.isclose(float(Fraction(row["factor"])), theirs, rel_tol=1e-12)


@pytest.mark.parametrize(("key", "name"), list(GNU.items()), ids=str)
def test_factor_agrees_with_gnu_units(key: tuple[str, str], name: str) -> None:
    program = shutil.which("units")
    if program is None:
        pytest.skip("the GNU units program is not installed")
    row = row_of(key)
    done = subprocess.run(
        [program, "--terse", "--output-format", "%.15g", name, TARGETS[row["dimension"]][1]],
        capture_output=True, text=True, check=False, timeout=20,
    )  # fmt: skip
    if not re.fullmatch(r"[0-9.e+-]+", done.stdout.strip()):
        pytest.skip(f"this edition of GNU units does not know {name}: {done.stdout.strip()}")
    assert math.isclose(float(Fraction(row["factor"])), float(done.stdout), rel_tol=1e-12)


def test_every_row_has_a_source_and_a_dimension() -> None:
    assert {row["dimension"] for row in UNIT_ROWS} == {"mass", "volume", "count", "refused"}
    assert [row["name"] for row in UNIT_ROWS if not row["source"]] == []
    assert {row["measures"] for row in UNIT_ROWS} == {"", *MEASURES}


def test_no_spelling_means_two_things_in_one_measure() -> None:
    for measures in MEASURES:
        seen = [
            spelling if spelling.startswith("=") else spelling.casefold()
            for row in UNIT_ROWS
            if row["measures"] in ("", measures)
            for spelling in dict.fromkeys((row["name"], *filter(None, row["also"].split("|"))))
        ]
        doubled = {spelling for spelling in seen if seen.count(spelling) > 1}
        assert doubled <= {"ml", "l"}, f"{measures}: {doubled}"  # mL and its small-letter spelling are one row


def test_every_spelling_of_the_table_is_read_as_its_row() -> None:
    for row in READ_ROWS:
        for spelling in (row["name"], *filter(None, row["also"].split("|"))):
            found = unit(spelling.removeprefix("="), row["measures"] or "US customary")
            assert (found.name, found.factor) == (row["name"], Fraction(row["factor"])), spelling


# ---------------------------------------------------------------- unit names


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("fl. oz", "fl oz"), ("Fl Oz", "fl oz"), ("FL. OZ.", "fl oz"), ("fl.oz.", "fl oz"), ("fluid ounces", "fl oz"),
        ("fl-oz", "fl oz"), ("fl_oz", "fl oz"), ("fl   oz", "fl oz"), ("tbsp.", "tbsp"), ("Tablespoon", "tbsp"),
        ("TABLESPOONS", "tbsp"), ("T", "tbsp"), ("t", "tsp"), ("T.", "tbsp"), ("t.", "tsp"), ("Tsp", "tsp"),
        ("lbs", "lb"), ("LBS.", "lb"), ("pounds", "lb"), ("Oz", "oz"), ("ounces", "oz"), ("c", "cup"), ("C", "cup"),
        ("cups", "cup"), ("gm", "g"), ("grams", "g"), ("KG", "kg"), ("kilos", "kg"), ("ML", "mL"), ("ml", "mL"),
        ("millilitres", "mL"), ("cc", "mL"), ("l", "L"), ("Litres", "L"), ("oz t", "troy oz"), ("ea", "each"),
        ("ea.", "each"), ("pcs", "each"), ("Pieces", "each"), ("pc", "each"), ("dz", "dozen"), ("gallons", "gal"),
    ],
)  # fmt: skip
def test_spellings(written: str, name: str) -> None:
    assert unit(written).name == name


def test_a_dozen_is_twelve() -> None:
    assert (unit("dozen").dimension, unit("dozen").factor) == ("count", F(12))


@pytest.mark.parametrize(("wrong", "nearest"), [("cupp", "cup"), ("ounze", "ounce"), ("tablespon", "tablespoon")])
def test_an_unknown_unit_offers_the_nearest(wrong: str, nearest: str) -> None:
    with pytest.raises(UnknownUnit, match=f'unit "{wrong}" is not known; nearest: {nearest}'):
        unit(wrong)


@pytest.mark.parametrize(
    "name",
    ["pinch", "Pinches", "dash", "#", "gr", "ton", "cwt", "pair", "stick", "scoop", "box", "bottles", "quarter", "keg"],
)
def test_names_without_a_fixed_size_say_what_to_write(name: str) -> None:
    with pytest.raises(UnknownUnit, match=f'unit "{name}" is not read: .*(write|weigh)'):
        unit(name)


@pytest.mark.parametrize("name", ["", "  ", ".", "xq", "year", "meter", "square meter", "volt", "µ", "1"])
def test_what_is_no_unit_of_an_amount(name: str) -> None:
    with pytest.raises(UnknownUnit):
        unit(name)


def test_the_book_says_which_cup() -> None:
    # NSW Health chart (Australian), GNU units metriccup and brcup, NIST Handbook 44 (US).
    assert [float(unit("cup", measures).factor) for measures in MEASURES] == [236.5882365, 250, 284.130625, 250]
    assert [float(unit("tbsp", measures).factor) for measures in MEASURES] == [14.78676478125, 15, 15, 20]


@pytest.mark.parametrize("measures", MEASURES)
@pytest.mark.parametrize(
    ("written", "name", "size"),
    [
        ("US cup", "US cup", 236.5882365), ("U.S. cups", "US cup", 236.5882365), ("cup (US)", "US cup", 236.5882365),
        ("imperial gallon", "imperial gal", 4546.09), ("gal (imp)", "imperial gal", 4546.09),
        ("UK fl oz", "imperial fl oz", 28.4130625), ("metric cup", "metric cup", 250),
        ("Australian tablespoons", "Australian tbsp", 20),
    ],
)  # fmt: skip
def test_a_measure_named_in_words_holds_in_every_book(measures: str, written: str, name: str, size: float) -> None:
    found = unit(written, measures)
    assert (found.name, float(found.factor)) == (name, size)
    assert unit(found.name, measures) == found


@pytest.mark.parametrize("measures", ["metric", "Australian"])
@pytest.mark.parametrize("name", ["fl oz", "pint", "gal", "quart"])
def test_no_fluid_ounce_is_assumed_where_the_book_has_none(measures: str, name: str) -> None:
    with pytest.raises(UnknownUnit, match=r"US .*imperial"):
        unit(name, measures)


def test_unknown_measures_are_refused() -> None:
    with pytest.raises(QuantityError, match='"Japanese" are not known'):
        unit("cup", "Japanese")


@pytest.mark.parametrize(
    ("name", "dimension", "size"),
    [("stone", "mass", 6350.29318), ("drams", "mass", 1.7718451953125), ("bushel", "volume", 35239.07016688)],
)
def test_full_names_pint_knows(name: str, dimension: str, size: float) -> None:
    # 14 lb, 1/16 oz (both by definition), and 2150.42 in3 (NIST Handbook 44, Appendix C).
    pytest.importorskip("pint")
    found = unit(name)
    assert found.dimension == dimension
    assert float(found.factor) == pytest.approx(size, rel=1e-12)


def test_pint_volumes_follow_the_book() -> None:
    pytest.importorskip("pint")
    assert float(unit("bushel", "imperial").factor) == pytest.approx(8 * 4546.09)  # 8 imperial gallons by definition
    with pytest.raises(UnknownUnit):
        unit("bushel", "metric")


def test_the_usual_names_never_import_pint() -> None:
    code = (
        "import sys; from costbook.amounts.quantity import read_amount, unit, rec20_unit;"
        "[unit(n) for n in ('cups', 'Fl. Oz', 'T', 'lbs', 'dozen', 'imperial gallon')]; read_amount('1 lb 8 oz');"
        "rec20_unit('KGM'); sys.exit('pint' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOM.parent.parent, check=False, timeout=60)
    assert done.returncode == 0


# ---------------------------------------------------------------- UN/ECE codes


@pytest.mark.parametrize(
    ("code", "size", "dimension"),
    [
        ("KGM", 1000, "mass"), ("GRM", 1, "mass"), ("MGM", 0.001, "mass"), ("TNE", 1_000_000, "mass"),
        ("LBR", 453.59237, "mass"), ("ONZ", 28.349523125, "mass"), ("LTR", 1000, "volume"), ("MLT", 1, "volume"),
        ("CLT", 10, "volume"), ("DLT", 100, "volume"), ("HLT", 100_000, "volume"), ("MTQ", 1_000_000, "volume"),
        ("DMQ", 1000, "volume"), ("CMQ", 1, "volume"), ("GLL", 3785.411784, "volume"), ("GLI", 4546.09, "volume"),
        ("OZA", 29.5735295625, "volume"), ("OZI", 28.4130625, "volume"), ("QTL", 946.352946, "volume"),
        ("PTL", 473.176473, "volume"), ("H87", 1, "count"), ("C62", 1, "count"), ("EA", 1, "count"),
        ("XPP", 1, "count"), ("DZN", 12, "count"), (" kgm ", 1000, "mass"),
    ],
)  # fmt: skip
def test_rec20_codes(code: str, size: float, dimension: str) -> None:
    """Names of the codes: UN/ECE Recommendation No. 20 code list; sizes: NIST and SI, as in the table."""
    found = rec20_unit(code)
    assert found is not None
    assert (float(found.factor), found.dimension) == (size, dimension)


@pytest.mark.parametrize("code", ["", "MTK", "HUR", "DAY", "MON", "PR", "NMP", "XBX", "T", "t", "cup", "lb"])
def test_other_codes_are_no_amounts(code: str) -> None:
    assert rec20_unit(code) is None


def test_units_of_codes_can_be_read_back_in_any_book() -> None:
    for row in READ_ROWS:
        for code in filter(None, row["rec20"].split("|")):
            found = rec20_unit(code)
            assert found is not None
            assert all(unit(found.name, measures).factor == found.factor for measures in MEASURES), code


def test_an_ounce_by_code_is_a_weight_without_question() -> None:
    found = rec20_unit("ONZ")
    assert found is not None
    assert not is_plain_ounce(read_amount("8", found.name))


# ---------------------------------------------------------------- numbers


@pytest.mark.parametrize(
    ("written", "decimal", "value"),
    [
        ("2 1/4", "point", F(9, 4)), ("1½", "point", F(3, 2)), ("¾", "point", F(3, 4)), ("1 ½", "point", F(3, 2)),
        ("1/3", "point", F(1, 3)), ("1⁄3", "point", F(1, 3)), ("1 / 3", "point", F(1, 3)), ("5/4", "point", F(5, 4)),
        ("0,9", "comma", F(9, 10)), ("1,250.5", "point", F(2501, 2)), ("1.250,5", "comma", F(2501, 2)),
        ("1,250", "point", F(1250)), ("1.250", "comma", F(1250)), ("1.250", "point", F(5, 4)), (".5", "point", F(1, 2)),
        (",5", "comma", F(1, 2)), ("0", "point", F(0)), (" 12 ", "point", F(12)), ("12,345,678", "point", F(12345678)),
        ("1'250.50", "point", F(2501, 2)), ("2\u00a01/4", "point", F(9, 4)), ("⅞", "comma", F(7, 8)),
    ],
)  # fmt: skip
def test_numbers(written: str, decimal: str, value: Fraction) -> None:
    assert read_number(written, decimal) == value


@pytest.mark.parametrize(
    ("written", "decimal"),
    [
        ("1,5", "point"), ("1.5", "comma"), ("0,900", "point"), ("0.900", "comma"), ("1,25,000", "point"),
        ("1.250.5", "point"), ("1 250", "point"), ("1 5/4", "point"), ("1.5 1/4", "point"), ("1 1/2 1/2", "point"),
        ("1/0", "point"), ("1/2/3", "point"), ("/2", "point"), ("1/", "point"), ("5.", "point"), ("1e3", "point"),
        ("", "point"), ("x", "point"), ("-1", "point"), ("−1", "point"), ("1²", "point"), ("٣", "point"),
        ("½½", "point"), ("nan", "point"), ("1_000", "point"), ("+1", "point"), ("9" * 5000, "point"),
        ("1/" + "9" * 5000, "point"),
    ],
)  # fmt: skip
def test_what_is_not_clearly_a_number(written: str, decimal: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_number(written, decimal)
    assert written[:40] in str(caught.value)


@pytest.mark.parametrize(
    ("value", "text", "comma"),
    [(F(9), "9", "9"), (F(5, 4), "1.25", "1,25"), (F(7, 3), "2 1/3", "2 1/3"), (F(2, 3), "2/3", "2/3"),
     (F(0), "0", "0")],
)
def test_numbers_as_text(value: Fraction, text: str, comma: str) -> None:
    assert (number_text(value), number_text(value, "comma")) == (text, comma)


# ---------------------------------------------------------------- amounts


@pytest.mark.parametrize(
    ("written", "unit_text", "name", "low", "usual", "high", "given"),
    [
        ("2 1/4 cups", "", "cup", F(9, 4), F(9, 4), F(9, 4), True),
        ("2 1/4", "cups", "cup", F(9, 4), F(9, 4), F(9, 4), True),
        ("1½ lb", "", "lb", F(3, 2), F(3, 2), F(3, 2), True),
        ("1½lb", "", "lb", F(3, 2), F(3, 2), F(3, 2), True),
        ("8oz", "", "oz", F(8), F(8), F(8), True),
        ("1 lb 8 oz", "", "lb", F(3, 2), F(3, 2), F(3, 2), True),
        ("1 lb, 8 oz", "", "lb", F(3, 2), F(3, 2), F(3, 2), True),
        ("1 lb 8 oz", "lb", "lb", F(3, 2), F(3, 2), F(3, 2), True),
        ("2 cups + 1 T", "", "cup", F(33, 16), F(33, 16), F(33, 16), True),
        ("2 cups plus 1 t", "", "cup", F(97, 48), F(97, 48), F(97, 48), True),
        ("up to 1 3/4 (usual 1 1/4)", "cup", "cup", F(0), F(5, 4), F(7, 4), True),
        ("up to 1 3/4 cup (usual 1 1/4)", "", "cup", F(0), F(5, 4), F(7, 4), True),
        ("Up to 1 3/4 cup (usually 1 1/4 cup)", "", "cup", F(0), F(5, 4), F(7, 4), True),
        ("up to 2 cups", "", "cup", F(0), F(2), F(2), False),
        ("1 1/4 to 1 3/4 (usual 1 1/2)", "cup", "cup", F(5, 4), F(3, 2), F(7, 4), True),
        ("4-6 oz", "", "oz", F(4), F(5), F(6), False),
        ("4 – 6", "oz", "oz", F(4), F(5), F(6), False),
        ("4 oz-6 oz", "", "oz", F(4), F(5), F(6), False),
        ("12 oz to 1 lb", "", "oz", F(12), F(14), F(16), False),
        ("1 cup", "cups", "cup", F(1), F(1), F(1), True),
        ("16 fl oz (US)", "", "US fl oz", F(16), F(16), F(16), True),
        ("3", "dozen", "dozen", F(3), F(3), F(3), True),
        (0.8, "oz", "oz", F(4, 5), F(4, 5), F(4, 5), True),
        (3, "cups", "cup", F(3), F(3), F(3), True),
        (Decimal("2.50"), "kg", "kg", F(5, 2), F(5, 2), F(5, 2), True),
        (0.333333333333333, "cup", "cup", *(F(333333333333333, 10**15),) * 3, True),
        (1e-05, "kg", "kg", *(F(1, 100000),) * 3, True),
    ],
)  # fmt: skip
def test_amounts(
    written: str, unit_text: str, name: str, low: Fraction, usual: Fraction, high: Fraction, given: bool
) -> None:
    amount = read_amount(written, unit_text)
    assert amount.unit is not None
    assert (amount.unit.name, amount.low, amount.usual, amount.high) == (name, low, usual, high)
    assert (amount.usual_given, amount.percent, amount.is_range) == (given, False, low != high)


@pytest.mark.parametrize(
    ("written", "unit_text", "low", "usual", "high"),
    [("2 %", "", 2, 2, 2), ("2%", "", 2, 2, 2), (2, "%", 2, 2, 2), ("2", "percent", 2, 2, 2), ("2-3 %", "", 2, 2.5, 3),
     ("up to 3 % (usual 1)", "", 0, 1, 3)],
)  # fmt: skip
def test_percents(written: str, unit_text: str, low: float, usual: float, high: float) -> None:
    amount = read_amount(written, unit_text)
    assert (amount.percent, amount.unit) == (True, None)
    assert [float(part) * 100 for part in (amount.low, amount.usual, amount.high)] == pytest.approx([low, usual, high])
    with pytest.raises(QuantityError, match="share of a batch"):
        amount.base()


@pytest.mark.parametrize(
    ("written", "unit_text", "form"),
    [
        ("5 level tsp", "", "level"), ("5 tsp", "", "level"), ("1 packed cup", "", "packed"),
        ("1 cup packed", "", "packed"),
        ("1 cup (packed)", "", "packed"), ("1", "packed cup", "packed"), ("1 firmly packed cup", "", "packed"),
        ("1 heaping tbsp", "", "heaped"), ("1 heaped tbsp", "", "heaped"), ("1 cup, sifted", "", "sifted"),
        ("2 scooped cups", "", "scooped"), ("1-2 sifted cups", "", "sifted"),
    ],
)  # fmt: skip
def test_forms(written: str, unit_text: str, form: str) -> None:
    amount = read_amount(written, unit_text)
    assert amount.form == form
    assert amount.unit is not None
    assert amount.unit.name in ("tsp", "cup", "tbsp")


@pytest.mark.parametrize(
    ("written", "unit_text", "says"),
    [
        ("1 cup", "tbsp", "has its own unit"), ("2 %", "oz", "has its own unit"), ("2 oz", "%", "has its own unit"),
        ("1 lb 8 oz", "oz", "has its own unit"), ("5", "", "has no unit"), ("", "oz", "No amount"),
        ("  ", "", "No amount"),
        ("-4 oz", "", "negative"), (-4, "oz", "negative"), ("6-4 oz", "", "from high to low"),
        ("2 cups (usual 3)", "", "from high to low"), ("up to 2 cups (usual 3)", "", "from high to low"),
        ("2-1/4 lb", "", "from high to low"), ("150 %", "", "more than the whole"), ("1 oz 1 lb", "", "not one amount"),
        ("1 lb 8", "", "not one amount"), ("1 cup 2 oz", "", "not one amount"), ("2 + 3 oz", "", "not one amount"),
        ("4 fl oz (118 ml)", "", "second amount in brackets"), ("4 oz (2) (3)", "", "brackets"),
        ("4 oz (2", "", "brackets"),
        ("1 cup to 2 oz", "", "mixes"), ("1-2-3 oz", "", "not one range"), ("about 2 cups", "", "no number"),
        ("a cup", "", "no number"), ("up to", "cup", "no number"), ("2 to cups", "", "is not known"),
        ("1 packed sifted cup", "", "at once"), ("1,5 kg", "", "decimals with a point"), ("50#", "", "is not read"),
        ("4 x 6 oz", "", 'unit "x" is not known'), ("2 cups", "packets", "is not read"), (True, "oz", "bool"),
        (float("nan"), "g", "not a number"), (float("inf"), "g", "not a number"), (1e308, "tonne", "too large"),
        (datetime.date(2026, 1, 2), "cup", "not an amount but a date"), (None, "cup", "not an amount"),
        ("9" * 300, "g", "is not a number"), ("2 % to 3 oz", "", "mixes percent"),
    ],
)  # fmt: skip
def test_what_is_not_an_amount(written: str, unit_text: str, says: str) -> None:
    with pytest.raises(QuantityError, match=re.escape(says)):
        read_amount(written, unit_text)


def test_errors_quote_what_was_read_and_never_all_of_a_long_text() -> None:
    with pytest.raises(QuantityError) as caught:
        read_amount("x" * 150)
    assert len(str(caught.value)) < 200


def test_decimal_style_and_measures_reach_the_amount() -> None:
    assert read_amount("0,9 kg", decimal="comma").base() == 900
    assert read_amount("1.250 g", decimal="comma").base() == 1250
    assert read_amount("2 tbsp", measures="Australian").base(want="mL") == 40
    with pytest.raises(QuantityError, match=r'"0\.900" is not a number'):
        read_amount("0.900 g", decimal="comma")


def test_the_text_keeps_what_was_typed() -> None:
    assert read_amount("2 1/4", "cups").text == "2 1/4 cups"
    assert read_amount(" 1½ lb ").text == "1½ lb"
    assert read_amount(700.0, "g").text == "700 g"
    assert read_amount("1 cup", "cups").text == "1 cup"


def test_one_and_true_and_one_point_nought_are_not_one_cell() -> None:
    assert read_amount(1, "g") == read_amount(1.0, "g")
    with pytest.raises(QuantityError):
        read_amount(True, "g")


def test_demo_recipes_are_read_as_their_columns_say() -> None:
    for row in rows("demo/tables/recipes.csv"):
        amount = read_amount(row["Amount as written"], row["Unit"])
        assert [amount.low, amount.usual, amount.high] == [Fraction(row[name]) for name in ("Low", "Usual", "High")]


def test_demo_packs_and_stock_are_read() -> None:
    for row in rows("demo/tables/invoice_lines.csv"):
        if row["Pack"]:
            number, _, name = row["Pack"].partition(" ")
            amount = read_amount(row["Pack"])
            assert amount == Amount(row["Pack"], unit(name), *(Fraction(number),) * 3)
    for row in rows("demo/tables/stock.csv"):
        assert read_amount(row["On hand"], row["Unit"]).usual == Fraction(row["On hand"])


# ---------------------------------------------------------------- to grams


def test_base_of_weights_volumes_and_pieces() -> None:
    # 2 1/4 US cups are 2.25/16 gal of 3785.411784 mL (NIST Handbook 44, Appendix C).
    cups = read_amount("2 1/4 cups")
    assert cups.base(want="mL") == pytest.approx(2.25 / 16 * 3785.411784, rel=1e-15)
    assert cups.base(g_per_ml=0.92) == pytest.approx(2.25 / 16 * 3785.411784 * 0.92, rel=1e-15)
    assert read_amount("1 lb 8 oz").base() == pytest.approx(1.5 * 453.59237, rel=1e-15)
    assert read_amount("2 kg").base(g_per_ml=1.25, want="mL") == 1600
    assert read_amount("2 dozen").base(want="each") == 24
    ranged = read_amount("up to 7 (usual 5)", "oz")
    assert [round(ranged.base(which) / 28.349523125, 9) for which in ("low", "usual", "high")] == [0, 5, 7]


def test_no_weight_without_a_weight_per_volume() -> None:
    with pytest.raises(WeightPerVolumeMissing, match='"2 cups" is a volume') as caught:
        read_amount("2 cups").base()
    assert "Weigh one level measure" in caught.value.do
    with pytest.raises(WeightPerVolumeMissing):
        read_amount("2 oz").base(want="mL")


@pytest.mark.parametrize("wrong", [0.0, -1.0, float("nan"), float("inf")])
def test_a_weight_per_volume_that_cannot_be(wrong: float) -> None:
    with pytest.raises(QuantityError, match="cannot be right"):
        read_amount("2 cups").base(g_per_ml=wrong)


def test_pieces_have_no_weight() -> None:
    with pytest.raises(QuantityError, match="count"):
        read_amount("3 each").base(g_per_ml=1.0)
    with pytest.raises(QuantityError, match="mass"):
        read_amount("3 oz").base(want="each")


def test_convert_is_exact() -> None:
    assert convert(Fraction(1), unit("gal"), unit("cup")) == 16
    assert convert(3, unit("tsp"), unit("tbsp")) == 1
    assert convert(Fraction(1), unit("L"), unit("kg"), 0.92) == Fraction(92, 100)
    assert convert(Fraction(92, 100), unit("kg"), unit("L"), Fraction("0.92")) == 1
    with pytest.raises(WeightPerVolumeMissing, match='"2 cup" is a volume'):
        convert(2, unit("cup"), unit("g"))
    with pytest.raises(QuantityError):
        convert(2, unit("each"), unit("g"), 1.0)


@pytest.mark.parametrize(
    ("written", "plain"),
    [("4 oz", True), ("4 ounces", True), ("4 Oz.", True), ("4-6 oz", True), ("4 fl oz", False), ("4 oz wt", False),
     ("4 oz t", False), ("1 lb 8 oz", False), ("4 g", False), ("4 %", False)],
)  # fmt: skip
def test_plain_ounces(written: str, plain: bool) -> None:
    assert is_plain_ounce(read_amount(written)) is plain


def test_every_error_of_this_room_is_a_sentence() -> None:
    for bad in ("1 cupp", "1 pinch", "x", "5", "1/0 cup", "6-4 oz"):
        with pytest.raises(CostbookError) as caught:
            read_amount(bad)
        assert str(caught.value).endswith(".")
