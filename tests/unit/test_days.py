"""The order of work: rests and nights by hand, the rack never over-full, nobody in two places, sets after their parts."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from itertools import combinations, pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from costbook.costing.days import RACK, Calendar, Job, OrderOfWork, Work, order_of_work

MONDAY = date(2026, 10, 26)


def at(day: int, hour: float) -> datetime:
    return datetime(2026, 10, 26 + day) + timedelta(hours=hour)


def calendar(*hours: float, role: str = "owner") -> Calendar:
    return Calendar(MONDAY, {role: hours})


def tin(rest: float = 24.0, places: float = 40.0) -> Job:
    return Job("tin", (Work("melt", "owner", 1.0), Work("cap", "owner", 0.5)), rest, {RACK: places}, makes=38.0)


def test_a_batch_rests_overnight_and_ships_after_its_rest() -> None:
    done = order_of_work([tin()], calendar(6, 6))
    assert [(e.step, e.start, e.end) for e in done.entries] == [
        ("melt", at(0, 9), at(0, 10)), ("cap", at(0, 10), at(0, 10.5)), ("rest", at(0, 10.5), at(1, 10.5)),
    ]  # fmt: skip
    assert (done.batches[0].finished, done.batches[0].ships) == (at(0, 10.5), at(1, 10.5))
    assert done.nights == ((RACK, MONDAY, 40.0),)
    assert done.hours == {("owner", MONDAY): 1.5}


def test_a_rest_between_steps_counts_into_the_rest_before_shipping() -> None:
    """8 h between the layers, 24 h in all: the second layer next morning, then 16 h more."""
    job = Job("tin", (Work("melt", "owner", 1.0, 8.0), Work("cap", "owner", 1.0)), 24.0, {RACK: 30.0})
    done = order_of_work([job], calendar(6, 6))
    assert [(e.step, e.start) for e in done.entries] == [("melt", at(0, 9)), ("rest", at(0, 10)), ("cap", at(1, 9)), ("rest", at(1, 10))]
    assert done.batches[0].ships == at(1, 26)
    assert [night for _, night, _ in done.nights] == [MONDAY, MONDAY + timedelta(1)]


def test_a_full_rack_makes_the_next_batch_wait() -> None:
    done = order_of_work([tin(), tin()], calendar(6, 6, 6), {RACK: 72.0})
    first, second = done.batches
    assert second.start >= first.start and second.finished >= first.ships
    assert {night: held for _, night, held in done.nights} == {MONDAY: 40.0, MONDAY + timedelta(1): 40.0}
    both = order_of_work([tin(), tin()], calendar(6, 6, 6), {RACK: 80.0})
    assert both.nights == ((RACK, MONDAY, 80.0),)


def test_a_batch_that_never_fits_is_said() -> None:
    [said] = order_of_work([tin(places=80.0)], calendar(6), {RACK: 72.0}).left_over
    assert said == "batch 1 of tin wants 80 places (rack), and 72 are there."
    [said] = order_of_work([tin()], calendar(1.0)).left_over
    assert said == "batch 1 of tin finds no room: not enough hours left in these days."
    [said] = order_of_work([tin()], calendar(0.0, 0.0)).left_over
    assert said == "batch 1 of tin finds no room: no hours of owner in these days."


def test_a_step_is_not_split_unless_no_day_is_long_enough() -> None:
    whole = order_of_work([Job("a", (Work("stir", "owner", 2.0),)), Job("b", (Work("stir", "owner", 2.0),))], calendar(3, 3))
    assert [(e.start, e.end) for e in whole.entries] == [(at(0, 9), at(0, 11)), (at(1, 9), at(1, 11))]
    long = order_of_work([Job("a", (Work("stir", "owner", 5.0),))], calendar(3, 3))
    assert [(e.start, e.end) for e in long.entries] == [(at(0, 9), at(0, 12)), (at(1, 9), at(1, 11))]


def test_a_set_waits_for_its_parts_from_stock_or_from_batches() -> None:
    gift = Job("gift", (Work("pack", "owner", 0.5),), makes=10.0, takes={"tin": 10.0})
    done = order_of_work([gift, tin()], calendar(6, 6, 6))
    ships = {b.product: b for b in done.batches}
    assert ships["gift"].start >= ships["tin"].ships
    assert order_of_work([gift], calendar(6), on_hand={"tin": 10.0}).batches[0].start == at(0, 9)
    [said] = order_of_work([gift], calendar(6), on_hand={"tin": 9.0}).left_over
    assert said == "batch 1 of gift has to wait for pieces it is made of, which are not there in these days."
    two = order_of_work([gift, gift], calendar(6), on_hand={"tin": 15.0})
    assert len(two.batches) == len(two.left_over) == 1, "the same pieces went into two sets"


def test_nothing_to_do_is_an_empty_order() -> None:
    done = order_of_work([], calendar(6))
    assert (done.entries, done.batches, done.nights, done.left_over) == ((), (), (), ())
    assert order_of_work([Job("air", ())], calendar(6)).batches[0].ships == at(0, 9)


works = st.builds(Work, st.just("work"), st.sampled_from(["owner", "helper"]), st.sampled_from([0.25, 1.0, 2.5]), st.sampled_from([0.0, 0.0, 8.0]))
jobs = st.builds(
    Job, st.sampled_from(["a", "b", "c"]), st.lists(works, min_size=1, max_size=4).map(tuple), st.sampled_from([0.0, 12.0, 24.0]),
    st.sampled_from([{}, {RACK: 20.0}, {RACK: 45.0, "mould": 1.0}]), st.just(10.0),
)  # fmt: skip


def held_at(done: OrderOfWork, asked: list[Job], place: str, moment: datetime) -> float:
    """Places held at a moment, by the entries alone."""
    by_product: dict[str, list[Job]] = {}
    for job in asked:
        by_product.setdefault(job.product, []).append(job)
    held = 0.0
    for batch in done.batches:
        rests = [e for e in done.entries if (e.product, e.batch, e.role) == (batch.product, batch.batch, "")]
        if rests and min(e.start for e in rests) <= moment < max(e.end for e in rests):
            held += by_product[batch.product][batch.batch - 1].holds.get(place, 0.0)
    return held


@settings(deadline=None, max_examples=150)
@given(st.lists(jobs, max_size=6), st.lists(st.sampled_from([0.0, 3.0, 6.0]), min_size=4, max_size=8))
def test_every_order_keeps_hours_places_and_rests(asked: list[Job], hours: list[float]) -> None:
    days = Calendar(MONDAY, {"owner": hours, "helper": hours[::-1]})
    done = order_of_work(asked, days, {RACK: 72.0, "mould": 1.0})
    assert len(done.batches) + len(done.left_over) == len(asked)
    for role in ("owner", "helper"):
        worked = sorted((e.start, e.end) for e in done.entries if e.role == role)
        assert all(a[1] <= b[0] for a, b in pairwise(worked)), "one person in two places"
        spans = days.spans(role)
        assert all(any(a <= start and end <= b for a, b in spans) for start, end in worked), "work outside working hours"
    for moment in {e.start for e in done.entries if not e.role}:
        assert held_at(done, asked, RACK, moment) <= 72 and held_at(done, asked, "mould", moment) <= 1
    assert all(amount <= 72 for place, _, amount in done.nights if place == RACK)
    for batch in done.batches:
        own = sorted((e for e in done.entries if (e.product, e.batch) == (batch.product, batch.batch)), key=lambda e: (e.start, e.end))
        assert all(one.end <= two.start for one, two in combinations(own, 2)), "a step before the one before it is done"
