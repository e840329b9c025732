"""One function per thing she can ask. The only place with disk paths and today's date; one file, since it is that list.

Each takes paths (or a workbook that is open) and plain values, does its work through the rooms below, and returns records to show. Nothing is printed
here; `tell` is called with a few words as long work goes on.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from costbook.amounts.numbers import counted
from costbook.amounts.quantity import same_name
from costbook.book import layout, tool_tabs
from costbook.book.grid import Edits, PutTab, SetCell, Snapshot, Value
from costbook.book.model import Book
from costbook.book.reading import read_book
from costbook.book.table import find_tables, near, unknown
from costbook.costing.checks import TO_COME, Priced, checks, prices_to_come
from costbook.costing.rates import rates
from costbook.costing.tiers import tiers
from costbook.costing.usage import Usage, cost_at, costs
from costbook.errors import Finding, HostUnavailable, InputError, WriteRefused
from costbook.hosts import disk
from costbook.hosts.backups import State
from costbook.hosts.file import create
from costbook.hosts.opening import Host, file_of, opened
from costbook.papers import PostedPaper, files, picture, read_paper
from costbook.printouts import result_tabs
from costbook.printouts.marks import BESIDE, beside

if TYPE_CHECKING:
    from costbook.costing.hidden_rises import HiddenRise
    from costbook.costing.impact import Impact
    from costbook.costing.plan import Plan
    from costbook.costing.restock import QueueRow
    from costbook.costing.trace import Node

Tell = Callable[[str], None]
PLAN_SECONDS = 10.0
NEAR_PRODUCTS = 3
DEMO_BOOK, DEMO_PAPERS = "workshop.xlsx", "papers"
TYPED_OVER = "typed where a tool value belongs"


def _quiet(_: str) -> None:
    """Tell nobody."""


class Outcome(NamedTuple):
    """What pricing a book came to: everything worked out, the findings, and whether the file was written."""

    path: Path
    priced: Priced
    findings: tuple[Finding, ...]
    written: bool

    @property
    def stopped(self) -> bool:
        """Whether something keeps a product from having a price."""
        return any(f.level == "stop" for f in self.findings)

    def figures(self) -> dict[str, Any]:
        """Every figure, for other programs."""
        from costbook.printouts.figures import figures

        return figures(self.priced, self.findings)


# ------------------------------------------------------------------ pricing


def worked_out(snapshot: Snapshot, today: date) -> tuple[Priced, list[Finding]]:
    """Everything one snapshot comes to, and all findings of reading, costing and checking.

    Raises:
        LayoutError: tabs or headings that nothing can be priced without are missing.
    """
    book = read_book(snapshot)
    on = book.settings.book_date or today
    rated = rates(book, on)
    usage = Usage(book)
    costed, stops = costs(usage, rated)
    tiered, unreachable = tiers(book, costed)
    priced = Priced(book, on, rated, usage, costed, tiered, _to_come(_price_log(snapshot), book, on))
    found = [*stops, *book.findings, *rated.findings, *unreachable, *checks(priced), *_announced(priced), *prices_to_come(priced)]
    return priced, _once(found)


def _price_log(snapshot: Snapshot) -> list[list[Value]]:
    """The rows of the price log, none where there is none yet."""
    if snapshot.grid(tool_tabs.PRICE_LOG.name) is None:
        return []
    from costbook.book.decisions import kept_rows

    return kept_rows(snapshot, tool_tabs.PRICE_LOG)


def _to_come(log: Sequence[Sequence[Value]], book: Book, on: date) -> dict[tuple[str, str], date]:
    """Her prices, by product and column, that were accepted for a later day, with that day."""
    if not log:
        return {}
    from costbook.book.price_log import price_days

    days = price_days(log, book.products)
    return {key: after[-1].starts for key, told in days.items() if (after := told.after(on))}


def _announced(priced: Priced) -> list[Finding]:
    """What is wrong with the announced prices, so that it is told before she looks at what they do."""
    if not priced.book.announced:
        return []
    from costbook.costing.announced import new_rates

    return new_rates(priced.book, priced.on, priced.rates, priced.book.announced)[1]


def _once(findings: Iterable[Finding]) -> list[Finding]:
    """The findings, each place and sentence once; the first of two alike tells which products it concerns."""
    kept: dict[tuple[str, str], Finding] = {}
    for finding in findings:
        kept.setdefault((str(finding.where), finding.sentence), finding)
    return list(kept.values())


def price(path: Path | Host, tell: Tell = _quiet, today: date | None = None) -> Outcome:
    """Prices a workbook: reads her tabs, writes the tool's, and leaves the file alone where nothing changed.

    Raises:
        CostbookError: the book cannot be read, or saving would lose something; the file is then untouched.
    """
    tell(f"reading {path.name}")
    with _opened(path) as (host, snapshot):
        # Told, but not written: they are about the folder, and a save would make the workbook the newer one.
        second_versions = disk.conflict_copies(file_of(path))
        tell("working out costs and prices")
        priced, found = worked_out(snapshot, today or date.today())
        edits, found = _price_edits(snapshot, priced, found)
        others = _refreshed(snapshot, priced)
        edits, found = Edits(edits.cells, (*edits.tabs, *others)), [*found, *beside(snapshot, [tab.name for tab in others])]
        tell("writing")
        written = bool(edits) and host.apply(edits)
    return Outcome(file_of(path), priced, (*second_versions, *found), written)


def _price_edits(snapshot: Snapshot, priced: Priced, found: list[Finding]) -> tuple[Edits, list[Finding]]:
    """The edits of a run, none where the file already says all of it; and the findings, with what she typed over.

    What was typed over is told once more as long as nothing else changes, so that a second run finds nothing to write.
    """
    tabs = result_tabs.figure_tabs(priced, snapshot)
    standing = {tab.name for tab in tabs if tab.stands(snapshot)}
    drawn = [name for name in (*(tab.name for tab in tabs), tool_tabs.FINDINGS.name) if name not in standing]
    found = [*found, *result_tabs.typed_over_cells(priced, snapshot, standing), *beside(snapshot, drawn)]
    told = [f for f in result_tabs.findings_now(snapshot) if TYPED_OVER in f.sentence or BESIDE in f.sentence]
    for kept in ([*found, *told], found) if told else (found,):
        last = result_tabs.findings_tab(kept)
        if len(standing) == len(tabs) and last.stands_in(snapshot):
            return Edits(), kept
    return Edits(tuple(_last_run(snapshot, priced.on)), (*(tab.put() for tab in tabs), last)), found


def _refreshed(snapshot: Snapshot, priced: Priced) -> list[PutTab]:
    """The tabs of `changed` and `next` that stand in the workbook and show something else now, so that no two disagree.

    A plan stays as it was made: it says of what day it is.
    """
    tabs: list[PutTab] = []
    if snapshot.grid(tool_tabs.DECISIONS.name):
        from costbook.changes import announced_impact, change_tabs_of
        from costbook.costing.hidden_rises import hidden_rises

        tabs += change_tabs_of(snapshot, priced, announced_impact(priced), hidden_rises(priced.book, priced.on, priced.rates))
    if snapshot.grid(tool_tabs.MAKE_NEXT.name):
        from costbook.making import order_shown, queue_of, queue_tabs

        tabs += queue_tabs(priced, queue_of(priced), order_shown(snapshot, priced.book.settings.queue_by))
    return [tab for tab in tabs if not tab.stands_in(snapshot)]


def _beside(snapshot: Snapshot, edits: Edits) -> list[Finding]:
    return beside(snapshot, [tab.name for tab in edits.tabs])


def _last_run(snapshot: Snapshot, on: date) -> Iterable[SetCell]:
    """The date beside 'Last run' on the Start tab."""
    grid = snapshot.grid(layout.START)
    for row, cells in enumerate(grid.rows if grid else ()):
        for column, cell in enumerate(cells):
            if grid and isinstance(cell, str) and same_name(cell) == same_name(layout.LAST_RUN):
                now = grid.value(row, column + 1)
                if now != on:
                    yield SetCell(grid.name, row, column + 1, on, "tool date", now)
                return


class Explanation(NamedTuple):
    """Where one unit cost comes from: the tree, and the cost in a batch `batches` times as large where that was asked."""

    currency: str
    node: "Node"
    batches: float | None = None
    cost_at: float | None = None

    def lines(self) -> list[str]:
        """The tree as indented text."""
        from costbook.printouts.figures import explanation_lines

        lines = list(explanation_lines(self.node, self.currency))
        if self.cost_at is not None:
            lines.append(f"{self.cost_at:10.4f} {self.currency}  a piece, in a batch {self.batches:g} times as large")
        return lines

    def figures(self) -> dict[str, Any]:
        """The tree as nested dicts, for other programs."""
        from costbook.printouts.figures import explained

        asked = {} if self.cost_at is None else {"batches": self.batches, "cost_at": self.cost_at}
        return explained(self.node) | {"currency": self.currency} | asked


def explain(path: Path | Host, product: str, batches: float | None = None, today: date | None = None) -> Explanation:
    """The tree of one product's unit cost down to papers and rows; the file is only read.

    Args:
        product: its code or name.
        batches: also work out the cost in a batch that many times as large.
    Raises:
        InputError: no such product, or it has no price (the sentence says why).
    """
    from costbook.costing.trace import explanation

    priced, found = worked_out(_read(path), today or date.today())
    code = _product_code(priced.book, product)
    if code not in priced.costs:
        why = next((f for f in found if code in f.about and f.level == "stop"), None)
        sentence = f"{code} has no price: {why.sentence if why else 'see the findings'}"
        raise InputError(sentence, why.where if why else None, why.do if why else "")
    if batches is not None and not (math.isfinite(batches) and batches > 0):
        raise InputError(f"a batch cannot be {batches:g} times as large", do="Give a number above 0.")
    larger = None if batches is None else cost_at(priced.usage, priced.rates, code, batches)
    return Explanation(priced.book.settings.currency, explanation(priced.usage, priced.rates, code), batches, larger)


def _product_code(book: Book, wanted: str) -> str:
    """The code of the product meant by a code or name.

    Raises:
        InputError: none is, with up to three that are called nearly so; or she has dropped it.
    """
    codes = {name: code for code, p in (*book.dropped.items(), *book.products.items()) for name in (p.name, code)}
    code = next((codes[name] for name in reversed(codes) if same_name(name) == same_name(wanted)), "")
    if code in book.dropped:
        product = book.dropped[code]
        do = 'Write "trying out" there to have it costed, or take the word out to put it back.'
        raise InputError(f"{code} {product.name} is dropped from the line: nothing is worked out for it", product.places.get("standing", product.where), do)
    if code:
        return code
    told = [f"{code} {book.products[code].name}" if code in book.products else f"{code} {book.dropped[code].name} (dropped)"
            for code in dict.fromkeys(codes[name] for name in near(wanted, codes, NEAR_PRODUCTS))]  # fmt: skip
    sentence = f'no product "{wanted}"' + (f"; nearest: {', '.join(told)}" if told else "")
    raise InputError(sentence if wanted.strip() else "no product is named", do="Give its code or its name, as on the Products tab.")


def frames(path: Path | Host, today: date | None = None) -> dict[str, Any]:
    """The figures of a workbook as pandas tables by name; the file is only read."""
    from costbook.printouts.figures import figures
    from costbook.printouts.frames import frames as tables

    priced, found = worked_out(_read(path), today or date.today())
    return tables(figures(priced, found))


@contextmanager
def _opened(path: Path | Host) -> Iterator[tuple[Host, Snapshot]]:
    """A workbook to be written to, and what it holds; closed whatever happens.

    Raises:
        CostbookError: it cannot be read, or a tab of hers bears the name of one of the tool's.
    """
    host = opened(path)
    try:
        snapshot = host.snapshot()
        result_tabs.refuse_hers(snapshot)
        yield host, snapshot
    finally:
        host.close()


def _read(path: Path | Host) -> Snapshot:
    host = opened(path)
    try:
        return host.snapshot()
    finally:
        host.close()


# ------------------------------------------------------------------ prices that change


class Changed(NamedTuple):
    """What announced prices do to a book, what was found about them or stops a product, hidden rises, and whether the file was written."""

    path: Path
    priced: Priced
    impact: "Impact"
    findings: tuple[Finding, ...]
    hidden: tuple["HiddenRise", ...]
    written: bool

    @property
    def left_out(self) -> bool:
        """Whether something announced cannot be used; what stops a product says which."""
        return any(f.level == "stop" and not f.about for f in self.findings)

    @property
    def sentence(self) -> str:
        """What the announced prices come to."""
        if not self.impact.news:
            return "No announced price can be used." if self.left_out else "No price is announced: type what a supplier announces on the Announced prices tab."
        prices = counted(len(self.impact.news), "announced price costs", "announced prices together cost")
        money = f"{self.impact.a_year:.2f} {self.priced.book.settings.currency} a year at present sales"
        return f"{prices} {money}{'; what cannot be used is not in it' if self.left_out else ''}."


def changed(path: Path | Host, tell: Tell = _quiet, today: date | None = None) -> Changed:
    """Works out what the announced prices do, and writes it beside everything `price` writes. No price of hers moves.

    Raises:
        CostbookError: the book cannot be read, or saving would lose something; the file is then untouched.
    """
    from costbook.changes import announced_impact, change_tabs_of
    from costbook.costing.hidden_rises import hidden_rises

    tell(f"reading {path.name}")
    with _opened(path) as (host, snapshot):
        tell("working out costs and prices")
        priced, found = worked_out(snapshot, today or date.today())
        impact = announced_impact(priced)
        hidden = hidden_rises(priced.book, priced.on, priced.rates)
        edits, found = _price_edits(snapshot, priced, found)
        tabs = [tab for tab in change_tabs_of(snapshot, priced, impact, hidden) if not tab.stands_in(snapshot)]
        names = {tab.name for tab in tabs}
        edits = Edits(edits.cells, (*(t for t in edits.tabs if t.name not in names), *tabs, *_missing(snapshot, layout.ANNOUNCED)))
        tell("writing")
        written = bool(edits) and host.apply(edits)
    # What stops a product too: it is not among those that change.
    about = [f for f in found if f.level == "stop" or f.check.startswith("announced") or f.check == TO_COME or _on(f, snapshot, layout.ANNOUNCED.name)]
    return Changed(file_of(path), priced, impact, (*about, *_beside(snapshot, edits)), tuple(hidden), written)


def _on(finding: Finding, snapshot: Snapshot, *tabs: str) -> bool:
    """Whether a finding leads to one of these tabs of hers, whatever she calls them."""
    tables = find_tables(snapshot)
    return finding.where is not None and finding.where.tab in {tables[tab].grid.name for tab in tabs if tab in tables}


def _missing(snapshot: Snapshot, *tabs: layout.Tab) -> list[PutTab]:
    """Tabs of hers that the book lacks, laid out empty for her to type in."""
    from costbook.book.sheets import table_tab

    tables = find_tables(snapshot)
    return [table_tab(tab, [], spare=20) for tab in tabs if tab.name not in tables]


class Accepted(NamedTuple):
    """The prices that were moved, as (product, column, old, new), how many are held from now on, and what could not be used.

    `standing` are the prices held since an earlier time, as (product, column, price). `kept` says whether the state of costs was kept to compare with; `later` are the days of those that start on a later one.
    """

    moved: tuple[tuple[str, str, Decimal, Decimal], ...]
    held: int
    findings: tuple[Finding, ...]
    kept: bool = False
    later: Mapping[tuple[str, str], date] = {}
    standing: tuple[tuple[str, str, Decimal], ...] = ()


def accept(path: Path | Host, tell: Tell = _quiet, today: date | None = None) -> Accepted:
    """Moves the prices she decided on into her own columns, logs them, and keeps the state they were accepted in.

    All or nothing: where a decision cannot be used nothing is moved. With nothing decided, or only what is held already, only a
    first state is kept.

    Raises:
        CostbookError: the book cannot be read or written; the file is then untouched.
    """
    from costbook.book.decisions import decided, kept_rows, price_cells, told_apart
    from costbook.book.table import Notes
    from costbook.book.tool_tabs import STATE
    from costbook.changes import accepted_tabs, logged, slips

    tell(f"reading {path.name}")
    with _opened(path) as (host, snapshot):
        day = today or date.today()
        book = read_book(snapshot)
        notes = Notes(book.settings.decimal, book.settings.measures)
        wanted = decided(snapshot, book.products, book.settings.book_date or day, notes)
        notes.found += slips(worked_out(snapshot, day)[0], wanted)
        state = kept_rows(snapshot, STATE)
        moves, holds, stand = told_apart(wanted, state, book.products)
        standing = tuple((d.product, d.column, book.products[d.product].prices[d.column]) for d in stand)
        if notes.stops(0) or (state and not moves and not holds):
            return Accepted((), 0, tuple(notes.found), standing=standing)
        prices = {(d.product, d.column): d.price for d in moves if d.price is not None}
        cells = price_cells(snapshot, prices)
        after, found = worked_out(snapshot.with_cells(cells), day)
        log = logged(_price_log(snapshot), book, after, moves)
        after = after._replace(to_come=_to_come(log, after.book, after.on))  # the log it was read from is that of before
        found = [*(f for f in found if f.check != TO_COME), *prices_to_come(after)]
        notes.found += [f for f in found if f.check == "undercuts" and any(d.product in f.about for d in moves)]
        tabs = [tab for tab in accepted_tabs(snapshot, log, after, wanted) if not tab.stands_in(snapshot)]
        edits, _ = _price_edits(snapshot.with_cells(cells), after, found)
        tell("writing")
        host.apply(Edits((*cells, *edits.cells), (*edits.tabs, *tabs)))
    moved = tuple((p, c, book.products[p].prices[c], new) for (p, c), new in prices.items())
    later = {(d.product, d.column): d.starts for d in moves if d.starts and d.starts > after.on}
    return Accepted(moved, len(holds), tuple(notes.found), True, later, standing)


def shops(path: Path | Host, pdf: Path | None = None, tell: Tell = _quiet, today: date | None = None) -> tuple[bool, list[str]]:
    """Writes the line sheet and the notice of new prices for shops.

    Returns: whether the file was written, and the products left out since shops pay less than their floor.

    Args: pdf is a new file to print into, through the office program: the line sheet, and the notice where there is one.
    Raises:
        CostbookError: the book cannot be read or written, a file of that name is there, or no PDF is to be had; then neither is written.
    """
    from costbook.book.decisions import kept_rows
    from costbook.book.price_log import price_days
    from costbook.book.tool_tabs import PRICE_LOG
    from costbook.hosts.office import printed
    from costbook.printouts.shop_tabs import line_sheet_tab, news, notice_tab, under_floor

    if pdf is not None:
        if pdf.suffix.lower() != ".pdf":
            raise WriteRefused(f"{pdf.name} is no name for a PDF.", do="Let it end in .pdf.")
        disk.refuse_no_place(pdf)  # it may be what a shop was sent
    with _opened(path) as (host, snapshot):
        priced, _ = worked_out(snapshot, today or date.today())
        days = price_days(kept_rows(snapshot, PRICE_LOG), priced.book.products)
        tabs = (line_sheet_tab(priced, days), notice_tab(priced, days))
        page = b""
        if pdf is not None:
            tell("printing")
            page = printed(tabs if news(priced, days) else tabs[:1])
        new = tuple(tab for tab in tabs if not tab.stands_in(snapshot))
        written = bool(new) and host.apply(Edits(tabs=new))
        if pdf is not None:
            disk.new_file(pdf, page)  # last, so that a run that broke off leaves none in the way of the next
        return written, sorted(under_floor(priced, days))


# ------------------------------------------------------------------ making


class ToMake(NamedTuple):
    """The queue in its order, the plan where one was asked for, what was found, whether the file was written, and batches that found no day."""

    path: Path
    rows: tuple["QueueRow", ...]
    by: str
    plan: "Plan | None"
    findings: tuple[Finding, ...]
    written: bool
    no_day: int


def make_next(path: Path | Host, by: str = "", seconds: float | None = None, tell: Tell = _quiet, today: date | None = None) -> ToMake:
    """Writes what to make next, what to buy for it and when to reorder; with seconds also the plan of the week.

    Args:
        by: the order of the queue; that of the Start tab where none is given.
        seconds: how long the plan may be looked for; 0 or None for no plan, unless the order is that of the plan.
    Raises:
        CostbookError: the book cannot be read or written; the file is then untouched.
    """
    import time

    from costbook.costing.restock import SORTS
    from costbook.hosts.quiet import without_prints
    from costbook.making import BY_PLAN, planned, queue_of, queue_tabs, sorted_rows

    tell(f"reading {path.name}")
    with _opened(path) as (host, snapshot):
        priced, told = worked_out(snapshot, today or date.today())
        order = same_name(by) or priced.book.settings.queue_by
        if seconds is not None and not (math.isfinite(seconds) and seconds > 0):
            raise InputError(f"a plan cannot be looked for in {seconds:g} seconds", do="Give a number above 0.")
        if order not in (*SORTS, BY_PLAN):
            raise InputError(f'no order "{order}"', do=f"Choose one of: {', '.join((*SORTS, BY_PLAN))}.")
        found, plan, no_day, tabs = queue_of(priced), None, 0, list[PutTab]()
        if seconds or order == BY_PLAN:
            tell("looking for the best plan")
            with without_prints():  # the solver prints a line of its own now and then
                plan, no_day, tabs = planned(priced, found, seconds or PLAN_SECONDS, time.monotonic)
            tabs += _missing(snapshot, layout.WEEK)
        new = {tab.name: tab for tab in (*queue_tabs(priced, found, order, plan), *tabs)}
        edits = Edits(tabs=tuple(tab for tab in new.values() if not tab.stands_in(snapshot)))
        tell("writing")
        written = bool(edits) and host.apply(edits)
    about = [f for f in told if f.check == TO_COME or _on(f, snapshot, layout.WEEK.name)]
    findings = (*about, *found.findings, *_beside(snapshot, edits))
    return ToMake(file_of(path), tuple(sorted_rows(found, order, plan)), order, plan, findings, written, no_day)


class Recorded(NamedTuple):
    """What was booked, headings of a sales list she has to tell the meaning of, and what was found.

    `rates` are the pieces sold a week that changed: product, before and now.
    """

    batches: int
    sales: int
    read: int
    left_out: int
    asked: tuple[str, ...]
    rates: tuple[tuple[str, Decimal | None, float], ...]
    findings: tuple[Finding, ...]
    written: bool


def record(path: Path | Host, lists: Sequence[Path] = (), tell: Tell = _quiet, today: date | None = None) -> Recorded:
    """Takes over sales lists, moves stock by every batch and sale not booked yet, and writes Batch results and Lots.

    Raises:
        CostbookError: the book or a list cannot be read, or the book cannot be written; the file is then untouched.
    """
    from costbook import making
    from costbook.book.decisions import kept_rows
    from costbook.book.tool_tabs import SHOP_COLUMNS
    from costbook.invoices import shop_sales
    from costbook.papers import table_rows

    day = today or date.today()
    with _opened(path) as (host, snapshot):
        book, cells, tabs = read_book(snapshot), list[SetCell](), list[PutTab]()
        said, asked, told = shop_sales.meanings(kept_rows(snapshot, SHOP_COLUMNS)), list[tuple[str, str]](), list[Finding]()
        read = left_out = 0
        for file in lists:
            tell(f"reading {file.name}")
            found = shop_sales.read(table_rows(file), file.name, book, said)
            asked += found.asked
            told += found.findings
            read, left_out = read + len(found.sales), left_out + found.left_out
            new, made = making.with_sales(snapshot, found.sales)
            snapshot = making.in_between(snapshot, new, made)
            cells, tabs = [*cells, *new], [*tabs, *made]
            book = read_book(snapshot)
        tabs += _missing(snapshot, layout.BATCHES, layout.SALES)
        snapshot = making.in_between(snapshot, (), tabs)
        priced, found_there = worked_out(snapshot, day)
        told += [f for f in found_there if _on(f, snapshot, layout.BATCHES.name, layout.SALES.name)]
        booked = making.booked(snapshot, priced)
        after = snapshot.with_cells(booked.edits.cells)
        result = making.record_tabs(worked_out(after, day)[0])
        columns = [making.columns_tab(snapshot, asked)] if asked else []
        edits = making.one_save(cells, tabs, booked.edits, [tab for tab in (*result, *columns) if not tab.stands_in(snapshot)])
        tell("writing")
        written = bool(edits) and host.apply(edits)
    findings = (*told, *booked.moves.findings, *_beside(snapshot, edits))
    rates = tuple((c, priced.book.products[c].sold_per_week, now) for (c, key), now in booked.moves.products.items() if key == "sold_per_week" and isinstance(now, float))
    return Recorded(len(booked.moves.batches), len(booked.moves.sales), read, left_out, tuple(h for h, _ in asked), rates, findings, written)


def count(path: Path | Host, tell: Tell = _quiet, today: date | None = None) -> tuple[float, tuple[Finding, ...], bool]:
    """Writes the count sheet with the stock's value; returns the value, what could not be valued, and whether it was written."""
    from costbook.making import count_tab

    with _opened(path) as (host, snapshot):
        priced, _ = worked_out(snapshot, today or date.today())
        tab, findings, value = count_tab(snapshot, priced)
        edits = Edits(tabs=() if tab.stands_in(snapshot) else (tab,))
        return value, (*findings, *_beside(snapshot, edits)), bool(edits) and host.apply(edits)


def lot(path: Path | Host, name: str) -> list[str]:
    """Where a lot came from and which batches it went into; or, for a product, the lots in its batches. The file is only read.

    Raises:
        InputError: no paper has the lot and no product is called so.
    """
    from costbook.making import of_batches, traced

    book = read_book(_read(path))
    found = traced(book, name)
    if found:
        return found
    lots = [line.lot for line in book.purchases if line.lot]
    if not any(same_name(name) in (same_name(code), same_name(p.name)) for code, p in (*book.products.items(), *book.dropped.items())):
        raise InputError(unknown("lot", name, lots), do="Write it as on the Purchases tab, or name a product.")
    code = _product_code(book, name)
    return of_batches(book, code) or [f"No batch of {code} is on the Batches tab."]


# ------------------------------------------------------------------ posting


def post(path: Path | Host, papers: Sequence[Path] = (), tell: Tell = _quiet) -> list[PostedPaper]:
    """Posts what she has confirmed on the Invoice review tab, then supplier papers, into Purchases.

    What cannot be trusted goes to Invoice review with its reason. A paper is posted whole or not at all, and the same
    paper twice posts once. Without papers every paper that still waits is told; with papers, those she has begun to answer.

    Raises:
        CostbookError: the workbook cannot be read or written; then nothing is posted.
    """
    from costbook.clerk import Clerk

    with _opened(path) as (host, snapshot):
        meant = files(papers, file_of(path))
        clerk = Clerk(snapshot, read_book(snapshot), [file.name for file in meant])
        clerk.take_confirmed()
        for file in meant:
            tell(f"reading {file.name}")
            clerk.take(file)
        clerk.tell_waiting(all_of_them=not papers)
        tell("writing")
        host.apply(clerk.edits())
    return clerk.results


# ------------------------------------------------------------------ earlier states


def takeback(path: Path, number: int | None = None) -> State | None:
    """The state of a workbook that was put back, byte for byte; None where the workbook was in that state already.

    What it replaces is kept too, so that the same call once more undoes it.

    Args:
        number: which of `saved_states`, counted from 1; without it, the state before the last save.
    Raises:
        WriteRefused: there is no such state, or the file may not be written.
        WorkbookBusy: the workbook is open elsewhere.
    """
    return disk.take_back(path, number)


def saved_states(path: Path) -> list[State]:
    """The earlier states of a workbook that are kept, newest first."""
    return disk.kept_states(path)


# ------------------------------------------------------------------ new books


def blank(path: Path, paper_date: date | None = None) -> None:
    """Makes a blank workbook that teaches what to type where; its example paper is of `paper_date`, else of today.

    Raises:
        WriteRefused: something of that name is there already.
    """
    from costbook.demo.workshop import blank_tabs

    create(path, Edits(tabs=tuple(blank_tabs(paper_date or date.today()))))


def demo(folder: Path, tell: Tell = _quiet) -> tuple[list[PostedPaper], Outcome]:
    """Makes the demo workbook and the sample papers in a folder, posts the papers and prices the book.

    Raises:
        WriteRefused: the folder already holds a demo, or cannot be written.
    """
    from costbook.demo.papers import papers
    from costbook.demo.workshop import demo_tabs

    book, drawer = folder / DEMO_BOOK, folder / DEMO_PAPERS
    try:
        drawer.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise HostUnavailable(f"the folder {folder} cannot be made ({error.strerror})", do="Name another.") from error
    tell(f"making {book.name}")
    create(book, Edits(tabs=tuple(demo_tabs())))
    for name, data in papers().items():
        (drawer / name).write_bytes(data)
    posted = post(book, [drawer], tell)
    return posted, price(book, tell)


def sample_papers(folder: Path) -> list[Path]:
    """Writes the sample supplier papers of the demo into a folder."""
    from costbook.demo.papers import papers

    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / name for name in papers()]
    for path, data in zip(paths, papers().values(), strict=True):
        path.write_bytes(data)
    return paths


__all__ = [
    "Outcome",
    "PostedPaper",
    "blank",
    "demo",
    "explain",
    "frames",
    "picture",
    "post",
    "price",
    "read_paper",
    "sample_papers",
    "saved_states",
    "takeback",
    "worked_out",
]
