"""One of something is told in the singular, wherever a sentence counts."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest

from costbook.amounts.numbers import counted

SOURCES = Path(__file__).resolve().parents[2] / "costbook"
COUNTED = re.compile(
    r" (?:good |announced |more |work )?(pieces|packs|batches|weeks|days|products|prices|papers|lines|findings|sales|cells|places|hours|pages|rows|materials)\b"
)
# Never 1: limits, and what stands in a branch that is for several.
SEVERAL = {"LIMIT_PAGES", "LIMIT_SCANNED", "LIMIT_CELLS", "MOST_CELLS", "USUAL_HOURS", "count", "cells", "tall * wide", "rows * columns", "len(several)", "p.batches", "line.packs", "least",
           "good", "len(lines)"}  # fmt: skip


@pytest.mark.parametrize(
    ("count", "said"),
    [(1, "1 batch"), (1.0, "1 batch"), (Decimal("1.00"), "1 batch"), (0, "0 batches"), (2, "2 batches"), (Decimal("1.50"), "1.5 batches"), (12000, "12,000 batches")],
)
def test_one_is_said_in_the_singular(count: float | Decimal, said: str) -> None:
    assert counted(count, "batch", "batches") == said
    assert counted(count, "piece") == said.replace("batches", "pieces").replace("batch", "piece")


def uncounted(source: str) -> Iterator[str]:
    """The placeholders of a source that stand before a plural and may hold a 1; figures with decimals are no counts."""
    for node in ast.walk(ast.parse(source)):
        for value, after in zip(node.values, node.values[1:], strict=False) if isinstance(node, ast.JoinedStr) else ():
            if isinstance(value, ast.FormattedValue) and isinstance(after, ast.Constant) and COUNTED.match(str(after.value)):
                spec = ast.unparse(value.format_spec) if value.format_spec else ""
                if not re.search(r"\.\d+f", spec) and ast.unparse(value.value) not in SEVERAL:
                    yield f"{ast.unparse(value.value)}{after.value}"


def test_no_sentence_counts_by_itself() -> None:
    assert list(uncounted('f"{n} good pieces of {x:.1f} weeks, {word} prices"')) == ["n good pieces of ", "word prices"], "what the look is for, it finds"
    found = [f"{path.relative_to(SOURCES)}: {told}" for path in sorted(SOURCES.rglob("*.py")) for told in uncounted(path.read_text(encoding="utf-8"))]
    assert found == []
