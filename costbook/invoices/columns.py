"""The columns of a printed table: named by their heading words alone, and what of a line belongs to which.

Headings may be stacked on several lines, and figures stand right, left or in the middle under theirs.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

from costbook.invoices.placed import Line, Phrase, has_digit, has_letter, is_number
from costbook.invoices.vocabulary import ROLES, plain

PERCENT = re.compile(r"([-–−]?\d[\d.,]*) ?%", re.ASCII)
MONEY = ("price", "amount")
_LONGEST_HEADING = 5
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


def heading_at(all_lines: Sequence[Line], at: int) -> Heading | None:
    """The row of headings whose main line is this one, with the lines stacked close above and below it."""
    base = all_lines[at]
    if any(has_digit(word.text) for word in base.words) or len(base.words) > 40:
        return None
    runs = [(run, [run]) for run in _runs(base)]
    if sum(bool(_role(run.text)) for run, _ in runs) < 2:
        return None
    taken = {at}
    near = [i for i in range(max(0, at - 4), min(len(all_lines), at + 5)) if i != at]
    for i in near:
        line = all_lines[i]
        close = line.page == base.page and abs(line.middle - base.middle) < 1.7 * max(base.height, line.height)
        if not close or any(has_digit(word.text) for word in line.words):
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
    columns = tuple(sorted((_column(first, stack) for first, stack in runs), key=lambda c: c.x0))
    return _usable(Heading(columns, frozenset(taken)))


def _runs(line: Line) -> Iterator[Phrase]:
    """The headings in a line: the longest runs of words that are one, and what stands between them."""
    for phrase in line.phrases:
        words, start = phrase.words, 0
        if _role(phrase.text):
            yield phrase
            continue
        rest: list[int] = []
        while start < len(words):
            most = min(_LONGEST_HEADING, len(words) - start)
            length = next((n for n in range(most, 0, -1) if _role(Phrase(words[start : start + n]).text)), 0)
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


def _column(first: Phrase, stack: Sequence[Phrase]) -> Column:
    whole = " ".join(run.text for run in stack)
    role = next((role for text in (whole, first.text, *(run.text for run in stack)) if (role := _role(text))), "")
    return Column(role, min(run.x0 for run in stack), max(run.x1 for run in stack), whole)


def _role(text: str) -> str:
    bare = re.sub(r"\([^)]*\)", " ", text)
    short = " ".join(w for w in plain(bare).split() if w not in _CURRENCIES)
    return ROLES.get(plain(text)) or ROLES.get(plain(bare)) or ROLES.get(short, "")


def _usable(heading: Heading) -> Heading | None:
    """The heading with a second 'item' as the code; None without a name or code, an amount and a count or price."""
    columns = list(heading.columns)
    names = [i for i, column in enumerate(columns) if column.role == "name"]
    if len(names) > 1:
        item = next((i for i in names if plain(columns[i].text) in ("item", "artikel", "article", "product")), names[1])
        columns[item] = replace(columns[item], role="code" if "code" not in heading.roles else "")
    roles = {column.role for column in columns}
    money = roles & {"amount", "gross"} and roles & {"packs", "price", "shipped", "ordered"}
    return replace(heading, columns=tuple(columns)) if roles & {"name", "code"} and money else None


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
