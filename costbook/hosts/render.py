"""Drawing the tool's own tabs with openpyxl, in a new workbook that holds nothing else.

The only file that knows openpyxl. It draws everything of a tab but its cells, which are too many for objects of their own
and come from `rows.py`; both together are a workbook of its own (`anew.py`) or are moved into hers (`graft.py`). No workbook
of hers is ever loaded and saved by it.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Collection
from copy import copy
from dataclasses import dataclass
from datetime import datetime
from math import ceil
from textwrap import wrap
from typing import Any

from costbook.book.grid import Chart, Edits, Look, PutTab, Rule, address, column_name, sheet_ref
from costbook.book.layout import COLOURS, SERIES, STYLES, Style
from costbook.errors import WriteRefused
from costbook.hosts.cells import clean
from costbook.hosts.rows import Rows, corners, look_of, looks_of

FONT = "Arial"
AUTHOR = "costbook"
MADE = datetime(1980, 1, 1)
NOTE_WIDTH_PX = 250
LINE_POINTS = 13.0
WIDEST_SENTENCE = 110.0

Area = tuple[int, int, int, int]


@dataclass(frozen=True)
class Drawn:
    """A new workbook with just our tabs, in which no tab has its cells yet, and the cells of each tab."""

    shell: bytes
    rows: tuple[Rows, ...]


def drawn(edits: Edits, name: str, from_1904: bool = False) -> Drawn:
    """A new workbook with just the tabs of the edits.

    Raises:
        WriteRefused: openpyxl cannot draw one of them.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            book = _new_book(from_1904)
            pens = _Pens(book)
            rows = tuple(_put_tab(book, tab, pens, from_1904) for tab in edits.tabs)
            out = io.BytesIO()
            book.calculation.fullCalcOnLoad = True
            book.save(out)
        except (ValueError, TypeError, KeyError, AttributeError, IndexError, SyntaxError) as error:
            raise WriteRefused(
                f"{name} cannot be saved: a tab of the tool cannot be drawn ({' '.join(str(error).split()[:12])}).",
                do="Give the tab another name, without : \\ / ? * [ ] and of 31 letters at most.",
            ) from error
    return Drawn(out.getvalue(), rows)


def _new_book(from_1904: bool) -> Any:
    import openpyxl
    from openpyxl.styles import Font
    from openpyxl.utils.datetime import CALENDAR_MAC_1904
    from openpyxl.utils.indexed_list import IndexedList

    book = openpyxl.Workbook()
    if from_1904:
        book.epoch = CALENDAR_MAC_1904
    del book[book.active.title]
    # Empty cells she types in look like the filled ones beside them.
    font = Font(name=FONT, size=10, family=2)
    book._fonts = IndexedList([font])
    book._named_styles["Normal"].font = font
    book.properties.creator = AUTHOR
    book.properties.created = MADE
    return book


class _Pens:
    """The declared styles as this workbook's own named cell styles, each made when first used."""

    def __init__(self, book: Any) -> None:
        self._book = book
        self._arrays: dict[tuple[str, bool, bool], Any] = {}

    def dress(self, cell: Any, style: str, link: bool = False, quoted: bool = False) -> None:
        """Give a cell the look of a style."""
        key = (style, link, quoted)
        if key not in self._arrays:
            self._arrays[key] = self._made(cell, *key)
        cell._style = self._arrays[key]

    def index(self, sheet: Any, style: str, link: bool, quoted: bool) -> int:
        """The index of a look in the styles part."""
        from openpyxl.cell import Cell

        cell = Cell(sheet, 1, 1)  # of no sheet
        self.dress(cell, style, link, quoted)
        return int(cell.style_id)

    def _made(self, cell: Any, style: str, link: bool, quoted: bool) -> Any:
        from openpyxl.styles import Font

        declared = STYLES[style]
        self._register(style, declared)
        cell.style = style
        if link:
            cell.font = Font(**_font(declared._replace(ink="her ink")), underline="single")
        if quoted:
            cell.quotePrefix = True
        return copy(cell._style)

    def _register(self, name: str, style: Style) -> None:
        from openpyxl.styles import Alignment, Border, Font, NamedStyle, PatternFill, Protection, Side

        looks = {
            "font": Font(**_font(style)),
            "fill": PatternFill("solid", fgColor=COLOURS[style.fill]) if style.fill else PatternFill(),
            "border": Border(bottom=Side("thin", color=COLOURS["line"])) if style.line else Border(),
            "alignment": Alignment(
                horizontal=style.align or ("left" if style.indent else None),
                indent=style.indent,
                vertical="center" if style.align == "center" else "top",
                wrap_text=style.wrap or None,
            ),
            "protection": Protection(locked=style.locked),
            "number_format": style.number_format,
        }
        if name not in self._book.named_styles:
            self._book.add_named_style(NamedStyle(name=name, **looks))
            return
        there = self._book._named_styles[name]
        for key, look in looks.items():
            if getattr(there, key) != look:
                setattr(there, key, look)


def _font(style: Style) -> dict[str, Any]:
    return {
        "name": FONT,
        "size": style.size,
        "bold": style.bold,
        "italic": style.italic,
        "color": COLOURS[style.ink],
        "family": 2,
    }


def _put_tab(book: Any, tab: PutTab, pens: _Pens, from_1904: bool) -> Rows:
    sheet = book.create_sheet(tab.name)
    looks = {look: pens.index(sheet, *look) for look in looks_of(tab)}
    for row, column in corners(tab):
        sheet.cell(row + 1, column + 1)  # from these it is told how far the tab reaches
    _show(sheet, tab.look)
    heights, merged = fitted(tab, {style for style, _, _ in looks if STYLES[style].wrap})
    bare: dict[tuple[int, int], int | None] = dict.fromkeys(tab.look.notes)
    for row, last in merged.items():
        first = sheet.cell(row + 1, 1)
        pens.dress(first, *look_of(tab.rows[row][0]))
        sheet.merge_cells(start_row=row + 1, end_row=row + 1, start_column=1, end_column=last + 1)
        rest = (sheet.cell(row + 1, column + 1) for column in range(1, last + 1))
        bare |= {(row, cell.column - 1): cell.style_id for cell in rest if cell.has_style}
    for chart in tab.look.charts:
        sheet.add_chart(_chart(sheet, chart, lowest(tab, chart)), address(*chart.at))
    return Rows(tab, looks, heights, bare, merged, from_1904)


def _show(sheet: Any, look: Look) -> None:
    for column, width in look.widths.items():
        sheet.column_dimensions[column_name(column)].width = width
    for column in look.hidden_columns:
        sheet.column_dimensions[column_name(column)].hidden = True
    if look.freeze != (0, 0):
        sheet.freeze_panes = address(*look.freeze)
    if look.filter:
        sheet.auto_filter.ref = _range(look.filter)
    if look.colour:
        sheet.sheet_properties.tabColor = look.colour
    # Where she types, the grid shows her where the cells are.
    sheet.sheet_view.showGridLines = look.colour != COLOURS["tool tab"]
    for rule in look.rules:
        _add_rule(sheet, rule)
    for (row, column), text in look.notes.items():
        sheet.cell(row + 1, column + 1).comment = _note(text)
    _highlight(sheet, look)
    _page(sheet, look)


def fitted(tab: PutTab, wrapped: Collection[str]) -> tuple[dict[int, float], dict[int, int]]:
    """The heights of rows, and the last column to which the first cell of a row spans.

    Rows are as high as their wrapped text; programs differ in whether they work that out on opening. A sentence that stands
    alone in its row gets the whole width of the tab.

    Args:
        wrapped: the styles of the tab in which text is wrapped.
    """
    heights, merged = dict(tab.look.heights), {}
    for row, cells in enumerate(tab.rows if wrapped else ()):
        texts = [(i, c.value) for i, c in enumerate(cells) if c.style in wrapped and isinstance(c.value, str)]
        if row in heights or not texts:
            continue
        filled = sum(cell.value is not None for cell in cells)
        if filled == 1 and texts[0][0] == 0 and len(tab.look.widths) > 1:
            wide, merged[row] = _spread(tab.look)
            lines = _lines(texts[0][1], wide)
        else:
            lines = max(_lines(text, tab.look.widths.get(column, 8.4)) for column, text in texts)
        if lines > 1:
            heights[row] = LINE_POINTS * lines + 2
    return heights, merged


def _spread(look: Look) -> tuple[float, int]:
    """The width in characters, and the last column, that a sentence alone in its row may take."""
    wide, last = 0.0, 0
    for column in range(max(look.widths) + 1):
        if column in look.hidden_columns:
            continue
        width = look.widths.get(column, 8.4)
        if column and wide + width > WIDEST_SENTENCE:
            break
        wide, last = wide + width, column
    return wide, last


def _lines(text: str, width: float) -> int:
    room = max(int(width), 1)
    if len(text) <= room and text.isprintable():
        return 1
    return sum(len(wrap(line, room)) or 1 for line in text.split("\n"))


def lowest(tab: PutTab, chart: Chart) -> float | None:
    """Nought where no bar goes below it, so that bars keep their proportions; None leaves it to the program."""
    grid = tab.grid()
    for series in chart.series:
        top, left, bottom, right = series.values
        for row in range(top, bottom + 1):
            for column in range(left, right + 1):
                value = grid.value(row, column)
                if isinstance(value, (int, float)) and value < 0:
                    return None
    return 0.0


def _range(area: Area) -> str:
    first, last = address(area[0], area[1]), address(area[2], area[3])
    return first if first == last else f"{first}:{last}"


def _add_rule(sheet: Any, rule: Rule) -> None:
    from openpyxl.worksheet.datavalidation import DataValidation

    if rule.kind == "list":
        joined = ",".join(rule.source)
        if len(joined) > 255 or any("," in text for text in rule.source):
            return  # the format has no room for it, and a list cut short would be wrong advice
        asked: dict[str, Any] = {"type": "list", "formula1": '"' + joined.replace('"', '""') + '"'}
        error = "Usually one of: " + ", ".join(rule.source)
    elif rule.kind == "range":
        asked, error = {"type": "list", "formula1": _named(sheet.parent, str(rule.source))}, "Usually one of the list."
    elif rule.kind == "number":
        asked, error = (
            {"type": "decimal", "operator": "greaterThanOrEqual", "formula1": "0"},
            "Usually a number, 0 or more.",
        )
    else:
        asked, error = {"type": "date", "operator": "greaterThanOrEqual", "formula1": "1"}, "Usually a date."
    # A hint pops up over the neighbouring cells whenever a cell is entered: only where there is something to choose.
    hint = rule.message if asked["type"] == "list" else ""
    sheet.add_data_validation(
        DataValidation(
            **asked, sqref=_range(rule.area), allow_blank=True, errorStyle="warning", showErrorMessage=True,
            error=(rule.message or error)[:225], errorTitle="Please look",
            showInputMessage=bool(hint), prompt=hint[:255] or None,
        )
    )  # fmt: skip


def _named(book: Any, source: str) -> str:
    """A name for a range on another tab: a dropdown that refers by name is stored alike by every office program."""
    from openpyxl.workbook.defined_name import DefinedName

    name = "list_" + re.sub(r"\W+", "_", source.split(":")[0]).strip("_")
    book.defined_names[name] = DefinedName(name, attr_text=source)
    return name


def _note(text: str) -> Any:
    from openpyxl.comments import Comment

    lines = sum(ceil(max(len(line), 1) / 38) for line in text.split("\n"))
    return Comment(str(clean(text) or ""), AUTHOR, height=16 * lines + 14, width=NOTE_WIDTH_PX)


def _highlight(sheet: Any, look: Look) -> None:
    from openpyxl.formatting.rule import FormulaRule
    from openpyxl.styles import Font, PatternFill

    for light in look.highlights:
        style = STYLES[light.style]
        fill = PatternFill("solid", bgColor=COLOURS[style.fill]) if style.fill else None
        rule = FormulaRule([light.formula], fill=fill, font=Font(bold=style.bold or None, color=COLOURS[style.ink]))
        sheet.conditional_formatting.add(_range(light.area), rule)


def _page(sheet: Any, look: Look) -> None:
    setup = sheet.page_setup
    setup.paperSize, setup.orientation = 9, "landscape" if look.landscape else "portrait"
    setup.fitToWidth, setup.fitToHeight = look.pages_wide, 0
    sheet.sheet_properties.pageSetUpPr = _fit()
    margins = sheet.page_margins
    margins.left = margins.right = 0.4
    margins.top, margins.bottom, margins.header, margins.footer = 0.6, 0.6, 0.3, 0.3
    sheet.oddHeader.left.text, sheet.oddFooter.right.text = "&A", "&P / &N"
    sheet.oddHeader.left.size = sheet.oddFooter.right.size = 9
    if look.title_rows:
        sheet.print_title_rows = f"{look.title_rows[0] + 1}:{look.title_rows[1] + 1}"
    if look.print_area:
        sheet.print_area = _range(look.print_area)


def _fit() -> Any:
    from openpyxl.worksheet.properties import PageSetupProperties

    return PageSetupProperties(fitToPage=True)


def _chart(sheet: Any, wanted: Chart, lowest: float | None) -> Any:
    from openpyxl.chart import BarChart

    chart = BarChart()
    chart.type = "col" if wanted.kind == "column" else "bar"
    chart.grouping, chart.overlap = ("stacked", 100) if wanted.kind == "stacked bar" else ("clustered", None)
    chart.gapWidth = 60
    chart.width, chart.height = wanted.width_cm, wanted.height_cm
    chart.roundedCorners = False
    chart.title, chart.title.tx.rich = wanted.title, _rich(wanted.title, 1200, True)
    chart.title.overlay = False
    for index, series in enumerate(wanted.series):
        chart.series.append(_series(sheet, series.name, series.values, series.colour or SERIES[index % len(SERIES)]))
    chart.set_categories(_reference(sheet, wanted.labels))
    if len(wanted.series) > 1:
        chart.legend.position, chart.legend.overlay, chart.legend.txPr = "b", False, _text(900)
    else:
        chart.legend = None
    chart.y_axis.scaling.min = lowest
    _axes(chart, wanted)
    return chart


def _reference(sheet: Any, area: Area) -> Any:
    from openpyxl.chart import Reference

    return Reference(sheet, min_row=area[0] + 1, min_col=area[1] + 1, max_row=area[2] + 1, max_col=area[3] + 1)


def _series(sheet: Any, name: tuple[int, int], values: Area, colour: str) -> Any:
    from openpyxl.chart import Series
    from openpyxl.chart.series import SeriesLabel, StrRef

    series = Series(_reference(sheet, values), title=None)
    series.tx = SeriesLabel(strRef=StrRef(f"{sheet_ref(sheet.title)}!${column_name(name[1])}${name[0] + 1}"))
    series.graphicalProperties.solidFill = colour
    series.graphicalProperties.line.noFill = True
    series.invertIfNegative = False
    return series


def _axes(chart: Any, wanted: Chart) -> None:
    for axis in (chart.x_axis, chart.y_axis):
        axis.delete = False
        axis.txPr = _text(900)
        axis.graphicalProperties = _line(COLOURS["line"])
    chart.x_axis.majorTickMark = chart.y_axis.majorTickMark = "none"
    chart.y_axis.majorGridlines.spPr = _line(COLOURS["line"])
    chart.y_axis.number_format, chart.y_axis.numFmt.sourceLinked = wanted.number_format, False
    if wanted.value_title:
        chart.y_axis.title = wanted.value_title
        chart.y_axis.title.tx.rich = _rich(wanted.value_title, 900, False)
        chart.y_axis.title.overlay = False
    if chart.type == "bar":
        # The first row at the top, as on the tab; the value axis then belongs at the far end, which is the bottom.
        chart.x_axis.scaling.orientation = "maxMin"
        chart.y_axis.crosses = "max"


def _line(colour: str) -> Any:
    from openpyxl.chart.shapes import GraphicalProperties
    from openpyxl.drawing.line import LineProperties

    return GraphicalProperties(ln=LineProperties(solidFill=colour, w=9525))


def _letters(size: int, bold: bool) -> Any:
    from openpyxl.drawing.text import CharacterProperties, Font

    return CharacterProperties(sz=size, b=bold, solidFill=COLOURS["ink"], latin=Font(typeface=FONT))


def _text(size: int) -> Any:
    from openpyxl.chart.text import RichText
    from openpyxl.drawing.text import Paragraph, ParagraphProperties

    return RichText(
        p=[Paragraph(pPr=ParagraphProperties(defRPr=_letters(size, False)), endParaRPr=_letters(size, False))]
    )


def _rich(text: str, size: int, bold: bool) -> Any:
    from openpyxl.chart.text import RichText
    from openpyxl.drawing.text import Paragraph, ParagraphProperties, RegularTextRun

    run = RegularTextRun(rPr=_letters(size, bold), t=text)
    return RichText(p=[Paragraph(pPr=ParagraphProperties(defRPr=_letters(size, bold)), r=[run])])
