"""What she decides about her prices: read from the Price decisions tab, moved into her own price column, kept in the log.

A price column of hers is one price in several channels, so a product's rows of one column have to say the same. A decision
that cannot be used is a finding, and nothing of it is moved.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from costbook.amounts.money import rounded
from costbook.amounts.quantity import same_name
from costbook.book.grid import SetCell, Snapshot, Value
from costbook.book.layout import PRODUCTS, Tab
from costbook.book.model import Product
from costbook.book.records import value_cells
from costbook.book.table import Notes, Row, find_table, missing_headings
from costbook.book.tool_tabs import DECISIONS
from costbook.errors import Where

NEEDED = ("code", "channel", "column", "price")
DAYS = ("starts", "orders_until")
ANSWERS = ("decision", "new_price", *DAYS, "reason")
KEEP, TARGET, HOLD = "keep margin", "target", "hold"
# What a row of the accepted state is that keeps a hold, and one that keeps the unit cost a price was accepted for.
HELD, MEANT_FOR = "held", "meant for"


@dataclass(frozen=True, slots=True)
class Decided:
    """What she wants of one price of one product: the new price, None to hold; from when, and until when orders keep the old.

    `where` is the cell that says so.
    """

    product: str
    column: str
    price: Decimal | None
    starts: date | None
    orders_until: date | None
    reason: str
    where: Where


class Sorted(NamedTuple):
    """Decisions by what becomes of them: prices to move, prices held from now on, and holds that stand from an earlier time."""

    moves: tuple[Decided, ...]
    holds: tuple[Decided, ...]
    standing: tuple[Decided, ...]


def answers(snapshot: Snapshot) -> dict[tuple[str, str], dict[str, Value]]:
    """What she has typed on the Price decisions tab, by product and channel: every cell of hers that holds something."""
    found: dict[tuple[str, str], dict[str, Value]] = {}
    for row in _rows(snapshot, DECISIONS, ("code", "channel"), Notes()):
        typed: dict[str, Value] = {key: value for key in ANSWERS if (value := row.value(key)) is not None}
        if typed:
            found[row.text("code"), row.text("channel")] = typed
    return found


def decided(snapshot: Snapshot, products: Mapping[str, Product], on: date, notes: Notes) -> list[Decided]:
    """What she decided, a row for each price; what cannot be used is told in the notes and left out.

    Args:
        products: the book's, by code: a decision on a price that changed since the tab was written is not used.
        on: the book's day, before which no price starts.
    """
    grid = snapshot.grid(DECISIONS.name)
    needed = [c._replace(needed=c.key in NEEDED) for c in DECISIONS.columns]
    if grid is not None and find_table(grid, needed) is None:
        lacking = ", ".join(missing_headings(grid, DECISIONS._replace(columns=tuple(needed))))
        notes.add("stop", "decisions", f"the tab {grid.name} has no heading {lacking}; nothing is moved", Where(grid.name), "Put it back, or run 'costbook changed' again.")
        return []
    found: dict[tuple[str, str], list[tuple[Decided, Row]]] = {}
    for row in _rows(snapshot, DECISIONS, NEEDED, notes):
        one = _decided(row, products, on)
        if one is not None:
            found.setdefault((one.product, one.column), []).append((one, row))
    done = []
    for several in found.values():
        before = len(notes.found)
        one, row = several[-1]
        if len({each.price for each, _ in several}) > 1:
            told = " and ".join(f"{'hold' if each.price is None else f'{each.price:.2f}'} in {said.text('channel')}" for each, said in several)
            row.bad("decision", f"{one.product}: {told}: two decisions on its {one.column} price, and it is one price", "Keep one of them.")
        days = {key: list(dict.fromkeys(d for each, _ in several if (d := getattr(each, key)))) for key in DAYS}
        for key in (key for key in DAYS if len(days[key]) > 1):
            heading, told = DECISIONS.column(key).heading, " and ".join(map(str, days[key]))
            row.bad(key, f'{one.product}: "{heading}" is {told} for its {one.column} price, and it is one price', "Keep one of them.")
        if not notes.stops(before):
            starts, until = (next(iter(days[key]), None) for key in DAYS)
            reason = "; ".join(dict.fromkeys(each.reason for each, _ in several if each.reason))
            done.append(replace(one, starts=starts, orders_until=until, reason=reason))
    return done


def _decided(row: Row, products: Mapping[str, Product], on: date) -> Decided | None:
    said, typed = same_name(row.text("decision")), row.number("new_price")
    product, column = row.text("code"), row.text("column")
    if not said and typed is None:
        if any(row.value(key) is not None for key in DAYS):
            sentence = f"{product}: a day and no decision; its {column} price in {row.text('channel')} stays as it is"
            row.bad("decision", sentence, "Say what to do with it, or take the day out.", "ask")
        return None
    before = len(row.notes.found)
    if product not in products:
        row.bad("code", f'"{product}" is no product of this book', "Run 'costbook changed' again.")
        return None
    now = products[product].prices.get(column)
    if now is None or row.number("price") != now:
        row.bad("price", f"{product}: its {column} price is not what this row was written for", "Run 'costbook changed' again.")
    if said and said not in (KEEP, TARGET, HOLD):
        do = f"Use {KEEP}, {TARGET} or {HOLD}; a price of your own belongs under {DECISIONS.column('new_price').heading}."
        row.bad("decision", f'"{row.text("decision")}" is no decision', do)
    if said and typed is not None:
        row.bad("new_price", f"{product}: a decision and a price of your own, {typed:.2f}: which of the two?", "Keep one.")
    price = typed if typed is not None else None if said == HOLD else row.number("keeps" if said == KEEP else "target")
    key = "decision" if typed is None else "new_price"
    if said != HOLD and (price is None or price <= 0) and not row.notes.stops(before):
        sentence = f"{product}: there is no such price to take" if typed is None else f"{product}: {typed:.2f} is no price"
        row.bad(key, sentence, "Type a price, or hold.")
    if typed is not None and typed != rounded(typed):
        row.bad(key, f"{product}: {typed} is no price in whole cents", "Type the price as it is to stand.")
    if price is not None and price == now:
        price = None  # a hold
    starts, until = row.day("starts"), row.day("orders_until")
    for of, day in zip(DAYS, (starts, until)):
        if price is not None and day is not None and day < on:
            sentence = f'{product}: "{DECISIONS.column(of).heading}" {day} is before the book\'s day, {on}'
            row.bad(of, sentence, "Type that day or a later one, or leave it empty.")
    if price is not None and starts is not None and until is not None and until < starts:
        sentence = f'{product}: "{DECISIONS.column("orders_until").heading}" {until} is before the new price starts, {starts}'
        row.bad("orders_until", sentence, "Type a later day, or leave it empty.")
    if row.notes.stops(before):
        return None
    return Decided(product, column, price, starts, until, row.text("reason"), row.where(key))


def told_apart(wanted: Iterable[Decided], state: Iterable[Sequence[Value]], products: Mapping[str, Product]) -> Sorted:
    """What she decided by what becomes of it; a hold stands where the kept state holds that price at what it still is."""
    kept = {(str(product), str(column)): value for what, product, column, _, value in state if what == HELD}
    moves, holds, standing = list[Decided](), list[Decided](), list[Decided]()
    for one in wanted:
        now = float(products[one.product].prices[one.column])
        (moves if one.price is not None else standing if kept.get((one.product, one.column)) == now else holds).append(one)
    return Sorted(tuple(moves), tuple(holds), tuple(standing))


def held_rows(wanted: Iterable[Decided], products: Mapping[str, Product]) -> list[list[Value]]:
    """The rows of the accepted state that keep the prices held, by the columns of that tab."""
    return [[HELD, one.product, one.column, "", float(products[one.product].prices[one.column])] for one in wanted if one.price is None]


def meant_rows(state: Iterable[Sequence[Value]], costs: Mapping[tuple[str, str], float], products: Mapping[str, Product]) -> list[list[Value]]:
    """The rows of the accepted state that keep what prices were accepted for: those of before that still stand, and new ones.

    Args: costs are the unit costs of the prices accepted now, by product and price column.
    """
    every = {**meant_for(state, products), **costs}
    return [[MEANT_FOR, product, column, f"{products[product].prices[column]}", cost] for (product, column), cost in every.items()]


def meant_for(state: Iterable[Sequence[Value]], products: Mapping[str, Product]) -> dict[tuple[str, str], float]:
    """The unit cost a price was accepted for, by product and price column, while the price is what it was then."""
    found = {}
    for what, product, column, price, cost in state:
        code, name = str(product), str(column)
        now = products[code].prices.get(name) if code in products else None
        if what == MEANT_FOR and now is not None and f"{now}" == str(price) and isinstance(cost, int | float):
            found[code, name] = float(cost)
    return found


def price_cells(snapshot: Snapshot, prices: Mapping[tuple[str, str], Decimal]) -> list[SetCell]:
    """The edits that put new prices, by product and column, into her Products tab; they refuse a cell that changed since."""
    return value_cells(snapshot, PRODUCTS, {key: float(price) for key, price in prices.items()})


def kept_rows(snapshot: Snapshot, tab: Tab) -> list[list[Value]]:
    """The rows a tab of the tool's holds now, by its columns in order; none where there is no such tab."""
    return [[row.value(c.key) for c in tab.columns] for row in _rows(snapshot, tab, [c.key for c in tab.columns[:3]], Notes())]


def _rows(snapshot: Snapshot, tab: Tab, needed: Sequence[str], notes: Notes) -> Iterable[Row]:
    grid = snapshot.grid(tab.name)
    table = find_table(grid, [c._replace(needed=c.key in needed) for c in tab.columns]) if grid else None
    return table.rows(notes) if table else ()
