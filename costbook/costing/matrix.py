"""The usage of all products as compressed sparse rows: unit cost as a matrix times a vector of rates.

Built once from the usage rows, it costs every product again for other rates in one pass over its arrays, which is what
a change of prices asks for. A workshop's book is reckoned with plain lists; scipy comes in where there are many lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import nan
from typing import Any

from costbook.costing.rates import Rates
from costbook.costing.usage import Key, Usage, rate_of
from costbook.errors import CostbookError

PLAIN_UP_TO = 20_000  # lines: below, importing scipy takes longer than all the sums


@dataclass(frozen=True)
class Matrix:
    """Usage per good piece. Row i is `products[i]`; its lines are the places `starts[i]` to `starts[i + 1]`.

    `indices` says for each line which of `keys` it uses, `amounts` how much (g, pieces, minutes). A vector of rates has a
    number per key, in their order, such as `rates_vector` gives.
    """

    keys: Sequence[Key]
    products: Sequence[str]
    starts: Sequence[int]
    indices: Sequence[int]
    amounts: Sequence[float]

    @classmethod
    def of(cls, usage: Usage) -> Matrix:
        """The matrix of every product whose usage can be worked out, in the book's order."""
        places: dict[Key, int] = {}
        products: list[str] = []
        starts, indices, amounts = [0], list[int](), list[float]()
        for code in usage.book.products:
            try:
                bought = usage.row(code).bought
            except CostbookError:
                continue
            products.append(code)
            indices += [places.setdefault(key, len(places)) for key in bought]
            amounts += bought.values()
            starts.append(len(indices))
        return cls(tuple(places), products, starts, indices, amounts)

    def rates_vector(self, rates: Rates) -> list[float]:
        """What one unit of each key costs, not a number (nan) where nothing tells."""
        found = []
        for key in self.keys:
            try:
                found.append(rate_of(key, rates))
            except KeyError:
                found.append(nan)
        return found

    def unit_costs(self, rates_vector: Sequence[float]) -> Sequence[float]:
        """The unit cost of every product at these rates: a list, or an array for a large book.

        Raises:
            ValueError: the vector is not as long as the keys.
        """
        if len(rates_vector) != len(self.keys):
            raise ValueError(f"{len(rates_vector)} rates for {len(self.keys)} keys")
        if len(self.indices) > PLAIN_UP_TO:
            found: Sequence[float] = self._sparse @ rates_vector
            return found
        costs = [a * rates_vector[i] for a, i in zip(self.amounts, self.indices, strict=True)]
        return [sum(costs[first:end], 0.0) for first, end in zip(self.starts, self.starts[1:], strict=False)]

    def effect(self, old: Sequence[float], new: Sequence[float]) -> Sequence[float]:
        """By how much every product's unit cost changes when rates go from `old` to `new`."""
        return self.unit_costs([b - a for a, b in zip(old, new, strict=True)])

    @cached_property
    def _sparse(self) -> Any:
        from scipy.sparse import csr_array

        shape = len(self.starts) - 1, len(self.keys)
        return csr_array((self.amounts, self.indices, self.starts), shape=shape, dtype=float)
