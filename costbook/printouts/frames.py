"""The figures of a run as pandas tables, for those who go on in a notebook. The only file that knows pandas."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas


def frames(figures: Mapping[str, Any]) -> dict[str, pandas.DataFrame]:
    """The tables 'products', 'usage', 'prices', 'rates', 'recipes', 'papers' and 'findings', money as numbers.

    'usage' is long: a row for each input of a product, with its amount per good piece.

    Args:
        figures: what `figures.figures` returns.
    """
    import pandas

    products = [{k: v for k, v in p.items() if k not in ("usage", "kept_g", "choices")} for p in figures["products"]]
    usage = [
        (p["code"], *key.split(": ", 1), amount) for p in figures["products"] for key, amount in p["usage"].items()
    ]
    tables = {
        name: pandas.json_normalize(figures[name]) for name in ("prices", "rates", "recipes", "papers", "findings")
    }
    tables["products"] = pandas.json_normalize(products)
    tables["usage"] = pandas.DataFrame(usage, columns=["product", "category", "item", "amount"])
    money = {
        "prices": ("floor_price", "target_price", "proposal", "her_price", "compare", "compare_materials"),
        "papers": ("goods", "discount", "charges", "tax", "total"),
    }
    for name, columns in money.items():
        for column in columns:
            if column in tables[name]:
                tables[name][column] = pandas.to_numeric(tables[name][column])
    return tables
