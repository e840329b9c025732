"""The demo made once for all golden tests, and copies of it in which cells are typed by tab, heading and row name.

No test relies on a fixed place: a cell is looked for by its heading and by what stands in its row, as she would.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import date
from itertools import count
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from costbook import commands
from costbook.commands import Outcome, PostedPaper
from costbook.costing.checks import Priced
from costbook.errors import Finding
from costbook.hosts.file import WorkbookFile

DEMO_DATE = date(2026, 10, 26)
Named = str | tuple[str, ...]


def said(value: object) -> str:
    """A cell as text, for looking rows up; '' for an empty one."""
    return "" if value is None else str(value).strip()


class DemoCopy:
    """A copy of the demo workbook, opened when first asked for a cell and saved before the tool reads it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._opened: Any = None

    @property
    def workbook(self) -> Any:
        """The opened workbook; whatever is done to it is saved before the next run."""
        if self._opened is None:
            self._opened = openpyxl.load_workbook(self.path)
        return self._opened

    # -------------------------------------------------------- looking up

    def heading(self, tab: str, heading: str, after: int = 0) -> Any:
        """The first cell of a tab that holds this heading, below row `after`."""
        for row in self.workbook[tab].iter_rows(min_row=after + 1):
            for cell in row:
                if said(cell.value) == heading:
                    return cell
        raise AssertionError(f"{tab} has no heading {heading!r}")

    def row(self, tab: str, named: Named, after: int = 0) -> int:
        """The number of the first row below `after` in which all of these texts stand in cells."""
        wanted = {named} if isinstance(named, str) else set(named)
        for row in self.workbook[tab].iter_rows(min_row=after + 1):
            if wanted <= {said(cell.value) for cell in row}:
                return int(row[0].row)
        raise AssertionError(f"{tab} has no row with {wanted}")

    def cell(self, tab: str, heading: str, named: Named) -> Any:
        """The cell under a heading in the row of that name."""
        top = self.heading(tab, heading)
        return self.workbook[tab].cell(self.row(tab, named, top.row), top.column)

    def recipe(self, code: str) -> tuple[str, int]:
        """The tab of a recipe's card and the row its code stands in."""
        for sheet in self.workbook:
            for row in sheet.iter_rows():
                if [said(cell.value) for cell in row[:2]] == ["Code", code]:
                    return sheet.title, int(row[0].row)
        raise AssertionError(f"no recipe {code}")

    def recipe_cell(self, code: str, heading: str, material: str) -> Any:
        """The cell under a heading in the line of that material in a recipe's card; '' is the first free line."""
        tab, top = self.recipe(code)
        head = self.heading(tab, heading, top)
        name = self.heading(tab, "Material", top)
        row = head.row + 1
        while said(self.workbook[tab].cell(row, name.column).value) != material:
            row += 1
            assert row < head.row + 30, f"{code} has no line {material!r}"
        return self.workbook[tab].cell(row, head.column)

    # -------------------------------------------------------- typing

    def type(self, tab: str, heading: str, named: Named, value: object) -> str:
        """Types a value; returns the place as findings name it."""
        return self.put(self.cell(tab, heading, named), value)

    def type_recipe(self, code: str, heading: str, material: str, value: object) -> str:
        """Types a value into a recipe line; returns the place."""
        return self.put(self.recipe_cell(code, heading, material), value)

    def setting(self, label: str, value: object) -> str:
        """Types the value beside a label of the Start tab; returns the place."""
        return self.put(self.workbook["Start"].cell(self.heading("Start", label).row, 2), value)

    def put(self, cell: Any, value: object) -> str:
        """Types into a cell; returns the place."""
        cell.value = value
        return f"{cell.parent.title}!{cell.coordinate}"

    def empty_row(self, tab: str, named: Named) -> None:
        """Clears every cell of a row."""
        top = self.workbook[tab].max_row
        row = self.row(tab, named)
        assert row <= top
        for cell in self.workbook[tab][row]:
            cell.value = None

    def add_row(self, tab: str, values: dict[str, object]) -> int:
        """Types a row, by headings, below the last used one; returns its number."""
        sheet = self.workbook[tab]
        row = max(r for r in range(1, sheet.max_row + 1) if any(c.value not in (None, "") for c in sheet[r])) + 1
        for heading, value in values.items():
            sheet.cell(row, self.heading(tab, heading).column).value = value
        return row

    # -------------------------------------------------------- running

    def save(self) -> Path:
        """Saves what was typed; returns the file."""
        if self._opened is not None:
            self._opened.save(self.path)
            self._opened = None
        return self.path

    def price(self) -> Outcome:
        """Prices the copy as the command does."""
        return commands.price(self.save(), today=DEMO_DATE)

    def worked_out(self) -> tuple[Priced, list[Finding]]:
        """What the copy comes to, without writing anything."""
        return worked_out(self.save())

    def written(self, *tabs: str) -> list[list[dict[str, Any]]]:
        """For each tab its rows below the headings (third row), as the file stores them, by heading."""
        stored = openpyxl.load_workbook(self.save(), data_only=True)
        found = []
        for tab in tabs:
            headings, *rows = list(stored[tab].iter_rows(min_row=3, values_only=True))
            found.append([dict(zip(headings, row, strict=True)) for row in rows if row[0] not in (None, "")])
        return found


def worked_out(path: Path) -> tuple[Priced, list[Finding]]:
    """What a workbook file comes to."""
    host = WorkbookFile(path)
    try:
        return commands.worked_out(host.snapshot(), DEMO_DATE)
    finally:
        host.close()


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[PostedPaper], Outcome]:
    """The demo: its folder, what became of its papers, and what pricing it came to."""
    folder = tmp_path_factory.mktemp("demo")
    return folder, *commands.demo(folder)


@pytest.fixture(scope="session")
def demo(made: tuple[Path, list[PostedPaper], Outcome]) -> Path:
    """The demo workbook as made: never changed by a test."""
    return made[0] / commands.DEMO_BOOK


@pytest.fixture(scope="session")
def papers(made: tuple[Path, list[PostedPaper], Outcome]) -> Path:
    """The folder of the demo's supplier papers."""
    return made[0] / commands.DEMO_PAPERS


@pytest.fixture(scope="session")
def clean(demo: Path) -> tuple[Priced, list[Finding]]:
    """What the demo workbook comes to, worked out from the file."""
    return worked_out(demo)


@pytest.fixture(scope="session")
def copy_into(demo: Path) -> Callable[[Path], DemoCopy]:
    """Makes a copy of the demo workbook in a folder."""

    def copy(folder: Path) -> DemoCopy:
        folder.mkdir(parents=True, exist_ok=True)
        return DemoCopy(Path(shutil.copyfile(demo, folder / demo.name)))

    return copy


@pytest.fixture
def copied(copy_into: Callable[[Path], DemoCopy], tmp_path: Path) -> Callable[[], DemoCopy]:
    """Makes copies of the demo workbook, each in a folder of its own."""
    number = count()
    return lambda: copy_into(tmp_path / f"copy{next(number)}")


@pytest.fixture
def book(copied: Callable[[], DemoCopy]) -> DemoCopy:
    """One copy of the demo workbook."""
    return copied()
