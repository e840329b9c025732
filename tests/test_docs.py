"""The documents say what the program does: commands, options, exit codes, errors, rooms, and the two commands of the README."""

from __future__ import annotations

import argparse
import ast
import doctest
import importlib
import inspect
import pkgutil
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import costbook
from costbook import cli, errors

REPO = Path(__file__).resolve().parents[1]
PACKAGE = REPO / "costbook"
# What runs inside the office is imported by the office only.
MODULES = sorted(
    m.name for m in pkgutil.iter_modules([str(PACKAGE)], "costbook.") if not m.ispkg and not m.name.endswith("__main__")
) + sorted(
    f"costbook.{room.name}.{m.name}" for room in PACKAGE.iterdir() if room.is_dir() for m in pkgutil.iter_modules([str(room)]) if not m.ispkg
)
TOP = ("costbook", "tests", "workbooks", "sample_invoices", ".ci")
PROMISES = re.compile(r"\bcompliant\b|\b(?:is|are) safe\b", re.IGNORECASE)


def document(name: str) -> str:
    path = REPO / name
    assert path.is_file(), f"{name} is not there"
    return path.read_text(encoding="utf-8")


def fenced(text: str) -> list[str]:
    """The lines that stand in fenced blocks."""
    blocks = re.findall(r"^```\w*\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    return [line.strip() for block in blocks for line in block.splitlines() if line.strip()]


def named(word: str, text: str) -> bool:
    return re.search(rf"(?<![\w-]){re.escape(word)}(?![\w-])", text) is not None


def commands_of(parser: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    asked = [a for a in parser._actions if isinstance(a, argparse._SubParsersAction)]
    return dict(asked[0].choices)


def arguments(parser: argparse.ArgumentParser) -> Iterator[str]:
    """How each option or argument of a command is written: '--json', or FOLDER for what is given by place."""
    for action in parser._actions:
        if action.option_strings:
            yield from (o for o in action.option_strings if o not in ("-h", "--help"))
        else:
            yield (action.dest.removesuffix("s") if action.nargs in ("+", "*") else action.dest).upper()


COMMANDS = commands_of(cli.parser())


# ------------------------------------------------------------------ README


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_every_command_is_in_the_readme_with_all_it_takes(command: str) -> None:
    """In one row of the table of commands, so that an option of one command is not found beside another."""
    rows = [r for r in document("README.md").splitlines() if r.startswith(f"| `costbook {command}")]
    assert len(rows) == 1, f"README's table has {len(rows)} rows for {command}"
    assert [word for word in arguments(COMMANDS[command]) if not named(word, rows[0])] == []


def test_the_readme_names_no_command_that_is_not_there() -> None:
    text = document("README.md")
    said = set(re.findall(r"`costbook (\w+)", text)) | set(re.findall(r"bin/costbook (\w+)", text))
    assert said and said <= set(COMMANDS)
    options = {word for row in text.splitlines() if row.startswith("| `costbook") for word in re.findall(r"--\w+", row)}
    assert options == {o for p in COMMANDS.values() for o in arguments(p) if o.startswith("--")}


def test_the_readme_opens_with_one_paragraph() -> None:
    title, *rest = document("README.md").split("\n", 1)
    assert title.startswith("# ")
    opening = re.split(r"^#", rest[0], maxsplit=1, flags=re.MULTILINE)[0]
    blocks = [b.strip() for b in opening.split("\n\n") if b.strip()]
    words = [b for b in blocks if not all(line.startswith("![") for line in b.splitlines())]
    assert len(words) == 1
    assert not words[0].startswith(("-", "*", "|", "`", ">", "1."))


def test_the_two_commands_stand_in_fenced_blocks() -> None:
    lines = fenced(document("README.md"))
    assert len([x for x in lines if re.search(r"costbook demo\b", x)]) == 1
    assert len([x for x in lines if "pytest" in x]) == 1


def test_ci_runs_the_same_test_command_as_the_readme() -> None:
    [command] = [x for x in fenced(document("README.md")) if "pytest" in x]
    script = [x for x in document(".ci/run").splitlines() if not x.lstrip().startswith("#")]
    assert any(command in x for x in script), "the test command of the README is not the one in .ci/run"


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md", "CHANGELOG.md"])
def test_links_and_paths_lead_somewhere(name: str) -> None:
    text = document(name)
    links = [x for x in re.findall(r"\]\(([^)\s]+)\)", text) if not re.match(r"https?:|mailto:|#", x)]
    paths = [x for x in re.findall(r"`([^`\s]+)`", text) if x.startswith(tuple(f"{t}/" for t in TOP))]
    gone = [x for x in links + paths if not (REPO / x.split("#")[0].split("::")[0]).exists()]
    assert gone == []


def test_every_name_of_the_python_interface_is_in_the_readme() -> None:
    text = document("README.md")
    commands_too = set(COMMANDS)
    assert [n for n in costbook.__all__ if n not in commands_too and f"costbook.{n}(" not in text] == []
    assert [n for n in re.findall(r"costbook\.(\w+)\(", text) if n not in costbook.__all__] == []


# ------------------------------------------------------------------ DEVELOPERS, both


def test_every_room_is_in_the_developers_guide() -> None:
    rooms = sorted(p.name for p in PACKAGE.iterdir() if p.is_dir() and (p / "__init__.py").exists())
    assert len(rooms) >= 7
    text = document("DEVELOPERS.md")
    assert [r for r in rooms if f"{r}/" not in text] == []


def test_every_file_of_the_house_is_in_its_picture() -> None:
    """Both ways: files the picture names exist, and every module stands in it."""
    block = document("DEVELOPERS.md").split("## The house", 1)[1].split("\n    papers", 1)[0]
    said = set(re.findall(r"[\w]+\.(?:py|csv)", block))
    assert said - {p.name for p in PACKAGE.rglob("*")} == set()
    inside_the_office = PACKAGE / "hosts" / "addons"  # has a chapter of its own
    there = {p.name for p in PACKAGE.rglob("*.py") if inside_the_office not in p.parents}
    assert there - said - {"__init__.py"} == set()


def test_every_helper_of_the_tests_is_named() -> None:
    block = document("DEVELOPERS.md").split("## Tests", 1)[1].split("\nWhat is checked", 1)[0]
    said = set(re.findall(r"\w+\.py", block))
    there = {p.name for p in (REPO / "tests").rglob("*.py") if not p.name.startswith(("test_", "__", "conftest"))}
    assert len(there) > 20 and said == there


def error_classes() -> list[type[errors.CostbookError]]:
    found = [c for _, c in inspect.getmembers(errors, inspect.isclass) if issubclass(c, errors.CostbookError)]
    return sorted(found, key=lambda c: c.__name__)


@pytest.mark.parametrize("error", error_classes(), ids=lambda c: c.__name__)
def test_every_error_is_named_in_the_documents(error: type[errors.CostbookError]) -> None:
    assert named(error.__name__, document("README.md") + document("DEVELOPERS.md"))


def test_every_error_stands_in_the_tree_at_the_top_of_its_file() -> None:
    text = errors.__doc__ or ""
    assert [c.__name__ for c in error_classes() if not named(c.__name__, text)] == []


def test_every_exit_code_is_named_in_the_documents() -> None:
    codes = {cli.DONE, cli.STOPPED, cli.USAGE} | {c.exit_code for c in error_classes()}
    assert codes == {0, 1, 2, 3, 4}
    for name in ("README.md", cli.__name__):
        text = document(name) if name.endswith(".md") else cli.__doc__ or ""
        about = " ".join(p for p in text.split("\n\n") if "exit code" in p.casefold())
        assert {int(n) for n in re.findall(r"(?<![\w.])(\d)(?= )", about)} == codes, name


def test_the_change_log_names_the_version_or_what_is_unreleased() -> None:
    heads = re.findall(r"^## (.+)$", document("CHANGELOG.md"), re.MULTILINE)
    assert heads and heads[0].startswith(("Unreleased", costbook.__version__))


# ------------------------------------------------------------------ the code's own words


def test_every_module_was_found() -> None:
    assert len(MODULES) > 30


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_in_docstrings_hold(name: str) -> None:
    failed, _ = doctest.testmod(importlib.import_module(name), verbose=False)
    assert failed == 0


def test_there_are_examples() -> None:
    finder = doctest.DocTestFinder()
    assert sum(1 for name in MODULES for found in finder.find(importlib.import_module(name)) if found.examples) >= 10


def texts(tree: ast.AST) -> Iterator[tuple[str, int]]:
    """Every text of a file that can be shown, pieces of f-strings too; docstrings are not shown."""
    told = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body and isinstance(node.body[0], ast.Expr)
    }  # fmt: skip
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in told:
            yield node.value, node.lineno


def promises(source: str) -> list[str]:
    return [f"line {line}: {text}" for text, line in texts(ast.parse(source)) if PROMISES.search(text)]


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_nothing_is_called_safe_or_compliant(path: Path) -> None:
    assert promises(path.read_text(encoding="utf-8")) == []


def test_the_look_for_promises_can_fail() -> None:
    assert promises('"""It is safe."""\nx = 1\n') == []
    assert len(promises('x = f"The label is {y} compliant"\n')) == 1
    assert len(promises('def f():\n    """Says it."""\n    return "This piece is safe."\n')) == 1


def test_packed_tables_make_no_promises_either() -> None:
    found = [p.name for p in PACKAGE.rglob("*.csv") if PROMISES.search(p.read_text(encoding="utf-8"))]
    assert found == []
