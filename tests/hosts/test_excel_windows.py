"""xlwings' own Windows code over a stand-in for pywin32 that notes every call: one call for each block, however large.

What is noted are the calls that would go to Excel. The stand-in holds one workbook with two tabs.
"""

from __future__ import annotations

import ctypes
import importlib
import re
import sys
import types
from collections import Counter
from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import xlwings
from hosts import calc_engine

from costbook.book.grid import Cell, Edits, ErrorValue, Formula, PutTab, SetCell
from costbook.errors import HostUnavailable, WorkbookBusy, WriteRefused
from costbook.hosts import excel, journal

BUSY = -2147418111


class ComError(Exception):
    @property
    def hresult(self) -> int:
        return int(self.args[0])


class Dispatch:
    """What pywin32 gives for an object of Excel. Every call is noted; what nobody gave a value is another such object."""

    def __init__(self, notes: Counter[str], name: str, **known: Any) -> None:
        self.__dict__.update(_notes=notes, _name=name, _known=known)

    def __getattr__(self, item: str) -> Any:
        if item.startswith("_"):
            raise AttributeError(item)
        self._notes[f"get {self._name}.{item}"] += 1
        known = self._known.setdefault(item, Dispatch(self._notes, f"{self._name}.{item}"))
        return known() if isinstance(known, types.FunctionType) else known

    def __setattr__(self, item: str, value: Any) -> None:
        self._notes[f"set {self._name}.{item}"] += 1
        put = self._known.get("put " + item)
        if put:
            put(value)
        else:
            self._known[item] = value

    def __call__(self, *_: Any, **__: Any) -> Any:
        self._notes[f"call {self._name}"] += 1
        return self


@pytest.fixture
def windows(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """xlwings' module for Windows, loaded over the stand-in."""
    stubs = {name: types.ModuleType(name) for name in ("pywintypes", "pythoncom", "win32api", "win32con", "win32com", "win32com.client", "win32gui",
                                                       "win32process", "win32timezone")}  # fmt: skip
    stubs["pywintypes"].__dict__.update(com_error=ComError, error=OSError, TimeType=datetime)
    stubs["pythoncom"].__dict__.update(ole_error=ComError, CoInitialize=lambda: None)
    stubs["win32com"].__dict__.update(client=stubs["win32com.client"])
    stubs["win32com.client"].__dict__.update(CDispatch=Dispatch, CoClassBaseClass=type("CoClass", (), {}), Dispatch=Dispatch,
                                             DispatchBaseClass=type("Base", (), {}), DispatchEx=Dispatch)  # fmt: skip
    for name, module in stubs.items():
        monkeypatch.setitem(sys.modules, name, module)
    anything = types.SimpleNamespace(ole32=types.SimpleNamespace(CLSIDFromString=lambda *_: 0), PyCom_PyObjectFromIUnknown=types.SimpleNamespace())
    for name, value in (("oledll", anything), ("windll", anything), ("PyDLL", lambda *_: anything)):
        monkeypatch.setattr(ctypes, name, value, raising=False)
    stubs["pythoncom"].__file__ = "pythoncom"
    monkeypatch.setattr(excel, "PAUSE_SECONDS", 0)
    monkeypatch.delitem(sys.modules, "xlwings._xlwindows", raising=False)
    yield importlib.import_module("xlwings._xlwindows")
    sys.modules.pop("xlwings._xlwindows", None)


class Sheet:
    """One tab: rows as Value2 gives them; `money` are places that Value gives with four decimals, `days` those it gives as days."""

    def __init__(self, notes: Counter[str], name: str, rows: list[list[Any]], formulas: dict[tuple[int, int], str], days: set[tuple[int, int]]) -> None:
        self.notes, self.rows, self.formulas, self.days = notes, rows, formulas, days
        self.com = Dispatch(notes, "sheet", Name=name, UsedRange=lambda: self.range(0, 0, len(rows) - 1, len(rows[0]) - 1), Range=self.by_address,
                            ProtectContents=False, ListObjects=Tabs([]), Parent=None)  # fmt: skip

    def by_address(self, *args: Any) -> Any:
        return self.range(*_area(args[0]))

    def range(self, top: int, left: int, bottom: int, right: int) -> Any:
        def block(value: Any) -> Any:
            rows = tuple(tuple(value(r, c) for c in range(left, right + 1)) for r in range(top, bottom + 1))
            return rows[0][0] if (top, left) == (bottom, right) else rows

        def exact(r: int, c: int) -> Any:
            return self.rows[r][c] if r < len(self.rows) and c < len(self.rows[r]) else None

        def shown(r: int, c: int) -> Any:
            value = exact(r, c)
            if (r, c) in self.days:
                return datetime(1899, 12, 30) + timedelta(days=value)
            return Decimal(str(round(value, 4))) if isinstance(value, float) else value

        def put(rows: Any) -> None:
            for r, row in enumerate(rows, top):
                self.rows.extend([] for _ in range(r + 1 - len(self.rows)))
                self.rows[r].extend([None] * (left + len(row) - len(self.rows[r])))
                self.rows[r][left : left + len(row)] = [v.removeprefix("'") if isinstance(v, str) else v for v in row]

        return Dispatch(
            self.notes, "range", Row=top + 1, Column=left + 1, Rows=Dispatch(self.notes, "rows", Count=bottom - top + 1), MergeCells=False, HasArray=False,
            Columns=Dispatch(self.notes, "columns", Count=right - left + 1), EntireRow=Dispatch(self.notes, "whole rows", Hidden=False), NumberFormat="General",
            Value=lambda: block(shown), Value2=lambda: block(exact), Formula=lambda: block(lambda r, c: self.formulas.get((r, c), str(exact(r, c) or ""))),
            **{"put Value": put},
        )  # fmt: skip


def _area(address: str) -> tuple[int, int, int, int]:
    ends = [re.fullmatch(r"([A-Z]+)(\d*)", part) for part in address.split(":")]
    places = [(int(end[2] or 1) - 1, calc_engine._number(end[1])) for end in ends if end]
    return (*places[0], *places[-1])


class Tabs:
    """The worksheets as a collection of Excel."""

    def __init__(self, sheets: list[Any]) -> None:
        self._sheets = sheets
        self.Count = len(sheets)

    def __call__(self, which: Any) -> Any:
        return self._sheets[which - 1]

    def __iter__(self) -> Iterator[Any]:
        return iter(self._sheets)


@pytest.fixture
def notes() -> Counter[str]:
    return Counter()


def book_of(windows: Any, notes: Counter[str], tmp_path: Path, height: int) -> tuple[excel.ExcelWorkbook, Sheet]:
    hers = Sheet(notes, "Hers", [["soap", 1.23456789, 45292.0, -2146826281, True] for _ in range(height)],
                 {(0, 1): "=A1*2"}, {(r, 2) for r in range(height)})  # fmt: skip
    other = Sheet(notes, "Costs", [[float(r)] for r in range(height)], {}, set())
    tabs = Tabs([hers.com, other.com])
    com = Dispatch(notes, "book", Name="book.xlsx", FullName=str(tmp_path / "book.xlsx"), Worksheets=tabs, Date1904=False, ReadOnly=False,
                   ProtectStructure=False, ActiveSheet=hers.com, Application=Dispatch(notes, "app", ScreenUpdating=True, Hwnd=1))  # fmt: skip
    tabs.Parent = com
    windows.App.pid = 1
    return excel.ExcelWorkbook(xlwings.Book(impl=windows.Book(xl=com))), hers


def test_what_excel_gives_is_read_exactly(windows: Any, notes: Counter[str], tmp_path: Path) -> None:
    host, _ = book_of(windows, notes, tmp_path, 2)
    grid = host.snapshot().grids["Hers"]
    assert grid.rows[0] == ("soap", 1.23456789, datetime(2024, 1, 1).date(), ErrorValue("#DIV/0!"), True), "money is not cut to four decimals"
    assert dict(grid.formulas) == {(0, 1): "A1*2"}


def test_empty_rows_with_a_look_do_not_make_a_tab_too_large(windows: Any, notes: Counter[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(excel, "MOST_CELLS", 50)
    monkeypatch.setattr(excel, "PART_CELLS", 50)
    host, hers = book_of(windows, notes, tmp_path, 2)
    hers.rows += [[None] * 5 for _ in range(98)]
    assert len(host.snapshot().grids["Hers"].rows) == 2
    hers.rows[60][0] = "far away"
    with pytest.raises(HostUnavailable, match="Hers: the tab reaches over 350 cells"):
        host.snapshot()


def test_a_tab_is_read_in_three_calls_whatever_its_size(windows: Any, tmp_path: Path) -> None:
    counts = []
    for height in (10, 1000):
        notes: Counter[str] = Counter()
        book_of(windows, notes, tmp_path, height)[0].snapshot()
        assert [notes[f"get range.{name}"] for name in ("Value", "Value2", "Formula")] == [2, 2, 2], "once for each of two tabs"
        counts.append(notes)
    assert counts[0] == counts[1]


def test_a_block_is_written_in_one_call_whatever_its_size(windows: Any, tmp_path: Path) -> None:
    counts = []
    for height in (10, 1000):
        notes: Counter[str] = Counter()
        host, hers = book_of(windows, notes, tmp_path, height)
        host.snapshot()
        cells = tuple(SetCell("Hers", r, 0, f"{r}", "her text", "soap") for r in range(height))
        tab = PutTab("Costs", tuple((Cell("x", "tool text"), Cell(Formula("Hers!B1", 2.0), "tool money")) for _ in range(height)))
        notes.clear()
        assert host.apply(Edits(cells, (tab,)))
        assert notes["set range.Value"] == 2, "one block of hers, one tab of ours"
        assert [row[0] for row in hers.rows] == [f"{r}" for r in range(height)]
        assert journal.newest(host.path)
        counts.append(notes)
    assert counts[0] == counts[1]


def test_the_library_is_kept_from_asking_a_busy_excel_for_ever(windows: Any, notes: Counter[str], tmp_path: Path) -> None:
    host, _ = book_of(windows, notes, tmp_path, 2)

    class Busy(Dispatch):
        def __getattr__(self, item: str) -> Any:
            if item.startswith("_"):
                raise AttributeError(item)
            self._notes["asked"] += 1
            raise ComError(BUSY, "Call was rejected by callee.", None, None)

    with calc_engine.running():
        excel._engine()
    host._book.impl.xl = windows.COMRetryObjectWrapper(Busy(notes, "book"))
    with pytest.raises(WorkbookBusy, match="finish the cell you are typing in"):
        host.snapshot()
    assert notes["asked"] == excel.TRIES


def test_the_number_inside_an_error_of_excel_counts(windows: Any) -> None:
    edited = ComError(-2147352567, "Exception occurred.", (0, "Microsoft Excel", None, None, 0, -2146777998), None)
    other = ComError(-2147352567, "Exception occurred.", (0, "Microsoft Excel", "No.", None, 0, -2146827284), None)
    assert excel._is_busy(edited) and not excel._is_busy(other)
    with pytest.raises(WriteRefused, match=r"Excel refused it .*No\."), excel._plainly():
        raise other
