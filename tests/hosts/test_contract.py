"""What every host does alike: the same snapshot, the same edits, the same refusals, the same figures.

No test here knows which host it has. `HOSTS` makes each one from the same workbook of hers, written by another program;
the checks and the expected snapshot stand in costbook/hosts/contract.py, since she can run them in her own program too.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hosts import calc_engine
from hosts.memory import MemoryWorkbook

from costbook import commands
from costbook.book.grid import Edits, SetCell, Snapshot
from costbook.demo.papers import papers
from costbook.demo.workshop import demo_tabs
from costbook.errors import HostError
from costbook.hosts import contract
from costbook.hosts.calc import CalcDocument
from costbook.hosts.contract import HELD, REFUSED, START, Bench, alike, written
from costbook.hosts.excel import open_workbook
from costbook.hosts.file import WorkbookFile, create
from costbook.hosts.headless import Office, OfficeFile

pytestmark = pytest.mark.office
xlsxwriter = pytest.importorskip("xlsxwriter")

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


def in_excel(path: Path, office: Office) -> Iterator[Bench]:
    """xlwings' object model over the live Calc, in which the workbook is open."""
    assert "refused" not in office.ask({"ask": "open", "url": path.as_uri()})
    app = calc_engine.App(office, [str(path)])
    with calc_engine.running(app):
        yield Bench(
            open_workbook(path),
            lambda tab, row, column, text: office.ask({"ask": "type", "tab": tab, "row": row, "column": column, "text": text}),
        )
    office.ask({"ask": "shut"})


HOSTS: dict[str, Callable[[Path, Office], Iterator[Bench]]] = {
    "memory": in_memory, "file": in_a_file, "calc": in_calc, "calc with ods": in_calc_from_ods, "ods file": in_open_document,
    "excel": in_excel,
}  # fmt: skip


@pytest.fixture(params=list(HOSTS))
def at(request: pytest.FixtureRequest, tmp_path: Path, office: Office) -> Iterator[Bench]:
    """Her workbook in one of the hosts."""
    yield from HOSTS[request.param](hers(tmp_path / "book.xlsx"), office)


@pytest.mark.parametrize("check", contract.CHECKS, ids=lambda check: check.__name__)
def test_the_contract(at: Bench, check: Callable[[Bench], list[str]]) -> None:
    assert check(at) == []


@pytest.mark.parametrize(("edits", "kind", "words"), REFUSED, ids=[r[2].split(":")[0] + str(i) for i, r in enumerate(REFUSED)])
def test_a_refusal_is_the_same_sentence_and_writes_nothing(at: Bench, edits: Edits, kind: type[HostError], words: str) -> None:
    assert contract.refused(at, edits, kind, words) == []


class Deaf:
    """A host that shows the workbook and writes nothing."""

    def __init__(self, start: Snapshot) -> None:
        self._start = start

    def snapshot(self) -> Snapshot:
        return self._start

    def apply(self, edits: Edits) -> bool:
        return False


def test_every_check_can_fail() -> None:
    nobody = Bench(Deaf(Snapshot("", {})), lambda *_: None)
    assert [c.__name__ for c in contract.CHECKS[:1] if not c(nobody)] == []
    deaf = Bench(Deaf(START), lambda *_: None)
    assert [c.__name__ for c in contract.CHECKS[1:] if not c(deaf)] == []
    assert [words for edits, kind, words in REFUSED if not contract.refused(deaf, edits, kind, words)] == []


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
