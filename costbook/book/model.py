"""The book as frozen records: what she typed, read and named, with the place each record came from.

Arithmetic lives elsewhere; these records carry no formulas of costing. Money is `Decimal`, as typed. A fraction field
(`_fraction`) is 0.31 for 31 %. Every record has `where`, the cell a finding about it leads to.
"""

from collections.abc import Mapping
from datetime import date as Day
from decimal import Decimal
from typing import NamedTuple

from costbook.amounts.money import Ending
from costbook.amounts.quantity import Amount, same_name
from costbook.book.grid import NOTHING
from costbook.errors import Finding, Where

GOODS_KINDS = ("powder", "liquid", "solid fat", "scent", "colour", "other")
ITEM_KINDS = (*GOODS_KINDS, "packaging", "consumable")
LINE_KINDS = ("goods", "sample", "back-order", "discount", "charge", "tax", "total")
PAPER_TYPES = ("invoice", "credit note", "correction", "price list")
RATE_RULES = ("latest", "average", "layers", "quoted")
BASES = ("weight", "value", "pieces")
PAPER_FACTS = ("heading", "dates", "numbers")
HEADING_MEANS = {
    "item code": "code", "description": "name", "packs": "packs", "pack size": "pack", "unit": "unit", "price": "price",
    "amount": "amount", "discount": "discount", "lot": "lot", "best before": "best_before", "nothing": "",
}  # fmt: skip
FACT_MEANS = {"heading": tuple(HEADING_MEANS), "dates": ("day first", "month first"), "numbers": ("point", "comma")}
# UNTDID 1001 codes EN 16931 takes for credit notes (code list for BT-3).
# The syntax of a paper read from a picture, where no sum guards a code or a name.
SCAN = "scan"
STANDARD = ("UBL", "UBL-CN", "CII")  # the syntaxes of an e-invoice by EN 16931
PRICE_LIST = "9"  # UNTDID 1001: price or sales catalogue
CREDIT_TYPES = frozenset(("81", "83", "261", "262", "296", "308", "381", "396", "420", "458", "532"))
# Papers by which nothing is bought, by their UNTDID 1001 code, or by a word where that list has no sure code.
NOT_BOUGHT = {
    "220": "order", "231": "order confirmation", "270": "delivery note", "271": "packing list", "310": "quotation", "325": "pro forma paper",
    "statement": "statement of account", "reminder": "reminder", "remittance": "note of a payment",
}  # fmt: skip


class Settings(NamedTuple):
    """The book's settings, from the Start tab. Defaults are the ones a blank book starts with.

    `book_date` is the date prices are judged at; None means today, filled in by whoever may read a clock.
    `rate_rule` is one of RATE_RULES. `mixer_g` and the like are None where she gave none.
    """

    workshop: str = ""
    currency: str = "USD"
    book_date: Day | None = None
    decimal: str = "point"
    measures: str = "US customary"
    rate_rule: str = "latest"
    old_after_days: int = 180
    jump_fraction: float = 0.15
    overhead_per_year: Decimal = Decimal(0)
    hands_on_hours_per_year: Decimal = Decimal(0)
    tax_reclaimed: bool = True
    retail_over_wholesale: Decimal = Decimal(2)
    compare_wholesale: Decimal = Decimal(2)
    compare_retail: Decimal = Decimal(2)
    compare_materials: Decimal = Decimal(4)
    shelf_weeks: Decimal = Decimal(2)
    mixer_g: float | None = None
    rack_places: int | None = None
    queue_by: str = "margin per piece"
    keep_ending: str = "next 0.05"
    shop_pack: int | None = None
    shop_first_order: Decimal | None = None
    shop_reorder: Decimal | None = None
    shop_lead_days: int | None = None
    shop_valid_days: int = 30
    trace: str = ""
    where: Mapping[str, Where] = NOTHING

    @property
    def overhead_per_hour(self) -> Decimal:
        """Predetermined overhead rate: yearly overhead over yearly hands-on hours; 0 where no hours are given."""
        return self.overhead_per_year / self.hands_on_hours_per_year if self.hands_on_hours_per_year else Decimal(0)


class Supplier(NamedTuple):
    """A supplier: its currency, how its charges are shared where the paper does not say, terms, lead days and smallest order."""

    name: str
    currency: str
    shared_by: str
    terms: str
    lead_days: int | None
    where: Where
    smallest_order: Decimal | None = None


class Material(NamedTuple):
    """A material, packaging item or consumable. `stopped` is what keeps it from having any price.

    `g_per_ml` is hers (`weighed_by` says how she knows) or the reference table's (`weight_source` names it), None where
    nobody knows. `base` is 'g' or 'each': what rates and usage of it count in. `waste_fraction` is what stays in the bucket.
    """

    code: str
    name: str
    kind: str
    supplier: str
    g_per_ml: float | None
    weight_source: str
    waste_fraction: float
    rate_rule: str
    quoted_price: Decimal | None
    quoted_pack: Amount | None
    quoted_from: Day | None
    quoted_less: tuple[Decimal, ...]
    usual_pack: Amount | None
    aliases: tuple[str, ...]
    cautions: str
    on_hand: Amount | None
    where: Where
    base: str = "g"
    supplier_codes: tuple[str, ...] = ()
    label_name: str = ""
    places: Mapping[str, Where] = NOTHING
    stopped: tuple[Finding, ...] = ()


class PurchaseLine(NamedTuple):
    """One line of a posted paper, as it stands in Purchases.

    `material` is a code, '' for charges and the like or where it is not known yet. `pack` is one pack's size. `amount` is
    the line's money after its own discount, before tax, in the paper's currency; `currency_rate` turns it into the book's.
    `shared_by` and `covers` say how a charge or discount is spread ('' = the supplier's setting, then the usual rule).
    """

    supplier: str
    paper: str
    paper_type: str
    date: Day | None
    kind: str
    item_code: str
    description: str
    material: str
    packs: Decimal
    pack: Amount | None
    pack_price: Decimal | None
    amount: Decimal
    shared_by: str
    covers: str
    currency: str
    currency_rate: Decimal | None
    lot: str
    best_before: Day | None
    counts: bool | None
    source: str
    where: Where
    places: Mapping[str, Where] = NOTHING


class RecipeLine(NamedTuple):
    """One line of a recipe. `choices` are names as resolved: material codes, recipe codes, or one slot.

    `slot` is the slot's name ('scent', 'colour', ...) where the product fills the line. `when` is 'always', 'optional', or
    the slot name that must be filled for the line to count. `dries_off` lines cost money and do not count in the piece.
    """

    choices: tuple[str, ...]
    recipe: bool
    slot: str
    amount: Amount
    when: str
    dries_off: bool
    note: str
    where: Where
    places: Mapping[str, Where] = NOTHING


class Recipe(NamedTuple):
    """A recipe card: lines in order of adding, bench loss, and pieces made where it yields pieces, not mass."""

    code: str
    name: str
    pieces: Decimal | None
    loss_fraction: float | None
    lines: tuple[RecipeLine, ...]
    where: Where
    stopped: tuple[Finding, ...] = ()


class Part(NamedTuple):
    """What one piece of a product takes: kind 'recipe', 'product', 'packaging', 'consumable' or 'activity'.

    `amount` is per piece, or per batch where `per_batch`. For a recipe it is grams of mix (or its pieces).
    """

    kind: str
    item: str
    amount: Amount
    per_batch: bool
    where: Where


class Step(NamedTuple):
    """A step of work of one family of products: role, minutes a batch, minutes a planned piece, rest hours after it."""

    family: str
    name: str
    role: str
    batch_minutes: float
    piece_minutes: float
    rest_hours: float
    where: Where
    stopped: tuple[Finding, ...] = ()


class Role(NamedTuple):
    """Who works: pay an hour and on-cost as a fraction of pay. The labour rate is pay x (1 + on-cost).

    `name` is folded, to be found by; `written` is the name as she typed it, to be shown. `stops` says why its pay cannot be used.
    """

    name: str
    pay_per_hour: Decimal
    on_cost_fraction: Decimal
    where: Where
    written: str = ""
    stops: tuple[Finding, ...] = ()

    @property
    def rate_per_hour(self) -> Decimal:
        """What an hour of this role costs, on-cost included, in book currency."""
        return self.pay_per_hour * (1 + self.on_cost_fraction)


class Activity(NamedTuple):
    """Overhead that follows something other than hands-on time: what it costs a year, and how often a year it happens."""

    name: str
    per_year: Decimal
    times: Decimal
    where: Where

    @property
    def rate(self) -> Decimal:
        """The activity rate: cost a year over times a year, in book currency."""
        return self.per_year / self.times


class Product(NamedTuple):
    """A product of the line: parts, fills of slots, work family, pieces planned and good, her prices, stock and sales.

    `promised_in` names the channel its promised pieces are sold in, as she wrote it. `stopped` is what keeps it from having
    a price at all: an unreadable part, say. One she is `trying` out is costed and
    priced like any other, and is not part of the line: not made, sold, or counted in what a year comes to.
    """

    code: str
    name: str
    parts: tuple[Part, ...]
    fills: Mapping[str, str]
    family: str
    planned: int
    good: int
    prices: Mapping[str, Decimal]
    where: Where
    places: Mapping[str, Where] = NOTHING
    rest_hours: float = 0.0
    on_hand: Decimal | None = None
    sold_per_week: Decimal | None = None
    waiting: Decimal | None = None
    promised: Decimal | None = None
    promised_in: str = ""
    sold_out_since: Day | None = None
    season_end: Day | None = None
    trying: bool = False
    size: str = ""
    mould: str = ""
    moulds: float = 1.0
    stopped: tuple[Finding, ...] = ()


class Channel(NamedTuple):
    """A tier: what selling there takes out of the price, and what she wants to be left.

    `price` names her price column it sells at ('retail', 'wholesale', '' = proposals only). Fees are fractions of the price
    customers pay (`fee_on_shown`) or of the net price. Fixed costs per piece are made of `per_item`, `per_order` money and
    minutes of `order_role` over `pieces_per_order`, and `per_day` over `pieces_per_day`. `tax_fraction` > 0 means the
    shown price includes tax. Targets and floors count 'margin' or 'kept'.
    """

    name: str
    price: str
    fee_fraction: Decimal
    fee_on_shown: bool
    per_item: Decimal
    per_order: Decimal
    order_minutes: Decimal
    order_role: str
    pieces_per_order: Decimal
    per_day: Decimal
    pieces_per_day: Decimal
    tax_fraction: Decimal
    target_fraction: Decimal | None
    target_counts: str
    floor_fraction: Decimal | None
    floor_counts: str
    ending: Ending | None
    smallest_order: Decimal | None
    where: Where


class PaperFact(NamedTuple):
    """One thing about how a supplier's papers are laid out, known from a paper she confirmed.

    `about` is one of PAPER_FACTS. A 'heading' that is `printed` so `means` a role of HEADING_MEANS; 'dates' mean 'day first'
    or 'month first'; 'numbers' mean 'point' or 'comma'.
    """

    about: str
    printed: str
    means: str


class Announced(NamedTuple):
    """One announced price, as typed or read: `pack_price` of a `pack`, or a `rise` as a fraction (0.2 for 20 %).

    `material` is a code, a name or an alias. `pack_price` is in the currency of the last paper (of the book, for a quote),
    None where it stays. `pack` is what one pack will hold, None where it stays as on the last paper. `starts` is the day
    it holds from, `supplier` who says so ('' where not said), `where` the cell or paper a finding about it leads to.
    """

    material: str
    pack_price: Decimal | None = None
    pack: Amount | None = None
    rise: Decimal | None = None
    starts: Day | None = None
    supplier: str = ""
    where: Where | None = None


class WeekRow(NamedTuple):
    """Something there is this week: `amount` of `what` in one of layout.WEEK_UNITS; hours of each day from Monday on."""

    what: str
    amount: Decimal
    unit: str
    days: tuple[int, ...]
    where: Where


class BatchRecord(NamedTuple):
    """A batch as she recorded it. `lots` are as written; `booked` is when the tool moved stock by it, None if it has not."""

    on: Day
    product: str
    planned: int | None
    good: int
    minutes: float
    lots: tuple[str, ...]
    booked: Day | None
    where: Where
    row: int


class WaitingBatch(NamedTuple):
    """A batch of hers that is not booked and cannot be read whole: something in its row is missing. `on` is None where its day is."""

    on: Day | None
    product: str
    where: Where


class SaleRecord(NamedTuple):
    """Pieces sold on a day (below 0 for what came back); `order` names the line of a shop's export it was taken from.

    `fulfils` is 'promised' or 'waiting' where the pieces were counted there on Products, else ''.
    """

    on: Day
    product: str
    pieces: Decimal
    channel: str
    order: str
    booked: Day | None
    where: Where
    row: int
    fulfils: str = ""


def product_names(products: Mapping[str, Product]) -> dict[str, str]:
    """Every folded code and name that means one product, and its code; a name that two products have means none."""
    names: dict[str, str] = {}
    for code, product in products.items():
        key = same_name(product.name)
        names[key] = "" if key in names else code
    codes = {same_name(code): code for code in products}
    return {**{name: code for name, code in names.items() if code and name}, **codes}


class Book(NamedTuple):
    """Everything read from one workbook. Mappings go by code or name as she wrote it, in her order.

    `names` maps every folded name, code and alias of materials and recipes to its code. `findings` are those of reading.
    `paper_facts` go by the folded name of a supplier. `dropped` are the products she took out of the line: only told of.
    """

    settings: Settings
    suppliers: Mapping[str, Supplier]
    materials: Mapping[str, Material]
    purchases: tuple[PurchaseLine, ...]
    recipes: Mapping[str, Recipe]
    products: Mapping[str, Product]
    roles: Mapping[str, Role]
    steps: tuple[Step, ...]
    channels: Mapping[str, Channel]
    names: Mapping[str, str] = NOTHING
    findings: tuple[Finding, ...] = ()
    activities: Mapping[str, Activity] = NOTHING
    paper_facts: Mapping[str, tuple[PaperFact, ...]] = NOTHING
    announced: tuple[Announced, ...] = ()
    week: tuple[WeekRow, ...] = ()
    batches: tuple[BatchRecord, ...] = ()
    sales: tuple[SaleRecord, ...] = ()
    waiting_batches: tuple[WaitingBatch, ...] = ()
    dropped: Mapping[str, Product] = NOTHING

    def called(self, role: str) -> str:
        """Somebody of the Pay tab by the name she typed; `role` is the folded name, which comes back where nobody is."""
        return self.roles[role].written if role in self.roles else role


class InvoiceLine(NamedTuple):
    """One line of a supplier's paper as a reader found it, before anything of hers is matched to it.

    `quantity` counts `unit` (as written; UN/ECE Recommendation 20 code on an e-invoice) or packs; `price` is for
    `base_quantity` of them. `net` is the line's amount after its own discounts and charges, before tax (EN 16931 BT-131).
    `kind` is one of LINE_KINDS. `pack_size` and `pack_unit` are what one pack holds, as written, '' where not said.
    `parent` is the line this one is a part of; such lines are not summed again. `place` is the row, line or page.
    `code_in_doubt` says that `item_code` may only be the line's number.
    """

    line_id: str
    kind: str
    item_code: str
    name: str
    quantity: Decimal
    unit: str
    price: Decimal | None
    base_quantity: Decimal
    net: Decimal
    place: str
    pack_size: str = ""
    pack_unit: str = ""
    buyer_code: str = ""
    gtin: str = ""
    gross_price: Decimal | None = None
    price_discount: Decimal | None = None
    allowances: Decimal = Decimal(0)
    charges: Decimal = Decimal(0)
    tax_category: str = ""
    tax_percent: Decimal | None = None
    parent: str = ""
    group: bool = False
    lot: str = ""
    best_before: Day | None = None
    shared_by: str = ""
    covers: str = ""
    code_in_doubt: bool = False


class Invoice(NamedTuple):
    """A supplier's paper as read. Document discounts and charges are lines of kind 'discount' and 'charge' (signed money).

    `type_code` is UNTDID 1001 (380 invoice, 381 credit note, 384 correction ...). `net`, `tax`, `gross`, `prepaid`,
    `rounding` and `due` are BT-109, BT-110, BT-112, BT-113, BT-114 and BT-115, None where the paper does not state them.
    `problems` are the reasons, in words, why the paper may not be posted without her look.
    """

    supplier: str
    number: str
    issued: Day | None
    type_code: str
    currency: str
    lines: tuple[InvoiceLine, ...]
    source: str
    syntax: str
    net: Decimal | None = None
    tax: Decimal | None = None
    gross: Decimal | None = None
    prepaid: Decimal | None = None
    rounding: Decimal | None = None
    due: Decimal | None = None
    currency_rate: Decimal | None = None
    problems: tuple[str, ...] = ()
    # What the sums are checked against: BT-106, BT-107, BT-108; payments of third parties added to what is due (XRechnung
    # BG-DEX-09); tax by category as (BT-118, BT-119, BT-116, BT-117). `decimal` is the style pack sizes are written in.
    line_total: Decimal | None = None
    discount_total: Decimal | None = None
    charge_total: Decimal | None = None
    third_party: Decimal | None = None
    tax_breakdown: tuple[tuple[str, Decimal | None, Decimal, Decimal], ...] = ()
    decimal: str = "point"
    # What a printed paper's reading took for granted about its layout; once she confirms the paper it is known of its supplier.
    taken: tuple[PaperFact, ...] = ()
