"""xlwings' own object model over a live Calc: an engine on xlwings' base classes that answers as Excel on Windows does.

What the adapter asks goes the whole way through xlwings; only the last step is another office program. Blocks of one cell
are scalars, mixed properties are None, errors are whole numbers, days are datetimes, and a bare text is what typing makes of it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from types import SimpleNamespace
from typing import Any

import xlwings
from xlwings import base_classes, main

from costbook.hosts.headless import Office
from costbook.hosts.notation import for_calc, from_calc
from costbook.hosts.typed import ERRORS

CODES = {text: code for code, text in ERRORS.items()}


class Engine:
    """What xlwings takes for a way to Excel. `apps` are the running Excels, none at first."""

    name, type = "excel", "desktop"

    def __init__(self) -> None:
        self.apps: list[App] = []


ENGINE = Engine()


class App(base_classes.App):
    """One Excel. `busy` counts down: as long as it is over 0, whatever is asked is refused as by an Excel in which a cell is edited."""

    version = "a Calc in its place"
    display_alerts = True  # of the base class a property without an answer
    engine = ENGINE

    def __init__(self, office: Office, places: list[str]) -> None:
        self.office, self.busy, self.asked, self.painted = office, 0, 0, 0
        self.read_only = False
        self.error: type[Exception] = RuntimeError
        self._books = [Book(self, place) for place in places]
        self.front = 0
        self._drawing = True

    def activate(self, steal_focus: bool = False) -> None:
        """It is in front."""

    def ask(self, question: dict[str, Any]) -> dict[str, Any]:
        self.asked += 1
        if self.busy > 0:
            self.busy -= 1
            raise self.error(-2147418111, "Call was rejected by callee.", None, None)
        answer = self.office.ask(question)
        assert "refused" not in answer, answer
        return answer

    @property
    def pid(self) -> int:
        return 1

    @property
    def books(self) -> Any:
        return Books(self._books, self.front)

    @property
    def screen_updating(self) -> bool:
        return self._drawing

    @screen_updating.setter
    def screen_updating(self, value: bool) -> None:
        self._drawing = value


@contextmanager
def running(*apps: App) -> Iterator[None]:
    """These are the Excels of this system, as xlwings sees it."""
    if ENGINE.name not in [engine.name for engine in xlwings.engines]:
        xlwings.engines.add(main.Engine(impl=ENGINE))
    xlwings.engines.active, ENGINE.apps = xlwings.engines["excel"], list(apps)
    try:
        yield
    finally:
        ENGINE.apps = []


class Books(base_classes.Books):
    def __init__(self, books: list[Book], front: int) -> None:
        self._books, self._front = books, front

    def add(self) -> Any:
        """A new workbook, which the Calc behind all of this shows until it is closed."""
        app = self._books[0].app
        app.ask({"ask": "begin"})
        return Book(app, "Book2")

    @property
    def active(self) -> Any:
        return self._books[self._front]

    def __call__(self, index: int) -> Any:
        return self._books[index - 1]

    def __len__(self) -> int:
        return len(self._books)

    def __iter__(self) -> Any:
        return iter(self._books)


class Book(base_classes.Book):
    def __init__(self, app: App, place: str) -> None:
        self._app, self._place = app, place

    def activate(self) -> None:
        """It is in front."""

    def close(self) -> None:
        self._app.ask({"ask": "end"})

    @property
    def name(self) -> str:
        return re.split(r"[/\\]", self._place)[-1]

    @property
    def app(self) -> Any:
        return self._app

    @property
    def api(self) -> Any:
        told = self._app.ask({"ask": "names"})
        return SimpleNamespace(FullName=self._place, Date1904=told["year"] == 1904, ReadOnly=self._app.read_only, ProtectStructure=told["structure"])

    @property
    def sheets(self) -> Any:
        return Sheets(self)


class Sheets(base_classes.Sheets):
    def __init__(self, book: Book) -> None:
        self._book, self._ask = book, book.app.ask

    def _all(self) -> list[Sheet]:
        return [Sheet(self._book, name) for name in self._ask({"ask": "names"})["tabs"]]

    @property
    def active(self) -> Any:
        return Sheet(self._book, self._ask({"ask": "names"})["front"])

    def __call__(self, which: int | str) -> Any:
        return Sheet(self._book, which) if isinstance(which, str) else self._all()[which - 1]

    def __len__(self) -> int:
        return len(self._all())

    def __iter__(self) -> Any:
        return iter(self._all())

    def add(self, before: Any = None, after: Any = None, name: str = "") -> Any:
        assert after is not None and after.name == self._all()[-1].name
        self._ask({"ask": "add_tab", "tab": name})
        return Sheet(self._book, name)


class Sheet(base_classes.Sheet):
    def __init__(self, book: Book, name: str) -> None:
        self._book, self._name, self._known = book, name, None

    def ask(self, what: str, **more: Any) -> dict[str, Any]:
        return self._book.app.ask({"ask": what, "tab": self._name, **more})

    def look(self) -> dict[str, Any]:
        if self._known is None:
            self._known = self.ask("look")
        return self._known

    @property
    def name(self) -> str:
        return self._name

    @property
    def book(self) -> Any:
        return self._book

    @property
    def api(self) -> Any:
        return SimpleNamespace(ProtectContents=self.look()["protected"], Protect=lambda: self.ask("protect"))

    @property
    def tables(self) -> Any:
        return Nothing()

    @property
    def used_range(self) -> Any:
        self._known = None
        rows = self.look()["rows"]
        return Range(self, (0, 0, max(len(rows), 1) - 1, max(max(map(len, rows), default=1), 1) - 1))

    def range(self, arg1: Any, arg2: Any = None) -> Any:
        if isinstance(arg1, tuple):
            arg1 = f"{main.utils.col_name(arg1[1])}{arg1[0]}"
        assert len(arg1) <= 255, "Excel takes no longer address"
        areas = []
        for one in arg1.split(","):
            ends = [re.fullmatch(r"([A-Z]+)(\d*)", part) for part in one.split(":")]
            columns = [_number(end[1]) for end in ends]
            rows = [int(end[2]) - 1 if end[2] else 0 for end in ends]
            areas.append((rows[0], columns[0], rows[-1], columns[-1]))
        return Range(self, *areas)

    def activate(self) -> None:
        self.ask("show_tab")

    def clear(self) -> None:
        self.ask("clear")

    def delete(self) -> None:
        self.ask("drop_tab")


class Nothing(base_classes.Collection):
    def __len__(self) -> int:
        return 0

    def __iter__(self) -> Any:
        return iter(())


class Font(base_classes.Font):
    def __init__(self, block: Range) -> None:
        object.__setattr__(self, "_block", block)

    def __setattr__(self, name: str, value: Any) -> None:
        told = {"bold": ("CharWeight", 150.0), "size": ("CharHeight", value), "color": ("CharColor", (value[0] << 16) + (value[1] << 8) + value[2] if name == "color" else 0)}.get(name)
        if told:
            self._block.paint(*told)


class Range(base_classes.Range):
    """Cells of a tab; more areas than the first are only given looks."""

    def __init__(self, sheet: Sheet, area: tuple[int, int, int, int], *more: tuple[int, int, int, int]) -> None:
        object.__setattr__(self, "_sheet", sheet)
        object.__setattr__(self, "_area", area)
        object.__setattr__(self, "_more", more)
        object.__setattr__(self, "options", {})

    def paint(self, name: str, value: Any) -> None:
        self._sheet.book.app.painted += 1
        for area in (self._area, *self._more):
            self._sheet.ask("paint", area=area, name=name, value=value)

    def __setattr__(self, name: str, value: Any) -> None:
        if name == "raw_value":
            rows = [[for_calc(v) if isinstance(v, str) and v.startswith("=") else v for v in row] for row in value]
            self._sheet.ask("fill", area=self._area, rows=rows)
        elif name == "number_format":
            self.paint("NumberFormat", value)
        elif name == "formula_array":
            self._sheet.ask("array", area=self._area, text=for_calc(value))
        elif name == "row_hidden":
            self.paint("RowHidden", value)
        elif name == "wrap_text":
            self.paint("IsTextWrapped", value)
        elif name == "column_hidden":
            self.paint("IsVisible", not value)
        elif name == "column_width":
            self.paint("Width", round(value * 195.78))
        elif name == "row_height":
            self.paint("Height", round(value * 2540 / 72))
        elif name == "color":
            self.paint("CellBackColor", (value[0] << 16) + (value[1] << 8) + value[2])
        elif name in ("options", "horizontal_alignment"):
            object.__setattr__(self, "_" + name if name != "options" else name, value)
        else:
            raise AttributeError(name)

    @property
    def sheet(self) -> Any:
        return self._sheet

    @property
    def row(self) -> int:
        return self._area[0] + 1

    @property
    def column(self) -> int:
        return self._area[1] + 1

    @property
    def shape(self) -> tuple[int, int]:
        return self._area[2] - self._area[0] + 1, self._area[3] - self._area[1] + 1

    @property
    def font(self) -> Any:
        return Font(self)

    @property
    def number_format(self) -> Any:
        return self._sheet.ask("form", area=self._area)["form"]

    @property
    def raw_value(self) -> Any:
        return self._block(lambda r, c, v: self._shown(r, c, v))

    @property
    def formula(self) -> Any:
        texts = {(r, c): "=" + from_calc(text) for r, c, text in self._sheet.look()["formulas"]}
        return self._block(lambda r, c, v: texts.get((r, c), "" if v is None else str(v)))

    @property
    def api(self) -> Any:
        hidden = set(self._sheet.look()["hidden"])
        return SimpleNamespace(Value2=self._block(self._exact), EntireRow=SimpleNamespace(Hidden=self._mixed(lambda r, c: r in hidden)))

    @property
    def has_array(self) -> Any:
        return self._mixed(lambda r, c: any(kind == "array" and _in(area, r, c) for kind, area in self._sheet.look()["held"]))

    @property
    def merge_cells(self) -> Any:
        return self._mixed(lambda r, c: any(_in(area, r, c) for area in self._sheet.look()["merged"]))

    @property
    def merge_area(self) -> Any:
        return Range(self._sheet, tuple(next(area for area in self._sheet.look()["merged"] if _in(area, *self._area[:2]))))

    def merge(self, across: bool = False) -> None:
        self.paint("Merged", True)

    def add_hyperlink(self, address: str, text_to_display: str = "", screen_tip: str = "") -> None:
        self._sheet.ask("hang_link", area=self._area, address=address.replace("!", "."), text=text_to_display)

    # ---------------------------------------------------------------- as Excel gives it

    def _block(self, value: Any) -> Any:
        rows = self._sheet.look()["rows"]
        top, left, bottom, right = self._area
        block = tuple(
            tuple(value(r, c, rows[r][c] if r < len(rows) and c < len(rows[r]) else None) for c in range(left, right + 1))
            for r in range(top, bottom + 1)
        )
        return block[0][0] if self.shape == (1, 1) else block

    def _exact(self, r: int, c: int, value: Any) -> Any:
        look = self._sheet.look()
        if "by place" not in look:
            look["by place"] = {(row, column): CODES[text] for row, column, text in look["errors"]}
        if (r, c) in look["by place"]:
            return look["by place"][r, c]
        if value in (0.0, 1.0) and any(_in(area, r, c) for area in look["truths"]):
            return bool(value)
        return value

    def _shown(self, r: int, c: int, value: Any) -> Any:
        exact = self._exact(r, c, value)
        if isinstance(exact, float) and any(_in(area, r, c) for area in self._sheet.look()["days"]):
            return datetime.combine(date(1899, 12, 30), time()) + timedelta(days=exact)
        return round(exact, 4) if isinstance(exact, float) else exact  # as Excel gives amounts of money

    def _mixed(self, holds: Any) -> Any:
        top, left, bottom, right = self._area
        found = {holds(r, c) for r in range(top, bottom + 1) for c in range(left, right + 1)}
        return found.pop() if len(found) == 1 else None


def _in(area: Any, r: int, c: int) -> bool:
    return bool(area[0] <= r <= area[2] and area[1] <= c <= area[3])


def _number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number - 1
