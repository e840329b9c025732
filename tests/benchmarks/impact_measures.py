"""What a letter of new prices costs to work out, against one full pricing of the same book in the same run."""

from __future__ import annotations

import random
from decimal import Decimal

from costbook import commands
from costbook.costing.announced import Announced, new_rates, rates_after
from costbook.costing.impact import Impact, impact
from costbook.costing.matrix import Matrix
from costbook.costing.rates import rates
from costbook.costing.tiers import tiers
from costbook.costing.usage import Usage, costs
from tests.benchmarks import books
from tests.benchmarks.measures import Measure, against, as_a_run, ms, timed

BUDGET = 0.2


def impact_measures(products: int = 10_000, changed: int = 50, runs: int = 5) -> list[Measure]:
    """(g) All changes of a book's products in its four channels at so many new prices, against pricing it in full.

    Full pricing is what `commands.worked_out` does with the cells: reading, rates, costs, prices, checks. The second
    measure is against rates, costs and prices alone; the third, for comparison, costs alone by the kept usage matrix.
    """
    snapshot = books.snapshot(books.tabs(books.Shape(max(12, products // 20), max(6, products // 10), products)))
    with as_a_run():
        full, (priced, _) = timed(lambda: commands.worked_out(snapshot, books.BOOK_DATE), max(1, runs // 2))
        book, rated, costed, tiered = priced.book, priced.rates, priced.costs, priced.tiers
        codes = random.Random(5).sample(sorted(rated.materials), changed)
        said = [Announced(code, rise=Decimal("0.1")) for code in codes]

        def again() -> object:
            rated_, usage = rates(book, books.BOOK_DATE), Usage(book)
            return tiers(book, costs(usage, rated_)[0])

        def asked() -> Impact:
            news, findings = new_rates(book, books.BOOK_DATE, rated, said)
            assert not findings and len(news) == changed
            found = impact(priced.usage, rated, costed, tiered, news)
            assert found.crossed is not None and found.a_year is not None
            return found

        figures, _ = timed(again, max(1, runs // 2))
        ours, found = timed(asked, runs)
        made, matrix = timed(lambda: Matrix.of(priced.usage))
        old, new = (matrix.rates_vector(r) for r in (rated, rates_after(rated, found.news)))
        matrix.effect(old, new)
        product, _ = timed(lambda: matrix.effect(old, new), runs)
    what = f"{changed} new prices, {len(costed):,} products x {len(book.channels)} channels"
    return [
        against(f"{what}; pricing the book in full", ours, full, f"<= {BUDGET} x", BUDGET),
        against(f"{what}; rates, costs and prices alone", ours, figures, f"<= {BUDGET} x", BUDGET),
        Measure(f"{what}: costs alone by the usage matrix, scipy loaded; making that matrix", ms(product), ms(made)),
    ]
