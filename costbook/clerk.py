"""What becomes of supplier papers, one by one: posted into Purchases, sent to the review tab, already there, or refused."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from costbook.amounts.numbers import counted
from costbook.amounts.quantity import same_name
from costbook.book import layout
from costbook.book.grid import Edits, SetCell, Snapshot, Value
from costbook.book.model import PRICE_LIST, Book, Invoice, PaperFact
from costbook.book.posting import (
    ANOTHER_PURCHASE,
    Content,
    Standing,
    announced_row,
    appended,
    content,
    paper_type,
    posted_lines,
    purchase_edits,
    purchase_rows,
    row_content,
    same_file,
    standing,
    supplier_edits,
)
from costbook.book.reading import read_book
from costbook.book.review import ReviewLine, by_paper, next_code, own_lines, verdict, waiting
from costbook.book.sheets import table_tab
from costbook.book.table import nearest
from costbook.errors import CostbookError, LayoutError
from costbook.invoices.checks import NO_NUMBER, problems, sign
from costbook.invoices.matching import Confirmed, Prepared
from costbook.papers import PaperFile, PostedPaper, read_paper
from costbook.printouts.paper_tabs import layouts_tab, review_lines, review_tab

NAMED = 3  # items of a price list that are named


class Clerk:
    """Takes what she confirmed and then papers one by one, and gathers what is to be written.

    `snapshot` and `book` are the workbook as it will be with what was confirmed; `began` is the workbook as it is; `names` are
    the files that will be taken.
    """

    def __init__(self, snapshot: Snapshot, book: Book, names: Iterable[str] = ()) -> None:
        self.began = self.snapshot = snapshot
        self.book = book
        self.names = frozenset(names)
        self.results: list[PostedPaper] = []
        self.confirmed: list[SetCell] = []
        self.rows: list[dict[str, Value]] = []
        self.suppliers: list[str] = []
        self.review = by_paper(review_lines(snapshot))
        self.drawn: set[tuple[str, str, str]] = set()
        self.taken: dict[tuple[str, ...], tuple[str, Content]] = {}
        self.facts = book.paper_facts
        self.learnt: list[tuple[str, str, PaperFact]] = []
        self.announced: list[dict[str, Value]] = []
        self._known: Confirmed | None = None

    def take_confirmed(self) -> None:
        """The papers of the review tab that every line says yes to: posted as the tab shows them, and gone from it."""
        for key, lines in list(self.review.items()):
            found = verdict(lines, self.book)
            if found.state not in ("ready", "there"):
                continue
            del self.review[key]
            made = self._post_confirmed(found.rows, found.new, key[1]) if found.state == "ready" else []
            self._learn(key[1], key[2], found.facts)
            told = ["from review", *made, *([f"it does not close: {found.why}"] if found.why else [])]
            state, why = ("posted", "; ".join(told)) if found.state == "ready" else ("already there", found.why)
            if state == "already there" and NO_NUMBER in lines[0].text("reason"):
                why += f", a paper of the same supplier, number, day and lines; if this is another purchase, post {key[0]} again and type another number"
            self.results.append(PostedPaper(key[0], key[1], key[2], state, _goods(lines), why))

    def _post_confirmed(self, rows: Sequence[dict[str, Value]], new: Sequence[str], supplier: str) -> list[str]:
        """Adds new materials and a paper's rows to the workbook in hand; returns the new materials in words."""
        made = []
        for name in new:
            code, near = next_code(self.book), nearest(name, [m.name for m in self.book.materials.values()])
            row: dict[str, Value] = {"code": code or None, "name": name, "kind": "other", "supplier": supplier}
            self._go_on_with(appended(self.snapshot, layout.MATERIALS, [row]))
            made.append(f"new material {f'{code} ' if code else ''}{name}{f' (nearest you had: {near})' if near else ''}")
        self._go_on_with(supplier_edits(self.snapshot, self.book, [supplier]))
        self._go_on_with(purchase_edits(self.snapshot, rows))
        return made

    def _learn(self, supplier: str, paper: str, facts: Sequence[PaperFact]) -> None:
        """Goes on with what a confirmed paper tells of how its supplier's papers are laid out."""
        self.learnt += [(supplier, paper, fact) for fact in facts]
        name = same_name(supplier)
        self.facts = {**self.facts, name: (*self.facts.get(name, ()), *facts)}

    def _go_on_with(self, cells: Sequence[SetCell]) -> None:
        if cells:
            self.confirmed += cells
            self.snapshot = self.snapshot.with_cells(cells)
            self.book = read_book(self.snapshot)

    def tell_waiting(self, all_of_them: bool) -> None:
        """Adds to the results the papers that wait and were not told yet: all, or those she has begun to answer."""
        told = {(r.file, r.paper) for r in self.results}
        for (file, supplier, paper), lines in self.review.items():
            found = verdict(lines, self.book)
            if (file, paper) not in told and (file, supplier, paper) not in self.drawn and (all_of_them or found.state != "unanswered"):
                self.results.append(PostedPaper(file, supplier, paper, "to review", _goods(lines), found.why))

    def take(self, file: PaperFile) -> None:
        """One file: each paper in it is posted, sent to review, already there, or refused."""
        try:
            invoices = read_paper(file.path, tuple(self.book.suppliers), self.facts, file.name)
        except CostbookError as error:
            self.results.append(PostedPaper(file.name, "", "", "refused", 0, error.advice))
            return
        for invoice in invoices:
            state, why = self._take(invoice)
            count = sum(1 for line in invoice.lines if line.kind == "goods" and not line.group)
            self.results.append(PostedPaper(file.name, invoice.supplier, invoice.number, state, count, why, invoice.type_code == PRICE_LIST))

    def _take(self, invoice: Invoice) -> tuple[str, str]:
        """What becomes of a paper, and why. What is there is looked at first: a paper that does not close and was
        confirmed as it is still has its problems, and is there all the same."""
        if invoice.type_code == PRICE_LIST:
            return self._announce(invoice)
        known = standing(self.book, invoice, sign(invoice))
        if known.state == "there":
            named = (invoice.supplier, invoice.number)
            self.review = {k: v for k, v in self.review.items() if k[1:] != named or not self._may_be(k[0], invoice.source)}
            return "already there", known.words
        paper = self._prepared(invoice)
        state, why = self._decide(invoice, known, paper.questions)
        if state == "posted":
            self._post(invoice, paper)
            return state, paper.unknown_words()
        if state == "to review":
            self._to_review(invoice, paper, why)
        return state, why

    def _announce(self, prices: Invoice) -> tuple[str, str]:
        """Takes over what a price list changes of what she buys into Announced prices: all of it, or none with the reason."""
        if prices.problems:
            return "refused", "; ".join(prices.problems)
        known = self._known = self._known or Confirmed(self.book)
        rows, same, not_hers, unsure = [], 0, list[str](), []
        for line in prices.lines:
            match = known.match(line, prices.supplier)
            if not match.code:
                not_hers.append(line.name[:40])
                unsure += [f"{line.name[:40]} may be {self.book.materials[match.likely].name}"] if match.likely else []
                continue
            row = announced_row(self.book, line, match.code, prices)
            if row is None:
                same += 1
            else:
                rows.append(row)
        there = [row for row in rows if self._is_announced(row)]
        new = [row for row in rows if row not in there]
        more = f" and {len(not_hers) - NAMED} more" if len(not_hers) > NAMED else ""
        others = f"{len(not_hers)} not bought by you ({', '.join(not_hers[:NAMED])}{more})" if not_hers else ""
        asked = "".join(f"; {text}: add its code on Materials if so" for text in unsure[:NAMED])
        if not rows and not same:
            return "refused", f"no price of it was taken over: {others}{asked or '; write their codes under Supplier item codes on Materials where you buy them'}"
        told = [counted(len(new), "announced price") if new else "", f"{same} unchanged" if same else "", others]
        why = ", ".join(filter(None, told)) + asked
        if not new:
            return "already there", why
        try:
            self._go_on_with(appended(self.snapshot, layout.ANNOUNCED, new))
        except LayoutError:  # a book without that tab gets it
            self.announced += new
        return "posted", why

    def _is_announced(self, row: dict[str, Value]) -> bool:
        """Whether Announced prices holds this very price already."""
        if row in self.announced:
            return True
        wanted = (same_name(str(row["material"])), row["new_price"], row["starts"])
        return any((same_name(x.material), None if x.pack_price is None else float(x.pack_price), x.starts) == wanted for x in self.book.announced)

    def _prepared(self, invoice: Invoice) -> Prepared:
        """The rows a paper would make, what is known filled in."""
        known = self._known = self._known or Confirmed(self.book)
        rows = purchase_rows(invoice, sign(invoice), lambda line: "", self.book.settings.currency)
        return Prepared(rows).filled(invoice, posted_lines(invoice), known)

    def _decide(self, invoice: Invoice, known: Standing, questions: Sequence[str]) -> tuple[str, str]:

        reasons = [*problems(invoice), *questions]
        if reasons:
            seen = [known.words] if known.state == "other" else self._waiting_alike(invoice)
            return "to review", "; ".join([*reasons, *seen])
        number = (same_name(invoice.supplier), same_name(invoice.number), paper_type(invoice))
        lines = content(invoice, sign(invoice))
        before = self.taken.get(number)
        if before and before[1] == lines:
            return "already there", f"the same as {before[0]}"
        if known.state == "other" or before:
            again = f"paper {invoice.number} of {invoice.supplier} came twice with different content ({before[0] if before else ''})"
            return "to review", known.words or again
        self.taken[number] = (invoice.source, lines)
        return "posted", ""

    def _post(self, invoice: Invoice, paper: Prepared) -> None:
        self.rows += paper.rows
        self.suppliers.append(invoice.supplier)
        self.review = {k: v for k, v in self.review.items() if k[1:] != (invoice.supplier, invoice.number)}
        self._take_off(self._on_the_tab(invoice, waiting(invoice, paper.shown(), paper.hints, "", ())))

    def _to_review(self, invoice: Invoice, paper: Prepared, why: str) -> None:
        drawn = waiting(invoice, paper.shown(), paper.hints, why, ())
        before = self._on_the_tab(invoice, drawn)
        lines = waiting(invoice, paper.shown(), paper.hints, why, before)
        self._take_off(before, lines)
        self.drawn.add(lines[0].key)

    def _on_the_tab(self, invoice: Invoice, drawn: Sequence[ReviewLine]) -> list[ReviewLine]:
        """The lines of a paper that is read again which stand on the review tab."""
        here = [line for key, lines in self.review.items() if self._may_be(key[0], invoice.source) for line in lines]
        return own_lines(here, invoice, drawn)

    def _take_off(self, gone: Sequence[ReviewLine], new: Sequence[ReviewLine] = ()) -> None:
        """Takes lines off the review tab and puts new ones there, in the place of those of the same name."""
        gone_ids = {id(line) for line in gone}
        left = {key: [line for line in lines if id(line) not in gone_ids] for key, lines in self.review.items()}
        if new:
            left[new[0].key] = [*left.get(new[0].key, ()), *new]
        self.review = {key: lines for key, lines in left.items() if lines}

    def _may_be(self, file: str, source: str) -> bool:
        """Whether a file named on the review tab may be the one that is read: it is, or was until she moved it."""
        return file == source or (same_file(file, source) and file not in self.names)

    def _waiting_alike(self, invoice: Invoice) -> list[str]:
        """Of a paper without a number, which one waits already with all it has; of the files of this run, one taken before it."""
        if invoice.number:
            return []
        wanted, taken = content(invoice, sign(invoice)), {result.file for result in self.results}
        for (file, supplier, _), lines in self.review.items():
            named = not supplier or not invoice.supplier or same_name(supplier) == same_name(invoice.supplier)
            other = not self._may_be(file, invoice.source) and (file in taken or file not in self.names)
            if named and other and lines[0].values.get("date") == invoice.issued and row_content(x.values for x in lines) == wanted:
                return [f"it has the supplier, day and lines of {file}, which waits too; {ANOTHER_PURCHASE}"]
        return []

    def edits(self) -> Edits:
        """All that was posted and reviewed, in one step; none where nothing is new."""
        cells = [
            *self.confirmed,
            *supplier_edits(self.snapshot, self.book, self.suppliers),
            *(purchase_edits(self.snapshot, self.rows) if self.rows else ()),
        ]
        lines = [line for paper in self.review.values() for line in paper]
        review = review_tab(lines, self.snapshot)
        stands = review.stands_in(self.began) or (not lines and self.began.grid(review.name) is None)
        layouts = layouts_tab(self.began, self.learnt)
        made = [table_tab(layout.ANNOUNCED, self.announced, spare=20)] if self.announced else []
        return Edits(tuple(cells), (*(() if stands else (review,)), *((layouts,) if layouts else ()), *made))


def _goods(lines: Sequence[ReviewLine]) -> int:
    """How many of a waiting paper's lines are goods."""
    return sum(1 for line in lines if line.text("kind") in ("", "goods"))
