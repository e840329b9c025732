"""The public e-invoices beside the project, each posted into an empty book of its own.

Expected states and lines are those of the manifest and lines table beside them, worked out from the XML by another
reader (sources and licences of every file: the manifest).
"""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from shared_files import FOLDER, rows, shared

from costbook import commands
from costbook.book.reading import read_book
from costbook.hosts.file import WorkbookFile

XML = sorted(p.relative_to(FOLDER / "invoices").as_posix() for p in (FOLDER / "invoices" / "xml").glob("*.xml"))
STATES = {"post": "posted", "review": "to review"}


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A blank book without its example paper, as bytes."""
    path = tmp_path_factory.mktemp("blank") / "book.xlsx"
    commands.blank(path)
    return path.read_bytes()


def test_there_are_as_many_as_the_manifest_tells() -> None:
    assert len([r for r in rows("invoices/manifest.csv") if r["file"].startswith("xml/")]) == len(XML) == 22


@pytest.mark.parametrize("file", XML)
def test_a_public_paper_goes_where_the_manifest_says_once(file: str, empty: bytes, tmp_path: Path) -> None:
    book = tmp_path / "book.xlsx"
    book.write_bytes(empty)
    told = next(r for r in rows("invoices/manifest.csv") if r["file"] == file)
    paper = shared(f"invoices/{file}")
    [posted] = commands.post(book, [paper])
    assert posted.state == STATES[told["expected"]] and bool(posted.why) == (posted.state == "to review")
    lines = [x for x in read_book(WorkbookFile(book).snapshot()).purchases if x.source.startswith(paper.name)]
    if posted.state == "to review":
        assert lines == []
        return
    sign = -1 if told["type_code"] == "381" else 1
    wanted = sorted(sign * Decimal(r["net"]) for r in rows("invoices/lines.csv") if r["file"] == file and r["line_kind"] != "GROUP")
    of_lines = [x for x in lines if ", " in x.source and x.kind not in ("discount", "tax", "total")]
    money = sorted(x.amount for x in of_lines)
    document_charges = Decimal(told["charges"] or 0) * sign
    assert sum(money) - document_charges == sum(wanted)
    assert set(wanted) <= set(money)
    [total] = [x.amount for x in lines if x.kind == "total"]
    assert total == sign * Decimal(told["gross"])
    outcome = commands.price(book)
    assert not [f for f in outcome.findings if f.check in ("paper-total", "line-amount")]
    before = book.read_bytes()
    assert [p.state for p in commands.post(book, [paper])] == ["already there"] and book.read_bytes() == before
