"""A save changes our cells and our tabs: every other part of a workbook comes through byte for byte.

The workbooks are made by XlsxWriter with its full range, by openpyxl, and by hand; what came out is read by openpyxl and
python-calamine directly, not through the code under test.
"""

from __future__ import annotations

import io
import os
import re
import shutil
import struct
import subprocess
import sysconfig
import warnings
import zipfile
from collections.abc import Callable, Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from costbook import commands
from costbook.book.grid import (
    Cell,
    Chart,
    Edits,
    ErrorValue,
    Formula,
    Highlight,
    Look,
    PutTab,
    Rule,
    Series,
    SetCell,
    Value,
    address,
)
from costbook.errors import CostbookError, HostUnavailable, WriteRefused
from costbook.hosts.file import WorkbookFile

xlsxwriter = pytest.importorskip("xlsxwriter")
openpyxl = pytest.importorskip("openpyxl")
calamine = pytest.importorskip("python_calamine")

REPO = Path(__file__).resolve().parents[2]
SHEET = "xl/worksheets/sheet1.xml"
PNG = (
    b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01\0\0\0\x01\x08\x02\0\0\0\x90wS\xde\0\0\0\x0cIDATx\x9cc\xf8\xcf\xc0\0\0"
    b"\x03\x01\x01\0\xc9\xfe\x92\xef\0\0\0\0IEND\xaeB`\x82"
)
# Parts a save may change beside those of the tabs it edits.
WORKBOOK = {"xl/workbook.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml", "xl/styles.xml", "xl/calcChain.xml"}
LOOK = Look(
    widths={0: 20.0, 1: 11.0},
    freeze=(1, 0),
    filter=(0, 0, 2, 1),
    rules=(Rule((1, 0, 9, 0), "list", ("a", "b")), Rule((1, 1, 9, 1), "range", "'Hers'!$A$1:$A$9")),
    notes={(0, 0): "ours"},
    charts=(Chart("stacked bar", "Costs", (1, 0, 2, 0), (Series((0, 1), (1, 1, 2, 1)),), (6, 0)),),
    highlights=(Highlight((1, 1, 2, 1), "$B2>5", "flag stop"),),
    title_rows=(0, 0),
    print_area=(0, 0, 9, 1),
    colour="B08A3E",
)
OURS = PutTab(
    "Costs",
    (
        (Cell("Product", "tool heading"), Cell("Unit cost", "tool heading")),
        (Cell("=1+1", "tool text"), Cell(Formula("Hers!B1*2", 10.0), "tool money")),
        (Cell("Bar", "tool text"), Cell(7.25, "tool money"), Cell(date(2025, 1, 2), "tool date")),
    ),
    LOOK,
)
CHARTS = ("area", "bar", "column", "doughnut", "line", "pie", "radar", "scatter", "stock")


def parts(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as package:
        return {name: package.read(name) for name in package.namelist()}


def set_to(path: Path, *cells: tuple[str, int, int, Value], tabs: tuple[PutTab, ...] = ()) -> bool:
    """One save in which the expectations are what stands there now."""
    book = WorkbookFile(path)
    grids = book.snapshot().grids
    edits = tuple(SetCell(t, r, c, v, "her text", grids[t].value(r, c)) for t, r, c, v in cells)
    return book.apply(Edits(edits, tabs))


def values(path: Path) -> dict[str, list[list[Any]]]:
    """Every tab as python-calamine reads it."""
    book = calamine.CalamineWorkbook.from_path(str(path))
    sheets = [s.name for s in book.sheets_metadata if "WorkSheet" in str(s.typ)]
    return {name: book.get_sheet_by_name(name).to_python(skip_empty_area=False) for name in sheets}


def plain(path: Path) -> Path:
    book = xlsxwriter.Workbook(str(path))
    tab = book.add_worksheet("Hers")
    tab.write("A1", "flour")
    tab.write("B1", 5)
    tab.write("C1", "free")
    tab.write_formula("B3", "=B1*3", None, 15)
    book.close()
    return path


def patched(path: Path, change: Callable[[bytes], bytes], part: str = SHEET) -> Path:
    out = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, change(old.read(name)) if name == part else old.read(name))
    path.write_bytes(out.getvalue())
    return path


# -- workbooks with everything in them ------------------------------------------------------------------------------


def full_range(path: Path) -> Path:
    """XlsxWriter's whole range in one macro workbook; what is to be edited are Hers!C1 and Hers!B40."""
    book = xlsxwriter.Workbook(str(path))
    tab, other, hidden = book.add_worksheet("Hers"), book.add_worksheet("O'ther"), book.add_worksheet("Hidden")
    bold, day = book.add_format({"bold": True}), book.add_format({"num_format": "dd.mm.yyyy"})
    tab.write_row("A1", ["flour", 5, "free"])
    tab.write_datetime("A2", datetime(2024, 2, 29), day)
    tab.write_formula("B3", "=B1*3", None, 15)
    tab.write_rich_string("A4", "a ", bold, "b", " c")
    tab.write_dynamic_array_formula("F1", "=UNIQUE(B1:B4)", None, 5)
    tab.write_array_formula("G1:G2", "{=B1:B2*2}", None, 10)
    tab.write_comment("A1", "mind the nuts", {"author": "Ada"})
    tab.write_url("A6", "https://example.org/x?a=1&b=2")
    tab.merge_range("A8:B9", "wide", bold)
    tab.add_table("H1:I4", {"columns": [{"header": "x"}, {"header": "y"}], "name": "Hers_own", "total_row": True})
    tab.data_validation("C5", {"validate": "list", "source": "=Hidden!$A$1:$A$3"})
    tab.conditional_format("B1:B4", {"type": "data_bar", "data_bar_2010": True})
    tab.conditional_format("B1:B4", {"type": "icon_set", "icon_style": "3_arrows"})
    tab.conditional_format("B1:B4", {"type": "cell", "criteria": ">", "value": 4, "format": bold})
    tab.add_sparkline("E5", {"range": "Hers!B1:B4"})
    tab.insert_image("K5", "dot.png", {"image_data": io.BytesIO(PNG)})
    tab.insert_textbox("K9", "hello")
    tab.insert_button("K12", {"macro": "say_hello", "caption": "Press"})
    tab.insert_checkbox("K14", True)
    tab.ignore_errors({"number_stored_as_text": "A1:A9"})
    tab.set_header("&L&G", {"image_left": "dot.png", "image_data_left": io.BytesIO(PNG)})
    tab.set_background(io.BytesIO(PNG))
    tab.repeat_rows(0)
    tab.autofilter("A1:C5")
    tab.freeze_panes(1, 1)
    for index, kind in enumerate(CHARTS):
        chart = book.add_chart({"type": kind})
        for _ in range(3 if kind == "stock" else 1):
            chart.add_series({"values": "=Hers!$B$1:$B$4", "categories": "=Hers!$A$1:$A$4"})
        other.insert_chart(index * 16, 3, chart)
    whole = book.add_chart({"type": "line"})
    whole.add_series({"values": "=Hers!$B$1:$B$4"})
    book.add_chartsheet("Big").set_chart(whole)
    other.write_formula("A1", "=Hers!B1+1", None, 6)
    other.protect("secret")
    hidden.hide()
    book.define_name("Rate", "=Hers!$B$1")
    book.define_name("Hidden!Local", "=Hidden!$A$1")
    book.set_properties({"company": "Bench & Co", "author": "Ada"})
    book.set_custom_property("Batch", 7)
    macros = path.parent / "vbaProject.bin"
    macros.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(range(256)) * 4)
    book.add_vba_project(str(macros))
    book.close()
    macros.unlink()
    return path


def made_by_openpyxl(path: Path) -> Path:
    from openpyxl.chart import BarChart, Reference
    from openpyxl.comments import Comment

    book = openpyxl.Workbook()
    tab = book.active
    tab.title = "Hers"
    for row in (["flour", 5, "free"], ["salt", 6]):
        tab.append(row)
    tab["A1"].comment = Comment("mind", "Ada")
    tab["B3"] = "=B1*3"
    chart = BarChart()
    chart.add_data(Reference(tab, min_col=2, min_row=1, max_row=2))
    tab.add_chart(chart, "E5")
    other = book.create_sheet("O'ther")
    other["A1"] = "stays"
    book.save(path)
    return path


@pytest.mark.parametrize(("make", "name"), [(full_range, "h.xlsm"), (made_by_openpyxl, "h.xlsx")])
def test_everything_else_is_byte_for_byte_the_same(tmp_path: Path, make: Callable[[Path], Path], name: str) -> None:
    path = make(tmp_path / name)
    before, read = parts(path), values(path)
    cells = (("Hers", 0, 2, "mine"), ("Hers", 39, 1, 2.5), ("Hers", 39, 0, date(2025, 3, 4)))
    assert set_to(path, *cells, tabs=(OURS,))
    once = parts(path)
    assert not before.keys() - once.keys(), "no part disappears"
    assert {n for n in before if before[n] != once[n]} <= WORKBOOK | {SHEET}
    after = values(path)
    assert list(after) == [*read, "Costs"], "hers keep their order, ours goes last"
    for tab, rows in read.items():
        for r, row in enumerate(rows):
            for c, value in enumerate(row):
                assert after[tab][r][c] == ("mine" if (tab, r, c) == ("Hers", 0, 2) else value), (tab, address(r, c))
    assert after["Hers"][39][:2] == [date(2025, 3, 4), 2.5]
    assert after["Costs"][1] == ["=1+1", 10.0, ""] and after["Costs"][2] == ["Bar", 7.25, date(2025, 1, 2)]
    assert set_to(path, *cells, tabs=(OURS,)) is False, "the second time there is nothing to write"
    assert parts(path) == once
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(path, keep_vba=True)
    costs = book["Costs"]
    assert costs["A1"].font.b and costs["B2"].number_format == "#,##0.00" and len(costs._charts) == 1
    assert costs["A1"].comment.text == "ours" and costs.print_title_rows == "$1:$1"
    assert costs.auto_filter.ref == "A1:B3" and len(costs.data_validations.dataValidation) == 2
    assert book.defined_names["list_Hers_A_1"].attr_text == "'Hers'!$A$1:$A$9"


def test_our_tab_again_and_again_leaves_nothing_behind(tmp_path: Path) -> None:
    path = full_range(tmp_path / "h.xlsm")
    hers = parts(path)
    seen = []
    for turn in range(4):
        rows = (*OURS.rows, (Cell(float(turn), "tool money"),))
        assert set_to(path, ("Hers", 0, 2, f"turn {turn}"), tabs=(PutTab("Costs", rows, LOOK),))
        now = parts(path)
        seen.append((set(now), {n: len(now[n]) for n in WORKBOOK & now.keys()}))
        assert {n for n in hers if hers[n] != now[n]} <= WORKBOOK | {SHEET}
    assert seen[1:] == [seen[1]] * 3
    assert seen[0][0] == seen[1][0]
    bare = PutTab("Costs", ((Cell(1.0),),))
    assert set_to(path, tabs=(bare,))
    assert set(parts(path)) - set(hers) == {"xl/worksheets/sheet4.xml"}, "what only the old tab led to has gone"


class Pipe(io.BytesIO):
    """A stream that cannot be wound back, so that sizes stand in descriptors after the contents."""

    def seekable(self) -> bool:
        return False

    def seek(self, *_: object) -> int:
        raise io.UnsupportedOperation

    def tell(self) -> int:
        raise io.UnsupportedOperation


def test_untouched_members_are_copied_with_their_headers(tmp_path: Path) -> None:
    """Folder entries, backslashes, descriptors, extra fields, stored members and the comment stay; order too."""
    source = plain(tmp_path / "h.xlsx")
    kept = {}
    path = tmp_path / "odd.xlsx"

    pipe = Pipe()
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(pipe, "w") as new:
        new.comment = b"packed by hand"
        new.writestr("xl/", b"")
        for name in reversed(old.namelist()):
            info = zipfile.ZipInfo(name.replace("docProps/", "docProps\\"), (2011, 12, 13, 14, 15, 16))
            info.filename = name.replace("docProps/", "docProps\\")
            info.compress_type = zipfile.ZIP_STORED if "theme" in name else zipfile.ZIP_DEFLATED
            info.extra = struct.pack("<HH4s", 0x4242, 4, b"mine")
            with new.open(info, "w", force_zip64="styles" in name) as handle:
                handle.write(old.read(name))
    path.write_bytes(pipe.getvalue())
    assert set_to(path, ("Hers", 0, 2, "new"), tabs=(OURS,))
    with zipfile.ZipFile(io.BytesIO(pipe.getvalue())) as old, zipfile.ZipFile(path) as new:
        assert new.testzip() is None and new.comment == b"packed by hand"
        names = [i.orig_filename for i in old.infolist()]
        assert [i.orig_filename for i in new.infolist()][: len(names)] == names
        for info in old.infolist():
            other = new.getinfo(info.filename)
            if info.filename not in WORKBOOK | {SHEET}:
                kept[info.filename] = other
                assert (other.date_time, other.flag_bits, other.extra, other.compress_type) == (
                    info.date_time, info.flag_bits, info.extra, info.compress_type,
                )  # fmt: skip
    assert len(kept) >= 5


def all_wide(data: bytes) -> bytes:
    """The package with every size and place of its directory in 64 bits, as programs write that expect large files."""
    at, records = zipfile.ZipFile(io.BytesIO(data)).start_dir, []
    body = data[:at]
    while data[at : at + 4] == b"PK\1\2":
        packed, size, name, extra, note = struct.unpack_from("<IIHHH", data, at + 20)
        (place,) = struct.unpack_from("<I", data, at + 42)
        end = at + 46 + name
        wide = struct.pack("<HHQQQ", 1, 24, size, packed, place) + data[end : end + extra]
        head = struct.pack("<IIHHH", 0xFFFFFFFF, 0xFFFFFFFF, name, len(wide), note) + data[at + 34 : at + 42]
        records.append(
            data[at : at + 20]
            + head
            + b"\xff" * 4
            + data[at + 46 : end]
            + wide
            + data[end + extra : end + extra + note]
        )
        at = end + extra + note
    directory, count = b"".join(records), len(records)
    end64 = struct.pack("<4sQHHIIQQQQ", b"PK\6\6", 44, 45, 45, 0, 0, count, count, len(directory), len(body))
    locator = struct.pack("<4sIQI", b"PK\6\7", 0, len(body) + len(directory), 1)
    end = struct.pack("<4sHHHHIIH", b"PK\5\6", 0, 0, 0xFFFF, 0xFFFF, 0xFFFFFFFF, 0xFFFFFFFF, 0)
    return body + directory + end64 + locator + end


@pytest.mark.parametrize("descriptors", [True, False])
@pytest.mark.parametrize("wide", [(), ("theme", "sheet1"), None])
def test_sizes_in_64_bits(tmp_path: Path, wide: tuple[str, ...] | None, descriptors: bool) -> None:
    """In the headers of some members, or (None) in those of all and in the directory too."""
    source, path, packed = (
        full_range(tmp_path / "h.xlsm"),
        tmp_path / "wide.xlsm",
        Pipe() if descriptors else io.BytesIO(),
    )
    before = parts(source)
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as new:
        for name, data in before.items():
            with new.open(zipfile.ZipInfo(name), "w", force_zip64=wide is None or any(w in name for w in wide)) as part:
                part.write(data)
    path.write_bytes(all_wide(packed.getvalue()) if wide is None else packed.getvalue())
    assert parts(path) == before
    cells = (("Hers", 0, 2, "mine"),)
    assert set_to(path, *cells, tabs=(OURS,))
    after = parts(path)
    with zipfile.ZipFile(path) as package:
        assert package.testzip() is None
        flags = {info.filename: info.flag_bits & 8 for info in package.infolist()}
    assert {n for n in before if before[n] != after[n]} <= WORKBOOK | {SHEET}
    assert all(bool(flags[n]) == descriptors for n in before if before[n] == after[n])
    assert values(path)["Hers"][0][2] == "mine" and values(path)["Costs"][1][1] == 10.0
    assert set_to(path, *cells, tabs=(OURS,)) is False
    if shutil.which("unzip"):  # another reader of packages, which reads the headers of the members too
        done = subprocess.run(["unzip", "-tqq", str(path)], capture_output=True, text=True, check=False)
        assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_a_member_whose_name_is_said_to_be_utf_8_is_so_in_both_of_its_headers(tmp_path: Path) -> None:
    """Some packers say it of every name; one that says it in one place only looks damaged to careful readers."""
    path = plain(tmp_path / "h.xlsx")
    data = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as package:
        at, places = package.start_dir, [info.header_offset for info in package.infolist()]
    for place in places:
        data[place + 7] |= 8
    while data[at : at + 4] == b"PK\1\2":
        data[at + 9] |= 8
        at += 46 + sum(struct.unpack_from("<HHH", data, at + 28))
    path.write_bytes(data)
    assert set_to(path, ("Hers", 0, 2, "new"), tabs=(OURS,))
    raw = path.read_bytes()
    with zipfile.ZipFile(path) as package:
        for info in package.infolist():
            assert struct.unpack_from("<H", raw, info.header_offset + 6)[0] == info.flag_bits, info.filename


KINDS_OF_BOOK = {
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml",
    "xlsm": "application/vnd.ms-excel.sheet.macroEnabled.main+xml",
    "xltx": "application/vnd.openxmlformats-officedocument.spreadsheetml.template.main+xml",
    "xltm": "application/vnd.ms-excel.template.macroEnabled.main+xml",
}


@pytest.mark.parametrize("kind", KINDS_OF_BOOK)
def test_a_template_stays_a_template_and_a_macro_book_a_macro_book(tmp_path: Path, kind: str) -> None:
    """The blank workbook as each of them, with macros where the kind may have them, priced by the command."""
    path = Path(shutil.copyfile(REPO / "workbooks" / "blank.xlsx", tmp_path / f"h.{kind}"))
    declared, macros = KINDS_OF_BOOK[kind].encode(), kind.endswith("m")
    lines = (
        b'<Default Extension="bin" ContentType="application/vnd.ms-office.vbaProject"/></Types>'
        if macros
        else b"</Types>"
    )
    relation = b'<Relationship Id="rId99" Type="http://schemas.microsoft.com/office/2006/relationships/vbaProject" Target="vbaProject.bin"/></Relationships>'
    patched(
        path,
        lambda x: x.replace(KINDS_OF_BOOK["xlsx"].encode(), declared).replace(b"</Types>", lines),
        "[Content_Types].xml",
    )
    if macros:
        patched(path, lambda x: x.replace(b"</Relationships>", relation), "xl/_rels/workbook.xml.rels")
        with zipfile.ZipFile(path, "a") as package:
            package.writestr("xl/vbaProject.bin", bytes(range(256)) * 40)
    before = parts(path)
    assert declared in before["[Content_Types].xml"]
    outcome = commands.price(path)
    assert outcome.written and outcome.priced.costs and not outcome.stopped
    after = parts(path)
    assert {n for n in before if before[n] != after.get(n)} <= WORKBOOK | {SHEET}
    assert stated_types(path)["xl/workbook.xml"] == KINDS_OF_BOOK[kind]
    assert after.get("xl/vbaProject.bin") == (bytes(range(256)) * 40 if macros else None)
    told = openpyxl.load_workbook(path, keep_vba=macros)
    assert told.template is kind.startswith("xlt") and told.mime_type == KINDS_OF_BOOK[kind]
    assert "Costs" in told.sheetnames
    assert [p.name for p in tmp_path.iterdir() if p.is_file()] == [path.name], "no copy under another ending"


# -- single cells ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "raw"),
    [
        (7, b"<v>7</v>"),
        (0.1, b"<v>0.1</v>"),
        (True, b' t="b"><v>1</v>'),
        (" two  blanks ", b'<is><t xml:space="preserve"> two  blanks </t></is>'),
        ("_x0041_ <&> ü\U0001f33f", b"<is><t>_x005F_x0041_ &lt;&amp;&gt; &#252;&#127807;</t></is>"),
        (ErrorValue("#N/A"), b' t="e"><v>#N/A</v>'),
    ],
)
def test_a_cell_is_written_as_the_format_asks(tmp_path: Path, value: Value, raw: bytes) -> None:
    path = plain(tmp_path / "h.xlsx")
    assert set_to(path, ("Hers", 0, 2, value))
    assert raw in parts(path)[SHEET]
    assert WorkbookFile(path).snapshot().grids["Hers"].value(0, 2) == value
    if "_x" not in str(value):  # which openpyxl takes as it stands
        told = openpyxl.load_workbook(path)["Hers"]["C1"].value
        assert told == (value.text if isinstance(value, ErrorValue) else value)


def test_a_new_cell_takes_the_look_of_its_row_or_column(tmp_path: Path) -> None:
    book = xlsxwriter.Workbook(str(tmp_path / "h.xlsx"))
    tab = book.add_worksheet("Hers")
    tab.set_column("C:C", 12, book.add_format({"num_format": "0.000"}))
    tab.set_row(4, None, book.add_format({"num_format": "0.0"}))
    tab.write("A5", 1)
    tab.write("B7", 3, book.add_format({"num_format": "0.0000"}))
    book.close()
    path = tmp_path / "h.xlsx"
    assert set_to(
        path, ("Hers", 4, 2, 1.5), ("Hers", 6, 2, 2.5), ("Hers", 6, 1, 9.0), ("Hers", 8, 0, 4.0),
        ("Hers", 6, 3, date(2025, 1, 2)), ("Hers", 8, 2, date(2025, 1, 3)), ("Hers", 8, 3, "=x"),
    )  # fmt: skip
    tab = openpyxl.load_workbook(path)["Hers"]
    assert [tab[a].number_format for a in ("C5", "C7", "B7")] == ["0.0", "0.000", "0.0000"]
    assert tab["D7"].value == tab["C9"].value - (datetime(2025, 1, 3) - datetime(2025, 1, 2)) == datetime(2025, 1, 2)
    assert tab["C9"].number_format == "yyyy-mm-dd" and tab["D9"].quotePrefix
    assert tab["A9"].font.name == "Arial", "a cell without any look gets the declared one"
    assert tab.dimensions == "A5:D9"


def test_a_row_that_is_there_twice_is_not_written_into(tmp_path: Path) -> None:
    def doubled(xml: bytes) -> bytes:
        row = re.search(rb'<row r="3".*?</row>', xml)
        assert row
        return xml.replace(row[0], row[0] + row[0])

    path = patched(plain(tmp_path / "a.xlsx"), doubled)
    raw = path.read_bytes()
    with pytest.raises(WriteRefused, match="Hers!C3: its row is there twice"):
        set_to(path, ("Hers", 2, 2, 5.0))
    assert path.read_bytes() == raw
    assert set_to(path, ("Hers", 3, 2, 5.0)), "the other rows are as ever"


def test_clearing_a_formula_drops_the_chain_of_calculation(tmp_path: Path) -> None:
    def with_chain(path: Path) -> Path:
        plain(path)
        types = b'<Override PartName="/xl/calcChain.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.calcChain+xml"/></Types>'
        rel = b'<Relationship Id="rId77" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/calcChain" Target="calcChain.xml"/></Relationships>'
        patched(path, lambda x: x.replace(b"</Types>", types), "[Content_Types].xml")
        patched(path, lambda x: x.replace(b"</Relationships>", rel), "xl/_rels/workbook.xml.rels")
        with zipfile.ZipFile(path, "a") as package:
            package.writestr("xl/calcChain.xml", b'<calcChain xmlns="x"><c r="B3" i="1"/></calcChain>')
        return path

    path = with_chain(tmp_path / "a.xlsx")
    assert set_to(path, ("Hers", 0, 2, "new"))
    assert "xl/calcChain.xml" in parts(path), "it stays while every formula stays"
    assert set_to(path, ("Hers", 2, 1, None))
    after = parts(path)
    assert "xl/calcChain.xml" not in after
    assert b"calcChain" not in after["xl/_rels/workbook.xml.rels"] + after["[Content_Types].xml"]
    assert b'fullCalcOnLoad="1"' in after["xl/workbook.xml"]


SPELLINGS: dict[str, Callable[[bytes], bytes]] = {
    "byte order mark": lambda x: b"\xef\xbb\xbf" + x,
    "prefixed": lambda x: re.sub(rb"<(/?)(?=[a-zA-Z])", rb"<\1x:", x).replace(b" xmlns=", b" xmlns:x="),
    "no addresses": lambda x: re.sub(
        rb'(<(?:c|row)\b[^>]*?) r="[^"]*"',
        rb"\1",
        x.replace(b'<row r="3"', b"<row/><row").replace(b'<c r="B3"', b"<c/><c"),
    ),
    "single quotes": lambda x: re.sub(rb'(<(?:c|row) r=)"([^"]*)"', rb"\1'\2'", x),
    "comments": lambda x: x.replace(b"<sheetData>", b'<sheetData><!-- <row r="1"><c r="C1"/></row> -->'),
    "blanks": lambda x: x.replace(b"<row", b"\r\n\t<row\n").replace(b"</c>", b"</c >\n"),
    "empty row": lambda x: x.replace(b'<row r="3"', b'<row r="2"/><row r="3"'),
    "16-bit letters": lambda x: x.replace(b"UTF-8", b"UTF-16").decode().encode("utf-16"),
}


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_other_spellings_of_a_sheet(tmp_path: Path, spelling: str) -> None:
    path = patched(plain(tmp_path / "h.xlsx"), SPELLINGS[spelling])
    assert WorkbookFile(path).snapshot().grids["Hers"].value(2, 1) == 15.0
    assert set_to(
        path, ("Hers", 0, 2, "new"), ("Hers", 1, 0, 3.0), ("Hers", 0, 0, None), ("Hers", 9, 5, True), tabs=(OURS,)
    )
    grid = WorkbookFile(path).snapshot().grids["Hers"]
    cells = {(r, c): v for r, row in enumerate(grid.rows) for c, v in enumerate(row) if v is not None}
    assert cells == {(0, 1): 5.0, (0, 2): "new", (1, 0): 3.0, (2, 1): 15.0, (9, 5): True}
    assert openpyxl.load_workbook(path)["Hers"]["B3"].value == "=B1*3"


def test_an_empty_sheet_and_no_styles(tmp_path: Path) -> None:
    path = patched(
        plain(tmp_path / "h.xlsx"), lambda x: re.sub(rb"<sheetData>.*</sheetData>", b"<sheetData/>", x, flags=re.S)
    )
    bare = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(bare, "w") as new:
        for name in old.namelist():
            data = re.sub(rb"<(Override|Relationship) [^>]*styles[^>]*/>", b"", old.read(name))
            if name != "xl/styles.xml":
                new.writestr(name, data)
    path.write_bytes(bare.getvalue())
    assert set_to(path, ("Hers", 3, 1, date(2025, 1, 2)), tabs=(OURS,))
    book = openpyxl.load_workbook(path)
    assert book["Hers"]["B4"].value == datetime(2025, 1, 2) and book["Costs"]["A1"].font.b


def _pivot(path: Path) -> Path:
    """A table of a pivot at B5:C9 on Hers, as far as the place of it goes."""
    rels = b'<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/pivotTable" Target="../pivotTables/pivotTable1.xml"/></Relationships>'
    with zipfile.ZipFile(path, "a") as package:
        package.writestr("xl/worksheets/_rels/sheet1.xml.rels", rels)
        package.writestr(
            "xl/pivotTables/pivotTable1.xml", b'<pivotTableDefinition><location ref="B5:C9"/></pivotTableDefinition>'
        )
    return path


@pytest.mark.parametrize(
    ("place", "words"),
    [((6, 1), "pivot table"), ((8, 2), "pivot table")],
)
def test_what_a_pivot_table_shows_is_not_overwritten(tmp_path: Path, place: tuple[int, int], words: str) -> None:
    path = _pivot(plain(tmp_path / "h.xlsx"))
    before = path.read_bytes()
    with pytest.raises(WriteRefused, match=words) as caught:
        set_to(path, ("Hers", *place, "new"))
    assert address(*place) in str(caught.value) and path.read_bytes() == before
    assert set_to(path, ("Hers", 9, 1, "new"))


def test_spills_data_tables_and_linked_data_are_not_overwritten(tmp_path: Path) -> None:
    path = full_range(tmp_path / "h.xlsm")
    for row, column, words in ((0, 5, "array formula"), (1, 6, "array formula"), (0, 7, "table"), (8, 1, "merged")):
        with pytest.raises(WriteRefused, match=words):
            set_to(path, ("Hers", row, column, "new"))
    linked = patched(plain(tmp_path / "v.xlsx"), lambda x: x.replace(b'<c r="B1"', b'<c r="B1" vm="1"'))
    with pytest.raises(WriteRefused, match="linked data"):
        set_to(linked, ("Hers", 0, 1, 1.0))
    what_if = patched(
        plain(tmp_path / "d.xlsx"),
        lambda x: x.replace(b"<f>B1*3</f>", b'<f t="dataTable" ref="B3:C4" dt2D="0" r1="B1"/>'),
    )
    with pytest.raises(WriteRefused, match="data table"):
        set_to(what_if, ("Hers", 3, 2, 1.0))


def test_what_she_drew_on_our_tab_stops_its_replacement(tmp_path: Path) -> None:
    path = tmp_path / "h.xlsx"
    book = xlsxwriter.Workbook(str(path))
    book.add_worksheet("Hers").write("A1", 1)
    book.add_worksheet("Costs").add_table("A1:B3")
    book.close()
    with pytest.raises(WriteRefused, match="a table on the tab Costs"):
        set_to(path, tabs=(OURS,))


def with_protection(path: Path, spelling: str) -> Path:
    """Hers with a range that may be changed although the tab is protected; '' for the range without protection."""
    book = xlsxwriter.Workbook(str(path))
    for name in ("Hers", "Other"):
        tab = book.add_worksheet(name)
        tab.write_row("A1", ["flour", 5, "free"])
        if name == "Hers":
            tab.protect()
            tab.unprotect_range("C1:C9", "Notes")
    book.close()
    assert b"<protectedRange " in parts(path)[SHEET]
    return patched(path, lambda x: re.sub(rb"<sheetProtection [^>]*/>", spelling.encode(), x))


@pytest.mark.parametrize("spelling", ['sheet="1" objects="1"', "sheet='1'", 'objects = "0" sheet = "true"'])
def test_a_protected_tab_is_not_written_to_and_one_that_may_be_changed_is(tmp_path: Path, spelling: str) -> None:
    path = with_protection(tmp_path / "h.xlsx", f"<sheetProtection {spelling}/>")
    raw = path.read_bytes()
    for row, column in ((0, 2), (0, 0), (20, 1)):
        with pytest.raises(WriteRefused, match="the tab is protected") as caught:
            set_to(path, ("Hers", row, column, "new"))
        assert f"Hers!{address(row, column)}" in str(caught.value) and "Unprotect" in str(caught.value)
        assert path.read_bytes() == raw
    sheet = parts(path)[SHEET]
    assert set_to(path, ("Other", 0, 2, "new"), tabs=(OURS,)) and parts(path)[SHEET] == sheet


def test_a_range_that_may_be_changed_on_a_tab_without_protection_stays(tmp_path: Path) -> None:
    path = with_protection(tmp_path / "h.xlsx", "")
    ranges = re.search(rb"<protectedRanges>.*</protectedRanges>", parts(path)[SHEET])
    assert set_to(path, ("Hers", 0, 2, "new"), ("Hers", 0, 0, "rye"), tabs=(OURS,))
    assert ranges and ranges[0] in parts(path)[SHEET] and values(path)["Hers"][0] == ["rye", 5.0, "new"]


def test_a_tab_of_ours_that_she_protected_is_not_drawn_anew(tmp_path: Path) -> None:
    """Its protection would be gone."""
    path = plain(tmp_path / "h.xlsx")
    assert set_to(path, tabs=(OURS,))
    protect = b'</sheetData><sheetProtection sheet="1"/>'
    patched(path, lambda x: x.replace(b"</sheetData>", protect), "xl/worksheets/sheet2.xml")
    raw = path.read_bytes()
    with pytest.raises(WriteRefused, match="the tab is protected"):
        set_to(path, tabs=(PutTab("Costs", ((Cell(1.0),),)),))
    assert path.read_bytes() == raw
    assert set_to(path, tabs=(OURS,)) is False, "as long as nothing changes there is nothing to refuse"
    assert set_to(path, ("Hers", 0, 2, "new"))


def test_merged_cells_spelled_with_single_quotes(tmp_path: Path) -> None:
    merge = b"</sheetData><mergeCells count='1'><mergeCell ref='B1:C2'/></mergeCells>"
    path = patched(plain(tmp_path / "h.xlsx"), lambda x: x.replace(b"</sheetData>", merge))
    with pytest.raises(WriteRefused, match="merged"):
        set_to(path, ("Hers", 1, 2, "new"))


# -- laws -----------------------------------------------------------------------------------------------------------

TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Cn")), min_size=1, max_size=12)
VALUES = (
    st.none()
    | st.booleans()
    | st.floats(-1e9, 1e9).map(lambda x: round(x, 4))
    | TEXTS
    | st.dates(date(1950, 1, 1), date(2100, 1, 1))
)
PLACES = st.tuples(st.integers(0, 12), st.integers(0, 30))


def small_book(path: Path, cells: dict[tuple[int, int], Value]) -> Path:
    book = xlsxwriter.Workbook(str(path))
    for name in ("Hers", "Other"):
        tab = book.add_worksheet(name)
        day = book.add_format({"num_format": "dd/mm/yyyy"})
        for (row, column), value in cells.items():
            if isinstance(value, date):
                tab.write_datetime(row, column, datetime(value.year, value.month, value.day), day)
            elif isinstance(value, str):
                tab.write_string(row, column, value)
            elif value is not None:
                tab.write(row, column, value)
    book.close()
    return path


def filled(path: Path, tab: str) -> dict[tuple[int, int], Value]:
    grid = WorkbookFile(path).snapshot().grids[tab]
    return {(r, c): v for r, row in enumerate(grid.rows) for c, v in enumerate(row) if v is not None}


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(PLACES, VALUES, max_size=20), st.dictionaries(PLACES, VALUES, max_size=12))
def test_random_edits_show_and_nothing_else(
    tmp_path: Path, cells: dict[tuple[int, int], Value], edits: dict[tuple[int, int], Value]
) -> None:
    path = small_book(tmp_path / "r.xlsx", cells)
    before, there, raw = parts(path), filled(path, "Hers"), path.read_bytes()
    # A number typed over a date keeps the look of a date; no day is earlier than March 1900 in every program's count, and
    # python-calamine reads a negative one without its sign.
    edits = {k: v for k, v in edits.items() if not (isinstance(there.get(k), date) and isinstance(v, float) and v < 61)}
    assert WorkbookFile(path).apply(Edits()) is False and path.read_bytes() == raw
    written = set_to(path, *(("Hers", r, c, v) for (r, c), v in edits.items()))
    if not written:
        assert path.read_bytes() == raw
    wanted = {k: v for k, v in (there | edits).items() if v is not None}
    now = filled(path, "Hers")
    dates = {k: v.toordinal() - date(1899, 12, 30).toordinal() for k, v in wanted.items() if isinstance(v, date)}
    for place in wanted.keys() | now.keys():
        # A number typed over a date keeps the look of a date: hers to change.
        told = now.get(place)
        if isinstance(told, date):
            assert told.toordinal() - date(1899, 12, 30).toordinal() == dates.get(
                place, int(float(str(wanted[place])) if place not in dates else 0)
            )
        else:
            assert told == wanted.get(place) and type(told) is not int, (place, told)
    after = parts(path)
    assert {n for n in before if before[n] != after[n]} <= {SHEET, "xl/workbook.xml", "xl/styles.xml"}
    read = values(path)["Other"]
    assert {(r, c) for r, row in enumerate(read) for c, v in enumerate(row) if v != ""} == {
        k for k, v in cells.items() if v is not None
    }
    assert set_to(path, *(("Hers", r, c, v) for (r, c), v in edits.items())) is False


def test_edits_of_different_cells_may_come_in_any_order(tmp_path: Path) -> None:
    one, two = ("Hers", 0, 3, 1.5), ("Hers", 4, 0, "x")
    found = []
    for name, order in (("a", (one, two)), ("b", (two, one))):
        path = plain(tmp_path / f"{name}.xlsx")
        for cell in order:
            assert set_to(path, cell)
        found.append(parts(path)[SHEET])
    assert found[0] == found[1]


# -- what workbooks of other programs were found to hold -----------------------------------------------------------


def stated_types(path: Path) -> dict[str, str]:
    """The content types of parts that have a line of their own."""
    xml = parts(path)["[Content_Types].xml"].decode()
    return dict(re.findall(r'<Override PartName="/([^"]+)" ContentType="([^"]+)"', xml))


@pytest.mark.parametrize("stated", [True, False])
def test_relationships_whose_type_does_not_follow_from_the_ending(tmp_path: Path, stated: bool) -> None:
    """Some programs give each part of relationships a line of its own, or forget them."""
    kind = "application/vnd.openxmlformats-package.relationships+xml"
    lines = "".join(
        f'<Override PartName="/{name}" ContentType="{kind}"/>' for name in ("_rels/.rels", "xl/_rels/workbook.xml.rels")
    )

    def change(xml: bytes) -> bytes:
        usual = f'<Default Extension="rels" ContentType="{kind}"/>'.encode()
        assert usual in xml
        return xml.replace(usual, b"").replace(b"</Types>", (lines if stated else "").encode() + b"</Types>")

    path = patched(plain(tmp_path / "h.xlsx"), change, "[Content_Types].xml")
    assert set_to(path, ("Hers", 0, 2, "new"), tabs=(OURS,))
    made = {n for n in parts(path) if n.endswith(".rels")}
    assert len(made) == 4 and {n for n in made if stated_types(path).get(n) != kind} == (
        set() if stated else {"_rels/.rels"}
    )
    assert openpyxl.load_workbook(path)["Costs"]["A1"].comment.text == "ours"
    assert set_to(path, tabs=(PutTab("Costs", ((Cell(1.0),),)),))
    assert stated_types(path).keys() <= parts(path).keys(), "no line is left of a part that has gone"


def test_a_name_of_hers_that_leads_nowhere_is_not_taken(tmp_path: Path) -> None:
    """Else her tab would show our chart."""
    path = plain(tmp_path / "h.xlsx")
    with zipfile.ZipFile(path, "a") as package:
        package.writestr(
            "xl/worksheets/_rels/sheet1.xml.rels",
            b'<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1"'
            b' Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/drawing"'
            b' Target="../drawings/drawing1.xml"/></Relationships>',
        )
        # The twins that a Mac's packer puts beside every file are no XML, whatever they are called.
        for name in ("xl/worksheets/._sheet1.xml", "xl/worksheets/_rels/._sheet1.xml.rels"):
            package.writestr(f"__MACOSX/{name}", b"\0\5\x16\7Mac OS X")
    assert set_to(path, tabs=(OURS,))
    once = parts(path)
    assert "xl/drawings/drawing1.xml" not in once and "xl/drawings/drawing2.xml" in once
    assert set_to(path, tabs=(PutTab("Costs", (*OURS.rows, (Cell("more"),)), LOOK),))
    assert parts(path).keys() == once.keys()


@pytest.mark.parametrize("from_1904", [True, False])
def test_tabs_that_another_reader_stops_at(tmp_path: Path, from_1904: bool) -> None:
    """Macro sheets, modules that lead nowhere, and a state the format does not know stop neither reading nor saving."""
    path = tmp_path / "h.xlsm"
    book = xlsxwriter.Workbook(str(path), {"date_1904": from_1904})
    book.add_worksheet("Hers & <co>").write_datetime("A1", datetime(2024, 2, 29), book.add_format({"num_format": 14}))
    book.add_worksheet("More").write("A1", "salt")
    book.close()
    added = b'<sheet name="Module" sheetId="8" r:id=""/><sheet name="Macro" sheetId="9" r:id="rId99"/></sheets>'
    patched(
        path,
        lambda x: x.replace(b"</sheets>", added).replace(b'<sheet name="More"', b'<sheet state="show" name="More"'),
        "xl/workbook.xml",
    )
    relation = b'<Relationship Id="rId99" Type="http://schemas.microsoft.com/office/2006/relationships/xlMacrosheet" Target="macrosheets/sheet1.xml"/></Relationships>'
    patched(path, lambda x: x.replace(b"</Relationships>", relation), "xl/_rels/workbook.xml.rels")
    with zipfile.ZipFile(path, "a") as package:
        package.writestr("xl/macrosheets/sheet1.xml", b'<xm:macrosheet xmlns:xm="x"/>')
    before = parts(path)
    grids = WorkbookFile(path).snapshot().grids
    assert {name: grid.rows for name, grid in grids.items()} == {
        "Hers & <co>": ((date(2024, 2, 29),),), "More": (("salt",),),
    }  # fmt: skip
    assert set_to(path, ("More", 1, 0, "pepper"), tabs=(OURS,))
    after = parts(path)
    assert {n for n in before if before[n] != after[n]} <= WORKBOOK | {"xl/worksheets/sheet2.xml"}
    listed = re.findall(rb'<sheet [^>]*name="([^"]*)"', after["xl/workbook.xml"])
    assert listed == [b"Hers &amp; &lt;co&gt;", b"More", b"Module", b"Macro", b"Costs"]
    assert b'localSheetId="4"' in after["xl/workbook.xml"], "names of ours count every tab that is listed"
    assert WorkbookFile(path).snapshot().grids["More"].rows == (("salt",), ("pepper",))


@pytest.mark.parametrize("from_1904", [True, False])
def test_a_number_put_where_her_look_shows_days_or_times(tmp_path: Path, from_1904: bool) -> None:
    path = tmp_path / "h.xlsx"
    book = xlsxwriter.Workbook(str(path), {"date_1904": from_1904})
    tab = book.add_worksheet("Hers")
    tab.write_row("A1", ["flour", 1, 2, 3])
    for column, look in enumerate(("dd/mm/yyyy", "dd/mm/yyyy", "hh:mm", "[h]:mm")):
        tab.set_column(column, column, 9, book.add_format({"num_format": look}))
    book.close()
    cells = (("Hers", 1, 0, 77.0), ("Hers", 1, 1, 12.34), ("Hers", 1, 2, 0.123456789), ("Hers", 1, 3, 1.23456789012))
    assert set_to(path, *cells)
    assert re.findall(rb'<c r="[A-D]2"[^>]*><v>([^<]*)</v>', parts(path)[SHEET]) == [
        b"77", b"12.34", b"0.123456789", b"1.23456789012",
    ]  # fmt: skip
    raw = path.read_bytes()
    assert set_to(path, *cells) is False and path.read_bytes() == raw
    assert set_to(path, ("Hers", 1, 1, 12.35)), "another number is another number"
    assert b"<v>12.35</v>" in parts(path)[SHEET]


# -- foreign workbooks ----------------------------------------------------------------------------------------------


KINDS = ("*.xlsx", "*.xlsm", "*.xltx", "*.xltm")


def corpus() -> Iterator[Path]:
    """The project's own workbooks, those that installed packages carry, and those below COSTBOOK_CORPUS."""
    folders = {REPO / "workbooks", REPO / "sample_invoices", Path(sysconfig.get_paths()["purelib"])}
    if os.environ.get("COSTBOOK_CORPUS"):
        folders.add(Path(os.environ["COSTBOOK_CORPUS"]))
    for folder in sorted(folders):
        yield from sorted(p for kind in KINDS for p in folder.rglob(kind) if p.is_file())


def free_place(path: Path, tab: str) -> tuple[int, int]:
    grid = WorkbookFile(path).snapshot().grids[tab]
    return len(grid.rows) + 1, 1


@pytest.mark.parametrize("source", list(corpus()), ids=lambda p: p.name)
def test_foreign_workbooks(source: Path, tmp_path: Path) -> None:
    """Saved with everything else the same, or refused with a reason and untouched."""
    path = Path(shutil.copyfile(source, tmp_path / f"c{source.suffix}"))
    raw, ours = path.read_bytes(), PutTab("Costs of this test", OURS.rows, LOOK)
    try:
        tabs = WorkbookFile(path).snapshot().grids
        tab = next((t for t, g in tabs.items() if not g.protected), None)
        place = free_place(path, tab) if tab else (0, 0)
        saved = set_to(path, *([(tab, *place, "costbook was here")] if tab else []), tabs=(ours,))
    except CostbookError as refusal:
        assert str(refusal) and path.read_bytes() == raw
        pytest.skip(f"refused: {refusal}")
    assert saved
    before, after = raw_parts(raw), raw_parts(path.read_bytes())
    changed = {n for n in before if before[n] != after.get(n)}
    assert len([n for n in changed if "worksheets/" in n]) <= 1
    assert all(re.search(r"workbook|styles|calcChain|Content_Types|worksheets/|sheet", n) for n in changed), changed
    assert set_to(path, tabs=(ours,)) is False


def raw_parts(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        return {name: package.read(name) for name in package.namelist()}


@pytest.mark.office
@pytest.mark.skipif(shutil.which("soffice") is None, reason="no office program")
def test_the_office_program_opens_what_was_saved(tmp_path: Path) -> None:
    made = [
        full_range(tmp_path / "full.xlsm"),
        made_by_openpyxl(tmp_path / "openpyxl.xlsx"),
        plain(tmp_path / "plain.xlsx"),
    ]
    for path in made:
        assert set_to(path, ("Hers", 0, 2, "mine"), tabs=(OURS,))
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    asked = ["soffice", profile, "--headless", "--convert-to", "pdf", "--outdir", str(tmp_path / "out")]
    subprocess.run([*asked, *map(str, made)], check=True, capture_output=True, timeout=180)
    for path in made:
        pdf = tmp_path / "out" / f"{path.stem}.pdf"
        assert pdf.read_bytes().startswith(b"%PDF") and pdf.stat().st_size > 5_000


def test_a_damaged_part_that_must_change_is_a_refusal(tmp_path: Path) -> None:
    path = patched(plain(tmp_path / "h.xlsx"), lambda x: x.replace(b"</styleSheet>", b"</wrong>"), "xl/styles.xml")
    raw = path.read_bytes()
    with pytest.raises((WriteRefused, HostUnavailable)):
        set_to(path, tabs=(OURS,))
    assert path.read_bytes() == raw
