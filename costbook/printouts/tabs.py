"""How the tool's tabs are put together: headings, rows in the styles of their columns, and how the tab is shown."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import lru_cache

from costbook.book import layout
from costbook.book.grid import Cell, Chart, Formula, Highlight, Look, PutTab, Value
from costbook.book.layout import Tab, style_for
from costbook.book.model import Book, Material, Product
from costbook.book.tool_tabs import TOOL_TABS
from costbook.costing.checks import Priced, early_words
from costbook.printouts.marks import HEADING, marked

OUNCE_G, KILO_G = 28.349523125, 1000.0
FIRST = 3  # rows 0-2 are title, hint, headings
# What a page of A4 with the margins of our tabs holds, and what the office programs make of characters and rows, in points.
PAGE_LONG, PAGE_SHORT, MARGINS_WIDE, MARGINS_TALL = 841.9, 595.3, 57.6, 86.4
CHARACTER, COLUMN_EDGE, ROW, LOWEST_ROW, CENTIMETRE = 5.25, 3.75, 15.0, 12.5, 28.35
SHRINKS = 0.85  # a chart is drawn so much lower where it then shares the page with its table
STYLES_OF = {tab.name: [style_for(c) for c in tab.columns] for tab in TOOL_TABS}


def head(tab: Tab, hint: str, marks: bool = False) -> list[tuple[Cell, ...]]:
    """A tab's title, a line of what to do with it, and its row of headings; with marks, one more for them."""
    headings = [Cell(c.heading, "heading" if c.ink == layout.HERS else "tool heading") for c in tab.columns]
    return [(Cell(tab.name, "title"),), (Cell(hint, "hint"),), (*headings, *([Cell(HEADING, "mark")] if marks else []))]


def all_rows(tab: Tab, hint: str, rows: Iterable[Sequence[Cell]], marks: bool = False) -> Iterator[tuple[Cell, ...]]:
    """The rows of a tab from its title on, one by one."""
    yield from head(tab, hint, marks)
    for row in rows:
        yield marked(tab, row) if marks else tuple(row)


def put(
    tab: Tab,
    hint: str,
    rows: Sequence[Sequence[Cell]],
    charts: Sequence[Chart] = (),
    highlights: Sequence[Highlight] = (),
    marks: bool = False,
    upright: bool = False,
    printed: int | None = None,
) -> PutTab:
    """A whole tab to put: head, rows, and the look its declaration gives it.

    Args:
        marks: a cell typed over is noticed later.
        upright: how the page is held; printed: how many columns go on paper, where the rest is for the screen.
    """
    look = layout.plain_look(tab, len(rows), charts=tuple(charts))._replace(landscape=not upright)
    look = _on_paper(look, rows, len(tab.columns), printed)
    if marks:
        look = look._replace(hidden_columns=(len(tab.columns),))
    if highlights:
        look = look._replace(highlights=tuple(highlights))
    return PutTab(tab.name, tuple(all_rows(tab, hint, rows, marks)), look)


def _on_paper(look: Look, rows: Sequence[Sequence[Cell]], columns: int, printed: int | None) -> Look:
    """The look with what is printed of the tab: charts where they fit on one page with the table, a little lower if need be.

    A chart behind a longer table would be cut by the end of a page: it is for the screen.
    """
    count, charts = printed or columns, look.charts
    below = FIRST + max(len(rows), 1) - 1
    if charts:
        wide, tall = (PAGE_LONG, PAGE_SHORT) if look.landscape else (PAGE_SHORT, PAGE_LONG)
        table = math.fsum(CHARACTER * look.widths[i] + COLUMN_EDGE for i in range(count))
        scale = min(1.0, (wide - MARGINS_WIDE) / max(table, *(CENTIMETRE * c.width_cm for c in charts)))
        head = math.fsum(look.heights.get(i, ROW) for i in range(FIRST))
        room = (tall - MARGINS_TALL) / scale - head - ROW * (len(rows) + len(charts))
        if room > 0:  # thousands of rows need no closer look
            room -= math.fsum(_wrapped(row, look) for row in rows)
        fits = room / math.fsum(CENTIMETRE * c.height_cm for c in charts)
        if fits < SHRINKS:
            return look._replace(print_area=(0, 0, below, count - 1))
        charts = tuple(c._replace(height_cm=round(c.height_cm * min(fits, 1.0), 1)) for c in charts)
        below = max(c.at[0] + math.ceil(CENTIMETRE * c.height_cm / LOWEST_ROW) for c in charts)
    return look._replace(charts=charts, print_area=None if printed is None else (0, 0, below, count - 1))


def _wrapped(row: Sequence[Cell], look: Look) -> float:
    """About how much higher than one line a row is, with its longest text wrapped."""
    lines = (math.ceil(len(c.value) / look.widths[i]) for i, c in enumerate(row) if c.style == "tool wrapped" and isinstance(c.value, str))
    return ROW * (max([1, *lines]) - 1)


def cells_of(tab: Tab, values: Iterable[Value | Formula]) -> list[Cell]:
    """A row of values in the styles of the tab's columns."""
    styles = STYLES_OF[tab.name]
    if len(styles) != len(tab.columns):  # a tab with columns for what this run found
        styles = [style_for(column) for column in tab.columns]
    return [
        Cell(float(f"{v:.12g}"), style)
        if (kind := v.__class__) is float
        else _often(v, style) if v is None or kind is str else Cell(rounded_off(v), style)
        for style, v in zip(styles, values, strict=True)
    ]  # fmt: skip


# Empty cells and texts of a big tab are few that stand in many rows: they are kept once.
_often: Callable[..., Cell] = lru_cache(maxsize=1 << 14)(Cell)


def rounded_off(value: Value | Formula) -> Value | Formula:
    """Floats to 12 digits, so that a file never differs for the last bit of a sum."""
    return float(f"{value:.12g}") if isinstance(value, float) else value


def shown_name(product: Product) -> str:
    """A product's name, with a word where she only tries it out."""
    return f"{product.name} (trying out)" if product.trying else product.name


def counted_early(priced: Priced) -> str:
    """A sentence to go on with, about her prices that start on a later day and are counted already; '' where there is none."""
    told = "; ".join(early_words(priced))
    return f" {told[:1].upper()}{told[1:]}." if told else ""


def shown_per(book: Book, material: Material) -> tuple[str, float]:
    """The unit a rate of a material is shown per, and its grams (or pieces)."""
    if material.base == "each":
        return "each", 1.0
    return ("oz", OUNCE_G) if book.settings.measures in ("US customary", "imperial") else ("kg", KILO_G)
