"""Where the tests find the material that lives beside the project: expected tables, published values, e-invoices.

It is looked for in the folder named by COSTBOOK_SHARED, else in a folder `shared` beside the checkout. Where it is not
there a test skips and says so; the project itself never needs it.
"""

from __future__ import annotations

import csv
import os
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from pathlib import Path

import pytest

FOLDER = Path(os.environ.get("COSTBOOK_SHARED") or Path(__file__).resolve().parents[2] / "shared")


def shared(name: str) -> Path:
    """The path of one shared file or folder; skips the calling test where it is missing."""
    path = FOLDER / name
    if not path.exists():
        pytest.skip(f"the shared material is not beside this checkout ({name})")
    return path


def rows(name: str) -> list[dict[str, str]]:
    """The rows of a shared csv table by heading."""
    with shared(name).open(newline="", encoding="utf-8") as handle:
        return list(csv.DictReader(handle))


def printed(value: Decimal | Fraction | float, like: str) -> str:
    """A value rounded half up to as many decimals as the table's text has."""
    number = Decimal(repr(value)) if isinstance(value, float) else Decimal(value)
    places = len(like.partition(".")[2])
    return str(number.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP))
