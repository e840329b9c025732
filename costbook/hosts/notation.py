"""Formulas as workbook files write them and as Calc writes them: marks between arguments, and names of tabs.

>>> for_calc("IF('Cost trace'!B4>1,\\"a, b\\",Hers!C5)")
'IF($\\'Cost trace\\'.B4>1;"a, b";$Hers.C5)'
"""

from __future__ import annotations

import re

from costbook.book.grid import sheet_ref
from costbook.errors import Where

_OURS = re.compile(r"""("(?:[^"]|"")*")|('(?:[^']|'')*'|[A-Za-z_][\w.]*)!|(,)""")
_CALCS = re.compile(r"""("(?:[^"]|"")*")|\$?('(?:[^']|'')*'|[A-Za-z_]\w*)\.(?=\$?[A-Z]{1,3}\$?\d)|(;)""")

# What stands in quotes, and a place in a row that is not held fast.
_ROWS = re.compile(r"""("(?:[^"]|"")*"|'(?:[^']|'')*')|(\$?\b[A-Z]{1,3})(\d+)\b(?!\()""")


def for_calc(text: str) -> str:
    """The formula as Calc's own interface takes it."""
    return _OURS.sub(lambda m: m[1] or (f"${m[2]}." if m[2] else ";"), text)


def from_calc(text: str) -> str:
    """The formula as a workbook file would write it."""
    return _CALCS.sub(lambda m: m[1] or (f"{m[2]}!" if m[2] else ","), text)


def relative(text: str, row: int) -> str:
    """A formula as it reads from its own row (counted from 0): alike for cells that differ in their row only.

    >>> relative("A4*B$2+N('Tab 3'!C3)", 3) == relative("A5*B$2+N('Tab 3'!C4)", 4)
    True
    """
    return _ROWS.sub(lambda m: m[1] or f"{m[2]}[{int(m[3]) - row}]", text)


def bare(text: str) -> str:
    """A formula without the marks that programs put in or leave out, to compare with another."""
    return re.sub(r"[ '$]", "", text).upper()


def link_address(link: Where) -> str:
    """The address by which Calc jumps to a cell of the same workbook.

    >>> link_address(Where("Cost trace", "B4"))
    "#'Cost trace'.B4"
    """
    return f"#{sheet_ref(link.tab)}.{link.cell or 'A1'}"
