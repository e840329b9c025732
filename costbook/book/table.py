"""Typed reading of her tabs: finding a table by its headings, and cells as the kind of value a column wants.

A cell that cannot be read becomes a `Finding` naming it, and the reader returns None; nothing here raises for one bad
cell. Sources of the rules: common practice, no source.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from costbook.amounts.money import read_money
from costbook.amounts.quantity import Amount, read_amount, same_name
from costbook.book.grid import ErrorValue, Grid, Value
from costbook.book.layout import Column, Tab
from costbook.errors import Finding, LayoutError, QuantityError, Where

HEADING_ROWS = 40


def nearest(name: str, names: Iterable[str]) -> str:
    """The known name nearest to what she wrote, '' where none is near."""
    close = difflib.get_close_matches(same_name(name), {same_name(n): n for n in names}, n=1, cutoff=0.6)
    return next((n for n in names if close and same_name(n) == close[0]), "")


def unknown(what: str, name: str, names: Iterable[str]) -> str:
    """The sentence that something of that name is not there, with the nearest name that is."""
    near = nearest(name, names)
    return f'no {what} "{name}"' + (f"; nearest: {near}" if near else "")


def plain_text(value: Value) -> str:
    """A cell as text, edge blanks off; whole numbers without a decimal point; '' for an empty cell."""
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return value.text if isinstance(value, ErrorValue) else str(value).strip()


@dataclass
class Notes:
    """Findings gathered while reading, and the two settings that reading needs."""

    decimal: str = "point"
    measures: str = "US customary"
    found: list[Finding] = field(default_factory=list)

    def add(
        self, level: str, check: str, sentence: str, where: Where | None, do: str = "", about: Sequence[str] = ()
    ) -> None:
        """Note one finding."""
        self.found.append(Finding(level, check, sentence, where, do, tuple(about)))


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a found table. `columns` maps a column's key to its place in the grid."""

    grid: Grid
    index: int
    columns: dict[str, int]
    notes: Notes

    def value(self, key: str) -> Value:
        """The raw value, None where the cell is empty or the book has no such column."""
        place = self.columns.get(key)
        found = None if place is None else self.grid.value(self.index, place)
        return None if isinstance(found, str) and not found.strip() else found

    def where(self, key: str) -> Where:
        """The cell of that column in this row, or the row's first cell."""
        return self.grid.where(self.index, self.columns.get(key, min(self.columns.values())))

    def text(self, key: str) -> str:
        """The cell as text."""
        found = self.value(key)
        if isinstance(found, ErrorValue):
            self.bad(key, f"the cell shows {found.text}", "Mend its formula.")
            return ""
        return plain_text(found)

    def bad(self, key: str, sentence: str, do: str = "", level: str = "stop", check: str = "unreadable") -> None:
        """Note that this row's cell cannot be used."""
        self.notes.add(level, check, sentence, self.where(key), do)

    def number(self, key: str) -> Decimal | None:
        """The cell as an exact number; None where it is empty or cannot be read (then a finding says so).

        A number typed as text is read in the book's decimal style, and a finding says how it was read.
        """
        found = self.value(key)
        if found is None:
            return None
        if isinstance(found, str):
            return self._number_from_text(key, found)
        if isinstance(found, bool | date | ErrorValue):
            shown = found.text if isinstance(found, ErrorValue) else str(found)
            self.bad(key, f'a number belongs here; the cell holds "{shown}"', "Type the number.")
            return None
        return Decimal(repr(found)) if isinstance(found, float) else Decimal(found)

    def _number_from_text(self, key: str, found: str) -> Decimal | None:
        try:
            number = read_money(found, self.notes.decimal)
        except QuantityError:
            self.bad(key, f'a number belongs here; the cell holds the text "{found}"', "Type the number.")
            return None
        self.bad(
            key,
            f'the number is typed as text "{found}"; read as {number}',
            "Type it as a number.",
            "warn",
            "number-as-text",
        )
        return number

    def fraction(self, key: str) -> Decimal | None:
        """The cell as a share: 3.1 % is 0.031. A plain 2 or more is taken as percent points, and a finding says so."""
        found = self.value(key)
        if isinstance(found, str) and found.strip().endswith("%"):
            try:
                return read_money(found.strip().rstrip("%"), self.notes.decimal) / 100
            except QuantityError:
                self.bad(key, f'a share in percent belongs here; the cell holds "{found}"', "Type it as 3 %.")
                return None
        number = self.number(key)
        if number is not None and number >= 1:
            self.bad(
                key,
                f"{plain_text(found)} read as {plain_text(found)} %",
                "Type it with the percent sign.",
                "ask",
                "percent",
            )
            return number / 100
        return number

    def day(self, key: str) -> date | None:
        """The cell as a date; an ISO date typed as text is read and mentioned."""
        found = self.value(key)
        if found is None or isinstance(found, date):
            return found
        try:
            day = date.fromisoformat(str(found).strip())
        except ValueError:
            self.bad(
                key,
                f'a date belongs here; the cell holds "{plain_text(found)}"',
                "Type it as a date, such as 2026-10-26.",
            )
            return None
        self.bad(
            key, f'the date is typed as text "{found}"; read as {day}', "Type it as a date.", "warn", "date-as-text"
        )
        return day

    def amount(self, key: str, unit_key: str = "") -> Amount | None:
        """The cell (and its unit's cell) as a written amount, None where empty or unreadable."""
        found = self.value(key)
        unit = self.text(unit_key) if unit_key else ""
        if found is None:
            return None
        if isinstance(found, bool | date | ErrorValue):
            self.bad(key, f'an amount belongs here; the cell holds "{plain_text(found)}"', "Type it as 2 1/4 or 0.8.")
            return None
        try:
            return read_amount(found, unit, decimal=self.notes.decimal, measures=self.notes.measures)
        except QuantityError as error:
            self.bad(key if unit_key == "" or "unit" not in error.sentence else unit_key, error.sentence, error.do)
            return None

    def yes(self, key: str, empty: bool | None = None) -> bool | None:
        """yes or no, `empty` where nothing is typed."""
        found = same_name(self.text(key))
        if found in ("", "yes", "y", "no", "n", "true", "false"):
            return empty if not found else found in ("yes", "y", "true")
        self.bad(key, f'yes or no belongs here; the cell holds "{self.text(key)}"', "Type yes or no.", "ask")
        return empty

    def choice(self, key: str, allowed: Sequence[str], empty: str) -> str:
        """One of the allowed words, `empty` where nothing is typed or the word is not known (then a finding says so)."""
        found = same_name(self.text(key))
        if not found:
            return empty
        if found in allowed:
            return found
        self.bad(
            key,
            f'"{self.text(key)}" is not known here; read as {empty or "empty"}',
            f"Use one of: {', '.join(allowed)}.",
            "ask",
            "unknown-word",
        )
        return empty


@dataclass(frozen=True, slots=True)
class Table:
    """A table found in a tab: its heading row and where each column stands."""

    grid: Grid
    heading_row: int
    columns: dict[str, int]

    def rows(self, notes: Notes, until: int | None = None) -> Iterator[Row]:
        """Every row below the headings in which one of the table's own cells holds something."""
        places = tuple(self.columns.values())
        last = len(self.grid.rows) if until is None else until
        for index in range(self.heading_row + 1, last):
            cells = self.grid.rows[index]
            if any(p < len(cells) and cells[p] not in (None, "") for p in places):
                yield Row(self.grid, index, self.columns, notes)


def match_headings(cells: Sequence[Value], columns: Sequence[Column]) -> dict[str, int]:
    """Where each declared column stands in a row of headings: key -> place; the declared word before a synonym, the first of two alike."""
    found: dict[str, int] = {}
    for names in (
        {same_name(c.heading): c.key for c in columns},
        {same_name(h): c.key for c in columns for h in c.synonyms},
    ):
        for place, cell in enumerate(cells):
            if isinstance(cell, str) and same_name(cell) in names and place not in found.values():
                found.setdefault(names[same_name(cell)], place)
    return found


def find_table(grid: Grid, columns: Sequence[Column]) -> Table | None:
    """The first table in the tab whose row of headings holds every needed one, or None."""
    needed = {c.key for c in columns if c.needed}
    for index, cells in enumerate(grid.rows[:HEADING_ROWS]):
        found = match_headings(cells, columns)
        if needed <= found.keys():
            return Table(grid, index, found)
    return None


def missing_headings(grid: Grid, tab: Tab) -> list[str]:
    """The needed headings a tab of the right name lacks, judged by its row with most known headings."""
    best: dict[str, int] = {}
    for cells in grid.rows[:HEADING_ROWS]:
        found = match_headings(cells, tab.columns)
        best = found if len(found) > len(best) else best
    return [c.heading for c in tab.columns if c.needed and c.key not in best]


def find_declared(grids: Sequence[Grid], tab: Tab) -> Table | None:
    """The declared tab's table: by its name or another name first, else by its headings in any tab.

    Raises:
        LayoutError: a tab of that name stands there and lacks needed headings.
    """
    names = [same_name(n) for n in (tab.name, *tab.synonyms)]
    named = [g for n in names for g in grids if same_name(g.name) == n]
    others = [g for g in grids if g not in named] if sum(c.needed for c in tab.columns) > 1 else []
    for grid in (*named, *others):
        table = find_table(grid, tab.columns)
        if table:
            return table
    if named and tab.needed:
        missing = missing_headings(named[0], tab)
        raise LayoutError(f"no heading {', '.join(repr(m) for m in missing)}", Where(named[0].name),
                          "Put it back, or give that column its name.")  # fmt: skip
    return None
