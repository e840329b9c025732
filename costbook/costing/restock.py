"""What to make next: every product with what it needs, what it would bring, and whether it can be made now.

Need is waiting + promised + shelf weeks x sold a week - on hand, not below 0. What the sets wanted take of a product comes on
top, beside it, as far as stock is not there for both. A piece's cash is the price customers pay without tax, less fee and
order share, less materials, packaging and consumables: pay and overhead are not in it, since the hours are there anyway and
the question is what to do with them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import ROUND_CEILING, Decimal
from typing import Any

from costbook.amounts.numbers import counted
from costbook.book.model import Book, Product
from costbook.costing.checks import Priced
from costbook.costing.days import Calendar, job, order_of_work
from costbook.costing.stock import Shortage, Takes, needs_of, shortages
from costbook.costing.tiers import Pricer, pricers
from costbook.costing.usage import Cost
from costbook.errors import Finding, InputError

ZERO = Decimal(0)
SOLD_OUT, MARGIN, MARGIN_FRACTION, CASH_PER_HOUR = "sold out first", "margin per piece", "margin %", "cash per hour"
WORKING_HOURS, DAYS_AHEAD = 8.0, 60
NAMED = 2  # of what nobody counted; the others are a number


@dataclass(frozen=True, slots=True)
class Worth:
    """What a good piece brings, in book currency without tax; None where there is no price, or nothing to divide by.

    `cash` is price less fee, order share, materials, packaging and consumables. It is also told per hands-on hour (those
    of the products a set is made of too), per rack-night and per mould of its batch.
    """

    price: float | None = None
    margin: float | None = None
    margin_fraction: float | None = None
    cash: float | None = None
    cash_per_hour: float | None = None
    cash_per_rack_night: float | None = None
    cash_per_mould: float | None = None


@dataclass(frozen=True, slots=True)
class QueueRow:
    """One product in the queue.

    `need` and `batches` are for itself. `for_sets` pieces are wanted on top of it by the sets in `wanted_by_sets`, and
    `batches_in_all` are enough for both. `hands_on_hours` are of one batch, own steps. `finished` and `ships` are the earliest for one batch begun at the start
    of the book date's working day, None where it has no place in the days looked at. `possible` is how many batches what
    is on hand allows (None where nothing it takes was counted), `scarce` what allows fewer than are wanted, `uncounted`
    what nobody counted. `mould` is the one it takes, '' for none, `mould_wanted_by` the other products wanted now that take
    the same. `why_not` is why nothing can be told of what it takes, else ''.
    """

    code: str
    name: str
    on_hand: Decimal
    sold_per_week: Decimal
    waiting: Decimal
    promised: Decimal
    sold_out_since: date | None
    season_end: date | None
    need: Decimal
    batches: int
    good: int
    worth: Worth
    hands_on_hours: float
    rest_hours: float
    finished: datetime | None
    ships: datetime | None
    possible: int | None
    scarce: tuple[Shortage, ...]
    uncounted: tuple[str, ...]
    mould: str
    mould_wanted_by: tuple[str, ...]
    why_not: str
    reason: str
    for_sets: Decimal = ZERO
    wanted_by_sets: tuple[str, ...] = ()
    batches_in_all: int = 0

    @property
    def wanted(self) -> Decimal:
        """Pieces to be made for itself and for sets."""
        return self.need + self.for_sets

    @property
    def short(self) -> tuple[Shortage, ...]:
        """What there is too little of for a single batch."""
        return tuple(s for s in self.scarce if s.batches < 1)

    @property
    def can_be_made(self) -> bool:
        """Whether a batch can be made now, of what is on hand."""
        return not self.short and not self.why_not


@dataclass(frozen=True, slots=True)
class Queue:
    """The rows of all products in the book's order, and what was found on the way."""

    rows: tuple[QueueRow, ...]
    findings: tuple[Finding, ...]


# ------------------------------------------------------------ the rows


def need(product: Product, shelf_weeks: Decimal, into_sets: Decimal = ZERO) -> Decimal:
    """Pieces wanted: waiting + promised + shelf weeks x sold a week - on hand, not below 0. Empty cells count as 0.

    With what goes into sets, that is wanted too.
    """
    wanted = (product.waiting or ZERO) + (product.promised or ZERO) + shelf_weeks * (product.sold_per_week or ZERO)
    return max(ZERO, wanted + into_sets - max(ZERO, product.on_hand or ZERO))


@dataclass(frozen=True, slots=True)
class Wanted:
    """How many pieces of every product are wanted: for itself, and in all with what the sets wanted take of it.

    `batches` are those in all. `sets` are the sets that take it and are wanted themselves.
    """

    own: Mapping[str, Decimal]
    in_all: Mapping[str, Decimal]
    batches: Mapping[str, int]
    sets: Mapping[str, tuple[str, ...]]


def wanted_pieces(book: Book, needs: Mapping[str, Iterable[Takes]]) -> Wanted:
    """What is wanted, from the sets down to what they are made of.

    A set's batches take whole batches' worth of pieces. What is on hand is counted once: for a product's own orders first.
    Products she only tries out, and what they take, are not wanted.
    """
    weeks = book.settings.shelf_weeks
    own = {code: need(p, weeks) for code, p in book.products.items()}
    in_all, count = dict(own), {code: batches(own[code], p.good) for code, p in book.products.items()}
    taken: dict[str, Decimal] = {}
    sets: dict[str, tuple[str, ...]] = {}
    for code in _sets_first(needs):
        product = book.products[code]
        in_all[code] = need(product, weeks, taken.get(code, ZERO))
        count[code] = batches(in_all[code], product.good)
        if not count[code] or product.trying:
            continue
        for one in needs[code]:
            if one.kind == "product":
                taken[one.code] = taken.get(one.code, ZERO) + Decimal(repr(round(one.needed, 6))) * count[code]
                sets[one.code] = (*sets.get(one.code, ()), code)
    return Wanted(own, in_all, count, sets)


def _sets_first(needs: Mapping[str, Iterable[Takes]]) -> list[str]:
    """The products, each behind every set that takes it."""
    parts = {code: [t.code for t in taken if t.kind == "product"] for code, taken in needs.items()}
    found: dict[str, None] = {}  # what is below first

    def put(code: str, above: tuple[str, ...] = ()) -> None:
        if code not in found and code not in above and code in parts:
            for part in parts[code]:
                put(part, (*above, code))
            found[code] = None

    for code in needs:
        put(code)
    return list(reversed(found))


def batches(pieces: Decimal, good: int) -> int:
    """Whole batches for so many pieces, rounded up; 0 where a batch makes none."""
    return int((pieces / good).to_integral_value(ROUND_CEILING)) if good > 0 else 0


def nights(rest_hours: float) -> int:
    """How many nights a rest takes a place for: every begun day of 24 hours."""
    return math.ceil(round(rest_hours / 24, 9))


def web_channel(book: Book, channel: str = "") -> Pricer | None:
    """The channel a piece is judged in: the one named, else the first that sells at her retail price; None where none does."""
    ready = {p.channel.name: p for p in pricers(book)}
    if channel and channel not in ready:
        raise InputError(f"there is no channel {channel}", do=f"Name one of: {', '.join(book.channels)}.")
    return ready[channel] if channel else next((ready[n] for n, c in book.channels.items() if c.price == "retail"), None)


def queue(
    priced: Priced, channel: str = "", moulds: Mapping[str, tuple[str, float]] | None = None, calendar: Calendar | None = None
) -> Queue:  # fmt: skip
    """What to make next, a row a product, in the book's order.

    Args:
        priced: what the book comes to.
        channel: the channel a piece is judged in; the first that sells at retail where none is named.
        moulds: by product which mould a batch takes, and how many of it.
        calendar: the working days; 8 hours a day of every role from the book date where none is given.
    Raises:
        InputError: there is no channel of that name.
    """
    book = priced.book
    pricer = web_channel(book, channel)
    needs, why = needs_of(priced.usage, book.products)
    wanted = wanted_pieces(book, needs)
    in_batches = wanted.batches
    scarce: dict[str, list[Shortage]] = {}
    for one in shortages(book, needs, in_batches):
        scarce.setdefault(one.product, []).append(_of_those_wanted(one, in_batches))
    days = calendar or Calendar(priced.on, dict.fromkeys(book.roles, (WORKING_HOURS,) * DAYS_AHEAD))
    rows, known = list[QueueRow](), dict[object, tuple[datetime | None, datetime | None]]()
    for code, product in book.products.items():
        taken = needs.get(code, [])
        enough = [t.batches for t in taken if t.batches is not None]
        finished, ships = _earliest(book, code, days, known)
        row = QueueRow(
            code, product.name, product.on_hand or ZERO, product.sold_per_week or ZERO, product.waiting or ZERO,
            product.promised or ZERO, product.sold_out_since, product.season_end, wanted.own[code], batches(wanted.own[code], product.good),
            product.good, worth(product, priced.costs.get(code), pricer, (moulds or {}).get(code)),
            sum(priced.usage.batch_minutes(product).values()) / 60, product.rest_hours, finished, ships,
            min(enough, default=None), tuple(scarce.get(code, ())),
            tuple(t.name for t in taken if t.on_hand is None), *_mould(code, moulds or {}, in_batches), why.get(code, ""), "",
            wanted.in_all[code] - wanted.own[code], wanted.sets.get(code, ()), in_batches[code],
        )  # fmt: skip
        rows.append(replace(row, reason=reason(row)))
    return Queue(tuple(rows), tuple(_negative(book)))


def _mould(
    code: str, moulds: Mapping[str, tuple[str, float]], in_batches: Mapping[str, int]
) -> tuple[str, tuple[str, ...]]:
    """The mould a product takes, and the other products wanted that take the same."""
    name = moulds[code][0] if code in moulds else ""
    same = (other for other, (mould, _) in moulds.items() if mould == name and other != code and in_batches.get(other, 0) > 0)
    return name, tuple(same) if name else ()


def _of_those_wanted(short: Shortage, in_batches: Mapping[str, int]) -> Shortage:
    """The shortage with only those others that are wanted themselves."""
    others = tuple(x for x in short.wanted_by if in_batches.get(x, 0) > 0)
    return replace(short, wanted_by=others)


def _negative(book: Book) -> Iterable[Finding]:
    for product in book.products.values():
        if product.on_hand is not None and product.on_hand < 0:
            sentence = f"{product.on_hand:f} of {product.name} on hand: a count cannot be below zero; taken as none"
            yield Finding("ask", "negative-stock", sentence, product.places.get("on_hand", product.where), "Count it again.")


def cash(product: Product, cost: Cost | None, pricer: Pricer) -> float | None:
    """What a good piece brings at her price in a channel, less its fee and order share and less what goes into the piece."""
    shown = product.prices.get(pricer.channel.price)
    if cost is None or not shown:
        return None
    return pricer.kept(pricer.net(shown), cost.parts["materials"] + cost.parts["packaging"] + cost.parts["consumables"])


def worth(product: Product, cost: Cost | None, pricer: Pricer | None, mould: tuple[str, float] | None = None) -> Worth:
    """What a good piece of a product brings at her price in a channel, the tool's proposal never."""
    shown = product.prices.get(pricer.channel.price) if pricer else None
    brings = cash(product, cost, pricer) if pricer else None
    if pricer is None or cost is None or not shown or brings is None:
        return Worth()
    price = pricer.net(shown)
    margin = price - cost.unit_cost
    hours, rack = cost.piece_minutes / 60, product.planned * nights(product.rest_hours)
    return Worth(
        price, margin, margin / price, brings, brings / hours if hours else None,
        brings * product.good / rack if rack else None, brings * product.good / mould[1] if mould and mould[1] else None,
    )  # fmt: skip


def _earliest(
    book: Book, code: str, calendar: Calendar, known: dict[object, tuple[datetime | None, datetime | None]]
) -> tuple[datetime | None, datetime | None]:
    """When one batch begun at once could be finished and could ship, its parts being there; `known` are those of like work."""
    try:
        one = job(book, code)
    except InputError:
        return None, None
    work = (one.steps, one.rest_hours)
    if work not in known:
        done = order_of_work([one], calendar, on_hand=one.takes).batches
        known[work] = (done[0].finished, done[0].ships) if done else (None, None)
    return known[work]


# ------------------------------------------------------------ reasons


def plain(number: float | Decimal) -> str:
    """A number in words' company: at most two decimals, none that are nothing.

    >>> plain(7.875), plain(32.0)
    ('7.88', '32')
    """
    text = f"{number:.2f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def reason(row: QueueRow) -> str:
    """Why it stands in the queue, and what keeps it from being made, in one sentence."""
    if row.wanted <= 0:
        return f"Enough: {plain(row.on_hand)} on hand cover what is wanted."
    state = f"sold out since {row.sold_out_since}" if row.sold_out_since else f"{plain(row.on_hand)} on hand"
    asked = [f"{plain(n)} {word}" for n, word in ((row.waiting, "waiting"), (row.promised, "promised")) if n]
    head = f"{', '.join([state, *asked])}: {plain(row.need)} wanted, {_batches(row.batches)}"
    if row.for_sets:
        sets = f"{plain(row.for_sets)} {'more ' if row.need else ''}for {_listed(row.wanted_by_sets)}"
        head = f"{head}, and {sets}, {_batches(row.batches_in_all)} in all" if row.need else f"{state}: {sets}, {_batches(row.batches_in_all)}"
    return f"{head[0].upper()}{head[1:]}; {_can_be_made(row)}."


def _can_be_made(row: QueueRow) -> str:
    if row.why_not:
        return f"what it takes cannot be told: {row.why_not}"
    late = ""
    if row.mould_wanted_by:
        verb = "wants" if len(row.mould_wanted_by) == 1 else "want"
        late = f"; {_listed(row.mould_wanted_by)} {verb} the mould {row.mould} too"
    if row.ships is None:
        late = f", but the days looked at have no time for it{late}"
    elif row.season_end and row.ships.date() > row.season_end:
        late = f", but its season ends on {row.season_end}, before it could ship{late}"
    if row.short:
        return f"cannot be made now: {'; '.join(map(_short, row.short))}{late}"
    if row.scarce:
        fewest = min(row.scarce, key=lambda s: s.batches)
        return f"stock allows {_batches(fewest.batches)}: {_short(fewest, row.batches_in_all)}{late}"
    return f"can be made now{late}"


def not_counted(rows: Iterable[QueueRow]) -> str:
    """What the batches wanted take and nobody counted, in a sentence without its stop; '' where all is counted.

    It is taken as there: what she does not count must not keep her from work.
    """
    names = sorted({name for row in rows if row.batches_in_all for name in row.uncounted})
    if not names:
        return ""
    listed = names if len(names) <= NAMED else [*names[:NAMED], f"{len(names) - NAMED} more"]
    return f"not counted: {_listed(listed)}; type On hand to have {'it' if len(names) == 1 else 'them'} looked at"


def _batches(number: int) -> str:
    return counted(number, "batch", "batches")


def _short(short: Shortage, count: int = 1) -> str:
    unit = "" if short.unit == "each" else f"{short.unit} of "
    others = f" ({_listed(short.wanted_by)} want{'s' if len(short.wanted_by) == 1 else ''} it too)" if short.wanted_by else ""
    return f"{plain(short.on_hand)} {unit}{short.name} on hand, {plain(short.needed * count)} needed{others}"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


# ------------------------------------------------------------ the order


def _most_first(value: float | None) -> tuple[bool, float]:
    return value is None, -round(value or 0.0, 9)


def _by_date(row: QueueRow) -> tuple[bool, date]:
    return row.sold_out_since is None, row.sold_out_since or date.max


def _ties(row: QueueRow) -> tuple[Decimal, tuple[bool, date], str]:
    """Most waiting first, then the one that sold out first, then by code."""
    return -row.waiting, _by_date(row), row.code


SORTS: dict[str, Callable[[QueueRow], Any]] = {
    # Not sold out but low: behind, by code alone.
    SOLD_OUT: lambda r: (_by_date(r), -r.waiting if r.sold_out_since else ZERO, r.code),
    MARGIN: lambda r: (_most_first(r.worth.margin), _ties(r)),
    MARGIN_FRACTION: lambda r: (_most_first(r.worth.margin_fraction), _ties(r)),
    CASH_PER_HOUR: lambda r: (_most_first(r.worth.cash_per_hour), _ties(r)),
}


def ordered(rows: Iterable[QueueRow], by: str = MARGIN, *, wanted_only: bool = True) -> list[QueueRow]:
    """The rows in one of the orders of SORTS; those that need nothing left out, or at the end.

    Raises:
        InputError: there is no such order.
    """
    if by not in SORTS:
        raise InputError(f"there is no order {by}", do=f"Choose one of: {', '.join(SORTS)}.")
    found = sorted(rows, key=lambda r: (r.wanted <= 0, SORTS[by](r)))
    return [r for r in found if r.wanted > 0] if wanted_only else found
