"""The headings of supplier lists, in five languages: what a column holds by its words, and which of several such columns is meant."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache

from costbook.book.grid import Value
from costbook.invoices.line_terms import discount_role, priced_for
from costbook.invoices.wording import clean, folded, plain, tax_inside

# What a heading may be called, folded (small letters, no signs; '#' is ' no '), by what the column holds.
HEADINGS: Mapping[str, tuple[str, ...]] = {
    "number": ("invoice no", "invoice number", "invoice nr", "invoice id", "invoice", "credit note no", "credit note number",
               "credit memo no", "credit note", "bill no", "paper no", "paper number", "paper", "document no", "document number",
               "document", "number"),
    "type": ("type", "paper type", "document type"),
    "date": ("invoice date", "issue date", "issued", "paper date", "document date", "date"),
    "supplier": ("supplier", "supplier name", "vendor", "vendor name", "seller", "from"),
    "code": ("item code", "item no", "item number", "item id", "sku", "article no", "article number", "product code",
             "code", "part no", "part number", "catalog no", "catalogue no", "supplier code", "material code",
             "reference", "ref"),
    "name": ("item description", "product description", "description", "item name", "product name", "line item", "product",
             "item", "article", "material", "name", "details", "line", "designation"),
    "packs": ("packs", "qty", "quantity", "count", "units", "no of packs", "number of packs", "pieces", "pcs"),
    "ordered": ("ordered", "qty ordered", "quantity ordered", "ordered qty", "packs ordered", "order qty"),
    "shipped": ("shipped", "qty shipped", "quantity shipped", "shipped qty", "packs shipped", "delivered",
                "qty delivered", "sent"),
    "back_ordered": ("back ordered", "backordered", "back order", "backorder", "b o", "qty back ordered",
                     "packs back ordered"),
    "pack": ("pack", "pack size", "size", "package", "package size", "packing", "container", "contents", "unit size"),
    "pack_unit": ("pack unit", "pack size unit", "unit of pack", "size unit", "pack uom", "contents unit"),
    "unit": ("unit", "uom", "unit of measure", "sold by"),
    "price": ("pack price", "unit price", "price each", "each", "price", "price per pack", "cost each", "unit cost",
              "rate"),
    "amount": ("amount", "line total", "total", "line amount", "extended", "extended price", "extension", "ext price",
               "extended amount", "net", "net amount", "total price", "charged"),
    "kind": ("kind", "line kind", "row kind", "line type", "kind of line"),
    "shared_by": ("shared by", "share by", "shared"),
    "covers": ("covers", "lines covered", "applies to"),
    "lot": ("lot", "lot no", "lot number", "batch", "batch no", "batch number"),
    "best_before": ("best before", "best by", "best before date", "expiry", "expiry date", "expires", "exp date",
                    "use by"),
    "currency": ("currency", "currency code"),
    "paper_total": ("invoice total", "paper total", "grand total"),
    "discount": ("discount", "line discount", "disc", "disc in", "discount in", "discount percent", "discount pct", "discount amount",
                 "disc amount", "discount value"),
    "price_for": ("per", "price unit", "price per", "price basis", "price base", "price quantity", "pricing unit"),
}  # fmt: skip
# The same in German, French, Dutch and Spanish, as `plain` has them (no accents), for lists and for printed tables. 'tax',
# 'tax_money' and 'gross' are told apart on pages so that they are not taken for money of the line.
ELSEWHERE: Mapping[str, tuple[str, ...]] = {
    "pos": ("ligne", "regel", "linea"),
    "code": ("art nr", "artikelnr", "artikelnummer", "artikel nr", "art nr lief", "bestellnummer", "best nr",
             "code article", "artikelcode", "referencia", "codigo", "code produit"),
    "name": ("beschreibung", "bezeichnung", "artikel", "artikelbezeichnung", "leistung", "libelle",
             "produit", "omschrijving", "descripcion", "concepto", "producto", "articulo"),
    "packs": ("menge", "anzahl", "stuck", "stk", "quantite", "qte", "aantal", "hoeveelheid", "cantidad", "cant", "uds",
              "unidades"),
    "unit": ("einheit", "einh", "me", "unite", "eenheid", "unidad", "ud"),
    "price": ("einzelpreis", "preis", "e preis", "ep", "nettopreis", "stuckpreis", "preis stuck", "preis pro einheit",
              "prix unitaire", "prix unitaire ht", "prix u", "prix u ht", "pu", "pu ht", "p u ht", "p u", "prix",
              "stukprijs", "prijs", "eenheidsprijs", "prijs per stuk", "precio", "precio unitario", "precio unit",
              "p unitario", "precio ud"),
    "discount": ("rabatt", "rabatt in", "rabattbetrag", "nachlass", "rem", "remise", "montant remise", "remise montant", "korting",
                 "kortingsbedrag", "descuento", "dto", "importe descuento", "importe dto"),
    "price_for": ("pe", "preiseinheit", "preis je", "preis pro", "unite de prix", "base prix", "base de prix", "prix par", "prix pour",
                  "prijseenheid", "prijs per", "unidad de precio", "por", "base precio", "precio por"),
    "amount": ("betrag", "gesamt", "gesamtpreis", "nettobetrag", "summe", "entgelt", "gesamt netto", "positionssumme",
               "montant", "montant ht", "total ht", "prix ht", "prix total", "prix total ht", "bedrag", "totaal",
               "netto bedrag", "regeltotaal", "bedrag excl btw", "totaal excl btw", "importe", "importe neto",
               "total sin iva"),
    "tax": ("mwst", "ust", "steuer", "steuersatz", "mwst satz", "ust satz", "tva", "taux tva",
            "btw", "btw tarief", "iva", "tipo iva"),
    "tax_money": ("mwst betrag", "steuerbetrag", "montant tva", "btw bedrag", "cuota iva"),
    "gross": ("brutto", "bruttobetrag", "gesamt brutto",
              "total ttc", "montant ttc", "prix ttc", "totaal incl btw", "bedrag incl btw", "total con iva", "importe con iva",
              "preis brutto", "preis inkl mwst", "prijs incl btw", "precio con iva", "betrag inkl mwst", "gesamt inkl mwst"),
}  # fmt: skip
# And of the paper itself, which stand above or in the columns of a list; a page has them by pattern.
_PAPER_ELSEWHERE: Mapping[str, tuple[str, ...]] = {
    "number": ("rechnungsnummer", "rechnungs nr", "rechnungsnr", "rechnung nr", "rechnung no", "rechnung", "gutschriftsnummer", "gutschrift nr",
               "rechnungskorrektur nr", "facture n", "facture no", "numero de facture", "numero facture", "no facture", "no de facture", "n facture",
               "n de facture", "facture", "avoir n", "avoir no", "numero d avoir", "factuurnummer", "factuurnr", "factuur nr", "factuur", "creditnota nr",
               "creditnummer", "factura n o", "factura no", "factura n", "numero de factura", "numero factura", "no factura", "n factura",
               "n o factura", "n o de factura", "n de factura", "factura", "nota de credito n o", "abono n o", "belegnummer", "beleg nr"),
    "date": ("rechnungsdatum", "date de facture", "date facture", "date de la facture", "factuurdatum", "fecha de factura", "fecha factura",
             "fecha de la factura", "belegdatum", "datum", "fecha"),
    "supplier": ("lieferant", "fournisseur", "leverancier", "proveedor", "verkaufer", "vendeur", "verkoper", "vendedor"),
    "currency": ("wahrung", "devise", "valuta", "moneda", "divisa"),
    "lot": ("charge", "charge nr", "chargen nr", "partij", "lote", "no lot", "numero de lot"),
}  # fmt: skip
_LISTED = ("code", "name", "packs", "unit", "price", "amount", "discount", "price_for")
DAY_FIRST = frozenset(
    {word for table in (ELSEWHERE, _PAPER_ELSEWHERE) for words in table.values() for word in words}
    - {word for words in HEADINGS.values() for word in words}
)
# Of two columns or labels of these the one that is worded more closely is meant: they stand in that order above.
_RANKS = {
    heading: rank
    for table in (_PAPER_ELSEWHERE, ELSEWHERE, HEADINGS)
    for role in ("number", "date", "supplier", "code", "name")
    for rank, heading in enumerate(table.get(role, ()))
}
HEAD = ("number", "date", "supplier")
_NAMES_CODES = re.compile(r"\b(?:code|sku|id|article|part|catalog|catalogue)\b")  # 'Item no' may number the lines
_ITEM = ("item", "artikel", "produit", "articulo", "producto")
_SURE = re.compile(
    r"\b(?:invoice|credit|bill|supplier|vendor|seller|rechnung\w*|gutschrift\w*|lieferant|facture|avoir|fournisseur|factuur\w*|"
    r"credit(?:nota|nummer)|leverancier|factura|abono|proveedor)\b"
)
_ROLES = {
    heading: role
    for table, roles in ((_PAPER_ELSEWHERE, tuple(_PAPER_ELSEWHERE)), (ELSEWHERE, _LISTED), (HEADINGS, tuple(HEADINGS)))
    for role in roles
    for heading in table[role]
}


def columns_in(row: Sequence[Value]) -> dict[str, int]:
    """Role -> column of a row of headings; {} where the row is none: it needs a name or code, and money."""
    found = columns_named(row, heading_role)
    usable = ("name" in found or "code" in found) and ("amount" in found or {"packs", "price"} <= found.keys())
    return found if usable else {}


def columns_named(row: Sequence[Value], role_of: Callable[[str], str]) -> dict[str, int]:
    """Role -> column of the cells of a row by what their words name; beside a description 'Item' is the code."""
    found: dict[str, int] = {}
    second: dict[str, int] = {}
    for column, value in sorted(enumerate(row), key=lambda at: (inside(at[1]), rank(at[1]))):  # one without tax before one with it
        role = role_of(value) if isinstance(value, str) else ""
        if role:
            (second if role in found else found).setdefault(role, column)
    return _item_as_code(row, found, second["name"]) if "name" in second and "code" not in found else found


@lru_cache(maxsize=4096)
def heading_role(heading: str) -> str:
    """What a heading's words name, a bracket after them left out: 'Amount (USD)' is an amount, 'Price/100' a price."""
    role = _role(heading) or _role(priced_for(heading)[0] if priced_for(heading)[1] > 1 else "")
    if role == "price_for" and priced_for(heading)[1] > 1:
        return "price"
    role = role or _role(re.sub(r"\([^)]*\)", " ", heading))
    return discount_role(heading) if role == "discount" else role


def _role(heading: str) -> str:
    return _ROLES.get(folded(heading)) or _ROLES.get(plain(heading), "")


def inside(value: Value) -> str:
    """The words of a cell that say its prices or amounts are with tax inside, '' where none do."""
    return clean(value) if isinstance(value, str) and tax_inside(value) else ""


def _item_as_code(row: Sequence[Value], found: dict[str, int], other: int) -> dict[str, int]:
    """Beside a description, 'Item' is the item's code."""
    item = next((column for column, value in enumerate(row) if isinstance(value, str) and plain(value) in _ITEM), None)
    return found if item is None else {**found, "code": item, "name": other if item == found["name"] else found["name"]}


def may_be_price(heading: str) -> bool:
    """Whether a heading that is not known may be of prices: 'Net price', 'Cost ex works'."""
    return not heading_role(heading) and re.search(r"\b(?:\w*price|\w*preis|prix|\w*prijs|precio|cost|rate)\b", plain(heading)) is not None


def rank(heading: Value) -> int:
    """How closely a heading words what its column holds, 0 the most; what is no such heading counts as 0."""
    if not isinstance(heading, str):
        return 0
    words = folded(heading) if folded(heading) in _ROLES else plain(heading)
    return _RANKS.get(words if words in _ROLES else folded(re.sub(r"\([^)]*\)", " ", heading)), 0)


def sure(heading: Value) -> bool:
    """Whether a heading can only mean the paper's own number, date or supplier."""
    return _SURE.search(plain(heading)) is not None


def names_codes(heading: Value) -> bool:
    """Whether a heading can only mean the supplier's item codes, not the numbers of the lines."""
    return _NAMES_CODES.search(folded(heading)) is not None


def rivals(row: Sequence[Value], columns: Mapping[str, int]) -> list[tuple[str, int]]:
    """Columns that may as well hold the paper's number, date or supplier as those taken for it."""
    return [
        (role, column)
        for column, heading in enumerate(row)
        if isinstance(heading, str) and (role := heading_role(heading)) in HEAD and columns[role] != column and sure(heading) >= sure(row[columns[role]])
    ]
