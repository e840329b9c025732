"""The usage matrix against the plain rows it is made of: the same figures in another order of work."""

from __future__ import annotations

import math
import random

import pytest
from records import replace

from costbook.book.reading import read_book
from costbook.costing import matrix
from costbook.costing.matrix import Matrix
from costbook.costing.rates import Rates, rates
from costbook.costing.usage import Usage, costs
from tests.benchmarks import books


@pytest.fixture(scope="module")
def known() -> tuple[Usage, Rates]:
    """A small synthetic book, read and rated."""
    book = read_book(books.snapshot(books.tabs(books.SIZES["S"])))
    return Usage(book), rates(book, books.BOOK_DATE)


@pytest.fixture(params=["lists", "arrays"])
def small_or_large(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both ways of summing, on the same book."""
    monkeypatch.setattr(matrix, "PLAIN_UP_TO", 10**9 if request.param == "lists" else 0)


@pytest.mark.usefixtures("small_or_large")
def test_unit_costs_are_those_of_the_plain_rows(known: tuple[Usage, Rates]) -> None:
    usage, rated = known
    plain, stops = costs(usage, rated)
    made = Matrix.of(usage)
    vector = made.rates_vector(rated)
    assert not stops and list(made.products) == list(plain)
    assert list(made.unit_costs(vector)) == pytest.approx([c.unit_cost for c in plain.values()], rel=1e-12)


@pytest.mark.usefixtures("small_or_large")
def test_the_effect_of_a_dearer_material_is_its_usage_times_the_rise(known: tuple[Usage, Rates]) -> None:
    usage, rated = known
    made = Matrix.of(usage)
    place = next(i for i, key in enumerate(made.keys) if key[0] == "materials")
    old = made.rates_vector(rated)
    new = [r + 0.01 * (i == place) for i, r in enumerate(old)]
    wanted = [usage.row(code).bought.get(made.keys[place], 0.0) * (new[place] - old[place]) for code in made.products]
    assert any(wanted)
    assert list(made.effect(old, new)) == pytest.approx(wanted, rel=1e-12, abs=1e-15)


@pytest.mark.usefixtures("small_or_large")
def test_random_rows_with_empty_ones_among_them() -> None:
    chance = random.Random(3)
    rows = [[(chance.randrange(50), chance.uniform(0, 9)) for _ in range(chance.choice((0, 0, 1, 3, 12)))] for _ in range(9_000)]
    lines = [line for row in rows for line in row]
    starts = [0]
    for row in rows:
        starts.append(starts[-1] + len(row))
    made = Matrix([("materials", str(i)) for i in range(50)], [str(i) for i in range(9_000)], starts, [i for i, _ in lines], [a for _, a in lines])
    vector = [chance.uniform(0, 2) for _ in range(50)]
    wanted = [math.fsum(a * vector[i] for i, a in row) for row in rows]
    assert list(made.unit_costs(vector)) == pytest.approx(wanted, rel=1e-12, abs=1e-15)


def test_a_rate_nobody_knows_is_not_a_number(known: tuple[Usage, Rates]) -> None:
    usage, rated = known
    made = Matrix.of(usage)
    gone = next(code for category, code in made.keys if category == "materials")
    lacking = replace(rated, materials={c: r for c, r in rated.materials.items() if c != gone})
    vector = made.rates_vector(lacking)
    assert [k[1] for k, r in zip(made.keys, vector) if math.isnan(r)] == [gone] * sum(k[1] == gone for k in made.keys)


def test_a_vector_of_another_length_is_refused(known: tuple[Usage, Rates]) -> None:
    with pytest.raises(ValueError, match="0 rates for"):
        Matrix.of(known[0]).unit_costs([])
