"""What to make next and what was made: the tabs of the queue and the plan, and the edits that book batches and sales."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from costbook.amounts.numbers import counted
from costbook.book import layout
from costbook.book.decisions import kept_rows
from costbook.book.grid import Edits, PutTab, SetCell, Snapshot, Value
from costbook.book.model import BatchRecord, Book
from costbook.book.posting import appended
from costbook.book.records import HOURS, MOULDS, booked_cells, lacks, sale_rows, value_cells
from costbook.book.sheets import table_tab
from costbook.book.tool_tabs import COUNT, MAKE_NEXT, PLAN_BUYS, SHOP_COLUMNS
from costbook.costing.batches import Moves, lot_uses, moves, proposals, results
from costbook.costing.buying import reorder_points, to_buy
from costbook.costing.checks import Priced
from costbook.costing.days import RACK, Calendar
from costbook.costing.plan import Clock, Plan
from costbook.costing.restock import MARGIN, SORTS, Queue, QueueRow, not_counted, ordered, queue
from costbook.costing.stock import stock_value
from costbook.costing.week import Week, in_plan_order, plan_week, work_of
from costbook.errors import Finding, LayoutError
from costbook.invoices.shop_sales import Sold
from costbook.printouts import stock_tabs
from costbook.printouts.tabs import cells_of, put

WEEK_DAYS, USUAL_HOURS, USUAL_DAYS = 7, 8.0, (0, 1, 2, 3, 4)
WEEKS_AHEAD = 4.0  # what sells in a month is made for stock without regret; common practice, no source
BY_PLAN = "plan"


def week_of(priced: Priced) -> tuple[Week, list[str]]:
    """This week as she typed it, from the book's day on, and sentences for what had to be taken for granted."""
    book, said = priced.book, list[str]()
    hours = {row.what: row for row in book.week if row.unit == HOURS}
    if not hours:
        said.append(f"No hours stand on This week: {USUAL_HOURS:g} hours a day of everybody, Monday to Friday, are taken.")
    start = priced.on.weekday()
    calendar = Calendar(priced.on, {
        role: tuple(
            (float(hours[role].amount) if role in hours else 0.0 if hours else USUAL_HOURS)
            if (start + n) % 7 in (hours[role].days if role in hours else USUAL_DAYS) else 0.0
            for n in range(WEEK_DAYS)
        )
        for role in book.roles
    })  # fmt: skip
    one = {unit: next((float(r.amount) for r in book.week if r.unit == unit), None) for unit in ("mixes", "money", "days", "pieces", "weeks")}
    ahead = WEEKS_AHEAD if one["weeks"] is None else one["weeks"]
    if one["pieces"] is None:
        said.append(f"Pieces beyond what is wanted count while they sell within {counted(ahead, 'week')}; say otherwise on This week.")
    moulds = {code: (p.mould.strip().casefold(), p.moulds) for code, p in book.products.items() if p.mould}
    counts = {row.what: float(row.amount) for row in book.week if row.unit == MOULDS}
    limited = {code: mould for code, mould in moulds.items() if mould[0] in counts}
    lead = None if one["days"] is None else int(one["days"])
    return Week(calendar, limited, counts, one["mixes"], one["money"], lead, one["pieces"], ahead), said


def queue_of(priced: Priced) -> Queue:
    """The queue, products she only tries out left out."""
    week, _ = week_of(priced)
    found = queue(priced, moulds=week.moulds)
    rows = tuple(row for row in found.rows if not priced.book.products[row.code].trying)
    unknown = not_counted(rows)
    return Queue(rows, (*found.findings, Finding("note", "not-counted", unknown)) if unknown else found.findings)


def sorted_rows(found: Queue, by: str, plan: Plan | None = None) -> list[QueueRow]:
    """The rows in the order she picked, those that need nothing last; by the plan: what it makes first, as it keeps most."""
    rows = ordered(found.rows, MARGIN if by == BY_PLAN else by, wanted_only=False)
    if by != BY_PLAN or plan is None:
        return rows
    first = in_plan_order(rows, plan)
    return [*first, *(row for row in rows if row not in first)]


def order_shown(snapshot: Snapshot, usual: str) -> str:
    """The order Make next is in now, as its hint says; the usual one where it says none."""
    grid = snapshot.grid(MAKE_NEXT.name)
    hint = str(grid.value(1, 0)) if grid else ""
    return next((by for by in (*SORTS, BY_PLAN) if hint.startswith(f"Sorted by {by}.")), usual)


def queue_tabs(priced: Priced, found: Queue, by: str, plan: Plan | None = None) -> list[PutTab]:
    """Make next, To buy for all that is wanted, and When to reorder."""
    wanted = {row.code: float(row.batches_in_all) for row in found.rows if row.batches_in_all}
    return [
        stock_tabs.queue_tab(priced, sorted_rows(found, by, plan), by), stock_tabs.buy_tab(to_buy(priced, wanted), "For every batch wanted on Make next, those for sets too."),
        stock_tabs.reorder_tab(reorder_points(priced)),
    ]  # fmt: skip


def planned(priced: Priced, found: Queue, seconds: float, clock: Clock) -> tuple[Plan, int, list[PutTab]]:
    """The best plan of the week, how many of its batches found no day, and its tabs: what to make, what holds it back, days, times, places, and what to buy."""
    week, said = week_of(priced)
    plan, question = plan_week(priced, week, seconds, clock)
    rows = {row.code: row for row in found.rows}
    left_out = {code: why for code, why in question.left_out.items() if code in rows and rows[code].wanted > 0}
    work = work_of(priced, plan, week, [row.code for row in sorted_rows(found, BY_PLAN, plan)])
    room: dict[str, float] = dict(week.mould_count)
    if priced.book.settings.rack_places is not None:
        room[RACK] = float(priced.book.settings.rack_places)
    tabs = [
        stock_tabs.plan_tab(priced, plan, len(work.left_over), rows, left_out, (*said, *question.said)), stock_tabs.held_back_tab(plan), stock_tabs.work_tab(priced.book, work),
        stock_tabs.times_tab(priced.book, work), stock_tabs.nights_tab(work, room),
    ]  # fmt: skip
    if week.budget is not None:
        tabs.append(stock_tabs.buy_tab(to_buy(priced, plan.batches), "For the batches of the plan.", PLAN_BUYS))
    return plan, len(work.left_over), tabs


# ------------------------------------------------------------------ booking


@dataclass(frozen=True)
class Booked:
    """What booking batches and sales comes to: the edits, and what moved."""

    edits: Edits
    moves: Moves


def with_sales(snapshot: Snapshot, sold: Sequence[Sold]) -> tuple[list[SetCell], tuple[PutTab, ...]]:
    """The edits that add sales to the Sales tab, which is made where the book has none yet."""
    rows = sale_rows(sold)
    if not rows:
        return [], ()
    try:
        return appended(snapshot, layout.SALES, rows), ()
    except LayoutError:
        return [], (table_tab(layout.SALES, rows, spare=0),)


def booked(snapshot: Snapshot, priced: Priced) -> Booked:
    """The edits that move stock by every batch and sale not booked yet, and mark them as booked."""
    found = moves(priced)
    findings = list(found.findings)
    if found.batches or found.sales:
        missing = lacks(snapshot, layout.PRODUCTS, ["on_hand"]) + lacks(snapshot, layout.MATERIALS, ["on_hand"])
        unmarked = [t.name for t, done in ((layout.BATCHES, found.batches), (layout.SALES, found.sales)) if done and lacks(snapshot, t, ["booked"])]
        if missing or unmarked:
            what = f"no column {missing[0]} to keep stock in" if missing else f"no column Booked on {unmarked[0]}, so the same would be booked twice"
            findings.append(Finding("stop", "no-column", f"{what}; nothing is booked", None, "Add a column with that heading."))
            return Booked(Edits(), Moves({}, {}, (), (), tuple(findings)))
    cells = [
        *value_cells(snapshot, layout.MATERIALS, {(code, "on_hand"): count for code, count in found.materials.items()}),
        *value_cells(snapshot, layout.PRODUCTS, found.products),
        *booked_cells(snapshot, layout.BATCHES, [b.row for b in found.batches], priced.on),
        *booked_cells(snapshot, layout.SALES, [s.row for s in found.sales], priced.on),
    ]  # fmt: skip
    return Booked(Edits(tuple(cells)), found)


def record_tabs(priced: Priced) -> list[PutTab]:
    """Batch results with proposals, and Lots."""
    return [
        stock_tabs.results_tab(priced.book, results(priced), proposals(priced)), stock_tabs.lots_tab(priced.book, lot_uses(priced.book)),
    ]  # fmt: skip


def columns_tab(snapshot: Snapshot, asked: Sequence[tuple[str, str]]) -> PutTab:
    """The Shop columns tab with these headings to be told, and what was told before."""
    rows = kept_rows(snapshot, SHOP_COLUMNS)
    there = {str(row[0]).casefold() for row in rows}
    rows += [[heading, None, example] for heading, example in asked if heading.casefold() not in there]
    hint = "Say what each heading means: date, product, pieces, channel, order or nothing. Then read the list again; it is known from then on."
    return put(SHOP_COLUMNS, hint, [cells_of(SHOP_COLUMNS, row) for row in rows])


def in_between(snapshot: Snapshot, cells: Sequence[SetCell], tabs: Sequence[PutTab]) -> Snapshot:
    """The workbook as it will be with these cells and tabs."""
    changed = snapshot.with_cells(cells)
    return Snapshot(changed.name, {**changed.grids, **{tab.name: tab.grid() for tab in tabs}})


def one_save(cells: Sequence[SetCell], made: Sequence[PutTab], booking: Edits, tabs: Sequence[PutTab]) -> Edits:
    """All edits as one: cells of a tab that is made in the same save go into that tab."""
    own = {tab.name: [list(row) for row in tab.rows] for tab in made}
    left: dict[tuple[str, int, int], SetCell] = {}
    for cell in (*cells, *booking.cells):
        if cell.tab in own:
            row = own[cell.tab][cell.row]
            row[cell.column] = row[cell.column]._replace(value=cell.value)
        else:
            place = (cell.tab, cell.row, cell.column)
            before = left.get(place)
            left[place] = cell if before is None else cell._replace(expected=before.expected)
    drawn = [tab._replace(rows=tuple(tuple(row) for row in own[tab.name])) for tab in made]
    return Edits(tuple(left.values()), (*drawn, *tabs))


def count_tab(snapshot: Snapshot, priced: Priced) -> tuple[PutTab, list[Finding], float]:
    """The count sheet, her counts and notes kept, what could not be valued, and the value of it all."""
    valuation = stock_value(priced.book, priced.rates, priced.costs)
    keys = [c.key for c in COUNT.columns]
    typed: dict[str, tuple[Value, Value]] = {}
    for row in kept_rows(snapshot, COUNT):
        values: Mapping[str, Value] = dict(zip(keys, row, strict=True))
        typed[str(values["code"])] = values["counted"], values["note"]
    return stock_tabs.count_tab(valuation, typed, priced.on), list(valuation.findings), valuation.total()


def traced(book: Book, lot: str) -> list[str]:
    """Where a lot came from and went, in sentences; none where no paper has it."""
    wanted = lot.strip().casefold()
    found = [use for use in lot_uses(book) if use.lot.strip().casefold() == wanted]
    lines = []
    for line in {str(use.bought.where): use.bought for use in found}.values():
        name = book.materials[line.material].name if line.material in book.materials else line.description
        best = f", best before {line.best_before}" if line.best_before else ""
        lines.append(f"{line.lot}: {name} from {line.supplier}, paper {line.paper} of {line.date}{best} ({line.where})")
    for use in found:
        if use.batch is not None:
            b = use.batch
            lines.append(f"  in {b.product} {book.products[b.product].name}, batch of {b.on}: {counted(b.good, 'good piece')}{_unrecorded(b)} ({b.where})")
    return lines


def _unrecorded(batch: BatchRecord) -> str:
    """A word for a batch that no stock has moved by."""
    return "" if batch.booked else " (not recorded yet)"


def of_batches(book: Book, product: str) -> list[str]:
    """The lots that went into the batches of a product, in sentences."""
    lines = []
    for batch in book.batches:
        if batch.product == product:
            lines.append(f"{batch.product} batch of {batch.on}: {counted(batch.good, 'good piece')}{_unrecorded(batch)}, lots {', '.join(batch.lots) or 'none written'} ({batch.where})")
            for lot in batch.lots:
                lines += [f"  {line}" for line in traced(book, lot)[:1]]
    return lines
