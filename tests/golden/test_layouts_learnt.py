"""What a confirmed printed paper teaches: the next paper of its supplier needs no look. All papers are invented here.

Each first paper has one thing that cannot be known from the page alone; its second has it again, with other figures.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from printed_papers import Paper, pdf
from records import replace

from costbook import commands
from costbook.commands import PostedPaper

Copy = Any
TAB, LAYOUTS = "Invoice review", "Paper layouts"
# 4 x 12.50 = 50.00 and 10 x 3.20 = 32.00 make 82.00; 2 x 12.60 = 25.20 and 5 x 3.30 = 16.50 make 41.70.
FIRST = Paper(
    number="HB-1", currency="USD", freight="", discount="", net="", taxes=(), total="82.00",
    lines=(("LV-10", "Lavender oil", "4", "12.50", "50.00"), ("SB-05", "Shea butter refined", "10", "3.20", "32.00")),
)  # fmt: skip
SECOND = replace(
    FIRST, number="HB-2", total="41.70",
    lines=(("LV-10", "Lavender oil", "2", "12.60", "25.20"), ("SB-05", "Shea butter refined", "5", "3.30", "16.50")),
)  # fmt: skip
STRANGE = ("Cat", "Ware", "Came", "Each", "Comes to")
ODD_COUNT = ("Item code", "Description", "Came", "Unit price", "Amount")
KINDS: dict[str, tuple[dict[str, Any], str]] = {
    "headings nobody knows": ({"headings": STRANGE}, "taken for packs"),
    "one heading nobody knows": ({"headings": ODD_COUNT}, "'Came' taken for packs"),
    "day or month first": ({"day": "03/04/2026"}, "the date '03/04/2026' is not certain"),
}


def draw(folder: Path, paper: Paper) -> Path:
    path = folder / f"{paper.number}.pdf"
    path.write_bytes(pdf(paper))
    return path


def post(book: Copy, *papers: Path) -> list[PostedPaper]:
    return commands.post(book.save(), papers)


def answered(book: Copy, said: str, date: Any = None) -> None:
    """Types a material, a pack and the answer on every line of the review tab."""
    (rows,) = book.written(TAB)
    for row in (r for r in rows if r["Why not posted"]):
        if row["Item code"]:
            book.type(TAB, "Material", row["Line"], {"LV-10": "Lavender essential oil"}.get(row["Item code"], "Shea butter"))
            book.type(TAB, "Pack size", row["Line"], 1)
            book.type(TAB, "Pack unit", row["Line"], "lb")
        if date:
            book.type(TAB, "Date", row["Line"], date)
        book.type(TAB, "Right?", row["Line"], said)
    book.save()


@pytest.mark.parametrize("kind", KINDS)
def test_a_confirmed_paper_teaches_the_next(kind: str, book: Copy, tmp_path: Path) -> None:
    from datetime import datetime

    changed, why = KINDS[kind]
    (waits,) = post(book, draw(tmp_path, replace(FIRST, **changed)))
    assert waits.state == "to review" and why in waits.why
    answered(book, "yes", datetime(2026, 4, 3) if "day" in changed else None)
    (posted,) = post(book)
    assert posted.state == "posted", posted.why
    (known,) = book.written(LAYOUTS)
    assert known and {row["Supplier"] for row in known} == {"Hollow Oak Botanicals Ltd"}
    later = replace(SECOND, **changed | ({"day": "05/04/2026"} if "day" in changed else {}))
    (second,) = post(book, draw(tmp_path, later))
    assert second.state == "posted", second.why
    rows = [r for r in book.written("Purchases")[0] if r["Paper"] == "HB-2"]
    assert [(r["Packs"], r["Price per pack"], r["Amount"]) for r in rows[:2]] == [(2, 12.6, 25.2), (5, 3.3, 16.5)]
    if "day" in changed:
        assert {str(r["Date"])[:10] for r in rows} == {"2026-04-05"}


def test_a_paper_that_was_not_confirmed_teaches_nothing(book: Copy, tmp_path: Path) -> None:
    post(book, draw(tmp_path, replace(FIRST, headings=STRANGE)))
    answered(book, "no")
    (still,) = post(book)
    assert still.state == "to review"
    assert LAYOUTS not in book.workbook.sheetnames
    second, first = post(book, draw(tmp_path, replace(SECOND, headings=STRANGE)))
    assert (second.state, first.state) == ("to review", "to review")


def test_what_is_known_of_one_supplier_says_nothing_of_another(book: Copy, tmp_path: Path) -> None:
    post(book, draw(tmp_path, replace(FIRST, headings=STRANGE)))
    answered(book, "yes")
    post(book)
    other = replace(SECOND, language="nl", number="HB-3", headings=STRANGE, currency="USD")
    (waits,) = post(book, draw(tmp_path, other))
    assert waits.state == "to review" and "headings nobody told yet" in waits.why


def test_a_column_of_another_meaning_is_not_taken_for_the_quantity(book: Copy, tmp_path: Path) -> None:
    """Figures under an unknown heading that do not make the amount stay unknown."""
    lines = (("LV-10", "Lavender oil", "7", "12.50", "50.00"), ("SB-05", "Shea butter refined", "9", "3.20", "32.00"))
    (waits,) = post(book, draw(tmp_path, replace(FIRST, headings=ODD_COUNT, lines=lines)))
    assert waits.state == "to review" and "taken for" not in waits.why and "lacks its quantity" in waits.why


def test_a_mark_between_figures_is_known_once_confirmed(book: Copy, tmp_path: Path) -> None:
    """2 x 1,250 = 2,500: a thousand, or one and a quarter? Nothing on the page tells; her yes does."""
    one = (("LV-10", "Lavender oil", "2", "1,250", "2,500"),)
    (waits,) = post(book, draw(tmp_path, replace(FIRST, lines=one, total="2,500")))
    assert waits.state == "to review" and "may have a decimal mark or a thousands mark" in waits.why
    answered(book, "yes")
    post(book)
    two = (("LV-10", "Lavender oil", "3", "1,100", "3,300"),)
    (second,) = post(book, draw(tmp_path, replace(SECOND, lines=two, total="3,300")))
    assert second.state == "posted", second.why
    assert [r["Amount"] for r in book.written("Purchases")[0] if r["Paper"] == "HB-2"] == [3300, 3300]


def test_a_row_she_types_under_paper_layouts_is_used_and_a_wrong_one_is_told(book: Copy, tmp_path: Path) -> None:
    post(book, draw(tmp_path, replace(FIRST, headings=STRANGE)))
    answered(book, "yes")
    post(book)
    book.type(LAYOUTS, "Means", ("Came",), "colour")
    found = commands.price(book.save()).findings
    assert any('"colour" is not known here' in f.sentence and f.where and f.where.tab == LAYOUTS for f in found)
    (waits,) = post(book, draw(tmp_path, replace(SECOND, headings=STRANGE)))
    assert waits.state == "to review" and "'Came' taken for packs" in waits.why
