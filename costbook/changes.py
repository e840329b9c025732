"""A change of prices from announcement to decision: what it does, as tabs, and the tabs of prices that were accepted."""

from __future__ import annotations

from collections.abc import Sequence

from costbook.book.decisions import HELD, MEANT_FOR, Decided, answers, held_rows, kept_rows, meant_for, meant_rows
from costbook.book.grid import PutTab, Snapshot, Value
from costbook.book.model import Book
from costbook.book.tool_tabs import PRICE_LOG, STATE
from costbook.costing.announced import new_rates
from costbook.costing.checks import Priced
from costbook.costing.hidden_rises import HiddenRise, hidden_rises
from costbook.costing.impact import Impact, impact, sensitivities
from costbook.costing.levers import levers, under_floor
from costbook.costing.usage import costs
from costbook.costing.variance import State, state_from_rows, state_rows, variances
from costbook.errors import Finding
from costbook.printouts import change_tabs
from costbook.printouts.tabs import FIRST

MANY_TIMES = 5


def announced_impact(priced: Priced) -> Impact:
    """What the book's announced prices do."""
    news, _ = new_rates(priced.book, priced.on, priced.rates, priced.book.announced)  # told with the book's findings
    return impact(priced.usage, priced.rates, priced.costs, priced.tiers, news)


def change_tabs_of(snapshot: Snapshot, priced: Priced, impact: Impact, hidden: Sequence[HiddenRise]) -> list[PutTab]:
    """The tabs of a run: what changed, decisions, rises, what else to do, what moves costs, and since accepted."""
    state = kept_rows(snapshot, STATE)
    kept = _costs_of(state)
    return _tabs(priced, impact, hidden, answers(snapshot), meant_for(state, priced.book.products), state_from_rows(kept) if kept else None)


def _costs_of(state: Sequence[Sequence[Value]]) -> list[Sequence[Value]]:
    """The rows of the accepted state without those about single prices."""
    return [row for row in state if row[0] not in (HELD, MEANT_FOR)]


def _tabs(
    priced: Priced, impact: Impact, hidden: Sequence[HiddenRise], typed: change_tabs.Answers, meant: change_tabs.Meant, old: State | None
) -> list[PutTab]:
    then = costs(priced.usage, impact.rates)[0]
    ways = {code: levers(priced.usage, impact.rates, then, code, priced.on) for code in under_floor(priced.usage, then)}
    tabs = [
        change_tabs.changed_tab(priced, impact), change_tabs.decisions_tab(priced, impact, typed, meant),
        change_tabs.rises_tab(priced, impact, hidden), change_tabs.levers_tab(priced, ways),
        change_tabs.movers_tab(priced, sensitivities(priced.usage, priced.rates, priced.costs)),
    ]  # fmt: skip
    if old is not None:
        now = State.of(priced.usage, priced.rates, priced.costs, priced.on)
        tabs.append(change_tabs.since_tab(priced, variances(old, now), old.on))
    return tabs


def slips(priced: Priced, wanted: Sequence[Decided]) -> list[Finding]:
    """The decisions that would sell a piece for less than it costs, or for many times its price: so likely a slip that none is moved."""
    found = []
    for one in wanted:
        cost, product = priced.costs.get(one.product), priced.book.products[one.product]
        if one.price is None:
            continue
        if cost is not None and float(one.price) < cost.unit_cost:
            why = f"is under the {cost.unit_cost:.2f} a piece costs"
        elif one.price >= MANY_TIMES * product.prices[one.column]:
            why = f"is {one.price / product.prices[one.column]:.0f} times the {product.prices[one.column]:.2f} of now"
        else:
            continue
        do = "Type another price; if you mean it, type it into your own column on Products."
        found.append(Finding("stop", "slip", f"{one.product}: {one.column} {one.price:.2f} {why}; nothing is moved", one.where, do, (one.product,)))
    return found


def logged(log: Sequence[Sequence[Value]], before: Book, after: Priced, moves: Sequence[Decided]) -> list[Sequence[Value]]:
    """The rows of the price log with those of prices that are moved, by its columns."""
    rows = list(log)
    for one in moves:
        tier = next((t for t in after.tiers if t.product == one.product and after.book.channels[t.channel].price == one.column), None)
        cost = after.costs.get(one.product)
        values: dict[str, Value] = {
            "accepted": after.on, "code": one.product, "name": before.products[one.product].name, "column": one.column,
            "old": float(before.products[one.product].prices[one.column]), "new": float(one.price or 0), "starts": one.starts or after.on,
            "orders_until": one.orders_until, "unit_cost": cost.unit_cost if cost else None, "margin": tier.margin if tier else None,
            "reason": one.reason,
        }  # fmt: skip
        rows.append([values[c.key] for c in PRICE_LOG.columns])
    return rows


def accepted_tabs(snapshot: Snapshot, log: Sequence[Sequence[Value]], after: Priced, wanted: Sequence[Decided]) -> list[PutTab]:
    """The log, the state now, and the tabs of a run anew: what she typed beside a price moved is gone from them."""
    state, change, products = state_rows(State.of(after.usage, after.rates, after.costs, after.on)), announced_impact(after), after.book.products
    answered = {
        (one.product, one.column): rise.after for one in wanted
        if one.price is not None and (rise := change.products.get(one.product)) and rise.after != rise.before
    }  # fmt: skip
    meant = meant_rows(kept_rows(snapshot, STATE), answered, products)
    kept = change_tabs.state_tab([*state, *held_rows(wanted, products), *meant])
    then = state_from_rows([[cell.value for cell in row] for row in kept.rows[FIRST : FIRST + len(state)]])  # as the next run will read it
    left = _left(answers(snapshot), after.book, wanted)
    tabs = _tabs(after, change, hidden_rises(after.book, after.on, after.rates), left, meant_for(meant, products), then)
    return [change_tabs.log_tab(log), kept, *tabs]


def _left(typed: change_tabs.Answers, book: Book, wanted: Sequence[Decided]) -> change_tabs.Answers:
    """What she typed on the Price decisions tab without the rows whose price was moved: holds and their reasons stay."""
    moved = {(one.product, one.column) for one in wanted if one.price is not None}
    columns = {name: channel.price for name, channel in book.channels.items()}
    return {
        (code, channel): cells for (code, channel), cells in typed.items()
        if (code, columns.get(channel)) not in moved or not {"decision", "new_price"} & cells.keys()
    }  # fmt: skip
