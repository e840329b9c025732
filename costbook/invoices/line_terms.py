"""For how many a line's price is and what is taken off it, as lists and pages print them: 'Preis/100', 'PE', '4,20 EUR'.

Nothing is taken for granted: how many a price is for must be written on the paper, and what a bare figure under 'Discount'
means is told by all its lines together, each of which has to close to the cent. Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from costbook.book.model import InvoiceLine
from costbook.invoices.wording import plain

DISCOUNTS = ("discount", "discount_share", "discount_money")
_PIECES = r"(?:pcs?|pces?|pieces?|ea|each|units?|unites?|st|stk|stck|stuck|stuks?|uds?|unidades|piezas?)"
_FOR = r"(?:per|pro|je|par|pour|por|voor|for|a)"
_PRICED = re.compile(rf"(?P<what>[a-z][a-z ]*?) (?:{_FOR} )?(?P<many>100?0?|1 000)(?: {_PIECES})?")
_PRICE_CELL = re.compile(
    rf"(?P<price>.*?\d.*?) ?(?:/|\b(?:{_FOR})\b) ?(?P<many>100?0?|1[.,' ]000)(?: ?{_PIECES}\.?)?", re.I | re.ASCII
)
_FOR_MANY = re.compile(rf"(?:{_FOR} |/ ?)?(?P<many>100?0?|1[.,' ]000|1)(?: ?{_PIECES}\.?)?", re.I | re.ASCII)
_SHARE_WORDS = re.compile(r"%|\b(?:percent|per cent|pct|prozent|pourcent\w*|procent|por ?ciento)\b", re.I)
_MONEY_WORDS = re.compile(
    r"\b(?:amount|value|amt|eur|gbp|usd|\w*betrag|montant|valeur|\w*bedrag|importe)\b|[€£$]", re.I
)
_HALF_CENT = Decimal("0.005")


@lru_cache(4096)
def priced_for(heading: str) -> tuple[str, int]:
    """A heading without the number its prices are for, and that number; the heading itself and 1 where it names none.

    >>> priced_for("Preis/100 St."), priced_for("Unit price per 1,000"), priced_for("Unit price")
    (('preis', 100), ('unit price', 1000), ('Unit price', 1))
    """
    found = _PRICED.fullmatch(plain(heading))
    return (found["what"], int(found["many"].replace(" ", ""))) if found else (heading, 1)


def price_parts(text: str) -> tuple[str, str]:
    """The price in a cell and how many it is for, both as written; '' where the cell does not say.

    >>> price_parts("12,50 / 100 St."), price_parts("12.50")
    (('12,50', '100'), ('12.50', ''))
    """
    found = _PRICE_CELL.fullmatch(text)
    return (found["price"].strip(), found["many"]) if found else (text, "")


def many(text: str) -> Decimal | None:
    """How many a price is for as a cell of its own tells, None where it tells none: '100', '1.000 St.', a unit is one."""
    found = _FOR_MANY.fullmatch(text.strip())
    if found:
        return Decimal(re.sub(r"\D", "", found["many"]))
    return Decimal(1) if not any(c.isdigit() for c in text) and plain(text) not in ("c", "m") else None


def settled(told: Sequence[Decimal | None]) -> tuple[Decimal, str]:
    """How many a price is for by all places that tell it, and the problem where one cannot be read or two differ."""
    if None in told:
        return Decimal(1), "for how many its price is cannot be read"
    counts = sorted({count for count in told if count is not None and count != 1})
    if len(counts) > 1:
        return Decimal(1), f"its price is for {counts[0]} in one place and for {counts[1]} in another"
    return (counts[0] if counts else Decimal(1)), ""


def discount_role(heading: str) -> str:
    """Which of DISCOUNTS a heading is that names a discount: a share, money, or what it does not tell."""
    if _SHARE_WORDS.search(heading):
        return DISCOUNTS[1]
    return DISCOUNTS[2] if _MONEY_WORDS.search(plain(heading) + heading) else DISCOUNTS[0]


@dataclass(frozen=True, slots=True)
class Discount:
    """A line's own discount as printed: the figure, above zero, and whether it is 'share', 'money' or '' where neither is said."""

    value: Decimal
    form: str


def printed_discount(text: str, role: str, found: Decimal | None) -> Discount | None:
    """A discount's figure and form by its own signs, else by its heading; None where it is no number.

    Args: role is one of DISCOUNTS; found is the figure in the text without its percent sign, None where there is none.
    """
    if found is None:
        return None
    if "%" in text:
        return Discount(abs(found), "share")
    marked = re.search(r"[€£$]|[A-Z]{3}", text) is not None
    return Discount(abs(found), "money" if marked else {DISCOUNTS[1]: "share", DISCOUNTS[2]: "money"}.get(role, ""))


def _share(line: InvoiceLine, worth: Decimal, value: Decimal) -> Decimal:
    return worth * value / 100


def _off_the_line(line: InvoiceLine, worth: Decimal, value: Decimal) -> Decimal:
    return value.copy_sign(worth)


def _off_the_price(line: InvoiceLine, worth: Decimal, value: Decimal) -> Decimal:
    return line.quantity * value / line.base_quantity


_READINGS = {"percent": _share, "money off the line": _off_the_line, "money off the price": _off_the_price}
_ALLOWED = {"share": ("percent",), "money": ("money off the line", "money off the price"), "": tuple(_READINGS)}


def with_discounts(lines: Sequence[InvoiceLine], printed: Mapping[int, Discount]) -> tuple[list[InvoiceLine], list[str]]:
    """The lines less their own discounts, and what is not certain about these.

    A column is read in one way: as its signs or heading say, else in percent. Another way counts only where every line of
    it closes so, and two lines (or a figure that is no percentage anybody gives) close in no other: one line alone can
    close by accident when its quantity is wrong.
    """
    found, problems = list(lines), []
    for form, allowed in _ALLOWED.items():
        places = [at for at, one in printed.items() if one.form == form and lines[at].price is not None]
        if not places:
            continue
        reading, doubt = _told(lines, printed, places, allowed)
        problems += [doubt] if doubt else []
        for at in places:
            found[at] = _less(lines[at], printed[at].value, reading)
    return found, problems


def _told(
    lines: Sequence[InvoiceLine], printed: Mapping[int, Discount], places: Sequence[int], allowed: Sequence[str]
) -> tuple[str, str]:
    """The way in which a column's discounts are read, and a problem where another closes that is not certain."""
    closing = {name: [at for at in places if _closes(_less(lines[at], printed[at].value, name))] for name in allowed}
    usual = allowed[0]
    if len(closing[usual]) == len(places):
        return usual, ""
    for name in allowed[1:]:
        alone = [at for at in closing[name] if at not in closing[usual]]
        sure = len(alone) > 1 or (name == _MONEY and any(_no_percentage(printed[at].value) for at in alone))
        if len(closing[name]) == len(places) and sure:
            return name, ""
        if alone:
            line, value = lines[alone[0]], printed[alone[0]].value
            return usual, f"{line.place}: the discount {value} adds up as {name} and not as {usual}, and nothing says which it is"
    return usual, ""


_MONEY = "money off the line"


def _no_percentage(value: Decimal) -> bool:
    """Whether a figure is no share anybody gives: a hundred or more, or one with odd cents."""
    return value >= 100 or (value * 4) % 1 != 0


def _less(line: InvoiceLine, value: Decimal, reading: str) -> InvoiceLine:
    worth = line.quantity * (line.price or Decimal(0)) / line.base_quantity
    return line._replace(allowances=_READINGS[reading](line, worth, value))


def _closes(line: InvoiceLine) -> bool:
    worth = line.quantity * (line.price or Decimal(0)) / line.base_quantity
    return abs(abs(line.net) - abs(worth - line.allowances)) <= _HALF_CENT
