"""Invented supplier papers, drawn as PDFs in five languages; their figures are typed here and added up by hand.

The lines of every paper: 4 x 12.50 = 50.00, 10 x 3.20 = 32.00, 3 x 24.90 = 74.70, together 156.70. With freight 9.50 and
discount 6.20 they are 160.00; with tax of 20 % on 100.00 (20.00) and 5 % on 60.00 (3.00) that makes 183.00.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field

from reportlab.pdfgen.canvas import Canvas

LINES = (
    ("LV-10", "Lavender oil 100 ml", "4", "12.50", "50.00"),
    ("SB-05", "Shea butter refined", "10", "3.20", "32.00"),
    ("BX-77", "Box white with window", "3", "24.90", "74.70"),
)
WRAPPED = "first pressing, batch of spring"


@dataclass(frozen=True)
class Words:
    """What one language's paper says: title, labels, headings and sums, and how it writes figures and dates."""

    title: str
    credit: str
    number: str
    credit_number: str
    dated: str
    day: str
    headings: tuple[str, str, str, str, str]
    freight: str
    discount: str
    net: str
    tax: tuple[str, str]
    total: str
    supplier: str
    comma: bool = True


LANGUAGES = {
    "en": Words("INVOICE", "CREDIT NOTE", "Invoice no.", "Credit note no.", "Invoice date", "14 September 2026",
                ("Item code", "Description", "Qty", "Unit price", "Amount"), "Freight", "Discount", "Net total",
                ("VAT 20 %", "VAT 5 %"), "Invoice total", "Hollow Oak Botanicals Ltd", comma=False),
    "de": Words("Rechnung", "Rechnungskorrektur", "Rechnungsnummer:", "Rechnungskorrektur Nr.", "Rechnungsdatum:", "14.09.2026",
                ("Art.-Nr.", "Bezeichnung", "Menge", "Einzelpreis", "Gesamt"), "Versandkosten", "Rabatt", "Summe netto",
                ("MwSt. 20 %", "MwSt. 5 %"), "Rechnungsbetrag", "Eichenhain Rohstoffe GmbH"),
    "fr": Words("FACTURE", "AVOIR", "Facture n°", "Avoir n°", "Date de facture", "14/09/2026",
                ("Référence", "Désignation", "Quantité", "Prix unitaire HT", "Montant HT"), "Frais de port", "Remise", "Total HT",
                ("TVA 20 %", "TVA 5 %"), "Total TTC", "Chêne Creux SARL"),
    "nl": Words("FACTUUR", "CREDITNOTA", "Factuurnummer", "Creditnota nr.", "Factuurdatum", "14 september 2026",
                ("Artikelcode", "Omschrijving", "Aantal", "Stukprijs", "Bedrag"), "Verzendkosten", "Korting", "Subtotaal excl. btw",
                ("btw 20 %", "btw 5 %"), "Totaal incl. btw", "Holle Eik Grondstoffen B.V."),
    "es": Words("FACTURA", "NOTA DE CRÉDITO", "Factura n.º", "Nota de crédito n.º", "Fecha de factura", "14/09/2026",
                ("Código", "Descripción", "Cantidad", "Precio unitario", "Importe"), "Portes", "Descuento", "Base imponible",
                ("IVA 20 %", "IVA 5 %"), "Total factura", "Roble Hueco S.L."),
}  # fmt: skip


@dataclass
class Paper:
    """A paper to draw: its language and what is unusual about it."""

    language: str = "en"
    number: str = "HB-2041"
    lines: Sequence[tuple[str, str, str, str, str]] = LINES
    headings: tuple[str, ...] | None = None
    freight: str = "9.50"
    discount: str = "-6.20"
    net: str = "160.00"
    taxes: Sequence[str] = ("20.00", "3.00")
    total: str = "183.00"
    credit: bool = False
    wrapped: bool = False
    notes: Sequence[str] = field(default_factory=tuple)
    currency: str = "EUR"
    day: str | None = None
    title: str = ""
    note_size: int = 10
    sums_at: tuple[int, int] = (350, 545)
    dated: bool = True
    grid: Sequence[tuple[str, str]] = ()

    @property
    def words(self) -> Words:
        return LANGUAGES[self.language]

    def figure(self, text: str) -> str:
        return text.replace(".", ",") if self.words.comma else text


def pdf(paper: Paper) -> bytes:
    """The paper on one A4 page."""
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(595, 842), invariant=1)
    _head(canvas, paper)
    down = _table(canvas, paper, 600)
    _sums(canvas, paper, down - 26)
    canvas.save()
    return out.getvalue()


def _head(canvas: Canvas, paper: Paper) -> None:
    words = paper.words
    canvas.setFont("Helvetica-Bold", 16)
    canvas.drawString(50, 790, words.supplier)
    canvas.setFont("Helvetica", 9)
    canvas.drawString(50, 774, "12 Mill Lane")
    canvas.setFont("Helvetica-Bold", 14)
    canvas.drawString(50, 720, paper.title or (words.credit if paper.credit else words.title))
    canvas.setFont("Helvetica", 10)
    for y, label, value in (
        (696, words.credit_number if paper.credit else words.number, paper.number),
        (682, words.dated, words.day if paper.day is None else paper.day),
    ):
        if paper.dated or y == 696:
            canvas.drawString(50, y, label)
            canvas.drawString(190, y, value)
    for x, (label, value) in zip((50, 200, 350), paper.grid):
        canvas.drawString(x, 668, label)
        canvas.drawString(x, 656, value)
    canvas.setFont("Helvetica", paper.note_size)
    for y, note in zip(range(660, 600, -12), paper.notes):
        canvas.drawString(50, y, note)


def _table(canvas: Canvas, paper: Paper, y: float) -> float:
    headings = paper.words.headings if paper.headings is None else paper.headings
    canvas.setFont("Helvetica-Bold", 9)
    for x, right, text in zip((50, 120, 345, 455, 545), (0, 0, 1, 1, 1), headings):
        (canvas.drawRightString if right else canvas.drawString)(x, y, text)
    canvas.setFont("Helvetica", 9)
    for code, name, *figures in paper.lines:
        y -= 16
        canvas.drawString(50, y, code)
        canvas.drawString(120, y, name)
        for x, figure in zip((345, 455, 545), figures):
            canvas.drawRightString(x, y, paper.figure(figure))
        if paper.wrapped:
            y -= 11
            canvas.drawString(120, y, WRAPPED)
    return y


def _sums(canvas: Canvas, paper: Paper, y: float) -> None:
    words = paper.words
    rows = [
        (words.discount, paper.discount),
        (words.freight, paper.freight),
        (words.net, paper.net),
        *zip(words.tax, paper.taxes),
        (words.total, paper.total),
    ]
    for label, amount in rows:
        if amount:
            canvas.drawString(paper.sums_at[0], y, label)
            canvas.drawRightString(paper.sums_at[1], y, paper.figure(amount))
            y -= 15
    canvas.setFont("Helvetica", 8)
    canvas.drawString(50, 60, paper.currency)


def negative(lines: Sequence[tuple[str, str, str, str, str]]) -> list[tuple[str, str, str, str, str]]:
    """The lines as a credit note writes them that shows what goes back with a minus."""
    return [(code, name, f"-{packs}", price, f"-{net}") for code, name, packs, price, net in lines]


def credit(language: str) -> Paper:
    """The paper that takes all of it back."""
    return Paper(language, "CN-77", negative(LINES), freight="-9.50", discount="6.20", net="-160.00",
                 taxes=("-20.00", "-3.00"), total="-183.00", credit=True)  # fmt: skip
