"""What still stands against saving a workbook, by name.

Saving changes our cells and tabs and nothing else, so little is left: a signature that any change would break, a record
of changes that would no longer tell the truth, and what she has put herself on a tab that is about to be drawn anew.
Source: ECMA-376 part 1, clause 12 (parts), and part 2, clause 13 (signatures).
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator

from costbook.hosts.package import Package

# What our own tabs lead to, and what office programs add to every tab they save.
_OURS = frozenset(("drawing", "comments", "vmlDrawing", "hyperlink", "printerSettings"))
_KINDS = {
    "table": "a table", "pivotTable": "a pivot table", "slicer": "a slicer", "timeline": "a timeline",
    "threadedComment": "threaded comments", "ctrlProp": "form controls", "control": "form controls",
    "oleObject": "an embedded object", "package": "an embedded object", "image": "a background picture",
    "queryTable": "a query table", "customProperty": "custom properties",
}  # fmt: skip


def losses(package: Package, redrawn: Collection[str]) -> list[str]:
    """The things that saving would lose, each in a few words with its tab; none if nothing would.

    Args:
        redrawn: tabs that are drawn anew by this very save.
    """
    wanted = {name.casefold() for name in redrawn}
    found = list(_book_losses(package))
    for tab in package.tabs:
        if tab.name.casefold() in wanted:
            found += [f"{what} on the tab {tab.name}" for what in _drawn(package, tab.part)]
            if tab.kind != "worksheet":
                found.append(f"the tab {tab.name}, which is no worksheet")
    return list(dict.fromkeys(found))


def _book_losses(package: Package) -> Iterator[str]:
    for name, type_ in package.types.items():
        said = f"{name} {type_}".lower()
        if "digital-signature" in said or name.lower().startswith("_xmlsignatures/"):
            yield "its digital signature"
        if "spreadsheetml.revision" in said:
            yield "the change history of a shared workbook (its record would no longer be complete)"


def _drawn(package: Package, part: str) -> Iterator[str]:
    """What of hers is drawn on a tab of ours: everything but charts and notes."""
    for relation in package.relations(part).values():
        if relation.kind not in _OURS:
            yield _KINDS.get(relation.kind, f"something of hers ({relation.kind})")
        elif relation.kind == "drawing" and not relation.outside:
            names = {element.name for element in package.elements(relation.target)}
            if "pic" in names:
                yield "a picture"
            if names & {"sp", "cxnSp", "grpSp", "contentPart"}:
                yield "a shape"
        elif relation.kind == "vmlDrawing":
            kinds = set(re.findall(rb"""ObjectType\s*=\s*["'](\w+)""", package.part(relation.target, missing=b"")))
            if kinds - {b"Note"}:
                yield "form controls"
