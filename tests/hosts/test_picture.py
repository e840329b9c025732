"""A printed paper drawn with boxes over what was read of it: the boxes stand where the words stand."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image
from sample_pages import printed_page, scanned_page

from costbook import cli, commands
from costbook.book.words import BOX_COLOURS
from costbook.errors import CostbookError
from costbook.hosts.pages import read_pages

DOTS_A_POINT = 150 / 72


def rows_in(picture: Path, colour: str) -> set[int]:
    """The heights, in points, at which long level strokes of a colour are drawn."""
    image = Image.open(picture).convert("RGB")
    wanted = tuple(int(BOX_COLOURS[colour][i : i + 2], 16) for i in (1, 3, 5))
    pixels, (width, height) = image.load(), image.size
    assert pixels is not None
    return {round(y / DOTS_A_POINT) for y in range(height) if sum(pixels[x, y] == wanted for x in range(0, width, 5)) > 60}


def test_goods_and_money_are_boxed_where_they_stand(tmp_path: Path) -> None:
    paper = tmp_path / "S-2207.pdf"
    paper.write_bytes(printed_page("S-2207"))
    read, waits, (picture,) = commands.picture(paper, tmp_path)
    assert (read.number, len(read.lines), waits, picture.name) == ("S-2207", 13, (), "S-2207-read-1.png")
    words = read_pages(paper.read_bytes(), paper.name).pages[0].words
    for code, colour in (("M22", "goods"), ("M30", "goods"), ("Hazmat", "money")):
        word = next(w for w in words if w.text == code)
        assert any(abs(y - word.bottom) <= 3 for y in rows_in(picture, colour)), code
    total = next(w for w in words if w.text == "320.20")
    assert not any(abs(y - total.bottom) <= 2 for c in ("goods", "doubt") for y in rows_in(picture, c))


@pytest.mark.scan
def test_what_is_in_doubt_on_a_scan_is_boxed_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    paper = tmp_path / "B-0977.png"
    paper.write_bytes(scanned_page())
    assert cli.main(["picture", str(paper), "--into", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert "B-0977" in out and "not clear in the picture" in out
    assert rows_in(tmp_path / "B-0977-read-1.png", "doubt") and rows_in(tmp_path / "B-0977-read-1.png", "money")


def test_nothing_is_written_over_and_no_other_file_is_drawn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    paper = tmp_path / "C-0391.pdf"
    paper.write_bytes(printed_page("C-0391"))
    commands.picture(paper, tmp_path)
    with pytest.raises(CostbookError, match="there already"):
        commands.picture(paper, tmp_path)
    (tmp_path / "list.csv").write_text("Invoice,Date\n", encoding="utf-8")
    assert cli.main(["picture", str(tmp_path / "list.csv"), "--into", str(tmp_path)]) == 4
    assert "neither a PDF nor a picture" in capsys.readouterr().err
