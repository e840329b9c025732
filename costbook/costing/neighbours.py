"""Large plans: from the relaxation to a good plan in whole batches, when there is no time to prove the best one.

Each step only ever betters the plan before it: the relaxation rounded down and filled up; the whole-number program itself
for part of the time, which also lowers the bound; swaps of single batches, by the thousand; then neighbourhoods: most batches
are held as they are, and a few hundred are solved anew: where plan and relaxation disagree, and what could come in for what
takes the same dear things; and swaps once more where those find nothing. Which of the two helps more differs from plan to plan.
Source: relaxation induced neighbourhoods (Danna, Rothberg, Le Pape, Mathematical Programming 102, 2005).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from costbook.costing.candidates import SLACK, Program
from costbook.costing.highs import Rows, Solved, Watch
from costbook.costing.swaps import swapped

HAIR = 1e-9  # of a second: time may run out between two looks at the clock
HOLD = 1e-7  # below a whole number by so little, the relaxation's batches are whole
FREE = 300  # columns a neighbourhood starts with
MANY = 20_000  # columns: above, the relaxation is built up from those that can bring something
KEPT = 3_000  # columns of such a program that are solved in whole batches
PATIENCE = 3  # neighbourhoods in turn that find nothing better
PLAIN, FILLED, WHOLE = "filled up without a relaxation", "relaxation rounded down and filled up", "whole-number program"
SWAPS, NEAR, AGAIN = "swaps", "neighbourhoods", "swaps once more"


@dataclass(frozen=True, slots=True)
class Best:
    """The best plan so far, what none can beat, the value each step came to, and whether it is proven the best."""

    columns: list[float] | None
    value: float
    bound: float
    steps: tuple[tuple[str, float], ...] = ()
    done: bool = False

    def better(self, program: Program, step: str, columns: Sequence[float] | None) -> Best:
        """The better of this plan and another, with what the step came to."""
        found = self
        settled = None if columns is None else program.settled(columns)
        if settled is not None and program.fits(settled) and program.value(settled) > self.value:
            found = replace(self, columns=settled, value=program.value(settled))
        steps = tuple(s for s in self.steps if s[0] != step)
        told = ((step, found.value),) if found.columns is not None else ()
        return replace(found, bound=max(found.bound, found.value), steps=(*steps, *told))


def searched(
    program: Program, rows: Rows, watch: Watch, near_enough: float, tried: Solved | None, kept: Sequence[float] | None
) -> tuple[Best, Solved]:
    """The best plan found before the watch runs out, or within `near_enough` of the bound; and the relaxation.

    `tried` is what the whole-number program came to where it was run already, `kept` any columns that fit.
    """
    relaxed = rows.relaxed(watch.allow(0.5, 1.0)) if len(program.most) <= MANY else sifted(rows, watch)
    best = Best(None, -math.inf, relaxed.bound).better(program, "promises met", kept)
    if relaxed.columns is None:
        best = replace(best, bound=max(best.value, min(best.bound, rows.priced([0.0] * len(program.limits))[0])))
        start = [0.0] * len(program.most) if best.columns is None else best.columns
        best = best.better(program, PLAIN, fill(program, start, by_share(program)))
    best = best.better(program, FILLED, filled(program, relaxed))
    if tried is None:
        tried, whole_bound = _part_whole(rows, relaxed, best, watch, near_enough)
    else:
        whole_bound = True
    best = best.better(program, WHOLE, tried.columns)
    if whole_bound:
        best = replace(best, bound=max(best.value, min(best.bound, tried.bound)))
        if tried.done and tried.columns is not None and program.fits(program.settled(tried.columns)):
            return replace(best, done=near_enough == 0.0), relaxed
    if relaxed.columns is not None:
        best = _swaps(program, relaxed, best, watch.part(0.4), near_enough, 0)
        best = _neighbourhoods(program, rows, relaxed, best, watch, near_enough)
        best = _swaps(program, relaxed, best, watch, near_enough, 1)
    return best, relaxed


def _near(best: Best, near_enough: float) -> bool:
    return best.bound - best.value <= near_enough * abs(best.bound)


def _swaps(program: Program, relaxed: Solved, best: Best, watch: Watch, near_enough: float, turn: int) -> Best:
    """The plan bettered by swaps; one that a single neighbourhood holds whole needs none, and one of very many gains less."""
    if best.columns is None or not FREE < len(program.most) <= MANY or _near(best, near_enough):
        return best
    return best.better(program, AGAIN if turn else SWAPS, swapped(program, relaxed, best.columns, watch, turn))


def fill(program: Program, columns: Sequence[float], order: Iterable[int]) -> list[float]:
    """Batches added to a plan in that order of candidates, each as often as there is room; pieces counted and lacking follow."""
    found = list(columns)
    takes = program.by_column()
    settling = set(program.follows.values())
    left = [limit - used for limit, used in zip(program.limits, program.used(found), strict=True)]
    for column in order:
        rooms = (left[row] / amount for row, amount in takes[column] if amount > 0 and row not in settling)
        room = min(min(rooms, default=math.inf) + SLACK, program.most[column] - found[column])
        more = math.floor(room) if math.isfinite(room) and program.whole[column] else max(0.0, room)
        if more > 0 and math.isfinite(more):
            found[column] += more
            for row, amount in takes[column]:
                left[row] -= amount * more
    return program.settled(found)


def by_share(program: Program) -> list[int]:
    """The candidates that bring something, first those that bring most over the shares of the limits they take."""
    scale = [1.0 / limit if limit > 0 else math.inf for limit in program.limits]
    takes = program.by_column()

    def worth(c: int) -> float:
        return program.gains[c] / max(sum(a * scale[r] for r, a in takes[c] if a > 0), 1e-12)

    return sorted((c for c, gain in enumerate(program.gains) if gain > 0 and program.most[c] > 0), key=worth, reverse=True)


def filled(program: Program, relaxed: Solved) -> list[float] | None:
    """The relaxation's batches rounded down, then filled up; None where there is none, or rounding it down breaks a row.

    What is filled up first is what brings most over what it takes, at the relaxation's prices.
    """
    if relaxed.columns is None:
        return None
    first = len(program.gains)
    rounded = [float(math.floor(x + HOLD)) if c < first else x for c, x in enumerate(relaxed.columns)]
    packs = range(first, first + len(program.packs))
    for column in packs:  # packs round up where the money allows it
        rounded[column] = float(math.ceil(rounded[column] - HOLD))
    start = program.settled(rounded)
    if not program.fits(start):
        for column in packs:
            start[column] = float(math.floor(relaxed.columns[column] + HOLD))
        start = program.settled(start)
    if not program.fits(start):
        return None
    takes = program.by_column()

    def worth(column: int) -> float:
        price = sum(relaxed.prices[row] * amount for row, amount in takes[column] if amount > 0)
        return program.gains[column] / price if price > 0 else math.inf

    order = sorted((c for c, gain in enumerate(program.gains) if gain > 0), key=worth, reverse=True)
    return fill(program, start, order)


def _part_whole(rows: Rows, relaxed: Solved, best: Best, watch: Watch, near_enough: float) -> tuple[Solved, bool]:
    """The whole-number program for part of the time, and whether its bound is one for the whole question.

    Columns that bring less than the relaxation has to spare stay where it has them: no better plan moves them. Of very many
    only the doubtful ones are let free, and the bound is then theirs alone.
    """
    program = rows.program
    held: dict[int, tuple[float, float]] = {}
    if relaxed.columns is not None and best.columns is not None:
        spare = relaxed.bound - best.value
        for c, r in enumerate(relaxed.reduced):
            if -r > spare + SLACK * abs(relaxed.bound):
                held[c] = (0.0, 0.0)
    free = [c for c, w in enumerate(program.whole) if w and c not in held]
    sure = len(free) <= MANY
    if not sure and relaxed.columns is not None:
        doubtful = set(sorted(free, key=lambda c: abs(relaxed.reduced[c]))[:KEPT])
        for c in free:
            if c not in doubtful and c < len(program.gains):
                x = float(math.floor(relaxed.columns[c] + HOLD))
                held[c] = (x, x)
    return rows.whole(watch.allow(0.15 if len(program.most) > FREE else 0.5, 1.0), gap=near_enough, held=held), sure


def _neighbourhoods(
    program: Program, rows: Rows, relaxed: Solved, best: Best, watch: Watch, near_enough: float
) -> Best:
    """Part after part of the plan solved anew, of the two kinds in turn, as long as there is time and it gets better.

    A plan without swaps is tried for longer, since nothing comes after.
    """
    sizes = [min(size, len(program.most)) for size in (FREE, FREE // 2)]
    shares, begun = (0.12, 0.06), watch.left
    takes = program.by_column()
    turn = idle = 0
    patience = PATIENCE if FREE < len(program.most) <= MANY else 20 * PATIENCE
    while best.columns is not None and watch.left > 0.05 and idle < patience and not _near(best, near_enough):
        kind = turn % 2
        if kind:
            free = _makes_room(program, takes, relaxed, best.columns, sizes[1], turn)
        else:
            free = _apart(program, relaxed, best.columns, sizes[0], turn)
        held = {c: (x, x) for c, x in enumerate(best.columns) if c not in free}
        found = rows.whole(watch.allow(min(1.0, shares[kind] * begun / max(watch.left, HAIR)), 0.3), held=held)
        before, turn = best.value, turn + 1
        best = best.better(program, NEAR, found.columns)
        idle = 0 if best.value > before else idle + 1
        # As large as can be solved in its time: that is where the next better plan is found.
        sizes[kind] = min(len(program.most), sizes[kind] * 8 // 7 + 1) if found.done else max(30, sizes[kind] * 6 // 7)
        if found.done and len(free) >= len(program.most):
            break
    return best


def _apart(program: Program, relaxed: Solved, columns: Sequence[float], size: int, turn: int) -> set[int]:
    """The columns to solve anew: half where plan and relaxation disagree, half along dear rows; packs and pieces always."""
    assert relaxed.columns is not None
    doubt = [abs(r) for r in relaxed.reduced]
    relaxation, first = relaxed.columns, len(program.gains)
    apart = sorted((c for c in range(first) if abs(relaxation[c] - columns[c]) >= 0.5), key=doubt.__getitem__)
    begin = turn * 37 % max(1, len(apart))
    free = set([*apart[begin:], *apart[:begin]][: size // 2])
    dear = sorted((r for r, p in enumerate(relaxed.prices) if p > 0), key=lambda r: -relaxed.prices[r] * program.limits[r])
    for step in range(len(dear)):
        if len(free) >= size:
            break
        row = dear[(turn * 7 + step) % len(dear)]
        inside = sorted((c for c, _ in program.row(row)), key=doubt.__getitem__)
        free.update(inside[: max(10, size // 12)])
    return free | set(range(first, len(program.most)))


def _makes_room(
    program: Program, takes: Sequence[Sequence[tuple[int, float]]], relaxed: Solved, columns: Sequence[float], size: int, turn: int
) -> set[int]:
    """The columns to solve anew: some batches of the plan that take the same dear things, and what fits in instead.

    Which ones changes from turn to turn; packs and pieces are always among them.
    """
    first = len(program.gains)
    planned = [c for c in range(first) if columns[c] > 0]
    if not planned:
        return set(range(len(program.most)))
    centre = {r for r, _ in takes[planned[turn * 31 % len(planned)]] if relaxed.prices[r] > 0}
    planned.sort(key=lambda c: -sum(1 for r, _ in takes[c] if r in centre) + _dice(c, turn))
    out = set(planned[: size // 3])
    used = program.used([0.0 if c in out else x for c, x in enumerate(columns)])
    left = [limit - u for limit, u in zip(program.limits, used, strict=True)]
    fitting = [c for c in range(first) if not columns[c] and program.most[c] > 0 and all(left[r] >= a for r, a in takes[c])]
    fitting.sort(key=lambda c: abs(relaxed.reduced[c]) * (0.5 + _dice(c, turn)))
    return out | set(fitting[: size - len(out)]) | set(range(first, len(program.most)))


def _dice(column: int, turn: int) -> float:
    """A number from 0 to 1 that looks drawn by lot and is the same every time."""
    return ((column + 1) * 2654435761 + (turn + 1) * 40503 * 65537) % 4294967296 / 4294967296


def sifted(rows: Rows, watch: Watch) -> Solved:
    """The relaxation of very many columns: solved for some, then for those too that bring something at its prices.

    Always with a bound that holds for all columns, whenever it is broken off.
    """
    program = rows.program
    first, batch = len(program.gains), max(1_000, 2 * len(program.limits))
    order = by_share(program)
    owed = set(program.lacking) | set(range(first, len(program.most)))
    among = sorted({*order[: 2 * batch], *owed})
    bound, _ = rows.priced([0.0] * len(program.limits))
    best = Solved(None, -math.inf, bound, done=False)
    while watch.left > 0.05:
        found = rows.relaxed(watch.allow(0.5, 1.0), among)
        if found.columns is None:
            break
        bound = min(bound, found.bound)
        best = replace(found, bound=bound)
        there = set(among)
        more = [c for c, r in enumerate(found.reduced) if r > SLACK * abs(program.objective[c]) and c not in there and program.most[c] > 0]
        if not more:
            break
        more.sort(key=lambda c: -found.reduced[c] * program.most[c])
        among = sorted({*(c for c in among if found.reduced[c] > -SLACK or c in owed or found.columns[c] > 0), *more[:batch]})
        if watch.left < watch.limit * 0.4:
            break
    return best
