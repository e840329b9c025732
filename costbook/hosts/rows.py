"""The cells of the tool's own tabs as the rows of a sheet part, written straight as XML, a piece at a time.

A big tab has hundreds of thousands of cells, so there is no object per cell beside the tool's own and no more than a few
hundred rows are held at once. Everything of a tab but its cells is drawn in `render.py`. Source: ECMA-376 part 1, clause
18.3.1.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from xml.sax.saxutils import escape

from costbook.book.grid import Cell, ErrorValue, Formula, PutTab, Value, address, column_name, sheet_ref
from costbook.hosts.cells import FORMULA_LIKE, clean, escaped, looks_like_formula, serial, stored_result

ROWS_A_PIECE = 256
TEXTS_KEPT = 20_000
_SPECIAL = re.compile("[&<>]|_x")  # what is spelled otherwise in XML or in the format

# A style, whether the cell leads somewhere, and whether its text must be kept from being a formula.
Look = tuple[str, bool, bool]


def look_of(cell: Cell) -> Look:
    """The look a cell asks for."""
    return cell.style, cell.link is not None, looks_like_formula(cell.value)


def looks_of(tab: PutTab) -> list[Look]:
    """The looks a tab's cells ask for, in the order in which they come."""
    plain: set[str] = set()  # the styles met on ordinary cells
    found: dict[Look, None] = {}
    for cells in tab.rows:
        for cell in [
            cell
            for cell in cells
            if cell.style not in plain
            or cell.link is not None
            or (isinstance(v := cell.value, str) and v[:1] in FORMULA_LIKE)
        ]:
            if not _nothing(cell):
                look = look_of(cell)
                found[look] = None
                if look == (cell.style, False, False):
                    plain.add(cell.style)
    return list(found)


def _nothing(cell: Cell) -> bool:
    return cell.value is None and cell.style == "plain" and cell.link is None


def corners(tab: PutTab) -> list[tuple[int, int]]:
    """The first and the last place of the range that holds the tab's cells; none where there are none."""
    rows, first, last = [], [], []
    for row, cells in enumerate(tab.rows):
        start, end = 0, len(cells)
        while start < end and _nothing(cells[start]):
            start += 1
        while start < end and _nothing(cells[end - 1]):
            end -= 1
        if start < end:
            rows.append(row)
            first.append(start)
            last.append(end - 1)
    return [(rows[0], min(first)), (rows[-1], max(last))] if rows else []


@dataclass(frozen=True)
class Rows:
    """The cells of one tab.

    Args:
        looks: the index of every look its cells ask for, in the styles part the tab was drawn with.
        heights: of rows that state one, in points.
        bare: cells that hold nothing, by place, with the index of their look or None.
        merged: the last column of rows whose first cell spans to there; what else stands in between goes.
    """

    tab: PutTab
    looks: Mapping[Look, int]
    heights: Mapping[int, float]
    bare: Mapping[tuple[int, int], int | None]
    merged: Mapping[int, int]
    from_1904: bool

    def pieces(self, moved: Sequence[int] | None = None) -> Iterator[bytes]:
        """The rows as XML, some hundred at a time.

        Args:
            moved: the index of each look in another workbook's styles part, which then every cell states.
        """
        told = {look: f' s="{moved[index] if moved else index}"' for look, index in self.looks.items()}
        writer = _Writer(told, max(map(len, self.tab.rows), default=0), self.from_1904)
        bare: dict[int, dict[int, str]] = {}
        for (row, column), index in self.bare.items():
            look = "" if index is None and not moved else f' s="{moved[index or 0] if moved else index}"'
            bare.setdefault(row, {})[column] = look
        held: list[str] = []
        rows = self.tab.rows
        beyond = max((len(rows) - 1, *bare, *self.heights))
        for row in range(beyond + 1):
            cells = rows[row] if row < len(rows) else ()
            if row in self.merged:
                cells = (*cells[:1], *(Cell(),) * self.merged[row], *cells[self.merged[row] + 1 :])
            inside = writer.row_with(row + 1, cells, bare[row]) if row in bare else writer.row(row + 1, cells)
            if inside or row in self.heights:
                height = f' ht="{self.heights[row]:.16g}" customHeight="1"' if row in self.heights else ""
                held.append(f'<row r="{row + 1}"{height}>{inside}</row>')
            if len(held) == ROWS_A_PIECE:
                yield "".join(held).encode()
                held.clear()
        yield "".join(held).encode()

    def links(self) -> bytes:
        """The element that says where cells lead, or nothing where none does."""
        if not any(leads for _, leads, _ in self.looks):
            return b""
        found = [
            f'<hyperlink ref="{address(row, column)}" location="{_attribute(target)}"/>'
            for row, cells in enumerate(self.tab.rows)
            for column, cell in enumerate(cells)
            if cell.link and (target := f"{sheet_ref(cell.link.tab)}!{cell.link.cell or 'A1'}")
        ]
        return f"<hyperlinks>{''.join(found)}</hyperlinks>".encode()


def _attribute(text: str) -> str:
    return escape(text, {'"': "&quot;", "\n": "&#10;", "\t": "&#9;"})


class _Writer:
    """Cells as XML, with what was written of a text or of a look remembered."""

    def __init__(self, looks: Mapping[Look, str], columns: int, from_1904: bool) -> None:
        self._looks, self._from_1904 = looks, from_1904
        self._letters = [f'<c r="{column_name(column)}' for column in range(columns)]
        self._plain = {s: f'"{told} t="' for (s, leads, quoted), told in looks.items() if not leads and not quoted}
        self._texts: dict[str, str] = {}

    def row(self, number: int, cells: Sequence[Cell]) -> str:
        """The inside of a row; `number` counts from 1."""
        found: list[str] = []
        add, texts, plain = found.append, self._texts, self._plain
        for letters, cell in zip(self._letters, cells):
            value, style, link = cell
            if link is None:
                kind = value.__class__
                if kind is float and value - value == 0:  # type: ignore[operator]  # neither endless nor undefined
                    told = repr(value)
                    add(f'{letters}{number}{plain[style]}n"><v>{told[:-2] if told[-2:] == ".0" else told}</v></c>')
                    continue
                if value is None:
                    if style != "plain":
                        add(f'{letters}{number}{plain[style]}n"></c>')
                    continue
                if kind is str and (text := texts.get(value)):  # type: ignore[arg-type]
                    add(f"{letters}{number}{plain[style]}{text}")
                    continue
            add(f'{letters}{number}"{self._looks[look_of(cell)]}{self._inside(value)}')
        return "".join(found)

    def row_with(self, number: int, cells: Sequence[Cell], bare: Mapping[int, str]) -> str:
        """The inside of a row some of whose empty cells are written too, with the looks given by column."""
        found = []
        for column in range(max(len(cells), max(bare) + 1)):
            cell = cells[column] if column < len(cells) else Cell()
            place = f'<c r="{column_name(column)}{number}"'
            if not _nothing(cell):
                found.append(f"{place}{self._looks[look_of(cell)]}{self._inside(cell.value)}")
            elif column in bare:
                found.append(f'{place}{bare[column]} t="n"></c>')
        return "".join(found)

    def _inside(self, value: Value | Formula) -> str:
        """What comes after the look of a cell."""
        if isinstance(value, Formula):
            return self._formula(value)
        raw, value = value, clean(value)
        if isinstance(value, str):
            space = ' xml:space="preserve"' if value != value.strip() else ""
            told = escape(escaped(value)) if _SPECIAL.search(value) else value
            text = f'inlineStr"><is><t{space}>{told}</t></is></c>'
            if not looks_like_formula(raw):
                if len(self._texts) == TEXTS_KEPT:
                    self._texts.clear()
                self._texts[str(raw)] = text
            return f' t="{text}'
        if value is None:
            return ' t="n"></c>'
        if isinstance(value, ErrorValue):
            return f' t="e"><v>{escape(value.text)}</v></c>'
        if isinstance(value, date):
            return f' t="n"><v>{serial(value, self._from_1904)}</v></c>'
        return f' t="{"b" if isinstance(value, bool) else "n"}"><v>{value + 0!r}</v></c>'

    def _formula(self, formula: Formula) -> str:
        stored = stored_result(clean(formula.result), self._from_1904)
        text = escape(formula.text)
        if stored is None:
            return f"><f>{text}</f><v></v></c>"
        return f' t="{stored[0]}"><f>{text}</f><v>{stored[1].decode()}</v></c>'


@dataclass(frozen=True)
class Part:
    """A sheet part: what stands before its rows, the rows, and what stands after them."""

    head: bytes
    rows: Rows
    tail: bytes

    @classmethod
    def of(cls, shell: bytes, rows: Rows) -> Part:
        """The part that was drawn without its cells, with them."""
        head, _, rest = shell.partition(b"<sheetData")
        tail = rest.partition(b"</sheetData>")[2] if b"</sheetData>" in rest else rest.partition(b"/>")[2]
        # Margins are always stated, and come next.
        before, margins, after = tail.partition(b"<pageMargins")
        return cls(head + b"<sheetData>", rows, b"</sheetData>" + before + rows.links() + margins + after)

    def pieces(self, moved: Sequence[int] | None = None) -> Iterator[bytes]:
        """The part from its beginning to its end; `moved` as `Rows.pieces` has it."""
        yield self.head
        yield from self.rows.pieces(moved)
        yield self.tail
