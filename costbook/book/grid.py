"""Cells, edits and places: what the book and the office programs have in common.

A host turns a workbook into a `Snapshot` and applies `Edits` to it. Neither side knows more of the other than this file
and the declared looks in `layout.py`. Rows and columns count from 0 here; addresses as she sees them come from `address`.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from functools import lru_cache
from itertools import zip_longest
from types import MappingProxyType
from typing import Any, NamedTuple

from costbook.errors import Where

NOTHING: Mapping[Any, Any] = MappingProxyType({})  # what a record has where nothing was said


class ErrorValue(NamedTuple):
    """A cell that shows an error, such as #DIV/0!."""

    text: str


Value = None | bool | int | float | str | date | ErrorValue


class Formula(NamedTuple):
    """A formula of ours, without the leading '=', and the result the tool worked out itself."""

    text: str
    result: Value = None


class Cell(NamedTuple):
    """One cell of a tab as the tool wants it: value, style name (layout.STYLES), and a jump target inside the book."""

    value: Value | Formula = None
    style: str = "plain"
    link: Where | None = None


def shown_values(cells: Iterable[Cell]) -> tuple[Value, ...]:
    """What a row of cells shows: of a formula its result."""
    return tuple([c.value.result if isinstance(c.value, Formula) else c.value for c in cells])


@lru_cache(maxsize=1024)
def column_name(index: int) -> str:
    """The letters of a column counted from 0.

    >>> column_name(0), column_name(25), column_name(26), column_name(701)
    ('A', 'Z', 'AA', 'ZZ')
    """
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def address(row: int, column: int) -> str:
    """The address of a cell, both counted from 0.

    >>> address(4, 2)
    'C5'
    """
    return f"{column_name(column)}{row + 1}"


def sheet_ref(tab: str) -> str:
    """A tab's name as formulas and links write it, quoted.

    >>> sheet_ref("Cost trace")
    "'Cost trace'"
    """
    return "'" + tab.replace("'", "''") + "'"


class Grid(NamedTuple):
    """One tab as it was read. `rows` need not be of one length; a cell beyond the end is empty.

    `formulas` maps (row, column) to her formula text where a host can tell; `values` of such cells are the stored results,
    None where the file has none. `merged` holds (first row, first column, last row, last column) ranges.
    """

    name: str
    rows: tuple[tuple[Value, ...], ...]
    formulas: Mapping[tuple[int, int], str] = NOTHING
    merged: tuple[tuple[int, int, int, int], ...] = ()
    hidden_rows: frozenset[int] = frozenset()
    protected: bool = False

    def value(self, row: int, column: int) -> Value:
        """The value at a place, None where the tab has no such cell."""
        if 0 <= row < len(self.rows) and 0 <= column < len(self.rows[row]):
            return self.rows[row][column]
        return None

    def where(self, row: int, column: int) -> Where:
        """The place of a cell, for findings."""
        return Where(self.name, address(row, column))

    def same_values(self, other: "Grid") -> bool:
        """Whether both show the same; an empty text is an empty cell, and numbers agree to 11 digits."""
        return self.shows(other.rows)

    def shows(self, rows: Iterable[Sequence[Value]]) -> bool:
        """Whether the tab shows these rows and no more, as in `same_values`; they are taken one by one up to the first that differs."""
        for one, two in zip_longest(self.rows, rows, fillvalue=()):
            if one != two and any(a != b and not _alike(a, b) for a, b in zip_longest(one, two)):
                return False
        return True

    def last_filled(self) -> int:
        """The last row in which anything stands, -1 where there is none."""
        backwards = range(len(self.rows) - 1, -1, -1)
        return next((i for i in backwards if any(c not in (None, "") for c in self.rows[i])), -1)


def _alike(one: Value, two: Value) -> bool:
    if one in (None, "") and two in (None, ""):
        return True
    numbers = (
        isinstance(one, int | float)
        and isinstance(two, int | float)
        and not isinstance(one, bool)
        and not isinstance(two, bool)
    )
    return numbers and math.isclose(float(one), float(two), rel_tol=1e-11, abs_tol=1e-12)  # type: ignore[arg-type]


class Snapshot(NamedTuple):
    """A whole workbook as it was read: its name and its tabs in order."""

    name: str
    grids: Mapping[str, Grid]

    def grid(self, tab: str) -> Grid | None:
        """The tab of that name, capitals and edge blanks ignored, or None."""
        wanted = tab.strip().casefold()
        for name, grid in self.grids.items():
            if name.strip().casefold() == wanted:
                return grid
        return None

    def with_cells(self, edits: Sequence["SetCell"]) -> "Snapshot":
        """The workbook as it will be once these cells are written."""
        grids = dict(self.grids)
        for tab in {edit.tab for edit in edits}:
            rows = [list(cells) for cells in grids[tab].rows]
            for edit in (e for e in edits if e.tab == tab):
                rows += [[] for _ in range(edit.row + 1 - len(rows))]
                rows[edit.row] += [None] * (edit.column + 1 - len(rows[edit.row]))
                rows[edit.row][edit.column] = edit.value
            grids[tab] = grids[tab]._replace(rows=tuple(tuple(cells) for cells in rows))
        return Snapshot(self.name, grids)


class Rule(NamedTuple):
    """What may be typed in a range (first row, first column, last row, last column).

    kind: 'list' (source = the allowed texts), 'range' (source = a reference to a column), 'number' (>= 0) or 'date'.
    A rule only advises: she can type something else after a question.
    """

    area: tuple[int, int, int, int]
    kind: str
    source: tuple[str, ...] | str = ()
    message: str = ""


class Series(NamedTuple):
    """One row of numbers in a chart: its name's cell and its values' range on the same tab."""

    name: tuple[int, int]
    values: tuple[int, int, int, int]
    colour: str = ""


class Chart(NamedTuple):
    """A native chart. kind: 'stacked bar' or 'bar' (horizontal), 'column'. `at` is its top left cell; sizes in cm."""

    kind: str
    title: str
    labels: tuple[int, int, int, int]
    series: tuple[Series, ...]
    at: tuple[int, int]
    width_cm: float = 24.0
    height_cm: float = 11.0
    value_title: str = ""
    number_format: str = "0.00"


class Highlight(NamedTuple):
    """Cells of a range shown in a style when a test holds: `formula` is relative to the range's first cell."""

    area: tuple[int, int, int, int]
    formula: str
    style: str


class Look(NamedTuple):
    """How a tab is shown: widths (characters) by column, frozen rows and columns, filter, rules, notes, charts, print.

    `hidden_columns` are the tool's own marks. `landscape` and `pages_wide` are for printing; `title_rows` (first, last) are
    repeated on each printed page. `colour` is the tab's colour: hers and ours differ.
    """

    widths: Mapping[int, float] = NOTHING
    freeze: tuple[int, int] = (0, 0)
    filter: tuple[int, int, int, int] | None = None
    rules: tuple[Rule, ...] = ()
    notes: Mapping[tuple[int, int], str] = NOTHING
    charts: tuple[Chart, ...] = ()
    highlights: tuple[Highlight, ...] = ()
    heights: Mapping[int, float] = NOTHING
    hidden_columns: tuple[int, ...] = ()
    landscape: bool = True
    pages_wide: int = 1
    title_rows: tuple[int, int] | None = None
    colour: str = ""
    print_area: tuple[int, int, int, int] | None = None


class SetCell(NamedTuple):
    """Write one cell of a tab that stays hers. `expected` is what the snapshot saw there; anything else refuses the write."""

    tab: str
    row: int
    column: int
    value: Value
    style: str
    expected: Value = None


class PutTab(NamedTuple):
    """Put a whole tab, replacing one of the same name at its place; a new one goes last."""

    name: str
    rows: tuple[tuple[Cell, ...], ...]
    look: Look = Look()

    def grid(self) -> Grid:
        """The tab's values as a snapshot would show them."""
        return Grid(self.name, tuple(shown_values(row) for row in self.rows))

    def stands_in(self, snapshot: Snapshot) -> bool:
        """Whether the workbook shows this tab already."""
        grid = snapshot.grid(self.name)
        return grid is not None and self.grid().same_values(grid)


class Edits(NamedTuple):
    """All that is to change in a workbook, in one step."""

    cells: tuple[SetCell, ...] = ()
    tabs: tuple[PutTab, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.cells or self.tabs)
