"""A workbook's bytes as a `Snapshot`, values read by python-calamine behind our own checks.

python-calamine gives error cells as empty text, stops at error names it does not know, and aborts the whole process on
a sheet with a value in A1 and one in XFD1048576. So sizes are checked first and errors are scanned.
"""

import io
import re
import zipfile
import zlib
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from typing import Any, NamedTuple

from costbook.book.grid import NOTHING, ErrorValue, Grid, Snapshot, Value, address
from costbook.errors import HostUnavailable, Where
from costbook.hosts import scan
from costbook.hosts.package import ASK_AGAIN, COMPOUND, Package

LIMIT_CELLS = 5_000_000
# Beyond Z or row 99,999. Within, there is room for no more than 2.6 million cells, and counting them would be slow.
LIMIT_LIST_BYTES, LIMIT_LIST_XML = 20_000_000, 200 << 20
_OPEN_DOCUMENT = b"mimetypeapplication/vnd.oasis.opendocument.spreadsheet"
_CELL = re.compile(rb"<table:(?:covered-)?table-cell")
_REPEATED_CELL = re.compile(rb'number-columns-repeated="(\d{1,9})"')
_REPEATED_ROW = re.compile(rb'number-rows-repeated="(\d{1,9})"')
SHEETS = ("worksheet",)
KNOWN_TABS = (*SHEETS, "chartsheet", "dialogsheet")
KNOWN_STATES = ("visible", "hidden", "veryHidden")
_LISTING = (
    '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    ' xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">'
    "<workbookPr date1904={}/><sheets>{}</sheets></workbook>"
)


class Reading(NamedTuple):
    """A snapshot together with what else a save asks of a workbook, by tab name.

    `bound` are the tabs with formulas that stand for more than their own cell, `widths` those of columns. The sheets' bytes
    are not kept: together they are many times the file.
    """

    snapshot: Snapshot
    bound: frozenset[str]
    widths: Mapping[str, Mapping[int, float]]


class _About(NamedTuple):
    """What a sheet's bytes tell beside its values."""

    errors: Mapping[tuple[int, int], str]
    formulas: Mapping[tuple[int, int], str] = NOTHING
    text_results: Collection[tuple[int, int]] = ()
    merged: tuple[scan.Area, ...] = ()
    hidden_rows: frozenset[int] = frozenset()
    protected: bool = False
    bound: bool = False
    widths: Mapping[int, float] = NOTHING


def reading(data: bytes, name: str) -> Reading:
    """The workbook in these bytes.

    Raises:
        HostUnavailable: not a readable workbook, damaged, or too large to be read.
    """
    package = Package(data, name)
    about = {tab: _about(_checked(tab, plain_sheet(package, tab))) for tab in sheet_parts(package)}
    package.check_rest()
    grids = {grid.name: grid for grid in _grids(package, about)}
    bound = frozenset(tab for tab, seen in about.items() if seen.bound)
    return Reading(Snapshot(name, grids), bound, {tab: seen.widths for tab, seen in about.items()})


def sheet_parts(package: Package) -> dict[str, str]:
    """The part of every worksheet, by tab name in the order of the tabs."""
    return {tab.name: tab.part for tab in package.tabs if tab.kind in SHEETS}


def plain_sheet(package: Package, tab: str) -> bytes:
    """The bytes of a tab's sheet in the form that scans work on."""
    return scan.plain(package.part(sheet_parts(package)[tab]))


def grids(package: Package, tabs: Collection[str], values_only: Collection[str] = ()) -> Iterator[Grid]:
    """Some tabs of a package, each read when it is asked for, and not kept; of a few their values and nothing else.

    Raises:
        HostUnavailable: as `reading`.
    """
    about = {tab: _about(_checked(tab, plain_sheet(package, tab)), tab in values_only) for tab in tabs}
    return _grids(package, about)


def _about(xml: bytes, values_only: bool = False) -> _About:
    if values_only:
        return _About(scan.errors(xml))
    formulas = scan.formulas(xml) if scan.has_formulas(xml) else {}
    return _About(
        scan.errors(xml),
        formulas,
        tuple(scan.text_results(xml)) if formulas else (),
        scan.merged(xml),
        scan.hidden_rows(xml),
        scan.is_protected(xml),
        bool(formulas) and any(True for _ in scan.bound_formulas(xml)),
        scan.widths(xml),
    )


def _grids(package: Package, about: Mapping[str, _About]) -> Iterator[Grid]:
    parts = sheet_parts(package)
    patched = {
        parts[tab]: scan.known_errors_only(plain_sheet(package, tab))
        for tab, seen in about.items()
        if not scan.KNOWN_ERRORS.issuperset(seen.errors.values())
    }
    # Another reader takes 16-bit letters for nothing at all.
    patched |= {part: package.part(part) for part in package.wide if part not in patched}
    if any(_stops_another_reader(package)):
        patched[package.main] = _sheets_only(package)
    data = _replaced(package.data, patched) if patched else package.data
    texts: dict[str, str] = {}
    for tab, rows in _values(data, package.name, tuple(about)):
        with _refusing(package.name):
            grid = _grid(tab, rows, about[tab], texts)
        del rows
        yield grid
        del grid


def is_other_workbook(data: bytes) -> bool:
    """Whether the bytes are an old .xls workbook or an OpenDocument spreadsheet, by what stands at their start."""
    return data.startswith(COMPOUND) or (data.startswith(b"PK") and _OPEN_DOCUMENT in data[:200])


def other_workbook(data: bytes, name: str) -> Snapshot:
    """The values of an .xls or .ods file, for reading only: a supplier's list is never written.

    Raises:
        HostUnavailable: damaged, encrypted or too large.
    """
    if len(data) > LIMIT_LIST_BYTES:
        raise HostUnavailable(f"{name} is larger than {LIMIT_LIST_BYTES // 1_000_000} MB; a supplier's list is not.")
    if data.startswith(b"PK"):
        _refuse_large(data, name)
    empty: dict[str, Grid] = {}
    for tab, rows in _values(data, name, None):
        with _refusing(name):
            read = tuple(tuple(_READERS[v.__class__](v) for v in row) for row in rows)
        empty[tab] = Grid(tab, read)
    return Snapshot(name, empty)


def _refuse_large(data: bytes, name: str) -> None:
    """An OpenDocument file whose content unpacks to more than a list holds, or repeats rows and columns into the void."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package, package.open("content.xml") as content:
            xml = content.read(LIMIT_LIST_XML + 1)
    except (zipfile.BadZipFile, KeyError, RuntimeError, NotImplementedError, zlib.error, EOFError) as error:
        raise HostUnavailable(
            f"{name} is damaged or encrypted: its content cannot be unpacked.", do=ASK_AGAIN
        ) from error
    if len(xml) > LIMIT_LIST_XML:
        raise HostUnavailable(f"{name} unpacks to more than {LIMIT_LIST_XML >> 20} MB; a supplier's list does not.")
    for table in xml.split(b"<table:table ")[1:]:
        if (cells := _unfolded(table)) > LIMIT_CELLS:
            raise HostUnavailable(
                f"{name} has a tab of {cells:,} cells, over {LIMIT_CELLS:,} are not read.", do=ASK_AGAIN
            )


def _unfolded(table: bytes) -> int:
    """How many cells a table of an OpenDocument file has up to its last filled one: a few bytes may repeat many."""
    rows = tall = wide = 0
    for row in table.split(b"<table:table-row")[1:]:
        head, *cells = _CELL.split(row)
        repeated = _REPEATED_ROW.search(head)
        rows += int(repeated[1]) if repeated else 1
        filled = max((at for at, cell in enumerate(cells, 1) if b"office:value-type" in cell), default=0)
        counts = (_REPEATED_CELL.search(cell) for cell in cells[:filled])
        wide = max(wide, sum(int(found[1]) if found else 1 for found in counts))
        tall = rows if filled else tall
    return tall * wide


def _stops_another_reader(package: Package) -> Iterator[bool]:
    """For each tab whether it is one that another reader takes for a damage of the file."""
    kinds = {tab.name: tab.kind for tab in package.tabs}
    for element in package.workbook:
        if element.name == "sheet":
            kind, state = kinds.get(element.attributes.get("name", "")), element.attributes.get("state", "visible")
            yield kind not in KNOWN_TABS or state not in KNOWN_STATES


def _sheets_only(package: Package) -> bytes:
    """A workbook part that lists the worksheets and nothing else but from when days are counted."""
    from xml.sax.saxutils import quoteattr  # loads network and mail modules, and hardly a run asks

    wanted = {tab.name for tab in package.tabs if tab.kind in SHEETS}
    told = "".join(
        f'<sheet name={quoteattr(e.attributes["name"])} sheetId="{number}" r:id={quoteattr(e.attributes["id"])}/>'
        for number, e in enumerate(package.workbook, 1)
        if e.name == "sheet" and e.attributes.get("name") in wanted
    )
    days = next((e.attributes.get("date1904", "0") for e in package.workbook if e.name == "workbookPr"), "0")
    return _LISTING.format(quoteattr(days), told).encode()


def _checked(tab: str, xml: bytes) -> bytes:
    if scan.is_small(xml):
        return xml
    rows, columns = scan.extent(xml)
    if rows * columns > LIMIT_CELLS or columns > 16_384:
        rows, columns = scan.extent(xml, valued=True)
        if rows * columns > LIMIT_CELLS or columns > 16_384:
            raise HostUnavailable(
                f"the tab reaches as far as {address(rows - 1, columns - 1)}, {rows * columns:,} cells; over"
                f" {LIMIT_CELLS:,} are not read.",
                Where(tab),
                "Delete what stands far away from the rest (Ctrl+End goes there), or move it to another workbook.",
            )
    return xml


def _values(data: bytes, name: str, tabs: Sequence[str] | None) -> Iterator[tuple[str, Iterator[list[Any]]]]:
    """The rows of these tabs, of all where none are named, one tab and one row after the other."""
    import python_calamine

    with _refusing(name):
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
    with book:
        for tab in book.sheet_names if tabs is None else tabs:
            with _refusing(name):
                sheet = book.get_sheet_by_name(tab)
                rows = _from_the_first_column(sheet)
            del sheet  # what it holds goes with its last row
            yield tab, rows
            del rows


def _from_the_first_column(sheet: Any) -> Iterator[list[Any]]:
    """The rows of a sheet one by one; the reader gives the empty rows above the first filled one, not the columns."""
    start = sheet.start
    rows: Iterator[list[Any]] = iter(sheet.iter_rows())
    return map(([""] * start[1]).__add__, rows) if start and start[1] else rows


@contextmanager
def _refusing(name: str) -> Iterator[None]:
    """A stretch of work by another reader, whatever stops which becomes a sentence."""
    try:
        yield
    except (KeyboardInterrupt, SystemExit, MemoryError):
        raise
    except BaseException as error:  # a panic of the reader is no Exception
        raise HostUnavailable(
            f"{name} cannot be read: {str(error).strip(' .') or type(error).__name__}.", do=ASK_AGAIN
        ) from error


def _replaced(data: bytes, parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for info in old.infolist():
            new.writestr(info.filename, parts.get(info.filename) or old.read(info))
    return out.getvalue()


def _grid(tab: str, rows: Iterable[list[Any]], about: _About, texts: dict[str, str]) -> Grid:
    """The tab; a text that is in `texts` already is that one, since the texts of a book are few and their cells many."""
    once = texts.setdefault
    read: list[tuple[Value, ...]] = [
        tuple([
            v if (kind := v.__class__) is float else once(v, v) if kind is str and v else _READERS[kind](v)
            for v in row
        ])
        for row in rows
    ]  # fmt: skip
    for place, text in about.errors.items():
        _put(read, place, ErrorValue(text))
    for place in about.text_results:
        if not (place[0] < len(read) and place[1] < len(read[place[0]]) and read[place[0]][place[1]]):
            _put(read, place, "")
    return Grid(tab, tuple(read), about.formulas, about.merged, about.hidden_rows, about.protected)


def _put(rows: list[tuple[Value, ...]], place: tuple[int, int], value: Value) -> None:
    row, column = place
    while len(rows) <= row:
        rows.append(())
    line = list(rows[row]) + [None] * (column + 1 - len(rows[row]))
    line[column] = value
    rows[row] = tuple(line)


def _day_fraction(moment: time) -> float:
    return (moment.hour * 3600 + moment.minute * 60 + moment.second + moment.microsecond / 1e6) / 86_400


# A cell with a date and a time of day is a date to the book, which has no use for the time; the file keeps both.
_READERS: dict[type, Callable[[Any], Value]] = {
    str: lambda v: v or None,
    bool: lambda v: v,
    int: lambda v: v,
    float: lambda v: v,
    datetime: lambda v: v.date(),
    date: lambda v: v,
    time: _day_fraction,
    timedelta: lambda v: v / timedelta(days=1),
}
