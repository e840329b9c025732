"""The words on a printed paper that name its columns, its labels and its sums, in five languages.

English, German, French, Dutch and Spanish; common practice, no source. Headings are those of `headings` and the few a
printed table has beside. All are compared after `plain`: small letters, no accents, no signs.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from costbook.invoices.headings import ELSEWHERE, HEADINGS
from costbook.invoices.wording import INCLUDING, NOT_AN_INVOICE, TAX, plain

# Headings that English papers print too: they tell nothing of whether the day comes first in a date.
_ENGLISH: Mapping[str, tuple[str, ...]] = {
    "pos": ("pos", "position", "line no", "no", "nr", "item no", "ln", "n"),
    "code": ("reference", "ref", "art no", "cod", "item code"),
    "name": ("designation", "goods", "description of goods"),
    "packs": ("qty shipped",),
    "price": ("unit price net",),
    "amount": ("netto", "line net", "net total", "amount net", "total net", "amount excl vat", "total excl vat", "line total net"),
    "tax": ("tax", "vat", "vat rate", "tax rate", "gst"),
    "tax_money": ("vat amount", "tax amount"),
    "gross": ("amount incl vat", "total incl vat", "gross", "gross amount", "price incl vat", "gross price", "unit price incl vat"),
}  # fmt: skip
_USED = (
    "code",
    "name",
    "packs",
    "ordered",
    "shipped",
    "back_ordered",
    "pack",
    "unit",
    "price",
    "amount",
    "lot",
    "best_before",
    "discount",
    "price_for",
)


ROLES: Mapping[str, str] = {
    plain(word): role
    for role, words in [*ELSEWHERE.items(), *_ENGLISH.items(), *((role, HEADINGS[role]) for role in _USED)]
    for word in words
}

_LESS = r"(?:excl|excluding|exclusief|ohne|zzgl|vor|before|without|hors|sin|net of|ex|plus)"
# In order: the first that is found in the words before a sum says what the sum is.
SUMS: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (kind, re.compile(pattern))
    for kind, pattern in (
        ("carry", r"^(?:ubertrag|carried forward|brought forward|carry over|report|transport|suma y sigue|a reporter)\b"),
        ("inside", rf"^(?:of which|davon|darin|dont|waarvan|enthalt\w*|enthaltene|{INCLUDING}) .*\b{TAX}\b"),
        ("inside", rf"^{INCLUDING} \d* ?{TAX}\b"),
        ("due", r"^(?:total |balance |amount )?due\b|^balance\b|\bzahlbetrag\b|\bzu zahlen\b|\bnet a payer\b|\breste a payer\b|"
                r"\bte betalen\b|\bopenstaand\b|\ba pagar\b|^amount payable|^total payable|^please pay|\bzahllast\b|\bpendiente\b"),
        ("paid", r"\b(?:paid|deposit|prepaid|prepayment|anzahlung(?:en)?|acompte|acomptes|aanbetaling|voorschot|anticipo|"
                 r"deja paye|bereits bezahlt|deja regle|pago a cuenta|payment received|vorauszahlung)\b"),
        ("gross", rf"\b(?:total|totaal|gesamt\w*|summe|betrag|rechnungsbetrag|endbetrag|amount|montant|importe|bedrag|"
                  rf"factuurbedrag)\b.*\b{INCLUDING}\b.*\b{TAX}\b"),
        ("net", rf"\b{_LESS}\b.*\b{TAX}\b|\btotal h ?t\b|\bmontant h ?t\b|\bsin iva\b"),
        ("net", r"^sub ?tota(?:l|al)\b|^zwischensumme|^nettobetrag|^netto(?:summe)?\b|^summe netto|^gesamt(?:betrag)? netto|"
                r"^net (?:total|amount)\b|^total net\b|^goods total|^totaal netto|^nettobedrag|^base imponible|^positionssumme|"
                r"^warenwert|^total bruto|^suma\b|^tussentotaal|^sous total|^importe neto|^total neto|^summe positionen"),
        ("tax total", rf"^(?:total|summe|gesamt|totaal|total de) (?:{TAX})\b|^steuerbetrag\b|^total taxes\b|^total tax\b|^cuota total"),
        ("tax", rf"\b{TAX}\b"),
        ("discount", r"\b(?:discount|rebate|rabatt|nachlass|sondernachlass|abschlage|abschlag|remise|rabais|ristourne|korting|"
                     r"descuento|dto|allowance|gutschein|coupon)\b"),
        ("charge", r"\b(?:freight|postage|carriage|shipping|handling|delivery|courier|hazmat|surcharge|fees?|porto|versand|"
                   r"versandkosten|fracht|frachtkosten|lieferkosten|verpackung|zuschlage|zuschlag|frais|port|livraison|"
                   r"verzendkosten|vracht|vrachtkosten|transportkosten|bezorgkosten|verpakking|portes|gastos|envio|transporte|flete)\b"),
        ("gross", r"\b(?:grand|invoice|order|credit note|credit) total\b|^total(?: amount)?\b|^total [a-z]{3}$|\bttc\b|"
                  r"^gesamt(?:betrag|summe)?\b|^rechnungs(?:betrag|summe)\b|^endbetrag|^end ?summe|^brutto(?:betrag|summe)?\b|"
                  r"^summe\b|^totaal\b|^factuurbedrag|^eindtotaal|^montant total|^importe total|^total factura|^gutschriftsbetrag|"
                  r"^totaalbedrag|^creditbedrag|^total avoir|^total abono"),
    )
)  # fmt: skip

_NO = r"(?: ?(?:no|nr|number|num|nummer|numero|n o|n|id))"
# The number of the paper, and its date: the first of each pair is the sure wording.
NUMBERS = (
    re.compile(rf"^(?:tax |sales )?invoice{_NO}|^rechnungs ?(?:nummer|nr|no)|^(?:handels|schluss|teil)?rechnung{_NO}|"
               rf"^facture{_NO}|^numero de facture|^factuur ?(?:nummer|nr|no)|^factura{_NO}|^(?:numero|n o|no|n) de factura|"
               rf"^n o de facture|^no facture|^n facture|^bill{_NO}"),
    re.compile(r"^(?:invoice|rechnung|handelsrechnung|facture|factuur|factura)(?= |$)"),
)  # fmt: skip
CREDIT_NUMBERS = (
    re.compile(rf"^credit (?:note|memo){_NO}|^gutschrifts ?(?:nummer|nr)|^gutschrift{_NO}|^gutschrift selbst ausgestellte rechnung{_NO}|^avoir{_NO}|^numero d avoir|"
               rf"^credit ?(?:nota|factuur) ?(?:nummer|nr|no)|^creditnummer|^(?:nota de credito|abono|factura rectificativa){_NO}|"
               rf"^rechnungskorrektur{_NO}|^n o d avoir|^n d avoir"),
    re.compile(r"^(?:credit (?:note|memo)|gutschrift|avoir|creditnota|creditfactuur|nota de credito|abono|rechnungskorrektur)(?= |$)"),
)  # fmt: skip
DATES = (
    re.compile(r"^(?:invoice|issue|credit note|bill|document) date|^date of (?:issue|invoice)|^date issued|^rechnungs ?datum|^belegdatum|"
               r"^gutschrift(?:s ?)?datum|^date (?:de (?:la )?)?(?:facture|facturation|l avoir|emission)|^date d (?:emission|avoir)|"
               r"^factuur ?datum|^credit ?datum|^fecha (?:de )?(?:(?:la )?factura|emision|expedicion|abono)|^datum der rechnung"),
    re.compile(r"^(?:date|datum|fecha|vom|dated|van|le)(?= |$)"),
)  # fmt: skip
NOT_THE_DATE = re.compile(
    r"^(?:date|datum|fecha) (?:d echeance|de livraison|due|de entrega|de vencimiento|of delivery|of supply|der lieferung|limite|de commande)"
)
# What a paper calls itself, in a short phrase above the lines.
TITLES: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (code, re.compile(pattern))
    for code, pattern in (
        ("not", rf"^(?:{NOT_AN_INVOICE})(?! (?:date|datum|no|nr|n|number|nummer|numero|ref|vom|du|\d))\b"),
        ("389", r"^self billed invoice|^gutschrift selbst|\b389\b"),
        ("384", r"^rechnungskorrektur|^korrekturrechnung|^stornorechnung|^corrected invoice|^corrective invoice|^facture rectificative"),
        ("381?", r"^gutschrift\b"),
        ("381", r"^credit (?:note|memo|memorandum|invoice)|^facture d avoir|^avoir\b|^credit ?(?:nota|factuur)|^nota de (?:credito|abono)|"
                r"^abono\b|^factura rectificativa|^credit$"),
        ("380", r"^(?:tax |sales |commercial |trade )?invoice\b|^(?:handels|schluss|teil)?rechnung\b|^facture\b|^factuur\b|^factura\b|^bill\b|"
                r"^invoice|^rechnungs ?n|^factuurn|^numero de fact"),
    )
)  # fmt: skip
SELLER = re.compile(r"^(?:seller|supplier|vendor|from|sold by|verkaufer|lieferant|rechnungssteller|vendeur|fournisseur|emetteur|"
                    r"verkoper|leverancier|vendedor|proveedor|emisor|remit to)$")  # fmt: skip
BUYER = re.compile(r"^(?:bill(?:ed)? to|sold to|ship(?:ped)? to|invoice to|deliver to|to|buyer|customer|kunde|kaufer|kaufer leistungsempfanger|"
                   r"rechnung an|rechnungsempfanger|lieferadresse|client|facture a|acheteur|adresse de livraison|klant|koper|factuur aan|"
                   r"cliente|comprador|facturar a|an|a)$")  # fmt: skip
LEGAL_FORM = re.compile(
    r"(?:^| )(?:ltd|limited|llc|inc|corp|plc|gmbh|ag|kg|ohg|ug|e k|sarl|sas|sa|eurl|b v|bv|v o f|vof|s l|sl|s a|co|gbr)(?: |$)"
)
REGISTRATION = re.compile(r"\b(?:vat|gst|iban|bic|swift|bank|ust id(?:nr)?|ust|steuernummer|hrb|siret|siren|rcs|tva|kvk|btw|nif|cif|iva|registered|company no)\b")
MONTHS: Mapping[str, int] = {
    name: number
    for number, names in enumerate(
        ("january januar janvier januari enero jan janv ene", "february februar fevrier februari febrero feb fevr febr",
         "march marz mars maart marzo mar mrz mrt", "april avril abril apr avr abr", "may mai mei mayo",
         "june juni juin junio jun", "july juli juillet julio jul juil", "august aout augustus agosto aug ago",
         "september septembre septiembre sep sept", "october oktober octobre octubre oct okt",
         "november novembre noviembre nov", "december dezember decembre diciembre dec dez dic"), 1)
    for name in names.split()
}  # fmt: skip
