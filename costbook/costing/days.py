"""A day-by-day order of work: who does what when, what rests overnight, and how full the rack is.

A list schedule, not an optimum: batches are placed one after the other in the order given, each as early as the hours of
its roles, its rests and the places it holds allow. A step is done in one go where a working day is long enough for it, else
over several days. What rests holds its places day and night, from the first rest until it may be shipped.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from costbook.amounts.numbers import counted
from costbook.book.model import Book

HAIR = timedelta(seconds=1)
RACK = "rack"


@dataclass(frozen=True, slots=True)
class Work:
    """One step of a batch: who, hands-on hours, and hours of rest after it."""

    name: str
    role: str
    hours: float
    rest_hours: float = 0.0


@dataclass(frozen=True, slots=True)
class Job:
    """One batch to be made: its steps in order, the rest before it may ship, what it holds while it rests.

    `holds` is by place ('rack', a mould): so many from the first rest on. `makes` good pieces of `product`; `takes` pieces
    of other products, which have to be ready.
    """

    product: str
    steps: tuple[Work, ...]
    rest_hours: float = 0.0
    holds: Mapping[str, float] = field(default_factory=dict)
    makes: float = 0.0
    takes: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Calendar:
    """The days that may be worked: hours by role for each day from `first` on, from `opens` o'clock.

    Days after the last one given are not worked, and nothing is placed there.
    """

    first: date
    hours: Mapping[str, Sequence[float]]
    opens: float = 9.0

    def spans(self, role: str) -> list[tuple[datetime, datetime]]:
        """The role's working time, a span a day."""
        start = datetime(self.first.year, self.first.month, self.first.day) + timedelta(hours=self.opens)
        return [
            (start + timedelta(days=n), start + timedelta(days=n, hours=min(h, 24 - self.opens)))
            for n, h in enumerate(self.hours.get(role, ()))
            if h > 0
        ]


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of the order of work: a step of a batch, or a rest (no role), from start to end."""

    product: str
    batch: int
    step: str
    role: str
    start: datetime
    end: datetime


@dataclass(frozen=True, slots=True)
class Done:
    """One batch placed: when its first step starts, when hands are off it, and when it may ship."""

    product: str
    batch: int
    start: datetime
    finished: datetime
    ships: datetime


@dataclass(frozen=True)
class OrderOfWork:
    """Every entry in order of time, every batch, the places held by night, hours worked by role and day, what found no room.

    `nights` has a row a place and night (the day it begins) with how many are held; `left_over` a sentence a batch.
    """

    entries: tuple[Entry, ...]
    batches: tuple[Done, ...]
    nights: tuple[tuple[str, date, float], ...]
    hours: Mapping[tuple[str, date], float]
    left_over: tuple[str, ...]


def job(book: Book, code: str, moulds: Mapping[str, tuple[str, float]] | None = None) -> Job:
    """One usual batch of a product as work to be placed: its own steps, its rest, a rack place a planned piece.

    `moulds` says by product which mould a batch takes and how many of it.
    """
    product = book.products[code]
    steps = tuple(
        Work(s.name, s.role, (s.batch_minutes + s.piece_minutes * product.planned) / 60, s.rest_hours)
        for s in book.steps
        if product.family and s.family == product.family
    )
    takes: dict[str, float] = {}
    for part in product.parts:
        if part.kind == "product":
            count = part.amount.base(want="each") * (1 if part.per_batch else product.planned)
            takes[part.item] = takes.get(part.item, 0.0) + count
    rests = product.rest_hours > 0 or any(s.rest_hours > 0 for s in steps)
    holds = {RACK: float(product.planned)} if rests else {}
    holds |= {name: count for name, count in [(moulds or {}).get(code, ("", 0.0))] if name}
    return Job(code, steps, product.rest_hours, holds, float(product.good), takes)


Span = tuple[datetime, datetime]


@dataclass
class _Board:
    """What is taken so far: working time by role, places held, pieces ready."""

    calendar: Calendar
    room: Mapping[str, float]
    opens: datetime
    busy: dict[str, list[Span]] = field(default_factory=dict)
    held: dict[str, list[tuple[datetime, datetime, float]]] = field(default_factory=dict)
    ready: dict[str, list[tuple[datetime, float]]] = field(default_factory=dict)
    working: dict[str, list[Span]] = field(default_factory=dict)

    def spans(self, role: str) -> list[Span]:
        """The role's working time, worked out once."""
        if role not in self.working:
            self.working[role] = self.calendar.spans(role)
        return self.working[role]

    def free(self, role: str) -> list[Span]:
        """The role's working time that nothing is placed in, in order."""
        taken = sorted(self.busy.get(role, ()))
        found = []
        for start, end in self.spans(role):
            for a, b in taken:
                if b > start and a < end:
                    found.append((start, a))
                    start = max(start, b)
            found.append((start, end))
        return [(a, b) for a, b in found if b - a > HAIR]

    def place(self, work: Work, after: datetime) -> list[Span] | None:
        """The spans one step is done in: in one go, or over several days where no day is long enough; None for no room."""
        need = timedelta(hours=work.hours)
        if need <= HAIR:
            return [(after, after)]
        spans = [(max(a, after), b) for a, b in self.free(work.role) if b - max(a, after) > HAIR]
        longest = max((b - a for a, b in self.spans(work.role)), default=timedelta())
        if need <= longest + HAIR:
            return next(([(a, a + need)] for a, b in spans if b - a + HAIR >= need), None)
        found = []
        for a, b in spans:
            found.append((a, min(b, a + need)))
            need -= found[-1][1] - a
            if need <= HAIR:
                return found
        return None

    def crowded(self, holds: Mapping[str, float], start: datetime, end: datetime) -> datetime | None:
        """The earliest time at which a place that is too full in this span gets emptier, None where there is room."""
        for place, amount in holds.items():
            if place not in self.room:
                continue
            over = [h for h in self.held.get(place, ()) if h[0] < end and h[1] > start]
            for moment in (start, *(h[0] for h in over if h[0] > start)):
                there = sum(h[2] for h in over if h[0] <= moment < h[1])
                if there + amount > self.room[place] + 1e-9:
                    return min(h[1] for h in over)
        return None


def order_of_work(
    jobs: Sequence[Job], calendar: Calendar, room: Mapping[str, float] | None = None, on_hand: Mapping[str, float] | None = None
) -> OrderOfWork:  # fmt: skip
    """Places batches one after the other, those a set is made of before the set.

    Args:
        jobs: in order of importance.
        calendar: the days, with hours by role.
        room: how many places there are (rack, moulds); a place not named has no limit.
        on_hand: pieces of products in stock, for sets.
    """
    opens = datetime(calendar.first.year, calendar.first.month, calendar.first.day) + timedelta(hours=calendar.opens)
    board = _Board(calendar, room or {}, opens)
    board.ready = {product: [(opens, count)] for product, count in (on_hand or {}).items() if count > 0}
    entries: list[Entry] = []
    batches: list[Done] = []
    left_over: list[str] = []
    made: dict[str, int] = {}
    for job in _parts_first(jobs):
        number = made[job.product] = made.get(job.product, 0) + 1
        placed = _placed(board, job, number)
        if isinstance(placed, str):
            left_over.append(placed)
            continue
        entries += placed
        batches.append(_commit(board, job, number, placed))
    entries.sort(key=lambda e: (e.start, e.end, e.product, e.batch))
    return OrderOfWork(tuple(entries), tuple(batches), tuple(_nights(board)), _hours(entries), tuple(left_over))


def _parts_first(jobs: Sequence[Job]) -> list[Job]:
    """The jobs in their order, but each behind all batches of what it is made of."""
    waiting, found = list(jobs), list[Job]()
    while waiting:
        open_ = {j.product for j in waiting}
        job = next((j for j in waiting if not (set(j.takes) & open_) - {j.product}), waiting[0])
        waiting.remove(job)
        found.append(job)
    return found


def _placed(board: _Board, job: Job, number: int) -> list[Entry] | str:
    """The entries of one batch, or the sentence that says why it has no place."""
    label = f"batch {number} of {job.product}"
    for place, amount in job.holds.items():
        if amount > board.room.get(place, amount):
            return f"{label} wants {counted(amount, 'place')} ({place}), and {counted(board.room[place], 'is', 'are')} there."
    start = _parts_ready(board, job)
    if start is None:
        return f"{label} has to wait for pieces it is made of, which are not there in these days."
    while True:
        entries = _steps(board, job, number, start)
        if entries is None:
            lacking = sorted({w.role for w in job.steps if w.hours and not board.calendar.spans(w.role)})
            why = f"no hours of {' and '.join(lacking)}" if lacking else "not enough hours left"
            return f"{label} finds no room: {why} in these days."
        on, off = _on_the_rack(entries)
        if on is None or off is None:
            return entries
        emptier = board.crowded(job.holds, on, off)
        if emptier is None:
            return entries
        start += max(emptier - on, HAIR)


def _parts_ready(board: _Board, job: Job) -> datetime | None:
    """When all pieces a set takes are ready; None where they never are."""
    latest = board.opens
    for product, pieces in job.takes.items():
        left = pieces
        for moment, count in sorted(board.ready.get(product, ())):
            latest = max(latest, moment) if left > 1e-9 else latest
            left -= count
        if left > 1e-9:
            return None
    return latest


def _steps(board: _Board, job: Job, number: int, start: datetime) -> list[Entry] | None:
    """The batch's steps from a moment on, one after the other, with the rests between; None where there is no room."""
    entries: list[Entry] = []
    own: list[tuple[str, Span]] = []
    moment, rested = start, 0.0
    for work in job.steps:
        spans = board.place(work, moment)
        if spans is None:
            for role, span in own:
                board.busy[role].remove(span)
            return None
        for span in spans:
            if span[1] > span[0]:
                board.busy.setdefault(work.role, []).append(span)  # so that the next step of this role comes after
                own.append((work.role, span))
                entries.append(Entry(job.product, number, work.name, work.role, *span))
        moment = spans[-1][1]
        if work.rest_hours > 0:
            rested += work.rest_hours
            entries.append(Entry(job.product, number, "rest", "", moment, moment + timedelta(hours=work.rest_hours)))
            moment = entries[-1].end
    if job.rest_hours - rested > 1e-9:
        entries.append(Entry(job.product, number, "rest", "", moment, moment + timedelta(hours=job.rest_hours - rested)))
    for role, span in own:
        board.busy[role].remove(span)
    return entries


def _on_the_rack(entries: Iterable[Entry]) -> tuple[datetime | None, datetime | None]:
    """From when until when a batch holds its places."""
    rests = [e for e in entries if not e.role]
    return (min(e.start for e in rests), max(e.end for e in rests)) if rests else (None, None)


def _commit(board: _Board, job: Job, number: int, entries: Sequence[Entry]) -> Done:
    """Writes a batch into the board."""
    for entry in entries:
        if entry.role:
            board.busy.setdefault(entry.role, []).append((entry.start, entry.end))
    on, off = _on_the_rack(entries)
    if on is not None and off is not None:
        for place, amount in job.holds.items():
            board.held.setdefault(place, []).append((on, off, amount))
    for product, pieces in job.takes.items():
        left, kept = pieces, []
        for moment, count in sorted(board.ready.get(product, ())):
            taken = min(left, count)
            left -= taken
            kept.append((moment, count - taken))
        board.ready[product] = [one for one in kept if one[1] > 1e-9]
    work = [e for e in entries if e.role] or list(entries)
    start = entries[0].start if entries else board.opens
    finished = max((e.end for e in work), default=start)
    ships = max((e.end for e in entries), default=start)
    board.ready.setdefault(job.product, []).append((ships, job.makes))
    return Done(job.product, number, start, finished, ships)


def _nights(board: _Board) -> list[tuple[str, date, float]]:
    """For each place and night how many are held while the date changes."""
    found: dict[tuple[str, date], float] = {}
    for place, holds in board.held.items():
        for on, off, amount in holds:
            for n in range((off.date() - on.date()).days):
                night = (place, on.date() + timedelta(days=n))
                found[night] = found.get(night, 0.0) + amount
    return [(place, night, amount) for (place, night), amount in sorted(found.items())]


def _hours(entries: Iterable[Entry]) -> dict[tuple[str, date], float]:
    """Hours worked by role and day."""
    found: dict[tuple[str, date], float] = {}
    for e in entries:
        if e.role:
            key = (e.role, e.start.date())
            found[key] = found.get(key, 0.0) + (e.end - e.start).total_seconds() / 3600
    return found
