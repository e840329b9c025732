"""Where edits may be written, whatever holds the workbook: what was read must still stand there, and the place be free.

Every host asks here, so that all refuse the same for the same reason in the same words.
"""

from collections.abc import Callable, Collection, Iterable, Iterator
from datetime import date
from itertools import zip_longest
from math import isclose
from typing import NamedTuple

from costbook.book.grid import ErrorValue, Grid, PutTab, SetCell, Snapshot, Value
from costbook.errors import Where, WorkbookChanged, WriteRefused
from costbook.hosts.cells import clean

LAST_ROW, LAST_COLUMN = 1_048_576, 16_384
UNPROTECT = "Take off the protection (Review, Unprotect) and run it again."
Area = tuple[int, int, int, int]


class Held(NamedTuple):
    """An area in which no single cell may be written: the sentence that says why, and what to do."""

    area: Area
    why: str
    do: str


def wanted_cells(
    cells: Collection[SetCell],
    snapshot: Snapshot,
    holds: Callable[[Grid, SetCell], bool],
    held: Callable[[Grid], Collection[Held]],
) -> Iterator[SetCell]:
    """The cells that are to change, each checked against the snapshot and against what may be overwritten.

    All expectations are checked before any refusal of a place, so a stale plan is told first.

    Args:
        holds: whether a cell holds already what it is to hold; held: the areas of a tab that are held by something else.
    Raises:
        WorkbookChanged: a cell is not what was read.
        WriteRefused: a cell may not be written.
    """
    pending = []
    filled = {(edit.tab.casefold(), edit.row) for edit in cells if clean(edit.value) is not None}
    for edit in cells:
        grid = named(snapshot, edit.tab)
        if grid is None:
            raise WorkbookChanged(f"there is no tab {edit.tab} in the workbook any more.", do="Run it again.")
        there = grid.value(edit.row, edit.column)
        if not same(there, edit.expected):
            raise WorkbookChanged(
                f"holds {_said(there)} where {_said(edit.expected)} was read; nothing was written.",
                grid.where(edit.row, edit.column),
                "Run it again.",
            )
        # The empty cells of a new row get their look too.
        new_row = edit.row >= len(grid.rows) and (edit.tab.casefold(), edit.row) in filled
        if new_row or (edit.row, edit.column) in grid.formulas or not holds(grid, edit):
            pending.append((grid, edit))
    guards: dict[str, Collection[Held]] = {}
    for grid, edit in pending:
        if grid.name not in guards:
            guards[grid.name] = held(grid)
        _refuse_place(grid, edit, guards[grid.name])
    return iter([edit for _, edit in pending])


def named(snapshot: Snapshot, tab: str) -> Grid | None:
    """The tab of exactly that name, capitals apart: workbooks know no two tabs that differ only in capitals."""
    return next((grid for name, grid in snapshot.grids.items() if name.casefold() == tab.casefold()), None)


def refuse_protected(snapshot: Snapshot, tabs: Iterable[PutTab]) -> None:
    """A tab drawn anew would come out without the protection she has put on it."""
    for tab in tabs:
        grid = named(snapshot, tab.name)
        if grid and grid.protected:
            raise WriteRefused("the tab is protected.", Where(grid.name), UNPROTECT)


def _refuse_place(grid: Grid, edit: SetCell, held: Collection[Held]) -> None:
    row, column, where = edit.row, edit.column, grid.where(edit.row, edit.column)
    if grid.protected:
        raise WriteRefused("the tab is protected.", where, UNPROTECT)
    if not (0 <= row < LAST_ROW and 0 <= column < LAST_COLUMN):
        raise WriteRefused("no tab reaches that far.", where)
    for area in grid.merged:
        if inside(area, row, column) and (row, column) != area[:2]:
            raise WriteRefused("the cell is hidden under merged cells.", where, "Unmerge them.")
    for one in held:
        if inside(one.area, row, column):
            raise WriteRefused(one.why, where, one.do)


def inside(area: Area, row: int, column: int) -> bool:
    """Whether a place lies in an area."""
    return area[0] <= row <= area[2] and area[1] <= column <= area[3]


def _said(value: Value) -> str:
    if value is None:
        return "nothing"
    return value.text if isinstance(value, ErrorValue) else repr(value) if isinstance(value, str) else str(value)


def same(one: Value, other: Value) -> bool:
    """Whether a workbook would hold both as the same: a date is a number to it, True is not 1, '' is nothing.

    Numbers count as the same up to the 14th digit: some programs store only 15 of them.
    """
    one, other = _compared(one), _compared(other)
    if isinstance(one, bool) != isinstance(other, bool):
        return False
    if isinstance(one, (int, float)) and isinstance(other, (int, float)):
        return isclose(one, other, rel_tol=1e-14)
    return one == other


def _compared(value: Value) -> Value:
    if isinstance(value, date):
        return float(value.toordinal() - date(1899, 12, 30).toordinal())
    return clean(value)


def unlike(one: Iterable[tuple[Value, ...]], other: Iterable[tuple[Value, ...]]) -> Iterator[tuple[int, int]]:
    """The places where the rows of two tabs hold different values."""
    for row, (left, right) in enumerate(zip_longest(one, other, fillvalue=())):
        if left != right or bool in map(type, left) or bool in map(type, right):
            for column, (a, b) in enumerate(zip_longest(left, right)):
                if a is not b and not same(a, b):
                    yield row, column
