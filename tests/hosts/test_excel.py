"""The open workbook in Excel, where it has more to do than the contract: the way there, busy moments, taking back, the buttons."""

from __future__ import annotations

import io
import shutil
import sys
import types
import zipfile
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hosts import calc_engine
from hosts.test_contract import hers

from costbook import cli, desk
from costbook.book.grid import Edits, Look, PutTab, SetCell
from costbook.book.layout import COLOURS, PERCENT
from costbook.errors import HostUnavailable, WorkbookBusy, WriteRefused
from costbook.hosts import contract, excel, excel_buttons, journal
from costbook.hosts.file import WorkbookFile
from costbook.hosts.headless import Office
from costbook.hosts.opening import opened

CELLS = contract.CELLS


class ComError(Exception):
    """What pywin32 raises: number, words, more, place of the argument."""

    @property
    def hresult(self) -> int:
        return int(self.args[0])


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A user's own folder for the test."""
    folder = tmp_path / "home"
    folder.mkdir()
    monkeypatch.setenv("HOME", str(folder))
    monkeypatch.setattr(excel, "PAUSE_SECONDS", 0)
    return folder


@pytest.fixture
def app(tmp_path: Path, office: Office, home: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[calc_engine.App]:
    """One Excel with the contract's workbook open in it."""
    path = hers(tmp_path / "book.xlsx")
    assert "refused" not in office.ask({"ask": "open", "url": path.as_uri()})
    monkeypatch.setitem(sys.modules, "pywintypes", types.SimpleNamespace(com_error=ComError))
    running = calc_engine.App(office, [str(path)])
    running.error = ComError
    with calc_engine.running(running):
        yield running
    office.ask({"ask": "shut"})


# ------------------------------------------------------------------ the way there


def test_without_xlwings_a_sentence_says_what_to_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "xlwings", None)
    with pytest.raises(HostUnavailable, match=r"xlwings, .* is not installed\. Run: python -m pip install xlwings"):
        excel.open_workbook()


def test_where_there_is_no_excel_a_sentence_says_so() -> None:
    with calc_engine.running(), pytest.raises(HostUnavailable, match=r"Excel is not open\. Open the workbook"):
        excel.open_workbook()


def test_the_workbook_in_front_is_meant_where_none_is_named(app: calc_engine.App, tmp_path: Path) -> None:
    app._books.append(calc_engine.Book(app, str(tmp_path / "other.xlsx")))
    assert [book.name for book in excel.open_books()] == ["book.xlsx", "other.xlsx"]
    app.front = 1
    assert excel.open_workbook().name == "other.xlsx"
    assert excel.open_workbook("book.xlsx").path == tmp_path / "book.xlsx"
    with pytest.raises(HostUnavailable, match=r"nowhere.xlsx is not open in Excel; open there: other.xlsx, book.xlsx"):
        excel.open_workbook("nowhere.xlsx")


def test_a_book_of_the_same_name_in_another_folder_is_not_meant(app: calc_engine.App, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    other = shutil.copy(tmp_path / "book.xlsx", tmp_path / "elsewhere" / "book.xlsx")
    with pytest.raises(HostUnavailable, match="is not open in Excel"):
        excel.open_workbook(Path(other))


def test_two_of_one_name_are_not_guessed_between(app: calc_engine.App, tmp_path: Path) -> None:
    app._books.append(calc_engine.Book(app, str(tmp_path / "elsewhere" / "book.xlsx")))
    with pytest.raises(HostUnavailable, match=r"2 workbooks named book\.xlsx are open"):
        excel.open_workbook("book.xlsx")


@pytest.mark.parametrize("place", ["Book1", "https://d.docs.live.net/1234/book.xlsx"])
def test_a_book_on_no_disk_has_its_journal_among_the_users_files(app: calc_engine.App, home: Path, place: str) -> None:
    app._books[0]._place = place
    host = excel.open_workbook(place.rpartition("/")[2])
    host.snapshot()
    assert host.apply(Edits(CELLS))
    assert [file.parent for file in journal.entries(host.path)] == [home / ".local" / "share" / "costbook"]
    assert host.take_back() == (8, [])


def test_a_path_that_is_open_in_excel_is_worked_on_there(app: calc_engine.App, tmp_path: Path) -> None:
    path = tmp_path / "book.xlsx"
    assert isinstance(opened(path), WorkbookFile)
    (tmp_path / "~$book.xlsx").write_bytes(b"\x03her")
    assert isinstance(opened(path), excel.ExcelWorkbook)
    with calc_engine.running():
        assert isinstance(opened(path), WorkbookFile), "no Excel has it: the file says who does"


def test_macos_is_asked_in_its_own_spelling(monkeypatch: pytest.MonkeyPatch) -> None:
    """The names are those xlwings itself lists for Excel on macOS."""
    from xlwings import mac_dict

    known = {entry[0] for name in ("properties", "elements") for entry in getattr(mac_dict, name)}
    asked: list[str] = []

    class Apple:
        def __getattr__(self, name: str) -> Apple:
            asked.append(name)
            return self

        def get(self) -> str:
            return "told"

    monkeypatch.setattr(sys, "platform", "darwin")
    for names in (("FullName",), ("Date1904",), ("ReadOnly",), ("ProtectStructure",), ("ProtectContents",), ("Value2",), ("StringValue",), ("EntireRow", "Hidden")):
        assert excel._native(types.SimpleNamespace(api=Apple()), *names) == "told"
    assert asked == ["full_name", "date_1904", "read_only", "protect_structure", "protect_contents", "value2", "string_value", "entire_row", "hidden"]
    assert set(asked) <= known


# ------------------------------------------------------------------ what stands in the way


def test_a_busy_excel_is_asked_again_and_then_not_for_ever(app: calc_engine.App) -> None:
    host = excel.open_workbook()
    app.busy = 3
    assert contract.alike(contract.START, host.snapshot()) == []
    app.busy, app.asked = 10_000, 0
    with pytest.raises(WorkbookBusy, match="finish the cell you are typing in"):
        host.snapshot()
    assert app.asked == excel.TRIES
    app.busy = 0


def test_busy_in_the_middle_of_a_write_it_goes_on(app: calc_engine.App) -> None:
    host = excel.open_workbook()
    host.snapshot()
    write = calc_engine.Sheet.ask

    def once_busy(sheet: calc_engine.Sheet, what: str, **more: object) -> dict[str, object]:
        if what == "fill":
            calc_engine.Sheet.ask = write  # type: ignore[method-assign]
            app.busy = 2
        return write(sheet, what, **more)

    calc_engine.Sheet.ask = once_busy  # type: ignore[assignment, method-assign]
    try:
        assert host.apply(Edits(tabs=(contract.OURS,)))
    finally:
        calc_engine.Sheet.ask = write  # type: ignore[method-assign]
    assert contract.OURS.grid().same_values(host.snapshot().grids["Costs"])


def test_a_write_that_breaks_off_can_be_taken_back(app: calc_engine.App) -> None:
    host = excel.open_workbook()
    before = host.snapshot()
    write, fills = calc_engine.Sheet.ask, 0

    def breaks(sheet: calc_engine.Sheet, what: str, **more: object) -> dict[str, object]:
        nonlocal fills
        fills += what == "fill"
        if fills == 3:
            raise ComError(-2147352567, "Exception occurred.", (0, "Microsoft Excel", "planted", "", 0, -2146827284), None)
        return write(sheet, what, **more)

    calc_engine.Sheet.ask = breaks  # type: ignore[assignment, method-assign]
    try:
        with pytest.raises(WriteRefused, match=r"Excel refused it .*planted.*Part of it may be written"):
            host.apply(Edits(CELLS, (contract.OURS,)))
    finally:
        calc_engine.Sheet.ask = write  # type: ignore[method-assign]
    assert contract.alike(before, host.snapshot()) != []
    host.take_back()
    assert contract.alike(before, host.snapshot()) == []


@pytest.mark.parametrize(("number", "words"), [(-2147023174, "was closed meanwhile"), (-1743, "Privacy & Security, Automation"), (7, "Excel refused it")])
def test_other_refusals_are_one_sentence(app: calc_engine.App, number: int, words: str) -> None:
    host = excel.open_workbook()
    app.error = lambda *_: ComError(number, "words of Excel", None, None)  # type: ignore[assignment]
    app.busy = 1
    with pytest.raises((HostUnavailable, WriteRefused), match=words):
        host.snapshot()


def test_a_book_for_reading_only_is_not_written(app: calc_engine.App) -> None:
    host = excel.open_workbook()
    before = host.snapshot()
    app.read_only = True
    with pytest.raises(WriteRefused, match="open for reading only"):
        host.apply(Edits(tabs=(contract.OURS,)))
    assert contract.alike(before, host.snapshot()) == []


def test_no_tab_is_added_where_the_structure_is_protected(app: calc_engine.App, office: Office) -> None:
    office.ask({"ask": "protect", "tab": ""})
    host = excel.open_workbook()
    host.snapshot()
    with pytest.raises(WriteRefused, match="structure is protected"):
        host.apply(Edits(tabs=(contract.OURS,)))


# ------------------------------------------------------------------ taking back


def test_what_was_written_is_taken_back_cell_for_cell(app: calc_engine.App, tmp_path: Path) -> None:
    host = excel.open_workbook()
    before = host.snapshot()
    host.apply(Edits(CELLS, (contract.OURS,)))
    assert [file.parent.name for file in journal.entries(host.path)] == ["costbook-backups"]
    count, left = host.take_back()
    assert (count, left) == (8 + 12 - 2, []), "8 cells of hers, and the filled cells of ours"
    assert contract.alike(before, host.snapshot()) == []
    with pytest.raises(WriteRefused, match="nothing of the tool's to take back"):
        host.take_back()


def test_the_write_before_can_be_taken_back_next(app: calc_engine.App) -> None:
    host = excel.open_workbook()
    before = host.snapshot()
    host.apply(Edits((SetCell("Hers", 0, 1, 6.0, "", 5.0),)))
    between = host.snapshot()
    host.apply(Edits((SetCell("Hers", 0, 1, 7.0, "", 6.0), SetCell("Hers", 2, 1, 1.0, "", 18.0))))
    assert host.take_back() == (2, [])
    assert contract.alike(between, host.snapshot()) == []
    assert host.take_back() == (1, [])
    assert contract.alike(before, host.snapshot()) == []


def test_what_she_typed_over_is_left_and_named(app: calc_engine.App, office: Office) -> None:
    host = excel.open_workbook()
    host.snapshot()
    host.apply(Edits(CELLS, (contract.OURS,)))
    office.ask({"ask": "type", "tab": "Hers", "row": 0, "column": 1, "text": "99"})
    office.ask({"ask": "type", "tab": "Costs", "row": 0, "column": 5, "text": "mine"})
    sentence, waits = desk.press_in_excel("takeback")
    assert waits and sentence.endswith("Left as they are, since something else stands there now: Hers!B1.")
    after = host.snapshot()
    assert after.grids["Hers"].value(0, 1) == 99.0 and after.grids["Hers"].value(0, 2) == "free"
    assert [v for row in after.grids["Costs"].rows for v in row if v is not None] == ["mine"]


def test_nothing_is_taken_back_on_a_tab_protected_since(app: calc_engine.App, office: Office) -> None:
    host = excel.open_workbook()
    host.snapshot()
    host.apply(Edits(CELLS))
    office.ask({"ask": "protect", "tab": "Hers"})
    protected = host.snapshot()
    with pytest.raises(WriteRefused, match="Hers: the tab is protected"):
        host.take_back()
    assert contract.alike(protected, host.snapshot()) == [] and journal.entries(host.path)


def test_a_journal_that_cannot_be_kept_stops_the_write(app: calc_engine.App, tmp_path: Path) -> None:
    (tmp_path / "costbook-backups").write_text("a file of hers")
    host = excel.open_workbook()
    before = host.snapshot()
    with pytest.raises(WriteRefused, match="nothing was written, since what stood there before cannot be kept"):
        host.apply(Edits(CELLS))
    assert contract.alike(before, host.snapshot()) == []


def test_a_tab_of_ours_has_its_look(app: calc_engine.App, office: Office) -> None:
    host = excel.open_workbook()
    host.snapshot()
    look = Look(widths={0: 20.0, 1: 9.5}, hidden_columns=(2,))
    host.apply(Edits(tabs=(PutTab("Costs", contract.OURS.rows, look),)))
    shown = office.ask({"ask": "columns", "tab": "Costs", "count": 3})
    assert shown["visible"] == [True, True, False]
    assert shown["widths"][0] == pytest.approx(20 * 195.78, rel=0.01)
    cells = office.ask({"ask": "cells", "tab": "Costs", "rows": 4, "columns": 3})["cells"]
    assert cells[0][4] == int(COLOURS["tool heading"][-6:], 16), "the heading has its ground"
    assert office.ask({"ask": "form", "tab": "Costs", "area": [3, 2, 3, 2]})["form"] == PERCENT


def test_the_tab_she_looks_at_stays_in_front(app: calc_engine.App, office: Office) -> None:
    office.ask({"ask": "show_tab", "tab": "It's & other"})
    host = excel.open_workbook()
    host.snapshot()
    host.apply(Edits(tabs=(contract.OURS, PutTab("More", contract.OURS.rows))))
    assert office.ask({"ask": "names"})["front"] == "It's & other"
    assert app.screen_updating is True


# ------------------------------------------------------------------ the try-out and the buttons


def test_the_try_out_writes_a_report_and_leaves_her_book_alone(
    app: calc_engine.App, tmp_path: Path, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = excel.open_workbook().snapshot()
    report = tmp_path / "report.txt"
    code = cli.main(["excel", "tryout", str(report)])
    told = report.read_text(encoding="utf-8")
    assert (code, "WRONG" in told) == (0, False), told
    assert f"{len(contract.CHECKS) + len(contract.REFUSED) + 2} of " in told and "a Calc in its place" in told
    assert contract.alike(before, excel.open_workbook().snapshot()) == []
    assert not (tmp_path / "costbook-backups").exists() and not list((home / ".local").rglob("*.json"))


def test_the_try_out_reports_what_is_wrong(app: calc_engine.App, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(excel.ExcelWorkbook, "apply", lambda host, edits: False)
    assert cli.main(["excel", "tryout", str(tmp_path / "report.txt")]) == 1
    assert "WRONG  cells show what was set and nothing else\n         nothing was written" in (tmp_path / "report.txt").read_text(encoding="utf-8")


def test_the_try_out_asks_for_an_open_excel(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    with calc_engine.running():
        assert cli.main(["excel", "tryout", str(tmp_path / "report.txt")]) == 4
    assert "Open Excel yourself with a blank workbook" in capsys.readouterr().err


def test_a_button_shows_the_findings(app: calc_engine.App) -> None:
    assert desk.press_in_excel("findings") == ("There is no Findings tab yet; run price first.", True)


@pytest.mark.parametrize(("system", "ending"), [("win32", "cmd"), ("darwin", "command")])
def test_buttons_are_written_for_each_system(system: str, ending: str, tmp_path: Path, home: Path) -> None:
    folder = tmp_path / "Excel buttons"
    excel_buttons.write(folder, system)
    titles = ["Price", "What changed", "Make next", "Post papers", "Findings", "Take back"]
    assert sorted(p.name for p in folder.iterdir()) == sorted([*(f"{t}.{ending}" for t in titles), "add-in"])
    assert f'"{sys.executable}" -m costbook excel price' in (folder / f"Price.{ending}").read_text()
    assert "Redistribution" in (folder / "add-in" / "LICENCE of the template.txt").read_text()
    assert desk.excel_buttons and excel_buttons.written_to() == [folder] and excel_buttons.starts_this_python(folder)


def test_an_add_in_is_the_template_with_our_button_and_python(tmp_path: Path, home: Path) -> None:
    excel_buttons.write(tmp_path, "win32", r"C:\her & his\python.exe")
    made = zipfile.ZipFile(tmp_path / "add-in" / "costbook_next.xlam")
    there = zipfile.ZipFile(io.BytesIO(excel.template().read_bytes()))
    changed = [n for n in there.namelist() if made.read(n) != there.read(n)]
    assert made.namelist() == there.namelist() and sorted(changed) == ["customUI/customUI.xml", "xl/workbook.xml", "xl/worksheets/sheet1.xml"]
    tab = ElementTree.fromstring(made.read("customUI/customUI.xml"))[0][0][0]
    assert tab.get("idQ") == "costbook:tab" and [part.get("label") for part in tab.iter()] == ["costbook", "costbook", "Make next"]
    sheet = WorkbookFile(_as_book(made, tmp_path / "look.xlsx")).snapshot().grids["myaddin.conf"]
    assert [sheet.rows[0], sheet.rows[1]] == [("Interpreter_Win", r"C:\her & his\python.exe"), ("Interpreter_Mac", r"C:\her & his\python.exe")]
    assert b"RibbonMyAddin.RunMain" in made.read("customUI/customUI.xml")
    assert 'main_in_excel("next")' in (tmp_path / "add-in" / "costbook_next.py").read_text()


def _as_book(package: zipfile.ZipFile, path: Path) -> Path:
    """The same package under the name of a workbook, to be read as one."""
    with zipfile.ZipFile(path, "w") as book:
        for name in package.namelist():
            book.writestr(name, package.read(name))
    return path


def test_another_template_is_refused(tmp_path: Path) -> None:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as package:
        package.writestr("xl/workbook.xml", "<workbook/>")
    with pytest.raises(HostUnavailable, match="another template"):
        excel_buttons.add_in(data.getvalue(), "price", "Price", "", "python")
