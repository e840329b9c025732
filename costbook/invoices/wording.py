"""What the words on a supplier's paper mean: kinds of line, kinds of paper, how a charge is shared, what a pack holds.

All of it is common practice, no source, and says only what a line *looks like*; sums are checked in `checks`. Text that
came from a supplier leaves `clean` as text: control and direction marks are gone, a formula stays letters.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from decimal import Decimal
from functools import lru_cache
from itertools import pairwise

from costbook.book.model import InvoiceLine

# Marks that turn the direction of text around or take no room: a name could look like another one with them.
_INVISIBLE = frozenset("\u200b\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2060\u2066\u2067\u2068\u2069\ufeff")

_WORDS = re.compile(r"[^\W_]+")

# What a 'kind' column may say, beside the kinds' own names.
KIND_WORDS = {
    "goods": ("goods", "item", "product", "material", "stock", "merchandise"),
    "charge": (
        "charge",
        "freight",
        "shipping",
        "postage",
        "handling",
        "fee",
        "surcharge",
        "hazmat",
        "delivery",
        "carriage",
    ),
    "discount": ("discount", "rebate", "allowance"),
    "tax": ("tax", "sales tax", "vat", "gst", "hst"),
    "sample": ("sample", "free sample", "free", "free of charge"),
    "back-order": ("back order", "backorder", "back ordered", "backordered"),
    "total": ("total", "invoice total", "grand total"),
    "subtotal": ("subtotal", "sub total"),
    "paid": ("paid", "payment", "deposit", "prepaid"),
    "due": ("due", "balance due", "amount due"),
}
_KIND_BY_WORD = {word: kind for kind, words in KIND_WORDS.items() for word in words}

_SUPPLIES = r"(?! (?:box(?:es)?|(?:carton|label|bag|mailer|envelope|tube)s?|tape|supplies)\b)"
# In order: the first pattern found in the head of a description gives the kind.
_PATTERNS = tuple(
    (kind, re.compile(pattern))
    for kind, pattern in (
        ("subtotal", r"^(?:sub ?total|goods total|total goods|merchandise total|net total|total net)\b"),
        ("due", r"^(?:total due|amount due|balance due|balance|total payable|amount payable|please pay)\b"),
        ("total", r"^(?:invoice |grand |order |credit note |credit )?total(?: amount)?(?: (?!vat|gst|hst|ust|tva|btw|iva)[a-z]{3})?$"),
        ("paid", r"^(?:less )?(?:amount paid|paid|prepaid|deposit|payment|prepayment)\b"),
        ("tax", r"\b(?:sales tax|vat|gst|hst|pst|mwst|tva|tax)\b"),
        ("discount", r"\b(?:discount|rebate|rabatt|nachlass|skonto|remise|coupon)\b"),
        (
            "charge",
            r"\b(?:freight|postage|carriage|hazmat|surcharge|fees?|porto|versandkosten|fracht|frais de port|"
            rf"(?:shipping|handling|delivery|courier){_SUPPLIES})\b",
        ),
    )
)
# Words a line with an item code may consist of and still be no goods.
_ONLY_MONEY = frozenset(
    ("freight", "shipping", "and", "postage", "handling", "charge", "charges", "fee", "fees", "delivery", "hazmat",
     "surcharge", "order", "volume", "trade", "discount", "rebate", "sales", "tax", "vat", "carriage", "ground")
)  # fmt: skip
# A tax, and words that say it is in a price already, both as `plain` has them; in five languages.
TAX = r"(?:vat|sales tax|tax|taxes|gst|hst|mwst|ust|umsatzsteuer|mehrwertsteuer|steuer|steuerbetrag|tva|taxe|btw|iva)"
INCLUDING = r"(?:incl|includes?|including|inclusive|inkl|inklusive|einschl|enthalten|enthielten|inclusief|inclus|con|avec|with|comprise|incluido|incluyen)"
INSIDE_TAX = re.compile(
    rf"\b(?:prices?|preise?|alle preise|prix|prijzen|prijs|precios?)\b.{{0,30}}\b{INCLUDING}\b.{{0,20}}\b{TAX}\b|\bprix ttc\b|\bbruttopreise?\b(?!.*\d)"
)
# A note of its own: 'includes 20% VAT'.
NOTES_TAX = re.compile(rf"(?:{INCLUDING}|incluye|dont|davon|waarvan) [\d ]*{TAX}\b")
_WITH_TAX = re.compile(rf"\b{INCLUDING}\b.*\b{TAX}\b|\b{TAX}\b.*\b{INCLUDING}\b|\bttc\b|\bbrutto\w*|\bgross (?:price|amount|total)s?\b")
_SAMPLE = re.compile(r"\b(?:samples?|free|gratis\w*|no charge|muster|monster|kostenlos|echantillon\w*|gratuite?s?|muestras?)\b")
_BACK_ORDER = re.compile(r"\bback ?order(?:ed|s)?\b|\bout of stock\b|\bto follow\b|\bruckstand\b|\breliquat\b|\bnalevering\b")
_TYPES = (
    ("381", re.compile(r"\bcredit (?:note|memo|memorandum)\b|^credit$|^(?:facture d )?avoir\b|\bcredit ?(?:nota|factuur)\b|\bnota de (?:credito|abono)\b|"
                       r"^(?:factura de )?abono\b|\bfactura rectificativa\b|^numero d avoir\b|^creditnummer\b")),
    ("381?", re.compile(r"\bgutschrifts?(?:nummer)?\b")),
    ("384", re.compile(r"\bcorrect(?:ed|ive) invoice\b|\bcorrection\b|\brechnungskorrektur\b|\bkorrekturrechnung\b|\bstornorechnung\b|"
                       r"\bfacture rectificative\b")),
)
# What a paper that is no invoice calls itself, as `plain` has it, in five languages, by its UNTDID 1001 code; for what that
# list has no sure code the kind is a word. Common practice, no source.
_OTHER_PAPERS = {
    "325": r"pro ?forma(?: ?(?:invoice|rechnung|factuur|factura|facture))?|(?:invoice|rechnung|factuur|factura|facture) ?pro ?forma",
    "310": r"(?:price |sales )?(?:quote|quotation|estimate)|(?:preis)?angebot|kostenvoranschlag|devis|offre de prix|(?:prijs)?offerte|"
           r"presupuesto|oferta|cotizacion",
    "231": r"order (?:confirmation|acknowledge?ment)|(?:auftrags|bestell)bestatigung|confirmation de commande|orderbevestiging|"
           r"confirmacion del? pedido",
    "220": r"purchase order|bestellung|bon de commande|bestelling|pedido|orden de compra",
    "270": r"(?:delivery|despatch|dispatch) note|lieferschein|(?:bon|bordereau) de livraison|pakbon|leveringsbon|albaran(?: de entrega)?|nota de entrega",
    "271": r"packing (?:slip|list|note)|packliste|packzettel|liste de colisage|paklijst|lista de (?:empaque|embalaje|contenido)",
    "386": r"(?:prepayment|deposit|advance payment) invoice|(?:anzahlungs|vorauszahlungs|abschlags)rechnung|facture d acompte|voorschotfactuur|"
           r"factura de anticipo",
    "statement": r"(?:(?:account|customer) )?statement(?: of account)?|kontoauszug|releve(?: de compte| client)?|rekeningoverzicht|"
                 r"extracto(?: de cuenta)?|estado de cuenta",
    "reminder": r"(?:\d+ |first |second |final |last |erste |letzte )?(?:(?:payment )?reminder|mahnung|zahlungserinnerung)|overdue notice|"
                r"(?:lettre de )?(?:rappel|relance)|aanmaning|(?:betalings)?herinnering|recordatorio(?: de pago)?",
    "remittance": r"remittance(?: advice)?|payment advice|zahlungsavis|avis de (?:paiement|reglement|virement)|betalingsadvies|"
                  r"aviso de (?:pago|remesa)",
}  # fmt: skip
NOT_AN_INVOICE = "|".join(_OTHER_PAPERS.values())
_OTHERS = tuple((code, re.compile(rf"(?:{words})(?: (?:no|nr|n o|n|nummer|number|num))?(?: [\w ]*\d[\w ]*)?")) for code, words in _OTHER_PAPERS.items())
_SHARED = re.compile(r"\bshared? by (weight|value|pieces)\b")
_COVERS = re.compile(r"\b([a-z]+(?: fat)?) lines\b")
_PACK = re.compile(r"(\d[\d.,]*)\s*([^\W\d_][^\d]*)")


def clean(value: object) -> str:
    """The text of a value on one line: control and direction marks taken out, runs of blanks made one blank."""
    text = str(value)
    if text.isascii() and text.isprintable():
        return " ".join(text.split())
    kept = (" " if c.isspace() else c for c in text if c.isspace() or (c not in _INVISIBLE and _printable(c)))
    return " ".join("".join(kept).split())


def _printable(character: str) -> bool:
    return unicodedata.category(character) not in ("Cc", "Cs")


def folded(value: object) -> str:
    """The words of a value in small letters, everything else made blanks: what headings and names are compared by.

    >>> folded("  Pack-Price (USD): ")
    'pack price usd'
    """
    return _folded(str(value))


@lru_cache(4096)  # a paper is asked for the same few words over and over
def _folded(text: str) -> str:
    return " ".join(_WORDS.findall(clean(text).casefold().replace("#", " no ")))


@lru_cache(4096)
def plain(text: str) -> str:
    """The words of a text in small letters without accents and signs.

    >>> plain("Quantité (U.)"), plain("Stück")
    ('quantite u', 'stuck')
    """
    if text.isascii():
        return folded(text)
    apart = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    return folded("".join(c for c in apart if not unicodedata.combining(c)))


def tax_inside(text: str) -> bool:
    """Whether words say that a price or an amount is with tax inside: 'Amount (incl. VAT)', 'Prix TTC'."""
    return _WITH_TAX.search(plain(text)) is not None


def kind_of(
    description: str, amount: Decimal, *, said: str = "", code: str = "", pack: str = "", shipped: Decimal | None = None
) -> str:
    """The kind of a line: one of model.LINE_KINDS, or 'subtotal', 'paid' or 'due'.

    `said` is what a kind column says; it wins. A line with an item code or a pack is goods unless its words name
    nothing but money. A sample or a back-order is only what costs nothing: what is charged is goods.
    """
    by_column = _KIND_BY_WORD.get(folded(said), "")
    if by_column not in ("", "goods"):
        return by_column
    words = plain(description)
    if amount == 0 and (shipped == 0 or _BACK_ORDER.search(words)):
        return "back-order"
    if amount == 0 and _SAMPLE.search(words):
        return "sample"
    if by_column:
        return by_column
    return _kind_by_head(description, bool(code or pack))


def _kind_by_head(description: str, looks_like_goods: bool) -> str:
    """The kind by the words before the first comma or bracket: 'Salt, no discount' is salt."""
    head = folded(re.split(r"[,(;]", description, maxsplit=1)[0])
    if looks_like_goods and not (head and set(head.split()) <= _ONLY_MONEY):
        return "goods"
    return next((kind for kind, pattern in _PATTERNS if pattern.search(head)), "goods")


def type_of(text: str) -> str:
    """The type of paper its words name, as UNTDID 1001 code (381 credit note, 384 correction ...), '' where none do.

    '381?' is a word that means a bill of the buyer's as well as a credit note.
    """
    words = plain(text)
    return next((code for code, pattern in _TYPES if pattern.search(words)), "") or other_paper(text)


def other_paper(title: str) -> str:
    """The kind of a paper that is no invoice by a title that says nothing else but its number, '' for any other text.

    >>> other_paper("QUOTATION"), other_paper("Mahnung Nr. 17"), other_paper("your quotation no. 17")
    ('310', 'reminder', '')
    """
    words = plain(title)
    return next((code for code, pattern in _OTHERS if pattern.fullmatch(words)), "")


def only_positions(codes: Sequence[str]) -> bool:
    """Whether what stands under 'Item' only numbers the lines, in ones or tens: it would link the first line of every paper.

    >>> only_positions(["1", "2", "3"]), only_positions(["0010", "0020"]), only_positions(["1", "3"]), only_positions(["4711"])
    (True, True, False, False)
    """
    numbers = _numbers(codes)
    return any(numbers == [step * (at + 1) for at in range(len(codes))] for step in (1, 10)) and bool(codes)


def may_be_positions(codes: Sequence[str]) -> bool:
    """Whether item codes may be the numbers of lines of which some are left out: they begin with 1 or 10 and rise.

    >>> may_be_positions(["1"]), may_be_positions(["1", "3"]), may_be_positions(["7", "8"]), may_be_positions(["1", "A-3"])
    (True, True, False, False)
    """
    numbers = _numbers(codes)
    return numbers[:1] in ([1], [10]) and all(a < b for a, b in pairwise(numbers))


def _numbers(codes: Sequence[str]) -> list[int]:
    return [int(found[1]) if (found := re.fullmatch(r"(\d{1,5})\.?", code, re.ASCII)) else 0 for code in codes]


def without_positions(lines: Sequence[InvoiceLine], *, named_codes: bool = False) -> list[InvoiceLine]:
    """The lines of a paper without item codes that only number them; where they may only do so, that is told of each line.

    Args: named_codes says that their heading can only mean item codes, so that 1, 2, 3 are kept too, in doubt.
    """
    codes = [line.item_code for line in lines if line.item_code]
    if only_positions(codes) and not named_codes:
        return [line._replace(item_code="") for line in lines]
    doubt = may_be_positions(codes)
    return [line._replace(code_in_doubt=True) if doubt and line.item_code else line for line in lines]


def sharing(text: str) -> tuple[str, str]:
    """How a charge or discount is spread by its own words: (shared by, covers), '' where it does not say.

    >>> sharing("Hazmat fee (share by value, scent lines)")
    ('value', 'scent')
    """
    words = folded(text)
    shared, covers = _SHARED.search(words), _COVERS.search(words)
    return (shared[1] if shared else "", covers[1] if covers else "")


def pack_parts(text: str) -> tuple[str, str]:
    """What one pack holds as (size, unit), as written; a phrase of another shape stays whole as the size.

    >>> pack_parts("32 fl oz"), pack_parts("12 x 2 oz")
    (('32', 'fl oz'), ('12 x 2 oz', ''))
    """
    whole = clean(text)
    found = _PACK.fullmatch(whole)
    return (found[1], found[2].strip()) if found else (whole, "")
