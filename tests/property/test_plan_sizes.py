"""How near to the best large plans come: gaps are asserted, never times. A plan is checked here without the planner's rows."""

from __future__ import annotations

import math
import time

import pytest

from costbook.costing.candidates import Candidates
from costbook.costing.neighbours import FILLED
from costbook.costing.plan import Plan, best_plan
from tests.benchmarks.plans import SIZES, Size, question


def keeps(asked: Candidates, plan: Plan) -> bool:
    """Whether the batches are whole, no more than may be, worth what is told, and take no more than there is."""
    made = [(c, plan.batches.get(c.name, 0.0)) for c in asked.candidates]
    used = dict.fromkeys((r.name for r in asked.resources), 0.0)
    for c, count in made:
        for name, amount in c.uses.items():
            used[name] += amount * count
    fits = all(used[r.name] <= r.available * (1 + 1e-8) for r in asked.resources)
    whole = all(count == int(count) and 0 <= count <= (c.most or 0) for c, count in made)
    worth = math.fsum(c.value * c.good * count for c, count in made)
    return fits and whole and math.isclose(worth, plan.value, rel_tol=1e-9) and plan.value <= plan.bound + 1e-6


def planned(size: Size, limit: float) -> Plan:
    asked = question(size)
    plan = best_plan(asked, limit, time.perf_counter)
    assert keeps(asked, plan)
    print(f"{size}: value {plan.value:.0f}, bound {plan.bound:.0f}, gap {plan.gap:.3%}, steps {plan.steps}")
    return plan


def test_a_workshops_list_is_proven_the_best() -> None:
    plan = planned(SIZES["a workshop's list"], 10.0)
    assert plan.proven or plan.gap < 0.01


def test_a_thousand_products_with_hours_scarce_come_within_a_thousandth() -> None:
    assert planned(SIZES["1,000 products, only hours and rack scarce"], 5.0).gap <= 0.001


@pytest.mark.parametrize("what", ["1,000 products, 300 materials scarce too", "1,000 products, 300 materials, 15 each"])
def test_a_thousand_products_with_materials_scarce_come_within_a_twentieth(what: str) -> None:
    """Never worse than the relaxation rounded down and filled up."""
    plan = planned(SIZES[what], 30.0)
    assert plan.gap <= 0.05 and plan.value >= dict(plan.steps)[FILLED]


def test_very_many_products_get_an_answer_and_a_gap() -> None:
    plan = planned(Size(25_000, 200, 8, 0.2, 10), 10.0)
    assert plan.batches and plan.gap <= 0.05


@pytest.mark.parametrize("limit", [0.0, 0.3])
def test_without_time_there_is_still_an_answer(limit: float) -> None:
    plan = planned(SIZES["1,000 products, 300 materials scarce too"], limit)
    assert plan.gap < 1 and plan.value > 0
