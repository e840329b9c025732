"""One way to take a record with other values, whichever of the standard library's two kinds of record it is."""

from __future__ import annotations

import dataclasses
from typing import Any


def replace(record: Any, /, **changes: Any) -> Any:
    """The record with other values in some fields."""
    if hasattr(record, "_replace"):
        return record._replace(**changes)
    return dataclasses.replace(record, **changes)
