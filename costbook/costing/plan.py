"""The plan: of all sets of batches that what there is allows, the one that keeps the most money, promised orders first.

Solved to the proven optimum where the seconds suffice; the bound and the gap to it are always told. Promises are hard:
first as few promised pieces as possible are left lacking, then the most money is sought among the plans that do so.
Source: the most money per unit of what is scarce holds for one scarce thing and parts of batches; with whole batches, or
several scarce things, it is an integer program (A. Linhares, Int. J. Production Economics 121, 2009).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from costbook.amounts.numbers import counted, time_said
from costbook.costing.candidates import MONEY, TIME, Candidate, Candidates, Pack, Program, Resource, program
from costbook.costing.highs import Rows, Solved, Watch
from costbook.costing.neighbours import Best, fill, searched
from costbook.errors import InputError

SMALL = 400  # columns: up to here "what one more brings" is found by solving again
DUST = 1e-6
Clock = Callable[[], float]


@dataclass(frozen=True, slots=True)
class Made:
    """One product of a plan: batches, good pieces, pieces that go into sets, and what the batches keep if all pieces count.

    Promised pieces are in it at what they are worth. A set's value is what it keeps more than its parts would, sold by
    themselves.
    """

    name: str
    batches: float
    pieces: float
    taken: float
    value: float


@dataclass(frozen=True, slots=True)
class Limit:
    """One resource in a plan: what there is (bought packs included), used, left, and what it holds up.

    `stops` are candidates of which it allows no further batch. `one_more` is what one more (`Resource.step`) brings in
    money, `one_more_promised` how many promised pieces more; `exact` tells whether that is the difference between two
    proven plans in whole batches, else it is the price of the relaxation, None where that is not known either.
    """

    resource: Resource
    available: float
    used: float
    left: float
    stops: tuple[str, ...]
    one_more: float | None = None
    one_more_promised: float = 0.0
    exact: bool = False

    @property
    def binding(self) -> bool:
        """Whether it holds the plan back: more of it brings something, or it stops a further batch."""
        return bool(self.stops) or (self.one_more or 0.0) > DUST or self.one_more_promised > DUST

    @property
    def said(self) -> str:
        """What is left of what there is, in words."""
        if self.resource.kind == TIME:
            return f"{time_said(max(self.left, 0.0))} left of {time_said(self.available)}"
        return f"{self.left:.4g} {self.resource.unit} left of {self.available:.4g}"


@dataclass(frozen=True, slots=True)
class Missed:
    """A promise that cannot be met: pieces promised, pieces lacking, and why in one sentence."""

    name: str
    promised: float
    lacking: float
    why: str


@dataclass(frozen=True)
class Plan:
    """What to make. `value` is what it keeps in money, `bound` what no plan can beat, both in book currency.

    `proven` tells that it is the best. `packs` are to be bought: resource, pack, how many. `steps` tells, for a plan that
    was searched for, the value each step came to. `notes` are sentences about what was asked.
    """

    made: tuple[Made, ...]
    value: float
    bound: float
    proven: bool
    limits: tuple[Limit, ...]
    missed: tuple[Missed, ...]
    packs: tuple[tuple[str, Pack, int], ...]
    notes: tuple[str, ...]
    steps: tuple[tuple[str, float], ...] = ()

    @property
    def gap(self) -> float:
        """How far the plan may be from the best, as a fraction of the bound; 0 where it is proven, 1 without a bound."""
        if self.proven:
            return 0.0
        return max(0.0, self.bound - self.value) / max(abs(self.bound), DUST) if math.isfinite(self.bound) else 1.0

    @property
    def batches(self) -> dict[str, float]:
        """Batches by product, those that are made."""
        return {m.name: m.batches for m in self.made if m.batches}

    @property
    def binding(self) -> tuple[Limit, ...]:
        """The limits that hold it back, what brings most first."""
        held = [x for x in self.limits if x.binding]
        return tuple(sorted(held, key=lambda x: (-x.one_more_promised, -(x.one_more or 0.0))))


def best_plan(
    asked: Candidates, limit: float = 10.0, clock: Clock | None = None, near_enough: float = 0.0, one_more: bool = True
) -> Plan:
    """The best plan, or the best found in `limit` seconds with its bound and gap.

    Args:
        asked: what may be made and what there is.
        limit: seconds for everything; a solver call may overrun it by a little.
        clock: seconds as they pass; without one every solver call is charged all it was allowed.
        near_enough: a gap, as a fraction of the bound, at which to stop.
        one_more: whether to find what one more of each scarce thing brings.
    Raises:
        InputError: a candidate takes nothing that is limited.
    """
    watch = Watch(limit, clock)
    found = _Found.of(asked, watch, near_enough)
    limits = _limits(asked, found)
    if one_more:
        limits = _with_one_more(asked, found, limits, watch, near_enough)
    place = {c.name: i for i, c in enumerate(asked.candidates)}
    taken = [0.0] * len(asked.candidates)
    for i, c in enumerate(asked.candidates):
        for part, pieces in c.parts.items():
            taken[place[part]] += pieces * found.columns[i]
    made = tuple(
        Made(c.name, x, x * c.good, taken[i], found.program.gains[i] * x - _less(c, found, i))
        for i, (c, x) in enumerate(zip(asked.candidates, found.columns, strict=False))
    )
    bought = tuple(
        (asked.resources[r].name, pack, round(count))
        for (r, pack), count in zip(found.program.packs, found.columns[len(asked.candidates) :], strict=False)
        if round(count)
    )
    return Plan(
        made, found.value, found.bound, found.proven, tuple(limits), tuple(_missed(asked, found, limits)), bought,
        (*_notes(asked), *found.notes), found.steps,
    )  # fmt: skip


def _less(c: Candidate, found: _Found, i: int) -> float:
    """What the promised pieces that a plan meets from its batches are worth less than other pieces."""
    column = found.program.lacking.get(i)
    return 0.0 if column is None else c.less * (c.owed - found.columns[column])


# ------------------------------------------------------------ solving


@dataclass(frozen=True)
class _Found:
    """Columns of a program with their value, the bound, and the promised pieces that lack at the least."""

    program: Program
    columns: list[float]
    value: float
    bound: float
    proven: bool
    lacking: float
    relaxed: Solved
    notes: tuple[str, ...] = ()
    steps: tuple[tuple[str, float], ...] = ()

    @classmethod
    def of(cls, asked: Candidates, watch: Watch, near_enough: float) -> _Found:
        """Promises first, then money, then the cheapest packs for it."""
        asked_for = program(asked)
        if not asked_for.most:
            return cls(asked_for, [], 0.0, 0.0, True, 0.0, Solved([], 0.0, 0.0))
        lacking, sure, kept = _promises(asked_for, watch)
        notes: tuple[str, ...] = () if sure else ("The seconds did not suffice to prove that no plan meets more of the promises.",)
        if asked_for.lacking:
            asked_for = asked_for.with_row("promised first", lacking, dict.fromkeys(asked_for.lacking.values(), 1.0))
        best, relaxed = _most_money(asked_for, watch, near_enough, kept)
        columns = best.columns
        if columns is None:
            columns = kept or asked_for.settled([0.0] * len(asked_for.most))
            best = Best(columns, asked_for.value(columns), max(best.bound, asked_for.value(columns)), best.steps)
            notes += ("The seconds did not suffice to look for more money than the first plan found keeps.",)
        columns = _cheapest_packs(asked_for, columns, watch)
        whole = best.done and sure
        return cls(asked_for, columns, best.value, best.value if whole else best.bound, whole, lacking, relaxed, notes, best.steps)


def _promises(asked_for: Program, watch: Watch) -> tuple[float, bool, list[float] | None]:
    """The fewest promised pieces that must lack, whether that is proven, and columns that lack no more."""
    if not asked_for.lacking:
        return 0.0, True, None
    objective = [0.0] * len(asked_for.most)
    for column in asked_for.lacking.values():
        objective[column] = -1.0
    met = Rows(asked_for).whole(watch.allow(0.4, 0.5), objective)
    columns = asked_for.settled(met.columns or [0.0] * len(asked_for.most))
    if not asked_for.fits(columns):
        columns = asked_for.settled([0.0] * len(asked_for.most))
    lacking = sum(columns[c] for c in asked_for.lacking.values())
    # Pieces are counted: what is left of a thousandth is dust of the solver.
    return (0.0 if lacking < DUST else lacking * (1 + 1e-9)), met.done, columns


def _most_money(
    asked_for: Program, watch: Watch, near_enough: float, kept: list[float] | None
) -> tuple[Best, Solved]:
    """The most money: proven where the program is small and the seconds suffice, else searched for."""
    rows = Rows(asked_for)
    found: Solved | None = None
    if len(asked_for.most) <= SMALL:
        found = rows.whole(watch.allow(0.5, 0.5), gap=near_enough)
        columns = None if found.columns is None else asked_for.settled(found.columns)
        if columns is not None and found.done and asked_for.fits(columns):
            value = asked_for.value(columns)
            relaxed = rows.relaxed(watch.allow(0.1, 0.2))
            done = near_enough == 0.0 or found.bound - value <= DUST
            return Best(columns, value, max(value, found.bound), (), done), relaxed
    return searched(asked_for, rows, watch, near_enough, found, kept)


def _cheapest_packs(asked_for: Program, columns: list[float], watch: Watch) -> list[float]:
    """The same batches with the packs that cost least."""
    first = len(asked_for.gains)
    if not any(columns[first : first + len(asked_for.packs)]):
        return columns
    objective = [0.0] * len(columns)
    for p, (_, pack) in enumerate(asked_for.packs):
        objective[first + p] = -pack.price - DUST  # the fewer of equally cheap ones
    held = {c: (x, x) for c, x in enumerate(columns[:first])}
    found = Rows(asked_for).whole(watch.allow(0.2, 0.5), objective, held=held)
    cheaper = columns if found.columns is None else asked_for.settled(found.columns)
    same = asked_for.fits(cheaper) and asked_for.value(cheaper) >= asked_for.value(columns) - DUST
    return cheaper if same else columns


# ------------------------------------------------------------ what holds it back


def _limits(asked: Candidates, found: _Found) -> list[Limit]:
    """Every resource with what is used and left, and the further batches it stops; the money for packs as one of them."""
    used = found.program.used(found.columns)
    first = len(asked.candidates)
    bought = [0.0] * len(asked.resources)
    spent = 0.0
    for p, (r, pack) in enumerate(found.program.packs):
        bought[r] += pack.holds * found.columns[first + p]
        spent += pack.price * found.columns[first + p]
    there = [max(r.available, 0.0) + more for r, more in zip(asked.resources, bought, strict=True)]
    left = [x - u - more for x, u, more in zip(there, used, bought, strict=False)]
    stops = _stops(asked, found, left)
    limits = [
        Limit(resource, there[r], there[r] - left[r], left[r], tuple(stops.get(resource.name, ())))
        for r, resource in enumerate(asked.resources)
    ]
    if asked.budget is not None and found.program.packs:
        dearer = any(pack.price > asked.budget - spent + DUST for _, pack in found.program.packs)
        money = Resource(MONEY, asked.budget, "money", step_text="1 of money")
        limits.append(Limit(money, asked.budget, spent, asked.budget - spent, ("a further pack",) if dearer else ()))
    return limits


def _stops(asked: Candidates, found: _Found, left: Sequence[float]) -> dict[str, list[str]]:
    """By resource the products of which a further batch would count, and of which it is too little for one."""
    place = {r.name: i for i, r in enumerate(asked.resources)}
    ceilings = {i for i, c in enumerate(asked.candidates) if c.ceiling is not None}
    stops: dict[str, list[str]] = {}
    for i, c in enumerate(asked.candidates):
        enough = i in ceilings and max(c.on_hand, 0.0) + c.good * found.columns[i] >= (c.ceiling or 0.0)
        lacks = i in found.program.lacking and found.columns[found.program.lacking[i]] > DUST
        if (found.program.gains[i] > 0 and not enough) or lacks:
            for name, amount in c.uses.items():
                at_most = c.most is not None and found.columns[i] >= c.most
                if not at_most and amount > left[place[name]] + DUST * max(1.0, abs(left[place[name]])):
                    stops.setdefault(name, []).append(c.name)
    return stops


def _with_one_more(
    asked: Candidates, found: _Found, limits: Sequence[Limit], watch: Watch, near_enough: float
) -> list[Limit]:
    """The limits with what one more of each brings: by solving again where the plan is small and proven."""
    prices = dict(zip(found.program.row_names, found.relaxed.prices, strict=False))
    told = [
        replace(x, one_more=prices[x.resource.name] * x.resource.step if x.resource.name in prices else None)
        for x in limits
    ]
    if not found.proven or len(found.program.most) > SMALL:
        return told
    order = sorted(range(len(told)), key=lambda i: (not told[i].stops, -(told[i].one_more or 0.0)))
    for done, i in enumerate(order):
        if watch.left < 0.01:
            break
        # What a quick one leaves, the next may use: with a clock none is held to its even share.
        part = watch.part(max(0.2 if watch.ticks else 0.0, 1.0 / (len(order) - done)), 0.05)
        again = _Found.of(_more_of(asked, told[i].resource), part, near_enough)
        if again.proven:
            promised = found.lacking - again.lacking
            told[i] = replace(told[i], one_more=again.value - found.value, one_more_promised=max(0.0, promised), exact=True)
    return told


def _more_of(asked: Candidates, resource: Resource) -> Candidates:
    """The question with one more of a resource."""
    if resource.name == MONEY and resource.kind == "money":
        return replace(asked, budget=(asked.budget or 0.0) + resource.step)
    more = tuple(
        replace(r, available=max(r.available, 0.0) + r.step) if r.name == resource.name else r for r in asked.resources
    )
    return replace(asked, resources=more)


def _missed(asked: Candidates, found: _Found, limits: Sequence[Limit]) -> list[Missed]:
    """The promises that are not met, each with why."""
    missed = []
    for i, column in found.program.lacking.items():
        lacking = found.columns[column]
        if lacking > DUST:
            c = asked.candidates[i]
            missed.append(Missed(c.name, c.promised, lacking, _why(asked, found, limits, i, lacking)))
    return missed


def _why(asked: Candidates, found: _Found, limits: Sequence[Limit], i: int, lacking: float) -> str:
    """What keeps one more batch of a promised product from being made, in a sentence."""
    c = asked.candidates[i]
    head = f"{_number(lacking)} of {_number(c.promised)} promised {c.name} cannot be made"
    if c.most is not None and found.columns[i] >= c.most:
        return f"{head}: at most {counted(round(c.most, 2), 'batch', 'batches')} of it can be made in time."
    blocks = [
        f"a batch takes {_takes(x.resource, c.uses[x.resource.name])}, and {_left(x.left, x.resource.kind)}"
        for x in limits
        if c.name in x.stops
    ]
    place = {other.name: n for n, other in enumerate(asked.candidates)}
    for part, pieces in c.parts.items():
        other = asked.candidates[place[part]]
        gone = sum(o.parts.get(part, 0.0) * found.columns[n] for n, o in enumerate(asked.candidates))
        there = max(other.on_hand, 0.0) + other.good * found.columns[place[part]] - gone
        if there < pieces:
            blocks.append(f"a batch takes {counted(round(pieces, 2), 'piece')} of {part}, and {_left(there)}")
    return f"{head}: {'; '.join(blocks) or 'other promises need the same things'}."


def _of(resource: Resource) -> str:
    return f"{resource.unit} of {resource.name}" if resource.unit and resource.unit != "each" else resource.name


def _takes(resource: Resource, amount: float) -> str:
    return f"{time_said(amount)} of {resource.name}" if resource.kind == TIME else f"{_number(amount)} {_of(resource)}"


def _left(amount: float, kind: str = "") -> str:
    if kind == TIME:
        time = time_said(max(amount, 0.0))
        return f"{time} {'is' if time.startswith('1 ') else 'are'} left"
    return counted(round(max(amount, 0.0), 2), "is left", "are left")


def _number(value: float) -> str:
    text = f"{value:.2f}"
    return text.rstrip("0").rstrip(".")


def _notes(asked: Candidates) -> list[str]:
    """A sentence for what was asked with nothing, or less than nothing, of something."""
    notes = []
    wanted = {name for c in asked.candidates for name, amount in c.uses.items() if amount > 0}
    for r in (r for r in asked.resources if r.name in wanted):
        if r.available < 0:
            notes.append(f"{_number(r.available)} {_of(r)} cannot be: taken as none.")
        elif r.available == 0 and not r.packs:
            notes.append(f"No {_of(r)}: nothing that takes it can be made.")
    notes += [
        f"{counted(round(c.on_hand, 2), 'piece')} of {c.name} on hand cannot be: taken as none."
        for c in asked.candidates
        if c.on_hand < 0
    ]
    if asked.budget is not None and asked.budget < 0:
        notes.append(f"{_number(asked.budget)} of {MONEY} cannot be: taken as none.")
    return notes


# ------------------------------------------------------------ the ranking, for comparison


def ranking(asked: Candidates, resource: str) -> tuple[dict[str, float], float]:
    """What a list ranked by money per unit of one resource comes to: whole batches from the top, as many as there is room for.

    For comparison beside the plan, never in its place; promises and packs are left out of it.

    Raises:
        InputError: there is no such resource.
    """
    if resource not in {r.name for r in asked.resources}:
        raise InputError(f"there is no {resource} among what is limited")
    plain = program(replace(asked, candidates=tuple(replace(c, promised=0.0) for c in asked.candidates)))

    def per_unit(i: int) -> float:
        takes = asked.candidates[i].uses.get(resource, 0.0)
        return plain.gains[i] / takes if takes > 0 else math.inf

    order = sorted(range(len(asked.candidates)), key=per_unit, reverse=True)
    columns = fill(plain, [0.0] * len(plain.most), order)
    names: Sequence[Candidate] = asked.candidates
    return {c.name: x for c, x in zip(names, columns, strict=False) if x}, plain.value(columns)
