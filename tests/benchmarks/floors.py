"""What no version of the program could go below, with the libraries it is to use and the records it gives.

Each floor does a part of the job that every way of doing it has, and nothing else: it stands beside a budget that is not
met, so that a reader sees how much of the distance is ours.
"""

from __future__ import annotations

import subprocess
import sys
import time
import zipfile
import zlib
from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from typing import Any
from xml.parsers import expat

from costbook.costing.tiers import Tier
from costbook.costing.usage import Cost
from costbook.hosts.archive import LEVEL
from costbook.hosts.package import Package
from costbook.hosts.reading import sheet_parts

ROOT = Path(__file__).resolve().parents[2]
CALAMINE = "import sys\nfrom tests.benchmarks.floors import calamine_growth_here\nprint(calamine_growth_here(*sys.argv[1:]))"


def seconds(work: Callable[[], Any]) -> float:
    """How long some work takes, once."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def values_read(path: Path, tabs: Collection[str] | None = None) -> None:
    """Every value of a workbook, or of some tabs, as python-calamine gives it; of one tab at a time they are kept."""
    import python_calamine

    with python_calamine.CalamineWorkbook.from_path(str(path)) as book:
        for tab in book.sheet_names if tabs is None else tabs:
            sheet = book.get_sheet_by_name(tab)
            kept = list(map(tuple, sheet.iter_rows()))
            del sheet, kept


def libraries_alone(before: Path, finished: Path, tabs: Sequence[str]) -> float:
    """Seconds of the libraries alone in a pricing run with writing, on tabs that stand there ready.

    python-calamine reads her workbook and reads the written tabs back, zlib packs these and unpacks them again, and expat
    sees that they are well-formed.
    """
    package = Package(finished.read_bytes(), finished.name)
    places = sheet_parts(package)
    parts = [package.part(places[tab]) for tab in tabs]

    def packed_and_checked() -> None:
        for xml in parts:
            deflate = zlib.compressobj(LEVEL, zlib.DEFLATED, -15)
            raw = deflate.compress(xml) + deflate.flush()
            expat.ParserCreate().Parse(zlib.decompressobj(-15).decompress(raw), True)

    return seconds(lambda: values_read(before)) + seconds(packed_and_checked) + seconds(lambda: values_read(finished, tabs))


def records_alone(costed: Sequence[Cost], priced: Sequence[Tier]) -> float:
    """Seconds to make the records the engine gives, from values that stand there ready."""
    costs, tiers = [tuple(cost) for cost in costed], [tuple(tier) for tier in priced]
    return seconds(lambda: ([Cost(*values) for values in costs], [Tier(*values) for values in tiers]))


def calamine_growth_here(path: str, small: str) -> float:
    """How far this process's peak memory grows by python-calamine reading a workbook, one tab's values kept at a time, in MiB.

    It has read another, small one before: everything it needs is loaded then.
    """
    from tests.benchmarks.measures import peak_here

    values_read(Path(small))
    idle = peak_here()
    values_read(Path(path))
    return peak_here() - idle


def calamine_growth(path: Path, small: Path) -> float:
    """The same in a process of its own."""
    command = [sys.executable, "-c", CALAMINE, str(path), str(small)]
    return float(subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout)


def largest_part(path: Path) -> float:
    """The unpacked size of a workbook's largest part, in MiB."""
    with zipfile.ZipFile(path) as package:
        return max(info.file_size for info in package.infolist()) / (1 << 20)
