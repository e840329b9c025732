"""Which published entries are checked and by what, and which are not, and why: the one registry of all entries."""

from __future__ import annotations

from published import change_cases, cost_cases, paper_cases, plan_cases, price_cases
from published import test_units_published as measures
from published.figures import Case

UNITS, HOUSEHOLD = "units", "household measures"
UNITS_FILE = "test_units_published.py"


def _of_units() -> list[Case]:
    """The cases of the units file, entry by entry, as that file names them."""
    sizes = {
        number: Case(number, UNITS, f"size of {name} in {book_measures} measures", lambda entry: measures.test_constants(entry["id"]), file=UNITS_FILE)
        for number, (name, book_measures, _) in measures.CONSTANTS.items()
    }
    weights = {
        number: Case(number, HOUSEHOLD, "grams per ml from the published measures by our spoons and cups, and the reference table's row",
                     lambda entry: measures.test_weight_per_volume_follows_from_the_published_measures(entry["id"]), file=UNITS_FILE)
        for number in measures.HOUSEHOLD
    }  # fmt: skip
    others = {
        number: Case(number, HOUSEHOLD if number.startswith("W") else UNITS, _words(check.__name__), lambda _, run=check: run(), file=UNITS_FILE)
        for number, check in measures.OTHER_CHECKS.items()
    }
    label = Case("U19", UNITS, "the sizes of nutrition labels are used nowhere", lambda _: measures.test_label_sizes_are_not_used(), file=UNITS_FILE)
    return [*sizes.values(), label, *others.values(), *weights.values()]


def _words(name: str) -> str:
    return name.removeprefix("test_").replace("_", " ")


CASES: list[Case] = [
    *_of_units(), *cost_cases.CASES.found, *price_cases.CASES.found, *change_cases.CASES.found, *paper_cases.CASES.found,
    *plan_cases.CASES.found,
]

# Figures of a checked entry that are not checked, and why.
PARTS_LEFT = {
    **{key: reason for key, reason in measures.NOT_CHECKED.items() if " " in key},
    **dict.fromkeys(
        ("A09 mos_units", "A09 mos_sales", "A16 mos_sales", "A16 mos_pct"),
        "margin of safety compares the pieces that pay a fixed cost with a plan of sales, which the tool does not keep",
    ),
    "A67 lifo": "last in, first out is no rule of the tool (see A69)",
    "P24 words": "conversion by way of a third currency: a paper carries one rate into the book's currency",
    "P26 half_even": "not used; what is checked is that it is not",
    "P28 words": "rule A and the IEEE default are not used; what is checked is that rule B is",
    "P29 binary_float_round": "not used; what is checked is that it is not",
    "K21 problem_class": "how hard a problem is in general is no figure a program comes to",
    "P09 not": "the wrong answer a sum of the rates gives; what is checked is that it does not come out",
}

_LABELS = "label law: comes with labels and the order of what is in a piece"

LATER = {
    **dict.fromkeys(
        ("L01", "L03", "L05", "L07", "L08", "L10", "L12", "L13", "L14", "L15", "L16", "L19", "L21"), _LABELS
    ),
}  # fmt: skip

_LIFO = "last in, first out: not permitted by IAS 2 (entry A69), so it is no rule of the tool"
_CHEMISTRY = "chemistry of the fizz: the tool counts money, and does not judge a recipe"

OUT_OF_SCOPE = {
    "A17": "operating leverage of a whole firm's income; the tool costs and prices pieces",
    "A21": "overhead applied against overhead paid at the year's end: bookkeeping; the tool's rate is set in advance",
    "A48": "a cost line estimated from two months' totals; she types her overhead a year",
    "A61": "specific identification, for goods that are not interchangeable (IAS 2); materials are",
    "A62": _LIFO,
    "A65": _LIFO,
    "A71": "which year counts as normal is her judgement: she types overhead and hands-on hours of a usual year",
    "A72": "net realisable value belongs into her accounts; the tool gives cost",
    "P16": "rounding of the tax she hands over belongs into her tax return; no price or cost holds it",
    "K05": "the figures an hour's contribution is made of are not printed, so there is nothing to put to the planner",
    "K13": "the limits of the blend are not printed, and its rounded shares do not come to the printed cost",
    "L17": "which duties of a cosmetics law a business has: law, not cost",
    **dict.fromkeys(("S01", "S02", "S03", "S05", "S07"), _CHEMISTRY),
}

# What else the figures are held against that was not made by this program: what, and the test (file::function) that does it.
INDEPENDENT = {
    "a second implementation in exact fractions, written from the description of costing alone": "property/test_costing_laws.py::test_unit_costs_are_those_of_exact_fractions",
    "enumeration in exact fractions: the best of all batch and pack counts": "property/test_plan_laws.py::test_the_plan_is_the_best_of_all_batch_counts",
    "numpy: nested recipes as one linear system": "property/test_costing_laws.py::test_nested_recipes_are_the_solution_of_one_linear_system",
    "pint: the factor of every unit": "unit/test_quantity.py::test_factor_agrees_with_pint",
    "GNU units, the Debian program: the factor of every unit": "unit/test_quantity.py::test_factor_agrees_with_gnu_units",
    "LibreOffice: the workbook recalculated": "golden/test_recalculation.py::",
    "the tables of the demo, computed apart from this program": "golden/test_demo_tables.py::",
    "official and public e-invoices": "golden/test_public_papers.py::",
}
