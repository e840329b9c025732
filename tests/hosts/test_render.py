"""What a drawn tab looks like, asked of the bytes and of openpyxl's reader; styles are those declared in the layout."""

from __future__ import annotations

import random
import re
import shutil
import subprocess
import zipfile
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

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
)
from costbook.book.layout import COLOURS, STYLES
from costbook.errors import Where
from costbook.hosts.cells import clean, escaped
from costbook.hosts.file import WorkbookFile, create

openpyxl = pytest.importorskip("openpyxl")
from openpyxl.utils.escape import unescape  # noqa: E402

ROWS = (
    (Cell("Costs", "title"),),
    (Cell("A sentence that is alone in its row and wider than its column is", "good"),),
    (Cell("Product", "tool heading"), Cell("Materials", "tool heading"), Cell("Labour", "tool heading")),
    (Cell("Bomb", "tool text", Where("It's here", "B4")), Cell(0.61, "tool money"), Cell(0.9, "tool money")),
    (Cell("Bar", "tool text"), Cell(0.87, "tool money"), Cell(Formula("B5*2", 1.74), "tool money")),
    (Cell("word " * 12, "tool wrapped"), Cell(None, "her money"), Cell(True, "tool text")),
)
CHART = Chart(
    "stacked bar",
    "What a piece costs",
    (3, 0, 4, 0),
    (Series((2, 1), (3, 1, 4, 1)), Series((2, 2), (3, 2, 4, 2), "112233")),
    (8, 0),
    width_cm=20.0,
    height_cm=9.0,
    value_title="USD a piece",
)
LOOK = Look(
    widths={0: 20.0, 1: 11.0, 2: 12.5, 3: 8.0},
    freeze=(3, 1),
    filter=(2, 0, 4, 2),
    rules=(
        Rule((3, 0, 50, 0), "list", ("solid", 'say "so"'), "Pick one."),
        Rule((3, 1, 50, 1), "number"),
        Rule((3, 2, 50, 2), "range", "'It''s here'!$A$4:$A$503"),
        Rule((3, 3, 50, 3), "date"),
        Rule((3, 4, 50, 4), "list", ("with, a comma", "other")),
    ),
    notes={(2, 1): "What goes in, landed. " * 8},
    charts=(CHART,),
    highlights=(Highlight((3, 1, 4, 1), "$B4>0.8", "flag stop"),),
    heights={2: 42.0},
    hidden_columns=(3,),
    title_rows=(2, 2),
    colour=COLOURS["tool tab"],
    print_area=(0, 0, 30, 2),
)
EDITS = Edits(tabs=(PutTab("It's here", ((Cell("x"),),), Look(colour=COLOURS["her tab"])), PutTab("Costs", ROWS, LOOK)))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("drawn") / "book.xlsx"
    create(path, EDITS)
    return path


@pytest.fixture(scope="module")
def tab(made: Path) -> Any:
    return openpyxl.load_workbook(made)["Costs"]


def part(path: Path, name: str) -> str:
    with zipfile.ZipFile(path) as package:
        return package.read(name).decode()


def test_cells_wear_the_declared_style_under_its_name(tab: Any) -> None:
    for address, name in (("A1", "title"), ("B3", "tool heading"), ("B4", "tool money"), ("B6", "her money")):
        cell, style = tab[address], STYLES[name]
        assert cell.style == name, "the use is named, not only coloured"
        assert cell.number_format == style.number_format
        assert cell.font.b == style.bold and cell.font.sz == style.size
        assert cell.font.color.rgb[-6:] == COLOURS[style.ink]
        assert cell.fill.fgColor.rgb[-6:] == (COLOURS[style.fill] if style.fill else "000000")
        assert bool(cell.border.bottom and cell.border.bottom.style == "thin") == style.line
        assert cell.protection.locked == style.locked
    assert not tab.protection.sheet


def many_cells(rows: int = 700, seed: int = 3) -> PutTab:
    """A tab of more rows than are written at once, of every kind of value, with gaps and short rows."""
    chance = random.Random(seed)
    kinds = (
        lambda: chance.uniform(-1, 1) * 10.0 ** chance.randint(-12, 12), lambda: chance.randint(-10**9, 10**9),
        lambda: float(chance.randint(0, 99)), lambda: "".join(chance.choices("a&<>\"' ½é€\t_x0041_", k=chance.randint(1, 12))),
        lambda: chance.choice(("=A1", "+1", "-", "@x", " edge ", "two\nlines")), lambda: bool(chance.getrandbits(1)), lambda: None,
        lambda: date(2026, 1, 1) + timedelta(chance.randint(0, 9_999)), lambda: ErrorValue("#N/A"), lambda: "",
    )  # fmt: skip
    styles = ("plain", "tool text", "tool money", "her date")

    def cell() -> Cell:
        value = chance.choice(kinds)()
        style = "her date" if isinstance(value, date) else chance.choice(styles[:3])
        leads = value not in (None, "") and chance.random() < 0.02
        return Cell(value, style, Where("Many", "B2") if leads else None)

    return PutTab("Many", tuple(tuple(cell() for _ in range(chance.randint(0, 30))) for _ in range(rows)))


@pytest.mark.parametrize("into_hers", (False, True))
def test_every_cell_of_a_big_tab_reads_back_to_the_last_digit(tmp_path: Path, into_hers: bool) -> None:
    tab, path = many_cells(), tmp_path / "book.xlsx"
    if into_hers:
        book = openpyxl.Workbook()
        book.active["A1"] = "hers"
        book.save(path)
        assert WorkbookFile(path).apply(Edits(tabs=(tab,)))
    else:
        create(path, Edits(tabs=(tab,)))
    read = openpyxl.load_workbook(path)["Many"]
    links = {link.ref: link.location for link in read._hyperlinks} or {
        cell.coordinate: cell.hyperlink.location for row in read.iter_rows() for cell in row if cell.hyperlink
    }
    for r, cells in enumerate(tab.rows, 1):
        for c, wanted in enumerate(cells, 1):
            there, value = read.cell(r, c), wanted.value
            if isinstance(value, date):
                assert there.value.date() == value and there.is_date
            elif isinstance(value, str) and value:
                assert unescape(there.value) == value and there.data_type == "s"
                assert bool(there.quotePrefix) == (value[0] in "=+-@")
            elif isinstance(value, ErrorValue):
                assert (there.value, there.data_type) == (value.text, "e")
            elif isinstance(value, bool):
                assert there.value is value
            else:
                assert there.value == (value or None if isinstance(value, str) else value), there.coordinate
            if wanted != Cell():
                assert there.number_format == STYLES[wanted.style].number_format
            assert links.get(there.coordinate) == ("'Many'!B2" if wanted.link else None)


def test_the_view(tab: Any) -> None:
    assert [tab.column_dimensions[c].width for c in "ABC"] == [20.0, 11.0, 12.5]
    assert tab.column_dimensions["D"].hidden and tab.freeze_panes == "B4" and tab.auto_filter.ref == "A3:C5"
    assert tab.sheet_properties.tabColor.rgb[-6:] == COLOURS["tool tab"]
    assert tab.row_dimensions[3].height == 42.0
    assert tab.row_dimensions[6].height > 2 * 10, "60 letters in 20 take more than two lines"
    assert str(tab.merged_cells) == "A2:C2", "a sentence alone in its row spreads over the shown columns"


def test_rules_only_advise(tab: Any) -> None:
    rules = {str(rule.sqref): rule for rule in tab.data_validations.dataValidation}
    assert set(rules) == {"A4:A51", "B4:B51", "C4:C51", "D4:D51"}, "a list that does not fit the format is left out"
    assert {rule.errorStyle for rule in rules.values()} == {"warning"}
    assert all(rule.showErrorMessage and rule.allow_blank for rule in rules.values())
    assert rules["A4:A51"].formula1 == '"solid,say ""so"""' and rules["A4:A51"].prompt == "Pick one."
    named = rules["C4:C51"].formula1  # by name: a reference to another tab is stored differently from program to program
    assert tab.parent.defined_names[named].attr_text == "'It''s here'!$A$4:$A$503"
    assert (rules["B4:B51"].type, rules["D4:D51"].type) == ("decimal", "date")


def test_notes_highlights_and_links(tab: Any, made: Path) -> None:
    note = tab["B3"].comment
    assert note.text == LOOK.notes[(2, 1)] and note.author == "costbook"
    vml = part(made, next(n for n in zipfile.ZipFile(made).namelist() if n.endswith(".vml")))
    heights = [float(h) for h in re.findall(r"height:([\d.]+)px", vml)]
    assert heights and min(heights) > 80, "176 letters take more than the four lines of an unsized note"
    (area,) = tab.conditional_formatting
    assert str(area.sqref) == "B4:B5" and area.rules[0].formula == ["$B4>0.8"]
    assert area.rules[0].dxf.fill.bgColor.rgb[-6:] == COLOURS["stop"]
    assert tab["A4"].hyperlink.location == "'It''s here'!B4" and tab["A4"].hyperlink.target is None
    assert tab["A4"].value == "Bomb" and tab["A4"].font.u == "single"


def test_printing(tab: Any) -> None:
    assert (tab.page_setup.orientation, tab.page_setup.paperSize) == ("landscape", 9)
    assert tab.sheet_properties.pageSetUpPr.fitToPage
    assert (tab.page_setup.fitToWidth, tab.page_setup.fitToHeight) == (1, 0)
    assert tab.print_title_rows == "$3:$3" and tab.print_area == "'Costs'!$A$1:$C$31"
    assert tab.oddHeader.left.text == "&A" and "&P" in tab.oddFooter.right.text


@pytest.mark.parametrize(
    ("kind", "direction", "grouping"),
    [("stacked bar", "bar", "stacked"), ("bar", "bar", "clustered"), ("column", "col", "clustered")],
)
def test_charts(tmp_path: Path, kind: str, direction: str, grouping: str) -> None:
    chart = Chart(kind, "What & why", CHART.labels, CHART.series, (8, 0), 20.0, 9.0, "USD a piece", "0.0")
    create(tmp_path / "b.xlsx", Edits(tabs=(PutTab("Costs", ROWS, Look(charts=(chart,))),)))
    xml = part(tmp_path / "b.xlsx", "xl/charts/chart1.xml").replace("c:", "")
    assert f'<barDir val="{direction}"' in xml and f'<grouping val="{grouping}"' in xml
    assert ('<overlap val="100"' in xml) == (kind == "stacked bar") and '<gapWidth val="60"' in xml
    assert xml.count('<delete val="0"') == 2 and '<delete val="1"' not in xml, "both axes are shown"
    assert "What &amp; why" in xml and "USD a piece" in xml and '<legendPos val="b"' in xml
    assert "'Costs'!$B$3" in xml and "'Costs'!$B$4:$B$5" in xml and "'Costs'!$A$4:$A$5" in xml
    assert "4C8577" in xml and "112233" in xml and 'formatCode="0.0"' in xml
    assert '<min val="0"' in xml, "bars start at nought"
    drawing = part(tmp_path / "b.xlsx", "xl/drawings/drawing1.xml")
    assert 'cx="7200000"' in drawing and 'cy="3240000"' in drawing, (
        "20 x 9 cm at 360,000 units a cm (ECMA-376, 20.1.2.1)"
    )


def test_a_chart_with_negative_values_is_not_cut_off(tmp_path: Path) -> None:
    rows = (*ROWS[:3], (Cell("Bomb"), Cell(-0.5), Cell(0.9)), ROWS[4])
    create(tmp_path / "b.xlsx", Edits(tabs=(PutTab("Costs", rows, Look(charts=(CHART,))),)))
    assert 'min val="0"' not in part(tmp_path / "b.xlsx", "xl/charts/chart1.xml")


@pytest.mark.parametrize(
    "text", ["=1+1", "+44 20", "-5 %", "@home", "#N/A", "1.5", "TRUE", "2024-01-02", "=", "_x0041_ x"]
)
def test_text_stays_text(tmp_path: Path, text: str) -> None:
    create(tmp_path / "b.xlsx", Edits(tabs=(PutTab("T", ((Cell(text, "her text"),),)),)))
    grid = WorkbookFile(tmp_path / "b.xlsx").snapshot().grids["T"]
    assert grid.value(0, 0) == text and not grid.formulas
    cell = openpyxl.load_workbook(tmp_path / "b.xlsx")["T"]["A1"]
    assert bool(cell.quotePrefix) == (text[0] in "=+-@"), "typing over it keeps it text in the office too"


@pytest.mark.parametrize(
    ("given", "read"),
    [
        ("a\x07b\x00", "ab"),
        ("two\r\nlines", "two\nlines"),
        ("\ud800x", "x"),
        (" edge ", " edge "),
        ("", None),
        (float("nan"), ErrorValue("#NUM!")),
        (1e300, 1e300),
        (7, 7.0),
        (date(1999, 12, 31), date(1999, 12, 31)),
        (ErrorValue("#REF!"), ErrorValue("#REF!")),
        ("x" * 40_000, "x" * 32_767),
    ],
)
def test_values_a_workbook_cannot_hold_are_made_fit(tmp_path: Path, given: Any, read: Any) -> None:
    style = "her date" if isinstance(given, date) else "plain"
    tab = PutTab("T", ((Cell(given, style), Cell("end")),))
    create(tmp_path / "b.xlsx", Edits(tabs=(tab,)))
    assert WorkbookFile(tmp_path / "b.xlsx").snapshot().grids["T"].value(0, 0) == read
    assert WorkbookFile(tmp_path / "b.xlsx").apply(Edits(tabs=(tab,))) is False


def test_clean_and_escaped_leave_ordinary_text_alone() -> None:
    assert clean("Crème 50 % «huile» \U0001f33f") == "Crème 50 % «huile» \U0001f33f"
    assert escaped("under_score _x12 x0041_") == "under_score _x12 x0041_"


@pytest.mark.skipif(shutil.which("soffice") is None, reason="no office program to recalculate with")
def test_the_office_opens_it_and_recalculates_to_the_stored_result(made: Path, tmp_path: Path) -> None:
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    command = [
        "soffice",
        profile,
        "--headless",
        "--convert-to",
        "xlsx:Calc MS Excel 2007 XML",
        "--outdir",
        str(tmp_path),
    ]
    subprocess.run([*command, str(made)], check=True, capture_output=True, timeout=120)
    saved = tmp_path / made.name
    book = openpyxl.load_workbook(saved, data_only=True)
    assert book["Costs"]["C5"].value == pytest.approx(1.74, abs=1e-12) and book["Costs"]["C6"].value in (True, 1)
    assert len(openpyxl.load_workbook(saved)["Costs"]._charts) == 1
    assert list(WorkbookFile(saved).snapshot().grids) == ["It's here", "Costs"]
