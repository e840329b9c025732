"""An open Calc document as plain lists: what stands in it now, and a mark by which a later change is noticed.

Everything is read in blocks. Rows and columns count from 0. Areas are [first row, first column, last row, last column].
"""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any

VALUE, DATETIME, STRING, FORMULA = 1, 2, 4, 16
ERRORS = 4
DATE, LOGICAL = 2, 1024
MOST_CELLS = 5_000_000
ERROR_TEXTS = {502: "#VALUE!", 503: "#NUM!", 504: "#REF!", 519: "#VALUE!", 521: "#NULL!", 524: "#REF!", 525: "#NAME?",
               532: "#DIV/0!", 32767: "#N/A"}  # fmt: skip
# What a file holds as a value and the office as a formula.
TRUTHS = {"=TRUE()", "=FALSE()"}
CONSTANTS = {"=" + text for text in ERROR_TEXTS.values()} | TRUTHS

if TYPE_CHECKING:
    Area = list[int]


class Refused(Exception):
    """Nothing was read or written: kind (the name of an error of costbook), sentence, place as (tab, cell), what to do."""

    def __init__(self, kind: str, sentence: str, where: tuple[str, str] = ("", ""), do: str = "") -> None:
        super().__init__(sentence)
        self.said = {"kind": kind, "sentence": sentence, "where": list(where), "do": do}


def snapshot(document: Any) -> dict[str, Any]:
    """The whole document: its name, the day it counts from, its tabs in order, and the mark of its contents."""
    sheets = document.Sheets
    kinds = _Kinds(document)
    tabs = [_tab(sheets.getByIndex(i), kinds) for i in range(sheets.Count)]
    _hold_tables(document, tabs)
    start = document.NullDate
    return {"epoch": f"{start.Year:04}-{start.Month:02}-{start.Day:02}", "tabs": tabs, "mark": mark(tabs)}


def mark(tabs: list[dict[str, Any]]) -> str:
    """A digest of all that is typed: formulas count by their text, so that one of the clock is no change of hers."""
    told = hashlib.sha256()
    for tab in tabs:
        calculated: dict[int, list[int]] = {}
        for row, column, _ in tab["formulas"]:
            calculated.setdefault(row, []).append(column)
        rows = tab["rows"]
        for row, columns in calculated.items():
            rows[row], kept = list(rows[row]), rows[row]
            for column in columns:
                rows[row][column] = None
            calculated[row] = kept
        typed = [tab[key] for key in ("name", "rows", "formulas", "merged", "protected")]
        told.update(json.dumps(typed, separators=(",", ":")).encode())
        for row, kept in calculated.items():
            rows[row] = kept
    return told.hexdigest()


class _Kinds:
    """Of what kind a number format is, looked up once each."""

    def __init__(self, document: Any) -> None:
        self._formats = document.NumberFormats
        self._known: dict[int, int] = {}

    def of(self, key: int) -> int:
        if key not in self._known:
            self._known[key] = self._formats.getByKey(key).Type
        return self._known[key]


def _tab(sheet: Any, kinds: _Kinds) -> dict[str, Any]:
    filled = sheet.queryContentCells(VALUE | DATETIME | STRING | FORMULA).RangeAddresses
    tall = max((a.EndRow + 1 for a in filled), default=0)
    wide = max((a.EndColumn + 1 for a in filled), default=0)
    if tall * wide > MOST_CELLS:
        sentence = f"the tab reaches over {tall * wide:,} cells; over {MOST_CELLS:,} are not read."
        raise Refused("HostUnavailable", sentence, (sheet.Name, ""), "Delete what stands far away from the rest.")
    found: dict[str, Any] = {"name": sheet.Name, "rows": [], "formulas": [], "errors": [], "days": [], "truths": [],
                             "merged": [], "held": [], "hidden": [], "protected": bool(sheet.isProtected())}  # fmt: skip
    looks(sheet, kinds, found)
    if not tall:
        return found
    area = sheet.getCellRangeByPosition(0, 0, wide - 1, tall - 1)
    rows = [list(row) for row in area.getDataArray()]
    texts = _calculated(sheet, found)
    found["rows"] = [[None if v == "" and (r, c) not in texts else v for c, v in enumerate(row)] for r, row in enumerate(rows)]
    for r, row in enumerate(found["rows"]):
        while row and row[-1] is None and (r, len(row) - 1) not in texts:
            row.pop()
    _hidden(area, tall, found)
    return found


def _calculated(sheet: Any, found: dict[str, Any]) -> set[tuple[int, int]]:
    """The places of formulas, noting them, their errors, and where one formula fills a whole range."""
    texts: set[tuple[int, int]] = set()
    for a in sheet.queryContentCells(FORMULA).RangeAddresses:
        block = sheet.getCellRangeByPosition(a.StartColumn, a.StartRow, a.EndColumn, a.EndRow)
        for r, row in enumerate(block.getFormulaArray(), a.StartRow):
            for c, text in enumerate(row, a.StartColumn):
                texts.add((r, c))
                if text.startswith("{"):
                    found["held"].append(["array", [r, c, r, c]])
                if text in TRUTHS:
                    found["truths"].append([r, c, r, c])
                if text not in CONSTANTS:
                    found["formulas"].append([r, c, text.strip("{}")[1:]])
    for a in sheet.queryFormulaCells(ERRORS).RangeAddresses:
        for r in range(a.StartRow, a.EndRow + 1):
            for c in range(a.StartColumn, a.EndColumn + 1):
                code = sheet.getCellByPosition(c, r).getError()
                found["errors"].append([r, c, ERROR_TEXTS.get(code, "#VALUE!")])
    return texts


def looks(sheet: Any, kinds: _Kinds, found: dict[str, Any]) -> None:
    """Notes which cells show days and truth values, and which are merged; cells of one look are looked at together."""
    has_merged = sheet.IsMerged  # of a whole tab: whether anything in it is
    groups = sheet.getUniqueCellFormatRanges()
    for i in range(groups.Count):
        group = groups.getByIndex(i)
        kind = kinds.of(group.NumberFormat)
        if not (has_merged or kind & DATE or kind & LOGICAL):
            continue
        areas = [[a.StartRow, a.StartColumn, a.EndRow, a.EndColumn] for a in group.RangeAddresses]
        if kind & DATE:
            found["days"] += areas
        elif kind & LOGICAL:
            found["truths"] += areas
        if has_merged and sheet.getCellByPosition(areas[0][1], areas[0][0]).IsMerged:
            found["merged"] += [_whole(sheet, r, c) for a in areas for r in range(a[0], a[2] + 1) for c in range(a[1], a[3] + 1)]


def _hold_tables(document: Any, tabs: list[dict[str, Any]]) -> None:
    """Notes headings and totals of her tables, and what pivot tables show."""
    ranges = document.DatabaseRanges
    for name in ranges.ElementNames:
        one = ranges.getByName(name)
        a = one.DataArea
        if one.ContainsHeader and not name.startswith("_"):
            tabs[a.Sheet]["held"].append(["table", [a.StartRow, a.StartColumn, a.StartRow, a.EndColumn]])
        if one.TotalsRow:
            tabs[a.Sheet]["held"].append(["table", [a.EndRow, a.StartColumn, a.EndRow, a.EndColumn]])
    for i, tab in enumerate(tabs):
        pivots = document.Sheets.getByIndex(i).getDataPilotTables()
        for name in pivots.ElementNames:
            a = pivots.getByName(name).OutputRange
            tab["held"].append(["pivot", [a.StartRow, a.StartColumn, a.EndRow, a.EndColumn]])


def _whole(sheet: Any, row: int, column: int) -> Area:
    cursor = sheet.createCursorByRange(sheet.getCellByPosition(column, row))
    cursor.collapseToMergedArea()
    a = cursor.RangeAddress
    return [a.StartRow, a.StartColumn, a.EndRow, a.EndColumn]


def _hidden(area: Any, tall: int, found: dict[str, Any]) -> None:
    seen: set[int] = set()
    for a in area.queryVisibleCells().RangeAddresses:
        seen.update(range(a.StartRow, a.EndRow + 1))
    found["hidden"] = [row for row in range(tall) if row not in seen]
