"""PDFs and pictures as pages of words: what is refused, in bounded time, and what a scan comes to."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import time
import zlib
from pathlib import Path

import pdfplumber
import pypdf
import pytest
from PIL import Image, ImageFilter
from printed_papers import LANGUAGES, LINES, Paper, pdf
from reportlab.pdfgen.canvas import Canvas

from costbook import commands
from costbook.book.words import Word
from costbook.errors import CostbookError
from costbook.hosts import pages
from costbook.invoices import page
from costbook.invoices.checks import problems


def bomb(size: int) -> bytes:
    """A PDF whose page unpacks to `size` bytes of drawing."""
    packer = zlib.compressobj(9)
    packed = b"".join(packer.compress(b"0 0 m 9 9 l S\n" * 80_000) for _ in range(size // (14 * 80_000))) + packer.flush()
    parts = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
        b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 595 842]/Contents 4 0 R>>",
        b"<</Filter/FlateDecode/Length %d>>stream\n%s\nendstream" % (len(packed), packed),
    ]
    out, places = b"%PDF-1.4\n", []
    for number, part in enumerate(parts, 1):
        places.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, part)
    table = b"xref\n0 5\n0000000000 65535 f \n" + b"".join(b"%010d 00000 n \n" % place for place in places)
    return out + table + b"trailer<</Root 1 0 R/Size 5>>\nstartxref\n%d\n%%%%EOF" % len(out)


def many_pages(count: int) -> bytes:
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(200, 200))
    for number in range(count):
        canvas.drawString(20, 100, f"page {number}")
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def locked() -> bytes:
    writer = pypdf.PdfWriter(clone_from=io.BytesIO(pdf(Paper())))
    writer.encrypt("secret")
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


HOSTILE = {
    "bomb.pdf": (lambda: bomb(400 << 20), "unpacks to more than 4 MB"),
    "small bomb.pdf": (lambda: bomb(9 << 20), "unpacks to more than 4 MB"),
    "many.pdf": (lambda: many_pages(10_000), "10,000 pages"),
    "cut.pdf": (lambda: pdf(Paper())[:700], "damaged|cut off"),
    "locked.pdf": (locked, "password"),
    "text.pdf": (lambda: b"code,amount\na,1.00\n", "neither a PDF nor a picture"),
    "noise.png": (lambda: b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 9, "damaged picture|tesseract"),
    "empty.pdf": (lambda: b"", "empty"),
    "zip.pdf": (lambda: b"PK\x03\x04" + bytes(99), "neither a PDF nor a picture"),
    "large.pdf": (lambda: b"%PDF-1.4\n" + bytes(20_000_001), "larger than 20 MB"),
    "wide.png": (lambda: wide(), "dots|tesseract"),
}


def wide() -> bytes:
    out = io.BytesIO()
    Image.new("1", (30_000, 30_000)).save(out, "PNG")
    return out.getvalue()


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_costs_one_sentence(name: str, tmp_path: Path) -> None:
    make, said = HOSTILE[name]
    file = tmp_path / name
    file.write_bytes(make())
    start = time.monotonic()
    with pytest.raises(CostbookError, match=said) as told:
        commands.read_paper(file)
    assert time.monotonic() - start < pages.SECONDS + 10
    assert "Traceback" not in str(told.value) and "\n" not in str(told.value)


def test_a_reader_that_never_ends_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A child that sleeps is given up at the time limit."""
    sleeper = tmp_path / "sleeper"
    sleeper.write_text(f"#!{sys.executable}\nimport time\ntime.sleep(60)\n", encoding="utf-8")
    sleeper.chmod(0o755)
    monkeypatch.setattr(pages.sys, "executable", str(sleeper))
    monkeypatch.setattr(pages, "SECONDS", -4)  # with the five seconds of grace: one
    start = time.monotonic()
    with pytest.raises(CostbookError, match="given up"):
        pages.read_pages(pdf(Paper()), "slow.pdf")
    assert time.monotonic() - start < 20


def test_a_reader_that_is_ended_takes_no_other_paper_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """The process that reads a paper is ended by its limit of time; the next paper is read as if nothing were."""
    monkeypatch.setattr(pages, "_asked", lambda data, way, seconds: f"{way} 0 {len(data)}\n".encode() + data)
    with pytest.raises(CostbookError, match="needs more than"):
        pages.read_pages(many_pages(29), "slow.pdf")
    monkeypatch.undo()
    for _ in range(2):
        assert pages.read_pages(pdf(Paper()), "next.pdf").pages[0].words


def test_a_right_file_with_a_wrong_ending_is_read_by_what_it_is(tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    file.write_bytes(pdf(Paper()))
    [got] = commands.read_paper(file)
    assert got.syntax == "page" and problems(got) == ()


@pytest.mark.parametrize("turned", [0, 180])
def test_words_are_those_of_the_library_itself_wherever_the_page_begins(turned: int) -> None:
    writer = pypdf.PdfWriter(clone_from=io.BytesIO(pdf(Paper("fr", wrapped=True))))
    writer.pages[0].mediabox = pypdf.generic.RectangleObject((11, -23, 606, 819))
    writer.pages[0].rotate(turned)
    out = io.BytesIO()
    writer.write(out)
    [ours] = pages.read_pages(out.getvalue(), "moved.pdf").pages
    with pdfplumber.open(out) as opened:
        theirs = opened.pages[0].extract_words(x_tolerance_ratio=0.15)
    wanted = [Word(*(w[k] for k in ("text", "x0", "top", "x1", "bottom"))) for w in theirs]
    assert wanted and list(ours.words) == wanted


def test_the_parent_loads_no_reader_of_pdfs(tmp_path: Path) -> None:
    file = tmp_path / "paper.pdf"
    file.write_bytes(pdf(Paper()))
    code = (
        "import sys; from pathlib import Path; from costbook.commands import read_paper; "
        f"assert read_paper(Path({str(file)!r}))[0].lines; "
        "assert not {'pdfplumber', 'pypdf', 'PIL', 'pdfminer'} & set(sys.modules)"
    )
    roof = {**os.environ, "PYTHONPATH": str(Path(commands.__file__).parents[1])}
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60, env=roof)


def test_no_file_of_the_folder_she_works_in_is_run(tmp_path: Path) -> None:
    (tmp_path / "paper.pdf").write_bytes(pdf(Paper()))
    (tmp_path / "csv.py").write_text("raise SystemExit", encoding="utf-8")
    code = "from pathlib import Path; from costbook.hosts import pages; assert pages.read_pages(Path('paper.pdf').read_bytes(), 'x').pages"
    roof = {**os.environ, "PYTHONPATH": str(Path(commands.__file__).parents[1])}
    subprocess.run([sys.executable, "-P", "-c", code], check=True, timeout=60, env=roof, cwd=tmp_path)


def test_without_tesseract_a_picture_costs_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pages.shutil, "which", lambda name: None)
    with pytest.raises(CostbookError, match="is a picture, which is read only where tesseract is installed"):
        pages.read_pages(scanned(Paper(), "upright"), "photo.png")


# ------------------------------------------------------------------ scans


def scanned(paper: Paper, way: str) -> bytes:
    """The paper as a picture of 300 dots an inch: upright, turned by two degrees, or grey, blurred and noisy."""
    with pdfplumber.open(io.BytesIO(pdf(paper))) as opened:
        picture = opened.pages[0].to_image(resolution=300).original.convert("L")
    if way == "skewed":
        picture = picture.rotate(2, fillcolor=255, resample=Image.Resampling.BICUBIC)
    if way == "photo":
        picture = picture.rotate(-1.2, fillcolor=255, resample=Image.Resampling.BICUBIC)
        noise = Image.effect_noise(picture.size, 40)
        picture = Image.blend(picture.point([40 + v * 170 // 255 for v in range(256)]), noise, 0.25)
        picture = picture.filter(ImageFilter.GaussianBlur(1.0))
    out = io.BytesIO()
    picture.save(out, "PNG", dpi=(300, 300))
    return out.getvalue()


@pytest.mark.scan
@pytest.mark.parametrize("way", ["upright", "skewed", "photo"])
def test_of_scans_none_is_read_wrong(way: str) -> None:
    """What would be posted is right to the cent; how much is posted is told. Clear scans in English are read."""
    posted = []
    for language in LANGUAGES:
        paper = Paper(language)
        got = page.read(pages.read_pages(scanned(paper, way), "scan.png"), "scan.png", (paper.words.supplier,))
        if problems(got):
            continue
        posted.append(language)
        goods = [(x.item_code, str(x.quantity), str(x.price), str(x.net)) for x in got.lines if x.kind == "goods"]
        assert goods == [(code, packs, price, net) for code, _, packs, price, net in LINES]
        assert [x.name for x in got.lines if x.kind == "goods"] == [name for _, name, *_ in LINES]
        assert (got.number, str(got.issued), str(got.gross)) == ("HB-2041", "2026-09-14", "183.00")
    print(f"{way}: {len(posted)} of {len(LANGUAGES)} posted: {', '.join(posted)}")
    assert way == "photo" or "en" in posted
