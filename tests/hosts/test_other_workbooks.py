"""Lists as .ods and .xls: read as the same list in a workbook would be; what is hostile costs one sentence."""

from __future__ import annotations

import io
import shutil
import subprocess
import zipfile
from decimal import Decimal
from pathlib import Path

import pytest

from costbook import commands
from costbook.errors import CostbookError
from costbook.hosts import reading
from costbook.invoices.checks import problems

ROWS = [
    ["Supplier", "Invoice no", "Date", "Item code", "Description", "Qty", "Unit price", "Amount"],
    ["Hollow Oak Botanicals", "HB-3", "2026-09-14", "LV-10", "Lavender oil 100 ml", 4.0, 12.5, 50.0],
    ["Hollow Oak Botanicals", "HB-3", "2026-09-14", "SB-05", "Shea butter", 10.0, 3.2, 32.0],
    ["Hollow Oak Botanicals", "HB-3", "2026-09-14", "", "Invoice total", None, None, 82.0],
]
SPACES = "".join(
    f' xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"'
    for short, name in (("office", "office"), ("table", "table"), ("text", "text"))
)


def ods(body: str = "") -> bytes:
    """An OpenDocument spreadsheet of ROWS, or of other table rows."""

    def cell(value: str | float | None) -> str:
        if isinstance(value, float):
            return f'<table:table-cell office:value-type="float" office:value="{value}"><text:p>{value}</text:p></table:table-cell>'
        said = f' office:value-type="string"><text:p>{value}</text:p></table:table-cell>'
        return f"<table:table-cell{said}" if value else "<table:table-cell/>"

    rows = body or "".join(f"<table:table-row>{''.join(map(cell, row))}</table:table-row>" for row in ROWS)
    inside = f'<office:body><office:spreadsheet><table:table table:name="List">{rows}</table:table></office:spreadsheet></office:body>'
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    entry = f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>'
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr(zipfile.ZipInfo("mimetype"), kind)
        package.writestr("content.xml", f'<?xml version="1.0"?><office:document-content{SPACES}>{inside}</office:document-content>')
        space = "urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"
        package.writestr("META-INF/manifest.xml", f'<manifest:manifest xmlns:manifest="{space}">{entry}</manifest:manifest>')
    return out.getvalue()


def check(file: Path) -> None:
    [got] = commands.read_paper(file)
    assert problems(got) == ()
    assert (got.supplier, got.number, str(got.issued), got.gross) == ("Hollow Oak Botanicals", "HB-3", "2026-09-14", 82)
    goods = [(x.item_code, x.quantity, x.price, x.net) for x in got.lines if x.kind == "goods"]
    assert goods == [("LV-10", 4, Decimal("12.5"), 50), ("SB-05", 10, Decimal("3.2"), 32)]


@pytest.mark.parametrize("name", ["list.ods", "list.xlsx", "list.pdf.ods", "list.txt"])
def test_an_ods_list_is_read_whatever_its_name(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(ods())
    check(tmp_path / name)


@pytest.mark.office
@pytest.mark.skipif(shutil.which("soffice") is None, reason="no office program")
def test_an_xls_list_is_read(tmp_path: Path) -> None:
    """The old format, written by another program."""
    (tmp_path / "list.ods").write_bytes(ods())
    profile = f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}"
    asked = ["soffice", profile, "--headless", "--convert-to", "xls:MS Excel 97", "--outdir", str(tmp_path), str(tmp_path / "list.ods")]
    subprocess.run(asked, check=True, capture_output=True, timeout=180)
    check(tmp_path / "list.xls")


CELL = '<table:table-cell table:number-columns-repeated="{}" office:value-type="float" office:value="1"><text:p>1</text:p></table:table-cell>'
HOSTILE = {
    "repeats": ods(f'<table:table-row table:number-rows-repeated="500000">{CELL.format(16000)}</table:table-row>'),
    "repeats all": ods(f'<table:table-row table:number-rows-repeated="1048576">{CELL.format(16384)}</table:table-row>'),
    "far away": ods(
        '<table:table-row table:number-rows-repeated="1000000"><table:table-cell/></table:table-row>'
        f'<table:table-row><table:table-cell table:number-columns-repeated="16000"/>{CELL.format(1)}</table:table-row>'
    ),
    "large": ods("<table:table-row><table:table-cell/>" + " " * (201 << 20) + "</table:table-row>"),
    "cut": ods()[:300],
    "no xls": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(4000),
    "huge": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(20_000_001),
}


@pytest.mark.parametrize("what", HOSTILE)
def test_a_hostile_list_costs_one_sentence(what: str) -> None:
    with pytest.raises(CostbookError) as told:
        reading.other_workbook(HOSTILE[what], "list.ods")
    assert "\n" not in str(told.value) and "Traceback" not in str(told.value)
