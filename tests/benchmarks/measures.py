"""The measures: each runs ours and a reference in the same run and gives a `Measure`; nothing is asserted here.

Whole processes are timed with their start; what goes on inside one is timed in it. Peak memory is that of a child process.
"""

from __future__ import annotations

import gc
import io
import math
import os
import random
import resource
import shutil
import statistics
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from costbook import commands
from costbook.amounts.quantity import read_amount
from costbook.book.grid import Cell, Edits, ErrorValue, Formula, PutTab, SetCell
from costbook.book.layout import STYLES
from costbook.book.reading import read_book
from costbook.costing.matrix import Matrix
from costbook.costing.neighbours import FILLED
from costbook.costing.rates import rates
from costbook.costing.tiers import tiers
from costbook.costing.usage import Usage, costs
from costbook.hosts.file import WorkbookFile, create
from costbook.printouts import result_tabs
from tests.benchmarks import books, floors, formulas, ordinary, plans
from tests.benchmarks.books import Shape

ROOT = Path(__file__).resolve().parents[2]
LINES_A_PRODUCT = 10
BUDGETED_GAPS = {"1,000 products, only hours and rack scarce": 0.001}


@dataclass(frozen=True, slots=True)
class Measure:
    """What was measured, ours, the reference and their ratio as text, the budget, and whether the budget is met."""

    what: str
    ours: str
    reference: str = ""
    ratio: str = ""
    budget: str = ""
    met: bool | None = None


def timed(work: Callable[[], Any], runs: int = 1) -> tuple[float, Any]:
    """The median seconds of some runs, and what the last came to."""
    took, found = [], None
    for _ in range(runs):
        start = time.perf_counter()
        found = work()
        took.append(time.perf_counter() - start)
    return statistics.median(took), found


def ms(seconds: float) -> str:
    """Seconds as text, in milliseconds below a second."""
    return f"{seconds:.1f} s" if seconds >= 1 else f"{seconds * 1e3:.3g} ms"


def against(what: str, ours: float, reference: float, budget: str, limit: float, faster: bool = False) -> Measure:
    """A measure held against a limit: ours over the reference at most that, or the reference over ours at least that."""
    ratio = reference / ours if faster else ours / reference
    said = f"{ratio:.1f} x faster" if faster else f"{ratio:.2f} x"
    return Measure(what, ms(ours), ms(reference), said, budget, ratio >= limit if faster else ratio <= limit)


def floor(what: str, least: float, reference: float, faster: bool = False) -> Measure:
    """What no version could go below against a reference, without a budget."""
    return replace(against(what, least, reference, "", 0, faster), met=None)


def program(*arguments: str) -> list[str]:
    """A command of costbook as a process of its own."""
    return [sys.executable, "-m", "costbook", *arguments]


def run_child(command: Sequence[str], compiled: Path | None = None) -> None:
    """Runs a process to its end; any exit code but 0 and 1 (done, something has no price) is an error.

    `compiled` is where compiled files are kept between runs, whatever the environment says: an installed program has them.
    """
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    env |= {"PYTHONPYCACHEPREFIX": str(compiled)} if compiled else {}
    done = subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, check=False)
    if done.returncode not in (0, 1):
        raise RuntimeError(f"{command[-1]} ended with {done.returncode}: {done.stderr[-500:]}")


def start_up(folder: Path, runs: int = 15) -> list[Measure]:
    """(a) The whole process of pricing a book that needs no writing, against a bare interpreter."""
    commands.demo(folder / "demo")
    small = folder / "small.xlsx"
    books.save(books.tabs(books.SIZES["S"]), small)
    commands.price(small)
    bare, _ = timed(lambda: run_child([sys.executable, "-I", "-c", "pass"]), runs)
    found = []
    for what, path in (("demo book", folder / "demo" / commands.DEMO_BOOK), ("S book", small)):
        command = program("price", str(path))
        run_child(command, folder / "compiled")
        ours, _ = timed(lambda c=command: run_child(c, folder / "compiled"), runs)  # type: ignore[misc]
        found.append(against(f"price, {what} unchanged, whole process; bare Python", ours, bare, "<= 5 x", 5))
    return found


@dataclass(frozen=True, slots=True)
class Split:
    """Seconds of the steps of one pricing run, and what it worked out."""

    read: float
    book: float
    figures: float
    checks: float
    tabs: float
    save: float
    priced: commands.Priced
    drawn: Sequence[PutTab]

    @property
    def without_writing(self) -> float:
        """Everything up to figures and findings."""
        return self.read + self.book + self.figures + self.checks

    @property
    def whole(self) -> float:
        """Everything, the saved file included."""
        return self.without_writing + self.tabs + self.save


@contextmanager
def as_a_run() -> Iterator[None]:
    """A stretch of work as a run of the program does it: without the collector of cycles."""
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


@as_a_run()
def split_run(path: Path, write: bool = True) -> Split:
    """One pricing run, step by step as `commands.price` makes it."""
    host = WorkbookFile(path)
    read, snapshot = timed(host.snapshot)
    book_took, book = timed(lambda: read_book(snapshot))

    def engine() -> Any:
        on = book.settings.book_date or books.BOOK_DATE
        rated, usage = rates(book, on), Usage(book)
        costed, _ = costs(usage, rated)
        return commands.Priced(book, on, rated, usage, costed, tiers(book, costed)[0])

    figures_took, priced = timed(engine)
    checks_took, found = timed(lambda: [*book.findings, *commands.checks(priced)])
    tabs_took, tabs = timed(lambda: result_tabs.result_tabs(priced, found, snapshot) if write else [])
    save_took, _ = timed(lambda: host.apply(Edits((), tuple(tabs))) if write else False)
    host.close()
    return Split(read, book_took, figures_took, checks_took, tabs_took, save_took, priced, tabs)


def agreement(priced: commands.Priced, other: dict[str, Any]) -> float:
    """The largest relative difference of unit costs and proposals between ours and the ordinary way."""
    if set(other["costs"]) != set(priced.costs):
        raise RuntimeError("the two ways price different products")
    differences = [abs(other["costs"][code] / cost.unit_cost - 1) for code, cost in priced.costs.items()]
    for tier in priced.tiers:
        assert tier.proposal is not None
        differences.append(abs(other["proposals"][tier.product, tier.channel] / float(tier.proposal) - 1))
    return max(differences)


def plain_tabs(tabs: Sequence[PutTab]) -> dict[str, list[list[ordinary.Written]]]:
    """The cells of tabs of ours as the ordinary way writes them: values, formulas as text, number formats, bold or not."""
    looks = {name: (style.number_format, style.bold) for name, style in STYLES.items()}

    def written(cell: Cell) -> ordinary.Written:
        value = f"={cell.value.text}" if isinstance(cell.value, Formula) else cell.value
        return (value.text if isinstance(value, ErrorValue) else value, *looks[cell.style])

    return {tab.name: [[written(cell) for cell in row] for row in tab.rows] for tab in tabs}


def ordinary_way(folder: Path, label: str, shape: Shape) -> list[Measure]:
    """(b) The same job with openpyxl, pandas and a pint quantity on every line; figures compared first."""
    ours, theirs = folder / f"ours {label}.xlsx", folder / f"theirs {label}.xlsx"
    books.save(books.tabs(shape), ours)
    shutil.copyfile(ours, theirs)
    figures_took, found = timed(lambda: ordinary.price(theirs, write=False))
    writing_took, _ = timed(lambda: ordinary.price(theirs, write=True))
    split = split_run(ours)
    full = folder / f"theirs in full {label}.xlsx"
    books.save(books.tabs(shape), full)
    libraries = floors.libraries_alone(full, ours, [tab.name for tab in split.drawn])
    cells = plain_tabs(split.drawn)
    gc.collect()
    gc.freeze()  # what ours left in memory costs the ordinary way's collections of cycles nothing
    full_took, again = timed(lambda: ordinary.price(full, write=True, tabs=cells))
    gc.unfreeze()
    if again["costs"] != found["costs"]:
        raise RuntimeError("the ordinary way comes to other costs the second time")
    apart = agreement(split.priced, found)
    if apart > 1e-9:
        raise RuntimeError(f"the two ways differ by {apart:.1e}")
    steps = (("read the file", split.read), ("read the book", split.book), ("costs and tiers", split.figures), ("checks", split.checks),
             ("draw the tabs", split.tabs), ("save, with its checks", split.save))  # fmt: skip
    return [
        *(Measure(f"price, {label}, step: {name}", ms(took), "", f"{took / split.whole:.0%} of the run") for name, took in steps),
        against(f"price, {label}, to figures and findings, nothing written; ordinary way", split.without_writing, figures_took, ">= 10 x faster", 10, True),
        against(f"price, {label}, with writing; ordinary way writing the same cells", split.whole, full_took, ">= 10 x faster", 10, True),
        against(f"price, {label}, with writing; ordinary way writing six columns", split.whole, writing_took, ">= 10 x faster", 10, True),
        *(
            floor(f"floor of the run with writing: our libraries alone, the tabs ready as XML; ordinary way writing {what}", libraries, took, True)
            for what, took in (("the same cells", full_took), ("six columns", writing_took))
        ),
        *memory(folder, label, ours),
    ]


PEAK = "import sys\nfrom costbook.cli import main\nfrom tests.benchmarks.measures import peak_here\nmain(sys.argv[1:])\nprint(peak_here())"


def peak_here() -> float:
    """The most memory this process has held, in MiB."""
    status = Path("/proc/self/status")
    if status.exists():  # what getrusage tells is never less than what the process that started this one held
        return next(int(line.split()[1]) for line in status.read_text().splitlines() if line.startswith("VmHWM")) / (1 << 10)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1 << 20 if sys.platform == "darwin" else 1 << 10)


def peak_mib(*arguments: str) -> float:
    """Peak memory of one run of the program, in MiB."""
    done = subprocess.run([sys.executable, "-c", PEAK, *arguments], cwd=ROOT, capture_output=True, text=True, check=True)
    return float(done.stdout.split()[-1])


def memory(folder: Path, label: str, priced: Path) -> list[Measure]:
    """Peak memory of a run that writes and of one that finds nothing to write."""
    fresh = folder / f"fresh {label}.xlsx"
    shutil.copyfile(priced, fresh)
    import openpyxl

    book = openpyxl.load_workbook(fresh)
    del book["Costs"]
    book.save(fresh)
    writing, unchanged = peak_mib("price", str(fresh)), peak_mib("price", str(fresh))
    return [
        Measure(f"price, {label}, peak memory, {what}", f"{mib:.0f} MiB", "", "", "<= 150 MiB", mib <= 150)
        for what, mib in (("with writing", writing), ("unchanged book", unchanged))
    ]


GROWTH = "import sys\nfrom tests.benchmarks.measures import growth_here\nprint(growth_here(*sys.argv[1:]))"


def ten_tabs(path: Path, seed: int = 5) -> None:
    """A workbook of ten tabs with 20,000 cells each, numbers and texts, as another program writes it."""
    import xlsxwriter

    chance = random.Random(seed)
    with xlsxwriter.Workbook(str(path)) as book:
        for number in range(10):
            sheet = book.add_worksheet(f"Tab {number + 1}")
            for row in range(2_000):
                sheet.write_row(row, 0, [chance.uniform(0, 1_000) if k % 2 else f"text {chance.randrange(5_000)}" for k in range(10)])


def rezipped(path: Path) -> int:
    """Every member unpacked and packed again; the size that comes to."""
    out = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for info in old.infolist():
            new.writestr(info.filename, old.read(info))
    return len(out.getvalue())


@as_a_run()
def saved_in_place(path: Path, tabs: int) -> float:
    """Seconds to save 200 numbers on so many of the ten tabs, and two tabs of ours, into the workbook."""
    rows = tuple(tuple(Cell(f"word {r}" if k % 3 == 0 else r * k * 1.5) for k in range(10)) for r in range(100))
    host = WorkbookFile(path)
    grids = host.snapshot().grids
    places = [(f"Tab {i % tabs + 1}", i * 7 % 2_000) for i in range(200)]
    cells = tuple(SetCell(tab, row, 1, float(i), "plain", grids[tab].value(row, 1)) for i, (tab, row) in enumerate(places))
    edits = Edits(cells, (PutTab("Ours one", rows), PutTab("Ours two", rows)))
    start = time.perf_counter()
    if not host.apply(edits):
        raise RuntimeError("nothing was saved")
    return time.perf_counter() - start


def growth_here(path: str, tabs: str) -> float:
    """How far this process's peak memory grows by reading the workbook and, where `tabs` is not 0, saving it, in MiB.

    The process is idle when it has read and saved a workbook of one cell: everything it needs is loaded then.
    """
    small = Path(path).with_name(f"one cell {os.getpid()}.xlsx")
    create(small, Edits(tabs=(PutTab("Tab", ((Cell("word"),),)),)))
    host = WorkbookFile(small)
    host.snapshot()
    host.apply(Edits((SetCell("Tab", 0, 1, 1.0, "plain"),), (PutTab("Ours", ((Cell(1.0),),)),)))
    idle = peak_here()
    if tabs == "0":
        WorkbookFile(Path(path)).snapshot()
    else:
        saved_in_place(Path(path), int(tabs))
    return peak_here() - idle


def growth_mib(path: Path, tabs: int) -> float:
    """The same in a process of its own."""
    command = [sys.executable, "-c", GROWTH, str(path), str(tabs)]
    return float(subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout)


def saving(folder: Path, runs: int = 5) -> list[Measure]:
    """(g) A save with its checks against unpacking and packing the same bytes; how far the memory grows while saving."""
    book, copy = folder / "ten tabs.xlsx", folder / "ten tabs saved.xlsx"
    ten_tabs(book)
    floor, _ = timed(lambda: rezipped(book), runs)
    found = []
    for tabs, spread in ((1, "one tab"), (10, "all ten tabs")):
        took = []
        for _ in range(runs):
            shutil.copyfile(book, copy)
            took.append(saved_in_place(copy, tabs))
        what = f"save 200 cells on {spread} and two tabs of ours, 200,000 cells there; unzip and zip"
        found.append(against(what, statistics.median(took), floor, "<= 3 x", 3))
    largest = floors.largest_part(book)
    for what, tabs in (("reading it", 0), ("reading it and saving on one tab", 1), ("reading it and saving on all ten tabs", 10)):
        shutil.copyfile(book, copy)
        grown = growth_mib(copy, tabs)
        told = f"{grown:.1f} MiB", f"{largest:.1f} MiB", f"{grown / largest:.1f} x"
        found.append(Measure(f"memory growth by {what}; its largest part unpacked", *told, "< 3 x", grown < 3 * largest))
    one_cell = folder / "one cell.xlsx"
    create(one_cell, Edits(tabs=(PutTab("Tab", ((Cell("word"),),)),)))
    least = floors.calamine_growth(book, one_cell)
    told = f"{least:.1f} MiB", f"{largest:.1f} MiB", f"{least / largest:.1f} x"
    return [*found, Measure("floor of that: python-calamine alone reading it, one tab's values kept at a time; its largest part", *told)]


def office(folder: Path, label: str, shape: Shape) -> Measure:
    """(c) LibreOffice loading the same model as formulas and recalculating it."""
    what = f"price, {label}, to figures; LibreOffice recalculating it as formulas"
    program = shutil.which("soffice") or shutil.which("libreoffice")
    if program is None:
        return Measure(what, "", "", "skipped: LibreOffice is not installed", ">= 10 x faster")
    model, plain = folder / f"formulas {label}.xlsx", folder / f"plain {label}.xlsx"
    rows = books.tabs(shape)
    formulas.save(rows, model)
    books.save(rows, plain)
    recalculated, took = formulas.recalculated(program, model, folder)
    ours = min(split_run(plain, write=False).without_writing for _ in range(2))
    theirs = formulas.unit_costs(recalculated)
    apart = max(abs(theirs[c] / x.unit_cost - 1) for c, x in split_run(plain, write=False).priced.costs.items())
    if apart > 1e-9:
        raise RuntimeError(f"LibreOffice and the program differ by {apart:.1e}")
    return against(what, ours, took, ">= 10 x faster", 10, True)


@as_a_run()
def engine(label: str, shape: Shape, runs: int = 3) -> list[Measure]:
    """(d) From a parsed book to costs and to tiers, and the costs alone once the usage matrix stands."""
    book = read_book(books.snapshot(books.tabs(shape)))
    rated = rates(book, books.BOOK_DATE)
    costs_took, (costed, _) = timed(lambda: costs(Usage(book), rated), runs)
    tiers_took, (priced, _) = timed(lambda: tiers(book, costed), runs)
    usage = Usage(book)
    costs(usage, rated)
    matrix = Matrix.of(usage)
    vector = matrix.rates_vector(rated)
    again, _ = timed(lambda: matrix.unit_costs(vector), 7)
    total = costs_took + tiers_took
    limit = ("<= 10 ms", total <= 0.010) if label == "M" else ("", None)
    return [
        Measure(f"engine, {label}: usage and costs", ms(costs_took)),
        Measure(f"engine, {label}: tiers", ms(tiers_took)),
        Measure(f"engine, {label}: parsed book to tiers", ms(total), "", "", *limit),
        Measure(f"engine, {label}: floor, making its records of ready values", ms(statistics.median(floors.records_alone([*costed.values()], priced) for _ in range(runs)))),
        Measure(f"engine, {label}: unit costs again from the usage matrix", ms(again)),
    ]


def large_matrix(products: int, seed: int = 11) -> tuple[Matrix, Any]:
    """A matrix of so many products with ten lines each, made of arrays, and a vector of rates."""
    import numpy as np

    chance = np.random.default_rng(seed)
    keys = [("materials", str(i)) for i in range(1_000)]
    lines = products * LINES_A_PRODUCT
    starts = np.arange(0, lines + 1, LINES_A_PRODUCT)
    matrix = Matrix(keys, range(products), starts, chance.integers(0, 1_000, lines, np.int32), chance.uniform(0.1, 90, lines))  # type: ignore[arg-type]
    return matrix, chance.uniform(0.001, 1, 1_000)


def matrix_measures(sizes: tuple[int, int] = (5_000, 1_000_000), costed: int = 100_000, runs: int = 15) -> list[Measure]:
    """(d) How the time to cost grows with the number of products; (e) costing again against reading the arrays once."""
    took, reading = zip(*(costed_and_read(products, runs) for products in sizes))
    exponent, least = (math.log(of[1] / of[0]) / math.log(sizes[1] / sizes[0]) for of in (took, reading))
    ours, once = costed_and_read(costed, runs)
    return [
        Measure(f"costs of {sizes[1]:,} products; of {sizes[0]:,}", ms(took[1]), ms(took[0]), f"exponent {exponent:.3f}", "<= 1.05", exponent <= 1.05),
        Measure("floor of that growth: one read of the same arrays", ms(reading[1]), ms(reading[0]), f"exponent {least:.3f}"),
        against(f"costing {costed:,} products again; one read of the arrays", ours, once, "<= 3 x", 3),
    ]


def costed_and_read(products: int, runs: int) -> tuple[float, float]:
    """Seconds to cost so many products by the matrix, and to read its two large arrays once."""
    matrix, vector = large_matrix(products)
    matrix.unit_costs(vector)
    amounts, indices = matrix._sparse.data, matrix._sparse.indices
    return timed(lambda: matrix.unit_costs(vector), runs)[0], timed(lambda: (amounts.sum(), indices.sum()), runs)[0]


def restock_plans(sizes: Mapping[str, plans.Size] = plans.SIZES) -> list[Measure]:
    """(g) How near to the best a plan comes in its seconds: the gap to the bound, that of rounding down and filling up beside.

    `ratio` is what a list ranked by money per hour loses against the plan.
    """
    found = []
    for one in plans.all_planned(sizes):
        budget = "proven" if one.size.products <= 40 else f"<= {BUDGETED_GAPS.get(one.what, 0.05):.1%}"
        met = one.plan.proven if one.size.products <= 40 else one.plan.gap <= BUDGETED_GAPS.get(one.what, 0.05)
        steps = dict(one.plan.steps)
        first = steps.get(FILLED)
        reference = "" if first is None else f"{(one.plan.bound - first) / one.plan.bound:.3%} filled up"
        ours = f"{one.plan.gap:.3%} in {ms(one.seconds)}"
        found.append(Measure(f"plan, {one.what}, limit {one.size.limit:g} s; gap", ours, reference, f"ranking loses {one.ranking_loses:.0%}", budget, met))
    return found


def amount_texts(count: int = 20_000) -> list[Measure]:
    """(f) From an amount as written to grams: a text never seen before, and one seen already."""
    from costbook.amounts import quantity

    written = [f"{i // 4 + 1} {('1/4', '1/2', '3/4', '1/3')[i % 4]}" for i in range(count)]
    quantity._amount.cache_clear()

    def read() -> float:
        return sum(read_amount(text, "oz").base() for text in written)

    first, total = timed(read)
    again, same = timed(read, 3)
    if total != same:
        raise RuntimeError("the same amounts read twice differ")
    return [
        Measure(f"amount text to grams, {what}", f"{took / count * 1e6:.2f} us", "", "", f"< {limit} us", took / count < limit / 1e6)
        for what, took, limit in (("each text new", first, 5), ("text seen before", again, 1))
    ]


