"""Looks added to a workbook's styles part: found where they are there already, else put last in their collection.

Indices of hers keep their meaning, and the same looks saved again add nothing. Source: ECMA-376 part 1, clause 18.8.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from costbook.book.layout import DAY
from costbook.errors import WriteRefused
from costbook.hosts.ooxml import Node, Splice, appended, ascii_bytes, attribute, parsed, spliced

# The order the format asks for.
ORDER = (
    "numFmts", "fonts", "fills", "borders", "cellStyleXfs", "cellXfs", "cellStyles", "dxfs", "tableStyles", "colors",
    "extLst",
)  # fmt: skip
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_PLAIN_XF = '<{0}xf numFmtId="0" fontId="0" fillId="0" borderId="0"/>'
# What the first entries of a collection must be, where hers has none at all.
_FIRST = {
    "fonts": ('<{0}font><{0}sz val="11"/><{0}name val="Calibri"/></{0}font>',),
    "fills": (
        '<{0}fill><{0}patternFill patternType="none"/></{0}fill>',
        '<{0}fill><{0}patternFill patternType="gray125"/></{0}fill>',
    ),
    "borders": ("<{0}border><{0}left/><{0}right/><{0}top/><{0}bottom/><{0}diagonal/></{0}border>",),
    "cellXfs": (_PLAIN_XF,),
}
EMPTY = (
    f'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n<styleSheet xmlns="{MAIN}"><cellStyleXfs count="1">'
    f'{_PLAIN_XF.format("")}</cellStyleXfs><cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/>'
    "</cellStyles></styleSheet>"
).encode()
MOST_LOOKS = 65_000
_DATE_IDS = frozenset((14, 15, 16, 17, 22, *range(27, 32), 36, *range(50, 59)))
_NOT_LETTERS = re.compile(r'"[^"]*"|\[[^\]]*\]|\\.|_.|\*.')

Key = tuple[object, ...]


def key(node: Node) -> Key:
    """An element in a form that can be compared: the order of attributes, prefixes and blanks do not count."""
    attributes = sorted((k, v) for k, v in node.attributes.items() if not k.startswith("xmlns"))
    return (node.name, tuple(attributes), tuple(key(child) for child in node.children))


def written(found: Key, prefix: str) -> bytes:
    """An element of that form as XML."""
    name, attributes, children = found
    told = "".join(f' {k}="{ascii_bytes(v).decode()}"' for k, v in attributes)  # type: ignore[attr-defined]
    inside = b"".join(written(child, prefix) for child in children)  # type: ignore[attr-defined]
    tag = f"{prefix}{name}"
    return f"<{tag}{told}>".encode() + inside + f"</{tag}>".encode() if inside else f"<{tag}{told}/>".encode()


@dataclass
class _Collection:
    """One collection: where its entries stand, by what they say, and what is to be added."""

    node: Node | None
    places: dict[Key, int] = field(default_factory=dict)
    new: list[bytes] = field(default_factory=list)
    size: int = 0


class Styles:
    """The styles part of a workbook, growing only at the ends of its collections."""

    def __init__(self, xml: bytes) -> None:
        self._xml = xml
        self._root = parsed(xml)
        self._prefix = self._root.prefix
        self._collections: dict[str, _Collection] = {}

    def _collection(self, name: str) -> _Collection:
        if name not in self._collections:
            node = self._root.first(name)
            made = self._collections[name] = _Collection(node)
            for child in node.children if node else ():
                made.places.setdefault(key(child), made.size)
                made.size += 1
            if not made.size:
                for first in _FIRST.get(name, ()):
                    self._add(name, key(parsed(first.format("").encode())))
        return self._collections[name]

    def _add(self, name: str, wanted: Key, raw: bytes = b"") -> int:
        collection = self._collection(name)
        if wanted not in collection.places:
            if collection.size >= MOST_LOOKS:
                raise WriteRefused("the workbook has no room for another cell format.", do="Remove unused formats.")
            collection.places[wanted] = collection.size
            collection.size += 1
            collection.new.append(raw or written(wanted, self._prefix))
        return collection.places[wanted]

    @property
    def _looks(self) -> list[Node]:
        node = self._root.first("cellXfs")
        return node.children if node else []

    def _number_format(self, code: str) -> int:
        collection = self._collection("numFmts")
        taken = {dict(found[1]).get("formatCode"): dict(found[1]).get("numFmtId", "0") for found in collection.places}  # type: ignore[call-overload]
        if code not in taken:
            number = str(max([163, *(int(i) for i in taken.values())]) + 1)
            self._add("numFmts", ("numFmt", (("formatCode", code), ("numFmtId", number)), ()))
            return int(number)
        return int(taken[code])

    def _code(self, identity: int) -> str:
        node = self._root.first("numFmts")
        for child in node.children if node else ():
            if child.attributes.get("numFmtId") == str(identity):
                return child.attributes.get("formatCode", "")
        return ""

    def fitting(self, index: int, is_day: bool, quoted: bool) -> int:
        """The index of a look like hers that shows a day as a day, and keeps formula-like text as text."""
        looks = self._looks
        if index >= len(looks):  # one of ours, made for the purpose, or one that is not there
            return index
        node = looks[index]
        a = node.attributes
        changes: dict[str, str] = {}
        if is_day and not self._shows_days(int(a.get("numFmtId", "0"))):
            changes |= {"numFmtId": str(self._number_format(DAY)), "applyNumberFormat": "1"}
        if quoted != (a.get("quotePrefix") in ("1", "true")):
            changes["quotePrefix"] = "1" if quoted else "0"
        return self._add("cellXfs", *self._varied(node, changes)) if changes else index

    def _shows_days(self, identity: int) -> bool:
        code = _NOT_LETTERS.sub("", self._code(identity)).lower()
        return bool({"d", "y"} & set(code)) if code else identity in _DATE_IDS

    def _varied(self, node: Node, changes: Mapping[str, str]) -> tuple[Key, bytes]:
        raw = self._xml[node.start : node.end]
        for name, value in changes.items():
            raw = spliced(raw, [attribute(raw, parsed_tag(raw), name, value)])
        told = node.attributes | dict(changes)
        varied = Node(node.tag, told, node.start, node.open_end, node.close, node.end, node.children)
        return key(varied), raw

    def brought(self, other: bytes) -> tuple[list[int], list[int]]:
        """The indices here of every cell look and every highlight look of another styles part, added where missing."""
        root = parsed(other)
        codes = {n.attributes["numFmtId"]: n.attributes["formatCode"] for n in _children(root, "numFmts")}
        ids = {name: [self._add(name, key(n)) for n in _children(root, name)] for name in ("fonts", "borders")}
        # None and the grey grid are the first two of every workbook.
        ids["fills"] = [i if i < 2 else self._add("fills", key(n)) for i, n in enumerate(_children(root, "fills"))]
        names = {n.attributes.get("xfId"): n.attributes.get("name", "") for n in _children(root, "cellStyles")}
        named = self._named()
        looks = []
        for node in _children(root, "cellXfs"):
            a = node.attributes
            code = codes.get(a["numFmtId"])
            told = {
                "numFmtId": a["numFmtId"] if code is None else str(self._number_format(code)),
                "fontId": str(ids["fonts"][int(a["fontId"])]), "fillId": str(ids["fills"][int(a["fillId"])]),
                "borderId": str(ids["borders"][int(a["borderId"])]),
                "xfId": named.get(names.get(a.get("xfId"), ""), named.get("", "0")),
                **{f"apply{what}": "1" for what in ("NumberFormat", "Font", "Fill", "Border", "Alignment", "Protection")},
            }  # fmt: skip
            if a.get("quotePrefix") == "1":
                told["quotePrefix"] = "1"
            looks.append(self._add("cellXfs", ("xf", tuple(sorted(told.items())), tuple(map(key, node.children)))))
        return looks, [self._add("dxfs", key(n)) for n in _children(root, "dxfs")]

    def _named(self) -> dict[str, str]:
        """Her named cell styles by name; the ordinary one by ''."""
        named = {}
        for node in _children(self._root, "cellStyles"):
            a = node.attributes
            named[a.get("name", "")] = a.get("xfId", "0")
            if a.get("builtinId") == "0":
                named[""] = a.get("xfId", "0")
        return named

    def finished(self) -> bytes:
        """The part with all that was added."""
        splices: list[Splice] = []
        for name in ORDER:
            collection = self._collections.get(name)
            if collection is None or not collection.new:
                continue
            new = b"".join(collection.new)
            if collection.node is None:
                tag = f"{self._prefix}{name}".encode()
                at, end, before = self._place(name)
                made = b'<%s count="%d">%s</%s>' % (tag, collection.size, new, tag)
                splices.append((at, end, before + made))
                continue
            if "count" in collection.node.attributes:
                splices.append(attribute(self._xml, collection.node, "count", str(collection.size)))
            splices.append(appended(self._xml, collection.node, new))
        return spliced(self._xml, splices)

    def _place(self, name: str) -> Splice:
        """Where a collection that is missing belongs: before the first that comes after it."""
        later = ORDER[ORDER.index(name) + 1 :]
        after = next((node for node in self._root.children if node.name in later), None)
        at = after.start if after else self._root.close
        return at, at, b""


def opened(xml: bytes) -> Styles:
    """The styles part to add to; a root that is one empty tag is opened first."""
    root = parsed(xml)
    return Styles(spliced(xml, [appended(xml, root, b"")]) if root.closed else xml)


def parsed_tag(raw: bytes) -> Node:
    """The places of the start tag with which these bytes begin."""
    end = re.match(rb"""<[^\s/>]+[^<>"']*(?:"[^"]*"[^<>"']*|'[^']*'[^<>"']*)*>""", raw)
    tag = re.match(rb"<([^\s/>]+)", raw)
    assert end and tag
    return Node(tag[1].decode(), {}, 0, end.end())


def _children(root: Node, name: str) -> list[Node]:
    node = root.first(name)
    return node.children if node else []
