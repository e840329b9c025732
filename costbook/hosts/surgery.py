"""The finished bytes of a changed workbook: cells spliced, our tabs grafted, everything else as it stands.

What comes out is checked here against the package it came from: parts that were not to change are byte for byte the
same, those that changed are well-formed, and every relationship leads somewhere. Values are read back by `file.py`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date

from costbook.book.grid import Edits, SetCell
from costbook.errors import HostUnavailable, Where, WriteRefused
from costbook.hosts import archive, styles
from costbook.hosts.cells import looks_like_formula
from costbook.hosts.graft import Graft, Scratch, declared, recalculated, scratch, without_chain
from costbook.hosts.ooxml import XML, Draft, well_formed
from costbook.hosts.package import Package
from costbook.hosts.splice import Pick, Sheet

_STYLES_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"


def is_from_1904(package: Package) -> bool:
    """Whether the workbook counts days from 1904."""
    return any(e.name == "workbookPr" and e.attributes.get("date1904") in ("1", "true") for e in package.workbook)


def operated(package: Package, edits: Edits) -> tuple[bytes, frozenset[str]]:
    """The bytes of the workbook with the edits made, and the names of all parts that changed, came or went.

    Raises:
        WriteRefused: it cannot be done without a loss; the sentence names the cell or the part.
    """
    draft = Draft(package)
    try:
        _operate(draft, edits)
    except (ValueError, KeyError, IndexError) as error:
        raise WriteRefused(
            f"{package.name} was not touched: a part of it is not as the format asks ({' '.join(str(error).split())}).",
            do="Save it once in your office program and try again.",
        ) from error
    data = draft.packed()
    touched = frozenset(draft.changed) | draft.removed
    _verified(package, Package(data, package.name), draft.changed, touched)
    return data, touched


def _operate(draft: Draft, edits: Edits) -> None:
    package, from_1904 = draft.package, is_from_1904(draft.package)
    by_tab: dict[str, list[SetCell]] = {}
    for edit in edits.cells:
        by_tab.setdefault(edit.tab.casefold(), []).append(edit)
    parts = {tab.name.casefold(): tab.part for tab in package.tabs}
    sheets = {parts[tab]: Sheet(draft.part(parts[tab]), cells[0].tab, from_1904) for tab, cells in by_tab.items()}
    bare = [e for tab, cells in by_tab.items() for e in sheets[parts[tab]].undressed(cells)]
    made = None
    if edits.tabs or bare:
        made = scratch(edits.tabs, bare, package.name, from_1904)
    part = _styles_part(draft) if made or package_has_styles(package) else ""
    looks = styles.opened(draft.part(part)) if part else None
    moved = looks.brought(made.package.part("xl/styles.xml")) if looks and made else ([], [])
    pick, lost_formula = _pick(looks, made, moved[0]), False
    for tab, cells in by_tab.items():
        sheet = sheets.pop(parts[tab])
        draft.put(parts[tab], sheet.written(cells, pick))
        lost_formula = lost_formula or sheet.lost_formula
    if made and edits.tabs:
        Graft(draft, made, *moved).tabs(edits.tabs)
    if looks:
        draft.put(part, looks.finished())
    known = {tab.name.casefold() for tab in package.tabs}
    if lost_formula or any(tab.name.casefold() in known for tab in edits.tabs):
        without_chain(draft)
    recalculated(draft)


def package_has_styles(package: Package) -> bool:
    """Whether the workbook has a styles part."""
    return any(r.kind == "styles" and r.target in package.names for r in package.relations(package.main).values())


def _styles_part(draft: Draft) -> str:
    """The name of the styles part, made where there is none."""
    main = draft.package.main
    for relation in draft.package.relations(main).values():
        if relation.kind == "styles" and draft.has(relation.target):
            return relation.target
    usual = f"{main.rpartition('/')[0] or 'xl'}/styles.xml"  # some readers look nowhere else
    part = draft.fresh(usual) if draft.has(usual) else usual
    draft.put(part, draft.in_variant(styles.EMPTY))
    draft.declare({part: _STYLES_TYPE})
    draft.relate(main, "styles", part)
    return part


def _pick(looks: styles.Styles | None, made: Scratch | None, moved: list[int]) -> Pick:
    def pick(edit: SetCell, look: int | None) -> int | None:
        if look is None:
            return moved[made.looks[declared(edit)]] if made else None
        return looks.fitting(look, isinstance(edit.value, date), looks_like_formula(edit.value)) if looks else look

    return pick


def _verified(old: Package, new: Package, changed: Mapping[str, archive.Content], touched: frozenset[str]) -> None:
    """Nothing, when only what was meant has changed and all of that is sound."""
    there = {member.part: member for member in new.members}
    for member in old.members:
        if member.part and member.part not in touched:
            other = there.get(member.part)
            if other is None or archive.contents(old.data, member) != archive.contents(new.data, other):
                raise _unsound(old.name, member.part)
    for name, content in changed.items():
        try:
            if isinstance(content, archive.Packed):
                if archive.contents(new.data, there[name]) != content.data:
                    raise _unsound(old.name, name)
            elif callable(content):
                well_formed(archive.unpacked(new.data, there[name]))
            elif name.endswith(XML) or content[:1] == b"<":
                well_formed((content,))
        except ValueError as error:
            raise _unsound(old.name, name) from error
        if not new.types.get(name) and name != "[Content_Types].xml":
            raise _unsound(old.name, name)
    _refuse_loose_ends(old, new, changed)


def _refuse_loose_ends(old: Package, new: Package, changed: Collection[str]) -> None:
    """Every relationship that led to a part must still do so."""
    names = set(new.names)
    for name in (*changed, old.main):
        if name.endswith(".rels"):
            continue
        before = {r.target for r in old.relations(name).values()} if name in old.names else set()
        for relation in new.relations(name).values():
            if not relation.outside and relation.target not in names:
                if relation.target in before and relation.target not in old.names:
                    continue  # it led nowhere before
                raise _unsound(old.name, relation.target)


def _unsound(name: str, part: str) -> HostUnavailable | WriteRefused:
    return WriteRefused(
        f"{name} was not touched: its part {part} would not have come out as meant.",
        Where(part),
        "Save it once in your office program and try again.",
    )
