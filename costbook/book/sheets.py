"""Her tabs laid out new: declared tables, recipe cards and the Start tab, for the demo book and the blank one.

The layout is the one `layout.plain_look` tells of: title, hint, headings in the third row, rows from the fourth.
Nothing here knows what stands in a book; it only places values and gives them the styles and dropdowns of `layout.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from costbook.book import layout
from costbook.book.grid import Cell, Look, PutTab, Rule, Value
from costbook.book.layout import Column, SettingRow, Tab

EMPTY = Cell()
Row = tuple[Cell, ...]

# The labels of a recipe card stand in the narrow column of the order numbers.
LABEL_WIDTH = 12.0
# No column grows wider than this to show its longest text; longer text is cut on paper and read in the cell.
WIDEST = 62.0
# What an upright page takes beside each other without being made much smaller, in characters.
UPRIGHT = 95.0
# A tab wider than this would print too small to read on one page.
VERY_WIDE = 260.0

RECIPE_HINT = (
    "A block is a recipe, its lines in order of adding. Makes: pieces, where a batch yields pieces; empty = by weight."
)


@dataclass(frozen=True, slots=True)
class RecipeBlock:
    """One recipe as it stands on a recipe tab.

    `makes` is empty where the recipe is counted by weight; `loss_fraction` is 0.02 for 2 %. `lines` go by the keys of
    `layout.RECIPE_COLUMNS`. `spare` empty lines below keep her number formats for what she adds.
    """

    name: str
    code: str
    loss_fraction: float | None
    lines: Sequence[Mapping[str, Value]]
    makes: Value = None
    note: str = ""
    spare: int = 0


def table_tab(tab: Tab, rows: Sequence[Mapping[str, Value]], *, spare: int = 0) -> PutTab:
    """A declared tab laid out new, with `rows` by column key and `spare` empty rows ready to be typed in below.

    Raises:
        KeyError: a row has a key the tab does not declare.
    """
    for row in rows:
        _refuse_unknown(tab.name, tab.columns, row)
    body = [_line(tab.columns, row) for row in (*rows, *({},) * spare)]
    top = [(Cell(tab.name, "title"),), (Cell(f"A row is {tab.row_is}", "hint"),), _headings(tab.columns)]
    look = layout.plain_look(tab, len(rows) + spare)
    widths = _widths(tab.columns, rows)
    wide = sum(widths.values())
    look = look._replace(widths=widths, landscape=wide > UPRIGHT, pages_wide=2 if wide > VERY_WIDE else 1)
    return PutTab(tab.name, (*top, *body), look)


def recipe_tab(name: str, blocks: Sequence[RecipeBlock]) -> PutTab:
    """A tab of recipe cards, one block below the other, with dropdowns for materials, units and choices."""
    rows: list[Row] = [(Cell(name, "title"),), (Cell(RECIPE_HINT, "hint"),), ()]
    rules: list[Rule] = []
    notes: dict[tuple[int, int], str] = {}
    heights: dict[int, float] = {}
    for block in blocks:
        rows += _card_head(block)
        top = len(rows)
        rows.append(_headings(layout.RECIPE_COLUMNS))
        rows += [_line(layout.RECIPE_COLUMNS, line) for line in (*block.lines, *({},) * block.spare)]
        rules += _line_rules(top + 1, len(rows) - 1)
        notes |= {(top, i): c.note for i, c in enumerate(layout.RECIPE_COLUMNS) if c.note}
        heights[top] = 20.0
        rows += [(), ()]
    widths = _widths(layout.RECIPE_COLUMNS, [line for block in blocks for line in block.lines])
    widths[0] = max(widths[0], LABEL_WIDTH)
    look = Look(
        widths=widths,
        freeze=(2, 0),
        rules=tuple(rules),
        notes=notes,
        heights=heights,
        # Upright, so that the cards of a tab stay whole on one page.
        landscape=False,
        colour=layout.COLOURS["her tab"],
    )
    return PutTab(name, tuple(rows[:-2] if blocks else rows), look)


def start_tab(title: str, settings: Mapping[str, Value], intro: Sequence[str]) -> PutTab:
    """The Start tab: title, what to do next in numbered lines, settings by key of `layout.SETTINGS`, the last run."""
    rows: list[Row] = [(Cell(title, "title"),), ()]
    rows += [(Cell(f"{number}. {line}"),) for number, line in enumerate(intro, 1)]
    rows.append(())
    top = len(rows)
    rows.append(tuple(Cell(text, "heading") for text in ("Setting", "Value", "What it means")))
    for setting in layout.SETTINGS:
        rows.append(_setting_line(setting, settings.get(setting.key)))
    rules = [rule for i, setting in enumerate(layout.SETTINGS) for rule in _setting_rules(setting, top + 1 + i)]
    rows.append((Cell(layout.LAST_RUN, "label"), Cell(None, "tool date"), Cell("Written by the tool.", "wrapped")))
    rows += [(), (EMPTY, EMPTY, Cell("Please mind", "label")), (EMPTY, EMPTY, Cell(layout.NOTICE, "wrapped"))]
    look = Look(
        widths={0: 34.0, 1: 42.0, 2: 76.0},
        rules=tuple(rules),
        heights={len(rows) - 1: 66.0},
        colour=layout.COLOURS["her tab"],
    )
    return PutTab(layout.START, tuple(rows), look)


def _refuse_unknown(name: str, columns: Sequence[Column], row: Mapping[str, Value]) -> None:
    unknown = set(row) - {column.key for column in columns}
    if unknown:
        raise KeyError(f"{name} has no column {', '.join(sorted(unknown))}")


def _widths(columns: Sequence[Column], rows: Sequence[Mapping[str, Value]]) -> dict[int, float]:
    """The declared widths by place, text columns widened to their longest text, in characters."""
    longest = {c.key: max((len(str(row.get(c.key) or "")) for row in rows), default=0) for c in columns}
    wanted = {c.key: min(WIDEST, longest[c.key] + 1.0) if c.kind == "text" else 0.0 for c in columns}
    return {i: max(c.width, wanted[c.key]) for i, c in enumerate(columns)}


def _headings(columns: Sequence[Column]) -> Row:
    return tuple(Cell(c.heading, "heading" if c.ink == layout.HERS else "tool heading") for c in columns)


def _line(columns: Sequence[Column], row: Mapping[str, Value]) -> Row:
    return tuple(Cell(row.get(column.key), layout.style_for(column)) for column in columns)


def _card_head(block: RecipeBlock) -> list[Row]:
    label = layout.RECIPE_LABELS
    pairs: list[tuple[str, Value, str]] = [
        (label["name"], block.name, "her text"),
        (label["code"], block.code, "her text"),
        (label["makes"], block.makes, "her text"),
        (label["loss"], block.loss_fraction, "her percent"),
        (label["note"], block.note or None, "her text"),
    ]
    return [*((Cell(text, "label"), Cell(value, style)) for text, value, style in pairs), ()]


def _line_rules(first: int, last: int) -> list[Rule]:
    found = []
    for i, column in enumerate(layout.RECIPE_COLUMNS):
        area = (first, i, last, i)
        if isinstance(column.choices, str):
            message = "One of your materials, a recipe, (scent), (colour), or one of: A / B / C."
            found.append(Rule(area, "range", layout.range_of(column.choices), message))
        elif column.choices:
            found.append(Rule(area, "list", column.choices))
    return found


def _setting_line(setting: SettingRow, value: Value) -> Row:
    return Cell(setting.label, "label"), Cell(value, f"her {setting.kind}"), Cell(setting.meaning, "wrapped")


def _setting_rules(setting: SettingRow, row: int) -> list[Rule]:
    area = (row, 1, row, 1)
    if setting.choices:
        return [Rule(area, "list", setting.choices)]
    if setting.kind in ("money", "percent", "count", "number"):
        return [Rule(area, "number", message="A number.")]
    if setting.kind == "date":
        return [Rule(area, "date", message="A date.")]
    return []
