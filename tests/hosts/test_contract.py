"""What every host does alike: the same snapshot, the same edits, the same refusals, the same figures.

No test here knows which host it has. `HOSTS` makes each one from the same workbook of hers, written by another program;
the expected snapshot is written down below, cell by cell.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hosts.memory import MemoryWorkbook, written

from costbook import commands
from costbook.book.grid import Cell, Edits, ErrorValue, Formula, Grid, Look, PutTab, SetCell, Snapshot
from costbook.demo.papers import papers
from costbook.demo.workshop import demo_tabs
from costbook.errors import HostError, WorkbookChanged, WriteRefused
from costbook.hosts.calc import CalcDocument
from costbook.hosts.file import WorkbookFile, create
from costbook.hosts.headless import Office, OfficeFile
from costbook.hosts.opening import Host
from costbook.hosts.places import Held, unlike

pytestmark = pytest.mark.office
xlsxwriter = pytest.importorskip("xlsxwriter")

DAY = date(2024, 2, 29)
HERS = Grid(
    "Hers",
    (
        ("flour", 5.0, "free", True),
        ("day", DAY, None, False),
        ("thrice", 15.0),
        ("text", "flour!"),
        ("none", ""),
        ("error", ErrorValue("#DIV/0!")),
        ("wide", None, "under"),
        ("array", 10.0),
        ("hidden", 1.5),
    ),
    {(2, 1): "B1*3", (3, 1): 'A1&"!"', (4, 1): 'IF(B1>9,"x","")', (5, 1): "1/0", (7, 1): "SUM(B1:B1*2)"},
    merged=((6, 0, 6, 1),),
    hidden_rows=frozenset({8}),
)
LOCKED = Grid("Locked up", (("mine", 1.0),), protected=True)
OTHER = Grid("It's & other", ((None, 2.5),))
START = Snapshot("book.xlsx", {grid.name: grid for grid in (HERS, LOCKED, OTHER)})
HELD = {"Hers": (Held((7, 1, 7, 1), "the cell is part of an array formula.", "Clear the whole range by hand."),)}
OURS = PutTab(
    "Costs",
    (
        (Cell("Product", "tool heading"), Cell("Unit cost", "tool heading")),
        (Cell("=1+1 & co", "tool text"), Cell(Formula('IF(Hers!B1<6,"a, b","")', "a, b"), "tool text")),
        (Cell("Bar", "tool text"), Cell(Formula("'It''s & other'!B1*2", 5.0), "tool money")),
        (Cell(), Cell(DAY, "tool date"), Cell(0.125, "tool percent"), Cell("0012", "tool text")),
    (Cell("A sentence alone in its row has the whole width of the tab, and is wrapped there.", "wrapped"),),
    ),
    Look(widths={0: 20.0, 1: 9.5}),
)


def hers(path: Path) -> Path:
    """The workbook of `START`."""
    book = xlsxwriter.Workbook(str(path))
    tab = book.add_worksheet("Hers")
    tab.write_row(0, 0, ["flour", 5, "free", True])
    tab.write("A2", "day")
    tab.write_datetime("B2", datetime(2024, 2, 29), book.add_format({"num_format": "dd.mm.yyyy"}))
    tab.write("D2", False)
    for row, (name, formula, result) in enumerate((("thrice", "=B1*3", 15), ("text", '=A1&"!"', "flour!"), ("none", '=IF(B1>9,"x","")', ""),
                                                  ("error", "=1/0", "#DIV/0!")), 2):  # fmt: skip
        tab.write(row, 0, name)
        tab.write_formula(row, 1, formula, None, result)
    tab.merge_range("A7:B7", "wide")
    tab.write("C7", "under")
    tab.write("A8", "array")
    tab.write_array_formula("B8:B8", "{=SUM(B1:B1*2)}", None, 10)
    tab.write_row(8, 0, ["hidden", 1.5])
    tab.set_row(8, None, None, {"hidden": True})
    locked = book.add_worksheet("Locked up")
    locked.write_row(0, 0, ["mine", 1])
    locked.protect()
    book.add_worksheet("It's & other").write("B1", 2.5)
    book.close()
    return path


@dataclass
class Bench:
    """A host, and her hand that types into a cell of the same workbook."""

    host: Host
    she_types: Callable[[str, int, int, str], object]


def typed_in_file(path: Path, tab: str, row: int, column: int, text: str) -> None:
    book = openpyxl.load_workbook(path)
    book[tab].cell(row + 1, column + 1).value = text
    book.save(path)


def in_memory(path: Path, office: Office) -> Iterator[Bench]:
    start = WorkbookFile(path).snapshot() if path.stem != "book" else START
    host = MemoryWorkbook(start, HELD)

    def types(tab: str, row: int, column: int, text: str) -> None:
        host.now = written(host.now, (SetCell(tab, row, column, text, "", None),))

    yield Bench(host, types)


def in_a_file(path: Path, office: Office) -> Iterator[Bench]:
    yield Bench(WorkbookFile(path), lambda *typed: typed_in_file(path, *typed))


def in_calc(path: Path, office: Office) -> Iterator[Bench]:
    assert "refused" not in office.ask({"ask": "open", "url": path.as_uri()})
    yield Bench(
        CalcDocument(office.ask, path),
        lambda tab, row, column, text: office.ask({"ask": "type", "tab": tab, "row": row, "column": column, "text": text}),
    )
    office.ask({"ask": "shut"})


def in_calc_from_ods(path: Path, office: Office) -> Iterator[Bench]:
    """The same workbook saved as .ods by her program and opened again."""
    ods = path.with_suffix(".ods")
    office.ask({"ask": "open", "url": path.as_uri()})
    assert "refused" not in office.ask({"ask": "store", "url": ods.as_uri()})
    office.ask({"ask": "shut"})
    yield from in_calc(ods, office)


def in_open_document(path: Path, office: Office) -> Iterator[Bench]:
    """An .ods file from the command line: her program saves it, ours reads and writes it through an office of its own."""
    ods = path.with_suffix(".ods")

    def saved(tab: str = "", row: int = 0, column: int = 0, text: str = "") -> None:
        office.ask({"ask": "open", "url": (ods if ods.exists() else path).as_uri()})
        if tab:
            office.ask({"ask": "type", "tab": tab, "row": row, "column": column, "text": text})
        assert "refused" not in office.ask({"ask": "store", "url": ods.as_uri()})
        office.ask({"ask": "shut"})

    saved()
    host = OfficeFile(ods)
    yield Bench(host, saved)
    host.close()


HOSTS: dict[str, Callable[[Path, Office], Iterator[Bench]]] = {
    "memory": in_memory, "file": in_a_file, "calc": in_calc, "calc with ods": in_calc_from_ods, "ods file": in_open_document,
}  # fmt: skip


@pytest.fixture(params=list(HOSTS))
def at(request: pytest.FixtureRequest, tmp_path: Path, office: Office) -> Iterator[Bench]:
    """Her workbook in one of the hosts."""
    yield from HOSTS[request.param](hers(tmp_path / "book.xlsx"), office)


def alike(one: Snapshot, other: Snapshot) -> list[tuple[Any, ...]]:
    """What differs: tabs, values, formulas, what is merged, hidden or protected."""
    found: list[tuple[Any, ...]] = [] if list(one.grids) == list(other.grids) else [(list(one.grids), list(other.grids))]
    for left, right in zip(one.grids.values(), other.grids.values(), strict=False):
        places = [p for p in unlike(left.rows, right.rows) if not Grid("", ((left.value(*p),),)).same_values(Grid("", ((right.value(*p),),)))]
        found += [(left.name, place, left.value(*place), right.value(*place)) for place in places]
        found += [
            (left.name, name, getattr(left, name), getattr(right, name))
            for name in ("formulas", "merged", "hidden_rows", "protected")
            if getattr(left, name) != getattr(right, name)
        ]
    return found


def put(snapshot: Snapshot, *edits: SetCell) -> Snapshot:
    return written(snapshot, edits)


# ------------------------------------------------------------------ the same snapshot


def test_the_snapshot_shows_the_workbook(at: Bench) -> None:
    assert alike(START, at.host.snapshot()) == []


# ------------------------------------------------------------------ the same edits

CELLS = (
    SetCell("Hers", 0, 1, 7.25, "her number", 5.0),
    SetCell("Hers", 0, 2, "=A1", "her text", "free"),
    SetCell("Hers", 1, 1, date(2025, 12, 31), "her date", DAY),
    SetCell("Hers", 1, 2, "12", "her text", None),
    SetCell("Hers", 6, 2, None, "", "under"),
    SetCell("Hers", 12, 4, date(2026, 1, 2), "her date", None),
    SetCell("It's & other", 3, 0, True, "her text", None),
    SetCell("It's & other", 3, 1, "two\nlines", "her text", None),
)


def test_cells_show_what_was_set_and_nothing_else(at: Bench) -> None:
    before = at.host.snapshot()
    assert at.host.apply(Edits(CELLS))
    after = at.host.snapshot()
    wanted = put(before, *CELLS)
    calculated = {(0, 0), *HERS.formulas}
    told = [d for d in alike(wanted, after) if not (d[0] == "Hers" and d[1] in calculated)]
    assert told == []


def test_a_formula_is_overwritten_where_that_is_asked(at: Bench) -> None:
    at.host.snapshot()
    assert at.host.apply(Edits((SetCell("Hers", 2, 1, 15.0, "her number", 15.0),)))
    after = at.host.snapshot().grids["Hers"]
    assert after.value(2, 1) == 15.0 and (2, 1) not in after.formulas


def test_a_tab_is_put_last_with_its_formulas_calculated(at: Bench) -> None:
    before = at.host.snapshot()
    assert at.host.apply(Edits(tabs=(OURS,)))
    after = at.host.snapshot()
    assert list(after.grids) == [*before.grids, "Costs"]
    assert OURS.grid().same_values(after.grids["Costs"])
    assert set(after.grids["Costs"].formulas) == {(1, 1), (2, 1)}
    assert alike(before, Snapshot("", {n: g for n, g in after.grids.items() if n != "Costs"})) == []


def test_a_shorter_tab_leaves_nothing_of_the_longer_one(at: Bench) -> None:
    at.host.snapshot()
    at.host.apply(Edits(tabs=(OURS, PutTab("Last", ((Cell("x"),),)))))
    at.host.snapshot()
    shorter = PutTab("COSTS", ((Cell("only"), Cell(), Cell(3.0)),))
    assert at.host.apply(Edits(tabs=(shorter,)))
    after = at.host.snapshot()
    assert [name.casefold() for name in after.grids] == ["hers", "locked up", "it's & other", "costs", "last"]
    grid = after.grid("Costs")
    assert grid and shorter.grid().same_values(grid) and not grid.formulas and not grid.merged


def test_the_same_edits_twice_write_once(at: Bench) -> None:
    at.host.snapshot()
    edits = Edits((SetCell("It's & other", 0, 0, "new", "her text", None),), (OURS,))
    assert at.host.apply(edits)
    at.host.snapshot()
    again = Edits((SetCell("It's & other", 0, 0, "new", "her text", "new"),), (OURS,))
    assert not at.host.apply(again)


# ------------------------------------------------------------------ the same refusals

REFUSED = [
    (Edits((SetCell("Hers", 0, 0, 1.0, "", "sugar"),)), WorkbookChanged, "Hers!A1: holds 'flour' where 'sugar' was read; nothing was written. Run it again."),
    (Edits((SetCell("Gone", 0, 0, 1.0, "", None),)), WorkbookChanged, "there is no tab Gone in the workbook any more. Run it again."),
    (Edits((SetCell("Hers", 6, 1, 1.0, "", None),)), WriteRefused, "Hers!B7: the cell is hidden under merged cells. Unmerge them."),
    (Edits((SetCell("Hers", 7, 1, 1.0, "", 10.0),)), WriteRefused, "Hers!B8: the cell is part of an array formula. Clear the whole range by hand."),
    (Edits((SetCell("Locked up", 0, 1, 2.0, "", 1.0),)), WriteRefused,
     "Locked up!B1: the tab is protected. Take off the protection (Review, Unprotect) and run it again."),
    (Edits(tabs=(PutTab("Locked up", ((Cell("x"),),)),)), WriteRefused,
     "Locked up: the tab is protected. Take off the protection (Review, Unprotect) and run it again."),
    (Edits((SetCell("Hers", 1_048_576, 0, 1.0, "", None),)), WriteRefused, "Hers!A1048577: no tab reaches that far."),
]  # fmt: skip


@pytest.mark.parametrize(("edits", "kind", "words"), REFUSED, ids=[r[2].split(":")[0] + str(i) for i, r in enumerate(REFUSED)])
def test_a_refusal_is_the_same_sentence_and_writes_nothing(at: Bench, edits: Edits, kind: type[HostError], words: str) -> None:
    before = at.host.snapshot()
    fine = SetCell("It's & other", 0, 0, "new", "her text", None)
    with pytest.raises(kind) as told:
        at.host.apply(Edits((fine, *edits.cells), edits.tabs))
    assert str(told.value) == words
    assert alike(before, at.host.snapshot()) == []


def test_what_she_typed_meanwhile_is_never_written_over(at: Bench) -> None:
    at.host.snapshot()
    at.she_types("It's & other", 5, 2, "hers")
    with pytest.raises(WorkbookChanged, match="changed"):
        at.host.apply(Edits(tabs=(OURS,)))
    after = at.host.snapshot()
    assert list(after.grids) == list(START.grids) and after.grids["It's & other"].value(5, 2) == "hers"
    assert at.host.apply(Edits(tabs=(OURS,)))


# ------------------------------------------------------------------ the same figures


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Path], Path, dict[str, Any]]:
    """The demo workbook before any paper, its papers, the same priced as a file, and the figures of that."""
    folder = tmp_path_factory.mktemp("demo")
    raw, done = folder / "raw.xlsx", folder / "done.xlsx"
    create(raw, Edits(tabs=tuple(demo_tabs())))
    shutil.copy(raw, done)
    drawer = folder / "papers"
    drawer.mkdir()
    for name, data in papers().items():
        (drawer / name).write_bytes(data)
    commands.post(done, [drawer])
    commands.price(done)
    commands.changed(done)
    commands.make_next(done)
    return raw, [drawer], done, commands.price(done).figures()


@pytest.mark.parametrize("kind", list(HOSTS))
def test_every_figure_is_the_same(
    kind: str, demo: tuple[Path, list[Path], Path, dict[str, Any]], tmp_path: Path, office: Office
) -> None:
    """Papers posted, priced, the price news worked out and the queue made: all tabs and all figures as on the file."""
    raw, drawer, done, figures = demo
    for bench in HOSTS[kind](Path(shutil.copy(raw, tmp_path / "demo.xlsx")), office):
        commands.post(bench.host, drawer)
        assert commands.price(bench.host).figures() == figures
        assert commands.changed(bench.host).written and commands.make_next(bench.host).written
        assert not commands.price(bench.host).written, "a second run finds all of it there"
        assert alike(WorkbookFile(done).snapshot(), bench.host.snapshot()) == []
