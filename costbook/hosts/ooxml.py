"""Small XML parts changed by splicing, and a package in the course of being changed.

XML is parsed for the places of its elements only; a change is bytes put between two offsets of the original, so all of
hers that is not meant stays as her program wrote it. What is put in is ASCII with character references, which stands in
any encoding. Source: ECMA-376 part 2 (packages), clauses 9 and 10.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from xml.parsers import expat
from xml.sax.saxutils import escape

from costbook.errors import HostUnavailable
from costbook.hosts import archive
from costbook.hosts.package import Package

Splice = tuple[int, int, bytes]

ATTRIBUTES = rb"""[^<>"']*(?:"[^"]*"[^<>"']*|'[^']*'[^<>"']*)*"""
_START = re.compile(rb"<[^\s/>]+" + ATTRIBUTES + rb">")
RELATIONS = "application/vnd.openxmlformats-package.relationships+xml"
_RELS = b'<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">%s</Relationships>'
_DECLARATION = b'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
LARGE_BYTES = 200_000  # from this size on parts are held packed
XML = (".xml", ".rels", ".vml")
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
STRICT_OFFICE = "http://purl.oclc.org/ooxml/officeDocument/relationships"
# Part 1, annex on the differences between the two variants: the namespaces our own parts use.
_STRICT = (
    (OFFICE.encode(), STRICT_OFFICE.encode()),
    (b"http://schemas.openxmlformats.org/spreadsheetml/2006/main", b"http://purl.oclc.org/ooxml/spreadsheetml/main"),
    (
        b"http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing",
        b"http://purl.oclc.org/ooxml/drawingml/spreadsheetDrawing",
    ),
    (b"http://schemas.openxmlformats.org/drawingml/2006/chart", b"http://purl.oclc.org/ooxml/drawingml/chart"),
    (b"http://schemas.openxmlformats.org/drawingml/2006/main", b"http://purl.oclc.org/ooxml/drawingml/main"),
)


@dataclass(slots=True)
class Node:
    """An element by its places: start of its start tag, end of that, start of its end tag, end of all.

    `tag` and the names of `attributes` are as written, prefix included.
    """

    tag: str
    attributes: dict[str, str]
    start: int
    open_end: int
    close: int = -1
    end: int = -1
    children: list[Node] = field(default_factory=list)

    @property
    def name(self) -> str:
        """The local name."""
        return self.tag.rpartition(":")[2]

    @property
    def prefix(self) -> str:
        """The prefix with its colon, or ''."""
        return self.tag[: len(self.tag) - len(self.name)]

    @property
    def closed(self) -> bool:
        """Whether the element is one empty tag."""
        return self.close == self.end

    def first(self, name: str) -> Node | None:
        """The first child of that local name."""
        return next((child for child in self.children if child.name == name), None)

    def all(self, name: str) -> list[Node]:
        """The children of that local name."""
        return [child for child in self.children if child.name == name]


def parsed(xml: bytes) -> Node:
    """The root of a part with all below it.

    Raises:
        ValueError: the part is no well-formed XML.
    """
    root = Node("", {}, 0, 0)
    stack = [root]
    parser = expat.ParserCreate()

    def start(tag: str, attributes: dict[str, str]) -> None:
        at = parser.CurrentByteIndex
        match = _START.match(xml, at)
        if match is None:
            raise ValueError(f"the tag {tag} cannot be placed")
        node = Node(tag, attributes, at, match.end())
        stack[-1].children.append(node)
        stack.append(node)

    def end(_tag: str) -> None:
        node = stack.pop()
        if xml[node.open_end - 2 : node.open_end] == b"/>":
            node.close = node.end = node.open_end
        else:
            node.close = parser.CurrentByteIndex
            node.end = xml.index(b">", node.close) + 1

    parser.StartElementHandler, parser.EndElementHandler = start, end
    try:
        parser.Parse(xml, True)
    except expat.ExpatError as error:
        raise ValueError(str(error)) from error
    return root.children[0]


def well_formed(xml: Iterable[bytes]) -> None:
    """Nothing, where the part, given in pieces, is well-formed XML.

    Raises:
        ValueError: it is not; the text says where.
    """
    try:
        parser = expat.ParserCreate(namespace_separator=" ")
        for piece in xml:
            parser.Parse(piece, False)
        parser.Parse(b"", True)
    except expat.ExpatError as error:
        raise ValueError(str(error)) from error


def spliced(xml: bytes, splices: Iterable[Splice]) -> bytes:
    """The bytes with each (start, end, new) put in place; at one place in the order given."""
    pieces, at = [], 0
    for start, end, new in sorted(splices, key=lambda s: s[:2]):
        pieces += [xml[at:start], new]
        at = end
    return b"".join((*pieces, xml[at:]))


def ascii_bytes(text: str) -> bytes:
    """Text escaped for XML, in any encoding."""
    return escape(text, {'"': "&quot;"}).encode("ascii", "xmlcharrefreplace")


def appended(xml: bytes, node: Node, new: bytes) -> Splice:
    """The splice that puts `new` last inside the element."""
    if node.closed:
        at = xml.rindex(b"/", node.start, node.open_end)
        return at, node.open_end, b">" + new + b"</%s>" % node.tag.encode()
    return node.close, node.close, new


def attribute(xml: bytes, node: Node, name: str, value: str) -> Splice:
    """The splice that sets one attribute of a start tag."""
    pattern = re.compile(rb"(\s" + re.escape(name.encode()) + rb"""\s*=\s*)("[^"]*"|'[^']*')""")
    match = pattern.search(xml, node.start, node.open_end)
    if match:
        return match.start(2), match.end(2), b'"%s"' % ascii_bytes(value)
    at = node.start + 1 + len(node.tag.encode())
    return at, at, b' %s="%s"' % (name.encode(), ascii_bytes(value))


class Draft:
    """A package in the course of being changed: parts as they will be, on top of parts as they are."""

    def __init__(self, package: Package) -> None:
        self.package = package
        self.changed: dict[str, archive.Content] = {}
        self.removed: set[str] = set()
        # A name that a relationship of hers leads to is hers, though the part be missing: it would show ours on her tab.
        self._taken = {name.lower() for name in (*package.names, *_led_to(package))}
        self._added: set[str] = set()

    def part(self, name: str) -> bytes:
        """The bytes of a part as they will be."""
        found = self.changed.get(name)
        return self.package.part(name) if found is None else b"".join(archive.pieces(found))

    def has(self, name: str) -> bool:
        """Whether there will be such a part."""
        return name in self.changed or (name in self.package.names and name not in self.removed)

    def stream(self, name: str, data: Callable[[], Iterator[bytes]]) -> None:
        """Let a part hold what this gives piece by piece."""
        self.removed.discard(name)
        self.changed[name] = data

    def put(self, name: str, data: bytes) -> None:
        """Let a part hold these bytes.

        Raises:
            ValueError: it is a large one and no well-formed XML; small ones are looked at when all is done.
        """
        self.removed.discard(name)
        if self.package.size(name) == len(data) and self.package.part(name) == data:
            self.changed.pop(name, None)
        elif len(data) < LARGE_BYTES or not name.endswith(XML):
            self.changed[name] = data
        else:
            well_formed((data,))
            self.changed[name] = archive.packed(data)

    def edit(self, name: str, splices: Collection[Splice]) -> None:
        """Splice a part."""
        if splices:
            self.put(name, spliced(self.part(name), splices))

    def drop(self, names: Collection[str]) -> None:
        """Leave parts out, with their own relationships and content types."""
        gone = set(names) | {rels_of(name) for name in names}
        self.removed |= {name for name in gone if name in self.package.names}
        for name in gone:
            self.changed.pop(name, None)
        self._retype(gone, {})

    def fresh(self, like: str) -> str:
        """A part name nobody has, such as xl/charts/chart3.xml like xl/charts/chart1.xml."""
        stem, dot, suffix = like.rpartition(".")
        stem, number = stem.rstrip("0123456789"), 1
        free = {name.lower() for name in self.removed} - self._added
        while f"{stem}{number}{dot}{suffix}".lower() in self._taken - free:
            number += 1
        name = f"{stem}{number}{dot}{suffix}"
        self._taken.add(name.lower())
        self._added.add(name.lower())
        return name

    def declare(self, types: Mapping[str, str]) -> None:
        """State the content types of parts, where they do not follow from the ending."""
        self._retype((), types)

    def _retype(self, gone: Collection[str], types: Mapping[str, str]) -> None:
        place = "[Content_Types].xml"
        xml = self.part(place)
        root = parsed(xml)
        stated = {node.attributes.get("PartName", "").lstrip("/"): node for node in root.all("Override")}
        usual = {node.attributes.get("Extension", "").lower(): node for node in root.all("Default")}
        wrong = {}
        for name, type_ in types.items():
            node = stated.get(name) or usual.get(name.rpartition(".")[2].lower())
            if node is None or node.attributes.get("ContentType") != type_:
                wrong[name] = type_
        new = b"".join(
            b'<%sOverride PartName="/%s" ContentType="%s"/>' % (root.prefix.encode(), ascii_bytes(name), type_.encode())
            for name, type_ in wrong.items()
        )
        splices = [(stated[n].start, stated[n].end, b"") for n in {*gone, *wrong} if n in stated]
        self.edit(place, [*splices, appended(xml, root, new)] if new else splices)

    def relate(self, source: str, kind: str, target: str) -> str:
        """Add a relationship to a part; its new id comes back."""
        place = rels_of(source)
        if not self.has(place):
            self.put(place, _DECLARATION + _RELS % b"")
        xml = self.part(place)
        root = parsed(xml)
        ids = {node.attributes.get("Id", "").lower() for node in root.children}
        number = len(ids) + 1
        while f"rid{number}" in ids:
            number += 1
        folder = f"{PurePosixPath(source).parent}/"
        told = target.removeprefix(folder) if target.startswith(folder) else f"/{target}"
        new = _relation(root.prefix, f"rId{number}", self.office + "/" + kind, told)
        self.edit(place, [appended(xml, root, new)])
        self.declare({place: RELATIONS})
        return f"rId{number}"

    def unrelate(self, source: str, ids: Collection[str]) -> None:
        """Take relationships out of a part."""
        root = parsed(self.part(rels_of(source)))
        gone = [node for node in root.children if node.attributes.get("Id") in ids]
        self.edit(rels_of(source), [(node.start, node.end, b"") for node in gone])

    def put_relations(self, source: str, relations: Iterable[tuple[str, str, str]]) -> None:
        """Let a part of ours have these relationships: id, kind, part."""
        told = b"".join(_relation("", i, f"{self.office}/{kind}", f"/{target}") for i, kind, target in relations)
        if told:
            self.put(rels_of(source), _DECLARATION + _RELS % told)
            self.declare({rels_of(source): RELATIONS})

    @property
    def office(self) -> str:
        """The first piece of the relationship types of this package's variant."""
        return STRICT_OFFICE if self.package.strict else OFFICE

    def in_variant(self, xml: bytes) -> bytes:
        """A part of ours in the variant of this package."""
        if self.package.strict:
            for old, new in _STRICT:
                xml = xml.replace(b'"' + old + b'"', b'"' + new + b'"')
            xml = re.sub(rb'(<(?:\w+:)?(?:gapWidth|overlap) val="-?\d+)"', rb'\1%"', xml)
        return xml

    def packed(self) -> bytes:
        """The finished package."""
        return archive.rewritten(self.package, self.changed, self.removed)


def _led_to(package: Package) -> Iterator[str]:
    """Every name a relationship leads to; what is no XML leads nowhere, such as the twin files of a Mac's packer."""
    there = set(package.names)
    for name in there:
        if rels_of(name) in there:
            with suppress(HostUnavailable):
                yield from (r.target for r in package.relations(name).values() if not r.outside)


def rels_of(part: str) -> str:
    """The name of the part that holds a part's relationships."""
    path = PurePosixPath(part)
    return str(path.parent / "_rels" / f"{path.name}.rels")


def _relation(prefix: str, identity: str, kind: str, target: str) -> bytes:
    told = (prefix.encode(), ascii_bytes(identity), ascii_bytes(kind), ascii_bytes(target))
    return b'<%sRelationship Id="%s" Type="%s" Target="%s"/>' % told
