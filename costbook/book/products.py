"""Her tabs of making and selling: pay, work steps, products with their lines, channels."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence, Set
from decimal import Decimal

from costbook.amounts.money import Ending, read_ending
from costbook.amounts.quantity import same_name
from costbook.book import model
from costbook.book.layout import STANDINGS
from costbook.book.table import Notes, Row, Table, plain_text, unknown
from costbook.errors import Finding, QuantityError

ZERO = Decimal(0)
PRICE_COLUMNS = ("wholesale", "retail")


# --------------------------------------------------------------- work and pay


def read_roles(table: Table, notes: Notes) -> Iterable[model.Role]:
    """Who works and what an hour of it costs; one without readable pay carries what stops it, and so do the steps of it."""
    for row in table.rows(notes):
        before = len(notes.found)
        pay, on_cost = row.number("pay"), row.fraction("on_cost")
        if (pay is None or pay < 0) and not notes.stops(before):
            row.bad("pay", "an hour of work needs its pay, 0 or more", "Type the pay an hour, yours too.")
        name, stops = row.text("role"), notes.stops(before)
        yield model.Role(same_name(name), pay or ZERO, on_cost or ZERO, row.where("role"), name, stops)


def _written(roles: Mapping[str, model.Role]) -> list[str]:
    return [role.written for role in roles.values()]


def read_activities(table: Table | None, notes: Notes) -> Iterable[model.Activity]:
    """The overhead activities; one whose cost or count cannot be read is left out, and products taking it are stopped."""
    for row in table.rows(notes) if table else ():
        per_year, times = row.number("per_year"), row.number("times")
        if per_year is None or per_year < 0 or times is None or times <= 0:
            sentence = "an activity needs what it costs a year, and how often a year it happens, above 0"
            row.bad("times" if per_year is not None and per_year >= 0 else "per_year", sentence, "Type both.")
            continue
        yield model.Activity(row.text("name"), per_year, times, row.where("name"))


def read_steps(table: Table, roles: Mapping[str, model.Role], notes: Notes) -> Iterable[model.Step]:
    """The steps of work, in order; one that cannot be read stops the products of its family."""
    for row in table.rows(notes):
        before = len(notes.found)
        role = same_name(row.text("role"))
        if role not in roles:
            row.bad("role", unknown("pay on the Pay tab for", row.text("role"), _written(roles)), "Add them there.")
        minutes = [row.number(k) or ZERO for k in ("batch_minutes", "piece_minutes", "rest_hours")]
        if min(minutes) < 0:
            row.bad("batch_minutes", "minutes cannot be negative", "Type 0 or more.")
        batch, piece, rest = (float(m) for m in minutes)
        stops = (*(roles[role].stops if role in roles else ()), *notes.stops(before))
        yield model.Step(
            same_name(row.text("family")), row.text("name"), role, batch, piece, rest, row.where("name"), stops
        )


# -------------------------------------------------------------------- products


def read_products(
    table: Table, lines: Table, names: Mapping[str, str], materials: Mapping[str, model.Material],
    recipes: Mapping[str, model.Recipe], activities: Iterable[str], notes: Notes,
) -> tuple[dict[str, model.Product], dict[str, model.Product]]:  # fmt: skip
    """The products with what a piece takes, lines taken over from another product first; and, apart, those she dropped.

    Args:
        names: every folded name of materials and recipes -> code.
        activities: the names of the overhead activities.
    """
    slots = sorted({line.slot for recipe in recipes.values() for line in recipe.lines if line.slot} | {"scent", "colour"})
    products: dict[str, model.Product] = {}
    like: dict[str, tuple[str, Row]] = {}
    dropped: set[str] = set()
    for row in _with_slots(table.rows(notes), frozenset(slots)):
        code = row.text("code") or row.text("name")
        standing = row.choice("standing", STANDINGS, "yes")
        if code in products:
            row.bad(
                "code",
                f'the code "{code}" stands twice; this row is left out',
                "Give each product its own.",
                "ask",
                "twice",
            )
            continue
        if standing == "dropped":  # others may still have lines as in it; what is wrong with it is no matter
            dropped.add(code)
            held = row.value("on_hand")
            if isinstance(held, int | float) and held > 0:
                row.bad("on_hand", f"{code} is dropped and {plain_text(held)} are on hand: in no stock value", "Count them off, or put it back.", "ask", "dropped-stock")
            row = Row(row.grid, row.index, row.columns, Notes(notes.decimal, notes.measures))
        products[code] = _product(row, code, names, materials, slots, standing == "trying out")
        if row.text("like"):
            like[code] = (row.text("like"), row)
    known = dict.fromkeys(("recipe", "packaging", "consumable"), names)
    known["product"] = {same_name(n): p.code for p in products.values() for n in (p.name, p.code)}
    known["activity"] = {same_name(name): name for name in activities}
    by_piece = {code for code, recipe in recipes.items() if recipe.pieces}
    parts, stops = _parts(lines, known, materials, products, by_piece, notes)
    for code, (other, row) in like.items():
        if other not in products or _circular(code, like):
            sentence = "lines as in itself" if other in products else unknown("product", other, products)
            before = len(notes.found)
            row.bad("like", sentence, "Type the code of a product that has its own lines.")
            stops.setdefault(code, []).extend(notes.stops(before))
    done = {}
    for code, product in products.items():
        line = _lines_of(code, like)
        own = tuple(part for c in reversed(line) for part in parts.get(c, ()))
        stopped = tuple(finding for c in line for finding in stops.get(c, ()))
        done[code] = product._replace(parts=own, stopped=product.stopped + stopped)
    return {code: _without_dropped(p, dropped, notes) for code, p in done.items() if code not in dropped}, {code: done[code] for code in done if code in dropped}


def _without_dropped(product: model.Product, dropped: Container[str], notes: Notes) -> model.Product:
    """The product, stopped where it takes one that is dropped."""
    part = next((p for p in product.parts if p.kind == "product" and p.item in dropped), None)
    if part is None:
        return product
    before = len(notes.found)
    do = "Take it out, or put that product back in the line."
    notes.add("stop", "dropped", f"{product.code} takes {part.item}, which is dropped", part.where, do, [product.code])
    left = tuple(p for p in product.parts if p.kind != "product" or p.item not in dropped)
    return product._replace(parts=left, stopped=product.stopped + notes.stops(before))


def _lines_of(code: str, like: Mapping[str, tuple[str, Row]]) -> list[str]:
    """The product and those whose lines it takes over, nearest first."""
    line = [code]
    while line[-1] in like and like[line[-1]][0] not in line:
        line.append(like[line[-1]][0])
    return line


def _circular(code: str, like: Mapping[str, tuple[str, Row]]) -> bool:
    last = _lines_of(code, like)[-1]
    return last in like


def _with_slots(rows: Iterable[Row], slots: Set[str]) -> Iterable[Row]:
    """The rows with a column for every slot that has one of that heading above them."""
    columns: dict[str, int] = {}
    seen = 0
    for row in rows:
        columns = columns or row.columns
        for cells in row.grid.rows[seen : row.index]:
            names = [same_name(c) if isinstance(c, str) else "" for c in cells]
            if not slots.isdisjoint(names):  # else no heading: so it is with all rows but one or two
                columns = {names[place]: place for place in reversed(range(len(names))) if names[place] in slots} | columns
        seen = row.index
        yield row if columns is row.columns else Row(row.grid, row.index, columns, row.notes)


def _product(
    row: Row, code: str, names: Mapping[str, str], materials: Mapping[str, model.Material], slots: Iterable[str], trying: bool
) -> model.Product:
    before = len(row.notes.found)
    fills = {slot: _fill(row, slot, names, materials) for slot in slots if row.text(slot)}
    planned, good = row.number("planned"), row.number("good")
    for key, number in (("planned", planned), ("good", good)):
        if (number is None and row.value(key) is None) or (number is not None and (number <= 0 or number % 1)):
            row.bad(
                key,
                f"pieces are a whole number above 0; the cell holds {plain_text(row.value(key)) or 'nothing'}",
                "Type how many.",
            )
    prices = {}
    for key in PRICE_COLUMNS:
        price = row.number(key, "ask")
        if price is not None and price <= 0:
            row.bad(key, f"a price is more than 0; the cell holds {price}", "Type the price.", "ask", "price-zero")
        elif price is not None:
            prices[key] = price
    rest = row.number("rest_hours", "ask")
    stock = {key: row.number(key, "ask") for key in ("on_hand", "sold_per_week", "waiting", "promised")}
    stops = row.notes.stops(before)
    return model.Product(
        code=code, name=row.text("name"), parts=(), fills={k: v for k, v in fills.items() if v}, family=same_name(row.text("family")),
        planned=int(planned or 0), good=int(good or 0), prices=prices, where=row.where("name"),
        places=row.places(), rest_hours=float(rest or 0), **stock, promised_in=row.text("promised_in"),
        sold_out_since=row.day("sold_out_since", "ask"), season_end=row.day("season_end", "ask"), trying=trying, size=row.text("size"), mould=row.text("mould"),
        moulds=float(row.number("moulds", "ask") or 1), stopped=stops,
    )  # fmt: skip


def _fill(row: Row, slot: str, names: Mapping[str, str], materials: Mapping[str, model.Material]) -> str:
    written = row.text(slot)
    code = names.get(same_name(written), "")
    if code in materials:
        return code
    sentence = unknown("material", written, [m.name for m in materials.values()])
    row.bad(slot, sentence, "Pick one of your materials.", check="unknown-name")
    return ""


def _parts(
    table: Table,
    known: Mapping[str, Mapping[str, str]],
    materials: Mapping[str, model.Material],
    products: Mapping[str, model.Product],
    by_piece: Container[str],
    notes: Notes,
) -> tuple[dict[str, list[model.Part]], dict[str, list[Finding]]]:
    """By product the parts it takes, and the sentences of lines that cannot be read."""
    parts: dict[str, list[model.Part]] = {}
    stops: dict[str, list[Finding]] = {}
    above = ""
    for row in table.rows(notes):
        before = len(notes.found)
        product = known["product"].get(same_name(row.text("product")), "")
        if not row.text("product"):  # as under merged cells: whose it is she alone knows, so the one above gets no price without it
            sentence = f"this line names no product{f'; it may be of {above} above it' if above else ''}"
            its = above if row.text("item") else ""
            notes.add("stop" if its else "ask", "unknown-name", sentence, row.where("product"), "Type the product's code on every line of it.", [its] if its else [])
            stops.setdefault(its, []).extend(notes.stops(before))
            continue
        above = product
        if not product:
            sentence = unknown("product", row.text("product"), products)
            row.bad("product", sentence, "Type a product's code.", "ask", "unknown-name")
            continue
        part = _part(row, known, materials, by_piece)
        if part:
            parts.setdefault(product, []).append(part)
        if len(notes.found) > before:
            stops.setdefault(product, []).extend(notes.stops(before))
    return parts, stops


PART_KINDS = {
    "recipe": "recipe",
    "part": "recipe",
    "mix": "recipe",
    "product": "product",
    "packaging": "packaging",
    "consumable": "consumable",
    "activity": "activity",
}


def _part(
    row: Row, known: Mapping[str, Mapping[str, str]], materials: Mapping[str, model.Material], by_piece: Container[str]
) -> model.Part | None:
    kind = PART_KINDS.get(row.choice("kind", PART_KINDS, ""), "")
    item = row.text("item")
    code = known.get(kind, {}).get(same_name(item), "")
    if not kind:
        row.bad(
            "kind",
            "this line does not say what the product takes",
            "Type recipe, product, packaging, consumable or activity.",
        )
    elif (
        not code
        or (kind in ("packaging", "consumable") and code not in materials)
        or (kind == "recipe" and code in materials)
    ):
        sentence = unknown(kind, item, [*known[kind], *(m.name for m in materials.values())])
        row.bad("item", sentence, "Write one that stands in your tabs.", check="unknown-name")
        return None
    amount = row.amount("amount", "unit", unit="g" if kind == "recipe" and code not in by_piece else "each")
    if amount is None:
        if row.value("amount") is None:
            row.bad("amount", "no amount on this line", "Type how much one piece takes.")
        return None
    return model.Part(kind, code, amount, row.choice("per", ("piece", "batch"), "piece") == "batch", row.where("item"))


def checked_products(
    products: Mapping[str, model.Product], steps: Sequence[model.Step], book_stops: Sequence[Finding], notes: Notes
) -> dict[str, model.Product]:
    """The products with all that stops them: their own cells, a setting that cannot be read, their work steps."""
    families: dict[str, list[Finding]] = {}
    for step in steps:
        families.setdefault(step.family, []).extend(step.stopped)
    done = {}
    for code, product in products.items():
        stops = [*product.stopped, *book_stops, *families.get(product.family, ())]
        if product.family and product.family not in families:
            sentence = unknown("work steps for", product.family, families)
            where = product.places.get("family", product.where)
            before = len(notes.found)
            notes.add("stop", "unknown-name", sentence, where, "Add them on the Work tab.", [code])
            stops += notes.stops(before)
        done[code] = product._replace(stopped=tuple(stops)) if stops else product
    return done


# -------------------------------------------------------------------- channels


def read_channels(table: Table, roles: Mapping[str, model.Role], notes: Notes) -> Iterable[model.Channel]:
    """The channels; one with a cell that cannot be read is left out, since its prices would be wrong."""
    for row in table.rows(notes):
        before = len(notes.found)
        role = same_name(row.text("order_role"))
        minutes = _at_least_zero(row, "order_minutes")
        if minutes and role not in roles:
            row.bad("order_role", unknown("pay on the Pay tab for", row.text("order_role"), _written(roles)), "Say who packs.")
        money = {key: _at_least_zero(row, key) for key in ("per_item", "per_order", "per_day")}
        counts = {key: _at_least_zero(row, key) for key in ("pieces_per_order", "pieces_per_day")}
        for of, pieces in (("per_order", "pieces_per_order"), ("per_day", "pieces_per_day")):
            if (money[of] or (of == "per_order" and minutes)) and not counts[pieces]:
                row.bad(
                    pieces,
                    "no number of pieces to share this cost; one piece carries all of it",
                    "Type how many.",
                    "ask",
                )
        channel = model.Channel(
            name=row.text("name"), price=row.choice("price", PRICE_COLUMNS, ""), fee_fraction=_share(row, "fee") or ZERO,
            fee_on_shown=row.choice("fee_on", ("shown price", "net price"), "shown price") == "shown price",
            order_minutes=minutes, order_role=role, **money, **counts, tax_fraction=_share(row, "tax") or ZERO,
            target_fraction=_share(row, "target"), target_counts=row.choice("target_counts", ("margin", "kept"), "margin"),
            floor_fraction=_share(row, "floor"), floor_counts=row.choice("floor_counts", ("margin", "kept"), "margin"),
            ending=_ending(row), smallest_order=row.number("smallest_order", "ask"), where=row.where("name"),
        )  # fmt: skip
        unpaid = minutes and role in roles and roles[role].stops
        if not unpaid and not notes.stops(before):
            yield channel


def _at_least_zero(row: Row, key: str) -> Decimal:
    number = row.number(key)
    if number is not None and number < 0:
        row.bad(key, f"{number.normalize():f} is less than nothing", "Type 0 or more.")
    return number or ZERO


def _share(row: Row, key: str) -> Decimal | None:
    share = row.fraction(key)
    if share is not None and share < 0:
        row.bad(key, f"{(share * 100).normalize():f} % is less than nothing", "Type 0 % or more.")
    return share


def _ending(row: Row) -> Ending | None:
    found = row.value("ending")
    if found is None:
        return None
    try:
        return read_ending(found if isinstance(found, float) else row.text("ending"), row.notes.decimal)
    except QuantityError as error:
        row.bad("ending", error.sentence, error.do, "ask")
        return None
