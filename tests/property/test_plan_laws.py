"""Laws of the plan: on small random questions it is what trying every number of batches comes to, and it never uses too much.

The second way is plain enumeration in exact fractions over all batch and pack counts; it shares no code with the planner.
"""

from __future__ import annotations

import itertools
import math
import time
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from costbook.costing import neighbours, swaps
from costbook.costing import plan as plan_module
from costbook.costing.candidates import TIME, Candidate, Candidates, Pack, Resource, program
from costbook.costing.highs import Rows, Watch
from costbook.costing.plan import Plan, best_plan, ranking
from costbook.costing.swaps import swapped
from costbook.errors import InputError
from tests.benchmarks import plans

LAW = settings(deadline=None, max_examples=120, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
HOURS, RACK, WAX = "owner", "rack", "wax"


@st.composite
def questions(draw: st.DrawFn) -> Candidates:
    """Two to four products, one of which may be a set of the first, over three resources; wax may be bought in packs."""
    count = draw(st.integers(2, 4))
    made = []
    for i in range(count):
        uses = {name: float(draw(st.integers(0, 6))) for name in (HOURS, RACK, WAX)}
        is_set = i == count - 1 and draw(st.booleans())
        made.append(
            Candidate(
                f"P{i}", float(draw(st.integers(-2, 12))), uses, good=float(draw(st.integers(1, 4))),
                most=float(draw(st.integers(0, 3))), on_hand=float(draw(st.integers(0, 3))),
                promised=float(draw(st.sampled_from([0, 0, 2, 5]))),
                ceiling=draw(st.sampled_from([None, None, 2.0, 6.0])),
                parts={"P0": float(draw(st.integers(1, 4)))} if is_set else {},
                promised_value=draw(st.sampled_from([None, -1.0, 3.0, 9.0])),
            )
        )  # fmt: skip
    packs = (Pack(3.0, float(draw(st.integers(1, 5)))), Pack(7.0, 8.0, most=1))[: draw(st.integers(0, 2))]
    resources = (
        Resource(HOURS, float(draw(st.integers(0, 14))), "hours"), Resource(RACK, float(draw(st.integers(0, 14))), "rack"),
        Resource(WAX, float(draw(st.integers(0, 10))), "material", packs=packs),
    )  # fmt: skip
    return Candidates(tuple(made), resources, budget=float(draw(st.integers(0, 12))))


def ends(asked: Candidates, counts: tuple[int, ...]) -> tuple[Fraction, Fraction] | None:
    """What these batches come to, (pieces promised that lack, money), None where there is not enough."""
    exact = {c.name: Fraction(c.on_hand) + Fraction(c.good) * n for c, n in zip(asked.candidates, counts, strict=True)}
    for c, n in zip(asked.candidates, counts, strict=True):
        for part, pieces in c.parts.items():
            exact[part] -= Fraction(pieces) * n
    if any(left < 0 for left in exact.values()):
        return None
    spent = Fraction(0)
    for r in asked.resources:
        lack = sum(Fraction(c.uses.get(r.name, 0.0)) * n for c, n in zip(asked.candidates, counts, strict=True)) - Fraction(r.available)
        if lack > 0:
            cheapest = bought_for(r, lack)
            if cheapest is None:
                return None
            spent += cheapest
    if asked.budget is not None and spent > Fraction(asked.budget):
        return None
    lacking = sum((max(Fraction(0), Fraction(c.promised) - exact[c.name]) for c in asked.candidates), Fraction(0))
    value = Fraction(0)
    for c in asked.candidates:
        had, has = Fraction(c.on_hand), exact[c.name]
        if c.ceiling is not None and c.value > 0:
            had, has = min(had, Fraction(c.ceiling)), min(has, Fraction(c.ceiling))
        value += Fraction(c.value) * (has - had)
        if c.promised_value is not None:  # of the promised pieces those that stock did not cover and now are there
            met = min(exact[c.name], Fraction(c.promised)) - min(Fraction(c.on_hand), Fraction(c.promised))
            value += (Fraction(c.promised_value) - Fraction(c.value)) * met
    return lacking, value


def bought_for(resource: Resource, lack: Fraction) -> Fraction | None:
    """The least money for packs that hold at least so much."""
    counts = [range(1 + (math.ceil(lack / Fraction(p.holds)) if p.most is None else p.most)) for p in resource.packs]
    paid = [
        sum((Fraction(p.price) * n for p, n in zip(resource.packs, ns, strict=True)), Fraction(0))
        for ns in itertools.product(*counts)
        if sum((Fraction(p.holds) * n for p, n in zip(resource.packs, ns, strict=True)), Fraction(0)) >= lack
    ]
    return min(paid, default=None)


def tried(asked: Candidates) -> Iterator[tuple[Fraction, Fraction]]:
    for counts in itertools.product(*(range(int(c.most or 0) + 1) for c in asked.candidates)):
        found = ends(asked, counts)
        if found is not None:
            yield found


def best_of_all(asked: Candidates) -> tuple[Fraction, Fraction]:
    """The fewest promised pieces lacking, and the most money among those."""
    lacking, loss = min((lacking, -value) for lacking, value in tried(asked))
    return lacking, -loss


def told(plan: Plan, asked: Candidates) -> tuple[int, ...]:
    return tuple(round(m.batches) for m in plan.made)


@LAW
@given(questions())
def test_the_plan_is_the_best_of_all_batch_counts(asked: Candidates) -> None:
    plan = best_plan(asked, one_more=False)
    lacking, money = best_of_all(asked)
    assert plan.proven and plan.gap == 0
    assert sum(m.lacking for m in plan.missed) == pytest.approx(float(lacking), abs=1e-6)
    assert plan.value == pytest.approx(float(money), abs=1e-6)
    assert plan.value <= plan.bound + 1e-6
    found = ends(asked, told(plan, asked))
    assert found is not None and float(found[1]) == pytest.approx(plan.value, abs=1e-6), "the batches told are not worth the value told"
    assert {m.name for m in plan.missed} == {m.why.split(" promised ")[1].split(" ")[0] for m in plan.missed}


@LAW
@given(questions())
def test_a_plan_uses_no_more_than_there_is_and_buys_no_more_than_the_money_pays(asked: Candidates) -> None:
    plan = best_plan(asked, one_more=False)
    bought = dict.fromkeys((r.name for r in asked.resources), Fraction(0))
    spent = Fraction(0)
    for name, pack, count in plan.packs:
        bought[name] += Fraction(pack.holds) * count
        spent += Fraction(pack.price) * count
        assert pack.most is None or count <= pack.most
    assert spent <= Fraction(asked.budget or 0)
    for r in asked.resources:
        used = sum(Fraction(c.uses.get(r.name, 0.0)) * n for c, n in zip(asked.candidates, told(plan, asked), strict=True))
        assert used <= Fraction(r.available) + bought[r.name]
        limit = next(x for x in plan.limits if x.resource.name == r.name)
        assert limit.used == pytest.approx(float(used)) and limit.left == pytest.approx(float(Fraction(r.available) + bought[r.name] - used))
        # No pack too many: without any one of them something would lack.
        packs = [Fraction(pack.holds) for name, pack, count in plan.packs if name == r.name]
        assert all(used > Fraction(r.available) + bought[r.name] - holds for holds in packs)


@settings(LAW, max_examples=40)
@given(questions())
def test_what_one_more_brings_is_the_difference_of_two_best_plans(asked: Candidates) -> None:
    plan = best_plan(asked, limit=30.0)
    lacking, money = best_of_all(asked)
    for place, limit in enumerate(plan.limits[: len(asked.resources)]):
        more = list(asked.resources)
        r = more[place]
        more[place] = Resource(r.name, r.available + 1.0, r.kind, packs=r.packs)
        lacking_then, money_then = best_of_all(Candidates(asked.candidates, tuple(more), asked.budget))
        assert limit.exact
        assert limit.one_more == pytest.approx(float(money_then - money), abs=1e-6)
        assert limit.one_more_promised == pytest.approx(float(lacking - lacking_then), abs=1e-6)


@LAW
@given(questions())
def test_a_ranking_never_beats_the_plan(asked: Candidates) -> None:
    free = Candidates(tuple(Candidate(c.name, c.value, c.uses, c.good, c.most, c.on_hand, 0.0, c.ceiling, c.parts) for c in asked.candidates), asked.resources, asked.budget)
    plan = best_plan(free, one_more=False)
    for r in asked.resources:
        counts, value = ranking(free, r.name)
        assert value <= plan.value + 1e-6
        found = ends(free, tuple(round(counts.get(c.name, 0.0)) for c in free.candidates))
        assert found is not None and float(found[1]) == pytest.approx(value, abs=1e-6)


@LAW
@given(questions(), st.integers(1, 3))
def test_more_of_anything_is_never_worse(asked: Candidates, more: int) -> None:
    before = best_plan(asked, one_more=False)
    grown = tuple(Resource(r.name, r.available + more, r.kind, packs=r.packs) for r in asked.resources)
    after = best_plan(Candidates(asked.candidates, grown, asked.budget), one_more=False)
    lacking = [sum(m.lacking for m in p.missed) for p in (before, after)]
    assert lacking[1] <= lacking[0] + 1e-6
    assert lacking[1] < lacking[0] - 1e-6 or after.value >= before.value - 1e-6


# ------------------------------------------------------------ by example


def test_greedy_loses_where_a_material_binds() -> None:
    """By hand: A brings most a minute but takes all the wax; B and C share it and bring more together."""
    asked = Candidates(
        (Candidate("A", 10, {HOURS: 1, WAX: 10}, most=1), Candidate("B", 8, {HOURS: 2, WAX: 5}, most=1),
         Candidate("C", 7, {HOURS: 2, WAX: 5}, most=1)),
        (Resource(HOURS, 8, "hours"), Resource(WAX, 10)),
    )  # fmt: skip
    plan = best_plan(asked)
    assert (plan.batches, plan.value) == ({"B": 1, "C": 1}, 15)
    assert ranking(asked, HOURS) == ({"A": 1}, 10)
    assert [x.resource.name for x in plan.binding] == [WAX] and plan.proven


def test_a_promise_that_cannot_be_met_is_said_and_the_rest_is_planned() -> None:
    asked = Candidates(
        (Candidate("tin", 1, {HOURS: 2, "tins": 32}, good=30, promised=12), Candidate("soak", 5, {HOURS: 1}, good=10, most=3)),
        (Resource(HOURS, 8, "hours", "h"), Resource("tins", 28, unit="each")),
    )
    plan = best_plan(asked)
    assert [(m.name, m.lacking) for m in plan.missed] == [("tin", 12)]
    assert plan.missed[0].why == "12 of 12 promised tin cannot be made: a batch takes 32 tins, and 28 are left."
    assert plan.batches == {"soak": 3}


def test_time_that_is_left_is_said_in_minutes_below_an_hour() -> None:
    """By hand: 8 h 2.5 min less four batches of 2 h are 2.5 minutes, too little for a fifth; of the helper 10.254 h less 8 h are 2.25 h."""
    asked = Candidates(
        (Candidate("tin", 1, {"owner": 2, "helper": 2}, good=3, promised=15),),
        (Resource("owner", 8 + 2.5 / 60, TIME, "hours"), Resource("helper", 10.254, TIME, "hours"), Resource("wax", 99, unit="g")),
    )
    plan = best_plan(asked)
    assert plan.missed[0].why == "3 of 15 promised tin cannot be made: a batch takes 2 hours of owner, and 2.5 minutes are left."
    assert [x.said for x in plan.limits] == ["2.5 minutes left of 8.04 hours", "2.25 hours left of 10.25 hours", "99 g left of 99"]


def test_promises_come_before_money() -> None:
    asked = Candidates(
        (Candidate("dear", 100, {HOURS: 1}), Candidate("promised", 1, {HOURS: 1}, promised=3)), (Resource(HOURS, 4),)
    )
    assert best_plan(asked).batches == {"dear": 1, "promised": 3}


def test_nothing_to_work_with_is_one_sentence_each() -> None:
    asked = Candidates(
        (Candidate("A", 5, {HOURS: 1, WAX: 1}, on_hand=-2),), (Resource(HOURS, 0, "hours", "hours"), Resource(WAX, -3, unit="g"))
    )
    plan = best_plan(asked)
    assert plan.batches == {} and plan.value == 0
    assert plan.notes == (
        "No hours of owner: nothing that takes it can be made.", "-3 g of wax cannot be: taken as none.",
        "-2 pieces of A on hand cannot be: taken as none.",
    )  # fmt: skip
    assert best_plan(Candidates((), ())).value == 0


def test_what_cannot_be_planned_is_refused_in_a_sentence() -> None:
    with pytest.raises(InputError, match="A takes nothing that is limited"):
        best_plan(Candidates((Candidate("A", 5),), ()))
    with pytest.raises(InputError, match="A takes wax, of which nothing is said"):
        Candidates((Candidate("A", 5, {WAX: 1}),), ())
    with pytest.raises(InputError, match="A is listed twice"):
        Candidates((Candidate("A", 5), Candidate("A", 5)), ())
    with pytest.raises(InputError, match="amount that is no number"):
        Candidates((Candidate("A", math.nan),), ())
    with pytest.raises(InputError, match="makes no good pieces"):
        Candidates((Candidate("A", 1, good=0),), ())


def test_without_time_there_is_a_plan_with_its_gap() -> None:
    asked = Candidates(
        tuple(Candidate(f"P{i}", 3 + i % 7, {HOURS: 1 + i % 5, WAX: 2 + i % 3}, most=2) for i in range(30)),
        (Resource(HOURS, 31), Resource(WAX, 37)),
    )
    start = time.perf_counter()
    plan = best_plan(asked, limit=0.0)
    assert time.perf_counter() - start < 20, "a limit of no seconds must not hang"
    assert plan.value <= plan.bound and plan.gap >= 0


def test_packs_of_a_set_are_bought_for_the_parts_in_the_same_plan() -> None:
    """By hand: a gift takes two soaps; soap takes 4 g of wax a piece, of which there is none; a pack holds 8 g for 3."""
    asked = Candidates(
        (Candidate("soap", 0, {WAX: 4}, most=5), Candidate("gift", 20, {HOURS: 1}, parts={"soap": 2}, most=5)),
        (Resource(HOURS, 2), Resource(WAX, 0, packs=(Pack(8, 3),))), budget=6,
    )  # fmt: skip
    plan = best_plan(asked)
    assert plan.batches == {"soap": 4, "gift": 2} and [(n, count) for n, _, count in plan.packs] == [(WAX, 2)]


@settings(LAW, max_examples=60, suppress_health_check=[*HealthCheck])
@given(questions(), st.booleans())
def test_the_way_of_large_plans_keeps_the_same_laws(monkeypatch: pytest.MonkeyPatch, asked: Candidates, sifting: bool) -> None:
    """The same small questions sent through the search, with and without building the relaxation up column by column."""
    monkeypatch.setattr(plan_module, "SMALL", 0)
    monkeypatch.setattr(neighbours, "MANY", 0 if sifting else 1_000)
    plan = best_plan(asked, limit=5.0, clock=time.perf_counter)
    lacking, money = best_of_all(asked)
    assert sum(m.lacking for m in plan.missed) == pytest.approx(float(lacking), abs=1e-6)
    assert plan.value <= float(money) + 1e-6 <= plan.bound + 2e-6
    found = ends(asked, told(plan, asked))
    assert found is not None and float(found[1]) == pytest.approx(plan.value, abs=1e-6)
    assert not plan.proven or plan.value == pytest.approx(float(money), abs=1e-6)


@pytest.mark.parametrize(("free", "reached"), [(300, neighbours.NEAR), (20, neighbours.SWAPS)])
def test_seconds_that_run_out_between_any_two_looks_leave_a_plan(monkeypatch: pytest.MonkeyPatch, free: int, reached: str) -> None:
    """A clock that stands still for so many looks and then leaps past the end: first after one look, then after two ...

    The solver is held to moments, so that it proves nothing and the search goes through all its steps.
    """
    whole, steps = Rows.whole, set[str]()
    monkeypatch.setattr(plan_module, "SMALL", 0)
    monkeypatch.setattr(neighbours, "FREE", free)
    monkeypatch.setattr(swaps, "ROUND", 2)
    monkeypatch.setattr(Rows, "whole", lambda rows, seconds, *args, **more: replace(whole(rows, min(seconds, 0.02), *args, **more), done=False))
    asked = plans.question(plans.Size(40, 20, 6, 0.3, 1.0))
    for still in range(1, 36):
        looks = itertools.count()
        plan = best_plan(asked, 10.0, lambda looks=looks, still=still: 100.0 * max(0, next(looks) - still))
        assert plan.value <= plan.bound + 1e-6 and plan.gap >= 0
        steps |= {step for step, _ in plan.steps}
    assert {neighbours.FILLED, neighbours.WHOLE, reached} <= steps, "a step of the search was never reached"


@settings(LAW, max_examples=60)
@given(questions())
def test_swaps_keep_every_limit_and_only_better_a_plan(asked: Candidates) -> None:
    rows_of = Rows(program(replace(asked, candidates=tuple(replace(c, promised=0.0) for c in asked.candidates))))
    relaxed = rows_of.relaxed(5.0)
    start = rows_of.program.settled([0.0] * len(rows_of.program.most))
    assert relaxed.columns is not None and rows_of.program.fits(start)
    found = rows_of.program.settled(swapped(rows_of.program, relaxed, start, Watch(0.2)))
    assert rows_of.program.fits(found) and rows_of.program.value(found) >= rows_of.program.value(start) - 1e-9
    assert all(x == int(x) and 0 <= x <= most for x, most in zip(found, rows_of.program.most, strict=True) if most < math.inf) or asked.budget
    counts = tuple(round(x) for x in found[: len(asked.candidates)])
    worth = ends(replace(asked, candidates=tuple(replace(c, promised=0.0) for c in asked.candidates)), counts)
    assert worth is not None and float(worth[1]) == pytest.approx(rows_of.program.value(found), abs=1e-6)


def test_a_swap_finds_what_no_batch_more_would() -> None:
    """By hand: A alone takes all the wax and brings 10, no batch has room beside it; B and C in its place bring 15."""
    asked = Candidates(
        (Candidate("A", 10, {WAX: 10}, most=1), Candidate("B", 8, {WAX: 5}, most=1), Candidate("C", 7, {WAX: 5}, most=1)), (Resource(WAX, 10),)
    )
    rows_of = Rows(program(asked))
    assert swapped(rows_of.program, rows_of.relaxed(5.0), [1.0, 0.0, 0.0], Watch(0.1)) == [0.0, 1.0, 1.0]
