"""Published product mixes, linear and whole-number programs and knapsacks, put to the planner as products and resources."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence

from published.figures import Cases, Entry
from pytest import approx

from costbook.costing.candidates import Candidate, Candidates, Resource
from costbook.costing.plan import Plan, best_plan, ranking
from costbook.costing.tiers import kept_per_piece

CASES = Cases([])
MIX = "what to make when something is scarce"


def best(products: Iterable[Candidate], there_is: Mapping[str, float], *, whole: bool = True) -> Plan:
    """The proven best plan for products that take what there is so much of."""
    plan = best_plan(question(products, there_is, whole=whole))
    assert plan.proven and plan.bound == plan.value
    return plan


def question(products: Iterable[Candidate], there_is: Mapping[str, float], *, whole: bool = True) -> Candidates:
    return Candidates(tuple(products), tuple(Resource(name, amount) for name, amount in there_is.items()), whole=whole)


def in_all(products: Iterable[Candidate], resource: str, counts: Mapping[str, float]) -> float:
    """What so many of each would take of a resource."""
    return sum(p.uses.get(resource, 0.0) * counts[p.name] for p in products)


@CASES.of("K01", MIX, "what a piece keeps, the plan of pieces with four machines' minutes, and the one limit it names")
def throughput_of_the_constraint(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    kept = {name: kept_per_piece(given["price"][name], given["material"][name]) for name in given["price"]}
    products = [
        Candidate(name, kept[name], {machine: minutes[i] for machine, minutes in given["minutes"].items()}, most=given["demand"][name])
        for i, name in enumerate(kept)
    ]
    plan = best(products, dict.fromkeys(given["minutes"], given["capacity"]))
    [binding] = plan.binding
    machine, capacity = binding.resource.name, given["capacity"]
    wanted = in_all(products, machine, given["demand"])
    assert published["constraint"] == f"{machine} ({wanted:,.0f} min needed, {wanted / capacity:.0%} of {capacity:,})".replace("%", " %")
    assert kept == published["throughput"]
    assert {p.name: p.value / p.uses[machine] for p in products} == published["per_min"]
    assert plan.batches == published["best_mix"]
    assert plan.value - given["operating_expense"] == approx(published["profit"])
    # One thing scarce: here the list by money a minute is right.
    assert ranking(question(products, dict.fromkeys(given["minutes"], given["capacity"])), machine)[1] == approx(plan.value)


@CASES.of("K03", MIX, "the plan of pieces for so many hours, no more of each than is ordered")
def hours_with_orders(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    names = ("desk", "chair", "bookcase")
    products = [Candidate(n, cm, {"h": h}, most=o) for n, cm, h, o in zip(names, given["cm"], given["hours_unit"], given["orders"], strict=True)]
    assert [p.value / p.uses["h"] for p in products] == published["cm_per_hour"]
    assert best(products, {"h": given["hours_available"]}).batches == published["fill"]
    assert in_all(products, "h", dict(zip(names, given["orders"], strict=True))) == published["hours_needed_all"]


# ------------------------------------------------------------------ programs as printed


def terms(text: str) -> dict[str, float]:
    """3x-2y as {x: 3, y: -2}."""
    found = re.findall(r"([+-]?)(\d*\.?\d*)([a-z])", text)
    return {name: float(f"{sign}{amount or 1}") for sign, amount, name in found}


def rows(printed: Sequence[str]) -> tuple[dict[str, dict[str, float]], dict[str, float]]:
    """What each unknown takes of each printed row, and the row's limit; at least is at most with the signs turned."""
    uses: dict[str, dict[str, float]] = {}
    limits: dict[str, float] = {}
    for row in printed:
        left, sign, right = re.split(r"(<=|>=)", row)
        turn = 1.0 if sign == "<=" else -1.0
        limits[row] = turn * float(right)
        for name, amount in terms(left).items():
            uses.setdefault(name, {})[row] = turn * amount
    return uses, limits


def printed_program(entry: Entry, values: Mapping[str, float] | None = None, *, whole: bool = True) -> Plan:
    uses, limits = rows(entry["inputs"]["s.t."])
    worth = values or terms(entry["inputs"]["max"])
    return best([Candidate(name, value, uses[name]) for name, value in worth.items()], limits, whole=whole)


def unknowns(entry: Entry) -> dict[str, float]:
    return {name: entry["published"][name] for name in ("x", "y")}


@CASES.of("K06", MIX, "what a piece keeps, and the plan with three limits, in whole pieces and in parts of them")
def product_mix(entry: Entry) -> None:
    data = entry["inputs"]["data"]
    spent = zip(data["price"], data["material"], data["variable_labor_overhead"], strict=True)
    kept = dict(zip("xy", (kept_per_piece(price, material + rest) for price, material, rest in spent), strict=True))
    assert kept == terms(entry["inputs"]["max"])
    for whole in (True, False):
        plan = printed_program(entry, kept, whole=whole)
        assert plan.batches == approx(unknowns(entry)) and plan.value == approx(entry["published"]["z"])


@CASES.of("K08", MIX, "the plan in parts of batches, where one product gives what another takes")
def linear_program(entry: Entry) -> None:
    plan = printed_program(entry, whole=False)
    assert plan.batches == approx(unknowns(entry)) and plan.value == approx(entry["published"]["z"])


@CASES.of("K09", MIX, "the plan in whole batches, and in parts of them")
def whole_number_program(entry: Entry) -> None:
    plan = printed_program(entry)
    assert plan.batches == unknowns(entry) and plan.value == approx(entry["published"]["z"])
    assert printed_program(entry, whole=False).value == approx(entry["published"]["lp_relaxation"])


# ------------------------------------------------------------------ one of each at most


def one_of_each(values: Sequence[float], weights: Sequence[float]) -> list[Candidate]:
    return [Candidate(str(i), value, {"room": weight}, most=1) for i, (value, weight) in enumerate(zip(values, weights, strict=True))]


def chosen(plan: Plan) -> list[int]:
    return [round(m.batches) for m in plan.made]


@CASES.of("K11", MIX, "the plan of at most one batch each; what a list by money per unit comes to beside it", from_memory=True)
def capital_budget(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    projects = one_of_each(given["max"], given["cost"])
    plan = best(projects, {"room": given["budget"]})
    assert chosen(plan) == published["choose"] and plan.value == approx(published["z"])
    assert ranking(question(projects, {"room": given["budget"]}), "room")[1] == published["greedy_by_ratio"]


def knapsack(entry: Entry) -> Plan:
    given, published = entry["inputs"], entry["published"]
    plan = best(one_of_each(given["values"], given["weights"]), {"room": given["capacity"]})
    assert plan.value == approx(published["value"]) and plan.limits[0].used == approx(published["weight"])
    return plan


@CASES.of("K14 K16", MIX, "the plan of at most one batch each, and what it uses")
def knapsack_by_marks(entry: Entry) -> None:
    assert chosen(knapsack(entry)) == entry["published"]["select"]


@CASES.of("K17", MIX, "the plan of at most one batch each, and what it uses")
def knapsack_by_numbers(entry: Entry) -> None:
    assert [i + 1 for i, x in enumerate(chosen(knapsack(entry))) if x] == entry["published"]["select_items"]


@CASES.of("K19", MIX, "the plan of at most one batch each of fifty, some of which take nothing, and what it uses")
def knapsack_with_weightless(entry: Entry) -> None:
    knapsack(entry)


# ------------------------------------------------------------------ where a ranking is not the best


def traps() -> list[tuple[list[Candidate], dict[str, float]]]:
    """Two made for this: whole batches, as in K22; and two scarce things in parts of batches, where no one list is right."""
    whole = [Candidate("A", 10, {"min": 6}, most=2), Candidate("B", 7, {"min": 5}, most=2)]
    two = [Candidate("A", 10, {"min": 1, "g": 10}), Candidate("B", 8, {"min": 2, "g": 4}), Candidate("C", 9, {"min": 6, "g": 3})]
    return [(whole, {"min": 10}), (two, {"min": 20, "g": 40})]


@CASES.of("K21", MIX, "two small plans beside the list ranked by money per minute")
def a_ranking_is_not_always_the_best(entry: Entry) -> None:
    for products, there_is in traps():
        lost = ranking(question(products, there_is), "min")[1] < best(products, there_is).value - 1e-6
        assert lost is entry["published"]["true"]


@CASES.of("K22", MIX, "the plan in whole batches beside the list ranked by money per minute")
def whole_batches_against_the_ranking(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    products = [
        Candidate(str(i), value, {"min": minutes}, most=given["max_each"])
        for i, (value, minutes) in enumerate(zip(given["value"], given["minutes"], strict=True))
    ]
    assert ranking(question(products, {"min": given["limit"]}), "min")[1] == published["ratio_order_gives"]
    assert best(products, {"min": given["limit"]}).value == approx(published["optimum"])
