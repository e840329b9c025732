"""The invented input tables as they stand in this package: the demo scenario and the blank book's example rows.

Only inputs: no result is kept here.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType

Record = Mapping[str, str]


@cache
def scenario(name: str) -> tuple[Record, ...]:
    """The rows of one input table of the demo scenario by heading, all text as written, in the table's order.

    >>> scenario("materials")[0]["Material"]
    'Baking soda'

    Raises:
        FileNotFoundError: there is no table of that name.
    """
    return _table("scenario", name)


@cache
def example(name: str) -> tuple[Record, ...]:
    """The example rows of one tab of the blank book, by that tab's own headings.

    >>> example("products")[0]["Product"]
    'Example soak pouch (delete)'

    Raises:
        FileNotFoundError: there is no table of that name.
    """
    return _table("example", name)


def _table(folder: str, name: str) -> tuple[Record, ...]:
    text = resources.files("costbook.demo").joinpath(folder, f"{name}.csv").read_text(encoding="utf-8")
    return tuple(MappingProxyType(row) for row in csv.DictReader(text.splitlines()))
