"""The tool's tabs about supplier papers: those that wait for her look, and how a supplier's papers are laid out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from costbook.amounts.quantity import same_name
from costbook.book import layout
from costbook.book.grid import Cell, PutTab, Rule, Snapshot, Value, column_name, sheet_ref
from costbook.book.model import PaperFact
from costbook.book.review import ReviewLine
from costbook.book.table import find_table, find_tables, plain_text
from costbook.book.tool_tabs import PAPER_LAYOUTS, REVIEW
from costbook.printouts.marks import MARK, changed_cells, filled_in
from costbook.printouts.tabs import FIRST, cells_of, put


def review_tab(lines: Sequence[ReviewLine], snapshot: Snapshot) -> PutTab:
    """The lines of papers that were not posted, each with the reason and the cells she fills.

    A row in which a cell of the tool was typed over keeps its old mark, so that it is noticed until its file is posted again.
    """
    body = [cells_of(REVIEW, [line.values.get(c.key) for c in REVIEW.columns]) for line in lines]
    for cells in body:
        for key in ("reason", "hint"):
            cells[REVIEW.place(key)] = cells[REVIEW.place(key)]._replace(style="tool wrapped")
    if not body:
        body = [[Cell("nothing waits here", "good"), *[Cell(None, "good")] * (len(REVIEW.columns) - 1)]]
    hint = (
        "Lines that were not posted, and why. Fill in Material and Pack, say yes under Right? on every line of a paper,"
        " and post once more; or mend the paper or the book and post the file again."
    )
    tab = put(REVIEW, hint, body, marks=True)
    rows = list(tab.rows)
    for number, line in enumerate(lines, FIRST):
        if line.changed:
            rows[number] = (*rows[number][:-1], Cell(line.mark, "mark"))
    # What she reads and fills in is printed; what is only kept for posting stands to the right of it.
    printed = (0, 0, len(rows) - 1, REVIEW.place("hint"))
    look = tab.look._replace(rules=tuple(_review_rules(tab, snapshot)), print_area=printed)
    return tab._replace(rows=tuple(rows), look=look)


def _review_rules(tab: PutTab, snapshot: Snapshot) -> Iterable[Rule]:
    """The dropdowns, that of her materials reading them where her own tab has them."""
    table = find_tables(snapshot).get(layout.MATERIALS.name)
    for rule in tab.look.rules:
        if rule.kind == "range" and table is not None:
            letters, first = column_name(table.columns["name"]), table.heading_row + 2
            source = f"{sheet_ref(table.grid.name)}!${letters}${first}:${letters}${first + 499}"
            rule = rule._replace(source=source, message="One of your materials, or a new name.")
        yield rule


def review_lines(snapshot: Snapshot) -> list[ReviewLine]:
    """The rows now on the review tab, with what she filled in and what of the tool's she typed over."""
    grid = snapshot.grid(REVIEW.name)
    columns = [c._replace(needed=c.key in ("file", "reason")) for c in REVIEW.columns]
    table = find_table(grid, [*columns, MARK._replace(needed=False)]) if grid else None
    if grid is None or table is None:
        return []
    found = []
    for index in range(table.heading_row + 1, len(grid.rows)):
        values = {k: grid.value(index, p) for k, p in table.columns.items() if k != MARK.key}
        if values.get("reason") or values.get("line"):
            place = table.columns.get(MARK.key)
            mark = plain_text(grid.value(index, place)) if place is not None else ""
            whole = len(mark) == 4 * len(REVIEW.columns)
            typed = changed_cells(table, index, REVIEW, mark) if whole else []
            changed = [c.heading for c in typed if not filled_in(REVIEW, mark, c)] if whole else ["the marks"]
            found.append(ReviewLine(values, tuple(changed), mark, tuple(c.key for c in typed)))
    return found


def layouts_tab(snapshot: Snapshot, learnt: Sequence[tuple[str, str, PaperFact]]) -> PutTab | None:
    """What is known of how suppliers' papers are laid out: what stands there, hers too, and what was learnt now.

    Args: learnt are (supplier, number of the paper, fact). Returns None where nothing of it is new.
    """
    grid = snapshot.grid(PAPER_LAYOUTS.name)
    table = find_table(grid, PAPER_LAYOUTS.columns) if grid else None
    keys = [c.key for c in PAPER_LAYOUTS.columns]
    rows: list[list[Value]] = []
    if table is not None:
        places = [table.columns.get(key, -1) for key in keys]
        there = [[table.grid.value(i, place) for place in places] for i in range(table.heading_row + 1, len(table.grid.rows))]
        rows = [row for row in there if any(value not in (None, "") for value in row)]
    known = {tuple(same_name(plain_text(value)) for value in row[:3]): number for number, row in enumerate(rows)}
    new = False
    for supplier, paper, fact in learnt:
        row: list[Value] = [supplier, fact.about, fact.printed or None, fact.means, paper]
        place = known.setdefault((same_name(supplier), fact.about, same_name(fact.printed)), len(rows))
        if place == len(rows):
            rows.append(row)
        elif plain_text(rows[place][3]) != fact.means:
            rows[place] = row
        else:
            continue
        new = True
    if not new:
        return None
    hint = "Kept from papers you confirmed, so that the next one of the supplier needs no look. Mend or add rows; a row taken out is asked again."
    return put(PAPER_LAYOUTS, hint, [cells_of(PAPER_LAYOUTS, row) for row in rows])
