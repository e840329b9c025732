"""Every measure at a tiny size: it runs, and ours and the reference come to the same figures. No time is asserted."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.benchmarks import books, floors, formulas, measures, ordinary, plans
from tests.benchmarks.__main__ import HEAD, table
from tests.benchmarks.press import press_measure
from tests.benchmarks.supplier_papers import e_invoices, printed, supplier_papers

TINY = books.SIZES["tiny"]


def test_the_ordinary_way_comes_to_our_costs_and_proposals(tmp_path: Path) -> None:
    path = tmp_path / "book.xlsx"
    books.save(books.tabs(books.SIZES["S"]), path)
    split = measures.split_run(path, write=False)
    found = ordinary.price(path, write=False)
    assert len(split.priced.costs) == 120 and len(split.priced.tiers) == 480
    assert measures.agreement(split.priced, found) < 1e-9
    found["costs"][next(iter(found["costs"]))] *= 1.001
    assert measures.agreement(split.priced, found) > 5e-4, "the comparison cannot see a difference"


def test_both_ways_write_the_same_unit_costs_into_the_file(tmp_path: Path) -> None:
    measured = measures.ordinary_way(tmp_path, "tiny", TINY)
    assert [m.budget for m in measured[-7:]] == [">= 10 x faster"] * 3 + [""] * 2 + ["<= 150 MiB"] * 2
    import openpyxl

    ours = openpyxl.load_workbook(tmp_path / "ours tiny.xlsx", data_only=True)["Costs"].iter_rows(min_row=4, max_col=8, values_only=True)
    theirs = openpyxl.load_workbook(tmp_path / "theirs tiny.xlsx")["Ordinary costs"].iter_rows(min_row=2, values_only=True)
    told = {row[0]: row[7] for row in ours if row[0]}
    wanted = dict(theirs)
    assert len(wanted) == TINY.products and told == pytest.approx(wanted, rel=1e-9)
    mine, full = openpyxl.load_workbook(tmp_path / "ours tiny.xlsx"), openpyxl.load_workbook(tmp_path / "theirs in full tiny.xlsx")
    for tab in ("Costs", "Prices", "Landed rates", "Cost trace", "Findings"):
        cells = {c.coordinate: c for row in mine[tab].iter_rows() for c in row if c.value is not None}
        same = {c.coordinate: c for row in full[tab].iter_rows() for c in row if c.value is not None}
        assert len(cells) > TINY.products and cells.keys() == same.keys()
        for at, cell in cells.items():
            assert (cell.value, cell.font.bold) == (same[at].value, same[at].font.bold), (tab, at)
            assert cell.number_format == same[at].number_format, (tab, at)


@pytest.mark.office
def test_the_formulas_come_to_our_unit_costs(tmp_path: Path) -> None:
    program = shutil.which("soffice") or shutil.which("libreoffice")
    if program is None:
        pytest.skip("LibreOffice is not installed")
    rows = books.tabs(TINY)
    formulas.save(rows, tmp_path / "model.xlsx")
    books.save(rows, tmp_path / "book.xlsx")
    recalculated, _ = formulas.recalculated(program, tmp_path / "model.xlsx", tmp_path)
    priced = measures.split_run(tmp_path / "book.xlsx", write=False).priced
    assert formulas.unit_costs(recalculated) == pytest.approx({c: x.unit_cost for c, x in priced.costs.items()}, rel=1e-9)


def test_the_floors_do_what_every_way_of_doing_the_job_does(tmp_path: Path) -> None:
    path = tmp_path / "book.xlsx"
    books.save(books.tabs(TINY), path)
    split = measures.split_run(path)
    tabs = [tab.name for tab in split.drawn]
    assert 0 < floors.libraries_alone(path, path, tabs) < 60 and floors.largest_part(path) > 0
    with pytest.raises(KeyError):
        floors.libraries_alone(path, path, ["no such tab"])
    assert 0 < floors.records_alone([*split.priced.costs.values()], split.priced.tiers) < 60
    assert floors.calamine_growth(path, path) < 64, "it has read the same workbook before"


def test_a_large_matrix_costs_what_its_lines_say() -> None:
    matrix, vector = measures.large_matrix(3_000)
    wanted = [sum(matrix.amounts[p] * vector[matrix.indices[p]] for p in range(10 * i, 10 * i + 10)) for i in range(3_000)]
    assert list(matrix.unit_costs(vector)) == pytest.approx(wanted, rel=1e-12)


def test_the_other_measures_run_and_print_as_a_table(tmp_path: Path) -> None:
    found = [
        *measures.start_up(tmp_path, runs=1), *measures.engine("tiny", TINY, runs=1), *measures.amount_texts(50),
        *measures.matrix_measures((300, 3_000), 2_500, runs=1),
        *supplier_papers(tmp_path, 4),
        *measures.restock_plans({"a few": plans.Size(6, 4, 2, 0.4, 5), "some": plans.Size(450, 5, 2, 0.4, 2)}),
    ]  # fmt: skip
    lines = table(found).splitlines()
    assert len(lines) == len(found) + 2 and all(line.count("|") == len(HEAD) + 1 for line in lines)


@pytest.mark.office
@pytest.mark.skipif(shutil.which("soffice") is None, reason="no office program")
def test_a_press_in_the_open_workbook_is_measured(tmp_path: Path) -> None:
    measure = press_measure(tmp_path, TINY, pairs=1)
    assert measure.ratio.endswith(" x") and measure.budget == "<= 3 x"


def test_papers_are_drawn_the_same_each_time_in_all_lengths() -> None:
    for drawn in (e_invoices, printed):
        papers = list(drawn(100))
        assert papers == list(drawn(100)) and len({paper.data for paper in papers}) == 100
        lengths = [paper.lines for paper in papers]
        assert min(lengths) <= 6 and max(lengths) >= 40


def test_the_same_seed_makes_the_same_book_and_another_another() -> None:
    assert books.tabs(TINY, 3) == books.tabs(TINY, 3) != books.tabs(TINY, 4)
