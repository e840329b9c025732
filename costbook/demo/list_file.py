"""A plain one-tab workbook file as bytes, the same for the same rows: what the demo's XLSX paper is.

Written with the standard library: a general writer would stamp the moment of making into the file.
Source: ECMA-376 part 1, 18.2 (workbook), 18.3 (worksheet), 18.8 (styles); part 2 (package).
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from xml.sax.saxutils import escape

from costbook.book.grid import address

Shown = None | str | Decimal | date

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
LINKS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
KINDS = "application/vnd.openxmlformats-officedocument.spreadsheetml"
# Numbers of the formats in STYLES below: plain, bold, date.
PLAIN, BOLD, DAY = 0, 1, 2
# The earliest moment a zip archive can hold; every part carries it.
MOMENT = (1980, 1, 1, 0, 0, 0)


def list_file(tab: str, widths: Sequence[float], rows: Sequence[Sequence[Shown]]) -> bytes:
    """The bytes of a workbook with one tab; the first row is in bold. Widths are in characters."""
    sheets = f'<sheets><sheet name="{escape(tab)}" sheetId="1" r:id="rId1"/></sheets>'
    parts = {
        "[Content_Types].xml": _TYPES,
        "_rels/.rels": _relations(("officeDocument", "xl/workbook.xml")),
        "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r="{LINKS}">{sheets}</workbook>',
        "xl/_rels/workbook.xml.rels": _relations(("worksheet", "worksheets/sheet1.xml"), ("styles", "styles.xml")),
        "xl/worksheets/sheet1.xml": _sheet(widths, rows),
        "xl/styles.xml": _STYLES,
    }
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_STORED) as package:
        for name, text in parts.items():
            package.writestr(zipfile.ZipInfo(name, MOMENT), _PROLOG + text)
    return target.getvalue()


def _relations(*targets: tuple[str, str]) -> str:
    links = "".join(
        f'<Relationship Id="rId{i}" Type="{LINKS}/{kind}" Target="{path}"/>'
        for i, (kind, path) in enumerate(targets, 1)
    )
    return f'<Relationships xmlns="{PACKAGE}/relationships">{links}</Relationships>'


def _sheet(widths: Sequence[float], rows: Sequence[Sequence[Shown]]) -> str:
    columns = "".join(f'<col min="{i}" max="{i}" width="{w}" customWidth="1"/>' for i, w in enumerate(widths, 1))
    body = "".join(f'<row r="{i + 1}">{"".join(_cells(i, row))}</row>' for i, row in enumerate(rows))
    return f'<worksheet xmlns="{MAIN}"><cols>{columns}</cols><sheetData>{body}</sheetData></worksheet>'


def _cells(row: int, values: Sequence[Shown]) -> list[str]:
    return [_cell(address(row, column), value, BOLD if row == 0 else PLAIN) for column, value in enumerate(values)]


def _cell(place: str, value: Shown, style: int) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return f'<c r="{place}" s="{style}" t="inlineStr"><is><t>{escape(value)}</t></is></c>'
    if isinstance(value, Decimal):
        return f'<c r="{place}" s="{style}"><v>{value}</v></c>'
    # Dates count days with 1900-01-01 as 1 and a 29 February 1900 that never was (ECMA-376 part 1, 18.17.4.1).
    return f'<c r="{place}" s="{DAY}"><v>{(value - date(1899, 12, 30)).days}</v></c>'


_PROLOG = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_TYPES = (
    f'<Types xmlns="{PACKAGE}/content-types">'
    f'<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    f'<Override PartName="/xl/workbook.xml" ContentType="{KINDS}.sheet.main+xml"/>'
    f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{KINDS}.worksheet+xml"/>'
    f'<Override PartName="/xl/styles.xml" ContentType="{KINDS}.styles+xml"/></Types>'
)
_STYLES = (
    f'<styleSheet xmlns="{MAIN}"><numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy\\-mm\\-dd"/></numFmts>'
    '<fonts count="2"><font><sz val="10"/><name val="Arial"/></font>'
    '<font><b/><sz val="10"/><name val="Arial"/></font></fonts>'
    '<fills count="2"><fill><patternFill patternType="none"/></fill>'
    '<fill><patternFill patternType="gray125"/></fill></fills>'
    '<borders count="1"><border><left/><right/><top/><bottom/><diagonal/></border></borders>'
    '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs><cellXfs count="3">'
    '<xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>'
    '<xf numFmtId="0" fontId="1" fillId="0" borderId="0" xfId="0" applyFont="1"/>'
    '<xf numFmtId="164" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/></cellXfs>'
    '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>'
)
