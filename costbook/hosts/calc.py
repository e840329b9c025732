"""A workbook that is open in Calc, behind the same three calls as a file: `snapshot`, `apply`, `close`.

The document itself is read and written by the extension, in the office's own process (`addons/calc`). What stands here
turns its plain lists into a `Snapshot` and `Edits` into plain lists; `ask` carries one question over and brings the answer.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from itertools import groupby
from math import floor
from pathlib import Path
from typing import Any

from costbook import errors
from costbook.book.grid import (
    Cell,
    Edits,
    ErrorValue,
    Formula,
    Grid,
    PutTab,
    SetCell,
    Snapshot,
    Value,
)
from costbook.book.layout import COLOURS, DAY, SERIES, STYLES, Style
from costbook.errors import HostError, Where
from costbook.hosts.cells import clean
from costbook.hosts.notation import bare, for_calc, from_calc, link_address, relative
from costbook.hosts.places import Area, Held, named, refuse_protected, same, wanted_cells
from costbook.hosts.render import fitted, lowest

Plain = dict[str, Any]
Ask = Callable[[Plain], Plain]

CHARACTER_MM = 1.9578  # a column as wide as one figure of the ordinary letters, as Calc reads it from a file
POINT_MM = 25.4 / 72
TRUTH = " truth"
HELD = {
    "array": ("the cell is part of an array formula.", "Clear the whole range by hand."),
    "table": ("the cell is a heading or total of a table.", "Change it by hand."),
    "pivot": ("the cell belongs to a pivot table.", "Change what the pivot table is made from."),
}


class CalcDocument:
    """Her workbook as it is open in Calc. Not to be shared between threads.

    Args:
        ask: sends one question to the extension and returns its answer.
        path: the file it was opened from; for a document never saved, the name of its window.
    """

    def __init__(self, ask: Ask, path: Path) -> None:
        self._ask = ask
        self.path = path
        self.name = path.name
        self._read: Snapshot | None = None
        self._told: Plain = {}
        self._epoch = date(1899, 12, 30)

    def snapshot(self) -> Snapshot:
        """The whole workbook as it is open now, saved or not.

        Raises:
            HostUnavailable: the document was closed, or a tab is too large to be read.
        """
        self._told = self._answer({"ask": "snapshot"})
        self._epoch = date.fromisoformat(self._told["epoch"])
        self._read = Snapshot(self.name, {tab["name"]: _grid(tab, self._epoch) for tab in self._told["tabs"]})
        return self._read

    def apply(self, edits: Edits) -> bool:
        """Whether something was written: False where the workbook shows all of it already. One undo takes it back.

        Raises:
            WorkbookChanged: she edited the workbook since the snapshot; nothing was written.
            WriteRefused: a cell or a tab may not be written; nothing was written.
            HostUnavailable: the document was closed.
        """
        read = self._read or self.snapshot()
        held = {tab["name"]: tuple(_held(tab)) for tab in self._told["tabs"]}
        cells = tuple(wanted_cells(edits.cells, read, self._holds, lambda grid: held[grid.name]))
        tabs = tuple(at_its_name(tab, read) for tab in edits.tabs if tab_differs(tab, read))
        if not cells and not tabs:
            return False
        refuse_protected(read, tabs)
        self._answer({"ask": "apply", "edits": self._plain(cells, tabs, read)})
        self._read = None
        return True

    def close(self) -> None:
        """The document stays open; what was read of it is forgotten."""
        self._read, self._told = None, {}

    def _answer(self, question: Plain) -> Plain:
        answer = self._ask(question)
        if "refused" in answer:
            raise refusal(answer["refused"])
        return answer

    def _holds(self, grid: Grid, edit: SetCell) -> bool:
        """Whether the cell holds what it is to hold; a number that her look shows as a day is that number."""
        there, value = grid.value(edit.row, edit.column), edit.value
        if isinstance(there, date) and isinstance(value, int | float) and not isinstance(value, bool):
            told = next(tab for tab in self._told["tabs"] if tab["name"] == grid.name)
            return same(told["rows"][edit.row][edit.column], value)
        return same(there, value)

    def _plain(self, cells: Sequence[SetCell], tabs: Sequence[PutTab], read: Snapshot) -> Plain:
        used = {cell.style for tab in tabs for row in tab.rows for cell in row}
        used |= {c.style + TRUTH for t in tabs for row in t.rows for c in row if isinstance(c.value, bool)}
        used |= {edit.style for edit in cells if edit.style}
        lights = {light.style for tab in tabs for light in tab.look.highlights}
        return {
            "mark": self._told["mark"],
            "styles": [*map(_style, sorted(used)), *(_style(name, True) for name in sorted(lights))],
            "cells": [self._cell(edit, read) for edit in cells],
            "tabs": [_tab(tab, self._epoch) for tab in tabs],
        }

    def _cell(self, edit: SetCell, read: Snapshot) -> list[Any]:
        grid = named(read, edit.tab)
        value = clean(edit.value)
        stored = None if value is None else value if isinstance(value, bool | str) else _stored(value, self._epoch)
        return [grid.name if grid else edit.tab, edit.row, edit.column, stored, isinstance(value, date), edit.style]


def refusal(told: Mapping[str, Any]) -> HostError:
    """The error of costbook that an answer of the extension tells of."""
    kind = getattr(errors, str(told.get("kind")), errors.HostUnavailable)
    tab, cell = told.get("where") or ("", "")
    made: HostError = kind(told["sentence"], Where(tab, cell) if tab else None, told.get("do", ""))
    return made


# ------------------------------------------------------------------ what was read


def _grid(tab: Plain, epoch: date) -> Grid:
    rows: list[list[Value]] = tab["rows"]
    rows = [list(row) for row in rows]
    for r, c in _places(tab["days"], rows):
        value = rows[r][c]
        if isinstance(value, float):
            rows[r][c] = epoch + timedelta(days=floor(value))
    for r, c in _places(tab["truths"], rows):
        if rows[r][c] in (0.0, 1.0):
            rows[r][c] = bool(rows[r][c])
    for r, c, text in tab["errors"]:
        rows[r] += [None] * (c + 1 - len(rows[r]))
        rows[r][c] = ErrorValue(text)
    return Grid(
        tab["name"],
        tuple(map(tuple, rows)),
        {(r, c): from_calc(text) for r, c, text in tab["formulas"]},
        tuple(tuple(area) for area in tab["merged"]),
        frozenset(tab["hidden"]),
        tab["protected"],
    )


def _places(areas: Iterable[Sequence[int]], rows: Sequence[Sequence[Value]]) -> Iterator[tuple[int, int]]:
    """The places of these areas that rows reach."""
    for top, left, bottom, right in areas:
        for row in range(top, min(bottom + 1, len(rows))):
            for column in range(left, min(right + 1, len(rows[row]))):
                yield row, column


def _held(tab: Plain) -> Iterator[Held]:
    for kind, area in tab["held"]:
        yield Held((area[0], area[1], area[2], area[3]), *HELD[kind])


def at_its_name(tab: PutTab, read: Snapshot) -> PutTab:
    """The tab under the name the workbook has it by, capitals apart."""
    grid = named(read, tab.name)
    return tab if grid is None else tab._replace(name=grid.name)


def tab_differs(tab: PutTab, read: Snapshot) -> bool:
    """Whether the workbook shows other values or formulas; a result the office worked out counts to its 11th digit."""
    grid = named(read, tab.name)
    if grid is None or not tab.grid().same_values(grid):
        return True
    ours = {(r, c): bare(cell.value.text) for r, c, cell in _filled(tab) if isinstance(cell.value, Formula)}
    return ours != {place: bare(text) for place, text in grid.formulas.items()}


# ------------------------------------------------------------------ what is to be written


def _filled(tab: PutTab) -> Iterator[tuple[int, int, Cell]]:
    for r, row in enumerate(tab.rows):
        for c, cell in enumerate(row):
            yield r, c, cell


def _style(name: str, light: bool = False) -> Plain:
    """A declared style as the extension makes it; as a highlight only its colours."""
    style = STYLES[name.removesuffix(TRUTH)]
    return {
        "name": f"{name} light" if light else name, "light": light, "bold": style.bold, "italic": style.italic, "size": style.size,
        "ink": _colour(COLOURS[style.ink]), "fill": _colour(COLOURS[style.fill]) if style.fill else None, "wrap": style.wrap,
        "align": style.align or ("left" if style.indent else ""), "indent": style.indent, "locked": style.locked,
        "line": _colour(COLOURS["line"]) if style.line else None, "format": "BOOLEAN" if name.endswith(TRUTH) else _format(style),
    }  # fmt: skip


def _format(style: Style) -> str:
    return DAY.upper() if style.number_format == DAY else style.number_format


def _colour(text: str) -> int:
    return int(text, 16)


def _stored(value: Value, epoch: date) -> float | str:
    """What a block write takes: a number, or text; nothing is an empty text."""
    value = clean(value)
    if value is None:
        return ""
    if isinstance(value, ErrorValue):
        return value.text
    if isinstance(value, date):
        return float((value - epoch).days)
    return float(value) if isinstance(value, bool | int | float) else value


def _tab(tab: PutTab, epoch: date) -> Plain:
    look = tab.look
    wide = max(map(len, tab.rows), default=0)
    rows = [[_plain_value(cell, epoch) for cell in row] + [""] * (wide - len(row)) for row in tab.rows]
    heights, merged = fitted(tab, {name for name, style in STYLES.items() if style.wrap})
    lit = [[list(h.area), for_calc(h.formula), f"{h.style} light"] for h in look.highlights]
    return {
        "name": tab.name, "rows": rows, "formulas": _formula_blocks(tab), "styled": styled_areas(tab),
        "links": [[r, c, link_address(cell.link), str(cell.value)] for r, c, cell in _filled(tab) if cell.link],
        "widths": [[c, round(w * CHARACTER_MM * 100)] for c, w in look.widths.items()],
        "tall": len(tab.rows), "heights": _runs({row: round(height * POINT_MM * 100) for row, height in heights.items()}),
        "merged": [[row, 0, row, last] for row, last in merged.items()], "hidden_columns": list(look.hidden_columns),
        "notes": [[r, c, text] for (r, c), text in look.notes.items()],
        "rules": [made for rule in look.rules if (made := _rule(rule.area, rule.kind, rule.source, rule.message))],
        "lights": lit, "charts": [_chart(tab, i) for i in range(len(look.charts))],
        "freeze": list(look.freeze), "filter": list(look.filter) if look.filter else None, "grid": look.colour != COLOURS["tool tab"],
        "colour": _colour(look.colour) if look.colour else -1, "landscape": look.landscape, "pages_wide": look.pages_wide,
        "title_rows": list(look.title_rows) if look.title_rows else None,
        "print_area": list(look.print_area) if look.print_area else None,
    }  # fmt: skip


def _runs(heights: Mapping[int, int]) -> list[list[int]]:
    """Rows of one height that follow each other, as [first, last, height]."""
    runs: list[list[int]] = []
    for row, height in sorted(heights.items()):
        if runs and runs[-1][1] == row - 1 and runs[-1][2] == height:
            runs[-1][1] = row
        else:
            runs.append([row, row, height])
    return runs


def _plain_value(cell: Cell, epoch: date) -> float | str:
    return "" if isinstance(cell.value, Formula | ErrorValue) else _stored(cell.value, epoch)


def _formula_blocks(tab: PutTab) -> list[list[Any]]:
    """Formulas as [first row, first column, rows of texts, rows in all].

    One that goes on down a column, each cell with its own row, is given once and filled down; the others, next to each other, in blocks.
    """
    texts = {(r, c): text for r, c, cell in _filled(tab) if (text := _formula(cell))}
    blocks: list[list[Any]] = []
    by_column = sorted(texts, key=lambda place: (place[1], place[0]))
    for (column, _), run in groupby(by_column, lambda place: (place[1], relative(texts[place], place[0]))):
        rows = [row for row, _ in run]
        if len(rows) > 1 and rows[-1] - rows[0] == len(rows) - 1:
            blocks.append([rows[0], column, [[texts[rows[0], column]]], len(rows)])
            for row in rows:
                del texts[row, column]
    return blocks + _side_by_side(texts)


def _side_by_side(texts: Mapping[tuple[int, int], str]) -> list[list[Any]]:
    """The formulas that are left, rows of as many beside each other in one block."""
    blocks: list[list[Any]] = []
    for row, filled in groupby(sorted(texts), lambda place: place[0]):
        for _, run in groupby(enumerate(column for _, column in filled), lambda pair: pair[1] - pair[0]):
            columns = [column for _, column in run]
            side = [texts[row, column] for column in columns]
            above = next((b for b in blocks[-4:] if b[1] == columns[0] and b[0] + b[3] == row and len(b[2][0]) == len(side)), None)
            if above:
                above[2].append(side)
                above[3] += 1
            else:
                blocks.append([row, columns[0], [side], 1])
    return blocks


def _formula(cell: Cell) -> str:
    if isinstance(cell.value, Formula):
        return "=" + for_calc(cell.value.text)
    return "=" + cell.value.text if isinstance(cell.value, ErrorValue) else ""


def styled_areas(tab: PutTab) -> list[list[Any]]:
    """For each style the areas that have it: runs down a column, alike runs side by side as one area."""
    runs: dict[tuple[str, int, int], list[int]] = {}
    for column in range(max(map(len, tab.rows), default=0)):
        cells = (row[column] if column < len(row) else Cell() for row in tab.rows)
        for style, run in groupby(enumerate(cells), lambda pair: _style_of(pair[1])):
            places = [row for row, _ in run]
            if style:
                runs.setdefault((style, places[0], places[-1]), []).append(column)
    areas: dict[str, list[list[int]]] = {}
    for (style, top, bottom), columns in runs.items():
        for _, side in groupby(enumerate(columns), lambda pair: pair[1] - pair[0]):
            beside = [column for _, column in side]
            areas.setdefault(style, []).append([top, beside[0], bottom, beside[-1]])
    return [[style, found] for style, found in areas.items()]


def _style_of(cell: Cell) -> str:
    if cell == Cell():
        return ""
    return cell.style + TRUTH if isinstance(cell.value, bool) else cell.style


def _rule(area: Area, kind: str, source: Collection[str] | str, message: str) -> Plain | None:
    told = {"list": "Usually one of: " + ", ".join(source), "range": "Usually one of the list.",
            "number": "Usually a number, 0 or more.", "date": "Usually a date."}[kind]  # fmt: skip
    formula = {"number": "0", "date": "1"}.get(kind, "")
    if kind == "list":
        formula = ";".join('"' + text.replace('"', '""') + '"' for text in source)
    elif kind == "range":
        formula = for_calc(str(source))
    return {"area": list(area), "kind": kind, "source": formula, "error": (message or told)[:225],
            "hint": message[:255] if kind in ("list", "range") else ""}  # fmt: skip


def _chart(tab: PutTab, number: int) -> Plain:
    chart = tab.look.charts[number]
    return {
        "kind": chart.kind, "title": chart.title, "at": list(chart.at), "labels": list(chart.labels),
        "series": [[[*s.name, *s.name], list(s.values)] for s in chart.series],
        "colours": [_colour(s.colour or SERIES[i % len(SERIES)]) for i, s in enumerate(chart.series)],
        "width": round(chart.width_cm * 1000), "height": round(chart.height_cm * 1000),
        "value_title": chart.value_title, "format": chart.number_format, "lowest": lowest(tab, chart),
    }  # fmt: skip
