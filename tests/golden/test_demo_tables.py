"""Every table the demo's oracle printed, reproduced from the workbook file to its last printed decimal.

Expected numbers: the shared folder `demo/tables`, made by an oracle in exact fractions that shares no code with this
program. A figure is compared as text, rounded half up to the decimals the table prints.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from shared_files import printed, rows

from costbook.amounts.money import read_ending, up_to_ending
from costbook.amounts.quantity import unit
from costbook.commands import Outcome
from costbook.costing.checks import Priced
from costbook.costing.rates import LandedLine, papers
from costbook.costing.tiers import Pricer, Tier, net_price_for_margin, pricers
from costbook.costing.usage import Mix
from costbook.errors import Finding

T = "demo/tables/"
Read = tuple[Priced, list[Finding]]
MATERIALS = [f"M{i:02}" for i in range(1, 31)] + [f"K{i:02}" for i in range(1, 15)]
PRODUCTS = [f"P{i:02}" for i in range(1, 15)]
CHANNELS = ("Web", "Online", "Market", "Wholesale", "Consignment")
ENDINGS = {"0.25": "next 0.25", "0.50": "next 0.50", ".95": "ends .95"}


def differences(row: dict[str, str], found: dict[str, Any]) -> list[str]:
    """What of a table's row is found otherwise, by heading."""
    told = {k: v if isinstance(v, str) else printed(v, row[k]) for k, v in found.items()}
    return [f"{heading}: table {row[heading]}, found {text}" for heading, text in told.items() if text != row[heading]]


def by(table: str, key: str = "Code", **where: str) -> dict[str, dict[str, str]]:
    """The rows of a table by a column, of those that have these values."""
    return {r[key]: r for r in rows(T + table) if all(r[k.replace("_", " ")] == v for k, v in where.items())}


def today(table: str) -> dict[str, dict[str, str]]:
    return by(table, Prices="today")


def tier_of(priced: Priced, product: str, channel: str) -> Tier:
    return next(t for t in priced.tiers if (t.product, t.channel) == (product, channel))


def test_the_tables_are_the_whole_demo() -> None:
    """The lists of codes the tests below go through are the tables' own, so that no row is left out."""
    assert list(by("landed_expected.csv")) == MATERIALS
    for table in ("cost_expected.csv", "ranges_expected.csv"):
        assert list(by(table)) == PRODUCTS
    assert list(today("tier_summary_expected.csv")) == list(today("channels_expected.csv")) == PRODUCTS


# ------------------------------------------------------------ papers, rates


def test_invoice_totals(clean: Read) -> None:
    found = {sums.paper: sums for sums in papers(clean[0].book)}
    for number, row in by("invoice_totals_expected.csv", "Invoice").items():
        sums = found[number]
        assert (sums.supplier, str(sums.date)) == (row["Supplier"], row["Date"])
        told = {"Goods": sums.goods, "Discount": sums.discount, "Charges": sums.charges, "Total": sums.total}
        assert differences(row, told) == []
        assert sums.stated is not None and printed(sums.stated.amount, row["Total"]) == row["Total"]
    assert sorted(found) == ["B-0977", "B-1041", "C-0388", "C-0391", "S-2207"]


@pytest.mark.parametrize("code", MATERIALS)
def test_landed(code: str, clean: Read) -> None:
    row, rate = by("landed_expected.csv")[code], clean[0].rates.materials[code]
    line = rate.line
    assert isinstance(line, LandedLine) and (rate.rule, line.line.paper) == ("latest", row["Invoice"])
    per = 1.0 if row["Per"] == "each" else float(unit("oz").factor)
    assert (row["Per"] == "each") == (clean[0].book.materials[code].base == "each")
    told = {
        "List price per unit": line.list_rate * per,
        "Goods after discount": line.goods,
        "Freight and fees": line.charges,
        "Landed": rate.per_base * per,
        "Freight and fees %": line.charges / line.landed * 100,
    }
    assert differences(row, told) == []


def test_the_substituted_packs_are_two_of_half_the_size(clean: Read) -> None:
    """invoice_traps.csv: sea salt sent as 2 x 5 lb instead of 1 x 10 lb lands at the same price."""
    line = clean[0].rates.materials["M06"].line
    assert line is not None and line.line.pack is not None
    assert (line.line.packs, line.line.pack.usual, line.line.amount) == (2, 5, Decimal("13.8"))


def test_a_tin_costs_the_same_after_the_credit_note_and_the_mica_after_the_back_order(clean: Read) -> None:
    """invoice_traps.csv: credit note, back-order and sample are read and make no price."""
    kinds = {(x.line.paper, x.line.kind, x.line.paper_type): x.counted for x in clean[0].rates.landed}
    assert kinds[("C-0391", "goods", "credit note")] is False
    assert kinds[("S-2207", "back-order", "invoice")] is False
    assert any(x.kind == "sample" and x.amount == 0 for x in clean[0].book.purchases)
    assert [f for f in clean[1] if f.check == "price-zero"] == []


def test_the_average_rule_counts_the_older_paper_too(book: Any) -> None:
    """invoice_traps.csv: foaming powder 0.6333/oz by the latest paper, 0.6230/oz by the average rule."""
    trap = next(r["What must happen"] for r in rows(T + "invoice_traps.csv") if r["Invoice"] == "B-0977")
    assert "0.6333/oz" in trap and "0.6230/oz" in trap
    per_oz = float(unit("oz").factor)
    assert printed(book.worked_out()[0].rates.materials["M08"].per_base * per_oz, "0.6333") == "0.6333"
    book.type("Materials", "Price used", "M08", "average")
    rate = book.worked_out()[0].rates.materials["M08"]
    assert (rate.rule, printed(rate.per_base * per_oz, "0.6230")) == ("average", "0.6230")


# ------------------------------------------------------------ recipes


def batches(priced: Priced) -> dict[tuple[str, str, str], Mix]:
    """Every batch a product takes, nested ones too, by recipe, scent and colour."""
    found: dict[tuple[str, str, str], Mix] = {}
    for product in priced.book.products.values():
        waiting = [p.item for p in product.parts if p.kind == "recipe"]
        while waiting:
            mix = priced.usage.mix(waiting.pop(), product.fills)
            waiting += [item for _, item, _ in mix.lines if item in priced.book.recipes]
            found[(mix.recipe, product.fills.get("scent", ""), product.fills.get("colour", ""))] = mix
    return found


def test_recipe_batches(clean: Read) -> None:
    found, wrong = batches(clean[0]), []
    table = rows(T + "recipe_batches_expected.csv")
    for row in table:
        mix = found[(row["Recipe"], row["Scent"], row["Colour"])]
        cost = sum(grams * clean[0].rates.materials[code].per_base for code, grams in mix.bought.items())
        told = {
            "Grams in": mix.in_g,
            "Grams without what dries off": mix.stays_g,
            "Usable grams": mix.makes,
            "Batch cost": cost,
            "Cost per usable oz": cost / mix.makes * float(unit("oz").factor),
        }
        wrong += differences(row, told)
        assert clean[0].book.recipes[row["Recipe"]].name == row["Name"]
    assert wrong == [] and len(table) == 24


# ------------------------------------------------------------ cost


@pytest.mark.parametrize("code", PRODUCTS)
def test_cost(code: str, clean: Read) -> None:
    priced, row = clean[0], by("cost_expected.csv")[code]
    cost, web, wholesale = priced.costs[code], tier_of(priced, code, "Web"), tier_of(priced, code, "Wholesale")
    assert web.her_price is not None and wholesale.her_price is not None and web.margin and wholesale.margin
    parts = {name.capitalize(): value for name, value in cost.parts.items()}
    told = parts | {
        "Product": priced.book.products[code].name,
        "Full cost": cost.unit_cost,
        "Batch cost": cost.batch_cost,
        "Hands-on minutes per piece": cost.piece_minutes,
        "Owner minutes per batch": cost.batch_minutes.get("owner", 0.0),
        "Double-it wholesale": wholesale.compare,
        "Double-it retail": web.compare,
        "Wholesale now": wholesale.her_price,
        "Retail now": web.her_price,
        "Wholesale margin %": wholesale.margin * 100,
        "Retail margin %": web.margin * 100,
    }
    assert {"Materials", "Packaging", "Consumables", "Labour", "Overhead"} <= told.keys()
    assert differences(row, told) == []


@pytest.mark.parametrize("code", PRODUCTS)
def test_low_usual_high_and_the_named_oils(code: str, clean: Read) -> None:
    row, cost = by("ranges_expected.csv")[code], clean[0].costs[code]
    oils = [cost.choices[min(i, len(cost.choices) - 1)] for i in range(3)]
    told = {
        "Cost with low amounts": cost.low,
        "Cost with usual amounts": cost.unit_cost,
        "Cost with high amounts": cost.high,
        "Lowest cost": cost.lowest,
        "Highest cost": cost.highest,
        "First oil": oils[0],
        "Second oil": oils[1],
        "Third oil": oils[2],
    }
    assert differences(row, told) == []


def test_good_pieces(copied: Callable[[], Any]) -> None:
    for row in rows(T + "good_pieces_expected.csv"):
        copy = copied()
        copy.type("Products", "Good pieces", row["Code"], int(row["Good pieces"]))
        cost = copy.worked_out()[0].costs[row["Code"]]
        assert cost.good == int(row["Good pieces"])
        assert differences(row, {"Cost per good piece": cost.unit_cost}) == []


# ------------------------------------------------------------ prices


def test_channel_costs(clean: Read) -> None:
    table, fixed = by("channels.csv", "Channel"), {p.channel.name: p for p in pricers(clean[0].book)}
    assert tuple(table) == CHANNELS
    for name, row in table.items():
        assert differences(row, {"Fixed per piece": fixed[name].fixed, "Price used": fixed[name].channel.price}) == []
        share = sum(Decimal(p.strip().rstrip(" %")) for p in row["Share of price"].split("+"))
        assert clean[0].book.channels[name].fee_fraction * 100 == share


@pytest.mark.parametrize("code", PRODUCTS)
def test_left_per_piece_in_each_channel(code: str, clean: Read) -> None:
    told = {name: tier_of(clean[0], code, name).kept for name in CHANNELS}
    assert differences(today("channels_expected.csv")[code], told) == []


def tier_rule(priced: Priced, rule: str) -> tuple[Pricer, str]:
    """The book's own channel a rule of the table speaks of, and what its target counts."""
    ready = {p.channel.name: p for p in pricers(priced.book)}
    if rule.startswith("W"):
        return ready["Wholesale"], "margin"
    return next(
        p for p in ready.values() if p.channel.target_counts == "kept" and bool(p.tax) == rule.endswith("V")
    ), "kept"


@pytest.mark.parametrize("code", PRODUCTS)
@pytest.mark.parametrize("rule", ["WF30", "WT45", "RW65", "RW65V"])
def test_tiers(code: str, rule: str, clean: Read) -> None:
    row = by("tiers_expected.csv", "Tier", Prices="today", Code=code)[rule]
    pricer, counts = tier_rule(clean[0], rule)
    cost = clean[0].costs[code].unit_cost
    share = pricer.channel.floor_fraction if rule == "WF30" else pricer.channel.target_fraction
    assert share is not None and share * 100 == Decimal(row["Target share left %"])
    net = pricer.for_share(cost, float(share), counts)
    told: dict[str, Any] = {
        "Full cost": cost,
        "Exact price before tax": net,
        "Exact shown price": net * (1 + pricer.tax),
        "VAT %": pricer.tax * 100,
    }
    if counts == "kept":
        told |= {"Share of shown price %": pricer.fee * 100, "Fixed per piece": pricer.fixed}
    for name, ending in ENDINGS.items():
        shown = pricer.shown(net, read_ending(ending))
        told |= {f"Up to {name}": shown, f"Share left % at {name}": pricer.share(pricer.net(shown), cost, counts) * 100}
    assert differences(row, told) == []


@pytest.mark.parametrize("code", PRODUCTS)
def test_tier_summary(code: str, clean: Read) -> None:
    row = today("tier_summary_expected.csv")[code]
    web, wholesale, taxed = (tier_of(clean[0], code, c) for c in ("Web", "Wholesale", "Web, tax in price"))
    assert wholesale.target_price is not None and web.kept_fraction is not None
    told = {
        "Product": clean[0].book.products[code].name,
        "Full cost": web.unit_cost,
        "Wholesale floor (up to 0.25)": wholesale.floor_price,
        "Wholesale target (up to 0.25)": wholesale.target_price,
        "Web retail target (up to 0.50)": web.target_price,
        "2 x wholesale target": wholesale.target_price * 2,
        "Retail to use (higher of the two)": web.proposal,
        "Web retail with VAT (up to .95)": taxed.target_price,
        "Wholesale now": wholesale.her_price,
        "Retail now": web.her_price,
        "Wholesale now is": wholesale.flag,
        "Web margin % after fees at retail now": web.kept_fraction * 100,
    }
    assert differences(row, told) == []


@pytest.mark.parametrize("number", range(14))
def test_rounding_cases(number: int) -> None:
    table = rows(T + "rounding_cases.csv")
    assert len(table) == 14
    row = table[number]
    exact = net_price_for_margin(float(row["Cost"]), float(row["Target share left %"]) / 100)
    told = {f"Up to {name}": up_to_ending(exact, read_ending(ending)) for name, ending in ENDINGS.items()}
    assert differences(row, {"Exact price": exact} | told) == []


# ------------------------------------------------------------ what stands in the file

COSTS = {
    "Materials": "Materials",
    "Packaging": "Packaging",
    "Consumables": "Consumables",
    "Labour": "Labour",
    "Overhead": "Overhead",
    "Unit cost": "Full cost",
    "Batch cost": "Batch cost",
    "Hands-on minutes a piece": "Hands-on minutes per piece",
}
RANGES = {"Lowest cost": "Lowest cost", "Highest cost": "Highest cost"}
RATES = {
    "Landed rate": "Landed",
    "List price per unit": "List price per unit",
    "Goods after discount": "Goods after discount",
    "Freight and fees": "Freight and fees",
}


def unlike(table: dict[str, dict[str, str]], stored: dict[str, dict[str, Any]], headings: dict[str, str]) -> list[str]:
    """Where the file's cells differ from a table, both by code; `headings` maps the tab's to the table's."""
    return [
        f"{code} {difference}"
        for code, row in table.items()
        for difference in differences(row, {theirs: float(stored[code][ours]) for ours, theirs in headings.items()})
    ]


def stored_by_code(stored: list[dict[str, Any]], channel: str = "") -> dict[str, dict[str, Any]]:
    return {r["Code"]: r for r in stored if not channel or r["Channel"] == channel}


def test_the_costs_tab_holds_the_tables(book: Any) -> None:
    stored = stored_by_code(book.written("Costs")[0])
    assert unlike(by("cost_expected.csv"), stored, COSTS) == []
    assert unlike(by("ranges_expected.csv"), stored, RANGES) == []
    oils = {c: [r["First oil"], r["Second oil"], r["Third oil"]] for c, r in by("ranges_expected.csv").items()}
    for code, three in oils.items():
        ends = (printed(stored[code]["Cheapest choice"], three[0]), printed(stored[code]["Dearest choice"], three[0]))
        assert ends == (min(three, key=Decimal), max(three, key=Decimal)), code


def test_the_landed_rates_tab_holds_the_tables(book: Any) -> None:
    stored = stored_by_code(book.written("Landed rates")[0])
    table = by("landed_expected.csv")
    assert unlike(table, stored, RATES) == []
    shares = {code: printed(stored[code]["Freight and fees, share"] * 100, "1.0") for code in table}
    assert shares == {code: row["Freight and fees %"] for code, row in table.items()}
    assert {c: (stored[c]["Per"], stored[c]["Paper"]) for c in table} == {
        c: (r["Per"], r["Invoice"]) for c, r in table.items()
    }


def test_the_prices_tab_holds_the_tables(book: Any) -> None:
    (stored,) = book.written("Prices")
    web, wholesale = stored_by_code(stored, "Web"), stored_by_code(stored, "Wholesale")
    summary, costs = today("tier_summary_expected.csv"), by("cost_expected.csv")
    assert (
        unlike(
            summary,
            wholesale,
            {
                "Unit cost": "Full cost",
                "Floor price": "Wholesale floor (up to 0.25)",
                "Proposed price": "Wholesale target (up to 0.25)",
                "Your price now": "Wholesale now",
            },
        )
        == []
    )
    assert (
        unlike(summary, web, {"Proposed price": "Retail to use (higher of the two)", "Your price now": "Retail now"})
        == []
    )
    taxed, exact = stored_by_code(stored, "Web, tax in price"), by("tiers_expected.csv", Prices="today", Tier="RW65V")
    assert unlike(summary, taxed, {"Proposed price": "Web retail with VAT (up to .95)"}) == []
    assert unlike(exact, taxed, {"Exact target price": "Exact shown price"}) == [] and len(exact) == len(PRODUCTS)
    assert unlike(costs, wholesale, {"To compare: rule of thumb": "Double-it wholesale"}) == []
    assert unlike(costs, web, {"To compare: rule of thumb": "Double-it retail"}) == []
    assert {c: wholesale[c]["Flag"] for c in summary} == {c: r["Wholesale now is"] for c, r in summary.items()}
    margins = {
        c: (printed(wholesale[c]["Margin"] * 100, "1.0000"), printed(web[c]["Margin"] * 100, "1.0000")) for c in costs
    }
    assert margins == {c: (r["Wholesale margin %"], r["Retail margin %"]) for c, r in costs.items()}
    left = today("channels_expected.csv")
    for name in CHANNELS:
        assert unlike(left, stored_by_code(stored, name), {"Kept a piece": name}) == []
    fixed = by("channels.csv", "Channel")
    assert {n: printed(stored_by_code(stored, n)["P01"]["Channel cost a piece"], "1.000000") for n in CHANNELS} == {
        n: r["Fixed per piece"] for n, r in fixed.items()
    }


def test_making_the_demo_came_to_the_same(made: tuple[Path, Any, Outcome], clean: Read) -> None:
    """What the demo command returns is what its file comes to, and every paper was posted."""
    assert made[2].priced.costs == clean[0].costs and made[2].written
    assert {p.paper: p.state for p in made[1]} == dict.fromkeys(
        ("B-0977", "B-1041", "C-0388", "C-0391", "S-2207"), "posted"
    )
