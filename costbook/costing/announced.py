"""Announced prices: what a supplier says it will charge from a day on, and what the material would cost her then.

The new rate is the new goods price with the discount ratio of that material's last paper and the same charges in money for
as many packs; tax she cannot reclaim stays the same share of both. It is measured from the rate the book uses today, by
whatever rule. A material on a quoted price gets a new quote: less the same discounts, delivered. Nothing of hers moves.

What cannot be used is a `Finding` of level stop and is left out; what is used on a reading of it is one of level ask.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from costbook.amounts.money import after_discounts
from costbook.amounts.numbers import counted
from costbook.amounts.quantity import Amount, same_name
from costbook.book.model import Announced, Book, Material
from costbook.costing.rates import LandedLine, Rate, Rates
from costbook.errors import Finding, QuantityError

SEVERAL_TIMES = 2.0  # a goods price per unit that doubles or halves is asked about: the pack may be another
SAME = 1e-9  # of a rate: less than this is no change
OTHER_PACK = 1.5  # a pack so much larger or smaller is another pack, not the old one filled less


class NewRate(NamedTuple):
    """What an announced price makes of one material's rate, `before` and `after` per gram or piece, waste included.

    `price_before`, `price_after`, `pack_before`, `pack_after` are one pack's price and size (None where nobody knows);
    `goods_rise` is the rise of the goods price per gram or piece as a fraction; `line` is the purchase line whose discount
    and charges it keeps, None for a quoted price.
    """

    material: str
    announced: Announced
    before: float
    after: float
    price_before: Decimal
    price_after: Decimal
    pack_before: Amount | None
    pack_after: Amount | None
    goods_rise: float
    line: LandedLine | None

    @property
    def change(self) -> float:
        """What one gram or piece costs more, in book currency."""
        return self.after - self.before


def new_rates(
    book: Book, on: date, rated: Rates, announced: Sequence[Announced]
) -> tuple[dict[str, NewRate], list[Finding]]:
    """The new rate of every material whose announced price can be used, by code, and what was found on the way.

    Args:
        book, on, rated: the book as priced: its date, and the rates it uses today.
        announced: in any order; two of one material are both left out, since only one can hold.
    """
    findings: list[Finding] = []
    told: dict[str, list[Announced]] = {}
    for said in announced:
        code = _material(book, said, findings)
        if code:
            told.setdefault(code, []).append(said)
    history: dict[str, list[LandedLine]] = {}
    for line in rated.landed:
        if line.material in told and line.counted and (line.line.date is None or line.line.date <= on):
            history.setdefault(line.material, []).append(line)
    found: dict[str, NewRate] = {}
    for code, several in told.items():
        material = book.materials[code]
        if len(several) > 1:
            findings.append(_twice(material, several))
            continue
        [said] = several
        trouble = _trouble(material, said, rated)
        if trouble is not None:
            findings.append(trouble)
            continue
        rate = rated.materials[code]
        if rate.rule == "quoted":
            new = _quoted(material, rate, said, findings)
        else:
            new = _landed(material, rate, _terms(said, history[code], material, findings), said, findings)
        if new is not None:
            found[code] = new
            findings += _asked(material, new, on)
    return found, findings


def rates_after(rated: Rates, news: Mapping[str, NewRate]) -> Rates:
    """The rates with every announced price in force; such a rate's rule is 'announced', its line the one it is made from."""
    changed = {
        code: Rate(code, new.after, "announced", () if new.line is None else (new.line,)) for code, new in news.items()
    }
    return rated._replace(materials={**rated.materials, **changed})


# ------------------------------------------------------------ what was said


def _material(book: Book, said: Announced, findings: list[Finding]) -> str:
    """The code of the material meant, '' with a finding where there is none."""
    if said.material in book.materials:
        return said.material
    names = {same_name(name): code for code, m in book.materials.items() for name in (code, m.name, *m.aliases)}
    code = names.get(same_name(said.material), "")
    if not code:
        from difflib import get_close_matches

        near = get_close_matches(same_name(said.material), names, n=1, cutoff=0.6)
        nearest = f"; nearest: {book.materials[names[near[0]]].name}" if near else ""
        sentence = f'an announced price for "{said.material}": no such material{nearest}' if said.material else "an announced price, and no material is named"
        findings.append(Finding("stop", "announced-unknown", sentence, said.where, "Write its code or name as on Materials."))
    return code


def _twice(material: Material, several: Sequence[Announced]) -> Finding:
    *first, last = (_said(said) + (f" ({said.where})" if said.where else "") for said in several)
    sentence = f"{material.name}: {len(several)} announced prices, {', '.join(first)} and {last}; none of them is used"
    return Finding("stop", "announced-twice", sentence, several[-1].where, "Keep the one to look at; type a later one when it is its turn.")


def _said(said: Announced) -> str:
    """What was announced, in a few words, with its day."""
    if said.rise is not None:
        words = f"{said.rise:+.1%}"
    else:
        price = "the same price" if said.pack_price is None else f"{said.pack_price:.2f}"
        words = price + (f" for {said.pack.text}" if said.pack else "")
    return words + (f" from {said.starts}" if said.starts else "")


def _trouble(material: Material, said: Announced, rated: Rates) -> Finding | None:
    """Why an announced price cannot be used, as the first reason there is."""
    price, rise = said.pack_price, said.rise or Decimal(0)
    missing = rated.missing.get(material.code)
    why = missing.sentence if missing else "the book has no price of it"
    paid = "" if price is None else f"{price:.2f}"
    typed, percent, share = (f"{x.normalize():f}" if x.is_finite() else str(x) for x in (rise, rise * 100, rise / 100))
    reasons = (
        (price is None and said.rise is None and said.pack is None, "announced-empty", "nothing is announced for it",
         "Type the new pack price, the new pack, or the rise in percent."),
        (price is not None and said.rise is not None, "announced-both", f"{paid} and a rise of {typed}: which of the two?", "Keep one."),
        (price is not None and (not price.is_finite() or price <= 0), "announced-price", f"an announced price of {paid} is no price",
         "Type what one pack will cost."),
        (not rise.is_finite(), "announced-rise", f"a rise of {typed} is no rise", "Write it like 20 % or 0.2."),
        (rise.is_finite() and rise >= 1, "announced-rise", f"a rise of {typed} would be {percent} %",
         f"Write {typed} % or {share}; a price that doubles is typed as the new pack price."),
        (rise.is_finite() and rise <= -1, "announced-rise", f"a rise of {typed} leaves no price", "A fall of 20 % is -20 % or -0.2."),
        (material.code not in rated.materials, "announced-no-price", f"a rise cannot be measured: {why}", "Post a paper for it first."),
    )  # fmt: skip
    for holds, check, words, do in reasons:
        if holds:
            return Finding("stop", check, f"{material.name}: {words}", said.where, do)
    return None


def _terms(
    said: Announced, history: Sequence[LandedLine], material: Material, findings: list[Finding]
) -> LandedLine:
    """The last paper's line whose discount and charges go on: of the supplier who announces, else the last of all."""
    ordered = sorted(history, key=lambda x: x.line.date or date.min)
    theirs = [x for x in ordered if same_name(x.line.supplier) == same_name(said.supplier)]
    if said.supplier and not theirs:
        last = ordered[-1].line
        sentence = (f"{material.name}: nothing bought from {said.supplier} yet; discount and charges taken as on paper "
                    f"{last.paper} of {last.supplier}")  # fmt: skip
        findings.append(Finding("ask", "announced-supplier", sentence, said.where, "Ask what freight and discount they give."))
    return (theirs or ordered)[-1]


# ------------------------------------------------------------ the new rate


def _pack_base(pack: Amount, material: Material, said: Announced, findings: list[Finding]) -> float | None:
    """Grams or pieces of a pack, None with a finding where nobody can tell."""
    try:
        size = pack.base(g_per_ml=material.g_per_ml, want=material.base)
    except QuantityError as error:
        sentence = f"{material.name}: an announced pack of {pack.text}: {error.sentence}"
        findings.append(Finding("stop", "announced-pack", sentence, said.where, error.do or "Write the pack in the unit it is bought in."))
        return None
    if size <= 0:
        sentence = f"{material.name}: an announced pack of {pack.text} holds nothing"
        findings.append(Finding("stop", "announced-pack", sentence, said.where, "Type what one pack will hold."))
        return None
    return size


def _price(before: Decimal, said: Announced) -> Decimal:
    if said.rise is not None:
        return before * (1 + said.rise)
    return before if said.pack_price is None else said.pack_price


def _landed(
    material: Material, rate: Rate, line: LandedLine, said: Announced, findings: list[Finding]
) -> NewRate | None:
    """The new rate on the terms of a purchase line: same packs, discount ratio and charges in money."""
    paper = line.line
    pack = said.pack or paper.pack
    assert pack is not None and paper.packs  # a line that counts has both
    size = _pack_base(pack, material, said, findings)
    if size is None:
        return None
    before = paper.pack_price or paper.amount / paper.packs
    after = _price(before, said)
    goods = line.goods * after / before if after != before else line.goods
    landed = goods + line.charges
    if line.tax and goods != line.goods:
        landed += line.tax * landed / (line.goods + line.charges)
    else:
        landed += line.tax
    base = size * float(paper.packs)
    return NewRate(
        material.code, said, rate.per_base, float(landed) / base / (1 - material.waste_fraction), before, after, paper.pack, pack,
        float(after) / base / (float(before) / line.base) - 1, line,
    )  # fmt: skip


def _quoted(material: Material, rate: Rate, said: Announced, findings: list[Finding]) -> NewRate | None:
    """The new rate of a material on a quoted price: delivered, less the same discounts."""
    before, pack = material.quoted_price, said.pack or material.quoted_pack
    assert before is not None and material.quoted_pack is not None and pack is not None  # or the quote would not be in use
    size = _pack_base(pack, material, said, findings)
    if size is None:
        return None
    was = material.quoted_pack.base(g_per_ml=material.g_per_ml, want=material.base)
    after = _price(before, said)
    new = float(after_discounts(after, material.quoted_less)) / size / (1 - material.waste_fraction)
    rise = float(after) / size / (float(before) / was) - 1 if before else 0.0
    return NewRate(material.code, said, rate.per_base, new, before, after, material.quoted_pack, pack, rise, None)


def _asked(material: Material, new: NewRate, on: date) -> Iterable[Finding]:
    """What to look at in an announced price that is used: a day gone by, a pack that may be another."""
    said = new.announced
    if abs(new.change) <= SAME * new.before:
        yield Finding("note", "announced-same", f"{material.name}: what is announced is what it costs now; nothing follows", said.where, "Take it out if it is in force, or type the new price.")
    if said.starts and said.starts < on:
        sentence = f"{material.name}: the price announced from {said.starts} is in force already on the book's day, {on}"
        yield Finding("ask", "announced-past", sentence, said.where, "Mend the date, or post the paper that charges it.")
    ratio = 1 + new.goods_rise
    if said.rise is None and not 1 / SEVERAL_TIMES < ratio < SEVERAL_TIMES:
        pack = new.pack_after.text if new.pack_after else "a pack"
        sentence = f"{material.name}: {new.price_after:.2f} for {pack} is {ratio:.2g} times what a unit costs now"
        yield Finding("ask", "announced-jump", sentence, said.where, "See that price and pack belong together.")
    usual = material.usual_pack
    if said.pack_price is not None and said.pack is None and new.pack_after and usual and not _alike(usual, new.pack_after, material):
        sentence = (f"{material.name}: {said.pack_price:.2f} is taken as the price of {new.pack_after.text}, as bought last; "
                    f"its usual pack is {usual.text}")  # fmt: skip
        yield Finding("ask", "announced-which-pack", sentence, said.where, "Type what one pack will hold.")
    line = new.line
    if line is not None and said.pack is not None and line.charges:
        packs = line.line.packs
        ratio = said.pack.base(g_per_ml=material.g_per_ml, want=material.base) * float(packs) / line.base
        if not 1 / OTHER_PACK < ratio < OTHER_PACK:
            sentence = (f"{material.name}: freight and fees are left at {line.charges:.2f} for {counted(packs, 'pack')}, as on "
                        f"paper {line.line.paper}, though a pack of {said.pack.text} is another size")  # fmt: skip
            yield Finding("ask", "announced-charges", sentence, said.where, "Ask what carriage costs for that pack.")


def _alike(one: Amount, two: Amount, material: Material) -> bool:
    """Whether two packs hold the same; packs that cannot be compared do not."""
    try:
        sizes = [x.base(g_per_ml=material.g_per_ml, want=material.base) for x in (one, two)]
    except QuantityError:
        return False
    return abs(sizes[0] - sizes[1]) <= 1e-9 * max(sizes)
