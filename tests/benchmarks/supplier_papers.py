"""What reading a supplier's paper costs, against the bare parse of the same file by the library below it, in the same run.

The papers are drawn anew from the scenario's goods, 3 to 40 lines each, the same at every run.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from pathlib import Path

from costbook import commands
from costbook.demo.papers import cii_credit_note, ubl_invoice
from costbook.demo.tables import Record, scenario
from tests.benchmarks.measures import Measure, against
from tests.printed_papers import LANGUAGES, Paper, pdf
from tests.sample_pages import drawn_page

FEWEST, MOST, MOST_BIG_TYPE = 3, 40, 24  # lines on a paper; in the larger type of `printed_papers` fewer fit on its page
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


Drawn = Iterator[tuple[str, bytes, Decimal, int]]  # file name, bytes, invoice total, lines with their charges


def e_invoices(count: int) -> Drawn:
    """E-invoices, invoices in UBL and credit notes in CII in turn."""
    chance = random.Random(11)
    for at in range(count):
        credit = at % 2
        lines = goods_lines(chance, f"E-{at:04d}", sign=-1 if credit else 1)
        lines = lines if credit else with_freight(chance, lines)
        yield f"{at:04d}.xml", (cii_credit_note if credit else ubl_invoice)(tuple(lines)), abs(total(lines)), len(lines)


def printed(count: int) -> Drawn:
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
            yield f"{at:04d}.pdf", pdf(paper), net + tax, len(lines) + 2
        else:
            lines = with_freight(chance, lines)
            last = {**lines[0], **SPARE, "Line": "Invoice total", "Line is": "total", "Amount": str(total(lines))}
            yield f"{at:04d}.pdf", drawn_page([*lines, last]), total(lines), len(lines)


def supplier_papers(folder: Path, count: int = 100, rounds: int = 2) -> list[Measure]:
    """(h) Reading so many e-invoices and so many printed papers, against a bare parse of each beside it.

    The best time of each paper's rounds counts. A printed paper is read in a process of its own with limits of time and
    memory, which the bare parse does without, as it does without looking for what is hostile or hidden in the file.
    """
    import pdfplumber
    from lxml import etree

    def parsed(path: Path) -> None:
        etree.fromstring(path.read_bytes())

    def words(path: Path) -> None:
        with pdfplumber.open(path) as document:
            for page in document.pages:
                page.extract_words()

    return [
        _measured(folder, "an e-invoice; lxml parsing it", e_invoices(count), parsed, rounds),
        _measured(folder, "a printed paper; pdfplumber's words", printed(count), words, rounds),
    ]


def _measured(folder: Path, what: str, drawn: Drawn, bare: Callable[[Path], None], rounds: int) -> Measure:
    ours, theirs, count = 0.0, 0.0, 0
    for name, data, gross, lines in drawn:
        (folder / name).write_bytes(data)
        [read] = commands.read_paper(folder / name)
        if (read.gross, len(read.lines)) != (gross, lines):
            raise RuntimeError(f"{name} has {lines} lines and a total of {gross}, not {len(read.lines)} and {read.gross}")
        took = [(_seconds(commands.read_paper, folder / name), _seconds(bare, folder / name)) for _ in range(rounds)]
        ours, theirs, count = ours + min(a for a, _ in took), theirs + min(b for _, b in took), count + 1
    return against(f"read {what}; {count} papers", ours / count, theirs / count, "<= 1.5 x", 1.5)


def _seconds(work: Callable[[Path], object], path: Path) -> float:
    start = time.perf_counter()
    work(path)
    return time.perf_counter() - start
