"""A workbook that is open in Excel, behind the same three calls as a file, reached through xlwings (its BSD part only).

Excel is never started or quit. Tabs are read and written in blocks. Excel forgets its own undo when another program writes,
so what stood there before is kept in a journal, and `take_back` puts it back. xlwings' object model is used wherever it has
a word for it; where it has none, `_native` asks Excel itself, in the spelling of its system. All that talks to Excel is one file,
so that nothing else needs to know of xlwings; `typed.py` has what can be told without it.
"""

from __future__ import annotations

import re
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import date
from functools import partial
from importlib import metadata
from importlib.util import find_spec
from pathlib import Path
from typing import Any, TypeVar

from costbook.book.grid import (
    Cell,
    Edits,
    Formula,
    Grid,
    PutTab,
    SetCell,
    Snapshot,
    Value,
    address,
    column_name,
    sheet_ref,
)
from costbook.book.layout import COLOURS, DAY, STYLES, Style
from costbook.errors import CostbookError, HostUnavailable, Where, WorkbookBusy, WorkbookChanged, WriteRefused
from costbook.hosts import journal
from costbook.hosts.calc import TRUTH, at_its_name, styled_areas, tab_differs
from costbook.hosts.places import Area, Held, named, refuse_protected, wanted_cells
from costbook.hosts.render import fitted
from costbook.hosts.typed import (
    ERRORS,
    alike,
    area_name,
    as_rows,
    blocks,
    halves,
    holds,
    plain,
    plain_value,
    shown_value,
    stored,
    typed,
    typed_again,
)

T = TypeVar("T")
TRIES, PAUSE_SECONDS = 20, 0.5
MOST_CELLS, PART_CELLS, MOST_PARTS = 5_000_000, 500_000, 40
LONGEST_ADDRESS = 255
INSTALL = "Run: python -m pip install xlwings"
OPEN_IT = "Open the workbook in Excel and run it again."
BUSY = "Excel is busy: finish the cell you are typing in, and close any window in which it asks something."
# Numbers by which Excel says that it cannot listen now, or is not there any more: of COM, then of Apple events.
WAIT = {-2147418111, -2147417846, -2146777998, -1712}
GONE = {-2147023174, -2147417848, -2147023170, -2147221021, -600, -609}
NOT_ALLOWED = -1743
ARRAY = ("the cell is part of an array formula.", "Clear the whole range by hand.")
TABLE = ("the cell is a heading or total of a table.", "Change it by hand.")
CHANGED = "you changed the workbook while the tool worked; nothing was written."
_IS_DAY = re.compile(r"[dy]", re.IGNORECASE)


# ------------------------------------------------------------------ the way to Excel


def open_books() -> list[Any]:
    """The workbooks open in Excel, as xlwings gives them, the one in front first.

    Raises:
        HostUnavailable: xlwings or Excel is not there, or no workbook is open; the sentence says what to do.
    """
    with _plainly():
        books = _patiently(_all_books)
    if not books:
        raise HostUnavailable(
            "no workbook is open in Excel, or it is open for viewing only.",
            do="Open it, press Enable Editing if Excel shows that button, and run it again.",
        )
    return books


def _all_books() -> list[Any]:
    apps = list(_engine().apps)
    if not apps:
        raise HostUnavailable("Excel is not open.", do=OPEN_IT)
    found = []
    for app in apps:
        books = list(app.books)
        front = app.books.active.name if books else ""
        found += sorted(books, key=lambda book: book.name != front)
    return found


def _engine() -> Any:
    """xlwings' way to Excel on this system.

    Raises:
        HostUnavailable: xlwings is not installed, or there is no Excel for this system.
    """
    try:
        import xlwings
    except ImportError as error:
        raise HostUnavailable("xlwings, through which Excel is reached, is not installed.", do=INSTALL) from error
    engine = next((engine for engine in xlwings.engines if engine.name == "excel"), None)
    if engine is None:
        if sys.platform in ("win32", "darwin"):
            raise HostUnavailable("xlwings is not wholly installed.", do=INSTALL)
        raise HostUnavailable("there is no Excel for this system.")
    windows = sys.modules.get("xlwings._xlwindows")
    if windows is not None:
        windows.N_COM_ATTEMPTS = 1  # type: ignore[attr-defined]  # xlwings itself would ask a busy Excel for ever
    return engine


@contextmanager
def scratch(wanted: Snapshot | None = None) -> Iterator[tuple[ExcelWorkbook, Callable[[str, int, int, str], object]]]:
    """A new workbook in the Excel that is open, with what is typed in `wanted`; closed again without being saved.

    Yields: the workbook behind its port, and a hand that types a text into one of its cells.
    Raises:
        HostUnavailable: Excel is not open.
    """
    with _plainly():
        app = open_books()[0].app
        book = _patiently(app.books.add)
        noted = set(journal.entries(Path(book.name)))
        try:
            if wanted:
                _fill(book, wanted)
            yield ExcelWorkbook(book), lambda tab, row, column, text: _set(book.sheets[tab], (row, column, row, column), "raw_value", [["'" + text]])
        finally:
            for new in set(journal.entries(Path(book.name))) - noted:
                new.unlink(missing_ok=True)
            _patiently(book.close)


def _fill(book: Any, wanted: Snapshot) -> None:
    """Makes the tabs of a snapshot by hand, for a try-out."""
    first = [sheet.name for sheet in book.sheets]
    for grid in wanted.grids.values():
        sheet = _added(book, grid.name)
        wide = max(map(len, grid.rows))
        arrays = {place for place, text in grid.formulas.items() if text.startswith("SUM(B1:B1*")}
        values = [[stored(Formula(grid.formulas[r, c]) if (r, c) in grid.formulas and (r, c) not in arrays else grid.value(r, c), _epoch(book), True)
                   for c in range(wide)] for r in range(len(grid.rows))]  # fmt: skip
        _set(sheet, (0, 0, len(values) - 1, wide - 1), "raw_value", values)
        for r, c in arrays:
            _set(sheet, (r, c, r, c), "formula_array", "=" + grid.formulas[r, c])
        for r, row in enumerate(grid.rows):
            for c, value in enumerate(row):
                if isinstance(value, date):
                    _set(sheet, (r, c, r, c), "number_format", DAY)
        for area in grid.merged:
            sheet.range(area_name(area)).merge()
        for row_number in grid.hidden_rows:
            _put(sheet.range(address(row_number, 0)).rows, "hidden", True)
    for name in first:
        book.sheets[name].delete()
    for grid in wanted.grids.values():
        if grid.protected:
            api = book.sheets[grid.name].api
            (api.protect_worksheet if sys.platform == "darwin" else api.Protect)()


def _epoch(book: Any) -> date:
    return date(1904, 1, 1) if _native(book, "Date1904") is True else date(1899, 12, 30)


def show_sentence(sentence: str) -> None:
    """Shows a sentence in the line under Excel's sheet, until the next one. Nothing where Excel is not there any more."""
    with suppress(CostbookError), _plainly():
        app = open_books()[0].app
        _put(app, "status_bar", sentence)


def library_version() -> str:
    """The version of xlwings; nothing where it is not installed. It is not loaded for that."""
    try:
        return metadata.version("xlwings")
    except metadata.PackageNotFoundError:
        return ""


def version_of(book: Any) -> str:
    """The version of the Excel that a workbook is open in, as Excel tells it."""
    with _plainly():
        return str(_patiently(lambda: book.app.version))


def template() -> Path:
    """The add-in that xlwings brings as a template.

    Raises:
        HostUnavailable: xlwings is not installed.
    """
    there = find_spec("xlwings")
    if there is None or not there.origin:
        raise HostUnavailable("xlwings, through which Excel is reached, is not installed.", do=INSTALL)
    return Path(there.origin).with_name("quickstart_addin_ribbon.xlam")


def licence() -> str:
    """The words of xlwings' licence for all but its paid part, none of which is used here."""
    files = metadata.files("xlwings") or []
    return "".join(file.read_text(encoding="utf-8") for file in files if file.name == "LICENSE.txt")


def open_workbook(wanted: Path | str | None = None) -> ExcelWorkbook:
    """The open workbook of this path or name; without one the workbook in front.

    Raises:
        HostUnavailable: it is not open in Excel, or two of its name are.
    """
    books = open_books()
    if wanted is None:
        return ExcelWorkbook(books[0])
    found = [book for book in books if _is_it(book, Path(wanted))]
    if len(found) > 1:
        raise HostUnavailable(f"{len(found)} workbooks named {Path(wanted).name} are open in Excel.", do="Close all but the one you mean.")
    if not found:
        names = ", ".join(book.name for book in books)
        raise HostUnavailable(f"{Path(wanted).name} is not open in Excel; open there: {names}.", do=OPEN_IT)
    return ExcelWorkbook(found[0])


def _is_it(book: Any, wanted: Path) -> bool:
    """Whether an open workbook is the wanted one: by name alone where only a name is known of either."""
    if book.name.casefold() != wanted.name.casefold() and book.name.casefold() != wanted.stem.casefold():
        return False
    place = _place_of(book)
    if str(wanted) == wanted.name or "://" in place or not Path(place).is_absolute():
        return True
    try:
        return Path(place).samefile(wanted)
    except OSError:
        return Path(place) == wanted.absolute()


def _place_of(book: Any) -> str:
    """The path or the web address of an open workbook, or only its name. xlwings would look for a web address on the disk."""
    return str(_native(book, "FullName"))


def _native(thing: Any, *names: str) -> Any:
    """What Excel itself says under this name, in the spelling of Windows or, read as Apple events do, of macOS."""
    found = thing.api
    if sys.platform == "darwin":
        for name in names:
            found = getattr(found, re.sub(r"(?<=[a-z])(?=[A-Z]|1904)", "_", name).lower())
        return found.get()
    for name in names:
        found = getattr(found, name)
    return found


# ------------------------------------------------------------------ what Excel refuses


def _refusals() -> tuple[type[BaseException], ...]:
    """What Excel's refusals arrive as, of the libraries that xlwings loaded on this system."""
    kinds = (("pywintypes", "com_error"), ("appscript.reference", "CommandError"), ("xlwings", "XlwingsError"),
             ("xlwings._xlwindows", "ExcelBusyError"))  # fmt: skip
    return tuple(getattr(sys.modules[place], name) for place, name in kinds if place in sys.modules and hasattr(sys.modules[place], name))


def _numbers(error: BaseException) -> set[Any]:
    """The numbers an error of Excel carries, those told inside it too."""
    more = next((a for a in error.args if isinstance(a, tuple)), ())
    return {getattr(error, "hresult", None), getattr(error, "errornumber", None), *(x for x in more if isinstance(x, int))}


def _is_busy(error: BaseException) -> bool:
    return type(error).__name__ == "ExcelBusyError" or bool(_numbers(error) & WAIT)


def _patiently(work: Callable[[], T]) -> T:
    """What `work` gives, tried again for some seconds while Excel is busy."""
    for tried in range(TRIES):
        try:
            return work()
        except _refusals() as error:
            if not _is_busy(error) or tried == TRIES - 1:
                raise
            time.sleep(PAUSE_SECONDS)
    raise AssertionError


@contextmanager
def _plainly() -> Iterator[None]:
    """Turns what Excel refused into one sentence."""
    try:
        yield
    except _refusals() as error:
        raise _sentence(error) from error


def _sentence(error: BaseException) -> CostbookError:
    numbers = _numbers(error)
    if _is_busy(error):
        return WorkbookBusy(BUSY, do="Then run it again.")
    if numbers & GONE:
        return HostUnavailable("Excel or the workbook was closed meanwhile.", do=OPEN_IT)
    if NOT_ALLOWED in numbers:
        return HostUnavailable("macOS does not let this program talk to Excel.",
                               do="Allow it under System Settings, Privacy & Security, Automation.")  # fmt: skip
    words = " ".join(str(x) for a in error.args for x in (a if isinstance(a, tuple) else (a,)) if isinstance(x, str))[:200]
    return WriteRefused(f"Excel refused it ({words or type(error).__name__}).")


# ------------------------------------------------------------------ the port


class ExcelWorkbook:
    """Her workbook as it is open in Excel. Not to be shared between threads.

    Args: book is xlwings' object for it.
    """

    def __init__(self, book: Any) -> None:
        self._book = book
        with _plainly():
            self.name: str = _patiently(lambda: book.name)
            place = _patiently(lambda: _place_of(book))
        self.path = Path(self.name if "://" in place else place)
        self._read: Snapshot | None = None
        self._held: dict[str, list[Held]] = {}
        self._epoch = date(1899, 12, 30)

    def snapshot(self) -> Snapshot:
        """The whole workbook as it is open now, saved or not.

        Raises:
            HostUnavailable: Excel or the workbook was closed, or a tab is too large to be read.
            WorkbookBusy: Excel does not answer, most likely since a cell is being typed in.
        """
        with _plainly():
            self._read = _patiently(self._taken)
        return self._read

    def _taken(self) -> Snapshot:
        self._held = {}
        self._epoch = _epoch(self._book)
        return Snapshot(self.name, {grid.name: grid for grid in map(self._grid, self._book.sheets)})

    def apply(self, edits: Edits) -> bool:
        """Whether something was written: False where the workbook shows all of it already.

        Raises:
            WorkbookChanged: she edited the workbook since the snapshot; nothing was written.
            WriteRefused: a cell or a tab may not be written; nothing was written.
            HostUnavailable: Excel or the workbook was closed.
            WorkbookBusy: Excel does not answer.
        """
        read = self._read or self.snapshot()
        cells = tuple(wanted_cells(edits.cells, read, holds, lambda grid: self._held.get(grid.name, ())))
        tabs = tuple(at_its_name(tab, read) for tab in edits.tabs if tab_differs(tab, read))
        if not cells and not tabs:
            return False
        refuse_protected(read, tabs)
        with _plainly():
            if _patiently(lambda: _native(self._book, "ReadOnly")) is True:
                raise WriteRefused("the workbook is open for reading only.", do="Save it under another name first.")
            new = [tab.name for tab in tabs if named(read, tab.name) is None]
            if new and _patiently(lambda: _native(self._book, "ProtectStructure")) is True:
                raise WriteRefused("the workbook's structure is protected; no tab can be added.", do="Take it off: Review, Protect Workbook.")
            if typed(_patiently(self._taken)) != typed(read):
                raise WorkbookChanged(CHANGED, do="Run it again.")
            noted = journal.keep(self.path, new, list(self._changes(read, cells, tabs)))
        self._read = None
        try:
            self._write(cells, tabs)
        except CostbookError as error:
            error.do = f"Part of it may be written; {noted.name} keeps what stood there. Take it back (costbook excel takeback), then run it again."
            raise
        return True

    def close(self) -> None:
        """The workbook stays open; what was read of it is forgotten."""
        self._read = None

    def go_to(self, tab: str) -> bool:
        """Whether the workbook has the tab; it is shown then."""
        with _plainly():
            found = next((s for s in _patiently(lambda: list(self._book.sheets)) if s.name.casefold() == tab.casefold()), None)
            if found is not None:
                _patiently(found.activate)
        return found is not None

    # ---------------------------------------------------------------- what is there

    def _grid(self, sheet: Any) -> Grid:
        used = sheet.used_range
        tall, wide = used.row + used.shape[0] - 1, used.column + used.shape[1] - 1
        tall = _without_empty_end(sheet, tall, wide)
        if tall * wide > MOST_CELLS:
            raise HostUnavailable(f"the tab reaches over {tall * wide:,} cells; over {MOST_CELLS:,} are not read.", Where(sheet.name),
                                  "Delete what stands far away from the rest.")  # fmt: skip
        block = sheet.range(area_name((0, 0, tall - 1, wide - 1)))
        # As shown, to know days and truths from numbers; exact, since an amount of money is shown with four decimals; and typed.
        shown, exact, texts = as_rows(block.raw_value), as_rows(_native(block, "Value2")), as_rows(block.formula)
        # Of errors macOS tells nothing with the values, only with the texts in the cells.
        words = as_rows(_native(block, "StringValue")) if sys.platform == "darwin" else shown
        rows, formulas = [], {}
        for r in range(len(exact)):
            row: list[Value] = []
            for c in range(len(exact[r])):
                text = texts[r][c]
                is_formula = isinstance(text, str) and text.startswith("=") and text != exact[r][c]
                if is_formula:
                    formulas[r, c] = text[1:]
                row.append(shown_value(words[r][c] if words[r][c] in ERRORS.values() else shown[r][c], exact[r][c], is_formula))
            while row and row[-1] is None and (r, len(row) - 1) not in formulas:
                row.pop()
            rows.append(tuple(row))
        while rows and not rows[-1]:
            rows.pop()
        whole = (0, 0, tall - 1, wide - 1)
        self._held[sheet.name] = [Held(place, *ARRAY) for place in _where(sheet, whole, lambda r: r.has_array)] if formulas else []
        self._held[sheet.name] += [Held(_place(part), *TABLE) for table in sheet.tables for part in (table.header_row_range, table.totals_row_range) if part]
        hidden = _where(sheet, (0, 0, tall - 1, 0), lambda r: _native(r, "EntireRow", "Hidden"))
        return Grid(
            sheet.name, tuple(rows), formulas, tuple(_merged(sheet, whole)),
            frozenset(row for area in hidden for row in range(area[0], area[2] + 1)), _native(sheet, "ProtectContents") is True,
        )  # fmt: skip

    # ---------------------------------------------------------------- writing

    def _changes(self, read: Snapshot, cells: Sequence[SetCell], tabs: Sequence[PutTab]) -> Iterator[journal.Change]:
        for edit in cells:
            grid = named(read, edit.tab)
            assert grid is not None
            yield journal.Change(grid.name, edit.row, edit.column, plain(grid, edit.row, edit.column), plain_value(edit.value))
        for tab in tabs:
            there, wanted = named(read, tab.name) or Grid(tab.name, ()), {(r, c): cell for r, row in enumerate(tab.rows) for c, cell in enumerate(row)}
            for r, c in sorted({*wanted, *((r, c) for r, row in enumerate(there.rows) for c in range(len(row)))}):
                before, wrote = plain(there, r, c), plain_value(wanted.get((r, c), Cell()).value)
                if before != wrote:
                    yield journal.Change(tab.name, r, c, before, wrote)

    def _write(self, cells: Sequence[SetCell], tabs: Sequence[PutTab]) -> None:
        with _plainly(), self._undisturbed():
            sheets = {sheet.name.casefold(): sheet for sheet in self._book.sheets}
            for place, style, block in blocks(cells):
                self._put_cells(sheets[place], style, block)
            for tab in tabs:  # all there before the first formula that refers to one
                if tab.name.casefold() not in sheets:
                    sheets[tab.name.casefold()] = _added(self._book, tab.name)
            for tab in tabs:
                self._put_tab(sheets[tab.name.casefold()], tab)

    @contextmanager
    def _undisturbed(self) -> Iterator[None]:
        """Excel draws nothing meanwhile, and shows the tab again that she looks at."""
        app, front = _patiently(lambda: self._book.app), _patiently(lambda: self._book.sheets.active.name)
        drawing = _patiently(lambda: app.screen_updating)
        _put(app, "screen_updating", False)
        try:
            yield
            if self._book.sheets.active.name != front:
                _patiently(self._book.sheets[front].activate)
        finally:
            _put(app, "screen_updating", drawing)

    def _put_cells(self, sheet: Any, style: str, block: Sequence[Sequence[SetCell]]) -> None:
        """One block of her cells of one style, in the look they have; those without any look get that of the style."""
        top, left = block[0][0].row, block[0][0].column
        values = [[stored(edit.value, self._epoch) for edit in row] for row in block]
        area = (top, left, top + len(values) - 1, left + len(values[0]) - 1)
        _set(sheet, area, "raw_value", values)
        days = any(isinstance(edit.value, date) for row in block for edit in row)
        for part, form in _formats(sheet, area):
            if form == "General" and style:
                _dress(sheet.range(area_name(part)), STYLES[style], "")
                form = STYLES[style].number_format
            if days and not _IS_DAY.search(form):
                _set(sheet, part, "number_format", DAY)

    def _put_tab(self, sheet: Any, tab: PutTab) -> None:
        _patiently(sheet.clear)
        wide = max(map(len, tab.rows), default=0)
        values = [[stored(cell.value, self._epoch, True) for cell in row] + [""] * (wide - len(row)) for row in tab.rows]
        if values and wide:
            _set(sheet, (0, 0, len(values) - 1, wide - 1), "raw_value", values)
        for name, areas in styled_areas(tab):  # after the values: a formula put where the look is text would be text
            for many in _together(map(area_name, areas)):
                _dress(sheet.range(many), STYLES[name.removesuffix(TRUTH)], "General" if name.endswith(TRUTH) else "")
        heights, merged = fitted(tab, {name for name, style in STYLES.items() if style.wrap})
        for column, width in tab.look.widths.items():
            letters = column_name(column)
            _put(sheet.range(f"{letters}:{letters}"), "column_width", width)
        for number, last in merged.items():
            _patiently(sheet.range(area_name((number, 0, number, last))).merge)
        for number, height in heights.items():
            _set(sheet, (number, 0, number, 0), "row_height", min(height, 409.0))
        for column in tab.look.hidden_columns:
            letters = column_name(column)
            _put(sheet.range(f"{letters}:{letters}").columns, "hidden", True)
        for r, row in enumerate(tab.rows):
            for c, cell in enumerate(row):
                if cell.link:
                    target = f"#{sheet_ref(cell.link.tab)}!{cell.link.cell or 'A1'}"
                    _patiently(partial(sheet.range(address(r, c)).add_hyperlink, target, str(cell.value)))

    # ---------------------------------------------------------------- taking back

    def take_back(self) -> tuple[int, list[Where]]:
        """Puts the cells of the last write back where they still hold what was written.

        Returns: how many cells were put back, and the places left since something else stands there now.
        Raises:
            WriteRefused: there is nothing of the tool's to take back, or a tab is protected now.
            HostUnavailable, WorkbookBusy: as in `snapshot`.
        """
        entry = journal.newest(self.path)
        if entry is None:
            raise WriteRefused("there is nothing of the tool's to take back in this workbook.")
        now = self.snapshot()
        back: list[SetCell] = []
        left: list[Where] = []
        for change in entry.changes:
            grid = named(now, change.tab)
            there = plain(grid, change.row, change.column) if grid else None
            if grid is not None and alike(there, change.wrote) and not alike(there, change.before):
                back.append(SetCell(grid.name, change.row, change.column, change.before, ""))
            elif not alike(there, change.before):
                left.append(Where(change.tab, address(change.row, change.column)))
        for tab in {edit.tab for edit in back}:
            if now.grids[tab].protected:
                raise WriteRefused("the tab is protected.", Where(tab), "Take off the protection (Review, Unprotect) and run it again.")
        gone = [name for name in entry.new_tabs if self._is_all_ours(now, name, back)]
        with _plainly(), self._undisturbed():
            sheets = {sheet.name: sheet for sheet in self._book.sheets}
            for tab, _, block in blocks([edit for edit in back if edit.tab not in gone]):
                values = [[typed_again(edit.value, self._epoch) for edit in row] for row in block]
                top, first = block[0][0].row, block[0][0].column
                _set(_sheet(sheets, tab), (top, first, top + len(values) - 1, first + len(values[0]) - 1), "raw_value", values)
            for name in gone:
                _patiently(_sheet(sheets, name).delete)
        entry.path.unlink(missing_ok=True)
        self._read = None
        return len(back), left

    @staticmethod
    def _is_all_ours(now: Snapshot, name: str, back: Iterable[SetCell]) -> bool:
        """Whether nothing stands on a tab but what is taken back."""
        grid = named(now, name)
        ours = {(edit.row, edit.column) for edit in back if grid and edit.tab == grid.name}
        return grid is not None and len(now.grids) > 1 and all(
            value in (None, "") or (r, c) in ours for r, row in enumerate(grid.rows) for c, value in enumerate(row)
        )


def _sheet(sheets: dict[str, Any], name: str) -> Any:
    return next(sheet for there, sheet in sheets.items() if there.casefold() == name.casefold())


# ------------------------------------------------------------------ blocks


def _added(book: Any, name: str) -> Any:
    """A new tab after all others."""
    return _patiently(lambda: book.sheets.add(name, after=book.sheets[len(book.sheets) - 1]))


def _without_empty_end(sheet: Any, tall: int, wide: int) -> int:
    """How tall a large tab is without the empty rows at its end: rows that only have a look belong to it for Excel."""
    for _ in range(MOST_PARTS):
        if tall * wide <= MOST_CELLS:
            break
        top = max(0, tall - max(1, PART_CELLS // wide))
        if any(text for row in as_rows(sheet.range(area_name((top, 0, tall - 1, wide - 1))).formula) for text in row):
            break
        tall = top
    return tall


def _put(target: Any, name: str, value: Any) -> None:
    """Gives something of xlwings a property that it knows; a name it does not know would be kept in Python and never reach Excel."""
    assert hasattr(type(target), name), name
    _patiently(lambda: setattr(target, name, value))


def _set(sheet: Any, area: Sequence[int], name: str, value: Any) -> None:
    _put(sheet.range(area_name(area)), name, value)


def _where(sheet: Any, area: Area, look: Callable[[Any], Any]) -> list[Area]:
    """The areas in which something holds. Excel says yes, no, or of a mixed block neither: then it is asked of both halves."""
    found = look(sheet.range(area_name(area)))
    if found is True:
        return [area]
    if found is False or (area[0] == area[2] and area[1] == area[3]):
        return []
    return [part for half in halves(area) for part in _where(sheet, half, look)]


def _formats(sheet: Any, area: Area) -> Iterator[tuple[Area, str]]:
    """The areas of one number format each."""
    found = _patiently(lambda: sheet.range(area_name(area)).number_format)
    if isinstance(found, str):
        yield area, found
    elif area[0] != area[2] or area[1] != area[3]:
        for half in halves(area):
            yield from _formats(sheet, half)


def _merged(sheet: Any, whole: Area) -> list[Area]:
    found: list[Area] = []
    for top, left, bottom, right in _where(sheet, whole, lambda r: r.merge_cells):
        for r in range(top, bottom + 1):
            for c in range(left, right + 1):
                if not any(a[0] <= r <= a[2] and a[1] <= c <= a[3] for a in found):
                    found.append(_place(sheet.range(address(r, c)).merge_area))
    return sorted(found)


def _place(block: Any) -> Area:
    tall, wide = block.shape
    return block.row - 1, block.column - 1, block.row + tall - 2, block.column + wide - 2


# ------------------------------------------------------------------ looks


def _together(names: Iterable[str]) -> Iterator[str]:
    """Areas as one address, as many in each as Excel takes."""
    many = ""
    for name in names:
        if len(many) + len(name) >= LONGEST_ADDRESS:
            yield many
            many = ""
        many += f",{name}" if many else name
    if many:
        yield many


def _dress(block: Any, style: Style, form: str) -> None:
    """Puts a look on cells, one call for each thing that is not as in a new cell."""
    _put(block, "number_format", form or style.number_format)
    _put(block.font, "size", style.size)
    _put(block.font, "color", _colour(style.ink))
    if style.bold:
        _put(block.font, "bold", True)
    if style.italic:
        _put(block.font, "italic", True)
    if style.fill:
        _put(block, "color", _colour(style.fill))
    if style.wrap:
        _put(block, "wrap_text", True)
    if style.align:
        _put(block, "horizontal_alignment", style.align)


def _colour(name: str) -> tuple[int, int, int]:
    text = COLOURS[name][-6:]
    return int(text[:2], 16), int(text[2:4], 16), int(text[4:], 16)
