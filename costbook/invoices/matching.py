"""Which of her materials a paper's line means, and what its pack holds, by what is certain.

Certain are her own codes, what Purchases already holds of that supplier (she confirmed it there), and the very name. A
likeness of names is only ever a suggestion with its reason in words: measured on real papers a false pair scored higher
than a true one, so nothing is linked on a score.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from costbook.amounts.numbers import quoted
from costbook.amounts.quantity import Amount, read_amount, same_name, unit
from costbook.book.grid import Value
from costbook.book.model import SCAN, STANDARD, Book, Invoice, InvoiceLine
from costbook.errors import QuantityError
from costbook.invoices.packs import Pack, pack_in
from costbook.invoices.wording import folded

# Below this likeness (0 to 100) a suggestion is more often a nuisance than a help. Tried out, no source.
LIKENESS = 72.0
ALIKE_WORDS = 80.0
SHOWN_UNKNOWN = 5
_SIZE = re.compile(r"\d[\d.,/]*\s*(?:fl\.? ?oz|oz|lbs?|kg|g|ml|l|gal(?:lons?)?|pk|ct)?\b", re.I)


@dataclass(frozen=True, slots=True)
class Match:
    """What is known of a line's material: its code where that is certain, else `likely`, a code only suggested; `why` in words."""

    code: str = ""
    likely: str = ""
    why: str = ""


def described_pack(line: InvoiceLine, decimal: str) -> Pack | None:
    """The pack a line's description names: only ever a guess, which she confirms once for a supplier's item code."""
    return pack_in(line.name, decimal) if line.kind == "goods" else None


@dataclass
class _Bought:
    """What Purchases holds under one supplier's item code or description."""

    materials: set[str] = field(default_factory=set)
    packs: list[Amount] = field(default_factory=list)


_ONE = Pack(Fraction(1), "each", "", "")


class Confirmed:
    """What is known from the book as it stands, looked up by the lines of a paper. Built once per book."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self._by_code = {same_name(code): m.code for m in book.materials.values() for code in m.supplier_codes}
        self._items: dict[tuple[str, ...], _Bought] = {}
        self._descriptions: dict[tuple[str, ...], _Bought] = {}
        for line in book.purchases:
            if line.kind not in ("goods", "sample", "back-order"):
                continue
            supplier, code, words = same_name(line.supplier), same_name(line.item_code), folded(line.description)
            for held, *name in ((self._items, code), (self._items, code, words), (self._descriptions, words)):
                if name[0]:
                    bought = held.setdefault((supplier, *name), _Bought())
                    bought.materials |= {line.material} - {""}
                    bought.packs += [line.pack] if line.pack and line.pack.unit and not line.pack.is_range else []

    @cached_property
    def _own_names(self) -> list[tuple[str, list[str], str]]:
        """Every name and other name of a material: its code, the name's words, and these as one text."""
        named = [(m.code, _words(name)) for m in self.book.materials.values() for name in (m.name, *m.aliases)]
        return [(code, words, " ".join(words)) for code, words in named if words]

    def match(self, line: InvoiceLine, supplier: str) -> Match:
        """The material a line of that supplier means.

        In order: her code where the paper names it as hers, or a supplier's item code on the Materials tab; what Purchases
        holds of the same supplier under the same item code (one that may only be the line's number: and description), else under the same description; the very name or another name
        on the Materials tab; else a suggestion. Where Purchases holds two materials under one code or description the line's
        is not known. A supplier may number its items as she does: its item code being one of hers links only where the
        names are alike too.
        """
        item_code = "" if line.code_in_doubt else line.item_code
        code = self._by_code.get(same_name(line.buyer_code)) or self._by_code.get(same_name(item_code)) or self._own(line.buyer_code)
        if code:
            return Match(code, why="its code is on the Materials tab")
        bought = self._bought(line, supplier)
        if bought and len(bought[0].materials) > 1:
            named = " and ".join(sorted(self.book.materials[c].name for c in bought[0].materials))
            return Match(why=f"Purchases holds two materials under the same {bought[1]}: {named}")
        if bought:
            return Match(next(iter(bought[0].materials)), why=f"bought before under the same {bought[1]}")
        named, numbered = self._own(line.name), self._own(item_code)
        if named:
            if numbered in ("", named):
                return Match(named, why="the very name")
            return Match(likely=named, why=f"has its very name, but its item code {line.item_code} is your {self.book.materials[numbered].name}")
        found = self._suggestion(line)
        if not numbered:
            return found if found.likely else self._by_its_number(line, supplier)
        words = _words(line.name)
        whole = any(code == numbered and not _apart(words, own)[2] for code, own, _ in self._own_names)
        if found.likely == numbered and whole:
            return Match(numbered, why=f"its item code is one of yours and it {found.why}")
        name = self.book.materials[numbered].name
        return Match(likely=numbered, why=f"has an item code {line.item_code} like your {name}, but another name")

    def _by_its_number(self, line: InvoiceLine, supplier: str) -> Match:
        """What was bought under a code that may only be the line's number, in words: too little for a suggestion."""
        bought = self._items.get((same_name(supplier), same_name(line.item_code))) if line.code_in_doubt else None
        if bought is None or len(bought.materials) != 1:
            return Match()
        code = next(iter(bought.materials))
        return Match(why=f"{self.book.materials[code].name} was bought under the item code {line.item_code}, which may only be the line's number")

    def _own(self, written: str) -> str:
        """The material one of her own codes or names means, '' for any other text."""
        code = self.book.names.get(same_name(written), "") if written else ""
        return code if code in self.book.materials else ""

    def _bought(self, line: InvoiceLine, supplier: str) -> tuple[_Bought, str] | None:
        """What Purchases holds under the line's item code, else its description; None where no material stands there."""
        for bought, words in (
            (self._item(line, supplier), "item code"),
            (self._descriptions.get((same_name(supplier), folded(line.name))), "description"),
        ):
            if bought and bought.materials:
                return bought, words
        return None

    def _item(self, line: InvoiceLine, supplier: str) -> _Bought | None:
        """What Purchases holds under a line's item code; under one in doubt, only what has the same description too."""
        name = (same_name(supplier), same_name(line.item_code))
        return self._items.get((*name, folded(line.name)) if line.code_in_doubt else name)

    def pack(self, line: InvoiceLine, supplier: str) -> tuple[float, str] | None:
        """Size and unit of a pack as Purchases writes them, where it holds lines of that supplier and item code.

        None where it holds none, or packs of different sizes.
        """
        packs = self._packs(line, supplier)
        if not packs or len({_measure(p) for p in packs}) > 1:
            return None
        last = packs[-1]
        assert last.unit is not None
        return float(last.usual), last.unit.name

    def has_item(self, line: InvoiceLine, supplier: str) -> bool:
        """Whether the line's item code, or where it has none its description, stands in Purchases for this supplier."""
        if line.item_code:
            return self._item(line, supplier) is not None
        return (same_name(supplier), folded(line.name)) in self._descriptions

    def holds_pack(self, pack: Pack, line: InvoiceLine, supplier: str) -> bool:
        """Whether Purchases already holds a line of that supplier and item code with this very pack."""
        try:
            named = unit(pack.unit, self.book.settings.measures)
        except QuantityError:
            return False
        wanted = (named.dimension, pack.total * named.factor)
        return any(_measure(p) == wanted for p in self._packs(line, supplier))

    def _packs(self, line: InvoiceLine, supplier: str) -> list[Amount]:
        bought = self._item(line, supplier)
        return bought.packs if bought else []

    def _suggestion(self, line: InvoiceLine) -> Match:
        """The material whose name is most like the line's, where it is like enough and no other may as well be meant."""
        from rapidfuzz import fuzz

        words = _words(line.name)
        text = " ".join(words)
        best: dict[str, tuple[float, list[str]]] = {}
        for code, own, name in self._own_names:
            shared = fuzz.token_set_ratio(text, name, score_cutoff=2 * LIKENESS - 100)
            score = (shared + fuzz.token_sort_ratio(text, name)) / 2 if shared else 0.0
            if score >= max(LIKENESS, best.get(code, (0.0, own))[0]) and _share(words, own):
                best[code] = (score, own)
        if not best:
            return Match()
        sizes = {code: _sizes(self.book.materials[code].name) for code in best}
        paper = _sizes(line.name)
        (code, (_, own)), *others = sorted(best.items(), key=lambda item: (-item[1][0], sizes[item[0]] != paper))
        if any(_may_as_well(words, own, other) for _, (_, other) in others):
            return Match()
        name = self.book.materials[code].name
        size = f"; your name says {_quoted(sizes[code])}, the paper {_quoted(paper) or 'no size'}" if sizes[code] not in ([], paper) else ""
        return Match(likely=code, why=f"looks like {name}; {_differences(words, own)}{size}")


def _unread(row: Mapping[str, Value]) -> str:
    """Why the pack of a row is no amount, '' where it is one: a bare number or 'a sack' would leave its material without a rate."""
    written, beside = row["pack"], str(row.get("pack_unit", ""))
    try:
        amount = read_amount(written if isinstance(written, float) else str(written), beside)
    except QuantityError as error:
        return str(error).partition(". ")[0].rstrip(".")
    return "" if amount.unit else f"{quoted(f'{written:g}' if isinstance(written, float) else written)} has no unit"


@dataclass
class Prepared:
    """The rows a paper would make, why each has its material, what is to be asked first, and what stays unknown."""

    rows: list[dict[str, Value]]
    hints: list[str] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    likely: dict[int, str] = field(default_factory=dict)

    def filled(self, invoice: Invoice, lines: Sequence[InvoiceLine], known: Confirmed) -> Prepared:
        """The same with material and pack filled in where they are known; `lines` are those the first rows are of."""
        for line, row in zip(lines, self.rows, strict=False):
            hints: list[str] = []
            if line.kind in ("goods", "sample", "back-order"):
                hints = [*self._material(line, row, known.match(line, invoice.supplier), known.book), *self._pack(line, row, invoice, known)]
                if invoice.syntax == SCAN and not known.has_item(line, invoice.supplier):
                    words = f"'{line.item_code or line.name}' was read from a picture and is no item known of this supplier"
                    self.questions.append(f"{line.place}: {words}; confirm it")
            self.hints.append("; ".join(hints))
        return self

    def _material(self, line: InvoiceLine, row: dict[str, Value], found: Match, book: Book) -> list[str]:
        if found.code:
            row["material"] = book.materials[found.code].name
        elif found.likely:
            self.likely[len(self.hints)] = book.materials[found.likely].name
            if line.kind == "goods":
                self.unknown.append(f"'{line.name}' is no material of yours yet; it {found.why}")
        if line.code_in_doubt and not found.code:
            if line.name:  # in Purchases it would stand for whatever has that code
                row.pop("item_code", None)
            else:
                self.questions.append(f"{line.place}: '{line.item_code}' may be an item code or only the line's number; say what was bought")
        return [found.why] if found.why else []

    def _pack(self, line: InvoiceLine, row: dict[str, Value], invoice: Invoice, known: Confirmed) -> list[str]:
        """Fills in the pack of a line whose columns name none: as in Purchases, else a guess that is asked about.

        A unit of one piece tells nothing where the description names a pack, as in 2 EA of 'Lids, box of 50': then it is asked about
        like any other, and an e-invoice is posted without a pack, which pricing asks for.
        """
        guess, told_by = described_pack(line, invoice.decimal), "description"
        if line.pack_size and (why := _unread(row)):
            sure, phrase = known.pack(line, invoice.supplier), pack_in(line.pack_size, invoice.decimal)
            guess, told_by = (phrase, "pack's own words") if phrase else (guess, told_by)
            if sure and sure[0] == row["pack"]:
                row["pack_unit"] = sure[1]
            elif guess is None:
                self.questions.append(f"{line.place}: the pack {why}; say what one pack holds")
            else:
                row.pop("pack_unit", None)
                del row["pack"]
        if "pack" in row:
            by_piece = not line.pack_size and row["pack"] == 1.0 and row.get("pack_unit") == _ONE.unit
            if not by_piece or guess is None or (guess.total, guess.unit) == (_ONE.total, _ONE.unit) or known.holds_pack(_ONE, line, invoice.supplier):
                return []
            del row["pack"], row["pack_unit"]
            if invoice.syntax in STANDARD and not known.holds_pack(guess, line, invoice.supplier):
                return [f"its unit is one piece, and the description names a pack: {guess.words}"]
        if guess is None:
            sure = known.pack(line, invoice.supplier)
            row |= {"pack": sure[0], "pack_unit": sure[1]} if sure else {}
            return []
        row |= {"pack": float(guess.total), "pack_unit": guess.unit}
        if known.holds_pack(guess, line, invoice.supplier):
            return []
        words = f"the pack size was read from the {told_by}: {guess.words}"
        place = f"{line.place}: " if line.place else ""
        self.questions.append(f"{place}{words}; confirm it{f' ({guess.ask})' if guess.ask else ''}")
        return [words]

    def unknown_words(self) -> str:
        """What stays unknown and what it looks like, the first few of many."""
        more = len(self.unknown) - SHOWN_UNKNOWN
        return "; ".join([*self.unknown[:SHOWN_UNKNOWN], *([f"and {more} more like it"] if more > 0 else [])])

    def shown(self) -> list[dict[str, Value]]:
        """The rows for the review tab: what is likely is filled in for her to say yes or no to."""
        return [row | ({"material": self.likely[i]} if i in self.likely else {}) for i, row in enumerate(self.rows)]


def _measure(pack: Amount) -> tuple[str, Fraction]:
    assert pack.unit is not None
    return pack.unit.dimension, pack.usual * pack.unit.factor


def _words(name: str) -> list[str]:
    """The words of a name without sizes: numbers, and units right after them, tell nothing of what it is."""
    return folded(_SIZE.sub(" ", name)).split()


def _sizes(name: str) -> list[str]:
    """The sizes in a name as written, a blank before a unit apart: two tins may differ in nothing else."""
    return sorted("".join(found.split()).casefold() for found in _SIZE.findall(name))


def _apart(written: Iterable[str], own: Iterable[str]) -> tuple[list[tuple[str, str]], list[str], list[str]]:
    """The words spelled nearly alike (paper's, hers), those only on the paper, and those only in her name."""
    from rapidfuzz import fuzz

    paper, hers = list(dict.fromkeys(written)), list(dict.fromkeys(own))
    more, lacks = [w for w in paper if w not in hers], [w for w in hers if w not in paper]
    alike = []
    for word in list(lacks):
        near = max(more, key=lambda w: fuzz.ratio(w, word), default="")
        if near and fuzz.ratio(near, word) >= ALIKE_WORDS:
            alike.append((near, word))
            more.remove(near)
            lacks.remove(word)
    return alike, more, lacks


def _share(written: Sequence[str], own: Sequence[str]) -> bool:
    """Whether more than half the words of the shorter name are in the other."""
    shorter = min(len(set(written)), len(set(own)))
    alone = min(map(len, _apart(written, own)[1:]))
    return 2 * alone < shorter


def _may_as_well(written: Sequence[str], own: Sequence[str], other: Sequence[str]) -> bool:
    """Whether another name has the same words of the paper, and the paper does not hold all of the first: oil, of olive or castor."""
    return bool(set(own) - set(written)) and set(written) & set(own) == set(written) & set(other)


def _differences(written: Sequence[str], own: Sequence[str]) -> str:
    """How two names differ, in words; a word spelled nearly alike is told as such."""
    alike, more, lacks = _apart(written, own)
    if more and not lacks and not alike:
        return f"same words apart from {_quoted(more)}"
    told = [f"'{paper}' for '{hers}'" for paper, hers in alike]
    told += [f"more on the paper: {_quoted(more)}"] if more else []
    told += [f"not on the paper: {_quoted(lacks)}"] if lacks else []
    return "; ".join(told) or "same words"


def _quoted(words: Iterable[str]) -> str:
    return ", ".join(f"'{word}'" for word in words)
