"""What is on hand: counts in base units, what a batch takes of them, what is short, and what it all is worth.

Stock is valued without selling costs: finished pieces at their full production cost, materials at the landed rate. A rate
rule of layers or average is the book's; a quoted price values nothing that was bought before.
Source: IAS 2.9-10, 2.15-16, 2.25 (cost formulas; selling costs left out).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from costbook.book.model import Book, Material
from costbook.costing.rates import LandedLine, Rates, layers_value
from costbook.costing.usage import Cost, Usage
from costbook.errors import CostbookError, Finding, InputError, QuantityError, Where

FULL = 1e-9  # of an amount: what sums of floats may lack


def counted(material: Material) -> float | None:
    """Grams or pieces on hand, None where nobody counted or the count cannot be read in them."""
    try:
        return material.on_hand.base(g_per_ml=material.g_per_ml, want=material.base) if material.on_hand else None
    except QuantityError:
        return None


def in_her_unit(material: Material, base: float) -> tuple[float, str]:
    """An amount in grams or pieces as she counts it, with the unit's name.

    The unit is that of her count, else of the usual pack, else g or each.
    """
    amount = material.on_hand or material.usual_pack
    unit = amount.unit if amount else None
    if unit is None or (unit.dimension == "volume" and not material.g_per_ml):
        return base, material.base
    if unit.dimension == "count":
        return base / float(unit.factor), "each" if unit.factor == 1 else unit.name
    per_ml = material.g_per_ml if unit.dimension == "volume" and material.base == "g" and material.g_per_ml else 1.0
    return base / float(unit.factor) / per_ml, unit.name


@dataclass(frozen=True, slots=True)
class Takes:
    """What one batch takes of one thing that is counted: a material in g or each, or pieces of another product.

    `on_hand` is None where nobody counted.
    """

    product: str
    code: str
    name: str
    kind: str
    needed: float
    on_hand: float | None

    @property
    def batches(self) -> int | None:
        """How many batches it is enough for; None where nobody counted."""
        if self.on_hand is None or self.needed <= 0:
            return None
        return max(0, int(self.on_hand / self.needed * (1 + FULL)))


def takes(usage: Usage, code: str) -> list[Takes]:
    """What one batch of a product takes: its materials, packaging and consumables, then the products it is made of.

    Raises:
        InputError: an amount cannot be worked out.
    """
    book = usage.book
    used, pieces = usage.batch_takes(code)
    amounts: dict[str, tuple[str, float]] = {}
    for (category, item), amount in used.items():
        if item in book.materials and category not in ("labour", "overhead"):
            kind, before = amounts.get(item, (category, 0.0))
            amounts[item] = kind, before + amount
    found = [
        Takes(code, item, book.materials[item].name, kind, amount, counted(book.materials[item]))
        for item, (kind, amount) in amounts.items()
    ]
    for item, count in pieces.items():
        held = book.products[item].on_hand
        found.append(Takes(code, item, item, "product", count, None if held is None else float(held)))
    return found


@dataclass(frozen=True, slots=True)
class Shortage:
    """What the batches wanted of a product need more of than there is, in her unit; `needed` is for one batch.

    `batches` is how many it is enough for, 0 where there is too little for one. `wanted_by` are the others that take it.
    """

    product: str
    code: str
    name: str
    unit: str
    needed: float
    on_hand: float
    batches: int
    wanted_by: tuple[str, ...] = ()


def shortages(
    book: Book, needs: Mapping[str, Iterable[Takes]], wanted: Mapping[str, int] | None = None
) -> list[Shortage]:
    """What is short for the batches wanted (one where `wanted` says nothing) of the products in `needs`, in their order."""
    takers: dict[str, list[str]] = {}
    for code, taken in needs.items():
        for one in taken:
            takers.setdefault(one.code, []).append(code)
    found = []
    for code, taken in needs.items():
        for one in taken:
            enough = one.batches
            if enough is None or one.on_hand is None or enough >= max(1, (wanted or {}).get(code, 1)):
                continue
            material = book.materials.get(one.code) if one.kind != "product" else None
            needed, unit = in_her_unit(material, one.needed) if material else (one.needed, "each")
            held = in_her_unit(material, one.on_hand)[0] if material else one.on_hand
            others = tuple(x for x in takers[one.code] if x != code)
            found.append(Shortage(code, one.code, one.name, unit, needed, held, enough, others))
    return found


# ------------------------------------------------------------ value


@dataclass(frozen=True, slots=True)
class StockValue:
    """One thing on hand and what it is worth: `what` is 'finished' or 'material', the count in her unit."""

    what: str
    code: str
    name: str
    on_hand: float
    unit: str
    value: float


@dataclass(frozen=True, slots=True)
class Valuation:
    """The stock of a book, thing by thing, with the two sums, and a sentence for what could not be valued."""

    rows: tuple[StockValue, ...]
    findings: tuple[Finding, ...]

    def total(self, what: str = "") -> float:
        """The sum of finished pieces, of materials, or of both."""
        return sum(row.value for row in self.rows if not what or row.what == what)


def stock_value(book: Book, rates: Rates, costs: Mapping[str, Cost]) -> Valuation:
    """What is on hand, at cost: finished pieces at full production cost, materials by the book's rule."""
    rows: list[StockValue] = []
    findings: list[Finding] = []
    for code, product in book.products.items():
        if product.on_hand is None:
            continue
        count = _not_below_zero(product.name, float(product.on_hand), product.places.get("on_hand", product.where), findings)
        if code in costs:
            rows.append(StockValue("finished", code, product.name, count, "each", count * costs[code].unit_cost))
        elif count:
            findings.append(_no_value(product.name, product.where))
    by_material: dict[str, list[LandedLine]] = {}
    for line in rates.landed:
        if line.counted:
            by_material.setdefault(line.material, []).append(line)
    for code, material in book.materials.items():
        held = counted(material)
        if held is None:
            continue
        count = _not_below_zero(material.name, held, material.places.get("on_hand", material.where), findings)
        rate = _rate(material, book, rates, by_material.get(code, []), count)
        if rate is not None:
            shown, unit = in_her_unit(material, count)
            rows.append(StockValue("material", code, material.name, shown, unit, count * rate))
        elif count:
            findings.append(_no_value(material.name, material.where))
    return Valuation(tuple(rows), tuple(findings))


def _no_value(name: str, where: Where) -> Finding:
    return Finding("ask", "no-value", f"{name} is on hand and has no cost, so it is left out of the stock value", where, "Give it a price.")


def _not_below_zero(name: str, count: float, where: Where, findings: list[Finding]) -> float:
    if count < 0:
        sentence = f"{count:g} of {name} on hand: a count cannot be below zero; taken as none"
        findings.append(Finding("ask", "negative-stock", sentence, where, "Count it again."))
    return max(0.0, count)


def _rate(material: Material, book: Book, rates: Rates, lines: list[LandedLine], count: float) -> float | None:
    """What a gram or piece on hand is worth: the rate in use, without the waste that pricing adds to it."""
    rate = rates.materials.get(material.code)
    if rate is None:
        return None
    if rate.rule != "quoted" or not lines:
        return rate.per_base * (1 - material.waste_fraction)
    # Quoted, but bought before: by the book's rule.
    rule = book.settings.rate_rule
    dated = sorted(lines, key=lambda x: str(x.line.date or ""))
    if rule == "average":
        return sum(float(x.landed) for x in dated) / sum(x.base for x in dated)
    if rule == "layers" and count > 0:
        return layers_value(dated, count) / count
    return dated[-1].rate


def needs_of(usage: Usage, codes: Iterable[str]) -> tuple[dict[str, list[Takes]], dict[str, str]]:
    """What a batch of each of these products takes, and in one sentence why that of another cannot be told."""
    found: dict[str, list[Takes]] = {}
    why: dict[str, str] = {}
    for code in codes:
        try:
            found[code] = takes(usage, code)
        except CostbookError as error:
            because = error.because if isinstance(error, InputError) else ()
            why[code] = because[0].sentence if because else error.sentence
    return found, why
