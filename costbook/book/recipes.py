"""Recipe cards on her tabs: label rows (Recipe, Code, Makes, Bench loss) above a block of lines.

One card a tab or several below each other; any tab with such a block counts, wherever she put it. Names are left as
written; `reading.py` turns them into codes once every tab is read.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from costbook.amounts.quantity import read_amount, same_name
from costbook.book.grid import Grid, Value
from costbook.book.layout import RECIPE_COLUMNS, RECIPE_LABELS
from costbook.book.model import Material, Recipe, RecipeLine
from costbook.book.table import Notes, Row, heading_names, match_headings, plain_text, unknown

LABEL_ROWS = 12
SLOT = re.compile(r"\(\s*(?:the\s+)?([^()]+?)(?:\s+of the piece)?\s*\)$", re.IGNORECASE)
NEEDED = {c.key for c in RECIPE_COLUMNS if c.needed}
HEADINGS = heading_names(RECIPE_COLUMNS)
AMOUNT_NAMES = {name for names in HEADINGS for name, key in names.items() if key == "amount"}
LABELS = {same_name(text): key for key, text in RECIPE_LABELS.items()}


def read_recipes(grids: Sequence[Grid], notes: Notes) -> dict[str, Recipe]:
    """Every recipe card in these tabs by its code, in order."""
    recipes: dict[str, Recipe] = {}
    for grid in grids:
        for recipe in _cards(grid, notes):
            if recipe.code in recipes:
                notes.add(
                    "ask",
                    "twice",
                    f'the recipe "{recipe.code}" stands twice; the first is used',
                    recipe.where,
                    "Give each its own code.",
                )
            else:
                recipes[recipe.code] = recipe
    return recipes


def _cards(grid: Grid, notes: Notes) -> Iterable[Recipe]:
    heads = [
        (i, found)
        for i, cells in enumerate(grid.rows)
        if _names_amounts(cells) and (found := match_headings(cells, HEADINGS)).keys() >= NEEDED
    ]
    _headless(grid, [head for head, _ in heads], notes)
    previous = -1
    for place, (head, columns) in enumerate(heads):
        following = heads[place + 1][0] if place + 1 < len(heads) else len(grid.rows) + LABEL_ROWS
        labels = _labels(grid, max(previous + 1, head - LABEL_ROWS), head, notes)
        end = _end(grid, head, columns, following)
        card = _card(grid, head, end, columns, labels, notes)
        _apart(card, grid, range(end, min(following, end + LABEL_ROWS, len(grid.rows))), columns, notes)
        yield card
        previous = end - 1


def _names_amounts(cells: Sequence[Value]) -> bool:
    """Whether a row may be one of headings: a quick look, for it is asked of every row of every tab."""
    return not AMOUNT_NAMES.isdisjoint([same_name(cell) for cell in cells if isinstance(cell, str)])


def _labels(grid: Grid, first: int, head: int, notes: Notes) -> Mapping[str, Row]:
    """By key the row whose label stands there, with its value in the next cell."""
    found: dict[str, Row] = {}
    for index in range(head - 1, first - 1, -1):
        for place, cell in enumerate(grid.rows[index]):
            key = LABELS.get(same_name(cell.rstrip(": "))) if isinstance(cell, str) else None
            if key:
                found.setdefault(key, Row(grid, index, {"value": place + 1}, notes))
    return found


def _end(grid: Grid, head: int, columns: Mapping[str, int], following: int) -> int:
    """The row after the last line: before two empty rows, the next card's labels, or the next card's headings."""
    empty = 0
    folded, places = same_name(RECIPE_LABELS["name"]), tuple(columns.values())
    for index in range(head + 1, min(following, len(grid.rows))):
        cells = grid.rows[index]
        if folded in [same_name(c.rstrip(": ")) for c in cells if isinstance(c, str)]:
            return index
        empty += 1
        for place in places:
            if _cell(cells, place) not in (None, ""):
                empty = 0
                break
        if empty == 2:
            return index
    return min(following, len(grid.rows))


def _headless(grid: Grid, heads: Sequence[int], notes: Notes) -> None:
    """A card that begins as recipes do, with Recipe and Bench loss, and has no headings of lines: its lines are not read."""
    firsts = {i: LABELS.get(same_name(c[0].rstrip(": "))) for i, c in enumerate(grid.rows) if c and isinstance(c[0], str)}
    for index in (i for i, key in firsts.items() if key == "name"):
        below = range(index + 1, index + LABEL_ROWS + 1)
        if any(firsts.get(i) == "loss" for i in below) and not any(i in heads for i in below):
            name = plain_text(_cell(grid.rows[index], 1))
            sentence = f'the recipe "{name}" has no headings Material and Amount above its lines, so it is not read'
            notes.add("stop", "no-headings", sentence, grid.where(index, 0), "Type the headings again, as the example has them.")


def _apart(card: Recipe, grid: Grid, below: Iterable[int], columns: dict[str, int], notes: Notes) -> None:
    """Two empty rows end a recipe, so that notes may stand below it; what reads like one more of its lines is asked about."""
    for index in below:
        texts = [same_name(c.rstrip(": ")) for c in grid.rows[index] if isinstance(c, str)]
        if not LABELS.keys().isdisjoint(texts):
            return
        row = Row(grid, index, columns, Notes(notes.decimal, notes.measures))
        amount = row.amount("amount", "unit") if row.text("material") else None
        if amount is not None and (amount.unit is not None or amount.percent):
            sentence = f"{card.name}: {amount.text} of {row.text('material')} stands below two empty rows, so it is not in the recipe"
            notes.add("ask", "line-apart", sentence, row.where("material"), "If it belongs there, take the empty rows out.")
            return


def _cell(cells: Sequence[Value], place: int) -> Value:
    return cells[place] if place < len(cells) else None


def _card(
    grid: Grid, head: int, end: int, columns: dict[str, int], labels: Mapping[str, Row], notes: Notes
) -> Recipe:
    before = len(notes.found)
    name = labels["name"].text("value") if "name" in labels else ""
    code = labels["code"].text("value") if "code" in labels else ""
    where = labels["name"].where("value") if "name" in labels else grid.where(head, 0)
    loss = labels["loss"].fraction("value") if "loss" in labels else None
    if loss is not None and not 0 <= loss < 1:
        labels["loss"].bad(
            "value", f"bench loss is a share between 0 and 100 %; the cell holds {loss}", "Type it as 2 %."
        )
    pieces = _pieces(labels.get("makes"))
    lines = tuple(line for index in range(head + 1, end) for line in _line(Row(grid, index, columns, notes)))
    if not lines:
        notes.add(
            "stop", "empty-recipe", f'the recipe "{name or grid.name}" has no lines', where, "Write what goes in."
        )
    stops = notes.stops(before)
    return Recipe(
        code or name or grid.name, name or grid.name, pieces, None if loss is None else float(loss), lines, where, stops
    )


def _pieces(row: Row | None) -> Decimal | None:
    """How many pieces a batch yields, None where it is worked out from weight."""
    if row is None or row.value("value") is None:
        return None
    typed = row.value("value")
    plain = row.number("value") if isinstance(typed, int | float) and not isinstance(typed, bool) else None
    amount = row.amount("value") if plain is None else read_amount(str(plain), "each") if plain > 0 else None
    if plain is not None and plain <= 0:
        row.bad("value", f"a batch makes more than 0 pieces; the cell holds {plain_text(typed)}", "Type how many.")
    if amount is None:
        return None
    if amount.unit is not None and amount.unit.dimension != "count":
        row.bad(
            "value",
            f'"{amount.text}" is not a number of pieces',
            "Leave it empty where the batch is weighed; else type 24 pieces.",
        )
        return None
    count = Decimal(amount.usual.numerator) / Decimal(amount.usual.denominator)
    if count <= 0:
        row.bad("value", "a batch makes more than 0 pieces", "Type how many.")
        return None
    return count


def _line(row: Row) -> Iterable[RecipeLine]:
    written = row.text("material")
    if not written:
        if any(row.value(key) is not None for key in ("material", "amount", "unit")):
            row.bad("material", "a recipe line without a material", "Write what goes in.")
        return
    amount = row.amount("amount", "unit")
    if amount is None:
        if row.value("amount") is None:
            row.bad("amount", f"no amount of {written}", "Write how much goes in.")
        return
    if amount.high == 0:
        row.bad("amount", f"0 of {written}: it costs nothing", "Write how much goes in, or take the line out.", "ask", "no-amount")
    if amount.unit is None and not amount.percent:
        row.bad("unit", f"no unit for {amount.text} of {written}", "Pick one, such as oz or cup.")
        return
    dries_off = row.yes("dries_off", False) or False
    yield RecipeLine(
        (written,), False, "", amount, _when(row), dries_off, row.text("note"), row.where("material"), row.places()
    )


def _when(row: Row) -> str:
    """'always', 'optional', or the slot that must be filled."""
    found = same_name(row.text("when"))
    if found in ("", "always"):
        return "always"
    if found == "optional":
        return found
    if found.startswith("if "):
        return found[3:].strip()
    row.bad("when", f'"{row.text("when")}" is not known here', "Use always, optional, or if colour.")
    return "always"


def resolved_recipes(
    recipes: Mapping[str, Recipe], materials: Mapping[str, Material], names: Mapping[str, str], notes: Notes
) -> dict[str, Recipe]:
    """The recipes with every line's written name turned into codes or a slot; an unknown name stops its recipe."""
    known = [m.name for m in materials.values()] + [r.name for r in recipes.values()]
    done = {}
    for recipe in recipes.values():
        before = len(notes.found)
        lines = []
        for line in recipe.lines:
            written = line.choices[0]
            slot = SLOT.match(written) if "(" in written else None
            codes = () if slot else _choices(written, names)
            for name in (w for w, code in codes if not code):
                sentence = unknown("material or recipe", name, known)
                notes.add("stop", "unknown-name", sentence, line.where, "Write one of your materials or recipes.")
            found = tuple(code for _, code in codes if code)
            nested = bool(found) and found[0] in recipes and found[0] not in materials
            named = same_name(slot[1]) if slot else ""
            lines.append(
                RecipeLine(found, nested, named, line.amount, line.when, line.dries_off, line.note, line.where, line.places)
            )
        done[recipe.code] = recipe._replace(lines=tuple(lines), stopped=recipe.stopped + notes.stops(before))
    return done


def _choices(written: str, names: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """(what is written, its code or '') of each alternative of a line."""
    whole = names.get(same_name(written), "")
    if whole:
        return ((written, whole),)
    listed = re.sub(r"^one of\s*:?\s*", "", written, flags=re.IGNORECASE)
    parts = [p.strip() for p in listed.split("/") if p.strip()] or [written]
    return tuple((p, names.get(same_name(p), "")) for p in parts)
