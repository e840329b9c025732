"""What a worksheet part holds beside its values, found by scanning its bytes.

One pass of a regular expression over a sheet of 200,000 cells takes a few hundredths of a second, a parser ten times
that; so every scan is made only when a quick search says there is something to find. All scans work on the form that
`plain` gives back. Rows and columns count from 0. Source: ECMA-376 part 1, clause 18.3.1 (worksheets).
"""

import re
from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple

from costbook.book.grid import column_name

Area = tuple[int, int, int, int]
KNOWN_ERRORS = frozenset(("#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A", "#GETTING_DATA"))

_CELL_OR_ROW = re.compile(rb"<(row|c)((?:\s[^>]*?)?)(/?)>")
_UNPLACED_CELL, _UNPLACED_ROW = re.compile(rb'<c(?! r=")[\s/>]'), re.compile(rb'<row(?! r=")[\s/>]')
_BEYOND_Z, _BEYOND_ZZ = re.compile(rb'<c r="(?:[A-Z]{2}|[A-Z]\d{6})'), re.compile(rb'<c r="(?:[A-Z]{3}|[A-Z]{1,2}\d{4})')
_ATTRIBUTE = re.compile(rb"""([\w:.-]+)\s*=\s*(?:"([^"]*)"|'([^']*)')""")
_FORMULA = re.compile(rb'<c r="([A-Z]+)(\d+)"[^>/]*>\s*<f((?:\s[^>]*?)?)(?:/>|>([^<]*)</f>)')
_FORMULA_TAG = re.compile(rb"<f[\s/>]")
_BOUND = re.compile(rb"<f\s")
_ERROR = re.compile(rb'(<c r="([A-Z]+)(\d+)"[^>/]*\bt="e"[^>/]*>.*?<v[^>]*>)([^<]*)(</v>)', re.S)
_ENTITY = re.compile(r"&(#x[0-9a-fA-F]+|#\d+|amp|lt|gt|quot|apos);")
_REFERENCE = re.compile(r"\$?([A-Za-z]+)\$?(\d+)(?::\$?([A-Za-z]+)\$?(\d+))?$")
_NAMED = {"amp": "&", "lt": "<", "gt": ">", "quot": '"', "apos": "'"}


class FormulaCell(NamedTuple):
    """A formula as the sheet states it: place, text ('' if it takes a neighbour's), kind ('', 'shared' ...), range."""

    row: int
    column: int
    text: str
    kind: str
    area: Area | None


@lru_cache(maxsize=4096)
def column_index(letters: bytes) -> int:
    """The index of a column from its letters, from 0."""
    index = 0
    for letter in letters.upper():
        index = index * 26 + letter - 64
    return index - 1


def area_of(reference: str) -> Area | None:
    """First row, first column, last row, last column of a reference such as B2:D9; None where it is none."""
    match = _REFERENCE.match(reference.strip())
    if not match:
        return None
    first, row, last, last_row = match.groups()
    top, left = int(row) - 1, column_index(first.encode())
    return (top, left, int(last_row) - 1 if last_row else top, column_index(last.encode()) if last else left)


def unescaped(raw: bytes) -> str:
    """The text that stands in XML as these bytes."""
    text = raw.decode("utf-8", "replace")
    return _ENTITY.sub(_entity, text) if "&" in text else text


def _entity(match: re.Match[str]) -> str:
    name = match[1]
    if name[0] != "#":
        return _NAMED[name]
    return chr(int(name[2:], 16) if name[1] == "x" else int(name[1:]))


def plain(xml: bytes) -> bytes:
    """The same sheet without tag prefixes, comments and CDATA, and with an address first in every row and cell."""
    if b"<!" in xml:
        xml = re.sub(rb"<!--.*?-->", b"", xml, flags=re.S)
        xml = re.sub(rb"<!\[CDATA\[(.*?)\]\]>", _cdata, xml, flags=re.S)
    prefix = re.search(rb"<([A-Za-z_][\w.-]*):worksheet\b", xml[:4096])
    if prefix:
        xml = re.sub(rb"<(/?)" + re.escape(prefix[1]) + rb":", rb"<\1", xml)
    if not _UNPLACED_CELL.search(xml) and not _UNPLACED_ROW.search(xml):
        return xml
    return _addressed(xml)


def _cdata(match: re.Match[bytes]) -> bytes:
    return match[1].replace(b"&", b"&amp;").replace(b"<", b"&lt;").replace(b">", b"&gt;")


def _addressed(xml: bytes) -> bytes:
    """The sheet with r= filled in: a row without it follows the one before, a cell its left neighbour."""
    row, column = -1, -1

    def tag(match: re.Match[bytes]) -> bytes:
        nonlocal row, column
        attributes = {name: double or single for name, double, single in _ATTRIBUTE.findall(match[2])}
        address = attributes.pop(b"r", b"")
        if match[1] == b"row":
            row, column = (int(address) - 1 if address.isdigit() else row + 1), -1
            address = b"%d" % (row + 1)
        else:
            place = area_of(address.decode("ascii", "replace"))
            at, column = (place[0], place[1]) if place else (max(row, 0), column + 1)
            address = b"%s%d" % (column_name(column).encode(), at + 1)
        rest = b"".join(b' %s="%s"' % (k, v.replace(b'"', b"&quot;")) for k, v in attributes.items())
        return b'<%s r="%s"%s%s>' % (match[1], address, rest, match[3])

    return _CELL_OR_ROW.sub(tag, xml)


def is_small(xml: bytes) -> bool:
    """Whether no cell stands beyond column Z or row 99,999, or beyond ZZ or 999: a quick look that spares `extent`."""
    return not _BEYOND_Z.search(xml) or not _BEYOND_ZZ.search(xml)


def extent(xml: bytes, valued: bool = False) -> tuple[int, int]:
    """Rows and columns a reader of this sheet has to hold, counted from A1; of cells with contents only, if asked."""
    end = rb"[^>/]*>" if valued else b""
    columns = set(re.findall(rb'<c r="([A-Z]+)\d+"' + end, xml))
    rows = set(re.findall(rb'<c r="[A-Z]+(\d+)"' + end, xml))
    return max(map(int, rows), default=0), 1 + max(map(column_index, columns), default=-1)


def errors(xml: bytes) -> dict[tuple[int, int], str]:
    """The error shown by each cell that shows one."""
    if b't="e"' not in xml:
        return {}
    return {(int(m[3]) - 1, column_index(m[2])): unescaped(m[4]) for m in _ERROR.finditer(xml)}


def known_errors_only(xml: bytes) -> bytes:
    """The sheet with errors of newer programs shown as #N/A, for a reader that stops at a name it does not know."""
    return _ERROR.sub(lambda m: m[0] if m[4].decode("utf-8", "replace") in KNOWN_ERRORS else m[1] + b"#N/A" + m[5], xml)


def has_formulas(xml: bytes) -> bool:
    """Whether any cell holds a formula."""
    return b"<f" in xml and _FORMULA_TAG.search(xml) is not None


def formulas(xml: bytes) -> dict[tuple[int, int], str]:
    """The text of every formula of the sheet by place; '' where it takes a neighbour's."""
    return {(int(m[2]) - 1, column_index(m[1])): unescaped(m[4] or b"") for m in _FORMULA.finditer(xml)}


def bound_formulas(xml: bytes) -> Iterator[FormulaCell]:
    """Every formula that stands for more than its own cell: shared ones, arrays, data tables."""
    if not _BOUND.search(xml):
        return
    for match in _FORMULA.finditer(xml):
        if not match[3]:
            continue
        attributes = {k: double or single for k, double, single in _ATTRIBUTE.findall(match[3])}
        area = area_of(attributes.get(b"ref", b"").decode("utf-8", "replace"))
        kind = attributes.get(b"t", b"").decode("utf-8", "replace")
        yield FormulaCell(int(match[2]) - 1, column_index(match[1]), unescaped(match[4] or b""), kind, area)


def number(xml: bytes, row: int, column: int) -> float | None:
    """The number a cell is stored as, whatever its look shows; None where it holds none."""
    place = b"%s%d" % (column_name(column).encode(), row + 1)
    match = re.search(rb'<c r="' + place + rb'"([^>/]*)>\s*<v[^>]*>([^<]*)</v>', xml)
    if not match or re.search(rb'\st="(?!n")', match[1]):
        return None
    try:
        return float(match[2])
    except ValueError:
        return None


def text_results(xml: bytes) -> Iterator[tuple[int, int]]:
    """The places of formulas whose stored result is a text, an empty one included."""
    if b't="str"' not in xml:
        return
    for letters, row in re.findall(rb'<c r="([A-Z]+)(\d+)"[^>]*?\st="str"[^>]*>\s*<f', xml):
        yield int(row) - 1, column_index(letters)


def merged(xml: bytes) -> tuple[Area, ...]:
    """The merged ranges."""
    if b"<mergeCell" not in xml:
        return ()
    found = (area_of(unescaped(ref)) for ref in re.findall(rb"""<mergeCell\s[^>]*?\bref\s*=\s*["']([^"']+)""", xml))
    return tuple(area for area in found if area)


def hidden_rows(xml: bytes) -> frozenset[int]:
    """The rows that are hidden, by hand or by a filter."""
    if xml.find(b"hidden=", xml.find(b"<sheetData")) < 0:
        return frozenset()
    return frozenset(int(r) - 1 for r in re.findall(rb'<row r="(\d+)"[^>]*?\shidden="(?:1|true)"', xml))


def is_protected(xml: bytes) -> bool:
    """Whether the tab is protected against changes."""
    return b"<sheetProtection" in xml and re.search(rb"""<sheetProtection\s[^>]*?\bsheet\s*=\s*["'](?:1|true)["']""", xml) is not None


def widths(xml: bytes) -> dict[int, float]:
    """The width of every column that states one, in characters; at most the first 1,000 columns."""
    found: dict[int, float] = {}
    for tag in re.findall(rb"<col\s[^>]*>", xml[: max(xml.find(b"<sheetData"), 0)]):
        attributes = {k: double or single for k, double, single in _ATTRIBUTE.findall(tag)}
        if b"width" in attributes:
            last = min(int(attributes.get(b"max", b"0")), 1000)
            for column in range(int(attributes.get(b"min", b"1")) - 1, last):
                found[column] = float(attributes[b"width"])
    return found
