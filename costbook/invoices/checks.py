"""The reasons, in words, why a supplier's paper may not be posted, and which of its lines may make a price.

Everything that closes must close to the cent: the sums of the standard (EN 16931-1, rules BR-CO-10 to BR-CO-17), the
tax bases, and what the standard leaves out: each line's quantity x price / base quantity - allowances + charges.
That is necessary and not sufficient (quantity and price could be swapped): a reader names its columns by headings only.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from costbook.amounts.money import rounded
from costbook.book.model import CREDIT_TYPES, NOT_BOUGHT, PRICE_LIST, STANDARD, Invoice, InvoiceLine
from costbook.invoices.wording import folded

# UNTDID 1001; 389 is self-billed. Of the other kinds that EN 16931 allows, such as a prepayment (386), she decides.
_BOUGHT = {"380", "384", "389", PRICE_LIST, *CREDIT_TYPES}
NO_NUMBER = "the paper has no number"
# A stated amount is a computed one rounded to the cent, whichever way the half went.
_HALF_CENT = Decimal("0.005")
_CENT_PLACES = 2
_CENT = Decimal("0.01")
_FOR_MANY = (1, 10, 100, 1000)
_MONEY_KINDS = ("goods", "sample", "back-order", "discount", "charge")


def problems(invoice: Invoice) -> tuple[str, ...]:
    """The reasons why the paper waits for her look, those of reading first; empty where it may be posted."""
    found = [*invoice.problems, *_missing(invoice), *_line_problems(invoice)]
    found += _standard_sums(invoice) if invoice.syntax in STANDARD else _list_sums(invoice)
    return tuple(dict.fromkeys(found))


def counted(invoice: Invoice, line: InvoiceLine) -> bool:
    """Whether a line may make a price: goods bought and paid for, not given back, not a sum of other lines."""
    return (
        line.kind == "goods"
        and not line.group
        and invoice.type_code not in CREDIT_TYPES
        and line.quantity > 0
        and line.net > 0
    )


def sign(invoice: Invoice) -> int:
    """What the paper's quantities and money are multiplied by to count as bought: -1 for a credit note, else 1.

    A credit note by the standard carries positive amounts and takes them back by its type. One written as a list mostly
    carries negative amounts, which say so themselves: that gives 1. Corrections (384) are taken as they stand.
    """
    if invoice.type_code not in CREDIT_TYPES:
        return 1
    return 1 if _total(invoice) < 0 else -1


def summed(invoice: Invoice) -> tuple[InvoiceLine, ...]:
    """The lines that are money of their own: a group's parts, not the group; no document charges, no totals."""
    if invoice.syntax in STANDARD:
        return tuple(line for line in invoice.lines if line.line_id and not line.group)
    return tuple(line for line in invoice.lines if line.kind in _MONEY_KINDS and not line.group)


def identity(invoice: Invoice) -> tuple[str, ...]:
    """What makes a paper the same paper: supplier, number, date, type and total, as texts that compare."""
    issued = invoice.issued.isoformat() if invoice.issued else ""
    total = f"{rounded(_total(invoice), _CENT_PLACES)}"
    return (folded(invoice.supplier), "".join(invoice.number.casefold().split()), issued, invoice.type_code, total)


def _total(invoice: Invoice) -> Decimal:
    if invoice.gross is not None:
        return invoice.gross
    return _sum(line.net for line in invoice.lines if line.kind != "total" and not line.group)


def _sum(values: Iterator[Decimal]) -> Decimal:
    return sum(values, Decimal(0))


def _apart(stated: Decimal, computed: Decimal) -> str:
    """The difference in words, '' where the two are the same to the cent."""
    difference = abs(stated - computed)
    if difference <= _HALF_CENT:
        return ""
    places = _CENT_PLACES if difference >= Decimal("0.01") else _CENT_PLACES + 1
    return f"difference {rounded(difference, places):.{places}f}"


def _missing(invoice: Invoice) -> Iterator[str]:
    if not invoice.supplier:
        yield "the paper does not name its supplier"
    if not invoice.number:
        yield NO_NUMBER
    if invoice.issued is None:
        yield "the paper has no date that can be read"
    if invoice.syntax in STANDARD and not invoice.currency:
        yield "the paper names no currency (BT-5)"
    if kind := NOT_BOUGHT.get(invoice.type_code):
        yield f"the paper is {'an' if kind[0] in 'aeiou' else 'a'} {kind}, not an invoice"
    elif invoice.type_code not in _BOUGHT:
        yield f"the paper is of kind {invoice.type_code} (UNTDID 1001), which may not be what the goods cost in the end"
    if not summed(invoice):
        yield "the paper has no lines, only totals; type its lines from the page"


def _line_problems(invoice: Invoice) -> Iterator[str]:
    for line in invoice.lines:
        if _has_arithmetic(invoice, line):
            yield from _line_problem(line)
            if invoice.syntax not in STANDARD and line.price and abs(line.price / line.base_quantity) < _CENT:
                yield f"{line.place}: one of '{_short(line.name)}' costs less than a cent, so its amount does not tell how many came"
    yield from _group_problems(invoice)


def _has_arithmetic(invoice: Invoice, line: InvoiceLine) -> bool:
    """Every line of an e-invoice; in a list, what is charged: it may show the price of a sample it does not charge."""
    if invoice.syntax in STANDARD:
        return bool(line.line_id)
    return line.kind in _MONEY_KINDS and not (line.kind in ("sample", "back-order") and line.net == 0)


def _line_problem(line: InvoiceLine) -> Iterator[str]:
    """BT-131 = BT-129 x BT-146 / BT-149 - allowances (BG-27) + charges (BG-28); no rule of the standard asks it."""
    if line.group and (line.price is None or line.net == 0):
        return
    if line.price is None:
        if line.kind == "goods" and line.quantity == 0 and line.net != 0:
            yield f"{line.place}: '{_short(line.name)}' has an amount and no quantity"
        elif line.unit and line.net != 0:
            yield f"{line.place}: '{_short(line.name)}' has an amount and no price"
        return
    computed = line.quantity * line.price / line.base_quantity - line.allowances + line.charges
    apart = _apart(line.net, computed)
    if apart:
        made = f"its quantity and price make {_cents(computed)} ({apart})"
        yield f"{line.place}: '{_short(line.name)}' is {line.net}, but {made}{_would_make(line)}"


def _would_make(line: InvoiceLine) -> str:
    """For how many the price would be for the line to close, in words: never taken, since a wrong count can make it so."""
    worth = line.quantity * (line.price or Decimal(0))
    fit = [many for many in _FOR_MANY if many != line.base_quantity and not _apart(line.net, worth / many - line.allowances + line.charges)]
    return f"; they would make it if the price were for {fit[0]}, which the paper does not say" if fit else ""


def _short(name: str) -> str:
    return name if len(name) <= 40 else name[:39] + "…"


def _cents(value: Decimal) -> str:
    return f"{rounded(value, _CENT_PLACES):.2f}"


def _group_problems(invoice: Invoice) -> Iterator[str]:
    """A line made of others is their sum: BR-DEX-02 (XRechnung extension), BR-FXEXT-08 (Factur-X EXTENDED)."""
    parts: dict[str, Decimal] = {}
    for part in invoice.lines:
        if part.parent:
            parts[part.parent] = parts.get(part.parent, Decimal(0)) + part.net
    for line in invoice.lines:
        # a CII group need not state its sum
        if line.group and line.line_id in parts and (line.net != 0 or invoice.syntax != "CII"):
            apart = _apart(line.net, parts[line.line_id])
            if apart:
                yield f"{line.place}: '{_short(line.name)}' is not the sum of its parts ({apart})"


def _standard_sums(invoice: Invoice) -> Iterator[str]:
    yield from _document_sums(invoice)
    yield from _payable_sums(invoice)
    yield from _tax_sums(invoice)


def _document_sums(invoice: Invoice) -> Iterator[str]:
    lines = _sum(line.net for line in summed(invoice))
    discounts = -_sum(line.net for line in invoice.lines if not line.line_id and line.kind == "discount")
    charges = _sum(line.net for line in invoice.lines if not line.line_id and line.kind == "charge")
    line_total = lines if invoice.line_total is None else invoice.line_total
    less, more = invoice.discount_total or Decimal(0), invoice.charge_total or Decimal(0)
    if summed(invoice) and (apart := _apart(line_total, lines)):
        yield f"the lines do not add up to their sum ({apart}; BR-CO-10)"
    if apart := _apart(less, discounts):
        yield f"the discounts do not add up to their sum ({apart}; BR-CO-11)"
    if apart := _apart(more, charges):
        yield f"the charges do not add up to their sum ({apart}; BR-CO-12)"
    if invoice.net is None:
        yield "the paper has no total without tax (BT-109)"
    elif not summed(invoice) and invoice.line_total is None:
        return  # totals alone, as in the MINIMUM profile: there is nothing to add up
    elif apart := _apart(invoice.net, line_total - less + more):
        yield f"lines, discounts and charges do not add up to the total without tax ({apart}; BR-CO-13)"


def _payable_sums(invoice: Invoice) -> Iterator[str]:
    if invoice.gross is None:
        yield "the paper has no total with tax (BT-112)"
    elif invoice.net is not None and (apart := _apart(invoice.gross, invoice.net + (invoice.tax or Decimal(0)))):
        yield f"the total without tax and the tax do not add up to the invoice total ({apart}; BR-CO-15)"
    if invoice.due is None:
        yield "the paper does not say what is due (BT-115)"
    elif invoice.gross is not None:
        # BR-DEX-09 of the XRechnung extension adds what is collected for third parties.
        other = (invoice.rounding or Decimal(0)) + (invoice.third_party or Decimal(0))
        if apart := _apart(invoice.due, invoice.gross - (invoice.prepaid or Decimal(0)) + other):
            yield f"the invoice total less what was paid is not what is due ({apart}; BR-CO-16)"


def _tax_sums(invoice: Invoice) -> Iterator[str]:
    if not invoice.tax_breakdown:
        taxed = [line for line in summed(invoice) if (line.tax_percent or 0) > 0 and line.net != 0]
        if taxed and not invoice.tax:
            yield f"{taxed[0].place}: its lines are taxed and the paper states no tax by rate (BR-CO-18)"
        return
    taxes = _sum(tax for _, _, _, tax in invoice.tax_breakdown)
    if apart := _apart(invoice.tax or Decimal(0), taxes):
        yield f"the tax by rate does not add up to the tax ({apart}; BR-CO-14)"
    for category, percent, base, tax in invoice.tax_breakdown:
        if apart := _apart(tax, base * (percent or Decimal(0)) / 100):
            yield f"the tax of {_rate_words(category, percent)} is not that rate of {base} ({apart}; BR-CO-17)"
    if summed(invoice):
        yield from _tax_bases(invoice)


def _tax_bases(invoice: Invoice) -> Iterator[str]:
    """Each category's base is its lines - discounts + charges (BR-S-08, BR-Z-08, BR-E-08 and their like)."""
    stated: dict[tuple[str, Decimal], Decimal] = {}
    for category, percent, base, _ in invoice.tax_breakdown:
        key = (category, percent or Decimal(0))
        stated[key] = stated.get(key, Decimal(0)) + base
    found: dict[tuple[str, Decimal], Decimal] = {}
    document = tuple(line for line in invoice.lines if not line.line_id)
    for line in (*summed(invoice), *document):
        key = (line.tax_category, line.tax_percent or Decimal(0))
        found[key] = found.get(key, Decimal(0)) + line.net
    for key in dict.fromkeys((*stated, *found)):
        if apart := _apart(stated.get(key, Decimal(0)), found.get(key, Decimal(0))):
            rule = f"BR-{key[0] or '?'}-08"
            yield f"the lines taxed at {_rate_words(*key)} do not add up to their tax base ({apart}; {rule})"


def _rate_words(category: str, percent: Decimal | None) -> str:
    return f"{(percent or Decimal(0)).normalize():f} % ({category or 'no category'})"


def _list_sums(invoice: Invoice) -> Iterator[str]:
    """A list has goods - discounts + charges + tax = total, and what is due if it says so."""
    if invoice.gross is None:
        yield "the paper has no invoice total to check the lines against"
        return
    computed = _sum(line.net for line in invoice.lines if line.kind != "total" and not line.group)
    if invoice.tax is not None and not any(line.kind == "tax" for line in invoice.lines):
        computed += invoice.tax
    if apart := _apart(invoice.gross, computed):
        yield f"the lines do not add up to the invoice total ({apart})"
    if invoice.due is not None and (apart := _apart(invoice.due, invoice.gross - (invoice.prepaid or Decimal(0)))):
        yield f"the invoice total less what was paid is not what is due ({apart})"
