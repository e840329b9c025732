"""Published cost accounting, worked out by the program's own costing: job, process and activity costs, overhead, stock."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

from published.figures import FIGURES, Cases, Entry
from published.small_books import (
    ON,
    activity,
    book,
    bought_line,
    channel,
    exact,
    item,
    lots,
    made,
    money,
    pieces,
    set_cost,
    take,
    work,
    worked,
)
from pytest import approx
from records import replace

from costbook.amounts.money import allocate, rounded
from costbook.book.model import RATE_RULES, Settings
from costbook.costing.rates import LandedLine, landed_lines, layers_value, rates
from costbook.costing.tiers import break_even_pieces, channel_cost, kept_per_piece
from costbook.costing.usage import Cost, Usage, cost_at

CASES = Cases([])
JOB, OVERHEAD, PROCESS = "job costing", "overhead", "process costing"
ACTIVITIES, STOCK, JOINT, DECISIONS = "activity-based costing", "inventory methods", "joint cost", "decisions on cost"


def overhead(per_year: float, hours: float) -> Settings:
    return Settings(book_date=ON, overhead_per_year=money(per_year), hands_on_hours_per_year=money(hours))


# ------------------------------------------------------------------ jobs and overhead


def job(materials: float, labour_dollars: float, settings: Settings) -> Cost:
    """A job's cost sheet: an hour paid 1.00 stands for a dollar of labour, so overhead a labour dollar is overhead an hour."""
    one = made("JOB", take("packaging", "K"), family="JOB")
    return worked(book([one], [item("K", materials)], [work("JOB", 1, 60 * labour_dollars)], settings=settings))["JOB"]


@CASES.of("A18", OVERHEAD, "overhead a year over its base as the Start tab takes them; a product's overhead by usage x rate")
def predetermined_rate(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    settings = overhead(given["overhead_est"], given["direct_labor_dollars_est"])
    assert settings.overhead_per_hour == exact(published["rate"])
    assert job(0, given["job_labor"], settings).parts["overhead"] == approx(published["applied"])


@CASES.of("A19", JOB, "unit cost of a piece with a quoted item, a step of work and overhead by that work")
def job_cost_sheet(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    found = job(given["direct_materials"], given["direct_labor"], overhead(given["rate_per_labor_dollar"], 1))
    assert found.parts["labour"] == approx(given["direct_labor"])
    assert found.parts["overhead"] == approx(published["overhead"])
    assert found.unit_cost == approx(published["total"])


@CASES.of("A23", OVERHEAD, "overhead a year over its base, for the whole shop and as two activities")
def rates_of_shop_and_departments(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    whole = overhead(given["overhead"], given["labor_dollars"]).overhead_per_hour
    assert whole * 100 == published["plantwide_pct_of_labor"]
    cut, checked = given["dept"]["cut"], given["dept"]["qc"]
    assert activity("cutting", cut["oh"], cut["mh"]).rate == published["cut_per_mh"]
    assert activity("checking", checked["oh"], checked["dlh"]).rate == published["qc_per_dlh"]


def batch_of(fixed: float, each: float, batch: int) -> tuple[Usage, dict[str, Cost]]:
    """A batch that costs so much whatever its size, and so much a piece."""
    one = made("P", take("packaging", "K"), take("consumable", "C", per_batch=True), batch=batch)
    whole = book([one], [item("K", each), item("C", fixed, "consumable")])
    return Usage(whole), worked(whole)


@CASES.of("A44", OVERHEAD, "cost of a piece (here: of an hour) at other batch sizes, what is paid once a batch spread over it")
def flexible_rate(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    usage, _ = batch_of(given["fixed"], given["var_per_hour"], 2000)
    found = [cost_at(usage, rates(usage.book, ON), "P", hours / 2000) for hours in given["hours"]]
    assert [rounded(rate) for rate in found] == [money(rate) for rate in published["rate"]]
    assert [rate * hours for rate, hours in zip(found, given["hours"])] == approx(published["total"])


@CASES.of("A50", OVERHEAD, "cost of the usual batch, and cost of a piece at other batch sizes")
def cost_equation(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    first = given["units"][0]
    usage, found = batch_of(given["fixed"], given["variable"], first)
    assert found["P"].batch_cost == approx(published["total"][0])
    each = [cost_at(usage, rates(usage.book, ON), "P", count / first) for count in given["units"]]
    assert [cost * count for cost, count in zip(each, given["units"])] == approx(published["total"])


def piece_with_overhead(given: Entry, fixed: float, made_pieces: int) -> float:
    """Materials, labour (an hour a piece), overhead that varies by the piece, and fixed overhead over the hours."""
    one = made("P", take("packaging", "K"), take("activity", "power"), family="P")
    settings = overhead(fixed, made_pieces)
    sheet = book([one], [item("K", given["dm"])], [work("P", given["dl"], 60)], [activity("power", given["voh"])], settings=settings)
    return worked(sheet)["P"].unit_cost


@CASES.of("A32", JOB, "unit cost with and without overhead a year, both in usage x rate")
def absorption_unit_cost(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    assert piece_with_overhead(given, 0, given["units"]) == approx(published["variable_unit"])
    assert piece_with_overhead(given, given["foh"], given["units"]) == approx(published["absorption_unit"])


@CASES.of("A30", JOB, "unit cost with and without overhead a year, times pieces as a set; income by the pieces that earn it")
def absorption_and_variable_income(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    left = given["units_made"] - given["units_sold"]
    for name, fixed, period in (("absorption", given["foh"], 0), ("variable", 0, given["foh"])):
        each = piece_with_overhead(given, fixed, given["units_made"])
        kept = kept_per_piece(given["price"], each)
        assert set_cost([given["units_sold"]], [each]) == approx(published[name]["cogs"])
        assert set_cost([left], [each]) == approx(published[name]["end_inv"])
        assert break_even_pieces(kept, period, published[name]["income"]) == approx(given["units_sold"])
        assert break_even_pieces(kept, period, published["if_all_sold_income"]) == approx(given["units_made"])


# ------------------------------------------------------------------ process costing


def stages(materials: float, conversion: float, units: tuple[int, int], finished: int, waiting: tuple[int, int]) -> dict[str, Cost]:
    """Two stages costed over their equivalent units, the finished pieces made of both, and what waits half done."""
    matter = made("MAT", take("packaging", "K", per_batch=True), batch=units[0])
    making = made("CONV", take("activity", "conversion", per_batch=True), batch=units[1])
    piece = made("PIECE", take("product", "MAT"), take("product", "CONV"))
    done = made("DONE", take("product", "PIECE", finished))
    half = made("HALF", take("product", "MAT", waiting[0]), take("product", "CONV", waiting[1]))
    return worked(book([matter, making, piece, done, half], [item("K", materials)], activities=[activity("conversion", conversion)]))


@CASES.of("A34", PROCESS, "two stages as products a batch of which makes the equivalent units; pieces and part-made stock made of them")
def weighted_average_process(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    waiting = (given["end_wip"], int(given["end_wip"] * exact(given["pct_conv"])))
    units = published["eu"]
    assert units == [given["completed"] + waiting[0], given["completed"] + waiting[1]]
    found = stages(given["mat_cost"], given["conv_cost"], tuple(units), given["completed"], waiting)
    assert [found["MAT"].unit_cost, found["CONV"].unit_cost] == approx(published["cost_per_eu"])
    assert found["PIECE"].unit_cost == approx(published["total"])
    assert found["DONE"].unit_cost == approx(published["transferred"])
    assert found["HALF"].unit_cost == approx(published["end_wip_value"])


@CASES.of("A36", PROCESS, "two stages as products, rounded to the cent at the end only")
def process_costs_to_the_cent(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    found = stages(given["mat_cost"], given["conv_cost"], (given["started"], published["eu_conv"]), 1, (0, 0))
    assert [rounded(found[p].unit_cost) for p in ("MAT", "CONV")] == [money(x) for x in published["cost_per_eu"]]
    assert rounded(found["PIECE"].unit_cost) == money(published["total"])


# ------------------------------------------------------------------ activities


def by_activities(given: Entry) -> tuple[list[float], list[Cost]]:
    """The activity rates, and the cost of each product with its setups, orders ... taken once a batch."""
    known = [activity(name, cost, times) for name, (cost, times) in given["activities"].items()]
    names = list(given["drivers"])
    products, items, done = [], [], []
    for name, units, materials, labour in zip(names, given["units"], given["dm"], given["dl"]):
        takes = [take("activity", a.name, count, per_batch=True) for a, count in zip(known, given["drivers"][name])]
        products.append(made(name, take("packaging", f"K {name}"), *takes, batch=units, family=name))
        items.append(item(f"K {name}", materials))
        done.append(work(name, labour, 60))
    made_up = book(products, items, done, known)
    found = worked(made_up)
    return list(rates(made_up, ON).activities.values()), [found[name] for name in names]


def by_labour_hours(given: Entry) -> tuple[Decimal, list[Cost]]:
    """One overhead rate on labour hours, and the cost of each product by it."""
    settings = overhead(given["overhead"], sum(given["dlh"]))
    products, items, done = [], [], []
    for i, (units, hours) in enumerate(zip(given["units"], given["dlh"])):
        products.append(made(f"P{i}", take("packaging", f"K{i}"), batch=units, family=f"P{i}"))
        items.append(item(f"K{i}", given["dm"][i]))
        done.append(work(f"P{i}", money(given["dl"][i]) * units / hours, Fraction(60 * hours, units)))
    found = worked(book(products, items, done, settings=settings))
    return settings.overhead_per_hour, list(found.values())


def gross(given: Entry, found: list[Cost]) -> list[float]:
    return [kept_per_piece(price, cost.unit_cost) for price, cost in zip(given["price"], found)]


@CASES.of("A25", ACTIVITIES, "activity rates, activities taken by product lines, unit cost and what a price keeps")
def activity_based(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    found_rates, found = by_activities(given)
    assert found_rates == approx(published["rates"])
    assert [cost.parts["overhead"] * cost.good for cost in found] == approx(published["oh_total"])
    assert [cost.parts["overhead"] for cost in found] == approx(published["oh_unit"])
    assert [cost.unit_cost for cost in found] == approx(published["unit_cost"])
    assert gross(given, found) == approx(published["gross_profit_unit"])


@CASES.of("A26", OVERHEAD, "one overhead rate on hands-on hours, unit cost and what a price keeps")
def by_one_rate(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    rate, found = by_labour_hours(given)
    assert rate == exact(published["rate"])
    assert [cost.parts["overhead"] for cost in found] == approx(published["oh_unit"])
    assert [cost.unit_cost for cost in found] == approx(published["unit_cost"])
    assert gross(given, found) == approx(published["gross_profit_unit"])


@CASES.of("A27", ACTIVITIES, "the books of A25 and A26, product by product")
def activities_against_one_rate(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    _, ours = by_activities(FIGURES["A25"]["inputs"])
    _, plain = by_labour_hours(FIGURES["A26"]["inputs"])
    assert [cost.unit_cost for cost in ours] == approx(given["abc"])
    assert [cost.unit_cost for cost in plain] == approx(given["traditional"])
    assert [one.unit_cost - other.unit_cost for one, other in zip(ours, plain)] == approx(published["difference"])


@CASES.of("A29", ACTIVITIES, "a year's activity cost taken once by a batch, a piece's share of it")
def activity_cost_of_a_unit(entry: Entry) -> None:
    known = [activity(f"pool {i}", cost) for i, cost in enumerate(entry["inputs"]["allocated"])]
    products = [made(a.name, take("activity", a.name, per_batch=True), batch=n) for a, n in zip(known, entry["inputs"]["units"])]
    found = worked(book(products, activities=known))
    assert [cost.parts["overhead"] for cost in found.values()] == approx(entry["published"]["oh_unit"])


# ------------------------------------------------------------------ decisions


@CASES.of("A52", DECISIONS, "unit cost of its parts, what a price keeps, and an order's own cost spread over its pieces")
def special_order(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    cost = piece_with_overhead(given, 0, 1)
    assert cost == approx(published["vc"])
    assert kept_per_piece(given["offer"], cost) == approx(published["gain_unit_idle"])
    extra = channel_cost(channel(per_order=money(given["extra_if_full"]), pieces_per_order=money(given["qty"])), {})
    assert kept_per_piece(given["offer"], cost, fixed=extra) == approx(published["gain_unit_full"])
    assert kept_per_piece(given["normal_price"], cost) == approx(published["normal_cm"])


@CASES.of("A53", DECISIONS, "the pieces that pay a fixed cost and leave the published gain")
def sell_or_go_on(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    assert break_even_pieces(given["scrap_price"], 0, published["sell_now"]) == approx(given["scrap_lb"])
    kept = kept_per_piece(given["price"], given["vc"])
    assert break_even_pieces(kept, given["added_fixed"], published["process"]) == approx(given["units"])


@CASES.of("A55", JOINT, "shares that sum to the cent, and a paper's charge shared by weight and by value")
def joint_cost(entry: Entry) -> None:
    given = entry["inputs"]
    values = [weight * price for weight, price in zip(given["weights"], given["prices"])]
    for words, weights, key in (("weight", given["weights"], "physical_split"), ("value", values, "sales_value_split")):
        published = [money(share) for share in entry["published"][key]]
        assert allocate(money(given["joint_cost"]), weights) == published
        goods = [
            bought_line("goods", value, material=f"M{i}", packs=Decimal(1), pack=pieces(weight, "lb"))
            for i, (weight, value) in enumerate(zip(given["weights"], values))
        ]
        charge = bought_line("charge", given["joint_cost"], shared_by=words)
        landed, findings = landed_lines(book([], [item("M0", name="lb"), item("M1", name="lb")], bought=[*goods, charge]))
        assert not findings and [rounded(line.charges) for line in landed] == published


# ------------------------------------------------------------------ stock


def landed_of(bought: list[list[float]]) -> list[LandedLine]:
    return landed_lines(lots(bought, "layers", 0))[0]


def rate_by(rule: str, bought: list[list[float]], left: float) -> float:
    """What a piece costs by a rule of the program, with so many on hand."""
    return rates(lots(bought, rule, left), ON).materials["GOODS"].per_base


def check_layers(bought: list[list[float]], left: float, end: float, sold_cost: float) -> None:
    """First in, first out: what is left is of the newest lots, what is sold of the oldest."""
    lines, whole = landed_of(bought), sum(count for count, _ in bought)
    assert layers_value(lines, left) == approx(end)
    assert layers_value(lines, whole) - layers_value(lines, left) == approx(sold_cost)
    assert rate_by("layers", bought, left) * left == approx(end)


@CASES.of("A59", STOCK, "value of a count from the newest layers back, and the layers rule's rate")
def first_in_first_out(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    whole, sold = sum(count for count, _ in given["lots"]), sum(count for count, _ in given["sold"])
    check_layers(given["lots"], whole - sold, published["end_inv"], published["cogs"])
    available = layers_value(landed_of(given["lots"]), whole)
    assert available == approx(published["goods_available"])
    sales = set_cost([count for count, _ in given["sold"]], [price for _, price in given["sold"]])
    left = layers_value(landed_of(given["lots"]), whole - sold)
    assert kept_per_piece(sales, available - left) == approx(published["gross_margin"])


@CASES.of("A63", STOCK, "value of a count from the newest layers back: the same whether counted at each sale or at the end")
def first_in_first_out_at_each_sale(entry: Entry) -> None:
    steps = entry["inputs"]["sequence"]
    bought = [[int(count), int(price)] for count, price in re.findall(r"(\d+)@(\d+)", steps)]
    left = sum(count for count, _ in bought) - sum(map(int, re.findall(r"sell (\d+)", steps)))
    check_layers(bought, left, entry["published"]["end_inv"], entry["published"]["cogs"])


@CASES.of("A66", STOCK, "value of a count from the newest layers back, lots at one price")
def cost_of_goods_sold(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    bought = [[given["begin_units"], given["unit_cost"]], [given["buy_units"], given["unit_cost"]]]
    check_layers(bought, given["end_units"], published["end"], published["cogs"])
    assert layers_value(landed_of(bought), given["begin_units"] + given["buy_units"]) == approx(published["available"])


@CASES.of("A67", STOCK, "landed rate of a lot, the average rule's rate, the oldest layer; what a price keeps over each")
def margin_by_cost_method(entry: Entry) -> None:
    given, published = entry["inputs"], entry["published"]
    lines, whole = landed_of(given["lots"]), sum(count for count, _ in given["lots"])
    assert kept_per_piece(given["price"], lines[1].rate) == approx(published["specific(lot2)"])
    first = layers_value(lines, whole) - layers_value(lines, whole - 1)
    assert kept_per_piece(given["price"], first) == approx(published["fifo"])
    mean = rate_by("average", given["lots"], whole)
    assert rounded(kept_per_piece(given["price"], mean)) == money(published["avg"])


@CASES.of("A69", STOCK, "every rule a book can choose, on the lots of A59: layers and average are there, last in first out is not")
def permitted_rules(entry: Entry) -> None:
    bought, left = FIGURES["A59"]["inputs"]["lots"], 285
    ours = {rule: rate_by(rule, bought, left) * left for rule in RATE_RULES}
    assert {"FIFO": ours["layers"], "weighted average": ours["average"]}.keys() == set(entry["published"]["permitted"])
    assert ours["layers"] == approx(FIGURES["A59"]["published"]["end_inv"])
    assert ours["average"] == approx(left * 16155 / 585)  # A59's goods available over its 585 pieces
    assert entry["published"]["not_permitted"] == ["LIFO"]
    oldest_first = 150 * 21 + (left - 150) * 27  # 6,795, as the source prints it for last in, first out
    assert not any(value == approx(oldest_first) for value in ours.values())
    # One rule for the whole book, which a material may only leave where she says so.
    plain = replace(lots(bought, "", left), settings=Settings(book_date=ON, rate_rule="average"))
    same = rates(plain, ON).materials["GOODS"].per_base * left == approx(ours["average"])
    assert same is entry["published"]["same_formula_for_similar_nature_and_use"]
