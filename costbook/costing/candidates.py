"""What may be made this week and what there is to make it with, as plain numbers: the planner's question.

A candidate is a product, counted in batches. A resource is anything a batch takes: hours of a role, rack-nights, moulds,
mixes, materials. Pieces of a product are worth `value` each where they are left at the end; pieces that go into a set are
not sold a second time. `program` writes the question as rows of numbers: the most of objective x columns, where every row
stays within its limit.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from costbook.errors import InputError

SLACK = 1e-9  # of a limit: what sums of floats may be over it
MONEY = "money to buy with"
TIME = "hours"  # the kind of a resource whose amounts are hours of somebody


@dataclass(frozen=True, slots=True)
class Pack:
    """A whole pack in which more of a resource can be bought: what it holds in the resource's unit, and its price.

    `most` is how many can be had, None for any number.
    """

    holds: float
    price: float
    supplier: str = ""
    lead_days: int | None = None
    most: int | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Resource:
    """What there is of something this week, in `unit`, and the packs more of it can be bought in.

    `kind` is TIME, 'rack', 'mould', 'mixer' or 'material'. `step` is what "one more" of it means, in its unit, and
    `step_text` that in words: one hour, one mould, one pound.
    """

    name: str
    available: float
    kind: str = "material"
    unit: str = ""
    packs: tuple[Pack, ...] = ()
    step: float = 1.0
    step_text: str = ""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A product that may be made: what a good piece keeps, what a batch takes, and how many batches at most.

    `uses` is by resource, a batch; a negative number gives. `parts` is by candidate, the pieces of it that a batch takes,
    from stock or from batches of the same plan. `promised` pieces are hard: they come before any money; a piece of them is
    worth `promised_value`, None for `value`. Of `ceiling` pieces (stock included) the value counts, None for every piece; a
    loss counts for every piece.
    """

    name: str
    value: float
    uses: Mapping[str, float] = field(default_factory=dict)
    good: float = 1.0
    most: float | None = None
    on_hand: float = 0.0
    promised: float = 0.0
    ceiling: float | None = None
    parts: Mapping[str, float] = field(default_factory=dict)
    promised_value: float | None = None

    @property
    def less(self) -> float:
        """What a promised piece is worth less than another."""
        return 0.0 if self.promised_value is None or self.promised <= 0 else self.value - self.promised_value

    @property
    def owed(self) -> float:
        """Promised pieces that stock does not cover."""
        return max(0.0, self.promised - max(self.on_hand, 0.0))


@dataclass(frozen=True)
class Candidates:
    """The whole question. `budget` is the money for packs, None where it has no limit. `whole`: batches are whole.

    Raises:
        InputError: something is named twice or not at all, is no number, or takes nothing that is limited.
    """

    candidates: tuple[Candidate, ...]
    resources: tuple[Resource, ...]
    budget: float | None = None
    whole: bool = True

    def __post_init__(self) -> None:
        names, things = [c.name for c in self.candidates], [r.name for r in self.resources]
        for listed in (names, things):
            if len(set(listed)) < len(listed):
                twice = next(n for n in listed if listed.count(n) > 1)
                raise InputError(f"{twice} is listed twice", do="List it once.")
        known, products = set(things), set(names)
        for c in self.candidates:
            for name in (*(set(c.uses) - known), *(set(c.parts) - products)):
                raise InputError(f"{c.name} takes {name}, of which nothing is said", do="Say how much of it there is.")
            numbers = (c.value, c.good, c.on_hand, c.promised, c.less, *c.uses.values(), *c.parts.values())
            _real(c.name, (*numbers, *(x for x in (c.most, c.ceiling) if x is not None)))
            if c.good <= 0:
                raise InputError(f"a batch of {c.name} makes no good pieces", do="Type its good pieces.")
        for r in self.resources:
            _real(r.name, (r.available, r.step, *(x for p in r.packs for x in (p.holds, p.price))))
            if any(p.holds <= 0 or p.price < 0 for p in r.packs):
                raise InputError(f"a pack of {r.name} holds nothing or has a price below zero", do="Mend that pack.")
        _real(MONEY, (self.budget or 0.0,))


def _real(name: str, numbers: Iterable[float]) -> None:
    for number in numbers:
        if not math.isfinite(number):
            raise InputError(f"{name} has an amount that is no number", do="Type a plain number.")


@dataclass(frozen=True)
class Program:
    """The most of `objective` x columns, every row at most its limit, columns from 0 to `most`, some of them whole.

    Row i has the places `starts[i]` to `starts[i + 1]` of `indices` (its columns) and `amounts`. Columns are the batches of
    each candidate, then packs (`packs` says of which resource), then counted pieces, then pieces promised and lacking.
    `follows` are those last two by column: the row each is settled by. `lacking` is the column of pieces lacking by
    candidate. `gains` is what a batch of each candidate brings while its pieces count. `row_names` are resources first, in
    their order. `constant` is added to the value: pieces on hand are worth nothing new.
    """

    objective: tuple[float, ...]
    starts: tuple[int, ...]
    indices: tuple[int, ...]
    amounts: tuple[float, ...]
    limits: tuple[float, ...]
    most: tuple[float, ...]
    whole: tuple[bool, ...]
    row_names: tuple[str, ...]
    packs: tuple[tuple[int, Pack], ...]
    lacking: Mapping[int, int]
    follows: Mapping[int, int]
    gains: tuple[float, ...]
    constant: float

    def row(self, number: int) -> list[tuple[int, float]]:
        """The columns and amounts of one row."""
        span = slice(self.starts[number], self.starts[number + 1])
        return list(zip(self.indices[span], self.amounts[span], strict=True))

    def by_column(self) -> list[list[tuple[int, float]]]:
        """For every column the rows it stands in, with its amounts."""
        found: list[list[tuple[int, float]]] = [[] for _ in self.most]
        for row in range(len(self.limits)):
            for column, amount in self.row(row):
                found[column].append((row, amount))
        return found

    def with_row(self, name: str, limit: float, entries: Mapping[int, float]) -> Program:
        """The same program with one more row."""
        return replace(
            self, starts=(*self.starts, len(self.indices) + len(entries)), indices=(*self.indices, *entries),
            amounts=(*self.amounts, *entries.values()), limits=(*self.limits, limit), row_names=(*self.row_names, name),
        )  # fmt: skip

    def settled(self, columns: Sequence[float]) -> list[float]:
        """The same batches and packs, with as many pieces counted as there are, and as few lacking as can be."""
        found = [0.0 if c in self.follows else x for c, x in enumerate(columns)]
        for column, row in self.follows.items():
            over = math.fsum(a * found[i] for i, a in self.row(row)) - self.limits[row]
            found[column] = max(0.0, min(self.most[column], over if column in self.lacking.values() else -over))
        return found

    def used(self, columns: Sequence[float]) -> list[float]:
        """What each row comes to."""
        taken = [a * columns[i] if columns[i] else 0.0 for a, i in zip(self.amounts, self.indices, strict=True)]
        return [math.fsum(taken[a:b]) for a, b in pairwise(self.starts)]

    def fits(self, columns: Sequence[float]) -> bool:
        """Whether these columns keep every row within its limit, but for the dust of floats."""
        return all(x <= limit + SLACK * max(1.0, abs(limit)) for x, limit in zip(self.used(columns), self.limits, strict=True))

    def value(self, columns: Sequence[float]) -> float:
        """What these columns bring in money."""
        return math.fsum(c * x for c, x in zip(self.objective, columns, strict=True)) + self.constant


class _Rows:
    """Rows being collected."""

    def __init__(self) -> None:
        self.starts, self.indices, self.amounts = [0], list[int](), list[float]()
        self.limits, self.names = list[float](), list[str]()

    def add(self, name: str, limit: float, entries: Iterable[tuple[int, float]]) -> None:
        for column, amount in entries:
            if amount:
                self.indices.append(column)
                self.amounts.append(amount)
        self.starts.append(len(self.indices))
        self.limits.append(limit)
        self.names.append(name)


def program(asked: Candidates) -> Program:
    """The question as rows of numbers.

    Raises:
        InputError: a candidate takes nothing that is limited, so that no number of batches would be the most.
    """
    listed = asked.candidates
    place = {c.name: i for i, c in enumerate(listed)}
    packs = [(r, pack) for r, resource in enumerate(asked.resources) for pack in resource.packs]
    takers: dict[int, list[tuple[int, float]]] = {}
    for i, c in enumerate(listed):
        for part, pieces in c.parts.items():
            takers.setdefault(place[part], []).append((i, pieces))
    ceilings = [i for i, c in enumerate(listed) if c.ceiling is not None and c.value > 0]
    promises = [i for i, c in enumerate(listed) if c.promised > 0]
    counted = {i: len(listed) + len(packs) + k for k, i in enumerate(ceilings)}
    lacking = {i: len(listed) + len(packs) + len(ceilings) + k for k, i in enumerate(promises)}

    def gone(i: int) -> list[tuple[int, float]]:
        """The pieces of a candidate that sets take, less those its own batches make."""
        return [(i, -listed[i].good), *takers.get(i, ())]

    rows, follows = _resource_rows(asked, packs), dict[int, int]()
    for i, c in enumerate(listed):
        if i in takers:
            rows.add(f"pieces of {c.name}", max(c.on_hand, 0.0), gone(i))
        if i in counted:
            follows[counted[i]] = len(rows.limits)
            rows.add(f"counted pieces of {c.name}", max(c.on_hand, 0.0), [(counted[i], 1.0), *gone(i)])
        if i in lacking:
            follows[lacking[i]] = len(rows.limits)
            rows.add(f"promised pieces of {c.name}", max(c.on_hand, 0.0) - c.promised, [(lacking[i], -1.0), *gone(i)])
    width = len(listed) + len(packs) + len(counted) + len(lacking)
    objective, constant = _objective(listed, takers, counted, lacking, width)
    gains = [c.value * c.good - sum(listed[place[p]].value * n for p, n in c.parts.items()) for c in listed]
    most = [*_most(asked, takers), *(_pack_most(asked.budget, pack) for _, pack in packs)]
    most += [max(0.0, listed[i].ceiling or 0.0) for i in ceilings] + [listed[i].promised for i in promises]
    whole = [asked.whole] * len(listed) + [True] * len(packs) + [False] * (len(ceilings) + len(promises))
    return Program(
        tuple(objective), tuple(rows.starts), tuple(rows.indices), tuple(rows.amounts), tuple(rows.limits), tuple(most),
        tuple(whole), tuple(rows.names), tuple(packs), lacking, follows, tuple(gains), constant,
    )  # fmt: skip


def _resource_rows(asked: Candidates, packs: Sequence[tuple[int, Pack]]) -> _Rows:
    """A row a resource: what batches take less what packs bring; and one for the money the packs cost."""
    takes: dict[str, list[tuple[int, float]]] = {r.name: [] for r in asked.resources}
    for i, c in enumerate(asked.candidates):
        for name, amount in c.uses.items():
            takes[name].append((i, amount))
    first = len(asked.candidates)
    for p, (of, pack) in enumerate(packs):
        takes[asked.resources[of].name].append((first + p, -pack.holds))
    rows = _Rows()
    for r in asked.resources:
        rows.add(r.name, max(r.available, 0.0), takes[r.name])
    if packs and asked.budget is not None:
        rows.add(MONEY, max(asked.budget, 0.0), [(first + p, pack.price) for p, (_, pack) in enumerate(packs)])
    return rows


def _objective(
    listed: Sequence[Candidate], takers: Mapping[int, list[tuple[int, float]]], counted: Mapping[int, int],
    lacking: Mapping[int, int], width: int,
) -> tuple[list[float], float]:  # fmt: skip
    """What a unit of each column brings. Pieces a set takes are no longer there to be sold, so they are taken off.

    A promised piece that is worth less counts in full at first; what it is worth less is taken off for all promised pieces
    and given back for those that lack.
    """
    objective, constant = [0.0] * width, 0.0
    for i, column in lacking.items():
        objective[column] = listed[i].less
        constant -= listed[i].less * listed[i].owed
    for i, c in enumerate(listed):
        if i in counted:
            objective[counted[i]] = c.value
            constant -= c.value * min(max(c.on_hand, 0.0), max(c.ceiling or 0.0, 0.0))
            continue
        objective[i] += c.value * c.good
        for taker, pieces in takers.get(i, ()):
            objective[taker] -= c.value * pieces
    return objective, constant


def _most(asked: Candidates, takers: Mapping[int, object]) -> list[float]:
    """The most batches of each candidate that what there is, and can be bought, allows it alone."""
    reach = {r.name: _reach(r, asked.budget) for r in asked.resources}
    for c in asked.candidates:
        for name, amount in c.uses.items():
            if amount < 0:
                reach[name] = math.inf  # others bring more of it
    found = []
    for i, c in enumerate(asked.candidates):
        most = min((reach[n] / a for n, a in c.uses.items() if a > 0), default=math.inf)
        most = max(0.0, most if c.most is None else min(most, c.most))
        if math.isinf(most):
            if c.ceiling is None or i in takers:
                raise InputError(f"{c.name} takes nothing that is limited", do="Say how many batches at most.")
            most = float(math.ceil(max(0.0, c.ceiling, c.promised) / c.good))
        found.append(math.floor(most * (1 + SLACK) + SLACK) if asked.whole else most)
    return found


def _reach(resource: Resource, budget: float | None) -> float:
    """What there can be of a resource, with all packs the money pays for."""
    more = (pack.holds * count for pack in resource.packs if (count := _pack_most(budget, pack)))
    return max(resource.available, 0.0) + sum(more)


def _pack_most(budget: float | None, pack: Pack) -> float:
    """How many packs could be had: those there are, that the money pays for."""
    paid = math.inf if budget is None or not pack.price else max(budget, 0.0) // pack.price
    return min(paid, math.inf if pack.most is None else float(pack.most))
