"""A value as a workbook holds it: what may stand in a cell, and how it is spelled there."""

from __future__ import annotations

import re
from datetime import date, datetime
from math import isfinite

from costbook.book.grid import ErrorValue, Value

LONGEST_TEXT = 32_767
FORMULA_LIKE = frozenset("=+-@")

_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff\ud800-\udfff]")
_ESCAPE_LIKE = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")
_EPOCH_DAY = {False: date(1899, 12, 30).toordinal(), True: date(1904, 1, 1).toordinal()}


def clean(value: Value) -> Value:
    """The value as a workbook can hold it: no control characters, one kind of line end, no endless or undefined number.

    >>> clean("a\\x07b\\r\\n"), clean("")
    ('ab\\n', None)
    """
    if isinstance(value, str):
        if value.isprintable() and len(value) <= LONGEST_TEXT:  # hardly a text has anything to be taken out
            return value or None
        return _CONTROL.sub("", value.replace("\r\n", "\n").replace("\r", "\n"))[:LONGEST_TEXT] or None
    if isinstance(value, float) and not isfinite(value):
        return ErrorValue("#NUM!")
    return value.date() if isinstance(value, datetime) else value


def escaped(text: str) -> str:
    """Text in which nothing can be taken for the format's own escape of a character, such as _x0041_."""
    return _ESCAPE_LIKE.sub("_x005F_", text)


def looks_like_formula(value: object) -> bool:
    """Whether a program would take the text for a formula if she typed it."""
    return isinstance(value, str) and value[:1] in FORMULA_LIKE


def serial(day: date, from_1904: bool = False) -> int:
    """A day as a workbook counts it, in days since its epoch."""
    return day.toordinal() - _EPOCH_DAY[from_1904]


def stored_result(value: Value, from_1904: bool) -> tuple[str, bytes] | None:
    """The kind (t=) and the text with which a formula's result is stored; None where there is no result."""
    if value is None:
        return None
    if isinstance(value, bool):
        return "b", b"%d" % value
    if isinstance(value, ErrorValue):
        return "e", _as_xml(value.text)
    if isinstance(value, date):
        return "n", b"%d" % serial(value, from_1904)
    if isinstance(value, str):
        return "str", _as_xml(escaped(value))
    return "n", repr(value).encode()


def _as_xml(text: str) -> bytes:
    from html import escape  # that of xml.sax loads network and mail modules; neither is wanted where nothing is saved

    return escape(text, quote=False).encode()
