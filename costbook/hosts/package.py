"""The zip package of a workbook, opened with suspicion: sizes, names, relationships and tabs.

Everything is counted while it is unpacked, because the sizes a package declares can lie. Nothing here knows cells
(`scan.py`) or features (`losses.py`). Source: ECMA-376 part 2 (packages) and part 1, clauses 12 and 18.2 (workbook).
"""

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Mapping
from functools import cached_property
from pathlib import PurePosixPath
from typing import NamedTuple
from xml.parsers import expat

from costbook.errors import HostUnavailable

LIMIT_BYTES = 1 << 30
LIMIT_ENTRIES = 20_000
LIMIT_RATIO = 300
RATIO_FROM_BYTES = 8 << 20

COMPOUND = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
SAVE_AS = "Open it in your spreadsheet program and save it as an .xlsx workbook."
ASK_AGAIN = "Open it in your spreadsheet program, save it under a new name and try that one."
# XML in 16-bit letters, by its first two bytes: with a byte order mark, or plainly a "<".
_WIDE = {b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16", b"<\0": "utf-16-le", b"\0<": "utf-16-be"}
_WIDE_NAME = re.compile(rb"""(<\?xml[^>]*?encoding\s*=\s*["'])(?:utf-16|ucs-2)[^"']*""", re.I)


class Element(NamedTuple):
    """A start tag: local name, namespace, attributes by local name, and how deep it stands (root = 0)."""

    name: str
    namespace: str
    attributes: Mapping[str, str]
    depth: int


class Relation(NamedTuple):
    """A relationship of a part: the last piece of its type, and the part (or outside address) it leads to."""

    kind: str
    target: str
    outside: bool


class TabPart(NamedTuple):
    """A tab as the workbook lists it: name, part, kind ('worksheet', 'chartsheet' ...)."""

    name: str
    part: str
    kind: str


class Member(NamedTuple):
    """An entry of the zip directory: the part it is ('' for a folder) and what the directory says of it."""

    part: str
    info: zipfile.ZipInfo


def elements(xml: bytes) -> list[Element]:
    """Every start tag of a small XML part, in order.

    Raises:
        ValueError: the part is no well-formed XML.
    """
    found: list[Element] = []
    depth = 0

    def start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal depth
        space, _, name = tag.rpartition(" ")
        found.append(Element(name, space, {k.rpartition(" ")[2]: v for k, v in attributes.items()}, depth))
        depth += 1

    def end(_tag: str) -> None:
        nonlocal depth
        depth -= 1

    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    try:
        parser.Parse(xml, True)
    except expat.ExpatError as error:
        raise ValueError(str(error)) from error
    return found


class Package:
    """An opened package. Parts are read through `part`, which counts, checks and remembers nothing but the sizes.

    Raises:
        HostUnavailable: not a workbook package, of a kind that is not read, damaged, or suspiciously large.
    """

    def __init__(self, data: bytes, name: str) -> None:
        self.name = name
        self._data = data
        self._sizes: dict[str, int] = {}
        self.wide: set[str] = set()  # parts read so far that are written in 16-bit letters
        _refuse_by_first_bytes(data, name)
        try:
            opened = zipfile.ZipFile(io.BytesIO(data))
            infos = opened.infolist()
        except (zipfile.BadZipFile, ValueError, NotImplementedError, struct.error) as error:
            raise HostUnavailable(f"{name} is damaged: its zip directory cannot be read.", do=ASK_AGAIN) from error
        if len(infos) > LIMIT_ENTRIES:
            raise HostUnavailable(
                f"{name} has {len(infos):,} parts; more than {LIMIT_ENTRIES:,} are not opened.", do=ASK_AGAIN
            )
        self._infos = self._named(infos)
        self.comment, self.directory_at = opened.comment, opened.start_dir
        parts = {id(info): part for part, info in self._infos.items()}
        self.members = tuple(Member(parts.get(id(info), ""), info) for info in infos)
        self._refuse_by_contents()

    def _named(self, infos: list[zipfile.ZipInfo]) -> dict[str, zipfile.ZipInfo]:
        named: dict[str, zipfile.ZipInfo] = {}
        for info in infos:
            part = info.filename.replace("\\", "/").lstrip("/")
            if part.endswith("/"):
                continue
            if part in named:
                raise HostUnavailable(f"{self.name} is damaged: the part {part} is there twice.", do=ASK_AGAIN)
            if ".." in part.split("/"):
                raise HostUnavailable(f"{self.name} has a part whose name leads outside ({part}).", do=ASK_AGAIN)
            named[part] = info
        return named

    def _refuse_by_contents(self) -> None:
        if "xl/workbook.bin" in self._infos:
            raise HostUnavailable(f"{self.name} is a binary workbook (.xlsb), which is not read.", do=SAVE_AS)
        if self.part("mimetype", missing=b"").startswith(b"application/vnd.oasis"):
            raise HostUnavailable(f"{self.name} is an OpenDocument file (.ods), which is not read.", do=SAVE_AS)
        if "[Content_Types].xml" not in self._infos:
            spelt = next((name for name in self._infos if name.lower() == "[content_types].xml"), None)
            if spelt:
                raise HostUnavailable(f"{self.name} spells the names of its parts another way ({spelt}), which is not read.", do=ASK_AGAIN)
            raise HostUnavailable(
                f"{self.name} is a zip file but holds no workbook.", do="Name your workbook, an .xlsx file."
            )
        if any(info.flag_bits & 1 for info in self._infos.values()):
            raise HostUnavailable(f"{self.name} is encrypted.", do="Save it without a password.")

    @property
    def data(self) -> bytes:
        """The bytes of the whole package."""
        return self._data

    def size(self, name: str) -> int:
        """The unpacked size of a part as the package declares it; -1 where there is none."""
        info = self._infos.get(name)
        return info.file_size if info else -1

    @property
    def names(self) -> tuple[str, ...]:
        """Every part's name, in the order of the package."""
        return tuple(self._infos)

    def part(self, name: str, missing: bytes | None = None) -> bytes:
        """The unpacked bytes of a part, checked; `missing` where there is no such part and that is given.

        Raises:
            HostUnavailable: no such part, damaged, too large, or carrying document type declarations.
        """
        info = self._infos.get(name)
        if info is None:
            if missing is not None:
                return missing
            raise HostUnavailable(f"{self.name} is damaged: its part {name} is missing.", do=ASK_AGAIN)
        data = self._unpacked(info, name)
        wide = _WIDE.get(data[:2])
        if wide:
            data = _WIDE_NAME.sub(rb"\1UTF-8", data.decode(wide, "replace").encode("utf-8"), count=1)
            self.wide.add(name)
        is_xml = data[:1] == b"<" or data[:3] == b"\xef\xbb\xbf" or name.endswith((".xml", ".rels"))
        if is_xml and (b"<!DOCTYPE" in data or b"<!ENTITY" in data):
            raise HostUnavailable(
                f"{self.name} carries document type declarations in {name}; no spreadsheet program writes them.",
                do="Do not use this file; ask whoever sent it for another.",
            )
        return data

    def _unpacked(self, info: zipfile.ZipInfo, name: str) -> bytes:
        at = info.header_offset
        head = self._data[at : at + 30]
        skip = 30 + int.from_bytes(head[26:28], "little") + int.from_bytes(head[28:30], "little")
        raw = self._data[at + skip : at + skip + info.compress_size]
        room = LIMIT_BYTES - sum(self._sizes.values()) + self._sizes.get(name, 0)
        data = self._inflated(raw, info, name, room)
        self._sizes[name] = len(data)
        if len(data) > room:
            raise HostUnavailable(f"{self.name} unpacks to more than 1 GiB, which is not opened.", do=ASK_AGAIN)
        if len(data) > RATIO_FROM_BYTES and len(data) > LIMIT_RATIO * max(len(raw), 1):
            raise HostUnavailable(
                f"{self.name} holds a part packed over {LIMIT_RATIO} times smaller ({name}), as no honest workbook is.",
                do="Do not use this file; ask whoever sent it for another.",
            )
        if head[:4] != b"PK\x03\x04" or len(data) != info.file_size or zlib.crc32(data) != info.CRC:
            raise HostUnavailable(
                f"{self.name} is damaged: its part {name} does not match its check sum.", do=ASK_AGAIN
            )
        return data

    def _inflated(self, raw: bytes, info: zipfile.ZipInfo, name: str, room: int) -> bytes:
        if info.compress_type == zipfile.ZIP_STORED:
            return raw
        if info.compress_type != zipfile.ZIP_DEFLATED:
            raise HostUnavailable(f"{self.name} is packed in a way that is not read ({name}).", do=ASK_AGAIN)
        # A little over the part's own ratio is enough to see that it breaks it, and stops a bomb early.
        enough = min(room, max(RATIO_FROM_BYTES, LIMIT_RATIO * len(raw)))
        try:
            return zlib.decompressobj(-15).decompress(raw, enough + 1)
        except zlib.error as error:
            raise HostUnavailable(
                f"{self.name} is damaged: its part {name} cannot be unpacked.", do=ASK_AGAIN
            ) from error

    def check_rest(self) -> None:
        """Unpack and check every part nobody has asked for yet, so that another reader meets no surprise."""
        for name in self._infos:
            if name not in self._sizes:
                self.part(name)

    def elements(self, name: str) -> list[Element]:
        """Every start tag of a small part; none where the part is missing."""
        try:
            return elements(self.part(name, missing=b"<none/>"))
        except ValueError as error:
            raise HostUnavailable(
                f"{self.name} is damaged: {name} is no well-formed XML ({error}).", do=ASK_AGAIN
            ) from error

    def relations(self, part: str) -> dict[str, Relation]:
        """The relationships of a part by id, targets as part names; those of the package itself for ''."""
        path = PurePosixPath(part)
        found = {}
        for element in self.elements(str(path.parent / "_rels" / f"{path.name}.rels") if part else "_rels/.rels"):
            if element.name == "Relationship":
                a = element.attributes
                outside = a.get("TargetMode", "") == "External"
                target = a.get("Target", "")
                kind = a.get("Type", "").rpartition("/")[2]
                found[a.get("Id", "")] = Relation(kind, target if outside else _joined(path.parent, target), outside)
        return found

    @cached_property
    def types(self) -> dict[str, str]:
        """The content type of every part that has one."""
        defaults: dict[str, str] = {}
        stated: dict[str, str] = {}
        for element in self.elements("[Content_Types].xml"):
            a = element.attributes
            if element.name == "Default":
                defaults[a.get("Extension", "").lower()] = a.get("ContentType", "")
            elif element.name == "Override":
                stated[a.get("PartName", "").lstrip("/")] = a.get("ContentType", "")
        return {n: stated.get(n) or defaults.get(n.rpartition(".")[2].lower(), "") for n in self._infos}

    @cached_property
    def main(self) -> str:
        """The name of the workbook part."""
        main = next((r.target for r in self.relations("").values() if r.kind == "officeDocument"), "xl/workbook.xml")
        if main not in self._infos:
            raise HostUnavailable(
                f"{self.name} is a zip file but holds no workbook.", do="Name your workbook, an .xlsx file."
            )
        return main

    @cached_property
    def workbook(self) -> list[Element]:
        """Every start tag of the workbook part."""
        found = self.elements(self.main)
        if found[0].name != "workbook":
            raise HostUnavailable(
                f"{self.name} holds no workbook but a {found[0].name}.", do="Name your workbook, an .xlsx file."
            )
        return found

    @property
    def strict(self) -> bool:
        """Whether the workbook is written in the Strict variant of the format."""
        return "purl.oclc.org" in self.workbook[0].namespace

    @cached_property
    def tabs(self) -> tuple[TabPart, ...]:
        """The tabs in the order she sees them, chart tabs and the like among them."""
        relations = self.relations(self.main)
        found = []
        for element in self.workbook:
            relation = relations.get(element.attributes.get("id", "")) if element.name == "sheet" else None
            if relation and relation.target in self._infos:
                found.append(TabPart(element.attributes.get("name", ""), relation.target, relation.kind))
        return tuple(found)


def _refuse_by_first_bytes(data: bytes, name: str) -> None:
    if data.startswith(COMPOUND):
        raise HostUnavailable(
            f"{name} is encrypted with a password, or an old .xls workbook; neither is read.",
            do="Open it in your spreadsheet program and save it as an .xlsx workbook without a password.",
        )
    if not data.startswith(b"PK"):
        what = "is empty" if not data else "is not an .xlsx workbook"
        raise HostUnavailable(f"{name} {what}.", do=SAVE_AS if data else "Take back a copy, or start a new workbook.")


def _joined(folder: PurePosixPath, target: str) -> str:
    """A relationship's target as a part name: absolute, or relative to the folder of its source."""
    pieces: list[str] = []
    whole = target if target.startswith("/") else f"{folder}/{target}"
    for piece in re.split(r"[/\\]", whole):
        if piece == "..":
            del pieces[-1:]
        elif piece not in ("", "."):
            pieces.append(piece)
    return "/".join(pieces)
