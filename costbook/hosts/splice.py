"""Cells set, cleared and dressed in a sheet part by bytes put between two offsets of it.

The sheet is never written anew: rows are found by one pass of a regular expression that knows comments and CDATA, cells
only in the rows that change. `scan.py` reads sheets, this file changes them. Source: ECMA-376 part 1, clause 18.3.1.
"""

from __future__ import annotations

import re
from array import array
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from itertools import groupby
from typing import NamedTuple

from costbook.book.grid import ErrorValue, Formula, SetCell, Value, address
from costbook.errors import Where, WriteRefused
from costbook.hosts import scan
from costbook.hosts.cells import clean, escaped, serial, stored_result
from costbook.hosts.ooxml import ATTRIBUTES, Splice, ascii_bytes, spliced

# The look a cell gets, from the index of the one it has or takes over (None: none at all).
Pick = Callable[[SetCell, int | None], int | None]

_SKIP = rb"<!--.*?-->|<!\[CDATA\[.*?\]\]>|<\?.*?\?>"
_ROOT = re.compile(rb"<((?:[^\s<>/:!?]+:)?)worksheet(?=[\s/>])" + ATTRIBUTES + rb">")
_PAIR = re.compile(rb"""([\w:.-]+)\s*=\s*("[^"]*"|'[^']*')""")
_ROW_NUMBER = re.compile(rb"""(?:^|\s)r\s*=\s*["']\s*(\d+)""")
_OTHERS_OWN = (b"cm", b"vm")


class _Row(NamedTuple):
    """A row by its number and the places of its start tag, with its attributes as written."""

    number: int
    start: int
    open_end: int
    attributes: bytes

    @property
    def closed(self) -> bool:
        """Whether its start tag is all of it."""
        return self.attributes.endswith(b"/")


@dataclass(frozen=True, slots=True)
class _Cell:
    """A cell by its places, with its attributes as written."""

    column: int
    start: int
    end: int
    attributes: tuple[tuple[bytes, bytes], ...]
    has_formula: bool


@lru_cache(maxsize=64)
def _open_tag(prefix: bytes, name: bytes, skip: bool) -> re.Pattern[bytes]:
    tag = rb"<" + re.escape(prefix) + name + rb"(?=[\s/>])(" + ATTRIBUTES + rb")>"
    return re.compile(_SKIP + rb"|" + tag if skip else tag, re.S)


@lru_cache(maxsize=64)
def _end_tag(prefix: bytes, name: bytes, skip: bool) -> re.Pattern[bytes]:
    tag = rb"(</" + re.escape(prefix) + name + rb"\s*>)"
    return re.compile(_SKIP + rb"|" + tag if skip else tag, re.S)


def _attributes(raw: bytes) -> tuple[tuple[bytes, bytes], ...]:
    return tuple((name, value) for name, value in _PAIR.findall(raw))


def _number(raw: bytes, name: bytes) -> int | None:
    """A whole number an attribute states."""
    value = next((v[1:-1].strip() for k, v in _attributes(raw) if k == name), b"")
    return int(value) if value.isdigit() else None


class Sheet:
    """A worksheet part, opened for changes of cells.

    Raises:
        WriteRefused: its cells cannot be found.
    """

    def __init__(self, xml: bytes, tab: str, from_1904: bool = False) -> None:
        self._xml, self._tab, self._from_1904 = xml, tab, from_1904
        self._skip = b"<!" in xml or xml.count(b"<?") > 1
        root = _ROOT.search(xml)
        self._prefix = root[1] if root else b""
        match = next(self._found(b"sheetData", root.end() if root else 0, len(xml)), None)
        if match is None:
            raise WriteRefused("its cells cannot be found in the file.", Where(tab), "Save it in your office program.")
        assert root is not None
        self._head = (root.end(), match.start())
        self._data = match
        self._closed = match[1].endswith(b"/")
        self._start = match.end()
        self._end = self._start if self._closed else self._close(b"sheetData", self._start, len(xml))
        # Only where each row starts: a big sheet has very many of them.
        self._numbers, self._starts = array("l"), array("q")
        self._place_rows()
        self._by_number = dict(zip(self._numbers, self._starts))
        # A row that is there twice has one place by number only.
        self._some_twice = len(self._by_number) < len(self._numbers)
        self._known: dict[int, list[_Cell]] = {}
        self.lost_formula = False

    def _found(self, name: bytes, start: int, end: int) -> Iterator[re.Match[bytes]]:
        for match in _open_tag(self._prefix, name, self._skip).finditer(self._xml, start, end):
            if match[1] is not None:
                yield match

    def _close(self, name: bytes, start: int, end: int) -> int:
        for match in _end_tag(self._prefix, name, self._skip).finditer(self._xml, start, end):
            if match[1] is not None:
                return match.start()
        raise WriteRefused("its cells cannot be told apart.", Where(self._tab), "Save it in your office program.")

    def _place_rows(self) -> None:
        number = 0
        for match in self._found(b"row", self._start, self._end):
            stated = _ROW_NUMBER.search(match[1])
            number = int(stated[1]) if stated else number + 1
            self._numbers.append(number)
            self._starts.append(match.start())

    def _row(self, number: int) -> _Row | None:
        start = self._by_number.get(number)
        if start is None:
            return None
        match = next(self._found(b"row", start, self._end))
        return _Row(number, start, match.end(), match[1])

    def _cells(self, row: _Row) -> list[_Cell]:
        if row.start not in self._known:
            self._known[row.start] = self._read_cells(row)
        return self._known[row.start]

    def _read_cells(self, row: _Row) -> list[_Cell]:
        found: list[_Cell] = []
        at, column = row.open_end, -1
        stop = row.open_end if row.closed else self._close(b"row", row.open_end, self._end)
        while match := next(self._found(b"c", at, stop), None):
            pairs = _attributes(match[1])
            stated = next((scan.area_of(v[1:-1].decode("ascii", "replace")) for k, v in pairs if k == b"r"), None)
            column = stated[1] if stated else column + 1
            at, has_formula = match.end(), False
            if not match[1].endswith(b"/"):
                close = self._close(b"c", at, stop)
                has_formula = b"<" + self._prefix + b"f" in self._xml[at:close]
                at = self._xml.index(b">", close) + 1
            if any(cell.column == column for cell in found[-1:]) or (stated and stated[0] != row.number - 1):
                raise self._refusal(row.number - 1, column, "its row holds cells at the wrong place.")
            found.append(_Cell(column, match.start(), at, pairs, has_formula))
        return found

    def _refusal(self, row: int, column: int, why: str) -> WriteRefused:
        return WriteRefused(why, Where(self._tab, address(row, column)), "Change it by hand.")

    def undressed(self, edits: Collection[SetCell]) -> list[SetCell]:
        """The edits whose cell has no look of its own, of its row or of its column."""
        asked: list[SetCell] = []

        def pick(edit: SetCell, look: int | None) -> int | None:
            if look is None:
                asked.append(edit)
            return look

        list(self._splices(edits, pick))
        return asked

    def written(self, edits: Collection[SetCell], pick: Pick) -> bytes:
        """The part with the edits made."""
        if not edits:
            return self._xml
        splices = list(self._splices(edits, pick))
        if self._closed:
            tag = self._prefix + b"sheetData"
            at = self._xml.rindex(b"/", self._data.start(), self._start)
            new = b"".join(new for _, _, new in splices)
            splices = [(at, self._start, b">" + new + b"</" + tag + b">")]
        return spliced(self._xml, [*splices, *self._dimension(edits)])

    def _splices(self, edits: Collection[SetCell], pick: Pick) -> Iterator[Splice]:
        ordered = sorted(edits, key=lambda e: (e.row, e.column))
        for index, group in groupby(ordered, key=lambda e: e.row):
            inside = list(group)
            row = self._row(index + 1)
            if row is None:
                at = next((start for n, start in zip(self._numbers, self._starts) if n > index + 1), self._end)
                yield at, at, self._new_row(index, inside, pick)
                continue
            if self._some_twice and self._numbers.count(index + 1) > 1:
                raise self._refusal(index, inside[0].column, "its row is there twice.")
            yield from self._row_splices(row, inside, pick)

    def _new_row(self, index: int, edits: list[SetCell], pick: Pick) -> bytes:
        cells = b"".join(self._made(edit, pick(edit, self._column_look(edit.column))) for edit in edits)
        return b'<%srow r="%d">%s</%srow>' % (self._prefix, index + 1, cells, self._prefix)

    def _row_splices(self, row: _Row, edits: list[SetCell], pick: Pick) -> Iterator[Splice]:
        cells = self._cells(row)
        by_column = {cell.column: cell for cell in cells}
        row_look = self._row_look(row)
        stop = row.open_end if row.closed else self._close(b"row", row.open_end, self._end)
        last: list[bytes] = []
        for edit in edits:
            cell = by_column.get(edit.column)
            if cell is not None:
                yield cell.start, cell.end, self._replaced(edit, cell, pick)
                continue
            look = row_look if row_look is not None else self._column_look(edit.column)
            new = self._made(edit, pick(edit, look))
            after = next((c for c in cells if c.column > edit.column), None)
            if after is None and row.closed:
                last.append(new)
            else:
                at = after.start if after else stop
                yield at, at, new
        if last:
            at = self._xml.rindex(b"/", row.start, row.open_end)
            yield at, row.open_end, b">" + b"".join(last) + b"</" + self._prefix + b"row>"
        yield from self._spans(row, edits)

    def _spans(self, row: _Row, edits: list[SetCell]) -> Iterator[Splice]:
        match = re.search(rb"""(?:^|\s)spans\s*=\s*["'](\d+):(\d+)["']""", row.attributes)
        if match:
            first = min(int(match[1]), *(edit.column + 1 for edit in edits))
            final = max(int(match[2]), *(edit.column + 1 for edit in edits))
            if (first, final) != (int(match[1]), int(match[2])):
                base = row.open_end - 1 - len(row.attributes)
                yield base + match.start(1), base + match.end(2), b"%d:%d" % (first, final)

    def _row_look(self, row: _Row) -> int | None:
        custom = any(k == b"customFormat" and v[1:-1] in (b"1", b"true") for k, v in _attributes(row.attributes))
        return _number(row.attributes, b"s") if custom else None

    def _column_look(self, column: int) -> int | None:
        for match in self._found(b"col", *self._head):
            first, final = _number(match[1], b"min") or 0, _number(match[1], b"max") or 0
            if first <= column + 1 <= final:
                return _number(match[1], b"style") or None
        return None

    def _replaced(self, edit: SetCell, cell: _Cell, pick: Pick) -> bytes:
        if any(name in _OTHERS_OWN for name, _ in cell.attributes):
            why = "the cell holds a linked data type or a formula that spills over its neighbours."
            raise self._refusal(edit.row, edit.column, why)
        self.lost_formula = self.lost_formula or cell.has_formula
        stated = next((v[1:-1] for k, v in cell.attributes if k == b"s"), b"")
        look = pick(edit, int(stated) if stated.strip().isdigit() else 0)
        kept = b"".join(b" %s=%s" % (k, v) for k, v in cell.attributes if k not in (b"r", b"s", b"t"))
        return self._made(edit, look if look or stated else None, kept)

    def _made(self, edit: SetCell, look: int | None, kept: bytes = b"") -> bytes:
        kind, inside = content(self._prefix, edit.value, self._from_1904)
        style = b"" if look is None else b' s="%d"' % look
        type_ = b' t="%s"' % kind if kind else b""
        tag = self._prefix + b"c"
        head = b'<%s r="%s"%s%s%s' % (tag, address(edit.row, edit.column).encode(), style, type_, kept)
        return head + (b">%s</%s>" % (inside, tag) if inside else b"/>")

    def _dimension(self, edits: Collection[SetCell]) -> Iterator[Splice]:
        match = next(self._found(b"dimension", *self._head), None)
        ref = re.search(rb"""ref\s*=\s*["']([^"']*)["']""", match[1]) if match else None
        area = scan.area_of(ref[1].decode("ascii", "replace")) if ref else None
        filled = [edit for edit in edits if edit.value is not None]
        if not (match and ref and area and filled):
            return
        rows, columns = {e.row for e in filled}, {e.column for e in filled}
        grown = (min(area[0], *rows), min(area[1], *columns), max(area[2], *rows), max(area[3], *columns))
        if grown != area:
            base = match.start(1)
            told = f"{address(*grown[:2])}:{address(*grown[2:])}".encode()
            yield base + ref.start(1), base + ref.end(1), told


def content(prefix: bytes, value: Value | Formula, from_1904: bool = False) -> tuple[bytes, bytes]:
    """The kind (t=) and the inside of a cell that holds the value; text never becomes a formula."""
    if isinstance(value, Formula):
        stored = stored_result(clean(value.result), from_1904)
        told = b"<%sv>%s</%sv>" % (prefix, stored[1], prefix) if stored else b""
        formula = b"<%sf>%s</%sf>" % (prefix, ascii_bytes(value.text), prefix)
        return stored[0].encode() if stored else b"", formula + told
    value = clean(value)
    if value is None:
        return b"", b""
    if isinstance(value, str):
        space = b' xml:space="preserve"' if value != value.strip() or "\n" in value or "  " in value else b""
        text = ascii_bytes(escaped(value)).replace(b"&quot;", b'"')
        return b"inlineStr", b"<%sis><%st%s>%s</%st></%sis>" % (prefix, prefix, space, text, prefix, prefix)
    if isinstance(value, bool):
        kind, raw = b"b", b"%d" % value
    elif isinstance(value, ErrorValue):
        kind, raw = b"e", ascii_bytes(value.text)
    elif isinstance(value, date):
        kind, raw = b"", b"%d" % serial(value, from_1904)
    else:
        whole = isinstance(value, float) and value.is_integer() and abs(value) < 1e15
        kind, raw = b"", repr(int(value) if whole else value).encode()
    return kind, b"<%sv>%s</%sv>" % (prefix, raw, prefix)
