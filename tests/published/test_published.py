"""Every published entry the tool's job covers, run through its public functions; and that none is left out in silence."""

from __future__ import annotations

import ast
import json
from pathlib import Path
from typing import Any

import pytest
from published.cases import CASES, INDEPENDENT, LATER, OUT_OF_SCOPE, PARTS_LEFT
from published.figures import FIGURES, MARKS, Case, Entry
from published.page import PAGE, page
from shared_files import shared

from costbook.errors import CostbookError

OURS = [case for case in CASES if case.file == Path(__file__).name]
TESTS = Path(__file__).resolve().parents[1]


class Read(dict[str, Any]):
    """Published figures that remember which of them a check has looked at."""

    def __init__(self, figures: Entry) -> None:
        super().__init__(figures)
        self.seen: set[str] = set()

    def __getitem__(self, key: str) -> Any:
        self.seen.add(key)
        return super().__getitem__(key)


@pytest.mark.parametrize("case", OURS, ids=lambda case: case.entry)
def test_the_program_gives_the_published_figures(case: Case) -> None:
    read = Read(FIGURES[case.entry]["published"])
    try:
        case.check(FIGURES[case.entry] | {"published": read})
    except AssertionError as error:
        raise AssertionError(f"{case.entry} ({case.source}{'; ' + case.mark if case.mark else ''}): {error}") from error
    left = {key.split(" ", 1)[1] for key in PARTS_LEFT if key.split(" ", 1)[0] == case.entry}
    assert set(read) <= read.seen | left, f"{case.entry}: published figures no check looks at"


@pytest.mark.parametrize("case", OURS, ids=lambda case: case.entry)
def test_a_check_fails_where_any_published_figure_is_another(case: Case) -> None:
    """Each number of the entry changed alone: a check that still passes does not compare that number with the program's."""
    figures = FIGURES[case.entry]["published"]
    left = {key.split(" ", 1)[1] for key in PARTS_LEFT if key.split(" ", 1)[0] == case.entry}
    for path in (p for p in _numbers(figures) if p[0] not in left):
        with pytest.raises((AssertionError, CostbookError, ValueError)):
            case.check(FIGURES[case.entry] | {"published": _changed(figures, path)})
            pytest.fail(f"{case.entry} passes with another {path}", pytrace=False)


def _numbers(figures: Any) -> list[tuple[Any, ...]]:
    """The way to every number in nested figures."""
    if isinstance(figures, dict | list):
        steps = figures.items() if isinstance(figures, dict) else enumerate(figures)
        return [(step, *rest) for step, inner in steps for rest in _numbers(inner)]
    return [()] if isinstance(figures, int | float) and not isinstance(figures, bool) else []


def _changed(figures: Any, path: tuple[Any, ...]) -> Any:
    """The same figures with the number at the end of that way a good tenth larger."""
    if not path:
        return type(figures)(figures * 1.125 + 1)
    copied = figures.copy()
    copied[path[0]] = _changed(figures[path[0]], path[1:])
    return copied


def published() -> dict[str, Entry]:
    found = json.loads(shared("published/published_values.json").read_text(encoding="utf-8"))["entries"]
    return {entry["id"]: entry for entry in found}


def test_every_entry_is_a_case_or_listed_once() -> None:
    listed = [*(case.entry for case in CASES), *LATER, *OUT_OF_SCOPE]
    assert sorted(listed) == sorted(published())


def test_what_is_copied_is_what_is_checked() -> None:
    assert sorted(FIGURES) == sorted(case.entry for case in CASES)
    assert {case.entry: case.from_memory for case in CASES} == {n: e["status"] == "from memory" for n, e in FIGURES.items()}
    assert {entry["status"] for entry in FIGURES.values()} <= set(MARKS)


def test_copied_figures_and_citations_are_the_published_ones() -> None:
    for number, entry in published().items():
        if number not in FIGURES:
            continue
        copied = FIGURES[number]
        assert [copied[key] for key in ("topic", "kind", "source", "status")] == [
            entry[key] for key in ("topic", "kind", "source", "status")
        ], number
        for part in ("inputs", "published"):
            assert copied[part].items() <= _pairs(entry[part], copied[part]).items(), number
            # What was not copied is words, never a figure.
            assert not [k for k, v in entry[part].items() if k not in copied[part] and not isinstance(v, str | list)], number


def _pairs(entry: Entry, copied: Entry) -> Entry:
    return {key: entry[key] for key in copied}


def test_parts_left_out_are_there() -> None:
    for key in PARTS_LEFT:
        number, part = key.split(" ", 1)
        assert number in FIGURES
        if number[0] in "AP" and part != "words":
            assert part in FIGURES[number]["published"]


def test_independent_references_are_there() -> None:
    for test in INDEPENDENT.values():
        file, name = test.split("::")
        tree = ast.parse((TESTS / file).read_text(encoding="utf-8"))
        assert not name or name in {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}, test


def test_the_page_is_what_the_registry_makes() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "make it again with: python -m tests.published.page"
