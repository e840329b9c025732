"""Start-up is part of the product: what a command does not need is not loaded.

Each check runs in a fresh interpreter and looks at `sys.modules` afterwards, since here everything is loaded already.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from costbook import commands

ROOT = Path(__file__).resolve().parents[1]
HEAVY = ("matplotlib", "numpy", "openpyxl", "pandas", "pdfplumber", "PIL", "pypdf", "pint", "rapidfuzz", "rich", "scipy", "uno", "xlwings")
LOADED = f"print(json.dumps(sorted(set({HEAVY!r}) & set(sys.modules))))"


def run(code: str) -> list[str]:
    """The lines a fresh interpreter prints."""
    lines = f"import json, sys\nsys.path.insert(0, {str(ROOT)!r})\n{code}"
    done = subprocess.run([sys.executable, "-c", lines], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


@pytest.fixture(scope="module")
def priced(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo workbook, posted and priced, so that a further run has nothing to write."""
    folder = tmp_path_factory.mktemp("start") / "demo"
    commands.demo(folder)
    return folder / commands.DEMO_BOOK


def heavy_after(*arguments: str, code: int = 0) -> list[str]:
    """The heavy libraries one command of the program loaded; it must end in this exit code."""
    said = run(
        "import costbook.cli\n"
        f"code = costbook.cli.main({list(arguments)!r})\n"
        f"assert code == {code}, code\n{LOADED}"
    )  # fmt: skip
    return list(json.loads(said[-1]))


@pytest.mark.parametrize("module", ["costbook", "costbook.cli", "costbook.commands", "costbook.__main__"])
def test_importing_loads_nothing_heavy(module: str) -> None:
    statement = "import importlib.util\nimportlib.util.find_spec" if module.endswith("__main__") else "__import__"
    assert json.loads(run(f"{statement}({module!r})\n{LOADED}")[-1]) == []


def test_pricing_an_unchanged_book_loads_nothing_heavy(priced: Path) -> None:
    before = priced.read_bytes()
    assert heavy_after("price", str(priced)) == []
    assert priced.read_bytes() == before, "the book was written: this is not the unchanged case"


def test_explaining_a_product_loads_nothing_heavy(priced: Path) -> None:
    code = next(iter(commands.price(priced).priced.costs))
    assert heavy_after("explain", str(priced), code) == []


def test_a_wrong_file_name_loads_nothing_heavy(tmp_path: Path) -> None:
    assert heavy_after("price", str(tmp_path / "nowhere.xlsx"), code=4) == []


def test_the_look_at_loaded_libraries_can_fail() -> None:
    assert json.loads(run(f"import openpyxl\n{LOADED}")[-1]) != []


def test_tables_load_what_they_need_and_only_then(priced: Path) -> None:
    """The names looked for are those that are really loaded, once they are asked for."""
    code = f"from pathlib import Path\nimport costbook\ncostbook.frames(Path({str(priced)!r}))\n{LOADED}"
    assert {"numpy", "pandas"} <= set(json.loads(run(code)[-1]))
