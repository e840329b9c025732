"""costbook: unit costs, margins and price tiers from a maker's own workbook and her suppliers' papers.

`price`, `post`, `explain`, `takeback`, `blank`, `demo` and `frames` are the commands as functions; importing them is left to the first
use, so that `import costbook` costs nothing.
"""

from __future__ import annotations

from typing import Any

__version__ = "0.1.0"
__all__ = ["blank", "demo", "explain", "frames", "post", "price", "takeback"]


def __getattr__(name: str) -> Any:
    if name in __all__:
        from costbook import commands

        return getattr(commands, name)
    raise AttributeError(f"module 'costbook' has no attribute {name!r}")
