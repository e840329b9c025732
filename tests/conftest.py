"""What holds for all tests: in CI a test that needs the office program fails where the program is missing."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Iterator[None]:
    outcome = yield
    report = outcome.get_result()  # type: ignore[attr-defined]
    if report.skipped and item.get_closest_marker("office") and os.environ.get("COSTBOOK_CI"):
        report.outcome = "failed"
        report.longrepr = f"skipped where CI must run it: {report.longrepr}"
