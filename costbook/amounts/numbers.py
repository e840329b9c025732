"""Numbers as they are written, read strictly in the decimal style of the book, and written back exactly.

No unit is known here. A text that two people could read in two ways is refused with a sentence quoting it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from unicodedata import normalize

from costbook.errors import QuantityError

DECIMALS = ("point", "comma")
LONGEST = 200  # characters; nothing she writes as an amount is longer

_VULGAR = {
    "½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5",
    "⅙": "1/6", "⅚": "5/6", "⅐": "1/7", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8", "⅑": "1/9", "⅒": "1/10",
}  # fmt: skip
# The space in front keeps "1½" one and a half: a compatibility fold would make it 11/2.
CLEAN = str.maketrans({
    **{sign: f" {text}" for sign, text in _VULGAR.items()}, "⁄": "/", "∕": "/", "’": "'",
    **dict.fromkeys("‐‑‒–—−", "-"), **dict.fromkeys("\u00a0\u2007\u2009\u202f\t\n\r", " "),
})  # fmt: skip


def quoted(text: object) -> str:
    """The text in quotation marks, cut short where it is long: for sentences that say what was read."""
    shown = str(text).strip()
    return f'"{shown[:60]}…"' if len(shown) > 60 else f'"{shown}"'


def counted(count: float | Decimal, one: str, many: str = "") -> str:
    """How many of something, as a sentence says it; `many` is given where an s at the end of `one` does not make it.

    >>> counted(1, "good piece"), counted(0, "batch", "batches"), counted(1, "is left", "are left"), counted(2.5, "week")
    ('1 good piece', '0 batches', '1 is left', '2.5 weeks')
    """
    return f"{float(count):,.12g} {one if count == 1 else many or f'{one}s'}"


def time_said(hours: float) -> str:
    """An amount of time given in hours as people say it: minutes below an hour, else hours with at most two decimals.

    >>> time_said(0.04167), time_said(0.75), time_said(1.0), time_said(10.254), time_said(0.0)
    ('2.5 minutes', '45 minutes', '1 hour', '10.25 hours', '0 minutes')
    """
    minutes = round(hours * 60, 1)
    return counted(minutes, "minute") if minutes < 60 else counted(round(hours, 2), "hour")


@lru_cache(maxsize=32768)
def same_name(text: str) -> str:
    """The folded form of a name, for comparing: case, width, spaces, and dots at the edges do not count."""
    return " ".join(normalize("NFKC", text).casefold().split()).strip(" .")


@lru_cache(maxsize=8)
def _digits_pattern(decimal: str, separators: str) -> re.Pattern[str]:
    if decimal not in DECIMALS:
        raise ValueError(f"decimal style is one of {DECIMALS}, not {decimal!r}")
    mark, thousands = (r"\.", ",") if decimal == "point" else (",", ".")
    grouped = "|".join(rf"[1-9]\d{{0,2}}(?:{re.escape(sign)}\d{{3}})+" for sign in thousands + separators)
    return re.compile(rf"(?:(?P<whole>\d+|{grouped})(?:{mark}(?P<part>\d+))?|{mark}(?P<only>\d+))", re.ASCII)


def digits(text: str, decimal: str = "point", separators: str = "'") -> tuple[str, str] | None:
    """Digits before and after the decimal mark of a plain number ('1,250.5' -> '1250', '5'), None where it is not one.

    `separators` are further signs allowed between thousands, beside the one of the decimal style.
    """
    found = _digits_pattern(decimal, separators).fullmatch(text) if len(text) <= LONGEST else None
    if found is None:
        return None
    whole, part, only = found.group("whole", "part", "only")
    return "".join(sign for sign in whole or "0" if sign.isdigit()), part or only or ""


def _not_a_number(text: str, decimal: str) -> QuantityError:
    mark, other = (".", ",") if decimal == "point" else (",", ".")
    hint = f"This book writes decimals with a {decimal}." if other in text and mark not in text else ""
    return QuantityError(f"{quoted(text)} is not a number.", do=hint or "Write it like 2 1/4 or " + f"2{mark}25.")


def _plain(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 40


def read_number(text: str, decimal: str = "point") -> Fraction:
    """The exact number written: '2 1/4', '1½', '1/3', '0.8', '0,9' (decimal='comma'), '1,250.5'. Never negative.

    Raises: QuantityError quoting what was read, for anything that is not clearly one number in that decimal style.
    """
    cleaned = text.strip() if text.isascii() else text.translate(CLEAN).strip()
    if cleaned.startswith("-"):
        raise QuantityError(f"{quoted(text)} is negative.", do="An amount is zero or more.")
    if "/" in cleaned:
        value = _mixed_number(cleaned.replace(" /", "/").replace("/ ", "/").split(), decimal)
    else:
        value = _decimal_number(cleaned, decimal)
    if value is None:
        raise _not_a_number(text, decimal)
    return value


def _decimal_number(text: str, decimal: str) -> Fraction | None:
    plain = digits(text, decimal)
    if plain is None:
        return None
    whole, part = plain
    return Fraction(int(whole + part), 10 ** len(part)) if part else Fraction(int(whole))


def _mixed_number(words: Sequence[str], decimal: str) -> Fraction | None:
    top, slash, bottom = words[-1].partition("/")
    if not (slash and _plain(top) and _plain(bottom)) or len(words) > 2:
        return None
    over, under = int(top), int(bottom)
    if not under:
        return None
    if len(words) == 1:
        return Fraction(over, under)
    whole = (words[0], "") if _plain(words[0]) else digits(words[0], decimal)
    # "1 5/4" is a slip of the pen for something: which, nobody knows.
    return Fraction(int(whole[0]) * under + over, under) if whole and not whole[1] and over < under else None


def number_text(value: Fraction, decimal: str = "point") -> str:
    """The number as she would write it, exact, so that reading it again gives the same: '9', '1.25', '2 1/3'."""
    whole, rest = divmod(value.numerator, value.denominator)
    places = next((n for n in range(7) if 10**n % value.denominator == 0), None)
    if places is None:
        return f"{whole} {rest}/{value.denominator}" if whole else f"{rest}/{value.denominator}"
    if not places:
        return str(whole)
    return f"{whole}{'.' if decimal == 'point' else ','}{rest * 10**places // value.denominator:0{places}d}"
