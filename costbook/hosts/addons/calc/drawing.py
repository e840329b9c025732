"""Edits written into an open Calc document: blocks only, in one step that one undo takes back.

Undoing a block write leaves values in cells that were empty before it. So an area is first copied over from an empty one,
whose undo restores every cell, and the block is written then; one single cell of hers undoes by itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import uno
import unohelper
from com.sun.star.awt import Rectangle
from com.sun.star.document import XUndoAction
from com.sun.star.table import BorderLine2, CellAddress, CellRangeAddress

from costbook.hosts.addons.calc.cells import DATE, Refused, snapshot

if TYPE_CHECKING:
    from costbook.hosts.addons.calc.cells import Area

STYLE_PREFIX = "costbook "
ALIGN = {"": "STANDARD", "center": "CENTER", "left": "LEFT", "right": "RIGHT"}
VALIDATION = {"list": "LIST", "range": "LIST", "number": "DECIMAL", "date": "DATE"}


def apply(document: Any, edits: dict[str, Any], title: str, services: Any) -> list[str]:
    """Makes the edits if the document still is what the snapshot of `edits["mark"]` saw; returns the names of new tabs.

    Args:
        services: the office's own service manager, which makes the parts of charts.
    Raises:
        Refused: something was changed meanwhile, or the document may not be written; it is as it was.
    """
    if document.isReadonly():
        raise Refused("WriteRefused", "the workbook is open for reading only.", do="Save it under another name first.")
    if snapshot(document)["mark"] != edits["mark"]:
        raise Refused("WorkbookChanged", "you changed the workbook while the tool worked; nothing was written.", do="Press the button again.")
    if document.isProtected() and not all(document.Sheets.hasByName(tab["name"]) for tab in edits["tabs"]):
        raise Refused("WriteRefused", "the workbook's structure is protected; no tab can be added.", do="Take it off: Tools, Protect Spreadsheet Structure.")
    undo = document.UndoManager
    document.lockControllers()
    document.addActionLock()
    undo.enterUndoContext(title)
    pen, done = _Pen(document, services), False
    try:
        pen.write(edits)
        undo.addUndoAction(_Remembered(document, edits["tabs"], pen.pages))
        done = True
    finally:
        undo.leaveUndoContext()
        if pen.has_written and not done:
            undo.undo()  # of a write that broke off nothing stays
        document.IsAdjustHeightEnabled = True
        document.removeActionLock()
        document.unlockControllers()
    return pen.new


class _Remembered(unohelper.Base, XUndoAction):  # type: ignore[misc]
    """What the office's own undo and redo leave out: the pages on which our tabs print.

    Row heights cannot be put back here: setting them is recorded as steps of its own, whatever is locked.
    """

    Title = "costbook"

    def __init__(self, document: Any, tabs: list[dict[str, Any]], before: dict[str, str]) -> None:
        self._document, self._before = document, before
        self._tabs = [{key: tab[key] for key in ("name", "landscape", "pages_wide")} for tab in tabs]

    def undo(self) -> None:
        """The tabs that stay print on the pages they had."""
        for name, page in self._before.items():
            if self._document.StyleFamilies.getByName("PageStyles").hasByName(page):
                self._document.Sheets.getByName(name).PageStyle = page

    def redo(self) -> None:
        """The tabs are there again, and print as they did."""
        for tab in self._tabs:
            self._document.Sheets.getByName(tab["name"]).PageStyle = _page_style(tab)


class _Pen:
    """One round of writing into one document."""

    def __init__(self, document: Any, services: Any) -> None:
        self._document, self._services = document, services
        self._sheets = document.Sheets
        self._is_protected = any(self._sheets.getByIndex(i).isProtected() for i in range(self._sheets.Count))
        self._bare: dict[str, dict[str, Any]] = {}
        self.has_written = False
        self.new: list[str] = []
        self.pages: dict[str, str] = {}  # the page styles that tabs had before
        self._english = uno.createUnoStruct("com.sun.star.lang.Locale", "en", "US", "")
        self._styles = document.StyleFamilies.getByName("CellStyles")

    def write(self, edits: dict[str, Any]) -> None:
        for style in edits["styles"]:
            self._style(style)
        for cell in edits["cells"]:
            self._cell(*cell)
            self.has_written = True
        tabs = edits["tabs"]
        self._document.IsAdjustHeightEnabled = False  # else the office makes every row fit after every block
        for tab in tabs:  # all there before the first formula that refers to one
            if not self._sheets.hasByName(tab["name"]):
                self._sheets.insertNewByName(tab["name"], self._sheets.Count)
                self.has_written = True
                self.new.append(tab["name"])
        for tab in tabs:
            self._tab(self._sheets.getByName(tab["name"]), tab)
        self._document.IsAdjustHeightEnabled = True
        for tab in tabs:
            _heights(self._sheets.getByName(tab["name"]), tab)

    # ---------------------------------------------------------------- her cells

    def _cell(self, tab: str, row: int, column: int, value: Any, is_day: bool, style: str) -> None:
        """One cell, in the look it has; a cell without any look of its own gets that of the style."""
        cell = self._sheets.getByName(tab).getCellByPosition(column, row)
        if value is None:
            cell.setFormula("")
        elif isinstance(value, bool):
            cell.setFormula("=TRUE()" if value else "=FALSE()")
            cell.setValue(float(value))
        elif isinstance(value, (int, float)):
            cell.setValue(float(value))
        else:
            cell.setString(value)
            if cell.String != value or cell.Type.value != "TEXT":  # a look of numbers reads texts as such
                cell.setFormula("'" + value)
        plain = cell.CellStyle == "Default" and cell.getPropertyState("NumberFormat").value == "DEFAULT_VALUE"
        if plain:
            self._dress(cell, style)
        if is_day and not self._document.NumberFormats.getByKey(cell.NumberFormat).Type & DATE:
            cell.NumberFormat = self._format("yyyy-mm-dd")

    # ---------------------------------------------------------------- looks

    def _format(self, code: str) -> int:
        formats = self._document.NumberFormats
        key = formats.queryKey(code, self._english, False)
        return int(key if key != -1 else formats.addNew(code, self._english))

    def _style(self, wanted: dict[str, Any]) -> None:
        """A cell style of our own, made when first used; one that is there is left as it is.

        In a document with a protected tab the office lets no style be changed: there the look is put on the cells.
        """
        name = STYLE_PREFIX + wanted["name"]
        if self._styles.hasByName(name):
            return
        if self._is_protected:
            self._bare[wanted["name"]] = wanted
            return
        style = self._document.createInstance("com.sun.star.style.CellStyle")
        self._styles.insertByName(name, style)
        self._look(style, wanted)

    def _dress(self, cells: Any, style: str) -> None:
        if style in self._bare:
            self._look(cells, self._bare[style])
        elif style:
            cells.setPropertyValue("CellStyle", STYLE_PREFIX + style)

    def _look(self, target: Any, wanted: dict[str, Any]) -> None:
        """Puts a look on a style, or on cells."""
        put = target.setPropertyValue
        put("CharFontName", "Arial")
        put("CharColor", wanted["ink"])
        if wanted["bold"]:
            put("CharWeight", 150.0)
        if wanted["fill"] is not None:
            put("CellBackColor", wanted["fill"])
        if wanted["light"]:
            return
        put("CharHeight", wanted["size"])
        if wanted["italic"]:
            put("CharPosture", uno.Enum("com.sun.star.awt.FontSlant", "ITALIC"))
        put("NumberFormat", self._format(wanted["format"]))
        put("IsTextWrapped", wanted["wrap"])
        put("HoriJustify", uno.Enum("com.sun.star.table.CellHoriJustify", ALIGN[wanted["align"]]))
        put("VertJustify", 2 if wanted["align"] == "center" else 1)
        if wanted["indent"]:
            put("ParaIndent", wanted["indent"] * 352)
        if wanted["line"] is not None:
            border = BorderLine2()
            border.Color, border.OuterLineWidth, border.LineWidth = wanted["line"], 26, 26
            put("BottomBorder", border)
        if not wanted["locked"]:
            protection = target.getPropertyValue("CellProtection")
            protection.IsLocked = False
            put("CellProtection", protection)

    # ---------------------------------------------------------------- our tabs

    def _tab(self, sheet: Any, tab: dict[str, Any]) -> None:
        self._cleared(sheet, tab)
        self._page(sheet, tab)  # while the tab is empty: where its pages break is worked out anew each time
        rows = tab["rows"]
        if rows and rows[0]:
            sheet.getCellRangeByPosition(0, 0, len(rows[0]) - 1, len(rows) - 1).setDataArray(tuple(map(tuple, rows)))
        for row, column, texts, tall in tab["formulas"]:
            self._formulas(sheet, row, column, texts, tall)
        for style, areas in tab["styled"]:  # last, as a formula filled down takes its look along
            self._dress(self._many(sheet, areas), style)
        for row, column, address, text in tab["links"]:
            self._link(sheet.getCellByPosition(column, row), address, text)
        self._sizes(sheet, tab)
        for row, column, text in tab["notes"]:
            sheet.Annotations.insertNew(CellAddress(sheet.RangeAddress.Sheet, column, row), text)
        for rule in tab["rules"]:
            self._rule(sheet, rule)
        for area, formula, style in tab["lights"]:
            if style not in self._bare:
                self._light(_range(sheet, area), formula, style)
        self._charts(sheet, tab["charts"])
        self._filter(sheet, tab)

    def _cleared(self, sheet: Any, tab: dict[str, Any]) -> None:
        """Everything of an earlier run, copied over from empty cells below, so that one undo restores all of it.

        Rows she filtered away or hid are shown: what stands in them is another thing afterwards.
        """
        cursor = sheet.createCursor()
        cursor.gotoEndOfUsedArea(False)
        used = cursor.RangeAddress
        tall = max(used.EndRow + 1, len(tab["rows"]))
        wide = max(used.EndColumn + 1, len(tab["rows"][0]) if tab["rows"] else 0)
        if sheet.Rows.Count < 2 * tall:
            raise Refused("WriteRefused", "the tab is too long to be drawn anew.", (tab["name"], ""), "Delete it and run it again.")
        index = sheet.RangeAddress.Sheet
        empty = CellRangeAddress(index, 0, sheet.Rows.Count - tall, wide - 1, sheet.Rows.Count - 1)
        sheet.copyRange(CellAddress(index, 0, 0), empty)
        self.has_written = True
        sheet.getCellRangeByPosition(0, 0, 0, tall - 1).Rows.IsVisible = True  # else no formula is filled down into hidden ones
        notes = sheet.Annotations
        for i in reversed(range(notes.Count)):
            notes.removeByIndex(i)

    def _formulas(self, sheet: Any, row: int, column: int, texts: list[list[str]], tall: int) -> None:
        """A block of formulas; where it is to be taller than its texts, their first row filled down: each text is slow to take in."""
        place = sheet.getCellRangeByPosition(column, row, column + len(texts[0]) - 1, row + len(texts) - 1)
        place.setFormulaArray(tuple(map(tuple, texts)))
        if tall > len(texts):
            down = uno.Enum("com.sun.star.sheet.FillDirection", "TO_BOTTOM")
            sheet.getCellRangeByPosition(column, row, column + len(texts[0]) - 1, row + tall - 1).fillAuto(down, 1)

    def _many(self, sheet: Any, areas: list[Area]) -> Any:
        """Areas as one, so that a look is given in one call."""
        ranges = self._document.createInstance("com.sun.star.sheet.SheetCellRanges")
        index = sheet.RangeAddress.Sheet
        ranges.addRangeAddresses(tuple(CellRangeAddress(index, a[1], a[0], a[3], a[2]) for a in areas), False)
        return ranges

    def _link(self, cell: Any, address: str, text: str) -> None:
        field = self._document.createInstance("com.sun.star.text.TextField.URL")
        field.URL, field.Representation = address, text
        cell.setString("")
        cell.insertTextContent(cell.createTextCursor(), field, False)

    def _sizes(self, sheet: Any, tab: dict[str, Any]) -> None:
        columns = sheet.Columns
        for column, width in tab["widths"]:
            one = columns.getByIndex(column)
            if one.Width != width:
                one.Width = width
            if not one.IsVisible and column not in tab["hidden_columns"]:
                one.IsVisible = True
        for column in tab["hidden_columns"]:
            if columns.getByIndex(column).IsVisible:
                columns.getByIndex(column).IsVisible = False
        for area in tab["merged"]:
            _range(sheet, area).merge(True)
        if sheet.TabColor != tab["colour"]:
            sheet.TabColor = tab["colour"]

    def _rule(self, sheet: Any, rule: dict[str, Any]) -> None:
        where = _range(sheet, rule["area"])
        made = where.Validation
        made.Type = uno.Enum("com.sun.star.sheet.ValidationType", VALIDATION[rule["kind"]])
        if rule["kind"] in ("number", "date"):
            made.setOperator(uno.Enum("com.sun.star.sheet.ConditionOperator", "GREATER_EQUAL"))
        made.setFormula1(rule["source"])
        made.IgnoreBlankCells, made.ShowErrorMessage = True, True
        made.ErrorAlertStyle = uno.Enum("com.sun.star.sheet.ValidationAlertStyle", "WARNING")
        made.ErrorTitle, made.ErrorMessage = "Please look", rule["error"]
        made.ShowInputMessage, made.InputMessage = bool(rule["hint"]), rule["hint"]
        where.Validation = made

    def _light(self, where: Any, formula: str, style: str) -> None:
        lights = where.ConditionalFormat
        a = where.RangeAddress
        told = {"Operator": uno.Enum("com.sun.star.sheet.ConditionOperator", "FORMULA"), "Formula1": formula,
                "SourcePosition": CellAddress(a.Sheet, a.StartColumn, a.StartRow), "StyleName": STYLE_PREFIX + style}  # fmt: skip
        lights.addNew(tuple(_property(name, value) for name, value in told.items()))
        where.ConditionalFormat = lights

    # ---------------------------------------------------------------- charts

    def _charts(self, sheet: Any, wanted: list[dict[str, Any]]) -> None:
        charts = sheet.Charts
        for name in charts.ElementNames:  # a tab of the tool holds the tool's charts
            charts.removeByName(name)
        index = sheet.RangeAddress.Sheet
        for number, chart in enumerate(wanted, 1):
            at = sheet.getCellByPosition(chart["at"][1], chart["at"][0]).Position
            box = Rectangle(at.X, at.Y, chart["width"], chart["height"])
            name = f"{STYLE_PREFIX}{sheet.Name} {number}"  # no two in a workbook are alike
            first = chart["series"][0][1]
            charts.addNewByName(name, box, (CellRangeAddress(index, first[1], first[0], first[3], first[2]),), False, False)
            document = charts.getByName(name).EmbeddedObject
            _shape(document, chart, self._english)
            self._series(document, sheet, chart)

    def _series(self, chart: Any, sheet: Any, wanted: dict[str, Any]) -> None:
        """Puts the rows of a chart in, each with its name, and their labels, all from the cells they stand in."""
        provider, make = chart.getDataProvider(), self._services.createInstance

        def cells(area: Area, role: str) -> Any:
            made = provider.createDataSequenceByRangeRepresentation(_range(sheet, area).AbsoluteName)
            made.Role = role
            return made

        rows = []
        for (name, values), colour in zip(wanted["series"], wanted["colours"]):
            data, row = make("com.sun.star.chart2.data.LabeledDataSequence"), make("com.sun.star.chart2.DataSeries")
            data.setValues(cells(values, "values-y"))
            data.setLabel(cells(name, "label"))
            row.setData((data,))
            row.Color = colour
            row.BorderStyle = uno.Enum("com.sun.star.drawing.LineStyle", "NONE")
            rows.append(row)
        system = chart.getFirstDiagram().getCoordinateSystems()[0]
        bars = system.getChartTypes()[0]
        bars.setDataSeries(tuple(rows))
        bars.GapwidthSequence = (60, 60)
        if wanted["kind"] == "stacked bar":
            for row in rows:
                row.StackingDirection = uno.Enum("com.sun.star.chart2.StackingDirection", "Y_STACKING")
        axis = system.getAxisByDimension(0, 0)
        scale = axis.getScaleData()
        labels = make("com.sun.star.chart2.data.LabeledDataSequence")
        labels.setValues(cells(wanted["labels"], "categories"))
        scale.Categories = labels
        axis.setScaleData(scale)

    # ---------------------------------------------------------------- page and filter

    def _page(self, sheet: Any, tab: dict[str, Any]) -> None:
        pages, name = self._document.StyleFamilies.getByName("PageStyles"), _page_style(tab)
        if not pages.hasByName(name):
            page = self._document.createInstance("com.sun.star.style.PageStyle")
            pages.insertByName(name, page)
            _set_up(page, tab)
        if sheet.PageStyle != name:
            if tab["name"] not in self.new:
                self.pages[tab["name"]] = sheet.PageStyle
            sheet.PageStyle = name
        if tab["title_rows"]:
            first, last = tab["title_rows"]
            sheet.setTitleRows(CellRangeAddress(sheet.RangeAddress.Sheet, 0, first, 0, last))
        if tab["print_area"]:
            a = tab["print_area"]
            sheet.setPrintAreas((CellRangeAddress(sheet.RangeAddress.Sheet, a[1], a[0], a[3], a[2]),))

    def _filter(self, sheet: Any, tab: dict[str, Any]) -> None:
        """The filter of a tab is a database range without a name; it is put where there is none of it yet."""
        if not tab["filter"]:
            return
        ranges = self._document.getPropertyValue("UnnamedDatabaseRanges")
        index, a = sheet.RangeAddress.Sheet, tab["filter"]
        address = CellRangeAddress(index, a[1], a[0], a[3], a[2])
        if not ranges.hasByTable(index):
            ranges.setByTable(address)
        one = ranges.getByTable(index)
        one.FilterDescriptor.setFilterFields(())
        one.setDataArea(address)
        one.AutoFilter = True


def show(view: Any, tab: dict[str, Any], services: Any) -> None:
    """Freezes the headings of the tab that is shown, and hides its grid lines where it is to have none.

    Both are matters of the window, not of the document, and hold for the tab that is shown only.
    """
    row, column = tab["freeze"]
    if row or column:
        view.freezeAtPosition(column, row)
    if not tab["grid"]:
        helper = services.createInstance("com.sun.star.frame.DispatchHelper")
        helper.executeDispatch(view.Frame, ".uno:ToggleSheetGrid", "", 0, ())


def _page_style(tab: dict[str, Any]) -> str:
    return f"{STYLE_PREFIX}{'across' if tab['landscape'] else 'upright'} {tab['pages_wide']}"


def _heights(sheet: Any, tab: dict[str, Any]) -> None:
    """Every row as high as its text wants, but for the runs of rows whose height is told: first, last, height."""
    _range(sheet, [0, 0, max(tab["tall"], 1) - 1, 0]).Rows.OptimalHeight = True
    for first, last, height in tab["heights"]:
        _range(sheet, [first, 0, last, 0]).Rows.Height = height


def _range(sheet: Any, area: Area) -> Any:
    return sheet.getCellRangeByPosition(area[1], area[0], area[3], area[2])


def _property(name: str, value: Any) -> Any:
    made = uno.createUnoStruct("com.sun.star.beans.PropertyValue")
    made.Name, made.Value = name, value
    return made


def _set_up(page: Any, tab: dict[str, Any]) -> None:
    across = tab["landscape"]
    values = {"IsLandscape": across, "Width": 29700 if across else 21000, "Height": 21000 if across else 29700,
              "LeftMargin": 1016, "RightMargin": 1016, "TopMargin": 762, "BottomMargin": 762,
              "HeaderIsOn": True, "FooterIsOn": True, "ScaleToPagesX": tab["pages_wide"], "ScaleToPagesY": 0}  # fmt: skip
    for name, value in values.items():
        page.setPropertyValue(name, value)


def _shape(chart: Any, wanted: dict[str, Any], english: Any) -> None:
    diagram = chart.createInstance("com.sun.star.chart.BarDiagram")
    chart.setDiagram(diagram)
    diagram.Vertical = wanted["kind"] != "column"
    diagram.Wall.FillStyle = uno.Enum("com.sun.star.drawing.FillStyle", "NONE")
    diagram.Wall.LineStyle = uno.Enum("com.sun.star.drawing.LineStyle", "NONE")
    if wanted["kind"] == "stacked bar":
        diagram.Stacked = True
    chart.HasMainTitle = True
    chart.Title.String = wanted["title"]
    chart.Title.CharHeight, chart.Title.CharWeight = 12.0, 150.0
    chart.HasLegend = len(wanted["colours"]) > 1
    if chart.HasLegend:
        chart.Legend.Alignment = uno.Enum("com.sun.star.chart.ChartLegendPosition", "BOTTOM")
    if wanted["kind"] != "column":
        diagram.XAxis.ReverseDirection = True
        diagram.YAxis.CrossoverPosition = uno.Enum("com.sun.star.chart.ChartAxisPosition", "END")
    if wanted["value_title"]:
        diagram.HasYAxisTitle = True
        diagram.YAxisTitle.String = wanted["value_title"]
    formats = chart.getNumberFormats()
    key = formats.queryKey(wanted["format"], english, False)
    diagram.YAxis.LinkNumberFormatToSource = False
    diagram.YAxis.NumberFormat = key if key != -1 else formats.addNew(wanted["format"], english)
    if wanted["lowest"] is not None:
        diagram.YAxis.Min = wanted["lowest"]
