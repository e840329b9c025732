"""What of a workbook would be lost by loading it and saving it anew, by name.

Judged from the package alone: content types, relationships, tags. Whatever is not known to come through counts as lost.
Let go knowingly: the chain of calculation, the preview picture, a printer driver's own settings (paper and orientation
stay), the size and formatting of ordinary notes (their text stays), and marks of the program that wrote the file.
Source: ECMA-376 part 1, clauses 12 (parts) and 18.3.1.99 (worksheet); what comes through was tried with openpyxl 3.1.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator

from costbook.hosts import scan
from costbook.hosts.package import Package, elements

_MAIN = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"

# Parts that come through, are made anew, or are judged below tab by tab.
_FINE = re.compile(
    r"spreadsheetml\.(sheet\.main|worksheet|styles|sharedStrings|calcChain|table|comments)\+xml$|\.theme\+xml$"
    r"|core-properties\+xml$|extended-properties\+xml$|custom-properties\+xml$|package\.relationships\+xml$"
    r"|vmlDrawing$|printerSettings$|drawing\+xml$|drawingml\.(chart|chartshapes)\+xml$|chart(style|colorstyle)\+xml$"
)
_FINE_NAMES = re.compile(r"docProps/thumbnail|xl/media/|\[Content_Types\]\.xml$|_rels/|xl/printerSettings/|xl/theme/")
_PARTS = (
    ("vbaproject|macro", "macros"), ("chartsheet", "a chart tab"), ("dialogsheet", "a dialog tab"),
    ("pivot", "pivot tables"), ("slicer", "slicers"), ("timeline", "timelines"),
    ("threadedcomment", "threaded comments"),
    ("person", "names of people who comment"), ("ctrlprop|controlproperties|activex", "form controls"),
    ("connections", "data connections"), ("querytable", "query tables"), ("externallink", "links to other workbooks"),
    ("customxml|xmlmaps|customproperty|singlecells", "custom XML data"),
    ("richdata|rdrich|rdsupporting", "linked data types"),
    ("labelinfo|docmetadata", "a sensitivity label"),
    ("metadata", "dynamic array formulas or linked data types"), ("signature", "a digital signature"),
    ("embeddings|oleobject|package$", "embedded objects"), ("webext|taskpane", "data of office add-ins"),
    ("customui|usercustomization", "a custom ribbon"),
    ("revision|usernames", "the change history of a shared workbook"),
    ("volatile", "live data functions"), ("diagram", "diagrams"), (r"/ink/|inkml", "drawings by pen"),
    ("featureproperty", "check boxes in cells"),
)  # fmt: skip

_SHEET_TAGS = frozenset((
    "sheetPr", "dimension", "sheetViews", "sheetFormatPr", "cols", "sheetData", "sheetProtection", "autoFilter",
    "mergeCells", "phoneticPr", "conditionalFormatting", "dataValidations", "hyperlinks", "printOptions", "pageMargins",
    "pageSetup", "headerFooter", "rowBreaks", "colBreaks", "drawing", "legacyDrawing", "tableParts", "scenarios",
))  # fmt: skip
_SHEET_LOSSES = {
    "extLst": "newer features (sparklines, newer highlights or dropdowns)", "controls": "form controls",
    "oleObjects": "embedded objects", "picture": "a background picture",
    "legacyDrawingHF": "a picture in the page header",
    "customSheetViews": "custom views", "ignoredErrors": "switched-off error marks",
    "protectedRanges": "unlocked ranges",
    "sortState": "a sort order", "dataConsolidate": "a consolidation", "cellWatches": "watched cells",
    "sheetCalcPr": "a calculation setting", "customProperties": "custom properties",
    "AlternateContent": "newer features",
    "webPublishItems": "web publishing", "smartTags": "smart tags",
}  # fmt: skip
_BOOK_TAGS = frozenset((
    "fileVersion", "workbookPr", "bookViews", "sheets", "definedNames", "calcPr", "workbookProtection",
    "AlternateContent", "revisionPtr", "extLst", "fileRecoveryPr",
))  # fmt: skip
_BOOK_LOSSES = {"pivotCaches": "pivot tables", "externalReferences": "links to other workbooks", "fileSharing":
                "a read-only recommendation", "customWorkbookViews": "custom views"}  # fmt: skip
# Settings of the writing program, of no consequence to what she sees: chart tracking, calculation features, the way
# references in texts are read.
_BOOK_EXTENSIONS = frozenset(
    (
        "{140A7094-0E35-4892-8432-C4D2E57EDEB5}",
        "{B58B0392-4F1F-4190-BB64-5DF3571DCE5F}",
        "{7626C862-2A13-11E5-B345-FEFF819CDC9F}",
    )
)


def losses(package: Package, sheets: dict[str, bytes], redrawn: Collection[str], ours: Collection[str]) -> list[str]:
    """The parts and features that would be lost, each in a few words with its tab; none if nothing would.

    Args:
        sheets: the plain bytes of each worksheet, by tab.
        redrawn: tabs that are drawn anew by this very save; only what the tool never draws counts there.
        ours: tabs of the tool; charts on them are its own.
    """
    redrawn, ours = {name.casefold() for name in redrawn}, {name.casefold() for name in ours}
    found = list(_book_losses(package))
    for tab in package.tabs:
        if tab.name not in sheets:
            continue
        mine = tab.name.casefold() in ours or tab.name.casefold() in redrawn
        there = list(_drawn(package, tab.part, mine))
        if tab.name.casefold() not in redrawn:
            there += _sheet_losses(sheets[tab.name])
        found += [f"{what} on the tab {tab.name}" for what in there]
    return list(dict.fromkeys(found))


def _book_losses(package: Package) -> Iterator[str]:
    if package.strict:
        yield "its format (the Strict variant of .xlsx)"
    kind = package.types.get(package.main, "")
    if kind != _MAIN:
        yield "macros" if "macro" in kind.lower() else "its kind (a template)" if "template" in kind else "its kind"
    for name, type_ in package.types.items():
        if name != package.main and not _FINE.search(type_) and not _FINE_NAMES.search(name):
            yield from _part_loss(package, name, type_)
    if any(mark in package.part("xl/sharedStrings.xml", missing=b"") for mark in (b"<r>", b"<r ", b":r>", b"<rPh")):
        yield "text formatted inside a cell"
    yield from _workbook_losses(package)


def _part_loss(package: Package, name: str, type_: str) -> Iterator[str]:
    said = f"{name} {type_}".lower()
    if "person" in said and b"<person " not in package.part(name):
        return
    if package.part(name):
        yield next((phrase for words, phrase in _PARTS if re.search(words, said)), f"the part {name}")


def _workbook_losses(package: Package) -> Iterator[str]:
    for element in package.workbook:
        if element.depth == 1 and element.name not in _BOOK_TAGS:
            yield _BOOK_LOSSES.get(element.name, f"the setting {element.name} of the workbook")
        if element.name == "ext" and element.attributes.get("uri", "").upper() not in _BOOK_EXTENSIONS:
            yield "newer features of the workbook as a whole"
        name = element.attributes.get("name", "")
        if element.name == "definedName" and re.match(r"_xlnm\.(?!Print_|_FilterDatabase)", name):
            yield f"the range {name.removeprefix('_xlnm.')} of an advanced filter"


def _sheet_losses(xml: bytes) -> Iterator[str]:
    try:
        tags = elements(scan.outside_cells(xml))
    except ValueError:
        yield "something that cannot be told (its sheet is no well-formed XML)"
        return
    for element in tags:
        if element.depth == 1 and element.name not in _SHEET_TAGS:
            yield _SHEET_LOSSES.get(element.name, f"the setting {element.name}")
        elif element.depth > 1 and element.name in ("extLst", "AlternateContent"):
            yield _SHEET_LOSSES[element.name]
    if re.search(rb'<c r="[^>]*?\s(?:cm|vm)="', xml):
        yield "dynamic array formulas or linked data types"
    if re.search(rb'<f\s[^>]*?t="dataTable"', xml):
        yield "a what-if data table"
    if re.search(rb"<is>\s*<(?:r|rPh)[\s>]", xml):
        yield "text formatted inside a cell"


def _drawn(package: Package, part: str, mine: bool) -> Iterator[str]:
    """What is drawn on a tab and would be lost: on hers everything but notes, on ours charts do not count either."""
    for relation in package.relations(part).values():
        if relation.kind == "drawing" and not relation.outside:
            names = {element.name for element in package.elements(relation.target)}
            if "graphicFrame" in names and not mine:
                yield "a chart"
            if "pic" in names:
                yield "a picture"
            if names & {"sp", "cxnSp", "grpSp", "contentPart"}:
                yield "a shape"
        elif relation.kind == "vmlDrawing":
            kinds = set(re.findall(rb'ObjectType="(\w+)"', package.part(relation.target, missing=b"")))
            if kinds - {b"Note"}:
                yield "form controls"
