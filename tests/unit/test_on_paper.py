"""What is printed of a tab: charts whole or not at all, and no more columns than can be read.

A page of A4 held across is 21 cm high, 508.9 points without the margins of 0.6 inch above and below; rows are 15 points.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import openpyxl
import pytest

from costbook import commands
from costbook.book.grid import Cell, Chart, Series
from costbook.book.tool_tabs import MOVERS, TRACE
from costbook.printouts.tabs import put

HEAD = 15.0 + 15.0 + 42.0
POINTS_A_CM = 72 / 2.54


def with_chart(rows: int, height_cm: float, **asked: Any) -> Any:
    chart = Chart("bar", "10 %", (3, 0, 4, 0), (Series((2, 4), (3, 4, 4, 4), "000000"),), (rows + 4, 0), 20.0, height_cm)
    return put(MOVERS, "hint", [[Cell("x", "tool text")] * len(MOVERS.columns)] * rows, [chart], **asked).look


def test_a_chart_that_fits_below_its_table_is_printed_as_it_is() -> None:
    look = with_chart(10, 9.0)
    assert HEAD + 11 * 15 + 9.0 * POINTS_A_CM < 508.9
    assert look.print_area is None and look.charts[0].height_cm == 9.0


def test_a_chart_a_little_too_high_is_drawn_lower() -> None:
    look = with_chart(14, 8.0)
    assert HEAD + 15 * 15 + 8.0 * POINTS_A_CM > 508.9
    assert look.print_area is None
    assert 6.8 < look.charts[0].height_cm < 8.0 and HEAD + 15 * 15 + look.charts[0].height_cm * POINTS_A_CM <= 508.9 + 1.5


@pytest.mark.parametrize("rows", [18, 47, 400])
def test_a_chart_that_a_page_would_cut_is_for_the_screen(rows: int) -> None:
    look = with_chart(rows, 8.0)
    assert look.print_area == (0, 0, rows + 2, len(MOVERS.columns) - 1) and look.charts[0].height_cm == 8.0


def test_rows_of_several_lines_are_counted_as_high_as_they_are() -> None:
    """Ten rows with a sentence of four lines in a column of 32 characters take as much of the page as 40 of one line."""
    assert HEAD + 41 * 15 > 508.9 > HEAD + 11 * 15 + 8.0 * POINTS_A_CM
    chart = Chart("bar", "10 %", (3, 0, 4, 0), (Series((2, 4), (3, 4, 4, 4), "000000"),), (14, 0), 20.0, 8.0)
    row = [Cell("x" * 32 * 4, "tool wrapped"), *[Cell("x", "tool text")] * (len(MOVERS.columns) - 1)]
    assert MOVERS.columns[0].width == 32
    assert put(MOVERS, "hint", [row] * 10, [chart]).look.print_area == (0, 0, 12, len(MOVERS.columns) - 1)


def test_of_columns_that_are_for_the_screen_none_is_printed_and_the_chart_is() -> None:
    look = with_chart(5, 8.0, printed=3)
    assert look.print_area is not None
    assert look.print_area[:2] == (0, 0) and look.print_area[3] == 2 and look.print_area[2] * 12.5 > HEAD + 8.0 * POINTS_A_CM
    assert put(TRACE, "hint", [], printed=3).look.print_area == (0, 0, 3, 2)


def test_the_trial_price_is_printed_where_one_is_typed(tmp_path: Path) -> None:
    commands.demo(tmp_path)
    path = tmp_path / commands.DEMO_BOOK
    workbook = openpyxl.load_workbook(path)
    sheet = workbook["Prices"]
    heading = {cell.value: cell for cell in sheet[3]}

    def last() -> str:
        return str(openpyxl.load_workbook(path)["Prices"].print_area).split(":")[1].split("$")[1]

    assert last() == heading["Flag"].column_letter
    sheet.cell(4, heading["Trial price: type here"].column).value = 9.5
    workbook.save(path)
    commands.price(path)
    assert last() == heading["Kept at trial"].column_letter
    assert openpyxl.load_workbook(path)["Landed rates"]["N9"].alignment.wrap_text, "a long source of a weight is read whole"
