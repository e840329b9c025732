"""Marks on the tool's own rows, by which a cell typed over is noticed at the next run.

Each row of a marked tab ends in a hidden cell with four characters per column, a check sum of what the tool wrote there.
The marks move with a row when she sorts the tab. Formula cells and columns of hers are not marked. What she types beside or
below a table of the tool is told as well before the tab is drawn anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from functools import lru_cache
from zlib import crc32

from costbook.amounts.numbers import quoted
from costbook.book.grid import Cell, ErrorValue, Formula, Snapshot, Value, address
from costbook.book.layout import TOOL, Column, Tab
from costbook.book.table import Table, find_table, plain_text
from costbook.errors import Finding

HEADING = "Tool's marks"
MARK = Column("mark", HEADING, ink=TOOL, needed=True)
OPEN = "...."
BESIDE = "beside or below the tool's table, and not on the new one"
HEADINGS = 2  # the row of headings on every tab of the tool
TOLD = 3  # cells that are named


def _crc(text: str) -> str:
    return f"{crc32(text.encode()) & 0xFFFF:04x}"


_crc_kept = lru_cache(maxsize=4096)(_crc)  # for texts: most stand in many rows, while most numbers stand in one


def _sum(value: Value) -> str:
    if isinstance(value, float):
        return _crc(f"{value:.9g}")
    if isinstance(value, bool) or value is None or isinstance(value, str | ErrorValue):
        return _crc_kept(plain_text(value))
    return _crc(value.isoformat() if isinstance(value, date) else f"{float(value):.9g}")


def marked(tab: Tab, row: Sequence[Cell]) -> tuple[Cell, ...]:
    """A row of the tab with its mark at the end."""
    sums = [
        OPEN if isinstance(cell.value, Formula) or column.ink != TOOL else _sum(cell.value)
        for column, cell in zip(tab.columns, row, strict=True)
    ]
    return (*row, Cell("".join(sums), "mark"))


def changed_cells(table: Table, index: int, tab: Tab, mark: str) -> list[Column]:
    """The tool's columns whose cell in a row no longer holds what the tool wrote there."""
    sums = {c.key: mark[4 * order : 4 * order + 4] for order, c in enumerate(tab.columns)}
    return [
        c
        for c in tab.columns
        if c.key in table.columns and sums[c.key] not in (OPEN, _sum(table.grid.value(index, table.columns[c.key])))
    ]


def filled_in(tab: Tab, mark: str, column: Column) -> bool:
    """Whether the tool had left the cell of that column empty."""
    order = tab.place(column.key)
    return mark[4 * order : 4 * order + 4] == _sum(None)


def typed_over(
    snapshot: Snapshot, tab: Tab, keys: Sequence[str], now: Mapping[tuple[str, ...], Mapping[str, Value]]
) -> list[Finding]:
    """The tool's cells of a tab that no longer hold what the tool wrote.

    Args:
        keys: the columns that name a row.
        now: by those names, what the tool has there now, by column key.
    """
    grid = snapshot.grid(tab.name)
    columns = [c._replace(needed=c.key in keys) for c in tab.columns]
    table = find_table(grid, [*columns, MARK]) if grid else None
    if grid is None or table is None:
        return []
    found = []
    for index in range(table.heading_row + 1, len(grid.rows)):
        mark = grid.value(index, table.columns["mark"])
        if isinstance(mark, str) and len(mark) == 4 * len(tab.columns):
            name = tuple(plain_text(grid.value(index, table.columns[k])) for k in keys)
            found += _row(table, index, tab, mark, now.get(name, {}))
    return found


def _row(table: Table, index: int, tab: Tab, mark: str, now: Mapping[str, Value]) -> list[Finding]:
    found = []
    for column in changed_cells(table, index, tab, mark):
        place = table.columns[column.key]
        tool = now.get(column.key)
        says = f"; the tool says {shown(tool, column.kind)}" if tool is not None else ""
        value = shown(table.grid.value(index, place), column.kind) or "an empty cell"
        sentence = f"{column.heading}: {value} typed where a tool value belongs{says}"
        do = "The tool's value is back in its cell; keep your own figures in columns of your own."
        found.append(Finding("warn", "typed-over", sentence, table.grid.where(index, place), do))
    return found


def beside(snapshot: Snapshot, tabs: Iterable[str]) -> list[Finding]:
    """What she typed on tabs of the tool where it writes nothing: right of its columns, or below its rows after an empty one.

    Args: tabs are the names of those about to be drawn anew; the others keep what stands there.
    Returns: one finding for each tab, with the first cells.
    """
    found = []
    for grid in filter(None, map(snapshot.grid, tabs)):
        if len(grid.rows) <= HEADINGS:
            continue
        wide = _filled_from_left(grid.rows[HEADINGS])
        hers, ended = list[tuple[int, int]](), False
        for r, row in enumerate(grid.rows):
            ended = ended or (r > HEADINGS and not _filled(row))
            first = 0 if ended else 1 if r < HEADINGS else wide
            hers += [(r, c) for c in range(first, len(row)) if row[c] not in (None, "")]
        if hers:
            cells = ", ".join(f"{address(r, c)} {quoted(plain_text(grid.rows[r][c]))}" for r, c in hers[:TOLD])
            more = f" and {len(hers) - TOLD} more" if len(hers) > TOLD else ""
            do = "It is not on the new tab; the earlier state has it (takeback, or costbook-backups). Keep notes on a tab of your own."
            found.append(Finding("warn", "typed-beside", f"typed {BESIDE}: {cells}{more}", grid.where(*hers[0]), do))
    return found


def _filled(row: Sequence[Value]) -> bool:
    return any(value not in (None, "") for value in row)


def _filled_from_left(row: Sequence[Value]) -> int:
    return next((c for c, value in enumerate(row) if value in (None, "")), len(row))


def shown(value: Value, kind: str) -> str:
    """A value as its column shows it."""
    if isinstance(value, float | int) and not isinstance(value, bool):
        if kind == "percent":
            return f"{value:.1%}"
        return f"{value:.2f}" if kind == "money" else plain_text(float(value))
    return plain_text(value)
