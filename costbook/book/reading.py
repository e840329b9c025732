"""From a snapshot of her workbook to a `Book`: every tab found by its headings, every bad cell a finding.

A record that cannot be used carries the sentence that stops it (`stopped`), so that exactly the products that need it
get no price. Only a missing tab or heading raises.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

from costbook.amounts.money import Ending, read_ending
from costbook.amounts.quantity import Amount, read_amount, same_name
from costbook.amounts.weights import nearest_references, reference_weight
from costbook.book import layout, model
from costbook.book.grid import Grid, Snapshot
from costbook.book.recipes import read_recipes
from costbook.book.table import Notes, Row, Table, find_declared, nearest, plain_text
from costbook.errors import Finding, LayoutError, QuantityError, Where

ZERO = Decimal(0)
PRICE_COLUMNS = ("wholesale", "retail")


def read_book(snapshot: Snapshot) -> model.Book:
    """The book that a workbook holds, with the findings of reading it.

    Raises:
        LayoutError: tabs or headings that nothing can be priced without are missing; all of them are named at once.
    """
    ours = {same_name(t.name) for t in layout.TOOL_TABS}
    grids = [g for g in snapshot.grids.values() if same_name(g.name) not in ours]
    tables = _find_tables(grids)
    notes = Notes()
    settings, book_stops = _settings(snapshot.grid(layout.START), notes)
    notes.decimal, notes.measures = settings.decimal, settings.measures
    suppliers = {s.name: s for s in _suppliers(tables.get("Suppliers"), settings, notes)}
    materials = {m.code: m for m in _materials(tables["Materials"], notes)}
    taken = {t.grid.name for t in tables.values()} | {layout.START}
    recipes = read_recipes([g for g in grids if g.name not in taken], notes)
    names = _names(materials, recipes, notes)
    recipes = _resolve_recipes(recipes, materials, names, notes)
    purchases, spoiled = _purchases(tables["Purchases"], names, materials, settings, notes)
    materials = _finish_materials(materials, purchases, spoiled, notes)
    roles = {r.name: r for r in _roles(tables["Pay"], notes)}
    steps = tuple(_steps(tables["Work"], roles, notes))
    products = _products(tables["Products"], tables["Product lines"], names, materials, recipes, notes)
    products = _checked_products(products, steps, book_stops, notes)
    channels = {c.name: c for c in _channels(tables["Channels"], roles, notes)}
    for table in tables.values():
        _shape(table, notes)
    return model.Book(settings, suppliers, materials, tuple(purchases), recipes, products, roles, steps, channels, names, tuple(notes.found))


def _find_tables(grids: Sequence[Grid]) -> dict[str, Table]:
    tables: dict[str, Table] = {}
    wrong: list[str] = []
    for tab in layout.HER_TABS:
        try:
            table = find_declared([g for g in grids if g.name not in {t.grid.name for t in tables.values()}], tab)
        except LayoutError as error:
            wrong.append(f"tab {error.where!s}: {error.sentence}")
            continue
        if table:
            tables[tab.name] = table
        elif tab.needed:
            wrong.append(f"no tab {tab.name!r} (headings {', '.join(c.heading for c in tab.columns if c.needed)})")
    if wrong:
        raise LayoutError("; ".join(wrong) + ".", do="Add what is missing; 'costbook blank' makes a workbook that has everything.")
    return tables


# ------------------------------------------------------------------ settings


def _settings(grid: Grid | None, notes: Notes) -> tuple[model.Settings, list[str]]:
    """The settings of the Start tab, and the sentences that stop the whole book."""
    if grid is None:
        return model.Settings(), []
    rows = _setting_rows(grid, notes)
    found: dict[str, Any] = {}
    stops: list[str] = []
    for key in ("decimal", "measures", *[k for k in rows if k not in ("decimal", "measures")]):
        if key not in rows or rows[key].value("value") is None:
            continue
        before = len(notes.found)
        value = _setting(next(s for s in layout.SETTINGS if s.key == key), rows[key])
        if value is not None:
            found[key] = value
        stops += [f"{f.where}: {f.sentence}" for f in notes.found[before:] if f.level == "stop"]
        if key in ("decimal", "measures") and value is not None:
            setattr(notes, key, value)
    where = {key: row.where("value") for key, row in rows.items()}
    return model.Settings(**found, where=where), stops


def _setting_rows(grid: Grid, notes: Notes) -> dict[str, Row]:
    labels = layout.settings_by_label()
    rows: dict[str, Row] = {}
    for index, cells in enumerate(grid.rows):
        for place, cell in enumerate(cells):
            row = labels.get(same_name(cell)) if isinstance(cell, str) else None
            if row:
                rows.setdefault(row.key, Row(grid, index, {"value": place + 1}, notes))
    return rows


def _setting(setting: layout.SettingRow, row: Row) -> Any:
    if setting.key == "mixer_g":
        amount = row.amount("value")
        return None if amount is None else _base(amount, row, "value")
    if setting.key in ("tax_reclaimed",):
        return row.yes("value")
    if setting.choices:
        folded = {same_name(c): c for c in setting.choices}
        found = same_name(row.text("value"))
        if found not in folded:
            row.bad("value", f'"{row.text("value")}" is not known here', f"Use one of: {', '.join(setting.choices)}.")
            return None
        return folded[found]
    if setting.kind == "date":
        return row.day("value")
    if setting.kind == "percent":
        share = row.fraction("value")
        return None if share is None else float(share)
    if setting.kind in ("money", "number", "count"):
        number = row.number("value")
        if number is not None and number < 0:
            row.bad("value", f"{setting.label} cannot be negative; the cell holds {number}", "Type 0 or more.")
            return None
        return int(number) if number is not None and setting.kind == "count" else number
    return row.text("value").upper() if setting.key == "currency" else row.text("value")


def _base(amount: Amount, row: Row, key: str, g_per_ml: float | None = None) -> float | None:
    try:
        return amount.base(g_per_ml=g_per_ml)
    except QuantityError as error:
        row.bad(key, error.sentence, error.do)
        return None


# ------------------------------------------------------- suppliers, materials


def _suppliers(table: Table | None, settings: model.Settings, notes: Notes) -> Iterable[model.Supplier]:
    for row in table.rows(notes) if table else ():
        lead = row.number("lead_days")
        yield model.Supplier(
            row.text("name"), row.text("currency").upper() or settings.currency, row.choice("shared_by", model.BASES, ""),
            row.text("terms"), None if lead is None else int(lead), row.where("name"),
        )  # fmt: skip


def _materials(table: Table, notes: Notes) -> Iterable[model.Material]:
    seen: dict[str, Where] = {}
    for row in table.rows(notes):
        name = row.text("name")
        if not name:
            row.bad("name", "a material without a name is left out", "Give it a name.", "ask", "no-name")
            continue
        code = row.text("code") or name
        if code in seen:
            row.bad("code", f'the code "{code}" stands twice, first in {seen[code].cell}; this row is left out', "Give each its own.", "ask", "twice")
            continue
        seen[code] = row.where("code")
        yield _material(row, code, name)


def _material(row: Row, code: str, name: str) -> model.Material:
    raw = row.value("name")
    if isinstance(raw, str) and raw != raw.strip():
        row.bad("name", f'"{raw}" has a stray space at its edge', "Take it out.", "warn", "stray-space")
    before = len(row.notes.found)
    weight, source = _weight_per_volume(row, name)
    waste = row.fraction("waste") or ZERO
    if waste < 0:
        row.bad("waste", f"{waste} cannot stay in the bucket", "Type 0 % or more.")
    material = model.Material(
        code=code, name=name, kind=row.choice("kind", model.ITEM_KINDS, "other"), supplier=row.text("supplier"),
        g_per_ml=weight, weight_source=source, waste_fraction=float(waste),
        rate_rule=row.choice("rate_rule", model.RATE_RULES, ""), quoted_price=row.number("quoted_price"),
        quoted_pack=row.amount("quoted_pack"), quoted_from=row.day("quoted_from"),
        usual_pack=row.amount("usual_pack", "usual_pack_unit"), aliases=_listed(row.text("aliases")),
        cautions=row.text("cautions"), on_hand=row.amount("on_hand", "on_hand_unit"), where=row.where("name"),
        supplier_codes=_listed(row.text("supplier_codes")), label_name=row.text("label_name"),
        places={key: row.where(key) for key in row.columns},
    )  # fmt: skip
    stops = tuple(f.sentence for f in row.notes.found[before:] if f.level == "stop")
    return replace(material, stopped=stops)


def _listed(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(";") if part.strip())


def _weight_per_volume(row: Row, name: str) -> tuple[float | None, str]:
    """Grams per ml and where it is from: her own figure, her weighed measure, else the reference table's same name."""
    known = row.text("known_by")
    own = row.number("g_per_ml")
    if own is not None:
        if own <= 0:
            row.bad("g_per_ml", f"a weight per volume is more than 0; the cell holds {own}", "Weigh a level cup.")
            return None, ""
        return float(own), known or "your own figure"
    measure, weighs = row.amount("weighed"), row.amount("weighs")
    if measure and weighs:
        return _weighed(row, measure, weighs, known)
    wanted = row.text("reference")
    reference = reference_weight(wanted or name)
    if reference:
        memory = "from memory, not checked: " if reference.from_memory else ""
        return reference.g_per_ml, f"reference table: {memory}{reference.material}, {reference.form} ({reference.source})"
    if wanted:
        near = nearest_references(wanted)
        row.bad("reference", f'the reference table has no "{wanted}"', f"Nearest: {'; '.join(near)}." if near else "Weigh a cup.", "ask", "unknown-name")
    return None, ""


def _weighed(row: Row, measure: Amount, weighs: Amount, known: str) -> tuple[float | None, str]:
    kinds = (measure.unit.dimension if measure.unit else "", weighs.unit.dimension if weighs.unit else "")
    if kinds != ("volume", "mass") or not measure.usual or not weighs.usual:
        row.bad("weighed", f'"{measure.text}" weighing "{weighs.text}" is not a measure and its weight', "Such as 1 cup and 128 g.")
        return None, ""
    assert measure.unit and weighs.unit
    found = weighs.usual * weighs.unit.factor / (measure.usual * measure.unit.factor)
    return float(found), f"{known or 'you weighed it'}: {measure.text} = {weighs.text}"


def _names(materials: Mapping[str, model.Material], recipes: Mapping[str, model.Recipe], notes: Notes) -> dict[str, str]:
    """Every folded code, name and alias of materials and recipes -> code; the same thing twice is asked about."""
    names: dict[str, str] = {}
    said: set[frozenset[str]] = set()
    things: list[model.Material | model.Recipe] = [*materials.values(), *recipes.values()]
    named = [(t.code, t) for t in things] + [(t.name, t) for t in things]
    named += [(alias, m) for m in materials.values() for alias in m.aliases]
    for name, thing in named:
        code = names.setdefault(same_name(name), thing.code)
        pair = frozenset((code, thing.code))
        if len(pair) == 2 and pair not in said:
            said.add(pair)
            other = materials.get(code) or recipes[code]
            notes.add("ask", "twice", f'"{name}" stands for both {other.code} "{other.name}" and {thing.code} "{thing.name}": the same thing twice?',
                      thing.where, f"Keep one; until then {name} means {other.code}.")  # fmt: skip
    return names


# ------------------------------------------------------------------ purchases


def _purchases(
    table: Table, names: Mapping[str, str], materials: Mapping[str, model.Material], settings: model.Settings, notes: Notes
) -> tuple[list[model.PurchaseLine], dict[str, list[str]]]:
    """The purchase lines, and by material the sentences of lines of it that could not be read."""
    by_code = {same_name(c): m.code for m in materials.values() for c in m.supplier_codes}
    lines: list[model.PurchaseLine] = []
    spoiled: dict[str, list[str]] = {}
    for row in table.rows(notes):
        before = len(notes.found)
        line = _purchase(row, _bought(row, names, materials, by_code), settings)
        stops = [f.sentence for f in notes.found[before:] if f.level == "stop"]
        if stops and line.material and line.kind == "goods":
            spoiled.setdefault(line.material, []).extend(stops)
        else:
            lines.append(line)
    return lines, spoiled


def _bought(row: Row, names: Mapping[str, str], materials: Mapping[str, model.Material], by_code: Mapping[str, str]) -> str:
    written = row.text("material")
    if not written:
        return by_code.get(same_name(row.text("item_code")), "")
    code = names.get(same_name(written), "")
    if code in materials:
        return code
    near = nearest(written, [m.name for m in materials.values()])
    row.bad("material", f'no material "{written}"' + (f"; nearest: {near}" if near else ""), "Pick one of your materials.", "ask", "unknown-name")
    return ""


def _purchase(row: Row, material: str, settings: model.Settings) -> model.PurchaseLine:
    kind = row.choice("kind", model.LINE_KINDS, "goods")
    packs, price, amount = row.number("packs"), row.number("pack_price"), row.number("amount")
    count = packs if packs is not None else Decimal(1) if kind == "goods" and price is not None else ZERO
    if amount is None and price is not None:
        amount = count * price
    pack = row.amount("pack", "pack_unit")
    if kind == "goods" and material and amount is None and row.value("amount") is None and row.value("pack_price") is None:
        row.bad("pack_price", "no price on this line", "Type the price of a pack, or the amount.", check="price-missing")
    if kind == "goods" and material and pack is None and row.value("pack") is None and row.value("pack_unit") is None:
        row.bad("pack", "no pack size on this line", "Type how much one pack holds, such as 5 lb.", check="pack-missing")
    return model.PurchaseLine(
        supplier=row.text("supplier"), paper=row.text("paper"), date=row.day("date"), kind=kind, material=material,
        paper_type=row.choice("paper_type", model.PAPER_TYPES, "invoice"), item_code=row.text("item_code"),
        description=row.text("description"), packs=count, pack=pack, pack_price=price, amount=amount or ZERO,
        shared_by=row.choice("shared_by", model.BASES, ""), covers=row.text("covers"),
        currency=row.text("currency").upper() or settings.currency, currency_rate=row.number("currency_rate"),
        lot=row.text("lot"), best_before=row.day("best_before"), counts=row.yes("counts"), source=row.text("source"),
        where=row.where("amount"),
    )  # fmt: skip


def _finish_materials(
    materials: Mapping[str, model.Material], purchases: Sequence[model.PurchaseLine], spoiled: Mapping[str, list[str]], notes: Notes
) -> dict[str, model.Material]:
    """The materials with what their purchases tell: counted in grams or in pieces, and whether a paper line is unreadable."""
    dimensions: dict[str, set[str]] = {}
    for line in purchases:
        if line.material and line.pack and line.pack.unit:
            dimensions.setdefault(line.material, set()).add(line.pack.unit.dimension)
    done = {}
    for code, material in materials.items():
        kinds = dimensions.get(code) or {p.unit.dimension for p in (material.quoted_pack, material.usual_pack) if p and p.unit}
        counted = kinds == {"count"} or (not kinds and material.kind in ("packaging", "consumable"))
        stopped = material.stopped + tuple(spoiled.get(code, ()))
        done[code] = replace(material, base="each" if counted else "g", stopped=stopped)
        if "count" in kinds and len(kinds) > 1:
            notes.add("ask", "pack-units", f"{material.name} is bought both by the piece and by measure", material.where, "Buy it one way, or keep two materials.")
    return done


# ---------------------------------------------------------------- the recipes


SLOT = re.compile(r"\(\s*(?:the\s+)?([^()]+?)(?:\s+of the piece)?\s*\)$", re.IGNORECASE)


def _resolve_recipes(
    recipes: Mapping[str, model.Recipe], materials: Mapping[str, model.Material], names: Mapping[str, str], notes: Notes
) -> dict[str, model.Recipe]:
    """The recipes with every line's written name turned into codes or a slot; an unknown name stops its recipe."""
    known = [m.name for m in materials.values()] + [r.name for r in recipes.values()]
    done = {}
    for recipe in recipes.values():
        lines, stops = [], list(recipe.stopped)
        for line in recipe.lines:
            written = line.choices[0]
            slot = SLOT.match(written)
            codes = () if slot else _choices(written, names)
            unknown = [w for w, code in codes if not code]
            for name in unknown:
                near = nearest(name, known)
                sentence = f'no material or recipe "{name}"' + (f"; nearest: {near}" if near else "")
                notes.add("stop", "unknown-name", sentence, line.where, "Write one of your materials or recipes.")
                stops.append(sentence)
            found = tuple(code for _, code in codes if code)
            lines.append(replace(line, choices=found, recipe=bool(found) and found[0] in recipes and found[0] not in materials,
                                 slot=same_name(slot[1]) if slot else ""))  # fmt: skip
        done[recipe.code] = replace(recipe, lines=tuple(lines), stopped=tuple(stops))
    return done


def _choices(written: str, names: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """(what is written, its code or '') of each alternative of a line."""
    whole = names.get(same_name(written), "")
    if whole:
        return ((written, whole),)
    listed = re.sub(r"^one of\s*:?\s*", "", written, flags=re.IGNORECASE)
    parts = [p.strip() for p in listed.split("/") if p.strip()] or [written]
    return tuple((p, names.get(same_name(p), "")) for p in parts)


# --------------------------------------------------------------- work and pay


def _roles(table: Table, notes: Notes) -> Iterable[model.Role]:
    for row in table.rows(notes):
        pay, on_cost = row.number("pay"), row.fraction("on_cost")
        if pay is None or pay < 0:
            if row.value("pay") is None or pay is not None:
                row.bad("pay", "an hour of work needs its pay, 0 or more", "Type the pay an hour, yours too.")
            continue
        yield model.Role(same_name(row.text("role")), pay, on_cost or ZERO, row.where("role"))


def _steps(table: Table, roles: Mapping[str, model.Role], notes: Notes) -> Iterable[model.Step]:
    for row in table.rows(notes):
        before = len(notes.found)
        role = same_name(row.text("role"))
        if role not in roles:
            near = nearest(role, list(roles))
            row.bad("role", f'nobody called "{row.text("role")}" with pay on the Pay tab' + (f"; nearest: {near}" if near else ""), "Add them there.")
        minutes = [row.number(k) or ZERO for k in ("batch_minutes", "piece_minutes", "rest_hours")]
        if min(minutes) < 0:
            row.bad("batch_minutes", "minutes cannot be negative", "Type 0 or more.")
        batch, piece, rest = (float(m) for m in minutes)
        stops = tuple(f.sentence for f in notes.found[before:] if f.level == "stop")
        yield model.Step(same_name(row.text("family")), row.text("name"), role, batch, piece, rest, row.where("name"), stops)


# -------------------------------------------------------------------- products


def _products(
    table: Table, lines: Table, names: Mapping[str, str], materials: Mapping[str, model.Material],
    recipes: Mapping[str, model.Recipe], notes: Notes,
) -> dict[str, model.Product]:  # fmt: skip
    slots = {line.slot for recipe in recipes.values() for line in recipe.lines if line.slot} | {"scent", "colour"}
    products: dict[str, model.Product] = {}
    like: dict[str, tuple[str, Row]] = {}
    for row in table.rows(notes):
        code = row.text("code") or row.text("name")
        if code in products:
            row.bad("code", f'the code "{code}" stands twice; this row is left out', "Give each product its own.", "ask", "twice")
            continue
        products[code] = _product(_with_slots(row, slots), code, names, materials, slots)
        if row.text("like"):
            like[code] = (row.text("like"), row)
    parts, stops = _parts(lines, names, materials, products, notes)
    for code, (other, row) in like.items():
        if other not in products:
            near = nearest(other, list(products))
            row.bad("like", f'no product "{other}"' + (f"; nearest: {near}" if near else ""), "Type a product's code.")
            stops.setdefault(code, []).append(f'no product "{other}" to take the lines from')
        parts[code] = parts.get(other, []) + parts.get(code, [])
        stops.setdefault(code, []).extend(stops.get(other, []))
    return {
        code: replace(p, parts=tuple(parts.get(code, ())), stopped=p.stopped + tuple(stops.get(code, ()))) for code, p in products.items()
    }


def _with_slots(row: Row, slots: Iterable[str]) -> Row:
    """The row with a column for every slot that has one of that heading."""
    columns = dict(row.columns)
    for cells in row.grid.rows[: row.index]:
        for place, cell in enumerate(cells):
            if isinstance(cell, str) and same_name(cell) in slots:
                columns.setdefault(same_name(cell), place)
    return replace(row, columns=columns)


def _product(
    row: Row, code: str, names: Mapping[str, str], materials: Mapping[str, model.Material], slots: Iterable[str]
) -> model.Product:
    before = len(row.notes.found)
    fills = {slot: _fill(row, slot, names, materials) for slot in sorted(slots) if row.text(slot)}
    planned, good = row.number("planned"), row.number("good")
    for key, number in (("planned", planned), ("good", good)):
        if number is None and row.value(key) is None or number is not None and (number <= 0 or number % 1):
            row.bad(key, f"pieces are a whole number above 0; the cell holds {plain_text(row.value(key)) or 'nothing'}", "Type how many.")
    prices = {}
    for key in PRICE_COLUMNS:
        price = row.number(key)
        if price is not None and price <= 0:
            row.bad(key, f"a price is more than 0; the cell holds {price}", "Type the price.", "ask", "price-zero")
        elif price is not None:
            prices[key] = price
    rest = row.number("rest_hours")
    stock = {key: row.number(key) for key in ("on_hand", "sold_per_week", "waiting", "promised")}
    stops = tuple(f.sentence for f in row.notes.found[before:] if f.level == "stop" and f.where not in _places(row, stock))
    return model.Product(
        code=code, name=row.text("name"), parts=(), fills={k: v for k, v in fills.items() if v}, family=same_name(row.text("family")),
        planned=int(planned or 0), good=int(good or 0), prices=prices, where=row.where("name"),
        places={key: row.where(key) for key in row.columns}, rest_hours=float(rest or 0), **stock,
        sold_out_since=row.day("sold_out_since"), season_end=row.day("season_end"), stopped=stops,
    )  # fmt: skip


def _places(row: Row, keys: Iterable[str]) -> list[Where]:
    return [row.where(k) for k in keys]


def _fill(row: Row, slot: str, names: Mapping[str, str], materials: Mapping[str, model.Material]) -> str:
    written = row.text(slot)
    code = names.get(same_name(written), "")
    if code in materials:
        return code
    near = nearest(written, [m.name for m in materials.values()])
    row.bad(slot, f'no material "{written}"' + (f"; nearest: {near}" if near else ""), "Pick one of your materials.", check="unknown-name")
    return ""


def _parts(
    table: Table, names: Mapping[str, str], materials: Mapping[str, model.Material], products: Mapping[str, model.Product], notes: Notes
) -> tuple[dict[str, list[model.Part]], dict[str, list[str]]]:
    """By product the parts it takes, and the sentences of lines that cannot be read."""
    by_name = {same_name(n): p.code for p in products.values() for n in (p.name, p.code)}
    parts: dict[str, list[model.Part]] = {}
    stops: dict[str, list[str]] = {}
    for row in table.rows(notes):
        before = len(notes.found)
        product = by_name.get(same_name(row.text("product")), "")
        if not product:
            near = nearest(row.text("product"), list(products))
            row.bad("product", f'no product "{row.text("product")}"' + (f"; nearest: {near}" if near else ""), "Type a product's code.", "ask", "unknown-name")
            continue
        part = _part(row, names, materials, by_name)
        if part:
            parts.setdefault(product, []).append(part)
        stops.setdefault(product, []).extend(f.sentence for f in notes.found[before:] if f.level == "stop")
    return parts, stops


PART_KINDS = {"recipe": "recipe", "part": "recipe", "mix": "recipe", "product": "product", "packaging": "packaging", "consumable": "consumable"}


def _part(row: Row, names: Mapping[str, str], materials: Mapping[str, model.Material], products: Mapping[str, str]) -> model.Part | None:
    kind = PART_KINDS.get(row.choice("kind", tuple(PART_KINDS), ""), "")
    item = row.text("item")
    code = (products if kind == "product" else names).get(same_name(item), "")
    if not kind:
        row.bad("kind", "this line does not say what the product takes", "Type recipe, product, packaging or consumable.")
    elif not code or (kind in ("packaging", "consumable") and code not in materials) or (kind == "recipe" and code in materials):
        near = nearest(item, [*products, *(m.name for m in materials.values())])
        row.bad("item", f'no {kind} "{item}"' + (f"; nearest: {near}" if near else ""), "Write one that stands in your tabs.", check="unknown-name")
        return None
    amount = row.amount("amount", "unit")
    if amount is None:
        if row.value("amount") is None:
            row.bad("amount", "no amount on this line", "Type how much one piece takes.")
        return None
    if amount.unit is None and not amount.percent:
        amount = read_amount(amount.text, "g" if kind == "recipe" else "each")
    return model.Part(kind, code, amount, row.choice("per", ("piece", "batch"), "piece") == "batch", row.where("item"))


def _checked_products(
    products: Mapping[str, model.Product], steps: Sequence[model.Step], book_stops: Sequence[str], notes: Notes
) -> dict[str, model.Product]:
    families: dict[str, list[str]] = {}
    for step in steps:
        families.setdefault(step.family, []).extend(step.stopped)
    done = {}
    for code, product in products.items():
        stops = [*product.stopped, *book_stops, *families.get(product.family, ())]
        if product.family and product.family not in families:
            near = nearest(product.family, families)
            sentence = f'no work steps for "{product.family}"' + (f"; nearest: {near}" if near else "")
            notes.add("stop", "unknown-name", sentence, product.places.get("family", product.where), "Add them on the Work tab.", [code])
            stops.append(sentence)
        done[code] = replace(product, stopped=tuple(stops))
    return done


# -------------------------------------------------------------------- channels


def _channels(table: Table, roles: Mapping[str, model.Role], notes: Notes) -> Iterable[model.Channel]:
    for row in table.rows(notes):
        before = len(notes.found)
        role = same_name(row.text("order_role"))
        minutes = row.number("order_minutes") or ZERO
        if minutes and role not in roles:
            row.bad("order_role", f'nobody called "{row.text("order_role")}" on the Pay tab', "Say who packs an order.")
        price = row.choice("price", PRICE_COLUMNS, "")
        channel = model.Channel(
            name=row.text("name"), price=price, fee_fraction=row.fraction("fee") or ZERO,
            fee_on_shown=row.choice("fee_on", ("shown price", "net price"), "shown price") == "shown price",
            per_item=row.number("per_item") or ZERO, per_order=row.number("per_order") or ZERO, order_minutes=minutes,
            order_role=role, pieces_per_order=row.number("pieces_per_order") or ZERO, per_day=row.number("per_day") or ZERO,
            pieces_per_day=row.number("pieces_per_day") or ZERO, tax_fraction=row.fraction("tax") or ZERO,
            target_fraction=row.fraction("target"), target_counts=row.choice("target_counts", ("margin", "kept"), "margin"),
            floor_fraction=row.fraction("floor"), floor_counts=row.choice("floor_counts", ("margin", "kept"), "margin"),
            ending=_ending(row), smallest_order=row.number("smallest_order"), where=row.where("name"),
        )  # fmt: skip
        if all(f.level != "stop" for f in notes.found[before:]):
            yield channel


def _ending(row: Row) -> Ending | None:
    found = row.value("ending")
    if found is None:
        return None
    try:
        return read_ending(found if isinstance(found, float) else row.text("ending"), row.notes.decimal)
    except QuantityError as error:
        row.bad("ending", error.sentence, error.do, "ask")
        return None


def _shape(table: Table, notes: Notes) -> None:
    """Merged and hidden rows inside a table: read all the same, and mentioned."""
    grid, first = table.grid, table.heading_row
    used = [i for i, cells in enumerate(grid.rows) if i > first and any(c not in (None, "") for c in cells)]
    last = max(used, default=first)
    for top, left, bottom, _ in grid.merged:
        if first < top <= last and bottom < len(grid.rows) + 1:
            notes.add("warn", "merged-cells", "merged cells inside the table: only their first cell is read", grid.where(top, left), "Unmerge them.")
    hidden = sorted(r for r in grid.hidden_rows if first < r <= last)
    if hidden:
        notes.add("warn", "hidden-rows", f"{len(hidden)} hidden row{'s' * (len(hidden) > 1)} inside the table, read like the others",
                  grid.where(hidden[0], 0), "Show them, or take them out.")  # fmt: skip

