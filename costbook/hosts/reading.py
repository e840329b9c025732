"""A workbook's bytes as a `Snapshot`, values read by python-calamine behind our own checks.

python-calamine gives error cells as empty text, stops at error names it does not know, and aborts the whole process on
a sheet with a value in A1 and one in XFD1048576. So sizes are checked first and errors are scanned.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from xml.sax.saxutils import quoteattr

from costbook.book.grid import ErrorValue, Grid, Snapshot, Value, address
from costbook.errors import HostUnavailable, Where
from costbook.hosts import scan
from costbook.hosts.package import ASK_AGAIN, Package

LIMIT_CELLS = 5_000_000
SHEETS = ("worksheet",)
KNOWN_TABS = (*SHEETS, "chartsheet", "dialogsheet")
KNOWN_STATES = ("visible", "hidden", "veryHidden")
_LISTING = (
    '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    ' xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">'
    "<workbookPr date1904={}/><sheets>{}</sheets></workbook>"
)


@dataclass(frozen=True)
class Reading:
    """A snapshot together with the plain sheet bytes it came from, by tab name."""

    snapshot: Snapshot
    sheets: dict[str, bytes]


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
    sheets = {
        tab.name: before.sheets[tab.name]
        if tab.name in kept
        else _checked(tab.name, scan.plain(package.part(tab.part)))
        for tab in tabs
    }
    if known is None:
        package.check_rest()
    errors = {tab: scan.errors(xml) for tab, xml in sheets.items() if tab not in kept}
    patched = {
        tab.part: scan.known_errors_only(sheets[tab.name])
        for tab in tabs
        if tab.name in errors and not scan.KNOWN_ERRORS.issuperset(errors[tab.name].values())
    }
    # Another reader takes 16-bit letters for nothing at all.
    patched |= {part: package.part(part) for part in package.wide if part not in patched}
    if any(_stops_another_reader(package)):
        patched[package.main] = _sheets_only(package)
    values = _values(_replaced(data, patched) if patched else data, name, tuple(errors))
    grids = {
        tab: before.snapshot.grids[tab] if tab in kept else _grid(tab, values[tab], xml, errors[tab])
        for tab, xml in sheets.items()
    }
    return Reading(Snapshot(name, grids), sheets)


def _stops_another_reader(package: Package) -> Iterator[bool]:
    """For each tab whether it is one that another reader takes for a damage of the file."""
    kinds = {tab.name: tab.kind for tab in package.tabs}
    for element in package.workbook:
        if element.name == "sheet":
            kind, state = kinds.get(element.attributes.get("name", "")), element.attributes.get("state", "visible")
            yield kind not in KNOWN_TABS or state not in KNOWN_STATES


def _sheets_only(package: Package) -> bytes:
    """A workbook part that lists the worksheets and nothing else but from when days are counted."""
    wanted = {tab.name for tab in package.tabs if tab.kind in SHEETS}
    told = "".join(
        f'<sheet name={quoteattr(e.attributes["name"])} sheetId="{number}" r:id={quoteattr(e.attributes["id"])}/>'
        for number, e in enumerate(package.workbook, 1)
        if e.name == "sheet" and e.attributes.get("name") in wanted
    )
    days = next((e.attributes.get("date1904", "0") for e in package.workbook if e.name == "workbookPr"), "0")
    return _LISTING.format(quoteattr(days), told).encode()


def _checked(tab: str, xml: bytes) -> bytes:
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


def _values(data: bytes, name: str, tabs: Sequence[str]) -> dict[str, list[list[Any]]]:
    import python_calamine

    try:
        with python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data)) as book:
            return {tab: book.get_sheet_by_name(tab).to_python(skip_empty_area=False) for tab in tabs}
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


def _grid(tab: str, rows: list[list[Any]], xml: bytes, errors: dict[tuple[int, int], str]) -> Grid:
    read: list[tuple[Value, ...]] = [
        tuple([v if (kind := v.__class__) is float or (kind is str and v) else _READERS[kind](v) for v in row])
        for row in rows
    ]
    for place, text in errors.items():
        _put(read, place, ErrorValue(text))
    formulas = scan.formulas(xml)
    for place in scan.text_results(xml) if formulas else ():
        if not (place[0] < len(read) and place[1] < len(read[place[0]]) and read[place[0]][place[1]]):
            _put(read, place, "")
    return Grid(
        tab,
        tuple(read),
        formulas,
        scan.merged(xml),
        scan.hidden_rows(xml),
        scan.is_protected(xml),
    )


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
