"""A workbook file on disk, as the book sees it: three calls, `snapshot`, `apply`, `close`; and `create` for a new one.

Saving changes the bytes of our cells and tabs and no others (`surgery.py`); what would be lost all the same refuses the
save (`losses.py`), and the finished bytes are read by an independent reader and compared with what was meant before they
replace the file.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from datetime import date
from math import isclose
from pathlib import Path

from costbook.book.grid import Edits, Formula, Grid, PutTab, SetCell, Snapshot, Value, address
from costbook.errors import Where, WorkbookChanged, WriteRefused
from costbook.hosts import disk, scan
from costbook.hosts.package import Package, Relation, elements
from costbook.hosts.places import Held, inside, named, refuse_protected, same, unlike, wanted_cells
from costbook.hosts.reading import Reading, grids, plain_sheet, reading, sheet_parts


class WorkbookFile:
    """Her .xlsx workbook. Not to be shared between threads."""

    def __init__(self, path: Path) -> None:
        self._path = self.path = Path(path)
        self.name = self.path.name
        self._read: Reading | None = None
        self._known = ""  # the digest the file must still have when it is saved
        self.sha256 = ""
        self.size_bytes = 0
        self.modified_ns = 0

    def snapshot(self) -> Snapshot:
        """The whole workbook as it stands on disk now. The file's sha256, size and time are noted for `apply`.

        Raises:
            HostUnavailable: no such file, or not a workbook that can be read; the sentence says why and what to do.
        """
        return self._taken(disk.contents(self._path)).snapshot

    def apply(self, edits: Edits) -> bool:
        """Whether the file was saved: False, and the file untouched, where it holds all of it already.

        What is compared are values, formulas with their results, and column widths; so the same edits twice save once,
        and a change of nothing but colours waits for the next save.

        Raises:
            WorkbookChanged: the file, or a cell to be set, is not what the snapshot saw.
            WorkbookBusy: a spreadsheet program has it open.
            WriteRefused: saving would lose something of hers, or a cell or the file may not be written.
        """
        there = disk.contents(self._path)
        if self._known and disk.digest(there) != self._known:
            raise WorkbookChanged(
                f"{self._path.name} was changed by another program since it was read.", do="Run it again."
            )
        read, package = self._read or self._taken(there), Package(there, self._path.name)
        cells = tuple(_wanted_cells(edits.cells, read, package))
        if not cells and not any(_differs(tab, read) for tab in edits.tabs):
            return False
        refuse_protected(read.snapshot, edits.tabs)
        disk.refuse_if_open(self._path)
        edits = Edits(cells, edits.tabs)
        self._refuse_losses(package, edits)
        _refuse_table_edges(package, edits)
        data, touched = _saved(package, edits)
        _refuse_damage(read, Package(data, self._path.name), touched, edits)
        disk.replace_file(self._path, data, self.sha256)
        # What was read is no longer true; who asks for more reads the file again.
        self._read = None
        self._note(data)
        return True

    def close(self) -> None:
        """Nothing is held open; what was read is forgotten."""
        self._read, self._known = None, ""

    def _taken(self, data: bytes) -> Reading:
        self._read = reading(data, self._path.name)
        self._note(data)
        return self._read

    def _note(self, data: bytes) -> None:
        self.sha256, self.size_bytes = disk.digest(data), len(data)
        self._known = self.sha256
        self.modified_ns = self._path.stat().st_mtime_ns

    def _refuse_losses(self, package: Package, edits: Edits) -> None:
        from costbook.hosts.losses import losses

        lost = losses(package, [tab.name for tab in edits.tabs])
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
    from costbook.hosts.anew import finished
    from costbook.hosts.render import drawn

    data = finished(drawn(edits, path.name), path.name)
    package = Package(data, path.name)
    _refuse_damage(None, package, package.names, edits)
    disk.new_file(path, data)


def _listed(names: Collection[str]) -> str:
    """Names as a sentence lists them, the first eight of many."""
    shown = list(names)[:8]
    more = f" and {len(names) - 8} more" if len(names) > 8 else ""
    return "; ".join(shown) + more


def _wanted_cells(cells: Collection[SetCell], read: Reading, package: Package) -> Iterator[SetCell]:
    """The cells that are to change, none of them where it may not be written."""
    return wanted_cells(
        cells,
        read.snapshot,
        lambda grid, edit: _holds(package, grid, edit),
        lambda grid: tuple(_bound(plain_sheet(package, grid.name))) if grid.name in read.bound else (),
    )


def _bound(xml: bytes) -> Iterator[Held]:
    """The places of formulas that stand for more than their own cell."""
    for formula in scan.bound_formulas(xml):
        at = (formula.row, formula.column, formula.row, formula.column)
        if formula.kind == "shared":
            yield Held(at, "the cell's formula is shared with its neighbours.", "Clear it by hand.")
        if formula.kind in ("array", "dataTable") and formula.area:
            what = "an array formula" if formula.kind == "array" else "a what-if data table"
            yield Held(formula.area, f"the cell is part of {what}.", "Clear the whole range by hand.")


def _refuse_table_edges(package: Package, edits: Edits) -> None:
    """Headings and totals of her tables are held by the table too, what a pivot table shows by its source."""
    for tab in package.tabs:
        targets = [e for e in edits.cells if e.tab.casefold() == tab.name.casefold()]
        for relation in package.relations(tab.part).values() if targets else ():
            for area, why, do in _held(package, relation):
                for edit in targets:
                    if inside(area, edit.row, edit.column):
                        raise WriteRefused(why, Where(edit.tab, address(edit.row, edit.column)), do)


def _held(package: Package, relation: Relation) -> Iterator[tuple[scan.Area, str, str]]:
    """The areas of a tab that are held by something else, and why."""
    if relation.kind == "table" and not relation.outside:
        table = elements(package.part(relation.target))[0].attributes
        area = scan.area_of(table.get("ref", ""))
        top, bottom = int(table.get("headerRowCount", "1")), int(table.get("totalsRowCount", "0"))
        why = "the cell is a heading or total of a table."
        if area and top:
            yield (area[0], area[1], area[0] + top - 1, area[3]), why, "Change it by hand."
        if area and bottom:
            yield (area[2] - bottom + 1, area[1], area[2], area[3]), why, "Change it by hand."
    elif relation.kind == "pivotTable" and not relation.outside:
        for element in package.elements(relation.target):
            area = scan.area_of(element.attributes.get("ref", "")) if element.name == "location" else None
            if area:
                pages = int(element.attributes.get("rowPageCount", "0"))
                area = (max(area[0] - pages - 1, 0) if pages else area[0], *area[1:])
                yield area, "the cell belongs to a pivot table.", "Change what the pivot table is made from."


def _holds(package: Package, grid: Grid, edit: SetCell) -> bool:
    """Whether the cell holds what it is to hold; a number that her look shows as a day or a time is that number."""
    there, value = grid.value(edit.row, edit.column), edit.value
    if same(there, value) or not isinstance(value, (int, float)):
        return same(there, value)
    # A time of day is read to the microsecond only.
    shown = isinstance(there, date) or (isinstance(there, float) and isclose(there, value, rel_tol=0, abs_tol=1e-7))
    return shown and same(scan.number(plain_sheet(package, grid.name), edit.row, edit.column), value)


def _differs(tab: PutTab, read: Reading) -> bool:
    """Whether the tab in the file has other values, formulas or widths than the wanted one."""
    grid = named(read.snapshot, tab.name)
    if grid is None or grid.name != tab.name:
        return True
    wanted = {
        (r, c): cell.value.text
        for r, row in enumerate(tab.rows)
        for c, cell in enumerate(row)
        if isinstance(cell.value, Formula)
    }
    widths = read.widths[grid.name]
    if wanted != dict(grid.formulas) or any(abs(widths.get(c, -1.0) - w) > 1e-6 for c, w in tab.look.widths.items()):
        return True
    return any(True for _ in unlike(grid.rows, _values(tab)))


def _values(tab: PutTab) -> Iterator[tuple[Value, ...]]:
    """The rows of a tab of ours as a snapshot would show them."""
    for cells in tab.rows:
        shown = [v.result if isinstance(v := cell.value, Formula) else v for cell in cells]
        yield tuple([v if v or v.__class__ is not str else None for v in shown])


def _saved(package: Package, edits: Edits) -> tuple[bytes, frozenset[str]]:
    """The finished bytes of the workbook with the edits made, and the parts that changed."""
    from costbook.hosts.surgery import operated

    return operated(package, edits)


def _refuse_damage(before: Reading | None, after: Package, touched: Collection[str], edits: Edits) -> None:
    """Nothing, when the new bytes read back as meant; the last check before the file is replaced.

    What another reader finds in the parts that changed is compared, one tab after the other. The other parts are known to
    be the same bytes.

    Args:
        before: what was read of the workbook before; None for a new one.
    """
    there: Mapping[str, Grid] = before.snapshot.grids if before else {}
    drawn = {tab.name.casefold(): tab for tab in edits.tabs}
    meant = {(edit.tab.casefold(), edit.row, edit.column): edit for edit in edits.cells}
    order = [drawn[tab.casefold()].name if tab.casefold() in drawn else tab for tab in there]
    order += [tab.name for tab in edits.tabs if tab.name not in order]
    parts = sheet_parts(after)
    if order != list(parts):
        raise _damage(after.name, Where(", ".join(order)))
    ours = [tab for tab in parts if tab.casefold() in drawn]
    for grid in grids(after, [tab for tab, part in parts.items() if part in touched], ours):
        tab = grid.name.casefold()
        wanted = _values(drawn[tab]) if tab in drawn else there[grid.name].rows
        for row, column in unlike(grid.rows, wanted):
            edit = meant.get((tab, row, column))
            if edit is None or not _holds(after, grid, edit):
                raise _damage(after.name, grid.where(row, column))
        if tab not in drawn:
            _refuse_damaged_tab(there[grid.name], grid, {place[1:] for place in meant if place[0] == tab}, after.name)


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
