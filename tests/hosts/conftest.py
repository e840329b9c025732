"""An office program for the tests that need one; where it or its Python is not there, they are skipped and say so."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from costbook import commands
from costbook.book.grid import Edits
from costbook.demo.papers import papers
from costbook.demo.workshop import demo_tabs
from costbook.errors import HostUnavailable
from costbook.hosts import headless
from costbook.hosts.file import create
from costbook.hosts.headless import Office

HANDS = (str(Path(__file__).with_name("office_side.py")),)


def office_or_skip(**more: object) -> Office:
    try:
        headless.office_python(headless.program())
    except HostUnavailable as error:
        pytest.skip(error.sentence)
    return Office(bridge=HANDS, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="session")
def office() -> Iterator[Office]:
    """One office without a window, for all tests that leave it whole."""
    running = office_or_skip()
    yield running
    running.end()


@pytest.fixture(scope="session")
def posted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo workbook with its papers posted, not priced yet; to be copied."""
    folder = tmp_path_factory.mktemp("posted")
    book = folder / "book.xlsx"
    create(book, Edits(tabs=tuple(demo_tabs())))
    for name, data in papers().items():
        (folder / name).write_bytes(data)
    commands.post(book, [folder / name for name in papers()])
    return book


@pytest.fixture
def own_office() -> Iterator[Office]:
    """An office for one test, which may do it harm."""
    running = office_or_skip()
    yield running
    running.end()


def needs(*programs: str) -> None:
    missing = [name for name in programs if shutil.which(name) is None]
    if missing:
        pytest.skip(f"not installed: {', '.join(missing)}")
