"""What reading a supplier's paper costs, against the bare parse of the same file by the library below it, in the same run.

The papers are drawn anew from the scenario's goods, 3 to 40 lines each, the same at every run.
"""

from __future__ import annotations

import random
import statistics
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple

from costbook import commands
from costbook.demo.papers import cii_credit_note, ubl_invoice
from costbook.demo.tables import Record, scenario
from tests.benchmarks.measures import Measure, against, as_a_run, ms, timed
from tests.printed_papers import LANGUAGES, Paper, pdf
from tests.sample_pages import drawn_page

FEWEST, MOST, MOST_BIG_TYPE = 3, 40, 24  # lines on a paper; in the larger type of `printed_papers` fewer fit on its page
Reader = Callable[[Path], Any]
SPARE: Record = dict.fromkeys(("Code", "Packs", "Pack", "Pack price", "Lot", "Best before"), "")


def goods_lines(chance: random.Random, number: str, most: int = MOST, sign: int = 1) -> list[Record]:
    """Lines of goods by one supplier, as the scenario has them, with packs of their own."""
    priced = [row for row in scenario("paper_lines") if row["Line is"] == "goods" and Decimal(row["Amount"]) > 0]
    head = chance.choice(priced)
    lines = []
    for row in chance.sample(priced, chance.randint(FEWEST, most)):
        packs = chance.randint(1, 60)
        money = {"Packs": str(packs), "Amount": str(sign * packs * Decimal(row["Pack price"]))}
        lines.append({**row, **money, "Invoice": number, "Date": head["Date"], "Supplier": head["Supplier"]})
    return lines


def total(lines: Sequence[Record]) -> Decimal:
    """What the lines come to."""
    return sum((Decimal(line["Amount"]) for line in lines), Decimal(0))


def with_freight(chance: random.Random, lines: list[Record]) -> list[Record]:
    """The lines and one of the scenario's freight charges, with an amount of its own."""
    charge = chance.choice([row for row in scenario("paper_lines") if row["Line is"] == "charge"])
    return [*lines, {**lines[0], **SPARE, "Line": charge["Line"], "Line is": "charge", "Amount": f"{chance.randint(5, 90)}.50"}]


class Drawn(NamedTuple):
    """A paper as a file, and what it says: its total, and its lines with charges and discounts."""

    name: str
    data: bytes
    total: Decimal
    lines: int


def e_invoices(count: int) -> Iterator[Drawn]:
    """E-invoices, invoices in UBL and credit notes in CII in turn."""
    chance = random.Random(11)
    for at in range(count):
        credit = at % 2
        lines = goods_lines(chance, f"E-{at:04d}", sign=-1 if credit else 1)
        lines = lines if credit else with_freight(chance, lines)
        made = (cii_credit_note if credit else ubl_invoice)(tuple(lines))
        yield Drawn(f"{at:04d}.xml", made, abs(total(lines)), len(lines))


def printed(count: int) -> Iterator[Drawn]:
    """PDFs with a text layer, drawn like the sample papers and like the tests' papers in five languages in turn."""
    chance = random.Random(12)
    for at in range(count):
        number = f"P-{at:04d}"
        lines = goods_lines(chance, number, MOST_BIG_TYPE if at % 2 else MOST)
        if at % 2:
            rows = [(x["Code"], x["Line"], x["Packs"], x["Pack price"], x["Amount"]) for x in lines]
            net = total(lines) + Decimal("9.50") - Decimal("6.20")  # a paper's own freight and discount
            tax = (net / 5).quantize(Decimal("0.01"))
            paper = Paper(list(LANGUAGES)[at // 2 % len(LANGUAGES)], number, rows, net=f"{net}", taxes=[f"{tax}"], total=f"{net + tax}")
            yield Drawn(f"{at:04d}.pdf", pdf(paper), net + tax, len(lines) + 2)
        else:
            lines = with_freight(chance, lines)
            last = {**lines[0], **SPARE, "Line": "Invoice total", "Line is": "total", "Amount": str(total(lines))}
            yield Drawn(f"{at:04d}.pdf", drawn_page([*lines, last]), total(lines), len(lines))


def supplier_papers(folder: Path, count: int = 100) -> list[Measure]:
    """(h) Reading so many e-invoices and so many printed papers, against a bare parse of each beside it.

    Beside the e-invoices, what it takes to see from Python what lxml parsed, with nothing made of it. A printed paper is read
    in a process of its own with limits of time and memory, which the bare parse does without, as it does without looking for
    what is hostile or hidden in the file. One more paper before them starts that process.
    """
    import pdfplumber
    from lxml import etree

    def parsed(path: Path) -> None:
        etree.fromstring(path.read_bytes())

    def seen(path: Path) -> None:
        for element in etree.fromstring(path.read_bytes()).iter():
            element.tag, element.text  # noqa: B018

    def words(path: Path) -> None:
        with pdfplumber.open(path) as document:
            for one in document.pages:
                one.extract_words()

    e_invoice, least, parse = _seconds(folder, list(e_invoices(count + 1)), commands.read_paper, seen, parsed)
    page, bare_words = _seconds(folder, list(printed(count + 1)), commands.read_paper, words)
    floor = f"each name and text of an e-invoice looked at from Python, {count} of them; lxml parsing it"
    return [
        against(f"read an e-invoice, {count} of them; lxml parsing it", e_invoice, parse, "<= 1.5 x", 1.5),
        Measure(floor, ms(least), ms(parse), f"{least / parse:.2f} x"),
        against(f"read a printed paper, {count} of them; pdfplumber's words", page, bare_words, "<= 1.5 x", 1.5),
    ]


@as_a_run()
def _seconds(folder: Path, drawn: Sequence[Drawn], read: Reader, *bare: Reader) -> list[float]:
    """The mean seconds of reading a paper and of each bare way: for each paper the better of two times, the first paper left out."""
    passes = [[_timed(folder, paper, read, *bare) for paper in drawn] for _ in range(2)]
    best = [[min(both) for both in zip(*twice)] for twice in zip(*passes)]
    return [statistics.fmean(times) for times in zip(*best[1:])]


def _timed(folder: Path, paper: Drawn, read: Reader, *bare: Reader) -> list[float]:
    path = folder / paper.name
    path.write_bytes(paper.data)
    times = [timed(lambda: work(path))[0] for work in bare]  # noqa: B023
    seconds, [found] = timed(lambda: read(path))
    if (found.gross, len(found.lines)) != (paper.total, paper.lines):
        raise RuntimeError(f"{paper.name} is read as {len(found.lines)} lines and {found.gross}, not {paper.lines} and {paper.total}")
    return [seconds, *times]
