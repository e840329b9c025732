"""`python -m tests.benchmarks [--write]`: measures, and prints a table; `--write` also puts it in README.md here."""

from __future__ import annotations

import argparse
import os
import platform
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.benchmarks import measures
from tests.benchmarks.books import SIZES
from tests.benchmarks.impact_measures import impact_measures
from tests.benchmarks.measures import Measure
from tests.benchmarks.press import press_measure
from tests.benchmarks.supplier_papers import supplier_papers

README = Path(__file__).with_name("README.md")
HEAD = ("measure", "ours", "reference", "ratio", "budget", "met")
ABOUT = """# Speed

What was measured, ours against a reference in the same run, and the budgets. Times differ from machine to machine and
from day to day; ratios less. A person judges them: nothing fails because a run was slow.

{machine}. Books of size S have 60 materials, 40 recipes, 120 products; of size M 500, 1,000, 5,000. The ordinary way is
`ordinary.py`: openpyxl, pandas and a pint quantity on every line, with figures only and no checks, explanations or looks.

{table}

What to keep in mind. The ordinary way's first run, the one without writing, pays for importing its libraries; its run with
writing finds them loaded. It writes in two ways. Writing the same cells, it puts the cells of our tabs, every row and column
of them, with their number formats, bold headings and formulas, one by one with openpyxl; they are handed to it ready, so what it
would take to work out the columns it does not know (parts of a cost, floors, flags, check sums, findings) is not in its time,
nor are colours, notes, lists, charts, links and stored results. Writing six columns a price row and two a product and no looks is the
second line. Ours is the same run in both: over twenty columns with styles, formulas and marks, and the finished file read
back before it replaces the old one. Only ours runs the checks. Whole processes find their
compiled files, as an installed program does. A run of the program does without Python's collector of cycles, and so do the
measures of its steps. Memory growth is that of a process each, from the peak it has with everything loaded. A step's share is of the run with writing. Each of the M runs is made once.
A floor is what every way of doing a step has in it, done alone (`floors.py`): the libraries' own reading, packing and checking, the
records made of values that stand there ready, one read of the arrays. Where a floor is past a budget, no version of the program
that keeps those libraries and records can meet it on this machine.
The press goes through the installed extension in a live LibreOffice, from the button's address to the sentence that it is written, with the
engine running already; closed is the whole process of the command. A rate of pay changes before each, so both write.
The papers are drawn from the scenario's goods, 3 to 40 lines each; all must be read right, and of two times of each the better counts. An
e-invoice becomes some twenty records with exact figures; the line below it is what merely looking at every element that lxml parsed takes
in Python. A printed paper is read in a process of its own, the bare words in the process that measures.

Run again, from the top of the checkout with the test extra installed (LibreOffice is used where it is there):

```sh
.venv/bin/python -m tests.benchmarks --write
```

`test_benchmarks_run.py` sees on a tiny book that all ways give the same figures.
"""


def machine() -> str:
    """The machine in words: cores, system, Python."""
    return f"{os.cpu_count()} cores, {platform.system()} {platform.machine()}, Python {platform.python_version()}"


def table(found: Sequence[Measure]) -> str:
    """The measures as a table in Markdown."""
    rows = [(m.what, m.ours, m.reference, m.ratio, m.budget, "" if m.met is None else "yes" if m.met else "no") for m in found]
    lines = [HEAD, ("---",) * len(HEAD), *rows]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in lines)


def measured() -> list[Measure]:
    """Every measure, one after the other."""
    found: list[Measure] = []
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        found += measures.amount_texts()
        found += measures.start_up(folder)
        for label in ("S", "M"):
            found += measures.engine(label, SIZES[label])
        found += measures.matrix_measures()
        found += impact_measures()
        found += measures.restock_plans()
        found += measures.ordinary_way(folder, "M", SIZES["M"])
        found += measures.saving(folder)
        found += supplier_papers(folder)
        found.append(press_measure(folder))
        found += [measures.office(folder, label, SIZES[label]) for label in ("S", "M")]
    return found


def main() -> None:
    """Measures and prints."""
    asked = argparse.ArgumentParser(prog="python -m tests.benchmarks", description="How fast the program is, as ratios.")
    asked.add_argument("--write", action="store_true", help="put the table into tests/benchmarks/README.md")
    options = asked.parse_args()
    shown = table(measured())
    print(f"{machine()}\n\n{shown}")
    if options.write:
        README.write_text(ABOUT.format(machine=machine(), table=shown), encoding="utf-8")


if __name__ == "__main__":
    main()
