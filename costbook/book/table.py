"""Typed reading of her tabs: finding a table by its headings, and cells as the kind of value a column wants.

A cell that cannot be read becomes a `Finding` naming it, and the reader returns None; nothing here raises for one bad
cell. Sources of the rules: common practice, no source.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple

from costbook.amounts.money import read_money
from costbook.amounts.quantity import Amount, read_amount, same_name
from costbook.book.grid import ErrorValue, Grid, Snapshot, Value, column_name
from costbook.book.layout import HER_TABS, Column, Tab
from costbook.book.tool_tabs import TOOL_TABS
from costbook.errors import Finding, LayoutError, QuantityError, Where

HEADING_ROWS = 40
EARLIEST_YEAR = 1980  # an earlier date is a number typed into a date cell
LARGEST = Decimal(10) ** 12
LARGEST_AMOUNT = 10**12
NEVER_NUMBERS = (bool, date, ErrorValue)


def nearest(name: str, names: Iterable[str]) -> str:
    """The known name nearest to what she wrote, '' where none is near."""
    from difflib import get_close_matches

    close = get_close_matches(same_name(name), {same_name(n): n for n in names}, n=1, cutoff=0.6)
    return next((n for n in names if close and same_name(n) == close[0]), "")


def near(name: str, names: Iterable[str], most: int) -> list[str]:
    """Up to `most` known names near to what she wrote: those that hold its words, then those spelt like it."""
    from difflib import get_close_matches

    folded = {same_name(n): n for n in names}
    holding = [key for key in folded if all(word in key for word in same_name(name).split())]
    alike = get_close_matches(same_name(name), folded, n=most, cutoff=0.6)
    return [folded[key] for key in dict.fromkeys([*holding, *alike])][:most]


def unknown(what: str, name: str, names: Iterable[str]) -> str:
    """The sentence that something of that name is not there, with the nearest name that is."""
    near = nearest(name, names)
    return f'no {what} "{name}"' + (f"; nearest: {near}" if near else "")


def plain_text(value: Value) -> str:
    """A cell as text, edge blanks off; whole numbers without a decimal point; '' for an empty cell."""
    if isinstance(value, str):
        return value.strip()
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return value.text if isinstance(value, ErrorValue) else str(value)


class Notes:
    """Findings gathered while reading, and the two settings that reading needs."""

    def __init__(self, decimal: str = "point", measures: str = "US customary") -> None:
        self.decimal, self.measures = decimal, measures
        self.found: list[Finding] = []

    def stops(self, since: int) -> tuple[Finding, ...]:
        """The findings of level stop noted since there were that many."""
        return tuple(f for f in self.found[since:] if f.level == "stop") if len(self.found) > since else ()

    def add(
        self, level: str, check: str, sentence: str, where: Where | None, do: str = "", about: Sequence[str] = ()
    ) -> None:
        """Note one finding."""
        self.found.append(Finding(level, check, sentence, where, do, tuple(about)))


@lru_cache(maxsize=16384)
def _printed(number: float) -> Decimal:
    """The decimal that a float prints as."""
    return Decimal(repr(number))


class Row:
    """One row of a found table. `columns` maps a column's key to its place in the grid, and `cells` are the row's there."""

    __slots__ = ("cells", "columns", "grid", "index", "notes")

    def __init__(self, grid: Grid, index: int, columns: dict[str, int], notes: Notes) -> None:
        self.grid, self.index, self.columns, self.notes = grid, index, columns, notes
        self.cells: tuple[Value, ...] = grid.rows[index]

    def value(self, key: str) -> Value:
        """The raw value, None where the cell is empty or the book has no such column."""
        place = self.columns.get(key)
        if place is None:
            return None
        found = self.cells[place] if place < len(self.cells) else None
        if found.__class__ is float:
            return found
        if isinstance(found, str):
            return found if found.strip() else None
        if found is None and self.grid.formulas and (self.index, place) in self.grid.formulas:
            self._no_result(place)
        return found

    def _no_result(self, place: int) -> None:
        where = self.grid.where(self.index, place)
        if all(f.where != where for f in self.notes.found[-12:]):
            sentence = "the cell holds a formula without a stored result"
            self.notes.add(
                "stop", "no-result", sentence, where, "Open the workbook in your office program and save it."
            )

    def where(self, key: str) -> Where:
        """The cell of that column in this row, or the row's first cell."""
        place = self.columns.get(key)
        column = column_name(min(self.columns.values()) if place is None else place)
        return Where(self.grid.name, f"{column}{self.index + 1}")  # `grid.where` written out: every record asks for one

    def places(self) -> "Places":
        """Where every cell of this row stands, by column key."""
        return Places(self.grid, self.index, self.columns)

    def text(self, key: str) -> str:
        """The cell as text, '' where it is empty or shows an error."""
        place = self.columns.get(key)
        if place is None:
            return ""
        found = self.cells[place] if place < len(self.cells) else None
        if found.__class__ is str:  # nearly all there is, so `value` is spared
            return found.strip()
        found = self.value(key)
        if isinstance(found, ErrorValue):
            self.bad(key, f"the cell shows {found.text}", "Mend its formula.")
            return ""
        return plain_text(found)

    def bad(self, key: str, sentence: str, do: str = "", level: str = "stop", check: str = "unreadable") -> None:
        """Note that this row's cell cannot be used."""
        self.notes.add(level, check, sentence, self.where(key), do)

    def number(self, key: str, level: str = "stop") -> Decimal | None:
        """The cell as an exact number; None where it is empty or cannot be read (then a finding of that level says so).

        A number typed as text is read in the book's decimal style, and a finding says how it was read.
        """
        found = self.value(key)
        if found is None:
            return None
        if isinstance(found, str):
            return self._number_from_text(key, found, level)
        if isinstance(found, NEVER_NUMBERS):
            shown = found.text if isinstance(found, ErrorValue) else str(found)
            self.bad(key, f'a number belongs here; the cell holds "{shown}"', "Type the number.", level)
            return None
        number = _printed(found or 0.0) if isinstance(found, float) else Decimal(found)  # -0.0 is 0.0
        if abs(number) >= LARGEST:
            self.bad(key, f"{found:g} is too large to be meant", "Type the number again.", level)
            return None
        return number

    def _number_from_text(self, key: str, found: str, level: str) -> Decimal | None:
        try:
            number = read_money(found, self.notes.decimal)
        except QuantityError:
            self.bad(key, f'a number belongs here; the cell holds the text "{found}"', "Type the number.", level)
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
        """The cell as a share: 3.1 % is 0.031. A plain 1 or more is doubtful (3.1 for 3.1 %?) and is not used."""
        found = self.value(key)
        if isinstance(found, str) and found.strip().endswith("%"):
            try:
                return read_money(found.strip().rstrip("%").removeprefix("+"), self.notes.decimal) / 100  # a rise is often written +20 %
            except QuantityError:
                self.bad(key, f'a share in percent belongs here; the cell holds "{found}"', "Type it as 3 %.")
                return None
        number = self.number(key)
        if number is not None and number >= 1:
            percent = f"{(number * 100).normalize():f} %"
            self.bad(
                key,
                f"{plain_text(found)} in this cell is {percent}, not {plain_text(found)} %",
                f'Type it with the percent sign; if you mean {percent}, as the text "{percent}".',
            )
            return None
        return number

    def day(self, key: str, level: str = "stop") -> date | None:
        """The cell as a date; an ISO date typed as text is read and mentioned."""
        found = self.value(key)
        if isinstance(found, date) and found.year < EARLIEST_YEAR:
            self.bad(key, f"{found} cannot be meant", "Type the date again, such as 2026-10-26.", level)
            return None
        if found is None or isinstance(found, date):
            return found
        try:
            day = date.fromisoformat(str(found).strip())
        except ValueError:
            self.bad(
                key,
                f'a date belongs here; the cell holds "{plain_text(found)}"',
                "Type it as a date, such as 2026-10-26.",
                level,
            )
            return None
        self.bad(
            key, f'the date is typed as text "{found}"; read as {day}', "Type it as a date.", "warn", "date-as-text"
        )
        return day

    def amount(self, key: str, unit_key: str = "", level: str = "stop", unit: str = "") -> Amount | None:
        """The cell (and its unit's cell) as a written amount, None where empty or unreadable.

        `unit` is what a bare number counts where neither cell says one.
        """
        found = self.value(key)
        said = self.text(unit_key) if unit_key else ""
        if found is None:
            return None
        if isinstance(found, NEVER_NUMBERS):
            self.bad(
                key, f'an amount belongs here; the cell holds "{plain_text(found)}"', "Type it as 2 1/4 or 0.8.", level
            )
            return None
        if unit and not said and not any(sign.isalpha() or sign == "%" for sign in str(found)):
            said = unit
        try:
            amount = read_amount(found, said, decimal=self.notes.decimal, measures=self.notes.measures)
        except QuantityError as error:
            self.bad(
                key if unit_key == "" or "unit" not in error.sentence else unit_key, error.sentence, error.do, level
            )
            return None
        if amount.high >= LARGEST_AMOUNT:
            self.bad(key, f"{plain_text(found)} is too large to be meant", "Type the amount again.", level)
            return None
        return amount

    def yes(self, key: str, empty: bool | None = None) -> bool | None:
        """yes or no, `empty` where nothing is typed."""
        found = same_name(self.text(key))
        if found in ("", "yes", "y", "no", "n", "true", "false"):
            return empty if not found else found in ("yes", "y", "true")
        self.bad(key, f'yes or no belongs here; the cell holds "{self.text(key)}"', "Type yes or no.", "ask")
        return empty

    def choice(self, key: str, allowed: Collection[str], empty: str) -> str:
        """One of the allowed words, `empty` where nothing is typed or the word is not known (then a finding says so)."""
        written = self.text(key)
        if not written:
            return empty
        if written in allowed:  # as the dropdown has it
            return written
        found = same_name(written)
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


class Places(Mapping[str, Where]):
    """Where the cells of a row stand, by column key: each place is made when it is asked for, and hardly one is."""

    __slots__ = ("_columns", "_grid", "_index")

    def __init__(self, grid: Grid, index: int, columns: Mapping[str, int]) -> None:
        self._grid, self._index, self._columns = grid, index, columns

    def __getitem__(self, key: str) -> Where:
        return self._grid.where(self._index, self._columns[key])

    def __iter__(self) -> Iterator[str]:
        return iter(self._columns)

    def __len__(self) -> int:
        return len(self._columns)


class Table(NamedTuple):
    """A table found in a tab: its heading row and where each column stands."""

    grid: Grid
    heading_row: int
    columns: dict[str, int]

    def doubled(self, columns: Sequence[Column]) -> list[tuple[int, int]]:
        """Pairs of places whose headings mean the same column; the first of each pair is read."""
        pairs = []
        for place, cell in enumerate(self.grid.rows[self.heading_row]):
            named = [c for c in columns if isinstance(cell, str) and same_name(cell) in map(same_name, c.headings)]
            pairs += [(self.columns[c.key], place) for c in named if self.columns[c.key] != place]
        return [pair for pair in pairs if pair[1] not in self.columns.values()]

    def rows(self, notes: Notes, until: int | None = None) -> Iterator[Row]:
        """Every row below the headings in which one of the table's own cells holds something."""
        places = tuple(self.columns.values())
        last = len(self.grid.rows) if until is None else until
        for index in range(self.heading_row + 1, last):
            cells = self.grid.rows[index]
            for place in places:
                if place < len(cells) and cells[place] not in (None, ""):
                    yield Row(self.grid, index, self.columns, notes)
                    break


def heading_names(columns: Sequence[Column]) -> tuple[dict[str, str], dict[str, str]]:
    """The folded headings declared, and their folded synonyms, each with the key of the column it means."""
    return {same_name(c.heading): c.key for c in columns}, {same_name(h): c.key for c in columns for h in c.synonyms}


def match_headings(cells: Sequence[Value], known: Sequence[Mapping[str, str]]) -> dict[str, int]:
    """Where each declared column stands in a row of headings: key -> place; the declared word before a synonym, the first of two alike.

    Args:
        known: the `heading_names` of the columns.
    """
    found: dict[str, int] = {}
    written = [(place, same_name(cell)) for place, cell in enumerate(cells) if isinstance(cell, str)]
    for keys in known:
        for place, name in written:
            if name in keys and place not in found.values():
                found.setdefault(keys[name], place)
    return found


def find_table(grid: Grid, columns: Sequence[Column]) -> Table | None:
    """The first table in the tab whose row of headings holds every needed one, or None."""
    needed, known = {c.key for c in columns if c.needed}, heading_names(columns)
    for index, cells in enumerate(grid.rows[:HEADING_ROWS]):
        found = match_headings(cells, known)
        if needed <= found.keys():
            return Table(grid, index, found)
    return None


def missing_headings(grid: Grid, tab: Tab) -> list[str]:
    """The needed headings a tab of the right name lacks, judged by its row with most known headings."""
    best: dict[str, int] = {}
    known = heading_names(tab.columns)
    for cells in grid.rows[:HEADING_ROWS]:
        found = match_headings(cells, known)
        best = found if len(found) > len(best) else best
    return [c.heading for c in tab.columns if c.needed and c.key not in best]


def find_tables(snapshot: Snapshot) -> dict[str, Table]:
    """Her declared tables by tab name: each by its tab's name first, what is left by its headings in any other tab.

    Raises:
        LayoutError: needed tabs or headings are missing; all of them are named at once.
    """
    ours = {same_name(t.name) for t in TOOL_TABS}
    free = [g for g in snapshot.grids.values() if same_name(g.name) not in ours]
    tables: dict[str, Table] = {}
    wrong: list[str] = []
    left: list[Tab] = []
    for tab in HER_TABS:
        names = [same_name(n) for n in (tab.name, *tab.synonyms)]
        named = next((g for n in names for g in free if same_name(g.name) == n), None)
        if named is None:
            left.append(tab)
            continue
        free.remove(named)
        table = find_table(named, tab.columns)
        if table:
            tables[tab.name] = table
        elif tab.needed:
            wrong.append(f"tab {named.name}: no heading {', '.join(map(repr, missing_headings(named, tab)))}")
    for tab in left:
        telling = sum(c.needed for c in tab.columns) > 1
        found = next((t for g in free if telling and (t := find_table(g, tab.columns))), None)
        if found:
            free.remove(found.grid)
            tables[tab.name] = found
        elif tab.needed:
            wrong.append(f"no tab {tab.name!r} (headings {', '.join(c.heading for c in tab.columns if c.needed)})")
    if wrong:
        do = "Add what is missing; 'costbook blank' makes a workbook that has everything."
        raise LayoutError("; ".join(wrong) + ".", do=do)
    return tables
