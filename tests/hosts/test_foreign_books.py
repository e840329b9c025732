"""Her book kept in a workbook of another program: priced there to the cent, and everything around it stays.

The demo's own tabs are written into three workbooks with what other programs put around such tabs: a macro workbook with
controls, one with a pivot table that LibreOffice made, one full of pictures and charts. What the pricing must come to
stands in the demo workbook of the project and, from an engine that shares no code with this one, in the shared tables.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import quoteattr

import pytest
from shared_files import rows

from costbook import commands
from costbook.book import layout, tool_tabs
from costbook.book.grid import Value

xlsxwriter = pytest.importorskip("xlsxwriter")
calamine = pytest.importorskip("python_calamine")

REPO = Path(__file__).resolve().parents[2]
DEMO = REPO / "workbooks" / "demo.xlsx"
FIGURES = ("Costs", "Prices", "Landed rates", "Cost trace")
TOOLS = [tab.name for tab in tool_tabs.TOOL_TABS]
# Parts a save may change beside the tab with the cell for the last run.
SHARED_PARTS = {"xl/workbook.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml", "xl/styles.xml"}
CHARTS = ("area", "bar", "column", "doughnut", "line", "pie", "radar", "scatter", "stock")
TAKINGS: list[tuple[str, str, int | str]] = [
    ("Stall", "Piece", "Sold"), ("Harbour", "Melt", 12), ("Old Town", "Balm", 7), ("Harbour", "Balm", 5),
    ("Mill", "Soak", 9), ("Old Town", "Melt", 11),
]  # fmt: skip
Rows = list[list[Value]]
Tabs = dict[str, Rows]


def tabs_of(path: Path) -> dict[str, list[list[Any]]]:
    """Every worksheet as python-calamine reads it, edge blanks included, '' for an empty cell."""
    book = calamine.CalamineWorkbook.from_path(str(path))
    names = [s.name for s in book.sheets_metadata if "WorkSheet" in str(s.typ)]
    return {name: book.get_sheet_by_name(name).to_python(skip_empty_area=False) for name in names}


def tool_tabs(path: Path) -> dict[str, list[list[Any]]]:
    """What the tool wrote."""
    return {name: read for name, read in tabs_of(path).items() if name in TOOLS}


@cache
def her_tabs() -> Tabs:
    """The demo's own tabs without the day of the last run, so that a cell of hers has to be written."""
    found = {name: [list(row) for row in read] for name, read in tabs_of(DEMO).items() if name not in TOOLS}
    place = next(row for row in found[layout.START] if row[0] == layout.LAST_RUN)
    assert isinstance(place[1], date) and len(found) == 17
    place[1] = ""
    return found


def parts(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as package:
        return {name: package.read(name) for name in package.namelist()}


def picture() -> io.BytesIO:
    """A picture of one dot."""
    return io.BytesIO(
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01\0\0\0\x01\x08\x02\0\0\0\x90wS\xde\0\0\0\x0cIDATx\x9cc\xf8\xcf\xc0\0\0"
        b"\x03\x01\x01\0\xc9\xfe\x92\xef\0\0\0\0IEND\xaeB`\x82"
    )


# -- the three workbooks --------------------------------------------------------------------------------------------


def written(book: Any, name: str, read: Rows) -> Any:
    """One of her tabs as XlsxWriter writes it, with looks of its own."""
    tab, day = book.add_worksheet(name), book.add_format({"num_format": "d mmm yyyy", "font_color": "#7F3F00"})
    for r, row in enumerate(read):
        for c, value in enumerate(row):
            if isinstance(value, date):
                tab.write_datetime(r, c, datetime(value.year, value.month, value.day), day)
            elif isinstance(value, str):
                tab.write_string(r, c, value) if value else None
            else:
                tab.write(r, c, value)
    return tab


def with_macros(folder: Path, hers: Tabs) -> Path:
    """Buttons, checks of what is typed, notes and rules of looks on her tabs, which stand in another order."""
    path, code = folder / "macros.xlsm", folder / "vbaProject.bin"
    code.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(range(256)) * 9)
    book = xlsxwriter.Workbook(str(path))
    book.add_vba_project(str(code))
    book.set_vba_name("ThisWorkbook")
    front = book.add_worksheet("Front door")
    tabs = {name: written(book, name, hers[name]) for name in reversed(hers)}
    bold, red = book.add_format({"bold": True}), book.add_format({"bg_color": "#FFC7CE"})
    front.insert_button("B2", {"macro": "reprice", "caption": "Price my book", "width": 160, "height": 40})
    front.write_rich_string("A1", "Press ", bold, "once", " a week")
    front.write_formula("A4", "=COUNTA(Products!A4:A90)", None, 14)
    front.protect("secret", {"objects": True})
    front.unprotect_range("A9:B20", "Notes")
    tabs["Products"].insert_button("AB2", {"macro": "next_code"})
    tabs["Products"].insert_checkbox("AB6", True)
    for column, rule in (
        ("C", {"type": "data_bar", "data_bar_2010": True}), ("D", {"type": "3_color_scale"}),
        ("E", {"type": "icon_set", "icon_style": "5_arrows"}), ("F", {"type": "duplicate", "format": red}),
        ("G", {"type": "formula", "criteria": "=$A4=\"M01\"", "format": bold}),
    ):  # fmt: skip
        tabs["Materials"].conditional_format(f"{column}4:{column}60", rule)
    tabs["Channels"].data_validation("B4:B30", {"validate": "list", "source": ["retail", "wholesale"]})
    tabs["Products"].data_validation("A4:A30", {"validate": "custom", "value": "=COUNTIF($A:$A,$A4)=1"})
    tabs["Suppliers"].write_comment("A4", "rings back on Tuesdays", {"author": "Ada", "visible": True})
    tabs["Suppliers"].write_comment("A3", "one a row")
    tabs["Work"].set_column("C:F", 14, None, {"level": 1, "hidden": True})
    tabs["Pay"].hide()
    book.define_name("Front", "='Front door'!$A$1")
    book.define_name("Pay!Hour", "=Pay!$B$4")
    book.set_custom_property("Shelf", 7)
    book.close()
    code.unlink()
    return path


def with_pictures(folder: Path, hers: Tabs) -> Path:
    """Pictures, every kind of chart, sparklines, drawn shapes, tables and spilling formulas around and on her tabs."""
    path = folder / "pictures.xlsx"
    book = xlsxwriter.Workbook(str(path))
    tabs = {}
    for number, name in enumerate(hers):
        tabs[name] = written(book, name, hers[name])
        if number == 4:
            album = book.add_worksheet("Album & more")
    materials = hers["Materials"]
    headings = [{"header": h} for h in materials[2] if h]
    tabs["Materials"].add_table(2, 0, len(materials) - 1, len(headings) - 1, {"columns": headings, "name": "Stock"})
    tabs["Products"].insert_image("AB3", "dot.png", {"image_data": picture(), "x_scale": 40, "y_scale": 40})
    tabs["Start"].set_background(picture())
    tabs["Pay"].insert_textbox("G3", "An hour is an hour.", {"fill": {"color": "#FFE699"}})
    tabs["Channels"].set_header("&L&G&RStalls", {"image_left": "dot.png", "image_data_left": picture()})
    for row in range(3, 9):
        tabs["Work"].add_sparkline(row, 8, {"range": f"Work!D{row + 1}:F{row + 1}", "type": "column"})
    for index, kind in enumerate(CHARTS):
        chart = book.add_chart({"type": kind})
        for letter in "HIJ"[: 3 if kind == "stock" else 1]:
            series = {"name": letter, "categories": "='Album & more'!$A$1:$A$6"}
            chart.add_series(series | {"values": f"='Album & more'!${letter}$1:${letter}$6"})
        chart.set_title({"name": f"A {kind}"})
        album.insert_chart(8 + index // 3 * 16, index % 3 * 8, chart)
    for row, (name, most) in enumerate([("a", 5), ("b", 9), ("c", 4), ("d", 7), ("e", 8), ("f", 6)]):
        album.write_row(row, 0, [name])
        album.write_row(row, 7, [most, most - 2, most - 1])
    album.write_dynamic_array_formula("C1", "=UNIQUE(H1:H6)", None, 5)
    album.write_dynamic_array_formula("D1", '=FILTER(Products!A4:A17,Products!A4:A17<>"")', None, "P01")
    album.write_array_formula("E1:E2", "{=H1:H2*2}", None, 10)
    album.write_formula("F1", "=SUM(Stock[[#Data],[Code]])", None, 0)
    album.write_url("F2", "https://example.org/?a=1&b=2", string="shop")
    album.insert_image(
        "N1", "dot.png", {"image_data": picture(), "x_scale": 90, "y_scale": 60, "url": "internal:Pay!A1"}
    )
    album.insert_textbox(
        "Q1", "Summer", {"line": {"dash_type": "dash"}, "gradient": {"colors": ["#FFF2CC", "#C00000"]}}
    )
    whole = book.add_chart({"type": "column", "subtype": "stacked"})
    whole.add_series({"values": "='Album & more'!$H$1:$H$6"})
    book.add_chartsheet("Big picture").set_chart(whole)
    book.close()
    return path


SPACES = {"office": "office", "table": "table", "text": "text", "style": "style", "number": "datastyle"}
DAYS = """<office:automatic-styles><number:date-style style:name="ymd"><number:year number:style="long"/>
<number:text>-</number:text><number:month number:style="long"/><number:text>-</number:text>
<number:day number:style="long"/></number:date-style>
<style:style style:name="day" style:family="table-cell" style:data-style-name="ymd"/></office:automatic-styles>"""
PIVOT = """<table:data-pilot-tables><table:data-pilot-table table:name="Stalls"
 table:target-range-address="'By stall'.A3:'By stall'.B8">
<table:source-cell-range table:cell-range-address="Takings.A1:Takings.C6"/>
<table:data-pilot-field table:source-field-name="Stall" table:orientation="row" table:function="auto">
<table:data-pilot-level table:show-empty="false"/></table:data-pilot-field>
<table:data-pilot-field table:source-field-name="Sold" table:orientation="data" table:function="sum">
<table:data-pilot-level/></table:data-pilot-field></table:data-pilot-table></table:data-pilot-tables>"""


def flat(name: str, read: Rows) -> str:
    """A tab in the flat form of OpenDocument."""

    def cell(value: Value) -> str:
        if isinstance(value, date):
            return f'<table:table-cell table:style-name="day" office:value-type="date" office:date-value="{value}"/>'
        if isinstance(value, str):
            kind = f'office:value-type="string" office:string-value={quoteattr(value)}' if value else ""
            return f"<table:table-cell {kind}/>"
        return f'<table:table-cell office:value-type="float" office:value="{value!r}"/>'

    lines = "".join(f"<table:table-row>{''.join(map(cell, row))}</table:table-row>" for row in read)
    return f"<table:table table:name={quoteattr(name)}>{lines}</table:table>"


def with_pivot(folder: Path, hers: Tabs) -> Path:
    """A pivot table of takings at the stalls, made and worked out by LibreOffice, beside her tabs."""
    spaces = " ".join(f'xmlns:{k}="urn:oasis:names:tc:opendocument:xmlns:{v}:1.0"' for k, v in SPACES.items())
    tabs = [flat("Takings", [list(row) for row in TAKINGS]), flat("By stall", [[""]])]
    tabs += [flat(name, read) for name, read in hers.items()]
    note = "<office:annotation><text:p>rings back on Tuesdays</text:p></office:annotation>"
    tabs[2] = tabs[2].replace("/></table:table-row>", f">{note}</table:table-cell></table:table-row>", 1)
    source = folder / "pivot.fods"
    source.write_text(
        f'<?xml version="1.0" encoding="UTF-8"?><office:document {spaces} office:version="1.2"'
        ' office:mimetype="application/vnd.oasis.opendocument.spreadsheet">'
        f"{DAYS}<office:body><office:spreadsheet>{''.join(tabs)}{PIVOT}</office:spreadsheet></office:body></office:document>",
        encoding="utf-8",
    )
    # What the pivot table shows is worked out when a workbook with one is opened, so it goes through the program twice.
    (first,) = converted("xlsx", folder / "first", source)
    return Path(shutil.move(*converted("xlsx", folder / "second", first), folder / "pivot.xlsx"))


def converted(kind: str, out: Path, *paths: Path) -> list[Path]:
    """The workbooks as LibreOffice saves them in another kind, with a profile of this test run's own."""
    program = shutil.which("soffice")
    if program is None:
        pytest.skip("LibreOffice (soffice) is not installed")
    profile = (paths[0].parent / "profile").as_uri()
    asked = [program, f"-env:UserInstallation={profile}", "--headless", "--convert-to", kind, "--outdir", str(out)]
    done = subprocess.run([*asked, *map(str, paths)], capture_output=True, text=True, timeout=180, check=False)
    made = [out / f"{path.stem}.{kind}" for path in paths]
    assert all(path.is_file() for path in made), done.stdout + done.stderr
    return made


MAKERS: dict[str, Callable[[Path, Tabs], Path]] = {
    "macros": with_macros,
    "pivot": with_pivot,
    "pictures": with_pictures,
}
KINDS = [pytest.param(name, marks=pytest.mark.office if name == "pivot" else ()) for name in MAKERS]


@dataclass(frozen=True)
class Adopted:
    """A foreign workbook before and after it was priced."""

    before: Path
    after: Path

    @property
    def hers(self) -> tuple[dict[str, bytes], dict[str, bytes]]:
        """The parts of both."""
        return parts(self.before), parts(self.after)


Books = Callable[[str], Adopted]


@pytest.fixture(scope="module")
def adopted(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Books]:
    """The workbook of that name, made and priced when first asked for."""

    @cache
    def made(name: str) -> Adopted:
        folder = tmp_path_factory.mktemp(name)
        after = MAKERS[name](folder, her_tabs())
        before = Path(shutil.copyfile(after, folder / f"before-{after.name}"))
        assert commands.price(after).written
        return Adopted(before, after)

    yield made


# -- priced, and everything around it the same ----------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_priced_as_the_demo_workbook_is(adopted: Books, kind: str) -> None:
    found, wanted = tool_tabs(adopted(kind).after), tool_tabs(DEMO)
    assert found.keys() == wanted.keys()
    for tab in FIGURES:
        assert found[tab] == wanted[tab], tab
    assert len(found["Findings"]) == len(wanted["Findings"])
    if kind != "macros":  # where the tabs stand in another order, so do the recipes that one of them names
        assert found["Findings"] == wanted["Findings"]


@pytest.mark.parametrize("kind", KINDS)
def test_unit_costs_are_those_of_the_shared_tables(adopted: Books, kind: str) -> None:
    table = {row["Code"]: row["Full cost"] for row in rows("demo/tables/cost_expected.csv")}
    lines = tool_tabs(adopted(kind).after)["Costs"]
    at = lines[2].index("Unit cost")
    found = {row[0]: Decimal(repr(row[at])).quantize(Decimal("1.000000"), ROUND_HALF_UP) for row in lines[3:]}
    assert {code: str(cost) for code, cost in found.items()} == table and len(table) == 14


@pytest.mark.parametrize("kind", KINDS)
def test_everything_around_her_tabs_stays(adopted: Books, kind: str) -> None:
    before, after = adopted(kind).hers
    changed = {name for name in before if before[name] != after.get(name)}
    assert before.keys() <= after.keys() and changed > SHARED_PARTS and len(changed - SHARED_PARTS) == 1, changed
    (sheet,) = changed - SHARED_PARTS
    old, new = before[sheet], after[sheet]
    head = next(i for i, (a, b) in enumerate(zip(old, new)) if a != b)
    tail = next(i for i, (a, b) in enumerate(zip(reversed(old), reversed(new))) if a != b)
    day = (date(2026, 10, 26) - date(1899, 12, 30)).days
    cut, put = old[head : len(old) - tail], new[head : len(new) - tail]
    assert len(cut) < 40 and str(day).encode() in put and len(put) < 60, "one cell, the day of the last run"
    for name, pattern in (
        ("xl/workbook.xml", rb"<sheet [^>]*>|<definedName .*?</definedName>|<fileVersion[^>]*>|<workbookPr[^>]*>|<workbookView[^>]*>|<pivotCache [^>]*>"),
        ("xl/_rels/workbook.xml.rels", rb"<Relationship [^>]*>"),
        ("[Content_Types].xml", rb"<(?:Default|Override) [^>]*>"),
    ):  # fmt: skip
        hers, now = re.findall(pattern, before[name]), re.findall(pattern, after[name])
        assert hers and [line for line in now if line in hers] == hers, name
    for name in (b"fonts", b"fills", b"borders", b"cellXfs", b"dxfs"):
        inside = re.compile(rb"<%s\b[^>]*>(.*?)</%s>" % (name, name), re.S)
        hers, now = inside.search(before["xl/styles.xml"]), inside.search(after["xl/styles.xml"])
        assert hers is None or (now and now[1].startswith(hers[1])), "her looks keep their numbers"


@pytest.mark.parametrize("kind", KINDS)
def test_her_values_stay_and_a_second_run_writes_nothing(adopted: Books, kind: str) -> None:
    book = adopted(kind)
    before, after = tabs_of(book.before), tabs_of(book.after)
    start = next(row for row in after[layout.START] if row[0] == layout.LAST_RUN)
    assert start[1] == date(2026, 10, 26)
    start[1] = ""
    assert list(after)[: len(before)] == list(before) and {n: after[n] for n in before} == before
    raw = book.after.read_bytes()
    assert commands.price(book.after).written is False and book.after.read_bytes() == raw
    kept = commands.saved_states(book.after)
    assert [state.path.read_bytes() for state in kept] == [book.before.read_bytes()]


@pytest.mark.parametrize("kind", KINDS)
def test_her_papers_posted_into_it(tmp_path: Path, kind: str) -> None:
    """The sample papers come to the demo's own lines of Purchases, and to its prices."""
    hers = her_tabs()
    path = MAKERS[kind](tmp_path, hers | {"Purchases": hers["Purchases"][:3]})
    before = parts(path)
    posted = commands.post(path, sorted(p for p in (REPO / "sample_invoices").iterdir() if p.is_file()))
    assert [paper.state for paper in posted] == ["posted"] * 5
    after = parts(path)
    changed = {name for name in before if before[name] != after[name]} - SHARED_PARTS
    assert len(changed) == 1 and before.keys() == after.keys(), changed
    assert tabs_of(path)["Purchases"] == tabs_of(DEMO)["Purchases"]
    assert commands.price(path).written
    found, wanted = tool_tabs(path), tool_tabs(DEMO)
    assert all(found[tab] == wanted[tab] for tab in FIGURES)


def test_the_foreign_workbooks_hold_what_they_are_made_for(adopted: Books) -> None:
    """Else the tests above would show little."""
    macros, pictures = (parts(adopted(kind).after) for kind in ("macros", "pictures"))
    assert len(macros["xl/vbaProject.bin"]) == 8 + 256 * 9
    assert b"sheet.macroEnabled.main+xml" in macros["[Content_Types].xml"]
    everything = b"".join(macros[n] for n in macros if "worksheets/" in n or "drawings/" in n)
    for piece in (
        b"reprice",
        b"<dataValidation ",
        b"x14:dataBar",
        b"iconSet",
        b"protectedRange ",
        b'ObjectType="Button"',
    ):
        assert piece in everything, piece
    assert sum("charts/chart" in n for n in pictures) >= len(CHARTS) + 1
    everything = b"".join(pictures[n] for n in pictures if "worksheets/" in n or "drawings/" in n)
    for piece in (b"x14:sparkline>", b"<xdr:pic>", b"<xdr:sp ", b"<tableParts", b' cm="1"', b"<picture "):
        assert piece in everything, piece


# -- in LibreOffice -------------------------------------------------------------------------------------------------


def pages(pdf: Path) -> int:
    return len(re.findall(rb"/Type\s*/Page\b", pdf.read_bytes()))


@pytest.mark.office
def test_the_office_program_prints_all_of_it(adopted: Books) -> None:
    books = [adopted(kind) for kind in MAKERS]
    out = books[0].before.parent / "pdf"
    made = converted("pdf", out, *(path for book in books for path in (book.before, book.after)))
    for old, new in zip(made[::2], made[1::2]):
        assert pages(new) >= pages(old) + 5 > 15, (new.name, pages(old), pages(new))


@pytest.mark.office
def test_the_pivot_table_is_still_one_in_the_office_program(adopted: Books) -> None:
    book = adopted("pivot")
    (again,) = converted("xlsx", book.after.parent / "again", book.after)
    sums = [["Harbour", 17], ["Mill", 9], ["Old Town", 18]]
    for path in (book.before, book.after, again):
        shown = [row[:2] for row in tabs_of(path)["By stall"]]
        assert [row for row in shown if row[0] in ("Harbour", "Mill", "Old Town")] == sums and shown[-1][1] == 44, path
    first, last = parts(book.before), parts(again)
    pivots = [name for name in first if "pivot" in name and not name.endswith(".rels")]
    assert len(pivots) == 3 and {name: last[name] for name in pivots} == {name: first[name] for name in pivots}
    assert tool_tabs(again).keys() == tool_tabs(DEMO).keys()
    found, wanted = tool_tabs(again)["Costs"], tool_tabs(DEMO)["Costs"]
    assert [row[:8] for row in found] == [row[:8] for row in wanted]
