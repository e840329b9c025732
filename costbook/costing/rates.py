"""What one base unit of each input costs: landed rates from her purchases, labour and overhead rates.

A purchase line's landed cost is its net amount, less its share of document discounts, plus its share of charges, plus tax
she cannot reclaim. Shares are exact; nothing is rounded here. Money goes in as Decimal and rates come out as float64 per
gram or piece.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import NamedTuple

from costbook.amounts.money import after_discounts
from costbook.amounts.quantity import Amount, same_name
from costbook.book.model import Book, Material, PurchaseLine, Settings
from costbook.errors import Finding, QuantityError

ZERO = Decimal(0)
GOODS = ("materials", "packaging", "consumables")
OVERHEAD = ("overhead", "hands-on")


class LandedLine(NamedTuple):
    """A purchase line of a known material, landed. Money in book currency; `base` in grams or pieces of that material.

    `goods` is after line and document discounts, `charges` its share of freight and fees, `tax` its share of tax not
    reclaimed. `list_rate` is the paper's own price per base unit, before any of that.
    """

    line: PurchaseLine
    material: str
    base: float
    goods: Decimal
    charges: Decimal
    tax: Decimal
    list_rate: float
    counted: bool

    @property
    def landed(self) -> Decimal:
        """Goods, charges and tax together."""
        return self.goods + self.charges + self.tax

    @property
    def rate(self) -> float:
        """Landed cost per base unit received; 0 where nothing was received."""
        return float(self.landed) / self.base if self.base else 0.0


class Rate(NamedTuple):
    """What one base unit (g or each) of a material costs, waste in the bucket included.

    `rule` is the rule that made it; `lines` are the purchase lines it came from, the telling one last (none for a quote).
    """

    material: str
    per_base: float
    rule: str
    lines: tuple[LandedLine, ...]

    @property
    def line(self) -> LandedLine | None:
        """The line the rate is traced to."""
        return self.lines[-1] if self.lines else None


class _All(NamedTuple):
    materials: Mapping[str, Rate]
    missing: Mapping[str, Finding]
    labour: Mapping[str, float]
    overhead: float
    activities: Mapping[str, float]
    landed: tuple[LandedLine, ...]
    findings: tuple[Finding, ...]


class Rates(_All):
    """All rates of a book. `missing` says by material why it has none; `labour` is per role and minute.

    `overhead` is per hands-on minute, `activities` per time one happens. `landed` holds every landed line, counted or not, in the tab's order.
    """

    @cached_property
    def by_key(self) -> Mapping[tuple[str, str], float]:
        """What one base unit of each input costs, by its key in a usage row."""
        found = {(kind, code): rate.per_base for kind in GOODS for code, rate in self.materials.items()}
        found |= {("labour", role): rate for role, rate in self.labour.items()}
        found |= {("overhead", name): rate for name, rate in self.activities.items()}
        return found | {OVERHEAD: self.overhead}


def rates(book: Book, on: date) -> Rates:
    """The rates of a book on a day: landed, by each material's rule.

    Args:
        book: the book as read.
        on: the book date; later papers are left for later.
    """
    landed, findings = landed_lines(book)
    counted: dict[str, list[LandedLine]] = {}
    for line in landed:
        if line.counted and (line.line.date is None or line.line.date <= on):
            counted.setdefault(line.material, []).append(line)
    found: dict[str, Rate] = {}
    missing: dict[str, Finding] = {}
    trouble = {f.about[0]: f for f in findings if f.level == "stop" and f.about}
    for code, material in book.materials.items():
        rate = _rate(material, counted.get(code, []), book.settings, on, findings)
        if material.stopped or code in trouble:
            missing[code] = material.stopped[0] if material.stopped else trouble[code]._replace(about=())
        elif rate is None:
            missing[code] = _no_price(material, [x for x in book.purchases if x.material == code], on)
        else:
            found[code] = rate
    labour = {name: float(role.rate_per_hour / 60) for name, role in book.roles.items()}
    findings = [f._replace(about=()) for f in findings]
    overhead = float(book.settings.overhead_per_hour / 60)
    activities = {name: float(activity.rate) for name, activity in book.activities.items()}
    return Rates(found, missing, labour, overhead, activities, tuple(landed), tuple(findings))


def _no_price(material: Material, lines: Sequence[PurchaseLine], on: date) -> Finding:
    """Why a material has no price: no purchase at all, or the reason its last line does not count."""
    do = "Post a paper for it, or type a quoted price."
    if not lines:
        return Finding("stop", "price-missing", f"no price for {material.name}: no purchase of it", material.where, do)
    line = lines[-1]
    reasons = (
        (line.counts is False, "Counts for price says no"),
        (line.kind != "goods", f"it is a {line.kind} line"),
        (line.paper_type == "credit note", "it is a credit note"),
        (line.packs <= 0, f"{line.packs:f} packs"),
        (line.amount <= 0, f"an amount of {line.amount:f}"),
        (line.date is not None and line.date > on, f"it is dated {line.date}, after the book date {on}"),
    )
    why = next((words for holds, words in reasons if holds), "nothing was received on it")
    sentence = f"no price for {material.name}: its line in paper {line.paper or '(no number)'} does not count: {why}"
    return Finding("stop", "price-missing", sentence, line.where, do)


class PaperSums(NamedTuple):
    """What one paper adds up to, in its own currency: goods, discount (positive), charges, tax, and the total it states."""

    supplier: str
    paper: str
    date: date | None
    goods: Decimal
    discount: Decimal
    charges: Decimal
    tax: Decimal
    stated: PurchaseLine | None

    @property
    def total(self) -> Decimal:
        """Goods less discount plus charges plus tax."""
        return self.goods - self.discount + self.charges + self.tax


def papers(book: Book) -> list[PaperSums]:
    """The sums of every paper in Purchases, in the tab's order."""
    grouped: dict[tuple[str, str], list[PurchaseLine]] = {}
    for line in book.purchases:
        grouped.setdefault((same_name(line.supplier), line.paper), []).append(line)
    found = []
    for (_, paper), lines in grouped.items():
        sums = dict.fromkeys(("goods", "discount", "charge", "tax"), ZERO)
        for line in lines:
            if line.kind != "total":
                kind = line.kind if line.kind in sums else "goods"
                sums[kind] += _taken_off(line, lines) if kind == "discount" else line.amount
        stated = next((x for x in reversed(lines) if x.kind == "total"), None)
        found.append(
            PaperSums(
                lines[0].supplier, paper, lines[0].date, sums["goods"], sums["discount"], sums["charge"], sums["tax"], stated
            )
        )
    return found


def _taken_off(discount: PurchaseLine, lines: Sequence[PurchaseLine]) -> Decimal:
    """What a discount takes off: typed with or without its minus.

    On a credit note, or where every goods line goes back, its sign is taken as it stands. A paper that charges some goods
    and takes others back is an ordinary invoice, whichever is the larger.
    """
    goods = [x.amount for x in lines if x.kind == "goods"]
    given_back = discount.paper_type == "credit note" or (goods and max(goods) <= 0)
    return -discount.amount if given_back else abs(discount.amount)


def counts(line: PurchaseLine) -> bool:
    """Whether a line may make a price: shipped, charged goods of an invoice, unless she says otherwise.

    A back-order, a sample, a credit note or a returned line never does (common practice, no source).
    """
    charged = line.packs > 0 and line.amount > 0 and line.kind == "goods"
    if line.counts is not None:
        return line.counts and charged
    return charged and line.paper_type in ("invoice", "correction")


def landed_lines(book: Book) -> tuple[list[LandedLine], list[Finding]]:
    """Every purchase line of a known material, landed, and what was found on the way.

    Findings of level stop carry the material's code in `about`.
    """
    grouped: dict[tuple[str, str], list[PurchaseLine]] = {}
    for line in book.purchases:
        grouped.setdefault((same_name(line.supplier), line.paper), []).append(line)
    landed: dict[int, LandedLine] = {}
    findings: list[Finding] = []
    for lines in grouped.values():
        landed |= {id(found.line): found for found in _landed_paper(lines, book, findings)}
    return [landed[id(line)] for line in book.purchases if id(line) in landed], findings


def _landed_paper(lines: Sequence[PurchaseLine], book: Book, findings: list[Finding]) -> Iterable[LandedLine]:
    goods = [line for line in lines if line.kind == "goods" and line.amount > 0 and line.packs > 0]
    net = {id(line): line.amount for line in goods}
    for line in (x for x in lines if x.kind == "discount"):
        covered = _covered(line, goods, book, findings)
        for each, share in _shares(-_taken_off(line, lines), covered, [net[id(x)] for x in covered]):
            net[id(each)] += share
    charges = {id(line): ZERO for line in goods}
    for line in (x for x in lines if x.kind == "charge"):
        covered = _covered(line, goods, book, findings)
        for each, share in _shares(line.amount, covered, _weights(line, covered, net, book, findings)):
            charges[id(each)] += share
    tax = {id(line): ZERO for line in goods}
    if not book.settings.tax_reclaimed:
        total = sum((x.amount for x in lines if x.kind == "tax"), ZERO)
        for each, share in _shares(total, goods, [net[id(x)] + charges[id(x)] for x in goods]):
            tax[id(each)] += share
    for line in lines:
        if line.kind in ("goods", "sample", "back-order") and line.material:
            money = (net.get(id(line), line.amount), charges.get(id(line), ZERO), tax.get(id(line), ZERO))
            yield from _landed(line, money, book, findings)


def _landed(
    line: PurchaseLine, money: tuple[Decimal, Decimal, Decimal], book: Book, findings: list[Finding]
) -> Iterable[LandedLine]:
    material = book.materials[line.material]
    base = _base(line, material, findings)
    into = _into_book_currency(line, book.settings, findings)
    if base is None or into is None:
        return
    goods, charges, tax = (m * into for m in money)
    list_rate = float((line.pack_price if line.pack_price is not None else line.amount / (line.packs or 1)) * into)
    per_pack = base / float(line.packs) if line.packs else 0.0
    yield LandedLine(
        line,
        line.material,
        base,
        goods,
        charges,
        tax,
        list_rate / per_pack if per_pack else 0.0,
        counts(line) and base > 0,
    )


def _base(line: PurchaseLine, material: Material, findings: list[Finding]) -> float | None:
    """Grams or pieces received on a line; None with a finding where nobody can tell."""
    if line.pack is None:
        if counts(line):
            findings.append(
                Finding(
                    "stop",
                    "pack-missing",
                    f"no pack size for {material.name}",
                    line.where,
                    "Type how much one pack holds.",
                    (material.code,),
                )
            )
        return None
    try:
        return line.pack.base(g_per_ml=material.g_per_ml, want=material.base) * float(line.packs)
    except QuantityError as error:
        if counts(line):
            sentence = f"{material.name} bought as {line.pack.text}: {error.sentence}"
            findings.append(Finding("stop", "weight-missing", sentence, line.where, error.do, (material.code,)))
        return None


def _into_book_currency(line: PurchaseLine, settings: Settings, findings: list[Finding]) -> Decimal | None:
    if line.currency == settings.currency:
        return Decimal(1)
    if line.currency_rate is not None and line.currency_rate > 0:
        return line.currency_rate
    if counts(line):
        findings.append(Finding("stop", "currency", f"paper {line.paper} is in {line.currency} and carries no rate to {settings.currency}", line.where,
                                "Type the rate of that paper in Currency rate.", (line.material,)))  # fmt: skip
    return None


def _covered(
    charge: PurchaseLine, goods: Sequence[PurchaseLine], book: Book, findings: list[Finding]
) -> list[PurchaseLine]:
    """The lines a charge or discount covers: all, those of a kind of material, or those named by code."""
    words = [same_name(w).removesuffix(" lines") for w in charge.covers.split(";") if w.strip()]
    if not words or words == ["all"]:
        return list(goods)
    covered = []
    for line in goods:
        material = book.materials.get(line.material)
        marks = {same_name(line.item_code), same_name(line.description)}
        marks |= {same_name(m) for m in (material.kind, material.code, material.name)} if material else set()
        if marks & set(words):
            covered.append(line)
    if not covered:
        findings.append(Finding("ask", "charge-covers", f'{charge.description or charge.kind} covers "{charge.covers}", and no line of paper {charge.paper} is that; '
                                "shared over all its lines", charge.where, "Write all, a kind such as scent, or item codes."))  # fmt: skip
        return list(goods)
    return covered


def _weights(
    charge: PurchaseLine,
    covered: Sequence[PurchaseLine],
    net: Mapping[int, Decimal],
    book: Book,
    findings: list[Finding],
) -> list[Decimal]:
    """What a charge is shared by: its own words, else the supplier's way, else weight where all are known, else value."""
    supplier = next((s for n, s in book.suppliers.items() if same_name(n) == same_name(charge.supplier)), None)
    basis = charge.shared_by or (supplier.shared_by if supplier else "")
    if basis == "pieces":
        return [x.packs * _pieces(x.pack) for x in covered]
    if basis in ("", "weight"):
        grams = [_grams(x, book) for x in covered]
        if all(g is not None for g in grams):
            return [Decimal(repr(g)) for g in grams]
        if basis:
            findings.append(Finding("ask", "charge-basis", f"{charge.description or 'a charge'} of paper {charge.paper} is to be shared by weight, and not every weight is known; "
                                    "shared by value", charge.where, "Give those materials a weight per volume, or share it by value."))  # fmt: skip
    return [net[id(x)] for x in covered]


def _pieces(pack: Amount | None) -> Decimal:
    """Single pieces in a pack; a pack of mass or volume is one piece."""
    if pack is None or pack.unit is None or pack.unit.dimension != "count":
        return Decimal(1)
    return Decimal(repr(pack.base(want="each")))


def _grams(line: PurchaseLine, book: Book) -> float | None:
    material = book.materials.get(line.material)
    if line.pack is None or line.pack.unit is None or line.pack.unit.dimension == "count":
        return None
    try:
        return line.pack.base(g_per_ml=material.g_per_ml if material else None) * float(line.packs)
    except QuantityError:
        return None


def _shares(
    total: Decimal, lines: Sequence[PurchaseLine], weights: Sequence[Decimal]
) -> Iterable[tuple[PurchaseLine, Decimal]]:
    whole = sum(weights, ZERO)
    if whole:
        yield from ((line, total * weight / whole) for line, weight in zip(lines, weights, strict=True))


def _rate(
    material: Material, lines: Sequence[LandedLine], settings: Settings, on: date, findings: list[Finding]
) -> Rate | None:
    """The rate by the material's own rule or the book's; None where nothing makes one."""
    rule = material.rate_rule or settings.rate_rule
    kept = 1 - material.waste_fraction
    if rule == "quoted":
        quoted = _quoted(material, on)
        if quoted is not None:
            return Rate(material.code, quoted / kept, "quoted", ())
        rule = settings.rate_rule if settings.rate_rule != "quoted" else "latest"
        if lines:
            why = "not in force yet" if material.quoted_from and material.quoted_from > on else "missing or has no pack"
            sentence = f"{material.name}: the quoted price is {why}; the {rule} paper is used"
            findings.append(Finding("ask", "no-quote", sentence, material.where, "Fill Quoted price and Quoted pack."))
    if not lines:
        return None
    ordered = sorted(lines, key=lambda x: x.line.date or date.min)
    if rule == "average":
        return Rate(material.code, _mean(ordered) / kept, rule, tuple(ordered))
    if rule == "layers":
        layers = _layers(material, ordered)
        return Rate(material.code, layers / kept, rule, tuple(ordered))
    return Rate(material.code, ordered[-1].rate / kept, "latest", (ordered[-1],))


def _mean(lines: Sequence[LandedLine]) -> float:
    """The mean rate over all counted purchases, weighted by base amount (not perpetual)."""
    return float(sum((x.landed for x in lines), ZERO)) / sum(x.base for x in lines)


def _layers(material: Material, ordered: Sequence[LandedLine]) -> float:
    """The rate of the layers the count on hand is valued from; the newest line's where nothing is on hand."""
    try:
        count = material.on_hand.base(g_per_ml=material.g_per_ml, want=material.base) if material.on_hand else 0.0
    except QuantityError:
        count = 0.0
    return layers_value(ordered, count) / count if count > 0 else ordered[-1].rate


def layers_value(ordered: Sequence[LandedLine], count: float) -> float:
    """What a count is worth by layers, first in first out: what is on hand is of the newest lines.

    Args:
        ordered: landed lines, oldest first.
        count: grams or pieces on hand; what was never bought is valued at the oldest line's rate.
    Source: IAS 2.25-27 (FIFO cost formula).
    """
    value, left = 0.0, count
    for line in reversed(ordered):
        taken = min(line.base, left)
        value += taken * line.rate
        left -= taken
    return value + left * ordered[0].rate if left > 0 else value


def _quoted(material: Material, on: date) -> float | None:
    """The quoted price per base unit, delivered, where one is in force."""
    if (
        material.quoted_price is None
        or material.quoted_pack is None
        or (material.quoted_from and material.quoted_from > on)
    ):
        return None
    try:
        base = material.quoted_pack.base(g_per_ml=material.g_per_ml, want=material.base)
    except QuantityError:
        return None
    price = after_discounts(material.quoted_price, material.quoted_less)
    return float(price) / base if base > 0 else None
