"""Batches made and pieces sold: what stock comes to, how a batch did against its standard, what lots went where.

A batch takes what the book says it takes, for the pieces poured; its good pieces join the stock. Standards are the book's own,
and are never changed: after three batches another usual number is proposed.
Source of the two variances (quantity at standard cost, minutes at standard rate): standard costing, as in the published cases.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from costbook.amounts.quantity import same_name
from costbook.book.model import BatchRecord, Book, PurchaseLine, SaleRecord, WaitingBatch
from costbook.costing.checks import Priced
from costbook.costing.rates import OVERHEAD
from costbook.costing.stock import counted, in_her_unit, takes
from costbook.costing.usage import rate_of
from costbook.errors import CostbookError, Finding, Where

ENOUGH_BATCHES = 3
RATE_WEEKS, LEAST_WEEKS = 8, 4  # the weekly rate is told by the last so many weeks of sales, by no fewer than the second
KEPT_DECIMALS = 4


@dataclass(frozen=True)
class Moves:
    """What stock comes to once batches and sales are booked.

    `materials` are counts in her unit by code; `products` by code and column: pieces on hand, sold a week, sold out since (None
    to empty it), promised and waiting. `batches` and `sales` are the rows that were booked.
    """

    materials: Mapping[str, float]
    products: Mapping[tuple[str, str], float | date | None]
    batches: tuple[BatchRecord, ...]
    sales: tuple[SaleRecord, ...]
    findings: tuple[Finding, ...]


class _Stock:
    """Counts as they move: materials in grams or pieces, products in pieces; what goes below zero is told once and is zero."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.materials = {code: held for code, m in book.materials.items() if (held := counted(m)) is not None}
        self.pieces = {code: p.on_hand for code, p in book.products.items() if p.on_hand is not None}
        self.moved: dict[str, None] = {}
        self.out: dict[str, date | None] = {}
        self.owed: dict[tuple[str, str], Decimal] = {}
        self.waiting: list[WaitingBatch] = list(book.waiting_batches)
        self.findings: list[Finding] = []

    def take(self, code: str, amount: float, by: str) -> None:
        """So much of a material goes; one that nobody counted stays so."""
        if code not in self.materials:
            return
        left = self.materials[code] - amount
        if left < -1e-6:
            material = self.book.materials[code]
            (held, unit), (needed, _) = in_her_unit(material, self.materials[code]), in_her_unit(material, amount)
            sentence = f"{by} takes {needed:.4g} {unit} of {material.name}, and the book has {held:.4g}: set to 0"
            where = material.places.get("on_hand", material.where)
            self.findings.append(Finding("ask", "negative-stock", sentence, where, "Count it."))
        self.materials[code] = max(0.0, left)
        self.moved[code] = None

    def waits(self, taken: Mapping[str, Decimal], by: str, on: date, where: Where) -> bool:
        """Whether pieces are to be taken that a batch not booked yet may have made: set to 0 now, they would be there again later."""
        for code, pieces in taken.items():
            if code not in self.pieces or pieces <= self.pieces[code]:
                continue
            batch = next((b for b in self.waiting if b.product == code and (b.on is None or b.on <= on)), None)
            if batch is not None:
                held = f"{float(pieces):g} of {code}, and the book has {float(self.pieces[code]):g}"
                sentence = f"{by} takes {held}; the batch of {code} at {batch.where} is not booked yet, so this waits for it"
                self.findings.append(Finding("ask", "waits-for-batch", sentence, where, "Mend that batch's row, then record again."))
                return True
        return False

    def move(self, code: str, pieces: Decimal, by: str, on: date) -> None:
        """So many pieces of a product come (or go, below 0)."""
        if code not in self.pieces and pieces < 0:
            return
        left = self.pieces.get(code, Decimal(0)) + pieces
        if left < 0:
            product = self.book.products[code]
            sentence = f"{by} takes {-float(pieces):g} of {code}, and the book has {float(self.pieces[code]):g}: set to 0"
            where = product.places.get("on_hand", product.where)
            self.findings.append(Finding("ask", "negative-stock", sentence, where, "Count them."))
        left = max(Decimal(0), left)
        if left == 0 and self.pieces.get(code, Decimal(0)) > 0:
            self.out[code] = on
        elif left > 0:
            self.out[code] = None
        self.pieces[code] = left

    def fulfil(self, sale: SaleRecord, by: str) -> None:
        """What is promised or waiting goes down by a sale that says it fulfils it; pieces that came back put it up again."""
        product, key = self.book.products[sale.product], (sale.product, sale.fulfils)
        typed = product.promised if sale.fulfils == "promised" else product.waiting
        held = self.owed.get(key, typed or Decimal(0))
        if sale.pieces > held:
            sentence = f"{by} fulfils {float(sale.pieces):g} of {sale.product} {sale.fulfils}, and the book has {float(held):g}: set to 0"
            where = product.places.get(sale.fulfils, product.where)
            self.findings.append(Finding("ask", "fulfils-more", sentence, where, "Look at the sale and at what is still owed."))
        self.owed[key] = max(Decimal(0), held - sale.pieces)


def moves(priced: Priced) -> Moves:
    """What stock comes to with every batch and sale that is not booked yet, in the order of their days.

    A batch whose lots are not on Purchases, or whose recipe cannot be worked out, is told and not booked. What would take more
    pieces of a product than there are waits with a batch of that product that is not booked and not made later.
    """
    book, stock = priced.book, _Stock(priced.book)
    lots = lots_bought(book)
    batches: list[BatchRecord] = []
    sales: list[SaleRecord] = []
    todo: list[tuple[date, int, BatchRecord | SaleRecord]] = [(b.on, 0, b) for b in book.batches if b.booked is None]
    todo += [(s.on, 1, s) for s in book.sales if s.booked is None]
    for on, _, one in sorted(todo, key=lambda t: (t[0], t[1])):
        if on > priced.on:
            sentence = f"{one.product} of {on} lies after the book's day, {priced.on}: not booked yet"
            stock.findings.append(Finding("ask", "record-later", sentence, one.where, "Mend the date, or book it then."))
        elif isinstance(one, SaleRecord):
            if stock.waits({one.product: one.pieces}, f"the sale of {on}", on, one.where):
                continue
            stock.move(one.product, -one.pieces, f"the sale of {on}", on)
            if one.fulfils:
                stock.fulfil(one, f"the sale of {on}")
            sales.append(one)
        elif _made(priced, stock, one, lots):
            batches.append(one)
        else:
            stock.waiting.append(WaitingBatch(on, one.product, one.where))
    rates = _weekly(book, sales)
    before = {code: p.sold_out_since for code, p in book.products.items()}
    products: dict[tuple[str, str], float | date | None] = {
        (code, "on_hand"): float(count) for code, count in stock.pieces.items() if count != book.products[code].on_hand
    }
    products |= {(code, "sold_out_since"): day for code, day in stock.out.items() if day != before[code]}
    products |= {(code, "sold_per_week"): rate for code, rate in rates.items()}
    products |= {key: float(left) for key, left in stock.owed.items()}
    shown = {code: round(in_her_unit(book.materials[code], stock.materials[code])[0], KEPT_DECIMALS) for code in stock.moved}
    return Moves(shown, products, tuple(batches), tuple(sales), tuple(stock.findings))


def _made(priced: Priced, stock: _Stock, batch: BatchRecord, lots: Mapping[str, Sequence[PurchaseLine]]) -> bool:
    """Moves what a batch takes and makes; False with a finding where it cannot be booked."""
    strange = [lot for lot in batch.lots if same_name(lot) not in lots]
    if strange:
        from difflib import get_close_matches

        near = get_close_matches(same_name(strange[0]), lots, n=1, cutoff=0.6)
        told = f"; nearest: {lots[near[0]][0].lot}" if near else ""
        sentence = f'batch of {batch.product}, {batch.on}: no lot "{strange[0]}" on Purchases{told}; the batch is not booked'
        stock.findings.append(Finding("ask", "no-lot", sentence, batch.where, "Write lots as on the Purchases tab."))
        return False
    product = priced.book.products[batch.product]
    try:
        taken = takes(priced.usage, batch.product)
    except CostbookError as error:
        sentence = f"batch of {batch.product}, {batch.on}: what it takes cannot be told: {error.sentence}; it is not booked"
        stock.findings.append(Finding("ask", "batch", sentence, batch.where, error.do))
        return False
    share = (batch.planned if batch.planned is not None else product.planned) / product.planned
    by = f"the batch of {batch.product}, {batch.on}"
    pieces = {one.code: Decimal(repr(round(one.needed * share, 6))) for one in taken if one.kind == "product"}
    if stock.waits(pieces, by, batch.on, batch.where):
        return False
    takes_codes = {one.code for one in taken}
    for lot in batch.lots:
        lines = lots[same_name(lot)]
        if not any(line.material in takes_codes for line in lines):
            name = priced.book.materials[lines[0].material].name if lines[0].material in priced.book.materials else lines[0].description
            sentence = f"batch of {batch.product}, {batch.on}: lot {lot} is {name}, which it does not take"
            stock.findings.append(Finding("ask", "other-lot", sentence, batch.where, "Look at the lot; the batch is booked."))
    for one in taken:
        if one.kind == "product":
            stock.move(one.code, -pieces[one.code], by, batch.on)
        else:
            stock.take(one.code, one.needed * share, by)
    stock.move(batch.product, Decimal(batch.good), by, batch.on)
    return True


def _weekly(book: Book, new: Iterable[SaleRecord]) -> dict[str, float]:
    """Pieces sold a week of every product with a sale in the last weeks on record, once something new is sold.

    Before there are enough weeks of sales her own figures stand.
    """
    kept = {id(s) for s in new}
    booked = [s for s in book.sales if s.booked is not None or id(s) in kept]
    days = [s.on for s in booked]
    if not kept or (max(days) - min(days)).days + 1 < 7 * LEAST_WEEKS:
        return {}
    last = max(days)
    weeks = min(Decimal(RATE_WEEKS), Decimal((last - min(days)).days + 1) / 7)
    first = last - timedelta(days=7 * RATE_WEEKS - 1)
    sold: dict[str, Decimal] = {}
    for sale in booked:
        if sale.on >= first:
            sold[sale.product] = sold.get(sale.product, Decimal(0)) + sale.pieces
    return {code: float(round(max(pieces, Decimal(0)) / weeks, 2)) for code, pieces in sold.items()}


# ------------------------------------------------------------ against the standard


@dataclass(frozen=True, slots=True)
class BatchResult:
    """A batch against its standard. Money is in book currency, above 0 where the batch did better.

    `usual` is how many good pieces as many poured usually make; `pieces_money` is the difference at unit cost;
    `minutes_money` is the difference of minutes at the batch's usual cost of a minute, overhead included.
    """

    record: BatchRecord
    poured: int
    usual: float
    pieces_money: float | None
    standard_minutes: float
    minutes_money: float


@dataclass(frozen=True, slots=True)
class Proposal:
    """Another usual number for a product after so many batches: 'good pieces' or 'minutes a batch', now and proposed."""

    product: str
    what: str
    batches: int
    now: float
    proposed: float


def results(priced: Priced) -> list[BatchResult]:
    """Every recorded batch against its standard, in order of day."""
    found = []
    for record in sorted(priced.book.batches, key=lambda b: b.on):
        product, cost = priced.book.products[record.product], priced.costs.get(record.product)
        poured = record.planned if record.planned is not None else product.planned
        if not product.planned:
            continue
        usual = product.good * poured / product.planned
        roles = priced.usage.batch_minutes(product)
        minutes = sum(roles.values()) * poured / product.planned
        wages = sum(m * rate_of(("labour", role), priced.rates) for role, m in roles.items())
        a_minute = wages / sum(roles.values()) + rate_of(OVERHEAD, priced.rates) if roles and sum(roles.values()) else 0.0
        pieces = None if cost is None else (record.good - usual) * cost.unit_cost
        found.append(BatchResult(record, poured, usual, pieces, minutes, (minutes - record.minutes) * a_minute))
    return found


def proposals(priced: Priced) -> list[Proposal]:
    """What the last batches of a product say its usual numbers are, where there are three and they say otherwise."""
    by_product: dict[str, list[BatchResult]] = {}
    for one in results(priced):
        by_product.setdefault(one.record.product, []).append(one)
    found = []
    for code, made in by_product.items():
        last = [one for one in made[-ENOUGH_BATCHES:] if one.poured]
        if len(last) < ENOUGH_BATCHES:
            continue
        product = priced.book.products[code]
        good = math.floor(sum(one.record.good for one in last) / sum(one.poured for one in last) * product.planned + 0.5)
        if good != product.good:
            found.append(Proposal(code, "good pieces", len(made), product.good, good))
        usual = sum(priced.usage.batch_minutes(product).values())
        minutes = sum(one.record.minutes * product.planned / one.poured for one in last) / len(last)
        if abs(minutes - usual) >= max(1.0, 0.05 * usual):
            found.append(Proposal(code, "minutes a batch", len(made), usual, round(minutes, 1)))
    return found


# ------------------------------------------------------------ lots


@dataclass(frozen=True, slots=True)
class LotUse:
    """One lot in one batch, both ways in one row; `batch` is None for a lot no batch has used yet."""

    lot: str
    bought: PurchaseLine
    batch: BatchRecord | None


def lots_bought(book: Book) -> dict[str, list[PurchaseLine]]:
    """The purchase lines of every lot, by its folded name."""
    found: dict[str, list[PurchaseLine]] = {}
    for line in book.purchases:
        if line.lot:
            found.setdefault(same_name(line.lot), []).append(line)
    return found


def lot_uses(book: Book) -> list[LotUse]:
    """Every lot with the batches it went into, and those of which none has used any."""
    used: dict[str, list[BatchRecord]] = {}
    for batch in book.batches:
        for lot in batch.lots:
            used.setdefault(same_name(lot), []).append(batch)
    found: list[LotUse] = []
    for name, lines in lots_bought(book).items():
        for line in lines:
            found += [LotUse(line.lot, line, batch) for batch in used.get(name, ())] or [LotUse(line.lot, line, None)]
    return found
