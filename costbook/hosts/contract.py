"""What every host does alike, as checks that a test or a try-out in her own program runs: each on a fresh workbook of `START`.

A check takes a `Bench` and returns what is wrong, nothing where all is well. No check knows which host it has. What is expected
is written down here, cell by cell.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Protocol

from costbook.book.grid import Cell, Edits, ErrorValue, Formula, Grid, Look, PutTab, SetCell, Snapshot
from costbook.errors import HostError, WorkbookChanged, WriteRefused
from costbook.hosts.places import UNPROTECT, Held, unlike

DAY = date(2024, 2, 29)
HERS = Grid(
    "Hers",
    (
        ("flour", 5.0, "free", True),
        ("day", DAY, None, False),
        ("thrice", 15.0),
        ("text", "flour!"),
        ("none", ""),
        ("error", ErrorValue("#DIV/0!")),
        ("wide", None, "under"),
        ("array", 10.0),
        ("hidden", 1.5),
    ),
    {(2, 1): "B1*3", (3, 1): 'A1&"!"', (4, 1): 'IF(B1>9,"x","")', (5, 1): "1/0", (7, 1): "SUM(B1:B1*2)"},
    merged=((6, 0, 6, 1),),
    hidden_rows=frozenset({8}),
)
LOCKED = Grid("Locked up", (("mine", 1.0),), protected=True)
OTHER = Grid("It's & other", ((None, 2.5),))
START = Snapshot("book.xlsx", {grid.name: grid for grid in (HERS, LOCKED, OTHER)})
HELD = {"Hers": (Held((7, 1, 7, 1), "the cell is part of an array formula.", "Clear the whole range by hand."),)}
OURS = PutTab(
    "Costs",
    (
        (Cell("Product", "tool heading"), Cell("Unit cost", "tool heading")),
        (Cell("=1+1 & co", "tool text"), Cell(Formula('IF(Hers!B1<6,"a, b","")', "a, b"), "tool text")),
        (Cell("Bar", "tool text"), Cell(Formula("'It''s & other'!B1*2", 5.0), "tool money")),
        (Cell(), Cell(DAY, "tool date"), Cell(0.125, "tool percent"), Cell("0012", "tool text")),
    (Cell("A sentence alone in its row has the whole width of the tab, and is wrapped there.", "wrapped"),),
    ),
    Look(widths={0: 20.0, 1: 9.5}),
)
CELLS = (
    SetCell("Hers", 0, 1, 7.25, "her number", 5.0),
    SetCell("Hers", 0, 2, "=A1", "her text", "free"),
    SetCell("Hers", 1, 1, date(2025, 12, 31), "her date", DAY),
    SetCell("Hers", 1, 2, "12", "her text", None),
    SetCell("Hers", 6, 2, None, "", "under"),
    SetCell("Hers", 12, 4, date(2026, 1, 2), "her date", None),
    SetCell("It's & other", 3, 0, True, "her text", None),
    SetCell("It's & other", 3, 1, "two\nlines", "her text", None),
)
REFUSED: list[tuple[Edits, type[HostError], str]] = [
    (Edits((SetCell("Hers", 0, 0, 1.0, "", "sugar"),)), WorkbookChanged, "Hers!A1: holds 'flour' where 'sugar' was read; nothing was written. Run it again."),
    (Edits((SetCell("Gone", 0, 0, 1.0, "", None),)), WorkbookChanged, "there is no tab Gone in the workbook any more. Run it again."),
    (Edits((SetCell("Hers", 6, 1, 1.0, "", None),)), WriteRefused, "Hers!B7: the cell is hidden under merged cells. Unmerge them."),
    (Edits((SetCell("Hers", 7, 1, 1.0, "", 10.0),)), WriteRefused, "Hers!B8: the cell is part of an array formula. Clear the whole range by hand."),
    (Edits((SetCell("Locked up", 0, 1, 2.0, "", 1.0),)), WriteRefused,
     f"Locked up!B1: the tab is protected. {UNPROTECT}"),
    (Edits(tabs=(PutTab("Locked up", ((Cell("x"),),)),)), WriteRefused,
     f"Locked up: the tab is protected. {UNPROTECT}"),
    (Edits((SetCell("Hers", 1_048_576, 0, 1.0, "", None),)), WriteRefused, "Hers!A1048577: no tab reaches that far."),
]  # fmt: skip


class Port(Protocol):
    """The calls of a host that the checks make."""

    def snapshot(self) -> Snapshot:
        """The whole workbook as it stands now."""
    def apply(self, edits: Edits) -> bool:
        """Whether something was written."""


@dataclass
class Bench:
    """A host, and her hand that types into a cell of the same workbook."""

    host: Port
    she_types: Callable[[str, int, int, str], object]


def alike(one: Snapshot, other: Snapshot) -> list[tuple[Any, ...]]:
    """What differs: tabs, values, formulas, what is merged, hidden or protected."""
    found: list[tuple[Any, ...]] = [] if list(one.grids) == list(other.grids) else [(list(one.grids), list(other.grids))]
    for left, right in zip(one.grids.values(), other.grids.values(), strict=False):
        places = [p for p in unlike(left.rows, right.rows) if not Grid("", ((left.value(*p),),)).same_values(Grid("", ((right.value(*p),),)))]
        found += [(left.name, place, left.value(*place), right.value(*place)) for place in places]
        found += [
            (left.name, name, getattr(left, name), getattr(right, name))
            for name in ("formulas", "merged", "hidden_rows", "protected")
            if getattr(left, name) != getattr(right, name)
        ]
    return found


def written(read: Snapshot, edits: Sequence[SetCell]) -> Snapshot:
    """The snapshot as it will be once these cells are written, over formulas too."""
    after = read.with_cells(edits)
    grids = dict(after.grids)
    for edit in edits:
        grid = grids[edit.tab]
        grids[edit.tab] = grid._replace(formulas={p: f for p, f in grid.formulas.items() if p != (edit.row, edit.column)})
    return Snapshot(read.name, grids)


def _unless(holds: bool, words: str) -> list[str]:
    return [] if holds else [words]


def _told(differences: Sequence[object]) -> list[str]:
    return [repr(one) for one in differences]


# ------------------------------------------------------------------ the checks


def the_snapshot_shows_the_workbook(at: Bench) -> list[str]:
    """Values, formulas, what is merged, hidden and protected."""
    return _told(alike(START, at.host.snapshot()))


def cells_show_what_was_set_and_nothing_else(at: Bench) -> list[str]:
    """Numbers, texts that look like formulas and numbers, days, truths, empty cells."""
    before = at.host.snapshot()
    wrong = _unless(at.host.apply(Edits(CELLS)), "nothing was written")
    calculated = {(0, 0), *HERS.formulas}
    after = alike(written(before, CELLS), at.host.snapshot())
    return wrong + _told([d for d in after if not (d[0] == "Hers" and d[1] in calculated)])


def a_formula_is_overwritten_where_that_is_asked(at: Bench) -> list[str]:
    """And is none any more."""
    at.host.snapshot()
    at.host.apply(Edits((SetCell("Hers", 2, 1, 15.0, "her number", 15.0),)))
    after = at.host.snapshot().grids["Hers"]
    return _unless(after.value(2, 1) == 15.0 and (2, 1) not in after.formulas, f"{after.value(2, 1)!r} stands there")


def a_tab_is_put_last_with_its_formulas_calculated(at: Bench) -> list[str]:
    """And the others are as they were."""
    before = at.host.snapshot()
    at.host.apply(Edits(tabs=(OURS,)))
    after = at.host.snapshot()
    wrong = _unless(list(after.grids) == [*before.grids, "Costs"], f"the tabs are {list(after.grids)}")
    if "Costs" in after.grids:
        made = after.grids["Costs"]
        wrong += _unless(OURS.grid().same_values(made), f"the tab shows {made.rows}")
        wrong += _unless(set(made.formulas) == {(1, 1), (2, 1)}, f"its formulas are {dict(made.formulas)}")
    return wrong + _told(alike(before, Snapshot("", {n: g for n, g in after.grids.items() if n != "Costs"})))


def a_shorter_tab_leaves_nothing_of_the_longer_one(at: Bench) -> list[str]:
    """At its place, under the name it has there."""
    at.host.snapshot()
    at.host.apply(Edits(tabs=(OURS, PutTab("Last", ((Cell("x"),),)))))
    at.host.snapshot()
    shorter = PutTab("COSTS", ((Cell("only"), Cell(), Cell(3.0)),))
    wrong = _unless(at.host.apply(Edits(tabs=(shorter,))), "nothing was written")
    after = at.host.snapshot()
    names = [name.casefold() for name in after.grids]
    grid = after.grid("Costs") or Grid("", ())
    wrong += _unless(names == ["hers", "locked up", "it's & other", "costs", "last"], f"the tabs are {names}")
    return wrong + _unless(shorter.grid().same_values(grid) and not grid.formulas and not grid.merged, f"it shows {grid}")


def the_same_edits_twice_write_once(at: Bench) -> list[str]:
    """The second time nothing is written."""
    at.host.snapshot()
    first = at.host.apply(Edits((SetCell("It's & other", 0, 0, "new", "her text", None),), (OURS,)))
    at.host.snapshot()
    again = at.host.apply(Edits((SetCell("It's & other", 0, 0, "new", "her text", "new"),), (OURS,)))
    return _unless(first, "the first time nothing was written") + _unless(not again, "the second time something was written")


def what_she_typed_meanwhile_is_never_written_over(at: Bench) -> list[str]:
    """It is refused, and done when asked again."""
    at.host.snapshot()
    at.she_types("It's & other", 5, 2, "hers")
    try:
        at.host.apply(Edits(tabs=(OURS,)))
        wrong = ["it was written over"]
    except WorkbookChanged as told:
        wrong = _unless("changed" in told.sentence, str(told))
    after = at.host.snapshot()
    wrong += _unless(list(after.grids) == list(START.grids) and after.grids["It's & other"].value(5, 2) == "hers", "hers does not stand there")
    return wrong + _unless(at.host.apply(Edits(tabs=(OURS,))), "nothing was written when asked again")


def refused(at: Bench, edits: Edits, kind: type[HostError], words: str) -> list[str]:
    """The same sentence from every host, and nothing written."""
    before = at.host.snapshot()
    fine = SetCell("It's & other", 0, 0, "new", "her text", None)
    try:
        at.host.apply(Edits((fine, *edits.cells), edits.tabs))
        wrong = ["it was not refused"]
    except HostError as told:
        wrong = _unless(isinstance(told, kind) and str(told) == words, f"{type(told).__name__}: {told}")
    return wrong + _told(alike(before, at.host.snapshot()))


CHECKS: tuple[Callable[[Bench], list[str]], ...] = (
    the_snapshot_shows_the_workbook, cells_show_what_was_set_and_nothing_else, a_formula_is_overwritten_where_that_is_asked,
    a_tab_is_put_last_with_its_formulas_calculated, a_shorter_tab_leaves_nothing_of_the_longer_one, the_same_edits_twice_write_once,
    what_she_typed_meanwhile_is_never_written_over,
)  # fmt: skip


def run_all(fresh: Callable[[Callable[[Bench], list[str]]], list[str]]) -> list[tuple[str, list[str]]]:
    """Every check by its name, with what was wrong.

    Args: fresh runs a check on a fresh workbook of `START`.
    """
    told = [(check.__name__.replace("_", " "), fresh(check)) for check in CHECKS]
    for edits, kind, words in REFUSED:
        told.append((f"refused: {words}", fresh(lambda at, e=edits, k=kind, w=words: refused(at, e, k, w))))  # type: ignore[misc]
    return told
