"""The tool's own tabs, declared once: what it writes, and in some of them the columns she answers in."""

from __future__ import annotations

from costbook.book.layout import HERS, TOOL, UNITS, YES_NO, Column, Tab


def tool(key: str, heading: str, kind: str = "money", width: float = 11.0, note: str = "") -> Column:
    """A column the tool writes."""
    return Column(key, heading, kind, width, TOOL, note=note)


RATES = Tab("Landed rates", "a material, and what one unit of it costs you landed", (
    tool("code", "Code", "text", 8), tool("name", "Material", "text", 28), tool("rule", "Price used", "text", 10),
    tool("per", "Per", "text", 7), tool("rate", "Landed rate", "rate", 12, "What is left in hand of one unit costs this much: goods, charges, tax not reclaimed, waste."),
    tool("list_rate", "List price per unit", "rate", 12), tool("goods", "Goods after discount", "money", 11),
    tool("charges", "Freight and fees", "money", 11), tool("tax", "Tax not reclaimed", "money", 10), tool("charges_fraction", "Freight and fees, share", "percent", 10),
    tool("paper", "Paper", "text", 12), tool("date", "Date", "date", 11), tool("row", "From row", "text", 30),
    tool("weight_source", "Weight per volume", "wrapped", 32),
), TOOL)  # fmt: skip

COSTS = Tab("Costs", "a product, and what one good piece costs", (
    tool("code", "Code", "text", 8), tool("name", "Product", "text", 32), tool("materials", "Materials"),
    tool("packaging", "Packaging"), tool("consumables", "Consumables", width=12.5), tool("labour", "Labour"), tool("overhead", "Overhead"),
    tool("unit_cost", "Unit cost", note="One good piece, everything a batch takes divided by the good pieces."),
    tool("lowest", "Lowest cost", note="Least of low, usual and high amounts: a low amount can be the dearer piece."),
    tool("highest", "Highest cost"), tool("choice_low", "Cheapest choice", note="With the alternatives your recipes name."),
    tool("choice_high", "Dearest choice"), tool("batch_cost", "Batch cost"), tool("good", "Good pieces", "count", 8),
    tool("minutes", "Hands-on minutes a piece", "minutes", 10), tool("batch_minutes", "Hands-on minutes a batch", "minutes", 10),
), TOOL)  # fmt: skip

PRICES = Tab("Prices", "a product in one channel", (
    tool("code", "Code", "text", 8), tool("name", "Product", "text", 32), tool("channel", "Channel", "text", 15),
    tool("unit_cost", "Unit cost"), tool("channel_cost", "Channel cost a piece", note="Per piece, order share and stall share; fees on the price come on top."),
    tool("floor", "Floor price", note="Least shown price that still meets the floor."),
    tool("exact", "Exact target price", note="Before rounding."),
    tool("proposal", "Proposed price", note="Rounded up to the ending; retail not under its multiple of wholesale."),
    tool("proposal_margin", "Margin at proposal", "percent", 9), tool("proposal_kept", "Kept at proposal", "percent", 9),
    tool("her_price", "Your price now"), tool("margin", "Margin", "percent", 9, "(price - unit cost) / price, without tax."),
    tool("kept", "Kept a piece", note="What is left after unit cost and channel costs."),
    tool("kept_fraction", "Kept, share", "percent", 9),
    tool("day_pieces", "Pieces that pay the day", "count", 9, note="How many of this piece alone pay the stall's day; every one after that is kept."), tool("flag", "Flag", "text", 16),
    Column("trial", "Trial price: type here", "money", 11, HERS, note="Type any price; the two columns beside answer at once. Kept over the tool's runs."),
    tool("trial_margin", "Margin at trial", "percent", 9), tool("trial_kept", "Kept at trial", "money", 10),
    tool("compare", "To compare: rule of thumb", note="Cost times your multiplier (and wholesale times, for retail). Never used to decide."),
    tool("compare_materials", "To compare: materials times", "money", 10),
), TOOL)  # fmt: skip

TRACE = Tab("Cost trace", "one thing a piece takes: usage x rate, with the paper the rate came from", (
    tool("product", "Product", "text", 10), tool("kind", "Kind", "text", 13), tool("item", "Item", "text", 30),
    tool("usage", "Usage a good piece", "usage", 12), tool("unit", "Unit", "text", 8), tool("rate", "Rate per unit", "rate", 12),
    tool("cost", "Cost", "rate", 12), tool("paper", "From paper", "text", 14), tool("date", "Date", "date", 11),
    tool("row", "Row", "text", 22), tool("check", "Tool's figure", "rate", 12),
), TOOL)  # fmt: skip

REVIEW = Tab("Invoice review", "a line of a paper that was not posted, and why", (
    tool("file", "File", "text", 24), tool("supplier", "Supplier", "text", 20), tool("paper", "Paper", "text", 12), tool("date", "Date", "date", 11),
    tool("line", "Line", "text", 9, "Which of the paper's lines it is."), tool("description", "Description", "text", 34), tool("packs", "Packs", "number", 8),
    tool("price", "Price", "money", 9), tool("amount", "Amount", "money", 10),
    Column("material", "Material", width=26, choices="materials", note="Your material, filled in where known or likely. A new name makes a new row on Materials."),
    Column("pack", "Pack size", width=9, note="How much one pack holds."),
    Column("pack_unit", "Pack unit", width=9, choices=UNITS),
    Column("right", "Right?", width=9, choices=YES_NO, note="yes on every line of a paper, then post once more: it goes to Purchases as it stands here. A no keeps it here."),
    tool("reason", "Why not posted", "text", 54), tool("hint", "Why this material", "text", 36),
    tool("kind", "Line is", "text", 10), tool("item_code", "Item code", "text", 11), tool("paper_type", "Type", "text", 10),
    tool("shared_by", "Shared by", "text", 9), tool("covers", "Covers", "text", 9), tool("currency", "Currency", "text", 9),
    tool("currency_rate", "Currency rate", "number", 9), tool("lot", "Lot", "text", 9), tool("best_before", "Best before", "date", 11),
    tool("source", "Posted from", "text", 22),
    tool("taken", "Taken for granted", "text", 22, "What this reading assumed about how the paper is laid out. Once you confirm the paper, Paper layouts keeps it."),
), TOOL)

PAPER_LAYOUTS = Tab("Paper layouts", "one thing about how a supplier's papers are laid out, kept from a paper you confirmed", (
    Column("supplier", "Supplier", width=28, needed=True, choices="suppliers"),
    Column("about", "About", width=12, needed=True, choices=("heading", "dates", "numbers")),
    Column("printed", "Printed", width=24, note="The heading as it stands on the paper."),
    Column("means", "Means", width=16, needed=True,
           note="A heading: item code, description, packs, pack size, unit, price, amount, discount, lot, best before, nothing."
           " Dates: day first, month first. Numbers: point, comma."),
    Column("paper", "Kept from paper", width=16),
), TOOL)  # fmt: skip

FINDINGS = Tab("Findings", "one thing to look at", (
    tool("level", "Level", "text", 8), tool("sentence", "What was found", "text", 78), tool("where", "Where", "text", 22),
    tool("do", "What to do", "text", 56), tool("about", "Products", "text", 22),
), TOOL)  # fmt: skip

CHANGED = Tab("What changed", "a product, and what announced prices do to what it costs", (
    tool("code", "Code", "text", 8), tool("name", "Product", "text", 32), tool("before", "Cost now"), tool("after", "Cost after"),
    tool("rise", "Rise", note="What one good piece costs more: the materials to the right, added up."),
    tool("rise_fraction", "Rise, share", "percent", 9), tool("sold", "Sold a week", "number", 9),
    tool("a_year", "A year at present sales", note="Rise x sold a week x 52."),
), TOOL)  # fmt: skip

DECISIONS = Tab("Price decisions", "one of your prices in one channel, before and after; say what to do about it", (
    tool("code", "Code", "text", 8), tool("name", "Product", "text", 32), tool("channel", "Channel", "text", 15), tool("column", "Your price", "text", 10),
    tool("price", "Price now"), tool("margin", "Margin now", "percent", 9), tool("margin_after", "Margin after", "percent", 9),
    tool("kept", "Kept now, share", "percent", 9), tool("kept_after", "Kept after, share", "percent", 9),
    tool("floor", "Floor", "percent", 8), tool("flag", "How it stands after", "text", 20),
    tool("keeps", "Price that keeps today's margin", note="Up to the channel's ending. Once a price was accepted for a rise, it stays that price."), tool("target", "Price at target"),
    tool("sales", "Sales you may lose", "percent", 10, "At the price that keeps the margin: how many pieces fewer leave you where the rise would."),
    Column("decision", "Decision", width=14, choices=("keep margin", "target", "hold"), note="keep margin or target moves that price over; hold leaves yours. Empty: not decided."),
    Column("new_price", "Or your new price", "money", 10, HERS),
    Column("starts", "From", "date", 11, note="Empty: today."),
    Column("orders_until", "Old price for orders until", "date", 12, note="Orders already accepted keep the old price until then."),
    Column("reason", "Reason", width=28, note="Kept in the price log."),
), TOOL)  # fmt: skip

RISES = Tab("Supplier rises", "a price announced, or a rise that no price shows", (
    tool("code", "Code", "text", 8), tool("name", "Material", "text", 28), tool("what", "What", "text", 14), tool("supplier", "Supplier", "text", 22),
    tool("starts", "From", "date", 11), tool("price_before", "Pack price now"), tool("price_after", "Pack price then"),
    tool("pack_before", "Pack now", "text", 10), tool("pack_after", "Pack then", "text", 10), tool("rise", "Rise a unit", "percent", 9),
    tool("per", "Per", "text", 6), tool("rate_before", "Landed now", "rate", 12), tool("rate_after", "Landed then", "rate", 12),
    tool("products", "Products it is in", "count", 9), tool("a_year", "A year at present sales"), tool("said", "In words", "text", 60),
), TOOL)  # fmt: skip

LEVERS = Tab("What else to do", "one thing that would lower what a product under its floor costs", (
    tool("code", "Code", "text", 8), tool("name", "Product", "text", 30), tool("kind", "What", "text", 12), tool("words", "In words", "text", 66),
    tool("unit_cost", "Unit cost then"), tool("effect", "Changes it by"), tool("channel", "Channel", "text", 14),
    tool("margin", "Margin then", "percent", 9), tool("back", "Back over the floor", "text", 10),
), TOOL)  # fmt: skip

MOVERS = Tab("What moves costs", "something bought, a role or overhead, and how much of a year's cost of sales it is", (
    tool("item", "Item", "text", 32), tool("kind", "Kind", "text", 13), tool("share", "Share of a year's cost", "percent", 10, "1 % on its price moves the year's cost by so much of a percent."),
    tool("a_year", "A year"), tool("ten", "10 % on it adds a year"), tool("most_in", "Largest in", "text", 30), tool("part", "Part of that piece", "percent", 10),
), TOOL)  # fmt: skip

SINCE = Tab("Since accepted", "a product, and why its cost changed since you last accepted prices", (
    tool("code", "Code", "text", 8), tool("name", "Product", "text", 32), tool("before", "Cost then"), tool("after", "Cost now"), tool("change", "Change"),
    tool("good_pieces", "Good pieces"), tool("recipe", "Recipe"), tool("packaging", "Packaging"), tool("labour_minutes", "Labour minutes"),
    tool("overhead_minutes", "Overhead minutes"), tool("rates", "Prices paid"), tool("pay", "Pay"), tool("overhead_rate", "Overhead rate"),
), TOOL)  # fmt: skip

PRICE_LOG = Tab("Price log", "a price of yours that was accepted", (
    tool("accepted", "Accepted", "date", 11), tool("code", "Code", "text", 8), tool("name", "Product", "text", 32), tool("column", "Your price", "text", 10),
    tool("old", "Old price"), tool("new", "New price"), tool("starts", "From", "date", 11), tool("orders_until", "Old price for orders until", "date", 12),
    tool("unit_cost", "Unit cost then"), tool("margin", "Margin at new price", "percent", 10), tool("reason", "Reason", "text", 40),
), TOOL)  # fmt: skip

STATE = Tab("Accepted state", "one figure of the state your prices were last accepted in", (
    tool("what", "What", "text", 10), tool("product", "Of product", "text", 10), tool("category", "Category", "text", 13),
    tool("item", "Item", "text", 16), tool("value", "Value", "rate", 18),
), TOOL)  # fmt: skip

LINE_SHEET = Tab("Line sheet", "a product for shops; never a cost", (
    tool("code", "Code", "text", 10), tool("name", "Product", "text", 40), tool("wholesale", "Wholesale"), tool("retail", "Suggested retail"),
    tool("size", "Size", "text", 12), tool("pack", "Packs of", "count", 9), tool("to_come", "Price to come", "text", 36),
), TOOL)  # fmt: skip

PRICE_NOTICE = Tab("Price notice", "a price that changes, for shops", (
    tool("code", "Code", "text", 10), tool("name", "Product", "text", 40), tool("old", "Wholesale until then", width=12.0)._replace(synonyms=("Wholesale until now",)),
    tool("new", "New wholesale", width=12.0), tool("retail", "Suggested retail", width=12.0), tool("starts", "From", "date", 12),
    tool("until", "Old price for orders until", "date", 12),
), TOOL)  # fmt: skip

MAKE_NEXT = Tab("Make next", "a product, what is wanted of it, and what a batch of it brings", (
    tool("place", "Place", "count", 6), tool("code", "Code", "text", 8), tool("name", "Product", "text", 32), tool("need", "Wanted", "number", 8),
    tool("batches", "Batches", "count", 8), tool("for_sets", "More for sets", "number", 8, "Pieces that the sets wanted take, on top of what is wanted of it by itself. Stock is counted once."),
    tool("in_all", "Batches in all", "count", 8, "For what is wanted and for sets."), tool("possible", "Stock allows, batches", "count", 9), tool("reason", "In a sentence", "text", 62),
    tool("margin", "Margin a piece", note="Your retail price without tax less unit cost."), tool("fraction", "Margin, share", "percent", 8),
    tool("cash_hour", "Cash an hour of hands", note="Price less fee, order share, materials, packaging and consumables, over the piece's hands-on hours; a set counts its parts' hours."),
    tool("good", "Good a batch", "count", 8), tool("cash_rack", "Cash a rack-night"), tool("cash_mould", "Cash a mould"), tool("hands", "Hands-on hours a batch", "amount", 9), tool("rest", "Rest hours", "number", 7),
    tool("finished", "Finished by", "date", 11, "One batch begun today."), tool("ships", "May ship from", "date", 11), tool("season", "Season ends", "date", 11),
    tool("sold_out", "Sold out since", "date", 11), tool("short", "Short of", "text", 26),
), TOOL)  # fmt: skip

PLAN = Tab("Plan", "a product the plan makes, or a promise it cannot meet", (
    tool("code", "Code", "text", 8), tool("name", "Product", "text", 32), tool("batches", "Batches", "count", 8), tool("pieces", "Good pieces", "number", 9),
    tool("into_sets", "Of them into sets", "number", 9), tool("keeps", "Cash", note="What its pieces bring: price less fee, order share, materials, packaging, consumables. Promised pieces at the price of the channel they are promised in, others at retail."),
    tool("wanted", "Wanted", "number", 8), tool("for_sets", "More for sets", "number", 8), tool("said", "In words", "text", 80),
), TOOL)  # fmt: skip

HELD_BACK = Tab("What holds it back", "something there is this week, and what one more of it would bring", (
    tool("name", "What", "text", 32), tool("kind", "Kind", "text", 10), tool("unit", "In", "text", 8), tool("available", "There is", "amount", 11),
    tool("used", "Used", "amount", 11), tool("left", "Left", "amount", 11), tool("one", "One more is", "text", 12),
    tool("brings", "And brings", note="Money the best plan would keep more."), tool("promised", "And promised pieces", "number", 9),
    tool("how", "How that is known", "text", 20), tool("stops", "Too little for one more of", "text", 36),
), TOOL)  # fmt: skip

WORK_DAYS = Tab("Days of work", "one step of a batch of the plan, or a rest", (
    tool("day", "Day", "date", 11), tool("start", "From", "text", 7), tool("end", "To", "text", 18), tool("code", "Code", "text", 8), tool("name", "Product", "text", 32),
    tool("batch", "Batch", "count", 7), tool("step", "Step", "text", 30), tool("role", "Who", "text", 12), tool("hours", "Hours", "amount", 8),
), TOOL)  # fmt: skip

BATCH_TIMES = Tab("Batch times", "a batch of the plan from first step to the day it may ship", (
    tool("label", "Batch", "text", 16), tool("name", "Product", "text", 32), tool("start", "Starts", "text", 17), tool("finished", "Hands off", "text", 17),
    tool("ships", "May ship", "text", 17), tool("offset", "Days until it starts", "amount", 10), tool("working", "Days in hand", "amount", 10),
    tool("resting", "Days at rest after", "amount", 10),
), TOOL)  # fmt: skip

NIGHTS = Tab("Places by night", "a night, and how many places are taken", (
    tool("night", "Night of", "date", 11), tool("place", "Place", "text", 18), tool("used", "Taken", "number", 9), tool("there", "There are", "number", 9),
), TOOL)  # fmt: skip

TO_BUY = Tab("To buy", "a material that is short, in whole packs", (
    tool("code", "Code", "text", 8), tool("name", "Material", "text", 28), tool("unit", "In", "text", 8), tool("needed", "Needed", "amount", 10),
    tool("on_hand", "On hand", "amount", 10), tool("lacking", "Short", "amount", 10), tool("supplier", "Supplier", "text", 24), tool("packs", "Packs", "count", 7),
    tool("pack", "Of", "text", 10), tool("price", "A pack, landed"), tool("cost", "Together"), tool("elsewhere", "Elsewhere", "text", 40),
), TOOL)  # fmt: skip

PLAN_BUYS = TO_BUY._replace(name="Plan buys", row_is="a material the plan is short of, in whole packs")

REORDER = Tab("When to reorder", "a material, and the count at which to order it again", (
    tool("code", "Code", "text", 8), tool("name", "Material", "text", 28), tool("unit", "In", "text", 8), tool("use", "Use a day", "amount", 10, "By what you sell a week."),
    tool("lead", "Lead days", "count", 8), tool("known", "Lead days are", "text", 12), tool("buffer", "Buffer", "amount", 10, "Seven days of use."),
    tool("point", "Order at", "amount", 10, "Use a day x lead days + buffer."), tool("on_hand", "On hand", "amount", 10), tool("due", "Order now", "text", 12),
), TOOL)  # fmt: skip

RESULTS = Tab("Batch results", "a batch you recorded, against what is usual; or another usual number to think about", (
    tool("date", "Date", "date", 11), tool("code", "Code", "text", 8), tool("name", "Product", "text", 30), tool("poured", "Poured", "count", 8),
    tool("good", "Good", "number", 8), tool("usual", "Usual good", "number", 9), tool("pieces_money", "Worth", note="Above 0: better than usual. At unit cost."),
    tool("minutes", "Minutes", "minutes", 9), tool("standard", "Usual minutes", "minutes", 9), tool("minutes_money", "Worth of minutes", note="Above 0: faster than usual. Pay and overhead."),
    tool("said", "In words", "text", 60),
), TOOL)  # fmt: skip

LOTS = Tab("Lots", "a lot in a batch: where it came from, and where it went", (
    tool("lot", "Lot", "text", 14), tool("material", "Material", "text", 28), tool("supplier", "Supplier", "text", 24), tool("paper", "Paper", "text", 12),
    tool("bought", "Bought", "date", 11), tool("best_before", "Best before", "date", 11), tool("made", "Batch of", "date", 11), tool("code", "Code", "text", 8),
    tool("name", "Product", "text", 30), tool("good", "Good pieces", "number", 8),
), TOOL)  # fmt: skip

COUNT = Tab("Count sheet", "something to count, and what the book says there is", (
    tool("what", "What", "text", 10), tool("code", "Code", "text", 8), tool("name", "Name", "text", 36), tool("unit", "In", "text", 8),
    tool("book", "Book says", "amount", 11), Column("counted", "Counted", "number", 11, HERS, note="For you. Type it under On hand on Materials or Products to have it counted from then on."),
    tool("difference", "Difference", "amount", 10),
    tool("value", "Value at cost", note="What the book says there is, by the book's rule; no selling costs."), Column("note", "Note", width=30),
), TOOL)  # fmt: skip

SHOP_COLUMNS = Tab("Shop columns", "a heading of your shop's sales list, and what it means", (
    Column("heading", "Heading", width=30, needed=True),
    Column("means", "Means", width=14, needed=True, choices=("date", "product", "pieces", "channel", "order", "nothing")),
    Column("example", "For example", width=36),
), TOOL)  # fmt: skip

TOOL_TABS = (
    COSTS, PRICES, RATES, TRACE, CHANGED, DECISIONS, RISES, LEVERS, MOVERS, SINCE, LINE_SHEET, PRICE_NOTICE, PRICE_LOG, STATE,
    MAKE_NEXT, PLAN, HELD_BACK, WORK_DAYS, BATCH_TIMES, NIGHTS, TO_BUY, PLAN_BUYS, REORDER, RESULTS, LOTS, COUNT, SHOP_COLUMNS, REVIEW, PAPER_LAYOUTS, FINDINGS,
)  # fmt: skip
