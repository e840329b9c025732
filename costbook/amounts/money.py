"""Money as she and her suppliers write it, the one rounding, shares that sum exactly, and price endings.

Everything is `Decimal`. Money is rounded once, at the end, and only by `rounded`.
"""

import re
from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction
from functools import cached_property, lru_cache
from math import lcm
from typing import Literal, NamedTuple
from unicodedata import category

from costbook.amounts.numbers import digits, quoted
from costbook.errors import QuantityError

_WIDE = Context(prec=700)  # wide enough for any float to 8 decimals: rounding must never meet a precision limit
_CENT = Decimal("0.01")
_SPACES = str.maketrans(dict.fromkeys("\u00a0\u2007\u2009\u202f\t\n\r", " ") | dict.fromkeys("‒–−", "-") | {"’": "'"})
_CURRENCY_WORD = re.compile(r"^(?:[A-Z]{1,3}\$|[A-Z]{3}(?![A-Za-z])|kr\.?)|(?:[A-Z]{3}|kr\.?)$")


def _without_currency(text: str) -> str:
    """The text less one currency sign or code at its front or its end."""
    shorter = _CURRENCY_WORD.sub("", text, count=1)
    if shorter != text:
        return shorter.strip()
    if text and category(text[0]) == "Sc":
        return text[1:].strip()
    return text[:-1].strip() if text and category(text[-1]) == "Sc" else text


def _signed(text: str) -> tuple[bool, str]:
    """Whether a minus or brackets make it negative, and the rest."""
    if len(text) > 2 and text[0] == "(" and text[-1] == ")":
        return True, text[1:-1].strip()
    if text[:1] == "-":
        return True, text[1:].strip()
    return (True, text[:-1].strip()) if text[-1:] == "-" else (False, text)


def read_money(text: str, decimal: str = "point") -> Decimal:
    """The money written, with the decimals it has there: '$52.00 ', '52,00 €' (comma), '-4.20', '(4.20)', '1,234.50'.

    Raises: QuantityError quoting what was read, for anything that is not clearly one number in that decimal style.
    """
    typed = text.translate(_SPACES).strip()
    outer = _without_currency(typed)
    negative, bare = _signed(outer)
    plain = digits(_without_currency(bare) if outer == typed else bare, decimal, "' ")
    if plain is None:
        example = "1,234.50" if decimal == "point" else "1.234,50"
        raise QuantityError(f"{quoted(text)} is not an amount of money.", do=f"Write it like {example}.")
    whole, part = plain
    value = Decimal(f"{whole}.{part}" if part else whole)
    return -value if negative and value else value


@lru_cache(maxsize=16)
def _last_place(places: int) -> Decimal:
    return Decimal((0, (1,), -places))


@lru_cache(maxsize=16384)
def _of_cents(cents: int) -> Decimal:
    return Decimal(cents).scaleb(-2, _WIDE)


def _units(value: float, scale: float) -> int | None:
    """How many whole units of 1 / scale a float is, half up, by float arithmetic: a tenth of the time of the exact way.

    None where that cannot be trusted: near a tie, or so large that the product is off by more than a thousandth.
    """
    scaled = value * scale
    if not 0 <= scaled < 1e12:
        return None
    units = int(scaled + 0.5)
    return units if -0.499 < scaled - units < 0.499 else None


def rounded(value: Decimal | Fraction | float | int, places: int = 2) -> Decimal:
    """The value to so many decimals, half up, away from zero for negatives: the one rounding of money.

    A float counts as the decimal it prints as: 2.675 is 2.68. Raises: QuantityError for what is not a finite number.
    Source: EN 16931 invoices round half up (practice of its validation artefacts); Regulation (EC) 1103/97, Art. 5.
    """
    if isinstance(value, float):
        if places == 2 and (cents := _units(value, 100.0)) is not None:
            return _of_cents(cents)
        number = Decimal(repr(float(value)))
    elif isinstance(value, Fraction):
        twice = 2 * value.denominator
        units = (abs(value.numerator) * 10**places * 2 + value.denominator) // twice
        return Decimal(units if value >= 0 else -units).scaleb(-places, _WIDE)
    else:
        number = Decimal(value)
    if not number.is_finite():
        raise QuantityError(f"{quoted(number)} is not a number that can be rounded.")
    result = number.quantize(_last_place(places), ROUND_HALF_UP, _WIDE)
    return result if result else abs(result)


def _exact(value: Decimal | Fraction | float | int) -> Fraction:
    return Fraction(repr(float(value))) if isinstance(value, float) else Fraction(value)


def allocate(total: Decimal, weights: Sequence[Decimal | Fraction | float | int], places: int = 2) -> list[Decimal]:
    """Shares of the total by weight, each in whole cents, that sum to it exactly; largest remainder, ties in order.

    Args: total in whole units of the last place, may be negative; weights at least zero, one of them above.
    Raises: ValueError for weights that share nothing out, or a total finer than `places`.
    """
    units = Fraction(total) * 10**places
    try:
        parts = [_exact(weight) for weight in weights]
    except (ValueError, OverflowError):
        raise ValueError("weights must be finite numbers") from None
    if not any(parts) or min(parts) < 0:
        raise ValueError("weights must be at least zero, and one of them above zero")
    if units.denominator != 1:
        raise ValueError(f"{total} has more than {places} decimals and cannot be shared exactly")
    scale = lcm(*(part.denominator for part in parts))
    whole = [part.numerator * (scale // part.denominator) for part in parts]
    shares = _largest_remainder(abs(units.numerator), whole)
    sign = -1 if total < 0 else 1
    return [Decimal(sign * share if share else 0).scaleb(-places, _WIDE) for share in shares]


def read_discounts(text: str, decimal: str = "point") -> tuple[Decimal, ...]:
    """Trade discounts one after the other, as fractions: "20/10/5", "20 % + 10 %", "5 %".

    >>> read_discounts("20/10/5")
    (Decimal('0.2'), Decimal('0.1'), Decimal('0.05'))
    """
    parts = [part.strip().rstrip("%").strip() for part in re.split(r"[/+]", text)]
    found = tuple(read_money(part, decimal) / 100 for part in parts)
    if any(not 0 <= share < 1 for share in found):
        raise QuantityError(f"{quoted(text)} is no discount", do="Write 5 %, or a chain such as 20/10/5.")
    return found


def after_discounts(price: Decimal, discounts: Sequence[Decimal]) -> Decimal:
    """A list price less a chain of trade discounts, each taken from what the one before left; unrounded.

    >>> after_discounts(Decimal(100), (Decimal("0.2"), Decimal("0.1"), Decimal("0.05")))
    Decimal('68.4000')
    """
    for share in discounts:
        price *= 1 - share
    return price


def _largest_remainder(units: int, weights: Sequence[int]) -> list[int]:
    of = sum(weights)
    split = [divmod(units * weight, of) for weight in weights]
    left = units - sum(share for share, _ in split)
    first = sorted(range(len(weights)), key=lambda at: -split[at][1])[:left]
    extra = set(first)
    return [share + (at in extra) for at, (share, _) in enumerate(split)]


class _Ends(NamedTuple):
    kind: Literal["step", "cents"]
    value: Decimal


class Ending(_Ends):
    """How a shown price ends: at the next step of `value` ('step'), or with `value` as its cents ('cents').

    Raises:
        QuantityError: no price can end so.
    """

    def __new__(cls, kind: Literal["step", "cents"], value: Decimal) -> "Ending":
        """An ending whose value is one of whole cents."""
        fine = value.is_finite() and value == rounded(value)
        inside = value > 0 if kind == "step" else kind == "cents" and 0 <= value < 1
        if not (fine and inside):
            raise QuantityError(f"A price cannot end by {kind} of {value}.", do=_ENDING_ADVICE)
        return super().__new__(cls, kind, rounded(value))

    @cached_property
    def units(self) -> int:
        """The value in hundred-millionths."""
        return int(self.value.scaleb(8, _WIDE))

    def __str__(self) -> str:
        return f"next {self.value}" if self.kind == "step" else f"ends {str(self.value)[1:]}"


_ENDING_ADVICE = 'Write "next 0.25" for steps of 0.25, or "ends .95" for prices that end in .95.'
_ENDS = ("ends in ", "ends with ", "ends ", "ending ")


def read_ending(text: str | float | Decimal, decimal: str = "point") -> Ending:
    """The ending written: 'next 0.25' or a plain 0.25 is a step, 'ends .95' or 'ends in 0.95' are cents.

    Raises: QuantityError where it is neither, and for a plain number like 0.95 that could be meant as either.
    """
    written = text if isinstance(text, str) else repr(text) if isinstance(text, float) else str(text)
    folded = " ".join(written.casefold().split())
    ends = next((word for word in _ENDS if folded.startswith(word)), "")
    steps = "next " if folded.startswith("next ") else ""
    number = folded[len(ends or steps) :]
    try:
        value = read_money(number, decimal if isinstance(text, str) and "," in number else "point")
    except QuantityError:
        raise QuantityError(f"{quoted(text)} is not a price ending.", do=_ENDING_ADVICE) from None
    odd = not ends and not steps and 0 < value < 1 and Decimal(1) % value != 0
    if odd or not value.is_finite() or (ends and not 0 <= value < 1) or (not ends and value <= 0):
        raise QuantityError(f"{quoted(text)} is not clearly a price ending.", do=_ENDING_ADVICE)
    return Ending("cents" if ends else "step", value)


def up_to_ending(price: Decimal | Fraction | float | int, ending: Ending) -> Decimal:
    """The lowest price with that ending which is not below the price, in two decimals; an exact hit stays.

    The price is first taken half up to 8 decimals, so that 4.20 / 0.7 is 6 and not a step more.
    """
    units = _units(price, 1e8) if isinstance(price, float) else None
    if units is None:
        units = int(rounded(price, 8).scaleb(8, _WIDE))
    value = ending.units
    if ending.kind == "step":
        hit = -(-units // value) * value
    else:
        hit = max(-(-(units - value) // 10**8), 0) * 10**8 + value
    return _of_cents(hit // 10**6)
