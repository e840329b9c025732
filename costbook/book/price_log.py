"""The price log read back: which price holds on a day, and which are still to come.

An accepted price stands in her own column at once; until its day the one before it holds. One accepted later takes the place
of every one that would start on its day or after it. A price she types into her column by hand holds from then on, so that
what the log said of it before is past.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from costbook.book.grid import Value
from costbook.book.model import Product
from costbook.book.tool_tabs import PRICE_LOG


class NewPrice(NamedTuple):
    """One price that took or will take the place of another: `old` holds until `starts`, `new` from that day on."""

    accepted: date
    old: Decimal
    new: Decimal
    starts: date
    orders_until: date | None


class PriceDays(NamedTuple):
    """One price column of one product over time: `first` until the first of `changes`, which are in the order of their days."""

    first: Decimal
    changes: tuple[NewPrice, ...] = ()

    def on(self, day: date) -> Decimal:
        """The price that holds on a day."""
        return next((change.new for change in reversed(self.changes) if change.starts <= day), self.first)

    def after(self, day: date) -> tuple[NewPrice, ...]:
        """The changes that start later than a day."""
        return tuple(change for change in self.changes if change.starts > day)

    def with_price(self, one: NewPrice) -> PriceDays:
        """The same after one more was accepted."""
        before = tuple(change for change in self.changes if change.starts < one.starts)
        held = before[-1].new if before else self.first
        return self._replace(changes=before if one.new == held else (*before, one._replace(old=held)))


def price_days(log: Iterable[Sequence[Value]], products: Mapping[str, Product]) -> dict[tuple[str, str], PriceDays]:
    """Every price of every product by (code, column), as the log tells of it.

    Args: log are the rows of the price log, in its columns, in the order they were accepted.
    """
    told: dict[tuple[str, str], PriceDays] = {}
    stood: dict[tuple[str, str], Decimal] = {}  # what her column held once the last row was written
    for row in log:
        values = dict(zip((c.key for c in PRICE_LOG.columns), row, strict=True))
        accepted, starts, until = (x if isinstance(x, date) else None for x in (values[key] for key in ("accepted", "starts", "orders_until")))
        old, new = (_price(values[key]) for key in ("old", "new"))
        if accepted is None or old is None or new is None:
            continue
        key = str(values["code"]), str(values["column"])
        days = told[key] if stood.get(key) == old else PriceDays(old)
        told[key], stood[key] = days.with_price(NewPrice(accepted, old, new, starts or accepted, until)), new
    return {
        (code, column): told[code, column] if stood.get((code, column)) == price else PriceDays(price)
        for code, product in products.items() for column, price in product.prices.items()
    }  # fmt: skip


def _price(value: Value) -> Decimal | None:
    """What a cell of the log holds as money, None where it is no number."""
    return Decimal(repr(value)) if isinstance(value, int | float) and not isinstance(value, bool) else None
