"""An office program for the tests that need one; where it or its Python is not there, they are skipped and say so."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from costbook.errors import HostUnavailable
from costbook.hosts import headless
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
