"""What goes to shops: a line sheet and a notice of new prices. Neither ever holds a cost."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

from costbook.amounts.numbers import counted
from costbook.book.grid import Cell, PutTab
from costbook.book.model import Settings
from costbook.book.price_log import NewPrice, PriceDays
from costbook.book.tool_tabs import LINE_SHEET, PRICE_NOTICE
from costbook.costing.checks import Priced
from costbook.costing.tiers import HAIR, pricers
from costbook.printouts.tabs import cells_of, put

WHOLESALE, RETAIL = "wholesale", "retail"
ALWAYS = ("code", "name", WHOLESALE, RETAIL)  # the other columns of a line sheet are left out where no row has anything in them
Days = Mapping[tuple[str, str], PriceDays]  # by code and column


def line_sheet_tab(priced: Priced, days: Days) -> PutTab:
    """Every product of the line that shops pay enough for: none without a wholesale price, none under a floor of it.

    Args: days are her prices over time: what holds on the book's day is the price, what starts later stands beside with its day.
    """
    settings, under = priced.book.settings, under_floor(priced, days)
    rows = []
    for code in priced.costs:
        product = priced.book.products[code]
        if product.trying or WHOLESALE not in product.prices or code in under:
            continue
        prices = [_on(days, code, key, priced.on) for key in (WHOLESALE, RETAIL)]
        rows.append(cells_of(LINE_SHEET, [code, product.name, *prices, product.size, settings.shop_pack, _to_come(days, code, priced.on)]))
        rows[-1][-1] = rows[-1][-1]._replace(style="tool wrapped")
    valid = f"valid until {priced.on + timedelta(days=settings.shop_valid_days)}"
    if any(row[-1].value for row in rows):
        valid += " or until the day of a price to come"
    filled = [at for at, column in enumerate(LINE_SHEET.columns) if column.key in ALWAYS or any(row[at].value for row in rows)]
    tab = LINE_SHEET._replace(columns=tuple(LINE_SHEET.columns[at] for at in filled))
    return _for_shops(put(tab, _terms(settings, valid), [[row[at] for at in filled] for row in rows], upright=True), settings.workshop, "line sheet")


def _on(days: Days, code: str, column: str, day: date) -> float | None:
    """A price on a day, None where she has none."""
    return float(days[code, column].on(day)) if (code, column) in days else None


def _to_come(days: Days, code: str, on: date) -> str | None:
    """The prices of a product that start later, by their days, in words."""
    found: dict[date, list[str]] = {}
    for key in (WHOLESALE, RETAIL):
        for change in days[code, key].after(on) if (code, key) in days else ():
            found.setdefault(change.starts, []).append(f"{key} {change.new:.2f}")
    return "; ".join(f"from {day}: {', '.join(found[day])}" for day in sorted(found)) or None


def under_floor(priced: Priced, days: Days) -> set[str]:
    """The products of the line whose price of today is under the floor of a channel that sells at wholesale, unrounded."""
    found = set()
    for pricer in pricers(priced.book):
        if pricer.channel.price == WHOLESALE and pricer.floor is not None:
            for code, cost in priced.costs.items():
                product = priced.book.products[code]
                if WHOLESALE in product.prices and not product.trying:
                    net = pricer.net(days[code, WHOLESALE].on(priced.on))
                    if pricer.share(net, cost.unit_cost, pricer.channel.floor_counts) < pricer.floor - HAIR:
                        found.add(code)
    return found


def _terms(settings: Settings, valid: str) -> str:
    """The terms of sale on one line, those that are typed."""
    told = [
        f"packs of {settings.shop_pack}" if settings.shop_pack else "",
        f"first order from {settings.shop_first_order:,.2f} {settings.currency}" if settings.shop_first_order else "",
        f"next orders from {settings.shop_reorder:,.2f} {settings.currency}" if settings.shop_reorder else "",
        f"leaves within {counted(settings.shop_lead_days, 'day')}" if settings.shop_lead_days is not None else "",
        f"prices in {settings.currency}, {valid}",
    ]
    words = "; ".join(filter(None, told))
    return words[:1].upper() + words[1:] + "."


def news(priced: Priced, days: Days) -> list[tuple[str, NewPrice]]:
    """The wholesale prices to tell shops of, with their codes: those accepted last, and all that start on a later day."""
    changes = [(code, change) for (code, key), told in days.items() if key == WHOLESALE for change in told.changes]
    latest = max((change.accepted for _, change in changes), default=None)
    return [(code, change) for code, change in changes if change.accepted == latest or change.starts > priced.on]


def notice_tab(priced: Priced, days: Days) -> PutTab:
    """A row per new wholesale price, old and new, with the retail price of its day; a line that says so where there is none."""
    rows = []
    for code, change in news(priced, days):
        name, retail = priced.book.products[code].name, _on(days, code, RETAIL, max(change.starts, priced.on))
        rows.append(cells_of(PRICE_NOTICE, [code, name, float(change.old), float(change.new), retail, change.starts, change.orders_until]))
    if not rows:
        rows = [[Cell("none", "good"), Cell("There is no new wholesale price to tell of.", "good"), *[Cell(None, "good")] * (len(PRICE_NOTICE.columns) - 2)]]
    hint = "These prices change. Orders already accepted keep the old price until the day beside; where there is none, as agreed."
    return _for_shops(put(PRICE_NOTICE, hint, rows, upright=True), priced.book.settings.workshop, "new prices")


def _for_shops(tab: PutTab, workshop: str, what: str) -> PutTab:
    """The tab with the workshop's name above it."""
    title = f"{workshop}: {what}" if workshop else what.capitalize()
    return tab._replace(rows=((Cell(title, "title"),), *tab.rows[1:]))

