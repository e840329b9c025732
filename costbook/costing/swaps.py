"""A plan bettered by swaps: a batch comes in, batches that stand in its way go out, and what then has room is filled up.

A swap that loses money is taken now and then, the less often the less time is left, so that the search does not stay at the
first plan no single swap betters. Thousands a second, where a solver call takes seconds: it comes before those, which then
better what is left. Source: simulated annealing (Kirkpatrick, Gelatt, Vecchi, Science 220, 1983).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from costbook.costing.candidates import Program
from costbook.costing.highs import Solved, Watch

NEAREST = 450  # columns: those the relaxation's prices are least sure of
ROUND, ROUND_SECONDS = 250, 0.1  # swaps between two looks at the clock, and what they are charged without one
OUT = 6  # batches that may go out for one that comes in
WARM = 0.3  # of what a batch brings on average: the loss that is taken lightly at first
DUST = 1e-10  # of a limit


def swapped(program: Program, relaxed: Solved, columns: Sequence[float], watch: Watch, turn: int = 0) -> list[float]:
    """The best plan found by swaps from this one until the watch runs out; packs, sets, their parts and promises stay.

    Args:
        relaxed: its prices of the rows tell what stands most in the way.
        turn: 0 at first; later turns start with other lots and take losses less lightly.
    """
    moved = _movable(program, relaxed)
    if len(moved) < 2:
        return list(columns)
    swaps = _Swaps(program, relaxed, columns, moved, turn)
    start = watch.left
    while watch.left > 0:
        warmth = WARM / (1 + turn) * swaps.average * watch.left / start
        for _ in range(ROUND):
            swaps.step(warmth)
        watch.allow(0.0, ROUND_SECONDS)
    found = list(columns)
    for c, x in zip(moved, swaps.best.tolist(), strict=True):
        found[c] = x
    return found


def _movable(program: Program, relaxed: Solved) -> list[int]:
    """The columns that only take, and whose pieces nothing else counts or takes; the most doubtful of them."""
    first, takes = len(program.gains), program.by_column()
    alone = {row for column, row in program.follows.items() if column not in program.lacking.values() and len(program.row(row)) == 2}
    settling = set(program.follows.values())

    def plain(c: int) -> bool:
        return all(row in alone if row in settling else amount >= 0 for row, amount in takes[c])

    found = [c for c in range(first) if program.whole[c] and program.most[c] > 0 and plain(c)]
    return sorted(sorted(found, key=lambda c: abs(relaxed.reduced[c]))[:NEAREST])


class _Swaps:
    """The columns that move, a row of shares of the limits each, and what is left of every limit.

    Batches bring `straight` each and `counted` a piece up to `cap` pieces, those on hand included.
    """

    def __init__(self, program: Program, relaxed: Solved, columns: Sequence[float], moved: Sequence[int], turn: int) -> None:
        import numpy as np

        self.np: Any = np
        self.dice = np.random.default_rng(turn)
        settling = set(program.follows.values())
        place = {c: i for i, c in enumerate(moved)}
        used, rows = program.used(columns), list[tuple[int, float]]()
        entries: list[tuple[int, int, float]] = []
        of_counted = {row: column for column, row in program.follows.items()}
        self.straight = [program.objective[c] for c in moved]
        self.counted, self.cap, self.there, self.good = ([0.0] * len(moved) for _ in range(4))
        for row, limit in enumerate(program.limits):
            mine = [(place[c], amount) for c, amount in program.row(row) if c in place and amount]
            if row in settling:
                for i, amount in mine:
                    column = of_counted[row]
                    self.counted[i], self.cap[i] = program.objective[column], program.most[column]
                    self.there[i], self.good[i] = limit, -amount
            elif mine:
                scale = max(abs(limit), max(amount for _, amount in mine))
                entries += [(i, len(rows), amount / scale) for i, amount in mine]
                rows.append((row, (limit - used[row]) / scale))
        self.shares: Any = np.zeros((len(moved), len(rows)))
        for i, k, share in entries:
            self.shares[i, k] = share
        self.left: Any = np.array([left for _, left in rows])
        prices = [relaxed.prices[row] * max(abs(program.limits[row]), DUST) for row, _ in rows]
        self.prices: Any = np.array(prices) + 1e-6 * max([*prices, 1e-9])
        self.cost: Any = self.shares @ self.prices + 1e-12
        self.now: Any = np.array([columns[c] for c in moved])
        self.most: Any = np.array([program.most[c] for c in moved])
        self.up: Any = np.array([self._brings(i, x + 1) - self._brings(i, x) for i, x in enumerate(self.now.tolist())])
        self.down: Any = np.array([self._brings(i, x) - self._brings(i, x - 1) for i, x in enumerate(self.now.tolist())])
        self.average = float(np.abs(self.up).mean())
        doubt = np.maximum(0.0, -np.array([relaxed.reduced[c] for c in moved]))
        likely = np.exp(-doubt / (float(np.median(doubt[doubt > 0])) if (doubt > 0).any() else 1.0))
        self.likely: Any = np.cumsum(likely / likely.sum())
        self.best: Any = self.now.copy()
        self.over = 0.0  # how much less than the best plan this one brings

    def _brings(self, i: int, batches: float) -> float:
        return self.straight[i] * batches + self.counted[i] * min(self.there[i] + self.good[i] * batches, self.cap[i])

    def step(self, warmth: float) -> None:
        """One batch tried: in for good where that betters the plan, now and then where it loses no more than by lot."""
        i = int(self.np.searchsorted(self.likely, self.dice.random()))
        if i >= len(self.now) or self.now[i] >= self.most[i] or self.up[i] <= 0:
            return
        begun = self.left
        changes = [(i, 1)]
        change = self._change(i, 1)
        for _ in range(OUT):
            out = self._in_the_way(i)
            if out < 0:
                break
            changes.append((out, -1))
            change += self._change(out, -1)
        if (self.left >= -DUST).all():
            change += self._filled(changes)
            if change >= 0 or self.dice.random() < math.exp(change / max(warmth, DUST)):
                self.over -= change
                if self.over < -DUST:
                    self.over = 0.0
                    self.best = self.now.copy()
                return
        for j, batches in reversed(changes):
            self._change(j, -batches)
        self.left = begun

    def _change(self, i: int, batches: int) -> float:
        """So many batches more of a column, and what that brings."""
        brings = float(self.up[i]) if batches > 0 else -float(self.down[i])
        self.now[i] += batches
        self.left = self.left - batches * self.shares[i]
        x = float(self.now[i])
        here = self._brings(i, x)
        self.up[i], self.down[i] = self._brings(i, x + 1) - here, here - self._brings(i, x - 1)
        return brings

    def _in_the_way(self, i: int) -> int:
        """The batch that frees most of what lacks, by its price, for what it brings; below 0 where nothing lacks or helps."""
        np = self.np
        lacking = np.flatnonzero(self.left < -DUST)
        there = np.flatnonzero(self.now > 0)
        there = there[there != i]
        if not len(lacking) or not len(there):
            return -1
        frees = np.minimum(self.shares[np.ix_(there, lacking)], -self.left[lacking]) @ self.prices[lacking]
        frees /= np.maximum(self.down[there], DUST) * (0.7 + 0.6 * self.dice.random(len(there)))
        first = int(frees.argmax())
        return int(there[first]) if frees[first] > 0 else -1

    def _filled(self, changes: list[tuple[int, int]]) -> float:
        """Batches added while there is room, about those that bring most for what they take; what they bring."""
        np, more = self.np, 0.0
        fits = np.flatnonzero((self.now < self.most) & (self.up > 0))
        while True:
            fits = fits[(self.shares[fits] <= self.left + DUST).all(axis=1) & (self.now[fits] < self.most[fits]) & (self.up[fits] > 0)]
            if not len(fits):
                return more
            worth = self.up[fits] / self.cost[fits] * (0.9 + 0.2 * self.dice.random(len(fits)))
            i = int(fits[worth.argmax()])
            changes.append((i, 1))
            more += self._change(i, 1)
