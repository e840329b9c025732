"""What holds for all tests: in CI nothing is skipped but for the few reasons named here."""

from __future__ import annotations

import os
import shutil
from collections.abc import Generator

import pytest

MAY_SKIP = (
    "the shared material is not beside",  # the project never needs it
    "the administrator may write anywhere",  # a read-only folder, tried as root; the refusal is tested another way as well
    "disk may not be mounted",  # not every machine lets a program mount one; a full disk is tested by a size limit as well
    "strace may not follow processes",  # a right some machines withhold; the same calls are also cut short from within
    "edition of GNU units",  # one name a packaged edition may lack
    "the fuzzer atheris is not installed",  # it is not built for every machine; hypothesis tries the same readers
    "got empty parameter set",  # the cases come from the shared material
)


def _fail_unless_it_may_skip(report: pytest.TestReport | pytest.CollectReport) -> None:
    reason = str(report.longrepr)
    if report.skipped and os.environ.get("COSTBOOK_CI") and not any(x in reason for x in MAY_SKIP):
        report.outcome = "failed"
        report.longrepr = f"skipped where CI must run it: {reason}"


def pytest_runtest_setup(item: pytest.Item) -> None:
    if item.get_closest_marker("scan") and shutil.which("tesseract") is None:
        pytest.skip("tesseract is not installed")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if not hasattr(report, "wasxfail"):
        _fail_unless_it_may_skip(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    report = yield
    _fail_unless_it_may_skip(report)
    return report
