"""What lies in the repository is what the program makes now, byte for byte."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from PIL import Image, ImageChops, ImageStat
from regenerate import regenerate
from sample_pages import SCANNED, printed_papers

from costbook import commands
from costbook.demo.papers import other_formats

ROOT = Path(__file__).resolve().parents[2]
BOOKS = ("workbooks/demo.xlsx", "workbooks/blank.xlsx")
PAPERS = tuple(
    f"sample_invoices/{name}"
    for name in (
        "Brackwell_B-0977.csv",
        "Brackwell_B-1041.csv",
        "Cobbin_Lane_C-0388.xml",
        "Cobbin_Lane_C-0391.xml",
        "Sallowby_S-2207.xlsx",
    )
)
AGAIN = "make it again with: python -m tests.regenerate"


@pytest.fixture(scope="module")
def now(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with everything generated now."""
    folder = tmp_path_factory.mktemp("generated")
    regenerate(folder)
    return folder


@pytest.mark.parametrize("name", BOOKS + PAPERS)
def test_the_file_in_the_repository_is_what_is_made_now(name: str, now: Path) -> None:
    kept = ROOT / name
    assert kept.is_file(), f"{name} is missing; {AGAIN}"
    assert kept.read_bytes() == (now / name).read_bytes(), f"{name} is not what the program makes; {AGAIN}"


@pytest.mark.parametrize("name", sorted(other_formats()))
def test_a_paper_in_another_format_is_what_is_made_now(name: str, now: Path) -> None:
    kept = ROOT / "sample_invoices/other-formats" / name
    assert kept.read_bytes() == (now / "sample_invoices/other-formats" / name).read_bytes(), AGAIN


@pytest.mark.parametrize("name", sorted(printed_papers()))
def test_a_printed_paper_reads_as_the_one_made_now(name: str, now: Path) -> None:
    """Another version of the drawing library may write other bytes for the same page."""
    kept, made = (commands.read_paper(root / "sample_invoices/other-formats" / name) for root in (ROOT, now))
    assert kept == made and kept[0].lines, AGAIN


def test_the_scan_shows_what_is_drawn_now(now: Path) -> None:
    kept, made = (Image.open(root / f"sample_invoices/scan/{SCANNED}.png") for root in (ROOT, now))
    assert kept.size == made.size
    (differs,) = ImageStat.Stat(ImageChops.difference(kept, made)).mean
    assert differs < 1.0, AGAIN  # of 255; the page's ink alone is over 1


def test_there_is_no_paper_that_is_not_made(now: Path) -> None:
    kept, made = (
        {str(p.relative_to(root)) for p in (root / "sample_invoices").rglob("*") if not p.name.startswith(".")}
        for root in (ROOT, now)
    )
    assert kept == made and made >= set(PAPERS)


def test_the_demo_is_the_same_wherever_and_whenever_it_is_made(now: Path, demo: Path, papers: Path) -> None:
    """The session's own demo, made in another folder, has the same bytes."""
    assert demo.read_bytes() == (now / "workbooks/demo.xlsx").read_bytes()
    for name in PAPERS:
        assert (papers / Path(name).name).read_bytes() == (now / name).read_bytes()


def test_the_kept_demo_needs_no_run_and_changes_nothing(now: Path, tmp_path: Path) -> None:
    """Priced as it lies there, the workbook is left as it is."""
    assert os.path.getsize(ROOT / BOOKS[0]) > 0
    path = Path(shutil.copyfile(ROOT / BOOKS[0], tmp_path / "demo.xlsx"))
    before = path.read_bytes(), path.stat().st_mtime_ns
    assert not commands.price(path).written
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
