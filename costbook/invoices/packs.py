"""What a pack holds, read out of a supplier's line description: '12 x 1 lb box' is 12 lb, 'Lids 38-400' says nothing.

A size on a name without one is the worst error here, so where two people could read two sizes the pack carries the
question to `ask`. Statements of size and of count are found first; what the words left over name (a material in a
holder, an empty holder, things sold by the piece) says how the two belong together. Numbers and units are read by
`amounts`. How the trade writes packs, and all lists of words, are common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from unicodedata import normalize

from costbook.amounts.numbers import CLEAN, DECIMALS, quoted, read_number
from costbook.amounts.quantity import unit
from costbook.errors import QuantityError
from costbook.invoices.wording import clean, kind_of

LONGEST_LINE = 300  # characters read; nothing behind them can name a pack
_LARGEST = 10**7
_SAME = Fraction(3, 100)  # two statements this near are one thing told twice
_SAME_OUNCE = Fraction(2, 100)  # nearer than fluid and weight ounces of water are to each other (4.3 %)
_LIGHTEST, _HEAVIEST = Fraction(1, 10), Fraction(5)  # g per mL of anything sold by weight and volume


@dataclass(frozen=True, slots=True)
class Pack:
    """What one pack holds: `total` in `unit` (count times size, above zero), a unit name the book reads.

    `ask` is '' where it is certain, else one sentence saying what must be answered; `words` is the text it was read from.
    """

    total: Fraction
    unit: str
    ask: str
    words: str


@dataclass(frozen=True, slots=True)
class _Size:
    """One statement of size: count times size in unit, where it stands, and the question it leaves."""

    start: int
    end: int
    count: Fraction
    size: Fraction
    unit: str
    ask: str

    @property
    def bare(self) -> bool:
        return self.unit == "oz" and "weight or fluid" in self.ask

    @property
    def base(self) -> Fraction:
        return self.count * self.size * unit(self.unit).factor

    @property
    def dimension(self) -> str:
        return unit(self.unit).dimension


@dataclass(frozen=True, slots=True)
class _Count:
    """One statement of pieces in a pack."""

    start: int
    end: int
    count: Fraction
    ask: str = ""


# ---------------------------------------------------------------- words

# Spelling as written (small letters) -> unit name of the book.
_UNITS = {
    r"fl(?:uid)?\.? ?(?:oz|ounces?)|(?:oz|ounces?)\.? fl\b|floz|liquid (?:oz|ounces?)": "fl oz",
    r"(?:oz|ounces?)\.? ?(?:\(wt\.?\)|(?:net )?wt\b|weight|by weight|av(?:dp)?\b)|wt\.? (?:oz|ounces?)": "oz wt",
    r"oz|ounces?|unzen?|onzas?|onces?|ons": "oz",
    r"lbs?|pounds?|libras?|#(?!\d)": "lb",
    r"kgs?|kilo(?:gram(?:me|m|o)?)?s?": "kg", r"mg": "mg",
    r"gr": "gr", r"g|gms?|grams?|gramm|grammes?|gramos?": "g",
    r"gal(?:lon)?s?|galones|galón": "gal", r"qts?|quarts?": "qt", r"pts?|pints?": "pt",
    r"mls?|millilit(?:er|re)s?|milliliter|mililitros?|cc": "mL", r"cl": "cL", r"dl": "dL",
    r"l|ltrs?|lit(?:er|re)s?|litros?|lt": "L",
}  # fmt: skip
_HOLDS = {  # holders of material; those that are also sold empty stand in the second list
    "other": r"bags?|pails?|buckets?|drums?|jugs?|boxe?s?|bx|cases?|cs|cartons?|ctn|packs?|pks?|pkgs?|packages?|packets?|"
    r"pouch(?:es)?|sacks?|sachets?|trays?|blocks?|bars?|rolls?|rl|bundles?|bdl|sets?|slee?ves?|kits?|canisters?|pallets?|sheets?|"
    r"carboys?|totes?|sticks?|cubes?|beutel|säcke?|eimer|kanister|karton|kiste|packung(?:en)?|rollen?|bund|fass|tüten?|"
    r"schachtel|gebinde|sacs?|bidons?|seau|fût|caisse|paquets?|rouleaux?|lot|zak(?:ken)?|doos|emmer|rol(?:len)?|"
    r"pak(?:ken)?|jerrycans?|bolsas?|cajas?|sacos?|cubos?|garrafa|bidón|rollos?|paquetes?|boîtes?|boites?",
    "empty": r"bottles?|jars?|tins?|cans?|tubes?|vials?|droppers?|pots?|tubs?|containers?|\w*flaschen?|\w*dosen?|"
    r"tiegel|flacons?|bouteilles?|fles(?:sen)?|flesjes?|potjes?|blik(?:ken)?|botellas?|frascos?|latas?|tarros?|botes?|jarras?",
}  # fmt: skip
_HOLDER = rf"(?:{_HOLDS['other']}|{_HOLDS['empty']})"
_PIECES = re.compile(
    r"lids?|caps?|closures?|measuring|scoops?|shrink|empty|leere?|leeg|vides?|vacíos?|pumps?|sprayers?|labels?|gloves?|mou?lds?|pipettes?|scales?|beakers?|pitchers?|wicks?|"
    r"liners?|spoons?|mailers?|thermometers?|blenders?|funnels?|bands?|paper|cardstock|tissue|tape|pan|cutters?|strips|"
    r"brush(?:es)?|aprons?|hairnets?|syringes?|spatulas?|whisks?|ribbon|stickers?|rounds?|envelopes?|cups|etiketten?|"
    r"étiquettes?|etiquetas?|\w*deckel|verschlüsse|handschuhe?|waage|couvercles?|bouchons?|moules?|gants?|balance|deksels?|"
    r"doppen|handschoenen|pipetten?|tapas?|tapones|guantes?|moldes?|básculas?|capsules size"
)
_SHAPES = re.compile(
    r"pete?|hdpe|ldpe|pp|glass|plastic|alumini?um|metal|tinplate|boston|cosmo|bullet|empty|phenolic|muslin|organza|glas|"
    r"leer|leeg|verre|vides?|vidrio|plástico|braunglas"
)
_LOOKS = re.compile(
    r"amber|cobalt|flint|clear|frosted|white|black|natural|silver|gold|blue|green|red|brown|round|square|oval|straight|"
    r"sided|wide|mouth|neck|double|wall|with|and|w|flip|top|smooth|ribbed|kraft|small|large|dram|braun|klar|weiß|schwarz|"
    r"ambre|transparent|blanc|noir|ámbar|transparente|of|per|each|by|in|the|for|a|x|n|approx|about|net|wt|size|resealable|"
    r"de|en|con|van|mit|à|ca|netto"
)
# Before one of these a size is not what the line sells: it fits, holds, costs or names something.
_NOT_OURS = re.compile(
    r"(?:\b(?:for|fits?|up to|holds|capacity|max\.?|per|makes|yields|min(?:imum)?\.?|over|under|für|pour|voor|para|"
    r"pro|por)|[$€£]) ?$"
)
_SAMPLER = re.compile(r"\b(?:sampler|assort\w*|variety|collection|kits?|sets?)\b")  # a size may be of each of several
_NAMED = re.compile(
    r"(?:\bfd ?& ?c \w+|\bd ?& ?c \w+|\bci|\btype|\bno\.?|\bnr\.?|\bgrade|\bbatch|\blot|\bsize|\bitem|\bsku|\bref) $"
)

# ---------------------------------------------------------------- patterns

_DIGITS = r"(?:\d[\d.,']*\d|\d|[.,]\d+)"
_FREE = r"(?<![\w.,#/$€£%&+-])(?<!\d:)"
_NUMBER = rf"(?:\d{{1,4}} \d/\d{{1,2}}(?!\d)|\d{{1,3}}/\d{{1,3}}(?!\d)|half(?: a)?|[1-9]\d{{0,2}} 000|{_DIGITS})"
_UNIT = "(?:" + "|".join(f"(?P<u{at}>{spelling})" for at, spelling in enumerate(_UNITS)) + r")(?![^\W_])"
_LB_OZ = re.compile(
    rf"{_FREE}(?P<lb>\d{{1,3}}) ?(?:lbs?|pounds?)\.? (?P<oz>\d{{1,2}}(?:\.\d+)?) ?(?:oz|ounces?)\b(?! ?fl)"
)
_JOIN = rf"(?: ?[x×*] ?| / ?| - ?| (?:{_HOLDER} )(?:x|of|à|a|de|van|je|mit) | ?@ ?)"
_TIMES = rf"(?P<times>(?:\d{{1,5}}{_JOIN}){{1,3}})?"
_MEASURE = re.compile(
    rf"(?:{_FREE}|(?<=[bglsz]/)|(?<=[-+])){_TIMES}(?P<number>{_NUMBER}) ?-? ?(?:us )?{_UNIT}"
    rf"(?P<after>\.?(?: {_HOLDER})? ?[x×*] ?(?P<by>\d{{1,5}})(?![\d.,/]*\d| ?(?:[x×]|in\b|cm|mm|ft|%|\"|'|[a-z]{{1,2}}\b(?<!pc)))"
    r"(?: ?(?:pcs?|ct|st(?:ü)?c?k|pièces|stuks)\b)?)?"
)
_WHOLE = rf"{_FREE}(?P<n>\d{{1,3}}(?:[.,' ]\d{{3}})+|\d{{1,6}})(?![\d.,/]*\d)"
_PIECE = (
    r"(?:ct|counts?|pcs?|pces?|pieces?|ea|each|units?|stücke?|stueck|stc?k|st(?=\.)|pièces?|unités?|stuks?|piezas?|pzas?|pz|"
    r"unidad(?:es)?|uds?|packs?|pks?)"
)
_PER = r"(?:/|per|pro|par|je|por|al|a|an|in) ?"
_NESTED = re.compile(
    rf"{_WHOLE} ?{_PIECE}? ?{_PER} ?(?P<inner>{_HOLDER})\b[ ,;(-]{{1,3}}(?P<m>\d{{1,4}}) ?(?P<again>{_HOLDER}) ?{_PER}{_HOLDER}\b"
)
_COUNTS = (
    re.compile(rf"{_WHOLE} ?(?:{_PIECE} ?)?(?:/|per|pro|par|por) ?{_HOLDER}\b"),
    re.compile(
        rf"\b(?:{_HOLDER}|ve) ?(?:of |de |van |à |a |con |mit |/ ?|: ?|= ?){_WHOLE.removeprefix(_FREE)}"
        r"(?! ?(?:[x×*]|%|\"|'|(?:in|inch|ft|feet|yd|yds|m|cm|mm|mil)\b))"
    ),
    re.compile(rf"{_WHOLE}[ -]?(?:er[ -]?)?{_PIECE}\b"),
)
_BOXES = re.compile(
    rf"{_WHOLE} {_HOLDER} (?:of|de|van|à|a|mit|con|x) (?P<m>\d{{1,5}})(?![\d.,/]*\d| ?(?:[x×%\"']|[a-z]{{1,2}}\b))"
)
_DOZEN = re.compile(rf"(?:{_WHOLE} ?|(?P<half>half (?:a )?))?\b(?:dozens?|doz|dz|dutzend|douzaines?|dozijn|docenas?)\b")
_GROSS = re.compile(rf"{_WHOLE} ?gross\b(?! ?(?:weight|wt))")
_LOOSE = re.compile(rf"{_WHOLE} (?={_HOLDER}\b|\d+ ?(?:fl|oz|ml|g|lb)\b)")

_SURE_PARTS = {"1/2", "1/4", "3/4", "1/3", "1/8"}
_ASK_OUNCE = "Does {} mean ounces of weight or fluid ounces?"
_ASK_NUMBER = "Does {} part thousands, or decimals, or is it two numbers?"
_ASK_PART = "Is {} a part of one or a count of packs?"
_ASK_NAME = "Is the number in {} a size or a part of the name?"
_ASK_SIZES = "Which of the sizes in {} does a pack hold?"
_ASK_HOLDER = "Is {} what a pack holds, or the size of something sold empty?"
_ASK_COUNT = "Does a pack hold all that {} says together, or one of it?"


# ---------------------------------------------------------------- numbers


def _read(text: str, decimal: str) -> Fraction | None:
    try:
        return read_number(text, decimal)
    except QuantityError:
        return None


def _number(text: str, decimal: str) -> tuple[Fraction | None, str]:
    """The value and what is not certain about it; of two readings the larger one."""
    if text.startswith("half"):
        return Fraction(1, 2), ""
    if text.endswith(" 000"):
        return Fraction(text.replace(" ", "")), _ASK_NUMBER.format(quoted(text))
    values = {style: value for style in DECIMALS if (value := _read(text, style)) is not None}
    if not values:
        return None, ""
    doubt = _ASK_NUMBER.format(quoted(text))
    if decimal:
        return (values[decimal], "") if decimal in values else (max(values.values()), doubt)
    return max(values.values()), "" if len(set(values.values())) == 1 else doubt


def _whole(text: str) -> Fraction:
    """A count: pieces are whole, so a mark in it parts thousands."""
    return Fraction(int("".join(sign for sign in text if sign.isdigit())))


def _part_doubt(text: str) -> str:
    """The question a number with a fraction leaves: '4/5 lb' may be four of five pounds, '80 1/2' a name and a half."""
    whole, _, part = text.rpartition(" ")
    sure = "/" not in text or (part in _SURE_PARTS and len(whole) < 2)
    return "" if sure else _ASK_PART.format(quoted(text))


# ---------------------------------------------------------------- statements of size


def _pounds_and_ounces(text: str) -> Iterator[_Size]:
    for found in _LB_OZ.finditer(text):
        ounces = Fraction(found["oz"])
        if ounces < 16 and int(found["lb"]):
            yield _Size(found.start(), found.end(), Fraction(1), int(found["lb"]) * 16 + ounces, "oz", "")


def _sizes(text: str, decimal: str) -> list[_Size]:
    """Every statement of size that may be what the line sells, in the order written."""
    sizes = list(_pounds_and_ounces(text))
    for found in _MEASURE.finditer(text):
        taken = any(size.start < found.end() and found.start() < size.end for size in sizes)
        size = None if taken or _NOT_OURS.search(text[: found.start()]) else _size(found, text, decimal)
        if size is not None:
            sizes.append(size)
    return sorted(sizes, key=lambda size: size.start)


def _size(found: re.Match[str], text: str, decimal: str) -> _Size | None:
    times, number = found["times"] or "", found["number"]
    packed = re.fullmatch(r"(\d{1,3})/(\d{1,3})", number)
    if packed and not times and int(packed[1]) >= int(packed[2]):
        times, number = f"{packed[1]}/", packed[2]  # 12/2 oz, 4/1 gal: a count of sizes
    value, doubt = _number(number, decimal)
    count = _product(re.findall(r"(?<![\w])\d+", times)) * int(found["by"] or 1)
    if value is None or not 0 < count * value < _LARGEST or value > _LARGEST:
        return None
    name = _unit_name(found)
    asks = (doubt, _part_doubt(number), *_size_doubts(found, times, name, value, text))
    shown = "g" if name == "gr" else name
    return _Size(found.start(), found.end(), count, value, shown, next(filter(None, asks), ""))


def _product(numbers: Sequence[str]) -> Fraction:
    total = Fraction(1)
    for number in numbers:
        total *= int(number)
    return total


def _unit_name(found: re.Match[str]) -> str:
    names = list(_UNITS.values())
    return next(name for at, name in enumerate(names) if found[f"u{at}"])


def _size_doubts(found: re.Match[str], times: str, name: str, value: Fraction, text: str) -> Iterator[str]:
    """What is not certain about one statement: its ounce, its 'gr', a name in front, a range, a strength such as 200x."""
    words, before = quoted(found[0]), text[: found.start()]
    net = name == "oz" and re.search(r"\b(?:net )?(?:wt|weight)\.?:? ?$", before)
    if name == "oz" and not net:
        yield _ASK_OUNCE.format(words)
    if name == "gr":
        yield f"Does {words} mean grams?"
    if name in ("gal", "qt", "pt", "fl oz") and re.search(r"\b(?:uk|imp|imperial|british)\b", text):
        yield f"Is {words} a US or an imperial measure?"
    if _NAMED.search(before) or before.endswith(("-", "+")) or (name == "pt" and value > 8):
        yield _ASK_NAME.format(words)
    if re.search(r"(?<![\w-])\d{1,3} $", before) and re.match(r"\d{3}(?!\d)", found["number"]):
        yield _ASK_NUMBER.format(quoted(text[found.start() - 4 : found.end()]))
    if " -" in times or re.search(r"\dx ", times) or (times and before.endswith(("/", "-"))):
        yield _ASK_COUNT.format(words)


# ---------------------------------------------------------------- statements of count


def _counts(text: str) -> list[_Count]:
    """Every statement of pieces, in the order written; of two that overlap the first kind of pattern wins."""
    counts: list[_Count] = []
    for found in _NESTED.finditer(text):
        same = found["inner"][:2] == found["again"][:2]
        ask = "" if same else _ASK_COUNT.format(quoted(found[0]))
        counts.append(_Count(found.start(), found.end(), _whole(found["n"]) * int(found["m"]), ask))
    for found in _BOXES.finditer(text):
        if (many := _whole(found["n"]) * int(found["m"])) and many < _LARGEST:
            counts.append(_Count(found.start(), found.end(), many))
    for pattern, each in ((_DOZEN, 12), (_GROSS, 144), *((pattern, 1) for pattern in _COUNTS)):
        for found in pattern.finditer(text):
            free = not _NOT_OURS.search(text[: found.start()]) and not any(
                one.start < found.end() and found.start() < one.end for one in counts
            )
            half = pattern is _DOZEN and found["half"]
            many = _whole(found["n"]) * each if found["n"] else Fraction(each, 2 if half else 1)
            if free and 0 < many < _LARGEST:
                counts.append(_Count(found.start(), found.end(), many))
    return sorted(counts, key=lambda one: one.start)


def _one_count(counts: Sequence[_Count], text: str) -> _Count | None:
    """The count all statements agree on; two that differ are multiplied and asked about. '1 each' says nothing beside another."""
    many = [one for one in counts if one.count > 1] or list(counts[:1])
    if not many:
        return None
    first, last = many[0], many[-1]
    if len({one.count for one in many}) == 1:
        return first
    total = min(first.count * last.count, Fraction(_LARGEST))
    return _Count(first.start, last.end, total, _ASK_COUNT.format(quoted(text[first.start : last.end])))


# ---------------------------------------------------------------- one size out of several


def _decided(ounce: _Size, other: _Size) -> _Size | None:
    """The bare ounce read as the exact weight or volume beside it says, None where that is not near."""
    name = "oz" if other.dimension == "mass" else "fl oz"
    read = replace(ounce, unit=name, ask="")
    return read if abs(read.base - other.base) <= _SAME_OUNCE * other.base else None


def _agree(one: _Size, other: _Size) -> bool:
    if one.dimension == other.dimension:
        return abs(one.base - other.base) <= _SAME * other.base
    mass, volume = (one, other) if one.dimension == "mass" else (other, one)
    return _LIGHTEST <= mass.base / volume.base <= _HEAVIEST


def _one_size(sizes: Sequence[_Size], text: str) -> _Size | None:
    """The first statement of size, certain where those after it tell the same thing again."""
    if not sizes:
        return None
    first, words = sizes[0], quoted(text[sizes[0].start : sizes[-1].end])
    for other in sizes[1:]:
        if first.bare and not other.ask and (decided := _decided(first, other)):
            first = decided
        elif (first.bare and not other.ask) or not (other.bare or _agree(first, other)):
            return replace(first, ask=first.ask or _ASK_SIZES.format(words))
    return first


# ---------------------------------------------------------------- what the words name


def _sells(text: str, spans: Sequence[_Size | _Count]) -> str:
    """'pieces', 'empties' (holders sold empty), 'material', or 'holder' where nothing but a holder is named."""
    marked = list(text)
    for span in spans:
        marked[span.start : span.end] = " " * (span.end - span.start)
    rest = re.findall(r"[^\W\d_]{2,}", "".join(marked))
    words = re.findall(r"[^\W\d_]{2,}", text)
    if any(_PIECES.fullmatch(word) for word in words):
        return "pieces"
    shaped = any(_SHAPES.fullmatch(word) for word in words)
    empty = [word for word in words if re.fullmatch(_HOLDS["empty"], word)]
    if any(not re.fullmatch(f"{_HOLDER}|{_SHAPES.pattern}|{_LOOKS.pattern}|{_PIECE}", word) for word in rest):
        return "material"
    coloured = bool(empty) and any(_LOOKS.fullmatch(word) and len(word) > 3 for word in rest)
    return "empties" if shaped or coloured else "holder"


def _plural_holder(text: str) -> bool:
    words = re.findall(r"[^\W\d_]{2,}", text)
    return any(re.fullmatch(_HOLDS["empty"], word) and word.endswith(("s", "n")) for word in words)


def _of_pieces(size: _Size | None, count: _Count | None, text: str) -> Pack | None:
    """Things sold by the piece: a size beside them is their own, the count is the pack."""
    loose = _LOOSE.search(text)
    if count is None and size is not None and size.count > 1:
        ask = (
            _ASK_COUNT.format(quoted(text[size.start : size.end]))
            if re.search(r"mou?ld|cavit|moule|molde", text)
            else ""
        )
        count = _Count(size.start, size.end, size.count, ask)
    if count is None and loose and _whole(loose["n"]) > 1:
        count = _Count(loose.start(), loose.end(), _whole(loose["n"]), _ASK_COUNT.format(quoted(loose[0])))
    if count is None or not 0 < count.count < _LARGEST:
        return None
    return Pack(count.count, "each", count.ask, text[count.start : count.end].strip())


def _of_material(size: _Size, count: _Count | None, text: str, sells_empty: bool) -> Pack:
    """A material by size; a count merely beside the size may tell of it again, of more of it, or of the order."""
    total, ask, start, end = size.count * size.size, size.ask, size.start, size.end
    loose = _LOOSE.match(text) if count is None and size.count == 1 else None
    if loose and 1 < _whole(loose["n"]) < _LARGEST and loose.start() < start:
        count = _Count(loose.start(), loose.end(), _whole(loose["n"]))
    if count is not None and count.count > 1 and count.count != size.count:
        start, end = min(start, count.start), max(end, count.end)
        total *= count.count
        ask = ask or _ASK_COUNT.format(quoted(text[start:end]))
    elif (_SAMPLER.search(text) and size.count == 1) or (size.count > 1 and sells_empty):
        ask = ask or _ASK_COUNT.format(quoted(text[start:end]))
    return Pack(total, size.unit, ask, text[start:end].strip())


def _folded(description: str) -> str:
    """The line in small letters with plain dashes and fractions, cut to what is read."""
    text = normalize("NFC", clean(description[:LONGEST_LINE]).translate(CLEAN)).casefold().replace("ß", "ss")
    text = re.sub(r"\bfl\. ?oz", "fl oz", text)
    # Digits of other scripts and raised ones are no numbers here: read_number takes none of them either.
    return " ".join("".join(sign if sign.isascii() or not sign.isdigit() else " " for sign in text).split())


def pack_in(description: str, decimal: str = "") -> Pack | None:
    """What a pack holds by the words of a supplier's line, None where they name no pack.

    Args: decimal is the paper's style, 'point' or 'comma', '' where it is not known: '1.000 g' is asked about then.
    Returns: the total above zero in a unit the book reads, and in `ask` the question that stays open.
    Raises: ValueError for another decimal style.

    >>> pack_in("Baking soda 12 x 1 lb box").total, pack_in("Lids 38-400 black")
    (Fraction(12, 1), None)
    """
    if decimal not in ("", *DECIMALS):
        raise ValueError(f"decimal style is one of {DECIMALS} or '', not {decimal!r}")
    text = _folded(description)
    if kind_of(text, Decimal(1)) != "goods":
        return None  # freight over 50 lb holds nothing
    sizes, counts = _sizes(text, decimal), _counts(text)
    inside = [c for c in counts if not any(s.start < c.end and c.start < s.end for s in sizes)]
    size, count = _one_size(sizes, text), _one_count(inside, text)
    sells = _sells(text, [*sizes, *inside])
    if size is None or sells in ("pieces", "empties"):
        return _of_pieces(size, count, text)
    sells_empty = sells == "holder" and _plural_holder(text) and (size.dimension == "volume" or size.bare)
    if sells_empty and count is not None:
        return _of_pieces(size, count, text)
    if sells == "material" and any(map(_SHAPES.fullmatch, re.findall(r"[^\W\d_]{2,}", text))):
        size = replace(size, ask=size.ask or _ASK_HOLDER.format(quoted(text[size.start : size.end])))
    return _of_material(size, count, text, sells_empty)
