"""Words with places put together: lines of writing, and phrases set apart by wide gaps. Nothing here knows an invoice."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from costbook.book.words import Page, Word
from costbook.invoices.wording import clean

# In heights of the letters: a smaller gap is inside a word, a larger one is between columns.
_GLUED, _APART = 0.08, 0.65
_CODES = r"(?:USD|EUR|GBP|CAD|AUD|NZD|CHF|SEK|NOK|DKK|JPY|PLN|CZK)"
_NUMBER = re.compile(
    rf"[(\-–−+]?\s?(?:[€$£]|{_CODES})?\s?[-–−]?\s?\d(?:[\d.,'’]|(?<=\d) (?=\d{{3}}(?!\d)))*\)?\s?[-–−]?\s?(?:[€$£]|{_CODES})?",
    re.ASCII,
)
_DAY = re.compile(r"\d{1,2}\.\d{1,2}\.(?:\d{4}|\d\d)", re.ASCII)
CURRENCY_WORD = re.compile(rf"[€$£]|{_CODES}")


@dataclass(frozen=True)
class Phrase:
    """Words that stand close together on one line."""

    words: tuple[Word, ...]

    @cached_property
    def text(self) -> str:
        """The words on one line."""
        return clean(" ".join(word.text for word in self.words))

    @property
    def x0(self) -> float:
        """Where it begins."""
        return self.words[0].x0

    @cached_property
    def x1(self) -> float:
        """Where it ends."""
        return max(word.x1 for word in self.words)

    @property
    def sure(self) -> float:
        """How sure its least sure word is."""
        return min(word.sure for word in self.words)


@dataclass(frozen=True)
class Line:
    """One line of writing on a page; `number` counts the lines of the page from 1."""

    page: int
    number: int
    words: tuple[Word, ...]

    @cached_property
    def height(self) -> float:
        """How tall its letters are, the small ones left out."""
        heights = sorted(word.bottom - word.top for word in self.words)
        return max(heights[len(heights) * 3 // 4], 1.0)

    @cached_property
    def middle(self) -> float:
        """How far down it stands."""
        return sum((word.top + word.bottom) / 2 for word in self.words) / len(self.words)

    @cached_property
    def phrases(self) -> tuple[Phrase, ...]:
        """Its words by wide gaps."""
        return tuple(phrases(self.words, self.height))

    @property
    def place(self) -> str:
        """Where it stands, in words."""
        return f"page {self.page}, row {self.number}"


def phrases(words: Sequence[Word], height: float) -> Iterator[Phrase]:
    """Words in order of place, cut where the gap is wider than between words."""
    run: list[Word] = []
    for word in words:
        if run and word.x0 - run[-1].x1 > _APART * height:
            yield Phrase(tuple(run))
            run = []
        run.append(word)
    if run:
        yield Phrase(tuple(run))


def lines(page: Page) -> list[Line]:
    """The lines of a page from top to bottom, each from left to right."""
    found: list[list[Word]] = []
    middle = 0.0
    for word in sorted(page.words, key=lambda w: (w.top + w.bottom) / 2):
        if not clean(word.text):
            continue
        here, height = (word.top + word.bottom) / 2, word.bottom - word.top
        if found and abs(here - middle) <= 0.45 * max(min(height, found[-1][0].bottom - found[-1][0].top), 1.0):
            found[-1].append(word)
            middle += (here - middle) / len(found[-1])
        else:
            found.append([word])
            middle = here
    return [
        Line(page.number, number, tuple(_glued(sorted(words, key=lambda w: w.x0))))
        for number, words in enumerate(found, 1)
    ]


def _glued(words: Sequence[Word]) -> Iterator[Word]:
    """Pieces of one word set without any gap, as some programs write them, put together."""
    last: Word | None = None
    for word in words:
        height = word.bottom - word.top
        if last is not None and -0.5 * height < word.x0 - last.x1 < _GLUED * height:
            box = (last.x0, min(last.top, word.top), word.x1, max(last.bottom, word.bottom))
            last = Word(last.text + word.text, *box, min(last.sure, word.sure))
            continue
        if last is not None:
            yield last
        last = word
    if last is not None:
        yield last


def is_number(text: str) -> bool:
    """Whether a text is one number, with or without a currency: '1.234,50 €', '(4.20)', '-5'."""
    return len(text) < 40 and _NUMBER.fullmatch(text) is not None and _DAY.fullmatch(text) is None


def has_digit(text: str) -> bool:
    """Whether a digit is in it."""
    return any(c.isdigit() for c in text)


def has_letter(text: str) -> bool:
    """Whether a letter is in it."""
    return any(c.isalpha() for c in text)
