"""E-invoices by EN 16931 in both its syntaxes, UBL 2.1 and UN/CEFACT CII (D16B), read into one `Invoice`.

A table for each syntax says what is wanted and where it stands, with the terms of the standard (BT- one value, BG- a group).
A paper is walked through once; what its table does not want is passed over. Values are kept as the paper has them, signs too:
a credit note (381) carries positive amounts, a correction (384) may carry negative ones; `checks.sign` says which way a paper
counts. What cannot be read is a problem of the invoice; only a file that is no e-invoice at all is an `InvoiceError`. Nothing
is fetched and no entity is opened: a paper that declares a DOCTYPE is refused.

Source: EN 16931-1:2017 and CEN/TS 16931-3-2 (UBL), 16931-3-3 (CII); XRechnung 3.0 extension for BG-DEX terms; Factur-X
EXTENDED for BT-X terms.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import Any

from costbook.book.model import Invoice, InvoiceLine
from costbook.errors import InvoiceError
from costbook.invoices.wording import clean, folded, kind_of, pack_parts, sharing

LARGEST_BYTES = 20_000_000
MOST_MARKS = 300_000  # of "<": about a hundred stand in a line of goods
_ENCODINGS = ("utf-8", "utf-16", "iso-8859-1", "iso-8859-15", "windows-1252", "us-ascii")
_START = re.compile(r"<(?:[\w.-]+:)?(?:Invoice|CreditNote|CrossIndustryInvoice|CrossIndustryDocument)[\s>]")
# xs:decimal, with a bound on its length: no exponent, no thousands marks, no words.
_DECIMAL = re.compile(r"[+-]?(?:\d{1,12}(?:\.\d{0,30})?|\.\d{1,30})", re.ASCII)
_SMALLEST_BASE = Decimal("0.000001")
_TRUE, _FALSE = ("true", "1"), ("false", "0")
_BLANKS = re.compile(r"\s*")


def looks_like(data: bytes) -> bool:
    """Whether the bytes are worth giving to `read`: XML with the root of an e-invoice. Never raises."""
    try:
        text = _decoded(data[:LARGEST_BYTES], "")
    except InvoiceError:
        return False
    return text.lstrip().startswith("<") and _START.search(text) is not None


def read(data: bytes, source: str) -> Invoice:
    """The e-invoice in the bytes of a UBL 2.1 Invoice or CreditNote or a CII CrossIndustryInvoice.

    Args: source names the file in sentences. Raises: InvoiceError where the bytes are no such paper, are cut off, are
    larger than LARGEST_BYTES, hold more than MOST_MARKS or declare a DOCTYPE. Everything else that is wrong with the paper
    is in `problems`.
    """
    root = _root(data, source)
    if root.tag not in _ROOTS:
        raise InvoiceError(
            _not_an_invoice(str(root.tag)), source, "Save the e-invoice itself, or post the paper from its page."
        )
    syntax, wanted = _ROOTS[root.tag]
    paper = _Part("the paper", [])
    paper.take(root, wanted.inside)
    invoice = _invoice(paper, source, syntax)
    paper.problems.extend(_other_currencies(root, invoice.currency))
    return invoice._replace(problems=tuple(dict.fromkeys(paper.problems)))


def _other_currencies(root: Any, currency: str) -> list[str]:
    """A problem where an amount stands in another currency than the paper's (BT-5); only a tax may (BT-111)."""
    marked = ((str(x.tag), x.get("currencyID")) for x in root.xpath("//@currencyID[. != $own]/..", own=currency))
    other = dict.fromkeys(clean(code)[:10] for tag, code in marked if code and "}Tax" not in tag)
    return [f"the paper is in {currency or 'no stated currency'} and has amounts in {', '.join(other)}"] if other else []


def _not_an_invoice(tag: str) -> str:
    name = clean(tag.rsplit("}", 1)[-1])[:60]
    if name == "CrossIndustryDocument":
        return "this is an e-invoice of a form older than EN 16931, which is not read here."
    wanted = "Invoice, CreditNote or CrossIndustryInvoice"
    return f"this is XML, but not an e-invoice: it starts with '{name}', not with {wanted}."


def _decoded(data: bytes, source: str) -> str:
    """The text of an XML file by its mark or its declaration; encodings that could hide a DOCTYPE are refused."""
    if not data or data.isspace():
        raise InvoiceError("the file is empty.", source, "Save it again from the mail it came with.")
    found = re.match(
        rb"\s*<\?xml[^>]{0,200}?encoding\s*=\s*[\"']([\w.:-]{1,40})[\"']", data.removeprefix(b"\xef\xbb\xbf")
    )
    name = found[1].decode("ascii", "replace").lower() if found else "utf-8"
    if name == "utf-16":  # its declaration was just read one byte a letter, so it is not
        name = "utf-8"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        name = "utf-16"
    elif data.startswith((b"<\x00", b"\x00<")):
        name = "utf-16-le" if data.startswith(b"<") else "utf-16-be"
    elif name not in _ENCODINGS:
        raise InvoiceError(f"its characters are written as '{clean(name)}', which is not read here.", source)
    try:
        return data.decode("utf-8-sig" if name == "utf-8" else name)
    except UnicodeDecodeError:
        raise InvoiceError(
            "this is not XML: its characters cannot be read.", source, "Save it again from the mail."
        ) from None


def _after_prolog(text: str) -> str:
    """The first letters after blanks, comments and instructions; '' where a comment does not end."""
    place = _blanks_end(text, 0)
    while True:
        closing = next((end for start, end in (("<?", "?>"), ("<!--", "-->")) if text.startswith(start, place)), "")
        if not closing:
            return text[place : place + 20]
        end = text.find(closing, place + 2)
        if end < 0:
            return ""
        place = _blanks_end(text, end + len(closing))


def _blanks_end(text: str, place: int) -> int:
    found = _BLANKS.match(text, place)
    return found.end() if found else place


def _root(data: bytes, source: str) -> Any:
    """The root element, read without a DOCTYPE, an entity, a network or a huge tree."""
    from lxml import etree

    if len(data) > LARGEST_BYTES:
        raise InvoiceError(f"the file is larger than {LARGEST_BYTES // 1_000_000} MB; an e-invoice is not.", source)
    text = _decoded(data, source)
    if text.count("<") > MOST_MARKS:
        raise InvoiceError("it holds more elements than an e-invoice of 3,000 lines, and was not opened.", source)
    if _after_prolog(text)[:9].upper() in ("<!DOCTYPE", "<!ENTITY "):
        raise InvoiceError("it declares a DOCTYPE, which no e-invoice needs, so it was not opened.", source)
    body = re.sub(r"\A\s*<\?xml[^>]*\?>", "", text, count=1)
    parser = etree.XMLParser(
        encoding="utf-8", resolve_entities=False, no_network=True, load_dtd=False, dtd_validation=False,
        huge_tree=False, recover=False, remove_comments=True, remove_pis=True,
    )  # fmt: skip
    try:
        root = etree.fromstring(body.encode("utf-8"), parser)
    except (etree.LxmlError, ValueError) as error:
        raise InvoiceError(
            f"this is not complete XML ({_reason(error)}).", source, "Save it again from the mail."
        ) from None
    if root.getroottree().docinfo.doctype:
        raise InvoiceError("it declares a DOCTYPE, which no e-invoice needs, so it was not opened.", source)
    return root


def _reason(error: Exception) -> str:
    """The parser's own words without a file name, short."""
    return clean(str(error).split(" (<string>", 1)[0])[:120] or "it cannot be read"


# ------------------------------------------------------------------ what is wanted of a paper

_NAMES = {
    "cac": "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2",
    "cbc": "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2",
    "rsm": "urn:un:unece:uncefact:data:standard:CrossIndustryInvoice:100",
    "ram": "urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100",
    "udt": "urn:un:unece:uncefact:data:standard:UnqualifiedDataType:100",
}


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What is wanted of an element: the names its text and attributes are kept under, and what is wanted inside.

    Where `each` is not empty, every such element is a part of its own, kept in a list of that name; `place` is where that is in
    words, the place of what it stands in where it is empty.
    """

    text: str
    attributes: Sequence[tuple[str, str]]
    inside: dict[str, _Wanted]
    each: str = ""
    place: str = ""


Table = Mapping[str, Any]  # by an element's name or an attribute's: the name its text is kept under, or a table of what is inside


def _wanted(table: Table | str) -> _Wanted:
    """A table of elements (and @attributes) with what their texts are kept under; '' is the element's own text."""
    if isinstance(table, str):
        return _Wanted(table, (), {})
    own = {name: str(found) for name, found in table.items() if ":" not in name}
    inside = {_tag(name): found if isinstance(found, _Wanted) else _wanted(found) for name, found in table.items() if ":" in name}
    return _Wanted(own.pop("", ""), [(name[1:], kept) for name, kept in own.items()], inside)


def _tag(name: str) -> str:
    prefix, _, local = name.partition(":")
    return f"{{{_NAMES[prefix]}}}{local}"


def _each(kept: str, table: Table, place: str = "") -> _Wanted:
    return replace(_wanted(table), each=kept, place=place)


_A_CHARGE = "discount or charge {number}"
_UBL_CHARGE = {
    "cbc:ChargeIndicator": "charge",
    "cbc:Amount": "amount",  # BT-92, BT-99, BT-136, BT-141
    "cbc:AllowanceChargeReason": "reason",  # BT-97, BT-104
    "cbc:AllowanceChargeReasonCode": "reason code",  # BT-98, BT-105
    "cac:TaxCategory": {"cbc:ID": "tax category", "cbc:Percent": "tax percent"},  # BT-95, BT-102, BT-96, BT-103
}
_UBL_LINE = _wanted({
    "cbc:ID": "id",  # BT-126
    "cbc:InvoicedQuantity": {"": "quantity", "@unitCode": "unit"},  # BT-129, BT-130
    "cbc:CreditedQuantity": {"": "quantity", "@unitCode": "unit"},
    "cbc:LineExtensionAmount": "net amount",  # BT-131
    "cac:AllowanceCharge": _each("charges", _UBL_CHARGE),  # BG-27, BG-28
    "cac:Item": {
        "cbc:Name": "name",  # BT-153
        "cbc:Description": "description",  # BT-154
        "cac:SellersItemIdentification": {"cbc:ID": "item code"},  # BT-155
        "cac:BuyersItemIdentification": {"cbc:ID": "buyer code"},  # BT-156
        "cac:StandardItemIdentification": {"cbc:ID": "gtin"},  # BT-157
        "cac:ClassifiedTaxCategory": {"cbc:ID": "tax category", "cbc:Percent": "tax percent"},  # BT-151, BT-152
        "cac:AdditionalItemProperty": _each("properties", {"cbc:Name": "name", "cbc:Value": "value"}),  # BT-160, BT-161
        "cac:ItemInstance": {  # UBL 2.1 common library; no term of EN 16931 stands for a lot
            "cbc:BestBeforeDate": "best before",
            "cac:LotIdentification": {"cbc:LotNumberID": "lot", "cbc:ExpiryDate": "expiry"},
        },
    },
    "cac:Price": {
        "cbc:PriceAmount": "price",  # BT-146
        "cbc:BaseQuantity": "base quantity",  # BT-149
        "cac:AllowanceCharge": {"cbc:BaseAmount": "gross price", "cbc:Amount": "price discount"},  # BT-148, BT-147
    },
})  # fmt: skip
# In the XRechnung extension a line may be made of others, and these of others (BG-DEX-01).
for _sub_line in ("cac:SubInvoiceLine", "cac:SubCreditNoteLine"):
    _UBL_LINE.inside[_tag(_sub_line)] = replace(_UBL_LINE, each="parts", place="{place}, part {number}")


def _ubl(line: str) -> _Wanted:
    return _wanted({
        "cbc:CustomizationID": "profile",  # BT-24
        "cbc:ID": "number",  # BT-1
        "cbc:IssueDate": "date",  # BT-2
        "cbc:InvoiceTypeCode": "type",  # BT-3
        "cbc:CreditNoteTypeCode": "type",
        "cbc:DocumentCurrencyCode": "currency",  # BT-5
        "cac:AccountingSupplierParty": {"cac:Party": {
            "cac:PartyLegalEntity": {"cbc:RegistrationName": "supplier"},  # BT-27
            "cac:PartyName": {"cbc:Name": "trading name"},  # BT-28
        }},
        "cac:PrepaidPayment": _each("third parties", {"cbc:PaidAmount": "amount"}),  # BT-DEX-002
        "cac:AllowanceCharge": _each("charges", _UBL_CHARGE, _A_CHARGE),  # BG-20, BG-21
        "cac:TaxTotal": _each("tax totals", {
            "cbc:TaxAmount": {"": "amount", "@currencyID": "currency"},  # BT-110, BT-111
            "cac:TaxSubtotal": _each("taxes", {
                "cac:TaxCategory": {"cbc:ID": "category", "cbc:Percent": "percent"},  # BT-118, BT-119
                "cbc:TaxableAmount": "basis",  # BT-116
                "cbc:TaxAmount": "amount",  # BT-117
            }),
        }),
        "cac:LegalMonetaryTotal": {
            "cbc:TaxExclusiveAmount": "net",  # BT-109
            "cbc:TaxInclusiveAmount": "gross",  # BT-112
            "cbc:PrepaidAmount": "prepaid",  # BT-113
            "cbc:PayableRoundingAmount": "rounding",  # BT-114
            "cbc:PayableAmount": "due",  # BT-115
            "cbc:LineExtensionAmount": "line total",  # BT-106
            "cbc:AllowanceTotalAmount": "discount total",  # BT-107
            "cbc:ChargeTotalAmount": "charge total",  # BT-108
        },
        line: replace(_UBL_LINE, each="lines", place="line {number}"),  # BG-25
    })  # fmt: skip


_CII_CHARGE = {
    "ram:ChargeIndicator": {"udt:Indicator": "charge"},
    "ram:ActualAmount": "amount",  # BT-92, BT-99, BT-136, BT-141
    "ram:Reason": "reason",  # BT-97, BT-104
    "ram:ReasonCode": "reason code",  # BT-98, BT-105
    "ram:CategoryTradeTax": {
        "ram:CategoryCode": "tax category",  # BT-95, BT-102
        "ram:RateApplicablePercent": "tax percent",  # BT-96, BT-103
    },
}
_CII_LINE = {
    "ram:AssociatedDocumentLineDocument": {
        "ram:LineID": "id",  # BT-126
        "ram:ParentLineID": "parent",  # BT-X-304
        "ram:LineStatusReasonCode": "status",  # BT-X-8
    },
    "ram:SpecifiedTradeProduct": {
        "ram:Name": "name",  # BT-153
        "ram:Description": "description",  # BT-154
        "ram:SellerAssignedID": "item code",  # BT-155
        "ram:BuyerAssignedID": "buyer code",  # BT-156
        "ram:GlobalID": "gtin",  # BT-157
        "ram:ApplicableProductCharacteristic": _each("properties", {"ram:Description": "name", "ram:Value": "value"}),  # BG-32
        "ram:IndividualTradeProductInstance": {"ram:BatchID": "lot"},  # BT-X-306
    },
    "ram:SpecifiedLineTradeAgreement": {
        "ram:NetPriceProductTradePrice": {"ram:ChargeAmount": "price", "ram:BasisQuantity": "base quantity"},  # BT-146, BT-149
        "ram:GrossPriceProductTradePrice": {
            "ram:ChargeAmount": "gross price",  # BT-148
            "ram:BasisQuantity": "gross base quantity",  # BT-149
            "ram:AppliedTradeAllowanceCharge": {"ram:ActualAmount": "price discount"},  # BT-147
        },
    },
    "ram:SpecifiedLineTradeDelivery": {"ram:BilledQuantity": {"": "quantity", "@unitCode": "unit"}},  # BT-129, BT-130
    "ram:SpecifiedLineTradeSettlement": {
        "ram:ApplicableTradeTax": {"ram:CategoryCode": "tax category", "ram:RateApplicablePercent": "tax percent"},  # BT-151, BT-152
        "ram:SpecifiedTradeAllowanceCharge": _each("charges", _CII_CHARGE),  # BG-27, BG-28
        "ram:SpecifiedTradeSettlementLineMonetarySummation": {"ram:LineTotalAmount": "net amount"},  # BT-131
    },
}
_CII = _wanted({
    "rsm:ExchangedDocument": {
        "ram:ID": "number",  # BT-1
        "ram:IssueDateTime": {"udt:DateTimeString": "date"},  # BT-2
        "ram:TypeCode": "type",  # BT-3
    },
    "rsm:SupplyChainTradeTransaction": {
        "ram:IncludedSupplyChainTradeLineItem": _each("lines", _CII_LINE, "line {number}"),  # BG-25
        "ram:ApplicableHeaderTradeAgreement": {"ram:SellerTradeParty": {"ram:Name": "supplier"}},  # BT-27
        "ram:ApplicableHeaderTradeSettlement": {
            "ram:InvoiceCurrencyCode": "currency",  # BT-5
            "ram:SpecifiedTradeAllowanceCharge": _each("charges", _CII_CHARGE, _A_CHARGE),  # BG-20, BG-21
            # Freight and the like of Factur-X EXTENDED (BG-X-42); its sum is part of the charges (BT-108).
            "ram:SpecifiedLogisticsServiceCharge": _each("logistics", {
                "ram:AppliedAmount": "amount",  # BT-X-272
                "ram:Description": "reason",  # BT-X-271
                "ram:AppliedTradeTax": {"ram:CategoryCode": "tax category", "ram:RateApplicablePercent": "tax percent"},  # BT-X-273, -274
            }, "logistics charge {number}"),
            "ram:ApplicableTradeTax": _each("taxes", {
                "ram:CategoryCode": "category",  # BT-118
                "ram:RateApplicablePercent": "percent",  # BT-119
                "ram:BasisAmount": "basis",  # BT-116
                "ram:CalculatedAmount": "amount",  # BT-117
            }),
            "ram:SpecifiedTradeSettlementHeaderMonetarySummation": {
                "ram:TaxBasisTotalAmount": "net",  # BT-109
                "ram:TaxTotalAmount": _each("tax totals", {"": "amount", "@currencyID": "currency"}),  # BT-110, BT-111
                "ram:GrandTotalAmount": "gross",  # BT-112
                "ram:TotalPrepaidAmount": "prepaid",  # BT-113
                "ram:RoundingAmount": "rounding",  # BT-114
                "ram:DuePayableAmount": "due",  # BT-115
                "ram:LineTotalAmount": "line total",  # BT-106
                "ram:AllowanceTotalAmount": "discount total",  # BT-107
                "ram:ChargeTotalAmount": "charge total",  # BT-108
            },
        },
    },
})  # fmt: skip
_ROOTS = {
    "{urn:oasis:names:specification:ubl:schema:xsd:Invoice-2}Invoice": ("UBL", _ubl("cac:InvoiceLine")),
    "{urn:oasis:names:specification:ubl:schema:xsd:CreditNote-2}CreditNote": ("UBL-CN", _ubl("cac:CreditNoteLine")),
    f"{{{_NAMES['rsm']}}}CrossIndustryInvoice": ("CII", _CII),
}


@dataclass(slots=True)
class _Part:
    """What was found of a part of a paper: texts by name, parts of its own by the name of their list, and its place in words.

    The list of problems is the paper's.
    """

    place: str
    problems: list[str]
    texts: dict[str, str] = field(default_factory=dict)
    parts: dict[str, list[_Part]] = field(default_factory=dict)

    def take(self, element: Any, wanted: Mapping[str, _Wanted]) -> None:
        """Keeps what is wanted inside an element; of several texts that are the same thing, the first that is not empty."""
        for child in element:
            found = wanted.get(child.tag)
            if found is None:
                continue
            part = self._of_its_own(found) if found.each else self
            if found.text and found.text not in part.texts and (text := clean(child.text or "")):
                part.texts[found.text] = text
            for name, kept in found.attributes:
                part.texts.setdefault(kept, clean(child.get(name) or ""))
            if found.inside:
                part.take(child, found.inside)

    def _of_its_own(self, found: _Wanted) -> _Part:
        alike = self.parts.setdefault(found.each, [])
        place = found.place.format(place=self.place, number=len(alike) + 1) if found.place else self.place
        alike.append(_Part(place, self.problems))
        return alike[-1]

    def text(self, name: str) -> str:
        """The text kept under that name, '' where there is none."""
        return self.texts.get(name, "")

    def each(self, name: str) -> Sequence[_Part]:
        """The parts kept under that name."""
        return self.parts.get(name, ())

    def number(self, name: str) -> Decimal | None:
        """A text as a number, None where there is none; one that cannot be read is a problem."""
        written = self.texts.get(name)
        if not written:
            return None
        if _DECIMAL.fullmatch(written):
            return Decimal(written)
        self.problem(f"'{written[:40]}' is not a number ({name})")
        return None

    def needed(self, name: str) -> Decimal:
        """A number that has to be there."""
        value = self.number(name)
        if value is None:
            self.problem(f"it has no {name}")
        return value if value is not None else Decimal(0)

    def day(self, name: str) -> date | None:
        """A text as a date: 2026-09-01 (UBL) or 20260901 (CII, format 102)."""
        written = self.texts.get(name)
        if not written:
            return None
        digits = re.fullmatch(r"(\d{4})-?(\d\d)-?(\d\d)(?:Z|[+-]\d\d:\d\d)?", written, re.ASCII)
        try:
            if digits:
                return date(int(digits[1]), int(digits[2]), int(digits[3]))
        except ValueError:
            pass
        self.problem(f"'{written[:40]}' is not a date")
        return None

    def problem(self, sentence: str) -> None:
        self.problems.append(f"{self.place}: {sentence}")


# ------------------------------------------------------------------ what was found, as an invoice


def _invoice(paper: _Part, source: str, syntax: str) -> Invoice:
    currency = paper.text("currency")
    tax = _tax_total(paper, currency)
    taxes = [*paper.each("taxes"), *(tax.each("taxes") if tax else ())]
    lines = [line for part in paper.each("lines") for line in _lines(part, part.text("parent"))]
    lines += [_document_charge(part, part.text("charge")) for part in paper.each("charges")]
    lines += [_document_charge(part, "true") for part in paper.each("logistics")]
    return Invoice(
        supplier=paper.text("supplier") or paper.text("trading name"),
        number=paper.text("number"),
        issued=paper.day("date"),
        type_code=paper.text("type") or ("381" if syntax == "UBL-CN" else "380"),
        currency=currency,
        lines=tuple(lines),
        source=source,
        syntax=syntax,
        net=paper.number("net"),
        tax=tax.number("amount") if tax else None,
        gross=paper.number("gross"),
        prepaid=paper.number("prepaid"),
        rounding=paper.number("rounding"),
        due=paper.number("due"),
        line_total=paper.number("line total"),
        discount_total=paper.number("discount total"),
        charge_total=paper.number("charge total"),
        third_party=_third_party(paper),
        tax_breakdown=tuple(_tax(part) for part in taxes),  # BG-23
    )


def _third_party(paper: _Part) -> Decimal | None:
    """What the buyer pays for third parties through this paper (BG-DEX-09); only the XRechnung extension knows it."""
    if "extension:xrechnung" not in paper.text("profile"):
        return None
    return sum((part.number("amount") or Decimal(0) for part in paper.each("third parties")), Decimal(0))


def _tax_total(paper: _Part, currency: str) -> _Part | None:
    """The tax total in the invoice currency (BT-110), not the one in the tax currency (BT-111)."""
    totals = paper.each("tax totals")
    for total in totals:
        if "amount" in total.texts and total.text("currency") in ("", currency):
            return total
    if totals:
        totals[0].problem(f"the tax total is not given in the invoice currency ({currency or 'none stated'})")
    return None


def _tax(part: _Part) -> tuple[str, Decimal | None, Decimal, Decimal]:
    basis, amount = part.number("basis") or Decimal(0), part.number("amount") or Decimal(0)
    return part.text("category"), part.number("percent"), basis, amount


def _document_charge(part: _Part, charge: str) -> InvoiceLine:
    """A document discount (BG-20, its money negative) or charge (BG-21) as a line without a line id (BT-126)."""
    if charge not in (*_TRUE, *_FALSE):
        part.problem("it is not said whether this is a discount or a charge")
    kind = "charge" if charge in _TRUE else "discount"
    amount, reason = part.number("amount"), part.text("reason") or part.text("reason code")
    if amount is None:
        part.problem("it has no amount")
    money = (amount or Decimal(0)) * (1 if kind == "charge" else -1)
    shared_by, covers = sharing(reason)
    return InvoiceLine(
        line_id="", kind=kind, item_code="", name=reason or kind.capitalize(),
        quantity=Decimal(1), unit="", price=None, base_quantity=Decimal(1), net=money, place=part.place,
        tax_category=part.text("tax category"), tax_percent=part.number("tax percent"), shared_by=shared_by, covers=covers,
    )  # fmt: skip


def _lines(part: _Part, parent: str) -> Iterator[InvoiceLine]:
    """A line (BG-25) and the lines it is made of, outermost first."""
    line = _line(part, parent)
    yield line
    for one in part.each("parts"):
        yield from _lines(one, line.line_id)


def _line(part: _Part, parent: str) -> InvoiceLine:
    """A line; its quantities and amounts keep the sign they are written with, on a credit note too (`checks.sign`)."""
    # GROUP lines sum up others, INFORMATION lines cost nothing; neither is money of its own.
    told = part.text("status") in ("GROUP", "INFORMATION")
    quantity, net = (part.number(name) or Decimal(0) if told else part.needed(name) for name in ("quantity", "net amount"))
    item_code, name, gtin = part.text("item code"), part.text("name") or part.text("description"), part.text("gtin")
    properties = {folded(one.text("name")): one.text("value") for one in part.each("properties")}  # BG-32
    size, pack_unit = pack_parts(properties.get("pack size", ""))
    kind = kind_of(name, net, code=item_code or gtin, pack=size)
    shared_by, covers = sharing(name) if kind in ("charge", "discount") else ("", "")
    stated = _stated_day(part, properties.get("best before", ""))
    allowances, charges = _allowances_and_charges(part)
    return InvoiceLine(
        line_id=part.text("id") or part.place,
        kind=kind if kind in ("charge", "discount", "sample", "back-order") else "goods",
        item_code=item_code,
        name=name,
        quantity=quantity,
        unit=part.text("unit"),
        price=part.number("price"),
        base_quantity=_base(part),
        net=net,
        place=part.place,
        pack_size=size,
        pack_unit=pack_unit,
        buyer_code=part.text("buyer code"),
        gtin=gtin,
        gross_price=part.number("gross price"),
        price_discount=part.number("price discount"),
        allowances=allowances,
        charges=charges,
        tax_category=part.text("tax category"),
        tax_percent=part.number("tax percent"),
        parent=parent,
        group=told or bool(part.parts.get("parts")),
        lot=part.text("lot") or properties.get("lot", ""),
        best_before=part.day("best before") or part.day("expiry") or stated,
        shared_by=shared_by,
        covers=covers,
    )


def _base(part: _Part) -> Decimal:
    """How many units the price is for (BT-149), 1 where it does not say; it may stand on the gross price alone."""
    value = part.number("base quantity")
    if value is None:
        value = part.number("gross base quantity")
    if value is not None and value < _SMALLEST_BASE:
        part.problem(f"its price is for a quantity of {value}, which cannot be")
        return Decimal(1)
    return value if value is not None else Decimal(1)


def _allowances_and_charges(part: _Part) -> tuple[Decimal, Decimal]:
    """A line's own allowances (BG-27) and its charges (BG-28), each summed."""
    less, more = Decimal(0), Decimal(0)
    for one in part.each("charges"):
        amount = one.number("amount") or Decimal(0)
        less += amount if one.text("charge") in _FALSE else 0
        more += amount if one.text("charge") in _TRUE else 0
    return less, more


def _stated_day(part: _Part, written: str) -> date | None:
    """The date an attribute's text states, None where it is empty; another shape than 2026-09-01 is a problem."""
    if not written:
        return None
    try:
        return date.fromisoformat(written)
    except ValueError:
        part.problem(f"'{written[:40]}' is not a date like 2026-09-01")
        return None
