"""Finishing a package that openpyxl drew: results put in, and the same bytes for the same contents.

openpyxl writes formulas without results. Here each gets the result the tool worked out, so a reader that does not
recalculate sees it. Times and the order of parts are fixed.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping
from datetime import date
from xml.sax.saxutils import escape

from costbook.book.grid import ErrorValue, Formula, PutTab, Value, address
from costbook.hosts.package import Package
from costbook.hosts.render import MADE, clean, escaped

Stored = Mapping[str, tuple[str, bytes]]

_WRITTEN = re.compile(
    rb'<c r="([A-Z]+\d+)"((?: s="\d+")?)(?: t="(\w+)")?>(<f\b[^>]*?(?:/>|>[^<]*</f>))?<v\s*(?:/>|>([^<]*)</v>)</c>'
)
_MODIFIED = re.compile(rb"(<(?:\w+:)?modified\b[^>]*>)([^<]*)(?=</)")
_EPOCH_DAY = {False: date(1899, 12, 30).toordinal(), True: date(1904, 1, 1).toordinal()}


def serial(day: date, from_1904: bool = False) -> int:
    """A day as a workbook counts it, in days since its epoch."""
    return day.toordinal() - _EPOCH_DAY[from_1904]


def stored_of_ours(tab: PutTab, from_1904: bool = False) -> dict[str, tuple[str, bytes]]:
    """The results the tool worked out for the formulas of its tab, by address."""
    found = {}
    for row, cells in enumerate(tab.rows):
        for column, cell in enumerate(cells):
            if isinstance(cell.value, Formula):
                stored = stored_result(clean(cell.value.result), from_1904)
                if stored:
                    found[address(row, column)] = stored
    return found


def stored_result(value: Value, from_1904: bool) -> tuple[str, bytes] | None:
    """The kind (t=) and the text with which a formula's result is stored; None where there is no result."""
    if value is None:
        return None
    if isinstance(value, bool):
        return "b", b"%d" % value
    if isinstance(value, ErrorValue):
        return "e", escape(value.text).encode()
    if isinstance(value, date):
        return "n", b"%d" % serial(value, from_1904)
    if isinstance(value, str):
        return "str", escape(escaped(value)).encode()
    return "n", repr(value).encode()


def with_stored(xml: bytes, stored: Stored) -> bytes:
    """The sheet with what is stored put in the place of what was written, where the kind allows it."""

    def cell(match: re.Match[bytes]) -> bytes:
        place, style, kind, formula, _value = match.groups()
        known = stored.get(place.decode())
        if known is None or (formula is None and (kind or b"n", known[0]) != (b"n", "n")):
            return match[0]
        return b'<c r="%s"%s t="%s">%s<v>%s</v></c>' % (place, style, known[0].encode(), formula or b"", known[1])

    return _WRITTEN.sub(cell, xml)


def finished(data: bytes, name: str, stored: Mapping[str, Stored]) -> bytes:
    """The package with the results of formulas by tab put in, and nothing left to chance."""
    package = Package(data, name)
    parts = {part: package.part(part) for part in package.names}
    for tab in package.tabs:
        if tab.name in stored:
            parts[tab.part] = with_stored(parts[tab.part], stored[tab.name])
    # No clock is written: last saved is the moment of making.
    moment = MADE.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    parts["docProps/core.xml"] = _MODIFIED.sub(lambda m: m[1] + moment, parts["docProps/core.xml"])
    return _zipped(parts)


def _zipped(parts: Mapping[str, bytes]) -> bytes:
    first = ("[Content_Types].xml", "_rels/.rels")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as package:
        for name in sorted(parts, key=lambda n: (first.index(n) if n in first else len(first), n)):
            info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            info.compress_type, info.create_system, info.external_attr = zipfile.ZIP_DEFLATED, 3, 0o644 << 16
            package.writestr(info, parts[name])
    return out.getvalue()
