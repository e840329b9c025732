"""The bridge as tests need it: her hands too. Run by the office's own Python, like the bridge itself."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import uno
from com.sun.star.accessibility.AccessibleRole import PUSH_BUTTON, TOOL_BAR

from costbook.hosts.addons.calc import bridge, cells, drawing


class Hands(bridge.Session):
    """What a person does with an open document, and what she sees of it."""

    def _undo(self, question: dict[str, Any]) -> None:
        self.document().UndoManager.undo()

    def _redo(self, question: dict[str, Any]) -> None:
        self.document().UndoManager.redo()

    def _press(self, question: dict[str, Any]) -> None:
        """A button, by the address that menu and toolbar send."""
        address = uno.createUnoStruct("com.sun.star.util.URL")
        address.Complete = f"costbook:{question['action']}"
        _, address = self.services.createInstance("com.sun.star.util.URLTransformer").parseStrict(address)
        self.document().CurrentController.Frame.queryDispatch(address, "_self", 0).dispatch(address, ())

    def _titles(self, question: dict[str, Any]) -> dict[str, Any]:
        return {"undo": list(self.document().UndoManager.getAllUndoActionTitles())}

    def _type(self, question: dict[str, Any]) -> None:
        sheet = self.document().Sheets.getByName(question["tab"])
        sheet.getCellByPosition(question["column"], question["row"]).setFormula(question["text"])

    def _protect(self, question: dict[str, Any]) -> None:
        """A tab, or without its name the order of tabs."""
        (self.document().Sheets.getByName(question["tab"]) if question["tab"] else self.document()).protect("")

    def _recalculate(self, question: dict[str, Any]) -> None:
        self.document().calculateAll()

    def _take(self, question: dict[str, Any]) -> None:
        """The document that is open in the window."""
        self._document = self.services.createInstance("com.sun.star.frame.Desktop").getCurrentComponent()

    def _cells(self, question: dict[str, Any]) -> dict[str, Any]:
        """Every cell of a tab as it is, cell by cell and not in blocks: kind, contents, look, rule, note."""
        sheet = self.document().Sheets.getByName(question["tab"])
        notes = {(n.Position.Row, n.Position.Column): n.String for n in (sheet.Annotations.getByIndex(i) for i in range(sheet.Annotations.Count))}
        found = []
        for r in range(question["rows"]):
            for c in range(question["columns"]):
                cell = sheet.getCellByPosition(c, r)
                found.append([cell.Type.value, cell.Formula, cell.CellStyle, cell.NumberFormat, cell.CellBackColor,
                              cell.Validation.Type.value, cell.CellProtection.IsLocked, notes.get((r, c))])  # fmt: skip
        columns, rows = sheet.Columns, sheet.Rows
        return {
            "cells": found, "charts": list(sheet.Charts.ElementNames), "protected": sheet.isProtected(), "colour": sheet.TabColor,
            "widths": [columns.getByIndex(c).Width for c in range(question["columns"])], "page": sheet.PageStyle,
            "heights": [rows.getByIndex(r).Height for r in range(question["rows"])],
            "highlights": sheet.ConditionalFormats.getLength(),
        }  # fmt: skip

    def _widen(self, question: dict[str, Any]) -> None:
        sheet = self.document().Sheets.getByName(question["tab"])
        sheet.Columns.getByIndex(2).Width, sheet.Rows.getByIndex(5).Height, sheet.TabColor = 7000, 1234, 0x123456
        sheet.PageStyle = "Report"

    def _filter(self, question: dict[str, Any]) -> None:
        """Hides the rows under the headings whose first cell is not this word."""
        sheet = self.document().Sheets.getByName(question["tab"])
        area = self.document().getPropertyValue("UnnamedDatabaseRanges").getByTable(sheet.RangeAddress.Sheet).DataArea
        place = sheet.getCellRangeByPosition(area.StartColumn, area.StartRow, area.EndColumn, area.EndRow)
        wanted, field = place.createFilterDescriptor(True), uno.createUnoStruct("com.sun.star.sheet.TableFilterField")
        field.Operator, field.StringValue = uno.Enum("com.sun.star.sheet.FilterOperator", "EQUAL"), question["word"]
        wanted.setFilterFields((field,))
        wanted.ContainsHeader = True
        place.filter(wanted)

    def _tabs(self, question: dict[str, Any]) -> dict[str, Any]:
        return {"tabs": list(self.document().Sheets.ElementNames)}

    def _link(self, question: dict[str, Any]) -> dict[str, Any]:
        """Where the links of a tab lead, by row."""
        sheet = self.document().Sheets.getByName(question["tab"])
        links = {}
        for r in range(question["rows"]):
            fields = sheet.getCellByPosition(question["column"], r).TextFields
            if fields.createEnumeration().hasMoreElements():
                links[str(r)] = fields.getByIndex(0).URL
        return {"links": links}

    def _fail_at(self, question: dict[str, Any]) -> None:
        """From now on the office refuses at this step of drawing a tab, as it does when something is wrong."""

        def refuse(*_: Any) -> None:
            raise bridge.OfficeError("planted", None)

        setattr(drawing._Pen, question["step"], refuse)

    def _place(self, question: dict[str, Any]) -> dict[str, Any]:
        """The middle on the screen of the button with this name on our toolbar, found in the accessibility tree."""
        window = self.document().CurrentController.Frame.ContainerWindow
        bar = found(window.getAccessibleContext(), TOOL_BAR, "costbook")
        button = found(bar, PUSH_BUTTON, question["name"])
        if button is None:
            return {"place": None}
        at, size = button.getLocationOnScreen(), button.getSize()
        return {"place": [at.X + size.Width // 2, at.Y + size.Height // 2]}

    def _shown(self, question: dict[str, Any]) -> dict[str, Any]:
        view = self.document().CurrentController
        return {"bar": view.hasInfobar("costbook"), "tab": view.ActiveSheet.Name}

    def _selected(self, question: dict[str, Any]) -> dict[str, Any]:
        address = self.document().CurrentController.Selection.RangeAddress
        return {"row": address.StartRow, "column": address.StartColumn}

    def _show_tab(self, question: dict[str, Any]) -> None:
        view = self.document().CurrentController
        view.setActiveSheet(self.document().Sheets.getByName(question["tab"]))

    # ---------------------------------------------------------------- what tests/hosts/calc_engine.py asks as if this were Excel

    def _begin(self, question: dict[str, Any]) -> None:
        """A new workbook beside the one that is open, until `end`."""
        self._beside = self._document
        self._open({"url": "private:factory/scalc"})

    def _end(self, question: dict[str, Any]) -> None:
        self._document.close(True)
        self._document = self._beside

    def _array(self, question: dict[str, Any]) -> None:
        self._range_of(question).setArrayFormula(question["text"])

    def _columns(self, question: dict[str, Any]) -> dict[str, Any]:
        columns = self.document().Sheets.getByName(question["tab"]).Columns
        each = [columns.getByIndex(i) for i in range(question["count"])]
        return {"visible": [c.IsVisible for c in each], "widths": [c.Width for c in each]}

    def _names(self, question: dict[str, Any]) -> dict[str, Any]:
        start = self.document().NullDate
        view = self.document().CurrentController
        return {"tabs": list(self.document().Sheets.ElementNames), "year": start.Year, "front": view.ActiveSheet.Name,
                "structure": self.document().isProtected()}  # fmt: skip

    def _look(self, question: dict[str, Any]) -> dict[str, Any]:
        document = self.document()
        return cells._tab(document.Sheets.getByName(question["tab"]), cells._Kinds(document))

    def _fill(self, question: dict[str, Any]) -> None:
        """A block of values: texts with a mark before them, formulas, numbers; a bare text becomes what typing it would make."""
        block, rows = self._range_of(question), question["rows"]
        plain = [[v[1:] if isinstance(v, str) and v.startswith("'") else "" if isinstance(v, str) and v[:1] in "=#" else float(v) if isinstance(v, bool) else v
                  for v in row] for row in rows]  # fmt: skip
        block.setDataArray(tuple(map(tuple, plain)))
        for r, row in enumerate(rows):
            for c, v in enumerate(row):
                cell = block.getCellByPosition(c, r)
                if isinstance(v, bool):
                    cell.setFormula("=TRUE()" if v else "=FALSE()")  # is one whatever look the cell gets
                elif isinstance(v, str) and v[:1] in ("=", "#"):
                    cell.setFormula(v if v[0] == "=" else "=" + v)
                elif isinstance(v, str) and v[:1].isdigit():
                    cell.setFormula(v)

    def _paint(self, question: dict[str, Any]) -> None:
        block, name, value = self._range_of(question), question["name"], question["value"]
        if name == "NumberFormat":
            value = drawing._Pen(self.document(), self.services)._format(value)
        elif name == "Merged":
            block.merge(True)
            return
        elif name in ("Width", "IsVisible"):
            block = block.Columns
        elif name == "RowHidden":
            block, name, value = block.Rows, "IsVisible", not value
        elif name == "Height":
            block = block.Rows
        block.setPropertyValue(name, value)

    def _form(self, question: dict[str, Any]) -> dict[str, Any]:
        block = self._range_of(question)
        if block.getPropertyState("NumberFormat").value == "AMBIGUOUS_VALUE":
            return {"form": None}
        return {"form": self.document().NumberFormats.getByKey(block.NumberFormat).FormatString}

    def _clear(self, question: dict[str, Any]) -> None:
        sheet = self.document().Sheets.getByName(question["tab"])
        sheet.merge(False)
        sheet.clearContents(1 | 2 | 4 | 8 | 16 | 32 | 64 | 256)

    def _add_tab(self, question: dict[str, Any]) -> None:
        sheets = self.document().Sheets
        sheets.insertNewByName(question["tab"], sheets.Count)
        self.document().CurrentController.setActiveSheet(sheets.getByName(question["tab"]))  # as Excel does

    def _drop_tab(self, question: dict[str, Any]) -> None:
        self.document().Sheets.removeByName(question["tab"])

    def _hang_link(self, question: dict[str, Any]) -> None:
        cell = self._range_of(question).getCellByPosition(0, 0)
        drawing._Pen(self.document(), self.services)._link(cell, question["address"], question["text"])

    def _range_of(self, question: dict[str, Any]) -> Any:
        top, left, bottom, right = question["area"]
        return self.document().Sheets.getByName(question["tab"]).getCellRangeByPosition(left, top, right, bottom)


def found(context: Any, role: int, name: str, depth: int = 0) -> Any:
    """The part of a window in this role and of this name."""
    if context is None or depth > 6:
        return None
    if context.getAccessibleRole() == role and context.getAccessibleName() == name:
        return context
    for i in range(min(context.getAccessibleChildCount(), 100)):
        child = context.getAccessibleChild(i)
        part = found(child.getAccessibleContext(), role, name, depth + 1) if child else None
        if part is not None:
            return part
    return None


if __name__ == "__main__":
    bridge.main(Hands)
