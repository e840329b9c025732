"""A workbook that is nothing but a snapshot: the plainest host there can be."""

from __future__ import annotations

from pathlib import Path

from records import replace

from costbook.book.grid import Edits, Formula, Grid, PutTab, SetCell, Snapshot
from costbook.errors import WorkbookChanged
from costbook.hosts.contract import written
from costbook.hosts.places import Held, named, refuse_protected, same, unlike, wanted_cells


class MemoryWorkbook:
    """The port over a snapshot. `held` are the areas by tab that no cell may be written in."""

    def __init__(self, start: Snapshot, held: dict[str, tuple[Held, ...]] | None = None) -> None:
        self.path, self.name = Path(start.name), start.name
        self.now, self._held = start, held or {}
        self._read: Snapshot | None = None

    def snapshot(self) -> Snapshot:
        self._read = self.now
        return self.now

    def apply(self, edits: Edits) -> bool:
        read = self._read or self.snapshot()
        if read is not self.now:
            raise WorkbookChanged(f"{self.name} was changed since it was read.", do="Run it again.")
        cells = tuple(wanted_cells(edits.cells, read, holds, lambda grid: self._held.get(grid.name, ())))
        tabs = [tab for tab in edits.tabs if differs(tab, read)]
        if not cells and not tabs:
            return False
        refuse_protected(read, edits.tabs)
        grids = dict(written(read, cells).grids)
        for tab in edits.tabs:
            there = named(read, tab.name)
            name = there.name if there else tab.name
            formulas = {(r, c): cell.value.text for r, row in enumerate(tab.rows) for c, cell in enumerate(row) if isinstance(cell.value, Formula)}
            grids[name] = replace(tab.grid(), name=name, formulas=formulas)
        self.now = self._read = Snapshot(read.name, grids)
        return True

    def close(self) -> None:
        self._read = None


def holds(grid: Grid, edit: SetCell) -> bool:
    return same(grid.value(edit.row, edit.column), edit.value)


def differs(tab: PutTab, read: Snapshot) -> bool:
    there = named(read, tab.name)
    return there is None or any(True for _ in unlike(there.rows, tab.grid().rows))
