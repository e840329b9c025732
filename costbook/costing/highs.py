"""Programs solved by HiGHS: the relaxation, the whole-number program within a limit of seconds, parts of it held fast.

The only file that knows scipy.optimize. No clock is read here: whoever may read one lends it (`Watch`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from costbook.costing.candidates import Program

INFINITE = math.inf


class Watch:
    """Seconds that may still be spent. Without a clock every solver call is charged all it was allowed."""

    def __init__(self, limit: float, clock: Callable[[], float] | None = None) -> None:
        self.limit, self._clock, self._charged = limit, clock, 0.0
        self._start = clock() if clock else 0.0

    @property
    def ticks(self) -> bool:
        """Whether there is a clock."""
        return self._clock is not None

    @property
    def left(self) -> float:
        """Seconds left, not below 0."""
        spent = self._clock() - self._start if self._clock else self._charged
        return max(0.0, self.limit - spent)

    def allow(self, share: float, least: float = 0.0) -> float:
        """That share of what is left, for one solver call; at least `least`, where so much is left."""
        seconds = min(self.left, max(self.left * share, least))
        self._charged += 0.0 if self._clock else seconds
        return seconds


    def part(self, share: float, least: float = 0.0) -> Watch:
        """A watch of its own for a share of what is left, by the same clock."""
        return Watch(self.allow(share, least), self._clock)


@dataclass(frozen=True, slots=True)
class Solved:
    """What a solver call came to: columns (None where none was found), their value, what no columns can beat.

    `prices` are what one more of each row's limit brings, and `reduced` what one more of each column would bring beside
    them, both of the relaxation only. `possible` is False where no columns keep the rows.
    """

    columns: list[float] | None
    value: float
    bound: float
    prices: tuple[float, ...] = ()
    reduced: tuple[float, ...] = ()
    possible: bool = True
    done: bool = True


class Rows:
    """A program's rows as the solver takes them, each divided by a power of two so that its largest amount is near 1.

    The solver's tolerance then means the same in grams and in hours, and no digit of an amount is changed.
    """

    def __init__(self, program: Program) -> None:
        from scipy.sparse import csr_array

        self.program = program
        starts, amounts = program.starts, list(program.amounts)
        self.scales: list[float] = []
        for first, end in pairwise(starts):
            scale = 2.0 ** math.frexp(max(map(abs, amounts[first:end]), default=1.0))[1]
            self.scales.append(scale)
            amounts[first:end] = [a / scale for a in amounts[first:end]]
        self.limits = [limit / scale for limit, scale in zip(program.limits, self.scales, strict=True)]
        shape = (len(self.limits), len(program.objective))
        self.matrix: Any = csr_array((amounts, program.indices, starts), shape=shape, dtype=float)

    def relaxed(self, seconds: float, among: Sequence[int] | None = None) -> Solved:
        """The relaxation, in which batches need not be whole; its value is a bound, its prices are exact for it.

        `among` leaves all other columns at 0; then the bound is that of `priced`, good for all columns.
        """
        from scipy.optimize import linprog

        p = self.program
        part = range(len(p.most)) if among is None else among
        if not part:  # which the solver refuses
            prices: tuple[float, ...] = (0.0,) * len(self.limits)
            bound, reduced = self.priced(prices)
            return Solved([0.0] * len(p.most), p.constant, max(p.constant, bound), prices, reduced)
        found = linprog(
            [-p.objective[c] for c in part], A_ub=self.matrix if among is None else self.matrix[:, list(among)],
            b_ub=self.limits, bounds=[(0.0, None if math.isinf(p.most[c]) else p.most[c]) for c in part],
            method="highs", options={"time_limit": max(seconds, 0.01)},
        )  # fmt: skip
        if found.x is None or found.status != 0:
            return Solved(None, -INFINITE, INFINITE, possible=found.status != 2, done=False)
        columns = [0.0] * len(p.most)
        for c, x in zip(part, found.x.tolist(), strict=True):
            columns[c] = x
        value = -float(found.fun) + p.constant
        prices = tuple(max(0.0, -float(d)) / s for d, s in zip(found.ineqlin.marginals, self.scales, strict=True))
        bound, reduced = self.priced(prices)
        return Solved(columns, value, value if among is None else max(value, bound), prices, reduced)

    def priced(self, prices: Sequence[float]) -> tuple[float, tuple[float, ...]]:
        """What no columns can beat, by these prices of the rows, and what each column brings beside them.

        Whatever the prices, the limits at their prices and every column that brings something at its most are a bound
        (weak duality); at the relaxation's own prices it is the relaxation's value.
        """
        p = self.program
        scaled = [price * scale for price, scale in zip(prices, self.scales, strict=True)]
        costs = (self.matrix.T @ scaled).tolist()
        reduced = tuple(c - cost for c, cost in zip(p.objective, costs, strict=True))
        more = math.fsum(r * m for r, m in zip(reduced, p.most, strict=True) if r > 0 and m > 0)
        return math.fsum(a * b for a, b in zip(scaled, self.limits, strict=True)) + more + p.constant, reduced

    def whole(
        self, seconds: float, objective: Sequence[float] | None = None, gap: float = 0.0,
        held: Mapping[int, tuple[float, float]] | None = None,
    ) -> Solved:  # fmt: skip
        """The whole-number program: proven the best where `done`, else the best found in so many seconds, and the bound.

        `held` gives some columns another least and most. `gap` is how near to the bound is near enough.
        """
        from scipy.optimize import Bounds, LinearConstraint, milp

        p = self.program
        low, high = [0.0] * len(p.most), list(p.most)
        for column, (least, most) in (held or {}).items():
            low[column], high[column] = least, most
        asked = p.objective if objective is None else objective
        found = milp(
            [-c for c in asked], integrality=[int(w) for w in p.whole], bounds=Bounds(low, high),
            constraints=LinearConstraint(self.matrix, -INFINITE, self.limits) if self.limits else None,
            options={"time_limit": max(seconds, 0.01), "mip_rel_gap": gap},
        )  # fmt: skip
        bound = INFINITE if found.mip_dual_bound is None else -float(found.mip_dual_bound) + p.constant
        if found.x is None:
            return Solved(None, -INFINITE, bound, possible=found.status != 2, done=found.status == 2)
        columns = [float(round(x)) if w else x for x, w in zip(found.x.tolist(), p.whole, strict=True)]
        value = math.fsum(c * x for c, x in zip(asked, columns, strict=True)) + p.constant
        return Solved(columns, value, max(bound, value), done=found.status == 0)
