"""One function per thing she can ask. The only place with disk paths and today's date.

Each takes paths and plain values, does its work through the rooms below, and returns records to show. Nothing is printed
here; `tell` is called with a few words as long work goes on.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from costbook.amounts.quantity import same_name
from costbook.book import layout
from costbook.book.grid import Edits, PutTab, SetCell, Snapshot, Value
from costbook.book.model import Book, Invoice
from costbook.book.reading import read_book
from costbook.book.table import nearest, unknown
from costbook.costing.checks import Priced, checks
from costbook.costing.rates import rates
from costbook.costing.tiers import tiers
from costbook.costing.usage import Usage, cost_at, costs
from costbook.errors import CostbookError, Finding, HostUnavailable, InputError
from costbook.hosts import disk
from costbook.hosts.backups import State
from costbook.hosts.file import WorkbookFile, create
from costbook.papers import files, picture, read_paper
from costbook.printouts import result_tabs

if TYPE_CHECKING:
    from costbook.book.posting import Content, Standing
    from costbook.book.review import ReviewLine
    from costbook.costing.trace import Node
    from costbook.invoices.matching import Confirmed, Prepared

Tell = Callable[[str], None]
DEMO_BOOK, DEMO_PAPERS = "workshop.xlsx", "papers"
TYPED_OVER = "typed where a tool value belongs"


def _quiet(_: str) -> None:
    """Tell nobody."""


@dataclass(frozen=True)
class Outcome:
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


@dataclass(frozen=True, slots=True)
class PostedPaper:
    """What became of one paper: 'posted', 'to review', 'already there' or 'refused', and why."""

    file: str
    supplier: str
    paper: str
    state: str
    lines: int
    why: str


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
    priced = Priced(book, on, rated, usage, costed, tiered)
    found = _once([*stops, *book.findings, *rated.findings, *unreachable, *checks(priced)])
    return priced, found


def _once(findings: Iterable[Finding]) -> list[Finding]:
    """The findings, each place and sentence once; the first of two alike tells which products it concerns."""
    kept: dict[tuple[str, str], Finding] = {}
    for finding in findings:
        kept.setdefault((str(finding.where), finding.sentence), finding)
    return list(kept.values())


def price(path: Path, tell: Tell = _quiet, today: date | None = None) -> Outcome:
    """Prices a workbook: reads her tabs, writes the tool's, and leaves the file alone where nothing changed.

    Raises:
        CostbookError: the book cannot be read, or saving would lose something; the file is then untouched.
    """
    tell(f"reading {path.name}")
    host = WorkbookFile(path)
    try:
        snapshot = host.snapshot()
        # Told, but not written: they are about the folder, and a save would make the workbook the newer one.
        second_versions = disk.conflict_copies(path)
        result_tabs.refuse_hers(snapshot)
        tell("working out costs and prices")
        priced, found = worked_out(snapshot, today or date.today())
        edits, found = _price_edits(snapshot, priced, found)
        tell("writing")
        written = bool(edits) and host.apply(edits)
    finally:
        host.close()
    return Outcome(path, priced, (*second_versions, *found), written)


def _price_edits(snapshot: Snapshot, priced: Priced, found: list[Finding]) -> tuple[Edits, list[Finding]]:
    """The edits of a run, none where the file already says all of it; and the findings, with what she typed over.

    What was typed over is told once more as long as nothing else changes, so that a second run finds nothing to write.
    """
    tabs = result_tabs.figure_tabs(priced, snapshot)
    standing = {tab.name for tab in tabs if tab.stands(snapshot)}
    found = [*found, *result_tabs.typed_over_cells(priced, snapshot, standing)]
    told = [f for f in result_tabs.findings_now(snapshot) if TYPED_OVER in f.sentence]
    for kept in ([*found, *told], found) if told else (found,):
        last = result_tabs.findings_tab(kept)
        if len(standing) == len(tabs) and _as_it_stands(snapshot, last):
            return Edits(), kept
    return Edits(tuple(_last_run(snapshot, priced.on)), (*(tab.put() for tab in tabs), last)), found


def _as_it_stands(snapshot: Snapshot, tab: PutTab) -> bool:
    grid = snapshot.grid(tab.name)
    return grid is not None and tab.grid().same_values(grid)


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


@dataclass(frozen=True, slots=True)
class Explanation:
    """Where one unit cost comes from: the tree, and the cost in a batch `batches` times as large where that was asked."""

    currency: str
    node: Node
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


def explain(path: Path, product: str, batches: float | None = None, today: date | None = None) -> Explanation:
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
    for code, product in book.products.items():
        if same_name(wanted) in (same_name(code), same_name(product.name)):
            return code
    sentence = unknown("product", wanted, [*book.products, *(p.name for p in book.products.values())])
    raise InputError(sentence, do=f"Its code or name is wanted; the first is {next(iter(book.products), 'none')}.")


def frames(path: Path, today: date | None = None) -> dict[str, Any]:
    """The figures of a workbook as pandas tables by name; the file is only read."""
    from costbook.printouts.figures import figures
    from costbook.printouts.frames import frames as tables

    priced, found = worked_out(_read(path), today or date.today())
    return tables(figures(priced, found))


def _read(path: Path) -> Snapshot:
    host = WorkbookFile(path)
    try:
        return host.snapshot()
    finally:
        host.close()


# ------------------------------------------------------------------ posting


def post(path: Path, papers: Sequence[Path] = (), tell: Tell = _quiet) -> list[PostedPaper]:
    """Posts what she has confirmed on the Invoice review tab, then supplier papers, into Purchases.

    What cannot be trusted goes to Invoice review with its reason. A paper is posted whole or not at all, and the same
    paper twice posts once. Without papers every paper that still waits is told; with papers, those she has begun to answer.

    Raises:
        CostbookError: the workbook cannot be read or written; then nothing is posted.
    """
    host = WorkbookFile(path)
    try:
        snapshot = host.snapshot()
        result_tabs.refuse_hers(snapshot)
        clerk = _Clerk(snapshot, read_book(snapshot))
        clerk.take_confirmed()
        for file in files(papers, path):
            tell(f"reading {file.name}")
            clerk.take(file)
        clerk.tell_waiting(all_of_them=not papers)
        tell("writing")
        host.apply(clerk.edits())
    finally:
        host.close()
    return clerk.results


class _Clerk:
    """Takes what she confirmed and then papers one by one, and gathers what is to be written.

    `snapshot` and `book` are the workbook as it will be with what was confirmed; `began` is the workbook as it is.
    """

    def __init__(self, snapshot: Snapshot, book: Book) -> None:
        from costbook.book.review import by_paper

        self.began = self.snapshot = snapshot
        self.book = book
        self.results: list[PostedPaper] = []
        self.confirmed: list[SetCell] = []
        self.rows: list[dict[str, Value]] = []
        self.suppliers: list[str] = []
        self.review = by_paper(result_tabs.review_lines(snapshot))
        self.taken: dict[tuple[str, ...], tuple[str, Content]] = {}
        self._known: Confirmed | None = None

    def take_confirmed(self) -> None:
        """The papers of the review tab that every line says yes to: posted as the tab shows them, and gone from it."""
        from costbook.book.review import verdict

        for key, lines in list(self.review.items()):
            found = verdict(lines, self.book)
            if found.state not in ("ready", "there"):
                continue
            del self.review[key]
            made = self._post_confirmed(found.rows, found.new, key[1]) if found.state == "ready" else []
            told = ["from review", *made, *([f"it does not close: {found.why}"] if found.why else [])]
            state, why = ("posted", "; ".join(told)) if found.state == "ready" else ("already there", found.why)
            self.results.append(PostedPaper(key[0], key[1], key[2], state, _goods(lines), why))

    def _post_confirmed(self, rows: Sequence[dict[str, Value]], new: Sequence[str], supplier: str) -> list[str]:
        """Adds new materials and a paper's rows to the workbook in hand; returns the new materials in words."""
        from costbook.book.posting import appended, purchase_edits, supplier_edits
        from costbook.book.review import next_code

        made = []
        for name in new:
            code, near = next_code(self.book), nearest(name, [m.name for m in self.book.materials.values()])
            row: dict[str, Value] = {"code": code or None, "name": name, "kind": "other", "supplier": supplier}
            self._go_on_with(appended(self.snapshot, layout.MATERIALS, [row]))
            made.append(f"new material {f'{code} ' if code else ''}{name}{f' (nearest you had: {near})' if near else ''}")
        self._go_on_with(supplier_edits(self.snapshot, self.book, [supplier]))
        self._go_on_with(purchase_edits(self.snapshot, rows))
        return made

    def _go_on_with(self, cells: Sequence[SetCell]) -> None:
        if cells:
            self.confirmed += cells
            self.snapshot = self.snapshot.with_cells(cells)
            self.book = read_book(self.snapshot)

    def tell_waiting(self, all_of_them: bool) -> None:
        """Adds to the results the papers that wait and were not told yet: all, or those she has begun to answer."""
        from costbook.book.review import verdict

        told = {(r.file, r.paper) for r in self.results}
        for (file, supplier, paper), lines in self.review.items():
            found = verdict(lines, self.book)
            if (file, paper) not in told and (all_of_them or found.state != "unanswered"):
                self.results.append(PostedPaper(file, supplier, paper, "to review", _goods(lines), found.why))

    def take(self, file: Path) -> None:
        """One file: each paper in it is posted, sent to review, already there, or refused."""
        try:
            invoices = read_paper(file, tuple(self.book.suppliers))
        except CostbookError as error:
            self.results.append(PostedPaper(file.name, "", "", "refused", 0, error.advice))
            return
        for invoice in invoices:
            state, why = self._take(invoice)
            count = sum(1 for line in invoice.lines if line.kind == "goods" and not line.group)
            self.results.append(PostedPaper(file.name, invoice.supplier, invoice.number, state, count, why))

    def _take(self, invoice: Invoice) -> tuple[str, str]:
        """What becomes of a paper, and why. What is there is looked at first: a paper that does not close and was
        confirmed as it is still has its problems, and is there all the same."""
        from costbook.book.posting import standing
        from costbook.invoices.checks import sign

        known = standing(self.book, invoice, sign(invoice))
        if known.state == "there":
            self.review.pop((invoice.source, invoice.supplier, invoice.number), None)
            return "already there", f"in {known.where}"
        paper = self._prepared(invoice)
        state, why = self._decide(invoice, known, paper.questions)
        if state == "posted":
            self._post(invoice, paper)
            return state, paper.unknown_words()
        if state == "to review":
            self._to_review(invoice, paper, why)
        return state, why

    def _prepared(self, invoice: Invoice) -> Prepared:
        """The rows a paper would make, what is known filled in."""
        from costbook.book.posting import posted_lines, purchase_rows
        from costbook.invoices.checks import sign
        from costbook.invoices.matching import Confirmed, Prepared

        known = self._known = self._known or Confirmed(self.book)
        rows = purchase_rows(invoice, sign(invoice), lambda line: "", self.book.settings.currency)
        return Prepared(rows).filled(invoice, posted_lines(invoice), known)

    def _decide(self, invoice: Invoice, known: Standing, questions: Sequence[str]) -> tuple[str, str]:
        from costbook.book.posting import content, paper_type
        from costbook.invoices.checks import problems, sign

        reasons = [*problems(invoice), *questions]
        if reasons:
            return "to review", "; ".join(reasons)
        number = (same_name(invoice.supplier), same_name(invoice.number), paper_type(invoice))
        lines = content(invoice, sign(invoice))
        before = self.taken.get(number)
        if before and before[1] == lines:
            return "already there", f"the same as {before[0]}"
        if known.state == "other" or before:
            again = f"paper {invoice.number} of {invoice.supplier} came twice with different content"
            return "to review", f"{known.why or again} ({known.where or (before[0] if before else '')})"
        self.taken[number] = (invoice.source, lines)
        return "posted", ""

    def _post(self, invoice: Invoice, paper: Prepared) -> None:
        self.rows += paper.rows
        self.suppliers.append(invoice.supplier)
        self.review = {k: v for k, v in self.review.items() if k[1:] != (invoice.supplier, invoice.number)}

    def _to_review(self, invoice: Invoice, paper: Prepared, why: str) -> None:
        from costbook.book.review import same_paper, waiting

        drawn = waiting(invoice, paper.shown(), paper.hints, why, ())
        same = [key for key, lines in self.review.items() if same_paper(lines, invoice, drawn)]
        before = [line for key in same for line in self.review[key]]
        lines = waiting(invoice, paper.shown(), paper.hints, why, before)
        place = lines[0].key
        for key in same:
            if key != place:
                del self.review[key]
        self.review[place] = lines

    def edits(self) -> Edits:
        """All that was posted and reviewed, in one step; none where nothing is new."""
        from costbook.book.posting import purchase_edits, supplier_edits

        cells = [
            *self.confirmed,
            *supplier_edits(self.snapshot, self.book, self.suppliers),
            *(purchase_edits(self.snapshot, self.rows) if self.rows else ()),
        ]
        lines = [line for paper in self.review.values() for line in paper]
        review = result_tabs.review_tab(lines, self.snapshot)
        stands = _as_it_stands(self.began, review) or (not lines and self.began.grid(review.name) is None)
        return Edits(tuple(cells), () if stands else (review,))


def _goods(lines: Sequence[ReviewLine]) -> int:
    """How many of a waiting paper's lines are goods."""
    return sum(1 for line in lines if line.text("kind") in ("", "goods"))


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
