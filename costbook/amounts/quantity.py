"""Amounts as she writes them: numbers, units, ranges and percents, read strictly and kept exact.

This file owns the grammar of a written amount and the units. units.csv beside it has a row a unit with exact factor,
source and UN/ECE code; rows of dimension 'refused' say why a name is not read. It is the only file that knows pint, and
asks it only for full unit names the table does not have. Numbers and reference weights have files of their own; their
names can be had here too.

    read_amount("2 1/4", "cups") -> Amount -> .base(g_per_ml=0.92) -> grams

Exact numbers are `Fraction`; grams, mL and pieces leave as float.
"""

import csv
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import cached_property, lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

from costbook.amounts.numbers import CLEAN, LONGEST, number_text, quoted, read_number, same_name
from costbook.amounts.weights import (
    ReferenceWeight,
    nearest_references,
    reference_weight,
    reference_weights,
    reference_weights_for,
)
from costbook.errors import QuantityError, UnknownUnit, WeightPerVolumeMissing

__all__ = [
    "DIMENSIONS",
    "FORMS",
    "MEASURES",
    "Amount",
    "ReferenceWeight",
    "Unit",
    "convert",
    "is_plain_ounce",
    "nearest_references",
    "number_text",
    "read_amount",
    "read_number",
    "rec20_unit",
    "reference_weight",
    "reference_weights",
    "reference_weights_for",
    "same_name",
    "unit",
]  # fmt: skip

MEASURES = ("US customary", "metric", "imperial", "Australian")
DIMENSIONS = ("mass", "volume", "count")
FORMS = {
    "level": "level", "packed": "packed", "heaped": "heaped", "heaping": "heaped", "scooped": "scooped",
    "sifted": "sifted", "unsifted": "unsifted", "spooned": "spooned", "loose": "loose", "rounded": "rounded",
}  # fmt: skip
_SYSTEMS = {
    "us customary": "US customary", "us": "US customary", "usa": "US customary", "american": "US customary",
    "imperial": "imperial", "imp": "imperial", "uk": "imperial", "british": "imperial",
    "metric": "metric", "australian": "Australian", "aust": "Australian", "aus": "Australian", "au": "Australian",
}  # fmt: skip
_SYSTEM_LABELS = {"US customary": "US", "metric": "metric", "imperial": "imperial", "Australian": "Australian"}
_WANTED = {"g": "mass", "mL": "volume", "ml": "volume", "each": "count"}
_ENDLESS = float("inf")
_WHICH = {"low": 0, "usual": 1, "high": 2}
_PERCENT = {"%", "percent", "per cent", "pct"}
_JOINS = {"+", "and", "plus"}


class Unit(NamedTuple):
    """A unit: name, dimension (mass, volume or count), exact factor to g, mL or each, and where the factor is from."""

    name: str
    dimension: str
    factor: Fraction
    source: str


class _Said(NamedTuple):
    text: str
    unit: Unit | None
    low: Fraction
    usual: Fraction
    high: Fraction
    percent: bool = False
    usual_given: bool = True
    form: str = "level"


class Amount(_Said):
    """An amount as written: low, usual and high in `unit`, exact; for a percent the unit is None and 2 % is 2/100.

    `text` is what was typed, amount and unit. `usual_given` is False where nobody wrote the usual amount of a range:
    the middle of "4-6 oz", the top of "up to 2 cups". `form` is one of FORMS' values.
    """

    def __new__(
        cls, text: str, unit: Unit | None, low: Fraction, usual: Fraction, high: Fraction, percent: bool = False,
        usual_given: bool = True, form: str = "level",
    ) -> "Amount":  # fmt: skip
        """An amount that a float can hold. Raises QuantityError where it is too large."""
        made = super().__new__(cls, text, unit, low, usual, high, percent, usual_given, form)
        made.__dict__["bases"] = _bases(unit, low, usual, high)  # by the property it would cost three times as much
        return made

    @cached_property
    def bases(self) -> tuple[float, float, float]:
        """Low, usual and high in g, mL or each as floats."""
        return _bases(self.unit, self.low, self.usual, self.high)

    @property
    def is_range(self) -> bool:
        """True where low and high differ."""
        return self.low is not self.high and self.low != self.high

    def base(self, which: str = "usual", g_per_ml: float | None = None, want: str = "g") -> float:
        """Grams, mL or pieces of the low, usual or high amount.

        Args: want is 'g', 'mL' or 'each'; g_per_ml is the weight per volume, needed only between weight and volume.
        Raises: WeightPerVolumeMissing without g_per_ml; QuantityError for a percent or pieces asked for in grams.
        """
        if self.unit is None:
            raise QuantityError(f"{quoted(self.text)} is a share of a batch and has no weight of its own.")
        value, have, need = self.bases[_WHICH[which]], self.unit.dimension, _WANTED[want]
        if have == need:
            return value
        if have == "volume" and need == "mass" and g_per_ml is not None and 0 < g_per_ml < _ENDLESS:
            return value * g_per_ml
        _check_bridge(quoted(self.text), have, need, g_per_ml)
        assert g_per_ml is not None
        return value * g_per_ml if have == "volume" else value / g_per_ml


def _bases(unit: Unit | None, low: Fraction, usual: Fraction, high: Fraction) -> tuple[float, float, float]:
    factor = unit.factor if unit else Fraction(1)
    middle = _product(usual, factor)
    return (middle,) * 3 if low is usual is high else (_product(low, factor), middle, _product(high, factor))


def _product(value: Fraction, factor: Fraction) -> float:
    # One division of whole numbers rounds once; float(value * factor) costs four times as much.
    try:
        return (value.numerator * factor.numerator) / (value.denominator * factor.denominator)
    except OverflowError:
        raise QuantityError("An amount is too large to be weighed.") from None


# ---------------------------------------------------------------- units

_Known = Mapping[str, tuple[str, str, str, str]]  # folded name -> name, dimension, factor, source


@lru_cache(maxsize=1)
def _unit_rows() -> list[dict[str, str]]:
    return list(csv.DictReader(Path(__file__).with_name("units.csv").read_text(encoding="utf-8").splitlines()))


@lru_cache(maxsize=8)
def _known(measures: str) -> _Known:
    """Folded name -> row, for one kind of measure; '=T' entries stand for exactly that letter."""
    if measures not in MEASURES:
        raise QuantityError(f"Measures {quoted(measures)} are not known.", do=f"Choose one of: {', '.join(MEASURES)}.")
    known: dict[str, tuple[str, str, str, str]] = {}
    for row in _unit_rows():
        if row["measures"] in ("", measures):
            entry = (row["name"], row["dimension"], row["factor"], row["source"])
            for spelling in (row["name"], *filter(None, row["also"].split("|"))):
                known[spelling if spelling.startswith("=") else spelling.casefold()] = entry
    return known


def _folded_unit(name: str) -> str:
    for sign in "-_()":
        name = name.replace(sign, " ")
    return " ".join(name.replace(".", "").split())


def _singulars(key: str) -> tuple[str, ...]:
    return (key, *(key.removesuffix(ending) for ending in ("s", "es") if key.endswith(ending) and len(key) > 2))


def _found(name: str, measures: str) -> tuple[str, str, str, str] | None:
    known = _known(measures)
    exact = known.get("=" + name)
    keys = _singulars(name.casefold())
    return exact or next((known[key] for key in keys if key in known), None)


def _found_with_system(name: str) -> tuple[str, str, str, str] | None:
    """'US cup', 'imperial fl oz', 'fl oz (US)': the words name the measure, whatever the book's own is."""
    lowered = name.casefold()
    for word, measures in _SYSTEMS.items():
        rest = ""
        if lowered.startswith(word + " "):
            rest = name[len(word) + 1 :]
        elif lowered.endswith(" " + word):
            rest = name[: -len(word) - 1]
        row = _found(rest, measures) if rest else None
        if row and _is_of_system(row[0], measures):
            return (f"{_SYSTEM_LABELS[measures]} {row[0]}", *row[1:])
    return None


def _is_of_system(name: str, measures: str) -> bool:
    return any(row["name"] == name and row["measures"] == measures for row in _unit_rows())


@lru_cache(maxsize=1)
def _registry() -> Any:
    try:
        import pint
    except ImportError:
        return None
    return pint.UnitRegistry(non_int_type=Fraction)


def _from_pint(key: str, measures: str) -> Unit | None:
    """The unit as pint knows it: full names only, so that no prefix or symbol is read into what she wrote."""
    words = key.split()
    if len(key) < 4 or not all(word.isascii() and word.isalpha() for word in words):
        return None
    registry = _registry()
    names = ["imperial_" + "_".join(words), "_".join(words)][measures != "imperial" :]
    for name in names if registry else ():
        plain = [known for prefix, known, _ in registry.parse_unit_name(name) if not prefix]
        quantity = registry.Quantity(Fraction(1), plain[0]) if plain else None
        for dimension, target in (("mass", "gram"), ("volume", "milliliter")):
            # Plain volume names of pint are the US ones: a book of other measures may not take those.
            foreign = dimension == "volume" and measures != "US customary" and not name.startswith("imperial_")
            if quantity is not None and not foreign and quantity.check(f"[{dimension}]"):
                factor = Fraction(quantity.to(target).magnitude)
                return Unit(plain[0].replace("_", " "), dimension, factor, "pint, default unit table")
    return None


def _nearest(key: str, measures: str) -> str:
    from difflib import get_close_matches

    names = [name for name, row in _known(measures).items() if row[1] != "refused" and len(name) > 1]
    close = get_close_matches(key, names, n=1)
    return close[0].lstrip("=") if close else ""


@lru_cache(maxsize=4096)
def unit(name: str, measures: str = "US customary") -> Unit:
    """The unit of that name: case, plurals, dots and spaces do not count, save "T" (tablespoon) and "t" (teaspoon).

    Args: measures is one of MEASURES: which cup, spoon and fl oz a bare name means. "US cup" and "imperial fl oz" are
    always those.
    Raises: UnknownUnit, with the nearest name or with what to write instead.
    Source: the row's own, in `Unit.source`; "T" and "t" are common practice, no source.
    """
    folded = _folded_unit(name)
    if not folded:
        raise UnknownUnit("No unit is given.", do="Write one, such as g, oz, cup or each.")
    row = _found(folded, measures) or _found_with_system(folded)
    if row and row[1] == "refused":
        raise UnknownUnit(f"unit {quoted(name)} is not read: {row[3]}.")
    if row:
        return Unit(row[0], row[1], Fraction(row[2]), row[3])
    last = _from_pint(folded.casefold(), measures)
    if last is None:
        near = _nearest(folded.casefold(), measures)
        raise UnknownUnit(f"unit {quoted(name)} is not known" + (f"; nearest: {near}" if near else "") + ".")
    return last


@lru_cache(maxsize=1)
def _rec20() -> dict[str, Unit]:
    units: dict[str, Unit] = {}
    for row in _unit_rows():
        label = _SYSTEM_LABELS[row["measures"]] + " " if row["measures"] else ""
        for code in filter(None, row["rec20"].split("|")):
            units[code] = Unit(label + row["name"], row["dimension"], Fraction(row["factor"]), row["source"])
    return units


def rec20_unit(code: str) -> Unit | None:
    """The unit of a UN/ECE Recommendation 20 code as used on e-invoices ('KGM', 'OZA', 'H87'); None for any other code.

    A fluid ounce comes back as 'US fl oz' or 'imperial fl oz', an ounce (ONZ) as 'oz wt': the code leaves no question.
    Source: UN/ECE Recommendation No. 20 code list; XPP is 'piece' of Recommendation 21 with its prefix X.
    """
    return _rec20().get(code.strip().upper())


def _check_bridge(what: str, have: str, need: str, g_per_ml: float | None) -> None:
    """Raises unless a weight per volume leads from one dimension to the other."""
    if "count" in (have, need):
        raise QuantityError(f"{what} is a {have} and cannot be read as a {need}.")
    if g_per_ml is None:
        do = "Weigh one level measure of it and write the weight per volume down."
        raise WeightPerVolumeMissing(f"{what} is a {have}; no weight per volume is known to make it a {need}.", do=do)
    if not 0 < g_per_ml < float("inf"):
        raise QuantityError(f"A weight per volume of {g_per_ml} g/mL cannot be right.", do="It is above zero.")


def convert(
    amount: Fraction | int, unit_from: Unit, unit_to: Unit, g_per_ml: float | Fraction | None = None
) -> Fraction:
    """The amount in another unit, exact; a float weight per volume counts as the decimal it prints as.

    Raises: WeightPerVolumeMissing between weight and volume without g_per_ml; QuantityError between pieces and either.
    """
    base = amount * unit_from.factor
    if unit_from.dimension != unit_to.dimension:
        what = f"{quoted(f'{number_text(Fraction(amount))} {unit_from.name}')}"
        _check_bridge(what, unit_from.dimension, unit_to.dimension, None if g_per_ml is None else float(g_per_ml))
        weight = g_per_ml if isinstance(g_per_ml, Fraction) else Fraction(repr(float(g_per_ml or 0)))
        base = base * weight if unit_from.dimension == "volume" else base / weight
    return base / unit_to.factor


# ---------------------------------------------------------------- amounts


class _Written(NamedTuple):
    """A value with what stands behind it: a unit, or a percent sign, or nothing yet."""

    value: Fraction
    unit: Unit | None = None
    percent: bool = False
    form: str = "level"


_LONE_SIGN = re.compile(r"(?:^|\s)[.,]+(?:\s|$)")
_LETTER_AFTER_DIGIT = re.compile(r"(?<=[0-9])(?=[^\W\d_]|[%#])")
_DASH_IN_WORD = re.compile(r"(?<=[^\W\d_])-(?=[^\W\d_])")
_NUMBER_AND_UNIT = re.compile(r" *([0-9][0-9 ./,]*?) *([A-Za-z][A-Za-z. ]*)")
_PARENTHESES = re.compile(r"\(([^()]*)\)")


@lru_cache(maxsize=4096)
def _unit_words(words: str, measures: str) -> _Written:
    """What stands behind a number: unit, percent or nothing, with the form words taken out."""
    split = words.replace(",", " ").split()
    left = [word for word in split if word.casefold() not in FORMS]
    forms = [_Written(Fraction(0), form=FORMS[word.casefold()]) for word in split if word.casefold() in FORMS]
    form = _one_form(forms, words)
    if form == "packed" and left and left[0].casefold() == "firmly":
        left = left[1:]
    name = " ".join(left)
    if name.casefold() in _PERCENT:
        return _Written(Fraction(0), percent=True, form=form)
    return _Written(Fraction(0), unit(name, measures) if name else None, form=form)


def _is_number_word(word: str) -> bool:
    return word[0] in "0123456789/" or (word[0] in ".," and word[1:2].isdigit())


def _run(words: Sequence[str], start: int, numbers: bool) -> int:
    end = start
    while end < len(words) and _is_number_word(words[end]) == numbers and words[end].casefold() not in _JOINS:
        end += 1
    return end


def _side(words: Sequence[str], whole: str, decimal: str, measures: str) -> _Written:
    """One number with its unit, or a compound such as '1 lb 8 oz', in its first unit."""
    found: list[_Written] = []
    at = 0
    while at < len(words) or not found:
        after_number = _run(words, at, numbers=True)
        if after_number == at:
            raise QuantityError(f"{quoted(whole)} has no number where one belongs.", do="Write it like 2 1/4 cup.")
        end = _run(words, after_number, numbers=False)
        behind = _unit_words(" ".join(words[after_number:end]), measures)
        number = read_number(" ".join(words[at:after_number]), decimal)
        found.append(_Written(number, behind.unit, behind.percent, behind.form))
        at = end + 1 if end + 1 < len(words) and words[end].casefold() in _JOINS else end
    return found[0] if len(found) == 1 else _compound(found, whole)


def _compound(found: Sequence[_Written], whole: str) -> _Written:
    first = found[0]
    total = first.value
    for before, after in pairwise(found):
        big, small = before.unit, after.unit
        if not (first.unit and big and small and big.dimension == small.dimension and big.factor > small.factor):
            raise QuantityError(f"{quoted(whole)} is not one amount.", do="Write one amount, or like 1 lb 8 oz.")
        total += after.value * small.factor / first.unit.factor
    form = next((part.form for part in found if part.form != "level"), "level")
    return _Written(total, first.unit, form=form)


def _words(text: str) -> list[str]:
    spaced = _LETTER_AFTER_DIGIT.sub(" ", text)
    if "-" in spaced:
        spaced = _DASH_IN_WORD.sub(" ", spaced).replace("-", " - ")
    return spaced.replace("+", " + ").replace("&", " + ").replace(" /", "/").replace("/ ", "/").split()


def _without_parentheses(text: str, whole: str) -> tuple[str, str]:
    """The text without its bracket, and the usual amount the bracket gave ('' if none). Words in brackets stay."""
    inside = _PARENTHESES.findall(text)
    rest = _PARENTHESES.sub(" ", text)
    if len(inside) > 1 or "(" in rest or ")" in rest:
        do = 'Write it like "up to 2 (usual 1)".'
        raise QuantityError(f"{quoted(whole)} has brackets that cannot be read.", do=do)
    words = inside[0].split() if inside else []
    if words and words[0].casefold() in ("usual", "usually"):
        return rest, " ".join(words[1:]) or " "
    if any(sign.isdigit() for word in words for sign in word):
        raise QuantityError(f"{quoted(whole)} gives a second amount in brackets.", do="Keep one of the two.")
    return f"{rest} {' '.join(words)}", ""


class _Typed(NamedTuple):
    """Low, usual and high as typed; usual is None where the middle of the range stands for it."""

    low: _Written
    usual: _Written | None
    high: _Written
    usual_given: bool = True


def _typed(text: str, decimal: str, measures: str) -> _Typed:
    cleaned = text if text.isascii() else text.translate(CLEAN)
    if _LONE_SIGN.search(text):
        raise QuantityError(f"{quoted(text)} is not an amount.", do="Write it like 2 1/4 or 0.8.")
    usual_text = ""
    if "(" in cleaned or ")" in cleaned:
        cleaned, usual_text = _without_parentheses(cleaned, text)
    usual = _side(_words(usual_text), text, decimal, measures) if usual_text else None
    words = _words(cleaned)
    lowered = [word.casefold() for word in words]
    if lowered[:2] == ["up", "to"]:
        high = _side(words[2:], text, decimal, measures)
        return _Typed(_Written(Fraction(0), high.unit, high.percent), usual or high, high, usual is not None)
    marks = [at for at, word in enumerate(lowered) if word in ("-", "to")]
    if marks and marks[0] == 0:
        raise QuantityError(f"{quoted(text)} is negative or has no low amount.", do="An amount is zero or more.")
    if len(marks) > 1:
        raise QuantityError(f"{quoted(text)} is not one range.", do='Write it like "4-6 oz".')
    if not marks:
        only = _side(words, text, decimal, measures)
        return _Typed(only, usual or only, only)
    low = _side(words[: marks[0]], text, decimal, measures)
    return _Typed(low, usual, _side(words[marks[0] + 1 :], text, decimal, measures), usual is not None)


def _settled(part: _Written, told: _Written, whole: str) -> Fraction:
    """The value in the unit all parts are told in; a percent as its fraction."""
    if part.unit is None and not part.percent:
        return part.value / 100 if told.percent else part.value
    if part.percent != told.percent:
        raise QuantityError(f"{quoted(whole)} mixes percent and a unit.", do="Keep one of the two.")
    if part.unit is None or told.unit is None:
        return part.value / 100
    if part.unit.dimension != told.unit.dimension:
        raise QuantityError(f"{quoted(whole)} mixes {part.unit.name} and {told.unit.name}.", do="Keep one unit.")
    return part.value if part.unit is told.unit else part.value * part.unit.factor / told.unit.factor


def _one_unit(typed: Sequence[_Written], column: _Written, whole: str, unit_text: str) -> _Written:
    """The unit the amount is told in: the unit cell's, else the first one in the text."""
    in_text = next((part for part in typed if part.unit or part.percent), None)
    if not (column.unit or column.percent):
        if in_text is None:
            raise QuantityError(f"{quoted(whole)} has no unit.", do="Write one, such as g, oz, cup or each.")
        return in_text
    if in_text:
        one, other = in_text.unit, column.unit
        same = one.factor == other.factor and one.dimension == other.dimension if one and other else one is other
        if not same:
            do = "Keep the unit in one of the two places."
            raise QuantityError(f"{quoted(whole)} has its own unit and {quoted(unit_text)} beside it.", do=do)
    return column


def _typed_number(written: int | float | Decimal) -> tuple[Fraction, str]:
    shown = repr(written) if isinstance(written, float) else str(written)
    if shown.strip("-").casefold() in ("nan", "inf", "infinity", "snan"):
        raise QuantityError(f"{quoted(shown)} is not a number.")
    top, bottom = Decimal(shown).as_integer_ratio()
    value = Fraction(top, bottom)
    if top < 0:
        raise QuantityError(f"{quoted(shown)} is negative.", do="An amount is zero or more.")
    return value, shown.removesuffix(".0")


def _read(written: object, decimal: str, measures: str) -> tuple[str, _Typed]:
    """What was typed, and the amount in it before the unit cell is looked at."""
    if isinstance(written, str):
        shown = written.strip()
        if not shown or len(shown) > LONGEST:
            raise QuantityError(f"{quoted(shown)} is not an amount." if shown else "No amount is written.")
        return shown, _typed(shown, decimal, measures)
    if isinstance(written, (int, float, Decimal)) and not isinstance(written, bool):
        value, shown = _typed_number(written)
        only = _Written(value)
        return shown, _Typed(only, only, only)
    # A spreadsheet turns 1/2 into the second of January.
    do = "Write it like 0.5, or with an apostrophe in front: '1/2."
    raise QuantityError(f"{quoted(written)} is not an amount but a {type(written).__name__}.", do=do)


def _one_form(parts: Sequence[_Written], text: str) -> str:
    forms = {part.form for part in parts} - {"level"}
    if len(forms) > 1:
        raise QuantityError(f"{quoted(text)} says {' and '.join(sorted(forms))} at once.", do="Keep one of them.")
    return forms.pop() if forms else "level"


def _quick(written: object, unit_text: str, decimal: str, measures: str) -> Amount | None:
    """One number with one unit, nearly all there is, by a shorter way to the same result; None for the rest."""
    if isinstance(written, str):
        number, unit_in_text = written, ""
        found = None if unit_text else _NUMBER_AND_UNIT.fullmatch(written)
        if found:
            number, unit_in_text = found.groups()
        elif not written.strip() or written.strip("0123456789 /.,"):
            return None
        behind = _unit_words(unit_text or unit_in_text, measures)
        value = read_number(number, decimal)
        text = written.strip()
    elif isinstance(written, (int, float)) and not isinstance(written, bool):
        behind = _unit_words(unit_text, measures)
        value, text = _typed_number(written)
    else:
        return None
    if behind.unit is None:
        return None
    text = f"{text} {unit_text.strip()}" if unit_text else text
    return Amount(text, behind.unit, value, value, value, form=behind.form)


@lru_cache(maxsize=32768, typed=True)
def _amount(written: object, unit_text: str, decimal: str, measures: str) -> Amount:
    quick = _quick(written, unit_text, decimal, measures)
    if quick:
        return quick
    shown, typed = _read(written, decimal, measures)
    column = _unit_words(unit_text, measures)
    parts = [part for part in (typed.low, typed.usual, typed.high) if part]
    told = _one_unit(parts, column, shown, unit_text)
    text = shown if any(part.unit or part.percent for part in parts) else f"{shown} {unit_text.strip()}"
    low = _settled(typed.low, told, text)
    high = low if typed.high is typed.low else _settled(typed.high, told, text)
    usual = (low + high) / 2
    if typed.usual:
        usual = high if typed.usual is typed.high else _settled(typed.usual, told, text)
    _check_order((low, usual, high), text, told.percent)
    form = _one_form((*parts, column), text)
    return Amount(text, told.unit, low, usual, high, told.percent, typed.usual_given, form)


def _check_order(bounds: Sequence[Fraction], text: str, percent: bool) -> None:
    low, usual, high = bounds
    if not low <= usual <= high:
        raise QuantityError(f"{quoted(text)} runs from high to low.", do="Write low, usual and high in that order.")
    if percent and high > 1:
        raise QuantityError(f"{quoted(text)} is more than the whole batch.", do="A percent is at most 100.")


def read_amount(
    written: str | int | float | Decimal, unit_text: str = "", *, decimal: str = "point", measures: str = "US customary"
) -> Amount:
    """The amount written, exact: '2 1/4 cups', '1 lb 8 oz', 'up to 2 (usual 1 1/4)', '4-6 oz', '5 level tsp', '2 %'.

    Args: unit_text is the unit cell beside it ('' where the unit is in the text); decimal is 'point' or 'comma';
    measures is one of MEASURES. A number from a cell is taken as the decimal it prints as.
    Returns: low, usual and high in the unit of the unit cell, else in the first unit written.
    Raises: QuantityError quoting what was read; UnknownUnit for its unit.
    """
    return _amount(written, unit_text, decimal, measures)


def is_plain_ounce(amount: Amount) -> bool:
    """True where the amount is in plain "oz" or "ounces", which for a liquid may mean weight or fluid ounces."""
    return amount.unit is not None and amount.unit.name == "oz"
