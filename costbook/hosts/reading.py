"""A workbook's bytes as a `Snapshot`, values read by python-calamine behind our own checks.

python-calamine gives error cells as empty text, stops at error names it does not know, and aborts the whole process on
a sheet with a value in A1 and one in XFD1048576. So sizes are checked first and errors are scanned.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Callable, Collection, Iterator, Mapping
from datetime import date, datetime, time, timedelta
from functools import cached_property
from typing import Any, NamedTuple

from costbook.book.grid import ErrorValue, Grid, Snapshot, Value, address
from costbook.errors import HostUnavailable, Where
from costbook.hosts import scan
from costbook.hosts.package import ASK_AGAIN, COMPOUND, Package

LIMIT_CELLS = 5_000_000
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
    """A snapshot together with the plain sheet bytes it came from, by tab name."""

    snapshot: Snapshot
    sheets: Mapping[str, bytes]


class _Sheets(Mapping[str, bytes]):
    """The plain bytes of every tab, unpacked when asked for: all of them at once are six times the workbook."""

    def __init__(self, package: Package, parts: Mapping[str, str]) -> None:
        self._package, self._parts = package, parts
        self._last = ("", b"")

    def __getitem__(self, tab: str) -> bytes:
        if self._last[0] != tab:
            self._last = (tab, scan.plain(self._package.part(self._parts[tab])))
        return self._last[1]

    def __iter__(self) -> Iterator[str]:
        return iter(self._parts)

    def __len__(self) -> int:
        return len(self._parts)


class _Formulas(Mapping[tuple[int, int], str]):
    """The formulas of a tab by place, looked for when asked for: the tool's own tabs hold many, and hardly a run asks."""

    def __init__(self, sheets: _Sheets, tab: str) -> None:
        self._sheets, self._tab = sheets, tab

    @cached_property
    def _found(self) -> dict[tuple[int, int], str]:
        return scan.formulas(self._sheets[self._tab])

    def __getitem__(self, place: tuple[int, int]) -> str:
        return self._found[place]

    def __iter__(self) -> Iterator[tuple[int, int]]:
        return iter(self._found)

    def __len__(self) -> int:
        return len(self._found)


class _Beside(NamedTuple):
    """What a tab holds beside its values, so that its bytes need not be kept till those are read."""

    errors: Mapping[tuple[int, int], str]
    formulas: Mapping[tuple[int, int], str]
    empty_texts: tuple[tuple[int, int], ...]
    merged: tuple[scan.Area, ...]
    hidden_rows: frozenset[int]
    protected: bool


def reading(data: bytes, name: str, known: tuple[Reading, Collection[str]] | None = None) -> Reading:
    """The workbook in these bytes, with its sheets' plain bytes.

    Args:
        known: what was read of it before, and the parts that differ since; only those are read again.

    Raises:
        HostUnavailable: not a readable workbook, damaged, or too large to be read.
    """
    package = Package(data, name)
    before, touched = known or (Reading(Snapshot(name, {}), {}), ())
    tabs = [tab for tab in package.tabs if tab.kind in SHEETS]
    kept = {tab.name for tab in tabs if tab.name in before.sheets and tab.part not in touched}
    sheets = _Sheets(package, {tab.name: tab.part for tab in tabs})
    patched: dict[str, bytes] = {}
    beside: dict[str, _Beside] = {}
    for tab in tabs:
        if tab.name not in kept:
            xml = _checked(tab.name, scan.plain(package.part(tab.part)))
            found = beside[tab.name] = _beside(tab.name, xml, sheets)
            if not scan.KNOWN_ERRORS.issuperset(found.errors.values()):
                patched[tab.part] = scan.known_errors_only(xml)
    if known is None:
        package.check_rest()
    # Another reader takes 16-bit letters for nothing at all.
    patched |= {part: package.part(part) for part in package.wide if part not in patched}
    if any(_stops_another_reader(package)):
        patched[package.main] = _sheets_only(package)
    read = _values(_replaced(data, patched) if patched else data, name, beside)
    grids = {tab: _grid(tab, rows, beside[tab]) for tab, rows in read}
    return Reading(Snapshot(name, {tab: grids.get(tab) or before.snapshot.grids[tab] for tab in sheets}), sheets)


def _beside(tab: str, xml: bytes, sheets: _Sheets) -> _Beside:
    return _Beside(
        scan.errors(xml),
        _Formulas(sheets, tab) if scan.has_formulas(xml) else {},
        tuple(scan.text_results(xml)),
        scan.merged(xml),
        scan.hidden_rows(xml),
        scan.is_protected(xml),
    )


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
    return Snapshot(name, {tab: Grid(tab, tuple(_row(row, {}) for row in rows)) for tab, rows in _values(data, name, None)})


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
    from xml.sax.saxutils import quoteattr  # loads network and mail modules, a tenth of a run on a small book

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


def _values(data: bytes, name: str, tabs: Collection[str] | None) -> Iterator[tuple[str, list[list[Any]]]]:
    """These tabs with their rows, one after the other; all tabs where none are named."""
    import python_calamine

    try:
        with python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data)) as book:
            for tab in book.sheet_names if tabs is None else tabs:
                yield tab, book.get_sheet_by_name(tab).to_python(skip_empty_area=False)
    except (KeyboardInterrupt, SystemExit, GeneratorExit, MemoryError):
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


def _grid(tab: str, rows: list[list[Any]], beside: _Beside) -> Grid:
    # The reader makes a new text of each cell; the same text again is the first one here, which halves what a book takes.
    texts: dict[str, str] = {}
    read = [_row(row, texts) for row in rows]
    for place, text in beside.errors.items():
        _put(read, place, ErrorValue(text))
    for place in beside.empty_texts:
        if not (place[0] < len(read) and place[1] < len(read[place[0]]) and read[place[0]][place[1]]):
            _put(read, place, "")
    return Grid(tab, tuple(read), beside.formulas, beside.merged, beside.hidden_rows, beside.protected)


def _row(cells: list[Any], texts: dict[str, str]) -> tuple[Value, ...]:
    # A list first: a tuple made of a generator takes twice as long.
    return tuple([
        v if (kind := v.__class__) is float else _READERS[kind](v) if kind is not str else texts.setdefault(v, v) if v else None
        for v in cells
    ])  # fmt: skip


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
