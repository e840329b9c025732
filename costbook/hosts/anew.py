"""A new workbook made of what was drawn: cells put in, and the same bytes for the same contents.

Times and the order of parts are fixed.
"""

from __future__ import annotations

import io
import re
import zipfile

from costbook.hosts.package import Package
from costbook.hosts.render import MADE, Drawn
from costbook.hosts.rows import Part

_MODIFIED = re.compile(rb"(<(?:\w+:)?modified\b[^>]*>)([^<]*)(?=</)")
_FIRST = ("[Content_Types].xml", "_rels/.rels")


def finished(made: Drawn, name: str) -> bytes:
    """The workbook with its cells, and nothing left to chance."""
    package = Package(made.shell, name)
    rows = {tab.part: rows for tab, rows in zip(package.tabs, made.rows, strict=True)}
    # No clock is written: last saved is the moment of making.
    moment = MADE.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as new:
        for part in sorted(package.names, key=lambda n: (_FIRST.index(n) if n in _FIRST else len(_FIRST), n)):
            info = zipfile.ZipInfo(part, (1980, 1, 1, 0, 0, 0))
            info.compress_type, info.create_system, info.external_attr = zipfile.ZIP_DEFLATED, 3, 0o644 << 16
            xml = package.part(part)
            if part == "docProps/core.xml":
                xml = _MODIFIED.sub(lambda m: m[1] + moment, xml)
            with new.open(info, "w") as member:
                for piece in Part.of(xml, rows[part]).pieces() if part in rows else (xml,):
                    member.write(piece)
    return out.getvalue()
