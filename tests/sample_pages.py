"""The demo's supplier papers as printed pages: a PDF of each, and one page scanned askew. Same bytes for the same papers.

Drawn from the scenario's lines as a supplier's own program would print them; the words are those of the lists.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from decimal import Decimal

from costbook.demo.papers import BUYER, CURRENCY, MADE_UP, paper_lines
from costbook.demo.tables import Record

# Heading on the page, the column of the scenario it comes from, where it stands in points, and whether to the right of that.
COLUMNS = (
    ("Item code", "Code", 40, False), ("Description", "Line", 92, False), ("Packs", "Packs", 318, True),
    ("Pack", "Pack", 330, False), ("Price per pack", "Pack price", 437, True), ("Amount", "Amount", 496, True),
    ("Lot", "Lot", 504, False), ("Best before", "Best before", 545, False),
)  # fmt: skip
WIDTH, HEIGHT = 612, 792  # US letter, points
SMALL, LINE = 8, 13
SCANNED, DPI, SKEW_DEGREES = "B-0977", 300, 2.0


NUMBERS = ("B-0977", "B-1041", "C-0388", "C-0391", "S-2207")


def printed_papers() -> dict[str, bytes]:
    """Every paper of the demo as a PDF, by name."""
    return {f"{number}.pdf": printed_page(number) for number in NUMBERS}


def printed_page(number: str) -> bytes:
    """One paper of the demo as a PDF with a text layer."""
    return drawn_page(paper_lines(number))


def drawn_page(lines: Sequence[Record]) -> bytes:
    """A paper of such lines as a PDF with a text layer; there is room for about fifty on its one page."""
    from reportlab.pdfgen.canvas import Canvas

    out, head = io.BytesIO(), lines[0]
    page = Canvas(out, pagesize=(WIDTH, HEIGHT), invariant=1)
    kind = "Credit note" if all(Decimal(line["Amount"]) <= 0 for line in lines) else "Invoice"
    page.setTitle(f"{kind} {head['Invoice']}")
    page.setFont("Helvetica-Bold", 15)
    page.drawString(40, HEIGHT - 50, head["Supplier"])
    page.setFont("Helvetica", 9)
    for i, words in enumerate((f"{kind} no: {head['Invoice']}", f"Date: {head['Date']}", f"Currency: {CURRENCY}", f"Bill to: {BUYER}")):
        page.drawString(380, HEIGHT - 50 - i * LINE, words)
    top = HEIGHT - 130
    page.setFont("Helvetica-Bold", SMALL)
    _row(page, top, {heading: heading for heading, *_ in COLUMNS})
    page.line(40, top - 4, WIDTH - 20, top - 4)
    page.setFont("Helvetica", SMALL)
    for line in lines:
        top -= LINE
        if line["Line is"] == "total":
            page.line(40, top + LINE - 4, WIDTH - 20, top + LINE - 4)
            page.setFont("Helvetica-Bold", SMALL)
        _row(page, top, {heading: line[column] for heading, column, *_ in COLUMNS})
    page.setFont("Helvetica-Oblique", 7)
    page.drawString(40, 40, MADE_UP)
    page.save()
    return out.getvalue()


def _row(page, top: int, cells: dict[str, str]) -> None:  # type: ignore[no-untyped-def]
    for heading, _, place, right in COLUMNS:
        (page.drawRightString if right else page.drawString)(place, top, cells[heading])


def scanned_page() -> bytes:
    """One page as a scanner gives it: grey, 300 dots an inch, two degrees askew; a PNG."""
    import pypdfium2
    from PIL import Image

    page = pypdfium2.PdfDocument(printed_page(SCANNED))[0]
    picture = page.render(scale=DPI / 72, grayscale=True).to_pil()
    askew = picture.rotate(SKEW_DEGREES, Image.Resampling.BICUBIC, expand=True, fillcolor=255)
    out = io.BytesIO()
    askew.save(out, "PNG", optimize=True, dpi=(DPI, DPI))
    return out.getvalue()
