"""Made-up questions to the planner, from a workshop's list to a hundred thousand products; the same for the same seed."""

from __future__ import annotations

import random
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from costbook.costing.candidates import Candidate, Candidates, Resource
from costbook.costing.plan import Plan, best_plan, ranking


@dataclass(frozen=True, slots=True)
class Size:
    """A question: products, materials (0: only hours and rack are scarce), materials a product takes, and how scarce.

    `share` is how much there is of everything, of what all batches together would take.
    """

    products: int
    materials: int
    takes: int
    share: float
    limit: float


SIZES = {
    "a workshop's list": Size(40, 60, 8, 0.4, 10),
    "1,000 products, only hours and rack scarce": Size(1_000, 0, 0, 0.4, 5),
    "1,000 products, 300 materials scarce too": Size(1_000, 300, 8, 0.15, 30),
    "1,000 products, 1,500 materials scarce too": Size(1_000, 1_500, 8, 0.4, 30),
    "1,000 products, 300 materials, 15 each": Size(1_000, 300, 15, 0.1, 30),
    "100,000 products, 300 materials": Size(100_000, 300, 8, 0.15, 60),
}


def question(size: Size, seed: int = 1) -> Candidates:
    """Products of 1 to 4 batches at most that take two roles' hours, the rack, and a few materials."""
    dice = random.Random(seed)
    materials = [f"material {i}" for i in range(size.materials)]
    products: list[Candidate] = []
    wanted: dict[str, float] = {}
    for i in range(size.products):
        good = dice.randint(8, 30)
        uses = {name: dice.uniform(20, 900) for name in dice.sample(materials, min(size.takes, size.materials))}
        uses |= {"owner": dice.uniform(0.5, 2.5), "helper": dice.uniform(0.3, 2.0), "rack": float(good)}
        most = dice.randint(1, 4)
        products.append(Candidate(f"P{i}", round(dice.uniform(2, 15), 4), uses, good=good, most=most))
        for name, amount in uses.items():
            wanted[name] = wanted.get(name, 0.0) + amount * most
    scarce = tuple(
        Resource(name, amount * size.share * (dice.uniform(0.6, 1.4) if name.startswith("material") else 1.0))
        for name, amount in wanted.items()
    )
    return Candidates(tuple(products), scarce)


@dataclass(frozen=True, slots=True)
class Planned:
    """A plan with the seconds it took, and how much the list ranked by money per owner hour loses against it."""

    what: str
    size: Size
    seconds: float
    plan: Plan
    ranking_loses: float


def planned(what: str, size: Size, limit: float | None = None) -> Planned:
    """One question asked within its limit of seconds."""
    asked = question(size)
    start = time.perf_counter()
    plan = best_plan(asked, size.limit if limit is None else limit, time.perf_counter)
    took = time.perf_counter() - start
    by_rank = ranking(asked, "owner")[1]
    return Planned(what, size, took, plan, 1 - by_rank / plan.value if plan.value else 0.0)


def all_planned(sizes: Mapping[str, Size]) -> Iterator[Planned]:
    """Every size, one after the other."""
    for what, size in sizes.items():
        yield planned(what, size)
