"""What is typed in a workbook, between Excel's own kinds of value, a snapshot's and the journal's; and cells as blocks.

Nothing here talks to Excel.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import date, datetime
from itertools import groupby
from typing import Any

from costbook.book.grid import ErrorValue, Formula, Grid, SetCell, Snapshot, Value, address
from costbook.hosts import journal
from costbook.hosts.cells import clean
from costbook.hosts.notation import bare
from costbook.hosts.places import Area, same

ERRORS = {-2146826281: "#DIV/0!", -2146826246: "#N/A", -2146826259: "#NAME?", -2146826288: "#NULL!", -2146826252: "#NUM!",
          -2146826265: "#REF!", -2146826273: "#VALUE!"}  # fmt: skip
_PLAIN_WORD = re.compile(r"(?!(?:true|false)$)[^\W\d_][^\d]*", re.IGNORECASE)


def area_name(area: Sequence[int]) -> str:
    """The address of a block."""
    return f"{address(area[0], area[1])}:{address(area[2], area[3])}"


def as_rows(block: Any) -> Sequence[Sequence[Any]]:
    """A block as rows; of one cell, or one row, Excel gives less than that."""
    if not isinstance(block, list | tuple):
        return ((block,),)
    return block if block and isinstance(block[0], list | tuple) else (block,)


def halves(area: Area) -> tuple[Area, Area]:
    """A block in two, across its longer side."""
    top, left, bottom, right = area
    if bottom - top >= right - left:
        middle = (top + bottom) // 2
        return (top, left, middle, right), (middle + 1, left, bottom, right)
    middle = (left + right) // 2
    return (top, left, bottom, middle), (top, middle + 1, bottom, right)


def blocks(cells: Sequence[SetCell]) -> Iterator[tuple[str, str, list[list[SetCell]]]]:
    """Cells as blocks of one tab and one style: (tab in small letters, style, rows)."""
    runs: dict[tuple[str, str, int, int], list[list[SetCell]]] = {}
    ordered = sorted(cells, key=lambda e: (e.tab.casefold(), e.row, e.column))
    for (tab, row), beside in groupby(ordered, key=lambda e: (e.tab.casefold(), e.row)):
        numbered = enumerate(beside)
        for _, run in groupby(numbered, key=lambda pair: (pair[1].column - pair[0], pair[1].style)):
            part = [edit for _, edit in run]
            key = (tab, part[0].style, part[0].column, len(part))
            if key in runs and runs[key][-1][0].row == row - 1:
                runs[key].append(part)
                continue
            if key in runs:
                yield tab, key[1], runs.pop(key)
            runs[key] = [part]
    for key, rows in runs.items():
        yield key[0], key[1], rows


# ------------------------------------------------------------------ values


def shown_value(shown: Any, exact: Any, is_formula: bool) -> Value:
    """A cell as a snapshot has it, from what Excel shows, what it holds exactly, and whether that is worked out."""
    if isinstance(exact, bool):
        return exact
    if isinstance(shown, datetime):
        # A time of day alone is a number, as in every other host.
        return shown.date() if shown.year > 1899 and exact >= 1 else float(exact)
    if isinstance(exact, int) and exact in ERRORS:
        return ErrorValue(ERRORS[exact])
    if isinstance(shown, str) and shown in ERRORS.values() and (is_formula or not isinstance(exact, str)):
        return ErrorValue(shown)
    if isinstance(exact, str):
        return exact if exact or is_formula else None
    return float(exact) if isinstance(exact, int | float) else None


def stored(value: Value | Formula, epoch: date, is_ours: bool = False) -> Any:
    """What a block write takes. A text that Excel could take for anything else gets the mark before it that Excel drops."""
    if isinstance(value, Formula):
        return "=" + value.text
    value = clean(value)
    if value is None:
        return ""
    if isinstance(value, ErrorValue):
        return value.text
    if isinstance(value, date):
        return float((value - epoch).days)
    if isinstance(value, bool):
        return value
    if isinstance(value, int | float):
        return float(value)
    return value if not is_ours and _PLAIN_WORD.fullmatch(value) else "'" + value


def holds(grid: Grid, edit: SetCell) -> bool:
    """Whether a cell holds already what it is to hold."""
    return same(grid.value(edit.row, edit.column), edit.value)


def typed(snapshot: Snapshot) -> list[Any]:
    """What is typed: formulas count by their text, so that one of the clock is no change of hers."""
    return [
        (grid.name, [[None if (r, c) in grid.formulas else plain_value(v) for c, v in enumerate(row)] for r, row in enumerate(grid.rows)],
         dict(grid.formulas), grid.merged, grid.protected)
        for grid in snapshot.grids.values()
    ]  # fmt: skip


def plain(grid: Grid, row: int, column: int) -> journal.Plain:
    """What is typed in a cell, as the journal keeps it."""
    text = grid.formulas.get((row, column))
    return plain_value(grid.value(row, column)) if text is None else {"formula": text}


def plain_value(value: Value | Formula) -> journal.Plain:
    """A value as the journal keeps it."""
    if isinstance(value, Formula):
        return {"formula": value.text}
    value = clean(value)
    if isinstance(value, ErrorValue):
        return {"error": value.text}
    if isinstance(value, date):
        return {"day": value.isoformat()}
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else value


def from_plain(kept: journal.Plain) -> Value | Formula:
    """A value that the journal kept."""
    if isinstance(kept, dict):
        [(kind, text)] = kept.items()
        return Formula(text) if kind == "formula" else ErrorValue(text) if kind == "error" else date.fromisoformat(text)
    value: Value = kept
    return value


def typed_again(kept: Any, epoch: date) -> Any:
    """What a block write takes to put back what the journal kept."""
    return stored(from_plain(kept), epoch, True)


def alike(one: journal.Plain, other: journal.Plain) -> bool:
    """Whether both are the same typed; a formula without the marks that programs put in or leave out."""
    left, right = from_plain(one), from_plain(other)
    if isinstance(left, Formula) or isinstance(right, Formula):
        # An error is written as the formula that gives it.
        texts = [v.text if isinstance(v, Formula | ErrorValue) else None for v in (left, right)]
        return None not in texts and bare(texts[0] or "") == bare(texts[1] or "")
    return same(left, right)


