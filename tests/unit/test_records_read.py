"""What keeps reading of large books fast must not change what is read."""

from __future__ import annotations

from costbook.book.grid import Grid
from costbook.book.layout import Column
from costbook.book.table import Notes, find_table
from costbook.errors import Where

COLUMNS = (Column("name", "Name", needed=True), Column("price", "Price", synonyms=("Cost",)), Column("note", "Note"))
GRID = Grid("Any", (("A list",), (None, "Cost", None, "Name"), (None, 2.5, None, " soap "), (None, None, None, "salt")))


def test_places_are_the_cells_of_the_row() -> None:
    table = find_table(GRID, COLUMNS)
    assert table is not None
    first, second = table.rows(Notes())
    assert dict(first.places()) == {"name": Where("Any", "D3"), "price": Where("Any", "B3")}
    assert second.places().get("price") == Where("Any", "B4")  # an empty cell has a place too
    assert first.places().get("note") is None  # a column the tab does not have has none
    assert len(first.places()) == 2


def test_a_row_shorter_than_its_headings_ends_in_empty_cells() -> None:
    table = find_table(Grid("Any", (("Name", "Price"), ("salt",))), COLUMNS)
    assert table is not None
    (row,) = table.rows(Notes())
    assert (row.text("name"), row.value("price"), row.text("note")) == ("salt", None, "")
