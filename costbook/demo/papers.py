"""The five invented supplier papers of the demo: two CSV lists, an XLSX list and an e-invoice in each of two syntaxes;
and each of them in every other format this program writes.

They are made from `scenario/paper_lines.csv` and come out the same byte for byte each time. Amounts are as the scenario
states them; only the e-invoices' own totals are added up here.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Mapping
from datetime import date
from decimal import Decimal
from types import MappingProxyType
from xml.sax.saxutils import escape

from costbook.demo.list_file import Shown, list_file
from costbook.demo.tables import Record, scenario

BUYER = "Saltreed Bath Workshop"
CURRENCY = "USD"
MADE_UP = "Invented demo data: no such supplier, goods or debt exist."
OUTSIDE_TAX = "Not subject to tax"

# Heading on the paper, then the column of paper_lines.csv it comes from, then its width on the XLSX list in characters.
COLUMNS = (
    ("Invoice", "Invoice", 10), ("Date", "Date", 11), ("Supplier", "Supplier", 22), ("Item code", "Code", 10),
    ("Description", "Line", 50), ("Packs", "Packs", 8), ("Pack", "Pack", 10), ("Price per pack", "Pack price", 14),
    ("Amount", "Amount", 11), ("Lot", "Lot", 11), ("Best before", "Best before", 12), ("Line is", "Line is", 12),
)  # fmt: skip
DATES, NUMBERS = ("Date", "Best before"), ("Packs", "Price per pack", "Amount")

# UN/ECE Recommendation 20 codes, with Recommendation 21 package codes after an X: a package, and a piece.
PACKAGE, PIECE = "XPK", "H87"
# UNTDID 7161 code for freight service, the reason code of a charge (EN 16931 BT-105).
FREIGHT = "FC"
_PARTY = {"Brackwell Dry Goods": "DEMO-SUPPLIER-1", "Sallowby Scents": "DEMO-SUPPLIER-2", "Cobbin Lane Packaging": "DEMO-SUPPLIER-3"}


def papers() -> dict[str, bytes]:
    """The demo papers by file name, the same bytes at every call."""
    makers: dict[str, tuple[str, Callable[[tuple[Record, ...]], bytes]]] = {
        "Brackwell_B-1041.csv": ("B-1041", _csv_list),
        "Sallowby_S-2207.xlsx": ("S-2207", _xlsx_list),
        "Cobbin_Lane_C-0388.xml": ("C-0388", ubl_invoice),
        "Cobbin_Lane_C-0391.xml": ("C-0391", cii_credit_note),
        "Brackwell_B-0977.csv": ("B-0977", _csv_list),
    }
    return {name: make(paper_lines(number)) for name, (number, make) in makers.items()}


def other_formats() -> dict[str, bytes]:
    """Every paper of the demo as a CSV list, an XLSX list and an e-invoice, by name such as 'B-1041.csv'."""
    numbers = dict.fromkeys(row["Invoice"] for row in scenario("paper_lines"))
    found: dict[str, bytes] = {}
    for number in numbers:
        lines = paper_lines(number)
        charged = any(line["Line is"] == "goods" and Decimal(line["Amount"]) > 0 for line in lines)
        makers = (("csv", _csv_list), ("xlsx", _xlsx_list), ("xml", ubl_invoice if charged else cii_credit_note))
        found |= {f"{number}.{ending}": make(lines) for ending, make in makers}
    return found


def paper_lines(number: str) -> tuple[Record, ...]:
    """The lines of one paper as the scenario states them, by column name."""
    return tuple(row for row in scenario("paper_lines") if row["Invoice"] == number)


def _as_printed(line: Record) -> dict[str, str]:
    return {heading: line[column] for heading, column, _ in COLUMNS}


def _csv_list(lines: tuple[Record, ...]) -> bytes:
    text = io.StringIO(newline="")
    out = csv.DictWriter(text, [heading for heading, _, _ in COLUMNS], lineterminator="\r\n")
    out.writeheader()
    out.writerows(_as_printed(line) for line in lines)
    return text.getvalue().encode("utf-8")


def _xlsx_list(lines: tuple[Record, ...]) -> bytes:
    body = [[_cell(heading, text) for heading, text in _as_printed(line).items()] for line in lines]
    return list_file("Invoice", [width for *_, width in COLUMNS], [[heading for heading, _, _ in COLUMNS], *body])


def _cell(heading: str, text: str) -> Shown:
    if not text:
        return None
    if heading in DATES:
        return date.fromisoformat(text)
    return Decimal(text) if heading in NUMBERS else text


def _of_kind(lines: Iterable[Record], kind: str) -> list[Record]:
    return [line for line in lines if line["Line is"] == kind]


def _sum(lines: Iterable[Record]) -> Decimal:
    return sum((Decimal(line["Amount"]) for line in lines), Decimal("0.00"))


def _names() -> Mapping[str, str]:
    return MappingProxyType({row["Code"]: row["Material"] for row in scenario("materials")})


def ubl_invoice(lines: tuple[Record, ...]) -> bytes:
    """An EN 16931 invoice in UBL 2.1 (OASIS, binding CEN/TS 16931-3-2), all of it outside tax (category O)."""
    goods = [line for line in lines if line["Line is"] in ("goods", "back-order", "sample")]
    charges, discounts, head = _of_kind(lines, "charge"), _of_kind(lines, "discount"), lines[0]
    net, charged, less = _sum(goods), _sum(charges), -_sum(discounts)
    body = "\n".join(_UBL_LINE.format(id=i, **_line_words(line)) for i, line in enumerate(goods, 1))
    extra = "\n".join(map(_ubl_allowance, (*discounts, *charges)))
    allowed = f'    <cbc:AllowanceTotalAmount currencyID="{CURRENCY}">{less}</cbc:AllowanceTotalAmount>\n' if discounts else ""
    return _UBL.format(
        number=head["Invoice"], date=head["Date"], note=MADE_UP, currency=CURRENCY, supplier=escape(head["Supplier"]),
        party=_PARTY[head["Supplier"]], buyer=escape(BUYER), charges=extra, lines=body, net=net, charged=charged,
        allowed=allowed, gross=net - less + charged, reason=OUTSIDE_TAX,
    ).encode("utf-8")  # fmt: skip


def _ubl_allowance(line: Record) -> str:
    given = line["Line is"] == "discount"
    code = "" if given or "Freight" not in line["Line"] else f"    <cbc:AllowanceChargeReasonCode>{FREIGHT}</cbc:AllowanceChargeReasonCode>\n"
    return _UBL_CHARGE.format(
        is_charge="false" if given else "true", reason=escape(line["Line"]), code=code, amount=line["Amount"].lstrip("-"),
        currency=CURRENCY,
    )  # fmt: skip


def _line_words(line: Record) -> dict[str, str]:
    named = line["Line is"] == "goods" and line["Code"]
    return {
        "packs": line["Packs"], "unit": PACKAGE, "amount": line["Amount"].lstrip("-"), "price": line["Pack price"] or "0.00",
        "code": line["Code"], "name": escape(_names()[line["Code"]] if named else line["Line"]), "pack": escape(line["Pack"]),
        "currency": CURRENCY,
    }  # fmt: skip


def cii_credit_note(lines: tuple[Record, ...]) -> bytes:
    """An EN 16931 credit note in CII (UN/CEFACT, binding CEN/TS 16931-3-3): type 381, amounts positive."""
    goods, head = _of_kind(lines, "goods"), lines[0]
    body = "\n".join(_CII_LINE.format(id=i, **(_line_words(line) | {"unit": PIECE})) for i, line in enumerate(goods, 1))
    return _CII.format(
        number=head["Invoice"], date=head["Date"].replace("-", ""), note=escape(goods[0]["Line"]), made_up=MADE_UP,
        supplier=escape(head["Supplier"]), buyer=escape(BUYER), currency=CURRENCY, lines=body, net=-_sum(goods),
        earlier="C-0388", reason=OUTSIDE_TAX,
    ).encode("utf-8")  # fmt: skip


_UBL = """<?xml version="1.0" encoding="UTF-8"?>
<Invoice xmlns="urn:oasis:names:specification:ubl:schema:xsd:Invoice-2"
 xmlns:cac="urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
 xmlns:cbc="urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2">
  <cbc:CustomizationID>urn:cen.eu:en16931:2017</cbc:CustomizationID>
  <cbc:ID>{number}</cbc:ID>
  <cbc:IssueDate>{date}</cbc:IssueDate>
  <cbc:InvoiceTypeCode>380</cbc:InvoiceTypeCode>
  <cbc:Note>{note}</cbc:Note>
  <cbc:DocumentCurrencyCode>{currency}</cbc:DocumentCurrencyCode>
  <cac:AccountingSupplierParty>
    <cac:Party>
      <cac:PartyIdentification><cbc:ID>{party}</cbc:ID></cac:PartyIdentification>
      <cac:PostalAddress><cac:Country><cbc:IdentificationCode>US</cbc:IdentificationCode></cac:Country></cac:PostalAddress>
      <cac:PartyLegalEntity><cbc:RegistrationName>{supplier}</cbc:RegistrationName></cac:PartyLegalEntity>
    </cac:Party>
  </cac:AccountingSupplierParty>
  <cac:AccountingCustomerParty>
    <cac:Party>
      <cac:PostalAddress><cac:Country><cbc:IdentificationCode>US</cbc:IdentificationCode></cac:Country></cac:PostalAddress>
      <cac:PartyLegalEntity><cbc:RegistrationName>{buyer}</cbc:RegistrationName></cac:PartyLegalEntity>
    </cac:Party>
  </cac:AccountingCustomerParty>
  <cac:PaymentTerms><cbc:Note>{note}</cbc:Note></cac:PaymentTerms>
{charges}
  <cac:TaxTotal>
    <cbc:TaxAmount currencyID="{currency}">0.00</cbc:TaxAmount>
    <cac:TaxSubtotal>
      <cbc:TaxableAmount currencyID="{currency}">{gross}</cbc:TaxableAmount>
      <cbc:TaxAmount currencyID="{currency}">0.00</cbc:TaxAmount>
      <cac:TaxCategory>
        <cbc:ID>O</cbc:ID>
        <cbc:TaxExemptionReason>{reason}</cbc:TaxExemptionReason>
        <cac:TaxScheme><cbc:ID>VAT</cbc:ID></cac:TaxScheme>
      </cac:TaxCategory>
    </cac:TaxSubtotal>
  </cac:TaxTotal>
  <cac:LegalMonetaryTotal>
    <cbc:LineExtensionAmount currencyID="{currency}">{net}</cbc:LineExtensionAmount>
    <cbc:TaxExclusiveAmount currencyID="{currency}">{gross}</cbc:TaxExclusiveAmount>
    <cbc:TaxInclusiveAmount currencyID="{currency}">{gross}</cbc:TaxInclusiveAmount>
{allowed}    <cbc:ChargeTotalAmount currencyID="{currency}">{charged}</cbc:ChargeTotalAmount>
    <cbc:PayableAmount currencyID="{currency}">{gross}</cbc:PayableAmount>
  </cac:LegalMonetaryTotal>
{lines}
</Invoice>
"""

_UBL_CHARGE = """  <cac:AllowanceCharge>
    <cbc:ChargeIndicator>{is_charge}</cbc:ChargeIndicator>
{code}    <cbc:AllowanceChargeReason>{reason}</cbc:AllowanceChargeReason>
    <cbc:Amount currencyID="{currency}">{amount}</cbc:Amount>
    <cac:TaxCategory><cbc:ID>O</cbc:ID><cac:TaxScheme><cbc:ID>VAT</cbc:ID></cac:TaxScheme></cac:TaxCategory>
  </cac:AllowanceCharge>"""

_UBL_LINE = """  <cac:InvoiceLine>
    <cbc:ID>{id}</cbc:ID>
    <cbc:InvoicedQuantity unitCode="{unit}">{packs}</cbc:InvoicedQuantity>
    <cbc:LineExtensionAmount currencyID="{currency}">{amount}</cbc:LineExtensionAmount>
    <cac:Item>
      <cbc:Name>{name}</cbc:Name>
      <cac:SellersItemIdentification><cbc:ID>{code}</cbc:ID></cac:SellersItemIdentification>
      <cac:ClassifiedTaxCategory>
        <cbc:ID>O</cbc:ID>
        <cac:TaxScheme><cbc:ID>VAT</cbc:ID></cac:TaxScheme>
      </cac:ClassifiedTaxCategory>
      <cac:AdditionalItemProperty>
        <cbc:Name>Pack size</cbc:Name>
        <cbc:Value>{pack}</cbc:Value>
      </cac:AdditionalItemProperty>
    </cac:Item>
    <cac:Price>
      <cbc:PriceAmount currencyID="{currency}">{price}</cbc:PriceAmount>
      <cbc:BaseQuantity unitCode="{unit}">1</cbc:BaseQuantity>
    </cac:Price>
  </cac:InvoiceLine>"""

_CII = """<?xml version="1.0" encoding="UTF-8"?>
<rsm:CrossIndustryInvoice xmlns:rsm="urn:un:unece:uncefact:data:standard:CrossIndustryInvoice:100"
 xmlns:ram="urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100"
 xmlns:udt="urn:un:unece:uncefact:data:standard:UnqualifiedDataType:100">
  <rsm:ExchangedDocumentContext>
    <ram:GuidelineSpecifiedDocumentContextParameter>
      <ram:ID>urn:cen.eu:en16931:2017</ram:ID>
    </ram:GuidelineSpecifiedDocumentContextParameter>
  </rsm:ExchangedDocumentContext>
  <rsm:ExchangedDocument>
    <ram:ID>{number}</ram:ID>
    <ram:TypeCode>381</ram:TypeCode>
    <ram:IssueDateTime><udt:DateTimeString format="102">{date}</udt:DateTimeString></ram:IssueDateTime>
    <ram:IncludedNote><ram:Content>{note}</ram:Content></ram:IncludedNote>
    <ram:IncludedNote><ram:Content>{made_up}</ram:Content></ram:IncludedNote>
  </rsm:ExchangedDocument>
  <rsm:SupplyChainTradeTransaction>
{lines}
    <ram:ApplicableHeaderTradeAgreement>
      <ram:SellerTradeParty>
        <ram:ID>DEMO-SUPPLIER-3</ram:ID>
        <ram:Name>{supplier}</ram:Name>
        <ram:PostalTradeAddress><ram:CountryID>US</ram:CountryID></ram:PostalTradeAddress>
      </ram:SellerTradeParty>
      <ram:BuyerTradeParty>
        <ram:Name>{buyer}</ram:Name>
        <ram:PostalTradeAddress><ram:CountryID>US</ram:CountryID></ram:PostalTradeAddress>
      </ram:BuyerTradeParty>
    </ram:ApplicableHeaderTradeAgreement>
    <ram:ApplicableHeaderTradeDelivery/>
    <ram:ApplicableHeaderTradeSettlement>
      <ram:InvoiceCurrencyCode>{currency}</ram:InvoiceCurrencyCode>
      <ram:ApplicableTradeTax>
        <ram:CalculatedAmount>0.00</ram:CalculatedAmount>
        <ram:TypeCode>VAT</ram:TypeCode>
        <ram:ExemptionReason>{reason}</ram:ExemptionReason>
        <ram:BasisAmount>{net}</ram:BasisAmount>
        <ram:CategoryCode>O</ram:CategoryCode>
      </ram:ApplicableTradeTax>
      <ram:SpecifiedTradePaymentTerms><ram:Description>{made_up}</ram:Description></ram:SpecifiedTradePaymentTerms>
      <ram:SpecifiedTradeSettlementHeaderMonetarySummation>
        <ram:LineTotalAmount>{net}</ram:LineTotalAmount>
        <ram:TaxBasisTotalAmount>{net}</ram:TaxBasisTotalAmount>
        <ram:TaxTotalAmount currencyID="{currency}">0.00</ram:TaxTotalAmount>
        <ram:GrandTotalAmount>{net}</ram:GrandTotalAmount>
        <ram:DuePayableAmount>{net}</ram:DuePayableAmount>
      </ram:SpecifiedTradeSettlementHeaderMonetarySummation>
      <ram:InvoiceReferencedDocument><ram:IssuerAssignedID>{earlier}</ram:IssuerAssignedID></ram:InvoiceReferencedDocument>
    </ram:ApplicableHeaderTradeSettlement>
  </rsm:SupplyChainTradeTransaction>
</rsm:CrossIndustryInvoice>
"""

_CII_LINE = """    <ram:IncludedSupplyChainTradeLineItem>
      <ram:AssociatedDocumentLineDocument><ram:LineID>{id}</ram:LineID></ram:AssociatedDocumentLineDocument>
      <ram:SpecifiedTradeProduct>
        <ram:SellerAssignedID>{code}</ram:SellerAssignedID>
        <ram:Name>{name}</ram:Name>
        <ram:ApplicableProductCharacteristic>
          <ram:Description>Pack size</ram:Description>
          <ram:Value>{pack}</ram:Value>
        </ram:ApplicableProductCharacteristic>
      </ram:SpecifiedTradeProduct>
      <ram:SpecifiedLineTradeAgreement>
        <ram:NetPriceProductTradePrice>
          <ram:ChargeAmount>{price}</ram:ChargeAmount>
          <ram:BasisQuantity unitCode="{unit}">1</ram:BasisQuantity>
        </ram:NetPriceProductTradePrice>
      </ram:SpecifiedLineTradeAgreement>
      <ram:SpecifiedLineTradeDelivery>
        <ram:BilledQuantity unitCode="{unit}">{packs}</ram:BilledQuantity>
      </ram:SpecifiedLineTradeDelivery>
      <ram:SpecifiedLineTradeSettlement>
        <ram:ApplicableTradeTax><ram:TypeCode>VAT</ram:TypeCode><ram:CategoryCode>O</ram:CategoryCode></ram:ApplicableTradeTax>
        <ram:SpecifiedTradeSettlementLineMonetarySummation>
          <ram:LineTotalAmount>{amount}</ram:LineTotalAmount>
        </ram:SpecifiedTradeSettlementLineMonetarySummation>
      </ram:SpecifiedLineTradeSettlement>
    </ram:IncludedSupplyChainTradeLineItem>"""
