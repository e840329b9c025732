"""A page as it was found: words with their places. A text layer and a scan look the same from here on."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Word:
    """A word and its box in points from the page's upper left corner; `sure` is 100, less where a picture was read."""

    text: str
    x0: float
    top: float
    x1: float
    bottom: float
    sure: float = 100.0


@dataclass(frozen=True, slots=True)
class Page:
    """One page: its number from 1, its size in points, and its words. `picture` says that it is one and was not read."""

    number: int
    width: float
    height: float
    words: tuple[Word, ...]
    picture: bool = False


@dataclass(frozen=True, slots=True)
class Document:
    """What a PDF or a picture holds: the XML files inside, its pages, and for a scan the same pages read a second time."""

    xml: tuple[bytes, ...]
    pages: tuple[Page, ...]
    again: tuple[Page, ...] = ()


@dataclass(frozen=True, slots=True)
class Box:
    """A box to be drawn over a page, in points, in one of the colours of BOX_COLOURS, with a few words at its right edge."""

    page: int
    x0: float
    top: float
    x1: float
    bottom: float
    colour: str
    words: str = ""


BOX_COLOURS = {"goods": "#2e7d5b", "money": "#b26a00", "doubt": "#b3261e"}
