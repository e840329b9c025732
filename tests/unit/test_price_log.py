"""Which price of hers holds on a day, read from the price log; worked by hand on a calendar of November."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from costbook.book.grid import Value
from costbook.book.model import Product
from costbook.book.price_log import price_days
from costbook.book.tool_tabs import PRICE_LOG
from costbook.errors import Where


def day(of_november: int) -> date:
    return date(2026, 11, of_november)


def row(old: Value, new: Value, starts: int | None, accepted: int = 1, **more: Value) -> list[Value]:
    values: dict[str, Value] = {
        "accepted": day(accepted), "code": "P1", "name": "Bar", "column": "wholesale", "old": old, "new": new,
        "starts": None if starts is None else day(starts), **more,
    }  # fmt: skip
    return [values.get(c.key) for c in PRICE_LOG.columns]


def priced(wholesale: str, **others: str) -> dict[str, Product]:
    """A line of one product at these prices."""
    prices = {key: Decimal(value) for key, value in {"wholesale": wholesale, **others}.items()}
    return {"P1": Product("P1", "Bar", (), {}, "", 1, 1, prices, Where("Products"))}


# The rows of the log, the price in her column now, and what holds on the days of November asked.
HISTORIES = {
    "nothing logged": ([], "4.50", {1: "4.50", 30: "4.50"}),
    "from today": ([row(4.5, 4.8, 1)], "4.80", {1: "4.80", 30: "4.80"}),
    "no day beside is the day it was accepted": ([row(4.5, 4.8, None, accepted=3)], "4.80", {2: "4.50", 3: "4.80"}),
    "waits for its day": ([row(4.5, 4.8, 15)], "4.80", {1: "4.50", 14: "4.50", 15: "4.80"}),
    "a later acceptance that starts sooner": ([row(4.5, 4.8, 15), row(4.8, 5.0, 10, accepted=2)], "5.00", {9: "4.50", 10: "5.00", 15: "5.00", 30: "5.00"}),
    "a later acceptance on the same day": ([row(4.5, 4.8, 15), row(4.8, 5.0, 15, accepted=2)], "5.00", {14: "4.50", 15: "5.00"}),
    "one rise after the other": ([row(4.5, 4.8, 10), row(4.8, 5.0, 20, accepted=2)], "5.00", {9: "4.50", 10: "4.80", 19: "4.80", 20: "5.00"}),
    "given up before its day": ([row(4.5, 4.8, 15), row(4.8, 4.5, 2, accepted=2)], "4.50", {1: "4.50", 15: "4.50"}),
    "typed by hand since": ([row(4.5, 4.8, 15)], "4.90", {1: "4.90", 15: "4.90"}),
    "typed by hand in between": ([row(4.5, 4.8, 10), row(4.9, 5.2, 20, accepted=2)], "5.20", {1: "4.90", 10: "4.90", 20: "5.20"}),
    "another column's price": ([row(9.0, 9.5, 15, column="retail")], "4.50", {1: "4.50", 15: "4.50"}),
    "a row without a figure": ([row(4.5, "about five", 15)], "4.50", {15: "4.50"}),
}  # fmt: skip


@pytest.mark.parametrize("case", HISTORIES)
def test_the_price_that_holds_on_a_day(case: str) -> None:
    log, now, wanted = HISTORIES[case]
    days = price_days(log, priced(now))["P1", "wholesale"]
    assert {of: days.on(day(of)) for of in wanted} == {of: Decimal(price) for of, price in wanted.items()}


def test_what_is_still_to_come_with_the_price_it_follows() -> None:
    """Accepted for the 15th, then 5.00 for the 10th and 5.20 for the 20th: the one for the 15th never comes."""
    log = [row(4.5, 4.8, 15), row(4.8, 5.0, 10, accepted=2, orders_until=day(12)), row(5.0, 5.2, 20, accepted=3)]
    days = price_days(log, priced("5.20"))["P1", "wholesale"]
    assert [(c.starts, c.old, c.new, c.orders_until) for c in days.after(day(5))] == [
        (day(10), Decimal("4.5"), Decimal("5.0"), day(12)), (day(20), Decimal("5.0"), Decimal("5.2"), None),
    ]  # fmt: skip
    assert [c.starts for c in days.after(day(10))] == [day(20)] and days.after(day(20)) == ()


def test_of_two_prices_for_one_day_the_later_one_comes_alone() -> None:
    days = price_days([row(4.5, 4.8, 15), row(4.8, 5.0, 15, accepted=2)], priced("5.00"))["P1", "wholesale"]
    assert [(c.old, c.new) for c in days.after(day(1))] == [(Decimal("4.5"), Decimal("5.0"))]


def test_a_rise_given_up_before_its_day_is_no_change_at_all() -> None:
    days = price_days([row(4.5, 4.8, 15), row(4.8, 4.5, 2, accepted=2)], priced("4.50"))["P1", "wholesale"]
    assert days.changes == ()


def test_each_column_has_its_own_days_and_a_product_gone_has_none() -> None:
    log = [row(4.5, 4.8, 15), row(9.0, 9.5, 20, column="retail"), row(1.0, 2.0, 20, code="P2")]
    days = price_days(log, priced("4.80", retail="9.50"))
    assert set(days) == {("P1", "wholesale"), ("P1", "retail")}
    assert (days["P1", "wholesale"].on(day(16)), days["P1", "retail"].on(day(16))) == (Decimal("4.8"), Decimal(9))
