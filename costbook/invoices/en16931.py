"""E-invoices by EN 16931 in both its syntaxes, UBL 2.1 and UN/CEFACT CII (D16B), read into one `Invoice`.

Terms of the standard (BT- one value, BG- a group) stand at the line that reads them. Values are kept as the paper has
them, signs too: a credit note (381) carries positive amounts, a correction (384) may carry negative ones; `checks.sign`
says which way a paper counts. What cannot be read is a problem of the invoice; only a file that is no e-invoice at all
is an `InvoiceError`. Nothing is fetched and no entity is opened: a paper that declares a DOCTYPE is refused.

Source: EN 16931-1:2017 and CEN/TS 16931-3-2 (UBL), 16931-3-3 (CII); XRechnung 3.0 extension for BG-DEX terms; Factur-X
EXTENDED for BT-X terms.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from costbook.book.model import Invoice, InvoiceLine
from costbook.errors import InvoiceError
from costbook.invoices.wording import clean, folded, kind_of, pack_parts, sharing

LARGEST_BYTES = 20_000_000
_ENCODINGS = ("utf-8", "utf-16", "iso-8859-1", "iso-8859-15", "windows-1252", "us-ascii")
_UBL_AGGREGATE = "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
_UBL_BASIC = "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2"
_UBL = {"cac": _UBL_AGGREGATE, "cbc": _UBL_BASIC}
_CII = {
    "rsm": "urn:un:unece:uncefact:data:standard:CrossIndustryInvoice:100",
    "ram": "urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100",
    "udt": "urn:un:unece:uncefact:data:standard:UnqualifiedDataType:100",
}
_ROOTS = {
    "{urn:oasis:names:specification:ubl:schema:xsd:Invoice-2}Invoice": "UBL",
    "{urn:oasis:names:specification:ubl:schema:xsd:CreditNote-2}CreditNote": "UBL-CN",
    "{" + _CII["rsm"] + "}CrossIndustryInvoice": "CII",
}
_START = re.compile(r"<(?:[\w.-]+:)?(?:Invoice|CreditNote|CrossIndustryInvoice|CrossIndustryDocument)[\s>]")
# xs:decimal, with a bound on its length: no exponent, no thousands marks, no words.
_DECIMAL = re.compile(r"[+-]?(?:\d{1,12}(?:\.\d{0,30})?|\.\d{1,30})", re.ASCII)
_SMALLEST_BASE = Decimal("0.000001")
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
    larger than LARGEST_BYTES or declare a DOCTYPE. Everything else that is wrong with the paper is in `problems`.
    """
    root = _root(data, source)
    syntax = _ROOTS.get(str(root.tag))
    if syntax is None:
        raise InvoiceError(
            _not_an_invoice(str(root.tag)), source, "Save the e-invoice itself, or post the paper from its page."
        )
    node = _Node(root, _CII if syntax == "CII" else _UBL, [], "the paper")
    invoice = _cii(node, source) if syntax == "CII" else _ubl(node, source, syntax)
    node.problems.extend(_other_currencies(root, invoice.currency))
    return invoice._replace(problems=tuple(dict.fromkeys(node.problems)))


def _other_currencies(root: Any, currency: str) -> list[str]:
    """A problem where an amount stands in another currency than the paper's (BT-5); only a tax may (BT-111)."""
    marked = ((str(x.tag), code) for x in root.iter() if (code := x.get("currencyID")))
    other = dict.fromkeys(clean(code)[:10] for tag, code in marked if code != currency and "}Tax" not in tag)
    return [f"the paper is in {currency or 'no stated currency'} and has amounts in {', '.join(other)}"] if other else []


def _not_an_invoice(tag: str) -> str:
    name = clean(tag.rsplit("}", 1)[-1])[:60]
    if name == "CrossIndustryDocument":
        return "this is an e-invoice of a form older than EN 16931, which is not read here."
    wanted = "Invoice, CreditNote or CrossIndustryInvoice"
    return f"this is XML, but not an e-invoice: it starts with '{name}', not with {wanted}."


def _decoded(data: bytes, source: str) -> str:
    """The text of an XML file by its mark or its declaration; encodings that could hide a DOCTYPE are refused."""
    if not data.strip():
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


@dataclass(frozen=True, slots=True)
class _Node:
    """An element with the short names its paths use, the paper's list of problems, and its place in words."""

    element: Any
    names: dict[str, str]
    problems: list[str] = field(repr=False)
    place: str

    def all(self, path: str, place: str = "") -> Iterator[_Node]:
        for number, found in enumerate(self.element.findall(path, self.names), 1):
            yield _Node(found, self.names, self.problems, f"{place} {number}" if place else self.place)

    def one(self, path: str) -> _Node | None:
        return next(self.all(path), None)

    def text(self, *paths: str) -> str:
        """The first of the values there that is not empty, on one line."""
        found = (element.text for path in paths for element in self.element.iterfind(path, self.names))
        return next((value for text in found if text and (value := clean(text))), "")

    def own(self) -> str:
        return self.element.text or ""

    def attribute(self, name: str) -> str:
        return clean(self.element.get(name) or "")

    def number(self, *paths: str) -> Decimal | None:
        """The first value there as a number, None where there is none; one that cannot be read is a problem."""
        written = self.text(*paths)
        if not written:
            return None
        if _DECIMAL.fullmatch(written):
            return Decimal(written)
        self.problem(f"'{written[:40]}' is not a number ({paths[0].rsplit(':', 1)[-1]})")
        return None

    def sum(self, path: str, number: str) -> Decimal:
        return sum((node.number(number) or Decimal(0) for node in self.all(path)), Decimal(0))

    def day(self, *paths: str) -> date | None:
        """The first value there as a date: 2026-09-01 (UBL) or 20260901 (CII, format 102)."""
        written = self.text(*paths)
        digits = re.fullmatch(r"(\d{4})-?(\d\d)-?(\d\d)(?:Z|[+-]\d\d:\d\d)?", written, re.ASCII)
        try:
            if digits:
                return date(int(digits[1]), int(digits[2]), int(digits[3]))
        except ValueError:
            pass
        if written:
            self.problem(f"'{written[:40]}' is not a date")
        return None

    def problem(self, sentence: str) -> None:
        self.problems.append(f"{self.place}: {sentence}")


def _ubl(paper: _Node, source: str, syntax: str) -> Invoice:
    currency = paper.text("cbc:DocumentCurrencyCode")  # BT-5
    seller = "cac:AccountingSupplierParty/cac:Party/"
    tax = _tax_node(list(paper.all("cac:TaxTotal")), "cbc:TaxAmount", currency)
    item = "cac:CreditNoteLine" if syntax == "UBL-CN" else "cac:InvoiceLine"
    lines = [line for node in paper.all(item, "line") for line in _ubl_lines(node, "")]
    lines += [_ubl_document_charge(node) for node in paper.all("cac:AllowanceCharge", "discount or charge")]
    return Invoice(
        supplier=paper.text(
            seller + "cac:PartyLegalEntity/cbc:RegistrationName", seller + "cac:PartyName/cbc:Name"
        ),  # BT-27, BT-28
        number=paper.text("cbc:ID"),  # BT-1
        issued=paper.day("cbc:IssueDate"),  # BT-2
        type_code=paper.text("cbc:InvoiceTypeCode", "cbc:CreditNoteTypeCode")
        or ("381" if syntax == "UBL-CN" else "380"),  # BT-3
        currency=currency,
        lines=tuple(lines),
        source=source,
        syntax=syntax,
        net=paper.number("cac:LegalMonetaryTotal/cbc:TaxExclusiveAmount"),  # BT-109
        tax=tax.number("cbc:TaxAmount") if tax else None,  # BT-110
        gross=paper.number("cac:LegalMonetaryTotal/cbc:TaxInclusiveAmount"),  # BT-112
        prepaid=paper.number("cac:LegalMonetaryTotal/cbc:PrepaidAmount"),  # BT-113
        rounding=paper.number("cac:LegalMonetaryTotal/cbc:PayableRoundingAmount"),  # BT-114
        due=paper.number("cac:LegalMonetaryTotal/cbc:PayableAmount"),  # BT-115
        line_total=paper.number("cac:LegalMonetaryTotal/cbc:LineExtensionAmount"),  # BT-106
        discount_total=paper.number("cac:LegalMonetaryTotal/cbc:AllowanceTotalAmount"),  # BT-107
        charge_total=paper.number("cac:LegalMonetaryTotal/cbc:ChargeTotalAmount"),  # BT-108
        third_party=_third_party(paper),
        tax_breakdown=tuple(_ubl_tax(node) for node in tax.all("cac:TaxSubtotal")) if tax else (),  # BG-23
    )


def _third_party(paper: _Node) -> Decimal | None:
    """What the buyer pays for third parties through this paper (BG-DEX-09); only the XRechnung extension knows it."""
    if "extension:xrechnung" not in paper.text("cbc:CustomizationID"):  # BT-24
        return None
    return paper.sum("cac:PrepaidPayment", "cbc:PaidAmount")  # BT-DEX-002


def _tax_node(nodes: list[_Node], amount: str, currency: str) -> _Node | None:
    """The tax total in the invoice currency (BT-110), not the one in the tax currency (BT-111)."""
    for node in nodes:
        stated = node.one(amount)
        if stated is not None and stated.attribute("currencyID") in ("", currency):
            return node
    if nodes:
        nodes[0].problem(f"the tax total is not given in the invoice currency ({currency or 'none stated'})")
    return None


def _ubl_tax(node: _Node) -> tuple[str, Decimal | None, Decimal, Decimal]:
    return (
        node.text("cac:TaxCategory/cbc:ID"),  # BT-118
        node.number("cac:TaxCategory/cbc:Percent"),  # BT-119
        node.number("cbc:TaxableAmount") or Decimal(0),  # BT-116
        node.number("cbc:TaxAmount") or Decimal(0),  # BT-117
    )


def _ubl_document_charge(node: _Node) -> InvoiceLine:
    return _document_charge(
        node,
        charge=node.text("cbc:ChargeIndicator"),
        amount=node.number("cbc:Amount"),  # BT-92, BT-99
        reason=node.text("cbc:AllowanceChargeReason", "cbc:AllowanceChargeReasonCode"),  # BT-97, BT-98, BT-104, BT-105
        category=node.text("cac:TaxCategory/cbc:ID"),  # BT-95, BT-102
        percent=node.number("cac:TaxCategory/cbc:Percent"),  # BT-96, BT-103
    )


def _document_charge(
    node: _Node, *, charge: str, amount: Decimal | None, reason: str, category: str, percent: Decimal | None
) -> InvoiceLine:
    """A document discount (BG-20, its money negative) or charge (BG-21) as a line without a line id (BT-126)."""
    if charge not in ("true", "false", "1", "0"):
        node.problem("it is not said whether this is a discount or a charge")
    is_charge = charge in ("true", "1")
    if amount is None:
        node.problem("it has no amount")
    money = (amount or Decimal(0)) * (1 if is_charge else -1)
    kind = "charge" if is_charge else "discount"
    shared_by, covers = sharing(reason)
    return InvoiceLine(
        line_id="", kind=kind, item_code="", name=reason or kind.capitalize(),
        quantity=Decimal(1), unit="", price=None, base_quantity=Decimal(1), net=money, place=node.place,
        tax_category=category, tax_percent=percent, shared_by=shared_by, covers=covers,
    )  # fmt: skip


def _ubl_lines(node: _Node, parent: str) -> Iterator[InvoiceLine]:
    """A line (BG-25) and, in the XRechnung extension, the sub-lines it is made of (BG-DEX-01), outermost first."""
    parts = [
        *node.all("cac:SubInvoiceLine", f"{node.place}, part"),
        *node.all("cac:SubCreditNoteLine", f"{node.place}, part"),
    ]
    line = _ubl_line(node, parent, bool(parts))
    yield line
    for part in parts:
        yield from _ubl_lines(part, line.line_id)


def _ubl_line(node: _Node, parent: str, group: bool) -> InvoiceLine:
    quantity = node.one("cbc:InvoicedQuantity") or node.one("cbc:CreditedQuantity")
    properties = {
        folded(found.text("cbc:Name")): found.text("cbc:Value")  # BT-160, BT-161
        for found in node.all("cac:Item/cac:AdditionalItemProperty")  # BG-32
    }
    line = InvoiceLine(
        line_id=node.text("cbc:ID") or node.place,  # BT-126
        kind="goods",
        item_code=node.text("cac:Item/cac:SellersItemIdentification/cbc:ID"),  # BT-155
        name=node.text("cac:Item/cbc:Name", "cac:Item/cbc:Description"),  # BT-153, BT-154
        # quantities and amounts keep the sign they are written with, on a credit note too: checks.sign turns it round
        quantity=_needed(node, node.number("cbc:InvoicedQuantity", "cbc:CreditedQuantity"), "quantity"),  # BT-129
        unit=quantity.attribute("unitCode") if quantity else "",  # BT-130
        price=node.number("cac:Price/cbc:PriceAmount"),  # BT-146
        base_quantity=_base(node, "cac:Price/cbc:BaseQuantity"),  # BT-149
        net=_needed(node, node.number("cbc:LineExtensionAmount"), "net amount"),  # BT-131
        place=node.place,
        buyer_code=node.text("cac:Item/cac:BuyersItemIdentification/cbc:ID"),  # BT-156
        gtin=node.text("cac:Item/cac:StandardItemIdentification/cbc:ID"),  # BT-157
        gross_price=node.number("cac:Price/cac:AllowanceCharge/cbc:BaseAmount"),  # BT-148
        price_discount=node.number("cac:Price/cac:AllowanceCharge/cbc:Amount"),  # BT-147
        allowances=_line_sum(node, "cac:AllowanceCharge", "cbc:ChargeIndicator", "cbc:Amount", charge=False),  # BT-136
        charges=_line_sum(node, "cac:AllowanceCharge", "cbc:ChargeIndicator", "cbc:Amount", charge=True),  # BT-141
        tax_category=node.text("cac:Item/cac:ClassifiedTaxCategory/cbc:ID"),  # BT-151
        tax_percent=node.number("cac:Item/cac:ClassifiedTaxCategory/cbc:Percent"),  # BT-152
        parent=parent,
        group=group,
        # UBL 2.1 common library; no term of EN 16931 stands for a lot
        lot=node.text("cac:Item/cac:ItemInstance/cac:LotIdentification/cbc:LotNumberID"),
        best_before=node.day(
            "cac:Item/cac:ItemInstance/cbc:BestBeforeDate",
            "cac:Item/cac:ItemInstance/cac:LotIdentification/cbc:ExpiryDate",
        ),
    )
    return _worded(node, line, properties)


def _needed(node: _Node, value: Decimal | None, name: str) -> Decimal:
    if value is None:
        node.problem(f"it has no {name}")
    return value if value is not None else Decimal(0)


def _base(node: _Node, *paths: str) -> Decimal:
    """How many units the price is for (BT-149), 1 where it does not say; it may stand on the gross price alone."""
    value = node.number(*paths)
    if value is not None and value < _SMALLEST_BASE:
        node.problem(f"its price is for a quantity of {value}, which cannot be")
        return Decimal(1)
    return value if value is not None else Decimal(1)


def _line_sum(node: _Node, path: str, indicator: str, amount: str, *, charge: bool) -> Decimal:
    """A line's own allowances (BG-27) or charges (BG-28), summed."""
    wanted = ("true", "1") if charge else ("false", "0")
    amounts = (found.number(amount) for found in node.all(path) if found.text(indicator) in wanted)
    return sum((value for value in amounts if value is not None), Decimal(0))


def _worded(node: _Node, line: InvoiceLine, properties: Mapping[str, str]) -> InvoiceLine:
    """The line with what its attributes (BG-32) say of pack, lot and date, and the kind its words give it."""
    size, unit = pack_parts(properties.get("pack size", ""))
    stated = _stated_day(node, properties.get("best before", ""))
    kind = kind_of(line.name, line.net, code=line.item_code or line.gtin, pack=size)
    shared_by, covers = sharing(line.name) if kind in ("charge", "discount") else ("", "")
    return line._replace(kind=kind if kind in ("charge", "discount", "sample", "back-order") else "goods",
        pack_size=size,
        pack_unit=unit,
        lot=line.lot or properties.get("lot", ""),
        best_before=line.best_before or stated,
        shared_by=shared_by,
        covers=covers,
    )


def _stated_day(node: _Node, written: str) -> date | None:
    """The date an attribute's text states, None where it is empty; another shape than 2026-09-01 is a problem."""
    if not written:
        return None
    try:
        return date.fromisoformat(written)
    except ValueError:
        node.problem(f"'{written[:40]}' is not a date like 2026-09-01")
        return None


_HEAD = "rsm:SupplyChainTradeTransaction/ram:ApplicableHeaderTradeSettlement/"
_SUMS = _HEAD + "ram:SpecifiedTradeSettlementHeaderMonetarySummation/"


def _cii(paper: _Node, source: str) -> Invoice:
    currency = paper.text(_HEAD + "ram:InvoiceCurrencyCode")  # BT-5
    tax = _tax_node(list(paper.all(_SUMS + "ram:TaxTotalAmount")), ".", currency)
    trade = "rsm:SupplyChainTradeTransaction/"
    lines = [_cii_line(node) for node in paper.all(trade + "ram:IncludedSupplyChainTradeLineItem", "line")]
    lines += [
        _cii_document_charge(node)
        for node in paper.all(_HEAD + "ram:SpecifiedTradeAllowanceCharge", "discount or charge")
    ]
    lines += [
        _cii_logistics(node) for node in paper.all(_HEAD + "ram:SpecifiedLogisticsServiceCharge", "logistics charge")
    ]
    return Invoice(
        supplier=paper.text(trade + "ram:ApplicableHeaderTradeAgreement/ram:SellerTradeParty/ram:Name"),  # BT-27
        number=paper.text("rsm:ExchangedDocument/ram:ID"),  # BT-1
        issued=paper.day("rsm:ExchangedDocument/ram:IssueDateTime/udt:DateTimeString"),  # BT-2
        type_code=paper.text("rsm:ExchangedDocument/ram:TypeCode") or "380",  # BT-3
        currency=currency,
        lines=tuple(lines),
        source=source,
        syntax="CII",
        net=paper.number(_SUMS + "ram:TaxBasisTotalAmount"),  # BT-109
        tax=tax.number(".") if tax else None,  # BT-110
        gross=paper.number(_SUMS + "ram:GrandTotalAmount"),  # BT-112
        prepaid=paper.number(_SUMS + "ram:TotalPrepaidAmount"),  # BT-113
        rounding=paper.number(_SUMS + "ram:RoundingAmount"),  # BT-114
        due=paper.number(_SUMS + "ram:DuePayableAmount"),  # BT-115
        line_total=paper.number(_SUMS + "ram:LineTotalAmount"),  # BT-106
        discount_total=paper.number(_SUMS + "ram:AllowanceTotalAmount"),  # BT-107
        charge_total=paper.number(_SUMS + "ram:ChargeTotalAmount"),  # BT-108
        tax_breakdown=tuple(_cii_tax(node) for node in paper.all(_HEAD + "ram:ApplicableTradeTax")),  # BG-23
    )


def _cii_tax(node: _Node) -> tuple[str, Decimal | None, Decimal, Decimal]:
    return (
        node.text("ram:CategoryCode"),  # BT-118
        node.number("ram:RateApplicablePercent"),  # BT-119
        node.number("ram:BasisAmount") or Decimal(0),  # BT-116
        node.number("ram:CalculatedAmount") or Decimal(0),  # BT-117
    )


def _cii_document_charge(node: _Node) -> InvoiceLine:
    return _document_charge(
        node,
        charge=node.text("ram:ChargeIndicator/udt:Indicator"),
        amount=node.number("ram:ActualAmount"),  # BT-92, BT-99
        reason=node.text("ram:Reason", "ram:ReasonCode"),  # BT-97, BT-98, BT-104, BT-105
        category=node.text("ram:CategoryTradeTax/ram:CategoryCode"),  # BT-95, BT-102
        percent=node.number("ram:CategoryTradeTax/ram:RateApplicablePercent"),  # BT-96, BT-103
    )


def _cii_logistics(node: _Node) -> InvoiceLine:
    """Freight and the like of Factur-X EXTENDED (BG-X-42); its sum is part of the charges (BT-108)."""
    return _document_charge(
        node,
        charge="true",
        amount=node.number("ram:AppliedAmount"),  # BT-X-272
        reason=node.text("ram:Description"),  # BT-X-271
        category=node.text("ram:AppliedTradeTax/ram:CategoryCode"),  # BT-X-273
        percent=node.number("ram:AppliedTradeTax/ram:RateApplicablePercent"),  # BT-X-274
    )


def _cii_line(node: _Node) -> InvoiceLine:
    product, price = "ram:SpecifiedTradeProduct/", "ram:SpecifiedLineTradeAgreement/"
    net, gross = price + "ram:NetPriceProductTradePrice/", price + "ram:GrossPriceProductTradePrice/"
    settled, charge = (
        "ram:SpecifiedLineTradeSettlement/",
        "ram:SpecifiedLineTradeSettlement/ram:SpecifiedTradeAllowanceCharge",
    )
    document = "ram:AssociatedDocumentLineDocument/"
    quantity = node.one("ram:SpecifiedLineTradeDelivery/ram:BilledQuantity")
    # BT-X-8: GROUP lines sum up others, INFORMATION lines cost nothing; neither is money of its own.
    group = node.text(document + "ram:LineStatusReasonCode") in ("GROUP", "INFORMATION")
    properties = {
        folded(found.text("ram:Description")): found.text("ram:Value")  # BT-160, BT-161
        for found in node.all(product + "ram:ApplicableProductCharacteristic")  # BG-32
    }
    amount = node.number(settled + "ram:SpecifiedTradeSettlementLineMonetarySummation/ram:LineTotalAmount")  # BT-131
    count = node.number("ram:SpecifiedLineTradeDelivery/ram:BilledQuantity")  # BT-129, sign as written (checks.sign)
    line = InvoiceLine(
        line_id=node.text(document + "ram:LineID") or node.place,  # BT-126
        kind="goods",
        item_code=node.text(product + "ram:SellerAssignedID"),  # BT-155
        name=node.text(product + "ram:Name", product + "ram:Description"),  # BT-153, BT-154
        quantity=(count or Decimal(0)) if group else _needed(node, count, "quantity"),
        unit=quantity.attribute("unitCode") if quantity else "",  # BT-130
        price=node.number(net + "ram:ChargeAmount"),  # BT-146
        base_quantity=_base(node, net + "ram:BasisQuantity", gross + "ram:BasisQuantity"),  # BT-149
        net=(amount or Decimal(0)) if group else _needed(node, amount, "net amount"),
        place=node.place,
        buyer_code=node.text(product + "ram:BuyerAssignedID"),  # BT-156
        gtin=node.text(product + "ram:GlobalID"),  # BT-157
        gross_price=node.number(gross + "ram:ChargeAmount"),  # BT-148
        price_discount=node.number(gross + "ram:AppliedTradeAllowanceCharge/ram:ActualAmount"),  # BT-147
        allowances=_line_sum(
            node, charge, "ram:ChargeIndicator/udt:Indicator", "ram:ActualAmount", charge=False
        ),  # BT-136
        charges=_line_sum(node, charge, "ram:ChargeIndicator/udt:Indicator", "ram:ActualAmount", charge=True),  # BT-141
        tax_category=node.text(settled + "ram:ApplicableTradeTax/ram:CategoryCode"),  # BT-151
        tax_percent=node.number(settled + "ram:ApplicableTradeTax/ram:RateApplicablePercent"),  # BT-152
        parent=node.text(document + "ram:ParentLineID"),  # BT-X-304
        group=group,
        lot=node.text(product + "ram:IndividualTradeProductInstance/ram:BatchID"),  # BT-X-306
    )
    return _worded(node, line, properties)
