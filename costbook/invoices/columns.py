"""The columns of a printed table: named by their heading words alone, and what of a line belongs to which.

Headings may be stacked on several lines, and figures stand right, left or in the middle under theirs.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import combinations, product

from costbook.invoices.line_terms import discount_role, priced_for
from costbook.invoices.placed import Line, Phrase, has_digit, has_letter, is_number
from costbook.invoices.vocabulary import ROLES
from costbook.invoices.wording import plain

PERCENT = re.compile(r"([-–−]?\d[\d.,]*) ?%", re.ASCII)
MONEY = ("price", "amount")
_PER_MANY = re.compile(r"(?:[^\W\d]*[./]?)?/?(?:100?0?|1[.,]000)")
_LONGEST_HEADING = 5
_FAR_BELOW = 4  # a row of headings stands at most so many lines above the first row of its table
_CURRENCIES = ("eur", "usd", "gbp", "chf", "in")


@dataclass(frozen=True)
class Column:
    """A column: its role ('' where its heading is not known), how far its heading reaches, and the heading."""

    role: str
    x0: float
    x1: float
    text: str


@dataclass(frozen=True)
class Heading:
    """A row of headings: its columns from left to right, and the lines of writing it takes."""

    columns: tuple[Column, ...]
    at: frozenset[int]

    @property
    def roles(self) -> tuple[str, ...]:
        """The columns' roles from left to right."""
        return tuple(column.role for column in self.columns)


def heading_at(all_lines: Sequence[Line], at: int, known: Mapping[str, str]) -> Heading | None:
    """The row of headings whose main line is this one, with the lines stacked close above and below it.

    Args: known are headings of this supplier's papers (as `plain` has them) and their roles; they go before the usual ones.
    """
    base = all_lines[at]
    if _figures(base) or len(base.words) > 40:
        return None
    runs = [(run, [run]) for run in _runs(base, known)]
    if sum(bool(_role(run.text, known)) for run, _ in runs) < 2:
        return None
    taken = {at}
    near = [i for i in range(max(0, at - 4), min(len(all_lines), at + 5)) if i != at]
    for i in near:
        line = all_lines[i]
        close = line.page == base.page and abs(line.middle - base.middle) < 1.7 * max(base.height, line.height)
        if not close or _figures(line):
            continue
        taken.add(i)
        for run in line.phrases:
            under = next((stack for first, stack in runs if run.x0 < first.x1 and run.x1 > first.x0), None)
            if under is None:
                runs.append((run, [run]))
            elif i < at:
                under.insert(sum(p.words[0].top < run.words[0].top for p in under), run)
            else:
                under.append(run)
    columns = tuple(sorted((_column(first, stack, known) for first, stack in runs), key=lambda c: c.x0))
    return _usable(Heading(columns, frozenset(taken)))


def _runs(line: Line, known: Mapping[str, str]) -> Iterator[Phrase]:
    """The headings in a line: the longest runs of words that are one, and what stands between them."""
    for phrase in line.phrases:
        words, start = phrase.words, 0
        if _role(phrase.text, known) or plain(phrase.text) in known:
            yield phrase
            continue
        rest: list[int] = []
        while start < len(words):
            most = min(_LONGEST_HEADING, len(words) - start)
            length = next((n for n in range(most, 0, -1) if _role(Phrase(words[start : start + n]).text, known)), 0)
            if length:
                if rest:
                    yield Phrase(tuple(words[i] for i in rest))
                    rest = []
                yield Phrase(words[start : start + length])
            else:
                rest.append(start)
            start += length or 1
        if rest:
            yield Phrase(tuple(words[i] for i in rest))


def _figures(line: Line) -> bool:
    """Whether figures stand in a line that are no heading's 'per 100'."""
    return any(has_digit(word.text) and not _PER_MANY.fullmatch(word.text) for word in line.words)


def _column(first: Phrase, stack: Sequence[Phrase], known: Mapping[str, str]) -> Column:
    whole = " ".join(run.text for run in stack)
    texts = (whole, first.text, *(run.text for run in stack))
    told = next((plain(text) for text in texts if plain(text) in known), None)
    role = known[told] if told is not None else next((r for text in texts if (r := _role(text, {}))), "")
    return Column(role, min(run.x0 for run in stack), max(run.x1 for run in stack), whole)


def _role(text: str, known: Mapping[str, str]) -> str:
    if plain(text) in known:
        return known[plain(text)]
    what, many = priced_for(text)
    if many > 1:
        return "price" if ROLES.get(what) in ("price", "price_for") else ""
    bare = re.sub(r"\([^)]*\)", " ", text)
    short = " ".join(w for w in plain(bare).split() if w not in _CURRENCIES)
    role = ROLES.get(plain(text)) or ROLES.get(plain(bare)) or ROLES.get(short, "")
    return discount_role(text) if role == "discount" else role


def _usable(heading: Heading) -> Heading | None:
    """The heading with a second 'item' as the code; None without a name or code, an amount and a count or price."""
    columns = list(heading.columns)
    names = [i for i, column in enumerate(columns) if column.role == "name"]
    numbered = next((i for i in names if plain(columns[i].text) == "line"), None) if len(names) > 1 else None
    if numbered is not None:  # beside a description it is the line's number
        columns[numbered] = replace(columns[numbered], role="pos")
        names.remove(numbered)
    if len(names) > 1:
        item = next((i for i in names if plain(columns[i].text) in ("item", "artikel", "article", "product")), names[1])
        columns[item] = replace(columns[item], role="code" if "code" not in heading.roles else "")
    roles = {column.role for column in columns}
    money = roles & {"amount", "gross"} and roles & {"packs", "price", "shipped", "ordered"}
    return replace(heading, columns=tuple(columns)) if roles & {"name", "code"} and money else None


def by_sums(all_lines: Sequence[Line], value: Callable[[str], Decimal | None]) -> Heading | None:
    """A row of headings nobody knows, its columns as the first row below it makes sense: quantity times price is the amount.

    A guess, for her to confirm: the figures alone do not tell which of two is the quantity. A whole number before a broken
    one is taken for it, else the first.
    """
    for at, line in enumerate(all_lines):
        row = _multiplied(line, value)
        if row is None:
            continue
        for above in range(at - 1, max(-1, at - 1 - _FAR_BELOW), -1):
            titles = all_lines[above]
            if titles.page != line.page or any(has_digit(w.text) for w in titles.words) or len(titles.phrases) < 4:
                continue
            columns = tuple(_over(title, row) for title in titles.phrases)
            roles = [c.role for c in columns if c.role]
            if {"packs", *MONEY} <= set(roles) and {"name", "code"} & set(roles) and len(set(roles)) == len(roles):
                return Heading(columns, frozenset((above,)))
    return None


def _multiplied(line: Line, value: Callable[[str], Decimal | None]) -> dict[str, Phrase] | None:
    """The phrases of a row by role where one figure is two before it multiplied, None where it is no such row."""
    figures = [(p, found) for p in line.phrases if is_number(p.text) and (found := value(p.text)) is not None]
    words = [p for p in line.phrases if has_letter(p.text)]
    for one, two, three in combinations(figures, 3):
        if words and one[1] * two[1] == three[1] != 0:
            swapped = one[1] % 1 != 0 and two[1] % 1 == 0
            packs, price = (two[0], one[0]) if swapped else (one[0], two[0])
            codes = [p for p in words[:1] if len(p.words) == 1 and has_digit(p.text) and len(words) > 1]
            names = {"code": codes[0]} if codes else {}
            return {**names, "name": words[len(codes)], "packs": packs, "price": price, "amount": three[0]}
    return None


def _over(title: Phrase, row: Mapping[str, Phrase]) -> Column:
    """A heading as the column of what stands below it."""
    role = next((r for r, p in row.items() if min(p.x1, title.x1) - max(p.x0, title.x0) > 0.5), "")
    return Column(role, title.x0, title.x1, title.text)


def filled(heading: Heading) -> Iterator[tuple[Heading, Column]]:
    """The heading with one of its unknown columns taken for the quantity or the price it lacks, and that column."""
    lacking = [r for r in ("packs", "price") if not {r, *(("shipped", "ordered") if r == "packs" else ())} & set(heading.roles)]
    for i, column in enumerate(heading.columns if len(lacking) == 1 else ()):
        if not column.role:
            taken = replace(column, role=lacking[0])
            yield replace(heading, columns=(*heading.columns[:i], taken, *heading.columns[i + 1 :])), taken


def choices(heading: Heading) -> list[Heading]:
    """The heading with one column for each role; where a role is named twice, one reading for each of the columns."""
    places = [[i for i, c in enumerate(heading.columns) if c.role == role] for role in (*MONEY, "packs", "code")]
    doubled = [found for found in places if len(found) > 1]
    out = []
    for chosen in product(*doubled):
        dropped = {i for found, one in zip(doubled, chosen) for i in found if i != one}
        columns = tuple(replace(c, role="") if i in dropped else c for i, c in enumerate(heading.columns))
        out.append(replace(heading, columns=columns))
        if len(out) == 6:
            break
    return out


def placed(phrase: Phrase, columns: Sequence[Column]) -> Iterator[tuple[str, Phrase]]:
    """The columns a phrase belongs to: text that begins under a text heading is whole, else each word by its place."""
    name = next((i for i, c in enumerate(columns) if c.role == "name"), None)
    over = [c for c in columns if min(c.x1, phrase.x1) - max(c.x0, phrase.x0) > 0.5]
    counted = len(over) == 1 and over[0].role != "name" and phrase.text[:1].isdigit()  # '5 kg' under its heading
    if name is not None and has_letter(phrase.text) and not counted:
        end = columns[name + 1].x0 if name + 1 < len(columns) else float("inf")
        if columns[name].x0 - 4 <= phrase.x0 < end - 1:
            yield "name", phrase
            return
    if len(over) == 1:
        yield over[0].role, phrase
    elif over and len(phrase.words) > 1:
        for word in phrase.words:
            yield _nearest(Phrase((word,)), columns), Phrase((word,))
    else:
        yield _nearest(phrase, columns), phrase


def _nearest(phrase: Phrase, columns: Sequence[Column]) -> str:
    """The role of the column nearest to a phrase; a number goes to no column of words, words to none of money."""
    figure = is_number(phrase.text) or PERCENT.fullmatch(phrase.text) is not None

    def distance(column: Column) -> float:
        return max(column.x0, phrase.x0) - min(column.x1, phrase.x1)

    fit = [c for c in columns if distance(c) < 0] or [
        c for c in columns if (c.role not in ("name",) if figure else c.role not in (*MONEY, "gross", "tax_money"))
    ]
    return min(fit, key=distance).role if fit else ""
