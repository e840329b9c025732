"""Our tabs put into her workbook: drawn in a scratch package, then moved over part by part.

A new tab goes last; a tab that is there keeps its place, its number and the name of its part. Everything the old one
alone led to goes. Sheets of hers and their order are not touched. Source: ECMA-376 part 1, clauses 12 and 18.2.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from costbook.book.grid import Cell, Edits, PutTab, SetCell
from costbook.book.layout import DAY, STYLES
from costbook.errors import HostUnavailable, Where, WriteRefused
from costbook.hosts.cells import looks_like_formula
from costbook.hosts.ooxml import Draft, Node, Splice, appended, ascii_bytes, attribute, parsed, rels_of, spliced
from costbook.hosts.package import Package
from costbook.hosts.render import drawn
from costbook.hosts.rows import Part, Rows

PALETTE = "costbook looks"
_OWN_NAMES = frozenset(("_xlnm.print_titles", "_xlnm.print_area", "_xlnm._filterdatabase"))
_HIGHLIGHT = re.compile(rb'(<cfRule [^>]*?\bdxfId=")(\d+)"')
_SELECTED = re.compile(rb' tabSelected="[^"]*"')


@dataclass(frozen=True)
class Scratch:
    """A package with nothing but our tabs, without their cells; those; and the looks that single cells ask for."""

    package: Package
    rows: tuple[Rows, ...]
    looks: dict[tuple[str, bool], int]


def declared(edit: SetCell) -> tuple[str, bool]:
    """The declared look of a cell that has none of its own, and whether its text must be kept from being a formula."""
    shows_days = STYLES[edit.style].number_format == DAY
    style = edit.style if shows_days or not isinstance(edit.value, date) else "her date"
    return style, looks_like_formula(edit.value)


def scratch(tabs: Sequence[PutTab], singles: Collection[SetCell], name: str, from_1904: bool) -> Scratch:
    """Our tabs drawn in a package of their own, with a palette of the looks that single cells of hers need."""
    wanted = list(dict.fromkeys(declared(edit) for edit in singles))
    rows = tuple((Cell("=" if quote else "x", style),) for style, quote in wanted)
    palette = (PutTab(PALETTE, rows),) if rows else ()
    made = drawn(Edits(tabs=(*tabs, *palette)), name, from_1904)
    looks = {(style, quote): made.rows[-1].looks[style, False, quote] for style, quote in wanted}
    return Scratch(Package(made.shell, name), made.rows, looks)


class Graft:
    """One move of tabs from a scratch package to a draft of hers."""

    def __init__(self, draft: Draft, made: Scratch, looks: Sequence[int], highlights: Sequence[int]) -> None:
        self._draft, self._made, self._rows = draft, made.package, made.rows
        self._looks, self._highlights = looks, highlights
        self._workbook = draft.part(draft.package.main)
        self._root = parsed(self._workbook)
        self._sheets = self._root.first("sheets")
        self._names: list[tuple[str, int | None, str, bytes]] = []

    def tabs(self, tabs: Sequence[PutTab]) -> None:
        """Move these tabs; the workbook part is changed at the end, in one go."""
        places = {tab.name.casefold(): tab.part for tab in self._draft.package.tabs}
        old = [places[tab.name.casefold()] for tab in tabs if tab.name.casefold() in places]
        self._drop_parts_of(old)
        splices: list[Splice] = []
        added: list[bytes] = []
        index = {node.attributes.get("name", "").casefold(): i for i, node in enumerate(self._listed())}
        for number, tab in enumerate(tabs):
            part = places.get(tab.name.casefold())
            if part is None:
                part = self._draft.fresh(self._placed("xl/worksheets/sheet1.xml"))
                place = len(self._listed()) + len(added)
                added.append(self._entry(tab.name, part, len(added)))
            else:
                place = index[tab.name.casefold()]
                splices += self._renamed(self._listed()[place], tab.name)
            self._names += self._own_names(number, place)
            self._put(number, part)
        assert self._sheets is not None
        if added:
            splices.append(appended(self._workbook, self._sheets, b"".join(added)))
        replaced = {index[tab.name.casefold()] for tab in tabs if tab.name.casefold() in index}
        splices += self._merged_names(replaced)
        self._draft.edit(self._draft.package.main, splices)

    def _listed(self) -> list[Node]:
        if self._sheets is None or not self._sheets.all("sheet"):
            raise WriteRefused(f"{self._draft.package.name} lists no tabs.", do="Save it in your office program.")
        return self._sheets.all("sheet")

    def _placed(self, name: str) -> str:
        """A name of the scratch package's, in the folder in which her workbook part stands."""
        folder = self._draft.package.main.rpartition("/")[0]
        return (f"{folder}/" if folder else "") + name.removeprefix("xl/")

    # -- the workbook part

    def _entry(self, name: str, part: str, offset: int) -> bytes:
        """The line of a new tab, its attributes spelled as those of hers are."""
        model = self._listed()[0]
        identity = self._draft.relate(self._draft.package.main, "worksheet", part)
        number = offset + 1 + max(int(node.attributes.get("sheetId", "0") or 0) for node in self._listed())
        key = next((k for k in model.attributes if k.endswith(":id") and not k.startswith("xmlns")), "r:id")
        prefix = key.partition(":")[0]
        space = model.attributes.get(f"xmlns:{prefix}") or (
            "" if f"xmlns:{prefix}" in self._declared() else self._draft.office
        )
        told = f' xmlns:{prefix}="{space}"'.encode() if space else b""
        head = (model.tag.encode(), told, ascii_bytes(name), number, key.encode(), identity.encode())
        return b'<%s%s name="%s" sheetId="%d" %s="%s"/>' % head

    def _declared(self) -> set[str]:
        """The prefixes in force where the tabs are listed."""
        assert self._sheets is not None
        return set(self._root.attributes) | set(self._sheets.attributes)

    def _renamed(self, node: Node, name: str) -> list[Splice]:
        same = node.attributes.get("name") == name
        return [] if same else [attribute(self._workbook, node, "name", name)]

    def _own_names(self, number: int, place: int) -> Iterator[tuple[str, int | None, str, bytes]]:
        """The names one of our tabs brings: what is printed and filtered, and on the first the lists."""
        xml = self._made.part(self._made.main)
        names = parsed(xml).first("definedNames")
        for node in names.children if names else ():
            scope = node.attributes.get("localSheetId")
            more = ' hidden="1"' if node.attributes.get("hidden") == "1" else ""
            inside = xml[node.open_end : node.close].decode().encode("ascii", "xmlcharrefreplace")
            if scope == str(number):
                yield node.attributes["name"], place, more, inside
            elif scope is None and number == 0:
                yield node.attributes["name"], None, more, inside

    def _merged_names(self, replaced: set[int]) -> list[Splice]:
        node = self._root.first("definedNames")
        there = node.children if node else []
        gone = [n for n in there if self._is_own(n, replaced)]
        splices: list[Splice] = []
        new: list[bytes] = []
        prefix = self._root.prefix
        held = {n.attributes.get("name", "").casefold(): n for n in there if "localSheetId" not in n.attributes}
        for name, place, more, inside in self._names:
            if place is None and name.casefold() in held:
                kept = held[name.casefold()]
                splices.append((kept.open_end, kept.close, inside) if not kept.closed else (0, 0, b""))
                continue
            scope = "" if place is None else f' localSheetId="{place}"'
            head = f'<{prefix}definedName name="{name}"{scope}{more}>'.encode("ascii", "xmlcharrefreplace")
            new.append(head + inside + f"</{prefix}definedName>".encode())
        if node is None:
            return self._new_names(b"".join(new), prefix) if new else []
        if len(gone) == len(there) and not new:
            return [(node.start, node.end, b"")]
        splices += [(n.start, n.end, b"") for n in gone]
        return [*splices, appended(self._workbook, node, b"".join(new))] if new else splices

    def _is_own(self, node: Node, replaced: set[int]) -> bool:
        scope = node.attributes.get("localSheetId", "")
        return scope.isdigit() and int(scope) in replaced and node.attributes.get("name", "").lower() in _OWN_NAMES

    def _new_names(self, inside: bytes, prefix: str) -> list[Splice]:
        tag = f"{prefix}definedNames".encode()
        at = after(self._root, ("sheets", "functionGroups", "externalReferences")).end
        return [(at, at, b"<%s>%s</%s>" % (tag, inside, tag))]

    # -- parts

    def _drop_parts_of(self, sheets: Collection[str]) -> None:
        """Leave out what only these sheets lead to."""
        if sheets:
            package = self._draft.package
            inside = _reached(package, sheets, ())
            outside = _reached(package, ("",), sheets)
            self._draft.drop(inside - outside - set(sheets))

    def _put(self, number: int, part: str) -> None:
        made = self._made.tabs[number].part
        drawn = Part.of(self._made.part(made), self._rows[number])
        tail = _HIGHLIGHT.sub(lambda m: b'%s%d"' % (m[1], self._highlights[int(m[2])]), drawn.tail)
        head = self._selected(drawn.head, part)
        whole = Part(self._draft.in_variant(head), drawn.rows, self._draft.in_variant(tail))
        self._draft.stream(part, lambda: whole.pieces(self._looks))
        self._draft.declare({part: self._made.types[made]})
        self._copy_relations(made, part)

    def _selected(self, xml: bytes, part: str) -> bytes:
        """A tab that was chosen when she saved stays chosen; no other tab of ours is."""
        xml = _SELECTED.sub(b"", xml, count=1)
        old = self._draft.package.part(part, missing=b"")
        if re.search(rb'<(?:\w+:)?sheetView\s[^>]*?tabSelected="(?:1|true)"', old):
            xml = xml.replace(b"<sheetView ", b'<sheetView tabSelected="1" ', 1)
        return xml

    def _copy_relations(self, made: str, part: str) -> None:
        told = []
        for identity, relation in self._made.relations(made).items():
            target = self._draft.fresh(self._placed(relation.target))
            self._draft.put(target, self._draft.in_variant(self._made.part(relation.target)))
            self._draft.declare({target: self._made.types[relation.target]})
            self._copy_relations(relation.target, target)
            told.append((identity, relation.kind, target))
        if not told and rels_of(part) in self._draft.package.names:
            self._draft.drop({rels_of(part)})
        self._draft.put_relations(part, told)


def _reached(package: Package, starts: Iterable[str], closed: Collection[str]) -> set[str]:
    """The parts that relationships lead to from these, not followed through the closed ones."""
    found: set[str] = set()
    waiting = list(starts)
    while waiting:
        part = waiting.pop()
        if part in closed:
            continue
        for relation in package.relations(part).values():
            if not relation.outside and relation.target not in found and relation.target in package.names:
                found.add(relation.target)
                waiting.append(relation.target)
    return found


def after(root: Node, names: Sequence[str]) -> Node:
    """The last child of one of these names; the order of a workbook part's pieces is fixed.

    Raises:
        HostUnavailable: there is none.
    """
    found = [node for node in root.children if node.name in names]
    if not found:
        raise HostUnavailable("the workbook lists no tabs.", Where(root.name), "Save it in your office program.")
    return found[-1]


def recalculated(draft: Draft) -> None:
    """Have the office program work everything out on opening, and drop the chain of calculation's flag of being done."""
    main = draft.package.main
    xml = draft.part(main)
    root = parsed(xml)
    node = root.first("calcPr")
    if node is None:
        at = after(root, ("sheets", "functionGroups", "externalReferences", "definedNames")).end
        draft.put(main, spliced(xml, [(at, at, f'<{root.prefix}calcPr fullCalcOnLoad="1"/>'.encode())]))
    elif node.attributes.get("fullCalcOnLoad") not in ("1", "true"):
        draft.edit(main, [attribute(xml, node, "fullCalcOnLoad", "1")])


def without_chain(draft: Draft) -> None:
    """Leave out the chain of calculation; every program makes it anew."""
    main = draft.package.main
    chains = {i: r.target for i, r in draft.package.relations(main).items() if r.kind == "calcChain"}
    if chains:
        draft.unrelate(main, chains)
        draft.drop(set(chains.values()))
