"""The tabs, declared once: headings, who writes a column, widths, number styles, dropdowns, notes.

Every host renders from here and `tabs.py` reads by it, so a file made new and a file she brought look alike. Adding a
heading synonym is adding a word to a `Column`; adding a setting is adding a row to `SETTINGS`. `ink` tells whose a column
is: 'hers' is typed by her and never overwritten, 'tool' is written by the tool.
"""

from collections.abc import Mapping
from typing import NamedTuple

from costbook.book.grid import Chart, Look, Rule, column_name, sheet_ref

HERS, TOOL = "hers", "tool"

COLOURS = {
    "ink": "1F2A30", "her ink": "1B4965", "tool ink": "3A3A3A", "heading": "DCE8E4", "tool heading": "E9E4D8",
    "input": "FFFDF3", "line": "C9D3CF", "grey": "6B7780", "stop": "F6D5D0", "ask": "FBEBC8", "warn": "FDF5DC",
    "note": "E6EEF3", "good": "DDEFD9", "her tab": "3C7A89", "tool tab": "B08A3E",
}  # fmt: skip
SERIES = ("4C8577", "8FB9AA", "D9C58B", "C0826B", "6F7C96")


class Style(NamedTuple):
    """How a cell looks, by the use it has. Colours are keys of COLOURS; `number_format` is the workbook's own code."""

    number_format: str = "General"
    bold: bool = False
    italic: bool = False
    size: float = 10.0
    ink: str = "ink"
    fill: str = ""
    wrap: bool = False
    align: str = ""
    indent: int = 0
    line: bool = False
    locked: bool = True


MONEY, RATE, PERCENT, DAY, AMOUNT = "#,##0.00", "#,##0.000000", "0.0%", "yyyy-mm-dd", "0.####"
FORMATS = {"text": "@", "money": MONEY, "rate": RATE, "percent": PERCENT, "date": DAY, "number": "General",
           "count": "#,##0", "usage": "#,##0.0000", "amount": "#,##0.0#", "minutes": "#,##0.0"}  # fmt: skip

STYLES: dict[str, Style] = {
    "plain": Style(),
    "title": Style(bold=True, size=14),
    "hint": Style(italic=True, ink="grey"),
    "wrapped": Style(wrap=True, indent=1),
    "small print": Style(italic=True, ink="grey", wrap=True, size=9),
    "label": Style(bold=True),
    "heading": Style(bold=True, fill="heading", wrap=True, line=True, align="center"),
    "tool heading": Style(bold=True, fill="tool heading", wrap=True, line=True, align="center"),
    "link": Style(ink="her ink", indent=1, line=True),
    "mark": Style(size=8, ink="grey"),
    "good": Style(fill="good", wrap=True),
    **{f"level {level}": Style(fill=level, bold=True, indent=1) for level in ("stop", "ask", "warn", "note")},
    **{f"flag {level}": Style(fill=level, indent=1) for level in ("stop", "ask", "warn", "note", "good")},
    **{f"her {kind}": Style(number_format=code, ink="her ink", fill="input", line=True, locked=False, indent=int(kind == "text"))
       for kind, code in FORMATS.items()},
    **{f"tool {kind}": Style(number_format=code, ink="tool ink", line=True, indent=int(kind == "text")) for kind, code in FORMATS.items()},
    **{f"total {kind}": Style(number_format=code, bold=True, line=True, indent=int(kind == "text")) for kind, code in FORMATS.items()},
}  # fmt: skip
STYLES["tool wrapped"] = Style(number_format="@", ink="tool ink", line=True, wrap=True, indent=1)


class Column(NamedTuple):
    """One column of a declared tab.

    `kind` is a key of FORMATS, or 'wrapped' for a text of the tool's on several lines. `needed` headings must stand for the
    tab to be read. `choices` are a dropdown's texts, or a name in RANGES whose column the dropdown reads. `note` is shown on
    the heading.
    """

    key: str
    heading: str
    kind: str = "text"
    width: float = 12.0
    ink: str = HERS
    needed: bool = False
    synonyms: tuple[str, ...] = ()
    choices: tuple[str, ...] | str = ()
    note: str = ""

    @property
    def headings(self) -> tuple[str, ...]:
        """Every heading this column is found by."""
        return (self.heading, *self.synonyms)


class Tab(NamedTuple):
    """A declared tab: name, other names it is found by, what a row is, and its columns."""

    name: str
    row_is: str
    columns: tuple[Column, ...]
    ink: str = HERS
    synonyms: tuple[str, ...] = ()
    needed: bool = False

    def column(self, key: str) -> Column:
        """The column of that key."""
        return next(c for c in self.columns if c.key == key)

    def place(self, key: str) -> int:
        """The place of that column when the tab is rendered new, from 0."""
        return next(i for i, c in enumerate(self.columns) if c.key == key)


UNITS = ("g", "kg", "oz", "lb", "ml", "l", "fl oz", "tsp", "tbsp", "cup", "pint", "quart", "gallon", "each", "%")
ENDINGS = ("next 0.05", "next 0.25", "next 0.50", "next 1.00", "ends .95", "ends .99")
YES_NO = ("yes", "no")
QUEUE_ORDERS = ("margin per piece", "sold out first", "margin %", "cash per hour", "plan")
STANDINGS = ("yes", "trying out", "dropped")


class SettingRow(NamedTuple):
    """One setting of the Start tab: field of `Settings`, label, kind of value, choices, and what it means."""

    key: str
    label: str
    kind: str
    meaning: str
    choices: tuple[str, ...] = ()
    synonyms: tuple[str, ...] = ()


SETTINGS = (
    SettingRow("workshop", "Workshop", "text", "Your name for it."),
    SettingRow("currency", "Book currency", "text", "Three letters, such as USD. Papers in another currency carry their own rate."),
    SettingRow("book_date", "Book date", "date", "The day prices are judged at. Leave empty for today."),
    SettingRow("decimal", "Decimal mark", "text", "How you type numbers as text: 0.9 (point) or 0,9 (comma).", ("point", "comma")),
    SettingRow("measures", "Cups and spoons", "text", "Which cup and spoon you mean.", ("US customary", "metric", "imperial", "Australian")),
    SettingRow("rate_rule", "Price used", "text", "latest paper, average of all, layers (oldest used first), or quoted price.",
               ("latest", "average", "layers", "quoted")),
    SettingRow("old_after_days", "Price counts as old after, days", "count", "Older prices are still used, and you are told."),
    SettingRow("jump_fraction", "Mention a price jump over", "percent", "Against the paper before."),
    SettingRow("overhead_per_year", "Overhead a year", "money", "Rent, power, insurance, phone, licences: what comes whether you make or not."),
    SettingRow("hands_on_hours_per_year", "Hands-on hours a year", "number", "Hours of making and packing that carry the overhead."),
    SettingRow("tax_reclaimed", "Tax on purchases reclaimed", "text", "no = the tax on a paper is part of what things cost you.", YES_NO),
    SettingRow("retail_over_wholesale", "Retail at least, times wholesale", "number", "So that shops are not undercut. Common practice: 2."),
    SettingRow("compare_wholesale", "To compare: cost times", "number", "A rule of thumb shown beside, never used to decide."),
    SettingRow("compare_retail", "To compare: wholesale times", "number", "A rule of thumb shown beside, never used to decide."),
    SettingRow("compare_materials", "To compare: materials times", "number", "A rule of thumb shown beside, never used to decide."),
    SettingRow("shelf_weeks", "Keep on the shelf, weeks of sales", "number", "For what to make next."),
    SettingRow("mixer_g", "Bowl or mixer holds", "text", "Such as 6 kg. More than it holds is made in several mixes."),
    SettingRow("rack_places", "Places to set or dry", "count", "Rack places, moulds or shelf room."),
    SettingRow("queue_by", "Make next is sorted by", "text", "The order of the Make next tab.", QUEUE_ORDERS),
    SettingRow("keep_ending", "Price that keeps a margin, up to", "text", "How such a price is rounded up.", ENDINGS),
    SettingRow("shop_pack", "Shops buy in packs of", "count", "For the line sheet."),
    SettingRow("shop_first_order", "Shops' first order at least", "money", "For the line sheet."),
    SettingRow("shop_reorder", "Shops' next orders at least", "money", "For the line sheet."),
    SettingRow("shop_lead_days", "Days until an order leaves", "count", "For the line sheet."),
    SettingRow("shop_valid_days", "Prices to shops stand for, days", "count", "For the line sheet and notice. 30 days is a usual courtesy."),
    SettingRow("trace", "Cost trace shows", "text", "Product codes with commas, or all. Empty: all, while there are 100 or fewer."),
)  # fmt: skip

START, LAST_RUN = "Start", "Last run"
RANGES = {
    "materials": ("Materials", "name"), "suppliers": ("Suppliers", "name"), "products": ("Products", "code"),
    "roles": ("Pay", "role"), "channels": ("Channels", "name"),
}  # fmt: skip

SUPPLIERS = Tab("Suppliers", "a supplier", (
    Column("name", "Supplier", width=26, needed=True, synonyms=("Supplier name", "Vendor")),
    Column("currency", "Currency", width=10, note="Three letters; empty = the book's currency."),
    Column("shared_by", "Charges shared by", width=16, choices=("weight", "value", "pieces"),
           note="How freight and fees are spread over the lines when the paper does not say. Empty: by weight where every weight is known, else by value."),
    Column("terms", "Terms", width=22),
    Column("lead_days", "Lead days", "count", 10, synonyms=("Days to arrive",)),
    Column("smallest_order", "Smallest order", "money", 12, note="What an order must come to, in the book's currency; To buy says what is missing.",
           synonyms=("Minimum order",)),
    Column("note", "Note", width=36),
), synonyms=("Vendors",))  # fmt: skip

MATERIALS = Tab("Materials", "a material, a packaging item or a consumable", (
    Column("code", "Code", width=8, note="Short and your own, such as M01. Empty: the name serves."),
    Column("name", "Material", width=28, needed=True, synonyms=("Name", "Ingredient", "Item")),
    Column("kind", "Kind", width=12, needed=True, synonyms=("Type",),
           choices=("powder", "liquid", "solid fat", "scent", "colour", "other", "packaging", "consumable"),
           note="packaging goes out with a piece; a consumable (gloves, liners) stays in the workshop."),
    Column("supplier", "Supplier", width=24, choices="suppliers"),
    Column("usual_pack", "Usual pack", width=10, synonyms=("Pack size",), note="How much is in the pack you mostly buy."),
    Column("usual_pack_unit", "Pack unit", width=10, choices=UNITS),
    Column("g_per_ml", "Grams per ml", "number", 10, synonyms=("Weight per volume", "Density"),
           note="Weigh a level cup: grams in it / 236.6 (US cup). Or fill the next two columns."),
    Column("weighed", "Weighed measure", width=12, note="What you weighed, such as 1 cup."),
    Column("weighs", "Weighs", width=10, note="What it weighed, such as 128 g. Packed and scooped differ: say how in Known by."),
    Column("known_by", "Known by", width=18, synonyms=("How known",), note="Your own scale, the supplier's sheet ..."),
    Column("reference", "Reference weight", width=24, note="The name of a row of the reference table, where you want to use its figure."),
    Column("waste", "Stays in the bucket", "percent", 11, synonyms=("Waste",), note="What you cannot get out of the pack. Raises the price of what you use."),
    Column("aliases", "Also written as", width=22, synonyms=("Aliases", "Also called"), note="Other names you write, with ; between."),
    Column("supplier_codes", "Supplier item codes", width=16, note="Item codes on papers that mean this material, with ; between."),
    Column("label_name", "Label name", width=18),
    Column("cautions", "Cautions", width=32, synonyms=("Note",), note="What to mind when handling it; nut, oat. The supplier's safety data sheet comes first."),
    Column("on_hand", "On hand", "number", 10),
    Column("on_hand_unit", "Count unit", width=10, choices=UNITS),
    Column("rate_rule", "Price used", width=11, choices=("latest", "average", "layers", "quoted"), note="Empty: the book's rule."),
    Column("quoted_price", "Quoted price", "money", 10, note="Delivered, for the pack beside it. Used where the rule says quoted."),
    Column("quoted_pack", "Quoted pack", width=11, note="Such as 5 lb."),
    Column("quoted_from", "Quoted from", "date", 11),
    Column("quoted_less", "Quoted less", width=11, note="Trade discounts off the quoted price, one after the other: 20/10/5."),
), synonyms=("Ingredients", "Supplies"), needed=True)  # fmt: skip

PURCHASES = Tab("Purchases", "a line of a supplier's paper, as posted or typed; charges, discounts and the total stand in rows of their own", (
    Column("supplier", "Supplier", width=22, needed=True, choices="suppliers"),
    Column("paper", "Paper", width=12, needed=True, synonyms=("Invoice", "Invoice number", "Paper number")),
    Column("date", "Date", "date", 11, needed=True, synonyms=("Invoice date", "Paper date")),
    Column("paper_type", "Type", width=11, choices=("invoice", "credit note", "correction"), note="Empty: invoice."),
    Column("kind", "Line is", width=11, choices=("goods", "sample", "back-order", "discount", "charge", "tax", "total"), note="Empty: goods."),
    Column("item_code", "Item code", width=11, note="As on the paper."),
    Column("description", "Description", width=32, synonyms=("Line",), note="As on the paper."),
    Column("material", "Material", width=26, choices="materials", note="Your material. Empty until you know; such a line makes no price."),
    Column("packs", "Packs", "number", 8, needed=True, synonyms=("Quantity",), note="Packs shipped and charged."),
    Column("pack", "Pack size", "text", 9, needed=True, synonyms=("Pack",), note="How much one pack holds."),
    Column("pack_unit", "Pack unit", width=9, choices=UNITS),
    Column("pack_price", "Price per pack", "money", 10, synonyms=("Pack price",)),
    Column("amount", "Amount", "money", 11, needed=True, synonyms=("Line total",), note="Before tax, after the line's own discount. A discount row may say a share of the goods, such as 5 %."),
    Column("shared_by", "Shared by", width=10, choices=("weight", "value", "pieces"), note="For charges. Empty: the supplier's way."),
    Column("covers", "Covers", width=12, note="all, a kind of material such as scent, or codes with ; between."),
    Column("currency", "Currency", width=9),
    Column("currency_rate", "Currency rate", "number", 10, note="Book currency for one of the paper's, as on that paper."),
    Column("lot", "Lot", width=11),
    Column("best_before", "Best before", "date", 11),
    Column("counts", "Counts for price", width=9, choices=YES_NO, note="Empty: goods shipped and charged count; samples, credits, back-orders never."),
    Column("source", "Posted from", width=24, note="File and row or line the tool read it from."),
), synonyms=("Invoices",), needed=True)  # fmt: skip

PRODUCTS = Tab("Products", "a product", (
    Column("code", "Code", width=8, needed=True, synonyms=("SKU",)),
    Column("name", "Product", width=32, needed=True, synonyms=("Name",)),
    Column("like", "Lines as in", width=9, note="Code of a product with the same parts and packaging; only scent and colour differ."),
    Column("scent", "Scent", width=24, choices="materials"),
    Column("colour", "Colour", width=14, choices="materials", synonyms=("Color",)),
    Column("planned", "Pieces planned", "count", 9, needed=True, synonyms=("Planned",)),
    Column("good", "Good pieces", "count", 8, needed=True, synonyms=("Good pieces (usual)", "Good"), note="Usually sold of those planned. Everything a batch takes is paid by these."),
    Column("family", "Work as", width=11, synonyms=("Steps", "Steps for"), note="Which steps of the Work tab make it."),
    Column("rest_hours", "Rest hours", "number", 8),
    Column("mould", "Mould", width=14, note="What a batch is set in, where you have only so many; how many there are stands on This week."),
    Column("moulds", "Moulds a batch", "number", 8, note="Empty: one a batch."),
    Column("wholesale", "Wholesale now", "money", 11, synonyms=("Wholesale", "Wholesale price")),
    Column("retail", "Retail now", "money", 10, synonyms=("Retail", "Retail price")),
    Column("on_hand", "On hand", "number", 8),
    Column("sold_per_week", "Sold a week", "number", 8, synonyms=("Sold per week",)),
    Column("waiting", "Waiting", "number", 8),
    Column("promised", "Promised", "number", 9, synonyms=("Wholesale open",), note="Pieces of orders taken. A sale on the Sales tab that says so under Fulfils lowers it when it is booked, so for Waiting; else lower it yourself."),
    Column("promised_in", "Promised in", width=13, choices="channels", note="The channel those pieces are sold in: the plan counts them at its price. Empty: at retail."),
    Column("sold_out_since", "Sold out since", "date", 11),
    Column("season_end", "Season end", "date", 11),
    Column("size", "Size", width=10, note="As on the label, for the line sheet."),
    Column("standing", "In the line", width=10, choices=STANDINGS, note="Empty: yes. trying out: costed and priced, and not made or counted with the line. dropped: left alone."),
), needed=True)  # fmt: skip

LINES = Tab("Product lines", "one thing a product takes: mix of a recipe, another product, packaging, a consumable, an activity", (
    Column("product", "Product", width=10, needed=True, choices="products"),
    Column("kind", "Takes", width=12, choices=("recipe", "product", "packaging", "consumable", "activity"), needed=True, synonyms=("Kind",)),
    Column("item", "Item", width=28, needed=True, synonyms=("Of",), note="Recipe, product or material, by name or code."),
    Column("amount", "Amount", "text", 10, needed=True),
    Column("unit", "Unit", width=9, choices=UNITS),
    Column("per", "Per", width=9, choices=("piece", "batch"), note="per planned piece, or once per batch."),
), synonyms=("Parts",), needed=True)  # fmt: skip

PAY = Tab("Pay", "somebody who works, you included", (
    Column("role", "Who", width=16, needed=True, synonyms=("Role",)),
    Column("pay", "Pay an hour", "money", 11, needed=True, synonyms=("Pay per hour",)),
    Column("on_cost", "On-cost", "percent", 10, note="Insurance, holidays and the like, on top of pay."),
    Column("note", "Note", width=30),
), synonyms=("Roles",), needed=True)  # fmt: skip

WORK = Tab("Work", "a step of work for one family of products; rests cost nothing but hold the place", (
    Column("family", "Steps for", width=14, needed=True, synonyms=("Family",)),
    Column("name", "Step", width=30, needed=True),
    Column("role", "Who", width=14, needed=True, choices="roles"),
    Column("batch_minutes", "Minutes a batch", "number", 10, needed=True, synonyms=("Minutes per batch",)),
    Column("piece_minutes", "Minutes a piece", "number", 10, needed=True, synonyms=("Minutes per planned piece", "Minutes per piece")),
    Column("rest_hours", "Rest after, hours", "number", 9),
), synonyms=("Work steps", "Steps"), needed=True)  # fmt: skip

ACTIVITIES = Tab("Activities", "overhead that follows something other than hands-on time: setting up, ordering, inspecting", (
    Column("name", "Activity", width=24, needed=True),
    Column("per_year", "Costs a year", "money", 12, needed=True, synonyms=("Cost a year",), note="Not counted again under Overhead a year on the Start tab."),
    Column("times", "Times a year", "number", 12, needed=True, note="How often it happens; a product takes it on the Product lines tab."),
    Column("note", "Note", width=44),
))  # fmt: skip

CHANNELS = Tab("Channels", "a way of selling: what it takes out of the price, and what you want to be left", (
    Column("name", "Channel", width=20, needed=True, synonyms=("Tier",)),
    Column("price", "Sells at", width=11, choices=("retail", "wholesale"), note="Which of your price columns. Empty: proposals only."),
    Column("fee", "Fee", "percent", 8, synonyms=("Share of price",), note="Card and market-place fees, a shop's share: in all, of the price."),
    Column("fee_on", "Fee is taken on", width=11, choices=("shown price", "net price"), note="Empty: the price customers pay, tax included."),
    Column("per_item", "Per piece", "money", 9, synonyms=("Per item",)),
    Column("per_order", "Per order", "money", 9, note="Fixed fee and packing material of one order."),
    Column("order_minutes", "Minutes an order", "number", 9, note="Packing an order: labour, no overhead."),
    Column("order_role", "Who packs", width=10, choices="roles"),
    Column("pieces_per_order", "Pieces an order", "number", 9),
    Column("per_day", "Stall a day", "money", 9),
    Column("pieces_per_day", "Pieces a day", "number", 9),
    Column("tax", "Tax in the price", "percent", 9, synonyms=("Tax",), note="Empty: prices are shown without tax."),
    Column("target", "Target", "percent", 8),
    Column("target_counts", "Target counts", width=10, choices=("margin", "kept"), note="margin = (price - cost) / price; kept = what is left after the channel's costs too."),
    Column("floor", "Floor", "percent", 8),
    Column("floor_counts", "Floor counts", width=10, choices=("margin", "kept")),
    Column("ending", "Ending", width=11, choices=ENDINGS, note="Shown prices are rounded up to it."),
    Column("smallest_order", "Smallest order", "money", 10),
    Column("note", "Note", width=34),
), needed=True)  # fmt: skip

ANNOUNCED = Tab("Announced prices", "a price a supplier has announced; nothing moves until you accept new prices of your own", (
    Column("material", "Material", width=30, needed=True, choices="materials"),
    Column("supplier", "Supplier", width=26, choices="suppliers", note="Empty: who you bought it from last."),
    Column("new_price", "New price per pack", "money", 11, needed=True, note="Empty where only the pack changes, or where you type the rise."),
    Column("new_pack", "New pack size", "text", 10, note="Empty: the pack as on the last paper."),
    Column("new_pack_unit", "Pack unit", width=9, choices=UNITS),
    Column("rise", "Or the rise", "percent", 9, note="8 % instead of a price."),
    Column("starts", "From", "date", 11, needed=True),
    Column("note", "Told by", width=30, note="Letter, list, call."),
))  # fmt: skip

WEEK_UNITS = ("hours a day", "moulds", "mixes", "money", "days", "pieces", "weeks")
WEEK = Tab("This week", "something there is to work with this week; for the plan", (
    Column("what", "What", width=26, needed=True, note="Somebody of the Pay tab; a mould of the Products tab; mixes; money to buy with; delivered within; beyond the need."),
    Column("amount", "How much", "number", 10, needed=True),
    Column("unit", "Of", width=14, needed=True, choices=WEEK_UNITS,
           note="hours a day of somebody; moulds of a kind; mixes of the bowl; money for buying more; days a supplier may take; pieces beyond the need, or weeks of sales beyond it (4 where nothing is typed), that still count."),
    Column("days", "On", width=16, note="For hours: Mon-Fri (empty), Mon-Sat, or Mon, Wed, Fri."),
    Column("note", "Note", width=34),
))  # fmt: skip

BATCHES = Tab("Batches", "a batch you made", (
    Column("date", "Date", "date", 11, needed=True),
    Column("product", "Product", width=10, needed=True, choices="products"),
    Column("planned", "Pieces poured", "count", 9, note="Empty: as planned on the Products tab."),
    Column("good", "Good pieces", "count", 8, needed=True, note="What came out fit to sell."),
    Column("minutes", "Hands-on minutes", "number", 10, needed=True, note="Of everybody together."),
    Column("lots", "Lots used", width=36, note="As on the Purchases tab, with ; between."),
    Column("note", "Note", width=30),
    Column("booked", "Booked", "date", 11, TOOL, note="Written by the tool once stock has moved. Do not type here."),
))  # fmt: skip

FULFILS = ("promised", "waiting")
SALES = Tab("Sales", "pieces sold", (
    Column("date", "Date", "date", 11, needed=True),
    Column("product", "Product", width=28, needed=True, note="Its code or name."),
    Column("pieces", "Pieces", "number", 8, needed=True, note="Below 0 for what came back."),
    Column("channel", "Channel", width=16),
    Column("order", "Order", width=14, note="An order's line is taken over once."),
    Column("fulfils", "Fulfils", width=10, choices=FULFILS, note="promised or waiting, where these pieces were counted there on Products: booking lowers that too. Empty: neither."),
    Column("source", "From", width=24),
    Column("booked", "Booked", "date", 11, TOOL, note="Written by the tool once stock has moved. Do not type here."),
))  # fmt: skip

HER_TABS = (SUPPLIERS, MATERIALS, PURCHASES, PRODUCTS, LINES, PAY, WORK, ACTIVITIES, CHANNELS, ANNOUNCED, WEEK, BATCHES, SALES)

RECIPE_LABELS = {"name": "Recipe", "code": "Code", "makes": "Makes", "loss": "Bench loss", "note": "Note"}
RECIPE_COLUMNS = (
    Column("order", "Order", "count", 8),
    Column("material", "Material", width=44, needed=True, choices="materials", synonyms=("Ingredient", "What"),
           note="A material or a recipe. (scent) and (colour) are filled by the product. one of: A / B / C prices the first."),
    Column("amount", "Amount", "text", 26, needed=True, note="As you write it: 2 1/4, 1½, 4-6, up to 3 (usual 2), 1 lb 8 oz."),
    Column("unit", "Unit", width=9, choices=UNITS, needed=True, note="% is a share of everything that goes in."),
    Column("when", "When", width=11, choices=("always", "if colour", "if scent", "optional"), note="if colour: left out when the piece has none."),
    Column("dries_off", "Dries off", width=9, choices=YES_NO, note="yes: paid for, not in the finished piece."),
    Column("note", "Note", width=30),
)  # fmt: skip


NOTICE = (
    "Handle with care: wear a dust mask and eye protection with surfactant powder and citric acid; follow the supplier's"
    " safety data sheet and scent certificate. What a label must say and whether a piece may be sold is for local law and"
    " a qualified assessor to decide; this workbook only counts money."
)


def plain_look(tab: Tab, rows: int, *, charts: tuple[Chart, ...] = ()) -> Look:
    """How a declared tab with its headings in its third row and `rows` rows below is shown."""
    last = max(rows, 1) + 2
    return Look(
        widths={i: c.width for i, c in enumerate(tab.columns)},
        freeze=(3, 2 if len(tab.columns) > 3 else 1),
        filter=(2, 0, last, len(tab.columns) - 1),
        rules=tuple(_rules(tab, last)),
        notes={(2, i): c.note for i, c in enumerate(tab.columns) if c.note},
        charts=charts,
        heights={2: 56.0 if max(len(c.heading) / c.width for c in tab.columns) > 1.9 else 42.0},
        title_rows=(2, 2),
        colour=COLOURS["her tab" if tab.ink == HERS else "tool tab"],
    )


def _rules(tab: Tab, last: int) -> list[Rule]:
    found = []
    for i, column in enumerate(tab.columns):
        area = (3, i, max(last, 500) if tab.ink == HERS else last, i)
        if isinstance(column.choices, str):
            found.append(Rule(area, "range", range_of(column.choices), f"Usually one of your {column.choices}."))
        elif column.choices:
            found.append(Rule(area, "list", column.choices))
        elif column.ink == HERS and column.kind in ("money", "percent", "count", "number"):
            found.append(Rule(area, "number", message="A number."))
        elif column.ink == HERS and column.kind == "date":
            found.append(Rule(area, "date", message="A date."))
    return found


def range_of(name: str) -> str:
    """The reference of a dropdown's source column, for a book laid out new."""
    tab_name, key = RANGES[name]
    tab = next(t for t in HER_TABS if t.name == tab_name)
    letters = column_name(tab.place(key))
    return f"{sheet_ref(tab_name)}!${letters}$4:${letters}$503"


def style_for(column: Column, ink: str | None = None) -> str:
    """The style name of a cell in that column."""
    return f"{'her' if (ink or column.ink) == HERS else 'tool'} {column.kind}"


def settings_by_label() -> Mapping[str, SettingRow]:
    """Every setting by its folded label and synonyms."""
    return {name.casefold(): row for row in SETTINGS for name in (row.label, *row.synonyms)}
