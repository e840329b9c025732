"""A workbook file on disk, as the book sees it: three calls, `snapshot`, `apply`, `close`; and `create` for a new one.

Saving is loading and saving anew with openpyxl, guarded: what that would lose refuses the save (`losses.py`), stored
results are put back (`results.py`), and the finished bytes are read by an independent reader and compared with what was
meant before they replace the file. The port stays as it is when the inside is replaced.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from datetime import date
from itertools import zip_longest
from math import isclose
from pathlib import Path

from costbook.book.grid import Edits, ErrorValue, Formula, Grid, PutTab, SetCell, Snapshot, Value, address
from costbook.book.layout import TOOL_TABS
from costbook.errors import Where, WorkbookChanged, WriteRefused
from costbook.hosts import disk, scan
from costbook.hosts.package import Package, elements
from costbook.hosts.reading import Reading, reading
from costbook.hosts.render import clean

LAST_ROW, LAST_COLUMN = 1_048_576, 16_384
OURS = tuple(tab.name for tab in TOOL_TABS)


class WorkbookFile:
    """Her .xlsx workbook. Not to be shared between threads."""

    def __init__(self, path: Path) -> None:
        self._path = Path(path)
        self._read: Reading | None = None
        self._data = b""
        self.sha256 = ""
        self.size_bytes = 0
        self.modified_ns = 0

    def snapshot(self) -> Snapshot:
        """The whole workbook as it stands on disk now. The file's sha256, size and time are noted for `apply`.

        Raises:
            HostUnavailable: no such file, or not a workbook that can be read; the sentence says why and what to do.
        """
        data = disk.contents(self._path)
        self._keep(data, reading(data, self._path.name))
        assert self._read is not None
        return self._read.snapshot

    def apply(self, edits: Edits) -> bool:
        """Whether the file was saved: False, and the file untouched, where it holds all of it already.

        What is compared are values, formulas with their results, and column widths; so the same edits twice save once,
        and a change of nothing but colours waits for the next save.

        Raises:
            WorkbookChanged: the file, or a cell to be set, is not what the snapshot saw.
            WorkbookBusy: a spreadsheet program has it open.
            WriteRefused: saving would lose something of hers, or a cell or the file may not be written.
        """
        if self._read is None:
            self.snapshot()
        read = self._read
        assert read is not None
        if disk.digest(disk.contents(self._path)) != self.sha256:
            raise WorkbookChanged(
                f"{self._path.name} was changed by another program since it was read.", do="Run it again."
            )
        cells = tuple(_wanted_cells(edits.cells, read))
        if not cells and not any(_differs(tab, read) for tab in edits.tabs):
            return False
        disk.refuse_if_open(self._path)
        edits = Edits(cells, edits.tabs)
        self._refuse_losses(edits, read)
        data = _saved(self._data, read, edits, self._path.name)
        after = reading(data, self._path.name)
        _refuse_damage(read, after, edits, self._path.name)
        disk.replace_file(self._path, data, self.sha256)
        self._keep(data, after)
        return True

    def close(self) -> None:
        """Nothing is held open; what was read is forgotten."""
        self._read, self._data = None, b""

    def _keep(self, data: bytes, read: Reading) -> None:
        self._data, self._read = data, read
        self.sha256, self.size_bytes = disk.digest(data), len(data)
        self.modified_ns = self._path.stat().st_mtime_ns

    def _refuse_losses(self, edits: Edits, read: Reading) -> None:
        from costbook.hosts.losses import losses

        redrawn = tuple(tab.name for tab in edits.tabs)
        lost = losses(Package(self._data, self._path.name), read.sheets, redrawn, OURS)
        if lost:
            raise WriteRefused(
                f"{self._path.name} was not touched: saving would lose {_listed(lost)}.",
                do="Move that to another workbook, or have the result written to a new one.",
            )


def create(path: Path, edits: Edits) -> None:
    """Make a new workbook that holds the tabs of `edits` in their order.

    Raises:
        WriteRefused: a file of that name is there already, the folder may not be written, or there is no tab to write.
    """
    path = Path(path)
    if path.suffix.lower() != ".xlsx":
        raise WriteRefused(f"{path.name} is no name for a workbook.", do="Let it end in .xlsx.")
    if not edits.tabs or edits.cells:
        raise WriteRefused(f"{path.name} cannot be made: a new workbook is made of whole tabs, at least one.")
    from costbook.hosts.render import rebuilt
    from costbook.hosts.results import finished, stored_of_ours

    stored = {tab.name: stored_of_ours(tab) for tab in edits.tabs}
    data = finished(rebuilt(None, edits, path.name), path.name, stored)
    after = reading(data, path.name)
    _refuse_damage(Reading(Snapshot(path.name, {}), {}), after, edits, path.name)
    disk.new_file(path, data)


def _listed(names: Collection[str]) -> str:
    """Names as a sentence lists them, the first eight of many."""
    shown = list(names)[:8]
    more = f" and {len(names) - 8} more things" if len(names) > 8 else ""
    return "; ".join(shown) + more


def _wanted_cells(cells: Collection[SetCell], read: Reading) -> Iterator[SetCell]:
    """The cells that are to change, each checked against the snapshot and against what may be overwritten.

    All expectations are checked before any refusal of a place, so a stale plan is told first.
    """
    pending = []
    for edit in cells:
        grid = _grid(read.snapshot, edit.tab)
        if grid is None:
            raise WorkbookChanged(f"there is no tab {edit.tab} in the workbook any more.", do="Run it again.")
        there = grid.value(edit.row, edit.column)
        if not same(there, edit.expected):
            raise WorkbookChanged(
                f"holds {_said(there)} where {_said(edit.expected)} was read; nothing was written.",
                grid.where(edit.row, edit.column),
                "Run it again.",
            )
        new_row = edit.row >= len(grid.rows)  # its empty cells get their look too
        if new_row or (edit.row, edit.column) in grid.formulas or not same(there, edit.value):
            pending.append((grid, edit))
    for grid, edit in pending:
        _refuse_place(grid, edit, read.sheets[grid.name])
    return iter([edit for _, edit in pending])


def _grid(snapshot: Snapshot, tab: str) -> Grid | None:
    """The tab of exactly that name, capitals apart: workbooks know no two tabs that differ only in capitals."""
    return next((grid for name, grid in snapshot.grids.items() if name.casefold() == tab.casefold()), None)


def _refuse_place(grid: Grid, edit: SetCell, xml: bytes) -> None:
    row, column, where = edit.row, edit.column, grid.where(edit.row, edit.column)
    if grid.protected:
        raise WriteRefused(
            "the tab is protected.", where, "Take off the protection (Review, Unprotect) and run it again."
        )
    if not (0 <= row < LAST_ROW and 0 <= column < LAST_COLUMN):
        raise WriteRefused("no tab reaches that far.", where)
    for area in grid.merged:
        if _inside(area, row, column) and (row, column) != area[:2]:
            raise WriteRefused("the cell is hidden under merged cells.", where, "Unmerge them.")
    for formula in scan.formulas(xml):
        if (row, column) == (formula.row, formula.column) and formula.kind == "shared":
            raise WriteRefused("the cell's formula is shared with its neighbours.", where, "Clear it by hand.")
        if formula.kind in ("array", "dataTable") and formula.area and _inside(formula.area, row, column):
            raise WriteRefused("the cell is part of an array formula.", where, "Clear the whole array by hand.")


def _refuse_table_edges(package: Package, edits: Edits) -> None:
    """Headings and totals of her tables are held by the table too; a save would leave them at odds."""
    for tab in package.tabs:
        targets = [e for e in edits.cells if e.tab.casefold() == tab.name.casefold()]
        if not targets:
            continue
        for relation in package.relations(tab.part).values():
            table = elements(package.part(relation.target))[0].attributes if relation.kind == "table" else {}
            area = scan.area_of(table.get("ref", ""))
            if area is None:
                continue
            edges = set(range(area[0], area[0] + int(table.get("headerRowCount", "1"))))
            edges |= set(range(area[2] + 1 - int(table.get("totalsRowCount", "0")), area[2] + 1))
            for edit in targets:
                if edit.row in edges and area[1] <= edit.column <= area[3]:
                    where = Where(edit.tab, address(edit.row, edit.column))
                    raise WriteRefused("the cell is a heading or total of a table.", where, "Change it by hand.")


def _inside(area: scan.Area, row: int, column: int) -> bool:
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


def _differs(tab: PutTab, read: Reading) -> bool:
    """Whether the tab in the file has other values, formulas or widths than the wanted one."""
    grid = _grid(read.snapshot, tab.name)
    if grid is None or grid.name != tab.name:
        return True
    wanted = {
        (r, c): cell.value.text
        for r, row in enumerate(tab.rows)
        for c, cell in enumerate(row)
        if isinstance(cell.value, Formula)
    }
    widths = scan.widths(read.sheets[grid.name])
    if wanted != dict(grid.formulas) or any(abs(widths.get(c, -1.0) - w) > 1e-6 for c, w in tab.look.widths.items()):
        return True
    return any(True for _ in _unlike(grid, tab.grid()))


def _unlike(one: Grid, other: Grid) -> Iterator[tuple[int, int]]:
    """The places where two tabs hold different values."""
    for row, (left, right) in enumerate(zip_longest(one.rows, other.rows, fillvalue=())):
        if left != right or True in left or False in left:
            for column, (a, b) in enumerate(zip_longest(left, right)):
                if a is not b and not same(a, b):
                    yield row, column


def _saved(data: bytes, read: Reading, edits: Edits, name: str) -> bytes:
    """The finished bytes of the workbook with the edits made."""
    from costbook.hosts.render import rebuilt
    from costbook.hosts.results import finished, stored_of_hers, stored_of_ours

    package = Package(data, name)
    _refuse_table_edges(package, edits)
    from_1904 = any(e.name == "workbookPr" and e.attributes.get("date1904") in ("1", "true") for e in package.workbook)
    stored = {tab: stored_of_hers(xml, read.snapshot.grids[tab]) for tab, xml in read.sheets.items()}
    for edit in edits.cells:
        grid = _grid(read.snapshot, edit.tab)
        if grid:
            stored[grid.name].pop(address(edit.row, edit.column), None)
    for tab in edits.tabs:
        stored[tab.name] = stored_of_ours(tab, from_1904)
    return finished(rebuilt(data, edits, name), name, stored, package)


def _refuse_damage(before: Reading, after: Reading, edits: Edits, name: str) -> None:
    """Nothing, when the new bytes read back as meant; the last check before the file is replaced."""
    drawn = {tab.name.casefold(): tab for tab in edits.tabs}
    meant = {(edit.tab.casefold(), edit.row, edit.column): edit.value for edit in edits.cells}
    order = [drawn[tab.casefold()].name if tab.casefold() in drawn else tab for tab in before.snapshot.grids]
    order += [tab.name for tab in edits.tabs if tab.name not in order]
    if order != list(after.snapshot.grids):
        raise _damage(name, Where(", ".join(order)))
    for tab, grid in after.snapshot.grids.items():
        wanted = drawn[tab.casefold()].grid() if tab.casefold() in drawn else before.snapshot.grids[tab]
        for row, column in _unlike(grid, wanted):
            if not same(grid.value(row, column), meant.get((tab.casefold(), row, column), wanted.value(row, column))):
                raise _damage(name, grid.where(row, column))
        if tab.casefold() not in drawn:
            _refuse_damaged_tab(wanted, grid, {place[1:] for place in meant if place[0] == tab.casefold()}, name)


def _refuse_damaged_tab(before: Grid, after: Grid, edited: Collection[tuple[int, int]], name: str) -> None:
    if (before.merged, before.hidden_rows, before.protected) != (after.merged, after.hidden_rows, after.protected):
        raise _damage(name, Where(before.name))
    for place in before.formulas.keys() | after.formulas.keys():
        mine, its = before.formulas.get(place), after.formulas.get(place)
        if place not in edited and (mine is None or its is None or (mine and mine != its)):
            raise _damage(name, before.where(*place))


def _damage(name: str, where: Where) -> WriteRefused:
    return WriteRefused(
        f"{name} was not touched: saving it would not have left this place as meant.",
        where,
        "Look at that cell (a date may be typed as a number); save the workbook in your office program and try again.",
    )
