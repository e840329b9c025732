"""The tool's tabs about what to make and what is there: the queue, the plan, its days, what to buy, lots and counts."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime

from costbook.amounts.numbers import counted
from costbook.book.grid import Cell, Chart, Formula, PutTab, Series, Value, column_name
from costbook.book.layout import SERIES, Tab
from costbook.book.model import Book
from costbook.book.tool_tabs import (
    BATCH_TIMES,
    COUNT,
    HELD_BACK,
    LOTS,
    MAKE_NEXT,
    NIGHTS,
    PLAN,
    REORDER,
    RESULTS,
    TO_BUY,
    WORK_DAYS,
)
from costbook.costing.batches import BatchResult, LotUse, Proposal
from costbook.costing.buying import Reorder, Shopping
from costbook.costing.checks import Priced
from costbook.costing.days import OrderOfWork
from costbook.costing.plan import Plan
from costbook.costing.restock import QueueRow, not_counted, plain
from costbook.costing.stock import Valuation
from costbook.printouts.tabs import FIRST, cells_of, counted_early, put

CHARTED = 40
DAY = 86400.0


def queue_tab(priced: Priced, rows: Sequence[QueueRow], by: str) -> PutTab:
    """The queue in the order given, those that need nothing at its end, with a chart of margin a piece beside cash an hour."""
    body = []
    for place, row in enumerate(rows, 1):
        w = row.worth
        values: list[Value] = [
            place if row.wanted > 0 else None, row.code, row.name, float(row.need), row.batches, float(row.for_sets) or None, row.batches_in_all, row.possible, row.reason, w.margin, w.margin_fraction,
            w.cash_per_hour, row.good, w.cash_per_rack_night, w.cash_per_mould, row.hands_on_hours, row.rest_hours, _day(row.finished), _day(row.ships),
            row.season_end, row.sold_out_since, "; ".join(s.name for s in row.short),
        ]  # fmt: skip
        body.append(_wrapped(MAKE_NEXT, cells_of(MAKE_NEXT, values), "reason", "short"))
    wanted = min(sum(row.wanted > 0 for row in rows), CHARTED)
    charts = [
        _columns(title, MAKE_NEXT, key, wanted, FIRST + len(rows) + 1 + 22 * n, number_format)
        for n, (title, key, number_format) in enumerate((("Margin a piece", "margin", "0.00"), ("Cash an hour of hands", "cash_hour", "0")))
        if wanted
    ]
    hint = f"Sorted by {by}. Other orders: change 'Make next is sorted by' on the Start tab, or sort here.{counted_early(priced)}{_not_counted(not_counted(rows))}"
    return put(MAKE_NEXT, hint, body, charts, printed=MAKE_NEXT.place("cash_hour") + 1)  # more columns would print too small


def _not_counted(words: str) -> str:
    """The words as a sentence to go on with."""
    return f" {words[0].upper()}{words[1:]}." if words else ""


def _day(moment: datetime | None) -> date | None:
    return moment.date() if moment else None


def _wrapped(tab: Tab, cells: list[Cell], *keys: str) -> list[Cell]:
    for key in keys:
        cells[tab.place(key)] = cells[tab.place(key)]._replace(style="tool wrapped")
    return cells


def _columns(title: str, tab: Tab, key: str, count: int, row: int, number_format: str) -> Chart:
    values, labels = tab.place(key), tab.place("code")
    series = (Series((2, values), (FIRST, values, FIRST + count - 1, values), SERIES[0]),)
    return Chart("column", title, (FIRST, labels, FIRST + count - 1, labels), series, (row, 1), 26.0, 9.0, "", number_format)


# ------------------------------------------------------------------ plan


def plan_tab(priced: Priced, plan: Plan, no_day: int, wanted: Mapping[str, QueueRow], left_out: Mapping[str, str], said: Sequence[str]) -> PutTab:
    """What the plan makes, then promises that cannot be met and why, then products left out, then its total; `no_day` of its batches found no day."""
    rows = []
    for made in plan.made:
        if made.batches:
            row = wanted[made.name]
            counts: list[Value] = [made.batches, made.pieces, made.taken or None, made.value, float(row.need), float(row.for_sets) or None, ""]
            rows.append(cells_of(PLAN, [made.name, _name(priced.book, made.name), *counts]))
    for missed in plan.missed:
        rows.append(_said(priced.book, missed.name, missed.why, "flag stop"))
    rows += [_said(priced.book, code, why, "tool text") for code, why in left_out.items()]
    told = {*(m.name for m in plan.made if m.batches), *(m.name for m in plan.missed), *left_out}
    rows += [
        _said(priced.book, code, f"{plain(row.wanted)} wanted{', for sets too' if row.for_sets else ''}, none planned: see What holds it back", "tool text")
        for code, row in wanted.items() if row.wanted > 0 and code not in told
    ]
    rows += [_said(priced.book, "", note, "tool text") for note in (*said, *plan.notes, counted_early(priced).strip()) if note]
    rows += _plan_totals(plan)
    proof = "Proven: no other set of batches brings more." if plan.proven else f"Not proven: no plan can bring more than {plan.bound:,.2f} (gap {plan.gap:.1%})."
    if no_day:
        best = "Best for the hours in all" if plan.proven else proof.rstrip(".")
        proof = f"{best}; {counted(no_day, 'batch', 'batches')} found no day: see Days of work."
    return put(PLAN, f"From {priced.on}. Promised orders first, then the most cash from what there is this week: price less fee, order share, materials and packaging. {proof}", rows)


def _plan_totals(plan: Plan) -> list[list[Cell]]:
    """What all pieces of the plan bring, and what of it counts where batches make more than sells in time."""
    brings = math.fsum(made.value for made in plan.made)
    totals: list[dict[str, Value]] = [{"name": "the plan brings", "keeps": brings}]
    if brings - plan.value > 0.005:
        totals.append({"name": "of which counts", "keeps": plan.value, "said": "The rest is pieces that come with a batch and do not sell in time."})
    return [[Cell(total.get(c.key), f"total {c.kind}") for c in PLAN.columns] for total in totals]


def _name(book: Book, code: str) -> str:
    return book.products[code].name if code in book.products else ""


def _said(book: Book, code: str, words: str, style: str) -> list[Cell]:
    cells = cells_of(PLAN, [code, _name(book, code), *[None] * (len(PLAN.columns) - 3), words])
    cells[0] = cells[0]._replace(style=style)
    return _wrapped(PLAN, cells, "said")


def held_back_tab(plan: Plan) -> PutTab:
    """What there is, used and left, with what one more brings: what holds the plan back first."""
    order = [*plan.binding, *(x for x in plan.limits if not x.binding)]
    rows = []
    for limit in order:
        r = limit.resource
        brings = limit.one_more or None
        how = "" if brings is None else "planned again" if limit.exact else "about, parts of batches"
        rows.append(cells_of(HELD_BACK, [
            r.name, r.kind, r.unit, limit.available, limit.used, limit.left, r.step_text, brings, limit.one_more_promised or None, how, ", ".join(limit.stops),
        ]))  # fmt: skip
    hint = (
        "What holds the plan back stands first; what nobody counted holds nothing back. Nights here are begun days of rest;"
        " Places by night has those really taken."
    )
    return put(HELD_BACK, hint, rows)


def work_tab(book: Book, work: OrderOfWork) -> PutTab:
    """Step after step in order of time, rests too, then what found no room."""
    rows = []
    for e in work.entries:
        hours = (e.end - e.start).total_seconds() / 3600
        end = f"{e.end:%H:%M}" if e.end.date() == e.start.date() else f"{e.end:%a %d %b %H:%M}"
        rows.append(cells_of(WORK_DAYS, [e.start.date(), f"{e.start:%H:%M}", end, e.product, _name(book, e.product), e.batch, e.step, book.called(e.role), hours]))
    for sentence in work.left_over:
        cells = cells_of(WORK_DAYS, [None, "", "", "", "", None, sentence, "", None])
        cells[WORK_DAYS.place("step")] = cells[WORK_DAYS.place("step")]._replace(style="tool wrapped")
        rows.append(cells)
    return put(WORK_DAYS, "Each batch as early as hours, rests and places allow, in the order of the plan.", rows)


def times_tab(book: Book, work: OrderOfWork) -> PutTab:
    """A row a batch, with a chart of when it is in hand and when it rests."""
    if not work.batches:
        return put(BATCH_TIMES, "No batch is planned.", [])
    begin = min(b.start for b in work.batches).replace(hour=0, minute=0)
    rows = []
    for b in work.batches:
        days = [(x - y).total_seconds() / DAY for x, y in ((b.start, begin), (b.finished, b.start), (b.ships, b.finished))]
        shown = [f"{moment:%a %d %b %H:%M}" for moment in (b.start, b.finished, b.ships)]
        rows.append(cells_of(BATCH_TIMES, [f"{b.product} batch {b.batch}", _name(book, b.product), *shown, *days]))
    last = FIRST + min(len(rows), CHARTED) - 1
    colours = ("FFFFFF", SERIES[0], SERIES[1])  # the days before it starts are there to move the bar, and not to be seen
    first = BATCH_TIMES.place("offset")
    series = tuple(Series((2, first + n), (FIRST, first + n, last, first + n), colour) for n, colour in enumerate(colours))
    height = min(17.0, max(8.0, 0.7 * (last - FIRST + 1) + 3.0))
    chart = Chart("stacked bar", f"Days from {begin:%A %d %B}", (FIRST, 0, last, 0), series, (FIRST + len(rows) + 1, 0), 26.0, height, "days", "0")
    return put(BATCH_TIMES, "When each batch starts, when hands are off it, and when it may ship.", rows, [chart], upright=True)


def nights_tab(work: OrderOfWork, room: Mapping[str, float]) -> PutTab:
    """The places taken, night by night."""
    rows = [cells_of(NIGHTS, [night, place, used, room.get(place)]) for place, night, used in work.nights]
    hint = "Taken while the date changes, until it may ship, after this week too. What holds it back counts a night for each begun day of rest instead."
    return put(NIGHTS, hint, rows)


# ------------------------------------------------------------------ buying


def buy_tab(shopping: Shopping, why: str, tab: Tab = TO_BUY) -> PutTab:
    """A row for each pack to buy, then the sum by supplier, on To buy or a tab like it."""
    rows = []
    for row in shopping.rows:
        head: list[Value] = [row.code, row.name, row.unit, row.needed, row.on_hand, row.lacking]
        others = ", ".join(f"{name} {cost:.2f}" for name, cost in row.elsewhere[1:])
        for bought in row.packs or [None]:
            if row.on_hand is None:
                rows.append(cells_of(TO_BUY, [*head, "", None, "", None, None, "not counted: type On hand to be told what to buy"]))
                continue
            if bought is None:
                rows.append(cells_of(TO_BUY, [*head, "", None, "", None, None, "nobody has sold or quoted it"]))
                continue
            each = bought.cost / bought.packs
            rows.append(cells_of(TO_BUY, [*head, bought.offer.supplier, bought.packs, bought.offer.text, each, bought.cost, others]))
            head = [row.code, row.name, "", None, None, None]
    for supplier, cost in shopping.by_supplier.items():
        missing = shopping.missing(supplier)
        says = f"{missing:.2f} under its smallest order" if missing >= 0.005 else ""
        shown: dict[str, Value] = {"name": "at this supplier", "supplier": supplier, "cost": cost, "elsewhere": says}
        rows.append([Cell(shown.get(c.key), f"total {c.kind}") for c in TO_BUY.columns])
    if not rows:
        rows = [[Cell("none", "good"), Cell("Nothing is short.", "good"), *[Cell(None, "good")] * (len(TO_BUY.columns) - 2)]]
    return put(tab, f"{why} Landed prices of the last papers; smallest orders as you typed them on Suppliers.", rows)


def reorder_tab(found: Iterable[Reorder]) -> PutTab:
    """A row per material that is used, those that are due first."""
    rows = [
        cells_of(REORDER, [r.code, r.name, r.unit, r.use_a_day, r.lead_days, "given" if r.lead_known else "taken as 7", r.buffer, r.point, r.on_hand, "not counted" if r.on_hand is None else "yes" if r.due else ""])
        for r in sorted(found, key=lambda r: not r.due)
    ]
    return put(REORDER, "Order when no more than this is on hand. Type lead days on the Suppliers tab.", rows)


# ------------------------------------------------------------------ batches, lots, counts


def results_tab(book: Book, found: Sequence[BatchResult], proposed: Sequence[Proposal]) -> PutTab:
    """The batches against what is usual, then usual numbers to think about; the book's own are never changed."""
    rows = []
    for one in found:
        r = one.record
        rows.append(cells_of(RESULTS, [
            r.on, r.product, _name(book, r.product), one.poured, r.good, one.usual, one.pieces_money, r.minutes, one.standard_minutes, one.minutes_money,
            "" if r.booked else "not booked yet",
        ]))  # fmt: skip
    for p in proposed:
        said = f"after {p.batches} batches: {p.what} {p.now:g} in the book, {p.proposed:g} lately; change the book if you agree"
        cells = cells_of(RESULTS, [None, p.product, _name(book, p.product), None, None, None, None, None, None, None, said])
        rows.append(_wrapped(RESULTS, cells, "said"))
    return put(RESULTS, "Against what is usual by Products and Work. Nothing there is changed.", rows)


def lots_tab(book: Book, found: Iterable[LotUse]) -> PutTab:
    """A row for each lot in each batch: filter by lot to see where it went, by batch to see what is in it."""
    rows = []
    for use in found:
        line, batch = use.bought, use.batch
        material = book.materials[line.material].name if line.material in book.materials else line.description
        made: list[Value] = [batch.on, batch.product, _name(book, batch.product), batch.good] if batch else [None, "", "", None]
        rows.append(cells_of(LOTS, [use.lot, material, line.supplier, line.paper, line.date, line.best_before, *made]))
    return put(LOTS, "Filter by lot to see where it went, by product and day to see what went in.", rows)


def count_tab(valuation: Valuation, typed: Mapping[str, tuple[Value, Value]], on: date) -> PutTab:
    """Everything there is with its value at cost, a cell for the count, and the sums.

    Args: typed are her counts and notes, by code.
    """
    rows: list[list[Cell]] = []
    for r in valuation.rows:
        typed_count, note = typed.get(r.code, (None, None))
        cells = [f"{column_name(COUNT.place(key))}{FIRST + len(rows) + 1}" for key in ("counted", "book")]
        found = typed_count - r.on_hand if isinstance(typed_count, int | float) and not isinstance(typed_count, bool) else ""
        difference = Formula(f'IF(ISNUMBER({cells[0]}),{cells[0]}-{cells[1]},"")', found)
        rows.append(cells_of(COUNT, [r.what, r.code, r.name, r.unit, r.on_hand, typed_count, difference, r.value, note]))
    sums = [valuation.total(what) for what in ("finished", "material", "")]
    for name, total in zip(("finished pieces, at full production cost", "materials and packaging, landed", "together"), sums, strict=True):
        shown: dict[str, Value] = {"name": name, "value": total}
        rows.append([Cell(shown.get(c.key), f"total {c.kind}") for c in COUNT.columns])
    hint = (
        f"Of {on}: finished {sums[0]:,.2f}, materials {sums[1]:,.2f}, together {sums[2]:,.2f}; no selling costs or channel fees."
        " What is past its date is for you or your accountant to write down."
    )
    return put(COUNT, hint, rows, upright=True)
