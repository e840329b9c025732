"""The health checks: what makers get wrong, found in the book and in its figures, all in one run.

Each check is one small function from what was computed to findings. Levels as in `errors.Finding`: a check of level stop
comes from reading or costing itself, so these ask, warn and note. Common practice, no source, unless one is named.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, timedelta
from decimal import ROUND_CEILING, Decimal
from fractions import Fraction
from typing import NamedTuple

from costbook.amounts.numbers import counted
from costbook.amounts.quantity import Amount, convert, is_plain_ounce, same_name, unit
from costbook.book.model import Book, Material
from costbook.costing.rates import LandedLine, Rates, counts, papers
from costbook.costing.tiers import Tier, order_cost
from costbook.costing.usage import Cost, Usage
from costbook.errors import Finding, Where

ACIDS = ("citric acid", "tartaric acid", "malic acid", "ascorbic acid")
HALF_CENT = Decimal("0.005")
BEST_BEFORE_SOON = timedelta(days=45)

TO_COME = "to-come"


class Priced(NamedTuple):
    """Everything one run worked out.

    `to_come` are her prices, by product and column, that start on a later day, with that day: they stand in her own column, and
    everything counts them already.
    """

    book: Book
    on: date
    rates: Rates
    usage: Usage
    costs: Mapping[str, Cost]
    tiers: Sequence[Tier]
    to_come: Mapping[tuple[str, str], date] = {}


def checks(priced: Priced) -> list[Finding]:
    """All findings of all checks, in the order of CHECKS."""
    return [finding for check in CHECKS for finding in check(priced)]


# ------------------------------------------------------------ amounts, units


def liquid_in_ounces(p: Priced) -> Iterable[Finding]:
    """A liquid given in plain ounces: weight or fluid? Priced as weight; the difference in money is said."""
    measures = p.book.settings.measures
    ounce, fluid = unit("oz"), unit("fl oz" if measures in ("US customary", "imperial") else "US fl oz", measures)
    for recipe in p.book.recipes.values():
        for line in recipe.lines:
            material = p.book.materials.get(line.choices[0]) if line.choices else None
            if material is None or material.kind != "liquid" or not is_plain_ounce(line.amount):
                continue
            rate = p.rates.materials.get(material.code)
            said = ""
            if rate and material.g_per_ml:
                weight = float(line.amount.usual * ounce.factor) * rate.per_base
                volume = float(line.amount.usual * fluid.factor) * material.g_per_ml * rate.per_base
                said = f" {weight:.2f} against {volume:.2f} a batch."
            yield Finding("ask", "liquid-ounces", f"{recipe.code} {recipe.name}: {line.amount.text} of {material.name}, a thin liquid given in plain oz: "
                          f"weight or fluid?{said} Priced as weight.", line.places.get("unit", line.where), "Write oz as fl oz if you measure it, or weigh it and type g.")  # fmt: skip


def pack_units(p: Priced) -> Iterable[Finding]:
    """The same material in packs of weight and of volume."""
    bought: dict[str, list[tuple[Amount, Where]]] = {}
    for line in p.book.purchases:
        if line.pack and line.material and counts(line):
            bought.setdefault(line.material, []).append((line.pack, line.places.get("pack_unit", line.where)))
    for material in p.book.materials.values():
        packs = bought.get(material.code, [])
        packs += [
            (q, material.places.get(k, material.where))
            for q, k in ((material.usual_pack, "usual_pack_unit"), (material.quoted_pack, "quoted_pack"))
            if q
        ]
        by_dimension: dict[str, tuple[Amount, Where]] = {}
        for pack, where in packs:
            if pack.unit and pack.unit.dimension in ("mass", "volume"):
                by_dimension.setdefault(pack.unit.dimension, (pack, where))
        if len(by_dimension) == 2:
            (volume, where), (mass, other) = by_dimension["volume"], by_dimension["mass"]
            said = _as_weight(volume, mass, material)
            yield Finding("ask", "pack-units", f"{material.name}: same material, two pack units: {volume.text} ({where}) and {mass.text} ({other}){said}",
                          other, "Mend the one that is wrong; fl oz is a measure, oz a weight.")  # fmt: skip


def _as_weight(volume: Amount, mass: Amount, material: Material) -> str:
    assert volume.unit and mass.unit
    if material.g_per_ml is None:
        return ""
    weight = convert(volume.usual, volume.unit, mass.unit, Fraction(repr(material.g_per_ml)))
    return f"; {volume.text} is {float(weight):.2f} {mass.unit.name} by weight here"


def open_amounts(p: Priced) -> Iterable[Finding]:
    """ "up to" without a usual amount, and optional lines, which are always counted."""
    for recipe in p.book.recipes.values():
        for line in recipe.lines:
            if line.amount.is_range and not line.amount.usual_given:
                taken = float(line.amount.usual)
                yield Finding("ask", "no-usual", f"{recipe.code} {recipe.name}: \"{line.amount.text}\" has no usual amount; priced at {taken:g}", line.where,
                              "Write it as: up to 3 (usual 2).")  # fmt: skip
            if line.when == "optional":
                yield Finding(
                    "ask",
                    "optional",
                    f"{recipe.code} {recipe.name}: an optional line is always counted",
                    line.where,
                    "Take it out, or write if colour / if scent under When.",
                )


def from_memory(p: Priced) -> Iterable[Finding]:
    """Weights per volume from the reference table that price something."""
    measured = {
        code
        for recipe in p.book.recipes.values()
        for line in recipe.lines
        if line.amount.unit and line.amount.unit.dimension == "volume"
        for code in line.choices
    }
    for material in p.book.materials.values():
        if material.code in measured and material.weight_source.startswith("reference table"):
            doubtful = any(word in material.weight_source for word in ("from memory", "sources disagree"))
            yield Finding("ask" if doubtful else "note", "reference-weight", f"{material.name} is turned into weight by {material.g_per_ml:g} g/ml, {material.weight_source}", material.where,
                          "Weigh a level cup of yours and type it: yours always wins.")  # fmt: skip


# ------------------------------------------------------------ purchases, rates


def paper_totals(p: Priced) -> Iterable[Finding]:
    """A paper whose lines do not meet its total, and a line whose packs do not meet its amount."""
    for line in p.book.purchases:
        if (
            line.kind == "goods"
            and line.pack_price is not None
            and line.packs
            and abs(line.packs * line.pack_price - line.amount) > HALF_CENT
        ):
            yield Finding("ask", "line-amount", f"paper {line.paper}: {line.packs.normalize():f} x {line.pack_price:.2f} is {line.packs * line.pack_price:.2f}, the line says {line.amount:.2f}; "
                          "the amount is used", line.where, "Look at the paper.")  # fmt: skip
    unread = {f.where.tab for f in p.book.findings if f.level == "stop" and f.where}
    for sums in papers(p.book):
        difference = sums.stated.amount - sums.total if sums.stated else Decimal(0)
        if sums.stated and abs(difference) >= HALF_CENT:
            why = "a freight or fee line missing?"
            if sums.stated.where.tab in unread:  # such a line is in no sum, and its own finding stands beside
                why = f"a line that could not be read, or {why}"
            yield Finding("ask", "paper-total", f"paper {sums.paper}: the lines do not add up to the invoice total (difference {difference:.2f}: they come to {sums.total:.2f}, it says {sums.stated.amount:.2f}): {why}",
                          sums.stated.where, "Mend or type that line; until then it is in no price.")  # fmt: skip


def old_prices(p: Priced) -> Iterable[Finding]:
    """A price in use that is older than the book's limit, or dated after the book date."""
    used = {item for _, item in set().union(*(p.usage.row(code).bought for code in p.costs))}
    for code, rate in p.rates.materials.items():
        line = rate.line
        if code in used and line and line.line.date and (p.on - line.line.date).days > p.book.settings.old_after_days:
            name = p.book.materials[code].name
            yield Finding(
                "warn",
                "old-price",
                f"{name}: price of {line.line.date} is older than {counted(p.book.settings.old_after_days, 'day')}",
                line.line.places.get("date", line.line.where),
                "Ask for today's price.",
            )
    for line in p.rates.landed:
        if line.counted and line.line.date and line.line.date > p.on:
            yield Finding(
                "warn",
                "later-paper",
                f"paper {line.line.paper} is dated {line.line.date}, after the book date {p.on}; not used yet",
                line.line.places.get("date", line.line.where),
                "Move the book date, or mend the date.",
            )


def jumps(p: Priced) -> Iterable[Finding]:
    """A landed rate that jumped against the paper before, and a pack that shrank at the same price."""
    history: dict[str, list[LandedLine]] = {}
    for line in p.rates.landed:
        if line.counted and (line.line.date or date.min) <= p.on:
            history.setdefault(line.material, []).append(line)
    for code, lines in history.items():
        ordered = sorted(lines, key=lambda x: x.line.date or date.min)
        if len(ordered) < 2:
            continue
        before, last = ordered[-2], ordered[-1]
        name = p.book.materials[code].name
        change = last.rate / before.rate - 1 if before.rate else 0.0
        if abs(change) > p.book.settings.jump_fraction:
            yield Finding(
                "warn",
                "price-jump",
                f"{name}: {'up' if change > 0 else 'down'} {abs(change):.1%} landed since paper {before.line.paper}",
                last.line.where,
                "See that pack and price are right.",
            )
        packs = [x.base / float(x.line.packs) for x in (before, last)]
        if before.line.pack_price == last.line.pack_price is not None and packs[1] < packs[0] * (1 - 1e-9):
            yield Finding("warn", "pack-shrank", f"{name}: same price, smaller pack: {before.line.pack.text if before.line.pack else ''} before, "
                          f"{last.line.pack.text if last.line.pack else ''} now", last.line.where, f"A hidden rise of {packs[0] / packs[1] - 1:.1%}.")  # fmt: skip


def unknown_lines(p: Priced) -> Iterable[Finding]:
    """Charged goods whose material is not known yet: they make no price."""
    for line in p.book.purchases:
        if counts(line) and not line.material:
            yield Finding("ask", "unmatched", f"paper {line.paper}: \"{line.description or line.item_code or 'a line'}\" is no material of yours yet, so it makes no price", line.where,
                          "Pick the material in that row, or add its item code on the Materials tab.")  # fmt: skip
        elif line.kind == "goods" and line.material and line.paper_type == "invoice" and line.amount == 0:
            yield Finding(
                "ask",
                "price-zero",
                f"paper {line.paper}: a price of zero for {p.book.materials[line.material].name} is not counted",
                line.where,
                "Type the price, or mark the line as a sample.",
            )


def undated(p: Priced) -> Iterable[Finding]:
    """Charged goods without a date: the latest price cannot be told."""
    for line in p.book.purchases:
        if counts(line) and line.material and line.date is None:
            name = p.book.materials[line.material].name
            sentence = f"paper {line.paper or '(no number)'}: the line of {name} has no date; taken as the oldest"
            yield Finding("ask", "no-date", sentence, line.where, "Type the paper's date.")


def best_before(p: Priced) -> Iterable[Finding]:
    """Lots past their best-before date or near it, with the products that use the material."""
    for line in p.book.purchases:
        if not (line.best_before and line.material and counts(line)) or line.best_before > p.on + BEST_BEFORE_SOON:
            continue
        users = [code for code in p.costs if ("materials", line.material) in p.usage.row(code).bought]
        recipes = [r.code for r in p.book.recipes.values() if any(line.material in x.choices for x in r.lines)]
        when = "past its" if line.best_before < p.on else "near its"
        lot = f" lot {line.lot}" if line.lot else ""
        yield Finding("warn", "best-before", f"{p.book.materials[line.material].name}{lot}: {when} best-before date {line.best_before}"
                      + (f"; in {', '.join(recipes)}" if recipes else ""), line.places.get("best_before", line.where), "Look at it before you use it.", tuple(users))  # fmt: skip


# ------------------------------------------------------------ recipes, products


def acid_last(p: Priced) -> Iterable[Finding]:
    """Acid that goes in before anything but the last: it starts to fizz with what is wet (common practice, no source)."""
    last = {
        m.code
        for m in p.book.materials.values()
        if any(a in same_name(m.name) for a in ACIDS) or "add last" in same_name(m.cautions)
    }
    for recipe in p.book.recipes.values():
        for place, line in enumerate(recipe.lines[:-1]):
            material = p.book.materials.get(line.choices[0]) if line.choices else None
            if material is None or material.code not in last:
                continue
            wet = [
                x
                for x in recipe.lines[place + 1 :]
                if _wet(x.slot, p.book.materials.get(x.choices[0]) if x.choices else None)
            ]
            if wet:
                what = "the scent is" if any(x.slot == "scent" for x in wet) else "the wet lines are"
                yield Finding("warn", "acid-order", f"{recipe.code} {recipe.name}: {material.name} goes in before {what} mixed in: caution", line.where,
                              "Acid last, and the bowl dry. The supplier's safety data sheet comes first.")  # fmt: skip


def _wet(slot: str, material: Material | None) -> bool:
    return slot == "scent" or (material is not None and material.kind in ("liquid", "scent"))


def cautions(p: Priced) -> Iterable[Finding]:
    """Foaming powders without a caution, and nut or oat materials to name on the label."""
    nuts: dict[str, list[str]] = {}
    for material in p.book.materials.values():
        words = same_name(f"{material.name} {material.cautions}")
        if not material.cautions and any(word in words for word in ("slsa", "foaming", "surfactant")):
            sentence = f"{material.name} foams and has no caution"
            do = "Dust mask and eye protection; the supplier's safety data sheet comes first."
            yield Finding("warn", "no-caution", sentence, material.where, do)
        for word in ("nut", "oat"):
            if word in words.replace(";", " ").split():
                nuts.setdefault(word, []).append(material.name)
    if nuts:
        said = "; ".join(f"{word}: {', '.join(names)}" for word, names in nuts.items())
        yield Finding(
            "note",
            "allergen",
            f"nut and oat materials in the book ({said})",
            None,
            "Name them on the label; keep their tools apart or make those pieces last.",
        )


def losses(p: Priced) -> Iterable[Finding]:
    """Recipes with no bench loss typed or one that counts nowhere, every planned piece counted good, more good than planned."""
    for recipe in p.book.recipes.values():
        if recipe.loss_fraction and recipe.pieces is not None:
            yield Finding(
                "warn",
                "loss-unused",
                f"{recipe.code} {recipe.name} makes {counted(recipe.pieces, 'piece')}, whatever stays in the bowl: its bench loss changes no cost",
                recipe.where,
                "Write under Makes the pieces that come out, and empty its bench loss.",
            )
        if recipe.loss_fraction is None and recipe.pieces is None:
            yield Finding(
                "warn",
                "no-loss",
                f"{recipe.code} {recipe.name} has no bench loss: what stays in bowl and jug is paid by nobody",
                recipe.where,
                "Weigh what comes out once; type 0 % if nothing stays.",
            )
    all_good = [x.code for x in p.book.products.values() if x.good == x.planned > 0]
    for product in p.book.products.values():
        if product.good > product.planned > 0:
            yield Finding(
                "warn",
                "more-good",
                f"{product.code}: {counted(product.good, 'good piece')} of {product.planned} planned: more than planned",
                product.places.get("good", product.where),
                "Mend one of them.",
                (product.code,),
            )
    if all_good:
        where = p.book.products[all_good[0]].places.get("good")
        yield Finding(
            "warn",
            "all-good",
            f"every planned piece is counted good: {', '.join(all_good)}",
            where,
            "Count the marked, light and sample pieces of the last batches.",
            tuple(all_good),
        )


def scaled_recipes(p: Priced) -> Iterable[Finding]:
    """One recipe batch makes less mix than the planned pieces take: scale it, with the factor."""
    for product in (p.book.products[code] for code in p.costs):
        for part in product.parts:
            if part.kind != "recipe" or part.per_batch:
                continue
            mix = p.usage.mix(part.item, product.fills)
            wanted = part.amount.base(want="each" if mix.in_pieces else "g") * product.planned
            if wanted > mix.makes * 1.005:  # less than a hundredth of a batch is in the scale's noise
                name, what = p.book.recipes[part.item].name, "pieces" if mix.in_pieces else "g"
                yield Finding("warn", "scale-recipe", f"{product.code}: {name} {part.amount.text} x {product.planned} = {wanted:,.0f} {what} wanted, one batch gives {mix.makes:,.0f} {what}: "
                              f"make {wanted / mix.makes:.2f} batches", part.where, "Scale the recipe by that factor.", (product.code,))  # fmt: skip


def siblings(p: Priced) -> Iterable[Finding]:
    """A product without packaging that every other product in the same packing has."""
    packs = {
        code: {x.item for x in product.parts if x.kind == "packaging"} for code, product in p.book.products.items()
    }
    beside: defaultdict[str, Counter[str]] = defaultdict(Counter)
    for own in packs.values():
        for item in own:
            beside[item].update(own)
    # What all who have an item have but one: to that one, all the others have it.
    nearly_all = {i: sorted(x for x, n in c.items() if n == c[i] - 1 >= 2) for i, c in beside.items()}
    for code, own in packs.items():
        missing: dict[str, str] = {}
        for item in sorted(sorted(own), key=lambda i: beside[i][i]):  # the most telling packing first
            for lacking in nearly_all[item]:
                if lacking not in own:
                    missing.setdefault(lacking, item)
        for lacking, item in missing.items():
            names = p.book.materials[lacking].name, p.book.materials[item].name
            sentence = f"{code} has no {names[0]}; the other products with {names[1]} have one"
            where = p.book.products[code].where
            yield Finding("warn", "siblings", sentence, where, "Add it to its lines if it was forgotten.", (code,))


def unpaid(p: Priced) -> Iterable[Finding]:
    """Products without work, a book without overhead, somebody without pay, consumables or packaging nowhere."""
    for code, cost in p.costs.items():
        product = p.book.products[code]
        if not sum(cost.batch_minutes.values()):
            yield Finding(
                "warn",
                "no-labour",
                f"{code} has no work steps: labour is zero",
                product.places.get("family", product.where),
                "Say under Work as which steps make it.",
                (code,),
            )
        if not cost.parts["packaging"]:
            yield Finding(
                "warn", "no-packaging", f"{code} has no packaging", product.where, "Add what it goes out in.", (code,)
            )
    if p.costs and not p.rates.overhead and not p.rates.activities:
        where = p.book.settings.where.get("overhead_per_year")
        yield Finding(
            "warn",
            "no-overhead",
            "overhead is zero: rent, power and insurance are in no price",
            where,
            "Type overhead a year and hands-on hours a year on the Start tab.",
        )
    for role in p.book.roles.values():
        if not role.pay_per_hour:
            yield Finding(
                "warn",
                "no-pay",
                f"an hour of {role.written} costs nothing",
                role.where,
                "Pay yourself too: type what an hour is worth.",
            )


def capacity(p: Priced) -> Iterable[Finding]:
    """A usual batch heavier than the bowl holds, or more pieces than there are places."""
    settings = p.book.settings
    for product in p.book.products.values():
        grams = sum(
            x.amount.base(want="g") * product.planned
            for x in product.parts
            if x.kind == "recipe" and not x.per_batch and x.amount.unit and x.amount.unit.dimension == "mass"
        )
        if settings.mixer_g and grams > settings.mixer_g:
            yield Finding(
                "warn",
                "mixer",
                f"{product.code}: {grams / 1000:.2f} kg in one batch, the bowl holds {settings.mixer_g / 1000:g} kg",
                product.places.get("planned", product.where),
                "Plan fewer pieces, or count the work of two mixes.",
                (product.code,),
            )
        if settings.rack_places and product.rest_hours and product.planned > settings.rack_places:
            yield Finding(
                "warn",
                "rack",
                f"{product.code}: {counted(product.planned, 'piece')} to rest, {counted(settings.rack_places, 'place')}",
                product.places.get("planned", product.where),
                "Plan fewer pieces.",
                (product.code,),
            )


def sets(p: Priced) -> Iterable[Finding]:
    """A set whose parts are sold out."""
    for product in p.book.products.values():
        out = [x.item for x in product.parts if x.kind == "product" and p.book.products[x.item].on_hand == 0]
        if out:
            yield Finding(
                "warn",
                "set-parts",
                f"{product.code} {product.name} needs {' and '.join(out)}, sold out",
                product.where,
                "Make those first.",
                (product.code,),
            )


# ------------------------------------------------------------ prices


def under_floor(p: Priced) -> Iterable[Finding]:
    """Her prices under cost or floor, one each; those under target, one line a channel."""
    below: dict[str, list[str]] = {}
    for tier in p.tiers:
        if tier.flag == "under target":
            below.setdefault(tier.channel, []).append(tier.product)
        if tier.flag not in ("under cost", "under floor"):
            continue
        channel, product = p.book.channels[tier.channel], p.book.products[tier.product]
        where = product.places.get(channel.price, product.where)
        if tier.flag == "under cost":
            yield Finding(
                "warn",
                "under-cost",
                f"{tier.product} in {tier.channel} at {tier.her_price:.2f}: {-(tier.kept or 0):.2f} a piece are lost after channel costs",
                where,
                _advice(tier),
                (tier.product,),
            )
        else:
            share = tier.margin if channel.floor_counts == "margin" else tier.kept_fraction
            yield Finding(
                "warn",
                "under-floor",
                f"{tier.product} in {tier.channel} at {tier.her_price:.2f}: {share:.1%}, under the floor of {channel.floor_fraction:.0%}",
                where,
                _advice(tier),
                (tier.product,),
            )
    for name, codes in below.items():
        channel = p.book.channels[name]
        yield Finding(
            "note",
            "under-target",
            f"{name}: under the target of {channel.target_fraction:.0%} {channel.target_counts}: {', '.join(codes)}",
            channel.where,
            "See the proposals on the Prices tab.",
            tuple(codes),
        )


def _advice(tier: Tier) -> str:
    return (
        f"The floor is met from {tier.floor_price}."
        if tier.floor_price is not None
        else "Raise it, or do not offer it there."
    )


def retail_over_wholesale(p: Priced) -> Iterable[Finding]:
    """Retail under the book's multiple of wholesale undercuts the shops."""
    multiple = p.book.settings.retail_over_wholesale
    for product in p.book.products.values():
        retail, wholesale = product.prices.get("retail"), product.prices.get("wholesale")
        if retail and wholesale and retail < multiple * wholesale:
            yield Finding("warn", "undercuts", f"{product.code}: retail {retail:.2f} is less than {multiple.normalize():f} times wholesale {wholesale:.2f}: undercuts the shops",
                          product.places.get("retail", product.where), f"Retail from {multiple * wholesale:.2f}.", (product.code,))  # fmt: skip


def smallest_orders(p: Priced) -> Iterable[Finding]:
    """The smallest order a channel takes loses money after handling."""
    for tier in p.tiers:
        channel = p.book.channels[tier.channel]
        if channel.smallest_order and tier.her_price and tier.kept is not None and channel.pieces_per_order:
            # Decimal's // cuts towards zero, so the usual -(-a // b) would come out a piece short
            pieces = max(Decimal(1), (channel.smallest_order / tier.her_price).to_integral_value(ROUND_CEILING))
            order = order_cost(channel, p.book.roles)
            left = pieces * (Decimal(repr(tier.kept)) + order / channel.pieces_per_order) - order
            if left < 0:
                yield Finding(
                    "warn",
                    "small-order",
                    f"{tier.product}: the smallest {channel.name} order ({pieces} piece{'s' * (pieces > 1)}) loses {-left:.2f} after handling",
                    channel.where,
                    "Ask for a larger smallest order.",
                    (tier.product,),
                )


def markups(p: Priced) -> Iterable[Finding]:
    """A target so high that it was likely meant as a markup, not a margin."""
    for channel in p.book.channels.values():
        if channel.target_fraction is not None and channel.target_fraction > Decimal("0.9"):
            yield Finding(
                "warn",
                "markup",
                f"{channel.name}: a target of {channel.target_fraction:.0%} of the price: a markup where a margin belongs?",
                channel.where,
                "A markup of 100 % on cost is a margin of 50 %.",
            )


def prices_to_come(p: Priced) -> Iterable[Finding]:
    """Her prices that stand in her own column before their day: margins, floors and plans count them, and are not those of today."""
    for (column, day), codes in _early(p).items():
        product = p.book.products[codes[0]]
        yield Finding("note", TO_COME, _early_words(column, day, codes) + "; until then the one before it holds, as on the Price log",
                      product.places.get(column, product.where), "Nothing; what shops are shown has each price from its day.", tuple(codes))  # fmt: skip


def early_words(p: Priced) -> list[str]:
    """What a tab says of her prices that start on a later day and are counted on it, by price column and day."""
    return [_early_words(column, day, codes) for (column, day), codes in _early(p).items()]


def _early(p: Priced) -> dict[tuple[str, date], list[str]]:
    found: dict[tuple[str, date], list[str]] = {}
    for (code, column), day in p.to_come.items():
        found.setdefault((column, day), []).append(code)
    return found


def _early_words(column: str, day: date, codes: Sequence[str]) -> str:
    return f"the {column} price of {', '.join(codes)} starts on {day} and is counted already"


CHECKS: tuple[Callable[[Priced], Iterable[Finding]], ...] = (
    liquid_in_ounces, pack_units, open_amounts, from_memory, paper_totals, old_prices, jumps, unknown_lines, undated, best_before, acid_last,
    cautions, losses, scaled_recipes, siblings, unpaid, capacity, sets, under_floor, retail_over_wholesale, smallest_orders, markups,
)  # fmt: skip
