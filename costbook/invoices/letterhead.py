"""What stands around the lines of a printed paper: whose it is, its number, its date, and what it calls itself.

Found by the words before or above it, never by place alone. What is not certain is told beside the guess.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date

from costbook.book.words import Word
from costbook.invoices.dialect import day
from costbook.invoices.placed import Line, Phrase, has_digit, has_letter
from costbook.invoices.vocabulary import (
    BUYER,
    CREDIT_NUMBERS,
    DATES,
    LEGAL_FORM,
    MONTHS,
    NOT_THE_DATE,
    NUMBERS,
    REGISTRATION,
    SELLER,
    TITLES,
)
from costbook.invoices.wording import clean, other_paper, plain

# Below this a word read from a picture is asked about where no sum guards it.
SURE = 88.0
_DATE = re.compile(r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}", re.ASCII)
_YEAR = re.compile(r"\d{4}", re.ASCII)  # a number of a bank, 12-34-56, has none
_DAY_MONTH = re.compile(r"(\d{1,2})(?:er|st|nd|rd|th)? (?:de |of )?([a-z]+) (?:de |del )?(\d{4})", re.ASCII)
_MONTH_DAY = re.compile(r"([a-z]+) (\d{1,2})(?:st|nd|rd|th)? (\d{4})", re.ASCII)
_MID_PHRASE = {"vom", "dated", "du", "van", "del", "le"}
_GLUED_LABEL = re.compile(r"(?:nr|no|n)[.:°º]+(?=\w)", re.I)  # a label that runs into its value: 'Nr.56575'
_LONGEST_LABEL = 5
_COMPANY = re.compile(rf"{LEGAL_FORM.pattern.removesuffix('(?: |$)')}$")
_BANK = re.compile(r"\b(?:\w*bank\w*|\w*sparkasse|banque|banco|iban|bic|swift)\b")
_SITE = re.compile(r"(?:www\.|@)([a-z0-9-]{5,})\.[a-z]")
_FIRST_PART = re.compile(r"[A-Z]{1,4}[/-]?\d*|20\d\d", re.ASCII)
_PART, _MOST_PARTS = re.compile(r"(?=.*\d)[A-Z\d]{2,12}(?:-[A-Z\d]+)*", re.ASCII), 4
_NO_PART = {*_MID_PHRASE, "date", "datum", "fecha", "of", "no", "nr", "page"}
_SPACED_DAY = re.compile(r"(?<!\d)(?:[0-3]?\d [01]?\d (?:\d{4}|\d\d)|\d{4} [01]?\d [0-3]?\d)(?!\d)", re.ASCII)


@dataclass
class Head:
    """What was found, guesses too, and what is not certain about it."""

    supplier: str = ""
    number: str = ""
    issued: date | None = None
    type_code: str = ""
    undated: str = ""  # its date as printed, where day and month can be told in two ways
    problems: list[str] = field(default_factory=list)


def head(lines: Sequence[Line], suppliers: Iterable[str], order: str) -> Head:
    """The head of a paper from the lines above and below its table.

    Args: order is how its dates are written.
    """
    found = Head()
    above = [line for line in lines if line.page == lines[0].page] if lines else []
    found.type_code = _type(above, found)
    _number(above, CREDIT_NUMBERS if found.type_code == "381" else (*NUMBERS, *_also(found.type_code)), found)
    _date(above, order, found)
    _supplier(lines, above, suppliers, found)
    return found


def _also(type_code: str) -> tuple[re.Pattern[str], ...]:
    return CREDIT_NUMBERS if type_code in ("384", "389", "381?") else ()


# ------------------------------------------------------------------ type


def _type(lines: Sequence[Line], found: Head) -> str:
    """The type by the titles in short phrases; several that differ are a problem, but for an invoice a credit note names."""
    codes: dict[str, str] = {}
    usual, largest = _usual_height(lines), 0.0
    for line in lines:
        for at, phrase in enumerate(line.phrases):
            text = plain(phrase.text) if len(phrase.words) <= 10 and not BUYER.search(plain(phrase.text)) else ""
            code = next((code for code, pattern in TITLES if pattern.search(text)), "")
            label = ":" in phrase.text or any(has_digit(p.text) for p in line.phrases[at + 1 : at + 2])
            tall = phrase.words[0].bottom - phrase.words[0].top
            # A slip to pay with may stand below an invoice; any other title in letters as large as the first's counts.
            headline = tall > 1.2 * usual and tall >= largest and ":" not in phrase.text and other_paper(phrase.text) not in ("", "remittance")
            if code and (code != "not" or headline or not (label or codes)):
                codes.setdefault(code, phrase.text)
                largest = max(largest, tall)
    special = [code for code in codes if code != "380"]
    if "389" in special:
        special = ["389"]
    if not codes:
        found.problems.append("the page does not say that it is an invoice")
    elif "not" in codes:
        found.problems.append(f"the page calls itself '{codes['not'][:40]}', which may be no invoice")
    elif len(special) > 1:
        found.problems.append(f"the page calls itself {' and '.join(repr(codes[code][:30]) for code in special)}")
    return next((code for code in special if code != "not"), "380")


# ------------------------------------------------------------------ labels


def _labelled(lines: Sequence[Line], pattern: re.Pattern[str], after: str = "") -> Iterator[list[list[Word]]]:
    """For each place a label stands, the runs of words its value may be: those right of it, and those below it.

    A label begins a phrase; a word such as 'dated' counts only right behind the paper's number, which is `after`. Only a
    label that ends its phrase has its value below: under 'Date of delivery' stands no 'Date'.
    """
    for at, line in enumerate(lines):
        words = [word for word in line.words if not re.fullmatch(r"\(\d{3}\)", word.text)]
        starts, ends = {phrase.words[0] for phrase in line.phrases}, {word for phrase in line.phrases for word in _tail(phrase)}
        for k, word in enumerate(words):
            after_number = k > 0 and after and words[k - 1].text.strip(",;.") == after
            if word not in starts and not (after_number and plain(word.text) in _MID_PHRASE):
                continue
            if word in starts and after and plain(word.text) in _MID_PHRASE and not after_number:
                continue
            end = _label_end(words, k, pattern)
            if end:
                below = _below(lines, at, words[k], words[end - 1]) if words[end - 1] in ends else ()
                yield [words[end:], list(below)]


def _tail(phrase: Phrase) -> Iterator[Word]:
    """The last word of a phrase, and the marks behind it such as ':' or '#'."""
    for word in reversed(phrase.words):
        yield word
        if any(c.isalnum() for c in word.text):
            return


def _label_end(words: Sequence[Word], start: int, pattern: re.Pattern[str]) -> int:
    """The place after the longest run of words that is the label, 0 where there is none."""
    for length in range(min(_LONGEST_LABEL, len(words) - start), 0, -1):
        text = plain(" ".join(word.text for word in words[start : start + length]))
        found = pattern.match(text)
        if found and found.end() == len(text):
            return start + length
    return 0


def _below(lines: Sequence[Line], at: int, first: Word, last: Word) -> Iterator[Word]:
    for line in lines[at + 1 : at + 3]:
        if line.page == lines[at].page and line.middle - lines[at].middle < 2.6 * lines[at].height:
            near = next((p for p in line.phrases if p.x0 < last.x1 and p.x1 > first.x0), None)
            if near is not None:
                yield from near.words
                return


def _without_marks(run: Sequence[Word]) -> list[Word]:
    start = next((i for i, word in enumerate(run) if any(c.isalnum() for c in word.text)), len(run))
    return list(run[start:])


# ------------------------------------------------------------------ number


def _number(lines: Sequence[Line], patterns: Sequence[re.Pattern[str]], found: Head) -> None:
    for pattern in patterns:
        values: dict[str, Word] = {}
        bare = pattern in (NUMBERS[1], CREDIT_NUMBERS[1])
        for runs in _labelled(lines, pattern):
            for run in runs[:1] if bare else runs:
                value = _number_in(_without_marks(run), found, bare)
                if value:
                    values.setdefault(value[0], value[1])
                    break
        if values:
            found.number, word = next(iter(values.items()))
            if len(values) > 1:
                found.problems.append(f"the page gives several numbers: {', '.join(values)}")
            if word.sure < SURE:
                found.problems.append(f"the paper's number '{found.number}' is not clear in the picture")
            return


def _number_in(run: Sequence[Word], found: Head, bare: bool) -> tuple[str, Word] | None:
    """The number a run of words starts with; behind a bare title ('INVOICE 77') nothing but a date may follow it."""
    if not run:
        return None
    joined = () if bare else _joined(run)
    if joined:
        return clean(" ".join(word.text for word in joined)).strip("#:;,. "), min(joined, key=lambda word: word.sure)
    text = _GLUED_LABEL.sub("", clean(run[0].text).strip("#:;,. "))
    if not has_digit(text) or _DATE.fullmatch(text) or len(text) > 40:
        return None
    follows = run[1] if len(run) > 1 and run[1].x0 - run[0].x1 < 0.65 * (run[0].bottom - run[0].top) else None
    more = follows is not None and any(c.isalnum() for c in follows.text)
    if (
        follows
        and more
        and not _DATE.search(follows.text)
        and plain(follows.text) not in (*_MID_PHRASE, "date", "datum", "of")
    ):
        if bare:
            return None
        found.problems.append(f"the paper's number may go on after '{text}'")
    if "º" in text or "°" in text:
        found.problems.append(f"a label runs into the paper's number '{text}'")
    return text, run[0]


def _joined(run: Sequence[Word]) -> Sequence[Word]:
    """The words of a number written with blanks, 'RE 2026 0815'; none where it has none, or where something else may follow it.

    It begins with capitals or a year and goes on in capitals and digits to the end of the phrase: two numbers side by side,
    'page 1/2' behind it and what may be a day are asked about.
    """
    parts = [run[0]]
    for word in run[1:]:
        if word.x0 - parts[-1].x1 >= 0.65 * (word.bottom - word.top):
            break
        parts.append(word)
    texts = [word.text for word in parts]
    written = " ".join(texts)
    known = _FIRST_PART.fullmatch(texts[0]) and all(map(_PART.fullmatch, texts[1:])) and plain(texts[0]) not in _NO_PART
    if not 1 < len(parts) <= _MOST_PARTS or not known or _SPACED_DAY.search(written):
        return ()
    return parts


# ------------------------------------------------------------------ date


def _date(lines: Sequence[Line], order: str, found: Head) -> None:
    for pattern in DATES:
        values: dict[date, list[Word]] = {}
        doubts: list[str] = []
        for runs in _labelled(lines, pattern, found.number or "-"):
            for run in runs:
                words = _without_marks(run)
                value, doubt = _day_in(words, order)
                if value:
                    values.setdefault(value, words[:3])
                if doubt:
                    doubts.append(doubt)
                    found.undated = found.undated or clean(words[0].text).strip("(),;.")
                if value or doubt:
                    break
        if values or doubts:
            _take_date(values, doubts, found)
            return


def _take_date(values: dict[date, list[Word]], doubts: Sequence[str], found: Head) -> None:
    found.problems += dict.fromkeys(doubts)
    if not values:
        return
    found.issued, words = next(iter(values.items()))
    found.undated = ""
    if len(values) > 1:
        found.problems.append(f"the page gives several dates: {', '.join(d.isoformat() for d in values)}")
    if min((word.sure for word in words if has_digit(word.text)), default=100.0) < SURE:
        found.problems.append(f"the date {found.issued} is not clear in the picture")


def _day_in(run: Sequence[Word], order: str) -> tuple[date | None, str]:
    """The date a run of words starts with, or what is not certain about it."""
    if not run:
        return None, ""
    first = clean(run[0].text).strip("(),;")
    if _DATE.fullmatch(first.rstrip(".")):
        return day(first.rstrip("."), order)
    text = plain(" ".join(word.text for word in run[:6]))
    if found := _DAY_MONTH.match(text):
        return _named(found[3], found[2], found[1])
    if found := _MONTH_DAY.match(text):
        return _named(found[3], found[1], found[2])
    return None, ""


def _named(year: str, month: str, on: str) -> tuple[date | None, str]:
    number = MONTHS.get(month)
    if number is None:
        return None, ""
    return day(f"{year}-{number}-{on}", "")


def labelled_days(lines: Sequence[Line], number: str) -> tuple[set[date], bool]:
    """All days the paper's date may be by the word beside it, and whether that word is sure.

    Day and month may stand in either order. 'Invoice date' is sure, 'Date' may be another's.

    Args: number is the paper's.
    """
    above = [line for line in lines if line.page == lines[0].page]
    for pattern in DATES:
        days: set[date] = set()
        for runs in _labelled(above, pattern, number or "-"):
            told = (_either_order(_without_marks(run)) for run in runs)
            days |= next((found for found in told if found), set())
        if days:
            return days, pattern is DATES[0]
    return set(), False


def days_shown(lines: Iterable[Line]) -> set[date]:
    """All days written anywhere, whichever of day and month comes first."""
    runs = (line.words[at:] for line in lines for at in range(len(line.words)))
    return {day for run in runs for day in _either_order(run)}


def _either_order(run: Sequence[Word]) -> set[date]:
    return {found for order in ("dmy", "mdy") if (found := _day_in(run, order)[0])}


def dates_written(lines: Iterable[Line]) -> list[str]:
    """All that looks like a date in figures with its whole year, for telling which comes first, day or month."""
    return [text for line in lines for word in line.words if _DATE.fullmatch(text := word.text.strip("(),;.")) and _YEAR.search(text)]


# ------------------------------------------------------------------ supplier


def named(lines: Sequence[Line], suppliers: Iterable[str]) -> list[str]:
    """The suppliers of the book that stand on the page."""
    page = f" {' '.join(plain(p.text) for line in lines for p in line.phrases)} "
    known = [name for name in suppliers if len(plain(name)) > 3 and f" {plain(name)} " in page]
    return [name for name in known if not any(name != other and plain(name) in plain(other) for other in known)]


def _supplier(lines: Sequence[Line], above: Sequence[Line], suppliers: Iterable[str], found: Head) -> None:
    """A name of the book that stands on the page, else the seller block, else the name at the top."""
    known = named(lines, suppliers)
    block = _seller_block(above)
    top = _top_name(above)
    if len(known) > 1:
        found.problems.append(f"the page names several suppliers of the book: {', '.join(known)}")
    if known:
        found.supplier = known[0]
    elif block is not None:
        found.supplier = _name(block.text)
        if block.sure < SURE:
            found.problems.append(f"the supplier '{found.supplier}' is not clear in the picture")
    elif top is not None:
        phrase, certain = top
        found.supplier = _name(phrase.text)
        buyers = {plain(_name(buyer.text)) for buyer in _buyers(above)}
        if plain(found.supplier) in buyers:
            found.problems.append(f"'{found.supplier}' at the top of the page is the buyer, and no other name is told to be the supplier's")
            found.supplier = ""
        elif not (certain and _vouched(above, found.supplier, buyers)) or phrase.sure < SURE or _other_company(above, found.supplier):
            found.problems.append(f"that the supplier is '{found.supplier}' is a guess from the top of the page")


def _buyers(lines: Sequence[Line]) -> Iterator[Phrase]:
    """The names beside and under words like Bill to."""
    for at, line in enumerate(lines):
        for phrase in line.phrases:
            label, colon, rest = phrase.text.partition(":")
            if colon and rest.strip() and BUYER.search(plain(label)):
                start = next(i for i, word in enumerate(phrase.words) if ":" in word.text)
                yield from [Phrase(phrase.words[start + 1 :])] if phrase.words[start + 1 :] else []
            elif BUYER.search(plain(phrase.text)):
                yield from [p for p in line.phrases if p.x0 > phrase.x1][:1]
                yield from list(_under(lines, at, phrase))[:1]


def _vouched(lines: Sequence[Line], name: str, buyers: set[str]) -> bool:
    """Whether a large name at the top is the supplier's and not the buyer's.

    No other company stands on the page but the buyer, and this is one by its legal form, or somebody else is told to be
    the buyer, or the page gives an address in the net of that name.
    """
    written = [phrase for line in lines if not _BANK.search(plain(" ".join(p.text for p in line.phrases))) for phrase in line.phrases]
    others = {plain(_name(phrase.text)) for phrase in written if _COMPANY.search(plain(_name(phrase.text)))} - buyers
    if any(other not in plain(name) and plain(name) not in other for other in others):
        return False
    joined = "".join(plain(name).split())
    sites = [found[1] for phrase in written for found in _SITE.finditer(phrase.text.casefold())]
    at_home = any(joined.startswith(site) or site.startswith(joined) for site in ("".join(plain(site).split()) for site in sites))
    return _COMPANY.search(plain(name)) is not None or bool(buyers) or at_home


def _name(text: str) -> str:
    return re.split(r"\s[-–—•·|]\s|[•·|]|, ", text)[0].strip(" ,;:")


def _other_company(lines: Sequence[Line], name: str) -> bool:
    """Whether a line with a company's registration or bank begins with another name than this one."""
    for line in lines:
        text = " ".join(phrase.text for phrase in line.phrases)
        begins = _name(text)
        company = REGISTRATION.search(plain(text)) and not REGISTRATION.search(plain(begins)) and has_letter(begins)
        if company and begins != text and ":" not in begins and not has_digit(begins) and plain(name) not in plain(text):
            return True
    return False


def _seller_block(lines: Sequence[Line]) -> Phrase | None:
    """The name beside or under a word like Seller."""
    for at, line in enumerate(lines):
        for phrase in line.phrases:
            if SELLER.search(plain(phrase.text)):
                beside = [p for p in line.phrases if p.x0 > phrase.x1]
                return _first_name([*([beside[0]] if beside else []), *_under(lines, at, phrase)])
            label, colon, rest = phrase.text.partition(":")
            if colon and rest.strip() and SELLER.search(plain(label)):
                start = next(i for i, word in enumerate(phrase.words) if ":" in word.text)
                return _first_name([Phrase(phrase.words[start + 1 :])] if phrase.words[start + 1 :] else [])
    return None


def _under(lines: Sequence[Line], at: int, phrase: Phrase) -> Iterator[Phrase]:
    """Phrases in the rows under a label; one that is itself 'Name:' gives way to what stands beside it."""
    for line in lines[at + 1 : at + 6]:
        here = [p for p in line.phrases if p.x0 < phrase.x1 + 20 and p.x1 > phrase.x0 - 5]
        if here and any(":" in p.text for p in line.phrases[:3]):
            named = plain(here[0].text.partition(":")[0]) in ("name", "firma", "company", "nom", "naam", "nombre")
            beside = [p for p in line.phrases if p.x0 > here[0].x1 and has_letter(p.text)]
            yield from beside[:1] if named else ()
            continue
        yield from here[:1]


def _first_name(candidates: Iterable[Phrase]) -> Phrase | None:
    named = (p for p in candidates if has_letter(p.text) and ":" not in p.text and not BUYER.search(plain(p.text)))
    return next((p for p in named if sum(c.isdigit() for c in p.text) <= 2), None)


def _top_name(lines: Sequence[Line]) -> tuple[Phrase, bool] | None:
    """The first phrase of the page that can be a name, and whether its legal form or its size makes it certain."""
    usual = _usual_height(lines)
    for line in lines[:4]:
        if any(BUYER.search(plain(p.text)) for p in line.phrases):
            return None
        for phrase in line.phrases:
            name = _name(phrase.text)
            if not has_letter(name) or has_digit(name) or ":" in name or "@" in name or _is_title(phrase):
                continue
            tall = phrase.words[0].bottom - phrase.words[0].top
            letterhead = LEGAL_FORM.search(plain(name)) and len(name) < len(phrase.text)  # with its address on the line
            return phrase, bool(letterhead) or tall > 1.2 * usual
    return None


def _usual_height(lines: Sequence[Line]) -> float:
    heights = sorted(line.height for line in lines)
    return heights[len(heights) // 4] if heights else 0.0  # titles and letterhead are the fewer lines


def _is_title(phrase: Phrase) -> bool:
    text = plain(phrase.text)
    return any(pattern.search(text) for _, pattern in TITLES) or any(p.search(text) for p in (*DATES, NOT_THE_DATE))
