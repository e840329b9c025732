"""What changed since the state she last accepted: the change of unit cost, split into effects that add up.

A state is rates, usage a good piece, and pieces planned and good. Between two of them the cost walks in one fixed order,
one thing set to its new value at each step, and each effect is the step it makes:

    good pieces -> recipe -> packaging -> labour minutes -> overhead minutes -> rates -> pay -> overhead rate

So usage is valued at old rates and rates at new usage, as standard costing does (price and quantity variances). Everything a
batch takes is divided by good pieces, so their share of the planned ones goes first and alone. What a set is made of walks
along with it. An effect is the difference of two costs next to each other: nothing is left over.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import NamedTuple

from costbook.book.model import Product
from costbook.costing.rates import OVERHEAD, Rates
from costbook.costing.usage import Cost, Key, Usage, rate_of
from costbook.errors import InputError

PIECES = "products"  # the category of another product's pieces in a set
STEPS = ("good_pieces", "recipe", "packaging", "labour_minutes", "overhead_minutes", "rates", "pay", "overhead_rate")
GOOD_STEP = 1
USAGE_STEP = {"materials": 2, "consumables": 2, PIECES: 2, "packaging": 3, "labour": 4, "overhead": 5}
RATE_STEP = {"materials": 6, "consumables": 6, "packaging": 6, "labour": 7, "overhead": 8}
HEADINGS = ("What", "Product", "Category", "Item", "Value")
Row = tuple[str, str, str, str, float | str]


@dataclass(frozen=True)
class State:
    """Everything unit costs were made of on a day.

    `rates` are money per gram, piece, minute or time, by (category, code). `usage` is by product what one good piece takes
    of its own, by the same keys; a set's also holds ('products', code) with the pieces in it. `planned` and `good` are the
    pieces of a batch.
    """

    on: date
    rates: Mapping[Key, float]
    usage: Mapping[str, Mapping[Key, float]]
    planned: Mapping[str, int]
    good: Mapping[str, int]

    @classmethod
    def of(cls, usage: Usage, rated: Rates, costed: Mapping[str, Cost], on: date) -> State:
        """The state of a priced book: every product that has a cost."""
        products = usage.book.products
        alone = {
            code: product._replace(parts=tuple(part for part in product.parts if part.kind != "product"))
            for code, product in products.items() if any(part.kind == "product" for part in product.parts)
        }  # fmt: skip
        apart = Usage(usage.book._replace(products=alone))
        rows = {code: _own(usage, apart, products[code]) for code in costed}
        keys = {key: None for row in rows.values() for key in row if key[0] != PIECES}
        pieces = {code: products[code] for code in costed}
        return cls(
            on, {key: rate_of(key, rated) for key in keys}, rows,
            {code: product.planned for code, product in pieces.items()}, {code: product.good for code, product in pieces.items()},
        )  # fmt: skip

    @property
    def products(self) -> tuple[str, ...]:
        """The products of the state, in the book's order."""
        return tuple(self.usage)

    def unit_cost(self, product: str) -> float:
        """What one good piece cost then, in book currency. Raises KeyError for a product it does not hold."""
        return _Walk(self, self).cost(product, 0)

    def yield_of(self, product: str) -> float:
        """Good pieces as a share of the planned ones."""
        return self.good[product] / self.planned[product]


def _own(usage: Usage, apart: Usage, product: Product) -> dict[Key, float]:
    """A product's usage without that of the products in it, and how many pieces of those."""
    inner = [part for part in product.parts if part.kind == "product"]
    if not inner:
        return dict(usage.row(product.code).bought)
    row: dict[Key, float] = {}
    if len(inner) < len(product.parts):
        row |= apart.row(product.code).bought
    else:
        for role, minutes in usage.batch_minutes(product).items():
            row["labour", role] = minutes / product.good
            row[OVERHEAD] = row.get(OVERHEAD, 0.0) + minutes / product.good
    for part in inner:
        times = (1.0 if part.per_batch else product.planned) / product.good
        key = PIECES, part.item
        row[key] = row.get(key, 0.0) + part.amount.base(want="each") * times
    return row


# ------------------------------------------------------------ kept as plain rows


def state_rows(state: State) -> list[Row]:
    """The state as rows under HEADINGS, to be kept in the workbook; `state_from_rows` reads them back unchanged."""
    rows: list[Row] = [("date", "", "", "", state.on.isoformat())]
    rows += [("rate", "", category, item, rate) for (category, item), rate in state.rates.items()]
    for code, usage in state.usage.items():
        rows += [("planned", code, "", "", float(state.planned[code])), ("good", code, "", "", float(state.good[code]))]
        rows += [("usage", code, category, item, amount) for (category, item), amount in usage.items()]
    return rows


def state_from_rows(rows: Iterable[Sequence[object]]) -> State:
    """The state kept as rows, as a workbook gives them back: empty cells None, codes that are numbers as numbers.

    Raises:
        InputError: a row cannot be read, or the rows do not make a whole state; the sentence names the row, from 1.
    """
    on: date | None = None
    rates: dict[Key, float] = {}
    usage: dict[str, dict[Key, float]] = {}
    pieces: dict[str, dict[str, int]] = {"planned": {}, "good": {}}
    for number, row in enumerate(rows, 1):
        what, product, category, item = (_text(cell) for cell in (*row[:4], *[None] * (4 - len(row))))
        value = row[4] if len(row) > 4 else None
        if what == "date":
            on = _day(value, number)
        elif what == "rate" and category in RATE_STEP:
            rates[category, item] = _number(value, number)
        elif what == "usage" and category in USAGE_STEP and product:
            usage.setdefault(product, {})[category, item] = _number(value, number)
        elif what in pieces and product:
            usage.setdefault(product, {})
            pieces[what][product] = int(_number(value, number, least=1))
        elif what:
            raise _unreadable(number, f'"{what} {category}" is nothing that is kept of a state')
    state = State(on or date.min, rates, usage, pieces["planned"], pieces["good"])
    for code, row_ in usage.items():
        lacks = [name for name, told in pieces.items() if code not in told]
        lacks += [f"the rate of {key[1]}" for key in row_ if (key[0] == PIECES and key[1] not in usage) or (key[0] != PIECES and key not in rates)]
        if lacks:
            raise InputError(f"the kept state of {code} lacks {lacks[0]}", do="Accept the present state again.")
    if on is None:
        raise InputError("the kept state has no date", do="Accept the present state again.")
    return state


def _text(cell: object) -> str:
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return "" if cell is None else str(cell).strip()


def _day(value: object, number: int) -> date:
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(_text(value))
    except ValueError:
        raise _unreadable(number, f'"{_text(value)}" is no date') from None


def _number(value: object, number: int, least: float = -math.inf) -> float:
    if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value) and value >= least:
        return float(value)
    raise _unreadable(number, f'"{_text(value)}" is no number that can stand there')


def _unreadable(number: int, why: str) -> InputError:
    return InputError(f"row {number} of the kept state cannot be read: {why}", do="Accept the present state again.")


# ------------------------------------------------------------ the walk from one to the other


class Variance(NamedTuple):
    """The change of one product's unit cost and its effects, in book currency a good piece; they add up to `change`.

    `rates` are those of all that is bought; `recipe` is usage of materials and consumables, and the pieces of a set;
    `packaging` is usage of packaging. Labour and overhead are each told as minutes and as what a minute costs.
    """

    product: str
    before: float
    after: float
    good_pieces: float
    recipe: float
    packaging: float
    labour_minutes: float
    overhead_minutes: float
    rates: float
    pay: float
    overhead_rate: float

    @property
    def change(self) -> float:
        """By how much the unit cost changed."""
        return self.after - self.before

    @property
    def labour(self) -> float:
        """The effect of minutes and of pay."""
        return self.labour_minutes + self.pay

    @property
    def overhead(self) -> float:
        """The effect of minutes and of the overhead rate."""
        return self.overhead_minutes + self.overhead_rate

    @property
    def effects(self) -> tuple[float, ...]:
        """Every effect in the order of STEPS."""
        return self[3:]


def variances(old: State, new: State) -> dict[str, Variance]:
    """The split of every product that both states hold, in the new one's order.

    What only one state has a rate for is valued at that rate in both, so that it counts as usage.
    """
    walk = _Walk(old, new)
    found = {}
    for code in new.usage:
        if code in old.usage:
            costs = [walk.cost(code, step) for step in range(len(STEPS) + 1)]
            found[code] = Variance(code, costs[0], costs[-1], *(b - a for a, b in pairwise(costs)))
    return found


class _Walk:
    """Unit costs with the first so many steps taken: 0 is the old state, len(STEPS) the new one."""

    def __init__(self, old: State, new: State) -> None:
        self._old, self._new = old, new
        self._costs: dict[tuple[str, int], float] = {}
        moving = self._moving()
        self._same_as = [max((x for x in moving if x <= step), default=0) for step in range(len(STEPS) + 1)]

    def _moving(self) -> set[int]:
        """The steps at which anything changes anywhere: at the others every cost is that of the step before."""
        old, new = self._old, self._new
        moving = {RATE_STEP[key[0]] for key, rate in old.rates.items() if new.rates.get(key, rate) != rate}
        for code in old.usage.keys() & new.usage.keys():
            before, after = old.usage[code], new.usage[code]
            if old.yield_of(code) != new.yield_of(code):
                moving.add(GOOD_STEP)
            if before != after:
                moving |= {USAGE_STEP[key[0]] for key in before.keys() | after.keys() if before.get(key) != after.get(key)}
        return moving

    def rate(self, key: Key, step: int) -> float:
        """A rate at that step; where one state has none, the other's."""
        first, second = self._old.rates, self._new.rates
        if step >= RATE_STEP[key[0]]:
            first, second = second, first
        return first[key] if key in first else second[key]

    def cost(self, product: str, step: int) -> float:
        """A unit cost at that step; a product only one state holds is that state's."""
        step = self._same_as[step]
        found = self._costs.get((product, step))
        if found is None:
            terms = [
                amount * (self.cost(key[1], step) if key[0] == PIECES else self.rate(key, step))
                for key, amount in self._row(product, step)
            ]
            found = self._costs[product, step] = math.fsum(terms)
        return found

    def _row(self, product: str, step: int) -> Iterable[tuple[Key, float]]:
        old, new = self._old.usage.get(product), self._new.usage.get(product)
        if old is None or new is None:
            yield from (old or new or {}).items()
            return
        spread = self._old.yield_of(product) / self._new.yield_of(product) if step >= GOOD_STEP else 1.0
        yield from ((key, amount * spread) for key, amount in old.items() if step < USAGE_STEP[key[0]])
        yield from ((key, amount) for key, amount in new.items() if step >= USAGE_STEP[key[0]])
