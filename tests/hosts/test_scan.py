"""The quick looks that spare a longer one: wherever they say so, the longer one would have come to the same."""

from __future__ import annotations

from itertools import product
from pathlib import Path

from costbook.hosts import reading, scan
from costbook.hosts.package import Package

DEMO = Path(__file__).resolve().parents[2] / "workbooks" / "demo.xlsx"


def test_a_sheet_that_looks_small_is_small() -> None:
    letters, rows = ("A", "Z", "AA", "ZZ", "AAA", "XFD"), (1, 9, 99, 999, 1_000, 9_999, 10_000, 99_999, 100_000, 1_048_576)
    looked_small = set()
    for one, two in product(product(letters, rows), repeat=2):
        xml = b"".join(b'<row r="%d"><c r="%s%d"/></row>' % (r, c.encode(), r) for c, r in sorted((one, two), key=lambda at: at[1]))
        tall, wide = scan.extent(xml)
        assert (tall, wide) == (max(one[1], two[1]), 1 + max(scan.column_index(c.encode()) for c in (one[0], two[0])))
        if scan.is_small(xml):
            looked_small.add((tall, wide))
            assert tall * wide <= reading.LIMIT_CELLS and wide <= 16_384
    assert {(99_999, 26), (999, 702)} <= looked_small and (1_000, 702) not in looked_small


def test_formulas_are_those_the_sheets_hold() -> None:
    data = DEMO.read_bytes()
    read, package = reading.reading(data, DEMO.name), Package(data, DEMO.name)
    plain = {tab: reading.plain_sheet(package, tab) for tab in reading.sheet_parts(package)}
    found = {tab: dict(grid.formulas) for tab, grid in read.snapshot.grids.items()}
    assert found == {tab: scan.formulas(xml) for tab, xml in plain.items()} and sum(map(len, found.values())) > 400
    assert all(bool(formulas) == scan.has_formulas(plain[tab]) for tab, formulas in found.items())
