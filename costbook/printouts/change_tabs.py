"""The tool's tabs about a change of prices: what announced prices do, what she decides, and what else she could do."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date

from costbook.amounts.money import read_ending
from costbook.amounts.numbers import counted
from costbook.book.grid import Cell, Chart, Highlight, PutTab, Series, Value, column_name
from costbook.book.layout import SERIES, Column
from costbook.book.tool_tabs import CHANGED, DECISIONS, LEVERS, MOVERS, PRICE_LOG, RISES, SINCE, STATE, tool
from costbook.costing.checks import Priced
from costbook.costing.hidden_rises import HiddenRise
from costbook.costing.impact import WEEKS_A_YEAR, Impact, Sensitivity, TierChange
from costbook.costing.levers import Lever, price_move
from costbook.costing.variance import Variance
from costbook.printouts.tabs import FIRST, cells_of, counted_early, put, shown_name, shown_per

CHARTED = 40
DUST = 1e-9  # the state then is kept to 12 digits: less than this is no change
FLAGS = (("under cost", "flag stop"), ("under floor", "flag stop"), ("under target", "flag warn"), ("ok", "flag good"))
Answers = Mapping[tuple[str, str], Mapping[str, Value]]
Meant = Mapping[tuple[str, str], float]


def changed_tab(priced: Priced, impact: Impact) -> PutTab:
    """A row per product, the greatest rise first, with a column for each material whose price changes."""
    materials = [code for code in impact.news if any(code in c.effects for c in impact.products.values())]
    names = [tool(code, f"from {priced.book.materials[code].name}", "usage", 12.0) for code in materials]
    tab = CHANGED._replace(columns=(*CHANGED.columns, *names))
    changes = sorted(impact.products.values(), key=lambda c: -c.rise)
    rows = []
    for change in changes:
        product = priced.book.products[change.product]
        sold = None if product.sold_per_week is None else float(product.sold_per_week)
        share = change.rise / change.before if change.before else None
        head: list[Value] = [product.code, shown_name(product), change.before, change.after, change.rise, share, sold, change.a_year]
        rows.append(cells_of(tab, [*head, *(change.effects.get(code) for code in materials)]))
    rows += _total(tab.columns, impact)
    place = tab.place("rise")
    charts = _bars("Rise of a good piece", place, 0, len([c for c in changes if c.rise]), len(rows), "0.00") if impact.news else ()
    told = "No announced price changes anything."
    if impact.news:
        told = f"{counted(len(impact.news), 'announced price costs', 'announced prices together cost')} {impact.a_year:,.2f} a year at present sales."
    return put(tab, f"{told} Nothing of yours moves: decide on the Price decisions tab.", rows, charts)


def _total(columns: Sequence[Column], impact: Impact) -> list[list[Cell]]:
    shown: dict[str, Value] = {"name": "all at present sales", "a_year": impact.a_year}
    return [[Cell(shown.get(c.key), f"total {c.kind}") for c in columns]]


def _bars(title: str, values: int, labels: int, count: int, rows: int, number_format: str) -> tuple[Chart, ...]:
    """A bar for each of the first rows, in their order; none where there is nothing to show."""
    last = FIRST + min(count, CHARTED) - 1
    if last < FIRST:
        return ()
    bars = Series((2, values), (FIRST, values, last, values), SERIES[3])
    height = max(8.0, 0.62 * min(count, CHARTED) + 3.0)
    return (Chart("bar", title, (FIRST, labels, last, labels), (bars,), (FIRST + rows + 1, 0), 24.0, height, "", number_format),)


# ------------------------------------------------------------------ decisions


def decisions_tab(priced: Priced, impact: Impact, typed: Answers, meant: Meant) -> PutTab:
    """A row per price of hers and channel, before and after, with the cells she answers in; what she typed stays.

    Args: meant are the unit costs her prices were accepted for, by product and price column.
    """
    rows = []
    for name in priced.book.channels:
        for change in impact.products.values():
            if priced.book.products[change.product].trying:
                continue
            tier = next((t for t in change.tiers if t.channel == name and t.her_price is not None), None)
            if tier is not None:
                rows.append(_decision(priced, impact, tier, typed.get((change.product, name), {}), meant))
    hint = (
        "Say keep margin, target or hold, or type a price of your own; then: costbook accept. It moves the price into your own"
        " column and keeps the old one in the price log. Shares are of the price without tax."
    )
    hint = (counted_early(priced) + f" {hint}").lstrip()  # first, since this hint is longer than a page is wide
    place = DECISIONS.place("flag")
    area = (FIRST, place, FIRST + max(len(rows), 1) - 1, place)
    cell = f"${column_name(place)}{FIRST + 1}"
    marks = [Highlight(area, f'LEFT({cell},{len(words)})="{words}"', style) for words, style in FLAGS]
    return put(DECISIONS, hint, rows, highlights=marks, printed=DECISIONS.place("orders_until") + 1)  # more columns would print too small


def _decision(priced: Priced, impact: Impact, tier: TierChange, typed: Mapping[str, Value], meant: Meant) -> list[Cell]:
    product, channel = priced.book.products[tier.product], tier.pricer.channel
    ending = read_ending(priced.book.settings.keep_ending)
    keeps = tier.price_keeping_margin(ending, meant.get((tier.product, channel.price))) if tier.cost_after != tier.cost else tier.her_price
    target = next((t.proposal for t in impact.tiers_after(tier.product) if t.channel == tier.channel), None)
    lost = None
    if keeps is not None and tier.her_price is not None and keeps > tier.her_price:
        after = impact.costs[tier.product]._replace(unit_cost=tier.cost_after)  # its overhead is that of before
        move = price_move(tier.pricer, after, tier.her_price, keeps).sales_change
        lost = None if move is None else -move
    values: dict[str, Value] = {
        "code": product.code, "name": product.name, "channel": tier.channel, "column": channel.price, "price": _money(tier.her_price),
        "margin": tier.margin, "margin_after": tier.margin_after, "kept": tier.kept_fraction, "kept_after": tier.kept_fraction_after,
        "floor": tier.pricer.floor, "flag": tier.flags[1] + (" (newly)" if tier.crosses_floor else ""), "keeps": _money(keeps),
        "target": _money(target), "sales": lost, **typed,
    }  # fmt: skip
    return cells_of(DECISIONS, [values.get(c.key) for c in DECISIONS.columns])


def _money(value: object) -> float | None:
    return None if value is None else float(value)  # type: ignore[arg-type]


# ------------------------------------------------------------------ rises


def rises_tab(priced: Priced, impact: Impact, hidden: Sequence[HiddenRise]) -> PutTab:
    """A row per announced price, the one that costs most first, then the rises that no price showed."""
    a_year: dict[str, list[float]] = {}
    touched: dict[str, int] = {}
    for change in impact.products.values():
        product = priced.book.products[change.product]
        sold = 0.0 if product.trying else float(product.sold_per_week or 0)
        for code, effect in change.effects.items():
            touched[code] = touched.get(code, 0) + 1
            a_year.setdefault(code, []).append(effect * sold * WEEKS_A_YEAR)
    cost = {code: math.fsum(a_year.get(code, ())) for code in impact.news}
    rows = []
    for code, new in sorted(impact.news.items(), key=lambda pair: -cost[pair[0]]):
        material = priced.book.materials[code]
        per, size = shown_per(priced.book, material)
        said = new.announced
        rows.append(cells_of(RISES, [
            code, material.name, "announced", said.supplier or (new.line.line.supplier if new.line else material.supplier), said.starts, float(new.price_before),
            float(new.price_after), new.pack_before.text if new.pack_before else "", new.pack_after.text if new.pack_after else "",
            new.goods_rise, per, new.before * size, new.after * size, touched.get(code, 0), cost[code], "",
        ]))  # fmt: skip
    announced = len(rows)
    for rise in hidden:
        rows.append(cells_of(RISES, _hidden(priced, rise)))
        rows[-1][-1] = rows[-1][-1]._replace(style="tool wrapped")
    tab = RISES
    if not hidden:  # only their rows have anything in words
        tab, rows = RISES._replace(columns=RISES.columns[:-1]), [row[:-1] for row in rows]
    if not rows:
        rows = [[Cell("none", "good"), Cell("Nothing is announced, and the papers hide no rise.", "good"), *[Cell(None, "good")] * (len(tab.columns) - 2)]]
    charts = _bars("What each announced price costs a year", RISES.place("a_year"), RISES.place("name"), announced, len(rows), "0")
    hint = "Announced prices with the terms of the last paper: same discount, same freight in money."
    return put(tab, hint + (" Below: rises between papers that no price showed." if hidden else ""), rows, charts)


def _hidden(priced: Priced, rise: HiddenRise) -> list[Value]:
    before, after = rise.before.line, rise.after.line
    name = priced.book.materials[rise.material].name
    return [
        rise.material, name, rise.kind, after.supplier, after.date, _money(before.pack_price), _money(after.pack_price),
        before.pack.text if before.pack else "", after.pack.text if after.pack else "", rise.rise, "", None, None, None, None, rise.sentence,
    ]  # fmt: skip


# ------------------------------------------------------------------ what else


def levers_tab(priced: Priced, found: Mapping[str, Sequence[Lever]]) -> PutTab:
    """A row per thing she could do and channel it is under the floor in, product by product, what saves most first.

    Args: found are the levers of every product under its floor, none where the book holds nothing that would help.
    """
    rows = []
    for code, levers in found.items():
        name = priced.book.products[code].name
        if not levers:
            rows.append(_lever_row([code, name, "nothing", "Nothing the book holds would lower what it costs.", *[None] * 5]))
        for lever in levers:
            for standing in lever.standings:
                back = "yes" if standing.over_floor else "no"
                row: list[Value] = [code, name, lever.kind, lever.words, lever.unit_cost, lever.effect, standing.channel, standing.margin, back]
                rows.append(_lever_row(row))
    if not rows:
        rows = [[Cell("none", "good"), Cell("No price is under its floor.", "good"), *[Cell(None, "good")] * (len(LEVERS.columns) - 2)]]
    return put(LEVERS, "Each alone, at the prices announced where there are any, worked out with what the book holds already." + counted_early(priced), rows)


def _lever_row(values: Sequence[Value]) -> list[Cell]:
    cells = cells_of(LEVERS, values)
    cells[LEVERS.place("words")] = cells[LEVERS.place("words")]._replace(style="tool wrapped")
    return cells


def movers_tab(priced: Priced, found: Sequence[Sensitivity]) -> PutTab:
    """A row per item bought, role and overhead, what moves a year's costs most first."""
    names = {code: m.name for code, m in priced.book.materials.items()}
    rows = [
        cells_of(MOVERS, [name, s.category, s.share, s.a_year, s.ten_percent, priced.book.products[s.most_in].name, s.part])
        for s in found
        for name in (priced.book.called(s.item) if s.category == "labour" else names.get(s.item, s.item),)
    ]
    charts = _bars("What 10 % on each adds a year", MOVERS.place("ten"), 0, min(len(rows), 20), len(rows), "0")
    hint = "Weighted by what you sell a week (one each where nothing is typed). The share is how much of a percent the year's cost moves for 1 %."
    return put(MOVERS, hint, rows, charts)


# ------------------------------------------------------------------ since accepted, log


def since_tab(priced: Priced, found: Mapping[str, Variance], since: date) -> PutTab:
    """A row per product that both states hold, with the effects that make up its change."""
    rows = []
    for code, v in found.items():
        moved = [0.0 if abs(x) < DUST else x for x in (v.change, *v.effects)]
        rows.append(cells_of(SINCE, [code, priced.book.products[code].name, v.before, v.after, *moved]))
    hint = (
        f"Since {since}. One thing after another in the order of the columns: usage at the prices of then, prices at the usage of now;"
        " the columns add up to the change."
    )
    return put(SINCE, hint, rows)


def log_tab(rows: Sequence[Sequence[Value]]) -> PutTab:
    """The accepted prices, oldest first."""
    return put(PRICE_LOG, "Prices you accepted. Accepted orders keep the old price until the date beside.", [cells_of(PRICE_LOG, row) for row in rows])


def state_tab(rows: Sequence[Sequence[Value]]) -> PutTab:
    """The figures of the state her prices were last accepted in, to compare with later, and the prices held."""
    tab = put(STATE, "Kept to tell later why a cost changed. Written when you accept prices.", [cells_of(STATE, row) for row in rows])
    return tab._replace(look=tab.look._replace(print_area=(0, 0, FIRST, len(STATE.columns) - 1)))  # nobody wants it on paper
