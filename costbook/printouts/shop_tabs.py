"""What goes to shops: a line sheet and a notice of new prices. Neither ever holds a cost."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from costbook.book.grid import Cell, PutTab, Value
from costbook.book.model import Settings
from costbook.book.tool_tabs import LINE_SHEET, PRICE_LOG, PRICE_NOTICE
from costbook.costing.checks import Priced
from costbook.costing.tiers import HAIR, pricers
from costbook.printouts.tabs import cells_of, put

WHOLESALE, RETAIL = "wholesale", "retail"


def line_sheet_tab(priced: Priced, log: Sequence[Sequence[Value]]) -> PutTab:
    """Every product of the line that shops pay enough for: none without a wholesale price, none under a floor of it.

    Args: log are the rows of the price log: a price that holds from a later day says so.
    """
    settings, under = priced.book.settings, under_floor(priced)
    starts = {str(e["code"]): e["starts"] for e in _entries(log) if isinstance(e["starts"], date) and e["starts"] > priced.on}
    rows = []
    for code in priced.costs:
        product = priced.book.products[code]
        if product.trying or WHOLESALE not in product.prices or code in under:
            continue
        prices = [_money(product.prices.get(key)) for key in (WHOLESALE, RETAIL)]
        rows.append(cells_of(LINE_SHEET, [code, product.name, product.size, *prices, settings.shop_pack, starts.get(code)]))
    valid = priced.on + timedelta(days=settings.shop_valid_days)
    return _for_shops(put(LINE_SHEET, _terms(settings, valid), rows), settings.workshop, "line sheet")


def _entries(log: Sequence[Sequence[Value]]) -> list[dict[str, Value]]:
    """The wholesale prices of the log, by column key."""
    keys = [c.key for c in PRICE_LOG.columns]
    entries = [dict(zip(keys, row, strict=True)) for row in log]
    return [e for e in entries if e["column"] == WHOLESALE and isinstance(e["accepted"], date)]


def has_news(log: Sequence[Sequence[Value]]) -> bool:
    """Whether there is any price to tell shops of."""
    return bool(_entries(log))


def under_floor(priced: Priced) -> set[str]:
    """The products under the floor of a channel that sells at wholesale, unrounded."""
    found = set()
    for pricer in pricers(priced.book):
        if pricer.channel.price == WHOLESALE and pricer.floor is not None:
            for code, cost in priced.costs.items():
                price = priced.book.products[code].prices.get(WHOLESALE)
                if price is not None and pricer.share(pricer.net(price), cost.unit_cost, pricer.channel.floor_counts) < pricer.floor - HAIR:
                    found.add(code)
    return found


def _terms(settings: Settings, valid: date) -> str:
    """The terms of sale on one line, those that are typed."""
    told = [
        f"packs of {settings.shop_pack}" if settings.shop_pack else "",
        f"first order from {settings.shop_first_order:,.2f} {settings.currency}" if settings.shop_first_order else "",
        f"next orders from {settings.shop_reorder:,.2f} {settings.currency}" if settings.shop_reorder else "",
        f"leaves within {settings.shop_lead_days} days" if settings.shop_lead_days is not None else "",
        f"prices in {settings.currency}, valid until {valid}",
    ]
    words = "; ".join(filter(None, told))
    return words[:1].upper() + words[1:] + "."


def notice_tab(priced: Priced, log: Sequence[Sequence[Value]]) -> PutTab:
    """The wholesale prices accepted last and those that start on a later day, old and new; a line that says so where there is none.

    Args: log are the rows of the price log, in its columns.
    """
    entries = _entries(log)
    latest = max((e["accepted"] for e in entries if isinstance(e["accepted"], date)), default=None)
    news = {e["code"]: e for e in entries if e["accepted"] == latest or (isinstance(e["starts"], date) and e["starts"] > priced.on)}
    rows = []
    for entry in news.values():
        product = priced.book.products.get(str(entry["code"]))
        retail = _money(product.prices.get(RETAIL)) if product else None
        rows.append(cells_of(PRICE_NOTICE, [entry["code"], entry["name"], entry["old"], entry["new"], retail, entry["starts"], entry["orders_until"]]))
    if not rows:
        rows = [[Cell("none", "good"), Cell("No wholesale price was accepted yet.", "good"), *[Cell(None, "good")] * (len(PRICE_NOTICE.columns) - 2)]]
    hint = "These prices change. Orders already accepted keep the old price until the day beside; where there is none, as agreed."
    return _for_shops(put(PRICE_NOTICE, hint, rows), priced.book.settings.workshop, "new prices")


def _for_shops(tab: PutTab, workshop: str, what: str) -> PutTab:
    """The tab with the workshop's name above it, on an upright page."""
    title = f"{workshop}: {what}" if workshop else what.capitalize()
    return tab._replace(rows=((Cell(title, "title"),), *tab.rows[1:]), look=tab.look._replace(landscape=False))


def _money(value: object) -> float | None:
    return None if value is None else float(value)  # type: ignore[arg-type]
