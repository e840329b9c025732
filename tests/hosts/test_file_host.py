"""The workbook file host against workbooks made by another program (XlsxWriter) and by hand, read back by others."""

from __future__ import annotations

import io
import os
import re
import stat
import zipfile
from collections.abc import Callable, Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from records import replace

from costbook.book.grid import Cell, Edits, ErrorValue, Formula, Look, PutTab, SetCell, Value
from costbook.errors import HostUnavailable, WorkbookBusy, WorkbookChanged, WriteRefused
from costbook.hosts import disk
from costbook.hosts.file import WorkbookFile, create

xlsxwriter = pytest.importorskip("xlsxwriter")

SHEET = "xl/worksheets/sheet1.xml"
OURS = PutTab(
    "Costs",
    (
        (Cell("Product", "tool heading"), Cell("Unit cost", "tool heading")),
        (Cell("=1+1 & co", "tool text"), Cell(Formula('IF(Hers!B1<6,"a & b","")', "a & b"), "tool text")),
        (Cell("Bar", "tool text"), Cell(Formula("Hers!B1*2", 10.0), "tool money")),
    ),
    Look(widths={0: 20.0, 1: 9.5}),
)


def hers(path: Path, fill: Callable[[Any, Any], None] | None = None) -> Path:
    """A small workbook of hers: B1 a number, B2 a date, B3 a formula with its stored result, C1 text."""
    book = xlsxwriter.Workbook(str(path))
    tab = book.add_worksheet("Hers")
    tab.write("A1", "flour")
    tab.write("B1", 5)
    tab.write_datetime("B2", datetime(2024, 2, 29), book.add_format({"num_format": "dd.mm.yyyy"}))
    tab.write_formula("B3", "=B1*3", None, 15)
    tab.write_formula("B4", '=A1&"!"', None, "flour!")
    tab.write("C1", "free")
    if fill:
        fill(book, tab)
    book.close()
    return path


def patched(
    path: Path, changes: Mapping[str, Callable[[bytes], bytes]], more: Mapping[str, bytes] | None = None
) -> Path:
    """The package with some parts changed and some added."""
    out = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name)
            new.writestr(name, changes[name](data) if name in changes else data)
        for name, data in (more or {}).items():
            new.writestr(name, data)
    path.write_bytes(out.getvalue())
    return path


def untouched(path: Path, action: Callable[[], object], error: type[Exception]) -> str:
    """The sentence of the error the action must raise, leaving bytes, time and folder as they were."""
    before = (path.read_bytes(), path.stat().st_mtime_ns, sorted(os.listdir(path.parent)))
    with pytest.raises(error) as caught:
        action()
    assert (path.read_bytes(), path.stat().st_mtime_ns, sorted(os.listdir(path.parent))) == before
    return str(caught.value)


def write_c1(path: Path, value: Value = "new") -> bool:
    book = WorkbookFile(path)
    book.snapshot()
    return book.apply(Edits((SetCell("Hers", 0, 2, value, "her text", "free"),)))


# -- reading --------------------------------------------------------------------------------------------------------


def test_values_keep_their_kind(tmp_path: Path) -> None:
    def fill(book: Any, tab: Any) -> None:
        tab.write("D1", True)
        tab.write_formula("D2", "=1/0", None, "#DIV/0!")
        tab.write_string("D3", "#N/A")
        tab.write_datetime("D4", datetime(2024, 5, 6, 13, 30), book.add_format({"num_format": "yyyy-mm-dd hh:mm"}))
        tab.write_formula("D5", '=""', None, "")
        tab.write("F6", 0.1)
        tab.merge_range("A8:B9", "wide")
        tab.set_row(10, None, None, {"hidden": True})
        book.add_chartsheet("Picture").set_chart(_chart(book))
        book.add_worksheet("Last").protect()

    snapshot = WorkbookFile(hers(tmp_path / "h.xlsx", fill)).snapshot()
    grid = snapshot.grids["Hers"]
    assert snapshot.name == "h.xlsx"
    assert list(snapshot.grids) == ["Hers", "Last"], "a chart tab is no grid; the order is hers"
    assert [grid.value(r, 1) for r in range(4)] == [5.0, date(2024, 2, 29), 15.0, "flour!"]
    assert type(grid.value(0, 1)) is float and grid.value(0, 3) is True and type(grid.value(3, 3)) is date
    assert [grid.value(r, 3) for r in range(1, 5)] == [ErrorValue("#DIV/0!"), "#N/A", date(2024, 5, 6), None]
    assert grid.value(5, 5) == 0.1 and grid.value(5, 4) is None and grid.value(99, 99) is None
    assert grid.formulas[(2, 1)] == "B1*3" and grid.formulas[(3, 1)] == 'A1&"!"' and (0, 1) not in grid.formulas
    assert grid.merged == ((7, 0, 8, 1),) and grid.hidden_rows == {10}
    assert not grid.protected and snapshot.grids["Last"].protected


def _chart(book: Any) -> Any:
    chart = book.add_chart({"type": "bar"})
    chart.add_series({"values": "=Hers!$B$1:$B$1"})
    return chart


def test_no_addresses_prefixed_tags_and_new_error_names(tmp_path: Path) -> None:
    def bare(xml: bytes) -> bytes:
        xml = re.sub(rb'(<(?:c|row)\b[^>]*?) r="[^"]*"', rb"\1", xml)
        xml = xml.replace(b"</sheetData>", b'<row><c t="e"><f>A9#</f><v>#SPILL!</v></c></row></sheetData>')
        return re.sub(rb"<(/?)(?=[a-zA-Z])", rb"<\1x:", xml).replace(b" xmlns=", b" xmlns:x=")

    path = patched(hers(tmp_path / "h.xlsx"), {SHEET: bare})
    grid = WorkbookFile(path).snapshot().grids["Hers"]
    assert grid.value(4, 0) == ErrorValue("#SPILL!")
    assert grid.value(0, 0) == "flour" and grid.value(0, 1) == 5.0
    assert grid.formulas[(4, 0)] == "A9#"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "encrypted with a password, or an old .xls"),
        (b"a;b;c\n", "is not an .xlsx workbook"),
        (b"", "is empty"),
        (b"PK\x03\x04 cut off", "damaged"),
    ],
)
def test_other_files_are_refused_in_a_sentence(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "x.xlsx"
    path.write_bytes(content)
    assert words in untouched(path, WorkbookFile(path).snapshot, HostUnavailable)


def test_no_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(HostUnavailable, match="there is no file"):
        WorkbookFile(tmp_path / "none.xlsx").snapshot()
    with pytest.raises(HostUnavailable, match="is not a file"):
        WorkbookFile(tmp_path).snapshot()


def _zip(path: Path, parts: Mapping[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        for name, data in parts.items():
            package.writestr(name, data)
    return path


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ({"xl/workbook.bin": b"x", "[Content_Types].xml": b"<Types/>"}, "binary workbook (.xlsb)"),
        ({"mimetype": b"application/vnd.oasis.opendocument.spreadsheet"}, "OpenDocument file (.ods)"),
        ({"readme.txt": b"hello"}, "holds no workbook"),
        ({"[Content_Types].xml": b"<Types/>", "word/document.xml": b"<d/>"}, "holds no workbook"),
        ({"[content_types].xml": b"<Types/>", "xl/workbook.xml": b"<w/>"}, "spells the names of its parts another way"),
        ({"[Content_Types].xml": b"<Types/>", "../x.xml": b"<d/>"}, "leads outside"),
        ({"[Content_Types].xml": b"<Types>", "xl/workbook.xml": b"<workbook/>"}, ""),
    ],
)
def test_other_packages_are_refused_in_a_sentence(tmp_path: Path, parts: Mapping[str, bytes], words: str) -> None:
    path = _zip(tmp_path / "x.xlsx", parts)
    if words:
        assert words in untouched(path, WorkbookFile(path).snapshot, HostUnavailable)
    else:
        untouched(path, WorkbookFile(path).snapshot, HostUnavailable)


def test_declarations_bombs_and_lying_sizes_are_refused(tmp_path: Path) -> None:
    entity = patched(
        hers(tmp_path / "a.xlsx"),
        {SHEET: lambda x: x.replace(b"<worksheet", b'<!DOCTYPE x [<!ENTITY a "b">]><worksheet', 1)},
    )
    assert "document type declarations" in untouched(entity, WorkbookFile(entity).snapshot, HostUnavailable)
    bomb = patched(hers(tmp_path / "b.xlsx"), {}, {"xl/more.xml": b"<a>" + b"0" * (20 << 20) + b"</a>"})
    assert "packed over 300 times smaller" in untouched(bomb, WorkbookFile(bomb).snapshot, HostUnavailable)
    flipped = hers(tmp_path / "c.xlsx")
    data = bytearray(flipped.read_bytes())
    with zipfile.ZipFile(flipped) as package:
        data[package.getinfo(SHEET).header_offset + 120] ^= 0xFF
    flipped.write_bytes(bytes(data))
    assert SHEET in untouched(flipped, WorkbookFile(flipped).snapshot, HostUnavailable)


def test_far_away_cells_are_refused_before_they_are_read(tmp_path: Path) -> None:
    far = hers(tmp_path / "a.xlsx", lambda _b, tab: tab.write("XFD1048576", 1))
    words = untouched(far, WorkbookFile(far).snapshot, HostUnavailable)
    assert "Hers" in words and "XFD1048576" in words and "Delete what stands far away" in words
    # Formatting alone that reaches far is common and harmless.
    styled = hers(tmp_path / "b.xlsx", lambda b, tab: tab.write_blank("XFD1048576", None, b.add_format({"bold": True})))
    assert WorkbookFile(styled).snapshot().grids["Hers"].value(0, 1) == 5.0


# -- saving ---------------------------------------------------------------------------------------------------------


def test_a_save_changes_what_was_asked_and_keeps_the_rest(tmp_path: Path) -> None:
    path = hers(tmp_path / "h.xlsx", lambda book, _t: book.add_worksheet("Second").write("A1", 0.1))
    book = WorkbookFile(path)
    before = book.snapshot()
    assert book.apply(Edits((SetCell("Hers", 0, 2, "=HYPERLINK(1)", "her text", "free"),), (OURS,)))
    after = WorkbookFile(path).snapshot()
    assert list(after.grids) == ["Hers", "Second", "Costs"], "a new tab goes last"
    assert after.grids["Hers"].value(0, 2) == "=HYPERLINK(1)" and (0, 2) not in after.grids["Hers"].formulas
    assert after.grids["Hers"].formulas == before.grids["Hers"].formulas
    assert [after.grids["Hers"].value(r, 1) for r in range(4)] == [5.0, date(2024, 2, 29), 15.0, "flour!"]
    assert after.grids["Second"].value(0, 0) == 0.1
    assert after.grids["Costs"].value(1, 0) == "=1+1 & co"
    assert after.grids["Costs"].formulas == {(1, 1): 'IF(Hers!B1<6,"a & b","")', (2, 1): "Hers!B1*2"}
    assert list(book.snapshot().grids) == list(after.grids)


def test_stored_results_stand_in_the_file(tmp_path: Path) -> None:
    """Read with openpyxl's own reader of stored results, not with ours."""
    openpyxl = pytest.importorskip("openpyxl")
    path = hers(tmp_path / "h.xlsx", lambda _b, tab: tab.write_formula("D1", "=1/0", None, "#DIV/0!"))
    assert WorkbookFile(path).apply(Edits(tabs=(OURS,)))
    stored = openpyxl.load_workbook(path, data_only=True)
    assert [stored["Hers"][a].value for a in ("B3", "B4", "D1")] == [15, "flour!", "#DIV/0!"]
    assert [stored["Costs"][a].value for a in ("B2", "B3")] == ["a & b", 10]
    assert stored["Hers"]["B2"].number_format == "dd.mm.yyyy"


def test_her_digits_are_kept_as_she_stored_them(tmp_path: Path) -> None:
    path = patched(hers(tmp_path / "h.xlsx"), {SHEET: lambda x: x.replace(b"<v>5</v>", b"<v>5.0000000000000001E0</v>")})
    assert write_c1(path)
    with zipfile.ZipFile(path) as package:
        assert b"<v>5.0000000000000001E0</v>" in package.read(SHEET)


def test_a_change_between_two_saves_of_one_host_is_noticed(tmp_path: Path) -> None:
    path = tmp_path / "book.xlsx"
    create(path, Edits(tabs=(OURS,)))
    book = WorkbookFile(path)
    other = replace(OURS, name="Another")
    assert book.apply(Edits(tabs=(other,))) and not book.apply(Edits(tabs=(other,)))
    create(tmp_path / "changed.xlsx", Edits(tabs=(OURS, other, replace(OURS, name="Third"))))
    path.write_bytes((tmp_path / "changed.xlsx").read_bytes())
    last = Edits(tabs=(replace(OURS, name="Last"),))
    assert "changed by another program" in untouched(path, lambda: book.apply(last), WorkbookChanged)
    book.close()
    assert book.apply(last), "who has closed the book begins anew"


def test_the_same_edits_twice_save_once(tmp_path: Path) -> None:
    path = hers(tmp_path / "h.xlsx")
    edits = Edits((SetCell("Hers", 0, 2, "new", "her text", "free"),), (OURS,))
    assert WorkbookFile(path).apply(edits)
    before = (path.read_bytes(), path.stat().st_mtime_ns)
    book = WorkbookFile(path)
    book.snapshot()
    assert book.apply(Edits((SetCell("Hers", 0, 2, "new", "her text", "new"),), (OURS,))) is False
    assert book.apply(Edits()) is False
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


@pytest.mark.parametrize(
    "other",
    [
        PutTab("Costs", (*OURS.rows, (Cell(1),)), OURS.look),
        PutTab("Costs", OURS.rows, Look(widths={0: 21.0, 1: 9.5})),
        PutTab("Costs", (*OURS.rows[:2], (Cell("Bar"), Cell(10.0, "tool money"))), OURS.look),
        PutTab("Costs", (*OURS.rows[:2], (Cell("Bar"), Cell(Formula("Hers!B1*2", 11.0), "tool money"))), OURS.look),
    ],
)
def test_any_difference_is_saved(tmp_path: Path, other: PutTab) -> None:
    path = hers(tmp_path / "h.xlsx")
    assert WorkbookFile(path).apply(Edits(tabs=(OURS,)))
    assert WorkbookFile(path).apply(Edits(tabs=(other,))) is True
    assert WorkbookFile(path).apply(Edits(tabs=(other,))) is False


def test_true_is_not_one_and_nothing_is_not_zero(tmp_path: Path) -> None:
    path = tmp_path / "n.xlsx"
    create(path, Edits(tabs=(PutTab("T", ((Cell(1), Cell(0), Cell("a")),)),)))
    assert WorkbookFile(path).apply(Edits(tabs=(PutTab("T", ((Cell(True), Cell(0), Cell("a")),)),)))
    assert WorkbookFile(path).apply(Edits(tabs=(PutTab("T", ((Cell(True), Cell(None), Cell("a")),)),)))
    assert WorkbookFile(path).snapshot().grids["T"].rows == ((True, None, "a"),)


def test_the_same_edits_on_the_same_bytes_give_the_same_bytes(tmp_path: Path) -> None:
    tabs = Edits(tabs=(OURS, PutTab("Two", ((Cell(date(2025, 1, 2), "her date"),),))))
    made = []
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        path = tmp_path / folder / "h.xlsx"
        create(path, tabs)
        first = path.read_bytes()
        assert WorkbookFile(path).apply(Edits(tabs=(PutTab("Two", ((Cell(2),),)),)))
        made.append((first, path.read_bytes()))
    assert made[0] == made[1]


def test_styles_do_not_pile_up(tmp_path: Path) -> None:
    path = hers(tmp_path / "h.xlsx")
    sizes = []
    for turn in range(4):
        assert WorkbookFile(path).apply(Edits(tabs=(OURS, PutTab("Two", ((Cell(turn, "her number"),),)))))
        with zipfile.ZipFile(path) as package:
            sizes.append(package.read("xl/styles.xml").count(b"<xf "))
    assert sizes[1:] == [sizes[1]] * 3


def test_a_replaced_tab_keeps_its_place(tmp_path: Path) -> None:
    path = tmp_path / "n.xlsx"
    create(path, Edits(tabs=(PutTab("One", ((Cell(1),),)), OURS, PutTab("Three", ((Cell(3),),)))))
    assert WorkbookFile(path).apply(Edits(tabs=(PutTab("Costs", ((Cell("changed"),),)),)))
    snapshot = WorkbookFile(path).snapshot()
    assert list(snapshot.grids) == ["One", "Costs", "Three"]
    assert snapshot.grids["Costs"].rows == (("changed",),)


def test_create_never_overwrites(tmp_path: Path) -> None:
    path = hers(tmp_path / "h.xlsx")
    words = untouched(path, lambda: create(path, Edits(tabs=(OURS,))), WriteRefused)
    assert "is there already" in words
    with pytest.raises(WriteRefused, match="no folder"):
        create(tmp_path / "none" / "h.xlsx", Edits(tabs=(OURS,)))
    with pytest.raises(WriteRefused, match="at least one"):
        create(tmp_path / "empty.xlsx", Edits())
    assert not (tmp_path / "empty.xlsx").exists()


def test_days_since_1904(tmp_path: Path) -> None:
    book = xlsxwriter.Workbook(str(tmp_path / "h.xlsx"), {"date_1904": True})
    tab = book.add_worksheet("Hers")
    tab.write_datetime("B2", datetime(2024, 2, 29), book.add_format({"num_format": "yyyy-mm-dd"}))
    book.close()
    day = date(2025, 3, 4)
    ours = PutTab("Costs", ((Cell(day, "tool date"), Cell(Formula("A1", day), "tool date")),))
    assert WorkbookFile(tmp_path / "h.xlsx").apply(Edits((SetCell("Hers", 0, 0, day, "her date"),), (ours,)))
    after = WorkbookFile(tmp_path / "h.xlsx").snapshot().grids
    assert after["Costs"].rows == ((day, day),)
    assert after["Hers"].value(0, 0) == day and after["Hers"].value(1, 1) == date(2024, 2, 29)
    assert WorkbookFile(tmp_path / "h.xlsx").apply(Edits(tabs=(ours,))) is False


# -- refusals that leave the file as it is --------------------------------------------------------------------------


def test_a_changed_cell_or_file_stops_the_save(tmp_path: Path) -> None:
    path = hers(tmp_path / "h.xlsx")
    stale = Edits((SetCell("Hers", 0, 2, "new", "her text", "taken"),))
    words = untouched(path, lambda: WorkbookFile(path).apply(stale), WorkbookChanged)
    assert "Hers!C1" in words and "'free'" in words and "'taken'" in words
    gone = Edits((SetCell("Nowhere", 0, 2, "new", "her text"),))
    assert "no tab Nowhere" in untouched(path, lambda: WorkbookFile(path).apply(gone), WorkbookChanged)
    book = WorkbookFile(path)
    book.snapshot()
    hers(path, lambda _b, tab: tab.write("Z9", 1))
    assert "changed by another program" in untouched(path, lambda: book.apply(Edits(tabs=(OURS,))), WorkbookChanged)


@pytest.mark.parametrize(
    ("lock", "content", "who"),
    [
        (
            ".~lock.h.xlsx#",
            b"Ada Miller,ada,bench,25.11.2025 09:00,file:///home/ada;",
            "by Ada Miller on bench since 25.11",
        ),
        (".~lock.h.xlsx#", b",ada,bench,25.11.2025 09:00,file:///home/ada;", "by ada on bench"),
        ("~$h.xlsx", b"\x03Ada" + b" " * 50, "by Ada"),
        ("~$h.xlsx", b"", "is open"),
    ],
)
def test_lock_files_stop_the_save(tmp_path: Path, lock: str, content: bytes, who: str) -> None:
    path = hers(tmp_path / "h.xlsx")
    (tmp_path / lock).write_bytes(content)
    words = untouched(path, lambda: write_c1(path), WorkbookBusy)
    assert who in words and "delete the lock file if no program has it open" in words
    (tmp_path / lock).unlink()
    assert write_c1(path)


def _table(_book: Any, tab: Any) -> None:
    tab.add_table("C1:D3", {"columns": [{"header": "free"}, {"header": "y"}]})


def _array(_book: Any, tab: Any) -> None:
    tab.write_array_formula("D1:D2", "{=B1:B2*2}", None, 10)


@pytest.mark.parametrize(
    ("fill", "place", "expected", "words"),
    [
        (lambda _b, t: t.merge_range("C1:D2", "free"), (1, 3), None, "merged"),
        (lambda _b, t: t.protect(), (0, 2), "free", "protected"),
        (_array, (1, 3), 0.0, "array"),
        (_table, (0, 2), "free", "table"),
        (None, (1_048_576, 0), None, "reaches that far"),
    ],
)
def test_places_that_may_not_be_written(
    tmp_path: Path, fill: Callable[[Any, Any], None] | None, place: tuple[int, int], expected: Value, words: str
) -> None:
    path = hers(tmp_path / "h.xlsx", fill)
    edits = Edits((SetCell("Hers", *place, "new", "her text", expected),))
    assert words in untouched(path, lambda: WorkbookFile(path).apply(edits), WriteRefused)


def test_a_shared_formula_is_not_overwritten(tmp_path: Path) -> None:
    def share(xml: bytes) -> bytes:
        xml = xml.replace(b"<f>B1*3</f>", b'<f t="shared" ref="B3:B4" si="0">B1*3</f>')
        return xml.replace(b'<f>A1&amp;"!"</f>', b'<f t="shared" si="0"/>')

    path = patched(hers(tmp_path / "h.xlsx"), {SHEET: share})
    assert WorkbookFile(path).snapshot().grids["Hers"].formulas == {(2, 1): "B1*3", (3, 1): ""}
    edits = Edits((SetCell("Hers", 2, 1, 1.0, "her number", 15.0),))
    assert "shared" in untouched(path, lambda: WorkbookFile(path).apply(edits), WriteRefused)
    assert write_c1(path), "other cells of the tab may be written"
    grid = WorkbookFile(path).snapshot().grids["Hers"]
    assert grid.formulas == {(2, 1): "B1*3", (3, 1): ""} and grid.value(3, 1) == "flour!"


def _picture(_book: Any, tab: Any) -> None:
    header = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01\0\0\0\x01\x08\x02\0\0\0\x90wS\xde" + b"\0\0\0\0IEND\xaeB`\x82"
    tab.insert_image("E5", "dot.png", {"image_data": io.BytesIO(header)})


def _conditional(_book: Any, tab: Any) -> None:
    tab.conditional_format("B1:B4", {"type": "data_bar", "data_bar_2010": True})


def _rich(book: Any, tab: Any) -> None:
    tab.write_rich_string("E1", "a ", book.add_format({"bold": True}), "b")


@pytest.mark.parametrize(
    "fill",
    [
        lambda b, t: t.insert_chart("E5", _chart(b)),
        _picture,
        lambda b, t: t.insert_textbox("E5", "hello"),
        lambda b, t: t.insert_button("E5"),
        lambda b, t: t.add_sparkline("E5", {"range": "Hers!B1:B4"}),
        lambda b, t: b.add_chartsheet("Big").set_chart(_chart(b)),
        lambda b, t: t.ignore_errors({"number_stored_as_text": "A1"}),
        lambda b, t: t.write_dynamic_array_formula("E1", "=UNIQUE(B1:B4)"),
        _rich,
        _conditional,
    ],
)
def test_what_other_ways_of_saving_lose_is_still_there(tmp_path: Path, fill: Callable[[Any, Any], None]) -> None:
    """Of her sheet only the cell's own bytes differ; every other part is the same byte for byte."""
    path = hers(tmp_path / "h.xlsx", fill)
    before = parts_of(path)
    assert write_c1(path)
    after = parts_of(path)
    assert {name for name in before.keys() | after.keys() if before.get(name) != after.get(name)} <= {
        SHEET,
        "xl/workbook.xml",
    }
    cell = re.search(rb'<c r="C1"[^>]*>.*?</c>', before[SHEET])
    assert cell
    assert after[SHEET] == before[SHEET].replace(cell[0], b'<c r="C1" t="inlineStr"><is><t>new</t></is></c>')


def parts_of(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as package:
        return {name: package.read(name) for name in package.namelist()}


CT = "[Content_Types].xml"


def _typed(name: str, type_: str) -> Callable[[bytes], bytes]:
    return lambda x: x.replace(b"</Types>", f'<Override PartName="/{name}" ContentType="{type_}"/></Types>'.encode())


SML = "application/vnd.openxmlformats-officedocument.spreadsheetml."


@pytest.mark.parametrize(
    ("part", "type_", "words"),
    [
        (
            "_xmlsignatures/sig1.xml",
            "application/vnd.openxmlformats-package.digital-signature-xmlsignature+xml",
            "digital signature",
        ),
        ("xl/revisions/revisionHeaders.xml", SML + "revisionHeaders+xml", "change history of a shared workbook"),
    ],
)
def test_what_would_break_all_the_same_is_named(tmp_path: Path, part: str, type_: str, words: str) -> None:
    path = patched(hers(tmp_path / "h.xlsx"), {CT: _typed(part, type_)}, {part: b"<a/>"})
    assert WorkbookFile(path).snapshot().grids["Hers"].value(0, 1) == 5.0, "reading is never refused for it"
    assert words in untouched(path, lambda: write_c1(path), WriteRefused)


@pytest.mark.parametrize("part", ["xl/vbaProject.bin", "xl/brandNew.xml", "customXml/item1.xml", "xl/slicers/s1.xml"])
def test_parts_of_any_kind_stay_as_they_are(tmp_path: Path, part: str) -> None:
    path = patched(hers(tmp_path / "h.xlsx"), {CT: _typed(part, "application/x-new+xml")}, {part: b"<a>\r\n</a >"})
    assert write_c1(path)
    assert WorkbookFile(path).apply(Edits(tabs=(OURS,)))
    assert parts_of(path)[part] == b"<a>\r\n</a >"


def test_strict_workbooks_stay_strict(tmp_path: Path) -> None:
    old = b"http://schemas.openxmlformats.org/officeDocument/2006/relationships"

    def strict(xml: bytes) -> bytes:
        xml = xml.replace(
            b"http://schemas.openxmlformats.org/spreadsheetml/2006/main",
            b"http://purl.oclc.org/ooxml/spreadsheetml/main",
        )
        return xml.replace(old, b"http://purl.oclc.org/ooxml/officeDocument/relationships")

    with zipfile.ZipFile(hers(tmp_path / "h.xlsx")) as package:
        names = [n for n in package.namelist() if n.startswith("xl/") or n == "_rels/.rels"]
    path = patched(tmp_path / "h.xlsx", dict.fromkeys(names, strict))
    assert write_c1(path)
    assert WorkbookFile(path).apply(Edits(tabs=(OURS,)))
    snapshot = WorkbookFile(path).snapshot()
    assert snapshot.grids["Hers"].value(0, 2) == "new" and snapshot.grids["Costs"].value(2, 1) == 10.0
    after = parts_of(path)
    assert not [n for n in after if n.startswith("xl/") and b"schemas.openxmlformats.org/spreadsheetml" in after[n]]
    assert not [n for n in after if n.startswith("xl/") and old in after[n]]


def test_charts_and_notes_on_our_own_tabs_do_not_stop_a_save(tmp_path: Path) -> None:
    def fill(book: Any, tab: Any) -> None:
        tab.write_comment("A1", "mind the nuts")
        book.add_worksheet("Costs").insert_chart("A9", _chart(book))

    path = hers(tmp_path / "h.xlsx", fill)
    assert write_c1(path)
    assert WorkbookFile(path).apply(Edits(tabs=(OURS,)))
    openpyxl = pytest.importorskip("openpyxl")
    assert openpyxl.load_workbook(path)["Hers"]["A1"].comment.text.strip() == "mind the nuts"
    with_shape = hers(tmp_path / "s.xlsx", lambda b, _t: b.add_worksheet("Costs").insert_textbox("E5", "mine"))
    edits = Edits(tabs=(OURS,))
    assert "a shape on the tab Costs" in untouched(
        with_shape, lambda: WorkbookFile(with_shape).apply(edits), WriteRefused
    )


def test_what_comes_through_a_save(tmp_path: Path) -> None:
    """Features a plain workbook has, looked for in the bytes afterwards."""

    def fill(book: Any, tab: Any) -> None:
        tab.conditional_format(
            "B1:B4", {"type": "cell", "criteria": ">", "value": 4, "format": book.add_format({"bold": 1})}
        )
        tab.data_validation("C5", {"validate": "list", "source": ["a", "b"]})
        tab.add_table("H1:I3", {"columns": [{"header": "x"}, {"header": "y"}], "name": "Prices_she_keeps"})
        tab.write_url("A6", "https://example.org/x")
        tab.set_column("A:A", 33)
        tab.freeze_panes(1, 0)
        tab.set_landscape()
        tab.repeat_rows(0)
        tab.set_footer("&CPage &P")
        book.define_name("Rate", "=Hers!$B$1")
        book.set_properties({"company": "Bench & Co", "author": "Ada", "created": datetime(2020, 1, 2)})

    path = hers(tmp_path / "h.xlsx", fill)
    assert write_c1(path)
    with zipfile.ZipFile(path) as package:
        sheet, book = package.read(SHEET), package.read("xl/workbook.xml")
        everything = b"".join(package.read(n) for n in package.namelist())
    for words in (
        b"conditionalFormatting",
        b"dataValidation ",
        b'orientation="landscape"',
        b"<pane ",
        b"Page &amp;P",
        b'width="33',
    ):
        assert words in sheet, words
    for words in (b"Rate", b"Print_Titles"):
        assert words in book, words
    for words in (b"Prices_she_keeps", b"https://example.org/x", b"Bench &amp; Co", b"2020-01-02T00:00:00Z"):
        assert words in everything, words


# -- the disk -------------------------------------------------------------------------------------------------------


def test_a_link_to_the_workbook_stays_a_link_and_the_mode_is_kept(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    real = hers(tmp_path / "real" / "h.xlsx")
    real.chmod(0o640)
    link = tmp_path / "h.xlsx"
    link.symlink_to(real)
    assert write_c1(link)
    assert link.is_symlink() and WorkbookFile(real).snapshot().grids["Hers"].value(0, 2) == "new"
    assert stat.S_IMODE(real.stat().st_mode) == 0o640
    (tmp_path / "real" / ".~lock.h.xlsx#").write_bytes(b",ada,bench;")
    with pytest.raises(WorkbookBusy):
        WorkbookFile(link).apply(Edits(tabs=(OURS,)))


@pytest.mark.skipif(not hasattr(os, "getuid") or os.getuid() == 0, reason="the administrator may write anywhere")
def test_a_read_only_file_and_folder(tmp_path: Path) -> None:
    path = hers(tmp_path / "h.xlsx")
    path.chmod(0o444)
    assert "read-only" in untouched(path, lambda: write_c1(path), WriteRefused)
    path.chmod(0o644)
    tmp_path.chmod(0o555)
    try:
        assert "not allowed" in untouched(path, lambda: write_c1(path), WriteRefused)
    finally:
        tmp_path.chmod(0o755)


def test_a_refused_replacement_is_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = hers(tmp_path / "h.xlsx")

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "replace", refuse)
    assert "writing is not allowed there" in untouched(path, lambda: write_c1(path), WriteRefused)
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert "read-only" in untouched(path, lambda: write_c1(path), WriteRefused)


@pytest.mark.parametrize("step", ["fsync", "chmod", "replace"])
@pytest.mark.parametrize("failure", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_a_failure_at_any_step_leaves_the_old_workbook(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str, failure: BaseException
) -> None:
    path = hers(tmp_path / "h.xlsx")
    before = (path.read_bytes(), path.stat().st_mtime_ns)

    def fail(*_: object, **__: object) -> None:
        raise failure

    monkeypatch.setattr(os, step, fail)
    with pytest.raises((WriteRefused, KeyboardInterrupt)):
        write_c1(path)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
    assert os.listdir(tmp_path) == ["h.xlsx"], "no temporary file stays behind"


def test_a_change_in_the_last_moment_stops_the_save(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = hers(tmp_path / "h.xlsx")
    flushed = disk.flushed

    def meanwhile(temporary: Path, data: bytes, target: Path) -> None:
        flushed(temporary, data, target)
        hers(path, lambda _b, tab: tab.write("Z9", "typed meanwhile"))

    monkeypatch.setattr(disk, "flushed", meanwhile)
    with pytest.raises(WorkbookChanged):
        write_c1(path)
    assert WorkbookFile(path).snapshot().grids["Hers"].value(8, 25) == "typed meanwhile"
    assert os.listdir(tmp_path) == ["h.xlsx"]


def test_left_over_temporary_files_are_swept_by_age(tmp_path: Path) -> None:
    path = hers(tmp_path / "h.xlsx")
    old, young = tmp_path / ".costbook-1-h.xlsx.tmp", tmp_path / ".costbook-2-h.xlsx.tmp"
    for orphan in (old, young):
        orphan.write_bytes(b"x")
    os.utime(old, (1, 1))
    assert write_c1(path)
    assert not old.exists() and young.exists()
