"""How a paper writes its numbers and dates, told from the paper itself, and the values read that way.

One paper writes in one way, so a number or date that shows the way decides for those that could be read in two. Where
none shows it the usual reading is filled in and said to be unsure. How marks are used is common practice, no source.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from costbook.amounts.money import read_money
from costbook.amounts.numbers import read_number
from costbook.book.grid import ErrorValue, Value
from costbook.errors import QuantityError
from costbook.invoices.wording import clean

BLANK = ("", "-", "–", "—")
# A number typed by a spreadsheet carries noise past this place: 0.1 + 0.2 is 0.30000000000000004 there.
_TYPED_PLACES = 9
_LARGEST_NUMBER = Decimal(10) ** 12
_SEPARATED = re.compile(r"\d[\d.,]*", re.ASCII)
# A count and the unit beside it: '20 Stk', '12pcs', '3x'.
COUNTED = re.compile(r"([-–−+]?\d[\d.,]*(?: \d{3})*)\s*(.*)", re.ASCII)
_MONTH_NAMES = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
TIMES = ("x", "X", "×")
_MONTHS = {name: number for number, name in enumerate(_MONTH_NAMES, 1)}


@dataclass(frozen=True, slots=True)
class Dialect:
    """How the paper's numbers and dates are read, and what is not certain about it.

    `order` is 'dmy', 'mdy' or '' where no date tells; `unsure` is a problem for every paper that has such a number, and
    `usual` says that the decimal style was taken only because it is the usual one.
    """

    decimal: str
    order: str
    unsure: str = ""
    usual: bool = False


def dialect(numbers: Sequence[str], packs: Sequence[str], dates: Iterable[str], decimal: str | None = None) -> Dialect:
    """The way a paper is written, from its amounts and counts, its pack sizes and its dates as texts.

    Args: decimal is 'point' or 'comma' where it is known. Pack sizes are asked only where amounts do not tell.
    """
    order = _date_order(dates)
    return Dialect(decimal, order) if decimal is not None else _styled(numbers, packs, order)


def _styled(numbers: Sequence[str], packs: Sequence[str], order: str) -> Dialect:
    """The decimal style the numbers show; pack sizes are asked only where money and counts do not tell."""
    by_money = _styles(numbers)
    if len(by_money) == 1:
        return Dialect(by_money.pop(), order)
    if by_money:
        return Dialect("point", order, "its numbers are written with decimal points and with decimal commas")
    unsure = next((clean(text) for text in numbers if _style_of(text) == "either"), "")
    by_packs = _styles(packs)
    if len(by_packs) == 1:
        return Dialect(by_packs.pop(), order)
    if unsure:
        return Dialect(
            "point", order, f"'{unsure[:30]}' may have a decimal mark or a thousands mark, and no other number tells", True
        )
    return Dialect("point", order)


def _styles(texts: Sequence[str]) -> set[str]:
    return {style for text in texts if (style := _style_of(text)) in ("point", "comma")}


def _style_of(number: str) -> str:
    """'point' or 'comma' where a number shows its decimal style, 'either' where it could be both, '' without marks."""
    found = _SEPARATED.search(number)
    digits = found[0].rstrip(".,") if found else ""
    marks = re.findall(r"[.,]", digits)
    if not marks:
        return ""
    last = "point" if marks[-1] == "." else "comma"
    other = "comma" if last == "point" else "point"
    before, after = digits.rsplit(marks[-1], 1)
    if len(set(marks)) == 2:
        return last
    if len(marks) > 1:
        return other
    return "either" if len(after) == 3 and 1 <= len(before) <= 3 and not before.startswith("0") else last


def _date_order(texts: Iterable[str]) -> str:
    """'dmy' or 'mdy' where the dates tell which comes first and none tells otherwise, else ''."""
    orders = {order for text in texts if (order := _order_of(text))}
    return orders.pop() if len(orders) == 1 else ""


def _order_of(text: str) -> str:
    found = re.fullmatch(r"(\d{1,2})[/-](\d{1,2})[/-](\d{4}|\d\d)", text, re.ASCII)
    if found and 31 >= int(found[1]) > 12 >= int(found[2]) and len(found[3]) == 4:
        return "dmy"
    return "mdy" if found and 31 >= int(found[2]) > 12 >= int(found[1]) else ""


def day(value: Value, order: str) -> tuple[date | None, str]:
    """A date and '', or None and what is wrong with it, '' for nothing written."""
    if isinstance(value, datetime):
        return value.date(), ""
    if isinstance(value, date):
        return value, ""
    text = clean(shown(value)) if value is not None else ""
    if text in BLANK:
        return None, ""
    parts = _day_parts(re.sub(r"[T ]\d{1,2}:\d\d.*$", "", text), order)
    if parts is None:
        return None, f"the date '{text[:30]}' is not certain; write it like 2026-09-01"
    try:
        return date(*parts), ""
    except ValueError:
        return None, f"'{text[:30]}' is no date of the calendar"


def _day_parts(text: str, order: str) -> tuple[int, int, int] | None:
    """Year, month and day where there is no choice: ISO, month names, day.month.year, else by the order."""
    if iso := re.fullmatch(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})", text, re.ASCII):
        return int(iso[1]), int(iso[2]), int(iso[3])
    if named := re.fullmatch(r"(\d{1,2})[ .-]+([A-Za-z]{3,9})\.?,?[ .-]+(\d{4})", text, re.ASCII):
        return _named_day(named[3], named[2], named[1])
    if named := re.fullmatch(r"([A-Za-z]{3,9})\.? (\d{1,2})(?:st|nd|rd|th)?,? (\d{4})", text, re.ASCII):
        return _named_day(named[3], named[1], named[2])
    found = re.fullmatch(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d\d)", text, re.ASCII)
    if not found:
        return None
    first, second, year = int(found[1]), int(found[3]), int(found[4]) + (2000 if len(found[4]) == 2 else 0)
    if found[2] == ".":  # common practice where dates are written with points: the day comes first
        return year, second, first
    order = _order_of(text) or order
    if first == second or order:
        return (year, second, first) if order == "dmy" else (year, first, second)
    return None


def _named_day(year: str, month: str, day: str) -> tuple[int, int, int] | None:
    found = _MONTHS.get(month[:3].casefold())
    return (int(year), found, int(day)) if found else None


def number(value: Value, decimal: str, *, count: bool = False) -> Decimal | None:
    """A cell's number, None where it is none or beyond all measure; a count may be written '1/2'."""
    if value is None or isinstance(value, bool | date | ErrorValue):
        return None
    found = _typed_number(value) if isinstance(value, int | float) else _read_number(clean(value), decimal, count)
    return found if found is not None and abs(found) < _LARGEST_NUMBER else None


def _typed_number(value: float) -> Decimal | None:
    return Decimal(repr(round(value, _TYPED_PLACES))) if math.isfinite(value) else None


def _read_number(text: str, decimal: str, count: bool) -> Decimal | None:
    try:
        return read_money(text, decimal)
    except QuantityError:
        if not count:
            return None
    try:
        part = read_number(text, decimal)
    except QuantityError:
        return None
    return Decimal(part.numerator) / part.denominator


def counted(text: str) -> tuple[str, str]:
    """The count and the unit of a cell that holds both, as written; the text itself and '' for any other.

    >>> counted("12pcs"), counted("2 St."), counted("3x"), counted("2 x 12")
    (('12', 'pcs'), ('2', 'St.'), ('3', ''), ('2 x 12', ''))
    """
    found = COUNTED.fullmatch(clean(text))
    unit = found[2].strip() if found else ""
    if not found or not unit or any(c.isdigit() for c in unit) or len(unit.split()) > 2 or not any(c.isalpha() or c == "×" for c in unit):
        return text, ""
    return found[1], "" if unit in TIMES else unit


def shown(value: Value) -> str:
    """A typed value as text: a whole number without its '.0', as item codes and paper numbers need."""
    if isinstance(value, ErrorValue):
        return value.text
    return str(int(value)) if isinstance(value, float) and value.is_integer() else str(value)
