"""From a snapshot of her workbook to a `Book`: every tab found by its headings, every bad cell a finding.

A record that cannot be used carries the sentence that stops it (`stopped`), so that exactly the products that need it
get no price. Only a missing tab or heading raises.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from costbook.amounts.money import read_discounts, rounded
from costbook.amounts.quantity import Amount, same_name
from costbook.amounts.weights import nearest_references, published_range, reference_weight
from costbook.book import layout, model
from costbook.book.grid import Grid, Snapshot
from costbook.book.products import (
    checked_products,
    read_activities,
    read_channels,
    read_products,
    read_roles,
    read_steps,
)
from costbook.book.recipes import read_recipes, resolved_recipes
from costbook.book.records import read_records
from costbook.book.table import Notes, Row, Table, find_table, find_tables, plain_text, unknown
from costbook.book.tool_tabs import PAPER_LAYOUTS, TOOL_TABS
from costbook.errors import Finding, QuantityError, Where

ZERO = Decimal(0)
PRICE_COLUMNS = ("wholesale", "retail")


def read_book(snapshot: Snapshot) -> model.Book:
    """The book that a workbook holds, with the findings of reading it.

    Raises:
        LayoutError: tabs or headings that nothing can be priced without are missing; all of them are named at once.
    """
    ours = {same_name(t.name) for t in TOOL_TABS}
    grids = [g for g in snapshot.grids.values() if same_name(g.name) not in ours]
    tables = find_tables(snapshot)
    notes = Notes()
    settings, book_stops = _settings(snapshot.grid(layout.START), notes)
    notes.decimal, notes.measures = settings.decimal, settings.measures
    suppliers = {s.name: s for s in _suppliers(tables.get("Suppliers"), settings, notes)}
    materials = {m.code: m for m in _materials(tables["Materials"], notes)}
    taken = {t.grid.name for t in tables.values()} | {layout.START}
    recipes = read_recipes([g for g in grids if g.name not in taken], notes)
    names = _names(materials, recipes, notes)
    recipes = resolved_recipes(recipes, materials, names, notes)
    purchases, spoiled = _purchases(tables["Purchases"], names, materials, settings, notes)
    materials = _finish_materials(materials, purchases, spoiled, notes)
    named = {r.name: r for r in read_roles(tables["Pay"], notes)}
    steps = tuple(read_steps(tables["Work"], named, notes))
    activities = {a.name: a for a in read_activities(tables.get("Activities"), notes)}
    products, dropped = read_products(tables["Products"], tables["Product lines"], names, materials, recipes, activities, notes)
    products = checked_products(products, steps, book_stops, notes)
    channels = {c.name: c for c in read_channels(tables["Channels"], named, notes)}
    announced = _announced(tables.get("Announced prices"), notes)
    facts = _paper_facts(snapshot.grid(PAPER_LAYOUTS.name), notes)
    records = read_records(tables, products, named, notes)
    for tab in layout.HER_TABS:
        if tab.name in tables:
            _shape(tables[tab.name], tab, notes)
    return model.Book(
        settings,
        suppliers,
        materials,
        tuple(purchases),
        recipes,
        products,
        {name: role for name, role in named.items() if not role.stops},
        steps,
        channels,
        names,
        tuple(notes.found),
        activities,
        facts,
        tuple(announced),
        *records,
        dropped,
    )


# ------------------------------------------------------------------ settings


def _settings(grid: Grid | None, notes: Notes) -> tuple[model.Settings, list[Finding]]:
    """The settings of the Start tab, and what stops the whole book."""
    if grid is None:
        sentence = "no Start tab: US cups, USD, the latest paper and no overhead are taken"
        notes.add("warn", "no-settings", sentence, None, "'costbook blank' makes a workbook that has one.")
        return model.Settings(), []
    rows = _setting_rows(grid, notes)
    found: dict[str, Any] = {}
    stops: list[Finding] = []
    for key in ("decimal", "measures", *[k for k in rows if k not in ("decimal", "measures")]):
        if key not in rows or rows[key].value("value") is None:
            continue
        before = len(notes.found)
        value = _setting(next(s for s in layout.SETTINGS if s.key == key), rows[key])
        if value is not None:
            found[key] = value
        stops += notes.stops(before)
        if key in ("decimal", "measures") and value is not None:
            setattr(notes, key, value)
    before = len(notes.found)
    if (
        found.get("overhead_per_year")
        and not found.get("hands_on_hours_per_year")
        and "hands_on_hours_per_year" in rows
    ):
        sentence = "overhead a year is given, and no hands-on hours to carry it"
        rows["hands_on_hours_per_year"].bad("value", sentence, "Type the hours of making and packing in a year.")
    if "currency" in found and (len(found["currency"]) != 3 or not found["currency"].isalpha()):
        rows["currency"].bad("value", f'"{found["currency"]}" is no currency', "Type three letters, such as USD.")
    stops += notes.stops(before)
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
            row.number("smallest_order"),
        )  # fmt: skip


def _announced(table: Table | None, notes: Notes) -> list[model.Announced]:
    """The announced prices; a row whose price or pack cannot be read is told and left out, a day that cannot be read is told alone.

    Names are looked up where prices are worked out.
    """
    found = []
    for row in table.rows(notes) if table else ():
        before = len(notes.found)
        price, rise, pack = row.number("new_price"), row.fraction("rise"), row.amount("new_pack", "new_pack_unit")
        starts = row.day("starts", "ask")
        if not notes.stops(before):
            found.append(model.Announced(row.text("material"), price, pack, rise, starts, row.text("supplier"), row.where("material")))
    return found


def _paper_facts(grid: Grid | None, notes: Notes) -> dict[str, tuple[model.PaperFact, ...]]:
    """What is known of how each supplier's papers are laid out, by its folded name."""
    table = find_table(grid, PAPER_LAYOUTS.columns) if grid else None
    found: dict[str, tuple[model.PaperFact, ...]] = {}
    for row in table.rows(notes) if table else ():
        about = row.choice("about", model.PAPER_FACTS, "")
        means = row.choice("means", model.FACT_MEANS.get(about, ()), "")
        if about and means and row.text("supplier"):
            supplier = same_name(row.text("supplier"))
            found[supplier] = (*found.get(supplier, ()), model.PaperFact(about, row.text("printed"), means))
    return found


def _materials(table: Table, notes: Notes) -> Iterable[model.Material]:
    seen: dict[str, Where] = {}
    for row in table.rows(notes):
        name = row.text("name")
        if not name:
            row.bad("name", "a material without a name is left out", "Give it a name.", "ask", "no-name")
            continue
        code = row.text("code") or name
        if code in seen:
            row.bad(
                "code",
                f'the code "{code}" stands twice, first in {seen[code].cell}; this row is left out',
                "Give each its own.",
                "ask",
                "twice",
            )
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
        quoted_pack=row.amount("quoted_pack"), quoted_from=row.day("quoted_from"), quoted_less=_discounts(row, "quoted_less"),
        usual_pack=row.amount("usual_pack", "usual_pack_unit", "ask"), aliases=_listed(row.text("aliases")),
        cautions=row.text("cautions"), on_hand=row.amount("on_hand", "on_hand_unit", "ask"), where=row.where("name"),
        supplier_codes=_listed(row.text("supplier_codes")), label_name=row.text("label_name"),
        places=row.places(),
    )  # fmt: skip
    stops = row.notes.stops(before)
    return material._replace(stopped=stops)


def _discounts(row: Row, key: str) -> tuple[Decimal, ...]:
    """A chain of trade discounts, none where the cell is empty or cannot be read."""
    found = row.value(key)
    if found is None:
        return ()
    if isinstance(found, float | int) and 0 <= found < 1:
        return (Decimal(repr(found)),)
    try:
        return read_discounts(row.text(key), row.notes.decimal)
    except QuantityError as error:
        row.bad(key, error.sentence, error.do)
        return ()


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
        low, high = published_range(wanted or name) or (reference.low, reference.high)
        spread = f"; published figures run from {low:g} to {high:g}" if high > low * 1.005 else ""
        spread += " (sources disagree)" if high > low * 1.1 else ""
        source = f"reference table: {memory}{reference.material}, {reference.form} ({reference.source}){spread}"
        return reference.g_per_ml, source
    if wanted:
        near = nearest_references(wanted)
        row.bad(
            "reference",
            f'the reference table has no "{wanted}"',
            f"Nearest: {'; '.join(near)}." if near else "Weigh a cup.",
            "ask",
            "unknown-name",
        )
    return None, ""


def _weighed(row: Row, measure: Amount, weighs: Amount, known: str) -> tuple[float | None, str]:
    kinds = (measure.unit.dimension if measure.unit else "", weighs.unit.dimension if weighs.unit else "")
    if kinds != ("volume", "mass") or not measure.usual or not weighs.usual:
        row.bad(
            "weighed",
            f'"{measure.text}" weighing "{weighs.text}" is not a measure and its weight',
            "Such as 1 cup and 128 g.",
        )
        return None, ""
    assert measure.unit and weighs.unit
    found = weighs.usual * weighs.unit.factor / (measure.usual * measure.unit.factor)
    return float(found), f"{known or 'you weighed it'}: {measure.text} = {weighs.text}"


def _names(
    materials: Mapping[str, model.Material], recipes: Mapping[str, model.Recipe], notes: Notes
) -> dict[str, str]:
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
    table: Table,
    names: Mapping[str, str],
    materials: Mapping[str, model.Material],
    settings: model.Settings,
    notes: Notes,
) -> tuple[list[model.PurchaseLine], dict[str, list[Finding]]]:
    """The purchase lines, and by material what keeps lines of it from being read."""
    by_code = {same_name(c): m.code for m in materials.values() for c in m.supplier_codes}
    lines: list[model.PurchaseLine] = []
    spoiled: dict[str, list[Finding]] = {}
    shares: dict[int, Decimal] = {}
    for row in table.rows(notes):
        before = len(notes.found)
        share = _discount_share(row)
        if share is not None:
            shares[len(lines)] = share
        line = _purchase(row, _bought(row, names, materials, by_code), settings)
        stops = notes.stops(before)
        if stops and line.material and line.kind == "goods":
            spoiled.setdefault(line.material, []).extend(stops)
        else:
            lines.append(line)
    return [_share_settled(line, lines, shares.get(i)) for i, line in enumerate(lines)], spoiled


def _discount_share(row: Row) -> Decimal | None:
    """The share a discount row takes off the goods, where it says one instead of money."""
    typed = row.value("amount")
    percent = isinstance(typed, str) and typed.strip().endswith("%")
    return (
        abs(row.fraction("amount") or ZERO)
        if percent and row.choice("kind", model.LINE_KINDS, "") == "discount"
        else None
    )


def _share_settled(
    line: model.PurchaseLine, lines: Sequence[model.PurchaseLine], share: Decimal | None
) -> model.PurchaseLine:
    """A discount by share turned into money: of the paper's goods less what goes back and other discounts, to the cent."""
    if share is None:
        return line
    paper = [x for x in lines if x is not line and (x.supplier, x.paper) == (line.supplier, line.paper)]
    goods = sum((x.amount for x in paper if x.kind == "goods"), ZERO)
    others = sum((abs(x.amount) for x in paper if x.kind == "discount"), ZERO)
    return line._replace(amount=-rounded(share * (goods - others)))


def _bought(
    row: Row, names: Mapping[str, str], materials: Mapping[str, model.Material], by_code: Mapping[str, str]
) -> str:
    written = row.text("material")
    if not written:
        return by_code.get(same_name(row.text("item_code")), "")
    code = names.get(same_name(written), "")
    if code in materials:
        return code
    sentence = unknown("material", written, [m.name for m in materials.values()])
    row.bad("material", sentence, "Pick one of your materials.", "ask", "unknown-name")
    return ""


def _purchase(row: Row, material: str, settings: model.Settings) -> model.PurchaseLine:
    kind = row.choice("kind", model.LINE_KINDS, "goods")
    packs, price = row.number("packs"), row.number("pack_price")
    amount = ZERO if _discount_share(row) is not None else row.number("amount")
    count = packs if packs is not None else Decimal(1) if kind == "goods" and price is not None else ZERO
    if amount is None and price is not None:
        amount = count * price
    pack = row.amount("pack", "pack_unit")
    if (
        kind == "goods"
        and material
        and amount is None
        and row.value("amount") is None
        and row.value("pack_price") is None
    ):
        row.bad(
            "pack_price", "no price on this line", "Type the price of a pack, or the amount.", check="price-missing"
        )
    if kind == "goods" and material and pack is None and row.value("pack") is None and row.value("pack_unit") is None:
        row.bad(
            "pack", "no pack size on this line", "Type how much one pack holds, such as 5 lb.", check="pack-missing"
        )
    return model.PurchaseLine(
        supplier=row.text("supplier"), paper=row.text("paper"), date=row.day("date"), kind=kind, material=material,
        paper_type=row.choice("paper_type", model.PAPER_TYPES, "invoice"), item_code=row.text("item_code"),
        description=row.text("description"), packs=count, pack=pack, pack_price=price, amount=amount or ZERO,
        shared_by=row.choice("shared_by", model.BASES, ""), covers=row.text("covers"),
        currency=row.text("currency").upper() or settings.currency, currency_rate=row.number("currency_rate"),
        lot=row.text("lot"), best_before=row.day("best_before", "ask"), counts=row.yes("counts"), source=row.text("source"),
        where=row.where("amount"), places=row.places(),
    )  # fmt: skip


def _finish_materials(
    materials: Mapping[str, model.Material],
    purchases: Sequence[model.PurchaseLine],
    spoiled: Mapping[str, list[Finding]],
    notes: Notes,
) -> dict[str, model.Material]:
    """The materials with what their purchases tell: counted in grams or in pieces, and whether a paper line is unreadable."""
    dimensions: dict[str, set[str]] = {}
    for line in purchases:
        if line.material and line.pack and line.pack.unit:
            dimensions.setdefault(line.material, set()).add(line.pack.unit.dimension)
    done = {}
    for code, material in materials.items():
        kinds = dimensions.get(code) or {
            p.unit.dimension for p in (material.quoted_pack, material.usual_pack) if p and p.unit
        }
        counted = kinds == {"count"} or (not kinds and material.kind in ("packaging", "consumable"))
        stopped = material.stopped + tuple(spoiled.get(code, ()))
        done[code] = material._replace(base="each" if counted else "g", stopped=stopped)
        if "count" in kinds and len(kinds) > 1:
            notes.add(
                "ask",
                "pack-units",
                f"{material.name} is bought both by the piece and by measure",
                material.where,
                "Buy it one way, or keep two materials.",
            )
    return done


def _shape(table: Table, tab: layout.Tab, notes: Notes) -> None:
    """Headings that stand twice, merged cells and hidden rows inside a table: read all the same, and mentioned."""
    grid, first = table.grid, table.heading_row
    for read, other in table.doubled(tab.columns):
        sentence = f'the heading "{plain_text(grid.value(first, other))}" means the same as {grid.where(first, read).cell}, which is read'
        notes.add("ask", "heading-twice", sentence, grid.where(first, other), "Rename the one that is not meant.")
    last = max(grid.last_filled(), first)
    for top, left, bottom, _ in grid.merged:
        if first < top <= last and bottom < len(grid.rows) + 1:
            notes.add(
                "warn",
                "merged-cells",
                "merged cells inside the table: only their first cell is read",
                grid.where(top, left),
                "Unmerge them.",
            )
    hidden = sorted(r for r in grid.hidden_rows if first < r <= last)
    if hidden:
        notes.add("warn", "hidden-rows", f"{len(hidden)} hidden row{'s' * (len(hidden) > 1)} inside the table, read like the others",
                  grid.where(hidden[0], 0), "Show them, or take them out.")  # fmt: skip
