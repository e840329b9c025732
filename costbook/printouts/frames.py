"""The figures of a run as pandas tables, for those who go on in a notebook. The only file that knows pandas."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas


def frames(figures: Mapping[str, Any]) -> dict[str, pandas.DataFrame]:
    """The tables 'products', 'prices', 'rates', 'recipes', 'papers' and 'findings', a row each, money as numbers.

    Args:
        figures: what `figures.figures` returns.
    """
    import pandas

    tables = {
        name: pandas.json_normalize(figures[name])
        for name in ("products", "prices", "rates", "recipes", "papers", "findings")
    }
    money = {
        "prices": ("floor_price", "target_price", "proposal", "her_price", "compare", "compare_materials"),
        "papers": ("goods", "discount", "charges", "tax", "total"),
    }
    for name, columns in money.items():
        for column in columns:
            if column in tables[name]:
                tables[name][column] = pandas.to_numeric(tables[name][column])
    return tables
