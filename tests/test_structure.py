"""The tree's rules, read from the source alone: nothing of costbook is imported or run.

Each rule is one function from sources to the list of breaches, so that a failure prints all of them. `BAD` holds, for each
rule, a small tree that breaks it: a rule that cannot fail is no rule.
"""

from __future__ import annotations

import ast
import re
import statistics
import sys
import tomllib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

REPO = Path(__file__).resolve().parents[1]
ROOT = REPO / "costbook"

# Who may import whom. Read downwards: each row names only rows above it.
MAY_IMPORT: dict[str, set[str]] = {
    "errors": set(),
    "amounts": {"errors"},
    "book": {"errors", "amounts"},
    "costing": {"errors", "amounts", "book.model"},
    "demo": {"errors", "amounts", "book"},
    "hosts": {"errors", "book.grid", "book.layout", "book.words"},
    "invoices": {"errors", "amounts", "book.model", "book.grid", "book.words"},
    "printouts": {"errors", "amounts", "book", "costing"},
    "papers": {"errors", "book.model", "book.grid", "book.layout", "hosts", "invoices"},
    "clerk": {"errors", "amounts", "book", "invoices", "printouts", "papers"},
    "making": {"errors", "amounts", "book", "costing", "invoices", "printouts"},
    "changes": {"errors", "amounts", "book", "costing", "printouts"},
    "commands": {"errors", "amounts", "book", "costing", "demo", "hosts", "invoices", "printouts", "papers", "clerk", "changes", "making"},
    "serving": {"errors", "amounts.numbers", "commands", "hosts"},
    "desk": {"errors", "amounts.numbers", "book.grid", "demo", "commands", "hosts", "serving"},
    "cli": {"errors", "amounts.numbers", "commands", "desk"},
    "__main__": {"cli"},
    "__init__": {"errors", "commands"},
}
# Order inside a room: a file imports only names to its left. Every file of a room has its place.
FLOW = {
    "amounts": ["numbers", "weights", "quantity", "money"],
    "book": ["grid", "words", "model", "layout", "tool_tabs", "table", "recipes", "products", "records", "reading", "posting", "review", "decisions", "price_log", "sheets"],
    "costing": ["rates", "usage", "matrix", "tiers", "trace", "checks", "announced", "impact", "variance", "levers", "hidden_rises",
                "stock", "days", "restock", "candidates", "highs", "swaps", "neighbours", "plan", "buying", "week", "batches"],
    "demo": ["tables", "list_file", "papers", "workshop"],
    "hosts": ["quiet", "whole", "locks", "backups", "disk", "package", "scan", "reading", "losses", "cells", "rows", "render", "anew",
              "archive", "ooxml", "styles", "splice", "graft", "surgery", "places", "contract", "file", "pages", "notation", "calc", "headless", "office",
              "journal", "typed", "excel", "opening", "extension", "excel_buttons"],
    "invoices": ["wording", "packs", "dialect", "matching", "checks", "line_terms", "headings", "vocabulary", "tabular", "price_list", "shop_sales", "en16931", "placed",
                 "columns", "line_table", "letterhead", "page"],
    "printouts": ["marks", "figures", "frames", "tabs", "result_tabs", "paper_tabs", "change_tabs", "shop_tabs", "stock_tabs"],
}
# The one file each outside library may appear in (scipy, which is many libraries, in two), always inside a function: start-up is part of the product.
OUTSIDE = {
    "lxml": "invoices/en16931.py",
    "numpy": "costing/swaps.py",
    "openpyxl": "hosts/render.py",
    "pandas": "printouts/frames.py",
    "PIL": "hosts/pages.py",
    "pdfplumber": "hosts/pages.py",
    "pypdf": "hosts/pages.py",
    "pint": "amounts/quantity.py",
    "python_calamine": "hosts/reading.py",
    "rapidfuzz": "invoices/matching.py",
    "xlwings": "hosts/excel.py",
    "scipy": "costing/matrix.py costing/highs.py",  # its sparse rows in the one, its solvers in the other
}
# What runs in the office's own Python: the standard library, the office, and each other to the left; nothing else of ours.
ADDONS = "hosts/addons/"
ADDON_FLOW = ["cells", "drawing", "bridge", "child", "component"]
OFFICE = {"uno", "unohelper", "com"}
PURE = ("amounts", "book", "costing", "demo", "invoices", "printouts")
READS_OWN_DATA = {"amounts/quantity.py", "amounts/weights.py", "demo/tables.py"}  # tables packed with the code
IMPURE_MODULES = {"logging", "os", "random", "shutil", "socket", "subprocess", "sys", "tempfile", "time"}
IMPURE_CALLS = {
    "getenv", "input", "mkdir", "now", "open", "print", "read_bytes", "read_text", "time", "today", "touch", "unlink",
    "utcnow", "write_bytes", "write_text",
}  # fmt: skip
CLOCK, SPEAKS = {"now", "today", "utcnow"}, {"input", "print"}
BANNED_NAMES = {
    "base", "common", "core", "engine", "handler", "helper", "helpers", "manager", "misc", "processor", "service",
    "shared", "util", "utils",
}  # fmt: skip
FILE_LIMIT, FILE_EXPLAINED, FUNCTION_LIMIT, MEDIAN_LIMIT = 800, 600, 80, 8
MARKS = re.compile(r"\b(" + "|".join(("TO" + "DO", "FIX" + "ME", "X" * 3)) + r")\b")
MACHINE_PATH = re.compile(r"(?<![\w.*/])/(?:work|farm|root|tmp|home|Users)/\w|[A-Z]:\\\\?Users")
BROAD = {"Exception", "BaseException"}
# A panic inside the outside reader is a bare BaseException, named again at once; a child process that reads PDFs must answer,
# and its parent ends it whatever happens.
CAUGHT_WHOLE = {"hosts/reading.py": 1, "hosts/pages.py": 2}
IMPORTED_AS = {"Pillow": "PIL"}  # where a distribution's name is not its module's


@dataclass(frozen=True)
class Source:
    """One file: its path below costbook/, its text and its tree."""

    rel: str
    text: str
    tree: ast.Module

    @property
    def room(self) -> str:
        return self.rel.split("/")[0].removesuffix(".py")


def sources(root: Path) -> list[Source]:
    found = []
    for path in sorted(root.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        found.append(Source(path.relative_to(root).as_posix(), text, ast.parse(text)))
    return found


def engine(tree: Iterable[Source]) -> list[Source]:
    """The files that run in our own Python."""
    return [source for source in tree if not source.rel.startswith(ADDONS)]


def targets(node: ast.AST) -> list[str]:
    """The dotted names one import statement names; a relative one names nothing of the table (it has its own rule)."""
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom) and node.level == 0:
        return [f"{node.module}.{alias.name}" for alias in node.names]
    return []


def imports(source: Source) -> Iterator[str]:
    """Every import anywhere in the file, those only for types too."""
    for node in ast.walk(source.tree):
        yield from targets(node)


def start_up_imports(source: Source) -> Iterator[str]:
    """The imports that run when the file is imported: outside functions, and not those for types only."""
    waiting: list[ast.AST] = list(source.tree.body)
    while waiting:
        node = waiting.pop()
        yield from targets(node)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            continue
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            waiting += node.orelse
        else:
            waiting += list(ast.iter_child_nodes(node))


def calls(source: Source) -> Iterator[tuple[str, int]]:
    for node in ast.walk(source.tree):
        if isinstance(node, ast.Call):
            yield getattr(node.func, "id", getattr(node.func, "attr", "")), node.lineno


def functions(source: Source) -> Iterator[tuple[str, int]]:
    """Every function with its length in lines, docstring not counted."""
    for node in ast.walk(source.tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            doc = node.body[0] if ast.get_docstring(node) is not None else None
            told = 0 if doc is None else (doc.end_lineno or 0) - doc.lineno + 1
            yield node.name, (node.end_lineno or 0) - node.lineno + 1 - told


# ------------------------------------------------------------------ the rules


def import_breaches(tree: Iterable[Source]) -> list[str]:
    """A room imports only what the table allows it."""
    out = []
    for source in engine(tree):
        for target in imports(source):
            if target.split(".")[0] != "costbook":
                continue
            parts = target.split(".")[1:]
            if not parts or parts[0] not in MAY_IMPORT:
                out.append(f"{source.rel} imports {target} from the package root")
            elif parts[0] != source.room and not {parts[0], ".".join(parts[:2])} & MAY_IMPORT.get(source.room, set()):
                out.append(f"{source.rel} imports {target}: {source.room} may not")
    return out


def flow_breaches(tree: Iterable[Source]) -> list[str]:
    """Inside a room a file imports only files before it, and every file has its place in the order."""
    out = []
    for source in engine(tree):
        room, _, name = source.rel.removesuffix(".py").partition("/")
        if not name or name == "__init__":
            continue
        order = FLOW.get(room, [])
        if name not in order:
            out.append(f"{source.rel} has no place in the order of {room}")
            continue
        inside = {t.split(".")[2] for t in imports(source) if t.startswith(f"costbook.{room}.")}
        late = [other for other in inside if other in order and order.index(other) >= order.index(name)]
        out += [f"{source.rel} imports {room}.{other}: against the flow" for other in sorted(late)]
    return out


def addon_breaches(tree: Iterable[Source]) -> list[str]:
    """What runs inside an office program knows the standard library, the office and its own neighbours only."""
    out = []
    for source in tree:
        if not source.rel.startswith(ADDONS):
            continue
        name = source.rel.removesuffix(".py").rpartition("/")[2]
        if name != "__init__" and name not in ADDON_FLOW:
            out.append(f"{source.rel} has no place in the order of the extension")
        for target in imports(source):
            beside = [part for part in target.split(".")[4:5] if target.startswith("costbook.hosts.addons.calc.")]
            late = [b for b in beside if b in ADDON_FLOW and ADDON_FLOW.index(b) >= ADDON_FLOW.index(name)]
            known = target.split(".")[0] in {*sys.stdlib_module_names, *OFFICE, "__future__"}
            if late or not (known or beside or target.startswith("costbook.hosts.addons.calc.")):
                out.append(f"{source.rel} imports {target}")
    return out


def table_breaches(tree: Iterable[Source]) -> list[str]:
    """The table itself runs one way, and every room of the tree has its row."""
    rows = list(MAY_IMPORT)
    upward = [
        f"{a} -> {b}" for i, a in enumerate(rows) for b in sorted(MAY_IMPORT[a]) if b.split(".")[0] not in rows[:i]
    ]
    return upward + sorted(f"{room} is not in the table" for room in {s.room for s in tree} - set(rows))


def home_breaches(tree: Iterable[Source]) -> list[str]:
    """An outside library is named in its one home only."""
    out = []
    for source in engine(tree):
        for lib in sorted({t.split(".")[0] for t in imports(source)} - {"costbook", "__future__"}):
            if lib not in sys.stdlib_module_names and source.rel not in OUTSIDE.get(lib, "").split():
                out.append(f"{source.rel} imports {lib}, whose home is {OUTSIDE.get(lib, 'nowhere')}")
    return out


def start_up_breaches(tree: Iterable[Source]) -> list[str]:
    """No outside library is imported when a file is: only inside the function that needs it."""
    return [
        f"{source.rel} imports {target} at start-up"
        for source in engine(tree)
        for target in start_up_imports(source)
        if target.split(".")[0] not in {*sys.stdlib_module_names, "costbook", "__future__"}
    ]


def purity_breaches(tree: Iterable[Source]) -> list[str]:
    """Inner rooms open nothing, print nothing, read no clock; elsewhere the clock is of commands.py, print of cli.py."""
    out = []
    for source in tree:
        inner = source.room in PURE
        if inner:
            out += [f"{source.rel} imports {t}" for t in imports(source) if t.split(".")[0] in IMPURE_MODULES]
        banned = IMPURE_CALLS if inner else CLOCK - ({"today"} if source.rel == "commands.py" else set())
        banned = banned | (SPEAKS if source.rel != "cli.py" else set())
        for name, line in calls(source):
            if name in banned and not (name in ("read_text", "open") and source.rel in READS_OWN_DATA):
                out.append(f"{source.rel}:{line} calls {name}()")
    return out


def name_breaches(tree: Iterable[Source]) -> list[str]:
    """A name says what is inside."""
    return [s.rel for s in tree if {p.removesuffix(".py") for p in s.rel.split("/")} & BANNED_NAMES]


def size_breaches(tree: Iterable[Source]) -> list[str]:
    """Files and functions a person can read; a long file says in its docstring why it is one."""
    out = []
    for source in tree:
        lines = len(source.text.splitlines())
        if lines > FILE_LIMIT:
            out.append(f"{source.rel}: {lines} lines")
        if lines > FILE_EXPLAINED and "one file" not in (ast.get_docstring(source.tree) or ""):
            out.append(f"{source.rel}: {lines} lines, and its docstring does not say why it is one file")
        out += [f"{source.rel}:{name}: {length} lines" for name, length in functions(source) if length > FUNCTION_LIMIT]
    return out


def median_breaches(tree: Iterable[Source]) -> list[str]:
    """The usual function is short."""
    lengths = [length for source in tree for _, length in functions(source)]
    median = statistics.median(lengths) if lengths else 0
    print(f"{len(lengths)} functions, median {median:g} lines, longest {max(lengths, default=0)}")
    return [f"the median function has {median:g} lines"] if median > MEDIAN_LIMIT else []


def relative_breaches(tree: Iterable[Source]) -> list[str]:
    """Imports name the whole path."""
    return [
        f"{source.rel}:{node.lineno} imports relatively"
        for source in tree
        for node in ast.walk(source.tree)
        if isinstance(node, ast.ImportFrom) and node.level
    ]


def mark_breaches(tree: Iterable[Source]) -> list[str]:
    """No marks of unfinished work."""
    return [
        f"{source.rel}:{number}: {line.strip()}"
        for source in tree
        for number, line in enumerate(source.text.splitlines(), 1)
        if MARKS.search(line)
    ]


def except_breaches(tree: Iterable[Source]) -> list[str]:
    """What is caught is named."""
    out = []
    for source in tree:
        found = []
        for node in ast.walk(source.tree):
            if isinstance(node, ast.ExceptHandler):
                names = {n.id for n in ast.walk(node.type) if isinstance(n, ast.Name)} if node.type else BROAD
                if names & BROAD:
                    found.append(f"{source.rel}:{node.lineno} catches everything")
        out += found[CAUGHT_WHOLE.get(source.rel, 0) :]
    return out


def path_breaches(tree: Iterable[Source]) -> list[str]:
    """No path of one machine."""
    return [
        f"{source.rel}:{number}: {line.strip()}"
        for source in tree
        for number, line in enumerate(source.text.splitlines(), 1)
        if MACHINE_PATH.search(line)
    ]


def docstring_breaches(tree: Iterable[Source]) -> list[str]:
    """Every module, public class and public function says in one sentence what it is or what comes back."""
    out = []
    for source in tree:
        if not ast.get_docstring(source.tree):
            out.append(f"{source.rel} has no docstring")
        for name, node in _public(source.tree, ""):
            first = (ast.get_docstring(node) or "").split("\n")[0]
            if not first.endswith("."):
                out.append(f"{source.rel}:{name}: {first or 'no docstring'}")
    return out


Told = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def _public(node: ast.Module | ast.ClassDef, prefix: str) -> Iterator[tuple[str, Told]]:
    for child in node.body:
        if isinstance(child, Told) and not child.name.startswith("_"):
            yield prefix + child.name, child
            if isinstance(child, ast.ClassDef):
                yield from _public(child, f"{prefix}{child.name}.")


# ------------------------------------------------------------------ the tree keeps them

RULES: list[Callable[[Iterable[Source]], list[str]]] = [
    import_breaches, flow_breaches, addon_breaches, table_breaches, home_breaches, start_up_breaches, purity_breaches, name_breaches,
    size_breaches, median_breaches, relative_breaches, mark_breaches, except_breaches, path_breaches,
    docstring_breaches,
]  # fmt: skip


@pytest.fixture(scope="module")
def tree() -> list[Source]:
    found = sources(ROOT)
    assert len(found) > 30, "the tree was not found"
    return found


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_the_tree_keeps_the_rule(rule: Callable[[Iterable[Source]], list[str]], tree: list[Source]) -> None:
    assert rule(tree) == []


def test_every_declared_library_has_a_home_and_is_used(tree: list[Source]) -> None:
    project = tomllib.loads((REPO / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    named = (re.split(r"[<>=!~\[; ]", d)[0].replace("-", "_") for d in project["dependencies"])
    declared = {IMPORTED_AS.get(name, name) for name in named}
    used = {t.split(".")[0] for s in engine(tree) for t in imports(s)} - {*sys.stdlib_module_names, "costbook", "__future__"}
    assert declared == set(OUTSIDE) == used


def test_no_path_of_one_machine_elsewhere_in_the_repository() -> None:
    named = [p for n in ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "pyproject.toml", ".ci/run") if (p := REPO / n)]
    texts = [p for p in (*named, *(REPO / "tests").rglob("*.py"), *ROOT.rglob("*.csv")) if p.is_file()]
    empty = ast.parse("")
    found = [Source(p.relative_to(REPO).as_posix(), p.read_text(encoding="utf-8"), empty) for p in texts]
    assert path_breaches(found) == []
    assert mark_breaches(found) == []


def test_the_top_level_holds_nothing_else() -> None:
    """What the program or a build makes beside the tree does not count."""
    allowed = {
        "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml", "costbook", "workbooks", "tests",
        "sample_invoices",
    }  # fmt: skip
    made = re.compile(r"(build|dist|.*\.egg-info|costbook-demo|__pycache__)$")
    names = {p.name for p in REPO.iterdir() if not p.name.startswith(".") and not made.match(p.name)}
    assert names - allowed == set()


# ------------------------------------------------------------------ each rule can fail

SAID = '"""Something."""\n'
BAD: dict[str, dict[str, str]] = {
    "import_breaches": {"costing/rates.py": "from costbook.hosts.file import create\n"},
    "flow_breaches": {"costing/rates.py": "from costbook.costing.tiers import Tier\n"},
    "addon_breaches": {"hosts/addons/calc/cells.py": "from costbook.book.grid import Grid\n"},
    "table_breaches": {"attic/box.py": SAID},
    "home_breaches": {"costing/usage.py": "def f():\n    import scipy\n"},
    "start_up_breaches": {"printouts/frames.py": "try:\n    import pandas\nexcept ImportError:\n    pandas = None\n"},
    "purity_breaches": {"book/table.py": "def f(path):\n    return path.read_text()\n"},
    "name_breaches": {"book/helpers.py": SAID},
    "size_breaches": {"book/table.py": "def f():\n" + "    x = 1\n" * 81},
    "median_breaches": {"book/table.py": "def f():\n" + "    x = 1\n" * 9},
    "relative_breaches": {"book/table.py": "from . import grid\n"},
    "mark_breaches": {"book/table.py": "x = 1  # TO" + "DO later\n"},
    "except_breaches": {"book/table.py": "try:\n    x = 1\nexcept (ValueError, Exception):\n    pass\n"},
    "path_breaches": {"book/table.py": "x = '/" + "home/somebody/book.xlsx'\n"},
    "docstring_breaches": {"book/table.py": SAID + 'def f():\n    """no full stop"""\n'},
}
ALSO_BAD: list[tuple[str, str, str]] = [
    ("import_breaches", "cli.py", "def f():\n    from costbook.printouts.figures import figures\n"),
    ("import_breaches", "book/table.py", "from costbook import price\n"),
    ("import_breaches", "hosts/file.py", "from costbook.book.model import Book\n"),
    ("import_breaches", "costing/checks.py", "import costbook.book.grid\n"),
    ("flow_breaches", "costing/attic.py", SAID),
    ("addon_breaches", "hosts/addons/calc/attic.py", SAID),
    ("addon_breaches", "hosts/addons/calc/cells.py", "import lxml\n"),
    ("addon_breaches", "hosts/addons/calc/cells.py", "from costbook.hosts.addons.calc import drawing\n"),
    ("home_breaches", "commands.py", "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    import pandas\n"),
    ("start_up_breaches", "hosts/render.py", "class A:\n    from openpyxl import Workbook\n"),
    ("purity_breaches", "book/table.py", "import os.path\n"),
    ("purity_breaches", "hosts/file.py", "def f():\n    print('written')\n"),
    ("purity_breaches", "hosts/file.py", "from datetime import date\nx = date.today()\n"),
    ("size_breaches", "book/table.py", SAID + "x = 1\n" * 600),
    ("size_breaches", "book/table.py", '"""All of it, one file because."""\n' + "x = 1\n" * 800),
    ("except_breaches", "book/table.py", "try:\n    x = 1\nexcept:\n    pass\n"),
    ("docstring_breaches", "book/table.py", "x = 1\n"),
    ("docstring_breaches", "book/table.py", SAID + 'class A:\n    """A thing."""\n    def f(self):\n        pass\n'),
]
# What looks like a breach and is none.
FINE: list[tuple[str, str, str]] = [
    ("import_breaches", "costing/rates.py", "from costbook.book.model import Book\n"),
    ("addon_breaches", "hosts/addons/calc/drawing.py", "import json\nimport uno\nfrom costbook.hosts.addons.calc.cells import Refused\n"),
    ("start_up_breaches", "printouts/frames.py", "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n"
                                                 "    import pandas\ndef f():\n    import pandas\n"),
    ("purity_breaches", "commands.py", "from datetime import date\nx = date.today()\n"),
    ("size_breaches", "book/table.py", '"""All of it, one file because."""\n' + "x = 1\n" * 700),
    ("path_breaches", "book/table.py", "x = 'xl/worksheets/work/sheet1.xml'\n"),
]  # fmt: skip


def planted(folder: Path, files: dict[str, str]) -> list[Source]:
    for rel, text in files.items():
        path = folder / rel
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return sources(folder)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_the_rule_can_fail(rule: Callable[[Iterable[Source]], list[str]], tmp_path: Path) -> None:
    assert len(rule(planted(tmp_path, BAD[rule.__name__]))) == 1


@pytest.mark.parametrize(("rule", "rel", "text"), ALSO_BAD)
def test_other_breaches_are_seen(rule: str, rel: str, text: str, tmp_path: Path) -> None:
    assert len(globals()[rule](planted(tmp_path, {rel: text}))) == 1


@pytest.mark.parametrize(("rule", "rel", "text"), FINE)
def test_what_is_allowed_is_no_breach(rule: str, rel: str, text: str, tmp_path: Path) -> None:
    assert globals()[rule](planted(tmp_path, {rel: text})) == []
